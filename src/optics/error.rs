//! What a formula refuses.

use crate::units::{Dioptre, Millimetre, PowerVector};

/// A formula was asked for something outside the optics it describes.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OpticsError {
    /// A computation left the finite numbers.
    #[error("the computation of {what} left the finite numbers")]
    NotFinite {
        /// The quantity that was being computed.
        what: &'static str,
    },
    /// Light comes to a focus before it reaches the plane asked for.
    #[error(
        "light of vergence `{vergence}` D comes to a focus within the `{distance_mm}` mm to the next plane"
    )]
    FocusBetween {
        /// Greatest principal vergence at the first plane, in dioptres.
        vergence: f64,
        /// Distance between the planes, in millimetres, negative against the light.
        distance_mm: f64,
    },
    /// A matrix of powers has no inverse: one principal power is zero.
    #[error("a surface with a principal power of zero has no inverse")]
    Singular,
    /// A length or radius must be positive.
    #[error("{what} `{value}` mm must be greater than 0 mm")]
    NotPositive {
        /// The length.
        what: &'static str,
        /// Its value in millimetres.
        value: f64,
    },
    /// The lens would lie behind the retina.
    #[error("the lens depth `{depth_mm}` mm does not lie before the retina at `{length_mm}` mm")]
    BehindRetina {
        /// Lens depth, in millimetres.
        depth_mm: f64,
        /// Optical length, in millimetres.
        length_mm: f64,
    },
    /// A cylinder is given by its size and its meridian; its size has no sign.
    #[error("{what} `{value}` D must not be negative")]
    Negative {
        /// The cylinder.
        what: &'static str,
        /// Its value in dioptres.
        value: f64,
    },
}

impl OpticsError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NotFinite { .. } | Self::Singular => "check the powers and lengths that went in",
            Self::FocusBetween { .. } => "check the refraction, the vertex distance and the lens depth",
            Self::NotPositive { .. } => "give the length in millimetres",
            Self::BehindRetina { .. } => "check the axial length and the lens constant",
            Self::Negative { .. } => "give the cylinder without a sign and turn its meridian by 90 degrees",
        }
    }
}

/// A power, or the refusal that it is none.
pub(in crate::optics) fn dioptre(value: f64, what: &'static str) -> Result<Dioptre, OpticsError> {
    Dioptre::computed(value).ok_or(OpticsError::NotFinite { what })
}

/// A length, or the refusal that it is none.
pub(in crate::optics) fn millimetre(value: f64, what: &'static str) -> Result<Millimetre, OpticsError> {
    Millimetre::computed(value).ok_or(OpticsError::NotFinite { what })
}

/// A vector, or the refusal that it is none.
pub(in crate::optics) fn vector(x: f64, y: f64, what: &'static str) -> Result<PowerVector, OpticsError> {
    PowerVector::from_components(x, y).ok_or(OpticsError::NotFinite { what })
}

/// A length above zero in metres, or the refusal.
pub(in crate::optics) fn positive_metres(length: Millimetre, what: &'static str) -> Result<f64, OpticsError> {
    let value = length.millimetres();
    if value > 0.0 { Ok(value / 1000.0) } else { Err(OpticsError::NotPositive { what, value }) }
}

/// A cylinder without a sign, or the refusal.
pub(in crate::optics) fn unsigned(cylinder: Dioptre, what: &'static str) -> Result<f64, OpticsError> {
    let value = cylinder.dioptres();
    if value >= 0.0 { Ok(value) } else { Err(OpticsError::Negative { what, value }) }
}
