//! Which eye a number of a report is of.
//!
//! It can be stated in the header, by a container, by the finding site of either, by the number itself and inside its
//! concept. Every statement must agree; with none the number is of no eye.

use dicom_dictionary_std::tags;

use crate::finding::Code;
use crate::intake::IntakeError;
use crate::intake::dicom::object::Node;
use crate::model::{Eye, Place, Reading};

/// An eye, or something else, that the report states for what lies below.
#[derive(Debug, Clone)]
pub(super) struct Stated {
    /// The eye; none for anything else.
    pub(super) eye: Option<Eye>,
    /// What stands there.
    pub(super) text: String,
    /// Where.
    pub(super) place: Place,
}

impl Stated {
    /// What a laterality element of the header says; one that says both says nothing of a number.
    pub(super) fn by_header(stated: &Reading<Vec<Eye>>) -> Option<Self> {
        let [eye] = stated.value.as_slice() else { return None };
        Some(Self { eye: Some(*eye), text: stated.text.clone(), place: stated.place.clone() })
    }
}

/// The eyes a content item states for itself: a laterality among its modifiers, or one that modifies its finding site.
pub(super) fn beside(item: &Node<'_>) -> Result<Vec<Stated>, IntakeError> {
    let mut all = Vec::new();
    for modifier in item.items(tags::CONTENT_SEQUENCE)? {
        if modifier.text(tags::VALUE_TYPE)?.is_none_or(|kind| kind.value != "CODE") {
            continue;
        }
        let Some(concept) = modifier.code(tags::CONCEPT_NAME_CODE_SEQUENCE)? else { continue };
        if concept.is("SCT", "272741003") || concept.is("SRT", "G-C171") {
            all.push(eye_of(&modifier)?);
        } else if concept.is("SCT", "363698007") || concept.is("SRT", "G-C0E3") {
            let _site = modifier.code(tags::CONCEPT_CODE_SEQUENCE)?;
            for inner in modifier.items(tags::CONTENT_SEQUENCE)? {
                let _how = inner.text(tags::RELATIONSHIP_TYPE)?;
                let _kind = inner.text(tags::VALUE_TYPE)?;
                let named = inner.code(tags::CONCEPT_NAME_CODE_SEQUENCE)?;
                if named.is_some_and(|c| c.is("SCT", "272741003") || c.is("SRT", "G-C171")) {
                    all.push(eye_of(&inner)?);
                }
            }
        }
    }
    Ok(all)
}

fn eye_of(modifier: &Node<'_>) -> Result<Stated, IntakeError> {
    let place = modifier.place(tags::CONCEPT_CODE_SEQUENCE);
    let code = modifier.code(tags::CONCEPT_CODE_SEQUENCE)?;
    let text = code.as_ref().map_or_else(|| "nothing".to_owned(), ToString::to_string);
    let eye = code.and_then(|code| match (code.scheme.as_str(), code.value.as_str()) {
        ("SCT", "24028007") | ("SRT", "G-A100") => Some(Eye::Right),
        ("SCT", "7771000") | ("SRT", "G-A101") => Some(Eye::Left),
        _ => None,
    });
    Ok(Stated { eye, text, place })
}

/// The one eye of a value: everything stated above it, beside it and in its concept must agree.
///
/// # Errors
/// [`IntakeError::Value`] with code L01 for a contradiction and L03 for what is neither eye; [`IntakeError::Missing`] with
/// code L03 when nothing states an eye.
pub(super) fn the_eye(stated: &[Stated], item: &Node<'_>) -> Result<Eye, IntakeError> {
    let wrong = |text: &str, expected: &str, code, place: &Place| IntakeError::Value {
        field: "the stated eye".to_owned(),
        text: text.to_owned(),
        expected: expected.to_owned(),
        code: Some(code),
        place: place.clone(),
    };
    let mut the_one = None;
    for one in stated {
        let eye = one.eye.ok_or_else(|| wrong(&one.text, "right or left", Code::L03, &one.place))?;
        if the_one.is_some_and(|known| known != eye) {
            return Err(wrong(&one.text, "the eye stated further out", Code::L01, &one.place));
        }
        the_one = Some(eye);
    }
    the_one.ok_or_else(|| IntakeError::Missing {
        field: "the stated eye".to_owned(),
        code: Some(Code::L03),
        place: item.own_place(),
    })
}
