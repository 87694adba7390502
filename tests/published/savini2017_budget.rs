//! The error budget against published scatter and against an independent calculation.

use axiswright::optics::uncertainty::{
    AngleSds, ComponentSds, Estimate, ResidualDistribution, ResidualModel,
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

/// Source: Savini 2017 (J Cataract Refract Surg): 57.8 % of eyes within 0.5 D after optimisation.
/// Checked: abstract read; the cohort's mean cylinder was not. The factor 0.8 is an assumption of ours: with it the share
/// is met by eyes between 2 and 3 D, without it by none of them.
#[test]
fn scaled_by_0_8_the_budget_reproduces_a_cohort() {
    let within = |cylinder, factor| matched(cylinder, factor).chances().within_0_50;
    assert!(within(2.0, ComponentSds::COHORT_FACTOR) > 0.578);
    assert!(within(3.0, ComponentSds::COHORT_FACTOR) < 0.578);
    assert!(within(1.0, 1.0) < 0.578);
}
