//! Page 1, for theatre: safe alone if the others are lost.

use super::arcs;
use super::block::{LEFT, RIGHT, WIDTH, blank, fitted, grey, label, lines, tagged_lines, tick_box, value};
use super::diagram::{self, DIAGRAM_MM};
use super::error::SheetError;
use super::frame::{Frame, TOP};
use super::marking;
use super::refracted;
use super::view::View;
use super::words::{self, NOT_STATED};
use crate::page::{Page, PageError, Paint, Stroke, Style, layout};
use crate::plan::{
    Approval, Computation, Entered, Guide, LensPlan, Line, Marking, Released, RingSetting, Turn, Work,
};
use crate::units::{Meridian, round};

/// Left edge and width of the column beside the diagram, mm.
pub(super) const COLUMN: f64 = 124.0;
pub(super) const COLUMN_WIDTH: f64 = RIGHT - COLUMN;
/// Where the column ends, and what it takes at least, mm.
pub(super) const COLUMN_BOTTOM: f64 = 203.4;
const COLUMN_LEAST: f64 = 119.5;
/// Height of the box with the way from the marks to the axis, mm.
const WAY_HEIGHT: f64 = 48.0;
/// Inside distance of a box, mm.
pub(super) const INSET: f64 = 3.0;
/// Tops of the strips below the diagram, mm.
const TIME_OUT: f64 = 205.0;
const AS_DONE: f64 = 225.0;
const FOOT_ROW: f64 = 243.5;
/// Places of seal and approval on this page, mm.
pub(super) const SEAL_AT: (f64, f64) = (106.0, 245.5);
pub(super) const APPROVAL_AT: (f64, f64) = (106.0, 261.5);

pub(super) fn outline(page: &mut Page, top: f64, left: f64, width: f64, height: f64, heavy: bool) {
    let stroke = Stroke::solid(if heavy { 0.8 } else { 0.35 });
    page.rounded((left, top), width, height, 1.2, Paint::outline(stroke));
}

/// Builds the page.
pub(super) fn page(
    frame: &Frame<'_>,
    released: &Released,
    code: &str,
    clear: &str,
) -> Result<Page, SheetError> {
    let mut page = frame.begin()?;
    operation(&mut page, frame, released)?;
    let work = &released.plan().computation().work;
    let top = match work {
        Work::Arcs { arcs: plan, lens: planned } => {
            let top = planned.as_ref().map_or(Ok(53.0), |planned| lens_beside_arcs(&mut page, planned))?;
            arcs::strip(&mut page, released.plan().computation().eye, plan, top)?;
            top + arcs::STRIP_HEIGHT + 1.6
        }
        Work::Lens(planned) => {
            lens(&mut page, planned)?;
            match &planned.entered {
                Some(entered) => {
                    entered_strip(&mut page, entered)?;
                    82.0
                }
                None => 70.0,
            }
        }
        Work::Realignment(plan) => refracted::realignment(&mut page, released, plan)?,
        Work::Laser(plan) => refracted::laser(&mut page, plan)?,
    };
    picture(&mut page, released, top)?;
    match work {
        Work::Lens(_) | Work::Arcs { .. } => {
            // What is left over goes to the axis first, then to the backup.
            let spare = (COLUMN_BOTTOM - top - COLUMN_LEAST).max(0.0);
            let mut y = axis(&mut page, released, top, 31.0 + spare / 2.0)?;
            y = way(&mut page, released, y)?;
            y = incision(&mut page, released, y)?;
            backup(&mut page, released, y, COLUMN_BOTTOM)?;
        }
        Work::Realignment(plan) => refracted::realignment_column(&mut page, released, plan, top)?,
        Work::Laser(plan) => refracted::laser_column(&mut page, released, plan, top)?,
    }
    time_out(&mut page, released.plan().computation())?;
    as_done(&mut page, work);
    foot_row(&mut page, frame, released, code, clear)?;
    Ok(page)
}

