//! A copy of an export that shows nobody: the same layout, the same length, the same values and the same fault.
//!
//! The rule is not what to hide but what to keep. Kept are what a template or a standard says is a measured value, a time
//! of these years, an eye, a unit or one of its own words, and that only where it looks like one; a header; tags. All
//! other letters and digits are replaced by invented ones of the same script, case and length. So a name in a column of
//! radii is replaced too, and of a line that does not fit the header little is left.
//!
//! In the end the result is searched for every piece of identity that was seen. If one is left, there is no result.
//!
//! A value room has no random numbers: the seed is an argument, and the same seed gives the same bytes.

mod glyphs;
mod invent;
mod looks;
mod markup;
mod object;
mod roles;
mod scan;
mod sheet;
mod table;

pub(super) use glyphs::{Code, Glyph, glyphs};

use self::invent::Inventor;
use self::roles::{Roles, SEXES};
use self::scan::{Tokens, masked, own_bytes};
use self::sheet::{Region, Sheet};
use super::compile::{Compiled, MOST_BYTES, Shape};
use super::dicom::{DEFLATED, inflate, looks_plain};
use super::recognise::{describe, is_dicom, looks_like_xml};
use super::template::{Encoding, Template};
use super::{Input, joia, xml};
use crate::model::{Digest, FileRef, Place, Spot};

/// Largest DICOM object that is scrubbed, in bytes. Our own choice.
const MOST_OBJECT_BYTES: usize = 8 << 20;
/// Choices from one seed: what was invented may hold a piece of identity by chance.
const CHOICES: u32 = 8;

/// What was replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hidden {
    /// Numbers of a patient.
    Number,
    /// Names of a patient.
    Name,
    /// Dates of birth.
    Birth,
    /// The sex.
    Sex,
    /// Unique identifiers.
    Identifier,
    /// Serial numbers and names of a device.
    Serial,
    /// Other people.
    Person,
    /// Clinics, and who gives a number.
    Institution,
    /// Bookings and orders.
    Order,
    /// Text that is not known to be a measured value.
    Other,
    /// Bytes that cannot be looked into: they became zero.
    Bytes,
}

impl Hidden {
    /// Every kind.
    pub const ALL: [Self; 11] = [
        Self::Number,
        Self::Name,
        Self::Birth,
        Self::Sex,
        Self::Identifier,
        Self::Serial,
        Self::Person,
        Self::Institution,
        Self::Order,
        Self::Other,
        Self::Bytes,
    ];

    /// A stable word for machines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Number => "number",
            Self::Name => "name",
            Self::Birth => "birth",
            Self::Sex => "sex",
            Self::Identifier => "identifier",
            Self::Serial => "serial",
            Self::Person => "person",
            Self::Institution => "institution",
            Self::Order => "order",
            Self::Other => "other",
            Self::Bytes => "bytes",
        }
    }

    /// Whether it is the patient's own.
    const fn is_the_patient(self) -> bool {
        matches!(self, Self::Number | Self::Name | Self::Birth | Self::Order)
    }

    /// What it is, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Number => "patient number",
            Self::Name => "patient name",
            Self::Birth => "date of birth",
            Self::Sex => "sex",
            Self::Identifier => "unique identifier",
            Self::Serial => "serial number or station of a device",
            Self::Person => "other person",
            Self::Institution => "institution",
            Self::Order => "booking or order number",
            Self::Other => "piece of other text",
            Self::Bytes => "block of bytes that cannot be looked into",
        }
    }
}

/// A copy that shows nobody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scrubbed {
    /// The bytes; as many as the file has, except of a deflated object.
    pub bytes: Vec<u8>,
    /// The name, changed in the same way.
    pub name: String,
    /// How many values of each kind were replaced; kinds without any are left out.
    pub counts: Vec<(Hidden, usize)>,
    /// Kinds of which a few digits, such as a year, also stand in a measured value or a time, which was kept.
    pub shared: Vec<Hidden>,
    /// Whether nothing of the layout was known, so that every letter and digit was replaced.
    pub blind: bool,
}

/// Why there is no copy.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ScrubError {
    /// No template says where identity stands.
    #[error("no mapping template is known to fit this file, so nobody can say where a person stands in it")]
    NoTemplate,
    /// Several templates could.
    #[error("several mapping templates could fit this file: {}", ids.join(", "))]
    SeveralTemplates {
        /// Their ids.
        ids: Vec<String>,
    },
    /// It is neither text nor XML nor a DICOM object.
    #[error("the file cannot be scrubbed: {seen}")]
    Kind {
        /// What it looks like.
        seen: String,
    },
    /// It is larger than any export of one examination.
    #[error("the file has {bytes} bytes, more than the {limit} that are scrubbed")]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The limit.
        limit: usize,
    },
    /// A deflated object whose inside cannot be reached.
    #[error("the deflated data set cannot be inflated, so nobody can see who stands in it")]
    Deflated,
    /// A piece of identity would be left.
    #[error("a piece of a {} would be left in the copy", kind.words())]
    Left {
        /// Of what kind.
        kind: Hidden,
    },
    /// A piece of identity reads like a measured value or a time.
    #[error("a {} reads the same as a measured value or a time that must stay", kind.words())]
    Coincides {
        /// Of what kind.
        kind: Hidden,
    },
}

