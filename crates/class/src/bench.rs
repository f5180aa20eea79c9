//! One bench of a class: what all its groups say together of what they share, and each group's readings against the rest.

use arcmass_fit::mad_scale;
use nalgebra::{DMatrix, DVector};

use crate::physics::{BenchPhysics, Shared};
use crate::reading::{ReadingSlip, Sizes, no_slip, reading_slips};
use crate::rows::{Evidence, FACTORS, GroupRows, Linear, Scatter, predicted};
use crate::working::ln_sum;
use arcmass_notebook::{AskedColumns, ClassGroup};

/// Prior of a table without a slip.
const NO_SLIP: f64 = 0.85;

/// A way in which a bench may lie outside its file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Alternative {
    /// Code of the finding; empty for the bench as stated.
    pub(crate) code: &'static str,
    pub(crate) prior: f64,
}

/// As stated, then each wide alternative; widths as in `reduce`, priors judgement: most benches are what their file says.
pub(crate) const ALTERNATIVES: [Alternative; 6] = [
    Alternative { code: "", prior: 0.82 },
    Alternative { code: "voltage-offset", prior: 0.05 },
    Alternative { code: "stray-field-axial", prior: 0.05 },
    Alternative { code: "field-scale", prior: 0.05 },
    Alternative { code: "edge-offset", prior: 0.015 },
    Alternative { code: "gas-loss", prior: 0.015 },
];

/// One group on one bench.
#[derive(Debug, Clone)]
pub(crate) struct OnBench {
    pub(crate) rows: GroupRows,
    pub(crate) slips: Vec<ReadingSlip>,
    /// ln prior of each slip with what the settings say of it.
    pub(crate) ln_prior: Vec<f64>,
}

/// What a bench and its groups came to under one alternative.
#[derive(Debug, Clone)]
pub(crate) struct Fitted {
    /// ln evidence with its prior.
    pub(crate) ln_evidence: f64,
    pub(crate) theta: DVector<f64>,
    pub(crate) covariance: DMatrix<f64>,
    /// ln posterior of each group's hypotheses, from all other groups and its own rows.
    pub(crate) ln_slips: Vec<Vec<f64>>,
    /// Likeliest scatter of each group's hypotheses.
    pub(crate) factors: Vec<Vec<usize>>,
}

/// A bench, judged.
#[derive(Debug, Clone)]
pub(crate) struct Judged {
    /// In the order of [`ALTERNATIVES`].
    pub(crate) fits: Vec<Fitted>,
    /// Posterior of each alternative.
    pub(crate) weights: Vec<f64>,
}

impl Judged {
    /// The likeliest alternative.
    pub(crate) fn best(&self) -> usize {
        (0..self.weights.len()).max_by(|a, b| self.weights[*a].total_cmp(&self.weights[*b])).unwrap_or(0)
    }

    /// Posterior of a group's hypotheses, as ln.
    pub(crate) fn ln_slips(&self, group: usize) -> Vec<f64> {
        let count = self.fits.first().map_or(0, |fit| fit.ln_slips[group].len());
        (0..count)
            .map(|slip| {
                let each: Vec<f64> = self
                    .fits
                    .iter()
                    .zip(&self.weights)
                    .map(|(fit, weight)| weight.max(1e-300).ln() + fit.ln_slips[group][slip])
                    .collect();
                ln_sum(&each)
            })
            .collect()
    }
}

/// What the class's settings are like: medians of ln V, ln I, ln d of groups, and how far groups lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Settings {
    centre: [f64; 3],
    spread: [f64; 3],
}

impl Settings {
    /// Of all groups as written: most wrote what was asked for.
    pub(crate) fn of(groups: &[&GroupRows]) -> Self {
        let (mut centre, mut spread) = ([0.0; 3], [0.3; 3]);
        for axis in 0..3 {
            let mut means: Vec<f64> =
                groups.iter().map(|rows| means(&rows.written, &rows.written_d)[axis]).collect();
            if means.is_empty() {
                continue;
            }
            centre[axis] = median(&mut means);
            let count = groups.len() as f64;
            let seen = mad_scale(&means, centre[axis]).unwrap_or(0.0);
            // few groups say little of how far others may lie
            spread[axis] = (seen * seen + 0.15_f64.powi(2) + 0.25_f64.powi(2) / count).sqrt();
        }
        Self { centre, spread }
    }

