//! Bessel functions of the first kind and the nodes of Gauss-Legendre quadrature.

use crate::units::trig;

/// Below this argument J0 is 1 and the others are 0, to the last bit that matters.
const TINY: f64 = 1e-12;

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

/// An order from which on J of `x` is below 1e-12: past `x` it falls like an Airy function over `x^(1/3)`.
pub(super) fn vanishing_order(x: f64) -> u32 {
    whole(x + 9.0 * trig::pow(x + 1.0, 1.0 / 3.0) + 5.0)
}

/// `J_0(x) ..= J_highest(x)` for `x` at or above zero, by the recurrence from above, which is stable there
/// (J. C. P. Miller's algorithm; DLMF 3.6(iii), 10.74(iv), from memory).
pub(super) fn orders(x: f64, highest: u32, values: &mut Vec<f64>) {
    values.clear();
    if x <= TINY {
        values.push(1.0);
        values.extend((0..highest).map(|_| 0.0));
        return;
    }
    let start = vanishing_order(x.max(f64::from(highest)));
    let two_over_x = 2.0 / x;
    let (mut above, mut here, mut even) = (0.0_f64, 1e-250_f64, 0.0_f64);
    for order in (1..=start).rev() {
        if order <= highest {
            values.push(here);
        }
        if order % 2 == 0 {
            even += here;
        }
        let below = f64::from(order) * two_over_x * here - above;
        above = here;
        here = below;
        if here.abs() > 1e200 {
            for value in values.iter_mut() {
                *value *= 1e-200;
            }
            here *= 1e-200;
            above *= 1e-200;
            even *= 1e-200;
        }
    }
    values.push(here);
    values.reverse();
    // J_0 + 2 (J_2 + J_4 + ...) = 1
    let norm = 1.0 / (here + 2.0 * even);
    for value in values.iter_mut() {
        *value *= norm;
    }
}

/// `J_0(x)` and `J_1(x)`.
pub(super) fn first_two(x: f64, work: &mut Vec<f64>) -> (f64, f64) {
    orders(x, 1, work);
    match work.as_slice() {
        [zero, one, ..] => (*zero, *one),
        [] | [_] => (1.0, 0.0),
    }
}

/// Nodes and weights of Gauss-Legendre quadrature over [-1, 1], by Newton's method on the recurrence.
pub(super) fn gauss_legendre(count: u32) -> Vec<(f64, f64)> {
    let n = f64::from(count);
    (1..=count)
        .map(|i| {
            let mut x = trig::cos(core::f64::consts::PI * (f64::from(i) - 0.25) / (n + 0.5));
            let mut slope = 1.0;
            for _ in 0..8 {
                let (mut before, mut here) = (1.0, x);
                for k in 2..=count {
                    let k = f64::from(k);
                    (before, here) = (here, ((2.0 * k - 1.0) * x * here - (k - 1.0) * before) / k);
                }
                slope = n * (x * here - before) / (x * x - 1.0);
                let step = here / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Power series, for small arguments an independent route.
    fn series(order: u32, x: f64) -> f64 {
        let mut term = (1..=order).fold(1.0, |t, k| t * x / 2.0 / f64::from(k));
        let mut sum = term;
        for k in 1..60 {
            term *= -(x * x / 4.0) / (f64::from(k) * f64::from(k + order));
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
                assert!((value - series(order, x)).abs() < 1e-10, "J{order}({x})");
            }
        }
    }

    #[test]
    fn large_arguments() {
        let mut values = Vec::new();
        // J0 and J1 at 50, from memory of the tables: 0.0558123276692518, -0.0975118281251751
        let (zero, one) = first_two(50.0, &mut values);
        assert!((zero - 0.055_812_327_669_251_8).abs() < 1e-12);
        assert!((one + 0.097_511_828_125_175_1).abs() < 1e-12);
        let (zero, one) = first_two(0.0, &mut values);
        assert!((zero - 1.0).abs() < 1e-15 && one.abs() < 1e-15);
    }

    #[test]
    fn quadrature_is_exact_for_polynomials() {
        let nodes = gauss_legendre(16);
        let integral: f64 = nodes.iter().map(|(x, w)| w * trig::pow(x.abs(), 30.0)).sum();
        assert!((integral - 2.0 / 31.0).abs() < 1e-13);
    }
}
