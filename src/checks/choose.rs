//! Which examinations count: per instrument and quantity the latest that passes its own checks, within the window.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::context::Context;
use super::rules::{self, About, Noted, Scope};
use super::selection::{AxialSource, KeratometrySource, Selection};
use super::settings::Settings;
use crate::casebook::Case;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye, Surface};

/// A quantity that is chosen by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quantity {
    Keratometry,
    Axial,
}

/// An examination of the patient with everything the rules say about it for the planned eye.
pub(super) struct Examined<'a> {
    pub(super) exam: &'a Arc<Exam>,
    pub(super) label: String,
    noted: Vec<Noted>,
}

impl Examined<'_> {
    /// Whether it says anything about this quantity of this eye.
    fn holds(&self, quantity: Quantity, eye: Eye) -> bool {
        self.exam.eyes.of(eye).as_ref().is_some_and(|values| match quantity {
            Quantity::Keratometry => values.keratometry_of(Surface::Anterior).is_some(),
            Quantity::Axial => values.axial.is_some(),
        })
    }

    fn of(&self, quantity: Quantity) -> impl Iterator<Item = &Finding> {
        self.noted.iter().filter(move |noted| concerns(noted.scope, quantity)).map(|noted| &noted.finding)
    }

    fn whole(&self) -> impl Iterator<Item = &Finding> {
        self.noted.iter().filter(|noted| noted.scope == Scope::Whole).map(|noted| &noted.finding)
    }

    /// Whether nothing said about the file as a whole refuses it.
    pub(super) fn is_sound(&self) -> bool {
        self.whole().all(|finding| finding.severity() != Severity::Refuse)
    }

    fn passes(&self, quantity: Quantity) -> bool {
        self.of(quantity).all(|finding| finding.severity() != Severity::Refuse)
    }

    fn date(&self) -> Option<jiff::civil::Date> {
        self.exam.taken.as_ref().map(|taken| taken.value.date())
    }
}

/// Whether a finding of this scope makes the quantity unusable.
fn concerns(scope: Scope, quantity: Quantity) -> bool {
    match scope {
        Scope::Whole => true,
        Scope::Keratometry => quantity == Quantity::Keratometry,
        Scope::Axial => quantity == Quantity::Axial,
    }
}

/// The findings of one examination that speak about the planned eye: its own, those of the file, and of the fellow eye
/// only a doubt about identity or eye, and what shows that the file as a whole is in the wrong unit or index.
fn for_eye(noted: Vec<Noted>, eye: Eye) -> Vec<Noted> {
    let own: BTreeSet<Code> = noted
        .iter()
        .filter(|noted| noted.finding.about() == Some(eye))
        .map(|noted| noted.finding.code())
        .collect();
    noted
        .into_iter()
        .filter_map(|noted| match noted.finding.about() {
            None => Some(noted),
            Some(about) if about == eye => Some(noted),
            Some(_) => {
                let code = noted.finding.code();
                let wrong_unit = matches!(code, Code::U01 | Code::U02)
                    && noted.finding.severity() == Severity::Refuse
                    && !own.contains(&code);
                let of_the_file = wrong_unit || rules::who_or_which_eye(code);
                of_the_file.then_some(noted)
            }
        })
        .collect()
}

/// Sound examinations of the patient that hold a prediction of this eye and count by their day, in the given order.
pub(super) fn predicting<'e, 'a>(
    examined: &'e [Examined<'a>],
    eye: Eye,
    context: &Context<'_>,
    settings: &Settings,
) -> Vec<&'e Examined<'a>> {
    let anchor = anchor(examined, eye, context);
    examined
        .iter()
        .filter(|e| !e.exam.predictions.of(eye).is_empty() && e.is_sound())
        .filter(|e| in_window(e.date(), anchor, settings))
        .collect()
}

/// The examinations that carry the patient's number, newest first within each instrument, those without a time before
/// all others: they could be the newest.
pub(super) fn examine<'a>(
    case: &'a Case,
    eye: Option<Eye>,
    context: &'a Context<'a>,
    settings: &'a Settings,
) -> Vec<Examined<'a>> {
    let mut examined: Vec<Examined<'a>> = case
        .own_exams()
        .map(|joined| {
            let about = About::new(joined, Some(&case.entry), context, settings);
            let noted = rules::of_exam(&about);
            let noted = match eye {
                Some(eye) => for_eye(noted, eye),
                None => noted.into_iter().filter(|noted| noted.scope == Scope::Whole).collect(),
            };
            Examined { exam: &joined.exam, label: about.label, noted }
        })
        .collect();
    examined.sort_by(|one, other| {
        let time = |e: &Examined<'_>| e.exam.taken.as_ref().map(|taken| taken.value.local);
        one.exam
            .instrument
            .key
            .cmp(&other.exam.instrument.key)
            .then_with(|| match (time(one), time(other)) {
                (None, None) => core::cmp::Ordering::Equal,
                (None, Some(_)) => core::cmp::Ordering::Less,
                (Some(_), None) => core::cmp::Ordering::Greater,
                (Some(a), Some(b)) => b.cmp(&a),
            })
            .then_with(|| one.exam.file.digest.cmp(&other.exam.file.digest))
    });
    examined
}

