//! From a plan to a sealed sheet whose bytes are kept: entry, build, seal, keep, entry.
//!
//! Every time on a sheet is that of its `issuing` record, the sheet id is derived from the record's place and the
//! ledger's epoch, and signatures are deterministic: a redo after a crash gives the same bytes.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::{Issue, Standing};
use super::stages::Outcome;
use super::store::Site;
use super::weigh_up::{Weighed, concerns};
use crate::ledger::{ContentDigest, Head};
use crate::model::Eye;
use crate::page::{Page, pdf};
use crate::plan::{Approval, Plan, Released};
use crate::seal::{self, Appearance, Credential, Kind, Request, UtcTime};
use crate::sheet::{self, Sheet, SheetFacts};

/// Who approves a sheet by hand.
#[derive(Debug)]
pub struct Approver {
    /// Name as printed.
    pub name: String,
    /// The surgeon's own credential; none where a test or demo site lets somebody act without.
    pub credential: Option<Credential>,
}

impl Approver {
    /// Whether they proved who they are.
    pub const fn authenticated(&self) -> bool {
        self.credential.is_some()
    }
}

/// A sheet id: the epoch's number and nine characters derived from the ledger's place, never given twice.
fn sheet_id(site: &Site, weighed: &Weighed, version: u32, before: Head) -> Result<String, BridgeError> {
    let epoch = site.ledger.epoch()?;
    let text = format!("{}\n{version}\n{:?}\n{}", weighed.id(), epoch.id, before.seq);
    let digest = site.ledger.secret().digest("axiswright-sheet-1", text.as_bytes());
    let letters = data_encoding::BASE32_NOPAD.encode(digest.as_bytes());
    let short: String = letters.chars().take(9).collect();
    Ok(format!("{}{short}", epoch.number))
}

fn appearance(page: &Page) -> Result<Appearance, BridgeError> {
    Ok(Appearance {
        width_pt: f64::from(pdf::points(page.width_mm())),
        height_pt: f64::from(pdf::points(page.height_mm())),
        content: pdf::appearance(page)?,
    })
}

fn utc(at: Timestamp) -> Result<UtcTime, BridgeError> {
    Ok(UtcTime::from_unix_seconds(u64::try_from(at.as_second()).unwrap_or(0))?)
}

/// The plan of a weighed case, released by an approval.
fn release(plan: &Plan, weighed: &Weighed, approval: Approval) -> Result<Released, BridgeError> {
    plan.clone().release(&weighed.considered.answers, Some(approval)).map_err(|open| {
        BridgeError::NotPossible {
            detail: format!("the case waits for {} answer(s)", open.unanswered.len()),
            next: "answer the open findings first: `axiswright answer CASE`".to_owned(),
        }
    })
}

/// What the site adds to a sheet.
fn facts(site: &Site, standing: &Standing, weighed: &Weighed, issue: &Issue, test_clock: bool) -> SheetFacts {
    let settings = &site.settings;
    let entry = &weighed.considered.case.entry;
    let revisions = settings
        .texts
        .iter()
        .filter(|text| concerns(&text.name, entry, site))
        .map(|text| {
            let revision = standing.approved.get(&text.name).map_or_else(
                || text.digest.short(),
                |approved| format!("{} ({})", approved.revision, text.digest.short()),
            );
            (text.name.clone(), revision)
        })
        .collect();
    let answered_without = weighed.considered.answers.iter().any(|answer| !answer.authenticated);
    SheetFacts {
        site: settings.site.name().to_owned(),
        live: settings.site.is_live(),
        test_clock,
        zone: settings.site.time_zone().clone(),
        theatre: weighed.considered.case.entry.theatre.as_ref().map(|theatre| theatre.value.clone()),
        case: weighed.id().clone(),
        version: issue.version,
        sheet_id: issue.sheet.clone(),
        issued_at: issue.at,
        head: (issue.head_before.seq, issue.head_before.hash.to_string()),
        revisions,
        supersedes: weighed
            .record
            .issues
            .values()
            .rev()
            .find(|old| old.made.is_some())
            .map(|old| old.version),
        unauthenticated: answered_without || (issue.approval == "surgeon" && !issue.authenticated),
    }
}

