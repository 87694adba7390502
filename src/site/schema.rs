//! Surgeon and lens files: text to the types of the plan.

use super::case_eye::truth;
use super::node::{Table, Taken, TextFault, Tree};
use crate::checks::LensOnFile;
use crate::model::{Seat, Written};
use crate::optics::uncertainty::Covariance;
use crate::optics::view::LimbalPlace;
use crate::plan::{
    BoxPlane, BoxPower, Combining, DepthRule, FormulaName, IncisionEffectStated, IncisionProfile,
    IncisionSite, Leftover, LengthBand, LensConstants, LensFamily, LensKind, LensStep, MarksOn, Opening,
    PhakicDesign, PosteriorChoice, PowerRange, Reach, Surgeon,
};
use crate::units::{Degrees, Dioptre, Direction, Meridian, Millimetre, OutOfRange};

/// A lens family as read: planable, or with what keeps it from being planned.
#[derive(Debug, Clone, PartialEq)]
pub struct LensRead {
    /// Name, as lists write it.
    pub name: String,
    /// The family, or why it cannot be planned.
    pub family: Result<LensFamily, String>,
}

impl LensRead {
    /// What the checks are told of it.
    pub fn on_file(&self) -> LensOnFile {
        LensOnFile { name: self.name.clone(), has_box_codes: self.family.is_ok() }
    }
}

pub(super) fn ranged<T>(
    taken: &Taken<'_>,
    make: impl Fn(f64) -> Result<T, OutOfRange>,
) -> Result<(T, Written), TextFault> {
    let written = taken.number()?;
    let value = make(written.value()).map_err(|error| {
        taken.fault(
            error.to_string(),
            format!("write a value from {} to {} {}", error.min, error.max, error.unit),
        )
    })?;
    Ok((value, written))
}

fn dioptres(table: &Table<'_>, key: &'static str) -> Result<Option<Dioptre>, TextFault> {
    table.get(key).map(|taken| Ok(ranged(&taken, Dioptre::from_reading)?.0)).transpose()
}

fn need_dioptres(table: &Table<'_>, key: &'static str, what: &str) -> Result<Dioptre, TextFault> {
    Ok(ranged(&table.need(key, what)?, Dioptre::from_reading)?.0)
}

pub(super) fn word<T>(
    taken: &Taken<'_>,
    read: impl Fn(&str) -> Option<T>,
    known: &str,
) -> Result<T, TextFault> {
    let text = taken.text()?;
    read(&text).ok_or_else(|| taken.fault(format!("`{text}` is unknown"), format!("known: {known}")))
}

/// The planning formulas by the words of a surgeon's file.
const FORMULAS: &str = "Haigis 2000, Holladay 1988, Retzlaff 1990, Hoffer 1993, Sheard 2010";

/// Reads a surgeon's file.
///
/// # Errors
/// [`TextFault`] with line, key and the next step.
pub fn surgeon(file: &str, text: &str) -> Result<Surgeon, TextFault> {
    let tree = Tree::parse(file, text)?;
    surgeon_table(tree.table()?)
}

pub(super) fn surgeon_table(table: Table<'_>) -> Result<Surgeon, TextFault> {
    let formula = table.need("formula", "the planning formula")?;
    let posterior = table.get("posterior_model");
    let leftover = table.get("leftover");
    let bands = match table.get("band") {
        Some(taken) => bands(&taken)?,
        None => Vec::new(),
    };
    let surgeon = Surgeon {
        name: table.need("name", "the surgeon's name")?.text()?,
        revision: table.get("revision").map(|taken| taken.text_as_written()).transpose()?,
        formula: word(&formula, FormulaName::from_word, FORMULAS)?,
        bands,
        posterior: match posterior {
            Some(taken) => word(&taken, PosteriorChoice::from_word, PosteriorChoice::WORDS)?,
            None => PosteriorChoice::Eom2015,
        },
        posterior_fallback: table.get("posterior_fallback").map(|taken| fallback(&taken)).transpose()?,
        combine: table
            .get("combine")
            .map(|taken| word(&taken, Combining::from_word, &Combining::WORDS.join(", ")))
            .transpose()?,
        leftover: match leftover {
            Some(taken) => word(&taken, Leftover::from_word, "least, with-the-rule")?,
            None => Leftover::Least,
        },
        incisions: match table.get("incision") {
            Some(taken) => taken.tables()?.into_iter().map(incision).collect::<Result<_, _>>()?,
            None => Vec::new(),
        },
        reach: table.get("reach").map(|taken| reach(taken.table()?)).transpose()?.unwrap_or_default(),
        laser_turns_axis: table.get("laser_turns_axis").map(|taken| truth(&taken)).transpose()?,
        seat: table.get("seat").map(|taken| word(&taken, Seat::from_word, "head, temporal")).transpose()?,
        backup: table.text("backup")?,
        arcs: table.get("arcs").map(|taken| super::nomogram::technique(taken.table()?)).transpose()?,
    };
    table.finish()?;
    Ok(surgeon)
}

