//! What the file says about itself: `/Info`, XMP, language, viewer preferences and `/ID`.

use lopdf::{Object, Stream, StringFormat, dictionary};
use sha2::{Digest as _, Sha256};

use crate::page::error::PageError;
use crate::page::list::{Created, Meta};
use crate::page::pdf::library;
use crate::page::svg::escape;

/// The program that made the file. No version: a new version of the program alone must not change the bytes of a page.
const PROGRAM: &str = "Axiswright";

/// Refuses a header that cannot be written truly.
pub(super) fn check(meta: &Meta, pages: usize) -> Result<(), PageError> {
    let refuse = |reason| Err(PageError::Header { reason });
    if pages == 0 {
        return refuse("there is no page");
    }
    if !meta.created.exists() {
        return refuse("the date or time does not exist");
    }
    let tag = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if meta.language.is_empty() || !meta.language.chars().all(tag) {
        return refuse("the language is not a language tag");
    }
    if [&meta.title, &meta.subject, &meta.author].iter().any(|text| text.chars().any(char::is_control)) {
        return refuse("title, subject or author holds a control character");
    }
    Ok(())
}

/// Writes header and catalog entries, in place of the library's own.
pub(super) fn add(file: &mut lopdf::Document, meta: &Meta) -> Result<(), PageError> {
    let date = Object::String(pdf_date(meta.created).into_bytes(), StringFormat::Literal);
    let info = dictionary! {
        "Title" => text(&meta.title),
        "Subject" => text(&meta.subject),
        "Author" => text(&meta.author),
        "Creator" => text(PROGRAM),
        "Producer" => text(PROGRAM),
        "CreationDate" => date.clone(),
        "ModDate" => date,
    };
    let info_id = file.trailer.get(b"Info").and_then(Object::as_reference).map_err(library)?;
    file.objects.insert(info_id, Object::Dictionary(info));

    // Left uncompressed, so that a document store can read it without opening the file.
    let xmp = Stream::new(dictionary! { "Type" => "Metadata", "Subtype" => "XML" }, xmp(meta).into_bytes());
    let xmp_id = file.add_object(xmp.with_compression(false));
    let catalog = file.catalog_mut().map_err(library)?;
    catalog.set("Metadata", xmp_id);
    catalog.set("Lang", text(&meta.language));
    catalog.set("PageLayout", "SinglePage");
    // A page carries a line to check the printer's scale: it must not be fitted to the paper.
    catalog.set("ViewerPreferences", dictionary! { "DisplayDocTitle" => true, "PrintScaling" => "None" });
    Ok(())
}

/// Saves the file with a `/ID` made of the record's seed and everything else in the file.
pub(super) fn save_with_id(file: &mut lopdf::Document, meta: &Meta) -> Result<Vec<u8>, PageError> {
    file.trailer.remove(b"ID");
    let mut hash = Sha256::new();
    hash.update(b"axiswright-page-1\0");
    hash.update(u64::try_from(meta.id_seed.len()).unwrap_or(u64::MAX).to_be_bytes());
    hash.update(&meta.id_seed);
    hash.update(save(file)?);
    let id: Vec<u8> = hash.finalize().into_iter().take(16).collect();
    let half = Object::String(id, StringFormat::Hexadecimal);
    file.trailer.set("ID", vec![half.clone(), half]);
    let mut bytes = save(file)?;
    bytes.push(b'\n');
    Ok(bytes)
}

fn save(file: &mut lopdf::Document) -> Result<Vec<u8>, PageError> {
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).map_err(library)?;
    Ok(bytes)
}

/// A PDF text string: plain where it is ASCII, else UTF-16 with a byte order mark (ISO 32000-1, 7.9.2.2).
pub(super) fn text(text: &str) -> Object {
    if text.is_ascii() {
        return Object::String(text.as_bytes().to_vec(), StringFormat::Literal);
    }
    let bytes = std::iter::once(0xFEFF).chain(text.encode_utf16()).flat_map(u16::to_be_bytes).collect();
    Object::String(bytes, StringFormat::Hexadecimal)
}

fn pdf_date(at: Created) -> String {
    format!("D:{:04}{:02}{:02}{:02}{:02}{:02}Z", at.year, at.month, at.day, at.hour, at.minute, at.second)
}

fn xmp(meta: &Meta) -> String {
    let at = meta.created;
    let date = format!(
        "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z",
        at.year, at.month, at.day, at.hour, at.minute, at.second
    );
    let (title, subject, author) = (escape(&meta.title), escape(&meta.subject), escape(&meta.author));
    let language = escape(&meta.language);
    format!(
        "<?xpacket begin=\"\u{FEFF}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
         <x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n\
         <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n\
         <rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" \
         xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" xmlns:pdf=\"http://ns.adobe.com/pdf/1.3/\">\n\
         <dc:format>application/pdf</dc:format>\n\
         <dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{title}</rdf:li></rdf:Alt></dc:title>\n\
         <dc:description><rdf:Alt><rdf:li xml:lang=\"x-default\">{subject}</rdf:li></rdf:Alt></dc:description>\n\
         <dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>\n\
         <dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>\n\
         <xmp:CreatorTool>{PROGRAM}</xmp:CreatorTool>\n\
         <xmp:CreateDate>{date}</xmp:CreateDate>\n\
         <xmp:ModifyDate>{date}</xmp:ModifyDate>\n\
         <xmp:MetadataDate>{date}</xmp:MetadataDate>\n\
         <pdf:Producer>{PROGRAM}</pdf:Producer>\n\
         </rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"r\"?>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meta() -> Meta {
        Meta {
            title: "Smith & <Co>".to_owned(),
            subject: String::new(),
            author: "Κλινική".to_owned(),
            language: "en-GB".to_owned(),
            created: Created { year: 2024, month: 2, day: 29, hour: 7, minute: 5, second: 9 },
            id_seed: vec![1, 2, 3],
        }
    }

    #[test]
    fn header_texts_are_escaped_and_dated_by_the_record() {
        let xmp = xmp(&meta());
        assert!(
            xmp.contains("Smith &amp; &lt;Co&gt;</rdf:li>") && xmp.contains("2024-02-29T07:05:09Z"),
            "{xmp}"
        );
        assert_eq!(pdf_date(meta().created), "D:20240229070509Z");
        assert_eq!(text("é"), Object::String(vec![0xFE, 0xFF, 0x00, 0xE9], StringFormat::Hexadecimal));
    }

    #[test]
    fn a_header_that_is_not_true_is_refused() {
        assert_eq!(check(&meta(), 1), Ok(()));
        assert!(check(&meta(), 0).is_err());
        let mut leap = meta();
        leap.created.year = 2023;
        assert!(check(&leap, 1).is_err());
        let mut language = meta();
        language.language = "en GB".to_owned();
        assert!(check(&language, 1).is_err());
        let mut control = meta();
        control.title = "a\u{0}b".to_owned();
        assert!(check(&control, 1).is_err());
    }
}
