//! Appends a signature to a finished PDF in three steps: prepare, sign, embed.
//!
//! The room kept for the signature structure is our own choice.

use std::collections::BTreeMap;
use std::ops::Range;

use super::authority::{is_unprintable, text};
use super::certificate::Role;
use super::cms::{self, Credential};
use super::error::SealError;
use super::pdf::{self, Field, File, State, Value};
use super::time::UtcTime;
use super::{MAX_PDF_BYTES, sha256, verify};

/// Bytes kept for the signature structure; one with two certificates of ours needs about 1.6 kB.
pub(super) const CONTENTS_ROOM: usize = 4096;
/// Width of the `/ByteRange` array: `0 ` and three numbers of up to ten digits with their spaces.
const BYTE_RANGE_WIDTH: usize = 34;
/// Longest name, reason or location, in characters (our own choice).
const MAX_TEXT_CHARS: usize = 200;
/// Annotation flags of a signed field: Print and Locked (ISO 32000-1, table 165).
pub(super) const SIGNED_FLAGS: i64 = 4 + 128;

/// Which of the two signatures is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The bridge's seal: the first signature, DocMDP with P = 2, named in the catalog's `/Perms`.
    Certification,
    /// The surgeon's approval of a sealed file: FieldMDP over all fields; nothing may follow it.
    Approval,
}

/// What is drawn in the field once it is signed.
#[derive(Debug, Clone, PartialEq)]
pub struct Appearance {
    /// Width of the drawing in points, above 0 and up to 14400.
    pub width_pt: f64,
    /// Height of the drawing in points, above 0 and up to 14400.
    pub height_pt: f64,
    /// PDF operators that need no resources; origin at the lower left.
    pub content: Vec<u8>,
}

/// What to sign where, with the words that stand in the signature dictionary.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// Name of the empty signature field (`/T`).
    pub field: String,
    /// What the field shows afterwards; `None` leaves its placeholder.
    pub appearance: Option<Appearance>,
    /// Who signs (`/Name`).
    pub name: String,
    /// Why (`/Reason`).
    pub reason: Option<String>,
    /// Where (`/Location`).
    pub location: Option<String>,
    /// The claimed time (`/M`).
    pub at: UtcTime,
    /// Seal or approval.
    pub kind: Kind,
}

/// A file with an empty place for its signature. Only [`Self::embed`] changes it, and only in that place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prepared {
    bytes: Vec<u8>,
    /// The place, from `<` to behind `>`.
    gap: Range<usize>,
}

impl Prepared {
    /// SHA-256 over all bytes around the place for the signature.
    pub fn digest(&self) -> [u8; 32] {
        digest_around(&self.bytes, &self.gap).unwrap_or_default()
    }

    /// The file as it is, with zeros for the signature.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Puts the signature into its place.
    ///
    /// # Errors
    /// [`SealError::NoRoom`] if it is empty or larger than the place.
    pub fn embed(mut self, cms: &[u8]) -> Result<Vec<u8>, SealError> {
        let hex = data_encoding::HEXLOWER.encode(cms);
        let inside = self.gap.start + 1..self.gap.end - 1;
        match self.bytes.get_mut(inside).and_then(|place| place.get_mut(..hex.len())) {
            Some(place) if !cms.is_empty() => place.copy_from_slice(hex.as_bytes()),
            _ => return Err(SealError::NoRoom { needed: cms.len(), room: CONTENTS_ROOM }),
        }
        Ok(self.bytes)
    }
}

/// SHA-256 over `bytes` without `gap`; `None` if the gap does not lie inside.
pub(super) fn digest_around(bytes: &[u8], gap: &Range<usize>) -> Option<[u8; 32]> {
    use sha2::Digest as _;
    let mut hash = sha2::Sha256::new();
    hash.update(bytes.get(..gap.start)?);
    hash.update(bytes.get(gap.end..)?);
    Some(hash.finalize().into())
}

