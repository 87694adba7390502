//! Sheets, slips and notices: geometry, layout, numbers read back, silence where numbers are forbidden.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "the helpers of these tests may fail as the tests do"
)]

mod arcs;
mod boxes;
mod cases;
mod doubts;
mod geometry;
mod numbers;
mod overlap;
mod refracted;
mod refusals;
mod same;
mod silence;
mod texts;
