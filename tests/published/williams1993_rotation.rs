//! Over-refraction of a toric lens off its axis.

use axiswright::optics::refraction::Refraction;
use axiswright::optics::rotation::{cost_of_misalignment, residual};
use axiswright::units::{Degrees, Dioptre, Meridian, PowerVector};

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

/// Source: Williams L 1993, IACLE contact lens course module 3, appendix B: lens of 2.00 D off by 5, 10, 30, 45 degrees
/// leaves 0.35, 0.69, 2.00, 2.83 D.
/// Checked: table read.
#[test]
fn a_two_dioptre_lens() {
    let eye = PowerVector::from_steep(d(2.0), Meridian::wrapping(70.0));
    for (off, printed) in [(5.0, 0.35), (10.0, 0.69), (30.0, 2.00), (45.0, 2.83)] {
        let left = residual(eye, d(2.0), Meridian::wrapping(70.0 + off));
        assert!((left.cylinder().dioptres() - printed).abs() < 0.0061, "{off}");
    }
}

/// Source: Williams L 1993, as above: sphere of half the cylinder, the equivalent stays zero.
/// Checked: table read.
#[test]
fn the_equivalent_stays() {
    let eye = PowerVector::from_steep(d(3.0), Meridian::VERTICAL);
    let left =
        Refraction::from_mean_and_vector(Dioptre::ZERO, residual(eye, d(3.0), Meridian::wrapping(100.0)));
    assert!((left.sphere().dioptres() + left.cylinder().dioptres() / 2.0).abs() < 1e-12);
}

/// Source: law of Williams L 1993 for equal cylinders: the two senses cost the same.
/// Checked: computed by two routes.
#[test]
fn both_senses_cost_the_same_for_a_full_correction() {
    let eye = PowerVector::from_steep(d(2.0), Meridian::wrapping(98.0));
    let cost =
        cost_of_misalignment(eye, d(2.0), Meridian::wrapping(98.0), Degrees::from_degrees(5.0)).unwrap();
    assert!((cost.anticlockwise.cylinder() - cost.clockwise.cylinder()).dioptres().abs() < 1e-12);
    assert!((cost.worst.dioptres() - 4.0 * axiswright::units::trig::sin(5.0_f64.to_radians())).abs() < 1e-12);
    assert!((cost.added - cost.worst).dioptres().abs() < 1e-12);
}
