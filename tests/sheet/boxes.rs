//! Seal and approval: the empty fields and the boxes that fill them.

use axiswright::page::pdf;
use axiswright::sheet::{BOX_HEIGHT_MM, BOX_WIDTH_MM, approval_box, seal_box, sheet};
use lopdf::Object;

use crate::cases::{Ask, facts, released};

fn at() -> jiff::Timestamp {
    "2026-03-08T15:11:30Z".parse().unwrap()
}

fn words(page: &axiswright::page::Page) -> Vec<String> {
    page.texts().map(|text| text.text.clone()).collect()
}

#[test]
fn both_fields_wait_on_the_first_page_and_have_the_size_of_their_boxes() {
    let ask = Ask::default();
    let bytes = sheet(&released(&ask), &facts(&ask)).unwrap().pdf;
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    let first = file.get_pages()[&1];
    let annotations =
        file.get_dictionary(first).unwrap().get(b"Annots").and_then(Object::as_array).unwrap().clone();
    let mut names = Vec::new();
    for annotation in &annotations {
        let field = file.get_dictionary(annotation.as_reference().unwrap()).unwrap();
        names.push(String::from_utf8(field.get(b"T").and_then(Object::as_str).unwrap().to_vec()).unwrap());
        assert!(!field.has(b"V"));
        let rect: Vec<f32> = field
            .get(b"Rect")
            .and_then(Object::as_array)
            .unwrap()
            .iter()
            .map(|n| n.as_float().unwrap())
            .collect();
        let mm = 25.4 / 72.0;
        assert!((f64::from(rect[2] - rect[0]) * mm - BOX_WIDTH_MM).abs() < 0.01);
        assert!((f64::from(rect[3] - rect[1]) * mm - BOX_HEIGHT_MM).abs() < 0.01);
    }
    assert_eq!(names, ["Seal", "Approval"]);
}

#[test]
fn the_boxes_say_who_and_when_in_the_zone_of_the_site() {
    let mut facts = facts(&Ask::default());
    let seal = seal_box("Vorland bridge seal", at(), &facts).unwrap();
    assert_eq!(words(&seal), ["SEALED BY THE BRIDGE", "Vorland bridge seal", "2026-03-08 16:11 +01:00"]);
    let approval = approval_box("Dr. Ines Okafor", "surgeon", at(), &facts).unwrap();
    assert_eq!(
        words(&approval),
        ["APPROVED BY THE SURGEON", "Dr. Ines Okafor, surgeon", "2026-03-08 16:11 +01:00"]
    );
    facts.live = false;
    facts.test_clock = true;
    facts.unauthenticated = true;
    let approval = approval_box("Dr. Ines Okafor", "surgeon", at(), &facts).unwrap();
    let said = words(&approval).join(" ");
    assert!(
        said.contains("TEST") && said.contains("TEST CLOCK") && said.contains("identity not proven"),
        "{said}"
    );
    for page in [&seal, &approval] {
        assert!(!pdf::appearance(page).unwrap().is_empty());
        assert!((page.width_mm() - BOX_WIDTH_MM).abs() < 1e-9);
    }
    assert!(seal_box(&"Very Long Name ".repeat(12), at(), &facts).is_err());
}
