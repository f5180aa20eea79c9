//! Lines, circles, budgets and global fits with honest uncertainties.
//!
//! Everything here is `f64` in the caller's unit; nothing touches a file, a clock or a random source of its own.

mod agree;
mod budget;
mod circle;
mod ellipse;
mod error;
pub mod joint;
mod line;
mod marquardt;
mod metropolis;
mod montecarlo;
mod nonlinear;
mod posterior;
mod quantiles;
mod robust;
pub mod truncated;
pub mod wide;

pub use agree::{
    Mean, RandomEffectsMean, RepeatedReadings, ScaledMean, chi_squared_p_value, generalised_mean,
    normalised_difference, normalised_error, random_effects_mean, repeated_readings, sample_correlation,
    scaled_mean, weighted_mean,
};
pub use budget::{
    Budget, Contribution, Input, JointResult, coverage_factor, propagate, propagate_joint,
    second_order_uncertainty,
};
pub use circle::{Circle, Scatter, fit_circle, taubin_circle};
pub use ellipse::{Ellipse, EllipseFoot, direct_ellipse, ellipse_foot, fit_ellipse};
pub use error::FitError;
pub use line::{Intercept, Line, LinePoint, fit_line, fit_line_weighted, york};
pub use metropolis::{Walk, metropolis};
pub use montecarlo::{
    Adaptive, Distribution, Sampler, Simulation, Source, Summary, Validation, numerical_tolerance, simulate,
    simulate_adaptively, summarise, validate,
};
pub use nonlinear::{NonlinearFit, Settings, least_squares, least_squares_with_jacobian};
pub use posterior::{Exploration, Method, Posterior, Proposal, ensemble, explore, reweight};
pub use quantiles::{equal_tailed_interval, shortest_interval, weighted_quantiles};
pub use robust::{Loss, Robust, fit_circle_robust, fit_ellipse_robust, mad_scale, median};
