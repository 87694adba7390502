//! The steps in words, formula, inputs, result and source: the record page and `explain`.

use super::compute::{Computation, LensPlan, Line};
use super::keratometry::Combined;
use super::marking::Guide;
use super::order::LensOrder;
use super::posterior;
use super::power::Power;
use super::settings::{Combining, Settings};
use super::step::Step;
use super::surgeon::{Leftover, PosteriorChoice};
use crate::checks::{KeratometrySource, Selection};
use crate::cite::{self, Source};
use crate::model::{MeridianReading, Place};
use crate::optics::power::Formula;
use crate::units::{Dioptre, PowerVector, round};

pub(super) fn d(value: Dioptre) -> String {
    format!("{} D", round::fixed(value.dioptres(), 2))
}

pub(super) fn signed(value: Dioptre) -> String {
    format!("{} D", round::signed(value.dioptres(), 2))
}

/// A vector in the trade's notation: `1.25 D @ 098`.
pub(super) fn at(vector: PowerVector) -> String {
    format!("{} @ {}", d(vector.cylinder()), round::meridian(vector.steep()))
}

pub(super) fn place(place: &Place) -> String {
    place.to_string()
}

fn power_text(meridian: &MeridianReading) -> (String, String) {
    let (text, stood) = match (&meridian.radius, &meridian.power) {
        (Some(radius), _) => (format!("{} mm", radius.text), place(&radius.place)),
        (None, Some(power)) => (format!("{} D", power.text), place(&power.place)),
        (None, None) => ("-".to_owned(), String::new()),
    };
    match &meridian.meridian {
        Some(angle) => (format!("{text} at {}", angle.text), stood),
        None => (text, stood),
    }
}

fn source_step(source: &KeratometrySource) -> Step {
    let keratometry = source.keratometry();
    let mut inputs = Vec::new();
    for (name, meridian) in [("flat", &keratometry.flat), ("steep", &keratometry.steep)] {
        let (text, stood) = power_text(meridian);
        inputs.push((name.to_owned(), text, stood));
    }
    if let Some(index) = &keratometry.index {
        inputs.push(("index".to_owned(), index.text.clone(), place(&index.place)));
    }
    Step {
        name: format!("Keratometry of {}", source.label()),
        formula: "K = 337.5 / r;  C = K steep - K flat at the steep meridian".to_owned(),
        inputs,
        result: format!("{} / {}, {}", d(source.flat()), d(source.steep()), at(source.vector())),
        source: cite::ISO_10343,
    }
}

pub(super) fn step(
    name: &str,
    formula: &str,
    inputs: Vec<(&str, String, String)>,
    result: String,
    source: Source,
) -> Step {
    Step {
        name: name.to_owned(),
        formula: formula.to_owned(),
        inputs: inputs.into_iter().map(|(label, value, from)| (label.to_owned(), value, from)).collect(),
        result,
        source,
    }
}

/// Every step of an operation that puts a lens in the eye, in order.
pub(super) fn steps(
    computation: &Computation,
    power: Option<&Power>,
    selection: &Selection,
    order: &LensOrder<'_>,
) -> Vec<Step> {
    let mut steps = cornea(computation, selection);
    if let (Some(combined), Some(lens)) = (&computation.keratometry, computation.lens()) {
        if let Some(power) = power {
            steps.extend(lens_power(computation, combined, lens, power, selection, order));
            steps.extend(toric(computation, lens, power, order));
            steps.extend(sureness(computation));
        }
        steps.extend(entered(lens));
    }
    steps.extend(marking(computation));
    steps
}

/// From the readings to the astigmatism to correct.
pub(super) fn cornea(computation: &Computation, selection: &Selection) -> Vec<Step> {
    let mut steps = cornea_readings(computation, selection);
    if let Some(combined) = &computation.keratometry {
        steps.extend(astigmatism(computation, combined));
    }
    steps
}

/// The readings and their mean.
pub(super) fn cornea_readings(computation: &Computation, selection: &Selection) -> Vec<Step> {
    let Some(combined) = &computation.keratometry else { return Vec::new() };
    let mut steps: Vec<Step> = selection.in_plan().map(source_step).collect();
    steps.push(together(combined, selection));
    steps
}

