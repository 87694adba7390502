//! One pass over the incoming folders: take, read, consider, withdraw, issue, publish - in this order.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::Standing;
use super::issue::{Approver, issue_approved, issue_by_standing_order};
use super::read::{Reader, Reading, read_all};
use super::stages::{Outcome, State};
use super::store::Site;
use super::take::{Taking, take_all};
use super::views::{Views, put_notices_right, put_sheets_right, put_slips_right};
use super::weigh_up::{Weighed, Weighing, weigh_up};
use crate::casebook::{CaseId, Expectation};
use crate::finding::{Answer, Finding};
use crate::ledger::{Head, LedgerError, SignedHead, head_message};
use crate::model::Eye;

/// A case as lists, JSON and the desk show it.
#[derive(Debug, Clone)]
pub struct CaseView {
    /// Its id.
    pub id: CaseId,
    /// Version of the sheet that is out, or of the next one.
    pub version: u32,
    /// Its state.
    pub state: State,
    /// Planned eye.
    pub eye: Option<Eye>,
    /// Day of the operation.
    pub list_date: Option<jiff::civil::Date>,
    /// The current sheet, relative to the site.
    pub sheet: Option<String>,
    /// SHA-256 of the current sheet.
    pub digest: Option<String>,
    /// Findings with their answers.
    pub findings: Vec<(Finding, Option<Answer>)>,
    /// What a waiting case waits for: instruments by the site's names, or a first measurement.
    pub waits_for: Vec<String>,
    /// Name of the patient as the list has it; never in a log.
    pub patient: String,
}

/// What a pass came to.
#[derive(Debug)]
pub struct PassReport {
    /// Taking.
    pub taking: Taking,
    /// Files refused in this pass.
    pub refused: u32,
    /// The views.
    pub views: Views,
    /// Cases as they stand after the pass.
    pub cases: Vec<CaseView>,
    /// Measurements without an operation, with what their own checks found.
    pub without_operation: u32,
    /// What persons stated about an eye that no case is of.
    pub facts_without_case: u32,
    /// Refuse and sign-off findings of measurements without an operation.
    pub measuring_findings: Vec<Finding>,
    /// The clock is behind the ledger: nothing was issued.
    pub clock_behind: bool,
    /// Number of the newest record that this pass has considered.
    pub considered: u64,
    /// When time alone will change a case next: it stops waiting for a source.
    pub due: Option<Timestamp>,
}

impl PassReport {
    /// Whether something waits for a person.
    pub fn waits(&self) -> bool {
        self.refused > 0
            || self.views.strangers > 0
            || self.clock_behind
            || self.taking.disk_low
            || self.taking.strange > 0
            || self.cases.iter().any(|case| case.state != State::Released)
    }
}

/// Everything a look at the site needs: what the ledger says, what the files say, how the cases stand.
#[derive(Debug)]
pub struct Look {
    /// The ledger's word.
    pub standing: Standing,
    /// The files' word.
    pub reading: Reading,
    /// The cases.
    pub weighing: Weighing,
}

/// Looks at the site as it stands. Needs no lock: what cannot be read is left for the next pass to refuse.
///
/// # Errors
/// Disk and ledger.
pub fn look(site: &mut Site, now: Timestamp) -> Result<Look, BridgeError> {
    look_as(site, Reader::Onlooker, now, &|| false)
}

fn look_as(
    site: &mut Site,
    who: Reader,
    now: Timestamp,
    enough: &dyn Fn() -> bool,
) -> Result<Look, BridgeError> {
    let standing = site.standing()?;
    let reading = read_all(site, &standing, who, now, enough)?;
    let weighing = weigh_up(site, &standing, &reading, now)?;
    Ok(Look { standing, reading, weighing })
}

/// One pass. The caller holds the pipeline lock.
///
/// # Errors
/// Disk and ledger. What was done before stays done; the next pass goes on from there.
pub fn pass(site: &mut Site, now: Timestamp, test_clock: bool) -> Result<PassReport, BridgeError> {
    #[cfg(feature = "broken-publish-first")]
    {
        let standing = site.standing()?;
        put_sheets_right(site, &standing, now)?;
    }
    let taking = take_all(site, now)?;
    settle(site, taking, now, test_clock, &|| false)
}

