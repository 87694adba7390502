//! A corneal laser: the axis of the treatment on an eye that turns when the patient lies down.
//!
//! The treatment is the upright eye's. Nothing is added to it here: no nomogram of a device is known.

use super::compute::{Asked, Computation, Line, Refusals, Work, bare};
use super::explain::{d, signed, step};
use super::marking::Turn;
use super::power::refusal;
use super::refracted::{self, Refracted, written};
use super::settings::Settings;
use super::step::Step;
use super::surgeon::view_eye;
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::model::Eye;
use crate::optics::refraction::Refraction;
use crate::optics::rotation::loss_by_residual;
use crate::optics::torsion;
use crate::units::{Degrees, Dioptre, Meridian, round};

/// How far from the mark's upright angle the table of readings goes on either side, degrees. Source: our own choice, as for
/// the level ring; a mark read farther off is not trusted.
const TABLE_REACH_DEG: i16 = 15;

/// What a laser is asked for beside the readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LaserOrder {
    /// True angle of the reference mark in the upright eye; the nasal mark's where nobody states another.
    pub mark_upright: Option<Meridian>,
    /// Where that mark is read once the patient lies; unknown before.
    pub mark_lying: Option<Meridian>,
    /// Whether the device finds the torsion and turns the axis by itself; the surgeon's file may state it too.
    pub device_turns_axis: Option<bool>,
    /// The treatment, in the plane of the refraction, when it is not the refraction.
    pub treatment: Option<Refraction>,
}

/// Which way an eye has turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Torsion {
    /// 12 o'clock to the temple.
    Excyclotorsion,
    /// 12 o'clock to the nose.
    Incyclotorsion,
    /// Not at all.
    None,
}

impl Torsion {
    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Excyclotorsion => "excyclotorsion",
            Self::Incyclotorsion => "incyclotorsion",
            Self::None => "none",
        }
    }

    /// Of a turn of one eye, positive anticlockwise as seen from the front. Source: ISO 8429 for the sense.
    fn of(eye: Eye, anticlockwise: Degrees) -> Self {
        // Turned back into excyclotorsion: the change of sign of a left eye is its own inverse.
        let outwards = torsion::anticlockwise(anticlockwise, view_eye(eye)).degrees();
        if outwards > 0.0 {
            Self::Excyclotorsion
        } else if outwards < 0.0 {
            Self::Incyclotorsion
        } else {
            Self::None
        }
    }
}

/// A shift of the axis on the bed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Size and way, as seen from in front of the eye or through the microscope.
    pub turn: Turn,
    /// What the eye did.
    pub torsion: Torsion,
}

impl Shift {
    /// The shift of one eye by a turn, positive anticlockwise as seen from the front.
    pub fn of(eye: Eye, anticlockwise: Degrees) -> Self {
        Self { turn: Turn::the_shorter_way(anticlockwise), torsion: Torsion::of(eye, anticlockwise) }
    }

    /// `5 anticlockwise, excyclotorsion`.
    pub fn printed(&self) -> String {
        match self.torsion {
            Torsion::None => "no shift".to_owned(),
            Torsion::Excyclotorsion | Torsion::Incyclotorsion => {
                format!("{}, {}", self.turn.printed(), self.torsion.word())
            }
        }
    }
}

/// One line of the table: where the mark is read on the bed, and the axis there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaserRow {
    /// Where the mark is read.
    pub read: Meridian,
    /// The axis on the bed.
    pub axis: Meridian,
    /// The shift.
    pub shift: Shift,
}

/// What is left when an axis is off and nobody shifts it: at the corneal plane, the mean sphere unchanged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncompensated {
    /// How far off.
    pub off: Degrees,
    /// The cylinder that is left.
    pub cylinder: Dioptre,
    /// The sphere beside it.
    pub sphere: Dioptre,
}

