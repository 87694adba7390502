//! The two doors of this room.

use super::selection::Selection;
use super::settings::Settings;
use crate::casebook::Case;
use crate::finding::{Answer, Code, Finding, Severity};
use crate::model::{CornealSurgery, Eye};
use crate::units::{Dioptre, Meridian};

/// What [`crate::checks::screen`] found out about a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Screening {
    /// Everything noticed: identity, eye, units, agreement, validity, history, release.
    pub findings: Vec<Finding>,
    /// Which examinations count.
    pub selection: Selection,
    /// Expected sources that have not come and are still waited for.
    pub missing: Vec<String>,
    /// The case, when no refuse finding stands and nothing is waited for.
    pub screened: Option<Screened>,
}

/// A case without a refuse finding: it may be tried, never printed.
///
/// Made by [`crate::checks::screen`] alone:
///
/// ```compile_fail,E0451
/// fn forged(case: axiswright::casebook::Case) -> axiswright::checks::Screened {
///     axiswright::checks::Screened {
///         case,
///         eye: axiswright::model::Eye::Right,
///         selection: axiswright::checks::Selection::default(),
///         findings: Vec::new(),
///         corneal_surgery: axiswright::model::CornealSurgery::No,
///         weights: Vec::new(),
///     }
/// }
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Screened {
    case: Case,
    eye: Eye,
    selection: Selection,
    findings: Vec<Finding>,
    corneal_surgery: CornealSurgery,
    weights: Vec<Weight>,
}

impl Screened {
    /// The one way in: none when a refuse finding stands or the case names no eye.
    pub(super) fn admit(
        case: &Case,
        selection: &Selection,
        findings: &[Finding],
        corneal_surgery: CornealSurgery,
    ) -> Option<Self> {
        let eye = case.eye?;
        if findings.iter().any(|finding| finding.severity() == Severity::Refuse) {
            return None;
        }
        Some(Self {
            case: case.clone(),
            eye,
            selection: selection.clone(),
            findings: findings.to_vec(),
            corneal_surgery,
            weights: Vec::new(),
        })
    }

    /// The case.
    pub const fn case(&self) -> &Case {
        &self.case
    }

    /// The planned eye.
    pub const fn eye(&self) -> Eye {
        self.eye
    }

    /// Which examinations count.
    pub const fn selection(&self) -> &Selection {
        &self.selection
    }

    /// The findings, none of them a refusal.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// Whether the cornea was operated on, by all that was stated; unknown when nobody said anything. With `Yes` the
    /// power formulas are refused and only an entered choice can be planned.
    pub const fn corneal_surgery(&self) -> CornealSurgery {
        self.corneal_surgery
    }

    /// What weighing the disagreement was based on; empty before [`weigh`].
    pub fn weights(&self) -> &[Weight] {
        &self.weights
    }
}

/// What the plan from the combined reading means by one single source; filled by the planning room.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Label of the source.
    pub source: String,
    /// Size of the astigmatism which that plan leaves by this source, corneal plane.
    pub residual: Dioptre,
    /// The lens step, or the procedure's step, the source alone would choose.
    pub step: String,
    /// The axis the source alone would choose.
    pub axis: Meridian,
}

/// Weighs the disagreement A01 of two sources by what it would do to the eye.
///
/// A sign-off becomes a note when the plan from the combined reading leaves no more than `a01_residual` by every single
/// source that is in the plan. It stays when a weight is missing, when one is larger, and when a source is to be set
/// aside.
#[must_use]
pub fn weigh(mut screened: Screened, weights: &[Weight], settings: &Settings) -> Screened {
    let every_source = screened
        .selection
        .in_plan()
        .all(|source| weights.iter().any(|weight| weight.source == source.label()));
    let largest = weights.iter().map(|weight| weight.residual.dioptres()).fold(0.0, f64::max);
    let harmless = !weights.is_empty()
        && every_source
        && screened.selection.farthest().is_none()
        && largest <= settings.a01_residual.value + super::rules::SLACK;
    screened.weights = weights.to_vec();
    if harmless {
        for finding in &mut screened.findings {
            if finding.code() == Code::A01 && finding.severity() == Severity::SignOff {
                // No number here: a next step may stand on paper of a case that is not released.
                *finding = finding.clone().weighed(Severity::Note).next(
                    "nothing to do: by every single source the plan from the combined reading is good enough",
                );
            }
        }
    }
    screened
}

/// A case whose sign-off findings are all answered.
///
/// Made by [`clear`] alone:
///
/// ```compile_fail,E0451
/// fn forged(screened: axiswright::checks::Screened) -> axiswright::checks::Cleared {
///     axiswright::checks::Cleared { screened, answers: Vec::new() }
/// }
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Cleared {
    screened: Screened,
    answers: Vec<Answer>,
}

impl Cleared {
    /// The case.
    pub const fn case(&self) -> &Case {
        &self.screened.case
    }

    /// The planned eye.
    pub const fn eye(&self) -> Eye {
        self.screened.eye
    }

    /// Which examinations count.
    pub const fn selection(&self) -> &Selection {
        &self.screened.selection
    }

    /// The findings, none of them a refusal, every sign-off answered.
    pub fn findings(&self) -> &[Finding] {
        &self.screened.findings
    }

    /// Whether the cornea was operated on; see [`Screened::corneal_surgery`].
    pub const fn corneal_surgery(&self) -> CornealSurgery {
        self.screened.corneal_surgery
    }

    /// What weighing the disagreement was based on.
    pub fn weights(&self) -> &[Weight] {
        &self.screened.weights
    }

    /// The answers that count: each answers a finding of this case.
    pub fn answers(&self) -> &[Answer] {
        &self.answers
    }

    /// The answer to one finding; none for a note.
    pub fn answer_to(&self, finding: &Finding) -> Option<&Answer> {
        self.answers.iter().find(|answer| answer.answers(finding))
    }

    /// The case before it was answered.
    pub const fn screened(&self) -> &Screened {
        &self.screened
    }
}

/// A case with sign-off findings nobody has answered.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    /// The case, to be answered and cleared again.
    pub screened: Screened,
    /// The sign-off findings without an answer.
    pub unanswered: Vec<Finding>,
}

/// Lets a case pass whose sign-off findings are all answered; an answer without a reason does not count.
///
/// # Errors
/// [`Open`] with the findings that still wait for an answer.
pub fn clear(screened: Screened, answers: &[Answer]) -> Result<Cleared, Box<Open>> {
    let asked: Vec<&Finding> =
        screened.findings.iter().filter(|finding| finding.severity() == Severity::SignOff).collect();
    let unanswered: Vec<Finding> = asked
        .iter()
        .filter(|finding| !answers.iter().any(|answer| answer.answers(finding)))
        .map(|finding| (*finding).clone())
        .collect();
    if !unanswered.is_empty() {
        return Err(Box::new(Open { screened, unanswered }));
    }
    let used: Vec<Answer> = answers
        .iter()
        .filter(|answer| asked.iter().any(|finding| answer.answers(finding)))
        .cloned()
        .collect();
    Ok(Cleared { screened, answers: used })
}
