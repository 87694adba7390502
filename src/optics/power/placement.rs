//! Where a formula puts the lens, and what follows from that.

use crate::optics::cornea;
use crate::optics::error::OpticsError;
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::optics::vergence::{ThinLensEye, vertex_power};
use crate::units::{Dioptre, KeratometricIndex, Millimetre, PowerVector, round};

/// Distance of the spectacles to which targets and predictions refer, 12 mm. Source:
/// [`HAIGIS_2000`](crate::cite::HAIGIS_2000) (the notes).
pub const SPECTACLE_VERTEX: Millimetre = Millimetre::from_millimetres(12.0);

/// A formula runs on one of its limits; what that means is the caller's to weigh.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum DomainNote {
    /// Retzlaff 1990 comes within 3 D of its cusp, where power hangs ever more steeply on the cornea.
    NearCusp {
        /// How far the cornea lies below the cusp.
        below: Dioptre,
    },
    /// Retzlaff 1990 uses its polynomial for eyes longer than 24.2 mm.
    CorrectedLength {
        /// The length it uses instead.
        used: Millimetre,
    },
    /// The corrected length of Retzlaff 1990 falls again above an axial length of 36.2 mm.
    CorrectedLengthFalls,
    /// The width of the chamber in Holladay 1988 stands at its cap of 13.5 mm; longer eyes put the lens no deeper.
    ChamberWidthCapped,
    /// The corneal radius in Holladay 1988 stands at its floor of 7 mm.
    RadiusFloor,
    /// The axial length in the depth of Hoffer 1993 stands at 18.5 or 31 mm.
    LengthClipped {
        /// The length it uses instead.
        used: Millimetre,
    },
    /// The depth of Hoffer 1993 lies outside 2.5 to 6.5 mm.
    DepthUnusual {
        /// The depth.
        depth: Millimetre,
    },
    /// Sheard 2010 in an eye longer than 27 mm, where it was no better than Retzlaff 1990.
    LongEye,
}

impl DomainNote {
    /// The note in words, as printed.
    pub fn words(self) -> String {
        let d = |value: Dioptre| round::fixed(value.dioptres(), 1);
        let mm = |value: Millimetre| round::fixed(value.millimetres(), 2);
        match self {
            Self::NearCusp { below } => {
                format!("the cornea lies {} D below the cusp of the formula", d(below))
            }
            Self::CorrectedLength { used } => format!("corrected length {} mm used", mm(used)),
            Self::CorrectedLengthFalls => "the corrected length falls at this axial length".to_owned(),
            Self::ChamberWidthCapped => "width of the chamber capped at 13.5 mm".to_owned(),
            Self::RadiusFloor => "corneal radius taken as 7 mm for the lens depth".to_owned(),
            Self::LengthClipped { used } => {
                format!("axial length taken as {} mm for the lens depth", mm(used))
            }
            Self::DepthUnusual { depth } => format!("lens depth {} mm is outside 2.5 to 6.5 mm", mm(depth)),
            Self::LongEye => "little evidence for this formula above 27 mm".to_owned(),
        }
    }
}

/// Where a formula puts the lens in one eye: lens depth, optical length, and the corneal power it reckons with.
///
/// Computed once, from the mean cornea, also for a toric lens: per meridian the depth would follow the cornea and a
/// cylinder of 6 D would come out as 4 to 5.5 D.
#[derive(Debug, Clone, PartialEq)]
pub struct LensPlacement {
    pub(super) eye: ThinLensEye,
    pub(super) index: KeratometricIndex,
    pub(super) corneal_power: Dioptre,
    pub(super) notes: Vec<DomainNote>,
}

impl LensPlacement {
    /// Lens depth and optical length.
    pub const fn eye(&self) -> ThinLensEye {
        self.eye
    }

    /// Keratometric index of the formula.
    pub const fn index(&self) -> KeratometricIndex {
        self.index
    }

    /// Mean corneal power that the formula reckons with, by its own index.
    pub const fn corneal_power(&self) -> Dioptre {
        self.corneal_power
    }

    /// The limits it runs on.
    pub fn notes(&self) -> &[DomainNote] {
        &self.notes
    }

    /// The cornea in the formula's terms, with an astigmatism given by index 1.3375.
    pub fn cornea(&self, astigmatism: PowerVector) -> PowerMatrix {
        let vector = cornea::vector_in(astigmatism, KeratometricIndex::ISO_10343, self.index);
        PowerMatrix::from_mean(self.corneal_power, vector)
    }

    /// Mean vergence leaving the cornea that gives the refraction `target` at spectacles.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] for a target that no spectacles correct.
    pub fn leaving_cornea(&self, target: Dioptre) -> Result<Dioptre, OpticsError> {
        Ok(self.corneal_power + vertex_power(target, SPECTACLE_VERTEX)?)
    }

    /// Power of the lens for a spherical equivalent `target` at spectacles 12 mm before the cornea.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when light has its focus before the lens.
    pub fn power_for(&self, target: Dioptre) -> Result<Dioptre, OpticsError> {
        self.eye.lens_power(self.leaving_cornea(target)?)
    }

    /// Power of the lens that leaves no refraction.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when light has its focus before the lens.
    pub fn emmetropia_power(&self) -> Result<Dioptre, OpticsError> {
        self.power_for(Dioptre::ZERO)
    }

    /// Spherical equivalent at spectacles 12 mm before the cornea with a lens of this power.
    ///
    /// # Errors
    /// [`OpticsError::FocusBetween`] when no light can focus on the retina.
    pub fn prediction(&self, power: Dioptre) -> Result<Dioptre, OpticsError> {
        let at_cornea = self.eye.leaving_cornea(power)? - self.corneal_power;
        Ok(PowerMatrix::from_sphere(at_cornea).upstream(SPECTACLE_VERTEX, Medium::AIR)?.mean())
    }

    /// Change of the predicted refraction at the cornea per millimetre of lens depth, in dioptres:
    /// `P (P + 2 V1) (z / V1)^2 / 1336`, with `V1` the vergence reaching the lens and `z` leaving the cornea.
    ///
    /// # Errors
    /// [`OpticsError`] when no light can focus on the retina.
    pub fn refraction_per_depth(&self, power: Dioptre) -> Result<Dioptre, OpticsError> {
        let leaving = self.eye.leaving_cornea(power)?.dioptres();
        let reaching = (self.eye.image_vergence() - power).dioptres();
        let lens = power.dioptres();
        let ratio = leaving / reaching;
        crate::optics::error::dioptre(
            lens * (lens + 2.0 * reaching) * ratio * ratio / (1000.0 * Medium::AQUEOUS.index()),
            "the change of refraction by lens depth",
        )
    }
}
