//! Lens power by the surgeon's planning formula.

use super::compute::{PowerRow, Refusals};
use super::keratometry::Combined;
use super::lens::{LensFamily, PowerRange};
use super::order::LensOrder;
use super::settings::Settings;
use super::surgeon::FormulaName;
use crate::checks::Selection;
use crate::cite::Mark;
use crate::finding::{Code, Finding, Severity};
use crate::model::Eye;
use crate::optics::OpticsError;
use crate::optics::matrix::PowerMatrix;
use crate::optics::power::{
    AConstant, ConstantOrigin, DomainNote, Formula, FormulaError, HaigisConstants, LensPlacement,
    PersonalisedDepth, PowerInput, SurgeonFactor,
};
use crate::units::{Dioptre, KeratometricIndex, Millimetre, OutOfRange, PowerVector, round};

impl FormulaName {
    /// The keratometric index the formula reckons with. Source: reference of each formula, see `docs/SOURCES.md`.
    pub const fn index(self) -> KeratometricIndex {
        match self {
            Self::Haigis2000 => KeratometricIndex::from_index(1.3315),
            Self::Holladay1988 => KeratometricIndex::from_index(4.0 / 3.0),
            Self::Retzlaff1990 | Self::Sheard2010 => KeratometricIndex::from_index(1.333),
            Self::Hoffer1993 => KeratometricIndex::ISO_10343,
        }
    }
}

/// Where the formula puts the lens, and the power it wants.
#[derive(Debug, Clone)]
pub(super) struct Power {
    pub(super) name: FormulaName,
    pub(super) formula: Formula,
    input: PowerInput,
    pub(super) placement: LensPlacement,
    pub(super) axial_length: Millimetre,
    pub(super) chamber_depth: Option<Millimetre>,
    pub(super) wanted: Dioptre,
    pub(super) nearest: Dioptre,
    pub(super) target: Dioptre,
    ladder: PowerRange,
}

/// A refusal of the formula or the optics.
pub(super) fn refusal(eye: Eye, message: &str, next: &str) -> Finding {
    Finding::new(Code::F04, Severity::Refuse, message, "the formula cannot be used for this eye")
        .eye(eye)
        .next(next)
}

fn missing(eye: Eye, what: &str, why: &str, next: &str) -> Finding {
    Finding::new(
        Code::U10,
        Severity::Refuse,
        format!("{what} is missing: {why}"),
        format!("{what} is missing"),
    )
    .eye(eye)
    .expected(what)
    .found("nothing")
    .next(next)
}

fn formula(eye: Eye, family: &LensFamily, name: FormulaName) -> Result<Formula, Refusals> {
    let constants = &family.constants;
    let origin = || ConstantOrigin::Stated { words: constants.origin.clone() };
    let absent = |constant: &str| {
        vec![missing(
            eye,
            &format!("constant {constant} of lens `{}`", family.name),
            &format!("{} is never used with a constant converted from another formula's", name.label()),
            "state the constant and its origin in the lens file",
        )]
    };
    let outside =
        |error: OutOfRange| vec![refusal(eye, &error.to_string(), "correct the constants in the lens file")];
    match name {
        FormulaName::Haigis2000 => {
            let a0 = constants.a0.ok_or_else(|| absent("a0"))?;
            let a1 = constants.a1.ok_or_else(|| absent("a1"))?;
            let a2 = constants.a2.ok_or_else(|| absent("a2"))?;
            HaigisConstants::from_reading(a0, a1, a2, origin()).map(Formula::Haigis2000).map_err(outside)
        }
        FormulaName::Holladay1988 => {
            let sf = constants.sf.ok_or_else(|| absent("sf"))?;
            SurgeonFactor::from_reading(sf, origin()).map(Formula::Holladay1988).map_err(outside)
        }
        FormulaName::Retzlaff1990 => {
            let a = constants.a.ok_or_else(|| absent("a"))?;
            AConstant::from_reading(a, origin()).map(Formula::Retzlaff1990).map_err(outside)
        }
        FormulaName::Hoffer1993 => {
            let pacd = constants.pacd.ok_or_else(|| absent("pacd"))?;
            PersonalisedDepth::from_reading(pacd, origin()).map(Formula::Hoffer1993).map_err(outside)
        }
        FormulaName::Sheard2010 => {
            let a = constants.a.ok_or_else(|| absent("a"))?;
            AConstant::from_reading(a, origin()).map(Formula::Sheard2010).map_err(outside)
        }
    }
}