    fn ln_density(&self, mended: &crate::reading::Mended, written_d: &[f64]) -> f64 {
        let d: Vec<f64> = written_d.iter().zip(&mended.factor).map(|(d, factor)| d / factor).collect();
        let means = means(mended, &d);
        (0..3)
            .map(|axis| {
                let t = (means[axis] - self.centre[axis]) / self.spread[axis];
                // Student's t with 3 degrees of freedom
                -2.0 * (t * t / 3.0).ln_1p()
            })
            .sum()
    }
}

fn means(mended: &crate::reading::Mended, d: &[f64]) -> [f64; 3] {
    let mean = |of: &[f64]| of.iter().map(|x| x.ln()).sum::<f64>() / of.len().max(1) as f64;
    [mean(&mended.voltage), mean(&mended.current), mean(d)]
}

fn median(values: &mut [f64]) -> f64 {
    arcmass_fit::median(values).unwrap_or(0.0)
}

/// A setting beyond a rating, or a ring that does not fit the bulb: next to impossible.
const LN_IMPOSSIBLE: f64 = -9.0;

fn ln_possible(bench: &BenchPhysics, mended: &crate::reading::Mended, written_d: &[f64]) -> f64 {
    let ratings = bench.apparatus.ratings;
    let over = |values: &[f64], limit: Option<f64>, share: f64| {
        limit.is_some_and(|limit| values.iter().any(|value| *value > share * limit))
    };
    let d: Vec<f64> = written_d.iter().zip(&mended.factor).map(|(d, factor)| d / factor).collect();
    let broken = [
        over(&mended.voltage, ratings.voltage_v, 1.03),
        over(&mended.current, ratings.current_a, 1.03),
        over(&d, bench.largest_m, 1.03),
    ];
    LN_IMPOSSIBLE * broken.iter().filter(|broken| **broken).count() as f64
}

/// Whether a slip of reading, taken back, leaves settings within the ratings and rings within the bulb.
pub(crate) fn is_possible(bench: &BenchPhysics, group: &OnBench, slip: usize) -> bool {
    ln_possible(bench, &group.rows.mended(&group.slips[slip]), &group.rows.written_d) == 0.0
}

/// ln of a hypothesis below the best at which it is dropped.
const DROPPED: f64 = 16.0;
/// The same after the first look at all groups together.
const HOPELESS: f64 = 12.0;
/// ln by which the rows may miss the best single slip's own expectation before two at once are tried.
const MISSED: f64 = 7.0;