fn seal_sheet(
    site: &Site,
    sheet: &Sheet,
    facts: &SheetFacts,
    approver: Option<&Approver>,
) -> Result<Vec<u8>, BridgeError> {
    let at = utc(facts.issued_at)?;
    let signer = site.credential.certificate().signer();
    let sealed = seal::sign(
        &sheet.pdf,
        &Request {
            field: "Seal".to_owned(),
            appearance: Some(appearance(&sheet::seal_box(&signer, facts.issued_at, facts)?)?),
            name: signer,
            reason: Some("sealed by the bridge".to_owned()),
            location: Some(facts.site.clone()),
            at,
            kind: Kind::Certification,
        },
        &site.credential,
    )?;
    let Some((approver, credential)) = approver.and_then(|a| Some((a, a.credential.as_ref()?))) else {
        return Ok(sealed);
    };
    Ok(seal::sign(
        &sealed,
        &Request {
            field: "Approval".to_owned(),
            appearance: Some(appearance(&sheet::approval_box(
                &approver.name,
                "surgeon",
                facts.issued_at,
                facts,
            )?)?),
            name: approver.name.clone(),
            reason: Some("approved".to_owned()),
            location: Some(facts.site.clone()),
            at,
            kind: Kind::Approval,
        },
        credential,
    )?)
}

/// The entry that begins a sheet, and the sheet it begins.
fn begin(
    site: &mut Site,
    weighed: &Weighed,
    approval: (&str, Option<String>, bool),
    now: Timestamp,
) -> Result<(Event, Issue), BridgeError> {
    let before = site.ledger.head()?;
    let version = weighed.record.next_version();
    let (approval, by, authenticated) = approval;
    let sheet = sheet_id(site, weighed, version, before)?;
    let issue = Issue {
        version,
        sheet: sheet.clone(),
        evidence: weighed.evidence.clone(),
        plan: weighed.plan.clone(),
        signed_off: weighed.signed_off().into_iter().collect(),
        approval: approval.to_owned(),
        by: by.clone(),
        authenticated,
        at: now,
        head_before: before,
        made: None,
        withdrawn: None,
        removal_failed: false,
    };
    let event = Event::Issuing {
        case: weighed.id().as_str().to_owned(),
        version,
        sheet,
        evidence: issue.evidence.clone(),
        plan: issue.plan.clone(),
        signed_off: weighed.signed_off(),
        approval: approval.to_owned(),
        by,
        authenticated,
    };
    Ok((event, issue))
}

fn issued(weighed: &Weighed, plan: &Plan, issue: &Issue, file: String, record: String) -> Event {
    let date =
        weighed.considered.case.entry.date.as_ref().map(|date| date.value.to_string()).unwrap_or_default();
    Event::Issued {
        case: weighed.id().as_str().to_owned(),
        version: issue.version,
        sheet: issue.sheet.clone(),
        date,
        eye: plan.computation().eye.word().to_owned(),
        file,
        record,
    }
}