/// What stands in for a posterior model that says nothing of an eye: a model that needs no measurement.
fn fallback(taken: &Taken<'_>) -> Result<PosteriorChoice, TextFault> {
    let choice = word(taken, PosteriorChoice::from_word, PosteriorChoice::WORDS)?;
    if choice.is_measured() {
        return Err(taken.fault(
            "a measurement cannot stand in where none was made",
            "name a model here: eom2015, constant, goggin2015, abulafia_koch2016 or none",
        ));
    }
    Ok(choice)
}

/// How an incision scatters from eye to eye: `sd_d` for both components, or `covariance = { xx, yy, xy }` in square dioptres.
fn scatter(table: &Table<'_>) -> Result<Option<Covariance>, TextFault> {
    let sd = dioptres(table, "sd_d")?;
    let Some(taken) = table.get("covariance") else {
        return match sd {
            Some(sd) if sd.dioptres() <= 0.0 => {
                Err(table
                    .fault("a standard deviation is above zero", "leave `sd_d` out where it is not known"))
            }
            sd => Ok(sd.map(Covariance::isotropic)),
        };
    };
    if sd.is_some() {
        return Err(table.fault("the scatter of the incision stands twice", "give `sd_d` or `covariance`"));
    }
    let entries = taken.table()?;
    let entry = |key: &'static str, what: &str| Ok(entries.need(key, what)?.number()?.value());
    let (xx, yy) = (entry("xx", "the first variance")?, entry("yy", "the second variance")?);
    let xy = entries.get("xy").map(|taken| Ok(taken.number()?.value())).transpose()?.unwrap_or(0.0);
    entries.finish()?;
    let covariance = Covariance::from_entries(xx, xy, yy).ok().filter(|_| xx > 0.0 && yy > 0.0);
    covariance.map(Some).ok_or_else(|| {
        taken.fault(
            format!("`xx` {xx}, `xy` {xy}, `yy` {yy} are no covariance"),
            "give variances above zero in square dioptres and a covariance that they allow",
        )
    })
}

/// The bands of axial length with a formula of their own; two that hold one length are refused.
fn bands(taken: &Taken<'_>) -> Result<Vec<LengthBand>, TextFault> {
    let length = |table: &Table<'_>, key: &'static str| {
        table.get(key).map(|taken| Ok(ranged(&taken, Millimetre::from_reading)?.0)).transpose()
    };
    let mut bands: Vec<LengthBand> = Vec::new();
    for table in taken.tables()? {
        let band = LengthBand {
            from: length(&table, "from_mm")?,
            below: length(&table, "below_mm")?,
            formula: word(
                &table.need("formula", "the formula of the band")?,
                FormulaName::from_word,
                FORMULAS,
            )?,
        };
        let empty = band.from.zip(band.below).is_some_and(|(from, below)| from >= below);
        if empty || (band.from.is_none() && band.below.is_none()) {
            return Err(table.fault(
                "the band holds no length, or every length",
                "give `from_mm`, `below_mm` or both, the first the smaller; lengths in no band are planned by `formula`",
            ));
        }
        if bands.iter().any(|other| other.overlaps(&band)) {
            return Err(table.fault(
                "an earlier band holds some of the same lengths",
                "end one band where the next begins: a length belongs to one formula",
            ));
        }
        table.finish()?;
        bands.push(band);
    }
    Ok(bands)
}

fn direction(taken: &Taken<'_>) -> Result<Direction, TextFault> {
    Ok(ranged(taken, Direction::from_reading)?.0)
}

