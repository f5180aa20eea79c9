//! Figures, tables and the printed report.

mod base64;
mod chart;
pub mod figure;
mod input;
mod page;
mod section;
mod sketch;
mod style;
mod table;
mod words;

pub use input::{Overlay, ReportError, ReportInput};
pub use page::{figures, report_html};