/// Issues a sheet under the surgeon's standing order. A sheet that was begun before a crash on the same evidence is
/// finished as it was begun.
///
/// # Errors
/// Build, seal, disk, ledger.
pub(super) fn issue_by_standing_order(
    site: &mut Site,
    standing: &Standing,
    weighed: &Weighed,
    now: Timestamp,
    test_clock: bool,
) -> Result<u32, BridgeError> {
    let (Outcome::Planned(plan), Some(approval)) = (&weighed.considered.outcome, &weighed.standing_order)
    else {
        return Err(BridgeError::NotPossible {
            detail: "the case has no plan to release".to_owned(),
            next: "look at its findings: `axiswright cases`".to_owned(),
        });
    };
    let begun = weighed
        .record
        .unfinished()
        .filter(|issue| issue.evidence == weighed.evidence && issue.plan == weighed.plan)
        .filter(|issue| issue.approval == "standing-order")
        .cloned();
    let issue = if let Some(issue) = begun {
        issue
    } else {
        let (event, issue) = begin(site, weighed, ("standing-order", None, false), now)?;
        site.append(&event, now)?;
        issue
    };
    let released = release(plan, weighed, approval.clone())?;
    let facts = facts(site, standing, weighed, &issue, test_clock);
    let sheet = sheet::sheet(&released, &facts)?;
    let bytes = seal_sheet(site, &sheet, &facts, None)?;
    let kept = site.kept.keep(&bytes)?;
    let event = issued(weighed, plan, &issue, kept.key.to_string(), sheet.record_digest.hex());
    site.append(&event, now)?;
    Ok(issue.version)
}

/// Issues a sheet approved by a surgeon: the approved bytes to the kept files, then one transaction. Before it, nothing
/// happened.
///
/// # Errors
/// [`BridgeError::NotPossible`] when the case is not planned; build, seal, disk, ledger.
pub(super) fn issue_approved(
    site: &mut Site,
    standing: &Standing,
    weighed: &Weighed,
    approver: &Approver,
    now: Timestamp,
    test_clock: bool,
) -> Result<u32, BridgeError> {
    let Outcome::Planned(plan) = &weighed.considered.outcome else {
        return Err(BridgeError::NotPossible {
            detail: format!("the case is {}", weighed.considered.state().word()),
            next: "answer its open findings first; a refuse finding must be corrected at its source"
                .to_owned(),
        });
    };
    let (note, by) = site.note(weighed.id().as_str(), "approver", &approver.name)?;
    let (mut begun, issue) =
        begin(site, weighed, ("surgeon", Some(approver.name.clone()), approver.authenticated()), now)?;
    if let Event::Issuing { by: who, .. } = &mut begun {
        *who = Some(by);
    }
    let approval =
        Approval::Surgeon { name: approver.name.clone(), at: now, authenticated: approver.authenticated() };
    let released = release(plan, weighed, approval)?;
    let facts = facts(site, standing, weighed, &issue, test_clock);
    let sheet = sheet::sheet(&released, &facts)?;
    let bytes = seal_sheet(site, &sheet, &facts, Some(approver))?;
    let kept = site.kept.keep(&bytes)?;
    let made = issued(weighed, plan, &issue, kept.key.to_string(), sheet.record_digest.hex());
    let withdrawn = weighed.record.current().map(|old| Event::Withdrawn {
        case: weighed.id().as_str().to_owned(),
        version: old.version,
        why: "superseded".to_owned(),
    });
    let (begun, made) = (begun.entry(now)?, made.entry(now)?);
    let withdrawn = withdrawn.map(|event| event.entry(now)).transpose()?;
    let head_before = issue.head_before;
    site.ledger.transact(|tx| {
        if tx.head() != head_before {
            return Err(BridgeError::NotPossible {
                detail: "something was recorded while the sheet was being approved; nothing was issued"
                    .to_owned(),
                next: "look at the case again and approve what it says now".to_owned(),
            });
        }
        tx.put_note(&note)?;
        tx.append(&begun)?;
        if let Some(withdrawn) = &withdrawn {
            tx.append(withdrawn)?;
        }
        tx.append(&made)?;
        Ok(())
    })?;
    Ok(issue.version)
}

/// The eye a made sheet is about.
pub(super) fn eye_of(word: &str) -> Option<Eye> {
    Eye::BOTH.into_iter().find(|eye| eye.word() == word)
}

/// SHA-256 of the bytes of a made sheet.
pub(super) fn digest_of(bytes: &[u8]) -> ContentDigest {
    ContentDigest::of(bytes)
}
