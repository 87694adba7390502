//! The boxes of seal and approval: the placeholders and what replaces them.

use super::block::{fitted, grey, lines};
use super::error::SheetError;
use super::facts::SheetFacts;
use super::words;
use crate::page::{Page, Paint, Stroke, Style};
use crate::plan::Approval;

/// Width of a seal or approval box, mm.
pub const BOX_WIDTH_MM: f64 = 92.0;
/// Height of a seal or approval box, mm.
pub const BOX_HEIGHT_MM: f64 = 14.0;

const INSET: f64 = 2.5;

fn empty(stroke: Stroke) -> Page {
    let mut page = Page::sized(BOX_WIDTH_MM, BOX_HEIGHT_MM);
    page.rectangle((0.3, 0.3), BOX_WIDTH_MM - 0.6, BOX_HEIGHT_MM - 0.6, Paint::outline(stroke));
    page
}

fn placeholder(words: &str, below: &str) -> Page {
    let mut page = empty(Stroke::dashed(0.4, 1.6, 1.1));
    page.text(BOX_WIDTH_MM / 2.0, 7.0, Style::bold(13.0).centred(), words);
    page.text(BOX_WIDTH_MM / 2.0, 11.2, Style::regular(8.0).centred().inked(grey(0.25)), below);
    page
}

/// What is printed until the bridge has sealed.
pub(super) fn not_sealed() -> Page {
    placeholder("NOT SEALED", "not valid without the seal of the bridge")
}

/// What is printed until the surgeon has approved, or the standing order under which the sheet goes.
pub(super) fn approval_placeholder(approval: &Approval) -> Result<Page, SheetError> {
    match approval {
        Approval::Surgeon { authenticated: true, .. } => {
            Ok(placeholder("NOT APPROVED", "not valid without the surgeon's approval"))
        }
        Approval::Surgeon { name, authenticated: false, .. } => {
            let below = "test or demo site: no signature stands behind this";
            let mut page = empty(Stroke::solid(0.5));
            page.text(INSET, 4.4, Style::bold(8.0), "APPROVED WITHOUT PROOF OF IDENTITY");
            let width = BOX_WIDTH_MM - 2.0 * INSET;
            let sizes = [(10.0, 1), (8.0, 1), (7.0, 1), (6.0, 1)];
            let name = words::legible(name);
            let (style, broken) = fitted("the name in the box", &name, width, Style::bold(10.0), &sizes)?;
            lines(&mut page, INSET, 8.4, style, &broken);
            page.text(INSET, 12.2, Style::regular(8.0), below);
            Ok(page)
        }
        Approval::StandingOrder { name, revision } => {
            let mut page = empty(Stroke::solid(0.5));
            page.text(INSET, 5.0, Style::bold(8.5), "RELEASED UNDER STANDING ORDER");
            let text = format!("{}, revision {}", words::legible(name), words::legible(revision));
            let width = BOX_WIDTH_MM - 2.0 * INSET;
            let sizes = [(11.0, 1), (9.0, 1), (8.0, 2)];
            let (style, broken) = fitted("the standing order", &text, width, Style::bold(11.0), &sizes)?;
            let y = if broken.len() == 1 { 10.4 } else { 8.9 };
            lines(&mut page, INSET, y, style, &broken);
            Ok(page)
        }
    }
}

fn filled(
    heading: &str,
    name: &str,
    role: Option<&str>,
    at: jiff::Timestamp,
    facts: &SheetFacts,
) -> Result<Page, SheetError> {
    let mut page = empty(Stroke::solid(0.5));
    let width = BOX_WIDTH_MM - 2.0 * INSET;
    page.text(INSET, 4.4, Style::bold(8.0), heading);
    if !facts.live {
        page.text(BOX_WIDTH_MM - INSET, 4.4, Style::bold(8.0).right(), "TEST");
    }
    let who = match role {
        Some(role) => format!("{}, {}", words::legible(name), words::legible(role)),
        None => words::legible(name),
    };
    let (style, broken) = fitted(
        "the name in the box",
        &who,
        width,
        Style::bold(10.0),
        &[(10.0, 1), (8.0, 1), (7.0, 1), (6.0, 1)],
    )?;
    lines(&mut page, INSET, 8.4, style, &broken);
    let mut when = words::moment(at, &facts.zone);
    if facts.test_clock {
        when.push_str(" (TEST CLOCK)");
    }
    page.text(INSET, 12.2, Style::regular(8.0), when);
    Ok(page)
}

/// The box of the seal: what replaces `NOT SEALED`.
///
/// # Errors
/// [`SheetError`] for a name that does not fit, or whose characters the faces lack.
pub fn seal_box(name: &str, at: jiff::Timestamp, facts: &SheetFacts) -> Result<Page, SheetError> {
    filled("SEALED BY THE BRIDGE", name, None, at, facts)
}

/// The box of the approval: what replaces `NOT APPROVED`.
///
/// # Errors
/// As for [`seal_box`].
pub fn approval_box(
    name: &str,
    role: &str,
    at: jiff::Timestamp,
    facts: &SheetFacts,
) -> Result<Page, SheetError> {
    let heading =
        if facts.unauthenticated { "APPROVED, identity not proven" } else { "APPROVED BY THE SURGEON" };
    filled(heading, name, Some(role), at, facts)
}
