//! What an incision does to the cornea.
//!
//! The centroid of a surgeon's own results, never the mean of the magnitudes, is what an incision is planned with:
//! scatter makes a mean magnitude of 0.45 D out of a centroid of 0.1 D.

use crate::optics::error::{OpticsError, positive_metres, vector};
use crate::optics::uncertainty::Covariance;
use crate::optics::view::Eye;
use crate::units::{Degrees, Dioptre, Direction, Millimetre, PowerVector, trig};

/// Effect of an incision at a place on the limbus, at the corneal plane.
///
/// Flattening is positive when the incision's own meridian becomes flatter; torque is positive when the astigmatism is
/// turned anticlockwise. Source for the two parts: [`NAESER_1994`](crate::cite::NAESER_1994).
///
/// ```
/// use axiswright::optics::incision::IncisionEffect;
/// use axiswright::units::{Dioptre, Direction, Meridian, PowerVector};
/// let temporal = IncisionEffect::from_flattening(
///     Direction::wrapping(180.0), Dioptre::from_dioptres(0.25), Dioptre::ZERO);
/// let cornea = PowerVector::from_steep(Dioptre::from_dioptres(1.0), Meridian::wrapping(180.0));
/// let after = cornea + temporal.vector();
/// assert!((after.cylinder().dioptres() - 0.75).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncisionEffect {
    at: Direction,
    vector: PowerVector,
    covariance: Option<Covariance>,
    eyes: Option<u32>,
}

impl IncisionEffect {
    /// From flattening and torque at the incision's own meridian.
    pub fn from_flattening(at: Direction, flattening: Dioptre, torque: Dioptre) -> Self {
        let meridian = at.meridian();
        let quarter = meridian.turned(Degrees::from_degrees(45.0));
        let vector =
            PowerVector::from_steep(-flattening, meridian) + PowerVector::from_steep(torque, quarter);
        Self { at, vector, covariance: None, eyes: None }
    }

    /// From a published centroid: an astigmatism of `steepened` dioptres whose steep meridian is `steepened_at`.
    pub const fn from_centroid(at: Direction, centroid: PowerVector) -> Self {
        Self { at, vector: centroid, covariance: None, eyes: None }
    }

    /// With its scatter, as the covariance of the vector in the double-angle plane of this eye.
    #[must_use]
    pub const fn with_covariance(self, covariance: Covariance) -> Self {
        Self { covariance: Some(covariance), ..self }
    }

    /// With its scatter, as the covariance of steepening and torque at the incision's own meridian.
    #[must_use]
    pub fn with_own_covariance(self, covariance: Covariance) -> Self {
        let turn = Degrees::computed(self.at.meridian().degrees()).unwrap_or(Degrees::from_degrees(0.0));
        self.with_covariance(covariance.turned(turn))
    }

    /// With the number of eyes it was found in.
    #[must_use]
    pub const fn with_eyes(self, eyes: u32) -> Self {
        Self { eyes: Some(eyes), ..self }
    }

    /// Place on the limbus.
    pub const fn at(self) -> Direction {
        self.at
    }

    /// The vector that the incision adds to the cornea.
    pub const fn vector(self) -> PowerVector {
        self.vector
    }

    /// Flattening of the incision's own meridian, positive when it becomes flatter.
    pub fn flattening(self) -> Dioptre {
        -self.vector.along(self.at.meridian())
    }

    /// Torque at the incision's own meridian, positive anticlockwise.
    pub fn torque(self) -> Dioptre {
        self.vector.torque(self.at.meridian())
    }

    /// Covariance of the vector in the double-angle plane, if stated.
    pub const fn covariance(self) -> Option<Covariance> {
        self.covariance
    }

    /// How the effect scatters in the next eye, if a scatter is stated: that of single eyes and that of their mean, `1 + 1/n`
    /// times the covariance; with no number of eyes stated the covariance itself.
    pub fn scatter_of_next_eye(self) -> Option<Covariance> {
        let eyes = self.eyes.filter(|eyes| *eyes > 0);
        let factor = eyes.map_or(1.0, |eyes| (1.0 + 1.0 / f64::from(eyes)).sqrt());
        Some(self.covariance?.scaled(factor))
    }