fn operation(page: &mut Page, frame: &Frame<'_>, released: &Released) -> Result<(), SheetError> {
    let plan = released.plan();
    let entry = &plan.cleared().case().entry;
    let facts = frame.facts;
    let sizes = [(10.0, 1), (10.0, 2), (8.5, 2), (8.0, 3)];
    let y = TOP + 2.0;
    let listed = entry.procedure.as_ref().map_or(NOT_STATED, |p| p.value.printed());
    let computation = plan.computation();
    let beside = computation.arcs().and(computation.lens());
    let procedure = beside
        .map_or_else(|| listed.to_owned(), |_| format!("{listed}, cataract surgery with a spherical lens"));
    value(page, (LEFT, y), 49.0, "PROCEDURE", "the procedure", &procedure, &sizes)?;
    let surgeon = words::legible(&plan.order().surgeon.name);
    value(page, (66.0, y), 36.0, "SURGEON", "the surgeon", &surgeon, &sizes)?;
    let day = entry.date.as_ref().map_or_else(|| NOT_STATED.to_owned(), |d| words::date(d.value));
    value(page, (104.5, y), 25.0, "OPERATION", "the day of the operation", &day, &sizes)?;
    label(page, 131.5, y, "TARGET");
    let target = words::signed(plan.computation().target);
    page.tagged(131.5, y + 1.2 + super::block::leading(10.0) * 0.86, Style::bold(10.0), target, "target");
    let place = words::site_and_theatre(facts);
    value(page, (149.0, y), RIGHT - 149.0, "SITE, THEATRE", "site and theatre", &place, &sizes)
}

/// The one line AS ON THE BOX, in one piece or broken before its powers; a number is never torn from its sign or unit.
fn lens(page: &mut Page, lens: &LensPlan) -> Result<(), SheetError> {
    outline(page, 53.0, LEFT, WIDTH, 13.5, true);
    label(page, LEFT + INSET, 56.8, "LENS, AS ON THE BOX");
    let room = WIDTH - 2.0 * INSET;
    if let Some(style) = layout::fit(&lens.box_line, room, Style::bold(21.0), 13.0)? {
        page.tagged(LEFT + INSET, 64.3, style, lens.box_line.as_str(), "lens.box");
        return Ok(());
    }
    let too_long = || SheetError::DoesNotFit { what: "the line on the box", text: lens.box_line.clone() };
    let (name, powers) = lens.box_line.split_once("  ").ok_or_else(too_long)?;
    for (text, y, tag, most) in [(name, 60.8, "lens.box.1", 11.0), (powers, 65.4, "lens.box.2", 12.0)] {
        let style = layout::fit(text, room, Style::bold(most), 8.0)?.ok_or_else(too_long)?;
        page.tagged(LEFT + INSET, y, style, text, tag);
    }
    Ok(())
}

/// The spherical lens in a lower strip, with room for the arcs below it; gives the place where that begins.
fn lens_beside_arcs(page: &mut Page, lens: &LensPlan) -> Result<f64, SheetError> {
    let (top, height) = (53.0, 10.8);
    outline(page, top, LEFT, WIDTH, height, true);
    label(page, LEFT + INSET, top + 3.5, "LENS, AS ON THE BOX");
    let room = WIDTH - 2.0 * INSET;
    let line = lens.box_line.as_str();
    let style = layout::fit(line, room, Style::bold(17.0), 11.0)?
        .ok_or_else(|| SheetError::DoesNotFit { what: "the line on the box", text: line.to_owned() })?;
    page.tagged(LEFT + INSET, top + 9.4, style, line, "lens.box");
    if let Some(entered) = &lens.entered {
        let text = format!("ENTERED BY {}, NOT COMPUTED: why, on page 3", words::legible(&entered.by));
        let style = layout::fit(&text, room - 40.0, Style::bold(9.0), 8.0)?
            .ok_or_else(|| SheetError::DoesNotFit { what: "who entered the lens", text: text.clone() })?;
        page.text(RIGHT - INSET, top + 3.5, style.right(), text);
    }
    Ok(top + height + 1.0)
}

fn entered_strip(page: &mut Page, entered: &Entered) -> Result<(), SheetError> {
    outline(page, 67.6, LEFT, WIDTH, 13.0, false);
    let room = WIDTH - 2.0 * INSET;
    let text = format!("ENTERED BY {}, NOT COMPUTED", words::legible(&entered.by));
    let (style, broken) =
        fitted("who entered the lens", &text, room, Style::bold(11.0), &[(11.0, 1), (9.0, 1), (8.0, 1)])?;
    lines(page, LEFT + INSET, 71.8, style, &broken);
    let why =
        format!("Source: {}. Reason: {}.", words::legible(&entered.source), words::legible(&entered.reason));
    let small = Style::regular(8.5);
    match fitted("source and reason", &why, room, small, &[(8.5, 1), (8.0, 2)]) {
        Ok((style, broken)) => lines(page, LEFT + INSET, 75.6, style, &broken),
        Err(SheetError::DoesNotFit { .. }) => {
            lines(page, LEFT + INSET, 75.6, small, &["Source and reason stand in full on page 3.".to_owned()])
        }
        Err(error) => return Err(error),
    };
    Ok(())
}