/// The sources as one: how each was weighed, and whether they agree.
fn together(combined: &Combined, selection: &Selection) -> Step {
    let formula = match combined.way {
        Combining::InverseCovariance => {
            "mean of the vectors (C cos 2a, C sin 2a), each weighed by 1/s^2; mean of the mean powers, weighed alike; s: standard deviation of one component, the budget's or that of the source's own readings, whichever is greater"
        }
        Combining::Mean => "mean of the vectors (C cos 2a, C sin 2a); mean of the mean powers",
    };
    let inputs = selection
        .in_plan()
        .zip(&combined.scatters)
        .map(|(source, scatter)| {
            let own = scatter.own.map_or_else(String::new, |own| format!(", by its own readings {}", d(own)));
            (
                "source",
                format!("{}, s {}{own}", at(source.vector()), d(scatter.sd)),
                source.label().to_owned(),
            )
        })
        .collect();
    let agreement = combined.agreement.map_or_else(String::new, |agreement| {
        format!(
            "; agreement: chi-square {} on {}, p {}",
            round::fixed(agreement.chi_square, 2),
            agreement.degrees_of_freedom,
            round::fixed(agreement.p_value, 3)
        )
    });
    let result = format!("{} / {}, {}{agreement}", d(combined.flat), d(combined.steep), at(combined.vector));
    let source = match combined.way {
        Combining::InverseCovariance => Settings::COMBINE_SOURCE,
        Combining::Mean => cite::THIBOS_1997,
    };
    step("Combined keratometry", formula, inputs, result, source)
}

/// Moving the incision against the choice that was made, and what the scatter comes from.
fn sureness(computation: &Computation) -> Vec<Step> {
    let mut steps = Vec::new();
    if let Some(compared) = &computation.incision_or_step {
        steps.push(step(
            "The incision or the lens",
            "chance of leaving at most 0.50 D behind a spherical lens with its incision on the steep meridian, against the choice made; the incision is taken to flatten there as the surgeon's nearest one does: our assumption",
            Vec::new(),
            compared.words.clone(),
            Settings::EQUAL_RESIDUALS_SOURCE,
        ));
    }
    if !computation.shares.is_empty() {
        let shares: Vec<String> = computation
            .shares
            .iter()
            .map(|share| format!("{} {} %", share.name, round::fixed(share.share * 100.0, 0)))
            .collect();
        steps.push(step(
            "Where the scatter comes from",
            "trace of the covariance of each part; of an angle 4 c^2 s^2 (c: cylinder of the lens at the cornea, s in radians); of their sum",
            Vec::new(),
            shares.join(", "),
            Settings::BUDGET_SOURCE,
        ));
    }
    steps
}

pub(super) fn entered(lens: &LensPlan) -> Option<Step> {
    let entered = lens.entered.as_ref()?;
    Some(step(
        "Lens ENTERED BY the surgeon, NOT COMPUTED",
        "none",
        vec![
            ("entered by", entered.by.clone(), entered.source.clone()),
            ("reason", entered.reason.clone(), String::new()),
        ],
        lens.box_line.clone(),
        cite::HOUSE_RULE,
    ))
}

/// The way from the marks to the line; nothing where there is no line.
pub(super) fn marking(computation: &Computation) -> Option<Step> {
    let (marking, line) = (computation.marking.as_ref()?, computation.line?);
    let (what, axis) = match line {
        Line::LensAxis(axis) => ("axis", axis),
        Line::SteepMeridian(meridian) if computation.arcs().is_some() => {
            ("steep meridian, for the arcs", meridian)
        }
        Line::SteepMeridian(meridian) => ("steep meridian, for the incision", meridian),
        Line::TreatmentAxis(axis) => ("minus-cylinder axis", axis),
    };
    let (name, formula) = match marking.guide {
        Guide::Turns { .. } => (
            "Turns from the marks, through the upper lid",
            "from the mark near 0: axis - mark, anticlockwise;  from the mark near 180: mark - axis, clockwise",
        ),
        Guide::OnTarget { .. } => {
            let at = round::meridian(axis);
            return Some(step(
                "Marks on the target meridian",
                "both marks are made on it: no ring, no turn",
                vec![(what, at, String::new())],
                marking.printed(),
                cite::COMMON_PRACTICE,
            ));
        }
        Guide::RingTable { .. } => (
            "Settings on the level ring, for the nasal mark read on it",
            "setting = axis + reading - true angle of the mark",
        ),
    };
    Some(step(
        name,
        formula,
        vec![
            (what, round::meridian(axis), String::new()),
            (
                "mark on the 0 side, true angle",
                format!("{} deg", round::fixed(marking.marks.zero_side_deg(), 0)),
                String::new(),
            ),
            (
                "mark on the 180 side, true angle",
                format!("{} deg", round::fixed(marking.marks.opposite_side_deg(), 0)),
                String::new(),
            ),
        ],
        marking.printed(),
        cite::ISO_8429,
    ))
}

