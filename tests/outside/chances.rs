//! The chances of a residual cylinder against a million draws of each.

use axiswright::optics::uncertainty::{AngleMixture, AnglePart, Covariance, Estimate, ResidualModel};
use axiswright::units::{Degrees, Dioptre, Meridian, PowerVector};
use serde_json::Value;

use crate::found::script;

/// Greatest distance allowed of a chance. The standard error of a share of a million draws is 0.0005 at most.
const CHANCE: f64 = 0.002;
/// Of the mean, the median and the 95 % mark, in dioptres: the sample's own error is below a third of it.
const DIOPTRES: f64 = 0.01;

fn f(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// The distances of our numbers from those of the draws: the worst chance, the worst length.
fn apart(eye: &Value, drawn: &Value) -> (f64, f64) {
    let covariance = &eye["covariance"];
    let estimate = Estimate {
        mean: PowerVector::from_steep(
            Dioptre::from_dioptres(f(&eye["wanted"])),
            Meridian::wrapping(f(&eye["meridian"])),
        ),
        covariance: Covariance::from_entries(f(&covariance[0]), f(&covariance[1]), f(&covariance[2]))
            .unwrap(),
    };
    let part = |part: &Value| AnglePart {
        weight: f(&part["weight"]),
        mean: Degrees::from_degrees(f(&part["mean"])),
        sd: Degrees::from_degrees(f(&part["sd"])),
    };
    let parts = eye["parts"].as_array().unwrap().iter().map(part).collect();
    let lens = Dioptre::from_dioptres(f(&eye["lens"]));
    let model = ResidualModel::prepare(&estimate, &AngleMixture::from_parts(parts).unwrap(), lens).unwrap();
    let left = model.residual(lens, Meridian::wrapping(f(&eye["axis"]))).unwrap();
    let chances = left.chances();
    let within = &drawn["within"];
    let shares =
        [(chances.within_0_25, "0.25"), (chances.within_0_50, "0.50"), (chances.within_0_75, "0.75")];
    let lengths = [
        (left.expected_magnitude(), "mean"),
        (left.median().unwrap(), "median"),
        (left.p95().unwrap(), "p95"),
    ];
    (
        shares.iter().map(|(ours, limit)| (ours - f(&within[*limit])).abs()).fold(0.0, f64::max),
        lengths.iter().map(|(ours, name)| (ours.dioptres() - f(&drawn[*name])).abs()).fold(0.0, f64::max),
    )
}

/// Source: numpy, `chances.py`.
/// Checked: three chances, mean, median and 95 % mark of 24 seeded eyes, a million draws each; and as the control, that
/// the numbers of one eye are not those of the next.
#[test]
fn chances_agree_with_a_million_draws() {
    let Some(eyes) = script("chances.py", &[], "", "chances of the residual against a million draws") else {
        return;
    };
    assert_eq!(eyes.len(), 24);
    let own: Vec<(f64, f64)> = eyes.iter().map(|eye| apart(eye, eye)).collect();
    let worst =
        own.iter().fold((0.0, 0.0), |worst: (f64, f64), own| (worst.0.max(own.0), worst.1.max(own.1)));
    eprintln!("{} eyes: worst chance {:.5}, worst length {:.5} D", eyes.len(), worst.0, worst.1);
    assert!(worst.0 < CHANCE && worst.1 < DIOPTRES, "{own:?}");
    let exchanged = apart(&eyes[0], &eyes[1]);
    assert!(exchanged.0 > 5.0 * CHANCE, "control: {exchanged:?}");
}
