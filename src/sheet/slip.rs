//! The slip of a case that is not released: what keeps it, and what to do next. No number in dioptres, millimetres or degrees, and no other
//! patient.

use super::block::{LEFT, RIGHT, WIDTH, fitted, grey, label, leading, lines, value};
use super::code;
use super::error::SheetError;
use super::facts::SheetFacts;
use super::frame::{EyeField, Frame, Kind, TOP, is_name_alert};
use super::measure::holds_measure;
use super::words::{self, NOT_STATED, Who};
use super::{assemble, measure};
use crate::casebook::{Case, Joined};
use crate::finding::{Answer, Answerer, Finding, Severity};
use crate::model::{Eye, ListEntry};
use crate::page::{Document, Ink, Page, PageError, Paint, Stroke, Style, layout, pdf, readback};

/// A case that is not released, and why.
#[derive(Debug, Clone, Copy)]
pub struct HeldCase<'a> {
    /// The case.
    pub case: &'a Case,
    /// Its state, in the product's words: `held`, `blocked`, `waiting`, `planned`.
    pub state: &'a str,
    /// Everything noticed about it.
    pub findings: &'a [Finding],
    /// The answers given so far.
    pub answered: &'a [Answer],
    /// Whether the surgeon's approval of the version is missing.
    pub needs_approval: bool,
}

impl HeldCase<'_> {
    /// Findings somebody has to act on: refusals, and sign-offs without an answer; the gravest first.
    fn open(&self) -> Vec<&Finding> {
        let mut open: Vec<&Finding> =
            self.findings.iter().filter(|finding| is_open(finding, self.answered)).collect();
        open.sort_by_key(|finding| core::cmp::Reverse(finding.severity()));
        open
    }
}

fn is_open(finding: &Finding, answered: &[Answer]) -> bool {
    match finding.severity() {
        Severity::Note => false,
        Severity::SignOff => !answered.iter().any(|answer| answer.answers(finding)),
        Severity::Refuse => true,
    }
}

/// Whether a finding puts the eye itself in doubt: a laterality finding, or a newer list that changed it.
fn speaks_of_the_eye(finding: &Finding) -> bool {
    let reference = finding.code().reference();
    let changed = finding.expected_text().is_some_and(|text| text.starts_with("eye "));
    reference.starts_with('L') || (reference == "R01" && changed)
}

/// Whether the eye of a case may be printed: one is planned, and no laterality finding is open.
pub fn eye_is_certain(case: &Case, findings: &[Finding], answered: &[Answer]) -> bool {
    case.eye.is_some()
        && !findings.iter().any(|finding| speaks_of_the_eye(finding) && is_open(finding, answered))
}

/// A text for paper without numbers; what holds one gives way to other words.
fn quiet(text: &str, otherwise: &str) -> String {
    let text = words::legible(text);
    if holds_measure(&text) { otherwise.to_owned() } else { text }
}

/// Refuses a page on which a measure stands in any text but the names and numbers of its persons and places.
pub(super) fn guard(page: &Page, frame: &Frame<'_>, entry: &ListEntry) -> Result<(), SheetError> {
    let (who, facts) = (&frame.who, frame.facts);
    let own = [
        format!("{} ({})", who.name, who.other_script.as_deref().unwrap_or_default()),
        who.number.clone(),
        who.authority.clone().unwrap_or_default(),
        words::site_and_theatre(facts),
        entry.surgeon.as_ref().map(|s| words::legible(&s.value)).unwrap_or_default(),
    ];
    for text in page.texts().map(|mark| mark.text.as_str()) {
        let own = own.iter().any(|other| !other.is_empty() && other.contains(text));
        if measure::holds_measure(text) && !own {
            return Err(SheetError::Measure { text: text.to_owned() });
        }
    }
    Ok(())
}

/// Procedure, surgeon, day and place, as on a sheet but without the target.
pub(super) fn operation(page: &mut Page, entry: &ListEntry, facts: &SheetFacts) -> Result<(), SheetError> {
    let sizes = [(10.0, 1), (10.0, 2), (8.5, 2), (8.0, 3)];
    let y = TOP + 2.0;
    let procedure = entry.procedure.as_ref().map_or(NOT_STATED, |p| p.value.printed());
    value(page, (LEFT, y), 58.0, "PROCEDURE", "the procedure", procedure, &sizes)?;
    let surgeon = entry.surgeon.as_ref().map_or_else(|| NOT_STATED.to_owned(), |s| words::legible(&s.value));
    value(page, (74.0, y), 42.0, "SURGEON", "the surgeon", &surgeon, &sizes)?;
    let day = entry.date.as_ref().map_or_else(|| NOT_STATED.to_owned(), |d| words::date(d.value));
    value(page, (120.0, y), 26.0, "OPERATION", "the day of the operation", &day, &sizes)?;
    let place = words::site_and_theatre(facts);
    value(page, (150.0, y), RIGHT - 150.0, "SITE, THEATRE", "site and theatre", &place, &sizes)
}

