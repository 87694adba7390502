//! What a file is, and which template reads it.

use std::sync::Arc;

use super::compile::{Compiled, Shape};
use super::outcome::{Brings, Content, FolderRules, Format, Input, Read};
use super::rows::{Body, Source};
use super::table::{Outline, Table};
use super::template::Template;
use super::xml::Document;
use super::{IntakeError, both_eyes, build, dicom, facts, joia, list, profile, text};
use crate::model::{Digest, FileRef, Place, Spot};

/// Reads one file: a DICOM object, a document in the JOIA format, or text by exactly one of the templates given.
///
/// Only the templates the folder names are used; all of them where the folder names neither templates nor a device. The
/// others serve to say that the file belongs elsewhere.
///
/// # Errors
/// [`IntakeError`] with the place and the next step. Nothing of a refused file is kept in the model.
pub fn read(input: &Input<'_>, templates: &[Template]) -> Result<Read, IntakeError> {
    let mut read = read_whole(input, templates)?;
    profile::apply(&mut read, input.folder)?;
    if input.folder.both_eyes {
        read.findings.extend(both_eyes::missing(&read));
    }
    Ok(read)
}

fn read_whole(input: &Input<'_>, templates: &[Template]) -> Result<Read, IntakeError> {
    let file = Arc::new(FileRef { digest: Digest::of(input.bytes), name: input.name.to_owned() });
    let whole = Place::File { file: Arc::clone(&file), spot: Spot::Whole };
    if input.bytes.is_empty() {
        return Err(IntakeError::Empty { place: whole });
    }
    if input.bytes.iter().all(|byte| *byte == 0) {
        return Err(IntakeError::Structure {
            detail: "every byte is zero; the file was not copied".to_owned(),
            place: whole,
        });
    }
    if is_dicom(input.bytes) {
        if matches!(input.folder.brings, Brings::Lists | Brings::Facts) {
            return Err(wrong_folder(input.folder, "a DICOM object", whole));
        }
        return dicom::read(input, &file);
    }
    if looks_like_xml(input.bytes)
        && let Some(read) = joia::read(input, &file, &whole)
    {
        // One reader and no other: whoever wrote a template for it may mean other values by the same elements.
        let rival = templates.iter().find(|template| {
            is_of(input.folder, template) && fits(input, template.compiled(), &whole).is_ok()
        });
        return match rival {
            None => read,
            Some(template) => Err(IntakeError::Template {
                detail: format!(
                    "more than one reader fits this file: that of the JOIA format and template `{}`",
                    template.id()
                ),
                place: whole,
            }),
        };
    }
    if let Some(kind) = binary_kind(input.bytes) {
        return Err(IntakeError::UnknownKind { seen: kind.to_owned(), place: whole });
    }
    let chosen = choose(input, templates, &whole)?;
    let compiled = chosen.template.compiled();
    let body = match chosen.parsed {
        Parsed::Text(text) => {
            let outline = Outline::of(&text, compiled, &whole)?;
            Body::Table(Table::read(outline, compiled, &whole)?)
        }
        Parsed::Document(document) => Body::Document(document),
    };
    let source = Source::new(input, chosen.template, &body, &file)?;
    let template = Some(chosen.template.reference().clone());
    let mut stated = Vec::new();
    let (content, findings, not_understood) = match chosen.template.brings() {
        Brings::Lists => {
            let (list, of_eyes, not_understood) = list::entries(&source)?;
            stated = of_eyes;
            (Content::List(list), Vec::new(), not_understood)
        }
        Brings::Facts => {
            let (facts, not_understood) = facts::facts(&source)?;
            (Content::Facts(facts), Vec::new(), not_understood)
        }
        Brings::Measurements | Brings::Refractions => {
            let built = build::exams(&source)?;
            (Content::Exams(built.all), built.findings, built.not_understood)
        }
    };
    let format = Format::Mapped;
    Ok(Read { digest: file.digest, format, content, stated, findings, not_understood, template })
}

struct Chosen<'a> {
    template: &'a Template,
    parsed: Parsed,
}

/// A file as far as it has to be read to see whether a template fits.
enum Parsed {
    Text(String),
    Document(Document),
}

fn wrong_folder(folder: &FolderRules, found: impl Into<String>, place: Place) -> IntakeError {
    let expected = match &folder.device {
        Some(device) => format!("{} of `{device}`", folder.brings.word()),
        None => folder.brings.word().to_owned(),
    };
    IntakeError::WrongFolder { expected, found: found.into(), place }
}

/// Whether a folder's files may be read by a template: it names it, or nothing is declared of it.
fn is_of(folder: &FolderRules, template: &Template) -> bool {
    let open = folder.templates.is_empty() && folder.device.is_none();
    open || folder.templates.iter().any(|id| id == template.id())
}

