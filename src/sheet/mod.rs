//! A released plan as paper: three pages for theatre, marking and record; a held case as a slip without numbers.
//!
//! [`sheet`] takes a [`Released`](crate::plan::Released) and nothing less, so that nothing else can become a plan sheet. Its bytes are read
//! back glyph by glyph, and every number is compared again with the plan under its tag, before they leave the room. [`slip`] and
//! [`superseded_notice`] are for paper of cases that are not released: no number in dioptres, millimetres or degrees stands on them, and no
//! other patient.
//!
//! The room knows no clock and no file: who, when, which version and the head of the ledger come in as [`SheetFacts`].

mod arcs;
mod assemble;
mod block;
mod boxes;
mod code;
mod diagram;
mod error;
mod facts;
mod flow;
mod frame;
mod marking;
mod measure;
mod notice;
mod numbers;
mod plot;
mod record;
mod refracted;
mod refracted_numbers;
mod slip;
mod steps;
mod tables;
mod theatre;
mod view;
mod words;

pub use assemble::{Sheet, pages, sheet};
pub use boxes::{BOX_HEIGHT_MM, BOX_WIDTH_MM, approval_box, seal_box};
pub use code::{clear_code, code, record};
pub use diagram::{DIAGRAM_MM, LIMBUS_MM, marking_diagram, theatre_diagram};
pub use error::SheetError;
pub use facts::SheetFacts;
pub use measure::holds_measure;
pub use notice::{Notice, superseded_notice};
pub use numbers::printed_numbers;
pub use slip::{HeldCase, eye_is_certain, slip};
