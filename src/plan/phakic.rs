//! A toric lens added before the natural one: its power from refraction and cornea, by matrices at the lens plane.

use super::choose;
use super::compute::{
    Asked, Choice, Computation, IncisionKind, IncisionPlan, LensPlan, Line, MisalignmentCost, PowerRow,
    Refusals, Work, bare,
};
use super::explain::{cornea_readings, d, entered, marking, place, signed, step};
use super::keratometry::{self, Combined};
use super::lens::{DepthRule, LensFamily, LensStep, MarksOn, PhakicDesign, PowerRange};
use super::marking::Marking;
use super::notice;
use super::order::LensOrder;
use super::power::refusal;
use super::refracted::{self, Refracted, written};
use super::settings::Settings;
use super::step::Step;
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::model::Eye;
use crate::optics::OpticsError;
use crate::optics::matrix::{Medium, PowerMatrix};
use crate::optics::power::SPECTACLE_VERTEX;
use crate::optics::refraction::Refraction;
use crate::optics::vergence::{added_lens, refraction_with_added_lens};
use crate::units::{Degrees, Dioptre, KeratometricIndex, Meridian, Millimetre, PowerVector, round};

/// The index in which the cornea refracts as a whole, 4/3. Source: our own choice ([`HOUSE_RULE`](cite::HOUSE_RULE)); how the
/// paper takes keratometry was not seen.
const NET_INDEX: KeratometricIndex = KeratometricIndex::from_index(4.0 / 3.0);

/// The eye the lens is added to.
struct Optics {
    cornea: PowerMatrix,
    now: Refraction,
    vertex: Millimetre,
    depth: Millimetre,
    /// The lens that would leave the target and no astigmatism.
    wanted: PowerMatrix,
    /// The meridian on which that lens is weakest, the steep one of the astigmatism to correct.
    least: Meridian,
}

impl Optics {
    /// The refraction at the cornea with a lens whose meridian of least power lies on `least`, in minus form.
    fn with(
        &self,
        equivalent: Dioptre,
        cylinder: Dioptre,
        least: Meridian,
    ) -> Result<Refraction, OpticsError> {
        let lens = PowerMatrix::from_mean(equivalent, -PowerVector::from_steep(cylinder, least));
        refraction_with_added_lens(self.cornea, self.now, lens, self.vertex, self.depth)
    }

    fn at_spectacles(&self, equivalent: Dioptre, cylinder: Dioptre) -> Result<Refraction, OpticsError> {
        self.with(equivalent, cylinder, self.least)?.at_spectacles(SPECTACLE_VERTEX)
    }

    /// The cylinder at the cornea of a lens, from its two principal powers behind the mean vergence.
    fn corneal_cylinder(&self, equivalent: Dioptre, cylinder: Dioptre) -> Result<Dioptre, OpticsError> {
        let near = self.now.matrix().downstream(self.vertex, Medium::AIR)?;
        let reaching = (self.cornea + near).downstream(self.depth, Medium::AQUEOUS)?.mean();
        let leaving = |power: Dioptre| {
            PowerMatrix::from_sphere(reaching - power)
                .upstream(self.depth, Medium::AQUEOUS)
                .map(PowerMatrix::mean)
        };
        Ok(leaving(equivalent - cylinder * 0.5)? - leaving(equivalent + cylinder * 0.5)?)
    }

    /// The power of a ladder whose prediction lies nearest to the target; of two equally near the weaker minus, which errs
    /// towards myopia.
    fn nearest(
        &self,
        ladder: &PowerRange,
        cylinder: Dioptre,
        target: Dioptre,
    ) -> Result<Option<Dioptre>, OpticsError> {
        let mut best: Option<(f64, Dioptre)> = None;
        for power in ladder.powers() {
            let predicted = self.at_spectacles(power, cylinder)?.spherical_equivalent();
            let off = (predicted - target).dioptres().abs();
            if best.is_none_or(|(least, _)| off <= least) {
                best = Some((off, power));
            }
        }
        Ok(best.map(|(_, power)| power))
    }
}

