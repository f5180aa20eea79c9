//! Straight lines: least squares with and without weights, through the origin, and with uncertainties in both variables.

use crate::agree::chi_squared_p_value;
use crate::error::{FitError, all_finite, all_positive, none_negative, same_length};
use nalgebra::Matrix2;

/// Whether the line may miss the origin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Intercept {
    /// `y = a + b x`.
    #[default]
    Free,
    /// `y = b x`.
    Zero,
}

/// One point with its standard uncertainties, in the caller's units; `correlation` is between the errors in x and y.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LinePoint {
    /// Abscissa.
    pub x: f64,
    /// Standard uncertainty of the abscissa, 0 or above.
    pub u_x: f64,
    /// Ordinate.
    pub y: f64,
    /// Standard uncertainty of the ordinate, 0 or above, not 0 together with `u_x`.
    pub u_y: f64,
    /// Correlation of the two errors, above −1 and below 1.
    pub correlation: f64,
}

/// A fitted line `y = intercept + slope · x`, in the units of the points.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Ordinate at x = 0; exactly 0 for a line through the origin.
    pub intercept: f64,
    /// Rise per unit of x.
    pub slope: f64,
    /// Covariance of (intercept, slope).
    pub covariance: Matrix2<f64>,
    /// Sum of squared weighted residuals; plain sum of squares when no uncertainty was given.
    pub chi_squared: f64,
    /// Points minus free parameters.
    pub dof: usize,
    /// Chance of a larger chi-squared if model and uncertainties hold; none without uncertainties or freedom.
    pub p_value: Option<f64>,
    /// The point on the line that belongs to each measured one, in the points' order.
    pub adjusted: Vec<[f64; 2]>,
    /// Measured minus fitted ordinate, one a point.
    pub residuals: Vec<f64>,
    /// Residual over its standard uncertainty about the line (over the residual scatter when none was given).
    pub normalised_residuals: Vec<f64>,
}

impl Line {
    /// Standard uncertainty of the intercept.
    pub fn intercept_uncertainty(&self) -> f64 {
        self.covariance[(0, 0)].max(0.0).sqrt()
    }

    /// Standard uncertainty of the slope.
    pub fn slope_uncertainty(&self) -> f64 {
        self.covariance[(1, 1)].max(0.0).sqrt()
    }

    /// Correlation of intercept and slope; 0 when one of them is fixed.
    pub fn correlation(&self) -> f64 {
        let scale = self.intercept_uncertainty() * self.slope_uncertainty();
        if scale > 0.0 { self.covariance[(0, 1)] / scale } else { 0.0 }
    }

    /// Fitted ordinate at `x` and its standard uncertainty (of the line, not of a new reading).
    pub fn at(&self, x: f64) -> (f64, f64) {
        let c = &self.covariance;
        let variance = c[(0, 0)] + 2.0 * x * c[(0, 1)] + x * x * c[(1, 1)];
        (self.intercept + self.slope * x, variance.max(0.0).sqrt())
    }

    /// Square root of chi-squared per degree of freedom; for a line without given uncertainties this is the
    /// residual standard deviation. None without freedom.
    pub fn birge_ratio(&self) -> Option<f64> {
        (self.dof > 0).then(|| (self.chi_squared / self.dof as f64).sqrt())
    }
}

/// Ordinary least squares: equal unknown uncertainties in y, none in x; covariance from the residual scatter.
///
/// - **Takes** one x and one y a point.
/// - **Fails** with fewer than 3 points (2 through the origin), lists of unequal length, or a single abscissa.
/// - **Source** JCGM 100:2008, H.3.
pub fn fit_line(x: &[f64], y: &[f64], intercept: Intercept) -> Result<Line, FitError> {
    let needed = if intercept == Intercept::Free { 3 } else { 2 };
    enough("a line fit with unknown uncertainties", needed, x.len())?;
    let mut line = weighted(x, y, &vec![1.0; x.len()], intercept)?;
    let scatter = line.birge_ratio().unwrap_or(0.0);
    line.covariance *= scatter * scatter;
    line.p_value = None;
    if scatter > 0.0 {
        line.normalised_residuals.iter_mut().for_each(|r| *r /= scatter);
    }
    Ok(line)
}

/// Weighted least squares with known standard uncertainties `u_y` and exact x; covariance from `u_y` alone.
///
/// - **Takes** one x, y and u(y) a point, u(y) above 0.
/// - **Fails** with fewer than 2 points (1 through the origin), bad uncertainties, or a single abscissa.
/// - **Source** standard weighted least squares, e.g. York et al., Am. J. Phys. 72 (2004) 367 with u(x) = 0.
pub fn fit_line_weighted(x: &[f64], y: &[f64], u_y: &[f64], intercept: Intercept) -> Result<Line, FitError> {
    let needed = if intercept == Intercept::Free { 2 } else { 1 };
    enough("a weighted line fit", needed, x.len())?;
    weighted(x, y, u_y, intercept)
}

