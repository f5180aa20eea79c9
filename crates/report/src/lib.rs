//! Figures, tables and the printed report.

pub mod beam_figure;
mod chart;
mod chart_lines;
pub mod field_figures;
pub mod figure;
mod history;
mod input;
mod inside;
mod marked;
mod page;
pub mod path_figures;
mod perspective;
mod section;
mod sheet;
mod sketch;
pub mod station;
mod style;
mod table;
mod window;
mod words;

pub use history::history;
pub use input::{Overlay, ReportError, ReportInput};
pub use marked::marked;
pub use page::{figures, figures_of, report_html};
pub use sheet::{key_html, worksheet_html};
pub use window::window;
