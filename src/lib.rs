//! Axiswright turns the exports of keratometers and biometers into sealed plan sheets for astigmatism surgery.
//!
//! The rooms, from the ground up; each names only rooms above it in this list. `docs/ARCHITECTURE.md` gives the table
//! and the invariants.

pub mod casebook;
pub mod checks;
pub mod cite;
pub mod finding;
pub mod intake;
pub mod model;
pub mod optics;
pub mod page;
pub mod plan;
pub mod seal;
pub mod units;
