//! Arcs on the steep meridian: how many, how far, where and how deep, as a table says that a surgeon has approved.
//!
//! What the table does not state is not made up: no residual is predicted, and without a thickness measured where an arc
//! is cut no arc is planned.

use super::arcs::{Arc, ArcsPlan, LocalThickness};
use super::arcs_explained;
use super::arcs_noticed::{fits, meets, near_limit, not_read, outside, refuse, wider_than_cornea};
use super::astigmatism;
use super::compute::{
    Asked, AstigmatismStep, Computation, Line, Refusals, StepWord, Work, bare, lens_operation, no_family,
};
use super::explain;
use super::keratometry::{self, Combined};
use super::marking::Marking;
use super::nomogram::{
    ArcDepth, ArcEnd, ArcIncision, ArcInput, ArcTechnique, Looked, Nomogram, Outside, SingleArc, class_words,
};
use super::surgeon::view_eye;
use crate::cite;
use crate::finding::{Code, Finding};
use crate::model::{CornealSurgery, Eye};
use crate::optics::incision::arc_of_angle;
use crate::optics::posterior::AstigmatismClass;
use crate::units::{Degrees, Direction, Meridian, Micrometre, Millimetre, PowerVector, round};

/// Deepest cut as a share of the thinnest local reading, percent. Source: [`ARC_DEPTH`](crate::cite::ARC_DEPTH).
pub(super) const DEEPEST_PERCENT: f64 = 90.0;

/// What neither the table nor the surgeon's file may leave open.
struct Stated {
    input: ArcInput,
    incision: ArcIncision,
    zone: Millimetre,
    depth: ArcDepth,
    single: Option<SingleArc>,
}

/// The one value of two files that may both state it; a refusal where neither does or they differ.
fn one<T: Copy + PartialEq>(
    eye: Eye,
    key: &str,
    of_table: Option<T>,
    of_surgeon: Option<T>,
    words: impl Fn(T) -> String,
) -> Result<T, Refusals> {
    match (of_table, of_surgeon) {
        (Some(one), Some(other)) if one != other => Err(vec![
            refuse(
                eye,
                Code::F04,
                format!("the table of arcs and the surgeon's file contradict each other in `{key}`"),
                "the table of arcs and the surgeon's file contradict each other",
            )
            .expected(words(one))
            .found(words(other))
            .next("state it in one of the two files, and have that file approved"),
        ]),
        (Some(value), _) | (None, Some(value)) => Ok(value),
        (None, None) => Err(vec![
            refuse(
                eye,
                Code::U10,
                format!("neither the table of arcs nor the surgeon's file states `{key}`"),
                "the table of arcs and the surgeon's file leave open what an arc needs",
            )
            .expected(format!("`{key}`"))
            .found("nothing")
            .next(format!("state `{key}` under `[arcs]` in the surgeon's file and have it approved")),
        ]),
    }
}

fn stated(eye: Eye, table: &Nomogram, technique: &ArcTechnique) -> Result<Stated, Refusals> {
    let input = one(eye, "input", table.input, technique.input, |input| input.word().to_owned());
    let incision = one(eye, "cataract_incision", table.incision, technique.incision, |incision| {
        incision.word().to_owned()
    });
    let zone = one(eye, "zone_mm", table.zone, technique.zone, |zone| {
        format!("{} mm", round::fixed(zone.millimetres(), 2))
    });
    let depth = one(eye, "depth_um` or `depth_percent", table.depth, technique.depth, ArcDepth::words);
    let single = match (table.single, technique.single) {
        (None, None) => Ok(None),
        (table, surgeon) => one(eye, "single", table, surgeon, |single| single.words()).map(Some),
    };
    match (input, incision, zone, depth, single) {
        (Ok(input), Ok(incision), Ok(zone), Ok(depth), Ok(single)) => {
            Ok(Stated { input, incision, zone, depth, single })
        }
        (input, incision, zone, depth, single) => {
            Err([input.err(), incision.err(), zone.err(), depth.err(), single.err()]
                .into_iter()
                .flatten()
                .flatten()
                .collect())
        }
    }
}

