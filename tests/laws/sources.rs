//! Several sources, the posterior cornea, the incision, shares of scatter, tilt of the head.

use axiswright::optics::incision::IncisionEffect;
use axiswright::optics::posterior::PosteriorModel;
use axiswright::optics::torsion::error_of_tilts;
use axiswright::optics::uncertainty::{
    AngleSds, ComponentSds, Covariance, Estimate, combine, plain_mean, shares,
};
use axiswright::units::{Degrees, Dioptre, Direction, Meridian, PowerVector};
use proptest::prelude::*;

use crate::runner;

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

fn deg(value: f64) -> Degrees {
    Degrees::from_degrees(value)
}

fn at(cylinder: f64, steep: f64) -> PowerVector {
    PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep))
}

fn near(one: PowerVector, other: PowerVector) -> bool {
    (one - other).cylinder() < d(1e-9)
}

/// Cylinder, meridian, standard deviation of each source.
fn sources() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    proptest::collection::vec((0.0..4.0_f64, 0.0..180.0_f64, 0.15..0.9_f64), 1..5)
}

fn estimates(sources: &[(f64, f64, f64)], sd: Option<f64>) -> Vec<Estimate> {
    sources
        .iter()
        .map(|(cylinder, steep, own)| Estimate {
            mean: at(*cylinder, *steep),
            covariance: Covariance::isotropic(d(sd.unwrap_or(*own))),
        })
        .collect()
}

#[test]
fn with_equal_covariances_both_ways_of_combining_agree() {
    runner(96)
        .run(&sources(), |sources| {
            let equal = estimates(&sources, Some(0.2));
            let (weighted, plain) = (combine(&equal).unwrap(), plain_mean(&equal).unwrap());
            prop_assert!(near(weighted.estimate.mean, plain.estimate.mean));
            let apart = weighted.estimate.covariance.trace() - plain.estimate.covariance.trace();
            prop_assert!(apart.abs() < 1e-12);
            Ok(())
        })
        .unwrap();
}

#[test]
fn combining_knows_no_order_no_mirror_and_no_turn_by_180() {
    runner(96)
        .run(&sources(), |sources| {
            let all = estimates(&sources, None);
            let mean = combine(&all).unwrap();
            let mut backwards = all.clone();
            backwards.reverse();
            prop_assert!(near(combine(&backwards).unwrap().estimate.mean, mean.estimate.mean));
            let mirrored: Vec<Estimate> = all
                .iter()
                .map(|one| Estimate { mean: one.mean.mirrored(), covariance: one.covariance.mirrored() })
                .collect();
            let other = combine(&mirrored).unwrap();
            prop_assert!(near(other.estimate.mean, mean.estimate.mean.mirrored()));
            prop_assert!((other.chi_square - mean.chi_square).abs() < 1e-9);
            let half: Vec<(f64, f64, f64)> = sources.iter().map(|(c, a, s)| (*c, a + 180.0, *s)).collect();
            prop_assert!(near(combine(&estimates(&half, None)).unwrap().estimate.mean, mean.estimate.mean));
            // No source and no mean is surer than all together.
            let best = plain_mean(&all).unwrap().estimate.covariance.trace();
            prop_assert!(mean.estimate.covariance.trace() <= best + 1e-12);
            prop_assert!((0.0..=1.0).contains(&mean.p_value));
            Ok(())
        })
        .unwrap();
}

/// Models that hold for every reading, as they are for one eye and for its mirror image.
fn models(back: PowerVector) -> [(PosteriorModel, PosteriorModel); 3] {
    [
        (PosteriorModel::Eom2015, PosteriorModel::Eom2015),
        (PosteriorModel::Constant, PosteriorModel::Constant),
        (PosteriorModel::Measured { back }, PosteriorModel::Measured { back: back.mirrored() }),
    ]
}

