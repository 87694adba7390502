//! The doors from screened to trial, from cleared to plan, from plan to released.

use super::compute::{Computation, compute, weights};
use super::order::Order;
use crate::checks::{Cleared, Screened, Selection, Weight};
use crate::finding::{Answer, Finding, Severity};
use crate::model::{CornealSurgery, ListEntry};

/// Numbers for the desk, for weighing a disagreement, for `trial{}` in JSON. Never for a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    computation: Computation,
    weights: Vec<Weight>,
    /// What it was computed from.
    basis: (Selection, ListEntry, CornealSurgery, Order),
}

impl Trial {
    /// What was computed.
    pub const fn computation(&self) -> &Computation {
        &self.computation
    }

    /// What the lens would leave by each single source.
    pub fn weights(&self) -> &[Weight] {
        &self.weights
    }
}

/// Tries a case that passed the refusing checks.
///
/// # Errors
/// The refusing findings of the plan itself: a formula that cannot be used, a number it needs and has not.
pub fn trial(screened: &Screened, order: &Order) -> Result<Trial, Vec<Finding>> {
    let (selection, entry) = (screened.selection(), &screened.case().entry);
    let computation = compute(screened.eye(), selection, entry, screened.corneal_surgery(), order)?;
    let weights = weights(&computation, selection, entry, screened.corneal_surgery(), order);
    let basis = (selection.clone(), entry.clone(), screened.corneal_surgery(), order.clone());
    Ok(Trial { computation, weights, basis })
}

/// A plan: every sign-off of the checks is answered. Makable by [`plan`] alone.
///
/// ```compile_fail,E0451
/// let plan = axiswright::plan::Plan { cleared: unreachable!(), computation: unreachable!(), order: unreachable!() };
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    cleared: Cleared,
    computation: Computation,
    order: Order,
}

/// Plans a case with every sign-off answered.
///
/// # Errors
/// The refusing findings of the plan itself.
pub fn plan(cleared: Cleared, order: Order) -> Result<Plan, Vec<Finding>> {
    let computation = compute(
        cleared.eye(),
        cleared.selection(),
        &cleared.case().entry,
        cleared.corneal_surgery(),
        &order,
    )?;
    Ok(Plan { cleared, computation, order })
}

/// Plans a case that was tried: what the trial computed from the same readings is not computed again.
///
/// # Errors
/// As for [`plan`].
pub fn confirm(trial: &Trial, cleared: Cleared, order: Order) -> Result<Plan, Vec<Finding>> {
    let (selection, entry, surgery, tried) = &trial.basis;
    let same = cleared.selection() == selection
        && cleared.case().entry == *entry
        && cleared.corneal_surgery() == *surgery
        && order == *tried
        && cleared.eye() == trial.computation.eye;
    if same {
        Ok(Plan { cleared, computation: trial.computation.clone(), order })
    } else {
        plan(cleared, order)
    }
}

/// Who let the sheet go.
#[derive(Debug, Clone, PartialEq)]
pub enum Approval {
    /// The surgeon, for this version.
    Surgeon {
        /// Name as printed.
        name: String,
        /// When.
        at: jiff::Timestamp,
        /// Whether the surgeon proved who they are; on a test or demo site that may be missing, and is said.
        authenticated: bool,
    },
    /// The surgeon's standing order: the approved surgeon file of a site that releases cases without sign-off findings.
    StandingOrder {
        /// The surgeon.
        name: String,
        /// Revision of the file.
        revision: String,
    },
}

/// A plan that stays open, and what it waits for.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenPlan {
    /// The plan.
    pub plan: Plan,
    /// Its own sign-off findings without an answer.
    pub unanswered: Vec<Finding>,
    /// Whether the approval itself is missing.
    pub approval_missing: bool,
}

/// A released plan: only this makes a sheet. Makable by [`Plan::release`] alone.
///
/// ```compile_fail,E0451
/// let released = axiswright::plan::Released { plan: unreachable!(), answers: unreachable!(), approval: unreachable!() };
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Released {
    plan: Plan,
    answers: Vec<Answer>,
    approval: Approval,
}

impl Plan {
    /// The cleared case.
    pub const fn cleared(&self) -> &Cleared {
        &self.cleared
    }

    /// What was computed.
    pub const fn computation(&self) -> &Computation {
        &self.computation
    }

    /// What was asked for.
    pub const fn order(&self) -> &Order {
        &self.order
    }

    /// Every finding, those of the checks first, then the plan's own.
    fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.cleared.findings().iter().chain(&self.computation.findings)
    }

    fn open<'a>(&'a self, answers: &'a [Answer]) -> impl Iterator<Item = &'a Finding> {
        self.computation
            .findings
            .iter()
            .filter(|finding| finding.severity() == Severity::SignOff)
            .filter(|finding| !answers.iter().any(|answer| answer.answers(finding)))
    }

    /// The plan's own sign-off findings that none of these answers.
    pub fn unanswered(&self, answers: &[Answer]) -> Vec<Finding> {
        self.open(answers).cloned().collect()
    }

    /// Whether an approval holds for this plan: a standing order only where nothing had to be signed off.
    fn accepts(&self, approval: &Approval) -> bool {
        match approval {
            Approval::Surgeon { .. } => true,
            Approval::StandingOrder { .. } => {
                !self.findings().any(|finding| finding.severity() == Severity::SignOff)
            }
        }
    }

    /// Whether [`Plan::release`] would release it with these answers and this approval.
    pub fn may_release(&self, answers: &[Answer], approval: Option<&Approval>) -> bool {
        approval.is_some_and(|approval| self.accepts(approval)) && self.open(answers).next().is_none()
    }

    /// Releases the plan: its own findings answered, and an approval given.
    ///
    /// A standing order releases only a case in which nothing had to be signed off.
    ///
    /// # Errors
    /// The plan with what it waits for.
    pub fn release(self, answers: &[Answer], approval: Option<Approval>) -> Result<Released, Box<OpenPlan>> {
        let may = self.may_release(answers, approval.as_ref());
        match approval.filter(|approval| self.accepts(approval)) {
            Some(approval) if may => {
                let counts = |answer: &&Answer| self.findings().any(|finding| answer.answers(finding));
                let answers = answers.iter().filter(counts).cloned().collect();
                Ok(Released { plan: self, answers, approval })
            }
            approval => {
                let unanswered = self.unanswered(answers);
                Err(Box::new(OpenPlan { plan: self, unanswered, approval_missing: approval.is_none() }))
            }
        }
    }
}

impl Released {
    /// The plan.
    pub const fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The answers that count.
    pub fn answers(&self) -> &[Answer] {
        &self.answers
    }

    /// Who let it go.
    pub const fn approval(&self) -> &Approval {
        &self.approval
    }

    /// Every finding with its answer, checks first, then the plan's own.
    pub fn findings(&self) -> impl Iterator<Item = (&Finding, Option<&Answer>)> {
        self.plan
            .findings()
            .map(|finding| (finding, self.answers.iter().find(|answer| answer.answers(finding))))
    }
}