impl ScrubError {
    /// A stable word for machines.
    pub const fn slug(&self) -> &'static str {
        match self {
            Self::NoTemplate => "no-template",
            Self::SeveralTemplates { .. } => "several-templates",
            Self::Kind { .. } => "unknown-kind",
            Self::TooLarge { .. } => "too-large",
            Self::Deflated => "deflated",
            Self::Left { .. } => "identity-left",
            Self::Coincides { .. } => "identity-coincides",
        }
    }

    /// What a person does next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NoTemplate => {
                "name the template the file was meant for with `--template FILE.toml`; where it does not fit either, every letter and digit is replaced"
            }
            Self::SeveralTemplates { .. } => "name the right one with `--template FILE.toml`",
            Self::Kind { .. } => "do not send this file to anybody outside; describe it in words",
            Self::TooLarge { .. } => "cut the file to the lines that show the fault, and scrub that",
            Self::Deflated => {
                "have the device or the archive write the object without compression, and scrub that"
            }
            Self::Left { .. } => {
                "nothing was written; do not send the file to anybody outside, describe the fault in words"
            }
            Self::Coincides { .. } => {
                "nothing was written; change that number to another one in a copy of the file by hand, and scrub the copy"
            }
        }
    }
}

/// Makes a copy that shows nobody.
///
/// A DICOM object and a document in the JOIA format need no template. For other text and XML the template is the one of
/// those given whose header or root the file has; `named` says that the only one given was chosen by a person, so that it
/// is used even where the file has nothing of it: then every letter and digit is replaced.
///
/// # Errors
/// [`ScrubError`]; then there is nothing to show anybody.
pub fn scrub(
    input: &Input<'_>,
    templates: &[Template],
    named: bool,
    seed: &[u8; 32],
) -> Result<Scrubbed, ScrubError> {
    if is_dicom(input.bytes) {
        return scrub_object(input, seed);
    }
    let limit = usize::try_from(MOST_BYTES).unwrap_or(usize::MAX);
    if input.bytes.len() > limit {
        return Err(ScrubError::TooLarge { bytes: input.bytes.len(), limit });
    }
    if let Some(seen) = super::recognise::binary_kind(input.bytes) {
        return Err(ScrubError::Kind { seen: seen.to_owned() });
    }
    if looks_like_xml(input.bytes) && joia::mentioned(input.bytes) {
        let plain = Compiled::bare();
        let roles = Roles { compiled: &plain, today: input.today };
        let code = Code::of(xml::likely(input.bytes, Encoding::XmlDeclaration));
        let mut sheet = Sheet::new(input.bytes, glyphs(input.bytes, 0, code));
        sheet.forms.clone_from(&plain.dates);
        sheet.sexes = SEXES.map(str::to_owned).to_vec();
        markup::regions(&mut sheet, &markup::Names::of_joia(roles));
        let mut name = name_sheet(input.name);
        markup::name_regions(&mut name, input.name, roles);
        table::ending(&mut name, input.name);
        return finish(sheet, name, input, seed, false);
    }
    let (template, blind) = choose(input, templates, named)?;
    let roles = Roles { compiled: template.compiled(), today: input.today };
    let mut sheet = text_sheet(input.bytes, roles.compiled);
    let mut name = name_sheet(input.name);
    if !blind {
        roles.prepare(&mut sheet);
        roles.prepare(&mut name);
        match &roles.compiled.shape {
            Shape::Xml(_) => markup::regions(&mut sheet, &markup::Names::of_template(roles)),
            Shape::Csv(_) | Shape::KeyValue(_) => table::regions(&mut sheet, roles),
        }
    }
    table::name_regions(&mut name, input.name, roles);
    finish(sheet, name, input, seed, blind)
}