fn incision(table: Table<'_>) -> Result<IncisionProfile, TextFault> {
    let site = match (table.get("site"), table.get("at_deg")) {
        (Some(taken), None) => {
            let known = "nasal, temporal, superior, inferior, superonasal, superotemporal, inferonasal, inferotemporal";
            IncisionSite::Word(word(&taken, |text| LimbalPlace::from_word(text.trim()), known)?)
        }
        (None, Some(taken)) => {
            let eyes = taken.table()?;
            let site = IncisionSite::At {
                right: direction(&eyes.need("right", "the place in a right eye")?)?,
                left: direction(&eyes.need("left", "the place in a left eye")?)?,
            };
            eyes.finish()?;
            site
        }
        _ => {
            return Err(table.fault(
                "the place of the incision must be stated once",
                "give either `site` (a word, mirrored between the eyes) or `at_deg = { right, left }`",
            ));
        }
    };
    let flattening = dioptres(&table, "flattening_d")?;
    let torque = dioptres(&table, "torque_d")?;
    let steepened = dioptres(&table, "steepened_d")?;
    let steepened_at = table.get("steepened_deg");
    let effect = match (flattening, steepened, steepened_at) {
        (Some(flattening), None, None) => {
            IncisionEffectStated::Flattening { flattening, torque: torque.unwrap_or(Dioptre::ZERO) }
        }
        (None, Some(cylinder), Some(at)) if torque.is_none() && cylinder.dioptres() >= 0.0 => {
            IncisionEffectStated::Steepened { cylinder, meridian: ranged(&at, Meridian::from_reading)?.0 }
        }
        _ => {
            return Err(table.fault(
                "it is not clear what the incision does",
                "give either `flattening_d` at the incision's own meridian (positive: flatter there, with `torque_d` if any), or a published centroid as `steepened_d` (not negative) and `steepened_deg`",
            ));
        }
    };
    let eyes = table.get("n").map(|taken| taken.count()).transpose()?;
    let scatter = scatter(&table)?;
    let width =
        table.get("width_mm").map(|taken| Ok(ranged(&taken, Millimetre::from_reading)?.0)).transpose()?;
    let opening = match table.get("opening") {
        Some(taken) => word(&taken, Opening::from_word, Opening::WORDS)?,
        None => Opening::Phaco,
    };
    table.finish()?;
    Ok(IncisionProfile { site, opening, effect, width, scatter, eyes })
}

/// How far from the middle of its side an incision can be made, in degrees to either side, 1 to 180.
fn reach(table: Table<'_>) -> Result<Reach, TextFault> {
    let half = |key: &'static str| -> Result<Option<Degrees>, TextFault> {
        let Some(taken) = table.get(key) else { return Ok(None) };
        let written = taken.number()?.value();
        let half = Some(written).filter(|half| (1.0..=180.0).contains(half)).and_then(Degrees::computed);
        half.map(Some).ok_or_else(|| {
            taken.fault(format!("`{written}` is no reach"), "write the degrees to either side, 1 to 180")
        })
    };
    let usual = Reach::default();
    let reach = Reach {
        head: half("head_deg")?.unwrap_or(usual.head),
        temporal: half("temporal_deg")?.unwrap_or(usual.temporal),
    };
    table.finish()?;
    Ok(reach)
}

/// Reads a lens file.
///
/// A file without what its box line needs is read all the same, so that a list naming it can be told why it cannot be
/// planned.
///
/// # Errors
/// [`TextFault`] with line, key and the next step.
pub fn lens(file: &str, text: &str) -> Result<LensRead, TextFault> {
    let tree = Tree::parse(file, text)?;
    lens_table(tree.table()?)
}

fn range(table: Table<'_>) -> Result<PowerRange, TextFault> {
    let range = PowerRange {
        from: need_dioptres(&table, "from", "the least power")?,
        to: need_dioptres(&table, "to", "the greatest power")?,
        step: need_dioptres(&table, "step", "the step")?,
    };
    table.finish()?;
    Ok(range)
}

fn constants(table: Table<'_>) -> Result<LensConstants, TextFault> {
    let number = |key: &'static str| -> Result<Option<f64>, TextFault> {
        table.get(key).map(|taken| Ok(taken.number()?.value())).transpose()
    };
    let constants = LensConstants {
        a: number("a")?,
        sf: number("sf")?,
        pacd: number("pacd")?,
        a0: number("a0")?,
        a1: number("a1")?,
        a2: number("a2")?,
        origin: table.need("origin", "the origin of the constants")?.text()?,
    };
    table.finish()?;
    Ok(constants)
}

/// Depth, marks and sign of a phakic family; else what it does not state, so that it cannot be planned.
fn phakic_design(table: &Table<'_>) -> Result<Result<PhakicDesign, &'static str>, TextFault> {
    let length = |key: &'static str| {
        table.get(key).map(|taken| Ok(ranged(&taken, Millimetre::from_reading)?.0)).transpose()
    };
    let (fixed, offset) = (length("depth_mm")?, length("depth_offset_mm")?);
    let marks = table
        .get("marks")
        .map(|taken| word(&taken, MarksOn::from_word, "least_power, minus_cylinder_axis"))
        .transpose()?;
    let minus = table
        .get("box_cylinder_sign")
        .map(|taken| {
            word(
                &taken,
                |text| match text.trim() {
                    "minus" => Some(true),
                    "plus" => Some(false),
                    _ => None,
                },
                "minus, plus",
            )
        })
        .transpose()?;
    let depth = match (fixed, offset) {
        (Some(fixed), None) if fixed.millimetres() > 0.0 => DepthRule::Fixed(fixed),
        (None, Some(offset)) => DepthRule::BeforeNaturalLens(offset),
        _ => {
            return Ok(Err(
                "does not state how deep it lies: either `depth_mm` above zero, or `depth_offset_mm` before the natural lens",
            ));
        }
    };
    let Some(marks) = marks else {
        return Ok(Err("does not state `marks`: least_power or minus_cylinder_axis"));
    };
    let Some(minus_on_box) = minus else {
        return Ok(Err("does not state `box_cylinder_sign`: minus or plus"));
    };
    Ok(Ok(PhakicDesign { depth, marks, minus_on_box }))
}

