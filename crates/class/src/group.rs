//! One group, both stages joined: its readings' hypotheses with its ways of working, and what stays of them.

use std::collections::BTreeMap;

use nalgebra::DVector;

use crate::bench::{Judged, OnBench, is_possible};
use crate::physics::{BenchPhysics, RightField};
use crate::reading::{Mended, ReadingSlip};
use crate::rows::{GroupRows, Scatter, predicted};
use crate::slips::Where;
use crate::working::{FieldStep, Inputs, Own, ResultStep, Sum, Variant, Work, ln_likelihood, ln_sum, sum};

/// A slip and where it stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct SlipAt {
    pub(crate) code: &'static str,
    pub(crate) place: Where,
    /// Places of rows within the group.
    pub(crate) rows: Option<Vec<usize>>,
}

/// One explanation of a group's table and claim.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    /// None made: no slip.
    pub(crate) slips: Vec<SlipAt>,
    /// Whether it stands for what no slip explains.
    pub(crate) is_unlisted: bool,
    /// Posterior probability.
    pub(crate) probability: f64,
    /// Place among the group's slips of reading.
    pub(crate) reading: usize,
    /// Singles that make up the way of working.
    pub(crate) works: Vec<usize>,
    /// Whether the sum took the readings as they are written.
    pub(crate) is_carried: bool,
    /// All that is predicted of what was observed.
    print: Vec<f64>,
}

/// A group as the second stage needs it.
pub(crate) struct Second<'a> {
    pub(crate) bench: Option<&'a BenchPhysics>,
    pub(crate) on_bench: &'a OnBench,
    pub(crate) own: &'a Own,
    pub(crate) works: &'a [Work],
    pub(crate) scatter: &'a Scatter,
    pub(crate) is_radius: bool,
}

/// ln of a hypothesis of reading below the best at which the second stage leaves it.
const LEFT: f64 = 16.0;
/// ln by which a single slip of working may miss before two at once are tried.
const MISSED: f64 = 12.0;
/// A field that misses the column by more is not that field, whatever the rounding.
const FAR: f64 = 0.08;
/// Two at once beyond the product of their priors: who makes one slip makes another more easily than not.
const TOGETHER: f64 = 1.0;

struct Found {
    ln: f64,
    reading: usize,
    works: Vec<usize>,
    is_carried: bool,
    sum: Sum,
    work: Work,
}