fn enough(fit: &'static str, needed: usize, found: usize) -> Result<(), FitError> {
    if found < needed { Err(FitError::TooFewPoints { fit, needed, found }) } else { Ok(()) }
}

fn weighted(x: &[f64], y: &[f64], u_y: &[f64], intercept: Intercept) -> Result<Line, FitError> {
    same_length("y", "x values", x.len(), y.len())?;
    same_length("u(y)", "x values", x.len(), u_y.len())?;
    all_finite("x", x.iter().copied())?;
    all_finite("y", y.iter().copied())?;
    all_positive("u(y)", u_y)?;
    let w: Vec<f64> = u_y.iter().map(|u| 1.0 / (u * u)).collect();
    let total: f64 = w.iter().sum();
    let mean = |v: &[f64]| w.iter().zip(v).map(|(w, v)| w * v).sum::<f64>() / total;
    // Sums about the weighted mean keep the digits that raw sums of squares would lose.
    let (x0, y0) = if intercept == Intercept::Free { (mean(x), mean(y)) } else { (0.0, 0.0) };
    let sum = |f: &dyn Fn(f64, f64) -> f64| {
        w.iter().zip(x.iter().zip(y)).map(|(w, (x, y))| w * f(x - x0, y - y0)).sum::<f64>()
    };
    let sxx = sum(&|dx, _| dx * dx);
    distinct(x, x0, sxx / total)?;
    let slope = sum(&|dx, dy| dx * dy) / sxx;
    let var_slope = 1.0 / sxx;
    let (a, var_a) = match intercept {
        Intercept::Free => (y0 - slope * x0, 1.0 / total + x0 * x0 * var_slope),
        Intercept::Zero => (0.0, 0.0),
    };
    let cov = -x0 * var_slope;
    let covariance = Matrix2::new(var_a, cov, cov, var_slope);
    // Residuals about the centred line, again to keep digits.
    let residuals: Vec<f64> = x.iter().zip(y).map(|(x, y)| (y - y0) - slope * (x - x0)).collect();
    let free = if intercept == Intercept::Free { 2 } else { 1 };
    let adjusted = x.iter().zip(y).zip(&residuals).map(|((x, y), r)| [*x, y - r]).collect();
    let normalised = residuals.iter().zip(u_y).map(|(r, u)| r / u).collect();
    Ok(assemble(a, slope, covariance, free, adjusted, residuals, normalised))
}

/// Refuses abscissas that differ by no more than rounding.
fn distinct(x: &[f64], x0: f64, spread_squared: f64) -> Result<(), FitError> {
    let scale = x.iter().fold(x0.abs(), |m, v| m.max(v.abs()));
    if spread_squared.sqrt() <= 16.0 * f64::EPSILON * scale {
        return Err(FitError::OneAbscissa { points: x.len(), x: x.first().copied().unwrap_or(x0) });
    }
    Ok(())
}

fn assemble(
    intercept: f64,
    slope: f64,
    covariance: Matrix2<f64>,
    free: usize,
    adjusted: Vec<[f64; 2]>,
    residuals: Vec<f64>,
    normalised_residuals: Vec<f64>,
) -> Line {
    let chi_squared = normalised_residuals.iter().map(|r| r * r).sum();
    let dof = residuals.len().saturating_sub(free);
    let p_value = (dof > 0).then(|| chi_squared_p_value(chi_squared, dof as f64));
    Line {
        intercept,
        slope,
        covariance,
        chi_squared,
        dof,
        p_value,
        adjusted,
        residuals,
        normalised_residuals,
    }
}

/// Most rounds of York's iteration; well-posed data settle in 5 to 30.
const YORK_ROUNDS: usize = 2_000;
/// Relative change of the slope at which York's iteration has settled: a few rounding errors.
const YORK_SETTLED: f64 = 1e-14;

/// Least-squares line through points with (possibly correlated) uncertainties in both variables.
///
/// With `W = 1/(u_y² + b² u_x² − 2 b ρ u_x u_y)`, `U = x − x̄`, `V = y − ȳ` (means weighted by W) and
/// `β = W (U u_y² + b V u_x² − (b U + V) ρ u_x u_y)`, the slope solves `b = Σ W β V / Σ W β U`.
/// Covariances are York's, at the adjusted points `(x̄ + β, ȳ + b β)`, from the given uncertainties alone
/// (multiply by the squared Birge ratio to let the scatter speak).
///
/// - **Fails** with fewer than 2 points, uncertainties that are negative or both 0, a correlation outside
///   (−1, 1), a single abscissa, or an iteration that does not settle (an all but vertical line).
/// - **Source** York, Evensen, Martínez, De Basabe Delgado, Am. J. Phys. 72 (2004) 367, eqs. (13).
pub fn york(points: &[LinePoint]) -> Result<Line, FitError> {
    check_york(points)?;
    let mut slope = york_start(points)?;
    for _ in 0..YORK_ROUNDS {
        let next = YorkRound::at(slope, points).next_slope();
        if !next.is_finite() {
            break;
        }
        let change = (next - slope).abs();
        slope = next;
        if change <= YORK_SETTLED * slope.abs().max(f64::MIN_POSITIVE) {
            return Ok(YorkRound::at(slope, points).finish());
        }
    }
    Err(FitError::NotConverged {
        fit: "the line with uncertainties in both variables",
        iterations: YORK_ROUNDS,
    })
}

