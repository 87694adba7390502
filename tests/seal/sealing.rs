use axiswright::seal::{Appearance, Request, SealError, Standing, cms, prepare, sha256, sign, verify};

use crate::common::{SHEET, Site, approval_request, at, seal_request, sheet, with_length, write_pdf};

#[test]
fn an_unsigned_sheet_is_unsigned() {
    let report = Site::live().judge(&sheet()).unwrap();
    assert_eq!(report.standing(), Standing::Unsigned);
    assert_eq!(report.digest, sha256(&sheet()));
}

#[test]
fn a_sealed_sheet_is_intact() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    assert!(sealed.starts_with(&sheet()));
    let report = site.judge(&sealed).unwrap();
    assert_eq!(report.standing(), Standing::Intact);
    let seal = report.seal.unwrap();
    assert!(seal.valid && seal.whole && seal.trusted && seal.in_time && !seal.test);
    assert_eq!(seal.signer.as_deref(), Some("Bridge seal, Hillside Eye Clinic"));
    assert_eq!((seal.field.as_str(), seal.at), ("seal", Some(at(5))));
    assert_eq!(seal.fingerprint, Some(site.bridge.certificate().fingerprint()));
    assert!(report.approval.is_none());
}

#[test]
fn a_sealed_and_approved_sheet_is_intact() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let approved = site.approved(&sealed);
    assert!(approved.starts_with(&sealed));
    let report = site.judge(&approved).unwrap();
    assert_eq!(report.standing(), Standing::Intact);
    assert!(report.changes_after_seal.is_empty());
    let (seal, approval) = (report.seal.unwrap(), report.approval.unwrap());
    assert!(seal.valid && seal.trusted && !seal.whole);
    assert!(approval.valid && approval.trusted && approval.whole);
    assert_eq!(approval.signer.as_deref(), Some("Dr Ilse Anvärd, Hillside Eye Clinic"));
    assert_eq!(approval.at, Some(at(6)));
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let build = || {
        let site = Site::live();
        site.approved(&site.sealed(&sheet()))
    };
    assert_eq!(build(), build());
    let mut later = seal_request();
    later.at = at(6);
    assert_ne!(sign(&sheet(), &later, &Site::live().bridge).unwrap(), Site::live().sealed(&sheet()));
}

#[test]
fn the_three_steps_give_what_the_one_gives() {
    let site = Site::live();
    let prepared = prepare(&sheet(), &seal_request()).unwrap();
    let signature = cms::sign(&prepared.digest(), &site.bridge).unwrap();
    assert_eq!(prepared.clone().embed(&signature).unwrap(), site.sealed(&sheet()));
    assert!(matches!(prepared.clone().embed(&[]), Err(SealError::NoRoom { .. })));
    assert!(matches!(prepared.embed(&[1; 4097]), Err(SealError::NoRoom { .. })));
}

#[test]
fn a_prepared_file_without_its_signature_is_altered() {
    let prepared = prepare(&sheet(), &seal_request()).unwrap();
    assert_eq!(Site::live().judge(prepared.bytes()).unwrap().standing(), Standing::Altered);
}

#[test]
fn a_form_in_an_object_of_its_own_is_sealed_too() {
    let mut objects = SHEET.map(str::to_owned).to_vec();
    objects[3] = with_length(&objects[3]);
    objects[7] = with_length(&objects[7]);
    objects[0] = "<</Type/Catalog/Pages 2 0 R/AcroForm 10 0 R>>".into();
    objects.push("<</Fields[6 0 R 7 0 R]/SigFlags 1>>".into());
    let pdf = write_pdf(&objects.iter().map(String::as_str).collect::<Vec<_>>());
    let site = Site::live();
    let approved = site.approved(&site.sealed(&pdf));
    assert_eq!(site.judge(&approved).unwrap().standing(), Standing::Intact);
}

#[test]
fn without_an_appearance_the_placeholder_stays() {
    let site = Site::live();
    let seal = Request { appearance: None, ..seal_request() };
    let approval = Request { appearance: None, ..approval_request() };
    let sealed = sign(&sheet(), &seal, &site.bridge).unwrap();
    let approved = sign(&sealed, &approval, &site.surgeon).unwrap();
    assert_eq!(site.judge(&approved).unwrap().standing(), Standing::Intact);
}

#[test]
fn a_seal_by_another_authority_is_valid_but_not_trusted() {
    let site = Site::live();
    let report = site.judge(&Site::other().sealed(&sheet())).unwrap();
    assert_eq!(report.standing(), Standing::Untrusted);
    let seal = report.seal.unwrap();
    assert!(seal.valid && !seal.trusted);
    assert_eq!(seal.problems, ["the signer's authority is not one that is trusted here"]);
    assert_eq!(verify(&site.sealed(&sheet()), &[]).unwrap().standing(), Standing::Untrusted);
}

#[test]
fn a_test_seal_says_so() {
    let site = Site::new("Hillside Eye Clinic", true, 1);
    let seal = site.judge(&site.sealed(&sheet())).unwrap().seal.unwrap();
    assert!(seal.test && seal.trusted);
    assert!(seal.signer.unwrap().starts_with("TEST "));
}

