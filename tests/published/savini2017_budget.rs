//! The error budget against published scatter and against an independent calculation.

use axiswright::optics::uncertainty::{
    AngleSds, ComponentSds, Estimate, Part, ResidualDistribution, ResidualModel, shares,
};
use axiswright::units::{Dioptre, Meridian, PowerVector};

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

const OPTICAL: ComponentSds = ComponentSds {
    keratometry: ComponentSds::KERATOMETRY,
    posterior: ComponentSds::POSTERIOR_MODEL,
    posterior_measured: ComponentSds::POSTERIOR_MEASURED,
    incision: ComponentSds::INCISION,
    tilt: ComponentSds::TILT,
    refraction: Some(ComponentSds::REFRACTION),
};

const ANGLES: AngleSds = AngleSds {
    marking: AngleSds::MARKING,
    alignment: AngleSds::ALIGNMENT,
    rotation: AngleSds::ROTATION,
    head_tilt: AngleSds::HEAD_TILT,
    tail_weight: AngleSds::TAIL_WEIGHT,
    tail: AngleSds::TAIL,
};

/// Residual of a lens that matches the eye exactly, every standard deviation times `factor`.
fn matched(cylinder: f64, factor: f64) -> ResidualDistribution {
    let steep = Meridian::VERTICAL;
    let eye = Estimate {
        mean: PowerVector::from_steep(d(cylinder), steep),
        covariance: OPTICAL.covariance(factor),
    };
    let model = ResidualModel::prepare(&eye, &ANGLES.mixture(factor).unwrap(), d(cylinder)).unwrap();
    model.residual(d(cylinder), steep).unwrap()
}

/// Source: our error budget, computed separately in closed form and by 3e6 random eyes.
/// Checked: computed by two routes; printed to two decimals.
#[test]
fn a_perfect_match_on_paper_leaves_half_a_dioptre() {
    let table =
        [(1.0, 0.51, 0.53), (1.5, 0.54, 0.49), (2.0, 0.58, 0.45), (3.0, 0.68, 0.37), (4.0, 0.80, 0.31)];
    for (cylinder, expected, within) in table {
        let residual = matched(cylinder, 1.0);
        let found = (residual.expected_magnitude().dioptres(), residual.chances().within_0_50);
        assert!((found.0 - expected).abs() < 0.0051, "{cylinder}: {found:?}");
        assert!((found.1 - within).abs() < 0.0051, "{cylinder}: {found:?}");
    }
}

/// Source: our error budget: shares of the variance for a lens of 2.0 D, computed separately.
/// Checked: computed by two routes; printed to whole percent.
#[test]
fn shares_of_a_lens_of_two_dioptres() {
    let shares = shares(&OPTICAL.of_eye(1.0), &ANGLES, 1.0, d(2.0));
    let printed = [
        (Part::Keratometry, 18.0),
        (Part::Posterior, 15.0),
        (Part::Incision, 18.0),
        (Part::Tilt, 3.0),
        (Part::Refraction, 13.0),
        (Part::Marking, 13.0),
        (Part::Alignment, 4.0),
        (Part::Rotation, 10.0),
        (Part::FarRotation, 3.0),
        (Part::Head, 2.0),
    ];
    for (share, (part, percent)) in shares.iter().zip(printed) {
        assert_eq!(share.part, part);
        assert!((share.share * 100.0 - percent).abs() < 0.51, "{part:?}: {}", share.share * 100.0);
    }
    assert!((shares.iter().map(|share| share.share).sum::<f64>() - 1.0).abs() < 1e-12);
}

/// Source: our error budget: target 1.62 @ 98, ratio 1.46, steps of 1.5, 2.25 and 3.0 D at the lens, computed separately.
/// Checked: computed by two routes; printed to two and three decimals.
#[test]
fn the_likeliest_step_of_an_example() {
    let eye = Estimate {
        mean: PowerVector::from_steep(d(1.62), Meridian::wrapping(98.0)),
        covariance: OPTICAL.covariance(1.0),
    };
    let model = ResidualModel::prepare(&eye, &ANGLES.mixture(1.0).unwrap(), d(3.0)).unwrap();
    for (step, predicted, within) in [(1.5, 0.59, 0.233), (2.25, 0.08, 0.479), (3.0, 0.43, 0.306)] {
        let corneal = d(step / 1.46);
        let left = model.residual(corneal, Meridian::wrapping(98.0)).unwrap();
        assert!((left.chances().within_0_50 - within).abs() < 0.0006, "{step}: {:?}", left.chances());
        let mean = eye.mean - PowerVector::from_steep(corneal, Meridian::wrapping(98.0));
        assert!((mean.cylinder().dioptres() - predicted).abs() < 0.0051, "{step}: {mean:?}");
        if predicted < 0.1 {
            assert!((left.expected_magnitude().dioptres() - 0.55).abs() < 0.0051);
        }
    }
}

/// Source: Savini 2017 (J Cataract Refract Surg): 57.8 % of eyes within 0.5 D after optimisation.
/// Checked: abstract read; the cohort's cylinders were not. It is modelled as as many eyes each of every half dioptre to
/// correct at the cornea from 1.0 D on, each with a lens that matches it on paper, planned without error of the mean. Where
/// such a cohort ends is not known: ending at 3.0 D it does a little better than the published share (60.2 %), ending at 4.0 D
/// a little worse (55.7 %), half-way between it is met to a percent. Without the factor 0.8, an assumption of ours, even the
/// first stays far below (45.1 %).
#[test]
fn scaled_by_0_8_the_budget_reproduces_a_cohort() {
    let share = |most: i32, factor| {
        let cylinders: Vec<f64> = (2..=2 * most).map(|half| f64::from(half) / 2.0).collect();
        let sum: f64 = cylinders.iter().map(|c| matched(*c, factor).chances().within_0_50).sum();
        sum / cylinders.iter().fold(0.0, |count, _| count + 1.0)
    };
    let scaled = |most| share(most, ComponentSds::COHORT_FACTOR);
    let between = f64::midpoint(scaled(3), scaled(4));
    assert!(scaled(3) > 0.578 && scaled(4) < 0.578, "{} and {}", scaled(3), scaled(4));
    assert!((between - 0.578).abs() < 0.01, "{between}");
    assert!(share(3, 1.0) < 0.50, "{}", share(3, 1.0));
}
