//! Timings of the steps a case goes through.

fn main() {}
