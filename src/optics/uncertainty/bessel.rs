//! Bessel functions of whole order, by the recurrence from above, and the zeros of J0.
//!
//! The recurrence is stable downwards from an order where the function has vanished, and a known sum gives the scale
//! (J. C. P. Miller's algorithm; DLMF 3.6 and 10.74, from memory; checked against power series).

use crate::units::trig;

/// Below this argument the function of order 0 is 1 and the others are 0, to the last bit that matters.
const TINY: f64 = 1e-12;

/// Beyond this the running values are scaled down, so that they stay finite.
const HUGE: f64 = 1e200;

/// A whole number not below `value`, zero for a negative one.
pub(super) fn whole(value: f64) -> u32 {
    if value >= f64::from(u32::MAX) {
        return u32::MAX;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded on both sides")]
    {
        value.ceil().max(0.0) as u32
    }
}

/// An order from which on J of `x` is below 1e-9: past `x` it falls like an Airy function over `x^(1/3)`.
pub(super) fn vanishing_order(x: f64) -> u32 {
    whole(x + 7.4 * trig::pow(x + 1.0, 1.0 / 3.0) + 1.0)
}

/// `J_0(x) ..= J_highest(x)` for `x` at or above zero, to about 1e-9.
pub(super) fn orders(x: f64, highest: u32, values: &mut Vec<f64>) {
    let start = vanishing_order(x).max(highest + 1);
    downwards(x, highest, start, -1.0, values);
}

/// `e^(-x) I_0(x) ..= e^(-x) I_highest(x)` for `x` at or above zero, as far as they are above 1e-12.
pub(super) fn modified_orders(x: f64, values: &mut Vec<f64>) {
    // I_p(x) e^-x falls like exp(-p^2 / 2x), for small x faster.
    let highest = whole(7.5 * x.sqrt() + 9.0);
    downwards(x, highest, highest + 12, 1.0, values);
}

/// Runs `Z_(n-1) = 2n/x Z_n + sign Z_(n+1)` down from `start`, and scales by `Z_0 + 2 sum = 1`: over even orders for
/// sign -1, over all for sign +1.
fn downwards(x: f64, highest: u32, start: u32, sign: f64, values: &mut Vec<f64>) {
    values.clear();
    if x <= TINY {
        values.push(1.0);
        values.extend((0..highest).map(|_| 0.0));
        return;
    }
    let two_over_x = 2.0 / x;
    let all = sign > 0.0;
    let (mut above, mut here, mut sum) = (0.0_f64, 1e-250_f64, 0.0_f64);
    for order in (1..=start).rev() {
        if order <= highest {
            values.push(here);
        }
        if all || order % 2 == 0 {
            sum += here;
        }
        let below = f64::from(order) * two_over_x * here + sign * above;
        above = here;
        here = below;
        if here.abs() > HUGE {
            for value in values.iter_mut() {
                *value /= HUGE;
            }
            here /= HUGE;
            above /= HUGE;
            sum /= HUGE;
        }
    }
    values.push(here);
    values.reverse();
    let norm = 1.0 / (here + 2.0 * sum);
    for value in values.iter_mut() {
        *value *= norm;
    }
}

/// From here on Hankel's expansion gives J to 1e-10 with [`TERMS`] terms.
const LARGE: f64 = 12.0;

/// Terms of Hankel's expansion.
const TERMS: usize = 14;

/// Coefficients `a_k` of Hankel's expansion with their signs, `(4 n^2 - 1) (4 n^2 - 9) ... / (k! 8^k)`, where
/// `four_square` is `4 n^2`. Source: DLMF 10.17, from memory, checked against the recurrence.
const fn hankel(four_square: f64) -> [f64; TERMS] {
    let mut coefficients = [1.0; TERMS];
    let mut k = 1;
    let mut odd = 1.0;
    let mut count = 1.0;
    while k < TERMS {
        #[expect(clippy::indexing_slicing, reason = "k runs from 1 to below the length")]
        {
            coefficients[k] = coefficients[k - 1] * (four_square - odd * odd) / (8.0 * count);
        }
        k += 1;
        odd += 2.0;
        count += 1.0;
    }
    coefficients
}

const HANKEL_0: [f64; TERMS] = hankel(0.0);
const HANKEL_1: [f64; TERMS] = hankel(4.0);

/// The even and the odd part of Hankel's expansion, signs alternating within each.
fn even_and_odd(coefficients: &[f64; TERMS], x: f64) -> (f64, f64) {
    let inverse = 1.0 / x;
    let (mut even, mut odd, mut power) = (0.0, 0.0, 1.0);
    for (k, coefficient) in coefficients.iter().enumerate() {
        let term = if k & 2 == 0 { coefficient * power } else { -coefficient * power };
        if k & 1 == 0 {
            even += term;
        } else {
            odd += term;
        }
        power *= inverse;
    }
    (even, odd)
}

/// `J_0(x)` and `J_1(x)`, to about 1e-9.
pub(super) fn first_two(x: f64) -> (f64, f64) {
    if x <= TINY {
        return (1.0, 0.0);
    }
    if x >= LARGE {
        // cosine and sine of x - pi/4 are (c + s) and (s - c) over the root of two; of x - 3 pi/4, (s - c) and -(c + s)
        let (sin, cos) = (trig::sin(x), trig::cos(x));
        let scale = 1.0 / (core::f64::consts::PI * x).sqrt();
        let (plus, minus) = (cos + sin, sin - cos);
        let (even_0, odd_0) = even_and_odd(&HANKEL_0, x);
        let (even_1, odd_1) = even_and_odd(&HANKEL_1, x);
        return (scale * (even_0 * plus - odd_0 * minus), scale * (even_1 * minus + odd_1 * plus));
    }
    let two_over_x = 2.0 / x;
    let (mut above, mut here, mut even) = (0.0_f64, 1e-250_f64, 0.0_f64);
    for order in (1..=vanishing_order(x) + 2).rev() {
        if order % 2 == 0 {
            even += here;
        }
        let below = f64::from(order) * two_over_x * here - above;
        above = here;
        here = below;
        if here.abs() > HUGE {
            here /= HUGE;
            above /= HUGE;
            even /= HUGE;
        }
    }
    let norm = 1.0 / (here + 2.0 * even);
    (here * norm, above * norm)
}

/// A zero of J0, with what a series over the zeros needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Zero {
    /// The zero `j`.
    pub(super) at: f64,
    /// `J_1(j)`.
    pub(super) j1: f64,
    /// `int_0^1 u J_1(j u) du = (2 / j^2) (J_1(j) + J_3(j) + ...)`.
    pub(super) moment: f64,
}

