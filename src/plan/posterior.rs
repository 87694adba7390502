//! The posterior cornea of one eye: which model is used, what it adds, and what the others would have added.

use super::compute::Refusals;
use super::surgeon::{PosteriorChoice, Surgeon};
use crate::checks::{KeratometrySource, Selection};
use crate::cite::{self, Mark, Source};
use crate::finding::{Code, Finding, Severity};
use crate::model::{CornealSurgery, Eye, Keratometry, MeridianReading, Surface};
use crate::optics::cornea::ToricSurface;
use crate::optics::posterior::{PosteriorError, PosteriorModel, back_of_radii};
use crate::units::{Dioptre, KeratometricIndex, Meridian, Millimetre, PowerVector, round};

/// Radii between which a measured back surface of a cornea is believed, in millimetres. Source: our own choice, wide of the
/// schematic 6.8 mm; a radius outside belongs to another surface or another unit.
const BACK_RADIUS_MM: core::ops::RangeInclusive<f64> = 4.5..=9.0;

/// Powers of the same surface, without a sign, in dioptres: `40 / r` of those radii.
const BACK_POWER_D: core::ops::RangeInclusive<f64> = 4.4..=8.9;

/// What the posterior cornea adds to the combined keratometry.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Posterior {
    /// The model that was used.
    pub(super) used: PosteriorChoice,
    /// What it adds, corneal plane.
    pub(super) addition: PowerVector,
    /// Whether the sum is the power of the whole cornea and not one by a keratometric index: then it is not scaled.
    pub(super) whole: bool,
    /// Whose it is, and why it is not the one the surgeon's file names.
    pub(super) words: String,
}

/// What a model would leave to correct.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherModel {
    /// The model, as printed.
    pub name: String,
    /// What would be left to correct; or why the model says nothing of this eye.
    pub to_correct: Result<PowerVector, String>,
}

/// What a model is asked of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cornea<'a> {
    pub(super) eye: Eye,
    pub(super) measured: PowerVector,
    pub(super) selection: &'a Selection,
    pub(super) surgery: CornealSurgery,
    /// Cylinder of the lens that the unadjusted reading would call for; none where there is no formula.
    pub(super) unadjusted_lens: Option<Dioptre>,
}

/// What one model says.
struct Said {
    addition: PowerVector,
    whole: bool,
    words: String,
}

/// Why a model says nothing of an eye.
enum Silent {
    /// It does not hold for this eye, or what it needs was not measured.
    Because(String),
    /// What was measured cannot be believed: nothing may take its place unseen.
    Doubtful(String),
}

impl Silent {
    fn words(self) -> String {
        match self {
            Self::Because(words) | Self::Doubtful(words) => words,
        }
    }
}

fn cited(model: PosteriorModel) -> String {
    model.source().map_or_else(|| "none chosen: nothing added".to_owned(), |source| source.cited())
}

/// Source of a choice, for the step and for F01.
pub(super) const fn source_of(choice: PosteriorChoice) -> Source {
    match choice {
        PosteriorChoice::Measured => cite::GULLSTRAND,
        PosteriorChoice::Eom2015 => cite::EOM_2015,
        PosteriorChoice::Constant => cite::POSTERIOR_CONSTANT,
        PosteriorChoice::Goggin2015 => cite::GOGGIN_2015,
        PosteriorChoice::AbulafiaKoch2016 => cite::ABULAFIA_KOCH_2016,
        PosteriorChoice::Total | PosteriorChoice::None => cite::HOUSE_RULE,
    }
}

