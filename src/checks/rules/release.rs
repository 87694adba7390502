//! What must be in force before anything is printed.

use super::SLACK;
use crate::casebook::Case;
use crate::checks::context::Context;
use crate::cite::HOUSE_RULE;
use crate::finding::{Code, Finding, Severity};
use crate::model::{ListEntry, Place, Procedure, Reading, same_name};
use crate::units::round;

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
        Procedure::ToricLens
        | Procedure::SphericalLens
        | Procedure::OnAxisIncision
        | Procedure::ManualSmallIncision
        | Procedure::ToricPhakicLens => true,
        Procedure::ArcuateKeratotomy | Procedure::Laser | Procedure::Realignment => false,
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

/// What a list says about one thing, in words; none when it says nothing, or nothing that could be planned by.
type Said = (&'static str, fn(&ListEntry, &Context<'_>) -> Option<String>);

/// What R01 compares. A name without an approved file and a target without its sign never stood in force: when a list that
/// says such a thing is corrected, nothing is contradicted.
const COMPARED: [Said; 5] = [
    ("eye", |entry, _| Some(entry.eye.as_ref()?.value.word().to_owned())),
    ("procedure", |entry, _| Some(entry.procedure.as_ref()?.value.printed().to_owned())),
    ("surgeon", |entry, context| {
        let name = entry.surgeon.as_ref()?.value.trim();
        let known = context.approved_surgeons.iter().any(|approved| same_name(approved, name));
        (known || !context.check_names).then(|| name.to_owned())
    }),
    ("lens", |entry, context| {
        let name = entry.lens.as_ref()?.value.trim();
        let known =
            context.approved_lenses.iter().any(|lens| lens.has_box_codes && same_name(&lens.name, name));
        (known || !context.check_names).then(|| name.to_owned())
    }),
    ("target", |entry, _| {
        let target = entry.target.as_ref()?.value;
        let value = target.target.dioptres();
        (target.sign_written || value.abs() <= SLACK).then(|| format!("{} D", round::signed(value, 2)))
    }),
];

/// What a newer entry says otherwise than an older one: what, before, now.
fn changes(
    before: &ListEntry,
    now: &ListEntry,
    context: &Context<'_>,
) -> Vec<(&'static str, String, String)> {
    COMPARED
        .iter()
        .filter_map(|(what, said)| Some((*what, said(before, context)?, said(now, context)?)))
        .filter(|(_, before, now)| before.to_lowercase() != now.to_lowercase())
        .collect()
}

/// R01 and R02.
pub(in crate::checks) fn lists(case: &Case, context: &Context<'_>) -> Vec<Finding> {
    let about = |finding: Finding| match case.eye {
        Some(eye) => finding.eye(eye),
        None => finding,
    };
    let mut found = Vec::new();
    let contradicted = case
        .earlier
        .iter()
        .map(|earlier| (earlier, changes(earlier, &case.entry, context)))
        .find(|(_, changed)| !changed.is_empty());
    if let Some((earlier, changed)) = contradicted {
        let join = |pick: fn(&(&str, String, String)) -> String| {
            changed.iter().map(pick).collect::<Vec<_>>().join(", ")
        };
        let what = join(|(what, _, _)| (*what).to_owned());
        found.push(about(
            Finding::new(
                Code::R01,
                Severity::SignOff,
                format!(
                    "a newer list changed {}",
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
    if case.gone {
        let text = "the newest complete list of this theatre and day does not name this operation any more";
        found.push(about(
            Finding::new(Code::R02, Severity::SignOff, text, text)
                .expected("an entry on the newest list")
                .found("none; the entry of an earlier list is shown")
                .at(case.entry.place.clone())
                .cited(HOUSE_RULE)
                .next("ask whether the operation was put off or given up, then leave this open; accept it only if the operation stands although the list does not name it"),
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
