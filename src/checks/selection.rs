//! The sources that count.

use std::sync::Arc;

use super::label;
use super::refraction::RefractionSource;
use crate::model::{Axial, Exam, Eye, Instrument, Keratometry, Surface};
use crate::units::{Dioptre, KeratometricIndex, Meridian, PowerVector};

/// One source of anterior keratometry of the planned eye: one instrument at one examination.
#[derive(Debug, Clone, PartialEq)]
pub struct KeratometrySource {
    label: String,
    instrument: Instrument,
    exam: Arc<Exam>,
    keratometry: Keratometry,
    vector: PowerVector,
    flat: Dioptre,
    steep: Dioptre,
    steep_meridian: Meridian,
}

impl KeratometrySource {
    /// The anterior keratometry of one eye of an examination; none when it is absent or incomplete.
    pub(super) fn of(exam: &Arc<Exam>, eye: Eye) -> Option<Self> {
        let keratometry = exam.eyes.of(eye).as_ref()?.keratometry_of(Surface::Anterior)?.clone();
        let index = KeratometricIndex::ISO_10343;
        let (first, second) = keratometry.powers_at(index)?;
        let steep_meridian = keratometry.steep_meridian()?;
        // Flat and steep the other way round are the same cornea with the meridians exchanged; U05 says so.
        let (flat, steep, steep_meridian) = if first > second {
            (second, first, steep_meridian.perpendicular())
        } else {
            (first, second, steep_meridian)
        };
        Some(Self {
            label: label::of_exam(exam),
            instrument: exam.instrument.clone(),
            exam: Arc::clone(exam),
            vector: PowerVector::from_steep(steep - flat, steep_meridian),
            keratometry,
            flat,
            steep,
            steep_meridian,
        })
    }

    /// Instrument and time, as findings name the source: `Halden K2, 2026-03-01 09:14`.
    pub fn label(&self) -> &str {
        &self.label
    }

    /// The instrument.
    pub const fn instrument(&self) -> &Instrument {
        &self.instrument
    }

    /// The examination.
    pub const fn exam(&self) -> &Arc<Exam> {
        &self.exam
    }

    /// What was measured, as read.
    pub const fn keratometry(&self) -> &Keratometry {
        &self.keratometry
    }

    /// Astigmatism in terms of the index 1.3375, corneal plane.
    pub const fn vector(&self) -> PowerVector {
        self.vector
    }

    /// Flat power in terms of the index 1.3375.
    pub const fn flat(&self) -> Dioptre {
        self.flat
    }

    /// Steep power in terms of the index 1.3375.
    pub const fn steep(&self) -> Dioptre {
        self.steep
    }

    /// Mean power in terms of the index 1.3375.
    pub fn mean(&self) -> Dioptre {
        (self.flat + self.steep) * 0.5
    }

    /// Steep meridian.
    pub const fn steep_meridian(&self) -> Meridian {
        self.steep_meridian
    }
}

/// The source of the lengths of the planned eye.
#[derive(Debug, Clone, PartialEq)]
pub struct AxialSource {
    label: String,
    exam: Arc<Exam>,
    axial: Axial,
}

impl AxialSource {
    /// The lengths of one eye of an examination; none when there are none.
    pub(super) fn of(exam: &Arc<Exam>, eye: Eye) -> Option<Self> {
        let axial = exam.eyes.of(eye).as_ref()?.axial.clone()?;
        Some(Self { label: label::of_exam(exam), exam: Arc::clone(exam), axial })
    }

    /// Instrument and time, as findings name the source.
    pub fn label(&self) -> &str {
        &self.label
    }

    /// The examination.
    pub const fn exam(&self) -> &Arc<Exam> {
        &self.exam
    }

    /// What was measured, as read.
    pub const fn axial(&self) -> &Axial {
        &self.axial
    }
}

/// Which examinations count for the planned eye, which are references, and which were set aside.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Selection {
    pub(super) keratometry: Vec<KeratometrySource>,
    pub(super) axial: Option<AxialSource>,
    pub(super) refraction: Option<RefractionSource>,
    pub(super) farthest: Option<usize>,
    pub(super) earlier: Vec<Arc<Exam>>,
    pub(super) set_aside: Vec<(String, String)>,
}

impl Selection {
    /// The sources of anterior keratometry that count: the latest sound one of each instrument, ordered by label.
    pub fn keratometry(&self) -> &[KeratometrySource] {
        &self.keratometry
    }

    /// The source of the lengths, if there is one.
    pub const fn axial(&self) -> Option<&AxialSource> {
        self.axial.as_ref()
    }

    /// The refraction of the planned eye: the latest sound one, if there is one.
    pub const fn refraction(&self) -> Option<&RefractionSource> {
        self.refraction.as_ref()
    }

    /// With three or more sources that disagree: the one that is left out of the plan if the surgeon agrees; its place
    /// in [`Selection::keratometry`].
    pub const fn farthest(&self) -> Option<usize> {
        self.farthest
    }

    /// Examinations of the patient that are references only: earlier ones of an instrument that counts, and those
    /// outside the window. Never averaged in.
    pub fn earlier(&self) -> &[Arc<Exam>] {
        &self.earlier
    }

    /// Newest examinations that failed while an earlier one of the instrument is used: label and reason in words without
    /// numbers.
    pub fn set_aside(&self) -> &[(String, String)] {
        &self.set_aside
    }

    /// The sources a plan combines: all that count, without the farthest.
    pub fn in_plan(&self) -> impl Iterator<Item = &KeratometrySource> {
        self.keratometry
            .iter()
            .enumerate()
            .filter(|(position, _)| Some(*position) != self.farthest)
            .map(|(_, source)| source)
    }
}