fn work_of(released: &Released) -> &Work {
    &released.plan().computation().work
}

fn picture(page: &mut Page, released: &Released, top: f64) -> Result<(), SheetError> {
    let view = View::From(released.plan().order().seat);
    page.text(LEFT, top + 2.5, Style::bold(9.5), view.caption());
    page.text(
        LEFT,
        top + 6.3,
        Style::regular(8.0),
        "Surgeon at the bottom of the picture. 12 h is the forehead, from every seat.",
    );
    let spare = (COLUMN_BOTTOM - top - DIAGRAM_MM - 11.0).max(0.0);
    let corner = top + 7.2 + spare / 2.0;
    diagram::theatre(page, (LEFT, corner), released)?;
    let computation = released.plan().computation();
    let legend = match computation.line {
        None => "No line: the lens has no axis. Bar on the limbus: incision.",
        Some(Line::LensAxis(_)) => match work_of(released) {
            Work::Realignment(_) => {
                "Heavy line: where the lens belongs. Broken line: where it lies. Blocks: marks."
            }
            Work::Lens(_) | Work::Arcs { .. } | Work::Laser(_) => {
                "Heavy line: lens axis. Bar on the limbus: incision. Blocks outside: reference marks."
            }
        },
        Some(Line::TreatmentAxis(_)) => match work_of(released) {
            Work::Laser(plan) if plan.axis_on_bed.is_some() => {
                "Heavy line: minus-cylinder axis, on the bed. Blocks outside: the marks as read lying."
            }
            Work::Lens(_) | Work::Arcs { .. } | Work::Realignment(_) | Work::Laser(_) => {
                "Heavy line: minus-cylinder axis, upright eye. Blocks outside: reference marks."
            }
        },
        Some(Line::SteepMeridian(_)) if computation.arcs().is_some() => match computation.incision {
            Some(_) => {
                "Line: steep meridian. Arcs inside the limbus: cuts. Bar on it: incision. Blocks: marks."
            }
            None => "Line: steep meridian. Arcs inside the limbus: cuts. Blocks outside: reference marks.",
        },
        Some(Line::SteepMeridian(_)) => {
            "Heavy line: steep meridian. Bar: incision. Blocks outside: reference marks."
        }
    };
    page.text(LEFT, COLUMN_BOTTOM - 0.6, Style::regular(8.0), legend);
    Ok(())
}

fn axis(page: &mut Page, released: &Released, top: f64, height: f64) -> Result<f64, SheetError> {
    let computation = released.plan().computation();
    let Some(line) = computation.line else {
        outline(page, top, COLUMN, COLUMN_WIDTH, height, true);
        let centre = COLUMN + COLUMN_WIDTH / 2.0;
        label(page, COLUMN + INSET, top + 4.8, "LENS AXIS");
        page.text(centre, top + height / 2.0 + 2.5, Style::bold(30.0).centred(), "NO AXIS");
        page.text(centre, top + height / 2.0 + 10.0, Style::bold(11.0).centred(), "spherical lens");
        return Ok(top + height + 2.0);
    };
    let (heading, tag, note) = match line {
        Line::LensAxis(_) => ("LENS AXIS", "lens.axis", words::marks_on(released)),
        Line::TreatmentAxis(_) => ("AXIS", "laser.axis", "minus-cylinder axis"),
        Line::SteepMeridian(_) if computation.arcs().is_some() => {
            ("STEEP MERIDIAN", "steep", "the arcs are centred on this meridian of the eye")
        }
        Line::SteepMeridian(_) => ("STEEP MERIDIAN", "steep", "the incision goes here; the lens has no axis"),
    };
    axis_box(page, (top, height), (heading, tag), line.meridian(), note)
}

/// The box with the axis in large digits; where the next box begins.
pub(super) fn axis_box(
    page: &mut Page,
    (top, height): (f64, f64),
    (heading, tag): (&str, &str),
    axis: Meridian,
    note: &str,
) -> Result<f64, SheetError> {
    outline(page, top, COLUMN, COLUMN_WIDTH, height, true);
    let centre = COLUMN + COLUMN_WIDTH / 2.0;
    label(page, COLUMN + INSET, top + 4.8, heading);
    let digits = round::meridian(axis);
    // Beside the longer heading the digits of a low box would touch it.
    let low = height < 36.0 && tag == "steep";
    let style = Style::bold(if low { 54.0 } else { 64.0 });
    let width = layout::measure(&digits, style)?;
    page.tagged(centre - width / 2.0, top + height / 2.0 + 6.2, style, digits, tag);
    page.text(centre + width / 2.0 + 0.8, top + height / 2.0, Style::bold(36.0), "°");
    page.text(centre, top + height - 2.4, Style::regular(8.5).centred(), note);
    Ok(top + height + 2.0)
}

