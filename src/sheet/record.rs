//! Page 3 and on, the record: every reading and every step, with its source.

use super::arcs;
use super::block::{LEFT, WIDTH};
use super::error::SheetError;
use super::flow::{Flow, cell, faint, head, plain, strong};
use super::frame::Frame;
use super::plot::{self, Marker, PLOT_MM};
use super::words;
use super::{steps, tables};
use crate::model::{ChamberDepthFrom, Keratometry, MeridianReading, Place};
use crate::page::{Page, Point};
use crate::plan::{Approval, Released, Work};
use crate::units::PowerVector;

/// Builds the pages.
pub(super) fn pages(frame: &Frame<'_>, released: &Released, digest: &str) -> Result<Vec<Page>, SheetError> {
    let mut flow = Flow::begin(frame, "RECORD")?;
    keratometry(&mut flow, released)?;
    lengths(&mut flow, released)?;
    references(&mut flow, released)?;
    differences(&mut flow, released)?;
    steps::steps(&mut flow, released)?;
    arcs::table(&mut flow, released)?;
    tables::lens(&mut flow, released)?;
    let work = &released.plan().computation().work;
    tables::powers(&mut flow, released)?;
    tables::choices(&mut flow, released)?;
    if !matches!(work, Work::Laser(_)) {
        tables::certainty(&mut flow, released)?;
    }
    steps::findings(&mut flow, released, frame)?;
    in_force(&mut flow, released, frame, digest)?;
    Ok(flow.end())
}

fn place(place: &Place) -> String {
    words::legible(&place.to_string())
}

/// What stood in the file for one meridian: the number as written and its unit.
fn written(meridian: &MeridianReading) -> String {
    let power = match (&meridian.radius, &meridian.power) {
        (Some(radius), Some(power)) => format!("{} mm, {} D", radius.text, power.text),
        (Some(radius), None) => format!("{} mm", radius.text),
        (None, Some(power)) => format!("{} D", power.text),
        (None, None) => words::NOT_STATED.to_owned(),
    };
    let angle = meridian.meridian.as_ref().map_or_else(String::new, |m| format!(" @ {}", m.text));
    words::legible(&format!("{power}{angle}"))
}

/// Where the numbers of one keratometry stood, and what was done to them on the way.
fn places_of(keratometry: &Keratometry) -> String {
    let mut parts = Vec::new();
    for (name, meridian) in [("flat", &keratometry.flat), ("steep", &keratometry.steep)] {
        let mut found: Vec<String> = Vec::new();
        let mut put = |what: &str, at: &Place, converted: Option<crate::model::Conversion>| {
            let how = converted.map_or_else(String::new, |c| format!(" ({})", c.words()));
            found.push(format!("{what} {}{how}", place(at)));
        };
        if let Some(radius) = &meridian.radius {
            put("radius", &radius.place, radius.converted);
        }
        if let Some(power) = &meridian.power {
            put("power", &power.place, power.converted);
        }
        if let Some(angle) = &meridian.meridian {
            put("meridian", &angle.place, angle.converted);
        }
        parts.push(format!("{name}: {}", found.join(", ")));
    }
    if let Some(index) = &keratometry.index {
        parts.push(format!("index {}: {}", words::legible(&index.text), place(&index.place)));
    }
    if keratometry.reordered {
        parts.push("steep and flat stood the other way round and were reordered with their axes".to_owned());
    }
    if keratometry.medians {
        parts.push("values are medians field by field".to_owned());
    }
    parts.join("; ")
}

fn keratometry(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let selection = released.plan().cleared().selection();
    if selection.keratometry().is_empty() {
        return Ok(());
    }
    flow.heading("Keratometry of this eye, anterior surface", 18.0)?;
    let columns = [(LEFT, 52.0), (66.0, 38.0), (106.0, 38.0), (146.0, 26.0), (174.0, 24.0)];
    let titles =
        ["INSTRUMENT, TIME", "FLAT, AS WRITTEN", "STEEP, AS WRITTEN", "FLAT / STEEP, 1.3375", "ASTIGMATISM"];
    let heads: Vec<_> = columns.iter().zip(titles).map(|((x, w), t)| cell(*x, *w, head(), t)).collect();
    flow.row(&heads)?;
    for (position, source) in selection.keratometry().iter().enumerate() {
        let number = position + 1;
        let left_out = selection.farthest() == Some(position);
        let name = if left_out {
            format!("{} - LEFT OUT OF THE PLAN", words::legible(source.label()))
        } else {
            words::legible(source.label())
        };
        let both = format!(
            "{} / {}",
            words::dioptres(source.flat()).trim_end_matches(" D"),
            words::dioptres(source.steep())
        );
        flow.skip(0.6);
        flow.room(12.0)?;
        let keratometry = source.keratometry();
        flow.row(&[
            cell(LEFT, 52.0, strong(), name),
            cell(66.0, 38.0, plain(), written(&keratometry.flat)),
            cell(106.0, 38.0, plain(), written(&keratometry.steep)),
            cell(146.0, 26.0, plain(), both).tagged(format!("k.{number}.powers")),
            cell(174.0, 24.0, strong(), words::vector(source.vector())).tagged(format!("k.{number}.vector")),
        ])?;
        let mut about = Vec::new();
        if let Some(readings) = &keratometry.readings {
            about.push(format!("{} readings", readings.value));
        }
        if let Some(zone) = &keratometry.zone {
            about.push(format!("zone {} mm", words::legible(&zone.text)));
        }
        about.push(places_of(keratometry));
        flow.row(&[cell(LEFT + 3.0, WIDTH - 3.0, faint(), about.join("; ")).torn()])?;
    }
    let Some(combined) = &released.plan().computation().keratometry else { return Ok(()) };
    let both = format!(
        "{} / {}",
        words::dioptres(combined.flat).trim_end_matches(" D"),
        words::dioptres(combined.steep)
    );
    flow.skip(0.6);
    flow.row(&[
        cell(LEFT, 130.0, strong(), format!("Combined: {}", combined.how())),
        cell(146.0, 26.0, strong(), both).tagged("k.combined.powers"),
        cell(174.0, 24.0, strong(), words::vector(combined.vector)).tagged("k.combined.vector"),
    ])
}