impl MarksOn {
    /// The meridian of the eye for the marks of a lens whose meridian of least power lies on `least`; and back.
    fn on(self, least: Meridian) -> Meridian {
        match self {
            Self::LeastPower => least,
            Self::MinusAxis => least.perpendicular(),
        }
    }
}

fn refuse(asked: &Asked<'_>, code: Code, text: &str, expected: &str, next: &str) -> Refusals {
    vec![
        Finding::new(code, Severity::Refuse, text, text)
            .eye(asked.eye)
            .expected(expected)
            .found("none")
            .cited(cite::HOUSE_RULE)
            .next(next),
    ]
}

/// T03: a phakic family named for an operation that removes the natural lens.
pub(super) fn not_for_this(eye: Eye, family: &LensFamily) -> Finding {
    let text = format!(
        "`{}` is a phakic lens: it is added before the natural lens, not put in its place",
        family.name
    );
    Finding::new(Code::T03, Severity::Refuse, text.clone(), text)
        .eye(eye)
        .expected("a lens family for cataract surgery")
        .found(family.name.clone())
        .cited(cite::HOUSE_RULE)
        .next("correct the procedure or the lens family on the list")
}

/// How deep the lens will lie, and what that rests on.
fn depth(
    asked: &Asked<'_>,
    family: &LensFamily,
    design: &PhakicDesign,
) -> Result<(Millimetre, String), Refusals> {
    let mm = |value: Millimetre| format!("{} mm", round::fixed(value.millimetres(), 2));
    match design.depth {
        DepthRule::Fixed(depth) => Ok((depth, format!("lens file of {}", family.name))),
        DepthRule::BeforeNaturalLens(offset) => {
            let axial = asked.selection.axial();
            let Some((chamber, stood)) = axial.and_then(|source| {
                let axial = source.axial();
                let stood = axial.depth.as_ref().map(|reading| place(&reading.place)).unwrap_or_default();
                Some((axial.depth_from_front()?, stood))
            }) else {
                return Err(refuse(
                    asked,
                    Code::U10,
                    "chamber depth from the corneal front is missing: the lens file finds the depth of the lens by it",
                    "chamber depth from the corneal front",
                    "measure the chamber depth and export it; from the corneal back the corneal thickness is needed too",
                ));
            };
            let depth = Millimetre::computed(chamber.millimetres() - offset.millimetres())
                .filter(|depth| depth.millimetres() > 0.0)
                .ok_or_else(|| {
                    vec![refusal(
                        asked.eye,
                        "the chamber is not deeper than the distance the lens file takes off",
                        "check chamber depth and lens file",
                    )]
                })?;
            Ok((
                depth,
                format!("chamber depth {} [{stood}] less {} of the lens file", mm(chamber), mm(offset)),
            ))
        }
    }
}

