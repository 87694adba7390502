//! One instrument at one examination of one patient.

use std::sync::Arc;

use super::eye::{ByEye, Eye};
use super::identity::Identity;
use super::list::{CornealSurgery, LensStatus};
use super::place::{Digest, FileRef, Place, Spot};
use super::prediction::ExternalPrediction;
use super::reading::{Conversion, Reading};
use super::repeats::SingleReading;
use super::time::ExamTime;
use crate::units::{Degrees, Dioptre, KeratometricIndex, Meridian, Micrometre, Millimetre, PowerVector};

/// The kind of an instrument, as far as agreement between instruments is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum InstrumentClass {
    /// Keratometer or auto-keratometer: corneal curvature only.
    Keratometer,
    /// Biometer: axial length, usually with keratometry.
    Biometer,
    /// Tomographer or topographer.
    Tomographer,
    /// Refractor.
    Refractor,
    /// Not declared.
    Unknown,
}

/// An instrument: the unit that agreement, "single source" and every mean count.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instrument {
    /// The name the site gives the device, or maker and model from the file. Two files with the same key come from the
    /// same instrument.
    pub key: String,
    /// Serial number, if the file states one.
    pub serial: Option<String>,
    /// What kind of instrument it is.
    pub class: InstrumentClass,
}

/// The mapping template a file was read by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TemplateRef {
    /// Its id.
    pub id: String,
    /// Its revision.
    pub revision: u32,
    /// SHA-256 of its text.
    pub digest: Digest,
}

/// Which surface, or which sum of surfaces, a keratometry describes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Surface {
    /// Front surface, turned into power by a keratometric index.
    Anterior,
    /// Both surfaces, by whatever definition the device has: never mixed with anterior values.
    Total,
    /// Back surface.
    Posterior,
}

impl Surface {
    /// The word used in case files and on paper.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Anterior => "anterior",
            Self::Total => "total",
            Self::Posterior => "posterior",
        }
    }

    /// From that word.
    pub fn from_word(word: &str) -> Option<Self> {
        match word.trim().to_ascii_lowercase().as_str() {
            "anterior" => Some(Self::Anterior),
            "total" => Some(Self::Total),
            "posterior" => Some(Self::Posterior),
            _ => None,
        }
    }
}

/// How the keratometry was made. Source: DICOM PS3.16 CID 4235.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeratometryMethod {
    /// DCM 111753.
    Manual,
    /// DCM 111754.
    Automatic,
    /// DCM 111755.
    Simulated,
    /// DCM 111756.
    EquivalentK,
}

/// The device's own judgement of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quality {
    /// No objection.
    Good,
    /// A warning.
    Warning,
    /// Failed.
    Failed,
}

/// What was measured along one principal meridian.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MeridianReading {
    /// Radius of curvature.
    pub radius: Option<Reading<Millimetre>>,
    /// Keratometric power.
    pub power: Option<Reading<Dioptre>>,
    /// The meridian where they were measured.
    pub meridian: Option<Reading<Meridian>>,
}

impl MeridianReading {
    /// The same values, each saying that it stood at the other meridian.
    fn moved(self) -> Self {
        Self {
            radius: self.radius.map(|reading| reading.converted(Conversion::Reordered)),
            power: self.power.map(|reading| reading.converted(Conversion::Reordered)),
            meridian: self.meridian.map(|reading| reading.converted(Conversion::Reordered)),
        }
    }
}

/// A cylinder as a device reports it beside its meridians.
#[derive(Debug, Clone, PartialEq)]
pub struct Cylinder {
    /// Its power, signed as written.
    pub power: Reading<Dioptre>,
    /// Its axis as written: steep meridian of a plus, flat meridian of a minus cylinder.
    pub axis: Option<Reading<Meridian>>,
}

/// Keratometry of one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct Keratometry {
    /// Flat meridian: longest radius, least power.
    pub flat: MeridianReading,
    /// Steep meridian: shortest radius, greatest power.
    pub steep: MeridianReading,
    /// The index by which radius and power belong together, if stated.
    pub index: Option<Reading<KeratometricIndex>>,
    /// Which surface.
    pub surface: Surface,
    /// How it was made, if stated.
    pub method: Option<KeratometryMethod>,
    /// Diameter of the measured zone.
    pub zone: Option<Reading<Millimetre>>,
    /// How many readings stand behind the value, if stated.
    pub readings: Option<Reading<u32>>,
    /// Standard deviation of mean power over those readings, if stated.
    pub spread: Option<Reading<Dioptre>>,
    /// The device's judgement.
    pub quality: Option<Reading<Quality>>,
    /// The cylinder the device itself reports.
    pub reported_cylinder: Option<Cylinder>,
    /// Steep and flat stood the other way round in the file and were reordered with their axes.
    pub reordered: bool,
    /// The values are medians field by field: power and radius may come from different readings.
    pub medians: bool,
    /// The readings it was made from, in the order of the file, where the file has them.
    pub singles: Vec<SingleReading>,
}

