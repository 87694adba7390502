//! The tables of the record pages: lens, powers, choices, certainty.

use super::block::{LEFT, WIDTH, grey};
use super::error::SheetError;
use super::flow::{Flow, cell, faint, head, plain, strong};
use super::words;
use crate::page::{Ink, Page, Paint, Stroke};
use crate::plan::{BudgetShare, IncisionKind, Released};
use crate::units::round;

/// The lens in both notations, who entered it, and what it leaves.
pub(super) fn lens(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let computation = released.plan().computation();
    let Some(lens) = computation.lens() else { return Ok(()) };
    flow.heading("The lens", 12.0)?;
    let mut rows: Vec<(&str, String, &str)> = vec![
        ("spherical equivalent, lens plane", words::signed(lens.equivalent), "lens.equivalent"),
        ("least principal power, lens plane", words::signed(lens.sphere), "lens.sphere"),
        ("cylinder, lens plane", words::signed(lens.cylinder), "lens.cylinder"),
    ];
    if let Some(cylinder) = lens.corneal_cylinder {
        rows.push(("cylinder, corneal plane", words::signed(cylinder), "lens.corneal-cylinder"));
    }
    rows.push(("target, spectacle plane", words::signed(computation.target), "lens.target"));
    if let Some(residual) = computation.residual {
        rows.push(("predicted residual, corneal plane", words::vector(residual), "residual"));
    }
    if let Some(predicted) = &computation.predicted {
        let text = format!(
            "{} {} x {}",
            words::signed(predicted.sphere()),
            words::signed(predicted.cylinder()),
            round::meridian(predicted.axis())
        );
        rows.push(("predicted refraction, spectacles at 12 mm", text, "predicted"));
    }
    let mut pairs = rows.into_iter();
    while let Some(first) = pairs.next() {
        let mut cells = vec![
            cell(LEFT, 56.0, plain(), first.0),
            cell(LEFT + 57.0, 36.0, strong(), first.1).tagged(first.2),
        ];
        if let Some(second) = pairs.next() {
            cells.push(cell(LEFT + 95.0, 52.0, plain(), second.0));
            cells.push(cell(LEFT + 149.0, 37.0, strong(), second.1).tagged(second.2));
        }
        flow.row(&cells)?;
    }
    if let Some(entered) = &lens.entered {
        flow.skip(0.8);
        flow.paragraph(strong(), format!("ENTERED BY {}, NOT COMPUTED", words::legible(&entered.by)))?;
        flow.paragraph(plain(), format!("source: {}", words::legible(&entered.source)))?;
        flow.paragraph(plain(), format!("reason: {}", words::legible(&entered.reason)))?;
    }
    Ok(())
}

/// A tick before the row that was taken.
fn taken(page: &mut Page, x: f64, y: f64) {
    page.check_mark((x, y + 0.4), 2.6, Stroke::solid(0.5));
}

/// Width of the titles of the power table, with room for the tick before the first column, mm.
const POWERS: f64 = 42.0;

/// The power table, nearest to the target first.
pub(super) fn powers(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let computation = released.plan().computation();
    if computation.lens().is_none() {
        return Ok(());
    }
    let Some(formula) = &computation.formula else {
        flow.heading("Powers", 5.0)?;
        return flow.paragraph(plain(), "No formula was used for this eye.");
    };
    flow.heading(&format!("Powers by {formula}, nearest to the target first"), 10.0)?;
    // Two rows of numbers, as many columns as there are powers; six to a line.
    let each = (WIDTH - POWERS) / 6.0;
    for (line, rows) in (0_usize..).zip(computation.powers.chunks(6)) {
        let mut lens = vec![cell(LEFT, 38.0, head(), "LENS, SPHERICAL EQUIVALENT")];
        let mut eye = vec![cell(LEFT, 38.0, head(), "PREDICTED, SPECTACLES")];
        let mut x = LEFT + POWERS;
        flow.room(9.0)?;
        for (place, row) in (1_usize..).zip(rows) {
            let number = line * 6 + place;
            let style = if row.chosen { strong() } else { plain() };
            if row.chosen {
                let (page, y) = flow.page();
                taken(page, x - 3.2, y);
            }
            lens.push(
                cell(x, each - 3.5, style, words::signed(row.equivalent))
                    .tagged(format!("power.{number}.equivalent")),
            );
            eye.push(
                cell(x, each - 3.5, style, words::signed(row.predicted))
                    .tagged(format!("power.{number}.predicted")),
            );
            x += each;
        }
        flow.row(&lens)?;
        flow.row(&eye)?;
        flow.skip(1.0);
    }
    Ok(())
}

/// Every lens that could be taken.
pub(super) fn choices(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let choices = &released.plan().computation().choices;
    if choices.is_empty() {
        return Ok(());
    }
    flow.heading("Choices", 12.0)?;
    let titles = [
        (LEFT + 4.0, 66.0, "LENS"),
        (84.0, 22.0, "CYL, LENS"),
        (108.0, 22.0, "CYL, CORNEA"),
        (132.0, 24.0, "LEAVES"),
        (158.0, 24.0, "WITHIN 0.50 D"),
        (184.0, 14.0, "MADE"),
    ];
    let heads: Vec<_> = titles.iter().map(|(x, w, t)| cell(*x, *w, head(), *t)).collect();
    flow.row(&heads)?;
    for (number, choice) in (1_usize..).zip(choices) {
        let style = if choice.chosen { strong() } else { plain() };
        flow.room(4.0)?;
        if choice.chosen {
            let (page, y) = flow.page();
            taken(page, LEFT, y);
        }
        let chance = choice.chance_within_0_50.map_or_else(|| "-".to_owned(), words::percent);
        let mut name = words::legible(&choice.name);
        if choice.incision == IncisionKind::OnSteepMeridian && !name.contains("steep") {
            name.push_str(", incision on the steep meridian");
        }
        flow.row(&[
            cell(LEFT + 4.0, 66.0, style, name),
            cell(84.0, 22.0, style, words::dioptres(choice.cylinder))
                .tagged(format!("choice.{number}.cylinder")),
            cell(108.0, 22.0, style, words::dioptres(choice.corneal_cylinder))
                .tagged(format!("choice.{number}.corneal")),
            cell(132.0, 24.0, style, words::vector(choice.residual))
                .tagged(format!("choice.{number}.residual")),
            cell(158.0, 24.0, style, chance).tagged(format!("choice.{number}.chance")),
            cell(184.0, 14.0, style, if choice.made { "yes" } else { "no" }),
        ])?;
    }
    let incision = released.plan().computation().incision;
    if incision.is_some_and(|incision| incision.flattening.is_some()) {
        flow.paragraph(
            faint(),
            "On the steep meridian the incision is taken to flatten as the surgeon's nearest one does: our assumption.",
        )?;
    }
    Ok(())
}

