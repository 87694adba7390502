//! Factors on the keratometric cylinder.

use axiswright::optics::posterior::{PosteriorError, PosteriorModel};
use axiswright::units::{Dioptre, Meridian, PowerVector};

fn total(cylinder: f64, steep: f64, lens: f64) -> Result<PowerVector, PosteriorError> {
    let measured = PowerVector::from_steep(Dioptre::from_dioptres(cylinder), Meridian::wrapping(steep));
    let lens_cylinder = Dioptre::from_dioptres(lens);
    Ok(measured + PosteriorModel::Goggin2015 { lens_cylinder }.addition(measured)?)
}

/// Source: Goggin M et al., J Refract Surg 2015;31:98: 0.75 with the rule, 1.41 against the rule.
/// Checked: abstract read.
#[test]
fn the_two_factors() {
    let with = total(1.2, 90.0, 1.75).unwrap();
    assert!((with.cylinder().dioptres() - 0.9).abs() < 1e-12);
    let against = total(1.2, 178.0, 1.75).unwrap();
    assert!((against.cylinder().dioptres() - 1.692).abs() < 1e-12);
    assert!((against.steep().degrees() - 178.0).abs() < 1e-9);
}

/// Source: Goggin M et al., J Refract Surg 2015;31:98: for lens cylinders of 2.0 D or less.
/// Checked: abstract read.
#[test]
fn nothing_is_said_about_stronger_lenses() {
    assert!(matches!(total(2.0, 90.0, 2.25), Err(PosteriorError::LensTooStrong { .. })));
    assert!(total(1.4, 90.0, 2.0).is_ok());
}
