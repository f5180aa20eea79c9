//! Field tables of invented benches whose truth is known: every way to the field gives it back, with honest uncertainties.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "field_truth/bench.rs"]
mod bench;
#[path = "field_truth/clash.rs"]
mod clash;
#[path = "field_truth/coils.rs"]
mod coils;
#[path = "field_truth/surroundings.rs"]
mod surroundings;
#[path = "field_truth/tables.rs"]
mod tables;