/// What a choice does, in symbols.
pub(super) const fn formula_of(choice: PosteriorChoice) -> &'static str {
    match choice {
        PosteriorChoice::Measured => {
            "1.1141 C (index 1.376 in place of 1.3375) minus the cylinder of the measured back surface at its own steep meridian, 40/r steep - 40/r flat; the thickness of the cornea is left out"
        }
        PosteriorChoice::Total => {
            "the measured astigmatism of the whole cornea in place of the keratometric one; no model is applied to it"
        }
        PosteriorChoice::Eom2015 => {
            "subtracted at 90: with the rule 0.15 C + 0.22, oblique 0.05 C + 0.27, against the rule 0.27 D; class limits 30 and 60 degrees and the blend of 5 degrees on either side of them: our assumption"
        }
        PosteriorChoice::Constant => {
            "0.25 D added at 180; 180 in place of the 7 degrees read: our assumption"
        }
        PosteriorChoice::Goggin2015 => {
            "times 0.75 with the rule, 1.41 against it, the meridian kept; only for lenses of at most 2.0 D; classes within 30 degrees of 90 and 180: our assumption"
        }
        PosteriorChoice::AbulafiaKoch2016 => {
            "x = 0.508 + 0.926 x, y = 0.009 + 0.932 y, from memory; found by refraction, so that it holds the tilt of the lens already"
        }
        PosteriorChoice::None => "none chosen",
    }
}

/// Why a model does not hold, in the places that are printed.
fn limits(error: PosteriorError) -> String {
    match error {
        PosteriorError::LensTooStrong { lens_cylinder_d, most_d } => format!(
            "its factors hold for lenses up to {} D, the reading calls for {} D",
            round::fixed(most_d, 2),
            round::fixed(lens_cylinder_d, 2)
        ),
        PosteriorError::Oblique { steep_deg } => format!(
            "its factors are not stated for oblique astigmatism, steep at {}",
            round::meridian(Meridian::wrapping(steep_deg))
        ),
    }
}

fn population(model: PosteriorModel, cornea: &Cornea<'_>) -> Result<Said, Silent> {
    if cornea.surgery == CornealSurgery::Yes {
        return Err(Silent::Because("the cornea was operated on, no model of it holds".to_owned()));
    }
    let addition = model.addition(cornea.measured).map_err(|error| Silent::Because(limits(error)))?;
    Ok(Said { addition, whole: false, words: cited(model) })
}

/// Values of one surface of this eye, from the examinations whose anterior keratometry is in the plan.
fn of_surface<'a>(
    cornea: &Cornea<'a>,
    surface: Surface,
) -> impl Iterator<Item = (&'a KeratometrySource, &'a Keratometry)> {
    let eye = cornea.eye;
    cornea.selection.in_plan().filter_map(move |source| {
        Some((source, source.exam().eyes.of(eye).as_ref()?.keratometry_of(surface)?))
    })
}

/// The size of a back surface's power by what the file states of one meridian: its radius, else its power.
fn back_radius(meridian: &MeridianReading) -> Result<Option<Millimetre>, Silent> {
    let believed = |holds: bool, text: &str, unit: &str| {
        if holds {
            Ok(())
        } else {
            Err(Silent::Doubtful(format!("{text} {unit} is no value of the back surface of a cornea")))
        }
    };
    if let Some(radius) = &meridian.radius {
        believed(BACK_RADIUS_MM.contains(&radius.value.millimetres()), &radius.text, "mm")?;
        return Ok(Some(radius.value));
    }
    let Some(power) = &meridian.power else { return Ok(None) };
    let size = power.value.dioptres().abs();
    believed(BACK_POWER_D.contains(&size), &power.text, "D")?;
    Ok(Millimetre::computed(40.0 / size))
}

/// Astigmatism of one measured back surface, without a sign, at its steep meridian.
fn back(keratometry: &Keratometry) -> Result<Option<PowerVector>, Silent> {
    let (Some(first), Some(second)) = (back_radius(&keratometry.flat)?, back_radius(&keratometry.steep)?)
    else {
        return Ok(None);
    };
    let Some(steep) = keratometry.steep_meridian() else { return Ok(None) };
    // A negative power makes flat and steep change their names: the smaller radius is the steep one, with its own meridian.
    let (flat, sharp, steep) =
        if first < second { (second, first, steep.perpendicular()) } else { (first, second, steep) };
    let surface = ToricSurface::from_radii(flat, sharp, steep).and_then(back_of_radii);
    surface.map(Some).map_err(|error| Silent::Doubtful(error.to_string()))
}

