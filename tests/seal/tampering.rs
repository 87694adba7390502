//! Each attack with what the verdict must say; the negative control is the same file unattacked.

use axiswright::seal::{Report, Standing, cms, prepare};

use crate::common::{SHEET, Site, approval_request, is_refused, sheet, update, with_length};

fn altered(site: &Site, pdf: &[u8]) -> Report {
    let report = site.judge(pdf).unwrap();
    assert_eq!(report.standing(), Standing::Altered, "{report:?}");
    report
}

fn names_object(report: &Report, number: u32) -> bool {
    report.changes_after_seal.iter().any(|change| change.object == Some(number))
}

fn position(bytes: &[u8], part: &str) -> usize {
    bytes.windows(part.len()).position(|window| window == part.as_bytes()).unwrap()
}

fn replaced(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    let at = position(bytes, from);
    let mut out = bytes.to_vec();
    out.splice(at..at + from.len(), to.bytes());
    out
}

const OTHER_CONTENT: &str = "<</Length 0>>stream\nBT /F1 24 Tf 72 720 Td (Axis 008 degrees) Tj ET\nendstream";

/// Bytes inside the two signatures, of which the tests below take samples only.
fn inside_signatures(bytes: &[u8]) -> Vec<std::ops::Range<usize>> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(at) = bytes[from..].windows(10).position(|part| part == b"/Contents<") {
        let start = from + at + 10;
        let end = start + bytes[start..].iter().position(|byte| *byte == b'>').unwrap();
        found.push(start..end);
        from = end;
    }
    found
}

#[test]
fn every_changed_byte_is_refused() {
    let site = Site::live();
    let approved = site.approved(&site.sealed(&sheet()));
    assert!(!is_refused(&site.judge(&approved)));
    let signatures = inside_signatures(&approved);
    assert_eq!(signatures.len(), 2);
    for i in 0..approved.len() {
        if i % 29 != 0 && signatures.iter().any(|signature| signature.contains(&i)) {
            continue;
        }
        let mut changed = approved.clone();
        changed[i] ^= if i % 2 == 0 { 0x01 } else { 0x20 };
        assert!(is_refused(&site.judge(&changed)), "byte {i}");
    }
}

#[test]
fn every_cut_is_refused_except_those_at_the_end_of_a_revision() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let approved = site.approved(&sealed);
    let near = |end: usize| end.saturating_sub(100)..end + 100;
    for length in (0..approved.len()).filter(|length| *length != sealed.len()) {
        if length % 19 == 0 || near(sealed.len()).contains(&length) || near(approved.len()).contains(&length)
        {
            assert!(is_refused(&site.judge(&approved[..length])), "{length}");
        }
    }
}

#[test]
fn without_its_approval_the_file_is_still_sealed() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let approved = site.approved(&sealed);
    let report = site.judge(&approved[..sealed.len()]).unwrap();
    assert_eq!(report.standing(), Standing::Intact);
    assert!(report.approval.is_none() && report.seal.unwrap().whole);
}

#[test]
fn a_changed_byte_behind_the_seal_breaks_the_approval_only() {
    let site = Site::live();
    let approved = site.approved(&site.sealed(&sheet()));
    let report = altered(&site, &replaced(&approved, "(Plan approved)", "(Plan appreved)"));
    assert!(report.seal.unwrap().valid);
    let approval = report.approval.unwrap();
    assert!(!approval.valid && !approval.trusted);
    assert_eq!(approval.problems, ["the bytes of the file are not those that were signed"]);
}

#[test]
fn a_replaced_page_content_is_named() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    for file in [&sealed, &site.approved(&sealed)] {
        let report = altered(&site, &update(file, &[(4, &with_length(OTHER_CONTENT))]));
        assert!(report.seal.as_ref().unwrap().valid && names_object(&report, 4), "{report:?}");
    }
}

