//! What the site declares about the instrument of a folder, put where the file says nothing.
//!
//! A word or number of the file is never replaced: where both speak and differ, the file is refused, for it is another
//! instrument's, or the folder is declared wrongly. The index is filled in by the readers, who know what it belongs to.

use super::IntakeError;
use super::outcome::{Content, FolderRules, Read};
use super::target::Target;
use crate::model::{ChamberDepthFrom, Conversion, Eye, EyeExam, Place, Reading, Spot, StatedWord, Surface};
use crate::units::Millimetre;

/// The place of what a folder declares.
pub(super) fn place(of: &Place, key: &str) -> Place {
    of.at(Spot::Key(format!("incoming.{key}")))
}

/// Fills in what the folder declares.
///
/// # Errors
/// [`IntakeError::WrongFolder`] for a file whose chamber depth begins elsewhere than the folder declares.
pub(super) fn apply(read: &mut Read, folder: &FolderRules) -> Result<(), IntakeError> {
    let Content::Exams(exams) = &mut read.content else { return Ok(()) };
    for exam in exams {
        let whole = exam.whole_file();
        for eye in Eye::BOTH {
            let Some(eye) = exam.eyes.of_mut(eye) else { continue };
            if let Some(declared) = folder.depth_from {
                depth(eye, declared, &whole)?;
            }
            if let Some(declared) = folder.zone_mm {
                zone(eye, declared, &whole)?;
            }
        }
    }
    Ok(())
}

fn depth(eye: &mut EyeExam, declared: ChamberDepthFrom, whole: &Place) -> Result<(), IntakeError> {
    let EyeExam { axial, stated, .. } = eye;
    let Some(axial) = axial.as_mut().filter(|axial| axial.depth.is_some()) else { return Ok(()) };
    let field = Target::AxialDepthFrom.word();
    match axial.depth_from {
        Some(found) if found == declared => Ok(()),
        Some(found) => {
            let at = stated.iter().find(|stated| stated.field == field).map(|stated| &stated.word.place);
            Err(IntakeError::WrongFolder {
                expected: format!("chamber depths counted from the {}", words(declared)),
                found: format!("one counted from the {}", words(found)),
                place: at.unwrap_or(whole).clone(),
            })
        }
        None => {
            axial.depth_from = Some(declared);
            let word = declared.word().to_owned();
            let word = Reading::new(word.clone(), word, place(whole, "chamber_depth_from"));
            stated.push(StatedWord { field, word: word.converted(Conversion::FromFolder) });
            Ok(())
        }
    }
}

const fn words(from: ChamberDepthFrom) -> &'static str {
    match from {
        ChamberDepthFrom::CornealFront => "corneal front",
        ChamberDepthFrom::CornealBack => "corneal back",
    }
}

fn zone(eye: &mut EyeExam, declared: f64, whole: &Place) -> Result<(), IntakeError> {
    let at = place(whole, "zone_mm");
    let zone = Millimetre::from_reading(declared).map_err(|error| IntakeError::Template {
        detail: format!("declared for this folder: {error}"),
        place: at.clone(),
    })?;
    let reading = Reading::new(zone, declared.to_string(), at).converted(Conversion::FromFolder);
    for keratometry in &mut eye.keratometry {
        if keratometry.surface == Surface::Anterior && keratometry.zone.is_none() {
            keratometry.zone = Some(reading.clone());
        }
    }
    Ok(())
}