fn labels(sources: &[&KeratometrySource]) -> String {
    sources.iter().map(|source| source.label()).collect::<Vec<_>>().join(", ")
}

fn measured(cornea: &Cornea<'_>) -> Result<Said, Silent> {
    let mut found = Vec::new();
    let mut sources = Vec::new();
    for (source, keratometry) in of_surface(cornea, Surface::Posterior) {
        if let Some(vector) = back(keratometry)? {
            found.push(vector);
            sources.push(source);
        }
    }
    let Some(back) = PowerVector::mean(&found) else {
        return Err(Silent::Because("no back surface of this eye was measured".to_owned()));
    };
    let model = PosteriorModel::Measured { back };
    let addition = model.addition(cornea.measured).map_err(|error| Silent::Because(error.to_string()))?;
    let words = format!(
        "measured back surface {} @ {}, {}, {}",
        round::fixed(back.cylinder().dioptres(), 2),
        round::meridian(back.steep()),
        labels(&sources),
        cited(model)
    );
    Ok(Said { addition, whole: true, words })
}

/// Astigmatism of a whole cornea as measured: by its declared index in terms of 1.3375, else as the power it is.
fn whole(keratometry: &Keratometry) -> Option<(PowerVector, bool)> {
    let index = KeratometricIndex::ISO_10343;
    if keratometry.index.is_some()
        && let Some(vector) = keratometry.vector_at(index)
    {
        return Some((vector, false));
    }
    let power = |meridian: &MeridianReading| meridian.power.as_ref().map(|power| power.value);
    let cylinder = power(&keratometry.steep)? - power(&keratometry.flat)?;
    let steep: Meridian = keratometry.steep_meridian()?;
    Some((PowerVector::from_steep(cylinder, steep), true))
}

fn total(cornea: &Cornea<'_>) -> Result<Said, Silent> {
    let found: Vec<_> = of_surface(cornea, Surface::Total)
        .filter_map(|(source, keratometry)| Some((source, whole(keratometry)?)))
        .collect();
    let Some((_, (_, as_power))) = found.first() else {
        return Err(Silent::Because(
            "no keratometry of the whole cornea of this eye was measured".to_owned(),
        ));
    };
    if found.iter().any(|(_, (_, other))| other != as_power) {
        return Err(Silent::Doubtful(
            "the readings of the whole cornea are of different definitions and are not averaged".to_owned(),
        ));
    }
    let vectors: Vec<PowerVector> = found.iter().map(|(_, (vector, _))| *vector).collect();
    let sources: Vec<&KeratometrySource> = found.iter().map(|(source, _)| *source).collect();
    let vector = PowerVector::mean(&vectors).unwrap_or(PowerVector::ZERO);
    let words = format!(
        "whole cornea as measured, {} @ {}, {}",
        round::fixed(vector.cylinder().dioptres(), 2),
        round::meridian(vector.steep()),
        labels(&sources)
    );
    Ok(Said { addition: vector - cornea.measured, whole: *as_power, words })
}

fn said(choice: PosteriorChoice, cornea: &Cornea<'_>) -> Result<Said, Silent> {
    match choice {
        PosteriorChoice::Measured => measured(cornea),
        PosteriorChoice::Total => total(cornea),
        PosteriorChoice::Eom2015 => population(PosteriorModel::Eom2015, cornea),
        PosteriorChoice::Constant => population(PosteriorModel::Constant, cornea),
        PosteriorChoice::AbulafiaKoch2016 => population(PosteriorModel::AbulafiaKoch2016, cornea),
        PosteriorChoice::Goggin2015 => match cornea.unadjusted_lens {
            Some(lens_cylinder) => population(PosteriorModel::Goggin2015 { lens_cylinder }, cornea),
            None => Err(Silent::Because(
                "the factors hold by the cylinder of the lens, which is not known without a formula"
                    .to_owned(),
            )),
        },
        PosteriorChoice::None => population(PosteriorModel::None, cornea),
    }
}

