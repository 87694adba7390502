//! D07: a folder that declares both eyes in every examination, and an examination with one.

use super::outcome::{Content, Read};
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, EyeExam};

/// One finding per examination that lacks an eye.
pub(super) fn missing(read: &Read) -> Vec<Finding> {
    match &read.content {
        Content::Exams(exams) => exams.iter().filter_map(of_exam).collect(),
        Content::List(_) | Content::Facts(_) => Vec::new(),
    }
}

fn of_exam(exam: &Exam) -> Option<Finding> {
    let lacking: Vec<&str> = exam
        .eyes
        .iter()
        .filter(|(_, values)| values.as_ref().is_none_or(EyeExam::is_empty))
        .map(|(eye, _)| eye.word())
        .collect();
    if lacking.is_empty() {
        return None;
    }
    let text = format!(
        "the folder declares both eyes in every examination, and the {} eye is missing",
        lacking.join(" and the ")
    );
    // Told by its place from the other examinations of the file.
    let place = exam.identity.number.as_ref().map(|number| number.place.clone());
    let place = place.unwrap_or_else(|| exam.whole_file());
    Some(
        Finding::new(Code::D07, Severity::SignOff, text.clone(), text)
            .expected("both eyes")
            .found(format!("no {} eye", lacking.join(" and no ")))
            .at(place)
            .next("look at the instrument whether both eyes were measured; measure and export both, or answer why one is missing"),
    )
}
