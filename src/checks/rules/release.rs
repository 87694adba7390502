//! What must be in force before anything is printed.

use crate::casebook::Case;
use crate::checks::context::Context;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Place, Procedure, Reading};

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