#[test]
fn an_added_annotation_is_named() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let page = SHEET[2].replace("/Annots[6 0 R 7 0 R]", "/Annots[6 0 R 7 0 R 20 0 R]");
    let note = "<</Type/Annot/Subtype/FreeText/Rect[0 0 99 99]/Contents(Axis 008)/DA(/F1 9 Tf)>>";
    let report = altered(&site, &update(&sealed, &[(3, &page), (20, note)]));
    assert!(names_object(&report, 3) && names_object(&report, 20));
    assert!(report.changes_after_seal.iter().any(|change| change.what == "it was replaced (`Page`)"));
}

#[test]
fn a_replaced_catalog_info_font_or_placeholder_is_named() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let font = "<</Type/Font/Subtype/Type1/BaseFont/Symbol>>";
    let open = "<</Type/Catalog/Pages 2 0 R/AcroForm<</Fields[6 0 R 7 0 R]/SigFlags 3>>/OpenAction 3 0 R>>";
    let placeholder = with_length(&SHEET[7].replace("50 50", "99 99"));
    for (number, object) in [(1, open), (5, font), (8, placeholder.as_str()), (9, "<</Title(Other)>>")] {
        let report = altered(&site, &update(&sealed, &[(number, object)]));
        assert!(names_object(&report, number), "{number}");
    }
}

#[test]
fn an_approval_drawn_without_a_signature_is_named() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let field = SHEET[6].replace("/AP<</N 8 0 R>>", "/AP<</N 20 0 R>>").replace("/F 4", "/F 132");
    let drawing = with_length(SHEET[7]);
    let report = altered(&site, &update(&sealed, &[(7, &field), (20, &drawing)]));
    assert!(report.approval.is_none() && names_object(&report, 7));
}

#[test]
fn bytes_behind_the_end_are_named() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    for tail in ["\n", " ", "%%EOF\n", "x", "%PDF-1.7\n", "1 0 obj\nnull\nendobj\n"] {
        let report = altered(&site, &[&sealed[..], tail.as_bytes()].concat());
        assert_eq!(report.changes_after_seal.len(), 1, "{tail:?}");
    }
    assert_eq!(altered(&site, &update(&sealed, &[])).changes_after_seal.len(), 1);
}

/// Signs the approval over an update that carries more than the approval.
fn approve_with_baggage(site: &Site, baggage: impl Fn(&[u8]) -> Vec<u8>) -> Vec<u8> {
    let sealed = site.sealed(&sheet());
    let prepared = prepare(&sealed, &approval_request()).unwrap();
    resign(&baggage(prepared.bytes()), site)
}

/// Puts a fresh approval into the last `/Contents` of a file, with table and byte range made to fit again.
fn resign(bytes: &[u8], site: &Site) -> Vec<u8> {
    let text = String::from_utf8_lossy(bytes).replace('\u{fffd}', "?");
    assert_eq!(text.len(), bytes.len());
    let last = |part: &str| text.rfind(part).unwrap();
    let gap_at = last("/Contents<") + "/Contents".len();
    let gap_end = gap_at + text[gap_at..].find('>').unwrap() + 1;
    let mut out = bytes.to_vec();
    let range_at = last("/ByteRange[") + "/ByteRange[".len();
    let range = format!("{:<34}", format!("0 {gap_at} {gap_end} {}", out.len() - gap_end));
    out[range_at..range_at + 34].copy_from_slice(range.as_bytes());
    let digest = axiswright::seal::sha256(&[&out[..gap_at], &out[gap_end..]].concat());
    let signature = cms::sign(&digest, &site.surgeon).unwrap();
    let hex = data_encoding::HEXLOWER.encode(&signature);
    out[gap_at + 1..=gap_at + hex.len()].copy_from_slice(hex.as_bytes());
    out
}