/// What is said about the files of a case whose list names no eye: the newest of each instrument.
pub(super) fn newest_whole(examined: &[Examined<'_>]) -> Vec<Finding> {
    let mut known: BTreeSet<&str> = BTreeSet::new();
    examined
        .iter()
        .filter(|e| known.insert(e.exam.instrument.key.as_str()))
        .flat_map(|e| e.whole().cloned())
        .collect()
}

/// What came out of the choice.
#[derive(Default)]
pub(super) struct Choice {
    pub(super) selection: Selection,
    pub(super) findings: Vec<Finding>,
    /// Examinations that count for anything, or whose failure stands: the present state of each instrument.
    pub(super) present: Vec<Arc<Exam>>,
    /// Instruments whose anterior keratometry of the planned eye failed and is not replaced by an earlier one.
    pub(super) failed_keratometry: BTreeSet<String>,
    /// Whether lengths of the planned eye failed and are not replaced by earlier ones.
    pub(super) failed_axial: bool,
    /// The sources of lengths that count: the latest sound one of each instrument, the one the plan uses first.
    pub(super) lengths: Vec<AxialSource>,
    /// Every examination within the window whose anterior keratometry of the planned eye passes, the ones that count
    /// among them: what repeats a reading.
    pub(super) repeats: Vec<Arc<Exam>>,
    /// Every examination within the window whose lengths of the planned eye pass.
    pub(super) repeated_lengths: Vec<Arc<Exam>>,
    /// Examinations that are references only and against which nothing is said.
    pub(super) references: Vec<Arc<Exam>>,
    /// Whether lengths exist outside the window.
    pub(super) axial_outside_window: bool,
    /// Whether an anterior keratometry exists outside the window.
    pub(super) keratometry_outside_window: bool,
}

/// A refuse finding of a newest examination that is not used: it no longer blocks, the surgeon sees it.
fn set_aside(finding: &Finding, label: &str, eye: Eye) -> Finding {
    let mut aside = Finding::new(
        finding.code(),
        Severity::SignOff,
        format!("newest examination set aside ({label}), an earlier one is used: {}", finding.message()),
        format!("newest examination set aside ({label}), an earlier one is used: {}", finding.plain()),
    )
    .eye(finding.about().unwrap_or(eye))
    .sources([label.to_owned()])
    .next(
        "look at the newest examination at the device; if it is right, have it corrected and exported again",
    );
    if let Some(expected) = finding.expected_text() {
        aside = aside.expected(expected);
    }
    if let Some(found) = finding.found_text() {
        aside = aside.found(found);
    }
    if let Some(source) = finding.source() {
        aside = aside.cited(*source);
    }
    for place in finding.places() {
        aside = aside.at(place.clone());
    }
    aside
}

/// The latest day on which the planned eye was measured; times in the future do not count.
fn anchor(examined: &[Examined<'_>], eye: Eye, context: &Context<'_>) -> Option<jiff::civil::Date> {
    examined
        .iter()
        .filter(|e| e.holds(Quantity::Keratometry, eye) || e.holds(Quantity::Axial, eye))
        .filter(|e| e.exam.taken.as_ref().is_some_and(|taken| !taken.value.is_after(context.now)))
        .filter_map(Examined::date)
        .max()
}

fn in_window(
    date: Option<jiff::civil::Date>,
    anchor: Option<jiff::civil::Date>,
    settings: &Settings,
) -> bool {
    match (date, anchor) {
        (Some(date), Some(anchor)) => {
            let days = (anchor - date).get_days();
            f64::from(days) <= settings.window_days.value
        }
        // An examination without a time is judged, and fails by its missing time.
        _ => true,
    }
}

/// Chooses the sources of the planned eye.
pub(super) fn choose(
    examined: &[Examined<'_>],
    eye: Eye,
    context: &Context<'_>,
    settings: &Settings,
) -> Choice {
    let anchor = anchor(examined, eye, context);
    let mut choice = Choice::default();
    let mut axial: Vec<AxialSource> = Vec::new();
    let mut seen: Vec<&Arc<Exam>> = Vec::new();
    let instruments: BTreeSet<&str> = examined.iter().map(|e| e.exam.instrument.key.as_str()).collect();
    for instrument in instruments {
        let own: Vec<&Examined<'_>> =
            examined.iter().filter(|e| e.exam.instrument.key == instrument).collect();
        let mut newest_used: Option<jiff::civil::DateTime> = None;
        for quantity in [Quantity::Keratometry, Quantity::Axial] {
            let candidates: Vec<&&Examined<'_>> = own.iter().filter(|e| e.holds(quantity, eye)).collect();
            let within: Vec<&&Examined<'_>> =
                candidates.iter().copied().filter(|e| in_window(e.date(), anchor, settings)).collect();
            if within.len() < candidates.len() {
                match quantity {
                    Quantity::Keratometry => choice.keratometry_outside_window = true,
                    Quantity::Axial => choice.axial_outside_window = true,
                }
            }
            let repeats = within.iter().filter(|e| e.passes(quantity)).map(|e| Arc::clone(e.exam));
            match quantity {
                Quantity::Keratometry => choice.repeats.extend(repeats),
                Quantity::Axial => choice.repeated_lengths.extend(repeats),
            }
            let chosen = within.iter().position(|e| e.passes(quantity));
            match chosen {
                Some(position) => {
                    for failed in within.iter().take(position) {
                        let refusals =
                            failed.of(quantity).filter(|finding| finding.severity() == Severity::Refuse);
                        for finding in refusals {
                            choice
                                .selection
                                .set_aside
                                .push((failed.label.clone(), finding.plain().to_owned()));
                            choice.findings.push(set_aside(finding, &failed.label, eye));
                        }
                        seen.push(failed.exam);
                    }
                    if let Some(used) = within.get(position) {
                        choice.findings.extend(used.of(quantity).cloned());
                        choice.present.push(Arc::clone(used.exam));
                        seen.push(used.exam);
                        newest_used =
                            newest_used.max(used.exam.taken.as_ref().map(|taken| taken.value.local));
                        match quantity {
                            Quantity::Keratometry => {
                                choice.selection.keratometry.extend(KeratometrySource::of(used.exam, eye));
                            }
                            Quantity::Axial => axial.extend(AxialSource::of(used.exam, eye)),
                        }
                    }
                }
                None => {
                    if let Some(newest) = within.first() {
                        choice.findings.extend(newest.of(quantity).cloned());
                        choice.present.push(Arc::clone(newest.exam));
                        seen.push(newest.exam);
                        match quantity {
                            Quantity::Keratometry => {
                                choice.failed_keratometry.insert(instrument.to_owned());
                            }
                            Quantity::Axial => choice.failed_axial = true,
                        }
                    }
                }
            }
        }
        // A file that holds nothing of the planned eye may hold it under the wrong name: what is said about the file
        // as a whole stands, unless it is older than what is used.
        for other in
            own.iter().filter(|e| !e.holds(Quantity::Keratometry, eye) && !e.holds(Quantity::Axial, eye))
        {
            let taken = other.exam.taken.as_ref().map(|taken| taken.value.local);
            let older = taken.zip(newest_used).is_some_and(|(taken, used)| taken < used);
            if !older && in_window(other.date(), anchor, settings) {
                choice.findings.extend(other.whole().cloned());
                choice.present.push(Arc::clone(other.exam));
                seen.push(other.exam);
            }
        }
    }
    choice.selection.keratometry.sort_by(|a, b| a.label().cmp(b.label()));
    axial.sort_by(|a, b| {
        let key = |source: &AxialSource| {
            (source.axial().length.is_some(), source.exam().taken.as_ref().map(|taken| taken.value.local))
        };
        key(b).cmp(&key(a)).then_with(|| a.label().cmp(b.label()))
    });
    choice.selection.axial = axial.first().cloned();
    choice.selection.refraction = super::refraction::latest(examined, eye);
    choice.lengths = axial;
    let references = || examined.iter().filter(|e| !seen.iter().any(|used| Arc::ptr_eq(used, e.exam)));
    choice.selection.earlier = references().map(|e| Arc::clone(e.exam)).collect();
    choice.references = references()
        .filter(|e| e.passes(Quantity::Keratometry) && e.passes(Quantity::Axial))
        .map(|e| Arc::clone(e.exam))
        .collect();
    choice.selection.set_aside.sort();
    choice.selection.set_aside.dedup();
    let mut present: Vec<Arc<Exam>> = Vec::new();
    for exam in choice.present.drain(..) {
        if !present.iter().any(|known| Arc::ptr_eq(known, &exam)) {
            present.push(exam);
        }
    }
    choice.present = present;
    choice
}

/// Whether an examination holds an anterior keratometry of this eye.
pub(super) fn holds_keratometry(exam: &Exam, eye: Eye) -> bool {
    exam.eyes.of(eye).as_ref().is_some_and(|values| values.keratometry_of(Surface::Anterior).is_some())
}
