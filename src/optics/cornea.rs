//! The cornea: powers, radii, indices, and both surfaces together.

use crate::optics::error::{OpticsError, dioptre, millimetre, positive_metres};
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::units::{Dioptre, KeratometricIndex, Meridian, Millimetre, PowerVector};

/// A power read with one keratometric index, in the terms of another: `K (n2 - 1) / (n1 - 1)`.
///
/// Source: [`ISO_10343`](crate::cite::ISO_10343) for `K = 1000 (n - 1) / r`.
pub fn power_in(power: Dioptre, from: KeratometricIndex, to: KeratometricIndex) -> Dioptre {
    power * from.factor_to(to)
}

/// An astigmatism read with one keratometric index, in the terms of another; the whole vector scales, its meridian
/// stays.
pub fn vector_in(vector: PowerVector, from: KeratometricIndex, to: KeratometricIndex) -> PowerVector {
    vector.scaled(from.factor_to(to))
}

/// Mean of two principal powers, as the formulas with a K in dioptres take it. Source:
/// [`HAIGIS_2000`](crate::cite::HAIGIS_2000) (the notes, on the other formulas).
pub fn mean_power(flat: Dioptre, steep: Dioptre) -> Dioptre {
    (flat + steep) * 0.5
}

/// Mean of two principal radii, as [`haigis2000`](crate::optics::power::haigis2000) takes it. Not the radius of the
/// mean power: at 42 and 46 D they differ by 0.09 D.
///
/// # Errors
/// [`OpticsError::NotPositive`] for a radius of zero.
pub fn mean_radius(flat: Millimetre, steep: Millimetre) -> Result<Millimetre, OpticsError> {
    positive_metres(flat, "radius")?;
    positive_metres(steep, "radius")?;
    millimetre(f64::midpoint(flat.millimetres(), steep.millimetres()), "a mean radius")
}

/// Power of a spherical surface between two media, `1000 (n2 - n1) / r`, in dioptres.
///
/// # Errors
/// [`OpticsError::NotPositive`] for a radius of zero.
pub fn surface_power(radius: Millimetre, before: Medium, behind: Medium) -> Result<Dioptre, OpticsError> {
    dioptre((behind.index() - before.index()) / positive_metres(radius, "radius")?, "a surface power")
}

/// A toric surface by its two principal radii, both positive, and the meridian of the smaller one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToricSurface {
    flat_radius: Millimetre,
    steep_radius: Millimetre,
    steep: Meridian,
}

impl ToricSurface {
    /// From the radii of the flat and the steep meridian.
    ///
    /// # Errors
    /// [`OpticsError::NotPositive`] for a radius of zero.
    pub fn from_radii(
        flat_radius: Millimetre,
        steep_radius: Millimetre,
        steep: Meridian,
    ) -> Result<Self, OpticsError> {
        positive_metres(flat_radius, "radius")?;
        positive_metres(steep_radius, "radius")?;
        Ok(Self { flat_radius, steep_radius, steep })
    }

    /// Its power between two media. The back surface of a cornea has a negative power, strongest on its steep meridian.
    ///
    /// # Errors
    /// [`OpticsError::NotFinite`] for a radius so small that the power is no number.
    pub fn power(self, before: Medium, behind: Medium) -> Result<PowerMatrix, OpticsError> {
        Ok(PowerMatrix::from_principal(
            surface_power(self.flat_radius, before, behind)?,
            surface_power(self.steep_radius, before, behind)?,
            self.steep,
        ))
    }
}

/// Powers of a cornea with two surfaces and a thickness, in dioptres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaussianCornea {
    /// Power of the front surface.
    pub front: Dioptre,
    /// Power of the back surface, negative.
    pub back: Dioptre,
    /// Equivalent power, `F1 + F2 - t/n F1 F2`, at the second principal plane.
    pub equivalent: Dioptre,
    /// Back vertex power, `F1 / (1 - t/n F1) + F2`, at the back surface.
    pub back_vertex: Dioptre,
}

/// The spherical cornea of two surfaces, indices 1 / 1.376 / 1.336.
///
/// Source: [`GULLSTRAND`](crate::cite::GULLSTRAND).
///
/// # Errors
/// [`OpticsError::NotPositive`] for a radius of zero.
pub fn gaussian_cornea(
    front_radius: Millimetre,
    back_radius: Millimetre,
    thickness: Millimetre,
) -> Result<GaussianCornea, OpticsError> {
    let front = surface_power(front_radius, Medium::AIR, Medium::CORNEA)?;
    let back = surface_power(back_radius, Medium::CORNEA, Medium::AQUEOUS)?;
    let equivalent =
        total_cornea(PowerMatrix::from_sphere(front), PowerMatrix::from_sphere(back), thickness)?.mean();
    let back_vertex = PowerMatrix::from_sphere(front).downstream(thickness, Medium::CORNEA)?.mean() + back;
    Ok(GaussianCornea { front, back, equivalent, back_vertex })
}

/// The keratometric index with which the front radius alone gives the power `power`: `1 + r F / 1000`.
pub fn fictitious_index(front_radius: Millimetre, power: Dioptre) -> f64 {
    1.0 + front_radius.millimetres() * power.dioptres() / 1000.0
}

/// Equivalent power of two toric surfaces with crossed meridians: symmetric part of `F1 + F2 - t/n F2 F1`.
///
/// Meaning: at the corneal plane, in dioptres. Source: [`LONG_1976`](crate::cite::LONG_1976),
/// [`GULLSTRAND`](crate::cite::GULLSTRAND). Assumes thin surfaces on one axis, paraxial rays.
///
/// # Errors
/// [`OpticsError::NotFinite`] when the powers are no numbers.
pub fn total_cornea(
    front: PowerMatrix,
    back: PowerMatrix,
    thickness: Millimetre,
) -> Result<PowerMatrix, OpticsError> {
    let reduced = thickness.millimetres() / 1000.0 / Medium::CORNEA.index();
    Ok(front + back - back.symmetric_product(front)?.scaled(reduced))
}
