//! A class's results: what every group wrote and claims, each slip found, the rest pooled.
//!
//! [`check`] reads nothing and writes nothing: it takes a table and the benches' notebooks, and gives the document of
//! `class check`. Two stages: each group's readings against the physics of its bench (`reading`, `rows`, `bench`), and its
//! own sum step by step (`working`, `group`).

mod bench;
mod check;
mod curve;
mod demo;
pub mod document;
mod group;
mod mass;
mod physics;
mod reading;
mod rows;
pub mod simulate;
pub mod slips;
mod verdict;
mod working;

pub use check::{NamedBench, check};
pub use demo::{ClassDemo, make_class_demo};
