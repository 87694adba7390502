//! Turning back a toric lens that is in the eye: where to, what that leaves, and whether it is worth it.

use super::compute::{Asked, Computation, Line, MisalignmentCost, Refusals, Work, bare};
use super::explain::{at, cornea_readings, d, marking, signed, step};
use super::keratometry::{self, Combined};
use super::marking::{Marking, TheatreMethod, Turn};
use super::power::{self, Power, refusal};
use super::refracted::{self, Refracted, written};
use super::settings::Settings;
use super::step::Step;
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, same_name};
use crate::optics::power::SPECTACLE_VERTEX;
use crate::optics::rotation::{best_realignment, cost_of_misalignment, scatter_of_best_axis};
use crate::optics::toric;
use crate::optics::uncertainty::ComponentSds;
use crate::units::{Degrees, Dioptre, Meridian, PowerVector, round};

/// Comparisons against a limit allow for the last bits of binary arithmetic.
const SLACK: f64 = 1e-9;

/// A toric lens that is in the eye, as a person states it.
#[derive(Debug, Clone, PartialEq)]
pub struct Implanted {
    /// Its family, as on the implant card.
    pub lens: String,
    /// Spherical equivalent at the lens plane.
    pub equivalent: Dioptre,
    /// Cylinder at the lens plane.
    pub cylinder: Dioptre,
    /// Cylinder at the corneal plane, where somebody stated it.
    pub corneal_cylinder: Option<Dioptre>,
    /// The meridian of the upright eye on which its marks were seen.
    pub axis: Meridian,
    /// The day they were seen.
    pub seen_on: jiff::civil::Date,
    /// By whom.
    pub by: String,
}

impl Implanted {
    /// `Tarn T, SE +21.50 D, CYL +2.30 D`: powers at the lens plane.
    pub fn printed(&self) -> String {
        format!("{}, SE {}, CYL {} at the lens", self.lens, signed(self.equivalent), signed(self.cylinder))
    }
}

/// What is advised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Advice {
    /// Turn the lens.
    Turn,
    /// Exchange it: a turn does not help enough.
    Exchange,
    /// Leave it: there is too little to gain, by whatever means.
    Leave,
}

impl Advice {
    /// The word of the JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Turn => "turn",
            Self::Exchange => "exchange",
            Self::Leave => "leave",
        }
    }

    /// As printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::Turn => "TURN THE LENS",
            Self::Exchange => "EXCHANGE, NOT ROTATION",
            Self::Leave => "LEAVE THE LENS",
        }
    }
}

/// The turn of a lens that is in the eye.
#[derive(Debug, Clone, PartialEq)]
pub struct RealignmentPlan {
    /// The lens.
    pub implanted: Implanted,
    /// Its cylinder at the corneal plane.
    pub corneal_cylinder: Dioptre,
    /// What that cylinder rests on, in words.
    pub corneal_from: String,
    /// The astigmatism of the eye without the lens, corneal plane.
    pub eye: PowerVector,
    /// Where the marks lie now.
    pub from: Meridian,
    /// Where they leave the least.
    pub to: Meridian,
    /// The shorter way from here to there.
    pub turn: Turn,
    /// What is left now, corneal plane.
    pub now: PowerVector,
    /// What is left on the best axis, corneal plane.
    pub residual: PowerVector,
    /// By how much that cylinder is smaller.
    pub gain: Dioptre,
    /// Whether to turn at all.
    pub advice: Advice,
    /// Why, in words.
    pub reason: String,
    /// Standard deviation of the best axis from the scatter of the refraction.
    pub scatter: Option<Degrees>,
}

impl RealignmentPlan {
    /// The turn between the axes as printed, in whole degrees, so that what stands on paper adds up.
    pub fn turn_on_paper(&self) -> Turn {
        let whole = |meridian: Meridian| Meridian::wrapping(round::rounded(meridian.degrees(), 0));
        Turn::the_shorter_way(whole(self.from).turn_to(whole(self.to)))
    }
}

fn missing(asked: &Asked<'_>, text: &str, expected: &str, next: &str) -> Refusals {
    vec![
        Finding::new(Code::U10, Severity::Refuse, text, text)
            .eye(asked.eye)
            .expected(expected)
            .found("none")
            .cited(cite::HOUSE_RULE)
            .next(next),
    ]
}

