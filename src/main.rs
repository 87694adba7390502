//! The command line of Axiswright.

fn main() {}
