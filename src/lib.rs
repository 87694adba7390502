//! Axiswright turns the exports of keratometers and biometers into sealed plan sheets for astigmatism surgery.
//!
//! The rooms, each naming only rooms that the table of `docs/ARCHITECTURE.md` allows it.

pub mod bridge;
pub mod casebook;
pub mod checks;
pub mod cite;
pub mod cli;
pub mod finding;
pub mod intake;
pub mod ledger;
pub mod model;
pub mod optics;
pub mod page;
pub mod people;
pub mod plan;
pub mod seal;
pub mod sheet;
pub mod site;
pub mod units;
