//! The formulas: five rules for lens depth and optical length.

use crate::cite::{self, Source};
use crate::optics::error::{dioptre, millimetre};
use crate::optics::power::placement::{DomainNote, LensPlacement};
use crate::optics::power::{
    AConstant, FormulaError, HaigisConstants, PersonalisedDepth, PowerInput, SurgeonFactor,
};
use crate::optics::vergence::ThinLensEye;
use crate::units::{Dioptre, KeratometricIndex, Millimetre, trig};

/// A formula with its lens constant.
#[derive(Debug, Clone, PartialEq)]
pub enum Formula {
    /// Haigis 2000.
    Haigis2000(HaigisConstants),
    /// Holladay 1988.
    Holladay1988(SurgeonFactor),
    /// Hoffer 1993.
    Hoffer1993(PersonalisedDepth),
    /// Retzlaff 1990.
    Retzlaff1990(AConstant),
    /// Sheard 2010.
    Sheard2010(AConstant),
}

impl Formula {
    /// Where this formula puts the lens.
    ///
    /// # Errors
    /// [`FormulaError`] when it cannot be used for this eye.
    pub fn placement(&self, input: PowerInput) -> Result<LensPlacement, FormulaError> {
        match self {
            Self::Haigis2000(constants) => haigis2000(input, constants),
            Self::Holladay1988(constant) => holladay1988(input, constant),
            Self::Hoffer1993(constant) => hoffer1993(input, constant),
            Self::Retzlaff1990(constant) => retzlaff1990(input, constant),
            Self::Sheard2010(constant) => sheard2010(input, constant),
        }
    }

    /// Where it was published; its short name is the label on paper.
    pub const fn source(&self) -> Source {
        match self {
            Self::Haigis2000(_) => cite::HAIGIS_2000,
            Self::Holladay1988(_) => cite::HOLLADAY_1988,
            Self::Hoffer1993(_) => cite::HOFFER_1993,
            Self::Retzlaff1990(_) => cite::RETZLAFF_1990,
            Self::Sheard2010(_) => cite::SHEARD_2010,
        }
    }
}

fn placement(
    depth_mm: f64,
    optical_length_mm: f64,
    index: KeratometricIndex,
    corneal_power: Dioptre,
    notes: Vec<DomainNote>,
) -> Result<LensPlacement, FormulaError> {
    let depth = millimetre(depth_mm, "a lens depth")?;
    let length = millimetre(optical_length_mm, "an optical length")?;
    Ok(LensPlacement { eye: ThinLensEye::from_positions(depth, length)?, index, corneal_power, notes })
}

/// Haigis 2000: `d = a0 + a1 ACD + a2 AL`, index 1.3315 on the mean radius, optical length the axial length.
///
/// The cornea does not enter the depth. Source: [`HAIGIS_2000`](cite::HAIGIS_2000).
///
/// # Errors
/// [`FormulaError::ChamberDepthMissing`] without a chamber depth.
pub fn haigis2000(input: PowerInput, constants: &HaigisConstants) -> Result<LensPlacement, FormulaError> {
    let chamber = input.chamber_depth().ok_or(FormulaError::ChamberDepthMissing)?.millimetres();
    let length = input.axial_length().millimetres();
    let depth = constants.a0() + constants.a1() * chamber + constants.a2() * length;
    let index = KeratometricIndex::from_index(1.3315);
    let power =
        dioptre(1000.0 * (index.index() - 1.0) / input.mean_radius()?.millimetres(), "a corneal power")?;
    placement(depth, length, index, power, Vec::new())
}

