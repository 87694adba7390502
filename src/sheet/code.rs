//! The canonical record of a sheet and the code printed from its digest.

use super::arcs;
use super::error::SheetError;
use super::facts::SheetFacts;
use crate::model::Digest;
use crate::plan::{Approval, PosteriorChoice, Released, Work};
use crate::units::round;

/// How many base32 characters of the digest stand in the code: 130 bits.
const DIGEST_CHARACTERS: usize = 26;

/// The canonical record: one `key=value` line each, in this order, ended by line feeds.
///
/// `record` (the literal `axiswright-sheet-1`), `site`, `live`, `case`, `version`, `sheet`, `number` (without blanks and hyphens, capitals),
/// `authority`, `name`, `birth_date`, `eye`, `procedure`, `date`, `surgeon`, `target_d`, `lens`, `equivalent_d`, `cylinder_d`, `axis_deg`,
/// `entered_by`, `entered_source`, `entered_reason`, `incision_deg`, `incision_flattening_d`, `incision_width_mm`, `seat`, `method`, `marks_deg`, `formula`,
/// `posterior`, `backup`, where arcs are cut `arcs_nomogram`, `arcs_revision`, `arcs_source`, `arcs_input`, `arcs_cell`, `arcs_treated`,
/// `arcs_zone_mm`, `arcs_depth_um`, `arcs_thinnest_um`, `arc` (centre, degrees, mm along the arc) and `arc_thickness` (place, µm, where it
/// came from) once for each; of a plan that rests on a refraction `refraction` (label and digest); of a re-alignment `implanted`, `implanted_axis_deg`,
/// `implanted_seen` (day and person), `turn` (size, direction, axis it ends on), `advice`; of a laser `treatment`, `mark_upright_deg`, `mark_lying_deg`,
/// `axis_on_bed_deg`, `device_turns_axis`; then `source` (label and digest of each keratometry in the plan) and `lengths`, `answer` (reference, fingerprint or `-`, person, time or
/// `-`, `authenticated` or `not authenticated`, reason; sorted), `approval`, `file` (each file in force with its revision, in the order given).
/// Numbers stand as printed on the sheet, days as `YYYY-MM-DD`, times as RFC 3339 UTC. What does not exist has an empty value. A backslash is doubled, a line feed is `\n`, a carriage
/// return `\r`; parts of one value are separated by ` | `.
///
/// The ledger's head and the time of issue are left out: the same plan, answered the same, has the same record in whatever order things
/// happened around it.
pub fn record(released: &Released, facts: &SheetFacts) -> String {
    let plan = released.plan();
    let computation = plan.computation();
    let order = plan.order();
    let entry = &plan.cleared().case().entry;
    let mut out = String::new();
    let mut put = |key: &str, value: &str| {
        out.push_str(key);
        out.push('=');
        for character in value.chars() {
            match character {
                '\\' => out.push_str("\\\\"),
                '\n' => out.push_str("\\n"),
                '\r' => out.push_str("\\r"),
                other => out.push(other),
            }
        }
        out.push('\n');
    };
    let d = |value: f64| round::signed(value, 2);
    put("record", "axiswright-sheet-1");
    put("site", &facts.site);
    put("live", if facts.live { "yes" } else { "no" });
    put("case", facts.case.as_str());
    put("version", &facts.version.to_string());
    put("sheet", &facts.sheet_id);
    let identity = &entry.identity;
    put("number", &identity.number.as_ref().map(|n| n.value.comparable()).unwrap_or_default());
    put("authority", identity.authority.as_ref().map_or("", |a| a.value.as_str()));
    put("name", &identity.name.as_ref().map(|n| n.value.printed()).unwrap_or_default());
    put("birth_date", &identity.birth_date.as_ref().map(|b| b.value.to_string()).unwrap_or_default());
    put("eye", computation.eye.word());
    put("procedure", entry.procedure.as_ref().map_or("", |p| p.value.word()));
    put("date", &entry.date.as_ref().map(|d| d.value.to_string()).unwrap_or_default());
    put("surgeon", &order.surgeon.name);
    put("target_d", &d(computation.target.dioptres()));
    let lens = computation.lens();
    put("lens", lens.map_or("", |lens| lens.box_line.as_str()));
    put("equivalent_d", &lens.map(|lens| d(lens.equivalent.dioptres())).unwrap_or_default());
    put("cylinder_d", &lens.map(|lens| d(lens.cylinder.dioptres())).unwrap_or_default());
    put("axis_deg", &lens.and_then(|lens| lens.axis).map(round::meridian).unwrap_or_default());
    let entered = lens.and_then(|lens| lens.entered.as_ref());
    put("entered_by", entered.map_or("", |e| e.by.as_str()));
    put("entered_source", entered.map_or("", |e| e.source.as_str()));
    put("entered_reason", entered.map_or("", |e| e.reason.as_str()));
    let incision = computation.incision.as_ref();
    put("incision_deg", &incision.map(|i| round::direction(i.at)).unwrap_or_default());
    put(
        "incision_flattening_d",
        &incision.and_then(|i| Some(d(i.flattening?.dioptres()))).unwrap_or_default(),
    );
    let width = incision.and_then(|i| i.width);
    put("incision_width_mm", &width.map(|w| round::fixed(w.millimetres(), 1)).unwrap_or_default());
    put("seat", order.seat.word());
    put("method", order.method.word());
    let marks = [order.marks.zero_side_deg(), order.marks.opposite_side_deg()].map(|m| round::fixed(m, 0));
    put("marks_deg", &marks.join(" | "));
    put("formula", computation.formula.as_deref().unwrap_or_default());
    put("posterior", computation.posterior.map_or("", PosteriorChoice::label));
    put("backup", order.surgeon.backup.as_deref().unwrap_or_default());
    if let Some(plan) = computation.arcs() {
        arcs::record(&mut put, plan);
    }
    let selection = plan.cleared().selection();
    if entry.procedure.as_ref().is_some_and(|procedure| procedure.value.rests_on_refraction()) {
        let refraction = selection.refraction();
        let refraction = refraction.map(|r| format!("{} | {}", r.label(), r.exam().file.digest));
        put("refraction", &refraction.unwrap_or_default());
    }
    match &computation.work {
        Work::Lens(_) | Work::Arcs { .. } => {}
        Work::Realignment(turned) => {
            let (lens, by) = (&turned.implanted, turned.turn_on_paper());
            put("implanted", &lens.printed());
            put("implanted_axis_deg", &round::meridian(turned.from));
            put("implanted_seen", &format!("{} | {}", lens.seen_on, lens.by));
            put("turn", &format!("{} | {}", by.printed(), round::meridian(turned.to)));
            put("advice", turned.advice.word());
        }
        Work::Laser(laser) => {
            put("treatment", &super::refracted::treatment(laser));
            put("mark_upright_deg", &round::meridian(laser.mark_upright));
            put("mark_lying_deg", &laser.mark_lying.map(round::meridian).unwrap_or_default());
            let bed = laser.axis_on_bed.map(|_| round::meridian(super::refracted::shown_axis(laser)));
            put("axis_on_bed_deg", &bed.unwrap_or_default());
            put("device_turns_axis", if laser.device_turns_axis { "yes" } else { "no" });
        }
    }
    for source in selection.in_plan() {
        put("source", &format!("{} | {}", source.label(), source.exam().file.digest));
    }
    let lengths = selection.axial().map(|a| format!("{} | {}", a.label(), a.exam().file.digest));
    put("lengths", &lengths.unwrap_or_default());
    let mut answers: Vec<String> = released
        .answers()
        .iter()
        .map(|answer| {
            [
                answer.code.reference().to_owned(),
                answer.fingerprint.as_ref().map_or_else(|| "-".to_owned(), ToString::to_string),
                answer.by.clone(),
                answer.at.map_or_else(|| "-".to_owned(), |at| at.to_string()),
                if answer.authenticated { "authenticated" } else { "not authenticated" }.to_owned(),
                answer.reason.clone(),
            ]
            .join(" | ")
        })
        .collect();
    answers.sort();
    for answer in answers {
        put("answer", &answer);
    }
    let approval = match released.approval() {
        Approval::Surgeon { name, at, authenticated } => {
            format!(
                "surgeon | {name} | {at} | {}",
                if *authenticated { "authenticated" } else { "not authenticated" }
            )
        }
        Approval::StandingOrder { name, revision } => format!("standing order | {name} | {revision}"),
    };
    put("approval", &approval);
    for (file, revision) in &facts.revisions {
        put("file", &format!("{file} | {revision}"));
    }
    out
}