fn lengths(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let Some(source) = released.plan().cleared().selection().axial() else { return Ok(()) };
    flow.heading("Lengths of this eye", 8.0)?;
    flow.row(&[cell(LEFT, WIDTH, strong(), words::legible(source.label()))])?;
    let axial = source.axial();
    let from = match axial.depth_from {
        Some(ChamberDepthFrom::CornealFront) => "Chamber depth, from the corneal front",
        Some(ChamberDepthFrom::CornealBack) => "Chamber depth, from the corneal back",
        None => "Chamber depth, surface not stated",
    };
    let length =
        axial.method.map_or_else(|| "Axial length".to_owned(), |m| format!("Axial length, {}", m.word()));
    let mut rows: Vec<(String, String, String, &str)> = Vec::new();
    if let Some(r) = &axial.length {
        rows.push((length, words::millimetres(r.value, 2), place(&r.place), "length"));
    }
    if let Some(r) = &axial.depth {
        rows.push((from.to_owned(), words::millimetres(r.value, 2), place(&r.place), "depth"));
    }
    if let Some(r) = &axial.lens {
        rows.push((
            "Lens thickness".to_owned(),
            words::millimetres(r.value, 2),
            place(&r.place),
            "thickness",
        ));
    }
    if let Some(r) = &axial.cornea {
        let text = format!("{} µm", crate::units::round::fixed(r.value.micrometres(), 0));
        rows.push(("Corneal thickness".to_owned(), text, place(&r.place), "cornea"));
    }
    if let Some(r) = &axial.white {
        rows.push(("White-to-white".to_owned(), words::millimetres(r.value, 2), place(&r.place), "white"));
    }
    for (name, value, place, tag) in rows {
        flow.row(&[
            cell(LEFT + 3.0, 58.0, plain(), name),
            cell(76.0, 20.0, strong(), value).tagged(format!("lengths.{tag}")),
            cell(98.0, 100.0, faint(), place).torn(),
        ])?;
    }
    Ok(())
}

/// Examinations that are not in any mean: earlier ones, and newest ones that were set aside.
fn references(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let selection = released.plan().cleared().selection();
    if selection.earlier().is_empty() && selection.set_aside().is_empty() {
        return Ok(());
    }
    flow.heading("Not in the plan", 5.0)?;
    for (label, reason) in selection.set_aside() {
        let text = format!("set aside: {}: {}", words::legible(label), words::legible(reason));
        flow.paragraph(plain(), text)?;
    }
    for exam in selection.earlier() {
        let taken = exam.taken.as_ref();
        let when = taken.map_or_else(
            || "time not stated".to_owned(),
            |t| t.value.local.strftime("%Y-%m-%d %H:%M").to_string(),
        );
        let text = format!(
            "for comparison only: {}, {when}, file {}",
            words::legible(&exam.instrument.key),
            exam.file.digest.short()
        );
        flow.paragraph(plain(), text)?;
    }
    Ok(())
}

/// The points of the plot: every source, the mean, what the lens is to correct.
fn points(released: &Released) -> Vec<(Marker, String, PowerVector)> {
    let plan = released.plan();
    let mut points: Vec<_> = plan
        .cleared()
        .selection()
        .keratometry()
        .iter()
        .enumerate()
        .map(|(position, source)| (Marker::Source(position), words::legible(source.label()), source.vector()))
        .collect();
    let computation = plan.computation();
    if let Some(combined) = &computation.keratometry {
        points.push((Marker::Combined, "combined".to_owned(), combined.vector));
    }
    if let Some(last) = computation.astigmatism.last() {
        let name = if computation.arcs().is_some() { "treated by the arcs" } else { "to correct" };
        points.push((Marker::ToCorrect, name.to_owned(), last.total));
    }
    points
}