impl Keratometry {
    /// Two meridians of a surface of which nothing else is known.
    pub const fn of(flat: MeridianReading, steep: MeridianReading, surface: Surface) -> Self {
        Self {
            flat,
            steep,
            index: None,
            surface,
            method: None,
            zone: None,
            readings: None,
            spread: None,
            quality: None,
            reported_cylinder: None,
            reordered: false,
            medians: false,
            singles: Vec::new(),
        }
    }

    /// Power of one meridian in terms of the index given.
    ///
    /// From the radius where there is one (the primary value: it needs no index), else from the power and its declared
    /// index. None when neither can be had.
    pub fn power_at(&self, meridian: &MeridianReading, index: KeratometricIndex) -> Option<Dioptre> {
        if let Some(radius) = &meridian.radius {
            return index.power_of(radius.value);
        }
        let power = meridian.power.as_ref()?.value;
        let declared = self.index.as_ref()?.value;
        Some(power * declared.factor_to(index))
    }

    /// The same keratometry with flat and steep in order.
    ///
    /// When both radii (else both powers) say that they stood the other way round, the two meridians change places with
    /// everything that belongs to them, and [`Keratometry::reordered`] says so. Equal values stay as they stand.
    #[must_use]
    pub fn in_order(self) -> Self {
        let radii = self.flat.radius.as_ref().zip(self.steep.radius.as_ref());
        let powers = self.flat.power.as_ref().zip(self.steep.power.as_ref());
        let turned_round = match (radii, powers) {
            (Some((flat, steep)), _) => flat.value < steep.value,
            (None, Some((flat, steep))) => flat.value > steep.value,
            (None, None) => false,
        };
        if turned_round { self.exchanged() } else { self }
    }

    /// The same keratometry with flat and steep exchanged, whatever their values.
    ///
    /// Radius, power and meridian go together, every one of them says [`Conversion::Reordered`], and
    /// [`Keratometry::reordered`] is set.
    #[must_use]
    pub fn exchanged(self) -> Self {
        Self { flat: self.steep.moved(), steep: self.flat.moved(), reordered: true, ..self }
    }

    /// Flat and steep power in terms of the index given.
    pub fn powers_at(&self, index: KeratometricIndex) -> Option<(Dioptre, Dioptre)> {
        Some((self.power_at(&self.flat, index)?, self.power_at(&self.steep, index)?))
    }

    /// Mean power in terms of the index given.
    pub fn mean_at(&self, index: KeratometricIndex) -> Option<Dioptre> {
        let (flat, steep) = self.powers_at(index)?;
        Some((flat + steep) * 0.5)
    }

    /// The steep meridian, as half-way between the measured steep meridian and the one at right angles to the measured
    /// flat meridian; the one that is there when only one is.
    pub fn steep_meridian(&self) -> Option<Meridian> {
        let steep = self.steep.meridian.as_ref().map(|m| m.value);
        let from_flat = self.flat.meridian.as_ref().map(|m| m.value.perpendicular());
        match (steep, from_flat) {
            (Some(steep), Some(other)) => {
                let half = Degrees::computed(steep.turn_to(other).degrees() / 2.0)?;
                Some(steep.turned(half))
            }
            (one, other) => one.or(other),
        }
    }

    /// Astigmatism as a vector in terms of the index given.
    pub fn vector_at(&self, index: KeratometricIndex) -> Option<PowerVector> {
        let (flat, steep) = self.powers_at(index)?;
        Some(PowerVector::from_steep(steep - flat, self.steep_meridian()?))
    }
}

/// How an axial length was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthMethod {
    /// Light.
    Optical,
    /// Ultrasound, probe in a water bath.
    UltrasoundImmersion,
    /// Ultrasound, probe on the cornea.
    UltrasoundContact,
    /// Ultrasound, unknown how.
    Ultrasound,
}

impl LengthMethod {
    /// The word used in case files and on paper.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Optical => "optical",
            Self::UltrasoundImmersion => "ultrasound-immersion",
            Self::UltrasoundContact => "ultrasound-contact",
            Self::Ultrasound => "ultrasound",
        }
    }

    /// From that word.
    pub fn from_word(word: &str) -> Option<Self> {
        match word.trim().to_ascii_lowercase().replace('_', "-").as_str() {
            "optical" => Some(Self::Optical),
            "ultrasound-immersion" | "immersion" => Some(Self::UltrasoundImmersion),
            "ultrasound-contact" | "contact" => Some(Self::UltrasoundContact),
            "ultrasound" => Some(Self::Ultrasound),
            _ => None,
        }
    }
}