/// Plans the lens.
pub(super) fn phakic(asked: &Asked<'_>) -> Result<Computation, Refusals> {
    let Some(order) = asked.order.for_a_lens() else {
        return Err(refuse(
            asked,
            Code::T03,
            "the operation needs a lens family and none is named",
            "an approved lens family",
            "name the lens family on the list",
        ));
    };
    let Some(design) = order.family.phakic else {
        let text = format!("`{}` is no phakic lens", order.family.name);
        return Err(refuse(
            asked,
            Code::T03,
            &text,
            "a lens family of kind `phakic`",
            "correct the lens family on the list, or the kind in its file",
        ));
    };
    let optics = |error: OpticsError| vec![refusal(asked.eye, &error.to_string(), error.hint())];
    let mut findings = Vec::new();
    let refracted = refracted::of(asked, &mut findings)?;
    let combined = keratometry::combine(asked.selection, asked.order)?;
    let (depth, depth_from) = depth(asked, order.family, &design)?;
    let factor = KeratometricIndex::ISO_10343.factor_to(NET_INDEX);
    let cornea = PowerMatrix::from_mean(
        (combined.flat + combined.steep) * (0.5 * factor),
        combined.vector.scaled(factor),
    );
    let target = Refraction::from_sphere_cylinder_axis(asked.target, Dioptre::ZERO, Meridian::HORIZONTAL)
        .at_cornea(SPECTACLE_VERTEX)
        .and_then(|near| near.at_spectacles(refracted.vertex))
        .map_err(optics)?;
    let wanted = added_lens(cornea, refracted.minus, target, refracted.vertex, depth).map_err(optics)?;
    let least = wanted.steep().perpendicular();
    let eye = Optics { cornea, now: refracted.minus, vertex: refracted.vertex, depth, wanted, least };
    let mut choices = choices(asked, &order, &eye, &design).map_err(optics)?;
    if choices.is_empty() {
        return Err(vec![refusal(
            asked.eye,
            "the lens family has no powers",
            "correct `equivalent_d` in the lens file",
        )]);
    }
    let lens = match order.entered {
        Some(_) => taken_as_entered(asked, &order, &eye, &design, &mut choices, &mut findings)?,
        None => taken(asked, &order, &eye, &mut choices, &mut findings)?,
    };
    let on = |axis: Option<Meridian>| axis.map_or(least, |marks| design.marks.on(marks));
    let left = eye.with(lens.equivalent, lens.cylinder, on(lens.axis)).map_err(optics)?;
    let residual = left.astigmatism();
    findings.extend(notice::residual(asked.eye, Some(residual), &asked.order.settings));
    findings.extend(notice::no_backup(asked.eye, &asked.order.surgeon));
    findings.extend(from_memory(asked));
    let mut computation = bare(asked, Work::Lens(lens.clone()));
    computation.line = lens.axis.map(Line::LensAxis);
    computation.marking = lens.axis.map(|axis| {
        let order = asked.order;
        Marking::to_axis(asked.eye, axis, order.marks, order.seat, order.method)
    });
    computation.incision = asked.entry.incision.as_ref().map(|at| IncisionPlan {
        at: at.value,
        width: asked.entry.incision_width.as_ref().map(|width| width.value),
        flattening: None,
    });
    computation.formula = Some(cite::VAN_DER_HEIJDE_1988.short.to_owned());
    computation.lens_depth = Some(depth);
    computation.ratio = lens
        .corneal_cylinder
        .filter(|corneal| corneal.dioptres() > 0.0)
        .map(|corneal| lens.cylinder.dioptres() / corneal.dioptres());
    computation.residual = Some(residual);
    computation.predicted = Some(left.at_spectacles(SPECTACLE_VERTEX).map_err(optics)?);
    computation.powers = powers(asked, &order, &eye, &lens).map_err(optics)?;
    computation.costs = costs(&eye, &lens, on(lens.axis)).map_err(optics)?;
    computation.choices = choices;
    computation.keratometry = Some(combined);
    computation.findings = findings;
    computation.steps = steps(asked, &computation, &order, &eye, &refracted, (&design, depth_from), &lens)?;
    Ok(computation)
}

/// First the spherical lens of the family, then every step, each in its power nearest to the target.
fn choices(
    asked: &Asked<'_>,
    order: &LensOrder<'_>,
    eye: &Optics,
    design: &PhakicDesign,
) -> Result<Vec<Choice>, OpticsError> {
    let spherical = ("spherical lens".to_owned(), Dioptre::ZERO, order.family.equivalent);
    let steps = order.family.steps.iter().map(|step| (step.code.clone(), step.cylinder, step.made));
    let mut choices = Vec::new();
    for (name, cylinder, ladder) in core::iter::once(spherical).chain(steps) {
        let Some(equivalent) = eye.nearest(&ladder, cylinder, asked.target)? else { continue };
        let toric = cylinder.dioptres() > 0.0;
        choices.push(Choice {
            name,
            equivalent,
            cylinder,
            corneal_cylinder: eye.corneal_cylinder(equivalent, cylinder)?,
            axis: toric.then(|| design.marks.on(eye.least)),
            incision: IncisionKind::Usual,
            residual: eye.with(equivalent, cylinder, eye.least)?.astigmatism(),
            chance_within_0_50: None,
            made: true,
            chosen: false,
        });
    }
    Ok(choices)
}

