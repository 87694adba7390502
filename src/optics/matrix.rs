//! Powers of toric surfaces as symmetric 2x2 matrices.
//!
//! A thin toric surface or a bundle of light of toric vergence is the matrix `M I + N`, with `M` the mean power and `N`
//! the traceless part of the astigmatism. Held as mean and vector, so that a sphere stays exactly a sphere.
//! Source: [`LONG_1976`](crate::cite::LONG_1976), [`THIBOS_1997`](crate::cite::THIBOS_1997).

use crate::optics::error::{OpticsError, dioptre, vector};
use crate::units::{Dioptre, Meridian, Millimetre, PowerVector};

/// A medium that light passes, by its refractive index; no unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium(f64);

impl Medium {
    /// Air, 1.
    pub const AIR: Self = Self(1.0);
    /// Aqueous and vitreous of the formulas, 1.336. Source: [`GERNET_1970`](crate::cite::GERNET_1970).
    pub const AQUEOUS: Self = Self(1.336);
    /// Substance of the cornea, 1.376. Source: [`GULLSTRAND`](crate::cite::GULLSTRAND).
    pub const CORNEA: Self = Self(1.376);

    /// The refractive index.
    pub const fn index(self) -> f64 {
        self.0
    }
}

/// Power of a thin toric surface, or vergence of light at a plane, in dioptres.
///
/// Its vector points to the meridian of GREATEST power. Power along a meridian `m`: mean + half the vector's part
/// along `m`.
///
/// ```
/// use axiswright::optics::matrix::PowerMatrix;
/// use axiswright::units::{Dioptre, Meridian};
/// let cornea = PowerMatrix::from_principal(
///     Dioptre::from_dioptres(42.0), Dioptre::from_dioptres(44.0), Meridian::wrapping(95.0));
/// assert!((cornea.power_along(Meridian::wrapping(5.0)).dioptres() - 42.0).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerMatrix {
    mean: Dioptre,
    vector: PowerVector,
}

impl PowerMatrix {
    /// From the mean power and the astigmatism.
    pub const fn from_mean(mean: Dioptre, vector: PowerVector) -> Self {
        Self { mean, vector }
    }

    /// A sphere.
    pub const fn from_sphere(power: Dioptre) -> Self {
        Self { mean: power, vector: PowerVector::ZERO }
    }

    /// From the two principal powers and the meridian of the second.
    pub fn from_principal(flat: Dioptre, steep: Dioptre, steep_meridian: Meridian) -> Self {
        Self { mean: (flat + steep) * 0.5, vector: PowerVector::from_steep(steep - flat, steep_meridian) }
    }

    /// From sphere, cylinder of either sign, and cylinder axis: the meridian on which the cylinder has NO power.
    pub fn from_sphere_cylinder_axis(sphere: Dioptre, cylinder: Dioptre, axis: Meridian) -> Self {
        Self {
            mean: sphere + cylinder * 0.5,
            vector: PowerVector::from_steep(cylinder, Meridian::from_cylinder_axis(axis)),
        }
    }

    /// Mean power.
    pub const fn mean(self) -> Dioptre {
        self.mean
    }

    /// The astigmatism; its direction is the meridian of greatest power.
    pub const fn vector(self) -> PowerVector {
        self.vector
    }

    /// Difference between greatest and least power, never negative.
    pub fn cylinder(self) -> Dioptre {
        self.vector.cylinder()
    }

    /// Meridian of greatest power; 180 for a sphere, which has none.
    pub fn steep(self) -> Meridian {
        self.vector.steep()
    }

    /// Greatest power.
    pub fn steep_power(self) -> Dioptre {
        self.mean + self.cylinder() * 0.5
    }

    /// Least power.
    pub fn flat_power(self) -> Dioptre {
        self.mean - self.cylinder() * 0.5
    }

    /// Power along a meridian.
    pub fn power_along(self, meridian: Meridian) -> Dioptre {
        self.mean + self.vector.along(meridian) * 0.5
    }

    /// The four entries by rows, in dioptres, with the horizontal first.
    pub fn entries(self) -> [[f64; 2]; 2] {
        let (mean, x, y) = self.parts();
        [[mean + x, y], [y, mean - x]]
    }

    /// Mean and the two entries of the traceless part, in dioptres.
    const fn parts(self) -> (f64, f64, f64) {
        (self.mean.dioptres(), self.vector.x() / 2.0, self.vector.y() / 2.0)
    }

