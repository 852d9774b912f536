//! The `zonecall` program.
fn main() {}
