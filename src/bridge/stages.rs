//! One case through the stages, without any effect: screen, try, weigh, clear, plan.

use crate::casebook::Case;
use crate::checks::{self, Context};
use crate::finding::{Answer, Finding, Severity};
use crate::plan::{self, Order, Plan, Trial};

/// The states of a case, the same words everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum State {
    /// Something has not arrived yet.
    Waiting,
    /// A refuse finding stands.
    Blocked,
    /// Sign-off findings are open.
    Held,
    /// Planned; the approval is open.
    Planned,
    /// A current sheet is out.
    Released,
    /// The sheet was collected.
    Collected,
    /// Another version has taken its place.
    Superseded,
    /// A sheet that must leave could not be removed yet.
    WithdrawalPending,
    /// The sheet was withdrawn and nothing took its place.
    Withdrawn,
    /// The operation was done by this sheet.
    Used,
}

impl State {
    /// The word of JSON, desk and paper.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Blocked => "blocked",
            Self::Held => "held",
            Self::Planned => "planned",
            Self::Released => "released",
            Self::Collected => "collected",
            Self::Superseded => "superseded",
            Self::WithdrawalPending => "withdrawal pending",
            Self::Withdrawn => "withdrawn",
            Self::Used => "used",
        }
    }
}

/// How far a case came.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Nothing of this patient has been measured yet, or a source the site expects has not come.
    Waiting,
    /// A refuse finding stands.
    Blocked,
    /// Sign-off findings are open; the trial has the numbers for the desk.
    Held(Box<Trial>),
    /// Every finding is answered.
    Planned(Box<Plan>),
}

/// A case with its findings and how far it came.
#[derive(Debug, Clone, PartialEq)]
pub struct Considered {
    /// The case.
    pub case: Case,
    /// Every finding, checks first, then the plan's own.
    pub findings: Vec<Finding>,
    /// Answers that answer one of them.
    pub answers: Vec<Answer>,
    /// How far it came.
    pub outcome: Outcome,
}

impl Considered {
    /// Its state, before anything was issued.
    pub const fn state(&self) -> State {
        match self.outcome {
            Outcome::Waiting => State::Waiting,
            Outcome::Blocked => State::Blocked,
            Outcome::Held(_) => State::Held,
            Outcome::Planned(_) => State::Planned,
        }
    }

    /// The answer to a finding, if it has one.
    pub fn answer_to(&self, finding: &Finding) -> Option<&Answer> {
        self.answers.iter().find(|answer| answer.answers(finding))
    }

    /// Sign-off findings without an answer.
    pub fn open(&self) -> impl Iterator<Item = &Finding> {
        self.findings
            .iter()
            .filter(|finding| finding.severity() == Severity::SignOff && self.answer_to(finding).is_none())
    }
}

/// Takes one case through the stages.
///
/// A case waits while an expected source has not come and the time to decide has not; what is to be refused is said at
/// once. `order` is none when the list names no known surgeon or lens; the checks then refuse the case by name.
pub fn consider(
    case: Case,
    context: &Context<'_>,
    settings: &checks::Settings,
    order: Option<&Order>,
    answers: &[Answer],
) -> Considered {
    let due = context.expected.decide_by.is_some_and(|decide_by| context.now >= decide_by);
    if case.exams.is_empty() && case.eye.is_some() && (case.gone || !due) {
        return Considered { case, findings: Vec::new(), answers: Vec::new(), outcome: Outcome::Waiting };
    }
    let screening = checks::screen(&case, context, settings);
    let refused = screening.findings.iter().any(|finding| finding.severity() == Severity::Refuse);
    if !screening.missing.is_empty() && !refused {
        let used = answers.iter().filter(|answer| screening.findings.iter().any(|f| answer.answers(f)));
        let answers = used.cloned().collect();
        return Considered { case, findings: screening.findings, answers, outcome: Outcome::Waiting };
    }
    let (Some(screened), Some(order)) = (screening.screened, order) else {
        return Considered {
            case,
            findings: screening.findings,
            answers: Vec::new(),
            outcome: Outcome::Blocked,
        };
    };
    let trial = match plan::trial(&screened, order) {
        Ok(trial) => trial,
        Err(refusals) => {
            let mut findings = screening.findings;
            findings.extend(refusals);
            return Considered { case, findings, answers: Vec::new(), outcome: Outcome::Blocked };
        }
    };
    let screened = checks::weigh(screened, trial.weights(), settings);
    let mut findings = screened.findings().to_vec();
    findings.extend(trial.computation().findings.iter().cloned());
    let used: Vec<Answer> = answers
        .iter()
        .filter(|answer| findings.iter().any(|finding| answer.answers(finding)))
        .cloned()
        .collect();
    let outcome = match checks::clear(screened, &used) {
        Err(_) => Outcome::Held(Box::new(trial)),
        Ok(cleared) => match plan::confirm(&trial, cleared, order.clone()) {
            Ok(plan) if plan.unanswered(&used).is_empty() => Outcome::Planned(Box::new(plan)),
            Ok(_) => Outcome::Held(Box::new(trial)),
            Err(refusals) => {
                findings.extend(refusals);
                Outcome::Blocked
            }
        },
    };
    Considered { case, findings, answers: used, outcome }
}