fn plan(order: &LensOrder<'_>, choice: &Choice, step: Option<&LensStep>) -> LensPlan {
    LensPlan {
        family: order.family.name.clone(),
        box_line: order.family.box_line(choice.equivalent, step),
        code: step.map(|step| step.code.clone()),
        equivalent: choice.equivalent,
        sphere: choice.equivalent - choice.cylinder * 0.5,
        cylinder: choice.cylinder,
        corneal_cylinder: Some(choice.corneal_cylinder),
        axis: choice.axis,
        entered: order.entered.cloned(),
    }
}

/// The choice that leaves the least astigmatism; of those about equal the weakest cylinder.
fn taken(
    asked: &Asked<'_>,
    order: &LensOrder<'_>,
    eye: &Optics,
    choices: &mut [Choice],
    findings: &mut Vec<Finding>,
) -> Result<LensPlan, Refusals> {
    let Some(choice) =
        choose::best(asked.act, choices, order, |_| true).and_then(|best| choices.get_mut(best))
    else {
        return Err(vec![refusal(asked.eye, "no lens can be computed", "enter a choice")]);
    };
    choice.chosen = true;
    let step = order.family.steps.iter().find(|step| choice.axis.is_some() && step.code == choice.name);
    let ladder = step.map_or(order.family.equivalent, |step| step.made);
    if !ladder.holds(eye.wanted.mean()) {
        findings.push(not_made(
            asked,
            order,
            format!("{} as spherical equivalent", signed(eye.wanted.mean())),
            "the wanted power",
            &signed(choice.equivalent),
        ));
    }
    let cylinders: Vec<f64> = order.family.steps.iter().map(|step| step.cylinder.dioptres()).collect();
    let strongest = cylinders.last().copied().unwrap_or(0.0);
    let before =
        cylinders.len().checked_sub(2).and_then(|place| cylinders.get(place)).copied().unwrap_or(0.0);
    // Half the last interval of the ladder, as for other toric lenses: beyond it the next step would leave less.
    if eye.wanted.cylinder().dioptres() > strongest + (strongest - before) / 2.0 {
        findings.push(not_made(
            asked,
            order,
            format!("{} of cylinder at the lens", d(eye.wanted.cylinder())),
            "the wanted cylinder",
            &choice.name,
        ));
    }
    Ok(plan(order, choice, step))
}

/// F05.
fn not_made(asked: &Asked<'_>, order: &LensOrder<'_>, wanted: String, what: &str, taken: &str) -> Finding {
    let family = &order.family.name;
    Finding::new(
        Code::F05,
        Severity::SignOff,
        format!("{what}, {wanted}, is not made in `{family}`; {taken} was taken"),
        format!("{what} is not made in `{family}`; the nearest was taken"),
    )
    .eye(asked.eye)
    .expected(wanted)
    .found(taken.to_owned())
    .next("accept the nearest, or choose another lens family")
}