/// A laser treatment and its axis.
#[derive(Debug, Clone, PartialEq)]
pub struct LaserPlan {
    /// The treatment in minus form, in the plane of the refraction.
    pub treatment: Refraction,
    /// Whether somebody stated it; else it is the refraction.
    pub stated: bool,
    /// Its minus-cylinder axis in the upright eye.
    pub axis_upright: Meridian,
    /// True angle of the reference mark in the upright eye.
    pub mark_upright: Meridian,
    /// Where the mark was read on the bed.
    pub mark_lying: Option<Meridian>,
    /// Whether the device turns the axis by itself: then nothing is shifted here.
    pub device_turns_axis: bool,
    /// The axis on the bed, where the mark was read and the device does not turn the axis.
    pub axis_on_bed: Option<Meridian>,
    /// The shift that leads there.
    pub shift: Option<Shift>,
    /// For a mark that has not been read yet.
    pub table: Vec<LaserRow>,
    /// The cylinder at the corneal plane.
    pub corneal_cylinder: Dioptre,
    /// What 5 and 10 degrees cost, and the entered shift.
    pub uncompensated: Vec<Uncompensated>,
}

fn refuse(asked: &Asked<'_>, text: &str, expected: &str, next: &str) -> Refusals {
    vec![
        Finding::new(Code::U10, Severity::Refuse, text, text)
            .eye(asked.eye)
            .expected(expected)
            .found("none")
            .cited(cite::HOUSE_RULE)
            .next(next),
    ]
}

fn uncompensated(cylinder: Dioptre, off: Degrees) -> Uncompensated {
    let left = cylinder * loss_by_residual(off);
    Uncompensated { off: off.abs(), cylinder: left, sphere: left * 0.5 }
}

/// The axis of the treatment, upright and on the bed.
pub(super) fn laser(asked: &Asked<'_>) -> Result<Computation, Refusals> {
    let order = &asked.order.laser;
    let Some(device_turns_axis) = order.device_turns_axis.or(asked.order.surgeon.laser_turns_axis) else {
        return Err(refuse(
            asked,
            "nobody has stated whether the laser turns the axis by itself",
            "yes or no",
            "state `laser_turns_axis` in the surgeon's file: compensated twice, or not at all, the axis is wrong",
        ));
    };
    let mut findings = Vec::new();
    let refracted = refracted::of(asked, &mut findings)?;
    let treatment = order.treatment.map_or(refracted.minus, Refraction::minus_form);
    if treatment.cylinder().dioptres() >= 0.0 {
        return Err(refuse(
            asked,
            "the treatment has no cylinder: it has no axis",
            "a cylinder",
            "nothing to do: an axis is planned here and nothing else; a spherical treatment needs no sheet",
        ));
    }
    let at_cornea = treatment
        .at_cornea(refracted.vertex)
        .map_err(|error| vec![refusal(asked.eye, &error.to_string(), error.hint())])?;
    let corneal_cylinder = at_cornea.cylinder().abs();
    let axis_upright = treatment.axis();
    let mark_upright = order.mark_upright.unwrap_or_else(|| nasal_mark(asked));
    let shift_of = |read: Meridian| mark_upright.turn_to(read);
    let moved = order.mark_lying.map(shift_of);
    if let Some(moved) = moved {
        findings.extend(large(asked, moved));
    }
    let compensated = moved.filter(|_| !device_turns_axis);
    let mut offs = vec![Degrees::from_degrees(5.0), Degrees::from_degrees(10.0)];
    // The entered shift, unless it is printed as one of them.
    let known = |moved: &Degrees| offs.iter().any(|off| round::turn(*off) == round::turn(*moved));
    offs.extend(compensated.filter(|moved| round::turn(*moved) != "0" && !known(moved)));
    let plan = LaserPlan {
        treatment,
        stated: order.treatment.is_some(),
        axis_upright,
        mark_upright,
        mark_lying: order.mark_lying,
        device_turns_axis,
        axis_on_bed: compensated.map(|moved| axis_upright.turned(moved)),
        shift: compensated.map(|moved| Shift::of(asked.eye, moved)),
        table: if device_turns_axis || moved.is_some() {
            Vec::new()
        } else {
            table(asked.eye, axis_upright, mark_upright)
        },
        corneal_cylinder,
        uncompensated: offs.into_iter().map(|off| uncompensated(corneal_cylinder, off)).collect(),
    };
    let mut computation = bare(asked, Work::Laser(plan.clone()));
    computation.line = Some(Line::TreatmentAxis(plan.axis_on_bed.unwrap_or(axis_upright)));
    computation.findings = findings;
    computation.steps = steps(&plan, &refracted, at_cornea);
    Ok(computation)
}