#[test]
fn signatures_keep_their_order_and_their_roles() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let order = |result: Result<Vec<u8>, SealError>| matches!(result, Err(SealError::Order { .. }));
    assert!(order(sign(&sheet(), &approval_request(), &site.surgeon)));
    assert!(order(sign(&sealed, &seal_request(), &site.bridge)));
    assert!(order(sign(&site.approved(&sealed), &approval_request(), &site.surgeon)));
    let taken = Request { field: "seal".into(), ..approval_request() };
    assert!(matches!(sign(&sealed, &taken, &site.surgeon), Err(SealError::FieldTaken { .. })));
    let missing = Request { field: "other".into(), ..seal_request() };
    assert!(matches!(sign(&sheet(), &missing, &site.bridge), Err(SealError::FieldMissing { .. })));
    assert!(matches!(sign(&sheet(), &seal_request(), &site.surgeon), Err(SealError::Mismatch { .. })));
    assert!(matches!(sign(&sealed, &approval_request(), &site.bridge), Err(SealError::Mismatch { .. })));
}

#[test]
fn a_signature_outside_its_certificates_validity_is_not_made_and_not_trusted() {
    let site = Site::live();
    let late = Request { at: axiswright::seal::UtcTime::new(2040, 1, 1, 0, 0, 0).unwrap(), ..seal_request() };
    assert!(matches!(sign(&sheet(), &late, &site.bridge), Err(SealError::Validity { .. })));
    let prepared = prepare(&sheet(), &late).unwrap();
    let signature = cms::sign(&prepared.digest(), &site.bridge).unwrap();
    let report = site.judge(&prepared.embed(&signature).unwrap()).unwrap();
    assert_eq!(report.standing(), Standing::Untrusted);
    assert!(!report.seal.unwrap().in_time);
}

#[test]
fn the_bridge_cannot_stand_in_for_the_surgeon() {
    let site = Site::live();
    let prepared = prepare(&site.sealed(&sheet()), &approval_request()).unwrap();
    let signature = cms::sign(&prepared.digest(), &site.bridge).unwrap();
    let report = site.judge(&prepared.embed(&signature).unwrap()).unwrap();
    assert_eq!(report.standing(), Standing::Untrusted);
    assert!(!report.approval.unwrap().trusted);
}

#[test]
fn words_that_cannot_be_written_are_refused() {
    let long = "x".repeat(201);
    for name in ["", " ", "a\nb", "a\u{202e}b", &long] {
        let request = Request { name: name.into(), ..seal_request() };
        assert!(matches!(prepare(&sheet(), &request), Err(SealError::Text { .. })), "{name:?}");
    }
    for width_pt in [0.0, -1.0, f64::NAN, f64::INFINITY, 20_000.0] {
        let appearance = Some(Appearance { width_pt, height_pt: 50.0, content: Vec::new() });
        let request = Request { appearance, ..seal_request() };
        assert!(matches!(prepare(&sheet(), &request), Err(SealError::AppearanceSize { .. })), "{width_pt}");
    }
}

#[test]
fn awkward_words_are_written_so_that_they_verify() {
    let site = Site::live();
    for name in ["a(b)c\\d", "Ελένη (Παπαδοπούλου)", ")", "\\", "𝒜"] {
        let request = Request { name: name.into(), reason: Some(name.into()), ..seal_request() };
        let sealed = sign(&sheet(), &request, &site.bridge).unwrap();
        assert_eq!(site.judge(&sealed).unwrap().standing(), Standing::Intact, "{name}");
    }
}

#[test]
fn the_first_table_must_be_one_section_without_gaps() {
    let head = b"0 10\n0000000000 65535 f \n";
    let mut bytes = sheet();
    let at = bytes.windows(head.len()).position(|part| part == head).unwrap();
    bytes.splice(at..at + head.len(), b"0 1\n0000000000 65535 f \n1 9\n".iter().copied());
    assert!(matches!(
        sign(&bytes, &seal_request(), &Site::live().bridge),
        Err(SealError::Damaged { why, .. }) if why.contains("one section")
    ));
}

#[test]
fn a_file_written_by_the_pdf_library_is_sealed_and_still_read_by_it() {
    use lopdf::{Document, Object, dictionary};
    let mut source = Document::load_mem(&sheet()).unwrap();
    source
        .add_object(dictionary! { "Kind" => "Extra", "Share" => Object::Real(0.25), "Hex" => Object::Null });
    let mut written = Vec::new();
    source.save_to(&mut written).unwrap();
    let site = Site::live();
    let approved = site.approved(&site.sealed(&written));
    assert_eq!(site.judge(&approved).unwrap().standing(), Standing::Intact);
    let read = Document::load_mem(&approved).unwrap();
    assert_eq!(read.get_pages().len(), 1);
    let catalog = read.catalog().unwrap();
    assert!(catalog.get(b"Perms").is_ok());
}
