//! Every case of the tables of reference values that this crate must agree with.

// A test that can't go on must fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod bench_paths;
mod elliptic;
mod field;
mod gas_and_earth;
mod motion;
mod table;