/// From which surface of the cornea a chamber depth counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChamberDepthFrom {
    /// From the front: DCM 111776. What the formulas need.
    CornealFront,
    /// From the back (aqueous depth): DCM 111777. Shorter by the corneal thickness.
    CornealBack,
}

impl ChamberDepthFrom {
    /// The word used in case files and settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::CornealFront => "corneal_front",
            Self::CornealBack => "corneal_back",
        }
    }

    /// From that word.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::CornealFront, Self::CornealBack].into_iter().find(|from| from.word() == word.trim())
    }
}

/// Lengths of one eye along its axis, and its width.
#[derive(Debug, Clone, PartialEq)]
pub struct Axial {
    /// Axial length.
    pub length: Option<Reading<Millimetre>>,
    /// How it was measured.
    pub method: Option<LengthMethod>,
    /// Chamber depth.
    pub depth: Option<Reading<Millimetre>>,
    /// From which surface it counts; unknown when not stated.
    pub depth_from: Option<ChamberDepthFrom>,
    /// Lens thickness.
    pub lens: Option<Reading<Millimetre>>,
    /// Corneal thickness.
    pub cornea: Option<Reading<Micrometre>>,
    /// White-to-white.
    pub white: Option<Reading<Millimetre>>,
    /// Standard deviation of the axial length, if stated.
    pub spread: Option<Reading<Millimetre>>,
    /// The device's judgement.
    pub quality: Option<Reading<Quality>>,
}

impl Axial {
    /// Chamber depth counted from the corneal front.
    ///
    /// An aqueous depth gets the corneal thickness added; without the thickness, or when the definition is unknown,
    /// there is none.
    pub fn depth_from_front(&self) -> Option<Millimetre> {
        let depth = self.depth.as_ref()?.value;
        match self.depth_from? {
            ChamberDepthFrom::CornealFront => Some(depth),
            ChamberDepthFrom::CornealBack => Some(depth + self.cornea.as_ref()?.value.to_millimetres()),
        }
    }
}

/// A refraction as written, at its vertex distance.
#[derive(Debug, Clone, PartialEq)]
pub struct Refraction {
    /// Sphere.
    pub sphere: Reading<Dioptre>,
    /// Cylinder, signed as written.
    pub cylinder: Option<Reading<Dioptre>>,
    /// Axis of the cylinder as written: 90 degrees from the meridian of its power.
    pub axis: Option<Reading<Meridian>>,
    /// Distance from the cornea.
    pub vertex: Option<Reading<Millimetre>>,
}

/// Everything one examination says about one eye.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct EyeExam {
    /// Keratometry, one entry per surface kind.
    pub keratometry: Vec<Keratometry>,
    /// Lengths.
    pub axial: Option<Axial>,
    /// Refraction.
    pub refraction: Option<Refraction>,
    /// Lens status, if stated.
    pub lens_status: Option<Reading<LensStatus>>,
    /// Corneal surgery, if stated.
    pub corneal_surgery: Option<Reading<CornealSurgery>>,
    /// Where the words stood that are no readings of their own: surface and kind of the keratometry, method of the
    /// length, definition of the depth.
    pub stated: Vec<StatedWord>,
}

/// A word about the measurements of an eye, with where it stood.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedWord {
    /// The field, by the name of its mapping target.
    pub field: &'static str,
    /// The word as the file, the template or the settings of the site write it.
    pub word: Reading<String>,
}