/// The entered choice: its own powers, its marks where the surgeon wants them.
fn taken_as_entered(
    asked: &Asked<'_>,
    order: &LensOrder<'_>,
    eye: &Optics,
    design: &PhakicDesign,
    choices: &mut Vec<Choice>,
    findings: &mut Vec<Finding>,
) -> Result<LensPlan, Refusals> {
    let Some(entered) = order.entered else {
        return Err(vec![refusal(asked.eye, "no choice was entered", "enter a choice")]);
    };
    let optics = |error: OpticsError| vec![refusal(asked.eye, &error.to_string(), error.hint())];
    let toric = entered.cylinder.dioptres() > 0.0;
    if toric && entered.axis.is_none() {
        return Err(refuse(
            asked,
            Code::U10,
            "the entered lens has a cylinder and no axis",
            "the meridian for the lens marks",
            "enter the axis with the choice",
        ));
    }
    // Half of the last printed place: our choice.
    let same = |a: Dioptre, b: Dioptre| (a - b).dioptres().abs() < 0.005;
    let step = order.family.steps.iter().find(|step| toric && same(step.cylinder, entered.cylinder));
    let ladder = step.map_or(order.family.equivalent, |step| step.made);
    let made = (!toric || step.is_some()) && ladder.powers().any(|rung| same(rung, entered.equivalent));
    if !made {
        let shown = format!("{}, cylinder {}", signed(entered.equivalent), d(entered.cylinder));
        findings.push(not_made(asked, order, shown, "the entered lens", "the entered lens"));
    }
    if let Some(computed) =
        choose::best(asked.act, choices, order, |_| true).and_then(|best| choices.get(best))
    {
        findings.extend(notice::entered(asked.eye, computed.equivalent, computed, entered, order));
    }
    let axis = entered.axis.filter(|_| toric);
    let least = axis.map_or(eye.least, |marks| design.marks.on(marks));
    let choice = Choice {
        name: "entered by the surgeon".to_owned(),
        equivalent: entered.equivalent,
        cylinder: entered.cylinder,
        corneal_cylinder: eye.corneal_cylinder(entered.equivalent, entered.cylinder).map_err(optics)?,
        axis,
        incision: IncisionKind::Usual,
        residual: eye.with(entered.equivalent, entered.cylinder, least).map_err(optics)?.astigmatism(),
        chance_within_0_50: None,
        made,
        chosen: true,
    };
    let mut lens = plan(order, &choice, step);
    if toric && step.is_none() {
        lens.box_line = format!(
            "{} as entered: SE {}, cylinder {}",
            order.family.name,
            signed(entered.equivalent),
            d(entered.cylinder)
        );
    }
    choices.push(choice);
    Ok(lens)
}

/// The powers of the chosen step nearest to the target.
fn powers(
    asked: &Asked<'_>,
    order: &LensOrder<'_>,
    eye: &Optics,
    lens: &LensPlan,
) -> Result<Vec<PowerRow>, OpticsError> {
    let step = order.family.steps.iter().find(|step| Some(&step.code) == lens.code.as_ref());
    let ladder = step.map_or(order.family.equivalent, |step| step.made);
    let mut rows = Vec::new();
    for equivalent in ladder.powers() {
        let predicted = eye.at_spectacles(equivalent, lens.cylinder)?.spherical_equivalent();
        let chosen = (equivalent - lens.equivalent).dioptres().abs() < 1e-9;
        rows.push(PowerRow { equivalent, predicted, chosen });
    }
    let off = |row: &PowerRow| (row.predicted - asked.target).dioptres().abs();
    rows.sort_by(|a, b| off(a).total_cmp(&off(b)).then(b.equivalent.total_cmp(&a.equivalent)));
    rows.truncate(9);
    Ok(rows)
}

/// What the lens leaves when it lies 5 or 10 degrees off, the worse way.
fn costs(eye: &Optics, lens: &LensPlan, least: Meridian) -> Result<Vec<MisalignmentCost>, OpticsError> {
    if lens.axis.is_none() {
        return Ok(Vec::new());
    }
    [5.0, 10.0]
        .into_iter()
        .map(|off| {
            let off = Degrees::from_degrees(off);
            let back = Degrees::from_degrees(-off.degrees());
            let left = |turn: Degrees| {
                let refraction = eye.with(lens.equivalent, lens.cylinder, least.turned(turn))?;
                Ok::<Dioptre, OpticsError>(refraction.cylinder().abs())
            };
            let (one, other) = (left(off)?, left(back)?);
            Ok(MisalignmentCost { off, worst: if one > other { one } else { other } })
        })
        .collect()
}

