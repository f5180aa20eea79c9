//! Every case of the tables of reference values that this crate must agree with.

mod elliptic;
mod field;
mod gas_and_earth;
mod motion;
mod table;