/// Whole years from birth to the day of the operation.
fn age(asked: &Asked<'_>) -> Result<u32, Refusals> {
    let entry = asked.entry;
    let born = entry.identity.birth_date.as_ref().map(|born| born.value);
    let day = entry.date.as_ref().map(|day| day.value);
    let (Some(born), Some(day)) = (born, day) else {
        let what = if born.is_none() { "birth date" } else { "day of the operation" };
        return Err(vec![
            refuse(
                asked.eye,
                Code::U10,
                format!("the table of arcs goes by age, and there is no {what}"),
                "the table of arcs goes by age, and the age is not known",
            )
            .expected(what)
            .found("none")
            .at(entry.place.clone())
            .next("complete the list"),
        ]);
    };
    let birthday_to_come = (day.month(), day.day()) < (born.month(), born.day());
    let years = i32::from(day.year()) - i32::from(born.year()) - i32::from(birthday_to_come);
    u32::try_from(years).map_err(|_| {
        vec![refuse(
            asked.eye,
            Code::U10,
            "the day of the operation lies before the birth",
            "the day of the operation lies before the birth",
        )]
    })
}

/// The astigmatism the table is entered with, step by step.
fn entered(
    asked: &Asked<'_>,
    stated: &Stated,
    findings: &mut Vec<Finding>,
) -> Result<(Combined, Vec<AstigmatismStep>), Refusals> {
    let combined = keratometry::combine(asked.selection, asked.order)?;
    let mut own = Vec::new();
    let parts = astigmatism::steps(asked, &combined, None, &mut own)?;
    // The lens, where there is one, says the same once more.
    if asked.entry.lens.is_none() {
        findings.append(&mut own);
    }
    let wanted = |word: StepWord| match word {
        StepWord::Measured => true,
        StepWord::PosteriorCornea => stated.input == ArcInput::Total,
        StepWord::Incision => stated.incision == ArcIncision::Separate,
        StepWord::ToCorrect => false,
    };
    let mut total = PowerVector::ZERO;
    let mut steps = Vec::new();
    for part in parts.printed(None).into_iter().filter(|part| wanted(part.word)) {
        total = total + part.own;
        steps.push(AstigmatismStep { total, ..part });
    }
    Ok((combined, steps))
}

/// The places of the arcs: both ends of the steep meridian, or the one the files name.
fn centres(
    asked: &Asked<'_>,
    stated: &Stated,
    class: AstigmatismClass,
    steep: Meridian,
    number: u32,
) -> Result<Vec<Direction>, Refusals> {
    let ends = [steep.upper_end(), steep.upper_end().opposite()];
    if number == 2 {
        return Ok(ends.to_vec());
    }
    let eye = asked.eye;
    let Some(single) = stated.single else {
        return Err(vec![
            refuse(
                eye,
                Code::U10,
                "the table asks for one arc, and no file states at which end of the steep meridian it lies",
                "it is not stated at which end of the steep meridian a single arc lies",
            )
            .expected("`single`")
            .found("nothing")
            .next("state `single` under `[arcs]` in the surgeon's file and have it approved"),
        ]);
    };
    let end = single.of(class);
    let reach = &asked.order.surgeon.reach;
    let (middle, allowed): (Direction, Vec<Direction>) = match end {
        ArcEnd::Toward(place) => (place.direction(view_eye(eye)), ends.to_vec()),
        ArcEnd::Reach => (
            reach.middle(eye, asked.order.seat),
            ends.into_iter().filter(|at| reach.holds(eye, asked.order.seat, *at)).collect(),
        ),
    };
    let off = |at: &Direction| middle.turn_to(*at).abs().degrees();
    // To whole degrees, as printed: two ends that lie equally far are no answer.
    let printed = |at: &Direction| round::rounded(off(at), 0);
    let nearest = allowed.iter().min_by(|one, other| off(one).total_cmp(&off(other))).copied();
    let tie = matches!(allowed.as_slice(), [one, other] if printed(one).total_cmp(&printed(other)).is_eq());
    nearest.filter(|_| !tie).map(|at| vec![at]).ok_or_else(|| {
        vec![refuse(
            eye,
            Code::F04,
            format!(
                "the files put a single arc {} `{}`, and of the steep meridian {} no end is the one",
                class_words(class),
                end.word(),
                round::meridian(steep)
            ),
            "the files do not say which end of this steep meridian the single arc lies at",
        )
        .expected("one end of the steep meridian")
        .found(if tie { "both lie equally far" } else { "none can be reached" })
        .next("name another side for this class under `[arcs]` in the surgeon's file, or another seat on the list")]
    })
}

