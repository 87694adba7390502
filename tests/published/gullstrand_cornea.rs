//! The schematic cornea of two surfaces.

use axiswright::optics::cornea::{fictitious_index, gaussian_cornea};
use axiswright::units::Millimetre;

/// Source: Gullstrand's schematic cornea, handbook values 48.83, -5.88, 43.05 D.
/// Checked: handbook values from memory; computed from the formula.
#[test]
fn the_handbook_cornea() {
    let mm = Millimetre::from_millimetres;
    let cornea = gaussian_cornea(mm(7.7), mm(6.8), mm(0.5)).unwrap();
    assert!((cornea.front.dioptres() - 48.83).abs() < 0.005);
    assert!((cornea.back.dioptres() + 5.88).abs() < 0.005);
    assert!((cornea.equivalent.dioptres() - 43.05).abs() < 0.005);
}

/// Source: index 1.3315 of Haigis's formula notes 1998, and 337.5 of ISO 10343.
/// Checked: both read; here derived from the same cornea.
#[test]
fn where_the_two_indices_come_from() {
    let mm = Millimetre::from_millimetres;
    let cornea = gaussian_cornea(mm(7.7), mm(6.8), mm(0.5)).unwrap();
    assert!((fictitious_index(mm(7.7), cornea.equivalent) - 1.3315).abs() < 5e-5);
    assert!((fictitious_index(mm(7.7), cornea.back_vertex) - 1.3375).abs() < 5e-5);
}