pub(super) fn turn(page: &mut Page, x: f64, top: f64, name: &str, tag: &str, turn: &Turn) {
    label(page, x, top, &format!("FROM {name} MARK"));
    page.tagged(x, top + 10.2, Style::bold(25.0), round::fixed(turn.degrees, 0), tag);
    page.tagged(x, top + 15.2, Style::bold(11.5), turn.direction.word(), format!("{tag}.direction"));
}

/// The box of the way to the axis: the turns, or the table of the level ring; never both.
fn way(page: &mut Page, released: &Released, top: f64) -> Result<f64, SheetError> {
    outline(page, top, COLUMN, COLUMN_WIDTH, WAY_HEIGHT, false);
    let x = COLUMN + INSET;
    let end = top + WAY_HEIGHT + 2.0;
    let Some(marking) = marking::on_paper(released) else {
        label(page, x, top + 4.6, "FROM THE MARKS TO THE AXIS");
        page.text(x, top + 14.0, Style::bold(12.0), "none: the lens has no axis");
        return Ok(end);
    };
    match &marking.guide {
        Guide::Turns { from_nasal, from_temporal, sum_deg } => {
            let how = "RING ON THE MARKS: lay the ring's 0-180 line through both marks and read the axis on the ring; \
                no table. Clockwise is as seen through the microscope, the same from every seat.";
            turns(page, top, "TURN FROM THE MARKS", &marking, (from_nasal, from_temporal, *sum_deg), how)?;
        }
        Guide::OnTarget { axis } => {
            label(page, x, top + 4.6, "MARKS ON THE AXIS");
            page.text(x, top + 14.0, Style::bold(12.0), "Both marks lie on");
            page.tagged(x + 38.0, top + 14.0, Style::bold(16.0), round::meridian(*axis), "target.marks");
            let how = "Lay the line of the marks on the lens over the two marks on the eye: no ring, no turn. Marks that are \
                lost or do not lie opposite each other: stop, do not guess.";
            small_print(page, top + 22.0, how)?;
        }
        Guide::RingTable { settings, temporal_adds_deg } => {
            label(page, x, top + 4.6, "LEVEL RING: READ, SET");
            beside_label(page, &marking, top + 4.6, "no turn from the marks");
            ring_table(page, settings, top + 9.0);
            let temporal = marking::temporal_reading(*temporal_adds_deg);
            let how = format!(
                "Ring level, its 90 to the forehead. Read the NASAL mark; the axis lies at the bold number. {temporal}"
            );
            small_print(page, top + 40.0, &how)?;
        }
    }
    Ok(end)
}

/// The two turns with their sum, in the box that begins at `top`.
pub(super) fn turns(
    page: &mut Page,
    top: f64,
    heading: &str,
    marking: &Marking,
    (from_nasal, from_temporal, sum_deg): (&Turn, &Turn, f64),
    how: &str,
) -> Result<(), SheetError> {
    let x = COLUMN + INSET;
    label(page, x, top + 4.6, heading);
    beside_label(page, marking, top + 4.6, "through the upper lid");
    turn(page, x, top + 10.4, "NASAL", "turn.nasal", from_nasal);
    turn(page, x + 35.0, top + 10.4, "TEMPORAL", "turn.temporal", from_temporal);
    let sum = format!("{} {}", marking::sum_words(from_nasal, from_temporal), round::fixed(sum_deg, 0));
    page.tagged(x, top + 30.4, Style::regular(8.5), sum, "turn.sum");
    small_print(page, top + 30.8 + super::block::leading(8.5), how)
}

pub(super) fn beside_label(page: &mut Page, marking: &Marking, y: f64, otherwise: &str) {
    let x = COLUMN + COLUMN_WIDTH - INSET;
    if marking.marks.are_entered() {
        page.tagged(x, y, Style::bold(8.0).right(), marking::marks_measured(marking), "marks");
    } else {
        page.text(x, y, Style::regular(8.0).right(), otherwise);
    }
}

