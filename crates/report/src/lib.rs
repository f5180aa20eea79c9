//! Figures, tables and the printed report.

pub mod figure;
