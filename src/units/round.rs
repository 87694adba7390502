//! The one place where a number becomes text.
//!
//! Rounding is half away from zero on the shortest decimal that names the number: 2.675 prints `2.68` as a person
//! expects, though its nearest binary fraction lies below; -0.3 at no decimals prints `0`, never `-0`.

use super::{Degrees, Direction, Meridian};

/// The number with a fixed count of decimals, half away from zero.
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    let shortest = format!("{}", value.abs());
    let (whole, fraction) = shortest.split_once('.').unwrap_or((&shortest, ""));
    let mut digits: Vec<u8> =
        whole.bytes().chain(fraction.bytes().chain(core::iter::repeat(b'0')).take(decimals)).collect();
    let up = fraction.as_bytes().get(decimals).is_some_and(|digit| *digit >= b'5');
    if up {
        let mut carry = true;
        for digit in digits.iter_mut().rev() {
            if *digit == b'9' {
                *digit = b'0';
            } else {
                *digit += 1;
                carry = false;
                break;
            }
        }
        if carry {
            digits.insert(0, b'1');
        }
    }
    let zero = digits.iter().all(|digit| *digit == b'0');
    let point = digits.len().saturating_sub(decimals);
    let mut text = String::with_capacity(digits.len() + 2);
    if value < 0.0 && !zero {
        text.push('-');
    }
    for (position, digit) in digits.iter().enumerate() {
        if position == point && decimals > 0 {
            text.push('.');
        }
        text.push(char::from(*digit));
    }
    text
}

/// As [`fixed`], the sign always printed: `+0.25`, `-1.50`; zero has none.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// A meridian as three digits, 001 to 180.
pub fn meridian(meridian: Meridian) -> String {
    let text = fixed(meridian.degrees(), 0);
    let text = if text == "0" { "180" } else { text.as_str() };
    format!("{text:0>3}")
}

/// A place on the limbus as three digits, 000 to 359.
pub fn direction(direction: Direction) -> String {
    let text = fixed(direction.degrees(), 0);
    let text = if text == "360" { "0" } else { text.as_str() };
    format!("{text:0>3}")
}

/// A turn without its sign, in whole degrees.
pub fn turn(turn: Degrees) -> String {
    fixed(turn.degrees().abs(), 0)
}

/// The number a printed text stands for, rounded as [`fixed`] does.
pub fn rounded(value: f64, decimals: usize) -> f64 {
    fixed(value, decimals).parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_half_away_from_zero() {
        assert_eq!(fixed(2.675, 2), "2.68");
        assert_eq!(fixed(-2.675, 2), "-2.68");
        assert_eq!(fixed(0.25, 1), "0.3");
        assert_eq!(fixed(9.995, 2), "10.00");
        assert_eq!(fixed(1.005, 2), "1.01");
        assert_eq!(fixed(43.0, 2), "43.00");
        assert_eq!(fixed(1e-7, 2), "0.00");
        assert_eq!(fixed(1e21, 0), "1000000000000000000000");
    }

    #[test]
    fn never_prints_minus_zero() {
        assert_eq!(fixed(-0.3, 0), "0");
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(signed(-0.001, 2), "0.00");
        assert_eq!(signed(0.25, 2), "+0.25");
        assert_eq!(signed(-0.25, 2), "-0.25");
    }

    #[test]
    fn meridians_have_three_digits_and_no_zero() {
        assert_eq!(meridian(Meridian::wrapping(5.0)), "005");
        assert_eq!(meridian(Meridian::wrapping(0.2)), "180");
        assert_eq!(meridian(Meridian::wrapping(179.6)), "180");
        assert_eq!(meridian(Meridian::wrapping(0.0)), "180");
        assert_eq!(direction(Direction::wrapping(359.7)), "000");
    }
}
