//! What a person may do wrong: each ends with one clear message, or is borne with a caveat; nothing panics.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "bad_input/borne.rs"]
mod borne;
#[path = "bad_input/folder.rs"]
mod folder;
#[path = "bad_input/pictures.rs"]
mod pictures;
#[path = "bad_input/refused.rs"]
mod refused;
