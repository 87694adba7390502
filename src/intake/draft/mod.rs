//! An example export to the draft of a mapping template. The only place of the program that guesses.
//!
//! A guess is never in force: what a person must confirm stands beside a key `confirm`, which no template may hold, or has
//! an empty value where one is needed. The draft reads no file until each of them was looked at and removed, and the
//! template it becomes reads none until a named person approved it. No value of a patient is repeated in a draft; codes of
//! eyes and forms of dates are.

mod encoding;
mod sketch;
mod tree;
mod words;
mod write;

use std::sync::Arc;

use self::encoding::Guess;
use self::sketch::Sketch;
use self::tree::Tree;
use super::joia;
use super::xml::Document;
use crate::model::{Digest, FileRef, Place, Spot};

/// The draft of a template.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// The text, with the reason of each guess as a comment.
    pub text: String,
    /// How many guesses a person must confirm or complete.
    pub open: usize,
}

/// Why no draft can be made of an example.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{problem}")]
pub struct NoDraft {
    /// What stands in the way.
    pub problem: String,
    /// Where.
    pub place: Place,
    /// What to do instead.
    pub hint: &'static str,
}

/// Looks at an example export and drafts a mapping template for measurements.
///
/// # Errors
/// For what is no table, no list of keys and values and no XML document with measurements of eyes.
///
/// # Examples
/// ```
/// use axiswright::intake::draft;
/// let example = b"ID;Date;Eye;R1 [mm];Ax1 [deg];R2 [mm];Ax2 [deg]\nT-1;02.03.2026 09:14;OD;7,92;172;7,55;82\n";
/// let draft = draft(example, "export.csv", Some("invented-a1")).unwrap();
/// assert!(draft.text.contains("decimal = \",\"") && draft.open > 0);
/// assert!(axiswright::site::mapping_template(&draft.text, "draft.toml").is_err());
/// assert!(axiswright::intake::draft(b"no table at all\n", "export.csv", None).is_err());
/// ```
pub fn draft(bytes: &[u8], name: &str, id: Option<&str>) -> Result<Draft, NoDraft> {
    let file = Arc::new(FileRef { digest: Digest::of(bytes), name: name.to_owned() });
    let whole = Place::File { file, spot: Spot::Whole };
    let refuse = |problem: String, line: Option<u64>, hint: &'static str| NoDraft {
        problem,
        place: line.map_or_else(|| whole.clone(), |line| whole.at(Spot::Line(line))),
        hint,
    };
    let guess = Guess::of(bytes, &whole).ok_or_else(|| {
        refuse(
            "the bytes are text in no encoding a template can name".to_owned(),
            None,
            "export as text; DICOM and the JOIA format need no template",
        )
    })?;
    if guess.text.trim_start().starts_with('<') {
        let document = Document::read(bytes, &joia::RULES, &whole).map_err(|error| NoDraft {
            problem: error.to_string(),
            place: error.place().clone(),
            hint: "export again; a document that is not whole shows no layout",
        })?;
        if joia::is_one(&document) {
            return Err(refuse(
                "the example is in the JOIA format, which is read without a template".to_owned(),
                None,
                "declare the folder and let the files come; `axiswright read FILE` shows what is read",
            ));
        }
        let tree = Tree::of(&document).ok_or_else(|| {
            refuse(
                "no element of the example was recognised as what was measured on an eye".to_owned(),
                None,
                "start from templates/mappings/quell-a4.toml; docs/FORMATS.md explains the paths",
            )
        })?;
        return Ok(write::written_of_tree(&tree, name, id));
    }
    let sketch = Sketch::of(&guess.text).map_err(|fault| refuse(fault.problem, fault.line, fault.hint))?;
    Ok(write::written(&guess, &sketch, name, id))
}
