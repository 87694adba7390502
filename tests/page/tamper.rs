//! The read-back must catch a file that says or shows something else. Each test changes one thing in a finished file; the file written again
//! without the change is the negative control.

use axiswright::page::readback::{self, ReadBackError};
use axiswright::page::{Document, Stroke, Style, pdf};
use lopdf::{Document as File, Object, ObjectId, Stream};

use crate::sample;

fn opened(document: &Document) -> File {
    let bytes = pdf::write(document).unwrap();
    File::load_mem(&bytes).unwrap()
}

fn saved(file: &mut File) -> Vec<u8> {
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).unwrap();
    bytes
}

fn streams(file: &File, wanted: impl Fn(&[u8]) -> bool) -> Vec<(ObjectId, Vec<u8>)> {
    let plain = |object: &Object| object.as_stream().ok().and_then(|stream| stream.get_plain_content().ok());
    file.objects.iter().filter_map(|(&id, o)| plain(o).map(|p| (id, p))).filter(|(_, p)| wanted(p)).collect()
}

fn replace(file: &mut File, id: ObjectId, content: Vec<u8>) {
    let mut dict = file.get_object(id).and_then(Object::as_stream).unwrap().dict.clone();
    dict.remove(b"Filter");
    file.objects.insert(id, Object::Stream(Stream::new(dict, content)));
}

/// Writes the small sample, changes the one stream `wanted` finds, and verifies.
fn tampered(
    wanted: impl Fn(&[u8]) -> bool,
    change: impl Fn(Vec<u8>) -> Vec<u8>,
) -> Result<readback::ReadBack, ReadBackError> {
    let document = sample::small();
    let mut file = opened(&document);
    let found = streams(&file, wanted);
    assert!(!found.is_empty());
    for (id, content) in found {
        replace(&mut file, id, change(content));
    }
    readback::verify(&document, &saved(&mut file))
}

fn is_map(content: &[u8]) -> bool {
    content.windows(9).any(|w| w == b"begincmap")
}

fn is_page(content: &[u8]) -> bool {
    content.windows(3).any(|w| w == b"BT\n")
}

fn is_font(content: &[u8]) -> bool {
    content.starts_with(&[0, 1, 0, 0])
}

fn edited(from: &str, to: &str) -> impl Fn(Vec<u8>) -> Vec<u8> {
    move |content| {
        let text = String::from_utf8(content).unwrap();
        assert!(text.contains(from), "`{from}` is not in the stream:\n{text}");
        text.replacen(from, to, 1).into_bytes()
    }
}

#[test]
fn unchanged_streams_pass() {
    for wanted in [is_map as fn(&[u8]) -> bool, is_page, is_font] {
        let back = tampered(wanted, |content| content).unwrap();
        assert_eq!(back.tagged("numbers").unwrap().text, "6.66 8.88 −0.50 Жук Ώρα");
    }
}

#[test]
fn a_six_that_claims_to_be_an_eight() {
    let document = sample::small();
    let mut file = opened(&document);
    for (id, content) in streams(&file, is_map) {
        let text = String::from_utf8(content).unwrap();
        let swapped =
            text.replace("<0036>\n", "<@>\n").replace("<0038>\n", "<0036>\n").replace("<@>\n", "<0038>\n");
        replace(&mut file, id, swapped.into_bytes());
    }
    let error = readback::verify(&document, &saved(&mut file)).unwrap_err();
    let ReadBackError::Glyph { page: 1, character, reason: "it is drawn differently", .. } = error else {
        panic!("not caught as a glyph: {error}")
    };
    assert!(matches!(character, '6' | '8'), "{character}");
}