/// The cylinder of the lens at the cornea, and what it rests on.
struct AtCornea {
    cylinder: Dioptre,
    from: String,
    combined: Option<Combined>,
    power: Option<Power>,
}

/// By the eye's own ratio where a formula can be used, else as stated.
fn at_cornea(asked: &Asked<'_>, lens: &Implanted, findings: &mut Vec<Finding>) -> Result<AtCornea, Refusals> {
    let why = match by_formula(asked, lens, findings) {
        Ok(found) => return Ok(found),
        Err(why) => why,
    };
    let Some(cylinder) = lens.corneal_cylinder else {
        return Err(missing(
            asked,
            &format!("the cylinder of the lens at the cornea is not known: {why}, and none is stated"),
            "keratometry and axial length with a lens file, or the stated cylinder at the cornea",
            "bring the measurements made before the lens was put in, or state its cylinder at the corneal plane",
        ));
    };
    let from = format!("stated by {}; not computed: {why}", lens.by);
    Ok(AtCornea { cylinder, from, combined: None, power: None })
}

/// The ratio of this eye by the surgeon's formula; else why there is none, in words without numbers.
fn by_formula(asked: &Asked<'_>, lens: &Implanted, findings: &mut Vec<Finding>) -> Result<AtCornea, String> {
    if asked.surgery == CornealSurgery::Yes {
        return Err("the cornea was operated on".to_owned());
    }
    let order = asked.order.for_a_lens().ok_or("no lens family is named")?;
    let plain =
        |refusals: Refusals| refusals.first().map_or_else(String::new, |finding| finding.plain().to_owned());
    let combined = keratometry::combine(asked.selection, asked.order).map_err(plain)?;
    let mut noted = Vec::new();
    let power = power::power(asked.eye, asked.selection, &combined, asked.target, &order, &mut noted)
        .map_err(plain)?;
    let corneal = toric::corneal_cylinder(power.placement.eye(), lens.equivalent, lens.cylinder)
        .map_err(|_| "the lens does not fit the eye by the formula".to_owned())?;
    // Whether another power would be wanted now is no question of a turn.
    findings.extend(noted.into_iter().filter(|finding| finding.code() == Code::F04));
    let doubts = power.doubts(asked.eye, lens.equivalent, &[], &order);
    findings.extend(doubts.into_iter().filter(|finding| finding.code() == Code::F01));
    let from = format!("ratio {} of this eye by {}", round::fixed(corneal.ratio, 3), power.name.label());
    Ok(AtCornea { cylinder: corneal.cylinder, from, combined: Some(combined), power: Some(power) })
}