fn check_york(points: &[LinePoint]) -> Result<(), FitError> {
    enough("a line fit with uncertainties in both variables", 2, points.len())?;
    all_finite("x", points.iter().map(|p| p.x))?;
    all_finite("y", points.iter().map(|p| p.y))?;
    none_negative("u(x)", points.iter().map(|p| p.u_x))?;
    none_negative("u(y)", points.iter().map(|p| p.u_y))?;
    for (index, p) in points.iter().enumerate() {
        if p.u_x == 0.0 && p.u_y == 0.0 {
            return Err(FitError::NotPositive { what: "u(x) or u(y)", index, value: 0.0 });
        }
        if p.correlation.is_nan() || p.correlation.abs() >= 1.0 {
            return Err(FitError::BadSetting {
                what: "the correlation of a point's errors",
                accepted: "above -1 and below 1",
                found: p.correlation,
            });
        }
    }
    Ok(())
}

/// Slope of the plain unweighted line: near enough for York's iteration, and it never divides by a zero u(y).
fn york_start(points: &[LinePoint]) -> Result<f64, FitError> {
    let x: Vec<f64> = points.iter().map(|p| p.x).collect();
    let y: Vec<f64> = points.iter().map(|p| p.y).collect();
    Ok(weighted(&x, &y, &vec![1.0; x.len()], Intercept::Free)?.slope)
}

/// One round of York's iteration: weights, means and β at a trial slope.
struct YorkRound {
    slope: f64,
    mean: [f64; 2],
    weights: Vec<f64>,
    beta: Vec<f64>,
    centred: Vec<[f64; 2]>,
}

impl YorkRound {
    fn at(slope: f64, points: &[LinePoint]) -> Self {
        let b = slope;
        let weights: Vec<f64> = points
            .iter()
            .map(|p| {
                let cross = p.correlation * p.u_x * p.u_y;
                1.0 / (p.u_y * p.u_y + b * b * p.u_x * p.u_x - 2.0 * b * cross)
            })
            .collect();
        let total: f64 = weights.iter().sum();
        let mean = points
            .iter()
            .zip(&weights)
            .fold([0.0, 0.0], |m, (p, w)| [m[0] + w * p.x / total, m[1] + w * p.y / total]);
        let centred: Vec<[f64; 2]> = points.iter().map(|p| [p.x - mean[0], p.y - mean[1]]).collect();
        let beta = points.iter().zip(&weights).zip(&centred);
        let beta = beta
            .map(|((p, w), [u, v])| {
                let cross = p.correlation * p.u_x * p.u_y;
                w * (u * p.u_y * p.u_y + b * v * p.u_x * p.u_x - (b * u + v) * cross)
            })
            .collect();
        Self { slope, mean, weights, beta, centred }
    }

    fn next_slope(&self) -> f64 {
        let rows = self.weights.iter().zip(&self.beta).zip(&self.centred);
        let (above, below) =
            rows.fold((0.0, 0.0), |(n, d), ((w, beta), [u, v])| (n + w * beta * v, d + w * beta * u));
        above / below
    }

    fn finish(self) -> Line {
        let [x0, y0] = self.mean;
        let total: f64 = self.weights.iter().sum();
        let mean_beta = self.weights.iter().zip(&self.beta).map(|(w, b)| w * b).sum::<f64>() / total;
        let spread: f64 = self.weights.iter().zip(&self.beta).map(|(w, b)| w * (b - mean_beta).powi(2)).sum();
        let x_bar = x0 + mean_beta;
        let var_slope = 1.0 / spread;
        let cov = -x_bar * var_slope;
        let covariance = Matrix2::new(1.0 / total + x_bar * x_bar * var_slope, cov, cov, var_slope);
        let adjusted = self.beta.iter().map(|b| [x0 + b, y0 + self.slope * b]).collect();
        let residuals: Vec<f64> = self.centred.iter().map(|[u, v]| v - self.slope * u).collect();
        let normalised = residuals.iter().zip(&self.weights).map(|(r, w)| r * w.sqrt()).collect();
        assemble(y0 - self.slope * x0, self.slope, covariance, 2, adjusted, residuals, normalised)
    }
}
