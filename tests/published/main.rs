//! Published values, and values computed by another route, against the formulas.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "helpers of tests stop the test when a row is malformed"
)]

mod gullstrand_cornea;
mod rows_optics;
mod rows_power;

mod goggin2015_posterior;
mod iso8429_positions;
mod jcrs2017_contrast;
mod savini2017_budget;
mod thibos1997_conversions;
mod wallace_arcs;
mod weikert2018_tilt;
mod williams1993_rotation;
