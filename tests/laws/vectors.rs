//! Vectors, refractions and matrices.

use axiswright::optics::incision::IncisionEffect;
use axiswright::optics::matrix::PowerMatrix;
use axiswright::optics::posterior::PosteriorModel;
use axiswright::optics::refraction::Refraction;
use axiswright::optics::view::Eye;
use axiswright::units::{Dioptre, Direction, Meridian, Millimetre, PowerVector};
use proptest::prelude::*;

use crate::runner;

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

fn near(a: PowerVector, b: PowerVector) -> bool {
    (a - b).cylinder().dioptres() < 1e-9
}

#[test]
fn a_meridian_and_the_one_180_degrees_on_are_the_same() {
    runner(256)
        .run(&(0.0..8.0_f64, -720.0..720.0_f64), |(cylinder, steep)| {
            let here = PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep));
            let there = PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep + 180.0));
            prop_assert!(near(here, there));
            prop_assert!((0.0..=180.0).contains(&here.steep().degrees()) && here.steep().degrees() > 0.0);
            Ok(())
        })
        .unwrap();
}

#[test]
fn what_is_added_can_be_subtracted() {
    runner(256)
        .run(&(0.0..8.0_f64, 0.0..180.0_f64, 0.0..8.0_f64, 0.0..180.0_f64), |(c1, a1, c2, a2)| {
            let first = PowerVector::from_steep(d(c1), Meridian::wrapping(a1));
            let second = PowerVector::from_steep(d(c2), Meridian::wrapping(a2));
            prop_assert!(near(first + second - second, first));
            prop_assert!(near(first + second, second + first));
            Ok(())
        })
        .unwrap();
}

#[test]
fn both_forms_of_a_refraction_are_the_same_lens() {
    runner(256)
        .run(&(-15.0..15.0_f64, -6.0..6.0_f64, 0.0..180.0_f64), |(sphere, cylinder, axis)| {
            let written =
                Refraction::from_sphere_cylinder_axis(d(sphere), d(cylinder), Meridian::wrapping(axis));
            for form in [written.plus_form(), written.minus_form(), written.transposed()] {
                prop_assert!(near(form.astigmatism(), written.astigmatism()));
                prop_assert!((form.spherical_equivalent() - written.spherical_equivalent()).abs() < d(1e-9));
            }
            prop_assert!(written.plus_form().cylinder() >= Dioptre::ZERO);
            prop_assert!(written.minus_form().cylinder() <= Dioptre::ZERO);
            Ok(())
        })
        .unwrap();
}

#[test]
fn to_the_cornea_and_back_is_the_same_refraction() {
    runner(256)
        .run(
            &(-20.0..15.0_f64, -6.0..0.0_f64, 0.0..180.0_f64, 8.0..16.0_f64),
            |(sphere, cylinder, axis, vertex)| {
                let vertex = Millimetre::from_millimetres(vertex);
                let written =
                    Refraction::from_sphere_cylinder_axis(d(sphere), d(cylinder), Meridian::wrapping(axis));
                let back = written.at_cornea(vertex).unwrap().at_spectacles(vertex).unwrap();
                prop_assert!(near(back.astigmatism(), written.astigmatism()));
                prop_assert!((back.spherical_equivalent() - written.spherical_equivalent()).abs() < d(1e-9));
                Ok(())
            },
        )
        .unwrap();
}

#[test]
fn a_matrix_has_the_power_of_its_principal_meridians() {
    runner(256)
        .run(&(38.0..50.0_f64, 0.0..6.0_f64, 0.0..180.0_f64), |(flat, cylinder, steep)| {
            let steep = Meridian::wrapping(steep);
            let matrix = PowerMatrix::from_principal(d(flat), d(flat + cylinder), steep);
            prop_assert!((matrix.power_along(steep) - d(flat + cylinder)).abs() < d(1e-9));
            prop_assert!((matrix.power_along(steep.perpendicular()) - d(flat)).abs() < d(1e-9));
            let [[a, b], [c, e]] = matrix.entries();
            prop_assert!((a + e - 2.0 * matrix.mean().dioptres()).abs() < 1e-9 && (b - c).abs() < 1e-12);
            Ok(())
        })
        .unwrap();
}

#[test]
fn a_left_eye_is_a_mirrored_right_eye() {
    let models = [PosteriorModel::None, PosteriorModel::Constant, PosteriorModel::Eom2015];
    runner(256)
        .run(
            &(0.0..5.0_f64, 0.0..180.0_f64, 0.0..360.0_f64, -1.0..1.0_f64, -0.5..0.5_f64),
            |(cylinder, steep, at, flattening, torque)| {
                let right = PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep));
                for model in models {
                    let added = right + model.addition(right).unwrap();
                    let mirrored = right.mirrored() + model.addition(right.mirrored()).unwrap();
                    prop_assert!(near(added.mirrored(), mirrored));
                }
                let effect =
                    IncisionEffect::from_flattening(Direction::wrapping(at), d(flattening), d(torque));
                let left = effect.in_eye(Eye::Left);
                prop_assert!(near((right + effect.vector()).mirrored(), right.mirrored() + left.vector()));
                prop_assert!((left.flattening() - effect.flattening()).abs() < d(1e-9));
                prop_assert!((left.torque() + effect.torque()).abs() < d(1e-9));
                Ok(())
            },
        )
        .unwrap();
}
