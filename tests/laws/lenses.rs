//! Toric lenses in toric eyes.

use axiswright::optics::matrix::PowerMatrix;
use axiswright::optics::rotation::{best_realignment, residual};
use axiswright::optics::toric::{
    ToricLens, corneal_cylinder, ideal_lens, lens_cylinder, predicted_refraction, residual_at_cornea,
};
use axiswright::optics::vergence::{ThinLensEye, depth_from_outcome};
use axiswright::units::{Degrees, Dioptre, Meridian, Millimetre};
use proptest::prelude::*;

use crate::runner;

const VERTEX: Millimetre = Millimetre::from_millimetres(12.0);

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

fn eye(length: f64, depth: f64) -> ThinLensEye {
    ThinLensEye::from_positions(Millimetre::from_millimetres(depth), Millimetre::from_millimetres(length))
        .unwrap()
}

fn eyes() -> impl Strategy<Value = (f64, f64, f64, f64, f64)> {
    (21.0..28.0_f64, 4.0..6.5_f64, 38.0..46.0_f64, 0.0..5.0_f64, 0.0..180.0_f64)
}

#[test]
fn the_matrices_agree_with_two_meridians() {
    runner(256)
        .run(&eyes(), |(length, depth, flat, cylinder, steep)| {
            let eye = eye(length, depth);
            let cornea = PowerMatrix::from_principal(d(flat), d(flat + cylinder), Meridian::wrapping(steep));
            let by_matrix = ideal_lens(eye, cornea, Dioptre::ZERO, VERTEX).unwrap();
            let by_meridians = lens_cylinder(eye, d(flat), d(flat + cylinder)).unwrap();
            prop_assert!((by_matrix.cylinder() - by_meridians.cylinder).abs() < d(1e-9));
            prop_assert!((by_matrix.equivalent() - by_meridians.equivalent).abs() < d(1e-9));
            if cylinder > 0.01 {
                let off = by_matrix.axis().turn_to(Meridian::wrapping(steep)).degrees();
                prop_assert!(off.abs() < 1e-6, "{off}");
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_ideal_lens_leaves_nothing() {
    runner(256)
        .run(&(eyes(), -3.0..1.0_f64), |((length, depth, flat, cylinder, steep), target)| {
            let eye = eye(length, depth);
            let cornea = PowerMatrix::from_principal(d(flat), d(flat + cylinder), Meridian::wrapping(steep));
            let lens = ideal_lens(eye, cornea, d(target), VERTEX).unwrap();
            let left = predicted_refraction(eye, cornea, lens, VERTEX).unwrap();
            prop_assert!(left.cylinder().abs() < d(1e-9));
            prop_assert!((left.sphere() - d(target)).abs() < d(1e-9));
            Ok(())
        })
        .unwrap();
}

#[test]
fn a_lens_without_toricity_is_spherical() {
    runner(128)
        .run(&(eyes(), 0.0..180.0_f64), |((length, depth, flat, _, _), axis)| {
            let eye = eye(length, depth);
            let power = d(20.0);
            let lens = ToricLens::from_equivalent(power, Dioptre::ZERO, Meridian::wrapping(axis)).unwrap();
            let left = predicted_refraction(eye, PowerMatrix::from_sphere(d(flat)), lens, VERTEX).unwrap();
            prop_assert!(left.cylinder().abs() < d(1e-12));
            let sphere = eye.leaving_cornea(power).unwrap() - d(flat);
            let at_cornea = left.at_cornea(VERTEX).unwrap();
            prop_assert!((at_cornea.sphere() - sphere).abs() < d(1e-9));
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_vector_rule_is_exact_at_the_cornea_on_every_axis() {
    runner(256)
        .run(
            &(eyes(), 8.0..28.0_f64, 0.0..6.0_f64, 0.0..180.0_f64),
            |((length, depth, flat, cylinder, steep), power, toric, axis)| {
                let eye = eye(length, depth);
                let cornea =
                    PowerMatrix::from_principal(d(flat), d(flat + cylinder), Meridian::wrapping(steep));
                let axis = Meridian::wrapping(axis);
                let lens = ToricLens::from_equivalent(d(power), d(toric), axis).unwrap();
                let exact = residual_at_cornea(eye, cornea, lens).unwrap();
                let at_cornea = corneal_cylinder(eye, d(power), d(toric)).unwrap();
                let by_rule = residual(cornea.vector(), at_cornea.cylinder, axis);
                prop_assert!((exact - by_rule).cylinder() < d(1e-9));
                Ok(())
            },
        )
        .unwrap();
}

#[test]
fn the_mirror_image_of_an_eye_has_the_mirror_image_of_its_refraction() {
    runner(128)
        .run(&(eyes(), 0.0..180.0_f64), |((length, depth, flat, cylinder, steep), axis)| {
            let eye = eye(length, depth);
            let cornea = PowerMatrix::from_principal(d(flat), d(flat + cylinder), Meridian::wrapping(steep));
            let lens = ToricLens::from_equivalent(d(20.0), d(3.0), Meridian::wrapping(axis)).unwrap();
            let right = predicted_refraction(eye, cornea, lens, VERTEX).unwrap();
            let left = predicted_refraction(eye, cornea.mirrored(), lens.on(lens.axis().mirrored()), VERTEX)
                .unwrap();
            prop_assert!((right.astigmatism().mirrored() - left.astigmatism()).cylinder() < d(1e-9));
            prop_assert!((right.spherical_equivalent() - left.spherical_equivalent()).abs() < d(1e-9));
            Ok(())
        })
        .unwrap();
}

#[test]
fn realignment_finds_the_axis_from_the_refraction_it_caused() {
    runner(128)
        .run(&(eyes(), -40.0..40.0_f64), |((length, depth, flat, cylinder, steep), off)| {
            prop_assume!(cylinder > 0.5);
            let eye = eye(length, depth);
            let cornea = PowerMatrix::from_principal(d(flat), d(flat + cylinder), Meridian::wrapping(steep));
            let lens = ideal_lens(eye, cornea, Dioptre::ZERO, VERTEX).unwrap();
            let at = lens.axis().turned(Degrees::from_degrees(off));
            let refraction = predicted_refraction(eye, cornea, lens.on(at), VERTEX).unwrap();
            let corneal = corneal_cylinder(eye, lens.equivalent(), lens.cylinder()).unwrap().cylinder;
            let best = best_realignment(refraction, corneal, at, VERTEX).unwrap();
            prop_assert!((best.turn.degrees() + off).abs() < 1e-6, "{:?}", best.turn);
            prop_assert!(best.cylinder_then < d(1e-8));
            Ok(())
        })
        .unwrap();
}

#[test]
fn the_lens_depth_comes_back_from_an_outcome() {
    runner(128)
        .run(&(eyes(), 8.0..30.0_f64), |((length, depth, _, _, _), power)| {
            let eye = eye(length, depth);
            let leaving = eye.leaving_cornea(d(power)).unwrap();
            let found = depth_from_outcome(leaving, d(power), eye.optical_length()).unwrap();
            prop_assert!((found.millimetres() - depth).abs() < 1e-9, "{found:?}");
            Ok(())
        })
        .unwrap();
}
