//! Text files by mapping templates: one small file per quirk, its malformed twin, the places and the messages.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::result_large_err,
    clippy::format_push_string,
    reason = "a test stops at the first surprise, and compares the very numbers that were written"
)]

mod catalogue;
mod corpus;
mod demo;
mod drafts;
mod facts;
mod formats;
mod joia;
mod layouts;
mod limits;
mod lists;
mod mutations;
mod numbers;
mod readings;
mod recognise;
mod refusals;
mod round_trip;
mod scrub;
mod support;
mod swaps;
mod templates;
mod xml;
mod xml_exchanges;
mod xml_refusals;

#[path = "../../fuzz/entries.rs"]
mod entries;