/// Holladay 1988: `d = 0.56 + R - sqrt(R^2 - AG^2/4) + SF`, `AG = 12.5 AL / 23.45` up to 13.5, `R` from 7 mm; index 4/3,
/// optical length `AL + 0.2`.
///
/// Source: [`HOLLADAY_1988`](cite::HOLLADAY_1988).
///
/// # Errors
/// [`FormulaError`] when the lens would lie outside the eye.
pub fn holladay1988(input: PowerInput, constant: &SurgeonFactor) -> Result<LensPlacement, FormulaError> {
    let length = input.axial_length().millimetres();
    let radius = input.radius_of_mean_power()?.millimetres();
    let width = 12.5 * length / 23.45;
    let mut notes = Vec::new();
    if width > 13.5 {
        notes.push(DomainNote::ChamberWidthCapped);
    }
    if radius < 7.0 {
        notes.push(DomainNote::RadiusFloor);
    }
    let width = width.min(13.5);
    let radius = radius.max(7.0);
    let chamber = 0.56 + radius - (radius * radius - width * width / 4.0).sqrt();
    let index = KeratometricIndex::from_index(4.0 / 3.0);
    let power = input.mean_power()? * KeratometricIndex::ISO_10343.factor_to(index);
    placement(chamber + constant.value(), length + 0.2, index, power, notes)
}

/// Hoffer 1993: depth by length, by the tangent of the corneal power taken as degrees, and by the constant; the power as
/// read with 1.3375, optical length the axial length.
///
/// Source: [`HOFFER_1993`](cite::HOFFER_1993).
///
/// # Errors
/// [`FormulaError`] when the lens would lie outside the eye.
pub fn hoffer1993(input: PowerInput, constant: &PersonalisedDepth) -> Result<LensPlacement, FormulaError> {
    let length = input.axial_length().millimetres();
    let power = input.mean_power()?;
    let used = length.clamp(18.5, 31.0);
    let mut notes = Vec::new();
    if (used - length).abs() > 0.0 {
        notes.push(DomainNote::LengthClipped { used: Millimetre::from_millimetres(used) });
    }
    let (sign, centre) = if used <= 23.0 { (1.0, 28.0) } else { (-1.0, 23.5) };
    let tangent = |degrees: f64| trig::tan(trig::radians(degrees));
    let by_cornea = tangent(power.dioptres());
    let from_mean = 23.5 - used;
    let from_centre = centre - used;
    let depth = constant.value() - 0.3 * from_mean
        + by_cornea * by_cornea
        + 0.1 * sign * from_mean * from_mean * tangent(0.1 * from_centre * from_centre)
        - 0.99166;
    if !(2.5..=6.5).contains(&depth) {
        notes.push(DomainNote::DepthUnusual { depth: millimetre(depth, "a lens depth")? });
    }
    placement(depth + 0.05, length, KeratometricIndex::ISO_10343, power, notes)
}

/// Axial length as Retzlaff 1990 uses it for the width of the cornea, in millimetres.
fn corrected_length(length: f64) -> f64 {
    if length <= 24.2 { length } else { -3.446 + 1.716 * length - 0.0237 * length * length }
}

/// Optical length of Retzlaff 1990 and Sheard 2010, `AL + 0.65696 - 0.02029 AL`, in millimetres.
fn length_to_receptors(length: f64) -> f64 {
    length + 0.65696 - 0.02029 * length
}

/// Index of Retzlaff 1990 and Sheard 2010.
const RETZLAFF_INDEX: KeratometricIndex = KeratometricIndex::from_index(1.333);

/// Corneal power by index 1.3375 at which Retzlaff 1990 turns: beyond it, a steeper cornea no longer puts the lens
/// deeper.
///
/// Root of `337.5 / K = (-5.41 + 0.58412 LCOR + 0.098 K) / 2`. 50.0 D at 24 mm, 48.2 D at 26 mm.
///
/// # Errors
/// [`FormulaError`] when the length is no number.
pub fn retzlaff1990_cusp(axial_length: Millimetre) -> Result<Dioptre, FormulaError> {
    let linear = -5.41 + 0.58412 * corrected_length(axial_length.millimetres());
    let root = (linear * linear + 4.0 * 0.098 * 2.0 * 337.5).sqrt();
    Ok(dioptre((root - linear) / (2.0 * 0.098), "the cusp of Retzlaff 1990")?)
}