pub(super) fn lens_table(table: Table<'_>) -> Result<LensRead, TextFault> {
    let name = table.need("name", "the name of the lens family")?.text()?;
    let kind = table.need("kind", "the kind of the lens")?;
    let kind = word(
        &kind,
        |text| match text.trim() {
            "toric" => Some(LensKind::Toric),
            "spherical" => Some(LensKind::Spherical),
            "phakic" => Some(LensKind::Phakic),
            _ => None,
        },
        "toric, spherical, phakic",
    )?;
    let revision = table.get("revision").map(|taken| taken.text_as_written()).transpose()?;
    let phakic = kind == LensKind::Phakic;
    let constants = match table.get("constants") {
        // A phakic lens is planned from the refraction: no constant of a formula belongs to it.
        None if phakic => LensConstants::default(),
        Some(taken) if phakic => {
            return Err(taken.fault("a phakic lens has no constants", "leave `constants` out"));
        }
        _ => constants(table.need("constants", "the constants of the lens")?.table()?)?,
    };
    let mut problem = None;
    let design = if phakic {
        phakic_design(&table)?.map_err(|missing| problem = Some(format!("lens `{name}` {missing}"))).ok()
    } else {
        None
    };
    let box_power = table
        .get("box_power")
        .map(|taken| {
            word(
                &taken,
                |text| match text.trim() {
                    "spherical_equivalent" => Some(BoxPower::SphericalEquivalent),
                    "sphere" => Some(BoxPower::Sphere),
                    _ => None,
                },
                "spherical_equivalent, sphere",
            )
        })
        .transpose()?;
    let box_plane = table
        .get("box_cylinder_plane")
        .map(|taken| {
            word(
                &taken,
                |text| match text.trim() {
                    "lens" => Some(BoxPlane::Lens),
                    "cornea" | "corneal" => Some(BoxPlane::Cornea),
                    _ => None,
                },
                "lens, cornea",
            )
        })
        .transpose()?;
    let equivalent = range(table.need("equivalent_d", "the powers of the family")?.table()?)?;
    let mut steps = Vec::new();
    for step in table.get("steps").map(|taken| taken.tables()).transpose()?.unwrap_or_default() {
        let position = steps.len() + 1;
        let code = step.get("code").map(|taken| taken.text_as_written()).transpose()?.unwrap_or_default();
        let cylinder = need_dioptres(&step, "cylinder_d", "the cylinder of the step at the lens plane")?;
        let box_cylinder = dioptres(&step, "box_cylinder_d")?;
        let made =
            step.get("equivalent_d").map(|taken| range(taken.table()?)).transpose()?.unwrap_or(equivalent);
        if box_cylinder.is_none() && box_plane == Some(BoxPlane::Cornea) {
            problem.get_or_insert_with(|| {
                format!("step {position} of `{name}` needs `box_cylinder_d`: the box states the cylinder at the cornea")
            });
        }
        step.finish()?;
        steps.push(LensStep { code, cylinder, box_cylinder: box_cylinder.unwrap_or(cylinder), made });
    }
    table.finish()?;
    let family = match (problem, box_power, box_plane) {
        (Some(problem), ..) => Err(problem),
        (None, Some(box_power), Some(box_plane)) => {
            let family = LensFamily {
                name: name.clone(),
                revision,
                kind,
                constants,
                phakic: design,
                box_power,
                box_plane,
                equivalent,
                steps,
            };
            match family.faults().first() {
                Some(fault) => Err(format!("{fault}; {}", fault.hint())),
                None => Ok(family),
            }
        }
        (None, None, _) => {
            Err(format!("lens `{name}` does not state `box_power`: spherical_equivalent or sphere"))
        }
        (None, _, None) => Err(format!("lens `{name}` does not state `box_cylinder_plane`: lens or cornea")),
    };
    Ok(LensRead { name, family })
}
