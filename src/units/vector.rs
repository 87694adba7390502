//! Astigmatism as a vector in the double-angle plane.

use super::angle::{Degrees, Meridian};
use super::quantity::Dioptre;
use super::trig;

/// Astigmatism as a full-cylinder vector at double the angle: `x = C cos 2a`, `y = C sin 2a`, with `a` the steep
/// meridian and `C` positive, in dioptres.
///
/// The one form in which astigmatism is added, subtracted and averaged. With-the-rule lies at negative `x`.
/// Source: double-angle representation after Thibos, Wheeler & Horner, Optom Vis Sci 1997;74:367 (there as half
/// cylinders with the opposite sign: J0 = -x/2, J45 = -y/2).
///
/// ```
/// use axiswright::units::{Dioptre, Meridian, PowerVector};
/// let at = |deg| PowerVector::from_steep(Dioptre::from_dioptres(1.0), Meridian::wrapping(deg));
/// let mean = (at(2.0) + at(178.0)).scaled(0.5);
/// assert_eq!(mean.steep().degrees(), 180.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerVector {
    x: f64,
    y: f64,
}

impl PowerVector {
    /// No astigmatism.
    pub const ZERO: Self = Self { x: 0.0, y: 0.0 };

    /// From the size of the cylinder and its steep meridian. A negative cylinder is the same vector turned by 90
    /// degrees.
    pub fn from_steep(cylinder: Dioptre, steep: Meridian) -> Self {
        let angle = trig::radians(2.0 * steep.degrees());
        Self { x: cylinder.dioptres() * trig::cos(angle), y: cylinder.dioptres() * trig::sin(angle) }
    }

    /// From components in dioptres; none when one is not finite.
    pub fn from_components(x: f64, y: f64) -> Option<Self> {
        (x.is_finite() && y.is_finite()).then_some(Self { x, y })
    }

    /// Component along 0/180 degrees, in dioptres; negative with the rule.
    pub const fn x(self) -> f64 {
        self.x
    }

    /// Component along 45 degrees, in dioptres.
    pub const fn y(self) -> f64 {
        self.y
    }

    /// Size of the cylinder, never negative.
    pub fn cylinder(self) -> Dioptre {
        Dioptre::from_dioptres(trig::hypot(self.x, self.y))
    }

    /// Steep meridian; 180 for the zero vector, which has none.
    pub fn steep(self) -> Meridian {
        if self.x.abs() <= 0.0 && self.y.abs() <= 0.0 {
            return Meridian::HORIZONTAL;
        }
        Meridian::wrapping(trig::degrees(trig::atan2(self.y, self.x)) / 2.0)
    }

    /// The vector times a number.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { x: self.x * factor, y: self.y * factor }
    }

    /// The vector with its meridian turned, positive anticlockwise.
    #[must_use]
    pub fn turned(self, turn: Degrees) -> Self {
        let (sin, cos) = (trig::sin(2.0 * turn.radians()), trig::cos(2.0 * turn.radians()));
        Self { x: self.x * cos - self.y * sin, y: self.x * sin + self.y * cos }
    }

    /// The vector of the mirror image of the eye.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self { x: self.x, y: -self.y }
    }

    /// The part that steepens the meridian given (negative: flattens it), in dioptres.
    pub fn along(self, meridian: Meridian) -> Dioptre {
        let angle = trig::radians(2.0 * meridian.degrees());
        Dioptre::from_dioptres(self.x * trig::cos(angle) + self.y * trig::sin(angle))
    }

    /// The part that turns astigmatism at the meridian given, positive anticlockwise, in dioptres.
    pub fn torque(self, meridian: Meridian) -> Dioptre {
        let angle = trig::radians(2.0 * meridian.degrees());
        Dioptre::from_dioptres(self.y * trig::cos(angle) - self.x * trig::sin(angle))
    }

    /// Plain mean of vectors; none of an empty list.
    pub fn mean(vectors: &[Self]) -> Option<Self> {
        let count = f64::from(u32::try_from(vectors.len()).ok()?);
        (count > 0.0).then(|| vectors.iter().fold(Self::ZERO, |sum, v| sum + *v).scaled(1.0 / count))
    }
}

impl core::ops::Add for PowerVector {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { x: self.x + other.x, y: self.y + other.y }
    }
}

impl core::ops::Sub for PowerVector {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { x: self.x - other.x, y: self.y - other.y }
    }
}

impl core::ops::Neg for PowerVector {
    type Output = Self;
    fn neg(self) -> Self {
        self.scaled(-1.0)
    }
}
