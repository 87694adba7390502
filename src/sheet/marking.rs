//! Page 2, marking: the eye from the front, and what the person who marks writes down.

use super::block::{LEFT, RIGHT, WIDTH, blank, label, lines, tagged_lines, tick_box};
use super::diagram::{self, DIAGRAM_MM};
use super::error::SheetError;
use super::frame::{Frame, TOP};
use super::words;
use crate::model::Eye;
use crate::page::{Page, PageError, Paint, Stroke, Style, layout};
use crate::plan::{Marking, Marks, Released, TheatreMethod, Turn, Work, lean};
use crate::units::{Direction, Meridian, round};

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
    let method = plan.computation().marking.as_ref()?.method();
    Some(Marking::to_axis(plan.computation().eye, axis, marks, order.seat, method))
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
    let stands = if on_target(released).is_some() { "." } else { "; the axis stands on page 1." };
    page.text(105.0, TOP + 8.0, Style::bold(19.0).centred(), "SEEN FROM THE FRONT, PATIENT SITTING");
    let computation = released.plan().computation();
    let eye = computation.eye;
    let side = match eye {
        Eye::Right => "right",
        Eye::Left => "left",
    };
    page.text(
        105.0,
        TOP + 14.0,
        Style::regular(10.0).centred(),
        format!(
            "{} eye: the patient's nose is on your {side}. This page is for marking only{stands}",
            eye.capitals()
        ),
    );
    diagram::marking(&mut page, (LEFT, 54.0), released)?;
    how(&mut page, released)?;
    let y = 54.0 + DIAGRAM_MM + 6.0;
    table(&mut page, released, y, frame);
    dial(&mut page, released, y + 52.0);
    rules(&mut page, released, y + 72.0, frame)?;
    Ok(page)
}

/// The target meridian as printed, where the marks are made on it.
pub(super) fn on_target(released: &Released) -> Option<Meridian> {
    let plan = released.plan();
    // A laser's mark is read again on the bed, and a lens that is turned needs the horizontal beside its own meridian.
    let has_target = matches!(plan.computation().work, Work::Lens(_) | Work::Arcs { .. });
    let computation = plan.computation();
    let line = computation.line.filter(|_| has_target)?;
    let method = computation.marking.as_ref()?.method();
    (method == TheatreMethod::OnTarget).then(|| line.meridian())
}

