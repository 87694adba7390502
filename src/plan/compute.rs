//! The computation itself: from the readings that count to lens, axis, residual and turns.
//!
//! Pure, and the same for a trial and a plan; what may be done with the result is decided at the doors.

use super::act::Act;
use super::arcs::ArcsPlan;
use super::arcs_planned;
use super::astigmatism;
use super::budget::{Budget, BudgetShare};
use super::choose::{self, Chosen};
use super::compare::{self, IncisionOrStep};
use super::explain;
use super::keratometry::{self, Combined};
use super::laser::{self, LaserPlan};
use super::lens::LensKind;
use super::marked;
use super::marking::Marking;
use super::notice;
use super::order::{LensOrder, Order};
use super::phakic;
use super::posterior::{self, OtherModel};
use super::power::{self, Beside, Power};
use super::realign::{self, RealignmentPlan};
use super::step::Step;
use super::surgeon::PosteriorChoice;
use crate::checks::{Selection, Weight};
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, Eye, ListEntry, Procedure};
use crate::optics::power::SPECTACLE_VERTEX;
use crate::optics::refraction::Refraction;
use crate::optics::rotation::{self, cost_of_misalignment};
use crate::optics::toric::{ToricLens, predicted_refraction};
use crate::optics::uncertainty::Chances;
use crate::units::{Degrees, Dioptre, Direction, KeratometricIndex, Meridian, Millimetre, PowerVector};

/// The words of the astigmatism steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StepWord {
    /// As measured.
    Measured,
    /// Of the posterior cornea.
    PosteriorCornea,
    /// Of the incision.
    Incision,
    /// What the lens is to correct, in terms of the formula's index.
    ToCorrect,
}

impl StepWord {
    /// The word of the JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::PosteriorCornea => "posterior_cornea",
            Self::Incision => "incision",
            Self::ToCorrect => "to_correct",
        }
    }

    /// As printed.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::Measured => "Measured, mean of the sources",
            Self::PosteriorCornea => "Posterior cornea",
            Self::Incision => "Incision",
            Self::ToCorrect => "To correct",
        }
    }
}

/// One step from the measured astigmatism to the one the lens corrects: corneal plane, plus cylinder.
#[derive(Debug, Clone, PartialEq)]
pub struct AstigmatismStep {
    /// Which step.
    pub word: StepWord,
    /// What this step adds.
    pub own: PowerVector,
    /// The sum so far.
    pub total: PowerVector,
    /// Source with its mark, or who stated it.
    pub source: String,
}

/// How the incision of a choice is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum IncisionKind {
    /// Where the surgeon usually makes it, or where the list wants it.
    Usual,
    /// On the steep meridian.
    OnSteepMeridian,
    /// Two, opposite each other on the steep meridian.
    OppositeOnSteepMeridian,
}

/// The chance of what will be left, fractions, and its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResidualChance {
    /// Chances within 0.25, 0.50 and 0.75 D.
    pub chances: Chances,
    /// Expected magnitude.
    pub expected: Dioptre,
    /// Median magnitude.
    pub median: Dioptre,
    /// Magnitude not exceeded in 95 of 100.
    pub p95: Dioptre,
}

/// One lens that could be taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Name: `spherical lens`, or the step's code.
    pub name: String,
    /// Spherical equivalent at the lens plane.
    pub equivalent: Dioptre,
    /// Cylinder at the lens plane.
    pub cylinder: Dioptre,
    /// Cylinder at the corneal plane.
    pub corneal_cylinder: Dioptre,
    /// The meridian for the lens marks; none for a spherical lens.
    pub axis: Option<Meridian>,
    /// Which incision.
    pub incision: IncisionKind,
    /// What it leaves at the corneal plane.
    pub residual: PowerVector,
    /// The chance that at most 0.50 D is left, a fraction.
    pub chance_within_0_50: Option<f64>,
    /// Whether the family makes this step in this power.
    pub made: bool,
    /// Whether it is the plan's lens.
    pub chosen: bool,
}