/// Lists a group's hypotheses and drops the hopeless ones.
pub(crate) fn on_bench(
    bench: &BenchPhysics,
    group: &ClassGroup,
    asked: &AskedColumns,
    settings: &Settings,
    scatter: &Scatter,
) -> OnBench {
    let rows = GroupRows::of(&group.rows, asked.is_radius);
    let width = bench.apparatus.beam_width;
    let sizes = Sizes {
        beam_width: width.map_or(2e-3, |width| width.value),
        beam_width_u: width.map_or(1e-3, |width| width.spread.u()),
    };
    let mut slips = vec![no_slip(NO_SLIP)];
    slips.extend(reading_slips(&group.rows, asked, &sizes));
    leave_out(bench, &rows, &mut slips, scatter);
    let wide = widest(bench);
    let none = DVector::zeros(bench.shared.len());
    let judge = |slip: &ReadingSlip| -> (f64, f64) {
        let mended = rows.mended(slip);
        let ln_prior = slip.prior.ln()
            + settings.ln_density(&mended, &rows.written_d)
            + ln_possible(bench, &mended, &rows.written_d);
        let found = predicted(bench, &bench.mean, &rows, slip, scatter);
        (ln_prior, found.map_or(f64::NEG_INFINITY, |linear| linear.evidence(&none, Some(&wide), scatter).ln))
    };
    let expected = |slip: &ReadingSlip| {
        let mut perfect = predicted(bench, &bench.mean, &rows, slip, scatter)?;
        perfect.residual.fill(0.0);
        Some(perfect.evidence(&none, Some(&wide), scatter).ln - 0.5 * rows.len() as f64)
    };
    let mut judged: Vec<(f64, f64)> = slips.iter().map(judge).collect();
    let best = (0..slips.len()).max_by(|a, b| {
        let of = |i: usize| judged[i].0 + judged[i].1;
        of(*a).total_cmp(&of(*b))
    });
    let is_missed = best.is_some_and(|best| {
        slips[best].code == "one-row-differs"
            || expected(&slips[best]).is_none_or(|expected| judged[best].1 < expected - MISSED)
    });
    if is_missed && rows.len() > 1 {
        for pair in pairs(bench, &rows, &slips, scatter) {
            judged.push(judge(&pair));
            slips.push(pair);
        }
    }
    let top = judged.iter().map(|(prior, found)| prior + found).fold(f64::NEG_INFINITY, f64::max);
    let keep = |index: usize| index == 0 || judged[index].0 + judged[index].1 > top - DROPPED;
    let mut kept: Vec<usize> = (0..slips.len()).filter(|index| keep(*index)).collect();
    with_partners(&mut kept, &slips, asked.is_radius);
    OnBench {
        ln_prior: kept.iter().map(|index| judged[*index].0).collect(),
        slips: kept.iter().map(|index| slips[*index].clone()).collect(),
        rows,
    }
}

/// Leaves out slips of one number that would only move its row away from the others.
fn leave_out(bench: &BenchPhysics, rows: &GroupRows, slips: &mut Vec<ReadingSlip>, scatter: &Scatter) {
    const LITTLE: f64 = 0.012;
    let Some(linear) = slips.first().and_then(|none| predicted(bench, &bench.mean, rows, none, scatter))
    else {
        return;
    };
    if rows.len() < 4 {
        return;
    }
    let mut all: Vec<f64> = linear.residual.iter().copied().collect();
    let middle = median(&mut all);
    slips.retain(|slip| match slip.one_number(&rows.written, &rows.written_d) {
        // what a ring does: d goes as √V and 1/I
        Some((row, by)) => {
            let away = linear.residual[row] - middle;
            (away + by).abs() < away.abs() + LITTLE
        }
        None => true,
    });
}

/// Diameter written for radius, and the current of both coils for one: in a radius table nothing in the rows tells them
/// apart.
pub(crate) const RADIUS_PAIR: [&str; 2] = ["diameter-as-radius", "total-current"];

/// Place of the slip that is the same but for one of that pair in the place of the other.
pub(crate) fn partner(slips: &[ReadingSlip], of: usize) -> Option<usize> {
    let (slip, [first, second]) = (&slips[of], RADIUS_PAIR);
    let other = if slip.code == first {
        second
    } else if slip.code == second {
        first
    } else {
        return None;
    };
    slips.iter().position(|s| s.code == other && s.rows == slip.rows && s.second == slip.second)
}

fn with_partners(kept: &mut Vec<usize>, slips: &[ReadingSlip], is_radius: bool) {
    if is_radius {
        let partners: Vec<usize> = kept.iter().filter_map(|index| partner(slips, *index)).collect();
        kept.extend(partners);
        kept.sort_unstable();
        kept.dedup();
    }
}

/// Gives both of such a pair equal parts, where both leave a possible ring and current.
pub(crate) fn share_alike(bench: &BenchPhysics, group: &OnBench, ln_slips: &mut [f64]) {
    for index in 0..group.slips.len() {
        let both_possible = |other: &usize| {
            *other > index && is_possible(bench, group, index) && is_possible(bench, group, *other)
        };
        if let Some(other) = partner(&group.slips, index).filter(both_possible) {
            let both = ln_sum(&[ln_slips[index], ln_slips[other]]) - std::f64::consts::LN_2;
            (ln_slips[index], ln_slips[other]) = (both, both);
        }
    }
}

