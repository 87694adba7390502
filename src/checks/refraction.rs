//! The refraction that counts: the latest sound one of the planned eye.

use std::sync::Arc;

use super::choose::Examined;
use super::label;
use crate::model::{Exam, Eye, Refraction};

/// The refraction of the planned eye, as one examination states it.
#[derive(Debug, Clone, PartialEq)]
pub struct RefractionSource {
    label: String,
    exam: Arc<Exam>,
    refraction: Refraction,
}

/// Whether sphere, cylinder and, of a cylinder that is not zero, its axis are stated. A cylinder nobody wrote down is not
/// taken for zero.
fn is_whole(refraction: &Refraction) -> bool {
    refraction
        .cylinder
        .as_ref()
        .is_some_and(|cylinder| cylinder.value.dioptres().abs() <= 0.0 || refraction.axis.is_some())
}

impl RefractionSource {
    /// The refraction of one eye of an examination; none when it is absent or incomplete.
    fn of(exam: &Arc<Exam>, eye: Eye) -> Option<Self> {
        let refraction = exam.eyes.of(eye).as_ref()?.refraction.clone()?;
        is_whole(&refraction).then(|| Self {
            label: label::of_exam(exam),
            exam: Arc::clone(exam),
            refraction,
        })
    }

    /// Instrument and time, as findings name the source.
    pub fn label(&self) -> &str {
        &self.label
    }

    /// The examination.
    pub const fn exam(&self) -> &Arc<Exam> {
        &self.exam
    }

    /// What was read, as written.
    pub const fn refraction(&self) -> &Refraction {
        &self.refraction
    }
}

/// The latest whole refraction of an examination against which no refusal of the file stands; of several of one time the
/// first by label.
///
/// Refractions are never averaged, and an older one is taken only where the newer was refused or is not whole.
pub(super) fn latest(examined: &[Examined<'_>], eye: Eye) -> Option<RefractionSource> {
    let mut sound: Vec<RefractionSource> = examined
        .iter()
        .filter(|one| one.is_sound())
        .filter_map(|one| RefractionSource::of(one.exam, eye))
        .collect();
    sound.sort_by(|one, other| {
        let time = |source: &RefractionSource| source.exam.taken.as_ref().map(|taken| taken.value.local);
        time(other).cmp(&time(one)).then_with(|| one.label.cmp(&other.label))
    });
    sound.into_iter().next()
}
