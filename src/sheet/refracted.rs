//! Page 1 of an operation that rests on a refraction: the lens that is turned back, the axis of a laser.

use super::block::{LEFT, WIDTH, fitted, label, leading, lines, tagged_lines};
use super::error::SheetError;
use super::marking;
use super::theatre::{
    COLUMN, COLUMN_BOTTOM, COLUMN_WIDTH, INSET, axis_box, beside_label, outline, ring_table, small_print,
    turns,
};
use super::words;
use crate::page::{Page, Stroke, Style, layout};
use crate::plan::{Guide, LaserPlan, RealignmentPlan, Released, Shift};
use crate::units::{Degrees, Dioptre, Meridian, round};

/// Where the column beside the diagram begins, mm.
const COLUMN_TOP: f64 = 82.0;
const AXIS_HEIGHT: f64 = 31.0;
/// Height of the box with the turn of a lens, mm.
const TURN_HEIGHT: f64 = 25.0;
/// Height of the box with the way from the marks, mm.
const MARKS_HEIGHT: f64 = 46.5;

/// `-2.00 D -3.00 D x 010`.
pub(super) fn treatment(plan: &LaserPlan) -> String {
    let refraction = plan.treatment;
    format!(
        "{} {} x {}",
        words::signed(refraction.sphere()),
        words::signed(refraction.cylinder()),
        round::meridian(plan.axis_upright)
    )
}

/// `-2.00 D -3.00 D x 010`; of a cylinder that prints as zero the sphere alone, for it has no axis.
fn spherocylinder(sphere: Dioptre, cylinder: Dioptre, axis: Meridian) -> String {
    let sphere = words::signed(sphere);
    if words::dioptres(cylinder.abs()) == "0.00 D" {
        return sphere;
    }
    format!("{sphere} {} x {}", words::signed(cylinder), round::meridian(axis))
}

/// `Tarn T, SE +21.50 D, CYL +2.30 D at the lens`.
pub(super) fn lens_in_eye(plan: &RealignmentPlan) -> String {
    words::legible(&plan.implanted.printed())
}

/// Where its marks lie, by whom and when that was seen.
pub(super) fn lens_seen(plan: &RealignmentPlan) -> String {
    format!(
        "Marks seen on {}, patient upright, {}, by {}.",
        round::meridian(plan.from),
        words::date(plan.implanted.seen_on),
        words::legible(&plan.implanted.by)
    )
}

/// The advice and why.
pub(super) fn advice(plan: &RealignmentPlan) -> String {
    format!("{}: {}", plan.advice.printed(), words::legible(&plan.reason))
}

/// Left now and then, the refraction to be expected, and how sure the axis is.
pub(super) fn forecast(plan: &RealignmentPlan, released: &Released) -> String {
    let predicted = released.plan().computation().predicted.map_or_else(String::new, |predicted| {
        let text = spherocylinder(predicted.sphere(), predicted.cylinder(), predicted.axis());
        format!("; predicted refraction {text} at 12 mm")
    });
    let sure = plan.scatter.map_or_else(String::new, |scatter| {
        format!(
            " The refraction alone lets the axis scatter by {} degrees.",
            round::fixed(scatter.degrees(), 1)
        )
    });
    format!(
        "At the cornea {} now, {} then{predicted}.{sure}",
        words::vector(plan.now),
        words::vector(plan.residual)
    )
}

/// When a lens may not be turned by this sheet. Source: the reference of the method for the tear film; common practice.
const STOP_RULE: &str = "STOP unless the tear film is stable, two refractions agree, and the marks still lie where this sheet says.";

/// The strips of a re-alignment; where the column begins.
pub(super) fn realignment(
    page: &mut Page,
    released: &Released,
    plan: &RealignmentPlan,
) -> Result<f64, SheetError> {
    outline(page, 53.0, LEFT, WIDTH, 13.5, true);
    label(page, LEFT + INSET, 56.8, "LENS IN THE EYE");
    let room = WIDTH - 2.0 * INSET;
    let (style, broken) = fitted(
        "the lens in the eye",
        &lens_in_eye(plan),
        room,
        Style::bold(14.0),
        &[(14.0, 1), (11.0, 1), (9.0, 1), (8.0, 1)],
    )?;
    tagged_lines(page, LEFT + INSET, 61.6, style, &broken, "turned.lens");
    let (style, broken) =
        fitted("who saw the lens", &lens_seen(plan), room, Style::regular(9.0), &[(9.0, 1), (8.0, 1)])?;
    tagged_lines(page, LEFT + INSET, 65.3, style, &broken, "turned.seen");
    outline(page, 67.6, LEFT, WIDTH, 13.0, false);
    let (style, broken) =
        fitted("the advice", &advice(plan), room, Style::bold(11.0), &[(11.0, 1), (9.0, 1), (8.0, 1)])?;
    tagged_lines(page, LEFT + INSET, 71.8, style, &broken, "turned.advice");
    let (style, broken) = fitted(
        "what is to be expected",
        &forecast(plan, released),
        room,
        Style::regular(8.5),
        &[(8.5, 1), (8.0, 1), (8.0, 2)],
    )?;
    tagged_lines(page, LEFT + INSET, 75.8, style, &broken, "turned.forecast");
    Ok(COLUMN_TOP)
}

