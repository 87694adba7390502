//! What may not become a sheet.

use axiswright::page::PageError;
use axiswright::sheet::{SheetError, sheet};

use crate::cases::{Ask, facts, released};

fn refused(ask: &Ask) -> SheetError {
    let error = sheet(&released(ask), &facts(ask)).unwrap_err();
    assert!(!error.hint().is_empty() && !error.to_string().ends_with('.'));
    error
}

#[test]
fn what_does_not_fit_is_refused_and_not_cut() {
    let long = "Aldersea-Rautenstrauch von und zu Immenhof ".repeat(5);
    let error = refused(&Ask { family: Box::leak(long.into_boxed_str()), ..Ask::default() });
    assert!(matches!(error, SheetError::DoesNotFit { what: "the name", .. }), "{error}");
    let long = "a lens that is described at great length ".repeat(8);
    let error = refused(&Ask { backup: Some(Box::leak(long.into_boxed_str())), ..Ask::default() });
    assert!(matches!(error, SheetError::DoesNotFit { what: "the backup lens", .. }), "{error}");
}

#[test]
fn a_name_the_faces_cannot_draw_is_refused() {
    let error = refused(&Ask { given: "明美", ..Ask::default() });
    assert!(matches!(error, SheetError::Page(PageError::MissingGlyph { .. })), "{error}");
}

#[test]
fn a_long_reason_goes_on_to_the_record_page() {
    let long = "the cornea is irregular and the plain formula was judged unfit by two surgeons ".repeat(40);
    let reason: &'static str = Box::leak(long.into_boxed_str());
    let ask = Ask { entered: Some(("a second computer", reason)), ..Ask::default() };
    let bytes = sheet(&released(&ask), &facts(&ask)).unwrap().pdf;
    let back = axiswright::page::readback::read(&bytes).unwrap();
    let first = back.pages()[0].iter().map(|run| run.text.as_str()).collect::<Vec<_>>().join(" ");
    assert!(first.contains("Source and reason stand in full on page 3"), "{first}");
    let rest: String =
        back.pages()[2..].iter().flatten().map(|run| run.text.as_str()).collect::<Vec<_>>().join(" ");
    let times = rest.matches("irregular").count();
    assert!(times >= 40, "{times}");
}

#[test]
fn a_sheet_id_that_the_code_cannot_carry_is_refused() {
    let ask = Ask::default();
    let mut facts = facts(&ask);
    facts.sheet_id = "a:b".to_owned();
    let error = sheet(&released(&ask), &facts).unwrap_err();
    assert!(matches!(error, SheetError::Code { part: "sheet id", .. }), "{error}");
}
