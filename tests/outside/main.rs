//! The product against general-purpose references that are not ours. What is not installed is said, loudly, and the rest
//! runs; with `AXISWRIGHT_TEST_TOOLS=required` it fails instead.
//!
//! The demo's certificates begin on 5 March 2026: the outside verifiers need a clock after that day.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "helpers of tests stop the test, and handle files and processes"
)]

mod cases;
mod chances;
mod csv;
mod demo;
mod dicom;
mod dicom_standard;
mod encodings;
mod found;
mod ledger;
mod numbers;
mod patient_numbers;
mod refracted;
mod seal;
mod text;
mod toric_eyes;
mod turns;
mod xml;

#[path = "../support/tools.rs"]
mod tools;
