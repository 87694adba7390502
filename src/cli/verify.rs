//! `verify`: whether a sheet is what was sealed, by whom, and whether it is still in force.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::output::{print_json, print_line};
use super::plan::read_file;
use super::steps::print_wrapped;
use crate::bridge::{KnownSheet, Records, SheetCode, SheetStanding, sheet_of_bytes, sheet_of_code};
use crate::ledger::KeptKey;
use crate::seal::{self, Certificate, Report, Role, SignatureReport};

/// Check a sheet: its seal, its approval, what was changed since, and whether it is still in force.
///
/// Trust never comes from the file itself: name the site that made the sheet, or the certificate of its documents
/// authority. Only a site can say whether a sheet is still in force.
///
/// Exit code 0: sealed by who is trusted, unchanged, and (with --site) current; 1: superseded, withdrawn, unknown to the
/// site, or the signer is not trusted; 2: altered, not sealed, or no sheet at all.
#[derive(Debug, Args)]
pub(super) struct VerifyArguments {
    /// The sheet.
    #[arg(value_name = "SHEET.pdf", required_unless_present = "code", conflicts_with = "code")]
    sheet: Option<PathBuf>,
    /// The text of a printed sheet's code (scan it), or the three groups of four letters that stand below it.
    #[arg(long, value_name = "TEXT", requires = "site")]
    code: Option<String>,
    /// The site whose ledger and authority are asked.
    #[arg(long, value_name = "DIR", conflicts_with = "trust")]
    site: Option<PathBuf>,
    /// The certificate of a documents authority to trust, PEM or DER: `keys/authority.crt.pem` of the site.
    #[arg(long, value_name = "CERT")]
    trust: Option<PathBuf>,
    /// Print the verdict as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// Who vouches.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Voucher {
    Nobody,
    Certificate,
    Site,
}

/// Everything that was found out.
struct Verdict {
    voucher: Voucher,
    /// None for a code whose sheet's bytes are no longer kept, or that the ledger does not know.
    report: Option<Report>,
    standing: SheetStanding,
    case: Option<String>,
    version: Option<u32>,
    replaced_by: Option<u32>,
    /// Eye and day, to be held against the paper.
    about: Option<(String, String)>,
}

impl Verdict {
    fn new(voucher: Voucher, report: Option<Report>, known: Option<KnownSheet<'_>>) -> Self {
        Self {
            voucher,
            report,
            standing: known.map_or(SheetStanding::Unknown, |known| known.standing()),
            case: known.map(|known| known.case.to_string()),
            version: known.map(|known| known.issue.version),
            replaced_by: known.and_then(|known| known.replaced_by()),
            about: known.map(|known| (known.made.eye.clone(), known.made.date.clone())),
        }
    }

    fn ended(&self) -> Ended {
        let sealed = self.report.as_ref().map(Report::standing);
        match sealed {
            Some(seal::Standing::Unsigned | seal::Standing::Altered) => Ended::Bad,
            Some(seal::Standing::Untrusted) => Ended::Waits,
            Some(seal::Standing::Intact) | None => match (self.voucher, self.standing) {
                (Voucher::Certificate, _) | (Voucher::Site, SheetStanding::Current) => Ended::Done,
                (Voucher::Nobody | Voucher::Site, _) => Ended::Waits,
            },
        }
    }

    /// The verdict in one sentence.
    fn sentence(&self) -> String {
        match self.report.as_ref().map(Report::standing) {
            Some(seal::Standing::Unsigned) => {
                "NOT SEALED: this file is no sheet of any site. Do not use it.".to_owned()
            }
            Some(seal::Standing::Altered) => {
                "ALTERED: this is not what was sealed. Do not use it; print the current sheet again.".to_owned()
            }
            Some(seal::Standing::Untrusted) if self.voucher == Voucher::Nobody => {
                "NOT TRUSTED: nobody vouches for the signer, since neither --site nor --trust was given. \
                 The bytes are those that were signed, by whoever it was."
                    .to_owned()
            }
            Some(seal::Standing::Untrusted) => {
                "NOT TRUSTED: the bytes are those that were signed, but not by a signer that is trusted here. \
                 Do not use it."
                    .to_owned()
            }
            Some(seal::Standing::Intact) | None => self.standing_sentence(),
        }
    }

