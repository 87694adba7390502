//! Judges a sealed file: who signed it, whether the bytes are those that were signed, and what came after.

use std::ops::Range;

use super::certificate::{Certificate, Role};
use super::changes;
use super::cms;
use super::error::SealError;
use super::pdf::{self, Dict, Field, File, Revision, State, Value};
use super::prepare::{CONTENTS_ROOM, Kind, digest_around, reference};
use super::time::UtcTime;
use super::{MAX_PDF_BYTES, sha256};

/// The verdict on one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// The bridge's seal; `None` if the file has no signature.
    pub seal: Option<SignatureReport>,
    /// The surgeon's approval, if there is one.
    pub approval: Option<SignatureReport>,
    /// Everything that was added after the seal and is not the one approval.
    pub changes_after_seal: Vec<Change>,
    /// SHA-256 of the whole file.
    pub digest: [u8; 32],
}

/// The verdict on one signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignatureReport {
    /// Name of the signature field.
    pub field: String,
    /// The signed bytes are unchanged, and the signature, its form and its certificates fit together.
    pub valid: bool,
    /// The signature covers the whole file; false for a seal with an approval behind it.
    pub whole: bool,
    /// The signer's certificate comes from an authority the caller trusts, for this kind of signature, and was valid
    /// at the claimed time.
    pub trusted: bool,
    /// Name and site in the signer's certificate; `None` if it could not be read. Believe it only if `trusted`.
    pub signer: Option<String>,
    /// The time the signer claims; no clock confirms it.
    pub at: Option<UtcTime>,
    /// The certificate was valid at the claimed time.
    pub in_time: bool,
    /// The certificate says TEST.
    pub test: bool,
    /// SHA-256 of the signer's certificate.
    pub fingerprint: Option<[u8; 32]>,
    /// Why it is not valid or not trusted, for people.
    pub problems: Vec<String>,
}

/// Something added after the seal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Number of the object, if it is one.
    pub object: Option<u32>,
    /// What was changed, for people.
    pub what: String,
}

/// The verdict in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// No signature at all.
    Unsigned,
    /// A signature does not hold, or something was changed after the seal.
    Altered,
    /// Unchanged, but signed by someone the caller does not trust, or at a time the certificate does not allow.
    Untrusted,
    /// Unchanged, and every signature is trusted.
    Intact,
}

impl Report {
    /// The verdict in one word.
    pub fn standing(&self) -> Standing {
        let Some(seal) = &self.seal else { return Standing::Unsigned };
        let mut signatures = std::iter::once(seal).chain(&self.approval);
        if !self.changes_after_seal.is_empty() || signatures.clone().any(|signature| !signature.valid) {
            Standing::Altered
        } else if signatures.any(|signature| !signature.trusted) {
            Standing::Untrusted
        } else {
            Standing::Intact
        }
    }
}

/// Judges `pdf` with the documents authorities that the caller trusts.
///
/// # Errors
/// [`SealError::TooLarge`]; [`SealError::Damaged`] if the file is not of the form that this program writes, so that
/// nothing can be said about it.
pub fn verify(pdf: &[u8], trusted: &[Certificate]) -> Result<Report, SealError> {
    if pdf.len() > MAX_PDF_BYTES {
        return Err(SealError::TooLarge { bytes: pdf.len(), limit: MAX_PDF_BYTES });
    }
    let file = File::parse(pdf)?;
    let mut report =
        Report { seal: None, approval: None, changes_after_seal: Vec::new(), digest: sha256(pdf) };
    let base = file.state(0);
    let base_fields = pdf::fields(&base, file.root).map_err(|why| SealError::Damaged { at: 0, why })?;
    if let Some(field) = base_fields.iter().find(|field| field.signature.is_some()) {
        let why = format!("field `{}` is signed in the first revision", field.name);
        return Err(SealError::Damaged { at: 0, why });
    }
    for (index, revision) in file.revisions.iter().enumerate().skip(1) {
        let before = file.state(index - 1);
        let after = file.state(index);
        let context = Context { pdf, trusted, file: &file, revision, after: &after };
        if report.seal.is_none() {
            report.seal = Some(first_signature(&context, &before)?);
        } else {
            later_revision(&context, &before, &mut report);
        }
    }
    if let Some(fault) = file.rest {
        if report.seal.is_none() {
            return Err(fault.into());
        }
        let what = format!("what follows at byte {} is no approval: {}", fault.at, fault.why);
        report.changes_after_seal.push(Change { object: None, what });
    }
    Ok(report)
}

