//! Chances of the residual cylinder.

use axiswright::optics::uncertainty::{AngleMixture, AnglePart, Covariance, Estimate, ResidualModel};
use axiswright::units::{Degrees, Dioptre, Meridian, PowerVector, trig};
use proptest::prelude::*;

use crate::runner;

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

/// Mean cylinder and meridian, two standard deviations and their direction, lens, axis, angle error.
type Case = (f64, f64, f64, f64, f64, f64, f64, f64);

fn cases() -> impl Strategy<Value = Case> {
    (
        0.0..4.0_f64,
        0.0..180.0_f64,
        0.1..0.6_f64,
        0.1..0.6_f64,
        0.0..180.0_f64,
        0.0..4.0_f64,
        0.0..180.0_f64,
        0.0..8.0_f64,
    )
}

fn estimate((cylinder, steep, first, second, turn, ..): Case) -> Estimate {
    let covariance = Covariance::from_entries(first * first, 0.0, second * second).unwrap();
    Estimate {
        mean: PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep)),
        covariance: covariance.turned(Degrees::from_degrees(turn)),
    }
}

fn mixture(sd: f64) -> AngleMixture {
    let part =
        |weight, sd| AnglePart { weight, mean: Degrees::from_degrees(1.0), sd: Degrees::from_degrees(sd) };
    AngleMixture::from_parts(vec![part(0.97, sd), part(0.03, 2.0 * sd)]).unwrap()
}

#[test]
fn a_chance_lies_between_nothing_and_all_and_grows_with_the_limit() {
    runner(96)
        .run(&cases(), |case| {
            let (.., lens, axis, sd) = case;
            let model = ResidualModel::prepare(&estimate(case), &mixture(sd), d(lens)).unwrap();
            let residual = model.residual(d(lens), Meridian::wrapping(axis)).unwrap();
            let mut before = 0.0;
            for step in 0..60 {
                let chance = residual.probability_within(d(f64::from(step) * 0.1));
                prop_assert!((0.0..=1.0).contains(&chance));
                prop_assert!(chance >= before - 2e-5, "{step}: {chance} after {before}");
                before = chance;
            }
            let (median, p95) = (residual.median().unwrap(), residual.p95().unwrap());
            prop_assert!((residual.probability_within(median) - 0.5).abs() < 2e-5);
            prop_assert!((residual.probability_within(p95) - 0.95).abs() < 2e-5);
            let chances = residual.chances();
            prop_assert!((residual.probability_within(d(0.5)) - chances.within_0_50).abs() < 1e-9);
            let expected = residual.expected_magnitude().dioptres();
            prop_assert!(expected > 0.0 && expected * expected <= residual.mean_square());
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_mirror_image_has_the_same_chances() {
    runner(48)
        .run(&cases(), |case| {
            let (.., lens, axis, sd) = case;
            let part = |mean: f64| {
                AngleMixture::from_parts(vec![AnglePart {
                    weight: 1.0,
                    mean: Degrees::from_degrees(mean),
                    sd: Degrees::from_degrees(sd),
                }])
                .unwrap()
            };
            let right = estimate(case);
            let left = Estimate { mean: right.mean.mirrored(), covariance: right.covariance.mirrored() };
            let axis = Meridian::wrapping(axis);
            let of = |eye: &Estimate, mean, axis| {
                ResidualModel::prepare(eye, &part(mean), d(lens)).unwrap().residual(d(lens), axis).unwrap()
            };
            let (right, left) = (of(&right, 2.0, axis), of(&left, -2.0, axis.mirrored()));
            prop_assert!((right.chances().within_0_50 - left.chances().within_0_50).abs() < 1e-6);
            prop_assert!((right.expected_magnitude() - left.expected_magnitude()).abs() < d(1e-6));
            Ok(())
        })
        .unwrap();
}

/// Chance and mean by the trapezium rule over the two components and the angle: slow, and another route.
fn brute(case: Case, limit: f64) -> (f64, f64) {
    let (.., lens, axis, sd) = case;
    let eye = estimate(case);
    let axes = eye.covariance.principal();
    let steps = |n: i32, reach: f64| {
        (-n..=n).map(move |i| {
            let z = f64::from(i) * reach / f64::from(n);
            (z, trig::exp(-z * z / 2.0))
        })
    };
    let (mut weight, mut within, mut mean) = (0.0, 0.0, 0.0);
    for (share, sd) in [(0.97, sd), (0.03, 2.0 * sd)] {
        let angles: Vec<(f64, f64)> = steps(12, 4.5).collect();
        let total: f64 = angles.iter().map(|(_, w)| w).sum();
        for (z, w) in angles {
            let lens = PowerVector::from_steep(d(lens), Meridian::wrapping(axis + 1.0 + sd * z));
            let centre = eye.mean - lens;
            for (u, wu) in steps(60, 5.0) {
                for (v, wv) in steps(60, 5.0) {
                    let (along, across) = (u * axes.larger, v * axes.smaller);
                    let (cos, sin) = (trig::cos(axes.direction), trig::sin(axes.direction));
                    let x = centre.x() + along * cos - across * sin;
                    let y = centre.y() + along * sin + across * cos;
                    let size = trig::hypot(x, y);
                    // A cell on the rim counts by the share of it that lies within.
                    let rim = 0.5 - (size - limit) / (axes.smaller * 5.0 / 60.0);
                    let own = share * w / total * wu * wv;
                    weight += own;
                    within += own * rim.clamp(0.0, 1.0);
                    mean += own * size;
                }
            }
        }
    }
    (within / weight, mean / weight)
}

#[test]
fn the_series_agrees_with_integration_in_the_plane() {
    runner(6)
        .run(&cases(), |case| {
            let (.., lens, axis, sd) = case;
            let model = ResidualModel::prepare(&estimate(case), &mixture(sd), d(lens)).unwrap();
            let residual = model.residual(d(lens), Meridian::wrapping(axis)).unwrap();
            for limit in [0.5, 1.5, 3.0] {
                let (chance, mean) = brute(case, limit);
                let found = residual.probability_within(d(limit));
                prop_assert!((found - chance).abs() < 1e-3, "{case:?} {limit}: {found} {chance}");
                prop_assert!(
                    (residual.expected_magnitude().dioptres() - mean).abs() < 1e-4,
                    "{case:?} {mean}"
                );
            }
            Ok(())
        })
        .unwrap();
}