/// The column of a re-alignment: where to, the turn from where the lens lies, the way from the marks.
pub(super) fn realignment_column(
    page: &mut Page,
    released: &Released,
    plan: &RealignmentPlan,
    top: f64,
) -> Result<(), SheetError> {
    let note = "the lens marks belong on this meridian of the eye";
    let mut y = axis_box(page, (top, AXIS_HEIGHT), ("BEST AXIS", "lens.axis"), plan.to, note)?;
    outline(page, y, COLUMN, COLUMN_WIDTH, TURN_HEIGHT, true);
    let x = COLUMN + INSET;
    label(page, x, y + 4.6, "TURN FROM WHERE THE LENS LIES");
    let by = plan.turn_on_paper();
    let digits = round::fixed(by.degrees, 0);
    let large = Style::bold(28.0);
    page.tagged(x, y + 15.4, large, digits.as_str(), "turned.by");
    let beside = x + layout::measure(&digits, large)? + 4.0;
    page.tagged(beside, y + 10.6, Style::bold(13.0), by.direction.word(), "turned.direction");
    let way = format!("from {} to {}", round::meridian(plan.from), round::meridian(plan.to));
    page.tagged(beside, y + 15.6, Style::bold(11.0), way, "turned.way");
    small_print(
        page,
        y + 19.8,
        "The shorter way, as seen through the microscope. Mark the limbus where the lens lies now, upright.",
    )?;
    y += TURN_HEIGHT + 2.0;
    outline(page, y, COLUMN, COLUMN_WIDTH, MARKS_HEIGHT, false);
    stop_box(page, y + MARKS_HEIGHT + 2.0)?;
    let Some(marking) = marking::on_paper(released) else { return Ok(()) };
    match &marking.guide {
        Guide::Turns { from_nasal, from_temporal, sum_deg } => {
            let how = "RING ON THE MARKS: its 0-180 line through both marks; read the axis on the ring. Both ways must end \
                on one meridian; else stop.";
            turns(page, y, "FROM THE MARKS", &marking, (from_nasal, from_temporal, *sum_deg), how)
        }
        // A lens that is turned is never marked on its target: the plan gives turns there.
        Guide::OnTarget { .. } => Ok(()),
        Guide::RingTable { settings, temporal_adds_deg } => {
            label(page, x, y + 4.6, "LEVEL RING: READ, SET");
            beside_label(page, &marking, y + 4.6, "the same axis");
            ring_table(page, settings, y + 8.6);
            let temporal = marking::temporal_reading(*temporal_adds_deg);
            let how =
                format!("Ring level, its 90 to the forehead. NASAL mark read, axis in bold. {temporal}");
            small_print(page, y + 39.0, &how)
        }
    }
}

/// When not to turn, to the end of the column.
fn stop_box(page: &mut Page, top: f64) -> Result<(), SheetError> {
    outline(page, top, COLUMN, COLUMN_WIDTH, COLUMN_BOTTOM - top, true);
    let style = Style::bold(8.0);
    let broken = layout::wrap(STOP_RULE, COLUMN_WIDTH - 2.0 * INSET, style)?;
    lines(page, COLUMN + INSET, top + 4.0, style, &broken);
    Ok(())
}