/// Length of the bar of shares, mm.
const BAR: f64 = 120.0;

/// What each part of the error budget contributes: a bar and its numbers. Neighbours differ in pattern, so that it holds in
/// black and white.
fn shares(flow: &mut Flow<'_, '_>, shares: &[BudgetShare]) -> Result<(), SheetError> {
    if shares.is_empty() {
        return Ok(());
    }
    flow.room(20.0)?;
    flow.skip(1.0);
    flow.paragraph(
        plain(),
        "Where the scatter of the residual comes from: shares of its variance, in the order of the bar",
    )?;
    flow.skip(1.2);
    let (page, y) = flow.page();
    let mut x = LEFT;
    for (position, share) in shares.iter().enumerate() {
        let long = BAR * share.share;
        // A part too small to be drawn has its number only.
        if long < 0.05 {
            continue;
        }
        let fill = [Ink::WHITE, grey(0.55), grey(0.8), Ink::BLACK].get(position % 4).copied();
        page.rectangle((x, y), long, 3.6, Paint::both(fill.unwrap_or(Ink::WHITE), Stroke::solid(0.25)));
        x += long;
    }
    flow.skip(4.6);
    for line in shares.chunks(5) {
        let mut cells = Vec::new();
        let mut x = LEFT;
        for share in line {
            cells.push(cell(x, 26.5, plain(), share.name));
            cells.push(
                cell(x + 26.8, 9.2, strong(), words::percent(share.share))
                    .tagged(format!("share.{}", share.key)),
            );
            x += 37.2;
        }
        flow.row(&cells)?;
    }
    Ok(())
}

/// How sure, what a turned lens costs, and what the other models of the posterior cornea say.
pub(super) fn certainty(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    let computation = released.plan().computation();
    // The table of the arcs says all there is to say.
    if computation.arcs().is_some() {
        return Ok(());
    }
    flow.heading("How sure, and what a turned lens costs", 10.0)?;
    let mut rows: Vec<(String, String, String)> = Vec::new();
    if let Some(chance) = &computation.chance {
        for (limit, share, tag) in [
            ("0.25 D", chance.chances.within_0_25, "within-25"),
            ("0.50 D", chance.chances.within_0_50, "within-50"),
            ("0.75 D", chance.chances.within_0_75, "within-75"),
        ] {
            rows.push((
                format!("chance of at most {limit} left"),
                words::percent(share),
                format!("chance.{tag}"),
            ));
        }
        rows.push((
            "expected magnitude of the residual".to_owned(),
            words::dioptres(chance.expected),
            "chance.expected".to_owned(),
        ));
        rows.push(("median".to_owned(), words::dioptres(chance.median), "chance.median".to_owned()));
        rows.push((
            "not exceeded in 95 of 100".to_owned(),
            words::dioptres(chance.p95),
            "chance.most".to_owned(),
        ));
    }
    for cost in &computation.costs {
        let off = round::turn(cost.off);
        rows.push((
            format!("residual with the lens {off} degrees off, worse way"),
            words::dioptres(cost.worst),
            format!("cost.off-{off}"),
        ));
    }
    let mut silent = Vec::new();
    for (number, other) in (1_usize..).zip(&computation.other_posterior) {
        let name = format!("to correct with posterior model {}", other.name);
        match &other.to_correct {
            Ok(vector) => rows.push((name, words::vector(*vector), format!("posterior.{number}.vector"))),
            Err(why) => silent.push((name, words::legible(why), format!("posterior.{number}.why"))),
        }
    }
    if rows.is_empty() {
        flow.paragraph(plain(), "Not computed: no formula was used for this eye.")?;
    }
    let mut pairs = rows.into_iter();
    while let Some(first) = pairs.next() {
        let mut cells = vec![
            cell(LEFT, 60.0, plain(), first.0),
            cell(LEFT + 61.0, 30.0, strong(), first.1).tagged(first.2),
        ];
        if let Some(second) = pairs.next() {
            cells.push(cell(LEFT + 95.0, 60.0, plain(), second.0));
            cells.push(cell(LEFT + 157.0, 29.0, strong(), second.1).tagged(second.2));
        }
        flow.row(&cells)?;
    }
    for (name, why, tag) in silent {
        flow.row(&[cell(LEFT, 80.0, plain(), name), cell(LEFT + 81.0, 105.0, plain(), why).tagged(tag)])?;
    }
    if computation.chance.is_none() {
        return Ok(());
    }
    shares(flow, &computation.shares)?;
    flow.skip(0.5);
    flow.paragraph(
        faint(),
        "The chances rest on an error budget of measuring, marking, placing and turning lenses; see the step How sure for its source and mark.",
    )
}