/// Inserts objects into the last update and writes its table again.
fn smuggle(bytes: &[u8], extra: &[(u32, &str)]) -> Vec<u8> {
    let text = String::from_utf8_lossy(bytes).replace('\u{fffd}', "?");
    let from = text[..text.rfind("\nxref\n").unwrap()].rfind("%%EOF\n").unwrap() + 6;
    let body = &text[from..=text.rfind("\nxref\n").unwrap()];
    let mut objects: Vec<(u32, String)> = body
        .split_inclusive("endobj\n")
        .map(|object| {
            let (number, rest) = object.split_once(" 0 obj\n").unwrap();
            (number.parse().unwrap(), rest.strip_suffix("\nendobj\n").unwrap().to_owned())
        })
        .collect();
    for (number, object) in extra {
        objects.retain(|(n, _)| n != number);
        objects.push((*number, (*object).to_owned()));
    }
    objects.sort();
    let objects: Vec<(u32, &str)> =
        objects.iter().map(|(number, object)| (*number, object.as_str())).collect();
    update(&bytes[..from], &objects)
}

#[test]
fn an_approval_with_nothing_beside_it_is_intact() {
    let site = Site::live();
    let file = approve_with_baggage(&site, |prepared| smuggle(prepared, &[]));
    let report = site.judge(&file).unwrap();
    assert_eq!(report.standing(), Standing::Intact, "{report:?}");
}

#[test]
fn even_a_true_approval_may_carry_nothing_beside_it() {
    let site = Site::live();
    let content = with_length(OTHER_CONTENT);
    for (number, object) in [
        (4, content.as_str()),
        (9, "<</Title(Other)>>"),
        (40, "<</Type/Annot/Subtype/FreeText>>"),
        (8, "<</Type/XObject/Subtype/Form/BBox[0 0 1 1]/Resources<<>>/Length 0>>stream\n\nendstream"),
    ] {
        let file = approve_with_baggage(&site, |prepared| smuggle(prepared, &[(number, object)]));
        let report = altered(&site, &file);
        assert!(
            report.approval.as_ref().unwrap().valid && names_object(&report, number),
            "{number} {report:?}"
        );
    }
}

#[test]
fn a_true_approval_may_not_change_its_field_or_use_a_rich_drawing() {
    let site = Site::live();
    let field = |change: (&str, &str)| {
        SHEET[6]
            .replace("/F 4", "/F 132/V 12 0 R")
            .replace("/AP<</N 8 0 R>>", "/AP<</N 13 0 R>>")
            .replace(change.0, change.1)
    };
    let file = approve_with_baggage(&site, |p| smuggle(p, &[(7, &field(("/F 132", "/F 132")))]));
    assert_eq!(site.judge(&file).unwrap().standing(), Standing::Intact);
    for change in [
        ("/Rect[272 72 422 122]", "/Rect[0 0 595 842]"),
        ("/F 132", "/F 2"),
        ("/AP<</N 13 0 R>>", ""),
        ("/AP<</N 13 0 R>>", "/AP<</N 13 0 R/D 8 0 R>>"),
        ("/P 3 0 R", "/P 3 0 R/MK<</CA(x)>>"),
        ("/Action/All", "/Action/Include/Fields[(seal)]"),
    ] {
        let file = approve_with_baggage(&site, |p| smuggle(p, &[(7, &field(change))]));
        assert!(names_object(&altered(&site, &file), 7), "{change:?}");
    }
    let rich = "<</Type/XObject/Subtype/Form/BBox[0 0 9 9]/Resources<</XObject<</X 8 0 R>>>>/Length 1>>stream\nq\nendstream";
    let file = approve_with_baggage(&site, |p| smuggle(p, &[(13, rich)]));
    assert!(names_object(&altered(&site, &file), 7));
}

#[test]
fn an_object_prepared_in_the_dark_is_named() {
    let site = Site::live();
    let mut objects = SHEET.map(str::to_owned);
    objects[3] = with_length(&objects[3]);
    objects[7] = with_length(&objects[7]);
    objects[2] = objects[2].replace("/Contents 4 0 R", "/Contents[4 0 R 13 0 R]");
    let pdf = crate::common::write_pdf(&objects.each_ref().map(String::as_str));
    let sealed = site.sealed(&pdf);
    assert_eq!(site.judge(&sealed).unwrap().standing(), Standing::Intact);
    // The approval's own drawing becomes object 13, which the page has referred to from the start.
    let prepared = prepare(&sealed, &approval_request()).unwrap();
    let file = resign(prepared.bytes(), &site);
    let report = altered(&site, &file);
    assert!(names_object(&report, 3), "{report:?}");
}