    fn standing_sentence(&self) -> String {
        match (self.voucher, self.standing) {
            (Voucher::Site, SheetStanding::Current) => "CURRENT: this sheet is in force.".to_owned(),
            (Voucher::Site, SheetStanding::Superseded) => match self.replaced_by {
                Some(version) => format!("SUPERSEDED by version {version}. Destroy this one."),
                None => "SUPERSEDED, and nothing is in force in its place. Destroy this one.".to_owned(),
            },
            (Voucher::Site, SheetStanding::Withdrawn) => {
                "WITHDRAWN, and nothing is in force in its place. Destroy this one.".to_owned()
            }
            (Voucher::Site, SheetStanding::Unknown) => {
                "UNKNOWN: the site's ledger does not know this sheet. Do not use it before IT has found out why."
                    .to_owned()
            }
            (Voucher::Certificate | Voucher::Nobody, _) => {
                "INTACT and sealed by a signer that is trusted. Whether it is still in force only its site can say: \
                 use --site."
                    .to_owned()
            }
        }
    }
}

/// Runs the command.
pub(super) fn run(arguments: &VerifyArguments) -> Result<Ended, Failure> {
    let verdict = match (&arguments.sheet, &arguments.code) {
        (Some(path), _) => by_file(arguments, path)?,
        (None, code) => by_code(arguments, code.as_deref().unwrap_or_default())?,
    };
    if arguments.json {
        print_json(&as_json(&verdict));
    } else {
        print_verdict(&verdict);
    }
    Ok(verdict.ended())
}

fn by_file(arguments: &VerifyArguments, path: &Path) -> Result<Verdict, Failure> {
    let bytes = read_file(path)?;
    let records = arguments.site.as_deref().map(Records::open).transpose()?;
    let (voucher, trusted) = match (&records, &arguments.trust) {
        (Some(records), _) => (Voucher::Site, vec![records.authority.clone()]),
        (None, Some(path)) => (Voucher::Certificate, vec![authority(path)?]),
        (None, None) => (Voucher::Nobody, Vec::new()),
    };
    let report = seal::verify(&bytes, &trusted).map_err(|error| {
        Failure::bad(
            "unreadable",
            error.to_string(),
            "give a sheet as it was published; a print that was scanned, or a file another program has saved, is none",
        )
        .at(path.display().to_string())
    })?;
    let Some(records) = records else { return Ok(Verdict::new(voucher, Some(report), None)) };
    let standing = records.standing()?;
    let known = sheet_of_bytes(&standing, records.ledger.secret(), &bytes);
    Ok(Verdict::new(voucher, Some(report), known))
}

fn by_code(arguments: &VerifyArguments, text: &str) -> Result<Verdict, Failure> {
    let code = SheetCode::parse(text).map_err(|error| Failure::from(error).coded("code"))?;
    let records = Records::open(arguments.site.as_deref().unwrap_or(Path::new(".")))?;
    let standing = records.standing()?;
    let known =
        sheet_of_code(&standing, &code).map_err(|error| Failure::from(error).coded("code-altered"))?;
    let kept = match &known {
        Some(known) => records
            .kept
            .read(&KeptKey::from_hex(&known.made.file).map_err(crate::bridge::BridgeError::from)?)?,
        None => None,
    };
    let report =
        kept.map(|bytes| seal::verify(&bytes, std::slice::from_ref(&records.authority))).transpose()?;
    Ok(Verdict::new(Voucher::Site, report, known))
}