fn choose<'a>(
    input: &Input<'_>,
    templates: &'a [Template],
    whole: &Place,
) -> Result<Chosen<'a>, IntakeError> {
    let folder = input.folder;
    let (own, others): (Vec<&Template>, Vec<&Template>) =
        templates.iter().partition(|template| is_of(folder, template));
    let mut fitting: Vec<Chosen<'a>> = Vec::new();
    let mut reasons: Vec<(&str, IntakeError)> = Vec::new();
    for template in own {
        match fits(input, template.compiled(), whole) {
            Ok(parsed) => fitting.push(Chosen { template, parsed }),
            Err(reason) => reasons.push((template.id(), reason)),
        }
    }
    if fitting.len() > 1 {
        let ids: Vec<String> = fitting.iter().map(|chosen| format!("`{}`", chosen.template.id())).collect();
        let detail = format!("more than one template fits this file: {}", ids.join(", "));
        return Err(IntakeError::Template { detail, place: whole.clone() });
    }
    if let Some(chosen) = fitting.pop() {
        if chosen.template.brings() != folder.brings {
            let found = format!("{} (template `{}`)", chosen.template.brings().word(), chosen.template.id());
            return Err(wrong_folder(folder, found, whole.clone()));
        }
        return Ok(chosen);
    }
    if let Some(other) = others.into_iter().find(|other| fits(input, other.compiled(), whole).is_ok()) {
        let found =
            format!("{} by template `{}`, which is not of this folder", other.brings().word(), other.id());
        return Err(wrong_folder(folder, found, whole.clone()));
    }
    if looks_like_xml(input.bytes) && !templates.iter().any(|template| is_xml(template.compiled())) {
        return Err(IntakeError::UnknownKind {
            seen: describe(input.bytes).to_owned(),
            place: whole.clone(),
        });
    }
    if reasons.is_empty() {
        let seen = describe(input.bytes);
        let detail = format!("the folder names no mapping template for this file: {seen}");
        return Err(IntakeError::Template { detail, place: whole.clone() });
    }
    let only = reasons.len() == 1;
    match reasons.pop() {
        Some((
            _,
            reason @ (IntakeError::Encoding { .. }
            | IntakeError::Layout { .. }
            | IntakeError::Structure { .. }
            | IntakeError::TooLarge { .. }),
        )) if only => Err(reason),
        last => {
            let reasons: Vec<String> = reasons
                .into_iter()
                .chain(last)
                .map(|(id, reason)| format!("`{id}`: {reason} ({})", reason.place()))
                .collect();
            let detail = format!("no template of this folder fits: {}", reasons.join("; "));
            Err(IntakeError::Template { detail, place: whole.clone() })
        }
    }
}

const fn is_xml(compiled: &Compiled) -> bool {
    matches!(compiled.shape, Shape::Xml(_))
}

/// Whether the match section of a template holds, and the text or document by it.
fn fits(input: &Input<'_>, compiled: &Compiled, whole: &Place) -> Result<Parsed, IntakeError> {
    let no = |detail: String| IntakeError::Template { detail, place: whole.clone() };
    let extension = input.name.rsplit_once('.').map_or(String::new(), |(_, e)| e.to_ascii_lowercase());
    if !compiled.extensions.is_empty() && !compiled.extensions.contains(&extension) {
        return Err(no(format!("the ending is `{extension}`, not {}", compiled.extensions.join(" or "))));
    }
    let named = compiled.name.as_ref().is_none_or(|pattern| pattern.captures(input.name).is_some());
    if compiled.name_required && !named {
        return Err(no("the name does not fit the pattern".to_owned()));
    }
    let bytes = u64::try_from(input.bytes.len()).unwrap_or(u64::MAX);
    if bytes > compiled.max_bytes {
        return Err(IntakeError::TooLarge { bytes, limit: compiled.max_bytes, place: whole.clone() });
    }
    match (looks_like_xml(input.bytes), is_xml(compiled)) {
        (true, false) => return Err(no(format!("{}, not a table", describe(input.bytes)))),
        (false, true) => return Err(no(format!("{}, not XML", describe(input.bytes)))),
        (true, true) | (false, false) => {}
    }
    if let Shape::Xml(xml) = &compiled.shape {
        let document = Document::read(input.bytes, &compiled.text, whole)?;
        xml.fits(&document, whole)?;
        return Ok(Parsed::Document(document));
    }
    let text = text::decode(input.bytes, &compiled.text, whole)?;
    let outline = Outline::of(&text, compiled, whole)?;
    let there =
        |name: &&String| outline.columns.contains(name) || outline.preamble.iter().any(|e| e.key == **name);
    if let Some(absent) = compiled.must_contain.iter().find(|name| !there(name)) {
        return Err(IntakeError::Layout {
            what: "header".to_owned(),
            expected: format!("`{absent}`"),
            found: outline.columns.join(" | ").chars().take(200).collect(),
            place: whole.at(Spot::Line(outline.header_line)),
        });
    }
    Ok(Parsed::Text(text))
}

