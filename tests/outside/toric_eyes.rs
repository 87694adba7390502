//! Two hundred toric eyes against ray-transfer matrices in numpy and against real rays.

use axiswright::optics::matrix::PowerMatrix;
use axiswright::optics::refraction::Refraction;
use axiswright::optics::toric::{ToricLens, predicted_refraction, refraction_at_cornea, residual_at_cornea};
use axiswright::optics::vergence::ThinLensEye;
use axiswright::units::{Dioptre, Meridian, Millimetre, PowerVector};
use serde_json::Value;

use crate::found::{lines, script};

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

struct Eye {
    values: Value,
}

impl Eye {
    fn f(&self, name: &str) -> f64 {
        self.values[name].as_f64().unwrap_or_else(|| panic!("no `{name}`"))
    }

    fn refraction(&self, name: &str) -> Refraction {
        let at = |i: usize| self.values[name][i].as_f64().unwrap();
        Refraction::from_sphere_cylinder_axis(d(at(0)), d(at(1)), Meridian::wrapping(at(2)))
    }

    fn thin_eye(&self) -> ThinLensEye {
        let mm = |name| Millimetre::from_millimetres(self.f(name));
        ThinLensEye::from_positions(mm("depth_mm"), mm("length_mm")).unwrap()
    }

    fn cornea(&self) -> PowerMatrix {
        let vector =
            |cylinder, steep| PowerVector::from_steep(d(self.f(cylinder)), Meridian::wrapping(self.f(steep)));
        let front =
            PowerMatrix::from_mean(d(self.f("front_d")), vector("front_cylinder_d", "front_steep_deg"));
        let back = PowerMatrix::from_mean(d(self.f("back_d")), -vector("back_cylinder_d", "back_steep_deg"));
        front + back
    }

    fn lens(&self) -> ToricLens {
        let axis = Meridian::wrapping(self.f("lens_axis_deg"));
        ToricLens::from_equivalent(d(self.f("lens_equivalent_d")), d(self.f("lens_cylinder_d")), axis)
            .unwrap()
    }
}

/// The eyes of the script; none when they could not be had.
fn eyes() -> Option<Vec<Eye>> {
    let lines = script("optics_numpy.py", &[], "", "toric eyes against ray-transfer matrices in numpy")?;
    Some(lines.into_iter().map(|values| Eye { values }).collect())
}

/// Worst distances of two refractions: sphere, cylinder in dioptres; axis in degrees where there is a cylinder.
fn worst(so_far: [f64; 3], ours: Refraction, theirs: Refraction) -> [f64; 3] {
    let sphere = (ours.sphere() - theirs.sphere()).dioptres().abs();
    let cylinder = (ours.cylinder() - theirs.cylinder()).dioptres().abs();
    let axis = if theirs.cylinder().dioptres().abs() > 0.01 {
        ours.axis().turn_to(theirs.axis()).degrees().abs()
    } else {
        0.0
    };
    [so_far[0].max(sphere), so_far[1].max(cylinder), so_far[2].max(axis)]
}

/// Source: numpy, `optics_numpy.py`.
/// Checked: sphere, cylinder and axis of 200 seeded eyes at the cornea and at spectacles; the residual.
#[test]
fn refractions_agree_with_ray_transfer_matrices() {
    let Some(eyes) = eyes() else { return };
    assert_eq!(eyes.len(), 200);
    let vertex = Millimetre::from_millimetres(12.0);
    let (mut at_cornea, mut at_spectacles, mut residual) = ([0.0; 3], [0.0; 3], 0.0_f64);
    for eye in &eyes {
        let (thin, cornea, lens) = (eye.thin_eye(), eye.cornea(), eye.lens());
        let near = refraction_at_cornea(thin, cornea, lens).unwrap();
        at_cornea = worst(at_cornea, near, eye.refraction("at_cornea"));
        let far = predicted_refraction(thin, cornea, lens, vertex).unwrap();
        at_spectacles = worst(at_spectacles, far, eye.refraction("at_spectacles"));
        let left = residual_at_cornea(thin, cornea, lens).unwrap();
        let theirs = eye.refraction("at_cornea").astigmatism();
        residual = residual.max((left - theirs).cylinder().dioptres());
    }
    eprintln!("worst sphere, cylinder, axis: cornea {at_cornea:?}, spectacles {at_spectacles:?}");
    for [sphere, cylinder, axis] in [at_cornea, at_spectacles] {
        assert!(sphere < 0.01 && cylinder < 0.01 && axis < 0.5, "{sphere} D, {cylinder} D, {axis} degrees");
    }
    assert!(residual < 0.01, "{residual} D");
}

/// Source: rayoptics, `eye_rays.py`: Snell's law at toric surfaces turned to their meridians.
/// Checked: the same 200 eyes at the cornea and at spectacles, no formula of ours or of the numpy script on the way.
#[test]
fn refractions_agree_with_real_rays() {
    let Some(eyes) = eyes() else { return };
    let asked = lines(eyes.iter().map(|eye| &eye.values));
    let Some(answers) = script("eye_rays.py", &[], &asked, "toric eyes against real rays") else { return };
    assert_eq!((eyes.len(), answers.len()), (200, 200));
    let vertex = Millimetre::from_millimetres(12.0);
    let (mut at_cornea, mut at_spectacles) = ([0.0; 3], [0.0; 3]);
    let mut wrong_axis_seen = 0;
    for (eye, rays) in eyes.iter().zip(answers) {
        let rays = Eye { values: rays };
        let (thin, cornea, lens) = (eye.thin_eye(), eye.cornea(), eye.lens());
        let near = refraction_at_cornea(thin, cornea, lens).unwrap();
        at_cornea = worst(at_cornea, near, rays.refraction("at_cornea"));
        let far = predicted_refraction(thin, cornea, lens, vertex).unwrap();
        at_spectacles = worst(at_spectacles, far, rays.refraction("at_spectacles"));
        // The negative control: a lens put across its axis.
        let turned = refraction_at_cornea(thin, cornea, lens.on(lens.axis().perpendicular())).unwrap();
        let [sphere, cylinder, axis] = worst([0.0; 3], turned, rays.refraction("at_cornea"));
        wrong_axis_seen += usize::from(sphere > 0.01 || cylinder > 0.01 || axis > 0.5);
    }
    eprintln!("worst sphere, cylinder, axis: cornea {at_cornea:?}, spectacles {at_spectacles:?}");
    for [sphere, cylinder, axis] in [at_cornea, at_spectacles] {
        assert!(sphere < 0.01 && cylinder < 0.01 && axis < 0.5, "{sphere} D, {cylinder} D, {axis} degrees");
    }
    assert!(wrong_axis_seen > 190, "{wrong_axis_seen}");
}

/// Source: numpy, `optics_numpy.py`.
/// Checked: the negative control, a lens put on the wrong axis, is seen.
#[test]
fn a_lens_on_the_wrong_axis_is_seen() {
    let Some(eyes) = eyes() else { return };
    let seen = eyes.iter().filter(|eye| {
        let lens = eye.lens().on(eye.lens().axis().perpendicular());
        let left = residual_at_cornea(eye.thin_eye(), eye.cornea(), lens).unwrap();
        (left - eye.refraction("at_cornea").astigmatism()).cylinder() > d(0.01)
    });
    assert!(seen.count() > 190);
}