/// A white title on black across the page.
pub(super) fn banner(page: &mut Page, top: f64, title: &str, below: &str) -> Result<(), SheetError> {
    page.rectangle((LEFT, top), WIDTH, 19.0, Paint::fill(Ink::BLACK));
    let white = Style::bold(24.0).centred().inked(Ink::WHITE);
    let (style, broken) = fitted("the title", title, WIDTH - 8.0, white, &[(24.0, 1), (18.0, 1), (14.0, 1)])?;
    lines(page, 105.0, top + 10.0, style, &broken);
    page.text(105.0, top + 16.0, Style::bold(10.0).centred().inked(Ink::WHITE), below);
    Ok(())
}

fn eyes(eyes: &[Eye]) -> String {
    let words: Vec<&str> =
        Eye::BOTH.into_iter().filter(|eye| eyes.contains(eye)).map(Eye::capitals).collect();
    if words.is_empty() { "no eye".to_owned() } else { words.join(" and ") }
}

/// What one examination says about the eye.
fn says(joined: &Joined) -> String {
    let exam = &joined.exam;
    let held: Vec<Eye> = exam
        .eyes
        .iter()
        .filter(|(_, values)| values.as_ref().is_some_and(|values| !values.is_empty()))
        .map(|(eye, _)| eye)
        .collect();
    let mut parts = vec![format!("values stand under {}", eyes(&held))];
    for stated in &exam.stated_eyes {
        parts.push(format!("the file as a whole says {}", eyes(&stated.value)));
    }
    if let Some(eye) = exam.file_name.eye {
        parts.push(format!("the file name says {}", eye.capitals()));
    }
    parts.dedup();
    parts.join("; ")
}

/// What every source says about the eye: source and words.
fn sources(case: &Case) -> Vec<(String, String)> {
    let listed = case
        .entry
        .eye
        .as_ref()
        .map_or_else(|| "no eye named".to_owned(), |eye| eye.value.capitals().to_owned());
    let mut rows = vec![("Operating list".to_owned(), listed)];
    for (_, joined) in &case.exams {
        let when = joined.exam.taken.as_ref().map_or_else(
            || "time not stated".to_owned(),
            |taken| taken.value.local.strftime("%Y-%m-%d %H:%M").to_string(),
        );
        let name = quiet(&joined.exam.instrument.key, "an instrument");
        rows.push((format!("{name}, {when}"), says(joined)));
    }
    rows
}

fn who_acts(finding: &Finding) -> &'static str {
    match finding.code().answerer() {
        Answerer::Preparer => "preparer",
        Answerer::Surgeon => "surgeon",
        Answerer::It => "IT",
    }
}

fn weight(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "NOTE",
        Severity::SignOff => "TO BE ANSWERED",
        Severity::Refuse => "TO BE CORRECTED",
    }
}

/// What to do when a finding names no step of its own.
fn usual_step(severity: Severity) -> &'static str {
    match severity {
        Severity::Note | Severity::SignOff => "answer it, with a reason",
        Severity::Refuse => "correct it at its source, or measure and export again; nobody can override it",
    }
}

/// What a finding says on paper without numbers, and what to do next.
fn told(finding: &Finding) -> (String, String) {
    let slug = finding.code().slug().replace('-', " ").replace("turned 90", "turned by a right angle");
    let next = quiet(finding.next_step().unwrap_or_default(), "look the case up by its code");
    let next = if next.trim().is_empty() { usual_step(finding.severity()).to_owned() } else { next };
    (quiet(finding.plain(), &slug), next)
}

/// Findings that read the same on paper, once each, with how often.
fn once_each<'a>(open: &[&'a Finding]) -> Vec<(&'a Finding, u32)> {
    let mut seen: Vec<(&Finding, u32)> = Vec::new();
    for finding in open {
        let same = |other: &Finding| {
            other.code() == finding.code()
                && other.severity() == finding.severity()
                && told(other) == told(finding)
        };
        match seen.iter_mut().find(|(other, _)| same(other)) {
            Some((_, times)) => *times += 1,
            None => seen.push((finding, 1)),
        }
    }
    seen
}