fn made(used: PosteriorChoice, said: Said) -> Posterior {
    Posterior { used, addition: said.addition, whole: said.whole, words: said.words }
}

fn refused(eye: Eye, choice: PosteriorChoice, why: &str) -> Finding {
    Finding::new(
        Code::F04,
        Severity::Refuse,
        format!("posterior cornea, {}: {why}", choice.label()),
        "the model of the posterior cornea does not hold for this eye",
    )
    .eye(eye)
    .cited(source_of(choice))
    .next("name another `posterior_model`, or a `posterior_fallback`, in the surgeon's file")
}

/// The model of the surgeon's file; where nothing was measured, or the model is not stated for this eye, the one the file
/// names for that case, with the reason said. After corneal surgery only what was measured is used.
pub(super) fn posterior(
    surgeon: &Surgeon,
    cornea: &Cornea<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Posterior, Refusals> {
    let wanted = surgeon.posterior;
    let eye = cornea.eye;
    let why = match said(wanted, cornea) {
        Ok(said) => return Ok(made(wanted, said)),
        Err(Silent::Doubtful(why)) => return Err(vec![refused(eye, wanted, &why)]),
        Err(Silent::Because(why)) => why,
    };
    if cornea.surgery == CornealSurgery::Yes {
        let words = format!("{why}: nothing added");
        let none = Said { addition: PowerVector::ZERO, whole: false, words };
        return Ok(made(PosteriorChoice::None, none));
    }
    let fallback = match (wanted.is_measured(), surgeon.posterior_fallback) {
        (_, Some(stated)) => stated,
        (true, None) => PosteriorChoice::FALLBACK,
        (false, None) => return Err(vec![refused(eye, wanted, &why)]),
    };
    let mut said = said(fallback, cornea).map_err(|silent| vec![refused(eye, fallback, &silent.words())])?;
    said.words = format!("{} in place of {}: {why}; {}", fallback.label(), wanted.label(), said.words);
    if !wanted.is_measured() {
        findings.push(
            Finding::new(
                Code::F04,
                Severity::Note,
                format!("posterior cornea: {} in place of {}, {why}", fallback.label(), wanted.label()),
                format!("{} is not stated for this eye, {} was used", wanted.label(), fallback.label()),
            )
            .eye(eye)
            .cited(source_of(wanted)),
        );
    }
    Ok(made(fallback, said))
}

/// F01: a live plan rests on a model whose numbers are from memory.
pub(super) fn from_memory(eye: Eye, used: PosteriorChoice, live: bool) -> Option<Finding> {
    // The indices of the schematic cornea are the trade's own; what is from memory of it is a worked example.
    let remembered = used != PosteriorChoice::Measured && source_of(used).mark == Mark::FromMemory;
    (live && remembered).then(|| {
        let text = format!(
            "posterior cornea by {}: its numbers are from memory, not yet compared with the paper",
            used.label()
        );
        Finding::new(Code::F01, Severity::SignOff, text.clone(), text)
            .eye(eye)
            .expected("a model whose numbers were read")
            .found(used.label())
            .cited(source_of(used))
            .next("take another model of the posterior cornea, or confirm this one with a reason")
    })
}

/// What each of the other models says of this eye, in the order of [`PosteriorChoice::ALL`].
pub(super) fn others(
    used: PosteriorChoice,
    cornea: &Cornea<'_>,
) -> Vec<(PosteriorChoice, Result<Posterior, String>)> {
    PosteriorChoice::ALL
        .into_iter()
        .filter(|choice| *choice != used)
        .map(|choice| (choice, said(choice, cornea).map(|said| made(choice, said)).map_err(Silent::words)))
        .collect()
}
