//! Masses: of one group, of one bench, of the class.

use arcmass_fit::random_effects_mean;
use arcmass_lab::document::Q;
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::document::BetweenGroups;
use crate::physics::{BenchPhysics, accepted_mass_kg};
use crate::reading::ReadingSlip;
use crate::rows::{GroupRows, Linear, Scatter, linear};

/// ln of a mass, and its variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LnMass {
    pub(crate) ln: f64,
    pub(crate) variance: f64,
}

impl LnMass {
    /// As the documents show it: lognormal.
    pub(crate) fn q(&self) -> Q {
        let (value, u) = (self.ln.exp(), self.variance.sqrt());
        let both = |z: f64| [(self.ln - z * u).exp(), (self.ln + z * u).exp()];
        Q {
            value,
            standard_uncertainty: value * u,
            interval_68: both(0.994_457_883_209_753),
            interval_95: both(1.959_963_984_540_054),
        }
    }

    /// From the accepted mass, in standard uncertainties.
    pub(crate) fn difference_in_u(&self) -> f64 {
        (self.ln - accepted_mass_kg().ln()) / self.variance.sqrt().max(f64::MIN_POSITIVE)
    }
}

/// One group's part in a mass.
#[derive(Clone, Copy)]
pub(crate) struct Part<'a> {
    pub(crate) rows: &'a GroupRows,
    pub(crate) slip: &'a ReadingSlip,
    /// Place of its scatter.
    pub(crate) factor: usize,
}

/// What a bench's file, or what its groups showed of it, says of the shared unknowns.
pub(crate) struct Before<'a> {
    pub(crate) bench: &'a BenchPhysics,
    pub(crate) mean: DVector<f64>,
    pub(crate) covariance: DMatrix<f64>,
    pub(crate) scatter: &'a Scatter,
}

/// Steps of the search for the mass at which the rows agree with their rings.
const STEPS: usize = 6;

impl Before<'_> {
    fn linear(&self, part: &Part<'_>, theta: &DVector<f64>, mass_kg: f64) -> Option<Linear> {
        linear(self.bench, theta, part.rows, part.slip, self.scatter, mass_kg)
    }

    /// The mass of one group by the full model; the accepted one is no more than where the search starts.
    pub(crate) fn group(&self, part: &Part<'_>) -> Option<LnMass> {
        let mut found = LnMass { ln: accepted_mass_kg().ln(), variance: f64::INFINITY };
        for _ in 0..STEPS {
            let linear = self.linear(part, &self.mean, found.ln.exp())?;
            let covariance = linear.own_covariance(part.factor)
                + &linear.by_shared * &self.covariance * linear.by_shared.transpose();
            let root = covariance.cholesky()?;
            let solved = root.solve(&linear.by_ln_m);
            let weight = solved.dot(&linear.by_ln_m);
            let step = solved.dot(&linear.residual) / weight;
            found = LnMass { ln: found.ln + step.clamp(-3.0, 3.0), variance: 1.0 / weight };
            if !found.ln.is_finite() {
                return None;
            }
            if step.abs() < 1e-6 {
                break;
            }
        }
        Some(found)
    }

    /// The mass of a bench from all its groups, what they share kept shared; and each group's distance from it with its
    /// own variance.
    pub(crate) fn together(&self, parts: &[Part<'_>], between: f64) -> Option<(LnMass, Vec<(f64, f64)>)> {
        let k = self.mean.len();
        let active: Vec<usize> = (0..k).filter(|place| self.covariance[(*place, *place)] > 0.0).collect();
        let scale: Vec<f64> = active.iter().map(|place| self.covariance[(*place, *place)].sqrt()).collect();
        let a = active.len();
        let mut correlation =
            DMatrix::from_fn(a, a, |i, j| self.covariance[(active[i], active[j])] / (scale[i] * scale[j]));
        (0..a).for_each(|i| correlation[(i, i)] += 1e-9);
        let prior = correlation.cholesky()?.inverse();
        let (mut theta, mut ln_mass) = (self.mean.clone(), accepted_mass_kg().ln());
        let mut answer = None;
        for _ in 0..STEPS {
            let mut precision = DMatrix::zeros(a + 1, a + 1);
            precision.view_mut((1, 1), (a, a)).copy_from(&prior);
            let away = DVector::from_fn(a, |i, _| (self.mean[active[i]] - theta[active[i]]) / scale[i]);
            let mut right = DVector::zeros(a + 1);
            right.rows_mut(1, a).copy_from(&(&prior * away));
            let mut groups = Vec::new();
            for part in parts {
                let linear = self.linear(part, &theta, ln_mass.exp())?;
                let own = linear.own_covariance(part.factor);
                let root =
                    (&own + between * between * &linear.by_ln_m * linear.by_ln_m.transpose()).cholesky()?;
                let mut by = DMatrix::zeros(linear.residual.len(), a + 1);
                by.set_column(0, &linear.by_ln_m);
                for i in 0..a {
                    by.set_column(i + 1, &(linear.by_shared.column(active[i]) * scale[i]));
                }
                let solved = root.solve(&by);
                precision += by.transpose() * &solved;
                right += solved.transpose() * &linear.residual;
                groups.push((linear, own));
            }
            let covariance = precision.cholesky()?.inverse();
            let step = &covariance * right;
            let move_by = if step[0].abs() > 1.0 { 1.0 / step[0].abs() } else { 1.0 };
            ln_mass += move_by * step[0];
            (0..a).for_each(|i| theta[active[i]] += move_by * step[i + 1] * scale[i]);
            if !ln_mass.is_finite() {
                return None;
            }
            let shift = DVector::from_fn(k, |place, _| {
                active.iter().position(|p| *p == place).map_or(0.0, |i| step[i + 1] * scale[i])
            });
            let each = groups.iter().filter_map(|(linear, own)| {
                let root = own.clone().cholesky()?;
                let solved = root.solve(&linear.by_ln_m);
                let weight = solved.dot(&linear.by_ln_m);
                let residual = &linear.residual - &linear.by_shared * &shift - &linear.by_ln_m * step[0];
                Some((solved.dot(&residual) / weight, 1.0 / weight))
            });
            answer = Some((LnMass { ln: ln_mass, variance: covariance[(0, 0)] }, each.collect()));
            if step[0].abs() < 1e-6 {
                break;
            }
        }
        answer
    }
}