/// Retzlaff 1990: depth by the height of the corneal dome over its computed width plus the constant, index 1.333,
/// optical length with the thickness of the retina.
///
/// Refused beyond its cusp, where the printed formula takes the root of a negative number as zero. Source:
/// [`RETZLAFF_1990`](cite::RETZLAFF_1990).
///
/// # Errors
/// [`FormulaError::BeyondCusp`].
pub fn retzlaff1990(input: PowerInput, constant: &AConstant) -> Result<LensPlacement, FormulaError> {
    let length = input.axial_length().millimetres();
    let power = input.mean_power()?;
    let radius = input.radius_of_mean_power()?.millimetres();
    let corrected = corrected_length(length);
    let mut notes = Vec::new();
    if length > 24.2 {
        notes.push(DomainNote::CorrectedLength { used: millimetre(corrected, "a corrected length")? });
    }
    if length > 36.2 {
        notes.push(DomainNote::CorrectedLengthFalls);
    }
    let below = retzlaff1990_cusp(input.axial_length())? - power;
    let width = -5.41 + 0.58412 * corrected + 0.098 * power.dioptres();
    let radicand = radius * radius - width * width / 4.0;
    if radicand < 0.0 || below.dioptres() < 0.0 {
        let cusp_d = (power + below).dioptres();
        return Err(FormulaError::BeyondCusp { power_d: power.dioptres(), cusp_d });
    }
    if below.dioptres() < 3.0 {
        notes.push(DomainNote::NearCusp { below });
    }
    let height = radius - radicand.sqrt();
    let depth = height + constant.depth_constant().millimetres() - 3.336;
    let corneal = power * KeratometricIndex::ISO_10343.factor_to(RETZLAFF_INDEX);
    placement(depth, length_to_receptors(length), RETZLAFF_INDEX, corneal, notes)
}

/// Sheard 2010: Retzlaff 1990 with the height of the dome by `-10.326 + 0.32630 AL + 0.13533 K`; the same constant, no
/// cusp.
///
/// Source: [`SHEARD_2010`](cite::SHEARD_2010).
///
/// # Errors
/// [`FormulaError`] when the lens would lie outside the eye.
pub fn sheard2010(input: PowerInput, constant: &AConstant) -> Result<LensPlacement, FormulaError> {
    let length = input.axial_length().millimetres();
    let power = input.mean_power()?;
    let height = -10.326 + 0.32630 * length + 0.13533 * power.dioptres();
    let depth = height + constant.depth_constant().millimetres() - 3.336;
    let corneal = power * KeratometricIndex::ISO_10343.factor_to(RETZLAFF_INDEX);
    let notes = if length > 27.0 { vec![DomainNote::LongEye] } else { Vec::new() };
    placement(depth, length_to_receptors(length), RETZLAFF_INDEX, corneal, notes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::power::ConstantOrigin;

    fn input(length: f64, power: f64) -> PowerInput {
        let radius = Millimetre::from_millimetres(337.5 / power);
        PowerInput::from_radii(Millimetre::from_millimetres(length), radius, radius, None).unwrap()
    }

    #[test]
    fn retzlaff1990_is_refused_beyond_its_cusp_and_noted_before() {
        let constant = AConstant::from_reading(118.7, ConstantOrigin::Label).unwrap();
        let refused = retzlaff1990(input(26.0, 49.0), &constant);
        assert!(matches!(refused, Err(FormulaError::BeyondCusp { .. })));
        let noted = retzlaff1990(input(24.0, 49.0), &constant).unwrap();
        assert!(noted.notes().iter().any(|note| matches!(note, DomainNote::NearCusp { .. })));
        assert!(retzlaff1990(input(23.5, 44.0), &constant).unwrap().notes().is_empty());
    }

    #[test]
    fn haigis2000_asks_for_the_chamber_depth() {
        let constants = HaigisConstants::from_reading(-0.70, 0.24, 0.21, ConstantOrigin::Label).unwrap();
        assert_eq!(haigis2000(input(23.5, 44.0), &constants), Err(FormulaError::ChamberDepthMissing));
    }
}
