//! Page 2, marking: the eye from the front, and what the person who marks writes down.

use super::block::{LEFT, RIGHT, WIDTH, blank, label, lines, tagged_lines, tick_box};
use super::diagram::{self, DIAGRAM_MM};
use super::error::SheetError;
use super::frame::{Frame, TOP};
use crate::model::Eye;
use crate::page::{Page, PageError, Paint, Stroke, Style, layout};
use crate::plan::{Marking, Marks, Released, Turn, Work};
use crate::units::{Direction, Meridian, round};

/// Marks that disagree by more than this are not trusted, degrees. Source: our assumption, printed beside it.
const DISAGREE: u32 = 5;

/// The turns for paper: from the axis and the marks as printed, in whole degrees, so that what stands there adds up.
pub(super) fn on_paper(released: &Released) -> Option<Marking> {
    let plan = released.plan();
    let order = plan.order();
    let line = plan.computation().line?;
    let axis = Meridian::wrapping(round::rounded(line.meridian().degrees(), 0));
    let marks = if order.marks.are_entered() {
        let whole = |degrees: f64| Direction::wrapping(round::rounded(degrees, 0));
        Marks::entered(whole(order.marks.zero_side_deg()), whole(order.marks.opposite_side_deg()))?
    } else {
        order.marks
    };
    Some(Marking::to_axis(plan.computation().eye, axis, marks, order.seat, order.method))
}

/// How the two turns belong together: they add up, or, when both go the same way, differ by the angle between the marks.
pub(super) fn sum_words(from_nasal: &Turn, from_temporal: &Turn) -> &'static str {
    if from_nasal.direction == from_temporal.direction {
        "Difference, the angle between the marks:"
    } else {
        "Sum, the angle between the marks:"
    }
}

/// What to do with a reading of the temporal mark alone, before the table of the level ring is entered.
pub(super) fn temporal_reading(adds_deg: f64) -> String {
    let size = round::fixed(adds_deg.abs(), 0);
    match size.as_str() {
        "0" => "The temporal mark must give the same.".to_owned(),
        size if adds_deg < 0.0 => format!("Temporal mark: take {size} from its reading first."),
        size => format!("Temporal mark: add {size} to its reading first."),
    }
}

/// `Marks at 002 and 181.`
pub(super) fn marks_measured(marking: &Marking) -> String {
    let at = |degrees: f64| round::direction(Direction::wrapping(degrees));
    format!("Marks at {} and {}.", at(marking.marks.zero_side_deg()), at(marking.marks.opposite_side_deg()))
}

/// Builds the page.
pub(super) fn page(frame: &Frame<'_>, released: &Released) -> Result<Page, SheetError> {
    let mut page = frame.begin()?;
    page.text(105.0, TOP + 8.0, Style::bold(19.0).centred(), "SEEN FROM THE FRONT, PATIENT SITTING");
    let computation = released.plan().computation();
    let (eye, work) = (computation.eye, &computation.work);
    let side = match eye {
        Eye::Right => "right",
        Eye::Left => "left",
    };
    page.text(
        105.0,
        TOP + 14.0,
        Style::regular(10.0).centred(),
        format!("{} eye: the patient's nose is on your {side}. This page is for marking only; the axis stands on page 1.", eye.capitals()),
    );
    diagram::marking(&mut page, (LEFT, 54.0), released)?;
    how(&mut page, work)?;
    let y = 54.0 + DIAGRAM_MM + 6.0;
    table(&mut page, released, y);
    dial(&mut page, y + 52.0);
    rules(&mut page, work, y + 75.0)?;
    Ok(page)
}

fn how(page: &mut Page, work: &Work) -> Result<(), PageError> {
    let x = 128.0;
    let width = RIGHT - x;
    let mut y = 58.0;
    page.text(x, y, Style::bold(11.0), "WHERE AND HOW");
    y += 7.0;
    let steps = [
        "Before the pupil is dilated. Patient sitting upright, head level, both eyes open, looking straight ahead at a far point.",
        "Ask name and birth date; compare with this page. Compare the eye with the consent.",
        "Slit lamp: narrow slit, turned exactly horizontal, through the reflex in the middle of the cornea.",
        "Dry the conjunctiva at the limbus. Make one fine mark at 0 and one at 180, where the slit crosses the limbus.",
        "Let the patient blink, look again: both marks on the slit? Else mark again.",
        "Write down time, posture and the true angle of each mark below.",
    ];
    let style = Style::regular(9.5);
    for (number, step) in (1..).zip(steps) {
        page.text(x, y, Style::bold(9.5), format!("{number}"));
        let broken = layout::wrap(step, width - 6.0, style)?;
        y = lines(page, x + 6.0, y, style, &broken) + 2.0;
    }
    if let Work::Realignment(plan) = work {
        let text = format!(
            "Then, dilated and still upright, one fine mark at each end of the meridian the lens lies on: {}.",
            round::meridian(plan.from)
        );
        let bold = Style::bold(9.5);
        page.text(x, y, bold, "7");
        let broken = layout::wrap(&text, width - 6.0, bold)?;
        y = tagged_lines(page, x + 6.0, y, bold, &broken, "turned.mark") + 2.0;
    }
    page.text(x, y + 1.0, Style::regular(8.0), "Source: common practice.");
    Ok(())
}