/// A certificate a person trusts: PEM or DER, and that of a documents authority.
fn authority(path: &Path) -> Result<Certificate, Failure> {
    let bytes = read_file(path)?;
    let read = match core::str::from_utf8(&bytes) {
        Ok(text) if text.contains("-----BEGIN") => Certificate::from_pem(text),
        _ => Certificate::from_der(&bytes),
    };
    let hint = "give the certificate of the site's documents authority: `keys/authority.crt.pem`";
    let place = path.display().to_string();
    let certificate =
        read.map_err(|error| Failure::bad("certificate", error.to_string(), hint).at(place.clone()))?;
    if certificate.role() == Role::Authority {
        return Ok(certificate);
    }
    let message = format!("the certificate is for `{}`, not that of an authority", certificate.role().word());
    Err(Failure::bad("certificate", message, hint).at(place))
}

fn signature_json(signature: &SignatureReport) -> Value {
    json!({
        "valid": signature.valid,
        "whole": signature.whole,
        "signer": signature.signer,
        "trusted": signature.trusted,
        "at": signature.at.map(|at| at.to_string()),
        "test": signature.test,
        "problems": signature.problems,
    })
}

fn as_json(verdict: &Verdict) -> Value {
    let report = verdict.report.as_ref();
    let changes: Vec<Value> = report
        .map(|report| report.changes_after_seal.as_slice())
        .unwrap_or_default()
        .iter()
        .map(|change| json!({ "object": change.object, "what": change.what }))
        .collect();
    json!({
        "seal": report.and_then(|report| report.seal.as_ref()).map(signature_json),
        "approval": report.and_then(|report| report.approval.as_ref()).map(signature_json),
        "changes_after_seal": changes,
        "digest": report.map(|report| data_encoding::HEXLOWER.encode(&report.digest)),
        "case": verdict.case,
        "version": verdict.version,
        "standing": verdict.standing.word(),
    })
}

fn print_signature(heading: &str, signature: &SignatureReport) {
    let valid = if signature.valid { "holds" } else { "DOES NOT HOLD" };
    let whole =
        if signature.whole { "covers the whole file" } else { "covers the file up to what was added later" };
    print_line(&format!("{heading:<13}{valid}, {whole}"));
    let signer = signature.signer.as_deref().unwrap_or("cannot be read");
    let trusted = if signature.trusted { "trusted" } else { "NOT TRUSTED" };
    print_line(&format!("  signer     {signer}: {trusted}"));
    if let Some(at) = signature.at {
        print_line(&format!("  time       {at}, by the signer's own clock"));
    }
    if signature.test {
        print_line("  TEST       the signer belongs to a site that is not live: not for patient care");
    }
    for problem in &signature.problems {
        print_wrapped("  because    ", problem);
    }
}

fn print_verdict(verdict: &Verdict) {
    if let Some(report) = &verdict.report {
        match &report.seal {
            Some(seal) => print_signature("seal", seal),
            None => print_line("seal         none"),
        }
        match &report.approval {
            Some(approval) => print_signature("approval", approval),
            None => print_line(
                "approval     no signature of a surgeon; the approval box on the sheet says who released it",
            ),
        }
        if report.changes_after_seal.is_empty() {
            print_line("changes      none after the seal but the approval, if there is one");
        }
        for change in &report.changes_after_seal {
            let object = change.object.map(|object| format!("object {object}: ")).unwrap_or_default();
            print_wrapped("CHANGED      ", &format!("{object}{}", change.what));
        }
        print_line(&format!("digest       {}", data_encoding::HEXLOWER.encode(&report.digest)));
    }
    if let (Some(case), Some(version)) = (&verdict.case, verdict.version) {
        print_line(&format!("case         {case}, version {version}"));
    }
    if let Some((eye, date)) = &verdict.about {
        print_line(&format!(
            "about        {} eye, operation {date}; hold both against the paper",
            eye.to_uppercase()
        ));
    }
    print_line(&format!("standing     {}", verdict.standing.word()));
    print_line("");
    print_wrapped("", &verdict.sentence());
}