/// What follows taking: read, consider, withdraw, issue, publish. `enough` is asked before each file that is read and each
/// sheet that is made.
///
/// # Errors
/// Disk and ledger; [`BridgeError::Stopped`] when it was enough.
pub(super) fn settle(
    site: &mut Site,
    taking: Taking,
    now: Timestamp,
    test_clock: bool,
    enough: &dyn Fn() -> bool,
) -> Result<PassReport, BridgeError> {
    let before = site.ledger.head()?.seq;
    let look = look_as(site, Reader::Pipeline, now, enough)?;
    let clock_behind = look.standing.clock_fault(now).is_some();
    withdraw(site, &look, now)?;
    // What was withdrawn leaves before anything else is done.
    let standing = site.standing()?;
    let mut views = put_sheets_right(site, &standing, now)?;
    if !clock_behind {
        for weighed in &look.weighing.cases {
            if may_issue(weighed) && !views.pending.contains(weighed.id()) {
                if enough() {
                    return Err(BridgeError::Stopped);
                }
                let again = Weighed {
                    record: standing.cases.get(weighed.id()).cloned().unwrap_or_default(),
                    ..weighed.clone()
                };
                issue_by_standing_order(site, &standing, &again, now, test_clock)?;
            }
        }
    }
    let standing = site.standing()?;
    let after = put_sheets_right(site, &standing, now)?;
    views.published += after.published;
    views.removed += after.removed;
    views.strangers += after.strangers;
    for case in after.pending {
        if !views.pending.contains(&case) {
            views.pending.push(case);
        }
    }
    let weighing = weigh_up(site, &standing, &look.reading, now)?;
    views.strangers += put_slips_right(site, &weighing.cases, now, test_clock)?.strangers;
    put_notices_right(site, &standing, &weighing.cases, test_clock)?;
    sign_head(site, now)?;
    tracing::info!(
        taken = taking.taken,
        refused = look.reading.refused_now,
        cases = weighing.cases.len(),
        published = views.published,
        removed = views.removed,
        strangers = views.strangers,
        "pass ended"
    );
    let measuring_findings = weighing
        .without_operation
        .iter()
        .flat_map(|(_, findings)| findings.iter().cloned())
        .filter(|finding| finding.severity() != crate::finding::Severity::Note)
        .collect();
    Ok(PassReport {
        taking,
        refused: look.reading.refused_now,
        views,
        cases: weighing.cases.iter().map(|weighed| view(site, weighed)).collect(),
        without_operation: u32::try_from(weighing.without_operation.len()).unwrap_or(u32::MAX),
        facts_without_case: u32::try_from(weighing.facts_without_case.len()).unwrap_or(u32::MAX),
        measuring_findings,
        clock_behind,
        considered: considered_up_to(site, before)?,
        due: weighing.cases.iter().filter_map(|weighed| weighed.decide_by).filter(|by| *by > now).min(),
    })
}

/// The newest record a pass has considered that began after record `before`: all of its own, and none when a person acted
/// beside it, for their act may have come too late for it.
fn considered_up_to(site: &Site, before: u64) -> Result<u64, BridgeError> {
    let mut newest = before;
    for record in site.ledger.since(before)? {
        match Event::of(&record)? {
            Some(event) if event.is_a_persons() => return Ok(before),
            _ => newest = record.seq(),
        }
    }
    Ok(newest)
}

fn may_issue(weighed: &Weighed) -> bool {
    !weighed.stands()
        && matches!(&weighed.considered.outcome, Outcome::Planned(plan)
            if plan.may_release(&weighed.considered.answers, weighed.standing_order.as_ref()))
}

/// Records which sheets stand against new evidence and which are withdrawn.
fn withdraw(site: &mut Site, look: &Look, now: Timestamp) -> Result<(), BridgeError> {
    for weighed in &look.weighing.cases {
        let Some(current) = weighed.record.current() else { continue };
        let case = weighed.id().as_str().to_owned();
        let version = current.version;
        if weighed.stands() {
            if current.evidence != weighed.evidence {
                site.append(&Event::Stands { case, version, evidence: weighed.evidence.clone() }, now)?;
            }
        } else {
            let why = if may_issue(weighed) { "superseded" } else { weighed.considered.state().word() };
            site.append(&Event::Withdrawn { case, version, why: why.to_owned() }, now)?;
        }
    }
    let listed = |id: &CaseId| look.weighing.cases.iter().any(|weighed| weighed.id() == id);
    for (id, record) in &look.standing.cases {
        if let (false, Some(current)) = (listed(id), record.current()) {
            let event = Event::Withdrawn {
                case: id.as_str().to_owned(),
                version: current.version,
                why: "entry-gone".to_owned(),
            };
            site.append(&event, now)?;
        }
    }
    Ok(())
}