fn differences(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    if released.plan().cleared().selection().keratometry().is_empty() {
        return Ok(());
    }
    flow.heading(
        "Differences between the sources, and astigmatism in the double-angle plane",
        PLOT_MM + 2.0,
    )?;
    let top = flow.y();
    let points = points(released);
    let drawn: Vec<_> = points.iter().map(|(marker, _, vector)| (*marker, *vector)).collect();
    let (page, y) = flow.page();
    plot::draw(page, (LEFT, y), &drawn);
    let x = LEFT + PLOT_MM + 6.0;
    flow.skip(2.0);
    for (marker, name, vector) in &points {
        let (page, y) = flow.page();
        plot::marker(page, Point::at_mm(x + 1.5, y + 2.2), *marker);
        flow.row(&[
            cell(x + 6.0, 78.0, plain(), name.as_str()),
            cell(x + 86.0, 30.0, strong(), words::vector(*vector)),
        ])?;
        flow.skip(0.5);
    }
    flow.skip(2.0);
    let sources = released.plan().cleared().selection().keratometry();
    if sources.len() < 2 {
        flow.row(&[cell(x, 116.0, plain(), "One source only: nothing to compare it with.")])?;
    }
    for (first, one) in sources.iter().enumerate() {
        for (second, other) in sources.iter().enumerate().skip(first + 1) {
            let name = format!(
                "{} against {}: as vectors / mean power",
                words::legible(&one.instrument().key),
                words::legible(&other.instrument().key)
            );
            let value = format!(
                "{} / {}",
                words::dioptres((one.vector() - other.vector()).cylinder()),
                words::dioptres((one.mean() - other.mean()).abs())
            );
            flow.row(&[
                cell(x, 84.0, plain(), name),
                cell(x + 86.0, 32.0, strong(), value).tagged(format!(
                    "difference.{}-{}",
                    first + 1,
                    second + 1
                )),
            ])?;
        }
    }
    flow.skip(1.5);
    flow.row(&[cell(
        x,
        114.0,
        faint(),
        "Angle on the plot is twice the meridian; the labels are meridians. Points close together mean the same astigmatism.",
    )])?;
    if flow.y() < top + PLOT_MM && flow.y() > top {
        flow.move_to(top + PLOT_MM);
    }
    Ok(())
}

fn in_force(
    flow: &mut Flow<'_, '_>,
    released: &Released,
    frame: &Frame<'_>,
    digest: &str,
) -> Result<(), SheetError> {
    let facts = frame.facts;
    flow.heading("Settings in force, release and ledger", 10.0)?;
    for pair in facts.revisions.chunks(2) {
        let mut cells = Vec::new();
        for (x, (file, revision)) in [LEFT, LEFT + 95.0].into_iter().zip(pair) {
            cells.push(cell(x, 50.0, plain(), words::legible(file)).torn());
            cells.push(cell(x + 52.0, 39.0, plain(), words::legible(revision)).torn());
        }
        flow.row(&cells)?;
    }
    let order = released.plan().order();
    let mut files = vec![("surgeon's file", &order.surgeon.name, &order.surgeon.revision)];
    let computation = released.plan().computation();
    let table = order.nomogram.as_ref().filter(|_| computation.arcs().is_some());
    files.extend(table.map(|table| ("table of arcs", &table.name, &table.revision)));
    files.extend(order.family.iter().map(|family| ("lens file", &family.name, &family.revision)));
    for (what, name, revision) in files {
        let revision = revision.as_deref().unwrap_or("stated in the case file, no approved file");
        flow.row(&[
            cell(LEFT, 80.0, plain(), format!("{what}: {}", words::legible(name))),
            cell(LEFT + 82.0, 104.0, plain(), words::legible(revision)).torn(),
        ])?;
    }
    let constants =
        order.family.as_ref().map(|family| words::legible(&family.constants.origin)).unwrap_or_default();
    if !constants.trim().is_empty() {
        flow.row(&[
            cell(LEFT, 80.0, plain(), "origin of the lens constants"),
            cell(LEFT + 82.0, 104.0, plain(), constants),
        ])?;
    }
    let release = match released.approval() {
        Approval::Surgeon { name, at, authenticated } => format!(
            "approval of this version by {}, {}{}",
            words::legible(name),
            words::moment(*at, &facts.zone),
            if *authenticated { "" } else { ", identity not proven" }
        ),
        Approval::StandingOrder { name, revision } => {
            format!("standing order of {}, revision {}", words::legible(name), words::legible(revision))
        }
    };
    flow.row(&[cell(LEFT, 80.0, plain(), "released by"), cell(LEFT + 82.0, 104.0, plain(), release)])?;
    flow.row(&[
        cell(LEFT, 80.0, plain(), "ledger head before this sheet's record"),
        cell(LEFT + 82.0, 104.0, plain(), format!("{} {}", facts.head.0, facts.head.1)).torn().tagged("head"),
    ])?;
    flow.row(&[
        cell(LEFT, 80.0, plain(), "SHA-256 of this sheet's canonical record"),
        cell(LEFT + 82.0, 104.0, plain(), digest).torn().tagged("digest"),
    ])
}
