//! The page in a real browser: the first way from an empty notebook to its mass, by hand and by photographs, and two pages at once.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod chromium;
#[path = "../common/mod.rs"]
mod common;
mod day;
mod first;
mod looks;
mod together;
