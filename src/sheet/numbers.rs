//! Every number of the plan and the key under which it stands on the pages: worked out again from the plan, not from the pages.

use super::arcs;
use super::code;
use super::facts::SheetFacts;
use super::marking;
use super::refracted_numbers;
use super::words;
use crate::model::{Digest, Eye};
use crate::page::readback::ReadBack;
use crate::plan::{Line, Marking, Released, Sense, TheatreMethod, lean};
use crate::units::{Meridian, round};

use super::error::SheetError;

/// Every number of a plan as a sheet prints it: key and text.
///
/// A text that is broken over lines stands under `key.1`, `key.2` … in the file; joined by blanks the lines are the text given here.
pub fn printed_numbers(released: &Released, facts: &SheetFacts) -> Vec<(String, String)> {
    let mut list = Vec::new();
    theatre(&mut list, released, &facts.zone);
    if let Some(plan) = released.plan().computation().arcs() {
        let eye = released.plan().computation().eye;
        arcs::numbers(&mut |tag, text| put(&mut list, tag, text), eye, plan);
    }
    refracted_numbers::put(&mut list, released);
    lens(&mut list, released);
    readings(&mut list, released);
    tables(&mut list, released);
    for (number, step) in (1_usize..).zip(&released.plan().computation().steps) {
        put(&mut list, format!("step.{number}.result"), words::legible(&step.result));
    }
    let digest = Digest::of(code::record(released, facts).as_bytes());
    let encoded = data_encoding::BASE32_NOPAD.encode(digest.bytes());
    let first: Vec<char> = encoded.chars().take(12).collect();
    let groups: Vec<String> = first.chunks(4).map(|group| group.iter().collect()).collect();
    put(&mut list, "code", groups.join(" "));
    put(&mut list, "head", format!("{} {}", facts.head.0, facts.head.1));
    put(&mut list, "digest", digest.hex());
    list
}

fn put(list: &mut Vec<(String, String)>, tag: impl Into<String>, text: impl Into<String>) {
    list.push((tag.into(), text.into()));
}

fn d(value: f64) -> String {
    format!("{} D", round::fixed(value, 2))
}

fn s(value: f64) -> String {
    format!("{} D", round::signed(value, 2))
}

/// The turn from the mark at one end of the horizontal to the axis: magnitude and word, through the upper lid.
fn turned(degrees: f64, word: &'static str, back: &'static str) -> (String, &'static str) {
    if degrees < 0.0 { (round::fixed(-degrees, 0), back) } else { (round::fixed(degrees, 0), word) }
}

/// The turns through the upper lid from marks at whole degrees.
fn turns(list: &mut Vec<(String, String)>, eye: Eye, (zero, opposite): (f64, f64), axis: f64) {
    let from_zero = turned(axis - zero, "anticlockwise", "clockwise");
    let from_opposite = turned(opposite - axis, "clockwise", "anticlockwise");
    let (nasal, temporal) = match eye {
        Eye::Right => (from_zero, from_opposite),
        Eye::Left => (from_opposite, from_zero),
    };
    let words = if nasal.1 == temporal.1 {
        "Difference, the angle between the marks:"
    } else {
        "Sum, the angle between the marks:"
    };
    put(list, "turn.nasal", nasal.0);
    put(list, "turn.nasal.direction", nasal.1);
    put(list, "turn.temporal", temporal.0);
    put(list, "turn.temporal.direction", temporal.1);
    put(list, "turn.sum", format!("{words} {}", round::fixed(opposite - zero, 0)));
}

/// The settings of a level ring: for each whole degree at which the nasal mark may be read.
fn ring(list: &mut Vec<(String, String)>, eye: Eye, (zero, opposite): (f64, f64), axis: f64) {
    let nasal = match eye {
        Eye::Right => zero,
        Eye::Left => opposite,
    };
    let shown = |degrees: f64| {
        let turned = round::fixed(degrees.rem_euclid(180.0), 0);
        if turned == "0" { "180".to_owned() } else { format!("{turned:0>3}") }
    };
    for turned in -15_i32..=15 {
        let read = f64::from(turned);
        put(list, format!("ring.at-{}", shown(read)), shown(axis + read - nasal));
    }
}

