//! Laws that hold for every eye, on generated eyes with fixed seeds.

#![expect(clippy::unwrap_used, reason = "helpers of tests stop the test")]

mod arcs;
mod eyes;
mod lenses;
mod sources;
mod uncertainty;
mod vectors;

use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// A runner whose cases are the same on every run.
pub(crate) fn runner(cases: u32) -> TestRunner {
    let seed = [0x5a; 32];
    TestRunner::new_with_rng(
        Config { cases, failure_persistence: None, ..Config::default() },
        TestRng::from_seed(RngAlgorithm::ChaCha, &seed),
    )
}