impl EyeExam {
    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.keratometry.is_empty() && self.axial.is_none() && self.refraction.is_none()
    }

    /// Where the word of a field stood, if that is known.
    pub fn stated_word(&self, field: &str) -> Option<&Reading<String>> {
        self.stated.iter().find(|stated| stated.field == field).map(|stated| &stated.word)
    }

    /// The numbers and words of this eye without the places they stood at: equal for two deliveries of one examination.
    pub fn values(&self) -> Vec<(String, String)> {
        let mut values = Vec::new();
        for keratometry in &self.keratometry {
            let kind = keratometry.surface.word();
            for (name, meridian) in [("flat", &keratometry.flat), ("steep", &keratometry.steep)] {
                let mut put = |field: &str, value: Option<f64>| {
                    if let Some(value) = value {
                        values.push((format!("{kind}.{name}.{field}"), value.to_string()));
                    }
                };
                put("radius", meridian.radius.as_ref().map(|r| r.value.millimetres()));
                put("power", meridian.power.as_ref().map(|r| r.value.dioptres()));
                put("meridian", meridian.meridian.as_ref().map(|r| r.value.degrees()));
            }
            if let Some(index) = &keratometry.index {
                values.push((format!("{kind}.index"), index.value.index().to_string()));
            }
        }
        if let Some(axial) = &self.axial {
            let mut put = |field: &str, value: Option<f64>| {
                if let Some(value) = value {
                    values.push((format!("axial.{field}"), value.to_string()));
                }
            };
            put("length", axial.length.as_ref().map(|r| r.value.millimetres()));
            put("depth", axial.depth.as_ref().map(|r| r.value.millimetres()));
            put("lens", axial.lens.as_ref().map(|r| r.value.millimetres()));
            put("cornea", axial.cornea.as_ref().map(|r| r.value.micrometres()));
            put("white", axial.white.as_ref().map(|r| r.value.millimetres()));
        }
        if let Some(refraction) = &self.refraction {
            values.push(("refraction.sphere".to_owned(), refraction.sphere.value.dioptres().to_string()));
            if let Some(cylinder) = &refraction.cylinder {
                values.push(("refraction.cylinder".to_owned(), cylinder.value.dioptres().to_string()));
            }
            if let Some(axis) = &refraction.axis {
                values.push(("refraction.axis".to_owned(), axis.value.degrees().to_string()));
            }
            if let Some(vertex) = &refraction.vertex {
                values.push(("refraction.vertex".to_owned(), vertex.value.millimetres().to_string()));
            }
        }
        values
    }

    /// The keratometry of one surface kind.
    pub fn keratometry_of(&self, surface: Surface) -> Option<&Keratometry> {
        self.keratometry.iter().find(|k| k.surface == surface)
    }
}

/// What the name of a file claims. Never a source, only a cross-check.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileNameClaims {
    /// A patient number.
    pub number: Option<String>,
    /// An eye.
    pub eye: Option<Eye>,
}

/// One instrument at one examination of one patient.
#[derive(Debug, Clone, PartialEq)]
pub struct Exam {
    /// Who.
    pub identity: Identity,
    /// With what.
    pub instrument: Instrument,
    /// When; an examination without a time is not usable and is said to be so.
    pub taken: Option<Reading<ExamTime>>,
    /// The exam's own identifier, if it has one.
    pub uid: Option<Reading<String>>,
    /// What was measured.
    pub eyes: ByEye<Option<EyeExam>>,
    /// What the device itself predicted, as far as it can be computed again: nothing of it is a measurement.
    pub predictions: ByEye<Vec<ExternalPrediction>>,
    /// Eyes stated for the file as a whole (header, DICOM laterality attributes), to be held against `eyes`.
    pub stated_eyes: Vec<Reading<Vec<Eye>>>,
    /// What the file name claims.
    pub file_name: FileNameClaims,
    /// The file.
    pub file: Arc<FileRef>,
    /// The template it was read by; none for formats that need no template.
    pub template: Option<TemplateRef>,
}

impl Exam {
    /// The file of the examination as a whole: the place of what belongs to no line of it.
    pub fn whole_file(&self) -> Place {
        Place::File { file: Arc::clone(&self.file), spot: Spot::Whole }
    }

    /// The lines of a text file that this examination was read from; empty for other files.
    pub fn lines(&self) -> std::collections::BTreeSet<u64> {
        let identity = &self.identity;
        let mut places: Vec<&Place> = Vec::new();
        places.extend(identity.number.as_ref().map(|r| &r.place));
        places.extend(identity.name.as_ref().map(|r| &r.place));
        places.extend(identity.birth_date.as_ref().map(|r| &r.place));
        places.extend(self.taken.as_ref().map(|r| &r.place));
        for (_, eye) in self.eyes.iter() {
            let Some(eye) = eye else { continue };
            for keratometry in &eye.keratometry {
                for meridian in [&keratometry.flat, &keratometry.steep] {
                    places.extend(meridian.radius.as_ref().map(|r| &r.place));
                    places.extend(meridian.power.as_ref().map(|r| &r.place));
                    places.extend(meridian.meridian.as_ref().map(|r| &r.place));
                }
            }
            if let Some(axial) = &eye.axial {
                places.extend(axial.length.as_ref().map(|r| &r.place));
                places.extend(axial.depth.as_ref().map(|r| &r.place));
            }
            places.extend(eye.refraction.as_ref().map(|refraction| &refraction.sphere.place));
        }
        places.into_iter().filter_map(Place::line).collect()
    }
}