#[test]
fn a_glyph_that_is_drawn_as_another() {
    // One bit in the middle of the outline data: a point moves, or a curve becomes a line.
    let error = tampered(is_font, |mut font| {
        let table = |font: &[u8], tag: &[u8; 4]| {
            let entry = (12..).step_by(16).find(|&at| &font[at..at + 4] == tag).unwrap();
            let word = |at: usize| u32::from_be_bytes(font[at..at + 4].try_into().unwrap());
            (usize::try_from(word(entry + 8)).unwrap(), usize::try_from(word(entry + 12)).unwrap())
        };
        let (at, length) = table(&font, b"glyf");
        font[at + length / 2] ^= 1;
        font
    })
    .unwrap_err();
    assert!(matches!(error, ReadBackError::Glyph { reason: "it is drawn differently", .. }), "{error}");
}

#[test]
fn a_run_that_was_taken_out() {
    let document = sample::small();
    let content = page_content(&document);
    let begin = content.find("BT").unwrap();
    let end = content.find("ET\n").unwrap() + 3;
    let error =
        tampered(is_page, |_| [&content[..begin], &content[end..]].concat().into_bytes()).unwrap_err();
    assert_eq!(error, ReadBackError::Missing { page: 1, text: "RIGHT EYE (OD)".to_owned() });
    // The last run, too: nothing stands after it.
    let begin = content.rfind("/AXW_Text").unwrap();
    let end = content.rfind("EMC\n").unwrap() + 4;
    let error =
        tampered(is_page, |_| [&content[..begin], &content[end..]].concat().into_bytes()).unwrap_err();
    assert!(matches!(error, ReadBackError::Missing { page: 1, .. }), "{error}");
}

fn page_content(document: &Document) -> String {
    let file = opened(document);
    let (_, content) = streams(&file, is_page).remove(0);
    String::from_utf8(content).unwrap()
}

#[test]
fn a_run_that_was_added_moved_or_made_invisible() {
    let document = sample::small();
    let content = page_content(&document);
    let run = &content[content.find("BT").unwrap()..content.find("ET\n").unwrap() + 3];
    let again = |c: Vec<u8>| [c, b"\n".to_vec(), run.trim_end().as_bytes().to_vec()].concat();
    assert!(matches!(tampered(is_page, again), Err(ReadBackError::Unexpected { page: 1, .. })));
    let line = content.lines().find(|line| line.ends_with(" Tm")).unwrap();
    let moved = line.replacen("1 0 0 1 ", "1 0 0 1 1", 1);
    let error = tampered(is_page, edited(line, &moved)).unwrap_err();
    assert!(matches!(error, ReadBackError::Differs { what: "its place", .. }), "{error}");
    let mirrored = line.replacen("1 0 0 1 ", "-1 0 0 1 ", 1);
    assert!(matches!(tampered(is_page, edited(line, &mirrored)), Err(ReadBackError::Page { page: 1, .. })));
    let white = tampered(is_page, edited("0 g\n", "1 g\n")).unwrap_err();
    assert!(matches!(white, ReadBackError::Differs { what: "its ink", .. }), "{white}");
    let hidden = tampered(is_page, edited("BT\n", "BT\n3 Tr\n")).unwrap_err();
    assert!(hidden.to_string().contains("`Tr`"), "{hidden}");
    let swapped = tampered(is_page, edited("(numbers)", "(numberz)")).unwrap_err();
    assert!(matches!(swapped, ReadBackError::Differs { what: "its key", .. }), "{swapped}");
}

#[test]
fn a_page_that_was_turned_cropped_or_pinned_over() {
    let document = sample::small();
    let rotated = |change: &dyn Fn(&mut lopdf::Dictionary)| {
        let mut file = opened(&document);
        let page = *file.get_pages().get(&1).unwrap();
        change(file.get_dictionary_mut(page).unwrap());
        readback::verify(&document, &saved(&mut file))
    };
    assert!(rotated(&|_| ()).is_ok());
    assert!(rotated(&|page| page.set("Rotate", 180)).is_err());
    assert!(rotated(&|page| page.set("UserUnit", 2)).is_err());
    let note = lopdf::dictionary! { "Type" => "Annot", "Subtype" => "FreeText" };
    assert!(rotated(&|page| page.set("Annots", vec![Object::Dictionary(note.clone())])).is_err());
    assert!(rotated(&|page| drop(page.remove(b"Resources"))).is_err());
}

