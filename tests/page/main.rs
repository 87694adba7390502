//! The room `page` from outside: what it writes, and what its read-back catches.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "the helpers of these tests may fail as the tests do"
)]

mod sample;
mod tamper;
mod writer;
