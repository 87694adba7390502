//! What the formulas are fed with.

use crate::optics::cornea;
use crate::optics::power::FormulaError;
use crate::units::{Dioptre, KeratometricIndex, Millimetre};

/// Range of axial lengths in which the equations are used, in millimetres. Ours, far beyond the evidence, which is thin
/// below 20.5 and above 30. Source: [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
const LENGTHS_MM: (f64, f64) = (15.0, 40.0);

/// Range of corneal radii in which the equations are used, in millimetres. Source:
/// [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
const RADII_MM: (f64, f64) = (5.0, 12.0);

/// Range of chamber depths in which the equations are used, in millimetres. Source:
/// [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
const DEPTHS_MM: (f64, f64) = (1.0, 8.0);

/// Measurements of one eye for a power formula.
///
/// The chamber depth runs from the FRONT of the cornea to the lens. A depth from the back needs the corneal thickness
/// added before: forgetting it moves Haigis 2000 by 0.42 D.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerInput {
    axial_length: Millimetre,
    flat_radius: Millimetre,
    steep_radius: Millimetre,
    chamber_depth: Option<Millimetre>,
}

fn within(
    quantity: &'static str,
    value: Millimetre,
    (least, most): (f64, f64),
) -> Result<Millimetre, FormulaError> {
    if (least..=most).contains(&value.millimetres()) {
        Ok(value)
    } else {
        let value = value.millimetres();
        Err(FormulaError::OutsideModel { quantity, unit: "mm", least, most, value })
    }
}

impl PowerInput {
    /// From axial length, the two principal radii of the front of the cornea, and the chamber depth if measured.
    ///
    /// # Errors
    /// [`FormulaError::OutsideModel`] for a length no eye has.
    pub fn from_radii(
        axial_length: Millimetre,
        flat_radius: Millimetre,
        steep_radius: Millimetre,
        chamber_depth: Option<Millimetre>,
    ) -> Result<Self, FormulaError> {
        Ok(Self {
            axial_length: within("axial length", axial_length, LENGTHS_MM)?,
            flat_radius: within("corneal radius", flat_radius, RADII_MM)?,
            steep_radius: within("corneal radius", steep_radius, RADII_MM)?,
            chamber_depth: chamber_depth.map(|d| within("chamber depth", d, DEPTHS_MM)).transpose()?,
        })
    }

    /// Axial length.
    pub const fn axial_length(self) -> Millimetre {
        self.axial_length
    }

    /// Chamber depth from the front of the cornea, if measured.
    pub const fn chamber_depth(self) -> Option<Millimetre> {
        self.chamber_depth
    }

    /// Mean of the principal powers by index 1.3375.
    pub fn mean_power(self) -> Result<Dioptre, FormulaError> {
        let power = |radius: Millimetre| {
            KeratometricIndex::ISO_10343.power_of(radius).ok_or(FormulaError::Optics(
                crate::optics::OpticsError::NotFinite { what: "a corneal power" },
            ))
        };
        Ok(cornea::mean_power(power(self.flat_radius)?, power(self.steep_radius)?))
    }

    /// Radius of the mean power, `337.5 / K`.
    pub fn radius_of_mean_power(self) -> Result<Millimetre, FormulaError> {
        KeratometricIndex::ISO_10343
            .radius_of(self.mean_power()?)
            .ok_or(FormulaError::Optics(crate::optics::OpticsError::NotFinite { what: "a corneal radius" }))
    }

    /// Mean of the principal radii.
    pub fn mean_radius(self) -> Result<Millimetre, FormulaError> {
        Ok(cornea::mean_radius(self.flat_radius, self.steep_radius)?)
    }
}
