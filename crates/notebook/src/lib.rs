//! The notebook folder: bench file, tables, photographs, results.
//!
//! [`Notebook::open`] reads every file of a folder, checks all of it, and gives either typed [`record`]s in SI units or all
//! [`Faults`] at once, each with file, line and column. Commands never write originals; [`folder::write_result`] writes what is
//! derived, [`edit`] what a person types on the page, both whole or not at all.

mod bench;
pub mod cautions;
pub mod edit;
mod fault;
mod file;
pub mod folder;
#[cfg(test)]
mod mutations;
mod nearest;
mod new;
mod notebook;
pub mod record;
mod table;

pub use bench::BENCH_FORMAT;
pub use fault::{Excerpt, Fault, Faults, printable};
pub use file::{LARGEST_BENCH_FILE, LARGEST_PHOTO, LARGEST_TABLE};
pub use folder::{PhotoBytes, PhotoFault, WriteFault};
pub use new::{NewFault, example_bench, new_notebook, still_examples};
pub use notebook::Notebook;
pub use record::*;
pub use table::read_class;
