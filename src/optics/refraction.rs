//! Spherocylinders: the refraction that corrects an eye.

use crate::optics::error::{OpticsError, vector};
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::units::{Dioptre, Meridian, Millimetre, PowerVector, trig};

/// Sphere, cylinder and cylinder axis of a correcting lens, in dioptres and degrees.
///
/// `axis` is the meridian on which the cylinder has no power, as on a prescription. The plane (spectacles or cornea) is
/// the caller's to name; [`Refraction::at_cornea`] and [`Refraction::at_spectacles`] move between them.
///
/// ```
/// use axiswright::optics::refraction::Refraction;
/// use axiswright::units::{Dioptre, Meridian};
/// let d = Dioptre::from_dioptres;
/// let plus = Refraction::from_sphere_cylinder_axis(d(1.0), d(2.0), Meridian::wrapping(100.0));
/// let minus = plus.minus_form();
/// assert_eq!((minus.sphere().dioptres(), minus.cylinder().dioptres(), minus.axis().degrees()), (3.0, -2.0, 10.0));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refraction {
    sphere: Dioptre,
    cylinder: Dioptre,
    axis: Meridian,
}

/// A refraction as power vector: mean sphere and the two Jackson cross cylinders, in dioptres.
///
/// `J0 = -(C/2) cos 2A`, `J45 = -(C/2) sin 2A` for a cylinder of either sign; with the rule has J0 above zero.
/// Source: [`THIBOS_1997`](crate::cite::THIBOS_1997).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JacksonVector {
    /// Mean sphere.
    pub m: Dioptre,
    /// Cross cylinder at 180/90.
    pub j0: Dioptre,
    /// Cross cylinder at 45/135.
    pub j45: Dioptre,
}

impl Refraction {
    /// From the three numbers of a prescription; the cylinder has either sign.
    pub const fn from_sphere_cylinder_axis(sphere: Dioptre, cylinder: Dioptre, axis: Meridian) -> Self {
        Self { sphere, cylinder, axis }
    }

    /// From the power of the correcting lens, in minus-cylinder form. A sphere has axis 180.
    pub fn from_matrix(matrix: PowerMatrix) -> Self {
        let cylinder = matrix.cylinder();
        if cylinder.dioptres() <= 0.0 {
            return Self { sphere: matrix.mean(), cylinder: Dioptre::ZERO, axis: Meridian::HORIZONTAL };
        }
        Self { sphere: matrix.steep_power(), cylinder: -cylinder, axis: matrix.steep() }
    }

    /// From mean sphere and the vector of the astigmatism to correct (direction: plus-cylinder axis), in minus form.
    pub fn from_mean_and_vector(mean: Dioptre, astigmatism: PowerVector) -> Self {
        Self::from_matrix(PowerMatrix::from_mean(mean, -astigmatism))
    }

    /// Sphere.
    pub const fn sphere(self) -> Dioptre {
        self.sphere
    }

    /// Cylinder, with the sign of the form it is written in.
    pub const fn cylinder(self) -> Dioptre {
        self.cylinder
    }

    /// Cylinder axis: the meridian on which the cylinder has no power.
    pub const fn axis(self) -> Meridian {
        self.axis
    }

    /// Mean sphere, `S + C/2`.
    pub fn spherical_equivalent(self) -> Dioptre {
        self.sphere + self.cylinder * 0.5
    }

    /// The same lens written with the other sign of cylinder.
    #[must_use]
    pub fn transposed(self) -> Self {
        Self {
            sphere: self.sphere + self.cylinder,
            cylinder: -self.cylinder,
            axis: self.axis.perpendicular(),
        }
    }

    /// Written with a cylinder of zero or above.
    #[must_use]
    pub fn plus_form(self) -> Self {
        if self.cylinder.dioptres() < 0.0 { self.transposed() } else { self }
    }

    /// Written with a cylinder of zero or below.
    #[must_use]
    pub fn minus_form(self) -> Self {
        if self.cylinder.dioptres() > 0.0 { self.transposed() } else { self }
    }

    /// Power of the correcting lens; its vector points to the lens's meridian of greatest power, 90 degrees from
    /// [`Refraction::astigmatism`].
    pub fn matrix(self) -> PowerMatrix {
        PowerMatrix::from_sphere_cylinder_axis(self.sphere, self.cylinder, self.axis)
    }

    /// The astigmatism this lens corrects: full cylinder, direction the plus-cylinder axis, which is the steep meridian
    /// of a cornea that needs it.
    pub fn astigmatism(self) -> PowerVector {
        PowerVector::from_steep(self.cylinder, self.axis)
    }

    /// The lens as power vector.
    pub fn jackson_vector(self) -> JacksonVector {
        let astigmatism = self.astigmatism();
        JacksonVector {
            m: self.spherical_equivalent(),
            j0: Dioptre::from_dioptres(-astigmatism.x() / 2.0),
            j45: Dioptre::from_dioptres(-astigmatism.y() / 2.0),
        }
    }

    /// Length of the power vector: the blur of the uncorrected eye, in dioptres.
    /// Source: [`THIBOS_1997`](crate::cite::THIBOS_1997).
    pub fn blur_strength(self) -> Dioptre {
        let JacksonVector { m, j0, j45 } = self.jackson_vector();
        let cross = trig::hypot(j0.dioptres(), j45.dioptres());
        Dioptre::from_dioptres(trig::hypot(m.dioptres(), cross))
    }

    /// The lens at the cornea that does what this one does `vertex` before it, in minus form. Each principal meridian
    /// `F / (1 - d F)`, never the cylinder on its own.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] for a lens so strong that its focus lies before the cornea.
    pub fn at_cornea(self, vertex: Millimetre) -> Result<Self, OpticsError> {
        self.matrix().downstream(vertex, Medium::AIR).map(Self::from_matrix)
    }

    /// The lens `vertex` before the cornea that does what this one does at it, in minus form.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when no lens there can.
    pub fn at_spectacles(self, vertex: Millimetre) -> Result<Self, OpticsError> {
        self.matrix().upstream(vertex, Medium::AIR).map(Self::from_matrix)
    }
}

impl JacksonVector {
    /// The lens, in minus form: `C = -2 J`, `S = M + J`, `A = atan2(J45, J0) / 2`.
    ///
    /// # Errors
    /// [`OpticsError::NotFinite`] when a component left the finite numbers.
    pub fn to_refraction(self) -> Result<Refraction, OpticsError> {
        let astigmatism = vector(-2.0 * self.j0.dioptres(), -2.0 * self.j45.dioptres(), "a power vector")?;
        Ok(Refraction::from_mean_and_vector(self.m, astigmatism))
    }
}