/// The first zeros of J0: McMahon's expansion (from memory, only a start) and Newton's method.
pub(super) fn zeros(count: u32) -> Vec<Zero> {
    let mut values = Vec::new();
    (1..=count)
        .map(|k| {
            let b = (f64::from(k) - 0.25) * core::f64::consts::PI;
            let b2 = b * b;
            let mut at = b + (1.0 / 8.0 - (31.0 / 384.0 - 3779.0 / 15360.0 / b2) / b2) / b;
            for _ in 0..6 {
                let (j0, j1) = first_two(at);
                let step = j0 / j1;
                at += step;
                if step.abs() < 1e-9 {
                    break;
                }
            }
            let highest = vanishing_order(at);
            orders(at, highest, &mut values);
            let odd: f64 = values.iter().skip(1).step_by(2).sum();
            Zero { at, j1: values.get(1).copied().unwrap_or_default(), moment: 2.0 * odd / (at * at) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Power series of J (sign -1) or I (sign +1), for small arguments an independent route.
    fn series(order: u32, x: f64, sign: f64) -> f64 {
        let mut term = (1..=order).fold(1.0, |t, k| t * x / 2.0 / f64::from(k));
        let mut sum = term;
        for k in 1..80 {
            term *= sign * (x * x / 4.0) / (f64::from(k) * f64::from(k + order));
            sum += term;
        }
        sum
    }

    #[test]
    fn the_recurrence_agrees_with_the_power_series() {
        let mut values = Vec::new();
        for x in [1e-9, 1e-4, 0.02, 0.5, 1.0, 3.7, 9.0, 14.0] {
            orders(x, 20, &mut values);
            assert_eq!(values.len(), 21);
            for (order, value) in (0..).zip(&values) {
                assert!((value - series(order, x, -1.0)).abs() < 1e-8, "J{order}({x})");
            }
            let (zero, one) = first_two(x);
            assert!((zero - series(0, x, -1.0)).abs() < 1e-8 && (one - series(1, x, -1.0)).abs() < 1e-8);
            modified_orders(x, &mut values);
            for (order, value) in (0..).zip(&values) {
                let expected = series(order, x, 1.0) * trig::exp(-x);
                assert!((value - expected).abs() < 1e-9, "I{order}({x}): {value} {expected}");
            }
        }
    }

    #[test]
    fn large_arguments() {
        // J0 and J1 at 50, from memory of the tables: 0.0558123276692518, -0.0975118281251751
        let (zero, one) = first_two(50.0);
        assert!((zero - 0.055_812_327_669_251_8).abs() < 1e-9);
        assert!((one + 0.097_511_828_125_175_1).abs() < 1e-9);
        let mut values = Vec::new();
        for x in [12.0, 12.7, 20.0, 33.3, 90.0] {
            orders(x, 1, &mut values);
            let (zero, one) = first_two(x);
            assert!((zero - values[0]).abs() < 1e-9 && (one - values[1]).abs() < 1e-9, "{x}");
        }
    }

    #[test]
    fn zeros_of_the_tables() {
        // 2.404825557695773, 5.520078110286311, 8.653727912911013 and the derivative -J1 at the first, 0.5191474972894669
        let found = zeros(40);
        for (zero, table) in
            found.iter().zip([2.404_825_557_695_773, 5.520_078_110_286_311, 8.653_727_912_911_013])
        {
            assert!((zero.at - table).abs() < 1e-8);
        }
        assert!((found[0].j1 - 0.519_147_497_289_466_9).abs() < 1e-8);
        assert!(found.iter().all(|zero| first_two(zero.at).0.abs() < 1e-9));
        // int_0^1 u J1(j u) du by the trapezium rule
        let steps = 20_000;
        let sum: f64 = (1..steps)
            .map(|i| f64::from(i) / f64::from(steps))
            .map(|u| u * first_two(found[2].at * u).1)
            .sum::<f64>()
            + found[2].j1 / 2.0;
        assert!((sum / f64::from(steps) - found[2].moment).abs() < 1e-7);
    }
}