/// The axial length a plan rests on.
pub(super) fn axial_length(selection: &Selection) -> Option<Millimetre> {
    selection.axial().and_then(|source| source.axial().length.as_ref()).map(|length| length.value)
}

/// Places the lens once, from the mean cornea, and finds the power nearest to the target on the family's ladder.
pub(super) fn power(
    eye: Eye,
    selection: &Selection,
    combined: &Combined,
    target: Dioptre,
    order: &LensOrder<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Power, Refusals> {
    let axial = selection.axial();
    let Some(axial_length) = axial_length(selection) else {
        return Err(vec![missing(
            eye,
            "axial length",
            "a lens power needs it",
            "measure the axial length and export it",
        )]);
    };
    let (name, _) = order.surgeon.formula_for(Some(axial_length));
    let formula = formula(eye, order.family, name)?;
    let chamber_depth = axial.and_then(|source| source.axial().depth_from_front());
    if chamber_depth.is_none() && name == FormulaName::Haigis2000 {
        let unknown = axial.is_some_and(|source| source.axial().depth.is_some());
        let next = if unknown {
            "declare for this device whether its chamber depth counts from the front or the back of the cornea; from the back the corneal thickness is needed too"
        } else {
            "measure the chamber depth and export it, or let the surgeon's file name another formula"
        };
        return Err(vec![missing(eye, "chamber depth from the corneal front", "Haigis 2000 needs it", next)]);
    }
    let index = KeratometricIndex::ISO_10343;
    let radii = index.radius_of(combined.flat).zip(index.radius_of(combined.steep));
    let Some((flat, steep)) = radii else {
        return Err(vec![refusal(eye, "a corneal power of zero", "measure the cornea again")]);
    };
    let refuse = |error: FormulaError| vec![refusal(eye, &error.to_string(), error.hint())];
    let optics = |error: OpticsError| vec![refusal(eye, &error.to_string(), error.hint())];
    let input = PowerInput::from_radii(axial_length, flat, steep, chamber_depth).map_err(refuse)?;
    let placement = formula.placement(input).map_err(refuse)?;
    findings.extend(placement.notes().iter().map(|note| domain(eye, name, *note)));
    let wanted = placement.power_for(target).map_err(optics)?;
    let ladder = order.family.equivalent;
    let nearest = nearest(&placement, &ladder, target).map_err(optics)?.ok_or_else(|| {
        vec![refusal(eye, "the lens family has no powers", "correct `equivalent_d` in the lens file")]
    })?;
    if !ladder.holds(wanted) {
        findings.push(not_made(eye, wanted, nearest, &order.family.name));
    }
    Ok(Power {
        name,
        formula,
        input,
        placement,
        axial_length,
        chamber_depth,
        wanted,
        nearest,
        target,
        ladder,
    })
}

/// The power whose prediction lies nearest to the target; of two equally near the stronger, which errs towards myopia.
fn nearest(
    placement: &LensPlacement,
    ladder: &PowerRange,
    target: Dioptre,
) -> Result<Option<Dioptre>, OpticsError> {
    let mut best: Option<(f64, Dioptre)> = None;
    for power in ladder.powers() {
        let off = (placement.prediction(power)? - target).dioptres().abs();
        if best.is_none_or(|(least, _)| off <= least) {
            best = Some((off, power));
        }
    }
    Ok(best.map(|(_, power)| power))
}

fn domain(eye: Eye, name: FormulaName, note: DomainNote) -> Finding {
    Finding::new(
        Code::F04,
        Severity::Note,
        format!("{}: {}", name.label(), note.words()),
        format!("{} runs on one of its limits", name.label()),
    )
    .eye(eye)
}

fn not_made(eye: Eye, wanted: Dioptre, nearest: Dioptre, family: &str) -> Finding {
    let (wanted, nearest) = (round::signed(wanted.dioptres(), 2), round::signed(nearest.dioptres(), 2));
    Finding::new(
        Code::F05,
        Severity::SignOff,
        format!("the wanted power {wanted} D is not made in `{family}`; {nearest} D was taken"),
        format!("the wanted power is not made in `{family}`; the nearest was taken"),
    )
    .eye(eye)
    .expected(format!("{wanted} D"))
    .found(format!("{nearest} D"))
    .next("accept the nearest power, or choose another lens family")
}

impl Power {
    /// The cornea in the formula's terms with an astigmatism already in those terms.
    pub(super) fn cornea(&self, to_correct: PowerVector) -> PowerMatrix {
        PowerMatrix::from_mean(self.placement.corneal_power(), to_correct)
    }

    /// Cylinder at the lens plane that a keratometric reading alone would call for, before the posterior cornea and the incision
    /// are allowed for; none where no light could focus.
    pub(super) fn unadjusted_lens(&self, measured: PowerVector) -> Option<Dioptre> {
        let eye = self.placement.eye();
        let at_cornea = measured.cylinder() * KeratometricIndex::ISO_10343.factor_to(self.placement.index());
        let ratio = eye.ratio_limit(eye.leaving_cornea(self.nearest).ok()?);
        Dioptre::computed(at_cornea.dioptres() * ratio)
    }

    /// The power table: nine powers of the ladder, nearest to the target first.
    pub(super) fn rows(&self, chosen: Dioptre) -> Vec<PowerRow> {
        let mut rows: Vec<PowerRow> = self
            .ladder
            .powers()
            .filter_map(|equivalent| {
                let predicted = self.placement.prediction(equivalent).ok()?;
                let chosen = (equivalent - chosen).dioptres().abs() < 1e-9;
                Some(PowerRow { equivalent, predicted, chosen })
            })
            .collect();
        rows.sort_by(|a, b| {
            let off = |row: &PowerRow| (row.predicted - self.target).dioptres().abs();
            off(a).total_cmp(&off(b)).then(b.equivalent.total_cmp(&a.equivalent))
        });
        rows.truncate(9);
        rows
    }
}

impl Power {
    /// The lens depth of the formula in symbols.
    pub(super) const fn depth_formula(&self) -> &'static str {
        match self.formula {
            Formula::Haigis2000(_) => {
                "d = a0 + a1 ACD + a2 AL;  K net = 331.5 / mean radius (that mean: read in secondary texts)"
            }
            Formula::Holladay1988(_) => {
                "d = 0.56 + R - sqrt(R^2 - AG^2/4) + SF,  AG = 12.5 AL / 23.45;  L = AL + 0.2;  K net = 333.3 / R"
            }
            Formula::Retzlaff1990(_) => {
                "d = H + 0.62467 A - 68.747 - 3.336,  H = R - sqrt(R^2 - Cw^2/4);  L = AL + 0.65696 - 0.02029 AL;  K net = 333 / R"
            }
            Formula::Hoffer1993(_) => {
                "d = pACD + 0.3 (AL - 23.5) + tan(K)^2 + 0.1 M (23.5 - AL)^2 tan(0.1 (G - AL)^2) - 0.99166 + 0.05 (tan of degrees; AL <= 23: M 1, G 28; else M -1, G 23.5);  L = AL;  K as read at 1.3375"
            }
            Formula::Sheard2010(_) => {
                "d = H + 0.62467 A - 68.747 - 3.336,  H = -10.326 + 0.32630 AL + 0.13533 K;  L = AL + 0.65696 - 0.02029 AL;  K net = 333 / R"
            }
        }
    }
}

