//! What the PDF writer promises about its bytes.

use std::collections::BTreeSet;

use axiswright::page::{Page, PageError, Stroke, Style, pdf, readback, svg};
use lopdf::Object;
use sha2::{Digest as _, Sha256};

use crate::sample;

/// SHA-256 of the small sample. Every process on every platform must come to it; a change here is a change of every printed page.
const SMALL: &str = "9c809a636ec5f2d8549239ab64631b1b11d8b19c8ecd2b3f0ead502bb4e3ee36";

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02x}").unwrap();
        text
    })
}

#[test]
fn same_document_same_bytes() {
    let first = pdf::write(&sample::full()).unwrap();
    let other = pdf::write(&sample::small()).unwrap();
    assert_eq!(first, pdf::write(&sample::full()).unwrap());
    assert_eq!(hex(&Sha256::digest(&other)), SMALL);
    // Negative control: one digit, and one byte of the seed, make another file.
    let mut digit = sample::small();
    digit.pages[0].text(20.0, 60.0, Style::regular(9.0), "1");
    assert_ne!(other, pdf::write(&digit).unwrap());
    let mut seed = sample::small();
    seed.meta.id_seed.push(0);
    assert_ne!(other, pdf::write(&seed).unwrap());
}

#[test]
fn the_cross_reference_is_one_classic_section_without_gaps() {
    let bytes = pdf::write(&sample::full()).unwrap();
    assert!(bytes.starts_with(b"%PDF-1.7\n") && bytes.ends_with(b"%%EOF\n"));
    let text = String::from_utf8_lossy(&bytes);
    let table = text.rsplit("\nxref").next().unwrap().trim_start();
    let mut lines = table.lines();
    let count: usize =
        lines.next().unwrap().strip_prefix("0 ").expect("one section from object 0").trim().parse().unwrap();
    let entries: Vec<&str> = lines.by_ref().take(count).collect();
    assert!(entries[0].starts_with("0000000000 65535 f"));
    assert!(entries[1..].iter().all(|entry| entry.contains(" 00000 n")), "{entries:?}");
    assert_eq!(lines.next().map(str::trim), Some("trailer"));
    // Each entry is 20 bytes with its line end: readers count on it (ISO 32000-1, 7.5.4).
    assert!(
        table.contains(&format!("{}\n{}\n", entries[0], entries[1])) && entries.iter().all(|e| e.len() == 19)
    );
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    assert_eq!(file.objects.len() + 1, count);
}

#[test]
fn header_language_and_preferences_are_ours() {
    let bytes = pdf::write(&sample::full()).unwrap();
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    let info = file.trailer.get(b"Info").and_then(Object::as_reference).unwrap();
    let info = file.get_dictionary(info).unwrap();
    assert_eq!(info.get(b"Title").and_then(Object::as_str).unwrap(), b"Sample (pages) & marks <1>");
    assert_eq!(info.get(b"CreationDate").and_then(Object::as_str).unwrap(), b"D:20261125083005Z");
    assert!(!info.has(b"GTS_PDFXVersion") && !info.has(b"Identifier"));
    let catalog = file.catalog().unwrap();
    assert_eq!(catalog.get(b"Lang").and_then(Object::as_str).unwrap(), b"en-GB");
    let shown = catalog.get(b"ViewerPreferences").and_then(Object::as_dict).unwrap();
    assert!(shown.get(b"DisplayDocTitle").and_then(Object::as_bool).unwrap());
    let xmp = catalog.get(b"Metadata").and_then(Object::as_reference).unwrap();
    let xmp = file.get_object(xmp).and_then(Object::as_stream).unwrap();
    assert!(!xmp.dict.has(b"Filter"));
    assert!(String::from_utf8_lossy(&xmp.content).contains("Sample (pages) &amp; marks &lt;1&gt;"));
}

#[test]
fn faces_are_cut_and_tagged() {
    let bytes = pdf::write(&sample::full()).unwrap();
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    let mut names = BTreeSet::new();
    for object in file.objects.values() {
        let Ok(dict) = object.as_dict() else { continue };
        if dict.has_type(b"FontDescriptor") {
            names.insert(
                String::from_utf8(dict.get(b"FontName").and_then(Object::as_name).unwrap().to_vec()).unwrap(),
            );
            assert_eq!(dict.get(b"CapHeight").and_then(Object::as_i64).unwrap(), 714);
        }
    }
    assert_eq!(names.len(), 2);
    for name in &names {
        let (tag, face) = name.split_once('+').unwrap();
        assert!(tag.len() == 6 && tag.chars().all(|c| c.is_ascii_uppercase()), "{name}");
        assert!(["NotoSans-Regular", "NotoSans-Bold"].contains(&face), "{name}");
    }
    assert!(bytes.len() < 60_000, "{} bytes", bytes.len());
}