struct Context<'a> {
    pdf: &'a [u8],
    trusted: &'a [Certificate],
    file: &'a File,
    revision: &'a Revision,
    after: &'a State<'a>,
}

/// Fields that are signed in `after` and were not in `before`.
fn newly_signed<'f>(before: &State<'f>, after: &State<'f>, root: u32) -> Result<Vec<Field<'f>>, String> {
    let old = pdf::fields(before, root)?;
    let is_new = |field: &Field<'_>| {
        field.signature.is_some()
            && !old.iter().any(|o| o.number == field.number && o.signature == field.signature)
    };
    Ok(pdf::fields(after, root)?.into_iter().filter(is_new).collect())
}

fn first_signature(context: &Context<'_>, before: &State<'_>) -> Result<SignatureReport, SealError> {
    let damaged = |why: String| SealError::Damaged { at: context.revision.xref_at, why };
    let signed = newly_signed(before, context.after, context.file.root).map_err(damaged)?;
    match signed.as_slice() {
        [field] => Ok(judge(context, field, Kind::Certification)),
        _ => Err(damaged("the file was changed before any seal".into())),
    }
}

fn later_revision(context: &Context<'_>, before: &State<'_>, report: &mut Report) {
    let changed = |what: String| Change { object: None, what };
    let signed = match newly_signed(before, context.after, context.file.root) {
        Ok(signed) => signed,
        Err(why) => {
            report.changes_after_seal.push(changed(why));
            return;
        }
    };
    let field = if let [field] = signed.as_slice() { Some(field) } else { None };
    let found = changes::after_seal(before, context.revision, field);
    match field {
        _ if report.approval.is_some() => {
            report.changes_after_seal.extend(found);
            report.changes_after_seal.push(changed("something was added after the approval".into()));
        }
        None => {
            report.changes_after_seal.extend(found);
            report.changes_after_seal.push(changed("something was added that is no approval".into()));
        }
        Some(field) => {
            report.changes_after_seal.extend(found);
            report.approval = Some(judge(context, field, Kind::Approval));
        }
    }
}

/// The verdict on the signature that `context.revision` added to `field`.
fn judge(context: &Context<'_>, field: &Field<'_>, kind: Kind) -> SignatureReport {
    let mut report = SignatureReport {
        field: field.name.clone(),
        valid: false,
        whole: context.revision.end == context.pdf.len(),
        trusted: false,
        signer: None,
        at: None,
        in_time: false,
        test: false,
        fingerprint: None,
        problems: Vec::new(),
    };
    let claimed = match examine(context, field, kind) {
        Ok((at, cms, digest)) => {
            report.at = Some(at);
            cms::check(&cms, &digest)
        }
        Err(why) => {
            report.problems.push(why);
            return report;
        }
    };
    let (signer, authority) = match claimed {
        Ok(checked) => {
            report.valid = true;
            (checked.certificate, Some(checked.authority))
        }
        Err(unchecked) => {
            report.problems.push(unchecked.why);
            match unchecked.certificate {
                Some(certificate) => (*certificate, None),
                None => return report,
            }
        }
    };
    report.signer = Some(signer.signer());
    report.fingerprint = Some(signer.fingerprint());
    report.test = signer.is_test();
    if let (Some(authority), Some(at)) = (authority, report.at) {
        report.in_time = signer.is_valid_at(at) && authority.is_valid_at(at);
        report.problems.extend(distrust(&signer, &authority, context.trusted, report.in_time, kind));
        report.trusted = report.problems.is_empty();
    }
    report
}

/// Why a valid signature is not to be trusted.
fn distrust(
    signer: &Certificate,
    authority: &Certificate,
    trusted: &[Certificate],
    in_time: bool,
    kind: Kind,
) -> Vec<String> {
    let role = match kind {
        Kind::Certification => Role::Seal,
        Kind::Approval => Role::Approval,
    };
    let mut problems = Vec::new();
    if !trusted.iter().any(|known| known.der() == authority.der()) {
        problems.push("the signer's authority is not one that is trusted here".into());
    }
    if signer.role() != role {
        problems.push(format!("the signer's certificate is for `{}`", signer.role().word()));
    }
    if !in_time {
        problems.push("the signer's certificate was not valid at the claimed time".into());
    }
    problems
}