/// F01: on a live site the form of the formula, which is from memory, is asked about.
fn from_memory(asked: &Asked<'_>) -> Option<Finding> {
    asked.order.live.then(|| {
        let text = "van der Heijde 1988: its form is from memory, not yet compared with the paper";
        Finding::new(Code::F01, Severity::SignOff, text, text)
            .eye(asked.eye)
            .expected("a formula that was read")
            .found(cite::VAN_DER_HEIJDE_1988.short)
            .cited(cite::VAN_DER_HEIJDE_1988)
            .next("compare the lens with the maker's own calculation, then confirm with a reason")
    })
}

fn steps(
    asked: &Asked<'_>,
    computation: &Computation,
    order: &LensOrder<'_>,
    eye: &Optics,
    refracted: &Refracted<'_>,
    (design, depth_from): (&PhakicDesign, String),
    lens: &LensPlan,
) -> Result<Vec<Step>, Refusals> {
    let mut steps = cornea_readings(computation, asked.selection);
    steps.push(refracted.step(refracted.at_cornea(asked)?));
    let shown = |matrix: PowerMatrix| written(Refraction::from_matrix(matrix));
    let Some(Combined { flat, steep, .. }) = computation.keratometry else { return Ok(steps) };
    steps.push(step(
        "Lens wanted at the lens plane",
        "P = prop(K + R) - prop(K + T),  prop(V) = V (I - d/n V)^-1 as 2x2 matrices,  n = 1.336; K net = K at 1.3375 times (4/3 - 1) / 0.3375, our assumption; no effect of an incision is added",
        vec![
            ("flat", d(flat), String::new()),
            ("steep", d(steep), String::new()),
            ("depth of the lens", format!("{} mm", round::fixed(eye.depth.millimetres(), 2)), depth_from),
            ("target", signed(asked.target), String::new()),
        ],
        shown(eye.wanted),
        cite::VAN_DER_HEIJDE_1988,
    ));
    if lens.entered.is_none() {
        let inputs = computation.choices.iter().map(|choice| {
            let vector = choice.residual;
            let leaves = format!("{} @ {}", d(vector.cylinder()), round::meridian(vector.steep()));
            ("leaves", leaves, format!("{} in {}", choice.name, signed(choice.equivalent)))
        });
        steps.push(step(
            "Choice of the step",
            "each step in its power nearest to the target; the least residual; of those about equal the weakest cylinder",
            inputs.collect(),
            lens.box_line.clone(),
            Settings::EQUAL_RESIDUALS_SOURCE,
        ));
    }
    steps.extend(entered(lens));
    if let Some(axis) = lens.axis {
        steps.push(step(
            "Meridian of the lens marks",
            design.marks.words(),
            vec![(
                "meridian of least power of the wanted lens",
                round::meridian(eye.least),
                format!("lens file of {}", order.family.name),
            )],
            round::meridian(axis),
            cite::HOUSE_RULE,
        ));
    }
    if let (Some(residual), Some(predicted)) = (computation.residual, computation.predicted) {
        steps.push(step(
            "Predicted residual at the corneal plane, and refraction at spectacles",
            "the lens taken off the vergence that reaches it, back through cornea and 12 mm of air, as 2x2 matrices",
            vec![("lens", lens.box_line.clone(), String::new())],
            format!(
                "{} @ {}; {}",
                d(residual.cylinder()),
                round::meridian(residual.steep()),
                written(predicted)
            ),
            cite::LONG_1976,
        ));
    }
    steps.extend(marking(computation));
    Ok(steps)
}
