//! Vergence through an eye of two thin lenses: the cornea and the lens behind it.

use crate::optics::error::{OpticsError, dioptre, positive_metres};
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::optics::refraction::Refraction;
use crate::units::{Dioptre, Millimetre};

/// An eye of two thin lenses, index 1.336 behind the cornea.
///
/// `lens_depth` is the effective depth of the formula it comes from, not an anatomical one; depth and corneal power must
/// be taken from the same formula. Source: [`GERNET_1970`](crate::cite::GERNET_1970).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinLensEye {
    lens_depth: Millimetre,
    optical_length: Millimetre,
}

impl ThinLensEye {
    /// From the effective depth of the lens behind the cornea and the optical length.
    ///
    /// # Errors
    /// [`OpticsError`] when the lens does not lie between cornea and retina.
    pub fn from_positions(lens_depth: Millimetre, optical_length: Millimetre) -> Result<Self, OpticsError> {
        positive_metres(lens_depth, "lens depth")?;
        if lens_depth >= optical_length {
            return Err(OpticsError::BehindRetina {
                depth_mm: lens_depth.millimetres(),
                length_mm: optical_length.millimetres(),
            });
        }
        Ok(Self { lens_depth, optical_length })
    }

    /// Effective depth of the lens behind the corneal vertex.
    pub const fn lens_depth(self) -> Millimetre {
        self.lens_depth
    }

    /// Distance from the corneal vertex to the retina that the formula reckons with.
    pub const fn optical_length(self) -> Millimetre {
        self.optical_length
    }

    /// Vergence behind the lens that focuses on the retina, `1336 / (L - d)`.
    pub fn image_vergence(self) -> Dioptre {
        let distance = self.optical_length.millimetres() - self.lens_depth.millimetres();
        Dioptre::from_dioptres(1000.0 * Medium::AQUEOUS.index() / distance)
    }

    /// Power of the lens that makes light leaving the cornea with this vergence focus on the retina.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when that light has its focus before the lens.
    pub fn lens_power(self, leaving_cornea: Dioptre) -> Result<Dioptre, OpticsError> {
        Ok(self.lens_matrix(PowerMatrix::from_sphere(leaving_cornea))?.mean())
    }

    /// The inverse of [`ThinLensEye::lens_power`]: the vergence that must leave the cornea with this lens in the eye.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when no light from the cornea can.
    pub fn leaving_cornea(self, lens: Dioptre) -> Result<Dioptre, OpticsError> {
        Ok(self.leaving_cornea_matrix(PowerMatrix::from_sphere(lens))?.mean())
    }

    /// As [`ThinLensEye::lens_power`], for toric vergence on any meridian.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when a principal meridian has its focus before the lens.
    pub fn lens_matrix(self, leaving_cornea: PowerMatrix) -> Result<PowerMatrix, OpticsError> {
        let reaching = leaving_cornea.downstream(self.lens_depth, Medium::AQUEOUS)?;
        Ok(PowerMatrix::from_sphere(self.image_vergence()) - reaching)
    }

    /// As [`ThinLensEye::leaving_cornea`], for a toric lens on any meridian.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when no light from the cornea can focus on the retina.
    pub fn leaving_cornea_matrix(self, lens: PowerMatrix) -> Result<PowerMatrix, OpticsError> {
        (PowerMatrix::from_sphere(self.image_vergence()) - lens).upstream(self.lens_depth, Medium::AQUEOUS)
    }

    /// Cylinder at the lens plane over cylinder at the corneal plane, for small cylinders: `1 / (1 - d/n V)^2`, no
    /// unit.
    ///
    /// `leaving_cornea` is the vergence leaving the cornea (net power, about 1.33, plus the refraction at the cornea).
    /// Depends on nothing else; axial length and lens power act through the depth. Exact to 0.014 % up to 6 D.
    /// Source: [`FAM_LIM_2007`](crate::cite::FAM_LIM_2007), computed.
    pub fn ratio_limit(self, leaving_cornea: Dioptre) -> f64 {
        let rest = 1.0
            - self.lens_depth.millimetres() / 1000.0 / Medium::AQUEOUS.index() * leaving_cornea.dioptres();
        1.0 / (rest * rest)
    }
}

