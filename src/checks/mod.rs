//! The rules, and the only maker of [`Screened`] and [`Cleared`].
//!
//! [`screen`] looks at one case as it stands and collects everything a person must know; a case without a refuse finding
//! comes out as [`Screened`] and may be tried. [`weigh`] lowers a disagreement that changes nothing to a note, [`clear`]
//! lets a case pass whose sign-off findings are all answered. Nothing is repaired here: a source in doubt is refused,
//! set aside and said to be so, or left to the surgeon.

mod choose;
mod context;
mod doors;
mod label;
mod page;
mod refraction;
mod rules;
mod screen;
mod selection;
mod settings;

pub use context::{Context, LensOnFile, NumberScheme, UnapprovedFile};
pub use doors::{Cleared, Open, Screened, Screening, Weight, clear, weigh};
pub use page::findings_page;
pub use refraction::RefractionSource;
pub use screen::{screen, screen_exam};
pub use selection::{AxialSource, KeratometrySource, Selection};
pub use settings::{Settings, Threshold};