/// What another formula says of the same lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// The formula.
    pub name: FormulaName,
    /// Predicted spherical equivalent at spectacles with the plan's power; or why there is none.
    pub predicted: Result<Dioptre, String>,
}

impl Power {
    /// What each of the other formulas predicts with a power. No average is made, and none is called the best.
    pub(super) fn beside(&self, eye: Eye, family: &LensFamily, chosen: Dioptre) -> Vec<Beside> {
        FormulaName::ALL
            .into_iter()
            .filter(|name| *name != self.name)
            .map(|name| Beside { name, predicted: self.by(eye, family, name, chosen) })
            .collect()
    }

    fn by(
        &self,
        eye: Eye,
        family: &LensFamily,
        name: FormulaName,
        chosen: Dioptre,
    ) -> Result<Dioptre, String> {
        let told = |refusals: Refusals| {
            refusals.first().map(|finding| finding.plain().to_owned()).unwrap_or_default()
        };
        let formula = formula(eye, family, name).map_err(told)?;
        let placement = formula.placement(self.input).map_err(|error| error.to_string())?;
        placement.prediction(chosen).map_err(|error| error.to_string())
    }

    /// F01 and F02: what the numbers of the formula rest on, and how far it is from the one a guideline names.
    pub(super) fn doubts(
        &self,
        eye: Eye,
        chosen: Dioptre,
        beside: &[Beside],
        order: &LensOrder<'_>,
    ) -> Vec<Finding> {
        let mut found = Vec::new();
        if order.live && self.formula.source().mark == Mark::FromMemory {
            let text = format!(
                "{}: its numbers are from memory, not yet compared with the paper",
                self.name.label()
            );
            found.push(
                Finding::new(Code::F01, Severity::SignOff, text.clone(), text)
                    .eye(eye)
                    .expected("a formula whose numbers were read")
                    .found(self.name.label())
                    .cited(self.formula.source())
                    .next("take another formula, or confirm this one with a reason"),
            );
        }
        found.extend(self.far_from_guideline(eye, chosen, beside, order));
        found
    }