/// Slips of whole tables that bring most rows near, each with each slip that could come on top.
fn pairs(
    bench: &BenchPhysics,
    rows: &GroupRows,
    slips: &[ReadingSlip],
    scatter: &Scatter,
) -> Vec<ReadingSlip> {
    const NEAR: f64 = 0.2;
    let whole: Vec<&ReadingSlip> = slips
        .iter()
        .skip(1)
        .filter(|slip| slip.rows.is_none())
        .filter(|slip| {
            predicted(bench, &bench.mean, rows, slip, scatter).is_some_and(|linear| {
                let mut away: Vec<f64> = linear.residual.iter().map(|r| r.abs()).collect();
                median(&mut away) < NEAR
            })
        })
        .collect();
    let mut found = Vec::new();
    for first in &whole {
        for second in slips.iter().skip(1) {
            let is_sized =
                second.steps.iter().all(|step| !matches!(step, crate::reading::Step::Scale { .. }));
            let is_other = second.code != first.code && (second.rows.is_some() || is_sized);
            let one_size = first.steps.iter().all(|step| {
                matches!(step, crate::reading::Step::Scale { .. } | crate::reading::Step::Swap { .. })
            });
            if is_other && (one_size || second.rows.is_some()) {
                found.push(first.and(second));
            }
        }
    }
    found
}

/// Covariance with every alternative open a little at once, for a first look: so far that no bench is mistaken for a class
/// of slips, and not so far that slips pass for a bench.
fn widest(bench: &BenchPhysics) -> DMatrix<f64> {
    let mut covariance = bench.covariance.clone();
    for alternative in ALTERNATIVES.iter().filter(|alternative| alternative.code != "gas-loss") {
        widen(bench, alternative.code, 0.4, &mut covariance, &mut bench.mean.clone());
    }
    covariance
}

/// Opens one alternative by a share of its width: widths as in the contract, ± a as a/√3.
fn widen(
    bench: &BenchPhysics,
    code: &str,
    share: f64,
    covariance: &mut DMatrix<f64>,
    mean: &mut DVector<f64>,
) {
    let mut open = |place: Option<usize>, u: f64, at: f64| {
        if let Some(place) = place {
            covariance[(place, place)] += (share * u).powi(2);
            mean[place] += at;
        }
    };
    match code {
        "voltage-offset" => open(bench.place(Shared::VoltageOffset), 28.0, 0.0),
        "stray-field-axial" => open(bench.place(Shared::Background(2)), 115e-6, 0.0),
        "field-scale" => {
            let place =
                bench.shared.iter().position(|shared| matches!(shared, Shared::Field(by) if *by != 0.0));
            let by = place.and_then(|place| match bench.shared[place] {
                Shared::Field(by) => Some(by.abs()),
                _ => None,
            });
            open(place, 0.08 / by.unwrap_or(1.0), 0.0);
        }
        "edge-offset" => open(bench.place(Shared::Edge), 1.7e-3, 0.0),
        "gas-loss" => open(bench.place(Shared::GasLoss), 8.0, 8.0),
        _ => {}
    }
}

/// Prior of the shared unknowns under one alternative.
pub(crate) fn prior_of(bench: &BenchPhysics, alternative: usize) -> (DVector<f64>, DMatrix<f64>) {
    let (mut mean, mut covariance) = (bench.mean.clone(), bench.covariance.clone());
    widen(bench, ALTERNATIVES[alternative].code, 1.0, &mut covariance, &mut mean);
    (mean, covariance)
}