/// Whether the first character that is no white space is `<`, in any encoding a template can name.
pub(super) fn looks_like_xml(bytes: &[u8]) -> bool {
    let marks: [&[u8]; 3] = [b"\xEF\xBB\xBF", b"\xFF\xFE", b"\xFE\xFF"];
    let body = marks.iter().find_map(|mark| bytes.strip_prefix(*mark)).unwrap_or(bytes);
    let space = |byte: &&u8| matches!(byte, b' ' | b'\t' | b'\r' | b'\n' | 0);
    body.iter().take(1024).find(|byte| !space(byte)) == Some(&b'<')
}

/// A DICOM file by its preamble, or by a first element of group 0002 or 0008 in either byte order.
///
/// Source: DICOM PS3.10 7.1 (preamble and prefix), PS3.5 7.1 (elements).
pub(super) fn is_dicom(bytes: &[u8]) -> bool {
    if bytes.get(128..132) == Some(b"DICM") {
        return true;
    }
    let (Some(tag), Some(after)) =
        (bytes.first_chunk::<4>(), bytes.get(4..8).and_then(|four| four.first_chunk::<4>()))
    else {
        return false;
    };
    let representation = after.iter().take(2).all(u8::is_ascii_uppercase);
    let length = u32::from_le_bytes(*after);
    let short = usize::try_from(length).is_ok_and(|length| length <= bytes.len() && length <= 0xFFFF);
    let little = matches!(tag, [2 | 8, 0, _, 0]) && (representation || short);
    let big = matches!(tag, [0, 2 | 8, 0, _]) && representation;
    little || big
}

/// Kinds of file that are certainly neither a table of text nor a document.
pub(super) fn binary_kind(bytes: &[u8]) -> Option<&'static str> {
    let starts = |magic: &[u8]| bytes.starts_with(magic);
    let kinds: [(&[u8], &str); 10] = [
        (b"%PDF", "it looks like a PDF"),
        (b"PK\x03\x04", "it looks like a ZIP archive or an office document"),
        (b"\xD0\xCF\x11\xE0", "it looks like an old office document"),
        (b"\x1F\x8B", "it looks like a gzip archive"),
        (b"\x89PNG", "it looks like a PNG picture"),
        (b"\xFF\xD8\xFF", "it looks like a JPEG picture"),
        (b"II*\0", "it looks like a TIFF picture"),
        (b"MM\0*", "it looks like a TIFF picture"),
        (b"{\\rtf", "it looks like an RTF document"),
        (b"SQLite format 3\0", "it looks like a database"),
    ];
    kinds.into_iter().find(|(magic, _)| starts(magic)).map(|(_, words)| words)
}

/// What a file looks like, for the message that refuses it.
pub fn describe(bytes: &[u8]) -> &'static str {
    if bytes.is_empty() {
        return "empty";
    }
    if bytes.iter().all(|byte| *byte == 0) {
        return "nothing but zero bytes";
    }
    if is_dicom(bytes) {
        return "it looks like a DICOM object";
    }
    if let Some(kind) = binary_kind(bytes) {
        return kind;
    }
    if looks_like_xml(bytes) {
        let declared = bytes.iter().filter(|byte| byte.is_ascii_graphic()).take(64).copied();
        let declared: Vec<u8> = declared.collect();
        return if declared.windows(5).any(|five| five == b"<?xml") {
            "it looks like XML"
        } else {
            "it looks like XML or HTML"
        };
    }
    if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
        return "it looks like UTF-16 text";
    }
    let control = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    match core::str::from_utf8(bytes) {
        Ok(text) if text.is_ascii() && !text.chars().any(control) => "it looks like plain text",
        Ok(text) if !text.chars().any(control) => "it looks like UTF-8 text",
        _ if bytes.contains(&0) => "binary data",
        _ => "it looks like text in an older encoding",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_kinds_apart() {
        let mut preamble = vec![0; 128];
        preamble.extend_from_slice(b"DICM");
        for (bytes, words) in [
            (&b""[..], "empty"),
            (b"\0\0\0", "nothing but zero bytes"),
            (preamble.as_slice(), "it looks like a DICOM object"),
            (b"\x08\0\x05\0CS\x0A\0ISO_IR 100", "it looks like a DICOM object"),
            (b"\0\x08\0\x05CS\0\x0AISO_IR 100", "it looks like a DICOM object"),
            (b"<?xml version=\"1.0\"?>", "it looks like XML"),
            (b"%PDF-1.7", "it looks like a PDF"),
            (b"PK\x03\x04", "it looks like a ZIP archive or an office document"),
            (b"A;B\r\n", "it looks like plain text"),
            ("Ä;B\r\n".as_bytes(), "it looks like UTF-8 text"),
            (b"\xC4;B\r\n", "it looks like text in an older encoding"),
            (b"\xFF\xFEA\0", "it looks like UTF-16 text"),
            (b"\x01\x02\0\x03", "binary data"),
        ] {
            assert_eq!(describe(bytes), words);
        }
    }
}