    /// Number of eyes, if stated.
    pub const fn eyes(self) -> Option<u32> {
        self.eyes
    }

    /// The same incision in the mirror image of the eye: place and torque change sides, the flattening stays.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self {
            at: self.at.mirrored(),
            vector: self.vector.mirrored(),
            covariance: self.covariance.map(Covariance::mirrored),
            eyes: self.eyes,
        }
    }

    /// An effect stated for a right eye, in `eye`.
    #[must_use]
    pub fn in_eye(self, eye: Eye) -> Self {
        match eye {
            Eye::Right => self,
            Eye::Left => self.mirrored(),
        }
    }

    /// The effect as a part of a whole: one of a pair of arcs, or a share of the centroid.
    ///
    /// # Errors
    /// [`OpticsError::NotFinite`] when `factor` is no number.
    pub fn scaled(self, factor: f64) -> Result<Self, OpticsError> {
        let vector = vector(self.vector.x() * factor, self.vector.y() * factor, "an incision effect")?;
        Ok(Self { vector, covariance: self.covariance.map(|c| c.scaled(factor.abs())), ..self })
    }
}

/// Angle that an arc of this length spans on a circle of this diameter: `360 s / (pi D)`.
///
/// # Errors
/// [`OpticsError::NotPositive`] for a diameter of zero.
pub fn angle_of_arc(arc: Millimetre, diameter: Millimetre) -> Result<Degrees, OpticsError> {
    let radius = positive_metres(diameter, "diameter")? / 2.0;
    Degrees::computed(trig::degrees(arc.millimetres() / 1000.0 / radius))
        .ok_or(OpticsError::NotFinite { what: "the angle of an arc" })
}

/// Angle that a chord of this length spans; a 6 mm chord is a longer cut than a 6 mm arc.
///
/// # Errors
/// [`OpticsError::NotFinite`] for a chord longer than the diameter, [`OpticsError::NotPositive`] for no diameter.
pub fn angle_of_chord(chord: Millimetre, diameter: Millimetre) -> Result<Degrees, OpticsError> {
    let metres = positive_metres(diameter, "diameter")?;
    Degrees::computed(trig::degrees(2.0 * trig::asin(chord.millimetres() / 1000.0 / metres)))
        .ok_or(OpticsError::NotFinite { what: "the angle of a chord" })
}

/// Length of the arc that spans this angle.
///
/// # Errors
/// [`OpticsError::NotPositive`] for a diameter of zero.
pub fn arc_of_angle(angle: Degrees, diameter: Millimetre) -> Result<Millimetre, OpticsError> {
    let radius = positive_metres(diameter, "diameter")? / 2.0;
    Millimetre::computed(angle.radians() * radius * 1000.0)
        .ok_or(OpticsError::NotFinite { what: "the length of an arc" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Meridian;

    #[test]
    fn flattening_and_torque_come_back() {
        let effect = IncisionEffect::from_flattening(
            Direction::wrapping(135.0),
            Dioptre::from_dioptres(0.3),
            Dioptre::from_dioptres(0.1),
        );
        assert!((effect.flattening().dioptres() - 0.3).abs() < 1e-12);
        assert!((effect.torque().dioptres() - 0.1).abs() < 1e-12);
        let left = effect.in_eye(Eye::Left);
        assert!((left.at().degrees() - 45.0).abs() < 1e-12);
        assert!((left.flattening().dioptres() - 0.3).abs() < 1e-12);
        assert!((left.torque().dioptres() + 0.1).abs() < 1e-12);
    }

    #[test]
    fn a_superior_incision_that_steepens_180_flattens_90() {
        let centroid = PowerVector::from_steep(Dioptre::from_dioptres(1.11), Meridian::wrapping(180.0));
        let effect = IncisionEffect::from_centroid(Direction::wrapping(90.0), centroid);
        assert!((effect.flattening().dioptres() - 1.11).abs() < 1e-12);
    }
}