#[test]
fn no_changed_byte_makes_another_text() {
    let document = sample::small();
    let bytes = pdf::write(&document).unwrap();
    let truth = readback::verify(&document, &bytes).unwrap();
    let mut caught = 0;
    for at in (0..bytes.len()).step_by(41) {
        let mut changed = bytes.clone();
        changed[at] ^= 0x11;
        match readback::verify(&document, &changed) {
            // A byte of the header or of a glyph that is not shown may change without changing a text.
            Ok(back) => assert_eq!(back, truth, "byte {at}"),
            Err(_) => caught += 1,
        }
    }
    for end in (0..bytes.len()).step_by(397) {
        assert!(readback::verify(&document, &bytes[..end]).is_err(), "cut at {end}");
    }
    assert!(caught > 100, "{caught}");
}

#[test]
fn widths_that_shift_the_following_digits() {
    let document = sample::small();
    let mut file = opened(&document);
    for object in file.objects.values_mut() {
        let Ok(dict) = object.as_dict_mut() else { continue };
        let Ok(Object::Array(inner)) = dict.get_mut(b"DescendantFonts") else { continue };
        for font in inner {
            if let Ok(Object::Array(widths)) = font.as_dict_mut().unwrap().get_mut(b"W")
                && let Object::Array(list) = &mut widths[1]
            {
                list[0] = 900.into();
            }
        }
    }
    let error = readback::verify(&document, &saved(&mut file)).unwrap_err();
    assert!(
        matches!(error, ReadBackError::Glyph { reason: "it is wider or narrower on the page", .. }),
        "{error}"
    );
}

#[test]
fn a_later_update_is_read_too() {
    let document = sample::small();
    let bytes = pdf::write(&document).unwrap();
    let file = File::load_mem(&bytes).unwrap();
    let (id, content) = streams(&file, is_page).remove(0);
    let harmless = update(&bytes, &file, (file.max_id + 1, 0), b"q\nQ");
    assert_eq!(readback::verify(&document, &harmless), readback::verify(&document, &bytes));
    let other = sample_with_other_digit();
    let other_file = opened(&other);
    let (_, other_content) = streams(&other_file, is_page).remove(0);
    assert_ne!(content, other_content);
    let changed = update(&bytes, &file, id, &other_content);
    assert!(readback::verify(&document, &changed).is_err());
}

fn sample_with_other_digit() -> Document {
    let mut document = sample::small();
    document.pages[0].text(20.0, 60.0, Style::regular(9.0), "6");
    document.pages[0].line((20.0, 61.0), (40.0, 61.0), Stroke::solid(0.2));
    document
}

/// An incremental update with one stream object, as a later signature would be appended.
fn update(bytes: &[u8], file: &File, id: ObjectId, content: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(bytes);
    let before: usize = text.rsplit("startxref\n").next().unwrap().lines().next().unwrap().parse().unwrap();
    let mut out = bytes.to_vec();
    let at = out.len();
    out.extend(format!("{} 0 obj\n<</Length {}>>stream\n", id.0, content.len()).bytes());
    out.extend(content);
    out.extend(b"\nendstream\nendobj\n");
    let table = out.len();
    let root = file.trailer.get(b"Root").and_then(Object::as_reference).unwrap().0;
    let size = (file.max_id + 1).max(id.0 + 1);
    out.extend(
        format!(
            "xref\n{} 1\n{at:010} 00000 n \ntrailer\n<</Size {size}/Root {root} 0 R/Prev {before}>>\nstartxref\n{table}\n%%EOF\n",
            id.0
        )
        .bytes(),
    );
    out
}