/// Largest standard deviation between groups that is looked for, of ln m.
const WIDEST: f64 = 2.0;

/// Standard deviation between groups at which the sum of their squared distances is `wanted` (Paule and Mandel, J. Res. Natl.
/// Bur. Stand. 87 (1982) 377).
fn between_at(wanted: f64, squares: &dyn Fn(f64) -> Option<f64>) -> Option<f64> {
    if squares(0.0)? <= wanted {
        return Some(0.0);
    }
    let (mut low, mut high) = (0.0, WIDEST);
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if squares(middle)? > wanted { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// Groups of benches, pooled.
pub(crate) struct Pool {
    pub(crate) between: f64,
    pub(crate) interval: [f64; 2],
    /// One a bench; none where it has no group that counts.
    pub(crate) benches: Vec<Option<LnMass>>,
    pub(crate) pooled: Option<LnMass>,
    pub(crate) groups: usize,
}

/// Pools the groups of each bench, then the benches.
pub(crate) fn pool(benches: &[(Before<'_>, Vec<Part<'_>>)]) -> Pool {
    let groups: usize = benches.iter().map(|(_, parts)| parts.len()).sum();
    let filled = benches.iter().filter(|(_, parts)| !parts.is_empty()).count();
    let squares = |between: f64| -> Option<f64> {
        let mut total = 0.0;
        for (before, parts) in benches.iter().filter(|(_, parts)| !parts.is_empty()) {
            let (_, each) = before.together(parts, between)?;
            total +=
                each.iter().map(|(away, variance)| away * away / (variance + between * between)).sum::<f64>();
        }
        Some(total)
    };
    let freedom = groups.saturating_sub(filled) as f64;
    let between = if freedom > 0.0 { between_at(freedom, &squares).unwrap_or(0.0) } else { 0.0 };
    let interval = if freedom > 0.0 { profile(freedom, &squares) } else { [0.0, 0.0] };
    let of_benches: Vec<Option<LnMass>> = benches
        .iter()
        .map(|(before, parts)| if parts.is_empty() { None } else { Some(before.together(parts, between)?.0) })
        .collect();
    let masses: Vec<LnMass> = of_benches.iter().flatten().copied().collect();
    Pool { between, interval, pooled: random_effects(&masses), benches: of_benches, groups }
}

/// Interval of the standard deviation between groups by the profile of the same sum of squares.
fn profile(freedom: f64, squares: &dyn Fn(f64) -> Option<f64>) -> [f64; 2] {
    let Ok(chi) = ChiSquared::new(freedom) else { return [0.0, 0.0] };
    let at = |share: f64| between_at(chi.inverse_cdf(share), squares).unwrap_or(0.0);
    [at(0.975), at(0.025)]
}

/// Benches to one mass, with what lies between them.
fn random_effects(masses: &[LnMass]) -> Option<LnMass> {
    let (lns, us): (Vec<f64>, Vec<f64>) = masses.iter().map(|mass| (mass.ln, mass.variance.sqrt())).unzip();
    match masses {
        [] => None,
        [one] => Some(*one),
        _ => {
            let mean = random_effects_mean(&lns, &us).ok()?;
            Some(LnMass { ln: mean.value, variance: mean.standard_uncertainty.powi(2) })
        }
    }
}

impl Pool {
    /// As the document shows it.
    pub(crate) fn between_groups(&self) -> Option<BetweenGroups> {
        (self.groups > 1).then(|| BetweenGroups {
            standard_deviation_percent: 100.0 * self.between,
            interval_95: self.interval.map(|u| 100.0 * u),
        })
    }
}

/// The claims as they stand, on the scale of their logarithms.
pub(crate) fn as_claimed(claims: &[f64]) -> Option<LnMass> {
    let n = claims.len() as f64;
    if claims.is_empty() {
        return None;
    }
    let mean = claims.iter().map(|claim| claim.ln()).sum::<f64>() / n;
    let squares: f64 = claims.iter().map(|claim| (claim.ln() - mean).powi(2)).sum();
    let variance = if n > 1.0 { squares / (n - 1.0) / n } else { 0.0 };
    Some(LnMass { ln: mean, variance })
}