/// The dial of the site's instrument, by its own zero and sense.
fn dial(list: &mut Vec<(String, String)>, released: &Released) {
    let Some(dial) = released.plan().order().marking_way.dial else { return };
    let zero = round::direction(dial.zero);
    let target = marking::on_target(released);
    let line = target.map_or(180.0, |target| round::rounded(target.degrees(), 0));
    let forward = match dial.sense {
        Sense::Anticlockwise => line - dial.zero.degrees(),
        Sense::Clockwise => dial.zero.degrees() - line,
    };
    let set = round::fixed(forward.rem_euclid(180.0), 0);
    let set = if set == "180" { "0".to_owned() } else { set };
    put(list, "dial.zero", format!("Its zero lies at {zero}, its numbers grow {}.", dial.sense.word()));
    put(list, "dial.set", format!("Dial set to {set}"));
    put(list, "dial.lean", format!("Proof: the line is then {}.", lean(Meridian::wrapping(line))));
}

fn theatre(list: &mut Vec<(String, String)>, released: &Released, zone: &jiff::tz::TimeZone) {
    let plan = released.plan();
    let computation = plan.computation();
    put(list, "target", s(computation.target.dioptres()));
    if let Some(lens) = computation.lens() {
        put(list, "lens.box", lens.box_line.clone());
    }
    let marks = &plan.order().marks;
    let at = |degrees: f64| format!("{:0>3}", round::fixed(round::rounded(degrees, 0).rem_euclid(360.0), 0));
    if let Some(line) = computation.line.filter(|line| !matches!(line, Line::TreatmentAxis(_))) {
        let digits = round::meridian(line.meridian());
        match line {
            Line::LensAxis(_) => {
                put(list, "lens.axis", digits.clone());
                put(list, "diagram.line", format!("{digits}°"));
            }
            Line::SteepMeridian(_) => {
                put(list, "steep", digits.clone());
                put(list, "diagram.line", format!("STEEP {digits}°"));
            }
            // What a laser prints is worked out beside it.
            Line::TreatmentAxis(_) => {}
        }
        let axis: f64 = digits.parse().unwrap_or(f64::NAN);
        let zero = round::rounded(marks.zero_side_deg(), 0);
        let opposite = round::rounded(marks.opposite_side_deg(), 0);
        let method = computation.marking.as_ref().map(Marking::method);
        match method {
            Some(TheatreMethod::RingOnMarks) => turns(list, computation.eye, (zero, opposite), axis),
            Some(TheatreMethod::LevelRing) => ring(list, computation.eye, (zero, opposite), axis),
            Some(TheatreMethod::OnTarget) => put(list, "target.marks", digits),
            None => {}
        }
        if marks.are_entered() && method != Some(TheatreMethod::OnTarget) {
            put(list, "marks", format!("Marks at {} and {}.", at(zero), at(opposite)));
        }
    }
    if let Some(target) = marking::on_target(released) {
        put(list, "mark.target", round::meridian(target));
    }
    dial(list, released);
    if let Some(at) = plan.order().marked.as_ref().and_then(|marked| marked.at) {
        for tag in ["mark.zero.time", "mark.opposite.time"] {
            put(list, tag, zone.to_datetime(at).strftime("%m-%d %H:%M").to_string());
        }
    }
    for (tag, text) in marking::rule_words(released, zone) {
        put(list, tag, text);
    }
    if marks.are_entered() && marking::on_target(released).is_none() {
        put(list, "mark.zero", at(marks.zero_side_deg()));
        put(list, "mark.opposite", at(marks.opposite_side_deg()));
    }
    if let Some(incision) = &computation.incision {
        put(list, "incision.at", words::incision_place(computation.eye, incision.at));
        let effect = match incision.flattening {
            None => words::no_incision_effect(computation.act).to_owned(),
            Some(flattening) => words::incision_effect(incision.at, flattening),
        };
        put(list, "incision.effect", effect);
        if let Some(width) = incision.width {
            put(list, "incision.width", format!("{} mm wide", round::fixed(width.millimetres(), 1)));
        }
    }
}

