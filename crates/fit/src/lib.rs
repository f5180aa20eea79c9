//! Lines, circles, budgets and global fits with honest uncertainties.
//!
//! Everything here is `f64` in the caller's unit; nothing touches a file, a clock or a random source of its own.

mod agree;
mod circle;
mod ellipse;
mod error;
pub mod joint;
mod line;
mod marquardt;
mod robust;
pub mod truncated;

pub use agree::chi_squared_p_value;
pub use circle::{Circle, Scatter, fit_circle, taubin_circle};
pub use ellipse::{Ellipse, EllipseFoot, direct_ellipse, ellipse_foot, fit_ellipse};
pub use error::FitError;
pub use line::{Intercept, Line, LinePoint, fit_line, fit_line_weighted, york};
pub use robust::{Loss, Robust, fit_circle_robust, fit_ellipse_robust, mad_scale};
