//! The whole site from outside: files are dropped into its folders, passes are run, and what lies in its folders and its
//! ledger afterwards is looked at.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    clippy::print_stderr,
    reason = "a test stops at the first thing that is not as it should be, handles files by itself and says what it skips"
)]

mod arcs;
mod bad_cells;
mod bad_files;
mod bad_lists;
mod bad_names;
mod clinic;
mod demo;
mod facts;
mod guards;
mod left_out;
mod lists;
mod marks;
mod names;
mod order;
mod persons;
mod readings;
mod refracted;
mod stands;
mod views;
mod wording;