/// Turns the lens to where it leaves the least.
pub(super) fn realignment(asked: &Asked<'_>) -> Result<Computation, Refusals> {
    let Some(lens) = &asked.order.implanted else {
        return Err(missing(
            asked,
            "nobody has stated the lens that is in the eye",
            "family, powers and present axis of the lens, with who saw it and when",
            "look at the marks at the slit lamp, dilated and upright, and enter lens and axis",
        ));
    };
    if lens.cylinder.dioptres() <= 0.0 {
        return Err(missing(
            asked,
            "the lens that is in the eye has no cylinder: there is nothing to turn",
            "a cylinder above zero",
            "check the implant card",
        ));
    }
    another_family(asked, lens)?;
    let mut findings = Vec::new();
    let refracted = refracted::of(asked, &mut findings)?;
    let corneal = at_cornea(asked, lens, &mut findings)?;
    let optics =
        |error: crate::optics::OpticsError| vec![refusal(asked.eye, &error.to_string(), error.hint())];
    let best =
        best_realignment(refracted.minus, corneal.cylinder, lens.axis, refracted.vertex).map_err(optics)?;
    let then = best.refraction_then;
    let now = refracted.at_cornea(asked)?;
    let gain = best.cylinder_now - best.cylinder_then;
    let settings = &asked.order.settings;
    let (advice, reason) = advised(best.cylinder_now, best.cylinder_then, gain, settings);
    let scatter = scatter_of_best_axis(
        settings.components.refraction.unwrap_or(ComponentSds::REFRACTION),
        corneal.cylinder,
    );
    let plan = RealignmentPlan {
        implanted: lens.clone(),
        corneal_cylinder: corneal.cylinder,
        corneal_from: corneal.from.clone(),
        eye: best.eye,
        from: lens.axis,
        to: best.best_axis,
        turn: Turn::the_shorter_way(best.turn),
        now: now.astigmatism(),
        residual: then.astigmatism(),
        gain,
        advice,
        reason,
        scatter,
    };
    findings.extend(not_worth_it(asked, &plan));
    let predicted = then.at_spectacles(SPECTACLE_VERTEX).map_err(optics)?;
    let mut computation = bare(asked, Work::Realignment(plan.clone()));
    computation.line = Some(Line::LensAxis(plan.to));
    // The horizontal is marked beside the meridian the lens lies on, so that a site that marks the target has turns here.
    let method = match asked.order.method {
        TheatreMethod::OnTarget => TheatreMethod::RingOnMarks,
        method @ (TheatreMethod::RingOnMarks | TheatreMethod::LevelRing) => method,
    };
    computation.marking =
        Some(Marking::to_axis(asked.eye, plan.to, asked.order.marks, asked.order.seat, method));
    computation.residual = Some(plan.residual);
    computation.predicted = Some(predicted);
    computation.ratio = Some(lens.cylinder.dioptres() / corneal.cylinder.dioptres());
    computation.costs = [5.0, 10.0]
        .into_iter()
        .filter_map(|off| {
            let off = Degrees::from_degrees(off);
            let cost = cost_of_misalignment(plan.eye, plan.corneal_cylinder, plan.to, off).ok()?;
            Some(MisalignmentCost { off, worst: cost.worst })
        })
        .collect();
    computation.findings = findings;
    computation.keratometry.clone_from(&corneal.combined);
    computation.steps = steps(asked, &computation, &plan, &refracted, now, corneal.power.as_ref());
    Ok(computation)
}

/// T03: list and implant card name two families.
fn another_family(asked: &Asked<'_>, lens: &Implanted) -> Result<(), Refusals> {
    let Some(family) = &asked.order.family else { return Ok(()) };
    if same_name(&family.name, &lens.lens) {
        return Ok(());
    }
    let text = format!("the lens in the eye is stated as `{}`, the list names `{}`", lens.lens, family.name);
    Err(vec![
        Finding::new(Code::T03, Severity::Refuse, text.clone(), text)
            .eye(asked.eye)
            .expected(family.name.clone())
            .found(lens.lens.clone())
            .cited(cite::HOUSE_RULE)
            .next("look at the implant card; then correct the list or the entry"),
    ])
}

/// Whether to turn, and why.
fn advised(now: Dioptre, then: Dioptre, gain: Dioptre, settings: &Settings) -> (Advice, String) {
    let (least, most) = (settings.least_gain, settings.residual_large);
    if now.dioptres() < least.dioptres() - SLACK {
        return (
            Advice::Leave,
            format!("only {} are left now: neither a turn nor an exchange can gain {}", d(now), d(least)),
        );
    }
    if gain.dioptres() < least.dioptres() - SLACK {
        return (Advice::Exchange, format!("a turn gains {}, less than {}", d(gain), d(least)));
    }
    if then.dioptres() > most.dioptres() + SLACK {
        return (
            Advice::Exchange,
            format!(
                "the best axis still leaves {}, more than {}: eye and lens do not match",
                d(then),
                d(most)
            ),
        );
    }
    (Advice::Turn, format!("a turn gains {} and leaves {}", d(gain), d(then)))
}

/// F06: the advice is not to turn.
fn not_worth_it(asked: &Asked<'_>, plan: &RealignmentPlan) -> Option<Finding> {
    let (plain, next) = match plan.advice {
        Advice::Turn => return None,
        Advice::Exchange => (
            "a turn of the lens does not help enough: exchange, not rotation",
            "think of an exchange, or turn the lens all the same with a reason",
        ),
        Advice::Leave => (
            "there is too little astigmatism to gain by a turn of the lens",
            "leave the lens, or turn it all the same with a reason",
        ),
    };
    Some(
        Finding::new(Code::F06, Severity::SignOff, format!("{plain}: {}", plan.reason), plain)
            .eye(asked.eye)
            .expected(format!(
                "a gain of {} or more, and at most {} left",
                d(asked.order.settings.least_gain),
                d(asked.order.settings.residual_large)
            ))
            .found(format!("gain {}, {} left", d(plan.gain), d(plan.residual.cylinder())))
            .cited(Settings::LEAST_GAIN_SOURCE)
            .next(next),
    )
}

