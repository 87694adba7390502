//! Angles in the notation of ISO 8429.
//!
//! Seen by a person facing the patient: zero at the viewer's right, anticlockwise, both eyes alike. A [`Meridian`] has
//! no direction and lives on the circle of 180 degrees; a [`Direction`] names a place on the limbus and lives on 360; a
//! turn between them is a number of [`Degrees`] with a sign.

use super::bounds::OutOfRange;
use super::trig;

/// A turn in degrees, positive anticlockwise as seen by a person facing the patient.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Degrees(f64);

impl Degrees {
    /// A turn written in the source, in degrees.
    ///
    /// # Panics
    /// When the constant is not a finite number.
    pub const fn from_degrees(value: f64) -> Self {
        assert!(value.is_finite(), "a constant is a finite number");
        Self(value)
    }

    /// A turn from outside.
    ///
    /// # Errors
    /// [`OutOfRange`] when it is not a number or beyond one full turn.
    pub fn from_reading(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() && (-360.0..=360.0).contains(&value) {
            Ok(Self(value + 0.0))
        } else {
            Err(OutOfRange { quantity: "turn", unit: "deg", min: -360.0, max: 360.0, value })
        }
    }

    /// A computed turn; none when the computation left the finite numbers.
    pub fn computed(value: f64) -> Option<Self> {
        value.is_finite().then_some(Self(value))
    }

    /// The turn in degrees.
    pub const fn degrees(self) -> f64 {
        self.0
    }

    /// The turn in radians.
    pub fn radians(self) -> f64 {
        trig::radians(self.0)
    }

    /// The size without the direction.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self(self.0.abs())
    }
}

/// Folds a finite angle into (0, `circle`].
///
/// `rem_euclid` gives `circle` itself for a tiny negative number, and 0 for a multiple; both are the same place, written
/// `circle` here.
fn fold(value: f64, circle: f64) -> f64 {
    let folded = value.rem_euclid(circle);
    if folded <= 0.0 || folded >= circle { circle } else { folded }
}

/// A meridian of the eye, in (0, 180] degrees; 0 is written 180.
///
/// The place where a power is measured or a lens axis lies. Not the axis of a refraction's cylinder, which has no power:
/// see [`Meridian::from_cylinder_axis`].
///
/// ```
/// use axiswright::units::Meridian;
/// assert_eq!(Meridian::from_reading(0.0).unwrap().degrees(), 180.0);
/// assert!(Meridian::from_reading(200.0).is_err());
/// assert_eq!(Meridian::wrapping(178.0).turn_to(Meridian::wrapping(2.0)).degrees(), 4.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meridian(f64);

impl Meridian {
    /// The horizontal meridian.
    pub const HORIZONTAL: Self = Self(180.0);
    /// The vertical meridian.
    pub const VERTICAL: Self = Self(90.0);

    /// A meridian from outside, 0 to 180 degrees.
    ///
    /// # Errors
    /// [`OutOfRange`] for anything else: 200 is not turned into 20.
    pub fn from_reading(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() && (0.0..=180.0).contains(&value) {
            Ok(Self(fold(value, 180.0)))
        } else {
            Err(OutOfRange { quantity: "meridian", unit: "deg", min: 0.0, max: 180.0, value })
        }
    }

    /// A computed angle, folded into (0, 180]. A value that is not finite becomes 180; computed angles come from
    /// finite vectors.
    pub fn wrapping(value: f64) -> Self {
        if value.is_finite() { Self(fold(value, 180.0)) } else { Self(180.0) }
    }

    /// The power meridian of a cylinder whose axis is given: 90 degrees away.
    ///
    /// Source: DICOM PS3.3 C.8.25.6.1, the cylinder axis is "90 degrees from the power meridian".
    pub fn from_cylinder_axis(axis: Self) -> Self {
        axis.perpendicular()
    }

    /// The meridian in degrees, in (0, 180].
    pub const fn degrees(self) -> f64 {
        self.0
    }

    /// The meridian at right angles.
    #[must_use]
    pub fn perpendicular(self) -> Self {
        Self::wrapping(self.0 + 90.0)
    }

