//! Power vectors and back.

use axiswright::optics::refraction::{JacksonVector, Refraction};
use axiswright::units::{Dioptre, Meridian};

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

/// Source: Thibos LN, Wheeler W, Horner D, Optom Vis Sci 1997;74:367-375: M = S + C/2, J0 = -(C/2) cos 2A,
/// J45 = -(C/2) sin 2A.
/// Checked: definition read in the abstract; numbers computed.
#[test]
fn with_the_rule_has_a_positive_j0() {
    let vector =
        Refraction::from_sphere_cylinder_axis(d(-2.0), d(-1.5), Meridian::HORIZONTAL).jackson_vector();
    assert!((vector.m.dioptres() + 2.75).abs() < 1e-12);
    assert!((vector.j0.dioptres() - 0.75).abs() < 1e-12);
    assert!(vector.j45.dioptres().abs() < 1e-12);
}

/// Source: Thibos LN, Wheeler W, Horner D, Optom Vis Sci 1997;74:367-375: C = -2 J, S = M + J, A = atan2(J45, J0) / 2.
/// Checked: definition read in the abstract; round trip computed.
#[test]
fn back_to_sphere_cylinder_axis() {
    for axis in [5.0, 45.0, 90.0, 135.0, 180.0] {
        let written = Refraction::from_sphere_cylinder_axis(d(1.25), d(-2.5), Meridian::wrapping(axis));
        let back = written.jackson_vector().to_refraction().unwrap();
        assert!((back.sphere() - written.sphere()).dioptres().abs() < 1e-12);
        assert!((back.cylinder() - written.cylinder()).dioptres().abs() < 1e-12);
        assert!(back.axis().turn_to(written.axis()).degrees().abs() < 1e-9);
    }
}

/// Source: Thibos LN, Wheeler W, Horner D, Optom Vis Sci 1997;74:367-375.
/// Checked: definition read in the abstract. A sum with J0 = 0 has its axis at 45 or 135, never at 90.
#[test]
fn an_oblique_cylinder_keeps_its_axis() {
    let oblique = JacksonVector { m: d(0.0), j0: d(0.0), j45: d(1.0) }.to_refraction().unwrap();
    assert!((oblique.axis().degrees() - 45.0).abs() < 1e-12);
    let other = JacksonVector { m: d(0.0), j0: d(0.0), j45: d(-1.0) }.to_refraction().unwrap();
    assert!((other.axis().degrees() - 135.0).abs() < 1e-12);
}