/// The thinnest reading on an arc; readings as printed, in whole degrees.
fn thinnest(
    eye: Eye,
    centre: Direction,
    arc: Degrees,
    readings: &[LocalThickness],
) -> Result<(Micrometre, Vec<LocalThickness>), Refusals> {
    let whole = |at: Direction| Direction::wrapping(round::rounded(at.degrees(), 0));
    let on: Vec<LocalThickness> = readings
        .iter()
        .filter(|reading| reading.eye == eye)
        .filter(|reading| {
            whole(centre).turn_to(whole(reading.at)).abs().degrees() <= arc.degrees() / 2.0 + 1e-9
        })
        .cloned()
        .collect();
    let least = on
        .iter()
        .map(|reading| reading.thickness)
        .min_by(|one, other| one.micrometres().total_cmp(&other.micrometres()));
    least.map(|least| (least, on)).ok_or_else(|| {
        vec![refuse(
            eye,
            Code::U10,
            format!(
                "no corneal thickness was measured on the arc at {}; the central one says nothing about it",
                round::direction(centre)
            ),
            "no corneal thickness was measured where an arc is cut; the central one says nothing about it",
        )
        .expected(format!("a reading within {} degrees of {}", round::fixed(arc.degrees() / 2.0, 0), round::direction(centre)))
        .found("none")
        .next("measure the thickness along the arc and enter the thinnest reading with its place: `axiswright answer CASE --pachymetry-um`")]
    })
}

fn nomogram<'a>(asked: &Asked<'a>) -> Result<(&'a ArcTechnique, &'a Nomogram), Refusals> {
    let (eye, order) = (asked.eye, asked.order);
    let technique = order.surgeon.arcs.as_ref().ok_or_else(|| {
        vec![
            refuse(
                eye,
                Code::U10,
                "the surgeon's file says nothing about arcs",
                "the surgeon's file says nothing about arcs",
            )
            .expected("`[arcs]` in the surgeon's file")
            .found("nothing")
            .next("name a table and state what it leaves open under `[arcs]` in the surgeon's file"),
        ]
    })?;
    let table = order.nomogram.as_ref().ok_or_else(|| {
        vec![refuse(
            eye,
            Code::T03,
            format!("there is no table of arcs called `{}`", technique.nomogram),
            "the table of arcs that the surgeon's file names is not among the approved files",
        )
        .expected("an approved table of arcs")
        .found(technique.nomogram.clone())
        .next("put its file into `nomograms/` and have a surgeon approve it, or correct the name in the surgeon's file")]
    })?;
    Ok((technique, table))
}

/// Plans the arcs, and the lens where one is named.
pub(super) fn operation(asked: &Asked<'_>) -> Result<Computation, Refusals> {
    let &Asked { eye, surgery, order, .. } = asked;
    if surgery == CornealSurgery::Yes {
        return Err(vec![
            refuse(
                eye,
                Code::I05,
                "the cornea was operated on: the table of arcs was not made for it",
                "the cornea was operated on: the table of arcs was not made for it",
            )
            .expected("a cornea that was never operated on")
            .found("corneal refractive surgery")
            .next("plan this eye by your usual way"),
        ]);
    }
    let (technique, table) = nomogram(asked)?;
    let stated = stated(eye, table, technique)?;
    let with_lens = asked.entry.lens.is_some();
    if let Some(finding) = fits(eye, table, stated.incision, with_lens) {
        return Err(vec![finding]);
    }
    let mut findings = Vec::new();
    let (combined, astigmatism) = entered(asked, &stated, &mut findings)?;
    let treated = astigmatism.last().map_or(PowerVector::ZERO, |step| step.total);
    let steep = treated.steep();
    let class = table.limits.of(steep);
    let years = age(asked)?;
    let looked = table.look_up(class, treated.cylinder(), years).map_err(|why| {
        let found = match why {
            Outside::Age { .. } => format!("{years} years"),
            Outside::Astigmatism { .. } | Outside::Class => {
                format!("{} D {}", round::fixed(treated.cylinder().dioptres(), 2), class_words(class))
            }
        };
        vec![outside(eye, table, why, class, &found)]
    })?;
    findings.extend(near_limit(eye, table, steep, class, &looked, treated, years));
    findings.extend(not_read(eye, table, order.live));
    findings.extend(wider_than_cornea(asked, stated.zone));
    let centres = centres(asked, &stated, class, steep, looked.cell.cuts)?;
    let plan = cut(asked, table, &stated, &looked, (treated, class, years), &centres)?;
    let mut computation = if with_lens {
        if order.family.is_none() {
            return Err(vec![no_family(eye)]);
        }
        let mut computation = lens_operation(asked)?;
        if computation.line.is_some() {
            return Err(vec![
                refuse(
                    eye,
                    Code::F04,
                    "arcs are planned beside a spherical lens, and the entered lens has an axis",
                    "arcs are planned beside a spherical lens, and the entered lens has an axis",
                )
                .expected("a spherical lens")
                .found("a toric lens")
                .next("enter a lens without cylinder, or plan the toric lens without arcs"),
            ]);
        }
        computation.findings.splice(0..0, findings);
        computation
    } else {
        alone(asked, combined, findings, plan.clone())
    };
    if with_lens {
        let met = meets(asked, &plan, &computation)?;
        computation.findings.extend(met);
    }
    let cornea = explain::cornea(&computation, asked.selection).len();
    let of_lens = computation.steps.split_off(cornea.min(computation.steps.len()));
    computation.astigmatism = astigmatism;
    // What the arcs leave is not stated, so that no other model of the back surface leaves a number either.
    computation.other_posterior.clear();
    computation.line = Some(Line::SteepMeridian(steep));
    computation.marking = Some(Marking::to_axis(eye, steep, order.marks, order.seat, order.method));
    let lens = computation.lens().cloned();
    computation.work = Work::Arcs { arcs: Box::new(plan), lens };
    computation.steps = arcs_explained::steps(&computation, of_lens, asked, table);
    Ok(computation)
}