    /// The meridian after a turn, positive anticlockwise.
    #[must_use]
    pub fn turned(self, turn: Degrees) -> Self {
        Self::wrapping(self.0 + turn.degrees())
    }

    /// The same meridian in the mirror image of the eye: 180 minus it.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self::wrapping(180.0 - self.0)
    }

    /// The shortest turn from here to `other`, in (-90, 90] degrees, positive anticlockwise.
    pub fn turn_to(self, other: Self) -> Degrees {
        let turn = (other.0 - self.0).rem_euclid(180.0);
        Degrees(if turn > 90.0 { turn - 180.0 } else { turn })
    }

    /// The end of the meridian that lies in the upper half (0 < direction <= 180).
    pub const fn upper_end(self) -> Direction {
        Direction(self.0)
    }
}

/// A place on the limbus or a direction seen from the pupil, in (0, 360] degrees; 0 is kept as 360.
///
/// A meridian cannot name an incision: it has two ends. A direction can.
///
/// ```
/// use axiswright::units::Direction;
/// let temporal_of_right = Direction::from_reading(180.0).unwrap();
/// assert_eq!(temporal_of_right.meridian().degrees(), 180.0);
/// assert!(Direction::from_reading(361.0).is_err());
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction(f64);

impl Direction {
    /// A direction from outside, 0 to 360 degrees.
    ///
    /// # Errors
    /// [`OutOfRange`] for anything else.
    pub fn from_reading(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() && (0.0..=360.0).contains(&value) {
            Ok(Self(fold(value, 360.0)))
        } else {
            Err(OutOfRange { quantity: "direction", unit: "deg", min: 0.0, max: 360.0, value })
        }
    }

    /// A computed angle, folded into (0, 360].
    pub fn wrapping(value: f64) -> Self {
        if value.is_finite() { Self(fold(value, 360.0)) } else { Self(360.0) }
    }

    /// The direction in degrees, in (0, 360].
    pub const fn degrees(self) -> f64 {
        self.0
    }

    /// The meridian this place lies on.
    pub fn meridian(self) -> Meridian {
        Meridian::wrapping(self.0)
    }

    /// The place across the pupil.
    #[must_use]
    pub fn opposite(self) -> Self {
        Self::wrapping(self.0 + 180.0)
    }

    /// The same place in the mirror image of the eye.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self::wrapping(180.0 - self.0)
    }

    /// The shortest turn from here to `other`, in (-180, 180] degrees, positive anticlockwise.
    pub fn turn_to(self, other: Self) -> Degrees {
        let turn = (other.0 - self.0).rem_euclid(360.0);
        Degrees(if turn > 180.0 { turn - 360.0 } else { turn })
    }

    /// The hour of a clock face seen by a person facing the patient, 12 at the forehead, in (0, 12].
    pub fn clock_hour(self) -> f64 {
        fold((90.0 - self.0) / 30.0, 12.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tiny_negative_angle_is_180() {
        assert_eq!(Meridian::wrapping(-1e-20), Meridian::HORIZONTAL);
        assert_eq!(Meridian::wrapping(0.0), Meridian::HORIZONTAL);
        assert_eq!(Meridian::wrapping(-0.0), Meridian::HORIZONTAL);
        assert_eq!(Direction::wrapping(-1e-20).degrees().to_bits(), 360.0_f64.to_bits());
    }

    #[test]
    fn turns_are_the_short_way() {
        let turn = |a, b| Meridian::wrapping(a).turn_to(Meridian::wrapping(b)).degrees();
        assert!((turn(179.5, 0.5) - 1.0).abs() < 1e-12);
        assert!((turn(0.5, 179.5) + 1.0).abs() < 1e-12);
        assert!((turn(90.0, 180.0) - 90.0).abs() < 1e-12);
        assert!((turn(180.0, 90.0) - 90.0).abs() < 1e-12);
    }

    #[test]
    fn clock_hours_are_the_patients() {
        for (at, hour) in [(0.0, 3.0), (90.0, 12.0), (180.0, 9.0), (270.0, 6.0), (45.0, 1.5)] {
            assert!((Direction::wrapping(at).clock_hour() - hour).abs() < 1e-12, "{at}");
        }
    }
}
