//! Chores: `cargo xtask test`, `cargo xtask study NAME`.
fn main() {}