fn astigmatism(computation: &Computation, combined: &Combined) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut before = combined.vector;
    for part in computation.astigmatism.iter().skip(1) {
        let (formula, source) = match part.word {
            super::compute::StepWord::Measured => continue,
            super::compute::StepWord::PosteriorCornea => {
                let used = computation.posterior.unwrap_or(PosteriorChoice::None);
                (posterior::formula_of(used), posterior::source_of(used))
            }
            super::compute::StepWord::Incision => (
                "cornea - f at the incision's own meridian (f: flattening there), + torque at 45 degrees to it",
                cite::NAESER_1994,
            ),
            super::compute::StepWord::ToCorrect => (
                "times (n of the formula - 1) / 0.3375; the astigmatism of a whole cornea, measured as a power, stays as it is",
                cite::ISO_10343,
            ),
        };
        let mut inputs =
            vec![("before", at(before), String::new()), ("adds", at(part.own), part.source.clone())];
        if part.word == super::compute::StepWord::Incision
            && let Some(incision) = &computation.incision
        {
            inputs.push((
                "incision",
                format!(
                    "at {}, flattens it by {}",
                    round::direction(incision.at),
                    d(incision.flattening.unwrap_or(Dioptre::ZERO))
                ),
                part.source.clone(),
            ));
        }
        steps.push(step(part.word.printed(), formula, inputs, at(part.total), source));
        before = part.total;
    }
    steps
}

fn lens_power(
    computation: &Computation,
    combined: &Combined,
    lens: &LensPlan,
    power: &Power,
    selection: &Selection,
    order: &LensOrder<'_>,
) -> Vec<Step> {
    let eye = power.placement.eye();
    let mm = |value: crate::units::Millimetre| format!("{} mm", round::fixed(value.millimetres(), 2));
    let axial = selection.axial().map(crate::checks::AxialSource::axial);
    let stood = |reading: Option<&crate::model::Reading<crate::units::Millimetre>>| {
        reading.map(|reading| place(&reading.place)).unwrap_or_default()
    };
    let mut inputs = vec![
        ("axial length", mm(power.axial_length), stood(axial.and_then(|axial| axial.length.as_ref()))),
        ("flat", d(combined.flat), String::new()),
        ("steep", d(combined.steep), String::new()),
    ];
    if let Some(depth) = power.chamber_depth {
        inputs.push(("chamber depth", mm(depth), stood(axial.and_then(|axial| axial.depth.as_ref()))));
    }
    if let (_, Some(band)) = order.surgeon.formula_for(Some(power.axial_length)) {
        inputs.push((
            "formula for this length",
            power.name.label().to_owned(),
            format!("surgeon's file, {}", band.words()),
        ));
    }
    inputs.extend(constants(power, order));
    let source = power.formula.source();
    vec![
        step(
            "Lens depth, once, from the mean cornea",
            power.depth_formula(),
            inputs,
            format!("{}, net corneal power {}", mm(eye.lens_depth()), d(power.placement.corneal_power())),
            source,
        ),
        step(
            "Power for the target",
            "P = n/(L - d) - n/(n/z - d),  z = K net + target at the cornea,  n = 1.336, vertex 12 mm",
            vec![
                ("target", signed(computation.target), String::new()),
                ("lens depth", mm(eye.lens_depth()), String::new()),
                ("optical length", mm(eye.optical_length()), String::new()),
            ],
            format!("{} wanted, {} nearest on the ladder", signed(power.wanted), signed(power.nearest)),
            cite::GERNET_1970,
        ),
        step(
            "What other formulas predict with this power",
            "the same optics, each with its own constant, index, optical length and lens depth; none is averaged or preferred",
            vec![("lens", signed(lens.equivalent), String::new())],
            computation
                .beside
                .iter()
                .map(|other| match &other.predicted {
                    Ok(predicted) => format!("{} {}", other.name.label(), signed(*predicted)),
                    Err(why) => format!("{} none: {why}", other.name.label()),
                })
                .collect::<Vec<_>>()
                .join("; "),
            cite::HOUSE_RULE,
        ),
    ]
}

/// The constants of the lens family that the formula takes, as its file states them.
fn constants(power: &Power, order: &LensOrder<'_>) -> Vec<(&'static str, String, String)> {
    let all = &order.family.constants;
    let used = match power.formula {
        Formula::Haigis2000(_) => vec![("a0", all.a0), ("a1", all.a1), ("a2", all.a2)],
        Formula::Holladay1988(_) => vec![("SF", all.sf)],
        Formula::Retzlaff1990(_) | Formula::Sheard2010(_) => vec![("A", all.a)],
        Formula::Hoffer1993(_) => vec![("pACD", all.pacd)],
    };
    // The family and its origin once, at the last of them.
    let last = used.len().saturating_sub(1);
    let origin =
        |at: usize| if at == last { format!("{}: {}", order.family.name, all.origin) } else { String::new() };
    let stated = used.into_iter().enumerate();
    stated.filter_map(|(at, (name, value))| Some((name, value?.to_string(), origin(at)))).collect()
}