fn table(page: &mut Page, released: &Released, top: f64) {
    let eye = released.plan().computation().eye;
    let marks = &released.plan().order().marks;
    page.text(LEFT, top, Style::bold(11.0), "THE TWO MARKS");
    let columns = [LEFT, 62.0, 88.0, 138.0, 170.0, RIGHT];
    let head = top + 6.5;
    for (x, text) in columns.iter().zip(["MARK", "TIME", "POSTURE", "TRUE ANGLE", "MADE BY"]) {
        label(page, x + 1.5, head, text);
    }
    let (first, second) = match eye {
        Eye::Right => ("NASAL mark, at 0", "TEMPORAL mark, at 180"),
        Eye::Left => ("TEMPORAL mark, at 0", "NASAL mark, at 180"),
    };
    let entered = |degrees: f64| marks.are_entered().then(|| round::direction(Direction::wrapping(degrees)));
    let rows = [
        (first, entered(marks.zero_side_deg()), "mark.zero"),
        (second, entered(marks.opposite_side_deg()), "mark.opposite"),
    ];
    let height = 14.0;
    let mut y = head + 2.0;
    for (name, angle, tag) in rows {
        page.rectangle((LEFT, y), WIDTH, height, Paint::outline(Stroke::solid(0.35)));
        for x in columns.iter().skip(1).take(4) {
            page.line((*x, y), (*x, y + height), Stroke::solid(0.25));
        }
        page.text(LEFT + 1.5, y + 8.6, Style::bold(9.5), name);
        for (offset, word) in [(2.0, "sitting"), (24.0, "lying")] {
            tick_box(page, (88.0 + offset, y + 5.0), 4.0);
            page.text(88.0 + offset + 5.4, y + 8.4, Style::regular(9.5), word);
        }
        if let Some(angle) = angle {
            page.tagged(138.0 + 2.0, y + 9.4, Style::bold(14.0), angle, tag);
            page.text(138.0 + 17.0, y + 9.0, Style::regular(8.0), "measured");
        } else {
            blank(page, 138.0 + 2.0, y + 9.5, 22.0);
            page.text(138.0 + 25.0, y + 9.0, Style::regular(9.5), "°");
        }
        y += height;
    }
    page.text(
        LEFT,
        y + 4.6,
        Style::regular(8.5),
        "True angle: 0 to 360 as in the picture. Page 1 holds for marks at the angles it states, else for 0 and 180.",
    );
}

fn dial(page: &mut Page, top: f64) {
    page.text(LEFT, top, Style::bold(11.0), "IF AN INSTRUMENT WITH A DIAL IS USED");
    let y = top + 8.0;
    let style = Style::regular(9.5);
    page.text(LEFT, y, style, "Its zero lies at");
    blank(page, LEFT + 24.0, y + 0.7, 24.0);
    page.text(64.0, y, style, "Its numbers grow");
    tick_box(page, (94.5, y - 3.4), 4.0);
    page.text(100.0, y, style, "clockwise");
    tick_box(page, (120.0, y - 3.4), 4.0);
    page.text(125.5, y, style, "anticlockwise");
    page.text(153.0, y, style, "Dial set to");
    blank(page, 172.0, y + 0.7, 22.0);
    page.text(195.0, y, style, "°");
    page.text(
        LEFT,
        y + 5.4,
        Style::regular(8.5),
        "Many dials count from another zero, or the other way round, than the picture: write down the dial's own numbers.",
    );
}

fn rules(page: &mut Page, work: &Work, top: f64) -> Result<(), SheetError> {
    page.text(LEFT, top, Style::bold(11.0), "IN THEATRE");
    let mut y = top + 6.0;
    let style = Style::regular(9.5);
    let first = match work {
        Work::Lens(_) | Work::Arcs { .. } | Work::Realignment(_) => format!(
            "Marks that disagree by more than {DISAGREE} degrees: check first that the ring is centred on the limbus; if it is, mark again, sitting."
        ),
        Work::Laser(_) => format!(
            "Patient lying, head straight: read both marks on the degrees of the device. If they disagree by more than {DISAGREE} degrees, stop and mark again, sitting."
        ),
    };
    let rules = [
        first,
        "One mark lost: use the other, by default the nasal one.".to_owned(),
        "Both marks lost or washed out: stop; do not guess.".to_owned(),
    ];
    for rule in rules {
        page.rectangle((LEFT, y - 1.9), 1.3, 1.3, Paint::fill(crate::page::Ink::BLACK));
        let broken = layout::wrap(&rule, WIDTH - 5.0, style)?;
        y = lines(page, LEFT + 4.0, y, style, &broken) + 1.4;
    }
    page.text(LEFT, y + 1.0, Style::regular(8.0), "Source: our assumption, also for the number of degrees.");
    Ok(())
}