/// The findings in one size of type. None when they do not fit above `bottom`.
fn findings(
    page: &mut Page,
    open: &[(&Finding, u32)],
    from: f64,
    bottom: f64,
    size: f64,
) -> Result<Option<f64>, SheetError> {
    let mut y = from;
    let (text, strong) = (Style::regular(size), Style::bold(size));
    let x = 52.0;
    let width = RIGHT - x;
    for (finding, times) in open {
        let code = finding.code();
        let (mut what, next) = told(finding);
        if *times > 1 {
            what = format!("{what} ({times} times)");
        }
        let what = layout::wrap_anywhere(&what, width, strong)?;
        let next = layout::wrap_anywhere(&format!("Next ({}): {next}", who_acts(finding)), width, text)?;
        let height = (what.len() + next.len()).max(2);
        let height = f64::from(u32::try_from(height).unwrap_or(u32::MAX)) * leading(size);
        if y + height + 2.4 > bottom {
            return Ok(None);
        }
        page.text(LEFT, y, Style::bold(8.0), weight(finding.severity()));
        page.text(LEFT, y + leading(8.0), Style::regular(8.0), code.reference());
        let after = lines(page, x, y, strong, &what);
        lines(page, x, after, text, &next);
        y += height + 1.2;
        page.line(
            (LEFT, y - leading(size) + 1.6),
            (RIGHT, y - leading(size) + 1.6),
            Stroke::solid(0.2).inked(grey(0.4)),
        );
        y += 2.0;
    }
    Ok(Some(y))
}

/// The slip of a case: one page.
///
/// # Errors
/// [`SheetError`] when it cannot be laid out or does not read back, and [`SheetError::Measure`] rather than a number on it.
pub fn slip(held: &HeldCase<'_>, facts: &SheetFacts) -> Result<Vec<u8>, SheetError> {
    let page = slip_page(held, facts)?;
    finished(
        page,
        facts,
        &format!("Slip of case {}, version {}", facts.case, facts.version),
        "Case not released",
    )
}

/// Writes one page, reads it back and hands out its bytes.
pub(super) fn finished(
    page: Page,
    facts: &SheetFacts,
    title: &str,
    subject: &str,
) -> Result<Vec<u8>, SheetError> {
    let seed = code::paper_code(facts)?;
    let meta = assemble::meta(title.to_owned(), subject, facts, seed.as_bytes())?;
    let document = Document { meta, pages: vec![page], fields: Vec::new() };
    let bytes = pdf::write(&document)?;
    readback::verify(&document, &bytes)?;
    Ok(bytes)
}

/// The code of a slip or notice with its text.
pub(super) fn paper_code(page: &mut Page, facts: &SheetFacts) -> Result<(), SheetError> {
    let top = 250.0;
    page.qr((LEFT, top), 32.0, code::paper_code(facts)?);
    let x = 48.0;
    label(page, x, top + 6.0, "CASE");
    page.text(x, top + 12.5, Style::bold(16.0), facts.case.as_str());
    label(page, x + 50.0, top + 6.0, "VERSION");
    page.text(x + 50.0, top + 12.5, Style::bold(16.0), facts.version.to_string());
    page.text(x, top + 20.0, Style::regular(9.0), "Look the case up by its code. This paper holds no plan.");
    page.text(x, top + 24.5, Style::regular(9.0), "Destroy it when the case has gone on.");
    Ok(())
}

