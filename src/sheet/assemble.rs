//! From a released plan to finished bytes, read back before they leave.

use super::boxes;
use super::code;
use super::error::SheetError;
use super::facts::SheetFacts;
use super::frame::{EyeField, Frame, Kind, is_name_alert};
use super::words::Who;
use super::{marking, numbers, record, theatre};
use crate::model::{Digest, Procedure};
use crate::page::{Created, Document, Meta, Page, SignatureField, pdf, readback};
use crate::plan::{Act, Released};

/// Language of every page.
const LANGUAGE: &str = "en-GB";

/// A sheet that was read back: not yet sealed, its two signature fields empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// The finished bytes, with empty fields `Seal` and `Approval` on page 1.
    pub pdf: Vec<u8>,
    /// The text of the code.
    pub code: String,
    /// SHA-256 of the canonical record.
    pub record_digest: Digest,
}

/// The header of a document.
pub(super) fn meta(
    title: String,
    subject: &str,
    facts: &SheetFacts,
    seed: &[u8],
) -> Result<Meta, SheetError> {
    let at = jiff::tz::TimeZone::UTC.to_datetime(facts.issued_at);
    let part = |value: i8| {
        u8::try_from(value).map_err(|_| SheetError::Missing { what: "time of issue that exists" })
    };
    let created = Created {
        year: u16::try_from(at.year())
            .map_err(|_| SheetError::Missing { what: "time of issue that exists" })?,
        month: part(at.month())?,
        day: part(at.day())?,
        hour: part(at.hour())?,
        minute: part(at.minute())?,
        second: part(at.second())?,
    };
    Ok(Meta {
        title,
        subject: subject.to_owned(),
        author: super::words::legible(&facts.site),
        language: LANGUAGE.to_owned(),
        created,
        id_seed: seed.to_vec(),
    })
}

/// Refuses what may not become a sheet: no name or number, two eyes, an operation the pages have no form for.
fn admit(released: &Released) -> Result<(), SheetError> {
    let plan = released.plan();
    let computation = plan.computation();
    let entry = &plan.cleared().case().entry;
    if entry.identity.name.is_none() {
        return Err(SheetError::Missing { what: "name of the patient" });
    }
    if entry.identity.number.is_none() {
        return Err(SheetError::Missing { what: "patient number" });
    }
    if plan.cleared().eye() != computation.eye || plan.cleared().case().eye != Some(computation.eye) {
        return Err(SheetError::Contradiction { reason: "case and plan are of different eyes".to_owned() });
    }
    match entry.procedure.as_ref().map(|procedure| procedure.value) {
        Some(procedure) if Act::of(procedure) == computation.act => Ok(()),
        other => {
            let procedure = other.map_or("none", Procedure::printed).to_owned();
            Err(SheetError::Procedure { procedure })
        }
    }
}

/// The pages of a sheet as display lists, for the desk's view and for whoever checks the layout.
///
/// # Errors
/// [`SheetError`] for what may not become a sheet and for what does not fit its place.
pub fn pages(released: &Released, facts: &SheetFacts) -> Result<Vec<Page>, SheetError> {
    admit(released)?;
    let plan = released.plan();
    let frame = Frame {
        who: Who::of(&plan.cleared().case().entry.identity),
        eye: EyeField::Certain(plan.computation().eye),
        facts,
        kind: Kind::Sheet,
        name_alert: released.findings().any(|(finding, _)| is_name_alert(finding)),
    };
    let code = code::code(released, facts)?;
    let clear = code::clear_code(&code).ok_or(SheetError::Missing { what: "code" })?;
    let digest = Digest::of(code::record(released, facts).as_bytes());
    let mut pages = vec![theatre::page(&frame, released, &code, &clear)?, marking::page(&frame, released)?];
    pages.extend(record::pages(&frame, released, &digest.hex())?);
    let of = pages.len();
    for (number, page) in (1..).zip(&mut pages) {
        frame.finish(page, number, of)?;
    }
    Ok(pages)
}

/// Makes the sheet of a released plan, unsigned, and reads it back: every glyph against its face, every number against the plan.
///
/// Fields: `Seal` (the bridge) and `Approval` (the surgeon), both on page 1.
///
/// # Errors
/// [`SheetError`]; nothing is printed instead of what does not fit, and nothing leaves that does not read back.
pub fn sheet(released: &Released, facts: &SheetFacts) -> Result<Sheet, SheetError> {
    let pages = pages(released, facts)?;
    let record_digest = Digest::of(code::record(released, facts).as_bytes());
    let field =
        |name: &str, at: (f64, f64), tooltip: &str, locks_all: bool, placeholder: Page| SignatureField {
            name: name.to_owned(),
            page: 0,
            at: at.into(),
            tooltip: tooltip.to_owned(),
            locks_all,
            placeholder,
        };
    let approval = boxes::approval_placeholder(released.approval())?;
    let fields = vec![
        field("Seal", theatre::SEAL_AT, "Seal of the bridge", false, boxes::not_sealed()),
        field("Approval", theatre::APPROVAL_AT, "Approval of the surgeon", true, approval),
    ];
    let title = format!("Plan sheet, case {}, version {}", facts.case, facts.version);
    let subject = if facts.live { "Plan for astigmatism surgery" } else { super::frame::WARNING };
    let mut seed = record_digest.bytes().to_vec();
    seed.extend_from_slice(facts.sheet_id.as_bytes());
    let document = Document { meta: meta(title, subject, facts, &seed)?, pages, fields };
    let pdf = pdf::write(&document)?;
    let back = readback::verify(&document, &pdf)?;
    numbers::compare(&back, &numbers::printed_numbers(released, facts))?;
    Ok(Sheet { pdf, code: code::code(released, facts)?, record_digest })
}
