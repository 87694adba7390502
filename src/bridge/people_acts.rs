//! What persons do beside a pass: answer a finding, enter a choice, approve settings, confirm the clock.
//!
//! Each appends in one immediate transaction; a running pass takes it up with its next look.

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::entered_text;
use super::init::{new_key, sixteen, validity};
use super::pass::{look, unknown};
use super::store::{SettingsText, Site};
use crate::casebook::CaseId;
use crate::finding::{Finding, Severity};
use crate::people::{Login, Passphrase, People, SurgeonKey};
use crate::plan::Entered;
use crate::seal::{Authority, Certificate, Credential, EncryptedKey, LeafRequest};

/// Who acts, and whether they proved it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Acting {
    /// Name as printed.
    pub name: String,
    /// Whether a passphrase was checked. On a test or demo site it may be missing, and paper says so.
    pub authenticated: bool,
}

/// Answers one finding of a case, by its code or its fingerprint.
///
/// # Errors
/// [`BridgeError::NotPossible`]: an unknown case, no such open finding, more than one of this code, a refuse finding, an
/// empty reason.
pub fn answer(
    site: &mut Site,
    case: &CaseId,
    which: &str,
    reason: &str,
    who: &Acting,
    now: Timestamp,
) -> Result<Finding, BridgeError> {
    let not_possible =
        |detail: String, next: &str| BridgeError::NotPossible { detail, next: next.to_owned() };
    if reason.trim().is_empty() {
        return Err(not_possible(
            "an answer needs a reason".to_owned(),
            "say in words why the finding is accepted",
        ));
    }
    let look = look(site, now)?;
    let weighed = look.weighing.cases.iter().find(|one| one.id() == case).ok_or_else(|| unknown(case))?;
    let is_named = |finding: &Finding| {
        finding.code().reference().eq_ignore_ascii_case(which)
            || finding.code().slug() == which
            || finding.fingerprint().as_str() == which
    };
    let refuses = |finding: &Finding| finding.severity() == Severity::Refuse;
    if weighed.considered.findings.iter().any(|finding| is_named(finding) && refuses(finding)) {
        return Err(not_possible(
            format!("`{which}` is a refuse finding: it has no answer"),
            "correct the source, measure again or export again",
        ));
    }
    let open: Vec<&Finding> = weighed.considered.open().filter(|finding| is_named(finding)).collect();
    let finding = match open.as_slice() {
        [] => {
            return Err(not_possible(
                format!("case {case} has no open finding `{which}`"),
                "list its findings with `axiswright cases --site DIR`",
            ));
        }
        [one] => (*one).clone(),
        [_, ..] => {
            return Err(not_possible(
                format!("case {case} has {} open findings `{which}`", open.len()),
                "name one by its fingerprint, shown by `axiswright cases --site DIR`",
            ));
        }
    };
    let (reason_note, reason_key) = site.note(case.as_str(), "reason", reason)?;
    let (by_note, by_key) = site.note(case.as_str(), "answered-by", &who.name)?;
    let event = Event::Answered {
        case: case.as_str().to_owned(),
        finding: finding.fingerprint().as_str().to_owned(),
        code: finding.code().reference().to_owned(),
        reason: reason_key,
        by: by_key,
        authenticated: who.authenticated,
    };
    let entry = event.entry(now)?;
    site.ledger.append(&[entry], &[reason_note, by_note])?;
    Ok(finding)
}

/// Enters the surgeon's own choice for a case.
///
/// # Errors
/// An unknown case; ledger.
pub fn enter(
    site: &mut Site,
    case: &CaseId,
    choice: &Entered,
    authenticated: bool,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let look = look(site, now)?;
    if !look.weighing.cases.iter().any(|one| one.id() == case) {
        return Err(unknown(case));
    }
    let (note, key) = site.note(case.as_str(), "entered-choice", &entered_text(choice))?;
    let event = Event::Entered { case: case.as_str().to_owned(), choice: key, authenticated };
    let entry = event.entry(now)?;
    site.ledger.append(&[entry], &[note])?;
    Ok(())
}

/// Approves settings files as they lie there now.
///
/// # Errors
/// Disk and ledger.
pub fn approve_settings(
    site: &mut Site,
    texts: &[SettingsText],
    by: &str,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let (note, by_key) = site.note("settings", "approved-by", by)?;
    let mut entries = Vec::new();
    for text in texts {
        let kept = site.kept.keep(text.text.as_bytes())?;
        let event = Event::SettingsApproved {
            name: text.name.clone(),
            digest: text.digest.hex(),
            file: kept.key.to_string(),
            by: by_key.clone(),
        };
        entries.push(event.entry(now)?);
    }
    site.ledger.append(&entries, &[note])?;
    Ok(())
}

/// Records that a person confirmed the clock.
///
/// # Errors
/// Ledger.
pub fn confirm_clock(site: &mut Site, by: &str, now: Timestamp) -> Result<(), BridgeError> {
    let (note, key) = site.note("clock", "confirmed-by", by)?;
    let entry = Event::ClockConfirmed { by: key }.entry(now)?;
    site.ledger.append(&[entry], &[note])?;
    Ok(())
}

/// Gives a surgeon a key of their own: made here, certified by the documents authority, locked under the passphrase.
///
/// # Errors
/// An authority key that is not this site's; a name no certificate can hold.
pub fn give_surgeon_key(
    site: &Site,
    people: &People,
    login: &Login,
    display_name: &str,
    passphrase: &Passphrase,
    authority_key_pem: &str,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let authority = Authority::from_parts(
        crate::seal::SigningKey::from_pem(authority_key_pem)?,
        site.credential.authority().clone(),
    )?;
    let key = new_key()?;
    let (not_before, in_ten_years) = validity(now)?;
    // No certificate outlives the authority that vouches for it.
    let not_after = in_ten_years.min(site.credential.authority().not_after());
    let request =
        LeafRequest { person: Some(display_name), not_before, not_after, serial_entropy: sixteen()? };
    let certificate = authority.issue(&key.public_key(), &request)?;
    let locked = key.lock(passphrase.reveal(), &sixteen()?, &sixteen()?)?;
    people.set_key(login, SurgeonKey::new(locked.pem(), &certificate.to_pem()?)?)?;
    Ok(())
}

/// Unlocks a surgeon's key.
///
/// # Errors
/// No key, a wrong passphrase.
pub fn surgeon_credential(
    site: &Site,
    people: &People,
    login: &Login,
    passphrase: &Passphrase,
) -> Result<Credential, BridgeError> {
    let key = people.key(login)?.ok_or_else(|| BridgeError::NotPossible {
        detail: format!("account `{}` has no key to approve with", login.as_str()),
        next: "give the surgeon one: `axiswright user reset LOGIN --authority-key FILE --site DIR`"
            .to_owned(),
    })?;
    let signing = EncryptedKey::from_pem(key.encrypted_key_pem())?.unlock(passphrase.reveal())?;
    let certificate = Certificate::from_pem(key.certificate_pem())?;
    Ok(Credential::new(signing, certificate, site.credential.authority().clone())?)
}
