//! Arcs on paper: the strip of the theatre page and the table of the record page.

use super::block::{LEFT, WIDTH, label};
use super::error::SheetError;
use super::flow::{Flow, cell, faint, head, plain, strong};
use super::words;
use crate::model::Eye;
use crate::page::{Page, Paint, Stroke, Style, layout};
use crate::plan::{Arc, ArcsPlan, Released, class_words};
use crate::units::{Direction, Micrometre, Millimetre, round};

/// Height of the strip on the theatre page, mm.
pub(super) const STRIP_HEIGHT: f64 = 15.6;
/// Inside distance of the strip, mm.
const INSET: f64 = 3.0;

/// `2 ARCS  60° each = 5.76 mm  ZONE 11.0 mm  DEPTH 560 µm`: what is cut.
fn cut_line(plan: &ArcsPlan) -> String {
    let (number, each) = match plan.items.len() {
        1 => ("1 ARC".to_owned(), ""),
        several => (format!("{several} ARCS"), " each"),
    };
    let first = plan.items.first();
    let degrees = first.map(|item| round::fixed(item.arc.degrees(), 0)).unwrap_or_default();
    let length = first.map(|item| words::millimetres(item.length, 2)).unwrap_or_default();
    format!(
        "{number}  {degrees}°{each} = {length}  ZONE {}  DEPTH {}",
        zone(plan.zone),
        micrometres(plan.depth)
    )
}

/// `600 µm`.
fn micrometres(value: Micrometre) -> String {
    format!("{} µm", round::fixed(value.micrometres(), 0))
}

/// The zone with as many decimals as it was stated with, one at least.
fn zone(value: Millimetre) -> String {
    let tenths = round::rounded(value.millimetres(), 1);
    let decimals = if (tenths - value.millimetres()).abs() < 1e-9 { 1 } else { 2 };
    words::millimetres(value, decimals)
}

/// `at 090, superior, from 060 to 120`.
fn place(eye: Eye, item: &Arc) -> String {
    let [from, to] = item.ends().map(|end: Direction| round::direction(end));
    format!("at {}, {}, from {from} to {to}", round::direction(item.centre), words::place(eye, item.centre))
}

/// The strip of the theatre page, its top at `top`.
pub(super) fn strip(page: &mut Page, eye: Eye, plan: &ArcsPlan, top: f64) -> Result<(), SheetError> {
    page.rounded((LEFT, top), WIDTH, STRIP_HEIGHT, 1.2, Paint::outline(Stroke::solid(0.8)));
    label(page, LEFT + INSET, top + 3.5, "ARCS, centred on the steep meridian; length along the arc");
    let room = WIDTH - 2.0 * INSET;
    let text = cut_line(plan);
    let style = layout::fit(&text, room, Style::bold(16.0), 11.0)?
        .ok_or_else(|| SheetError::DoesNotFit { what: "the line of the arcs", text: text.clone() })?;
    page.tagged(LEFT + INSET, top + 9.3, style, text, "arcs.cut");
    let each = room / 2.0;
    let mut x = LEFT + INSET;
    for (number, item) in (1_usize..).zip(&plan.items) {
        let text = place(eye, item);
        let style = layout::fit(&text, each - 1.0, Style::bold(9.5), 8.0)?
            .ok_or_else(|| SheetError::DoesNotFit { what: "the place of an arc", text: text.clone() })?;
        page.tagged(x, top + 14.0, style, text, format!("arcs.place-{number}"));
        x += each;
    }
    Ok(())
}

/// The rows of the record page: name, value, key.
fn rows(plan: &ArcsPlan) -> Vec<(&'static str, String, &'static str)> {
    vec![
        ("astigmatism treated", words::vector(plan.treated), "arcs.treated"),
        ("diameter of the circle", words::millimetres(plan.zone, 2), "arcs.zone"),
        ("depth", micrometres(plan.depth), "arcs.depth"),
        ("thinnest reading on the arcs", micrometres(plan.thinnest), "arcs.thinnest"),
        (
            "depth as a share of the thinnest",
            format!("{} %", round::fixed(plan.percent_of_thinnest, 1)),
            "arcs.percent",
        ),
        ("age on the day of the operation", format!("{} years", plan.years), "arcs.age"),
    ]
}