#[test]
fn posterior_models_know_no_side_and_no_turn_by_180() {
    let reading = (0.0..5.0_f64, 0.0..180.0_f64, 0.0..1.0_f64, 0.0..180.0_f64);
    runner(96)
        .run(&reading, |(cylinder, steep, back, back_at)| {
            let measured = at(cylinder, steep);
            for (model, mirrored) in models(at(back, back_at)) {
                let sum = model.addition(measured).unwrap();
                prop_assert!(near(mirrored.addition(measured.mirrored()).unwrap(), sum.mirrored()));
                prop_assert!(near(model.addition(at(cylinder, steep + 180.0)).unwrap(), sum));
            }
            let none = PosteriorModel::None.addition(measured).unwrap();
            prop_assert!(near(none, PowerVector::ZERO));
            let lens_cylinder = d(1.5);
            let goggin = PosteriorModel::Goggin2015 { lens_cylinder };
            match (goggin.addition(measured), goggin.addition(measured.mirrored())) {
                (Ok(one), Ok(other)) => {
                    prop_assert!(near(one.mirrored(), other));
                    prop_assert!(one.torque(measured.steep()).abs() < d(1e-9), "the meridian is kept");
                }
                (Err(_), Err(_)) => {}
                (one, other) => prop_assert!(false, "{one:?} and {other:?}"),
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_scatter_of_an_incision_mirrors_and_grows_with_fewer_eyes() {
    let effect = (0.0..360.0_f64, 0.0..1.0_f64, -0.5..0.5_f64, 0.1..0.6_f64, 0.1..0.6_f64, 1_u32..60);
    runner(96)
        .run(&effect, |(place, flattening, torque, first, second, eyes)| {
            let own = Covariance::from_entries(first * first, 0.3 * first * second, second * second).unwrap();
            let effect =
                IncisionEffect::from_flattening(Direction::wrapping(place), d(flattening), d(torque))
                    .with_own_covariance(own)
                    .with_eyes(eyes);
            let next = effect.scatter_of_next_eye().unwrap();
            let factor = 1.0 + 1.0 / f64::from(eyes);
            prop_assert!((next.trace() - own.trace() * factor).abs() < 1e-9);
            let left = effect.mirrored().scatter_of_next_eye().unwrap();
            prop_assert!((left.xy() + next.xy()).abs() < 1e-9);
            prop_assert!((left.xx() - next.xx()).abs() < 1e-9);
            prop_assert!(effect.mirrored().flattening().dioptres() - flattening < 1e-9);
            Ok(())
        })
        .unwrap();
}

fn parts() -> ComponentSds {
    ComponentSds {
        keratometry: ComponentSds::KERATOMETRY,
        posterior: ComponentSds::POSTERIOR_MODEL,
        posterior_measured: ComponentSds::POSTERIOR_MEASURED,
        incision: ComponentSds::INCISION,
        tilt: ComponentSds::TILT,
        refraction: Some(ComponentSds::REFRACTION),
    }
}

fn angles() -> AngleSds {
    AngleSds {
        marking: AngleSds::MARKING,
        alignment: AngleSds::ALIGNMENT,
        rotation: AngleSds::ROTATION,
        head_tilt: AngleSds::HEAD_TILT,
        tail_weight: AngleSds::TAIL_WEIGHT,
        tail: AngleSds::TAIL,
    }
}

#[test]
fn shares_are_whole_and_a_lens_without_cylinder_cannot_be_turned_wrong() {
    runner(64)
        .run(&(0.0..5.0_f64, 0.2..1.5_f64), |(lens, factor)| {
            let all = shares(&parts().of_eye(factor), &angles(), factor, d(lens));
            prop_assert!((all.iter().map(|share| share.share).sum::<f64>() - 1.0).abs() < 1e-12);
            prop_assert!(all.iter().all(|share| (0.0..=1.0).contains(&share.share)));
            let spherical = shares(&parts().of_eye(factor), &angles(), factor, Dioptre::ZERO);
            let turned: f64 = spherical.iter().skip(5).map(|share| share.share).sum();
            prop_assert!(turned.abs() < 1e-15);
            let (one, mirrored) = (parts().of_eye(factor), parts().of_eye(factor).mirrored());
            prop_assert!((one.total().trace() - mirrored.total().trace()).abs() < 1e-12);
            Ok(())
        })
        .unwrap();
}

#[test]
fn a_tilt_common_to_instrument_and_marking_cancels() {
    runner(64)
        .run(&(-20.0..20.0_f64, -20.0..20.0_f64, 0.0..0.3_f64), |(first, second, gain)| {
            prop_assert!(error_of_tilts(deg(first), deg(first), gain).unwrap().degrees().abs() < 1e-12);
            let one = error_of_tilts(deg(first), deg(second), gain).unwrap().degrees();
            let other = error_of_tilts(deg(-first), deg(-second), gain).unwrap().degrees();
            prop_assert!((one + other).abs() < 1e-12);
            prop_assert!((one - (1.0 - gain) * (first - second)).abs() < 1e-12);
            Ok(())
        })
        .unwrap();
}