/// Power of the phakic, piggyback or secondary lens that turns one refraction into another, at the lens plane.
///
/// `cornea` is the power of the cornea, `now` and `target` are refractions at spectacles `vertex` before it, `depth` the
/// depth of the added lens. Cornea and refraction may have different meridians. The axial length is not needed.
/// Source: [`VAN_DER_HEIJDE_1988`](crate::cite::VAN_DER_HEIJDE_1988). Assumes a thin lens that leaves the rest of the
/// eye as it is.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when light has its focus before the lens.
pub fn added_lens(
    cornea: PowerMatrix,
    now: Refraction,
    target: Refraction,
    vertex: Millimetre,
    depth: Millimetre,
) -> Result<PowerMatrix, OpticsError> {
    positive_metres(depth, "lens depth")?;
    let reaching = |refraction: Refraction| {
        let at_cornea = refraction.matrix().downstream(vertex, Medium::AIR)?;
        (cornea + at_cornea).downstream(depth, Medium::AQUEOUS)
    };
    Ok(reaching(now)? - reaching(target)?)
}

/// The refraction at the corneal plane that an added lens leaves, in minus form: the inverse of [`added_lens`].
///
/// `lens` is the power of the added lens on its meridians in the eye; the other arguments are those of [`added_lens`].
/// Source: [`VAN_DER_HEIJDE_1988`](crate::cite::VAN_DER_HEIJDE_1988). Assumes a thin lens that leaves the rest of the eye
/// as it is.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when light has its focus before the lens, or no refraction focuses it.
pub fn refraction_with_added_lens(
    cornea: PowerMatrix,
    now: Refraction,
    lens: PowerMatrix,
    vertex: Millimetre,
    depth: Millimetre,
) -> Result<Refraction, OpticsError> {
    positive_metres(depth, "lens depth")?;
    let at_cornea = now.matrix().downstream(vertex, Medium::AIR)?;
    let reaching = (cornea + at_cornea).downstream(depth, Medium::AQUEOUS)?;
    Ok(Refraction::from_matrix((reaching - lens).upstream(depth, Medium::AQUEOUS)? - cornea))
}

/// Power of a lens moved by a distance along the light in air, `F / (1 - d F)`.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when its focus lies between the planes.
pub fn vertex_power(power: Dioptre, distance: Millimetre) -> Result<Dioptre, OpticsError> {
    Ok(PowerMatrix::from_sphere(power).downstream(distance, Medium::AIR)?.mean())
}

/// Depth of the lens that explains an outcome: with this lens, corneal power and refraction at the corneal plane.
///
/// The smaller root of the quadratic in `d` of `P = 1336/(L-d) - 1336/(1336/z-d)`, with `z` the vergence leaving the
/// cornea. Source: [`GERNET_1970`](crate::cite::GERNET_1970), solved.
///
/// # Errors
/// [`OpticsError::NotFinite`] when no depth explains it.
pub fn depth_from_outcome(
    leaving_cornea: Dioptre,
    lens: Dioptre,
    optical_length: Millimetre,
) -> Result<Millimetre, OpticsError> {
    let what = "the lens depth of an outcome";
    let index = 1000.0 * Medium::AQUEOUS.index();
    let focus = index / leaving_cornea.dioptres();
    let length = optical_length.millimetres();
    let power = dioptre(lens.dioptres(), what)?.dioptres();
    // P (L-d)(z'-d) = n (z' - L): d^2 - (L+z') d + L z' - n (z' - L)/P = 0
    let half = f64::midpoint(length, focus);
    let root = (half * half - length * focus + index * (focus - length) / power).sqrt();
    let depth = half - root;
    match Millimetre::computed(depth) {
        Some(depth) if depth.millimetres() > 0.0 => Ok(depth),
        Some(_) | None => Err(OpticsError::NotFinite { what }),
    }
}
