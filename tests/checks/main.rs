//! The rules, by cases of invented people.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of a test fail by panicking, as the test itself"
)]

mod build;
mod doors;
mod laws;
mod page;
mod rules_case;
mod rules_eye;
mod rules_identity;
mod rules_list;
mod rules_prediction;
mod rules_ranges;
mod rules_sources;
mod rules_units;
mod scenarios;
mod selection;
mod table;