fn how(page: &mut Page, released: &Released) -> Result<(), PageError> {
    let x = 128.0;
    let width = RIGHT - x;
    let mut y = 58.0;
    page.text(x, y, Style::bold(11.0), "WHERE AND HOW");
    y += 7.0;
    if let Some(target) = on_target(released) {
        page.text(x, y, Style::bold(9.5), "Marks go on the axis itself:");
        page.tagged(x + 49.0, y, Style::bold(14.0), round::meridian(target), "mark.target");
        y += 6.0;
    }
    let first = format!(
        "Before the pupil is dilated. Patient sitting upright, head level, {}, looking straight ahead at a far point.",
        released.plan().order().marking_way.gaze.printed()
    );
    let (slit, make) = if on_target(released).is_some() {
        (
            "Slit lamp: narrow slit, turned to the axis, through the reflex in the middle of the cornea.",
            "Dry the conjunctiva at the limbus. Make one fine mark at each end, where the slit crosses the limbus.",
        )
    } else {
        (
            "Slit lamp: narrow slit, turned exactly horizontal, through the reflex in the middle of the cornea.",
            "Dry the conjunctiva at the limbus. Make one fine mark at 0 and one at 180, where the slit crosses the limbus.",
        )
    };
    let steps = [
        first.as_str(),
        "Ask name and birth date; compare with this page. Compare the eye with the consent.",
        slit,
        make,
        "Let the patient blink, look again: both marks on the slit? Else mark again.",
        "Write down time, posture and the true angle of each mark below.",
    ];
    let style = Style::regular(9.5);
    for (number, step) in (1..).zip(steps) {
        page.text(x, y, Style::bold(9.5), format!("{number}"));
        let broken = layout::wrap(step, width - 6.0, style)?;
        y = lines(page, x + 6.0, y, style, &broken) + 2.0;
    }
    if let Work::Realignment(plan) = &released.plan().computation().work {
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

fn table(page: &mut Page, released: &Released, top: f64, frame: &Frame<'_>) {
    let eye = released.plan().computation().eye;
    let marks = &released.plan().order().marks;
    page.text(LEFT, top, Style::bold(11.0), "THE TWO MARKS");
    let columns = [LEFT, 62.0, 88.0, 138.0, 170.0, RIGHT];
    let head = top + 6.5;
    for (x, text) in columns.iter().zip(["MARK", "TIME", "POSTURE", "TRUE ANGLE", "MADE BY"]) {
        label(page, x + 1.5, head, text);
    }
    let (first, second) = match (on_target(released), eye) {
        (Some(_), _) => ("UPPER mark", "LOWER mark"),
        (None, Eye::Right) => ("NASAL mark, at 0", "TEMPORAL mark, at 180"),
        (None, Eye::Left) => ("TEMPORAL mark, at 0", "NASAL mark, at 180"),
    };
    let marked = released.plan().order().marked.as_ref();
    let made_at = marked.and_then(|marked| marked.at).map(|at| made_at(at, frame));
    let made_by = marked.map(|marked| words::legible(&marked.by)).filter(|by| !by.trim().is_empty());
    let posture = marked.and_then(|marked| marked.posture);
    let measured = marks.are_entered() && on_target(released).is_none();
    let entered = |degrees: f64| measured.then(|| round::direction(Direction::wrapping(degrees)));
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
            if posture.is_some_and(|posture| posture.word() == word) {
                page.check_mark((88.0 + offset + 0.7, y + 8.2), 2.8, Stroke::solid(0.5));
            }
            page.text(88.0 + offset + 5.4, y + 8.4, Style::regular(9.5), word);
        }
        if let Some(angle) = angle {
            page.tagged(138.0 + 2.0, y + 9.4, Style::bold(14.0), angle, tag);
            page.text(138.0 + 17.0, y + 9.0, Style::regular(8.0), "measured");
        } else {
            blank(page, 138.0 + 2.0, y + 9.5, 22.0);
            page.text(138.0 + 25.0, y + 9.0, Style::regular(9.5), "°");
        }
        if let Some(made_at) = &made_at {
            page.tagged(63.5, y + 8.6, Style::regular(8.0), made_at.as_str(), format!("{tag}.time"));
        }
        if let Some(by) = made_by
            .as_ref()
            .filter(|by| layout::measure(by, Style::regular(8.0)).is_ok_and(|wide| wide < 26.0))
        {
            page.text(171.0, y + 8.6, Style::regular(8.0), by.as_str());
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

/// The time of a mark in the site's zone: day and hour, without the name of the zone.
pub(super) fn made_at(at: jiff::Timestamp, frame: &Frame<'_>) -> String {
    frame.facts.zone.to_datetime(at).strftime("%m-%d %H:%M").to_string()
}

/// What the dial of the site's instrument is set to, and how its line then stands.
pub(super) fn dial_words(released: &Released) -> Option<[(&'static str, String); 3]> {
    let plan = released.plan();
    let dial = plan.order().marking_way.dial?;
    let meridian = on_target(released)
        .map_or(Meridian::HORIZONTAL, |target| Meridian::wrapping(round::rounded(target.degrees(), 0)));
    let zero =
        format!("Its zero lies at {}, its numbers grow {}.", round::direction(dial.zero), dial.sense.word());
    Some([
        ("dial.zero", zero),
        ("dial.set", format!("Dial set to {}", dial.printed(meridian))),
        ("dial.lean", format!("Proof: the line is then {}.", lean(meridian))),
    ])
}

fn dial(page: &mut Page, released: &Released, top: f64) {
    page.text(LEFT, top, Style::bold(11.0), "IF AN INSTRUMENT WITH A DIAL IS USED");
    let y = top + 8.0;
    let style = Style::regular(9.5);
    if let Some([zero, set, proof]) = dial_words(released) {
        page.tagged(LEFT, y, style, zero.1, zero.0);
        page.tagged(RIGHT, y, Style::bold(12.0).right(), set.1, set.0);
        page.tagged(LEFT, y + 5.4, style, proof.1, proof.0);
        return;
    }
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

/// How far marks may disagree, and how long they last, as the site says.
pub(super) fn rule_words(
    released: &Released,
    frame_zone: &jiff::tz::TimeZone,
) -> Vec<(&'static str, String)> {
    let order = released.plan().order();
    let settings = &order.settings;
    let limit = round::fixed(settings.marks_disagree.degrees(), 0);
    let disagree = match &released.plan().computation().work {
        Work::Lens(_) | Work::Arcs { .. } | Work::Realignment(_) => format!(
            "Marks that disagree by more than {limit} degrees: check first that the ring is centred on the limbus; if it is, mark again, sitting."
        ),
        Work::Laser(_) => format!(
            "Patient lying, head straight: read both marks on the degrees of the device. If they disagree by more than {limit} degrees, stop and mark again, sitting."
        ),
    };
    let mut rules = vec![("marks.disagree", disagree)];
    let marks = &order.marks;
    let apart = (marks.opposite_side_deg() - 180.0 - marks.zero_side_deg()).abs();
    if marks.are_entered() && apart > settings.marks_disagree.degrees() + 1e-9 {
        rules.push((
            "marks.apart",
            format!(
                "THESE MARKS, AS MEASURED, ARE {} DEGREES FROM LYING OPPOSITE: centre the ring; if they still do not agree, mark again.",
                round::fixed(apart, 0)
            ),
        ));
    }
    let hours = round::fixed(settings.mark_hours, 1);
    let with = order.marking_way.made_with.printed();
    let lasts = match order.marked.as_ref().and_then(|marked| marked.at) {
        Some(at) => {
            // Whole minutes: hours are stated in tenths.
            let minutes = round::fixed(settings.mark_hours * 60.0, 0).parse().unwrap_or(0_i64);
            let until = at.checked_add(jiff::SignedDuration::from_mins(minutes)).unwrap_or(at);
            format!(
                "Marked {} ({with}); use before {}.",
                words::moment(at, frame_zone),
                words::moment(until, frame_zone)
            )
        }
        None => format!("Marks last {hours} hours here ({with}): mark no longer than that before use."),
    };
    rules.push(("marks.last", lasts));
    rules
}

fn rules(page: &mut Page, released: &Released, top: f64, frame: &Frame<'_>) -> Result<(), SheetError> {
    page.text(LEFT, top, Style::bold(11.0), "IN THEATRE");
    let mut y = top + 6.0;
    let style = Style::regular(9.5);
    let bullet = |page: &mut Page, y: f64| {
        page.rectangle((LEFT, y - 1.9), 1.3, 1.3, Paint::fill(crate::page::Ink::BLACK));
    };
    for (tag, rule) in rule_words(released, &frame.facts.zone) {
        bullet(page, y);
        let broken = layout::wrap(&rule, WIDTH - 5.0, style)?;
        y = tagged_lines(page, LEFT + 4.0, y, style, &broken, tag) + 0.6;
    }
    bullet(page, y);
    let lost = "One mark lost: use the other, by default the nasal one. Both lost or washed out: stop; do not guess.";
    let broken = layout::wrap(lost, WIDTH - 5.0, style)?;
    y = lines(page, LEFT + 4.0, y, style, &broken) + 0.6;
    page.text(
        LEFT,
        y + 1.0,
        Style::regular(8.0),
        "Source: our assumption, also for the degrees; the hours by common practice, or the site's settings.",
    );
    Ok(())
}
