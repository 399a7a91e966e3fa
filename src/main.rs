//! Borewright.
fn main() {}