/// Signs the head of the chain with the seal's key when it has moved.
fn sign_head(site: &mut Site, now: Timestamp) -> Result<(), LedgerError> {
    let head: Head = site.ledger.head()?;
    if site.ledger.signed_heads()?.last().is_some_and(|signed| signed.head == head) {
        return Ok(());
    }
    let signature = site.credential.key().sign(&head_message(&site.ledger.site(), &head, now));
    let key = data_encoding::HEXLOWER.encode(&site.credential.certificate().fingerprint());
    site.ledger.add_signed_head(&SignedHead { head, at: now, signature, key })
}

/// A case as shown.
pub fn view(site: &Site, weighed: &Weighed) -> CaseView {
    let case = &weighed.considered.case;
    let current = weighed.record.current();
    let sheet = current
        .and_then(|issue| super::views::sheet_path(site, &case.id, issue))
        .map(|path| path.strip_prefix(site.folders.root()).unwrap_or(&path).display().to_string());
    let digest = current.and_then(|issue| super::views::current_digest(site, issue).ok());
    CaseView {
        id: case.id.clone(),
        version: current.map_or_else(|| weighed.record.next_version(), |issue| issue.version),
        state: weighed.state(),
        eye: case.eye,
        list_date: case.entry.date.as_ref().map(|date| date.value),
        sheet,
        digest,
        findings: weighed
            .considered
            .findings
            .iter()
            .map(|finding| (finding.clone(), weighed.considered.answer_to(finding).cloned()))
            .collect(),
        waits_for: waits_for(site, weighed),
        patient: case.entry.identity.name.as_ref().map(|name| name.value.printed()).unwrap_or_default(),
    }
}

/// What a waiting case waits for; nothing of a case in another state.
fn waits_for(site: &Site, weighed: &Weighed) -> Vec<String> {
    let case = &weighed.considered.case;
    if weighed.state() != State::Waiting {
        return Vec::new();
    }
    let procedure = case.entry.procedure.as_ref();
    let sources = procedure.map_or(&[][..], |procedure| site.settings.site.expected_sources(procedure.value));
    let missing = case.missing(Expectation { sources, decide_by: None }, Timestamp::MIN);
    if missing.is_empty() { vec!["a measurement of the patient".to_owned()] } else { missing }
}

/// Approves a planned case by a person: issues its sheet and publishes it.
///
/// # Errors
/// [`BridgeError::NotPossible`] when the case is unknown or not planned.
pub fn approve(
    site: &mut Site,
    case: &CaseId,
    approver: &Approver,
    now: Timestamp,
    test_clock: bool,
) -> Result<u32, BridgeError> {
    let look = look(site, now)?;
    if look.standing.clock_fault(now).is_some() {
        return Err(BridgeError::NotPossible {
            detail: "the clock is behind the ledger".to_owned(),
            next: "set the clock right, or confirm it: `axiswright once --confirm-clock --by NAME`"
                .to_owned(),
        });
    }
    let weighed =
        look.weighing.cases.iter().find(|weighed| weighed.id() == case).ok_or_else(|| unknown(case))?;
    if weighed.stands() {
        return Err(BridgeError::NotPossible {
            detail: "a current sheet of this case is out".to_owned(),
            next: "nothing to approve".to_owned(),
        });
    }
    let version = issue_approved(site, &look.standing, weighed, approver, now, test_clock)?;
    let standing = site.standing()?;
    put_sheets_right(site, &standing, now)?;
    Ok(version)
}

/// A case nobody knows.
pub(super) fn unknown(case: &CaseId) -> BridgeError {
    BridgeError::NotPossible {
        detail: format!("case {case} is unknown"),
        next: "list the cases with `axiswright cases --site DIR`".to_owned(),
    }
}