/// One row of the power table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerRow {
    /// Spherical equivalent of the lens.
    pub equivalent: Dioptre,
    /// Predicted spherical equivalent of the refraction at spectacles.
    pub predicted: Dioptre,
    /// Whether it is the plan's power.
    pub chosen: bool,
}

/// The lens of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct LensPlan {
    /// Family.
    pub family: String,
    /// The one line AS ON THE BOX.
    pub box_line: String,
    /// Code of the step; none for a spherical or an entered lens outside the family.
    pub code: Option<String>,
    /// Spherical equivalent at the lens plane.
    pub equivalent: Dioptre,
    /// Least principal power: equivalent minus half the cylinder.
    pub sphere: Dioptre,
    /// Cylinder at the lens plane.
    pub cylinder: Dioptre,
    /// Cylinder at the corneal plane; none where no formula may be used.
    pub corneal_cylinder: Option<Dioptre>,
    /// The meridian of the eye on which the marks go.
    pub axis: Option<Meridian>,
    /// Entered by the surgeon, not computed: by whom, how found, why.
    pub entered: Option<super::order::Entered>,
}

/// What a lens off its axis costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MisalignmentCost {
    /// How far off.
    pub off: Degrees,
    /// The larger of the two residual cylinders, corneal plane.
    pub worst: Dioptre,
}

/// The incision as planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncisionPlan {
    /// Where.
    pub at: Direction,
    /// How wide, if stated.
    pub width: Option<Millimetre>,
    /// How much flatter its own meridian becomes; none where the surgeon's file states no effect.
    pub flattening: Option<Dioptre>,
}

/// The one line across the eye: where the marks lead to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Line {
    /// The axis of a toric lens.
    LensAxis(Meridian),
    /// The steep meridian, on which the incision is made.
    SteepMeridian(Meridian),
    /// The minus-cylinder axis of a laser treatment: on the bed, where the mark was read there, else upright.
    TreatmentAxis(Meridian),
}

impl Line {
    /// The meridian.
    pub const fn meridian(self) -> Meridian {
        match self {
            Self::LensAxis(meridian) | Self::SteepMeridian(meridian) | Self::TreatmentAxis(meridian) => {
                meridian
            }
        }
    }
}

/// What is done to the eye: the part of a plan that differs from operation to operation.
#[derive(Debug, Clone, PartialEq)]
pub enum Work {
    /// A lens is put in the eye, toric or not.
    Lens(LensPlan),
    /// Arcs are cut.
    Arcs {
        /// The arcs.
        arcs: Box<ArcsPlan>,
        /// The lens that is put in the eye beside them.
        lens: Option<LensPlan>,
    },
    /// A toric lens that is in the eye is turned.
    Realignment(RealignmentPlan),
    /// The cornea is treated with a laser.
    Laser(LaserPlan),
}

