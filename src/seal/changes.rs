//! What a revision behind the seal may do: sign one empty field, with the objects that this needs. All else is named.

use std::collections::BTreeSet;

use super::pdf::{Dict, Field, Object, Revision, State, Value};
use super::prepare::SIGNED_FLAGS;
use super::verify::Change;

/// Everything that `revision` changes beyond signing `field`.
pub(super) fn after_seal(before: &State<'_>, revision: &Revision, field: Option<&Field<'_>>) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut named = |object: u32, what: String| changes.push(Change { object: Some(object), what });
    let reachable = field.map(|field| reachable(before, revision, field)).unwrap_or_default();
    for (&number, object) in &revision.objects {
        match before.get(&number) {
            Some(old) => {
                if let Some(field) = field.filter(|field| field.number == number) {
                    if let Err(what) = signs_only(before, old, field, revision) {
                        named(number, what);
                    }
                } else {
                    named(number, describe(old, object));
                }
            }
            None if !reachable.contains(&number) => {
                named(number, "it was added and does not belong to a signature".into());
            }
            None => {}
        }
    }
    for (&number, old) in before {
        let is_field = field.is_some_and(|field| field.number == number);
        let dangling = old
            .value
            .references()
            .into_iter()
            .find(|target| !before.contains_key(target) && revision.objects.contains_key(target));
        if let (false, Some(target)) = (is_field, dangling) {
            named(number, format!("it refers to object `{target}`, which was added later"));
        }
    }
    changes
}

fn describe(old: &Object, new: &Object) -> String {
    let kind = |value: &Value| -> Option<String> {
        let Value::Name(name) = value.as_dict()?.get("Type")? else { return None };
        Some(String::from_utf8_lossy(name).into_owned())
    };
    match kind(&old.value).or_else(|| kind(&new.value)) {
        Some(kind) => format!("it was replaced (`{kind}`)"),
        None => "it was replaced".into(),
    }
}

/// New objects that the field's signature and appearance lead to.
fn reachable(before: &State<'_>, revision: &Revision, field: &Field<'_>) -> BTreeSet<u32> {
    let mut found = BTreeSet::new();
    let mut open: Vec<u32> = field.signature.into_iter().collect();
    open.extend(field.dict.get("AP").map(Value::references).unwrap_or_default());
    while let Some(number) = open.pop() {
        if before.contains_key(&number) || !found.insert(number) {
            continue;
        }
        if let Some(object) = revision.objects.get(&number) {
            open.extend(object.value.references());
        }
    }
    found
}

/// The field may gain its value, a new plain appearance and the flags of a signed field; nothing else.
fn signs_only(
    before: &State<'_>,
    old: &Object,
    field: &Field<'_>,
    revision: &Revision,
) -> Result<(), String> {
    let signing = ["V", "AP", "F"];
    let old = old.value.as_dict().ok_or("it was no dictionary")?;
    if old.get("V").is_some() {
        return Err("the signature of the field was replaced".into());
    }
    if old.without(&signing) != field.dict.without(&signing) {
        return Err("the field was changed beyond its signature".into());
    }
    if field.signature.is_none_or(|number| before.contains_key(&number)) {
        return Err("the field's signature is an old object".into());
    }
    if field.dict.get("F") != old.get("F") && field.dict.get("F") != Some(&Value::Integer(SIGNED_FLAGS)) {
        return Err("the field's flags were changed".into());
    }
    match field.dict.get("AP") {
        unchanged if unchanged == old.get("AP") => Ok(()),
        Some(Value::Dict(appearance)) => plain_appearance(before, appearance, revision),
        _ => Err("the field's appearance was removed".into()),
    }
}

fn plain_appearance(before: &State<'_>, appearance: &Dict, revision: &Revision) -> Result<(), String> {
    let number = appearance.get("N").and_then(Value::as_reference);
    let drawing = number
        .filter(|number| !before.contains_key(number) && appearance.iter().count() == 1)
        .and_then(|number| revision.objects.get(&number))
        .filter(|object| object.stream.is_some())
        .and_then(|object| object.value.as_dict())
        .ok_or("the field's appearance is not one new drawing")?;
    let known = ["Type", "Subtype", "BBox", "Resources", "Length"];
    let has_others = drawing.iter().any(|(key, _)| known.iter().all(|known| known.as_bytes() != key));
    if has_others
        || !drawing.is_name("Type", "XObject")
        || !drawing.is_name("Subtype", "Form")
        || drawing.get("Resources") != Some(&Value::dict(&[]))
    {
        return Err("the field's appearance is not a plain drawing".into());
    }
    Ok(())
}
