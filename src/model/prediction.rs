//! What a device itself predicted: a refraction after surgery, by a published formula, with everything it rests on.
//!
//! A prediction is external. It enters no plan and no mean; the rules may hold it against the same formula computed from
//! the same inputs.

use super::exam::{ChamberDepthFrom, MeridianReading};
use super::place::Place;
use super::reading::Reading;
use crate::units::{Dioptre, KeratometricIndex, Millimetre};

/// A published formula with the lens constants a device states for it, as written. Source: DICOM PS3.16 CID 4236, CID 4237.
#[derive(Debug, Clone, PartialEq)]
pub enum StatedFormula {
    /// Haigis 2000, DCM 111760.
    Haigis2000 {
        /// a0, DCM 111769, in millimetres.
        a0: Reading<f64>,
        /// a1, DCM 111770, no unit.
        a1: Reading<f64>,
        /// a2, DCM 111771, no unit.
        a2: Reading<f64>,
    },
    /// Hoffer 1993, DCM 111764, with the personalised chamber depth, DCM 111772, in millimetres.
    Hoffer1993(Reading<f64>),
    /// Holladay 1988, DCM 111762, with the surgeon factor, DCM 111773, in millimetres.
    Holladay1988(Reading<f64>),
    /// Retzlaff 1990, DCM 111767, with the A constant, SCT 397263007, no unit.
    Retzlaff1990(Reading<f64>),
}

impl StatedFormula {
    /// Authors and year.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Haigis2000 { .. } => "Haigis 2000",
            Self::Hoffer1993(_) => "Hoffer 1993",
            Self::Holladay1988(_) => "Holladay 1988",
            Self::Retzlaff1990(_) => "Retzlaff 1990",
        }
    }

    /// The constants with their names.
    fn constants(&self) -> Vec<(&'static str, f64)> {
        match self {
            Self::Haigis2000 { a0, a1, a2 } => vec![("a0", a0.value), ("a1", a1.value), ("a2", a2.value)],
            Self::Hoffer1993(depth) => vec![("personalised chamber depth", depth.value)],
            Self::Holladay1988(factor) => vec![("surgeon factor", factor.value)],
            Self::Retzlaff1990(constant) => vec![("A constant", constant.value)],
        }
    }
}

/// A lens power and what the device predicts for it.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedRefraction {
    /// Power of the lens, not toric.
    pub power: Reading<Dioptre>,
    /// Spherical equivalent after surgery, at spectacles; negative when myopic.
    pub refraction: Reading<Dioptre>,
}

/// One calculation of a device for one eye, complete enough to be computed again.
#[derive(Debug, Clone, PartialEq)]
pub struct ExternalPrediction {
    /// The formula with its constants.
    pub formula: StatedFormula,
    /// Flat meridian, as the calculation used it.
    pub flat: MeridianReading,
    /// Steep meridian.
    pub steep: MeridianReading,
    /// The index by which powers and radii belong together, if stated.
    pub index: Option<Reading<KeratometricIndex>>,
    /// Axial length that was used.
    pub length: Reading<Millimetre>,
    /// Chamber depth that was used, if stated.
    pub depth: Option<Reading<Millimetre>>,
    /// From which surface the depth counts; unknown when nobody says.
    pub depth_from: Option<ChamberDepthFrom>,
    /// The target, if stated.
    pub target: Option<Reading<Dioptre>>,
    /// Powers with their predictions, at least one.
    pub predicted: Vec<PredictedRefraction>,
    /// The calculation as a whole.
    pub place: Place,
}

impl ExternalPrediction {
    /// Flat and steep radius: as stated, else from the power and the stated index. None when neither can be had.
    pub fn radii(&self) -> Option<(Millimetre, Millimetre)> {
        Some((self.radius_of(&self.flat)?, self.radius_of(&self.steep)?))
    }

    /// The numbers without the places they stood at: equal for two deliveries of one calculation.
    pub fn values(&self) -> Vec<(&'static str, f64)> {
        let mut values = self.formula.constants();
        let mut put =
            |name: &'static str, value: Option<f64>| values.extend(value.map(|value| (name, value)));
        for meridian in [&self.flat, &self.steep] {
            put("radius", meridian.radius.as_ref().map(|r| r.value.millimetres()));
            put("power", meridian.power.as_ref().map(|r| r.value.dioptres()));
        }
        put("index", self.index.as_ref().map(|r| r.value.index()));
        put("length", Some(self.length.value.millimetres()));
        put("depth", self.depth.as_ref().map(|r| r.value.millimetres()));
        put("target", self.target.as_ref().map(|r| r.value.dioptres()));
        for stated in &self.predicted {
            put("lens power", Some(stated.power.value.dioptres()));
            put("prediction", Some(stated.refraction.value.dioptres()));
        }
        values
    }

    fn radius_of(&self, meridian: &MeridianReading) -> Option<Millimetre> {
        if let Some(radius) = &meridian.radius {
            return Some(radius.value);
        }
        self.index.as_ref()?.value.radius_of(meridian.power.as_ref()?.value)
    }

    /// Chamber depth from the front of the cornea; none when it counts from elsewhere or nobody says from where.
    pub fn depth_from_front(&self) -> Option<Millimetre> {
        let depth = self.depth.as_ref()?.value;
        (self.depth_from == Some(ChamberDepthFrom::CornealFront)).then_some(depth)
    }
}