/// The arcs on the record page: the table they come from, its cell, the thickness they rest on.
pub(super) fn table(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let computation = released.plan().computation();
    let Some(plan) = computation.arcs() else { return Ok(()) };
    flow.heading("The arcs", 14.0)?;
    let revision = plan.revision.as_deref().map_or_else(String::new, |known| format!(", revision {known}"));
    flow.row(&[
        cell(LEFT, 44.0, plain(), "table"),
        cell(58.0, 140.0, strong(), words::legible(&format!("{}{revision}", plan.nomogram))),
    ])?;
    flow.row(&[cell(58.0, 140.0, faint(), words::legible(&plan.source))])?;
    if let Some(note) = &plan.note {
        flow.row(&[cell(58.0, 140.0, faint(), words::legible(note))])?;
    }
    flow.row(&[
        cell(LEFT, 44.0, plain(), "cell of the table"),
        cell(58.0, 140.0, strong(), format!("{}, {}, {}", class_words(plan.class), plan.ages, plan.band))
            .tagged("arcs.cell"),
    ])?;
    let entered = format!("{} astigmatism; cataract incision: {}", plan.input.word(), plan.incision.word());
    flow.row(&[cell(LEFT, 44.0, plain(), "entered with"), cell(58.0, 140.0, plain(), entered)])?;
    let mut pairs = rows(plan).into_iter();
    while let Some(first) = pairs.next() {
        let mut cells = vec![
            cell(LEFT, 56.0, plain(), first.0),
            cell(LEFT + 57.0, 36.0, strong(), first.1).tagged(first.2),
        ];
        if let Some(second) = pairs.next() {
            cells.push(cell(LEFT + 95.0, 52.0, plain(), second.0));
            cells.push(cell(LEFT + 149.0, 37.0, strong(), second.1).tagged(second.2));
        }
        flow.row(&cells)?;
    }
    flow.skip(0.8);
    flow.row(&[
        cell(LEFT, 22.0, head(), "THICKNESS"),
        cell(36.0, 20.0, head(), "AT"),
        cell(58.0, 140.0, head(), "INSTRUMENT, DAY, WHERE IT STOOD"),
    ])?;
    for (number, reading) in (1_usize..).zip(&plan.readings) {
        flow.row(&[
            cell(LEFT, 22.0, strong(), micrometres(reading.thickness))
                .tagged(format!("arcs.thickness-{number}")),
            cell(36.0, 20.0, strong(), round::direction(reading.at))
                .tagged(format!("arcs.thickness-at-{number}")),
            cell(58.0, 140.0, faint(), words::legible(&reading.provenance())).torn(),
        ])?;
    }
    flow.skip(0.8);
    flow.paragraph(
        strong(),
        "The table states no residual, and none is predicted: how much the arcs leave is not known before they are measured.",
    )
}

/// What stands under the keys of both, worked out from the plan.
pub(super) fn numbers(put: &mut impl FnMut(String, String), eye: Eye, plan: &ArcsPlan) {
    put("arcs.cut".to_owned(), cut_line(plan));
    for (number, item) in (1_usize..).zip(&plan.items) {
        put(format!("arcs.place-{number}"), place(eye, item));
    }
    put("arcs.cell".to_owned(), format!("{}, {}, {}", class_words(plan.class), plan.ages, plan.band));
    for (_, text, key) in rows(plan) {
        put(key.to_owned(), text);
    }
    for (number, reading) in (1_usize..).zip(&plan.readings) {
        put(format!("arcs.thickness-{number}"), micrometres(reading.thickness));
        put(format!("arcs.thickness-at-{number}"), round::direction(reading.at));
    }
}

/// The lines of the canonical record: only where there are arcs.
pub(super) fn record(put: &mut impl FnMut(&str, &str), plan: &ArcsPlan) {
    put("arcs_nomogram", &plan.nomogram);
    put("arcs_revision", plan.revision.as_deref().unwrap_or_default());
    put("arcs_source", &plan.source);
    put("arcs_input", plan.input.word());
    put("arcs_cell", &format!("{} | {} | {}", class_words(plan.class), plan.ages, plan.band));
    put("arcs_treated", &words::vector(plan.treated));
    put("arcs_zone_mm", &round::fixed(plan.zone.millimetres(), 2));
    put("arcs_depth_um", &round::fixed(plan.depth.micrometres(), 0));
    put("arcs_thinnest_um", &round::fixed(plan.thinnest.micrometres(), 0));
    for item in &plan.items {
        let parts = [
            round::direction(item.centre),
            round::fixed(item.arc.degrees(), 0),
            round::fixed(item.length.millimetres(), 2),
        ];
        put("arc", &parts.join(" | "));
    }
    for reading in &plan.readings {
        let parts = [
            round::direction(reading.at),
            round::fixed(reading.thickness.micrometres(), 0),
            reading.provenance(),
        ];
        put("arc_thickness", &parts.join(" | "));
    }
}