    /// The inverse, as a matrix whose entries are lengths in metres.
    ///
    /// # Errors
    /// [`OpticsError::Singular`] when a principal power is zero.
    pub fn inverse(self) -> Result<Self, OpticsError> {
        let (mean, x, y) = self.parts();
        let determinant = mean * mean - x * x - y * y;
        if determinant.abs() <= f64::MIN_POSITIVE {
            return Err(OpticsError::Singular);
        }
        Ok(Self {
            mean: dioptre(mean / determinant, "an inverse")?,
            vector: vector(-2.0 * x / determinant, -2.0 * y / determinant, "an inverse")?,
        })
    }

    /// Symmetric part of the product of two matrices, entries in square dioptres.
    ///
    /// The other part turns the ray bundle about its own axis and has no power.
    pub fn symmetric_product(self, other: Self) -> Result<Self, OpticsError> {
        let (mean_a, x_a, y_a) = self.parts();
        let (mean_b, x_b, y_b) = other.parts();
        Ok(Self {
            mean: dioptre(mean_a * mean_b + x_a * x_b + y_a * y_b, "a product of powers")?,
            vector: vector(
                2.0 * (mean_a * x_b + mean_b * x_a),
                2.0 * (mean_a * y_b + mean_b * y_a),
                "a product of powers",
            )?,
        })
    }

    /// The matrix times a number.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { mean: self.mean * factor, vector: self.vector.scaled(factor) }
    }

    /// The matrix of the mirror image of the eye.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self { mean: self.mean, vector: self.vector.mirrored() }
    }

    /// Vergence after `distance` along the light: `V (I - d/n V)^-1`.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when a principal meridian comes to a focus before the plane.
    pub fn downstream(self, distance: Millimetre, medium: Medium) -> Result<Self, OpticsError> {
        self.moved(distance.millimetres(), medium)
    }

    /// Vergence at `distance` before this plane, against the light: `V (I + d/n V)^-1`.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when a principal meridian had a focus between the planes.
    pub fn upstream(self, distance: Millimetre, medium: Medium) -> Result<Self, OpticsError> {
        self.moved(-distance.millimetres(), medium)
    }

    fn moved(self, distance_mm: f64, medium: Medium) -> Result<Self, OpticsError> {
        let reduced = distance_mm / 1000.0 / medium.index();
        let (mean, x, y) = self.parts();
        let square = x * x + y * y;
        let rest = 1.0 - reduced * mean;
        let determinant = rest * rest - reduced * reduced * square;
        if rest <= 0.0 || determinant <= 0.0 {
            let vergence = if reduced > 0.0 { self.steep_power() } else { self.flat_power() };
            return Err(OpticsError::FocusBetween { vergence: vergence.dioptres(), distance_mm });
        }
        Ok(Self {
            mean: dioptre((mean * rest + reduced * square) / determinant, "a vergence")?,
            vector: vector(2.0 * x / determinant, 2.0 * y / determinant, "a vergence")?,
        })
    }
}

impl core::ops::Add for PowerMatrix {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { mean: self.mean + other.mean, vector: self.vector + other.vector }
    }
}

impl core::ops::Sub for PowerMatrix {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { mean: self.mean - other.mean, vector: self.vector - other.vector }
    }
}

impl core::ops::Neg for PowerMatrix {
    type Output = Self;
    fn neg(self) -> Self {
        self.scaled(-1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn toric() -> PowerMatrix {
        PowerMatrix::from_principal(
            Dioptre::from_dioptres(42.0),
            Dioptre::from_dioptres(45.0),
            Meridian::wrapping(70.0),
        )
    }

    #[test]
    fn inverse_times_matrix_is_the_unit() {
        let unit = toric().inverse().unwrap().symmetric_product(toric()).unwrap();
        assert!((unit.mean().dioptres() - 1.0).abs() < 1e-12);
        assert!(unit.cylinder().dioptres() < 1e-12);
        assert_eq!(PowerMatrix::from_sphere(Dioptre::ZERO).inverse(), Err(OpticsError::Singular));
    }

    #[test]
    fn there_and_back() {
        let distance = Millimetre::from_millimetres(5.0);
        let back = toric()
            .downstream(distance, Medium::AQUEOUS)
            .unwrap()
            .upstream(distance, Medium::AQUEOUS)
            .unwrap();
        for (row, expected) in back.entries().iter().zip(toric().entries()) {
            for (entry, expected) in row.iter().zip(expected) {
                assert!((entry - expected).abs() < 1e-11);
            }
        }
    }

    #[test]
    fn a_focus_between_planes_is_refused() {
        let refused = toric().downstream(Millimetre::from_millimetres(40.0), Medium::AQUEOUS);
        assert!(matches!(refused, Err(OpticsError::FocusBetween { .. })));
    }
}