#[test]
fn stripped_and_sealed_again_by_another_is_not_trusted() {
    let site = Site::live();
    let stripped = sheet();
    let forged = replaced(&stripped, "Axis 098", "Axis 008");
    let report = site.judge(&Site::other().sealed(&forged)).unwrap();
    assert_eq!(report.standing(), Standing::Untrusted);
}

#[test]
fn a_seal_by_another_under_a_true_approval_is_not_trusted() {
    let site = Site::live();
    let file = site.approved(&Site::other().sealed(&sheet()));
    let report = site.judge(&file).unwrap();
    assert_eq!(report.standing(), Standing::Untrusted);
    assert!(!report.seal.unwrap().trusted && report.approval.unwrap().trusted);
}

#[test]
fn odd_forms_of_the_signature_are_refused() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let text = String::from_utf8_lossy(&sealed).replace('\u{fffd}', "?");
    let range = text.split("/ByteRange[").nth(1).unwrap().split(']').next().unwrap();
    let numbers: Vec<&str> = range.split_whitespace().collect();
    let shorter = format!("0 {} {} 1", numbers[1], numbers[2]);
    let shifted = format!("1 {} {} {}", numbers[1], numbers[2], numbers[3]);
    let six = format!("0 1 2 3 {} {}", numbers[2], numbers[3]);
    let padded = |numbers: &str| format!("{numbers:<34}");
    assert!(!is_refused(&site.judge(&sealed)));
    for (from, to) in [
        (range, padded(&shorter)),
        (range, padded(&shifted)),
        (range, padded(&six)),
        ("/Filter/Adobe.PPKLite", "/Contents<0000000000>".to_owned()),
        ("ETSI.CAdES.detached", "adbe.pkcs7.detached".to_owned()),
        ("00000>/M", "00001>/M".to_owned()),
        ("00>/M", "  >/M".to_owned()),
        ("/DocMDP", "/DocMDX".to_owned()),
        ("/P 2", "/P 3".to_owned()),
    ] {
        let changed = replaced(&sealed, from, &to);
        assert_eq!(changed.len(), sealed.len());
        assert!(is_refused(&site.judge(&changed)), "{from} {to}");
    }
}

#[test]
fn a_second_signature_hidden_in_the_file_is_refused() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let hidden = "<</Type/Sig/Filter/Adobe.PPKLite/ByteRange[0 1 2 3]/Contents<00>>>";
    let nested = format!("<</Type/Annot/Popup {hidden}>>");
    for object in [hidden, nested.as_str()] {
        altered(&site, &update(&sealed, &[(20, object)]));
    }
    let twin = SHEET[6].replace("(approval)", "(seal)");
    altered(&site, &update(&sealed, &[(7, &twin)]));
    let shared = SHEET[6].replace("/F 4", "/F 4/V 10 0 R");
    altered(&site, &update(&sealed, &[(7, &shared)]));
}

#[test]
fn a_seal_taken_from_another_sheet_is_refused() {
    let site = Site::live();
    let one = site.sealed(&sheet());
    let other = site.sealed(&replaced(&sheet(), "Axis 098", "Axis 008"));
    assert_eq!(one.len(), other.len());
    let at = position(&one, "/Contents<3");
    let mut forged = one.clone();
    forged[at..at + 8000].copy_from_slice(&other[at..at + 8000]);
    let report = altered(&site, &forged);
    assert_eq!(report.seal.unwrap().signer.as_deref(), Some("Bridge seal, Hillside Eye Clinic"));
    assert!(!is_refused(&site.judge(&one)) && !is_refused(&site.judge(&other)));
}