/// The arcs themselves: places, lengths, thickness and depth.
fn cut(
    asked: &Asked<'_>,
    table: &Nomogram,
    stated: &Stated,
    looked: &Looked,
    (treated, class, years): (PowerVector, AstigmatismClass, u32),
    centres: &[Direction],
) -> Result<ArcsPlan, Refusals> {
    let eye = asked.eye;
    let arc = looked.cell.arc;
    let length = arc_of_angle(arc, stated.zone).map_err(|error| {
        vec![
            refuse(eye, Code::F04, error.to_string(), "the length of the arcs cannot be computed")
                .next(error.hint()),
        ]
    })?;
    let mut readings: Vec<LocalThickness> = Vec::new();
    let mut items = Vec::new();
    let mut missing = Vec::new();
    for centre in centres {
        match thinnest(eye, *centre, arc, &asked.order.pachymetry) {
            Ok((thinnest, on)) => {
                readings.extend(on);
                items.push(Arc { centre: *centre, arc, length, thinnest });
            }
            Err(mut refused) => missing.append(&mut refused),
        }
    }
    if !missing.is_empty() {
        return Err(missing);
    }
    let thinnest = items.iter().map(|item| item.thinnest).fold(None, |least: Option<Micrometre>, next| {
        least.filter(|least| least.micrometres() <= next.micrometres()).or(Some(next))
    });
    let thinnest = thinnest.unwrap_or(Micrometre::from_micrometres(0.0));
    let depth = match stated.depth {
        ArcDepth::Set(depth) => depth,
        ArcDepth::Percent(share) => Micrometre::from_micrometres(thinnest.micrometres() * share / 100.0),
    };
    let percent = depth.micrometres() / thinnest.micrometres() * 100.0;
    if percent > DEEPEST_PERCENT + 1e-9 || !percent.is_finite() {
        return Err(vec![
            refuse(
                eye,
                Code::F04,
                format!(
                    "a cut of {} um is {} % of the thinnest reading on the arcs, {} um",
                    round::fixed(depth.micrometres(), 0),
                    round::fixed(percent, 1),
                    round::fixed(thinnest.micrometres(), 0)
                ),
                "the cut is too deep for the thinnest reading on the arcs",
            )
            .expected(format!("at most {} %", round::fixed(DEEPEST_PERCENT, 0)))
            .found(format!("{} %", round::fixed(percent, 1)))
            .cited(cite::ARC_DEPTH)
            .next("measure again along the arc, or state a smaller depth in the surgeon's file"),
        ]);
    }
    Ok(ArcsPlan {
        nomogram: table.name.clone(),
        revision: table.revision.clone(),
        source: table.cited(),
        note: table.note.clone(),
        mark: table.mark,
        input: stated.input,
        incision: stated.incision,
        treated,
        class,
        years,
        ages: looked.age.words(),
        band: looked.band(),
        zone: stated.zone,
        depth,
        percent_of_thinnest: percent,
        thinnest,
        items,
        readings,
    })
}

/// Arcs without a lens.
fn alone(asked: &Asked<'_>, combined: Combined, findings: Vec<Finding>, plan: ArcsPlan) -> Computation {
    let work = Work::Arcs { arcs: Box::new(plan), lens: None };
    Computation { keratometry: Some(combined), findings, ..bare(asked, work) }
}
