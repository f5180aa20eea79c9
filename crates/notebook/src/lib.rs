//! The notebook folder: bench file, tables, photographs, results.