/// The strips of a laser; where the column begins.
pub(super) fn laser(page: &mut Page, plan: &LaserPlan) -> Result<f64, SheetError> {
    outline(page, 53.0, LEFT, WIDTH, 13.5, true);
    let of = if plan.stated { "TREATMENT AS STATED" } else { "TREATMENT: THE REFRACTION, NOTHING ADDED" };
    label(page, LEFT + INSET, 56.8, &format!("{of}; MINUS CYLINDER AND ITS AXIS, UPRIGHT EYE"));
    page.tagged(LEFT + INSET, 64.3, Style::bold(21.0), treatment(plan), "laser.treatment");
    outline(page, 67.6, LEFT, WIDTH, 13.0, false);
    let room = WIDTH - 2.0 * INSET;
    let text = if plan.device_turns_axis {
        "THE DEVICE TURNS THE AXIS ITSELF: enter the upright axis, shift nothing by hand."
    } else {
        "THE AXIS IS SHIFTED ONCE, BY HAND, FROM THE MARK: switch off whatever in the device turns it."
    };
    let (style, broken) =
        fitted("who shifts the axis", text, room, Style::bold(11.0), &[(11.0, 1), (9.0, 1)])?;
    lines(page, LEFT + INSET, 71.8, style, &broken);
    let (style, broken) =
        fitted("what an axis off costs", &costs(plan), room, Style::regular(8.5), &[(8.5, 1), (8.0, 2)])?;
    tagged_lines(page, LEFT + INSET, 75.6, style, &broken, "laser.costs");
    Ok(COLUMN_TOP)
}

/// What is left where the axis is off, at the corneal plane.
pub(super) fn costs(plan: &LaserPlan) -> String {
    let each: Vec<String> = plan
        .uncompensated
        .iter()
        .map(|cost| {
            format!(
                "{} degrees off leave {}, sphere {}",
                round::turn(cost.off),
                words::dioptres(cost.cylinder),
                words::signed(cost.sphere)
            )
        })
        .collect();
    format!("Not shifted, at the cornea: {}.", each.join("; "))
}

/// Angles as printed: whole degrees, so that what stands on paper adds up.
pub(super) fn whole(meridian: Meridian) -> Meridian {
    Meridian::wrapping(round::rounded(meridian.degrees(), 0))
}

/// The column of a laser: the axis, and the way to it on the bed.
pub(super) fn laser_column(
    page: &mut Page,
    released: &Released,
    plan: &LaserPlan,
    top: f64,
) -> Result<(), SheetError> {
    let (heading, tag, note) = if plan.axis_on_bed.is_some() {
        ("ON BED", "laser.bed", "minus-cylinder axis on the bed: enter this one")
    } else if plan.device_turns_axis {
        ("UPRIGHT", "laser.axis", "minus-cylinder axis, upright: enter this one")
    } else {
        ("UPRIGHT", "laser.axis", "minus-cylinder axis; shift it by the table")
    };
    let axis = shown_axis(plan);
    let y = axis_box(page, (top, AXIS_HEIGHT), (heading, tag), axis, note)?;
    outline(page, y, COLUMN, COLUMN_WIDTH, COLUMN_BOTTOM - y, false);
    let x = COLUMN + INSET;
    if plan.device_turns_axis {
        label(page, x, y + 4.6, "ON THE BED");
        return small_print(
            page,
            y + 10.0,
            "The device finds by itself how far the eye has turned and turns the axis by that. No table and no shift stands \
             here: turned twice, the axis would be wrong by as much as it was turned. If the device does not find the eye \
             again, stop: this sheet does not say how to shift by hand.",
        );
    }
    match (plan.shift, plan.mark_lying) {
        (Some(shift), Some(lying)) => {
            shifted(page, plan, shift_on_paper(released, plan).unwrap_or(shift), lying, y)
        }
        _ => table(page, released, plan, y),
    }
}

/// The axis of the large digits.
pub(super) fn shown_axis(plan: &LaserPlan) -> Meridian {
    match plan.mark_lying.filter(|_| plan.axis_on_bed.is_some()) {
        Some(lying) => whole(plan.axis_upright).turned(whole(plan.mark_upright).turn_to(whole(lying))),
        None => plan.axis_upright,
    }
}

/// The shift between the angles as printed.
pub(super) fn shift_on_paper(released: &Released, plan: &LaserPlan) -> Option<Shift> {
    let moved = whole(plan.mark_upright).turn_to(whole(plan.mark_lying?));
    Some(Shift::of(released.plan().computation().eye, moved))
}

/// How the shift came about.
pub(super) fn shift_words(plan: &LaserPlan, lying: Meridian) -> String {
    format!(
        "Mark upright {}, read lying {}. Axis upright {}, on the bed {}.",
        round::meridian(plan.mark_upright),
        round::meridian(lying),
        round::meridian(plan.axis_upright),
        round::meridian(shown_axis(plan))
    )
}

