//! The best N of many possible readings: c-optimal design by greedy choice and exchange.
//!
//! A reading is a row g: derivatives of what is read by every unknown, over its standard uncertainty. After readings S the
//! covariance of the unknowns is C = (P + Σ g gᵀ)⁻¹, with P what was known before; the design makes the variance of one
//! unknown, C_mm, small (V. V. Fedorov, *Theory of Optimal Experiments*, 1972; from memory). With several views of one
//! bench (as stated; with what may lie outside of it) the product of their variances is made small, so that a percent
//! gained in any of them counts the same.

use nalgebra::DVector;

use super::information::{Running, View};

/// Rounds of exchange; designs of a dozen readings settle in three or four.
const ROUNDS: usize = 12;
/// A gain of ln(variance) that is not worth another round.
const SETTLED: f64 = 1e-6;
/// A thousandth of what is known of an unknown that nothing fixes yet: keeps the first choices defined.
const RIDGE: f64 = 1e-9;

/// One possible reading as every view sees it: one row a view.
pub type Candidate = Vec<DVector<f64>>;

/// Chooses `count` candidates, each at most `most_repeats` times.
///
/// - **Gives** the places of the chosen, in the order of the candidates, or none where no choice fixes the unknown.
pub fn choose(
    views: &[View],
    candidates: &[Candidate],
    count: usize,
    most_repeats: usize,
) -> Option<Vec<usize>> {
    let most_repeats = most_repeats.max(1);
    if candidates.len() * most_repeats < count || count == 0 {
        return None;
    }
    let mut design = Design { views, candidates, chosen: Vec::new(), most_repeats };
    design.start(count)?;
    design.improve()?;
    design.chosen.sort_unstable();
    Some(design.chosen)
}

/// Sum of the logarithms of the views' variances for a choice; none where a view is not fixed.
pub fn cost(views: &[View], candidates: &[Candidate], chosen: &[usize]) -> Option<f64> {
    views.iter().enumerate().try_fold(0.0, |sum, (which, view)| {
        let rows = chosen.iter().filter_map(|place| Some((candidates.get(*place)?.get(which)?, 1.0)));
        let covariance = view.covariance(rows)?;
        Some(sum + covariance[(view.target(), view.target())].ln())
    })
}

struct Design<'a> {
    views: &'a [View],
    candidates: &'a [Candidate],
    chosen: Vec<usize>,
    most_repeats: usize,
}

impl Design<'_> {
    /// Takes one reading after the other, each time the one that helps most.
    fn start(&mut self, count: usize) -> Option<()> {
        let mut running = self.running(true)?;
        for _ in 0..count {
            let best = self.best(&running, usize::MAX)?;
            self.take(&mut running, best, 1.0);
            self.chosen.push(best);
        }
        Some(())
    }

    /// Replaces each chosen reading by the best one, until nothing is gained.
    fn improve(&mut self) -> Option<()> {
        for _ in 0..ROUNDS {
            let before = cost(self.views, self.candidates, &self.chosen)?;
            for slot in 0..self.chosen.len() {
                // made anew for each slot, so that rounding of the updates can't grow
                let mut running = self.running(false)?;
                let old = *self.chosen.get(slot)?;
                self.take(&mut running, old, -1.0);
                let best = self.best(&running, slot)?;
                if let Some(place) = self.chosen.get_mut(slot) {
                    *place = best;
                }
            }
            if before - cost(self.views, self.candidates, &self.chosen)? < SETTLED {
                break;
            }
        }
        Some(())
    }

    /// The candidate that lowers the cost most, among those not taken too often; `slot` is being replaced.
    fn best(&self, running: &[Running], slot: usize) -> Option<usize> {
        let taken = |place: usize| {
            self.chosen.iter().enumerate().filter(|(own, other)| *own != slot && **other == place).count()
        };
        let cost = |place: usize| -> f64 {
            let rows = self.candidates.get(place).into_iter().flatten();
            running.iter().zip(rows).map(|(running, row)| running.with(row).max(f64::MIN_POSITIVE).ln()).sum()
        };
        (0..self.candidates.len())
            .filter(|place| taken(*place) < self.most_repeats)
            .map(|place| (place, cost(place)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(place, _)| place)
    }

    fn take(&self, running: &mut [Running], place: usize, sign: f64) {
        let rows = self.candidates.get(place).into_iter().flatten();
        for (running, row) in running.iter_mut().zip(rows) {
            running.change(row, sign);
        }
    }

    /// Covariances with all chosen; with a faint knowledge of everything while the first are being chosen.
    fn running(&self, faint: bool) -> Option<Vec<Running>> {
        let of = |(which, view): (usize, &View)| {
            let rows =
                self.chosen.iter().filter_map(|place| Some((self.candidates.get(*place)?.get(which)?, 1.0)));
            if !faint {
                return Some(Running::new(view.covariance(rows)?, view.target()));
            }
            let mut ridged = view.clone();
            for place in 0..self.candidates.first()?.get(which)?.len() {
                let most = self
                    .candidates
                    .iter()
                    .filter_map(|c| c.get(which)?.get(place))
                    .fold(0.0_f64, |m, g| m.max(g * g));
                ridged.change_precision(place, 0.0, RIDGE * most + f64::MIN_POSITIVE);
            }
            Some(Running::new(ridged.covariance(rows)?, view.target()))
        };
        self.views.iter().enumerate().map(of).collect()
    }
}
