//! The name of a source: instrument and examination.

use crate::model::{Exam, ExamTime, Fact};

/// A time as people read it, to the minute.
pub(super) fn printed_time(time: &ExamTime) -> String {
    time.local.strftime("%Y-%m-%d %H:%M").to_string()
}

/// Instrument and time of an examination, as used for the sources of a finding: `Halden K2, 2026-03-01 09:14`.
pub(super) fn of_exam(exam: &Exam) -> String {
    match &exam.taken {
        Some(taken) => format!("{}, {}", exam.instrument.key, printed_time(&taken.value)),
        None => format!("{}, time not stated", exam.instrument.key),
    }
}

/// Person and time of a statement: `statement of nurse, 2026-03-01 09:14`.
pub(super) fn of_statement(fact: &Fact) -> String {
    let at = fact.at.as_ref().map_or_else(|| "time not stated".to_owned(), printed_time);
    format!("statement of {}, {at}", fact.by)
}
