//! The command `arcmass`.
fn main() {}