/// Seals or approves a file: all three steps, then this program's own verification of the result.
///
/// # Errors
/// What [`prepare`], [`cms::sign`] and [`Prepared::embed`] return; [`SealError::Mismatch`] if the credential's role is
/// not the one the kind needs; [`SealError::SelfCheck`] if the result does not verify.
pub fn sign(pdf: &[u8], request: &Request, credential: &Credential) -> Result<Vec<u8>, SealError> {
    let needed = match request.kind {
        Kind::Certification => Role::Seal,
        Kind::Approval => Role::Approval,
    };
    if credential.certificate().role() != needed {
        return Err(SealError::Mismatch {
            why: format!("this signature needs a certificate for `{}`", needed.word()),
        });
    }
    if !credential.certificate().is_valid_at(request.at) {
        return Err(SealError::Validity {
            from: credential.certificate().not_before(),
            to: credential.certificate().not_after(),
            why: "the certificate is not valid at the time of signing",
        });
    }
    let prepared = prepare(pdf, request)?;
    let cms = cms::sign(&prepared.digest(), credential)?;
    let signed = prepared.embed(&cms)?;
    let report = verify::verify(&signed, std::slice::from_ref(credential.authority()))?;
    let own = match request.kind {
        Kind::Certification => report.seal.as_ref(),
        Kind::Approval => report.approval.as_ref(),
    };
    match own {
        Some(own) if own.valid && own.trusted && own.whole && report.changes_after_seal.is_empty() => {
            Ok(signed)
        }
        Some(own) => Err(SealError::SelfCheck { why: own.problems.join("; ") }),
        None => Err(SealError::SelfCheck { why: "it is not found".into() }),
    }
}

/// Appends one incremental update with an unsigned signature to `pdf`; the bytes before it stay as they are.
///
/// # Errors
/// [`SealError::Damaged`] if the file is not of the form this program writes; [`SealError::FieldMissing`],
/// [`SealError::FieldTaken`]; [`SealError::Order`] if the seal is not the first signature, or an approval is asked for
/// a file whose seal does not verify; [`SealError::Text`] and [`SealError::AppearanceSize`] for what cannot be written;
/// [`SealError::TooLarge`].
pub fn prepare(pdf: &[u8], request: &Request) -> Result<Prepared, SealError> {
    check_request(request)?;
    let report = verify::verify(pdf, &[])?;
    match (request.kind, &report.seal) {
        (Kind::Certification, Some(_)) => return Err(order("the file is sealed already")),
        (Kind::Approval, None) => return Err(order("the file is not sealed")),
        (Kind::Approval, Some(seal)) if !seal.valid || !report.changes_after_seal.is_empty() => {
            return Err(order("the seal of the file does not hold"));
        }
        (Kind::Approval, Some(_)) if report.approval.is_some() => {
            return Err(order("the file is approved already"));
        }
        (Kind::Certification, None) | (Kind::Approval, Some(_)) => {}
    }
    let file = File::parse(pdf)?;
    let state = file.state(file.revisions.len());
    let fields = pdf::fields(&state, file.root).map_err(|why| SealError::Damaged { at: 0, why })?;
    let field = fields
        .iter()
        .find(|field| field.name == request.field)
        .ok_or_else(|| SealError::FieldMissing { field: request.field.clone() })?;
    if field.signature.is_some() {
        return Err(SealError::FieldTaken { field: request.field.clone() });
    }
    if field.dict.get("P").and_then(Value::as_reference).is_none_or(|page| !state.contains_key(&page)) {
        return Err(SealError::Damaged { at: 0, why: format!("field `{}` names no page", request.field) });
    }
    let prepared = Update::new(pdf, &file).write(request, &file, &state, field)?;
    if prepared.bytes.len() > MAX_PDF_BYTES {
        return Err(SealError::TooLarge { bytes: prepared.bytes.len(), limit: MAX_PDF_BYTES });
    }
    Ok(prepared)
}

fn order(why: &str) -> SealError {
    SealError::Order { why: why.into() }
}

fn check_request(request: &Request) -> Result<(), SealError> {
    let texts = [
        ("signer's name", Some(&request.name)),
        ("reason", request.reason.as_ref()),
        ("location", request.location.as_ref()),
    ];
    for (what, value) in texts {
        let Some(value) = value else { continue };
        if value.trim().is_empty() {
            return Err(text(what, value, "it is empty"));
        }
        if value.chars().count() > MAX_TEXT_CHARS {
            return Err(text(what, value, "it is too long"));
        }
        if value.chars().any(is_unprintable) {
            return Err(text(what, value, "it has characters that do not print"));
        }
    }
    if let Some(appearance) = &request.appearance {
        let possible = |length: f64| length.is_finite() && length > 0.0 && length <= 14_400.0;
        if !possible(appearance.width_pt) || !possible(appearance.height_pt) {
            return Err(SealError::AppearanceSize {
                width_pt: appearance.width_pt.to_string(),
                height_pt: appearance.height_pt.to_string(),
            });
        }
    }
    Ok(())
}