fn slip_page(held: &HeldCase<'_>, facts: &SheetFacts) -> Result<Page, SheetError> {
    let case = held.case;
    let certain = eye_is_certain(case, held.findings, held.answered);
    let eye = match (case.eye, certain) {
        (Some(eye), true) => EyeField::Certain(eye),
        (Some(_) | None, _) => EyeField::NotCertain,
    };
    let name_alert = held.findings.iter().any(is_name_alert);
    let frame = Frame { who: Who::of(&case.entry.identity), eye, facts, kind: Kind::Notice, name_alert };
    let mut page = frame.begin()?;
    operation(&mut page, &case.entry, facts)?;
    let state = quiet(&held.state.to_uppercase(), "HELD");
    banner(
        &mut page,
        54.0,
        &format!("{state} - NOT RELEASED"),
        "There is no plan sheet for this version. Nothing on this page may be used to choose or place a lens.",
    )?;
    let mut y = 80.0;
    if !certain {
        y = certainty(&mut page, case, y)?;
    }
    page.text(LEFT, y, Style::bold(12.0), "WHAT KEEPS THIS CASE");
    y += 7.0;
    let open = held.open();
    if open.is_empty() {
        let text = if held.needs_approval {
            "Nothing but the surgeon's approval."
        } else if held.state == "waiting" {
            "Something it needs has not arrived yet; look the case up by its code."
        } else {
            "No finding is open; look the case up by its code."
        };
        page.text(LEFT, y, Style::regular(11.0), text);
        y += 7.0;
    }
    let bottom = 234.0;
    let before = page.clone();
    let mut placed = None;
    for size in [10.5, 9.5, 8.5, 8.0] {
        page = before.clone();
        placed = findings(&mut page, &once_each(&open), y, bottom, size)?;
        if placed.is_some() {
            break;
        }
    }
    if placed.is_none() {
        page = before;
        y = codes_only(&mut page, &open, y)?;
        placed = Some(y);
    }
    let y = placed.unwrap_or(y);
    closing(&mut page, held, y)?;
    paper_code(&mut page, facts)?;
    frame.finish(&mut page, 1, 1)?;
    guard(&page, &frame, &case.entry)?;
    Ok(page)
}

fn certainty(page: &mut Page, case: &Case, from: f64) -> Result<f64, SheetError> {
    let rows = sources(case);
    for size in [10.5, 9.0, 8.0] {
        let style = Style::regular(size);
        let mut y = from + 7.0;
        let mut draft = page.clone();
        draft.text(LEFT + 3.0, from + 1.0, Style::bold(12.0), "EYE NOT CERTAIN: what each source says");
        for (source, words) in &rows {
            let left = layout::wrap_anywhere(source, 54.0, Style::bold(size))?;
            let right = layout::wrap_anywhere(words, WIDTH - 66.0, style)?;
            let one = lines(&mut draft, LEFT + 3.0, y, Style::bold(size), &left);
            let two = lines(&mut draft, LEFT + 60.0, y, style, &right);
            y = one.max(two) + 0.8;
        }
        let next = "Ask the patient and look at the consent; call the surgeon. Do not mark and do not prepare an eye until this is settled.";
        let broken = layout::wrap(next, WIDTH - 6.0, Style::bold(size))?;
        y = lines(&mut draft, LEFT + 3.0, y + 1.0, Style::bold(size), &broken);
        let end = y - 1.0;
        if end > 150.0 && size > 8.0 {
            continue;
        }
        draft.rectangle((LEFT, from - 5.0), WIDTH, end - from + 5.0, Paint::outline(Stroke::solid(1.0)));
        *page = draft;
        return Ok(end + 8.0);
    }
    Err(SheetError::DoesNotFit { what: "the list of sources of the eye", text: String::new() })
}

/// More findings than a page holds: every one by its code, the words at the desk.
fn codes_only(page: &mut Page, open: &[&Finding], from: f64) -> Result<f64, SheetError> {
    let count = open.len();
    let intro = format!(
        "{count} findings are open, more than this page holds in words; the case shows them all. By code:"
    );
    let style = Style::regular(10.0);
    let mut y = lines(page, LEFT, from, style, &layout::wrap(&intro, WIDTH, style)?);
    let mut codes: Vec<&str> = open.iter().map(|finding| finding.code().reference()).collect();
    codes.dedup();
    let broken = layout::wrap(&codes.join(", "), WIDTH, Style::bold(10.0))?;
    y = lines(page, LEFT, y + 1.0, Style::bold(10.0), &broken);
    if y > 238.0 {
        return Err(SheetError::DoesNotFit { what: "the codes of the findings", text: codes.join(", ") });
    }
    Ok(y)
}

fn closing(page: &mut Page, held: &HeldCase<'_>, from: f64) -> Result<(), PageError> {
    let mut y = from + 2.0;
    if held.needs_approval && !held.open().is_empty() {
        page.text(LEFT, y, Style::bold(10.0), "Then the surgeon's approval of the version is needed.");
        y += 5.5;
    }
    let given = held
        .findings
        .iter()
        .filter(|finding| finding.severity() == Severity::SignOff && !is_open(finding, held.answered))
        .map(|finding| finding.code().reference())
        .collect::<Vec<_>>();
    if !given.is_empty() {
        let text = format!("Already answered: {}.", given.join(", "));
        let style = Style::regular(9.0);
        let broken = layout::wrap(&text, WIDTH, style)?;
        lines(page, LEFT, y, style, &broken);
    }
    Ok(())
}