fn toric(computation: &Computation, lens: &LensPlan, power: &Power, order: &LensOrder<'_>) -> Vec<Step> {
    let mut steps = Vec::new();
    if let (Some(corneal), Some(ratio)) = (lens.corneal_cylinder, computation.ratio) {
        steps.push(step(
            "Cylinder of the lens at the cornea, exact in two meridians",
            "C cornea = z(P - C/2) - z(P + C/2),  z(P) = V/(1 + d V/n),  V = n/(L - d) - P",
            vec![
                (
                    "lens",
                    format!("{}, cylinder {}", signed(lens.equivalent), d(lens.cylinder)),
                    lens.box_line.clone(),
                ),
                (
                    "lens depth",
                    format!("{} mm", round::fixed(power.placement.eye().lens_depth().millimetres(), 2)),
                    String::new(),
                ),
            ],
            format!("{}, ratio {}", d(corneal), round::fixed(ratio, 3)),
            cite::FAM_LIM_2007,
        ));
    }
    if lens.entered.is_none() && !computation.choices.is_empty() {
        let (rule, source) = match order.surgeon.leftover {
            Leftover::Least => (
                "greatest chance of leaving at most 0.50 D; of those within the margin the weakest cylinder",
                Settings::EQUAL_RESIDUALS_SOURCE,
            ),
            Leftover::WithTheRule => (
                "greatest chance of leaving at most 0.50 D among those that stay with the rule, if it costs little residual",
                Settings::WITH_THE_RULE_SOURCE,
            ),
        };
        steps.push(step(
            "Choice of the step",
            rule,
            computation
                .choices
                .iter()
                .map(|choice| {
                    let chance = choice.chance_within_0_50.map_or_else(String::new, |share| {
                        format!(", {} % within 0.50 D", round::fixed(share * 100.0, 0))
                    });
                    ("leaves", at(choice.residual) + &chance, choice.name.clone())
                })
                .collect(),
            lens.box_line.clone(),
            source,
        ));
    }
    if let Some(residual) = computation.residual {
        let to_correct = computation.astigmatism.last().map_or(PowerVector::ZERO, |part| part.total);
        steps.push(step(
            "Predicted residual at the corneal plane",
            "R = cornea - lens, as vectors",
            vec![
                ("to correct", at(to_correct), String::new()),
                (
                    "lens",
                    lens.axis.zip(lens.corneal_cylinder).map_or_else(
                        || "no cylinder".to_owned(),
                        |(axis, cylinder)| format!("{} on {}", d(cylinder), round::meridian(axis)),
                    ),
                    String::new(),
                ),
            ],
            at(residual),
            cite::FAM_LIM_2007,
        ));
    }
    if let Some(predicted) = &computation.predicted {
        steps.push(step(
            "Predicted refraction at spectacles",
            "2x2 matrices from retina to spectacles, vertex 12 mm",
            Vec::new(),
            format!(
                "{} {} x {}",
                signed(predicted.sphere()),
                signed(predicted.cylinder()),
                round::meridian(predicted.axis())
            ),
            cite::LONG_1976,
        ));
    }
    if let Some(chance) = &computation.chance {
        let percent = |share: f64| format!("{} %", round::fixed(share * 100.0, 0));
        let mut inputs = vec![(
            "factor on the standard deviations",
            round::fixed(order.settings.budget_factor, 2),
            Settings::BUDGET_FACTOR_SOURCE.cited(),
        )];
        if let Some(turned) = order.turned {
            inputs.push((
                "mean error of the axis by entered tilts of the head, (1 - share undone) times the difference, positive anticlockwise",
                format!("{} degrees", round::signed(turned.degrees(), 1)),
                Settings::COUNTER_ROLL_SOURCE.cited(),
            ));
        }
        steps.push(step(
            "How sure",
            "bivariate normal in the double-angle plane with a mixture of angle errors, by quadrature",
            inputs,
            format!(
                "expected magnitude {}; within 0.25 / 0.50 / 0.75 D: {} / {} / {}",
                d(chance.expected),
                percent(chance.chances.within_0_25),
                percent(chance.chances.within_0_50),
                percent(chance.chances.within_0_75)
            ),
            Settings::BUDGET_SOURCE,
        ));
    }
    steps
}