/// Judges a bench and all its groups together.
pub(crate) fn judge(bench: &BenchPhysics, groups: &[OnBench], scatter: &Scatter) -> Judged {
    let under = |alternative: usize| {
        let (mean, covariance) = prior_of(bench, alternative);
        let mut fitted = fit(bench, groups, scatter, mean, covariance, ROUNDS);
        fitted.ln_evidence += ALTERNATIVES[alternative].prior.ln();
        fitted
    };
    let fits: Vec<Fitted> = (0..ALTERNATIVES.len()).map(under).collect();
    let each: Vec<f64> = fits.iter().map(|fit| fit.ln_evidence).collect();
    let all = ln_sum(&each);
    let weights = each.iter().map(|ln| if all.is_finite() { (ln - all).exp() } else { 0.0 }).collect();
    Judged { fits, weights }
}

/// A first look with every alternative open: what is hopeless then is dropped, and the scatter shows.
pub(crate) fn look(
    bench: &BenchPhysics,
    groups: &mut [OnBench],
    scatter: &Scatter,
    is_radius: bool,
) -> Fitted {
    let mut looked = fit(bench, groups, scatter, bench.mean.clone(), widest(bench), 2);
    for (index, group) in groups.iter_mut().enumerate() {
        let ln = &looked.ln_slips[index];
        let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut kept: Vec<usize> = (0..ln.len()).filter(|i| *i == 0 || ln[*i] > top - HOPELESS).collect();
        with_partners(&mut kept, &group.slips, is_radius);
        let take = |of: &[f64]| kept.iter().map(|i| of[*i]).collect::<Vec<f64>>();
        group.ln_prior = take(&group.ln_prior);
        let (ln, factors) = (take(ln), kept.iter().map(|i| looked.factors[index][*i]).collect());
        group.slips = kept.iter().map(|i| group.slips[*i].clone()).collect();
        looked.ln_slips[index] = ln;
        looked.factors[index] = factors;
    }
    looked
}

/// Rounds of message passing; settled after three on every class seen, one more for safety.
const ROUNDS: usize = 4;

/// One alternative: the shared unknowns and each group's hypotheses, in turns.
fn fit(
    bench: &BenchPhysics,
    groups: &[OnBench],
    scatter: &Scatter,
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
    rounds: usize,
) -> Fitted {
    let active: Vec<usize> = (0..mean.len()).filter(|place| covariance[(*place, *place)] > 0.0).collect();
    let prior = Gaussian::of(&mean, &covariance, &active);
    let mut at = mean.clone();
    let mut messages: Vec<Option<(DMatrix<f64>, DVector<f64>)>> = vec![None; groups.len()];
    let mut fitted = Fitted {
        ln_evidence: f64::NEG_INFINITY,
        theta: mean.clone(),
        covariance: covariance.clone(),
        ln_slips: groups.iter().map(|group| vec![f64::NEG_INFINITY; group.slips.len()]).collect(),
        factors: groups.iter().map(|group| vec![3; group.slips.len()]).collect(),
    };
    for round in 0..rounds {
        let linears: Vec<Vec<Option<Linear>>> = groups
            .iter()
            .map(|group| {
                group.slips.iter().map(|slip| predicted(bench, &at, &group.rows, slip, scatter)).collect()
            })
            .collect();
        // messages are about the old place: moved to the new one
        let next: Vec<_> = groups
            .iter()
            .enumerate()
            .map(|(index, group)| {
                let (shift, covariance) = prior.joined(&at, &messages, Some(index));
                let found = group_posterior(group, &linears[index], &shift, &covariance, scatter);
                fitted.ln_slips[index] = found.iter().map(|(ln, _)| *ln).collect();
                fitted.factors[index] = found.iter().map(|(_, factor)| *factor).collect();
                message(&linears[index], &found, &at)
            })
            .collect();
        messages = next;
        let (shift, covariance) = prior.joined(&at, &messages, None);
        if round + 1 == rounds {
            fitted.ln_evidence = laplace(&prior, groups, &linears, &at, &shift, &covariance, scatter);
        }
        let moved = &at + &shift;
        let is_usable = moved.iter().all(|value| value.is_finite());
        fitted.theta = if is_usable { moved } else { mean.clone() };
        fitted.covariance = covariance;
        if round + 1 < rounds {
            at = fitted.theta.clone();
        }
    }
    fitted
}