pub(super) fn small_print(page: &mut Page, y: f64, text: &str) -> Result<(), SheetError> {
    let broken = layout::wrap(text, COLUMN_WIDTH - 2.0 * INSET, Style::regular(8.0))?;
    lines(page, COLUMN + INSET, y, Style::regular(8.0), &broken);
    Ok(())
}

/// Four columns of eight lines, read downwards: the reading, and in bold the setting.
pub(super) fn ring_table(page: &mut Page, settings: &[RingSetting], top: f64) {
    let each = (COLUMN_WIDTH - 2.0 * INSET + 3.0) / 4.0;
    let mut x = COLUMN + INSET;
    for column in settings.chunks(8) {
        let mut y = top;
        for row in column {
            let read = round::meridian(row.read);
            page.text(x, y, Style::regular(9.0), read.as_str());
            page.tagged(x + 7.0, y, Style::bold(9.5), round::meridian(row.set), format!("ring.at-{read}"));
            y += super::block::leading(9.0);
        }
        x += each;
    }
}

fn incision(page: &mut Page, released: &Released, top: f64) -> Result<f64, SheetError> {
    let height = 17.0;
    outline(page, top, COLUMN, COLUMN_WIDTH, height, false);
    let x = COLUMN + INSET;
    let room = COLUMN_WIDTH - 2.0 * INSET;
    label(page, x, top + 4.4, "INCISION");
    let plan = released.plan();
    let Some(incision) = &plan.computation().incision else {
        let none = if plan.computation().lens().is_none() {
            "none: arcs alone"
        } else {
            "no place stated: nothing added"
        };
        page.text(x, top + 9.4, Style::bold(10.0), none);
        return Ok(top + height + 2.0);
    };
    let place = words::incision_place(plan.computation().eye, incision.at);
    let (style, broken) = fitted(
        "the place of the incision",
        &place,
        room,
        Style::bold(10.5),
        &[(10.5, 1), (9.5, 1), (8.5, 1), (8.0, 1)],
    )?;
    tagged_lines(page, x, top + 9.2, style, &broken, "incision.at");
    let effect = match incision.flattening {
        Some(flattening) => words::incision_effect(incision.at, flattening),
        None => words::no_incision_effect(plan.computation().act).to_owned(),
    };
    page.tagged(x, top + 13.4, Style::regular(9.0), effect, "incision.effect");
    if let Some(width) = incision.width {
        let text = format!("{} wide", words::millimetres(width, 1));
        page.tagged(
            COLUMN + COLUMN_WIDTH - INSET,
            top + 4.4,
            Style::bold(9.5).right(),
            text,
            "incision.width",
        );
    }
    Ok(top + height + 2.0)
}

fn backup(page: &mut Page, released: &Released, top: f64, bottom: f64) -> Result<(), SheetError> {
    let height = bottom - top;
    outline(page, top, COLUMN, COLUMN_WIDTH, height, false);
    let x = COLUMN + INSET;
    if released.plan().computation().lens().is_none() {
        label(page, x, top + 4.2, "BACKUP LENS");
        page.text(x, top + 8.4, Style::bold(10.0), "no lens in this plan");
        return Ok(());
    }
    label(page, x, top + 4.2, "BACKUP LENS, by the surgeon's file");
    let text = released.plan().order().surgeon.backup.as_deref().map(words::legible);
    let text = text.filter(|t| !t.trim().is_empty()).unwrap_or_else(|| "none stated".to_owned());
    let sizes = [(10.0, 1), (9.0, 2), (8.0, 2), (8.0, 3)];
    let (style, broken) =
        fitted("the backup lens", &text, COLUMN_WIDTH - 2.0 * INSET, Style::bold(10.0), &sizes)?;
    lines(page, x, top + 8.4, style, &broken);
    Ok(())
}