#[test]
fn fields_wait_with_their_placeholder() {
    let bytes = pdf::write(&sample::full()).unwrap();
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    let form = file.catalog().unwrap().get(b"AcroForm").and_then(Object::as_reference).unwrap();
    let form = file.get_dictionary(form).unwrap();
    let fields = form.get(b"Fields").and_then(Object::as_array).unwrap();
    assert_eq!(fields.len(), 2);
    for (field, (name, locks)) in fields.iter().zip([("Seal", false), ("Approval", true)]) {
        let dict = file.get_dictionary(field.as_reference().unwrap()).unwrap();
        assert_eq!(dict.get(b"T").and_then(Object::as_str).unwrap(), name.as_bytes());
        assert_eq!(dict.get(b"FT").and_then(Object::as_name).unwrap(), b"Sig");
        assert_eq!(dict.get(b"F").and_then(Object::as_i64).unwrap(), 4);
        assert_eq!(dict.has(b"Lock"), locks);
        assert!(!dict.has(b"V"));
        let look = dict
            .get(b"AP")
            .and_then(Object::as_dict)
            .unwrap()
            .get(b"N")
            .and_then(Object::as_reference)
            .unwrap();
        let look = file.get_object(look).and_then(Object::as_stream).unwrap();
        let drawn = look.get_plain_content().unwrap();
        let drawn = String::from_utf8(drawn).unwrap();
        assert!(drawn.contains(" c") && !drawn.contains("Tf") && !drawn.contains("Tj"), "{drawn}");
    }
    let page = *file.get_pages().get(&1).unwrap();
    assert_eq!(file.get_dictionary(page).unwrap().get(b"Annots").and_then(Object::as_array).unwrap(), fields);
}

#[test]
fn what_cannot_be_written_is_refused() {
    let refused = |change: &dyn Fn(&mut axiswright::page::Document)| {
        let mut document = sample::full();
        change(&mut document);
        pdf::write(&document).unwrap_err()
    };
    let tag = refused(&|d| {
        d.pages[0].tagged(20.0, 50.0, Style::regular(9.0), "x", "eye");
    });
    assert_eq!(tag, PageError::BadTag { tag: "eye".to_owned() });
    let tag = refused(&|d| {
        d.pages[0].tagged(20.0, 50.0, Style::regular(9.0), "x", "Eye 2");
    });
    assert!(matches!(tag, PageError::BadTag { .. }));
    let glyph = refused(&|d| {
        d.pages[1].text(20.0, 50.0, Style::regular(9.0), "≥ 0.5");
    });
    assert!(matches!(glyph, PageError::MissingGlyph { character: '≥', .. }));
    let outside = refused(&|d| {
        d.pages[2].line((0.0, 0.0), (10.0, 300.0), Stroke::solid(0.1));
    });
    assert!(matches!(outside, PageError::OutsidePage { page: 3, .. }), "{outside}");
    for field in [
        refused(&|d| d.fields[0].page = 3),
        refused(&|d| d.fields[0].name = "Approval".to_owned()),
        refused(&|d| d.fields[0].name = "a.b".to_owned()),
        refused(&|d| d.fields[0].at = (180.0, 20.0).into()),
    ] {
        assert!(matches!(field, PageError::Field { .. }), "{field}");
        assert!(!field.hint().is_empty());
    }
    assert!(matches!(refused(&|d| d.pages.clear()), PageError::Header { .. }));
    assert!(matches!(refused(&|d| d.meta.created.month = 13), PageError::Header { .. }));
}

#[test]
fn the_file_reads_back_as_it_was_laid_out() {
    let document = sample::full();
    let back = readback::verify(&document, &pdf::write(&document).unwrap()).unwrap();
    assert_eq!(back.pages().len(), 3);
    assert_eq!(back.tagged("lens").unwrap().text, "axis 098°   SE +21.50 D   cylinder 2.25 D");
    assert_eq!(back.tagged("name.greek").unwrap().text, "Ξανθή Παπαδοπούλου-Ώριον");
    let warning = back.runs().find(|run| run.text == sample::WARNING).unwrap();
    assert!((warning.turn_deg - 45.0).abs() < 0.001, "{warning:?}");
    let cell = back.tagged("cell.10.2").unwrap();
    assert!((cell.x_mm - 90.0).abs() < 0.001 && (cell.y_mm - 75.0).abs() < 0.001, "{cell:?}");
    assert_eq!(cell.text, "25.76 D");
}

#[test]
fn an_appearance_needs_no_resource_and_stays_in_its_box() {
    let mut page = Page::sized(60.0, 14.0);
    page.text(30.0, 9.0, Style::bold(12.0).centred(), "NOT SEALED");
    let drawn = String::from_utf8(pdf::appearance(&page).unwrap()).unwrap();
    assert!(drawn.trim_end().ends_with('f') && !drawn.contains("BT") && !drawn.contains("Do"), "{drawn}");
    page.text(30.0, 9.0, Style::bold(30.0).centred(), "NOT SEALED AND MUCH TOO WIDE");
    assert!(matches!(pdf::appearance(&page), Err(PageError::OutsidePage { .. })));
}

#[test]
fn the_same_list_is_a_browser_page_too() {
    for page in &sample::full().pages {
        let drawn = svg::write(page, "Sample").unwrap();
        assert_eq!(drawn.matches("<text ").count(), page.texts().count());
        assert!(drawn.contains("viewBox=\"0 0 210 297\""));
    }
}