/// Everything computed for one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct Computation {
    /// The eye.
    pub eye: Eye,
    /// What is done.
    pub act: Act,
    /// The line across the eye; none for a spherical lens through its usual incision.
    pub line: Option<Line>,
    /// Combined keratometry; none where the operation rests on none.
    pub keratometry: Option<Combined>,
    /// From measured to correct.
    pub astigmatism: Vec<AstigmatismStep>,
    /// The posterior model that was used; none where the operation rests on no cornea.
    pub posterior: Option<PosteriorChoice>,
    /// What the other posterior models would leave to correct.
    pub other_posterior: Vec<OtherModel>,
    /// The incision; none when no place is known.
    pub incision: Option<IncisionPlan>,
    /// Name of the planning formula; none where no formula may be used.
    pub formula: Option<String>,
    /// Lens depth.
    pub lens_depth: Option<Millimetre>,
    /// Cylinder at the lens plane over that at the corneal plane, no unit.
    pub ratio: Option<f64>,
    /// What is done.
    pub work: Work,
    /// What it leaves at the corneal plane; none where no formula may be used.
    pub residual: Option<PowerVector>,
    /// Predicted refraction at spectacles, 12 mm, minus form.
    pub predicted: Option<Refraction>,
    /// How sure.
    pub chance: Option<ResidualChance>,
    /// What each part of the error budget contributes to the scatter of the residual; empty where there is no chance.
    pub shares: Vec<BudgetShare>,
    /// Whether moving the incision would serve the eye better than what is planned.
    pub incision_or_step: Option<IncisionOrStep>,
    /// Powers, nearest to the target first.
    pub powers: Vec<PowerRow>,
    /// What the other formulas predict with the plan's power.
    pub beside: Vec<Beside>,
    /// Every lens that could be taken.
    pub choices: Vec<Choice>,
    /// Cost of 5 and 10 degrees.
    pub costs: Vec<MisalignmentCost>,
    /// The way from the marks to the line; none where there is no line.
    pub marking: Option<Marking>,
    /// Target refraction.
    pub target: Dioptre,
    /// Every step with its source.
    pub steps: Vec<Step>,
    /// What the plan itself noticed.
    pub findings: Vec<Finding>,
}

impl Computation {
    /// The lens that is put in the eye; none where none is.
    pub const fn lens(&self) -> Option<&LensPlan> {
        match &self.work {
            Work::Lens(lens) => Some(lens),
            Work::Arcs { lens, .. } => lens.as_ref(),
            Work::Realignment(_) | Work::Laser(_) => None,
        }
    }

    /// The arcs that are cut; none where none are.
    pub fn arcs(&self) -> Option<&ArcsPlan> {
        match &self.work {
            Work::Arcs { arcs, .. } => Some(arcs),
            Work::Lens(_) | Work::Realignment(_) | Work::Laser(_) => None,
        }
    }
}

/// What the plan refuses: at least one refusing finding.
pub(super) type Refusals = Vec<Finding>;

/// What every operation is computed from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    pub(super) eye: Eye,
    pub(super) act: Act,
    pub(super) selection: &'a Selection,
    pub(super) entry: &'a ListEntry,
    pub(super) surgery: CornealSurgery,
    pub(super) target: Dioptre,
    pub(super) order: &'a Order,
}

/// A computation with nothing in it but what is done.
pub(super) fn bare(asked: &Asked<'_>, work: Work) -> Computation {
    Computation {
        eye: asked.eye,
        act: asked.act,
        line: None,
        keratometry: None,
        astigmatism: Vec::new(),
        posterior: None,
        other_posterior: Vec::new(),
        incision: None,
        formula: None,
        lens_depth: None,
        ratio: None,
        work,
        residual: None,
        predicted: None,
        chance: None,
        shares: Vec::new(),
        incision_or_step: None,
        powers: Vec::new(),
        beside: Vec::new(),
        choices: Vec::new(),
        costs: Vec::new(),
        marking: None,
        target: asked.target,
        steps: Vec::new(),
        findings: Vec::new(),
    }
}

/// Computes for the readings that count.
pub(super) fn compute(
    eye: Eye,
    selection: &Selection,
    entry: &ListEntry,
    surgery: CornealSurgery,
    order: &Order,
) -> Result<Computation, Refusals> {
    let act = planned_act(eye, entry)?;
    let target = entry.target.as_ref().map(|target| target.value.target).ok_or_else(|| {
        vec![
            Finding::new(Code::T01, Severity::Refuse, "no target refraction", "no target refraction")
                .eye(eye),
        ]
    })?;
    let asked = Asked { eye, act, selection, entry, surgery, target, order };
    let mut computation = match act {
        Act::ToricLens | Act::SphericalLens | Act::OnAxisIncision | Act::ManualSmallIncision => {
            lens_operation(&asked)?
        }
        Act::Arcs => arcs_planned::operation(&asked)?,
        Act::PhakicLens => phakic::phakic(&asked)?,
        Act::Laser => laser::laser(&asked)?,
        Act::Realignment => realign::realignment(&asked)?,
    };
    let of_marks =
        order.marked.iter().flat_map(|marked| marked::findings(eye, marked, entry, &order.settings));
    computation.findings.extend(of_marks);
    Ok(computation)
}

