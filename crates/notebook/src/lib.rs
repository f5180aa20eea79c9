//! The notebook folder: bench file, tables, photographs, results.

mod notebook;
pub mod record;

pub use notebook::Notebook;
pub use record::*;