/// ln posterior of each hypothesis of one group, with its likeliest scatter.
fn group_posterior(
    group: &OnBench,
    linears: &[Option<Linear>],
    shift: &DVector<f64>,
    covariance: &DMatrix<f64>,
    scatter: &Scatter,
) -> Vec<(f64, usize)> {
    let mut found: Vec<(f64, usize)> = linears
        .iter()
        .zip(&group.ln_prior)
        .map(|(linear, ln_prior)| match linear {
            Some(linear) => {
                let Evidence { ln, factor } = linear.evidence(shift, Some(covariance), scatter);
                (ln_prior + ln, factor)
            }
            None => (f64::NEG_INFINITY, 3),
        })
        .collect();
    let all: Vec<f64> = found.iter().map(|(ln, _)| *ln).collect();
    let all = ln_sum(&all);
    if all.is_finite() {
        found.iter_mut().for_each(|(ln, _)| *ln -= all);
    }
    found
}

/// What a group says of the shared unknowns, each hypothesis by its weight; precision and precision times place.
fn message(
    linears: &[Option<Linear>],
    found: &[(f64, usize)],
    at: &DVector<f64>,
) -> Option<(DMatrix<f64>, DVector<f64>)> {
    const SMALL: f64 = 1e-4;
    let k = at.len();
    let (mut precision, mut place) = (DMatrix::zeros(k, k), DVector::zeros(k));
    for (linear, (ln, factor)) in linears.iter().zip(found) {
        let weight = ln.exp();
        if weight < SMALL {
            continue;
        }
        let (own, shift) = linear.as_ref()?.information(*factor)?;
        place += weight * (shift + &own * at);
        precision += weight * own;
    }
    Some((precision, place))
}

/// A normal prior of the active unknowns.
struct Gaussian {
    mean: DVector<f64>,
    active: Vec<usize>,
    /// Of the active ones.
    precision: DMatrix<f64>,
    ln_det: f64,
    size: usize,
}

impl Gaussian {
    fn of(mean: &DVector<f64>, covariance: &DMatrix<f64>, active: &[usize]) -> Self {
        let n = active.len();
        let scale: Vec<f64> = active.iter().map(|place| covariance[(*place, *place)].sqrt()).collect();
        let mut correlation =
            DMatrix::from_fn(n, n, |i, j| covariance[(active[i], active[j])] / (scale[i] * scale[j]));
        for i in 0..n {
            correlation[(i, i)] += 1e-9;
        }
        let ln_scale: f64 = scale.iter().map(|s| s.ln()).sum();
        let (inverse, ln_det) = match correlation.cholesky() {
            Some(root) => {
                let ln_det = 2.0 * root.l_dirty().diagonal().iter().map(|l| l.ln()).sum::<f64>();
                (root.inverse(), ln_det)
            }
            None => (DMatrix::identity(n, n), 0.0),
        };
        let precision = DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] / (scale[i] * scale[j]));
        Self {
            mean: mean.clone(),
            active: active.to_vec(),
            precision,
            ln_det: ln_det + 2.0 * ln_scale,
            size: mean.len(),
        }
    }

    /// Shift from `at` and covariance with all messages but one.
    fn joined(
        &self,
        at: &DVector<f64>,
        messages: &[Option<(DMatrix<f64>, DVector<f64>)>],
        without: Option<usize>,
    ) -> (DVector<f64>, DMatrix<f64>) {
        let n = self.active.len();
        let offset = DVector::from_fn(n, |i, _| self.mean[self.active[i]] - at[self.active[i]]);
        let mut precision = self.precision.clone();
        let mut right = &self.precision * offset;
        let inactive_at = DVector::from_fn(self.size, |i, _| at[i]);
        for (index, message) in messages.iter().enumerate() {
            let Some((own, place)) = message.as_ref().filter(|_| Some(index) != without) else { continue };
            let shift = place - own * &inactive_at;
            for i in 0..n {
                right[i] += shift[self.active[i]];
                for j in 0..n {
                    precision[(i, j)] += own[(self.active[i], self.active[j])];
                }
            }
        }
        let mut shift = DVector::zeros(self.size);
        let mut covariance = DMatrix::zeros(self.size, self.size);
        let scale: Vec<f64> = (0..n).map(|i| 1.0 / precision[(i, i)].max(f64::MIN_POSITIVE).sqrt()).collect();
        let scaled = DMatrix::from_fn(n, n, |i, j| precision[(i, j)] * scale[i] * scale[j]);
        if let Some(root) = scaled.cholesky() {
            let inverse = root.inverse();
            let inverse = DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] * scale[i] * scale[j]);
            let solved = &inverse * right;
            for i in 0..n {
                shift[self.active[i]] = solved[i];
                for j in 0..n {
                    covariance[(self.active[i], self.active[j])] = inverse[(i, j)];
                }
            }
        }
        (shift, covariance)
    }

    /// ln density at `at + shift`, and half ln determinant of a covariance of the active ones.
    fn ln_density(&self, at: &DVector<f64>) -> f64 {
        let n = self.active.len();
        let away = DVector::from_fn(n, |i, _| at[self.active[i]] - self.mean[self.active[i]]);
        -0.5 * (away.dot(&(&self.precision * &away)) + self.ln_det)
    }

    fn half_ln_det(&self, covariance: &DMatrix<f64>) -> f64 {
        let n = self.active.len();
        let scale: Vec<f64> = self.active.iter().map(|i| covariance[(*i, *i)].max(1e-300).sqrt()).collect();
        let scaled = DMatrix::from_fn(n, n, |i, j| {
            covariance[(self.active[i], self.active[j])] / (scale[i] * scale[j])
        });
        let ln_scale: f64 = scale.iter().map(|s| s.ln()).sum();
        scaled
            .cholesky()
            .map_or(ln_scale, |root| root.l_dirty().diagonal().iter().map(|l| l.ln()).sum::<f64>() + ln_scale)
    }
}