/// The file as a text, in the encoding its first bytes or the template tell.
fn text_sheet(bytes: &[u8], compiled: &Compiled) -> Sheet {
    let code = match &compiled.shape {
        Shape::Xml(_) => xml::likely(bytes, compiled.text.encoding),
        Shape::Csv(_) | Shape::KeyValue(_) => {
            let mark = super::text::MARKS.iter().find(|(mark, _)| bytes.starts_with(mark));
            match (mark, bytes) {
                (Some((_, encoding)), _) => *encoding,
                // Text without a mark in which every second byte is zero.
                (None, [a, 0, b, 0, ..]) if *a != 0 && *b != 0 => Encoding::Utf16Le,
                (None, [0, a, 0, b, ..]) if *a != 0 && *b != 0 => Encoding::Utf16Be,
                (None, _) => compiled.text.encoding,
            }
        }
    };
    Sheet::new(bytes, glyphs(bytes, 0, Code::of(code)))
}

fn name_sheet(name: &str) -> Sheet {
    Sheet::new(name.as_bytes(), glyphs(name.as_bytes(), 0, Code::of(Encoding::Utf8)))
}

/// The template whose header or root the file has, of several the one it has most of; and whether it has nothing of the
/// one that was named.
fn choose<'t>(
    input: &Input<'_>,
    templates: &'t [Template],
    named: bool,
) -> Result<(&'t Template, bool), ScrubError> {
    let markup = looks_like_xml(input.bytes);
    let known = |template: &'t Template| {
        let compiled = template.compiled();
        let roles = Roles { compiled, today: input.today };
        let known = match &compiled.shape {
            Shape::Xml(xml) => {
                let root = xml.names().1.filter(|_| markup)?;
                markup::begins_with(&text_sheet(input.bytes, compiled), root).then_some(1)
            }
            Shape::Csv(_) | Shape::KeyValue(_) if markup => None,
            Shape::Csv(_) | Shape::KeyValue(_) => {
                table::known_names(&text_sheet(input.bytes, compiled), roles)
            }
        };
        known.map(|known| (known, template))
    };
    let fitting: Vec<(usize, &Template)> = templates.iter().filter_map(known).collect();
    let most = fitting.iter().map(|(known, _)| *known).max();
    let best: Vec<&Template> =
        fitting.iter().filter(|(known, _)| Some(*known) == most).map(|(_, template)| *template).collect();
    match (best.as_slice(), templates) {
        ([only], _) => Ok((only, false)),
        ([], [only]) if named && !input.bytes.is_empty() => Ok((only, true)),
        ([], []) if describe(input.bytes) == "binary data" => {
            Err(ScrubError::Kind { seen: describe(input.bytes).to_owned() })
        }
        ([], _) => Err(ScrubError::NoTemplate),
        (several, _) => Err(ScrubError::SeveralTemplates {
            ids: several.iter().map(|template| format!("`{}`", template.id())).collect(),
        }),
    }
}

fn scrub_object(input: &Input<'_>, seed: &[u8; 32]) -> Result<Scrubbed, ScrubError> {
    let bytes = input.bytes;
    let too_large = |bytes: usize| ScrubError::TooLarge { bytes, limit: MOST_OBJECT_BYTES };
    if bytes.len() > MOST_OBJECT_BYTES {
        return Err(too_large(bytes.len()));
    }
    let mut name = name_sheet(input.name);
    table::ending(&mut name, input.name);
    let wrapper = object::wrapper(bytes);
    let data = bytes.get(wrapper.data_set..).unwrap_or_default();
    let deflated = wrapper.syntax.as_deref() == Some(DEFLATED) && !data.is_empty() && !looks_plain(data);
    if !deflated {
        return finish(object::sheet(bytes, &wrapper, input.today), name, input, seed, false);
    }
    let file = FileRef { digest: Digest::of(bytes), name: String::new() };
    let whole = Place::File { file: std::sync::Arc::new(file), spot: Spot::Whole };
    let inside = inflate(data, &whole).map_err(|_| ScrubError::Deflated)?;
    let mut plain = bytes.get(..wrapper.data_set).unwrap_or_default().to_vec();
    plain.extend_from_slice(&inside);
    if plain.len() > MOST_OBJECT_BYTES {
        return Err(too_large(plain.len()));
    }
    let sheet = object::sheet(&plain, &wrapper, input.today);
    let mut done = finish(sheet, name, input, seed, false)?;
    let rest = done.bytes.split_off(wrapper.data_set);
    done.bytes.extend(deflate(&rest).ok_or(ScrubError::Deflated)?);
    Ok(done)
}

/// A raw deflate stream (RFC 1951) of even length, as PS3.5 A.5 asks.
fn deflate(bytes: &[u8]) -> Option<Vec<u8>> {
    use std::io::Write as _;
    let mut stream = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::default());
    stream.write_all(bytes).ok()?;
    let mut out = stream.finish().ok()?;
    if !out.len().is_multiple_of(2) {
        out.push(0);
    }
    Some(out)
}