/// A lens behind the cornea as it will be: its power, its cylinder, its axis, and what they leave.
pub(super) fn lens_operation(asked: &Asked<'_>) -> Result<Computation, Refusals> {
    let &Asked { eye, act, selection, surgery, target, order, .. } = asked;
    let combined = keratometry::combine(selection, order)?;
    let Some(lens_order) = order.for_a_lens() else { return Err(vec![no_family(eye)]) };
    if lens_order.family.kind == LensKind::Phakic {
        return Err(vec![phakic::not_for_this(eye, lens_order.family)]);
    }
    if surgery == CornealSurgery::Yes && order.entered.is_none() {
        return Err(vec![refused_after_surgery(eye)]);
    }
    // The power comes first: a model of the posterior cornea may ask for the lens the reading alone would call for. What it
    // finds still stands behind what is found on the way to the astigmatism.
    let mut found_by_power = Vec::new();
    let power = if surgery == CornealSurgery::Yes {
        None
    } else {
        let power = power::power(eye, selection, &combined, target, &lens_order, &mut found_by_power);
        match (power, order.entered.is_some()) {
            (Ok(power), _) => Some(power),
            // An entered choice stands without a formula; what kept the formula away is said, but not a refusal.
            (Err(refusals), true) => {
                found_by_power.extend(refusals.into_iter().map(|finding| finding.weighed(Severity::Note)));
                None
            }
            (Err(refusals), false) => return Err(refusals),
        }
    };
    let mut findings = Vec::new();
    let unadjusted_lens = power.as_ref().and_then(|power| power.unadjusted_lens(combined.vector));
    let astigmatism = astigmatism::steps(asked, &combined, unadjusted_lens, &mut findings)?;
    findings.append(&mut found_by_power);
    findings.extend(posterior::from_memory(eye, astigmatism.posterior.used, order.live));
    let turn = order.marks_turned();
    let budget = Budget::of(&order.settings, &combined, astigmatism.posterior.used.is_measured(), turn);
    let to_correct = astigmatism.to_correct(power.as_ref().map(|power| power.placement.index()));
    let mut choices = match &power {
        Some(power) => choose::choices(eye, power, &astigmatism, &budget, &lens_order)?,
        None => Vec::new(),
    };
    let budget = budget.with_incision(astigmatism.scatter_made());
    let chosen = choose::chosen(
        eye,
        act,
        power.as_ref(),
        &mut choices,
        (to_correct, &budget),
        &lens_order,
        &mut findings,
    )?;
    let lens = lens_plan(&chosen, &lens_order);
    let (residual, predicted) = match &power {
        Some(power) if act.predicts_the_residual() => left_over(eye, power, to_correct, &lens)?,
        Some(_) | None => (None, None),
    };
    if !act.predicts_the_residual() {
        choices.clear();
    }
    findings.extend(notice::residual(eye, residual, &order.settings));
    findings.extend(notice::no_backup(eye, &order.surgeon));
    let chance = match (&power, lens.corneal_cylinder) {
        (Some(_), Some(cylinder)) if act.predicts_the_residual() => {
            residual_chance(to_correct, cylinder, lens.axis, &budget)
        }
        _ => None,
    };
    let shares = match (&chance, lens.corneal_cylinder) {
        (Some(_), Some(cylinder)) => budget.shares(cylinder),
        _ => Vec::new(),
    };
    let incision_or_step =
        compare::incision_or_step(eye, &choices, astigmatism.before_incision(), lens_order.family, order);
    let costs = match (lens.corneal_cylinder, lens.axis) {
        (Some(cylinder), Some(axis)) => [5.0, 10.0]
            .into_iter()
            .filter_map(|off| {
                let off = Degrees::from_degrees(off);
                let cost = cost_of_misalignment(to_correct, cylinder, axis, off).ok()?;
                Some(MisalignmentCost { off, worst: cost.worst })
            })
            .collect(),
        _ => Vec::new(),
    };
    let beside = match &power {
        Some(power) => power.beside(eye, lens_order.family, lens.equivalent),
        None => Vec::new(),
    };
    if let Some(power) = &power {
        findings.extend(power.doubts(eye, lens.equivalent, &beside, &lens_order));
    }
    let incision = astigmatism.incision();
    let line = match (act, lens.axis) {
        (_, Some(axis)) => Some(Line::LensAxis(axis)),
        (Act::OnAxisIncision, None) => incision.map(|incision| Line::SteepMeridian(incision.at.meridian())),
        (_, None) => None,
    };
    let marking =
        line.map(|line| Marking::to_axis(eye, line.meridian(), order.marks, order.seat, order.method));
    let mut computation = Computation {
        eye,
        act,
        line,
        astigmatism: astigmatism.printed(power.as_ref()),
        posterior: Some(astigmatism.posterior.used),
        other_posterior: astigmatism.other_models(
            asked,
            unadjusted_lens,
            power.as_ref().map(|power| power.placement.index()),
        ),
        incision,
        keratometry: Some(combined),
        formula: power.as_ref().map(|power| power.name.label().to_owned()),
        lens_depth: power.as_ref().map(|power| power.placement.eye().lens_depth()),
        ratio: power.as_ref().and_then(|_| {
            let corneal = lens.corneal_cylinder?.dioptres();
            (corneal > 0.0).then(|| lens.cylinder.dioptres() / corneal)
        }),
        powers: power.as_ref().map(|power| power.rows(lens.equivalent)).unwrap_or_default(),
        work: Work::Lens(lens),
        residual,
        predicted,
        chance,
        shares,
        incision_or_step,
        beside,
        choices,
        costs,
        marking,
        target,
        steps: Vec::new(),
        findings,
    };
    computation.steps = explain::steps(&computation, power.as_ref(), selection, &lens_order);
    Ok(computation)
}