/// The site's name as it stands in a code: capitals and digits, every run of anything else one hyphen.
fn site_part(site: &str) -> String {
    let mut part = String::new();
    for character in site.chars() {
        if character.is_ascii_alphanumeric() {
            part.push(character.to_ascii_uppercase());
        } else if !part.ends_with('-') {
            part.push('-');
        }
    }
    part.trim_matches('-').to_owned()
}

/// A part that must not be changed but for its case.
fn exact(part: &'static str, text: &str) -> Result<String, SheetError> {
    let sound = !text.is_empty() && text.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-'));
    if sound { Ok(text.to_ascii_uppercase()) } else { Err(SheetError::Code { part, text: text.to_owned() }) }
}

fn digest_part(digest: &Digest) -> String {
    data_encoding::BASE32_NOPAD.encode(digest.bytes()).chars().take(DIGEST_CHARACTERS).collect()
}

/// The text of the code on a sheet: `AXW1:<site>:<sheet id>:<version>:<R|L>:<26 characters of the record's digest, base32>:<operation day>`.
///
/// Begins with `AXWT1` where the site is not live. The day is `YYYYMMDD`, or `NODATE`. Capitals, so that a QR code holds it in its
/// alphanumeric mode. It says nothing about the person.
///
/// # Errors
/// [`SheetError::Code`] for a sheet id with other characters than letters, digits, full stop and hyphen.
pub fn code(released: &Released, facts: &SheetFacts) -> Result<String, SheetError> {
    let digest = Digest::of(record(released, facts).as_bytes());
    let entry = &released.plan().cleared().case().entry;
    let day =
        entry.date.as_ref().map_or_else(|| "NODATE".to_owned(), |d| d.value.strftime("%Y%m%d").to_string());
    Ok(format!(
        "{}:{}:{}:{}:{}:{}:{day}",
        if facts.live { "AXW1" } else { "AXWT1" },
        site_part(&facts.site),
        exact("sheet id", &facts.sheet_id)?,
        facts.version,
        released.plan().computation().eye.letter(),
        digest_part(&digest),
    ))
}