/// Replaces, then searches what came of it for every piece of identity.
fn finish(
    mut sheet: Sheet,
    mut name: Sheet,
    input: &Input<'_>,
    seed: &[u8; 32],
    blind: bool,
) -> Result<Scrubbed, ScrubError> {
    let mut tokens = Tokens::default();
    sheet.tokens(input.today, &mut tokens);
    name.tokens(input.today, &mut tokens);
    sheet.give_up(&tokens);
    name.give_up(&tokens);
    let taken = tokens.texts();
    let mut last = ScrubError::Left { kind: Hidden::Other };
    for salt in 0..CHOICES {
        let mut inventor = Inventor::new(seed, salt, &taken);
        let (new, new_name) =
            (sheet.replaced(&mut inventor, input.today), name.replaced(&mut inventor, input.today));
        let shared = match judge(&tokens, [&new, &new_name]) {
            Ok(shared) => shared,
            Err(error @ ScrubError::Coincides { .. }) => return Err(error),
            Err(error) => {
                last = error;
                continue;
            }
        };
        let counts = sheet.counts();
        return Ok(Scrubbed {
            bytes: new.bytes,
            name: String::from_utf8(new_name.bytes).unwrap_or_else(|_| "scrubbed".to_owned()),
            counts: counts.into_iter().filter(|(_, count)| *count > 0).collect(),
            shared,
            blind,
        });
    }
    Err(last)
}

/// Whether nothing of identity is left: kinds of which a few digits also stand in what is kept.
///
/// # Errors
/// [`ScrubError::Left`] and [`ScrubError::Coincides`].
fn judge(tokens: &Tokens, sheets: [&Sheet; 2]) -> Result<Vec<Hidden>, ScrubError> {
    let mut shared = Vec::new();
    for sheet in sheets {
        let line = masked(sheet, |region| region != Region::Word);
        for hit in tokens.hits(&line) {
            let all = |wanted: Region| hit.range.clone().all(|at| sheet.region(at) == wanted);
            if all(Region::Coded) && !hit.kind.is_the_patient() {
                continue;
            }
            let kept = all(Region::Measured);
            match (kept, hit.few_digits) {
                (true, true) if shared.contains(&hit.kind) => {}
                (true, true) => shared.push(hit.kind),
                (true, false) => return Err(ScrubError::Coincides { kind: hit.kind }),
                (false, _) => return Err(ScrubError::Left { kind: hit.kind }),
            }
        }
        if let Some(kind) = tokens.in_bytes(&own_bytes(sheet)) {
            return Err(ScrubError::Left { kind });
        }
    }
    Ok(shared)
}

#[cfg(test)]
mod tests {
    use super::sheet::How;
    use super::*;

    const TODAY: jiff::civil::Date = jiff::civil::date(2026, 3, 3);

    fn of(text: &str) -> Sheet {
        name_sheet(text)
    }

    /// Source: our own rule. A replacement that leaves out one place is noticed by the search.
    #[test]
    fn an_incomplete_replacement_is_noticed() {
        let text = "104417;Marlow;42.67;seen by MARLOW";
        let complete = |forget: bool| {
            let mut sheet = of(text);
            sheet.value(0..6, Hidden::Number, How::Runs);
            sheet.value(7..13, Hidden::Name, How::Runs);
            sheet.mark(14..19, Region::Measured);
            let mut tokens = Tokens::default();
            sheet.tokens(TODAY, &mut tokens);
            if forget {
                sheet.mark(28..34, Region::Soft);
            }
            let taken = tokens.texts();
            let new = sheet.replaced(&mut Inventor::new(&[3; 32], 0, &taken), TODAY);
            judge(&tokens, [&new, &of("")])
        };
        assert_eq!(complete(false), Ok(Vec::new()));
        assert_eq!(complete(true), Err(ScrubError::Left { kind: Hidden::Name }));
    }

    #[test]
    fn what_reads_like_a_measured_value_is_told() {
        let judged = |number: &str, whole: usize| {
            let text = format!("{number};548");
            let mut sheet = of(&text);
            sheet.value(0..whole, Hidden::Number, How::Runs);
            sheet.mark(whole + 1..whole + 4, Region::Measured);
            let mut tokens = Tokens::default();
            sheet.tokens(TODAY, &mut tokens);
            let taken = tokens.texts();
            let new = sheet.replaced(&mut Inventor::new(&[3; 32], 0, &taken), TODAY);
            judge(&tokens, [&new, &of("")])
        };
        assert_eq!(judged("548", 3), Err(ScrubError::Coincides { kind: Hidden::Number }));
        assert_eq!(judged("104-548", 7), Ok(vec![Hidden::Number]));
        assert_eq!(judged("104-549", 7), Ok(Vec::new()));
    }
}