fn shifted(
    page: &mut Page,
    plan: &LaserPlan,
    shift: Shift,
    lying: Meridian,
    top: f64,
) -> Result<(), SheetError> {
    let x = COLUMN + INSET;
    label(page, x, top + 4.6, "SHIFT ON THE BED");
    let digits = round::fixed(shift.turn.degrees, 0);
    let large = Style::bold(34.0);
    page.tagged(x, top + 18.0, large, digits.as_str(), "laser.shift");
    let beside = x + layout::measure(&digits, large)? + 4.0;
    let none = digits == "0";
    let (way, torsion) =
        if none { ("no shift", "no torsion") } else { (shift.turn.direction.word(), shift.torsion.word()) };
    page.tagged(beside, top + 13.0, Style::bold(13.0), way, "laser.shift.direction");
    page.tagged(beside, top + 18.0, Style::bold(11.0), torsion, "laser.shift.torsion");
    let room = COLUMN_WIDTH - 2.0 * INSET;
    let (style, broken) =
        fitted("the shift", &shift_words(plan, lying), room, Style::regular(9.5), &[(9.5, 3), (8.5, 3)])?;
    let y = tagged_lines(page, x, top + 25.0, style, &broken, "laser.shift.words");
    small_print(
        page,
        y + 3.0,
        "Clockwise is as seen through the microscope, the same from every seat. It is already in the axis above: shift \
         nothing more. Read the mark again before the treatment; if it has moved, stop.",
    )
}

/// The shift by so many whole degrees, either way, for the table.
pub(super) fn table_shift(released: &Released, degrees: f64) -> Shift {
    let turn = Degrees::computed(degrees).unwrap_or(Degrees::from_degrees(0.0));
    Shift::of(released.plan().computation().eye, turn)
}

/// Heading of one half of the table.
pub(super) fn half_words(released: &Released, anticlockwise: bool) -> String {
    let shift = table_shift(released, if anticlockwise { 1.0 } else { -1.0 });
    format!("{}: {}", shift.turn.direction.word().to_uppercase(), shift.torsion.word())
}

/// Two columns of fifteen lines: how far, where the mark is read, and in bold the axis there.
fn table(page: &mut Page, released: &Released, plan: &LaserPlan, top: f64) -> Result<(), SheetError> {
    let x = COLUMN + INSET;
    label(page, x, top + 4.6, "ON THE BED: MARK READ, AXIS");
    let (mark, axis) = (whole(plan.mark_upright), whole(plan.axis_upright));
    let none = format!("Mark read at {}, as upright: axis {}.", round::meridian(mark), round::meridian(axis));
    page.tagged(x, top + 9.2, Style::bold(9.0), none, "laser.level");
    let each = (COLUMN_WIDTH - 2.0 * INSET) / 2.0 + 1.5;
    for (column, anticlockwise) in [(0.0, true), (1.0, false)] {
        let left = x + column * each;
        let mut y = top + 14.6;
        let style = Style::bold(8.0);
        for line in layout::wrap(&half_words(released, anticlockwise), each - 2.0, style)? {
            page.text(left, y, style, line);
            y += leading(8.0);
        }
        for (offset, head) in [(0.0, "by"), (7.0, "mark"), (17.0, "axis")] {
            page.text(left + offset, y, Style::regular(8.0), head);
        }
        page.line((left, y + 1.0), (left + each - 4.0, y + 1.0), Stroke::solid(0.2));
        y += leading(9.5);
        for step in 1_u8..=15 {
            let by = if anticlockwise { f64::from(step) } else { -f64::from(step) };
            let turn = table_shift(released, by).turn;
            let size = round::fixed(turn.degrees, 0);
            let moved = Degrees::computed(by).unwrap_or(Degrees::from_degrees(0.0));
            let read = round::meridian(mark.turned(moved));
            page.text(left, y, Style::regular(9.0), size);
            page.text(left + 7.0, y, Style::regular(9.0), read.as_str());
            let set = round::meridian(axis.turned(moved));
            page.tagged(left + 17.0, y, Style::bold(9.5), set, format!("laser.at-{read}"));
            y += leading(8.8);
        }
    }
    small_print(
        page,
        COLUMN_BOTTOM - 5.4,
        "Patient lying, head straight: read the mark on the degrees of the device. Beyond the table: stop.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_degrees_are_kept_on_the_circle() {
        assert_eq!(round::meridian(whole(Meridian::wrapping(179.7))), "180");
        assert_eq!(round::meridian(whole(Meridian::wrapping(0.2))), "180");
    }
}
