//! The order of stages: from what has arrived to what may leave.

mod stages;

pub use stages::{Considered, Outcome, State, consider};