/// The update while it is written.
struct Update {
    bytes: Vec<u8>,
    /// Offset where the update begins.
    from: usize,
    /// Offsets of the objects written, by number.
    written: BTreeMap<u32, usize>,
}

impl Update {
    fn new(pdf: &[u8], file: &File) -> Self {
        let mut bytes = pdf.to_vec();
        if file.revisions.last().is_some_and(|last| !last.ends_line) {
            bytes.push(b'\n');
        }
        let from = bytes.len();
        Self { bytes, from, written: BTreeMap::new() }
    }

    fn write(
        mut self,
        request: &Request,
        file: &File,
        state: &State<'_>,
        field: &Field<'_>,
    ) -> Result<Prepared, SealError> {
        let signature = file.next;
        let drawing = signature.saturating_add(1);
        if request.kind == Kind::Certification {
            self.write_catalog(file, state, signature)?;
        }
        let mut dict = field.dict.clone();
        dict.set("V", Value::Reference(signature));
        dict.set("F", Value::Integer(SIGNED_FLAGS));
        if request.appearance.is_some() {
            dict.set("AP", Value::dict(&[("N", Value::Reference(drawing))]));
        }
        self.object(field.number, &Value::Dict(dict));
        let (range_at, gap) = self.write_signature(request, signature, file.root);
        if let Some(appearance) = &request.appearance {
            self.write_appearance(appearance, drawing);
        }
        self.write_end(file)?;
        let after = self.bytes.len() - gap.end;
        let range = format!("0 {} {} {after}", gap.start, gap.end);
        match self.bytes.get_mut(range_at..range_at + BYTE_RANGE_WIDTH).and_then(|p| p.get_mut(..range.len()))
        {
            Some(place) => place.copy_from_slice(range.as_bytes()),
            None => return Err(SealError::TooLarge { bytes: self.bytes.len(), limit: MAX_PDF_BYTES }),
        }
        Ok(Prepared { bytes: self.bytes, gap })
    }

    /// The catalog with `/Perms`, and the form with both signature flags.
    fn write_catalog(&mut self, file: &File, state: &State<'_>, signature: u32) -> Result<(), SealError> {
        let damaged = |why: &str| SealError::Damaged { at: 0, why: why.into() };
        let dictionary = |number: u32| state.get(&number).and_then(|object| object.value.as_dict());
        let mut catalog = dictionary(file.root).ok_or_else(|| damaged("there is no catalog"))?.clone();
        if catalog.get("Perms").is_some() {
            return Err(damaged("the catalog has `Perms` before any signature"));
        }
        catalog.set("Perms", Value::dict(&[("DocMDP", Value::Reference(signature))]));
        match catalog.get("AcroForm").cloned() {
            Some(Value::Dict(mut form)) => {
                form.set("SigFlags", Value::Integer(3));
                catalog.set("AcroForm", Value::Dict(form));
            }
            Some(Value::Reference(number)) => {
                let mut form = dictionary(number).ok_or_else(|| damaged("there is no form"))?.clone();
                form.set("SigFlags", Value::Integer(3));
                self.object(number, &Value::Dict(form));
            }
            _ => return Err(damaged("there is no form")),
        }
        self.object(file.root, &Value::Dict(catalog));
        Ok(())
    }

    /// The signature dictionary; returns where the byte range goes and the place for the signature.
    fn write_signature(&mut self, request: &Request, number: u32, root: u32) -> (usize, Range<usize>) {
        self.begin(number);
        self.put("<</Type/Sig/Filter/Adobe.PPKLite/SubFilter/ETSI.CAdES.detached/ByteRange[");
        let range_at = self.bytes.len();
        self.put(&" ".repeat(BYTE_RANGE_WIDTH));
        self.put("]/Contents");
        let gap_at = self.bytes.len();
        self.put("<");
        self.put(&"00".repeat(CONTENTS_ROOM));
        self.put(">");
        let gap = gap_at..self.bytes.len();
        self.put(&format!("/M({})", request.at.pdf_date()));
        let texts = [
            ("Name", Some(&request.name)),
            ("Reason", request.reason.as_ref()),
            ("Location", request.location.as_ref()),
        ];
        for (key, value) in texts {
            if let Some(value) = value {
                self.put(&format!("/{key}"));
                self.value(&pdf::write_text(value));
            }
        }
        self.put("/Reference");
        self.value(&reference(request.kind, root));
        self.put(">>\nendobj\n");
        (range_at, gap)
    }