/// Checks the form of the signature; returns the claimed time, the signature structure and the digest of the bytes.
fn examine(
    context: &Context<'_>,
    field: &Field<'_>,
    kind: Kind,
) -> Result<(UtcTime, Vec<u8>, [u8; 32]), String> {
    let number = field.signature.ok_or("the field is not signed")?;
    let dict = context
        .revision
        .objects
        .get(&number)
        .and_then(|object| object.value.as_dict())
        .ok_or("the signature is not in the revision that added it")?;
    check_entries(dict, kind, context.file.root)?;
    if kind == Kind::Certification {
        check_permission(context, number)?;
    }
    let at = match dict.get("M") {
        Some(Value::Text(text)) => UtcTime::from_pdf_date(&text.bytes).map_err(|e| e.to_string())?,
        _ => return Err("the signature claims no time".into()),
    };
    let Some(Value::Text(contents)) = dict.get("Contents") else {
        return Err("the signature is empty".into());
    };
    let gap = contents.span.clone();
    check_range(dict, &gap, context.revision.end)?;
    let written = context.pdf.get(gap.clone()).unwrap_or_default();
    let is_lower_hex = |byte: &u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(byte);
    let inside = written.get(1..written.len().saturating_sub(1)).unwrap_or_default();
    if inside.len() != 2 * CONTENTS_ROOM || !inside.iter().all(is_lower_hex) {
        return Err("the place of the signature is not as this program writes it".into());
    }
    let length = der_length(&contents.bytes).ok_or("the signature cannot be read")?;
    let (cms, padding) = contents.bytes.split_at_checked(length).ok_or("the signature is cut off")?;
    if padding.iter().any(|byte| *byte != 0) {
        return Err("there are bytes behind the signature".into());
    }
    let digest = digest_around(context.pdf.get(..context.revision.end).unwrap_or_default(), &gap)
        .ok_or("the signature lies outside the file")?;
    Ok((at, cms.to_vec(), digest))
}

/// The entries must be those that [`super::prepare()`] writes.
fn check_entries(dict: &Dict, kind: Kind, root: u32) -> Result<(), String> {
    let known = [
        "Type",
        "Filter",
        "SubFilter",
        "ByteRange",
        "Contents",
        "M",
        "Name",
        "Reason",
        "Location",
        "Reference",
    ];
    for (key, _) in dict.iter() {
        if !known.iter().any(|known| known.as_bytes() == key) {
            return Err(format!("the signature has an entry `{}`", String::from_utf8_lossy(key)));
        }
    }
    if !dict.is_name("Type", "Sig")
        || !dict.is_name("Filter", "Adobe.PPKLite")
        || !dict.is_name("SubFilter", "ETSI.CAdES.detached")
    {
        return Err("the signature is of another kind".into());
    }
    if dict.get("Reference") != Some(&reference(kind, root)) {
        return Err(match kind {
            Kind::Certification => "the first signature is no seal".into(),
            Kind::Approval => "the second signature is no approval".into(),
        });
    }
    Ok(())
}

/// The catalog must name the seal as the signature that certifies the file.
fn check_permission(context: &Context<'_>, signature: u32) -> Result<(), String> {
    let catalog = context.after.get(&context.file.root).and_then(|object| object.value.as_dict());
    let named = catalog.and_then(|catalog| catalog.get("Perms"));
    if named == Some(&Value::dict(&[("DocMDP", Value::Reference(signature))])) {
        Ok(())
    } else {
        Err("the catalog does not name the seal".into())
    }
}

/// Four numbers from 0; the gap is exactly the hex string; the end is that of the revision.
fn check_range(dict: &Dict, gap: &Range<usize>, end: usize) -> Result<(), String> {
    let expected: Option<Vec<Value>> = [0, gap.start, gap.end, end.saturating_sub(gap.end)]
        .into_iter()
        .map(|number| i64::try_from(number).ok().map(Value::Integer))
        .collect();
    match (dict.get("ByteRange"), expected) {
        (Some(Value::Array(found)), Some(expected)) if *found == expected => Ok(()),
        _ => Err("the signature does not cover exactly its revision".into()),
    }
}

/// Length of the DER sequence at the start, its head included.
fn der_length(bytes: &[u8]) -> Option<usize> {
    match bytes {
        [0x30, 0x82, high, low, ..] => Some(4 + usize::from(*high) * 256 + usize::from(*low)),
        _ => None,
    }
}