/// The act of the procedure on the list; U10 without one.
fn planned_act(eye: Eye, entry: &ListEntry) -> Result<Act, Refusals> {
    let procedure = entry.procedure.as_ref().map(|procedure| Act::of(procedure.value));
    procedure.ok_or_else(|| {
        let said = "the list names no procedure";
        let finding = Finding::new(Code::U10, Severity::Refuse, said, said)
            .eye(eye)
            .expected(Procedure::ALL.map(Procedure::printed).join("; "))
            .found("nothing")
            .cited(crate::cite::HOUSE_RULE)
            .at(entry.place.clone())
            .next("name the procedure on the list");
        vec![finding]
    })
}

/// T03: the operation puts a lens in the eye and no approved family is named.
pub(super) fn no_family(eye: Eye) -> Finding {
    let words = "the operation needs a lens family and none is named";
    Finding::new(Code::T03, Severity::Refuse, words, words)
        .eye(eye)
        .expected("an approved lens family")
        .found("none")
        .next("name the lens family on the list")
}

fn refused_after_surgery(eye: Eye) -> Finding {
    Finding::new(
        Code::I05,
        Severity::Refuse,
        "the cornea was operated on: the power formulas are refused",
        "the cornea was operated on: the power formulas are refused",
    )
    .eye(eye)
    .expected("an entered choice")
    .found("none")
    .next("plan this lens by a method for operated corneas and enter the choice with its source and reason")
}