/// The text of the code on a slip or notice: `AXWS1:<site>:<case>:<version>`, `AXWST1` where the site is not live. It is never a sheet's code.
pub(super) fn paper_code(facts: &SheetFacts) -> Result<String, SheetError> {
    Ok(format!(
        "{}:{}:{}:{}",
        if facts.live { "AXWS1" } else { "AXWST1" },
        site_part(&facts.site),
        exact("case id", facts.case.as_str())?,
        facts.version
    ))
}

/// The first twelve characters of the digest in a sheet's code, in groups of four: what a person reads out.
pub fn clear_code(code: &str) -> Option<String> {
    let digest: Vec<char> = code.split(':').nth(5)?.chars().take(12).collect();
    let groups: Vec<String> = digest.chunks(4).map(|group| group.iter().collect()).collect();
    (digest.len() == 12).then(|| groups.join(" "))
}

/// The eye a sheet's code names.
#[cfg(test)]
fn eye_in(code: &str) -> Option<crate::model::Eye> {
    crate::model::Eye::from_code(code.split(':').nth(4)?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_code() {
        assert_eq!(site_part("Vorland Eye Clinic (test)"), "VORLAND-EYE-CLINIC-TEST");
        assert_eq!(exact("sheet id", "s3-7f2").unwrap(), "S3-7F2");
        assert!(matches!(exact("sheet id", "s:3"), Err(SheetError::Code { .. })));
        assert!(exact("sheet id", "").is_err());
        let code = "AXWT1:DEMO:7F3K2:1:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125";
        assert_eq!(clear_code(code).as_deref(), Some("ABCD EFGH IJKL"));
        assert_eq!(eye_in(code), Some(crate::model::Eye::Right));
        assert_eq!(clear_code("AXWS1:DEMO:ABC:1"), None);
    }
}