fn time_out(page: &mut Page, computation: &Computation) -> Result<(), PageError> {
    outline(page, TIME_OUT, LEFT, WIDTH, 18.2, false);
    page.text(
        LEFT + INSET,
        TIME_OUT + 4.6,
        Style::bold(9.0),
        "TIME-OUT: read aloud, two people tick each. Anyone's doubt is a stop.",
    );
    let items = [
        "Full name and birth date",
        "Eye, against consent and skin mark",
        match &computation.work {
            Work::Lens(_) | Work::Arcs { lens: Some(_), .. } => "Lens, power, cylinder against the box",
            Work::Arcs { lens: None, .. } => "No lens is put in",
            Work::Realignment(_) => "Lens, against the implant card",
            Work::Laser(_) => "Treatment, against the device's screen",
        },
        if computation.arcs().is_some() {
            "Arcs and depth of the blade, against the strip"
        } else {
            "Axis, against the diagram"
        },
        "This version: code shows CURRENT",
    ];
    let each = (WIDTH - 2.0 * INSET) / 5.0;
    let mut x = LEFT + INSET;
    for item in items {
        tick_box(page, (x, TIME_OUT + 7.0), 4.2);
        tick_box(page, (x + 5.2, TIME_OUT + 7.0), 4.2);
        let style = Style::regular(8.5);
        let broken = layout::wrap(item, each - 12.5, style)?;
        lines(page, x + 11.0, TIME_OUT + 9.4, style, &broken);
        x += each;
    }
    Ok(())
}

fn as_done(page: &mut Page, work: &Work) {
    outline(page, AS_DONE, LEFT, WIDTH, 16.8, false);
    label(page, LEFT + INSET, AS_DONE + 4.4, "AS DONE");
    let style = Style::regular(8.5);
    let y = AS_DONE + 8.6;
    let fields: &[(f64, &str, f64, f64, &str)] = match work {
        Work::Lens(_) => &[
            (LEFT + INSET, "Axis at the end", 23.0, 15.0, "°"),
            (60.0, "Incision at", 16.5, 14.0, "°"),
            (98.0, "width", 9.0, 13.0, "mm"),
            (130.0, "Lens serial number", 29.0, 36.0, ""),
        ],
        Work::Arcs { .. } => &[
            (LEFT + INSET, "Arcs at", 12.5, 26.0, "°"),
            (60.0, "Incision at", 16.5, 14.0, "°"),
            (98.0, "width", 9.0, 13.0, "mm"),
            (130.0, "Lens serial number", 29.0, 36.0, ""),
        ],
        Work::Realignment(_) => &[
            (LEFT + INSET, "Lens found at", 23.0, 15.0, "°"),
            (60.0, "Axis at the end", 23.0, 15.0, "°"),
            (130.0, "Ring or capsule", 24.0, 41.0, ""),
        ],
        Work::Laser(_) => &[
            (LEFT + INSET, "Mark read lying", 23.0, 15.0, "°"),
            (60.0, "Axis entered", 23.0, 15.0, "°"),
            (130.0, "Treatment number", 28.5, 36.5, ""),
        ],
    };
    for &(x, text, from, width, unit) in fields {
        page.text(x, y, style, text);
        blank(page, x + from, y + 0.6, width);
        if !unit.is_empty() {
            page.text(x + from + width + 0.8, y, style, unit);
        }
    }
    let y = AS_DONE + 14.2;
    page.text(LEFT + INSET, y, style, "Other than planned, and why");
    blank(page, LEFT + INSET + 43.0, y + 0.6, 66.0);
    page.text(130.0, y, style, "Name, time");
    blank(page, 130.0 + 18.0, y + 0.6, 47.0);
}

fn foot_row(
    page: &mut Page,
    frame: &Frame<'_>,
    released: &Released,
    code: &str,
    clear: &str,
) -> Result<(), SheetError> {
    page.qr((LEFT, FOOT_ROW), 34.0, code);
    let x = 49.0;
    label(page, x, FOOT_ROW + 4.2, "CODE OF THIS SHEET");
    page.tagged(x, FOOT_ROW + 9.8, Style::bold(13.0), clear, "code");
    let mut y = FOOT_ROW + 14.0;
    let unproven = frame.facts.unauthenticated
        || matches!(released.approval(), Approval::Surgeon { authenticated: false, .. })
        || released.answers().iter().any(|answer| !answer.authenticated);
    let note = if unproven {
        "ANSWERED OR APPROVED WITHOUT PROOF OF IDENTITY"
    } else {
        "Later versions and withdrawals show when the code is checked."
    };
    let style = if unproven { Style::bold(8.0) } else { Style::regular(8.0).inked(grey(0.25)) };
    for line in layout::wrap(note, 53.0, style)? {
        page.text(x, y, style, line);
        y += super::block::leading(8.0);
    }
    let rule = FOOT_ROW + 26.5;
    page.line((x, rule), (x + 50.0, rule), Stroke::solid(0.4));
    for end in [x, x + 50.0] {
        page.line((end, rule - 1.5), (end, rule + 1.5), Stroke::solid(0.4));
    }
    page.text(x, rule + 5.0, Style::regular(8.0), "50 mm: if not, the print is scaled");
    Ok(())
}
