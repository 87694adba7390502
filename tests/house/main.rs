//! The rules of the house, as tests. Each rule is a function over text, so that the same function is shown to catch a
//! violation made for it.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "helpers of tests stop the test, and tests of the repository read its files"
)]

mod code;
mod effects;
mod files;
mod folders;
mod licences;
mod papers;
mod paths;
mod published;
mod repo;
mod rooms;
mod table;
mod words;