fn lens_plan(chosen: &Chosen, order: &LensOrder<'_>) -> LensPlan {
    let step = chosen.step.as_ref();
    LensPlan {
        family: order.family.name.clone(),
        box_line: chosen.box_line.clone(),
        code: step.map(|step| step.code.clone()),
        equivalent: chosen.equivalent,
        sphere: chosen.equivalent - chosen.cylinder * 0.5,
        cylinder: chosen.cylinder,
        corneal_cylinder: chosen.corneal_cylinder,
        axis: chosen.axis,
        entered: order.entered.cloned(),
    }
}

/// Residual at the corneal plane and predicted refraction at spectacles.
fn left_over(
    eye: Eye,
    power: &Power,
    to_correct: PowerVector,
    lens: &LensPlan,
) -> Result<(Option<PowerVector>, Option<Refraction>), Refusals> {
    let cylinder = lens.corneal_cylinder.unwrap_or(Dioptre::ZERO);
    let residual = lens.axis.map_or(to_correct, |axis| rotation::residual(to_correct, cylinder, axis));
    let cornea = power.cornea(to_correct);
    let toric =
        ToricLens::from_equivalent(lens.equivalent, lens.cylinder, lens.axis.unwrap_or(Meridian::HORIZONTAL))
            .map_err(|error| vec![power::refusal(eye, &error.to_string(), error.hint())])?;
    let predicted = predicted_refraction(power.placement.eye(), cornea, toric, SPECTACLE_VERTEX)
        .map_err(|error| vec![power::refusal(eye, &error.to_string(), error.hint())])?;
    Ok((Some(residual), Some(predicted.minus_form())))
}

fn residual_chance(
    to_correct: PowerVector,
    cylinder: Dioptre,
    axis: Option<Meridian>,
    budget: &Budget<'_>,
) -> Option<ResidualChance> {
    let model = budget.model(to_correct, cylinder)?;
    let distribution = model.residual(cylinder, axis.unwrap_or(Meridian::HORIZONTAL)).ok()?;
    Some(ResidualChance {
        chances: distribution.chances(),
        expected: distribution.expected_magnitude(),
        median: distribution.median().ok()?,
        p95: distribution.p95().ok()?,
    })
}

/// What the lens of a computation would leave if one source alone were right: the weights of a disagreement.
pub(super) fn weights(
    computation: &Computation,
    selection: &Selection,
    entry: &ListEntry,
    surgery: CornealSurgery,
    order: &Order,
) -> Vec<Weight> {
    // What arcs leave is not stated, and a phakic lens follows from the refraction: what one keratometry alone would leave
    // is not to be had this way.
    if computation.arcs().is_some() || computation.act == Act::PhakicLens {
        return Vec::new();
    }
    let Some((planned, cylinder)) = computation.lens().and_then(|lens| Some((lens, lens.corneal_cylinder?)))
    else {
        return Vec::new();
    };
    let lens = planned.axis.map_or(PowerVector::ZERO, |axis| PowerVector::from_steep(cylinder, axis));
    let (formula, _) = order.surgeon.formula_for(power::axial_length(selection));
    let index = formula.index();
    let &Computation { eye, act, target, .. } = computation;
    let asked = Asked { eye, act, selection, entry, surgery, target, order };
    selection
        .keratometry()
        .iter()
        .filter_map(|source| {
            let combined = keratometry::alone(source, order)?;
            let factor = KeratometricIndex::ISO_10343.factor_to(index);
            let unadjusted = computation.ratio.map(|ratio| combined.vector.cylinder() * (factor * ratio));
            let alone = astigmatism::steps(&asked, &combined, unadjusted, &mut Vec::new()).ok()?;
            let residual = alone.to_correct(Some(index)) - lens;
            Some(Weight {
                source: source.label().to_owned(),
                residual: residual.cylinder(),
                step: planned.code.clone().unwrap_or_else(|| "spherical".to_owned()),
                axis: planned.axis.unwrap_or(Meridian::HORIZONTAL),
            })
        })
        .collect()
}