fn steps(
    asked: &Asked<'_>,
    computation: &Computation,
    plan: &RealignmentPlan,
    refracted: &Refracted<'_>,
    now: crate::optics::refraction::Refraction,
    power: Option<&Power>,
) -> Vec<Step> {
    let lens = &plan.implanted;
    let seen = format!("seen on {} by {}", lens.seen_on, lens.by);
    let mut steps = Vec::new();
    if power.is_some() {
        steps.extend(cornea_readings(computation, asked.selection));
    }
    steps.push(refracted.step(now));
    let mut inputs =
        vec![("lens", lens.printed(), seen.clone()), ("marks lie on", round::meridian(lens.axis), seen)];
    if let Some(power) = power {
        inputs.push((
            "lens depth",
            format!("{} mm", round::fixed(power.placement.eye().lens_depth().millimetres(), 2)),
            format!(
                "{}, axial length {} mm",
                power.formula.source().cited(),
                round::fixed(power.axial_length.millimetres(), 2)
            ),
        ));
    }
    steps.push(step(
        "Cylinder of the lens at the cornea",
        "C cornea = z(P - C/2) - z(P + C/2),  z(P) = V/(1 + d V/n),  V = n/(L - d) - P; else as stated",
        inputs,
        format!("{}: {}", d(plan.corneal_cylinder), plan.corneal_from),
        cite::FAM_LIM_2007,
    ));
    steps.push(step(
        "Astigmatism of the eye without the lens",
        "E = R + L, as vectors at the corneal plane: refraction left plus lens where it lies",
        vec![
            ("left now", at(plan.now), String::new()),
            (
                "lens",
                format!("{} on {}", d(plan.corneal_cylinder), round::meridian(plan.from)),
                String::new(),
            ),
        ],
        at(plan.eye),
        cite::BERDAHL_2012,
    ));
    steps.push(step(
        "Best axis and turn",
        "axis = arg(E)/2; turn the shorter way; left | |E| - C |; the mean sphere does not change",
        vec![
            ("present axis", round::meridian(plan.from), String::new()),
            ("best axis", round::meridian(plan.to), String::new()),
        ],
        format!("{}, leaves {}, gains {}", plan.turn.printed(), d(plan.residual.cylinder()), d(plan.gain)),
        cite::BERDAHL_2012,
    ));
    if let Some(predicted) = computation.predicted {
        steps.push(step(
            "Predicted refraction at spectacles",
            "mean sphere of now and the residual, at the cornea; to spectacles as a 2x2 matrix, vertex 12 mm",
            Vec::new(),
            written(predicted),
            cite::LONG_1976,
        ));
    }
    if let Some(scatter) = plan.scatter {
        let sd = asked.order.settings.components.refraction.unwrap_or(ComponentSds::REFRACTION);
        steps.push(step(
            "Scatter of the best axis from the refraction",
            "SD = (180/pi) s / (2 C)",
            vec![("s of one component", d(sd), Settings::BUDGET_SOURCE.cited())],
            format!("{} deg", round::fixed(scatter.degrees(), 1)),
            cite::AXIS_FROM_VECTOR,
        ));
    }
    steps.push(step(
        "Turn, exchange or leave",
        "turn when it gains enough and leaves little enough; exchange when it does not; leave when there is nothing to gain",
        vec![
            ("least gain", d(asked.order.settings.least_gain), "setting".to_owned()),
            ("most left", d(asked.order.settings.residual_large), "setting".to_owned()),
        ],
        format!("{}: {}", plan.advice.word(), plan.reason),
        Settings::LEAST_GAIN_SOURCE,
    ));
    steps.extend(marking(computation));
    steps
}
