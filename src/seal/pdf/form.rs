//! The objects in force after a revision, and the signature fields of the form.

use std::collections::{BTreeMap, BTreeSet};

use super::MAX_FIELDS;
use super::file::{File, Object};
use super::value::{Dict, Text, Value};

/// Every object in force, by number.
pub(in crate::seal) type State<'f> = BTreeMap<u32, &'f Object>;

/// A signature field that is its own widget.
#[derive(Debug)]
pub(in crate::seal) struct Field<'f> {
    pub(in crate::seal) number: u32,
    pub(in crate::seal) name: String,
    /// The object of its signature.
    pub(in crate::seal) signature: Option<u32>,
    pub(in crate::seal) dict: &'f Dict,
}

impl File {
    /// The objects in force after revision `last`.
    pub(in crate::seal) fn state(&self, last: usize) -> State<'_> {
        let mut state = State::new();
        for revision in self.revisions.iter().take(last + 1) {
            state.extend(revision.objects.iter().map(|(number, object)| (*number, object)));
        }
        state
    }
}

/// The signature fields of the form. Anything that would let two readers see two different forms is refused: nested
/// or shared fields, two of one name, a signature outside a field.
pub(in crate::seal) fn fields<'f>(state: &State<'f>, root: u32) -> Result<Vec<Field<'f>>, String> {
    let catalog = state.get(&root).and_then(|object| object.value.as_dict()).ok_or("there is no catalog")?;
    if !catalog.is_name("Type", "Catalog") {
        return Err("the catalog is not of type `Catalog`".into());
    }
    let form = match catalog.get("AcroForm") {
        Some(Value::Dict(dict)) => dict,
        Some(Value::Reference(number)) => state
            .get(number)
            .and_then(|object| object.value.as_dict())
            .ok_or("the catalog's form is no dictionary")?,
        Some(_) => return Err("the catalog's form is no dictionary".into()),
        None => return no_hidden_signature(state, Vec::new()),
    };
    if form.get("XFA").is_some() {
        return Err("the form has a second description (`XFA`)".into());
    }
    let Some(Value::Array(listed)) = form.get("Fields") else {
        return Err("the form does not list its fields".into());
    };
    if listed.len() > MAX_FIELDS {
        return Err("the form has too many fields".into());
    }
    let mut found: Vec<Field<'f>> = Vec::new();
    let mut numbers = BTreeSet::new();
    for value in listed {
        let number = value.as_reference().ok_or("a field is not an object of its own")?;
        if !numbers.insert(number) {
            return Err(format!("field object `{number}` is listed twice"));
        }
        let dict = state
            .get(&number)
            .and_then(|object| object.value.as_dict())
            .ok_or_else(|| format!("field object `{number}` is no dictionary"))?;
        let field = field(number, dict)?;
        if found.iter().any(|other| other.name == field.name) {
            return Err(format!("two fields are named `{}`", field.name));
        }
        if field.signature.is_some() && found.iter().any(|other| other.signature == field.signature) {
            return Err(format!("field `{}` shares its signature with another", field.name));
        }
        found.push(field);
    }
    no_hidden_signature(state, found)
}

fn field(number: u32, dict: &Dict) -> Result<Field<'_>, String> {
    if !dict.is_name("FT", "Sig") || !dict.is_name("Subtype", "Widget") {
        return Err(format!("field object `{number}` is no signature field with its widget"));
    }
    for key in ["Kids", "Parent", "A", "AA", "AS"] {
        if dict.get(key).is_some() {
            return Err(format!("field object `{number}` has `{key}`"));
        }
    }
    let Some(Value::Text(text)) = dict.get("T") else {
        return Err(format!("field object `{number}` has no name"));
    };
    let signature = match dict.get("V") {
        None => None,
        Some(Value::Reference(number)) => Some(*number),
        Some(_) => return Err(format!("the value of field object `{number}` is not an object of its own")),
    };
    Ok(Field { number, name: read_text(text)?, signature, dict })
}

/// Refuses signature dictionaries that no field shows.
fn no_hidden_signature<'f>(state: &State<'f>, fields: Vec<Field<'f>>) -> Result<Vec<Field<'f>>, String> {
    for (number, object) in state {
        let mut nested = 0_usize;
        object.value.walk(&mut |value| {
            if value
                .as_dict()
                .is_some_and(|dict| dict.get("ByteRange").is_some() || dict.is_name("Type", "Sig"))
            {
                nested += 1;
            }
        });
        let own = fields.iter().filter(|field| field.signature == Some(*number)).count();
        if nested != own {
            return Err(format!("object `{number}` holds a signature that no field shows"));
        }
    }
    let missing =
        fields.iter().filter_map(|field| field.signature).find(|number| !state.contains_key(number));
    match missing {
        Some(number) => Err(format!("signature object `{number}` is missing")),
        None => Ok(fields),
    }
}

fn read_text(text: &Text) -> Result<String, String> {
    let wrong = || "a name is not readable text".to_owned();
    match text.bytes.as_slice() {
        [0xfe, 0xff, rest @ ..] if rest.len().is_multiple_of(2) => {
            let units: Vec<u16> = rest
                .chunks_exact(2)
                .map(|pair| pair.iter().fold(0, |sum, byte| sum * 256 + u16::from(*byte)))
                .collect();
            String::from_utf16(&units).map_err(|_| wrong())
        }
        bytes if bytes.is_ascii() => Ok(String::from_utf8_lossy(bytes).into_owned()),
        _ => Err(wrong()),
    }
}
