//! One invented bench reduced, against its hidden truth; and the counts of many.

use rand::SeedableRng;
use rand_pcg::Pcg64;

use super::{Design, Outside, by_lot};
use crate::desk::{Desk, LabError};
use crate::reduce::{AcceptedMass, Doubts, reduce_doubting};

/// What one bench's reduction got right.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Of the bench.
    pub seed: u64,
    /// (Measured − true)/u.
    pub pull: f64,
    /// The same for `mass_as_stated_kg`.
    pub pull_as_stated: f64,
    /// Whether the 68 % interval of `mass_kg` holds the truth.
    pub in_68: bool,
    /// Whether the 95 % interval of `mass_kg` holds the truth.
    pub in_95: bool,
    /// The same for `mass_as_stated_kg`.
    pub as_stated_in_95: bool,
    /// Of the mass, relative.
    pub u: f64,
    /// Likeliest first, with their confidence.
    pub findings: Vec<(String, f64)>,
}

/// Draws and reduces the bench with this seed.
pub fn trial(design: &Design, outside: Outside, doubts: Doubts, seed: u64) -> Result<Trial, LabError> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let bench = by_lot(design, outside, &mut rng)?;
    let desk = Desk { seed, workers: 1 };
    let (notebook, rings) = (&bench.notebook, bench.rings.as_ref());
    let result = reduce_doubting(notebook, rings, &AcceptedMass::default(), doubts, &desk)?;
    let truth = bench.truth.mass_kg;
    let holds = |[low, high]: [f64; 2]| low < truth && truth < high;
    let mass = result.mass_kg;
    let stated = result.mass_as_stated_kg;
    Ok(Trial {
        seed,
        pull_as_stated: (stated.value - truth) / stated.standard_uncertainty,
        pull: (mass.value - truth) / mass.standard_uncertainty,
        in_68: holds(mass.interval_68),
        in_95: holds(mass.interval_95),
        as_stated_in_95: holds(stated.interval_95),
        u: mass.standard_uncertainty / mass.value,
        findings: result.findings.into_iter().map(|finding| (finding.code, finding.confidence)).collect(),
    })
}

/// Counts over many benches.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Counts {
    /// Benches reduced.
    pub benches: usize,
    /// Reductions that failed with an error.
    pub failed: usize,
    /// 68 % interval holds the truth.
    pub in_68: usize,
    /// 95 % interval holds the truth.
    pub in_95: usize,
    /// 95 % interval of the stated model holds the truth.
    pub as_stated_in_95: usize,
    /// Benches with a finding.
    pub with_finding: usize,
    /// Benches whose first finding has the right name.
    pub named: usize,
    pulls: f64,
    squares: f64,
    us: Vec<f64>,
}

impl Counts {
    /// Adds one bench; `code` is the finding that would be right.
    pub fn add(&mut self, trial: &Trial, code: Option<&str>) {
        self.benches += 1;
        self.in_68 += usize::from(trial.in_68);
        self.in_95 += usize::from(trial.in_95);
        self.as_stated_in_95 += usize::from(trial.as_stated_in_95);
        self.with_finding += usize::from(!trial.findings.is_empty());
        let first = trial.findings.first().map(|finding| finding.0.as_str());
        self.named += usize::from(first.is_some() && first == code);
        self.pulls += trial.pull;
        self.squares += trial.pull * trial.pull;
        self.us.push(trial.u);
    }

    /// Adds other counts.
    pub fn join(&mut self, other: Self) {
        self.benches += other.benches;
        self.failed += other.failed;
        self.in_68 += other.in_68;
        self.in_95 += other.in_95;
        self.as_stated_in_95 += other.as_stated_in_95;
        self.with_finding += other.with_finding;
        self.named += other.named;
        self.pulls += other.pulls;
        self.squares += other.squares;
        self.us.extend(other.us);
    }

    /// Share of all benches, %.
    pub fn percent(&self, count: usize) -> f64 {
        100.0 * count as f64 / self.benches.max(1) as f64
    }

    /// Mean and standard deviation of (measured − true)/u.
    pub fn pull(&self) -> (f64, f64) {
        let n = self.benches.max(1) as f64;
        let mean = self.pulls / n;
        (mean, (self.squares / n - mean * mean).max(0.0).sqrt())
    }

    /// Median relative uncertainty of the mass, %.
    pub fn median_u_percent(&self) -> f64 {
        let mut us = self.us.clone();
        us.sort_by(f64::total_cmp);
        100.0 * us.get(us.len() / 2).copied().unwrap_or(f64::NAN)
    }
}