impl Second<'_> {
    /// What stays, likeliest first.
    ///
    /// - **Takes** the ln posterior of the slips of reading, from the first stage.
    pub(crate) fn candidates(&self, ln_readings: &[f64], judged: Option<&Judged>) -> Vec<Candidate> {
        let top = ln_readings.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let readings: Vec<usize> =
            (0..ln_readings.len()).filter(|i| *i == 0 || ln_readings[*i] > top - LEFT).collect();
        let singles: Vec<usize> = self.judgeable();
        let mut found = Vec::new();
        for &reading in &readings {
            for (inputs, is_carried) in self.inputs(reading, judged) {
                let ln = ln_readings[reading] + if is_carried.1 { 0.5_f64.ln() } else { 0.0 };
                for &work in &singles {
                    self.try_work(&self.works[work], &[work], &inputs, is_carried.0, reading, ln, &mut found);
                }
            }
        }
        let best = found.iter().map(|found| found.ln).fold(f64::NEG_INFINITY, f64::max);
        if self.own.has_any() && best < self.perfect() - MISSED {
            self.pairs(&readings, ln_readings, judged, &singles, &mut found);
        }
        self.gathered(found, judged)
    }

    fn pairs(
        &self,
        readings: &[usize],
        ln_readings: &[f64],
        judged: Option<&Judged>,
        singles: &[usize],
        found: &mut Vec<Found>,
    ) {
        let most = readings.iter().copied().max_by(|a, b| ln_readings[*a].total_cmp(&ln_readings[*b]));
        for reading in readings.iter().copied().filter(|r| *r == 0 || Some(*r) == most) {
            for (inputs, is_carried) in self.inputs(reading, judged) {
                let ln = ln_readings[reading] + if is_carried.1 { 0.5_f64.ln() } else { 0.0 };
                for (place, &first) in singles.iter().enumerate().skip(1) {
                    for &second in singles.iter().skip(place + 1) {
                        let Some(work) = self.works[first].with(&self.works[second]) else { continue };
                        let ln = ln + f64::ln(TOGETHER);
                        self.try_work(&work, &[first, second], &inputs, is_carried.0, reading, ln, found);
                    }
                }
            }
        }
    }

    /// ln density of a table that follows one right way exactly.
    fn perfect(&self) -> f64 {
        let own = self.own;
        let of = |column: &Option<Vec<crate::working::LnWritten>>| {
            column.iter().flatten().map(|own| own.ln).collect::<Vec<f64>>()
        };
        let claim = own.claim.or(own.ratio).map_or(0.0, |claim| claim.ln);
        let sum =
            Sum { field: of(&own.field), speed: of(&own.speed), mass: of(&own.mass), claims: vec![claim] };
        ln_likelihood(&sum, own, &Work::right(1.0), 0.0, self.bench.is_some()) + 0.75_f64.ln()
    }

    /// Ways of working that change something of what the group wrote, and the right one first.
    fn judgeable(&self) -> Vec<usize> {
        if !self.own.has_any() {
            return vec![0];
        }
        let inputs = inputs_of(&self.on_bench.rows.written, &self.on_bench.rows.written_d, 0.0);
        let fields = self.right_fields(&inputs);
        let Some((first, per_ampere, _)) = fields.first() else { return vec![0] };
        let print = |work: &Work, variant: Variant| {
            self.print(&sum(&inputs, self.own, work, first, *per_ampere, variant), work)
        };
        let right = print(&self.works[0], Variant::First);
        let differs = |work: &Work| {
            work.is_unlisted()
                || print(work, Variant::First)
                    .iter()
                    .zip(&right)
                    .any(|(a, b)| (a - b).abs().max(0.0) >= 2e-3 || a.is_nan() != b.is_nan())
                || work.speeds.len() > 1 && self.own.speed.is_some()
        };
        (0..self.works.len()).filter(|i| *i == 0 || differs(&self.works[*i])).collect()
    }

    /// ln B of each row by each right way, the field of one ampere, and ln of the way's share.
    fn right_fields(&self, inputs: &Inputs) -> Vec<(Vec<f64>, f64, f64)> {
        let Some(bench) = self.bench else {
            // no bench tells the field: what the group wrote is taken
            let own =
                self.own.field.as_ref().map(|field| field.iter().map(|own| own.ln).collect::<Vec<f64>>());
            let field = own.unwrap_or_else(|| vec![0.0; inputs.voltage.len()]);
            return vec![(field, 0.0, 0.0)];
        };
        let share = -(bench.right.len().max(1) as f64).ln();
        let of = |right: &RightField| {
            let field = inputs
                .current
                .iter()
                .map(|ln_i| (right.per_ampere * ln_i.exp() + right.at_zero).max(1e-12).ln());
            (field.collect(), right.per_ampere.ln(), share)
        };
        bench.right.iter().map(of).collect()
    }

    /// What the sum may have started from under one hypothesis; whether as written, and whether that is one of two.
    fn inputs(&self, reading: usize, judged: Option<&Judged>) -> Vec<(Inputs, (bool, bool))> {
        let rows = &self.on_bench.rows;
        let written = inputs_of(&rows.written, &rows.written_d, 0.0);
        if reading == 0 {
            return vec![(written, (true, false))];
        }
        let (mended, unsure) = self.mended(reading, judged);
        vec![(written, (true, true)), (inputs_of(&mended.0, &mended.1, unsure), (false, true))]
    }

    /// Readings and diameters with a slip taken back, and how unsure that leaves the mean mass, relative.
    pub(crate) fn mended(&self, reading: usize, judged: Option<&Judged>) -> ((Mended, Vec<f64>), f64) {
        let (rows, slip) = (&self.on_bench.rows, &self.on_bench.slips[reading]);
        let mended = rows.mended(slip);
        let mut diameters: Vec<f64> = (0..rows.len())
            .map(|row| (rows.written_d[row] / mended.factor[row] - mended.added[row]) / mended.ratio[row])
            .collect();
        let mut unsure = 0.0;
        if let (Some(bench), Some(judged)) = (self.bench, judged) {
            let fit = &judged.fits[judged.best()];
            if let Some(linear) = predicted(bench, &fit.theta, rows, slip, self.scatter) {
                let none = DVector::zeros(bench.shared.len());
                let free = linear.free_estimate(&none, &fit.covariance, 3);
                let shift = &linear.free * free;
                for (row, d) in diameters.iter_mut().enumerate() {
                    *d *= (-shift[row]).exp();
                }
                if !mended.free.is_empty() {
                    unsure = 0.008;
                }
                for row in (0..rows.len()).filter(|row| mended.variance[*row] > 0.01) {
                    diameters[row] *= (-linear.residual[row]).exp();
                    unsure = 0.008;
                }
            }
        }
        diameters.iter_mut().for_each(|d| *d = d.max(1e-6));
        ((mended, diameters), unsure)
    }

    #[allow(clippy::too_many_arguments)]
    fn try_work(
        &self,
        work: &Work,
        works: &[usize],
        inputs: &Inputs,
        is_carried: bool,
        reading: usize,
        ln: f64,
        found: &mut Vec<Found>,
    ) {
        let mut each: Vec<(f64, Sum)> = Vec::new();
        for (field, per_ampere, ln_share) in self.right_fields(inputs) {
            if self.is_far(work, &field, per_ampere) {
                continue;
            }
            for (variant, share) in variants(self.own, work) {
                let sum = sum(inputs, self.own, work, &field, per_ampere, variant);
                let own = ln_likelihood(&sum, self.own, work, inputs.unsure, self.bench.is_some());
                each.push((own + ln_share + f64::ln(share), sum));
            }
        }
        let all: Vec<f64> = each.iter().map(|(ln, _)| *ln).collect();
        let total = ln_sum(&all);
        if !total.is_finite() {
            return;
        }
        let Some((_, sum)) = each.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
        found.push(Found {
            ln: ln + total + work.prior.ln(),
            reading,
            works: works.to_vec(),
            is_carried,
            sum,
            work: work.clone(),
        });
    }

    /// Whether the column is so far from what this way would make of it that nothing needs computing.
    fn is_far(&self, work: &Work, field: &[f64], per_ampere: f64) -> bool {
        let (Some(own), Some(_)) = (&self.own.field, self.bench) else { return false };
        let factor = match work.field {
            FieldStep::Unlisted => return false,
            FieldStep::Right => 0.0,
            FieldStep::Times(factor) => factor,
            FieldStep::PerAmpere => {
                return own.iter().any(|own| (own.ln - per_ampere - work.column).abs() > FAR);
            }
        };
        let rows = own.len().max(1) as f64;
        let away: f64 = own.iter().zip(field).map(|(own, field)| own.ln - field - factor - work.column).sum();
        (away / rows).abs() > FAR
    }

    /// What is predicted of everything that the group wrote.
    fn print(&self, sum: &Sum, work: &Work) -> Vec<f64> {
        let mut print = Vec::new();
        if self.own.field.is_some() && self.bench.is_some() {
            print.extend(&sum.field);
        }
        if let Some(own) = &self.own.speed {
            let mean = |factor: f64| {
                own.iter().zip(&sum.speed).map(|(own, v)| own.ln - v - factor).sum::<f64>().abs()
            };
            let factor =
                work.speeds.iter().copied().min_by(|a, b| mean(*a).total_cmp(&mean(*b))).unwrap_or(0.0);
            print.extend(sum.speed.iter().map(|v| v + factor));
        }
        if self.own.mass.is_some() {
            print.extend(&sum.mass);
        }
        if self.own.claim.is_some() || self.own.ratio.is_some() {
            print.extend(&sum.claims);
        }
        print
    }

    fn gathered(&self, found: Vec<Found>, judged: Option<&Judged>) -> Vec<Candidate> {
        let all: Vec<f64> = found.iter().map(|found| found.ln).collect();
        let total = ln_sum(&all);
        let mut by_key: BTreeMap<(Vec<SlipAt>, bool), (f64, f64, Candidate)> = BTreeMap::new();
        for found in found {
            let probability = (found.ln - total).exp();
            if probability < 1e-9 {
                continue;
            }
            let slips = self.slips(&self.on_bench.slips[found.reading], &found.work);
            let is_unlisted = found.work.is_unlisted();
            let candidate = Candidate {
                slips: slips.clone(),
                is_unlisted,
                probability,
                reading: found.reading,
                works: found.works.clone(),
                is_carried: found.is_carried,
                print: self.print(&found.sum, &found.work),
            };
            by_key
                .entry((slips, is_unlisted))
                .and_modify(|(sum, best, kept)| {
                    *sum += probability;
                    if probability > *best {
                        (*best, *kept) = (probability, candidate.clone());
                    }
                })
                .or_insert((probability, probability, candidate));
        }
        let mut candidates: Vec<Candidate> = by_key
            .into_values()
            .map(|(sum, _, candidate)| Candidate { probability: sum, ..candidate })
            .collect();
        candidates.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        self.side_by_side(&mut candidates, judged);
        candidates
    }

    fn slips(&self, reading: &ReadingSlip, work: &Work) -> Vec<SlipAt> {
        let read =
            reading.parts().into_iter().map(|(code, rows)| SlipAt { code, place: Where::Reading, rows });
        let worked = work.slips.iter().map(|(code, place)| SlipAt { code, place: *place, rows: None });
        let mut slips: Vec<SlipAt> = read.chain(worked).collect();
        slips.sort();
        slips
    }

    /// Candidates that predict the same rows and claim share what they have, in equal parts.
    fn side_by_side(&self, candidates: &mut [Candidate], judged: Option<&Judged>) {
        const SAME: f64 = 1.5e-3;
        const WORTH: f64 = 1e-4;
        let residuals: Vec<Option<Vec<f64>>> =
            candidates.iter().map(|candidate| self.residuals(candidate.reading, judged)).collect();
        let same = |a: usize, b: usize| -> bool {
            let (x, y) = (&candidates[a], &candidates[b]);
            if x.is_unlisted || y.is_unlisted || x.slips.len() != y.slips.len() || x.slips.is_empty() {
                return false;
            }
            let close = |p: &[f64], q: &[f64]| {
                p.len() == q.len() && p.iter().zip(q).all(|(p, q)| (p - q).abs() < SAME)
            };
            if !close(&x.print, &y.print) {
                return false;
            }
            if x.reading == y.reading || self.is_the_radius_pair(x, y) {
                return true;
            }
            match (&residuals[a], &residuals[b]) {
                (Some(p), Some(q)) => {
                    let is_exact = |c: &Candidate| {
                        c.slips.iter().all(|slip| slip.code != "half-current" && slip.code != "total-current")
                    };
                    is_exact(x) == is_exact(y)
                        && close(p, q)
                        && x.slips.iter().map(|s| s.code).ne(y.slips.iter().map(|s| s.code))
                }
                _ => false,
            }
        };
        let count = candidates.len();
        let mut class: Vec<usize> = (0..count).collect();
        for a in 0..count {
            for b in a + 1..count {
                if class[b] == b && candidates[a].probability > WORTH && same(a, b) {
                    class[b] = class[a];
                }
            }
        }
        let mut shares: Vec<f64> = vec![0.0; count];
        for a in 0..count {
            let members: Vec<usize> = (0..count).filter(|b| class[*b] == class[a]).collect();
            shares[a] =
                members.iter().map(|b| candidates[*b].probability).sum::<f64>() / members.len() as f64;
        }
        for (candidate, share) in candidates.iter_mut().zip(shares) {
            candidate.probability = share;
        }
        candidates.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    }

    fn residuals(&self, reading: usize, judged: Option<&Judged>) -> Option<Vec<f64>> {
        let (bench, judged) = (self.bench?, judged?);
        let theta = &judged.fits[judged.best()].theta;
        let linear =
            predicted(bench, theta, &self.on_bench.rows, &self.on_bench.slips[reading], self.scatter)?;
        Some(linear.residual.iter().copied().collect())
    }

    /// In a radius table: the diameter written, or the current of both coils. Nothing in the rows tells them apart but a
    /// ring that does not fit the bulb, or a current beyond the coils' limit.
    fn is_the_radius_pair(&self, a: &Candidate, b: &Candidate) -> bool {
        let (Some(bench), true) = (self.bench, self.is_radius) else { return false };
        let codes = |c: &Candidate| -> Vec<&'static str> { c.slips.iter().map(|slip| slip.code).collect() };
        let (mut x, y) = (codes(a), codes(b));
        let swap = |from: &str, to: &'static str, list: &mut Vec<&'static str>| {
            list.iter_mut().filter(|code| **code == from).for_each(|code| *code = to);
        };
        let had = x.contains(&"diameter-as-radius") && y.contains(&"total-current")
            || x.contains(&"total-current") && y.contains(&"diameter-as-radius");
        if x.contains(&"diameter-as-radius") {
            swap("diameter-as-radius", "total-current", &mut x);
        } else {
            swap("total-current", "diameter-as-radius", &mut x);
        }
        let (mut x, mut y) = (x, y);
        x.sort_unstable();
        y.sort_unstable();
        had && x == y
            && is_possible(bench, self.on_bench, a.reading)
            && is_possible(bench, self.on_bench, b.reading)
    }

    /// Claim of a way of working over the claim without one of its slips; none where rows differ.
    pub(crate) fn working_factor(
        &self,
        candidate: &Candidate,
        slip: &SlipAt,
        judged: Option<&Judged>,
    ) -> Option<f64> {
        let is_it = |place: &usize| self.works[*place].slips.iter().any(|(code, _)| *code == slip.code);
        let joined = |places: &[usize]| -> Option<Work> {
            places.iter().try_fold(Work::right(1.0), |work, place| work.with(&self.works[*place]))
        };
        let with = joined(&candidate.works)?;
        let rest: Vec<usize> = candidate.works.iter().copied().filter(|place| !is_it(place)).collect();
        let without = joined(&rest)?;
        if slip.place == Where::Reading {
            // a column in another unit changes the result only where it is used as it stands
            let power = if with.field_once { 1.0 } else { 2.0 };
            return Some(if with.column_is_used { (power * with.column).exp() } else { 1.0 });
        }
        let inputs =
            self.inputs(candidate.reading, judged).into_iter().find(|(_, c)| c.0 == candidate.is_carried)?.0;
        let (field, per_ampere, _) = self.right_fields(&inputs).into_iter().next()?;
        // without the group's own columns: they hold the slip already
        let bare = Own { field: None, mass: None, speed: None, ..self.own.clone() };
        let of = |work: &Work| sum(&inputs, &bare, work, &field, per_ampere, Variant::First);
        let (with_slip, right) = (of(&with), of(&without));
        let is_result = !matches!(with.result, ResultStep::Own | ResultStep::AcceptedSpeed);
        let each: Vec<f64> = with_slip.mass.iter().zip(&right.mass).map(|(a, b)| a - b).collect();
        let low = each.iter().copied().fold(f64::INFINITY, f64::min);
        let high = each.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high - low > 0.01 && !is_result {
            return None;
        }
        let factor = (with_slip.claims.first()? - right.claims.first()?).exp();
        factor.is_finite().then_some(factor)
    }

    /// Mass as written over mass with the slip of reading mended; none where rows differ.
    pub(crate) fn reading_factor(&self, candidate: &Candidate, judged: Option<&Judged>) -> Option<f64> {
        let rows: &GroupRows = &self.on_bench.rows;
        let ((mended, diameters), _) = self.mended(candidate.reading, judged);
        let each: Vec<f64> = (0..rows.len())
            .map(|row| {
                2.0 * (rows.written_d[row] / diameters[row]).ln()
                    + 2.0 * (rows.written.current[row] / mended.current[row]).ln()
                    - (rows.written.voltage[row] / mended.voltage[row]).ln()
            })
            .collect();
        let low = each.iter().copied().fold(f64::INFINITY, f64::min);
        let high = each.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (high - low <= 0.01).then(|| (each.iter().sum::<f64>() / each.len().max(1) as f64).exp())
    }
}

/// Ways in which the result may rightly have been made, with their shares.
fn variants(own: &Own, work: &Work) -> Vec<(Variant, f64)> {
    use arcmass_notebook::ClassMethod::Slope;
    if own.claim.is_none() && own.ratio.is_none() {
        return vec![(Variant::First, 1.0)];
    }
    match (own.method, work.result) {
        (_, ResultStep::WeightsNotSquared) => vec![(Variant::First, 0.6), (Variant::Second, 0.4)],
        (Slope, _) => vec![(Variant::First, 0.6), (Variant::Second, 0.4)],
        _ if own.u_relative.is_some() => {
            vec![(Variant::First, 0.8), (Variant::Second, 0.1), (Variant::Third, 0.1)]
        }
        _ => vec![(Variant::First, 0.9), (Variant::Second, 0.1)],
    }
}

fn inputs_of(mended: &Mended, diameters: &[f64], unsure: f64) -> Inputs {
    Inputs {
        voltage: mended.voltage.iter().map(|v| v.ln()).collect(),
        current: mended.current.iter().map(|i| i.ln()).collect(),
        radius: diameters.iter().map(|d| (0.5 * d).ln()).collect(),
        unsure,
    }
}
