//! Figures, tables and the printed report.