fn lens(list: &mut Vec<(String, String)>, released: &Released) {
    let computation = released.plan().computation();
    let Some(lens) = computation.lens() else { return };
    put(list, "lens.equivalent", s(lens.equivalent.dioptres()));
    put(list, "lens.sphere", s(lens.sphere.dioptres()));
    put(list, "lens.cylinder", s(lens.cylinder.dioptres()));
    if let Some(cylinder) = lens.corneal_cylinder {
        put(list, "lens.corneal-cylinder", s(cylinder.dioptres()));
    }
    put(list, "lens.target", s(computation.target.dioptres()));
    if let Some(residual) = computation.residual {
        put(list, "residual", words::vector(residual));
    }
    if let Some(predicted) = &computation.predicted {
        let (sphere, cylinder) = (s(predicted.sphere().dioptres()), s(predicted.cylinder().dioptres()));
        put(list, "predicted", format!("{sphere} {cylinder} x {}", round::meridian(predicted.axis())));
    }
}

fn readings(list: &mut Vec<(String, String)>, released: &Released) {
    let plan = released.plan();
    let selection = plan.cleared().selection();
    let powers = |flat: f64, steep: f64| format!("{} / {}", round::fixed(flat, 2), d(steep));
    let sources = selection.keratometry();
    for (number, source) in (1_usize..).zip(sources) {
        put(list, format!("k.{number}.powers"), powers(source.flat().dioptres(), source.steep().dioptres()));
        put(list, format!("k.{number}.vector"), words::vector(source.vector()));
        for (beside, other) in (1_usize..).zip(sources).skip(number) {
            let vectors = (source.vector() - other.vector()).cylinder().dioptres();
            let means = (source.mean() - other.mean()).dioptres().abs();
            put(list, format!("difference.{number}-{beside}"), format!("{} / {}", d(vectors), d(means)));
        }
    }
    if let Some(combined) = &plan.computation().keratometry {
        put(list, "k.combined.powers", powers(combined.flat.dioptres(), combined.steep.dioptres()));
        put(list, "k.combined.vector", words::vector(combined.vector));
    }
    let Some(lengths) = selection.axial() else { return };
    let axial = lengths.axial();
    let mm = |value: f64| format!("{} mm", round::fixed(value, 2));
    for (tag, reading) in [
        ("length", &axial.length),
        ("depth", &axial.depth),
        ("thickness", &axial.lens),
        ("white", &axial.white),
    ] {
        if let Some(reading) = reading {
            put(list, format!("lengths.{tag}"), mm(reading.value.millimetres()));
        }
    }
    if let Some(cornea) = &axial.cornea {
        put(list, "lengths.cornea", format!("{} µm", round::fixed(cornea.value.micrometres(), 0)));
    }
}

fn tables(list: &mut Vec<(String, String)>, released: &Released) {
    let computation = released.plan().computation();
    if computation.formula.is_some() {
        for (number, row) in (1_usize..).zip(&computation.powers) {
            put(list, format!("power.{number}.equivalent"), s(row.equivalent.dioptres()));
            put(list, format!("power.{number}.predicted"), s(row.predicted.dioptres()));
        }
    }
    for (number, choice) in (1_usize..).zip(&computation.choices) {
        put(list, format!("choice.{number}.cylinder"), d(choice.cylinder.dioptres()));
        put(list, format!("choice.{number}.corneal"), d(choice.corneal_cylinder.dioptres()));
        put(list, format!("choice.{number}.residual"), words::vector(choice.residual));
        let chance = choice.chance_within_0_50.map(|share| format!("{} %", round::fixed(share * 100.0, 0)));
        put(list, format!("choice.{number}.chance"), chance.unwrap_or_else(|| "-".to_owned()));
    }
    if let Some(chance) = &computation.chance {
        for (tag, share) in [
            ("within-25", chance.chances.within_0_25),
            ("within-50", chance.chances.within_0_50),
            ("within-75", chance.chances.within_0_75),
        ] {
            put(list, format!("chance.{tag}"), format!("{} %", round::fixed(share * 100.0, 0)));
        }
        for (tag, size) in [("expected", chance.expected), ("median", chance.median), ("most", chance.p95)] {
            put(list, format!("chance.{tag}"), d(size.dioptres()));
        }
    }
    for cost in &computation.costs {
        put(
            list,
            format!("cost.off-{}", round::fixed(cost.off.degrees().abs(), 0)),
            d(cost.worst.dioptres()),
        );
    }
    for (number, other) in (1_usize..).zip(&computation.other_posterior) {
        match &other.to_correct {
            Ok(vector) => put(list, format!("posterior.{number}.vector"), words::vector(*vector)),
            Err(why) => put(list, format!("posterior.{number}.why"), words::legible(why)),
        }
    }
    for share in &computation.shares {
        let percent = round::fixed(share.share * 100.0, 0);
        put(list, format!("share.{}", share.key), format!("{percent} %"));
    }
}