/// The nasal mark of the marks that were entered; 180 where none was.
fn nasal_mark(asked: &Asked<'_>) -> Meridian {
    let marks = &asked.order.marks;
    Meridian::wrapping(match asked.eye {
        Eye::Right => marks.zero_side_deg(),
        Eye::Left => marks.opposite_side_deg(),
    })
}

fn table(eye: Eye, axis: Meridian, mark: Meridian) -> Vec<LaserRow> {
    (-TABLE_REACH_DEG..=TABLE_REACH_DEG)
        .filter_map(|turn| Degrees::computed(f64::from(turn)))
        .map(|turn| LaserRow {
            read: mark.turned(turn),
            axis: axis.turned(turn),
            shift: Shift::of(eye, turn),
        })
        .collect()
}

/// M03.
fn large(asked: &Asked<'_>, moved: Degrees) -> Option<Finding> {
    let limit = asked.order.settings.cyclotorsion_large;
    (moved.degrees().abs() > limit.degrees() + 1e-9).then(|| {
        let found = round::fixed(moved.degrees().abs(), 0);
        let plain = "the entered cyclotorsion is at the edge of what was ever measured";
        Finding::new(Code::M03, Severity::SignOff, format!("{plain}: {found} degrees"), plain)
            .eye(asked.eye)
            .expected(format!("at most {} degrees", round::turn(limit)))
            .found(format!("{found} degrees"))
            .cited(Settings::CYCLOTORSION_SOURCE)
            .next("check that the head lies straight and that the right mark was read; read it again, then confirm with a reason")
    })
}

fn steps(plan: &LaserPlan, refracted: &Refracted<'_>, at_cornea: Refraction) -> Vec<Step> {
    let mut steps = vec![refracted.step(match refracted.minus.at_cornea(refracted.vertex) {
        Ok(near) => near,
        Err(_) => at_cornea,
    })];
    let from = if plan.stated { "stated as the treatment" } else { "the refraction, nothing added" };
    steps.push(step(
        "Treatment, minus-cylinder form",
        "the minus-cylinder axis is the meridian on which the cylinder has no power; no nomogram is applied",
        vec![("treatment", written(plan.treatment), from.to_owned())],
        format!("{}; cylinder at the cornea {}", written(plan.treatment), d(plan.corneal_cylinder)),
        cite::THIBOS_1997,
    ));
    let upright = ("mark, upright", round::meridian(plan.mark_upright), String::new());
    let axis = ("axis, upright", round::meridian(plan.axis_upright), String::new());
    if plan.device_turns_axis {
        steps.push(step(
            "Axis on the bed",
            "none: the device turns the axis by itself, so that it is turned once",
            vec![axis],
            "upright axis, not shifted here".to_owned(),
            cite::HOUSE_RULE,
        ));
    } else if let (Some(bed), Some(shift), Some(lying)) = (plan.axis_on_bed, plan.shift, plan.mark_lying) {
        steps.push(step(
            "Axis on the bed",
            "axis on the bed = axis upright + (mark as read lying - mark upright), anticlockwise positive; anticlockwise is excyclotorsion of a right eye, incyclotorsion of a left",
            vec![axis, upright, ("mark, as read lying", round::meridian(lying), String::new())],
            format!("{}, {}", round::meridian(bed), shift.printed()),
            cite::ISO_8429,
        ));
    } else {
        let ends = [plan.table.first(), plan.table.last()].into_iter().flatten();
        let ends: Vec<String> = ends
            .map(|row| format!("{} -> {}", round::meridian(row.read), round::meridian(row.axis)))
            .collect();
        steps.push(step(
            "Table of the axis on the bed, for the mark as read lying",
            "axis on the bed = axis upright + (mark as read lying - mark upright)",
            vec![axis, upright],
            ends.join(" ... "),
            cite::ISO_8429,
        ));
    }
    for cost in &plan.uncompensated {
        steps.push(step(
            "What is left if the axis is off and nobody shifts it",
            "cylinder 2 C sin t, sphere C sin t, the mean sphere unchanged; at the corneal plane",
            vec![
                ("cylinder", d(plan.corneal_cylinder), String::new()),
                ("off", format!("{} deg", round::turn(cost.off)), String::new()),
            ],
            format!("{}, sphere {}", d(cost.cylinder), signed(cost.sphere)),
            cite::WILLIAMS_1993,
        ));
    }
    steps
}