/// ln evidence by Laplace's approximation about the joint estimate; factors of 2π cancel.
fn laplace(
    prior: &Gaussian,
    groups: &[OnBench],
    linears: &[Vec<Option<Linear>>],
    at: &DVector<f64>,
    shift: &DVector<f64>,
    covariance: &DMatrix<f64>,
    scatter: &Scatter,
) -> f64 {
    let data: f64 = groups
        .iter()
        .zip(linears)
        .map(|(group, linears)| {
            let each: Vec<f64> = linears
                .iter()
                .zip(&group.ln_prior)
                .map(|(linear, ln_prior)| {
                    let own =
                        linear.as_ref().map_or(f64::NEG_INFINITY, |l| l.evidence(shift, None, scatter).ln);
                    own + ln_prior
                })
                .collect();
            ln_sum(&each)
        })
        .sum();
    data + prior.ln_density(&(at + shift)) + prior.half_ln_det(covariance)
}

/// The class's scatter, learned from the groups whose tables are likely right.
pub(crate) fn learned(benches: &[Fitted], before: &Scatter) -> Scatter {
    let mut counts: Vec<f64> = before.ln_shares.iter().map(|ln| 4.0 * ln.exp()).collect();
    for fit in benches {
        for (ln_slips, factors) in fit.ln_slips.iter().zip(&fit.factors) {
            for (ln, factor) in ln_slips.iter().zip(factors) {
                counts[*factor] += ln.exp();
            }
        }
    }
    let total: f64 = counts.iter().sum();
    // neighbours share: the likeliest factor of a few rows is not the factor
    let smooth: Vec<f64> = (0..FACTORS.len())
        .map(|i| {
            let near = |j: Option<&f64>| j.copied().unwrap_or(0.0);
            0.5 * counts[i] + 0.25 * (near(counts.get(i + 1)) + i.checked_sub(1).map_or(0.0, |j| counts[j]))
        })
        .collect();
    let total = smooth.iter().sum::<f64>().max(0.1 * total);
    Scatter {
        ln_shares: smooth.iter().map(|count| (count / total).max(1e-4).ln()).collect(),
        ..before.clone()
    }
}