    fn far_from_guideline(
        &self,
        eye: Eye,
        chosen: Dioptre,
        beside: &[Beside],
        order: &LensOrder<'_>,
    ) -> Option<Finding> {
        let named = guideline(self.axial_length);
        if named.contains(&self.name) {
            return None;
        }
        let own = self.placement.prediction(chosen).ok()?;
        let limit = order.settings.formulas_apart.dioptres();
        // The nearest of those the guideline names: a formula that agrees with one of them is not far from it.
        let (name, gap) = beside
            .iter()
            .filter(|other| named.contains(&other.name))
            .filter_map(|other| Some((other.name, (*other.predicted.as_ref().ok()? - own).dioptres())))
            .min_by(|one, other| one.1.abs().total_cmp(&other.1.abs()))?;
        (gap.abs() > limit + 1e-9).then(|| {
            Finding::new(
                Code::F02,
                Severity::SignOff,
                format!(
                    "{} and {}, which guideline NG77 (from memory) names for this length, are {} D apart",
                    self.name.label(),
                    name.label(),
                    round::fixed(gap.abs(), 2)
                ),
                "the planning formula is far from the one a guideline names for this length",
            )
            .eye(eye)
            .expected(format!("at most {} D", round::fixed(limit, 2)))
            .found(format!("{} D", round::signed(gap, 2)))
            .cited(Settings::FORMULAS_APART_SOURCE)
            .next("look at axial length, keratometry and constants; confirm the formula with a reason, or name another for this length")
        })
    }
}

/// The formulas here that a guideline names for eyes of a length. Source: [`GUIDELINE_2017`](crate::cite::GUIDELINE_2017).
fn guideline(length: Millimetre) -> &'static [FormulaName] {
    match length.millimetres() {
        short if short < 22.0 => &[FormulaName::Haigis2000, FormulaName::Hoffer1993],
        long if long > 26.0 => &[FormulaName::Haigis2000, FormulaName::Retzlaff1990],
        _ => &[FormulaName::Retzlaff1990],
    }
}
