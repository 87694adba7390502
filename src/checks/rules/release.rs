//! What must be in force before anything is printed.

use crate::casebook::Case;
use crate::checks::context::Context;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{ListEntry, Place, Procedure, Reading};
use crate::units::round;

/// Names are equal but for case and blanks at the ends.
fn same_name(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

fn unknown(case: &Case, what: &str, name: Option<&Reading<String>>, why: &str, next: &str) -> Finding {
    let place: Place = name.map_or_else(|| case.entry.place.clone(), |reading| reading.place.clone());
    let finding = Finding::new(Code::T03, Severity::Refuse, why, why)
        .expected(format!("a {what} with an approved file"))
        .found(name.map_or("none", |reading| reading.value.trim()))
        .at(place)
        .cited(HOUSE_RULE)
        .next(next);
    match case.eye {
        Some(eye) => finding.eye(eye),
        None => finding,
    }
}

/// T03.
pub(in crate::checks) fn names(case: &Case, context: &Context<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    if !context.check_names {
        return found;
    }
    let surgeon = case.entry.surgeon.as_ref();
    let known = surgeon.is_some_and(|reading| {
        context.approved_surgeons.iter().any(|approved| same_name(approved, &reading.value))
    });
    if !known {
        let why = if surgeon.is_some() {
            "the surgeon on the list has no approved file"
        } else {
            "the list names no surgeon"
        };
        let next = "correct the name on the list, or have the surgeon's file approved";
        found.push(unknown(case, "surgeon", surgeon, why, next));
    }
    let implants = case.entry.procedure.as_ref().is_some_and(|procedure| match procedure.value {
        Procedure::ToricLens | Procedure::SphericalLens | Procedure::ToricPhakicLens => true,
        Procedure::OnAxisIncision
        | Procedure::ManualSmallIncision
        | Procedure::ArcuateKeratotomy
        | Procedure::Laser
        | Procedure::Realignment => false,
    });
    let lens = case.entry.lens.as_ref();
    let next = "correct the name on the list, or have the lens file approved";
    match lens {
        None if implants => {
            found.push(unknown(case, "lens family", None, "the list names no lens family", next));
        }
        None => {}
        Some(reading) => {
            match context.approved_lenses.iter().find(|lens| same_name(&lens.name, &reading.value)) {
                None => found.push(unknown(
                    case,
                    "lens family",
                    lens,
                    "the lens family on the list has no approved file",
                    next,
                )),
                Some(file) if !file.has_box_codes => found.push(unknown(
                    case,
                    "lens family",
                    lens,
                    "the file of the lens family does not say what is printed on the box",
                    "complete the codes of the box in the lens file and have it approved",
                )),
                Some(_) => {}
            }
        }
    }
    found
}

/// What a list says about one thing, in words.
type Said = (&'static str, fn(&ListEntry) -> String);

fn text_of(reading: Option<&Reading<String>>) -> String {
    reading.map_or_else(|| "none".to_owned(), |reading| reading.value.trim().to_owned())
}

/// What R01 compares.
const COMPARED: [Said; 5] = [
    ("eye", |entry| entry.eye.as_ref().map_or("none", |eye| eye.value.word()).to_owned()),
    ("procedure", |entry| entry.procedure.as_ref().map_or("none", |p| p.value.printed()).to_owned()),
    ("surgeon", |entry| text_of(entry.surgeon.as_ref())),
    ("lens", |entry| text_of(entry.lens.as_ref())),
    ("target", |entry| {
        entry.target.as_ref().map_or_else(
            || "none".to_owned(),
            |target| {
                let sign = if target.value.sign_written { "" } else { ", no sign" };
                format!("{} D{sign}", round::signed(target.value.target.dioptres(), 2))
            },
        )
    }),
];

/// R01 and R02.
pub(in crate::checks) fn lists(case: &Case) -> Vec<Finding> {
    let about = |finding: Finding| match case.eye {
        Some(eye) => finding.eye(eye),
        None => finding,
    };
    let mut found = Vec::new();
    if let Some(earlier) = &case.earlier {
        let changed: Vec<(&str, String, String)> = COMPARED
            .iter()
            .map(|(what, said)| (*what, said(earlier), said(&case.entry)))
            .filter(|(_, before, now)| before.to_lowercase() != now.to_lowercase())
            .collect();
        let join = |pick: fn(&(&str, String, String)) -> String| {
            changed.iter().map(pick).collect::<Vec<_>>().join(", ")
        };
        if !changed.is_empty() {
            let what = join(|(what, _, _)| (*what).to_owned());
            found.push(about(
                Finding::new(
                    Code::R01,
                    Severity::SignOff,
                    format!(
                        "a newer list changed {what}: {}",
                        join(|(what, before, now)| format!("{what} from {before} to {now}"))
                    ),
                    format!("a newer list changed {what} of this operation"),
                )
                .expected(join(|(what, before, _)| format!("{what} {before}")))
                .found(join(|(what, _, now)| format!("{what} {now}")))
                .at(earlier.place.clone())
                .at(case.entry.place.clone())
                .cited(HOUSE_RULE)
                .next("ask the one who changed the list which of the two is right; patient and consent decide the eye"),
            ));
        }
    }
    if case.gone {
        let text = "the newest complete list of this theatre and day does not name this operation any more";
        found.push(about(
            Finding::new(Code::R02, Severity::SignOff, text, text)
                .expected("an entry on the newest list")
                .found("none; the entry of an earlier list is shown")
                .at(case.entry.place.clone())
                .cited(HOUSE_RULE)
                .next("ask whether the operation was put off or given up; if it stands, put it back on the list"),
        ));
    }
    found
}

/// E01.
pub(in crate::checks) fn unapproved(context: &Context<'_>, place: &Place) -> Vec<Finding> {
    context
        .unapproved
        .iter()
        .map(|file| {
            let text = match file.approved {
                Some(_) => format!("`{}` was changed since it was approved", file.name),
                None => format!("`{}` was never approved", file.name),
            };
            Finding::new(Code::E01, Severity::Refuse, text.clone(), text)
                .expected(file.approved.as_deref().unwrap_or("an approved digest"))
                .found(file.found.clone())
                .at(place.clone())
                .cited(HOUSE_RULE)
                .next("look at the difference and have a named person approve it, or put the approved file back")
        })
        .collect()
}