    fn write_appearance(&mut self, appearance: &Appearance, number: u32) {
        self.begin(number);
        self.put(&format!(
            "<</Type/XObject/Subtype/Form/BBox[0 0 {:.3} {:.3}]/Resources<<>>/Length {}>>\nstream\n",
            appearance.width_pt,
            appearance.height_pt,
            appearance.content.len()
        ));
        self.bytes.extend_from_slice(&appearance.content);
        self.put("\nendstream\nendobj\n");
    }

    fn write_end(&mut self, file: &File) -> Result<(), SealError> {
        let Some(last) = file.revisions.last() else {
            return Err(SealError::Damaged { at: 0, why: "there is no revision".into() });
        };
        let xref_at = self.bytes.len();
        let mut table = String::from("xref\n");
        let mut rest = self.written.clone();
        while let Some((&start, _)) = rest.first_key_value() {
            let mut lines = Vec::new();
            let mut number = start;
            while let Some(offset) = rest.remove(&number) {
                lines.push(format!("{offset:010} 00000 n\r\n"));
                number = number.saturating_add(1);
            }
            table.extend([format!("{start} {}\n", lines.len()), lines.concat()]);
        }
        let mut trailer = last.trailer.clone();
        let next =
            self.written.last_key_value().map_or(0, |(number, _)| number.saturating_add(1)).max(file.next);
        trailer.set("Size", Value::Integer(i64::from(next)));
        let previous = i64::try_from(last.xref_at)
            .map_err(|_| SealError::TooLarge { bytes: self.bytes.len(), limit: MAX_PDF_BYTES })?;
        trailer.set("Prev", Value::Integer(previous));
        if let Some(Value::Array(ids)) = trailer.get("ID").cloned()
            && let Some(first) = ids.first()
        {
            trailer.set("ID", Value::Array(vec![first.clone(), self.second_id(&ids)]));
        }
        self.put(&table);
        self.put("trailer\n");
        self.value(&Value::Dict(trailer));
        self.put(&format!("\nstartxref\n{xref_at}\n%%EOF\n"));
        Ok(())
    }

    /// The identifier of this revision: from those before and the objects of the update, so that it is the same for
    /// the same input and differs for any other.
    fn second_id(&self, ids: &[Value]) -> Value {
        let mut seed = String::new();
        for id in ids {
            id.write(&mut seed);
        }
        let mut input = seed.into_bytes();
        input.extend_from_slice(self.bytes.get(self.from..).unwrap_or_default());
        let digest = sha256(&input);
        Value::Text(pdf::Text { bytes: digest.iter().take(16).copied().collect(), span: 0..0 })
    }

    fn object(&mut self, number: u32, value: &Value) {
        self.begin(number);
        self.value(value);
        self.put("\nendobj\n");
    }

    fn begin(&mut self, number: u32) {
        self.written.insert(number, self.bytes.len());
        self.put(&format!("{number} 0 obj\n"));
    }

    fn value(&mut self, value: &Value) {
        let mut text = String::new();
        value.write(&mut text);
        self.put(&text);
    }

    fn put(&mut self, text: &str) {
        self.bytes.extend_from_slice(text.as_bytes());
    }
}

/// The `/Reference` entry of a signature dictionary (ISO 32000-1, 12.8.2.2 and 12.8.2.4).
pub(super) fn reference(kind: Kind, root: u32) -> Value {
    let version = Value::name("1.2");
    let kind_of = Value::name("TransformParams");
    let mut entries = vec![("Type", Value::name("SigRef"))];
    match kind {
        Kind::Certification => {
            let what = [("Type", kind_of), ("P", Value::Integer(2)), ("V", version)];
            entries.push(("TransformMethod", Value::name("DocMDP")));
            entries.push(("TransformParams", Value::dict(&what)));
        }
        Kind::Approval => {
            let what = [("Type", kind_of), ("Action", Value::name("All")), ("V", version)];
            entries.push(("TransformMethod", Value::name("FieldMDP")));
            entries.push(("TransformParams", Value::dict(&what)));
            entries.push(("Data", Value::Reference(root)));
        }
    }
    Value::Array(vec![Value::dict(&entries)])
}
