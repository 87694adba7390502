//! Lens constants, each with where it came from.

use crate::units::{Millimetre, OutOfRange};

/// Where a lens constant came from; printed beside every result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ConstantOrigin {
    /// The label of the lens.
    Label,
    /// Optimised on the results of this many eyes.
    Optimised {
        /// Number of eyes.
        eyes: u32,
    },
    /// Converted from an A constant by a published relation, which holds for constants of labels only.
    ConvertedFromA,
    /// As stated in a lens or case file.
    Stated {
        /// The words of the file.
        words: String,
    },
}

macro_rules! lens_constant {
    ($(#[$meta:meta])* $name:ident, $words:literal, $unit:literal, $min:literal ..= $max:literal) => {
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $name {
            value: f64,
            origin: ConstantOrigin,
        }

        impl $name {
            #[doc = concat!("A constant from outside.\n\n# Errors\n[`OutOfRange`] when it is not a number or outside ", stringify!($min), " to ", stringify!($max), " ", $unit, ".")]
            pub fn from_reading(value: f64, origin: ConstantOrigin) -> Result<Self, OutOfRange> {
                if value.is_finite() && ($min..=$max).contains(&value) {
                    Ok(Self { value, origin })
                } else {
                    Err(OutOfRange { quantity: $words, unit: $unit, min: $min, max: $max, value })
                }
            }

            /// The number.
            pub const fn value(&self) -> f64 {
                self.value
            }

            /// Where it came from.
            pub const fn origin(&self) -> &ConstantOrigin {
                &self.origin
            }
        }
    };
}

lens_constant! {
    /// A constant of Retzlaff 1990 and Sheard 2010, no unit; 118 to 119.5 for lenses in the bag, from memory.
    /// Source: [`RETZLAFF_1990`](crate::cite::RETZLAFF_1990); the range that is accepted is our choice.
    AConstant, "A constant", "", 100.0 ..= 130.0
}

lens_constant! {
    /// Surgeon factor of Holladay 1988: distance from the plane of the iris to the lens, in millimetres.
    /// Source: [`HOLLADAY_1988`](crate::cite::HOLLADAY_1988); the range that is accepted is our choice.
    SurgeonFactor, "surgeon factor", "mm", -5.0 ..= 8.0
}

lens_constant! {
    /// Personalised chamber depth of Hoffer 1993, in millimetres. Source: [`HOFFER_1993`](crate::cite::HOFFER_1993);
    /// the range that is accepted is our choice.
    PersonalisedDepth, "personalised chamber depth", "mm", 0.0 ..= 12.0
}

impl AConstant {
    /// Depth constant of the formula, `0.62467 A - 68.747`, in millimetres. Source:
    /// [`RETZLAFF_1990`](crate::cite::RETZLAFF_1990).
    pub fn depth_constant(&self) -> Millimetre {
        Millimetre::from_millimetres(0.62467 * self.value - 68.747)
    }

    /// The surgeon factor of a label's A constant, `0.5663 A - 65.60`. Source:
    /// [`HOLLADAY_1988`](crate::cite::HOLLADAY_1988).
    pub fn to_surgeon_factor(&self) -> SurgeonFactor {
        SurgeonFactor { value: 0.5663 * self.value - 65.60, origin: ConstantOrigin::ConvertedFromA }
    }

    /// The personalised depth of a label's A constant, `0.58357 A - 63.896`. Source:
    /// [`HAIGIS_2000`](crate::cite::HAIGIS_2000) (the notes).
    pub fn to_personalised_depth(&self) -> PersonalisedDepth {
        PersonalisedDepth { value: 0.58357 * self.value - 63.896, origin: ConstantOrigin::ConvertedFromA }
    }
}

/// Three constants of Haigis 2000: `d = a0 + a1 ACD + a2 AL`.
///
/// There is no conversion from an A constant: it gives 1.1 D more than the other formulas in the average eye, and the
/// author says that such relations hold for default constants only.
#[derive(Debug, Clone, PartialEq)]
pub struct HaigisConstants {
    a0: f64,
    a1: f64,
    a2: f64,
    origin: ConstantOrigin,
}

impl HaigisConstants {
    /// The triple from outside: a0 in millimetres, a1 and a2 without a unit. The ranges that are accepted are our choice.
    ///
    /// # Errors
    /// [`OutOfRange`] when one is not a number, a0 beyond 10 mm or a1, a2 beyond 2.
    pub fn from_reading(a0: f64, a1: f64, a2: f64, origin: ConstantOrigin) -> Result<Self, OutOfRange> {
        let checked = |quantity, unit, most: f64, value: f64| {
            if value.is_finite() && value.abs() <= most {
                Ok(value)
            } else {
                Err(OutOfRange { quantity, unit, min: -most, max: most, value })
            }
        };
        Ok(Self {
            a0: checked("a0", "mm", 10.0, a0)?,
            a1: checked("a1", "", 2.0, a1)?,
            a2: checked("a2", "", 2.0, a2)?,
            origin,
        })
    }

    /// The depth that does not depend on the eye, in millimetres.
    pub const fn a0(&self) -> f64 {
        self.a0
    }

    /// Weight of the chamber depth.
    pub const fn a1(&self) -> f64 {
        self.a1
    }

    /// Weight of the axial length.
    pub const fn a2(&self) -> f64 {
        self.a2
    }

    /// Where they came from.
    pub const fn origin(&self) -> &ConstantOrigin {
        &self.origin
    }
}