/// The text under a key in a file that was read back: one line, or several joined by blanks.
fn found(back: &ReadBack, tag: &str) -> Option<String> {
    if let Some(run) = back.tagged(tag) {
        return Some(run.text.clone());
    }
    let lines: Vec<String> = (1_u32..)
        .map_while(|line| back.tagged(&format!("{tag}.{line}")).map(|run| run.text.clone()))
        .collect();
    (!lines.is_empty()).then(|| lines.join(" "))
}

/// Compares what stands under every key of a finished file with the plan, both ways.
pub(super) fn compare(back: &ReadBack, expected: &[(String, String)]) -> Result<(), SheetError> {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for (tag, text) in expected {
        let stands = found(back, tag).unwrap_or_default();
        // Digests may be broken inside a word.
        let same = if matches!(tag.as_str(), "digest" | "head") {
            stands.replace(' ', "") == text.replace(' ', "")
        } else {
            plain(&stands) == plain(text)
        };
        if !same {
            return Err(SheetError::Number { tag: tag.clone(), expected: text.clone(), found: stands });
        }
    }
    for run in back.runs() {
        let Some(tag) = run.tag.as_deref() else { continue };
        let base = tag.rsplit_once('.').filter(|(_, last)| last.bytes().all(|b| b.is_ascii_digit()));
        let known = |key: &str| expected.iter().any(|(tag, _)| tag == key);
        if !known(tag) && !base.is_some_and(|(base, _)| known(base)) {
            return Err(SheetError::Number {
                tag: tag.to_owned(),
                expected: String::new(),
                found: run.text.clone(),
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::{Created, Document, Meta, Page, Style, pdf, readback};

    fn back(texts: &[(&str, &str)]) -> ReadBack {
        let mut page = Page::a4();
        let mut y = 20.0;
        for (tag, text) in texts {
            page.tagged(20.0, y, Style::regular(10.0), *text, *tag);
            y += 6.0;
        }
        let created = Created { year: 2026, month: 3, day: 8, hour: 15, minute: 11, second: 12 };
        let meta = Meta {
            title: "t".to_owned(),
            subject: String::new(),
            author: String::new(),
            language: "en-GB".to_owned(),
            created,
            id_seed: vec![1],
        };
        let document = Document { meta, pages: vec![page], fields: Vec::new() };
        readback::verify(&document, &pdf::write(&document).unwrap()).unwrap()
    }

    fn plan() -> Vec<(String, String)> {
        [("lens.axis", "098"), ("step.1.result", "43.10 D / 44.60 D, 1.50 D @ 098"), ("digest", "abcdef")]
            .map(|(tag, text)| (tag.to_owned(), text.to_owned()))
            .to_vec()
    }

    #[test]
    fn lines_of_one_text_are_joined() {
        let whole = [
            ("lens.axis", "098"),
            ("step.1.result", "43.10 D / 44.60 D, 1.50 D @ 098"),
            ("digest", "abcdef"),
        ];
        assert_eq!(compare(&back(&whole), &plan()), Ok(()));
        let broken = [
            ("lens.axis", "098"),
            ("step.1.result.1", "43.10 D / 44.60 D,"),
            ("step.1.result.2", "1.50 D @ 098"),
            ("digest.1", "abc"),
            ("digest.2", "def"),
        ];
        assert_eq!(compare(&back(&broken), &plan()), Ok(()));
    }

    #[test]
    fn another_number_a_missing_one_and_one_too_many_are_refused() {
        let of = |texts: &[(&str, &str)]| match compare(&back(texts), &plan()) {
            Err(SheetError::Number { tag, found, .. }) => (tag, found),
            other => (format!("{other:?}"), String::new()),
        };
        let step = ("step.1.result", "43.10 D / 44.60 D, 1.50 D @ 098");
        let turned = of(&[("lens.axis", "089"), step, ("digest", "abcdef")]);
        assert_eq!(turned, ("lens.axis".to_owned(), "089".to_owned()));
        assert_eq!(of(&[step, ("digest", "abcdef")]).0, "lens.axis");
        let more = of(&[("lens.axis", "098"), step, ("digest", "abcdef"), ("turn.nasal", "98")]);
        assert_eq!(more, ("turn.nasal".to_owned(), "98".to_owned()));
    }
}
