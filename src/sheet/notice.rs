//! The notice that lies where a sheet lay: it is no longer current. No number of the plan.

use super::block::{LEFT, WIDTH, lines};
use super::error::SheetError;
use super::facts::SheetFacts;
use super::frame::{EyeField, Frame, Kind};
use super::slip::{banner, finished, guard, operation, paper_code};
use super::words::Who;
use crate::casebook::Case;
use crate::page::{Page, Style, layout};

/// Which sheet is no longer current. Its version is that of the facts.
#[derive(Debug, Clone, Copy)]
pub struct Notice<'a> {
    /// The case.
    pub case: &'a Case,
    /// The version that replaces it; none when it was withdrawn.
    pub replaced_by: Option<u32>,
    /// Whether its eye may be printed; see [`crate::sheet::eye_is_certain`].
    pub eye_certain: bool,
}

/// The notice of a sheet that is superseded or withdrawn: one page.
///
/// # Errors
/// [`SheetError`] when it cannot be laid out or does not read back, and [`SheetError::Measure`] rather than a number on it.
pub fn superseded_notice(notice: &Notice<'_>, facts: &SheetFacts) -> Result<Vec<u8>, SheetError> {
    let page = notice_page(notice, facts)?;
    let title = format!("Notice of case {}, version {}", facts.case, facts.version);
    finished(page, facts, &title, "Sheet no longer current")
}

fn notice_page(notice: &Notice<'_>, facts: &SheetFacts) -> Result<Page, SheetError> {
    let eye = match (notice.case.eye, notice.eye_certain) {
        (Some(eye), true) => EyeField::Certain(eye),
        (Some(_) | None, _) => EyeField::NotCertain,
    };
    let frame = Frame {
        who: Who::of(&notice.case.entry.identity),
        eye,
        facts,
        kind: Kind::Notice,
        name_alert: false,
    };
    let mut page = frame.begin()?;
    operation(&mut page, &notice.case.entry, facts)?;
    let old = facts.version;
    banner(&mut page, 60.0, "NO LONGER CURRENT", &format!("Version {old} of this sheet must not be used."))?;
    let what = match notice.replaced_by {
        Some(new) => format!("Version {old} was replaced by version {new}."),
        None => format!("Version {old} was withdrawn. There is no plan sheet for this case now."),
    };
    let mut y = 98.0;
    let large = Style::bold(18.0);
    y = lines(&mut page, LEFT, y, large, &layout::wrap(&what, WIDTH, large)?) + 8.0;
    let style = Style::regular(13.0);
    let mut steps =
        vec![format!("Destroy every paper copy of version {old}, also in the notes and in theatre.")];
    steps.push(match notice.replaced_by {
        Some(new) => format!(
            "Fetch version {new} from the folder of current sheets; if it is not there, have the case looked up by its code."
        ),
        None => "Have the case looked up by its code: it says what it waits for.".to_owned(),
    });
    steps.push("If the lens has been laid out or the eye has been marked by the old sheet: stop, and tell the surgeon.".to_owned());
    steps.push("Tell whoever leads the list that the paper is destroyed.".to_owned());
    for (number, step) in (1..).zip(&steps) {
        page.text(LEFT, y, Style::bold(13.0), format!("{number}"));
        y = lines(&mut page, LEFT + 10.0, y, style, &layout::wrap(step, WIDTH - 10.0, style)?) + 4.0;
    }
    paper_code(&mut page, facts)?;
    frame.finish(&mut page, 1, 1)?;
    guard(&page, &frame, &notice.case.entry)?;
    Ok(page)
}
