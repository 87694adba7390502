//! Toric lenses in the eye: from cornea to lens plane and back, and the refraction they leave.

use crate::optics::error::{OpticsError, dioptre, unsigned};
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::optics::refraction::Refraction;
use crate::optics::vergence::ThinLensEye;
use crate::units::{Dioptre, Meridian, Millimetre, PowerVector};

/// A toric lens in the eye: powers at the lens plane, axis as the meridian of the EYE on which its marks lie.
///
/// The marks lie on the lens's own meridian of least power and belong on the steep meridian of the astigmatism to
/// correct.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToricLens {
    equivalent: Dioptre,
    cylinder: Dioptre,
    axis: Meridian,
}

impl ToricLens {
    /// From spherical equivalent, cylinder without a sign, and the meridian of its marks.
    ///
    /// # Errors
    /// [`OpticsError::Negative`] for a cylinder with a sign.
    pub fn from_equivalent(
        equivalent: Dioptre,
        cylinder: Dioptre,
        axis: Meridian,
    ) -> Result<Self, OpticsError> {
        unsigned(cylinder, "lens cylinder")?;
        Ok(Self { equivalent, cylinder, axis })
    }

    /// Spherical equivalent power at the lens plane.
    pub const fn equivalent(self) -> Dioptre {
        self.equivalent
    }

    /// Power on the meridian of the marks, the least: equivalent minus half the cylinder.
    pub fn sphere(self) -> Dioptre {
        self.equivalent - self.cylinder * 0.5
    }

    /// Cylinder at the lens plane.
    pub const fn cylinder(self) -> Dioptre {
        self.cylinder
    }

    /// Meridian of the eye on which the marks lie.
    pub const fn axis(self) -> Meridian {
        self.axis
    }

    /// The same lens with its marks on another meridian.
    #[must_use]
    pub const fn on(self, axis: Meridian) -> Self {
        Self { axis, ..self }
    }

    /// Its power; the vector points away from the marks, to the meridian of greatest power.
    pub fn matrix(self) -> PowerMatrix {
        PowerMatrix::from_mean(self.equivalent, -PowerVector::from_steep(self.cylinder, self.axis))
    }
}

/// What the cylinder of a lens does at the cornea.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CornealCylinder {
    /// Cylinder at the corneal plane, in dioptres.
    pub cylinder: Dioptre,
    /// Cylinder at the lens plane over cylinder at the corneal plane, no unit.
    pub ratio: f64,
}

/// Cylinder at the corneal plane of a lens of this equivalent power and cylinder, exact in two meridians.
///
/// Source: [`FAM_LIM_2007`](crate::cite::FAM_LIM_2007), with lens depth and optical length of the mean eye for both
/// meridians. The same on whatever meridian the lens lies.
///
/// # Errors
/// [`OpticsError`] when the lens cannot focus light on the retina, or the cylinder has a sign.
pub fn corneal_cylinder(
    eye: ThinLensEye,
    equivalent: Dioptre,
    cylinder: Dioptre,
) -> Result<CornealCylinder, OpticsError> {
    let full = unsigned(cylinder, "lens cylinder")?;
    let half = cylinder * 0.5;
    let weak = eye.leaving_cornea(equivalent - half)?;
    let strong = eye.leaving_cornea(equivalent + half)?;
    let corneal = weak - strong;
    let ratio = if corneal.dioptres() > 0.0 {
        full / corneal.dioptres()
    } else {
        eye.ratio_limit(eye.leaving_cornea(equivalent)?)
    };
    Ok(CornealCylinder { cylinder: corneal, ratio })
}

/// The lens that corrects two principal vergences leaving the cornea.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensCylinder {
    /// Cylinder at the lens plane, in dioptres.
    pub cylinder: Dioptre,
    /// Mean of the two principal powers of the lens.
    pub equivalent: Dioptre,
    /// Cylinder at the lens plane over cylinder at the corneal plane, no unit.
    pub ratio: f64,
}

/// The lens that corrects a cornea of these principal powers, exact in two meridians.
///
/// `flat` and `steep` are vergences leaving the cornea: net corneal power plus the refraction wanted at the cornea.
/// Source: [`FAM_LIM_2007`](crate::cite::FAM_LIM_2007).
///
/// # Errors
/// [`OpticsError`] when light has its focus before the lens.
pub fn lens_cylinder(eye: ThinLensEye, flat: Dioptre, steep: Dioptre) -> Result<LensCylinder, OpticsError> {
    let for_flat = eye.lens_power(flat)?;
    let for_steep = eye.lens_power(steep)?;
    let cylinder = for_flat - for_steep;
    let corneal = (steep - flat).dioptres();
    let ratio = if corneal.abs() > 0.0 { cylinder.dioptres() / corneal } else { eye.ratio_limit(flat) };
    Ok(LensCylinder {
        cylinder,
        equivalent: (for_flat + for_steep) * 0.5,
        ratio: dioptre(ratio, "a toricity ratio")?.dioptres(),
    })
}

/// The toric lens that leaves the spherical refraction `target` at spectacles `vertex` before a cornea.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when light has its focus before the lens.
pub fn ideal_lens(
    eye: ThinLensEye,
    cornea: PowerMatrix,
    target: Dioptre,
    vertex: Millimetre,
) -> Result<ToricLens, OpticsError> {
    let at_cornea = PowerMatrix::from_sphere(target).downstream(vertex, Medium::AIR)?;
    let lens = eye.lens_matrix(cornea + at_cornea)?;
    Ok(ToricLens { equivalent: lens.mean(), cylinder: lens.cylinder(), axis: lens.steep().perpendicular() })
}

/// The refraction at the corneal plane with a toric lens on any axis behind a toric cornea, in minus form.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when no light from the cornea can focus on the retina.
pub fn refraction_at_cornea(
    eye: ThinLensEye,
    cornea: PowerMatrix,
    lens: ToricLens,
) -> Result<Refraction, OpticsError> {
    Ok(Refraction::from_matrix(eye.leaving_cornea_matrix(lens.matrix())? - cornea))
}

/// The refraction at spectacles `vertex` before the cornea, in minus form.
///
/// `cornea` is the net power that belongs to `eye` (the formula's index), with its astigmatism after posterior cornea
/// and incision. Source: [`FAM_LIM_2007`](crate::cite::FAM_LIM_2007) by matrices after
/// [`LONG_1976`](crate::cite::LONG_1976). Assumes thin lenses on one axis.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when no light can focus on the retina.
pub fn predicted_refraction(
    eye: ThinLensEye,
    cornea: PowerMatrix,
    lens: ToricLens,
    vertex: Millimetre,
) -> Result<Refraction, OpticsError> {
    refraction_at_cornea(eye, cornea, lens)?.at_spectacles(vertex)
}

/// The astigmatism left at the corneal plane: cornea minus lens, exact for a thin cornea and a thin lens on any axis.
///
/// # Errors
/// [`OpticsError::FocusBetween`] when no light can focus on the retina.
pub fn residual_at_cornea(
    eye: ThinLensEye,
    cornea: PowerMatrix,
    lens: ToricLens,
) -> Result<PowerVector, OpticsError> {
    Ok(cornea.vector() - eye.leaving_cornea_matrix(lens.matrix())?.vector())
}
