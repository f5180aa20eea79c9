//! The normal distribution that stands nearest to a posterior whose limits are rectangles: what a budget can be made of.

use nalgebra::DVector;

use super::{Joint, JointFault, Prior, information, invert, linear, prior_pull};
use crate::truncated::truncated_moments;

/// Passes through all limits; a rectangle is log-concave, and a handful settles it.
const MOST_PASSES: usize = 60;
/// Largest relative change of a prior's weight at which the passes end.
const SETTLED: f64 = 1e-6;
/// Least weight left to a rectangle, in units of that of a normal distribution as wide as the rectangle is.
const LEAST: f64 = 1e-6;

/// A normal factor that stands for one rectangle: its weight 1/u² and weight times mean, as deviations from the estimate.
struct Site {
    place: usize,
    low: f64,
    high: f64,
    weight: f64,
    pull: f64,
}

impl Site {
    fn of(joint: &Joint, place: usize) -> Option<Self> {
        let Prior::Limits { mean, half_width } = *joint.priors.get(place)? else { return None };
        let middle = mean - joint.estimate[place];
        // u = a/√3
        let weight = 3.0 / (half_width * half_width);
        let (low, high) = (middle - half_width, middle + half_width);
        Some(Self { place, low, high, weight, pull: weight * middle })
    }

    /// The weight below which the readings alone say where within the limits the value lies.
    fn least(&self) -> f64 {
        LEAST * 12.0 / (self.high - self.low).powi(2)
    }
}

impl Joint {
    /// The same fit with each rectangle replaced by the normal prior that gives the posterior its own mean and standard deviation
    /// there: limits that the readings cut are narrower than a/√3, limits out of reach of the readings stay what they are.
    ///
    /// The sensitivities of what comes out add up to the variance that draws from the rectangles have, not to that of the best
    /// estimate, which counts limits as normal.
    ///
    /// - **Fails** where, with the limited unknowns held, the rest is not fixed.
    /// - **Source** expectation propagation: T. Minka, Proc. 17th Conf. Uncertainty in Artificial Intelligence (2001) 362.
    pub fn matched<E>(&self) -> Result<Self, JointFault<E>> {
        let mut sites: Vec<Site> = (0..self.priors.len()).filter_map(|place| Site::of(self, place)).collect();
        if sites.is_empty() {
            return linear(&self.priors, &self.estimate, &self.at);
        }
        let unlimited: Vec<Prior> = self.priors.iter().map(|prior| without_limits(*prior)).collect();
        let bare = information(&self.at, &unlimited);
        let slope =
            self.at.jacobian.transpose() * &self.at.residuals + prior_pull(&unlimited, &self.estimate);
        for _ in 0..MOST_PASSES {
            let mut whole = bare.clone();
            let mut pull = -&slope;
            for site in &sites {
                whole[(site.place, site.place)] += site.weight;
                pull[site.place] += site.pull;
            }
            let (mut covariance, _) = invert(&whole)?;
            let mut largest: f64 = 0.0;
            for site in &mut sites {
                largest = largest.max(renew(site, &mut covariance, &mut pull));
            }
            if largest < SETTLED {
                break;
            }
        }
        let mut priors = self.priors.clone();
        for site in &sites {
            if let Some(prior) = priors.get_mut(site.place) {
                let mean = self.estimate[site.place] + site.pull / site.weight;
                *prior = Prior::Normal { mean, u: site.weight.sqrt().recip() };
            }
        }
        linear(&priors, &self.estimate, &self.at)
    }
}

fn without_limits(prior: Prior) -> Prior {
    if matches!(prior, Prior::Limits { .. }) { Prior::Flat } else { prior }
}

/// Gives one rectangle the normal factor that leaves the posterior the moments of the cut distribution; the relative change.
fn renew(site: &mut Site, covariance: &mut nalgebra::DMatrix<f64>, pull: &mut DVector<f64>) -> f64 {
    let column = covariance.column(site.place).into_owned();
    let variance = column[site.place];
    let mean = column.dot(pull);
    // what all else says of this unknown
    let other = (1.0 / variance - site.weight).max(site.least());
    let other_mean = (mean / variance - site.pull) / other;
    let (cut_mean, cut_u) = truncated_moments(other_mean, other.sqrt().recip(), site.low, site.high);
    let weight = (cut_u.powi(-2) - other).max(site.least());
    let own_pull = cut_mean * (weight + other) - other_mean * other;
    let (change, change_of_pull) = (weight - site.weight, own_pull - site.pull);
    let relative = (change / site.weight).abs();
    // one factor changes: Sherman and Morrison
    covariance.ger(-change / (1.0 + change * variance), &column, &column, 1.0);
    pull[site.place] += change_of_pull;
    (site.weight, site.pull) = (weight, own_pull);
    relative
}
