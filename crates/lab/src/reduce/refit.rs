//! By how much the mass moves when effects are left out: each model is fitted anew without them.

use arcmass_fit::joint::{self, Joint, Prior};
use nalgebra::{DMatrix, DVector};

use super::mixture::{Mixture, Part, precision};
use crate::desk::LabError;
use crate::model::Unknown;

/// Steps of one fit with its derivatives kept.
const MOST_STEPS: usize = 30;
/// Largest step, in units of the unknown's own uncertainty, at which a fit is done.
const SETTLED: f64 = 0.0005;
/// Rounds of derivatives made anew, and the change of ln m below which another round is worth nothing.
const MOST_ROUNDS: usize = 8;
const STAYS: f64 = 1e-5;
/// Held further off than this, in u of what is held, the derivatives are made anew where the first fit ends …
const FAR: f64 = 3.0;
/// … or where ln m moves by more than this: a field across the axis bends the beam by its square.
const MATTERS: f64 = 2e-4;

/// The told models, each fitted to the end, to be fitted again without this or that.
pub(super) struct Refits<'a, 'b> {
    parts: Vec<Refit<'a, 'b>>,
}

struct Refit<'a, 'b> {
    weight: f64,
    part: &'b Part<'a>,
    /// The part's own fit; made anew where a straight line had led to it and the model bends on the way.
    joint: Joint,
}

impl<'a, 'b> Refits<'a, 'b> {
    pub(super) fn of(mixture: &'b Mixture<'a>) -> Self {
        let refit = |(weight, part): (f64, &'b Part<'a>)| {
            let mut refit = Refit { weight, part, joint: part.joint.clone() };
            match refit.settled(part.joint.estimate.clone(), &[]) {
                Some((estimate, at)) => (refit.joint.estimate, refit.joint.at) = (estimate, at),
                None => refit.joint = refit.in_full(&part.joint.estimate, &[]).unwrap_or(refit.joint),
            }
            refit
        };
        Self { parts: mixture.told().into_iter().map(refit).collect() }
    }

    /// Change of ln m when these unknowns are taken into account: the fit of every told model minus the fit of the same model with
    /// them held at 0, by the models' weights. Both are the same kind of fit, from the same readings.
    pub(super) fn shift(&self, left_out: &[Unknown]) -> f64 {
        self.parts.iter().map(|refit| refit.weight * refit.shift(left_out)).sum()
    }
}

impl Refit<'_, '_> {
    fn shift(&self, left_out: &[Unknown]) -> f64 {
        let held: Vec<usize> = left_out
            .iter()
            // a bench without a field has no ring: its size is no effect that can be left out
            .filter(|own| **own != Unknown::FieldPerAmpere)
            .filter_map(|own| self.part.model.unknowns.place(*own))
            .collect();
        let mass = self.part.mass_place();
        let Some(line) = self.along_the_line(&held) else { return 0.0 };
        // no ring follows from the bench without the effect: as far as a straight line leads
        let without = self.without(&line, &held).unwrap_or(line);
        self.joint.estimate[mass] - without[mass]
    }

    /// The covariance of what is held, inverted.
    fn weight_of(&self, held: &[usize]) -> Option<DMatrix<f64>> {
        let covariance = &self.joint.covariance;
        let block = DMatrix::from_fn(held.len(), held.len(), |i, j| covariance[(held[i], held[j])]);
        if held.is_empty() { None } else { block.try_inverse() }
    }

    /// What is held at 0, minus where the fit has it.
    fn change(&self, held: &[usize]) -> DVector<f64> {
        DVector::from_iterator(held.len(), held.iter().map(|place| -self.joint.estimate[*place]))
    }

    /// How far off 0 is, in u of all that is held together.
    fn distance(&self, held: &[usize]) -> Option<f64> {
        let change = self.change(held);
        Some((self.weight_of(held)? * &change).dot(&change).max(0.0).sqrt())
    }

    /// Where the straight line of the posterior leads with some unknowns at 0: a start for the fit.
    fn along_the_line(&self, held: &[usize]) -> Option<DVector<f64>> {
        let pull = self.weight_of(held)? * self.change(held);
        let mut place = self.joint.estimate.clone();
        for (own, by) in held.iter().zip(pull.iter()) {
            place.axpy(*by, &self.joint.covariance.column(*own), 1.0);
        }
        held.iter().for_each(|own| place[*own] = 0.0);
        Some(place)
    }

    /// The best estimate with some unknowns held where the start has them; none where no ring follows.
    fn without(&self, start: &DVector<f64>, held: &[usize]) -> Option<DVector<f64>> {
        let mass = self.part.mass_place();
        let first = self.steps(&self.joint.at.jacobian, start.clone(), held);
        let is_far = self.distance(held).is_none_or(|distance| distance > FAR);
        let matters =
            |place: &DVector<f64>| (place[mass] - self.joint.estimate[mass]).abs() > MATTERS || is_far;
        if let Some(place) = first {
            if !matters(&place) {
                return Some(place);
            }
            if let Some((place, _)) = self.settled(place, held) {
                return Some(place);
            }
        }
        self.in_full(start, held).map(|joint| joint.estimate)
    }

    /// Steps with derivatives made anew where the last ones settled, until the mass stays: with fixed derivatives they settle where
    /// these are at right angles to the residuals, which is the best estimate only where they belong to it.
    fn settled(&self, start: DVector<f64>, held: &[usize]) -> Option<(DVector<f64>, joint::Linearised)> {
        let mass = self.part.mass_place();
        let mut place = start;
        for _ in 0..MOST_ROUNDS {
            let at = self.part.fitted.linearise(&place).ok()?;
            let next = self.steps(&at.jacobian, place.clone(), held)?;
            let moved = (next[mass] - place[mass]).abs();
            place = next;
            if moved < STAYS {
                return Some((place, at));
            }
        }
        None
    }

    /// A whole fit, with derivatives made anew at every step.
    fn in_full(&self, start: &DVector<f64>, held: &[usize]) -> Option<Joint> {
        let mut priors = self.part.joint.priors.clone();
        for place in held {
            // held: known a million times better than the readings could tell
            *priors.get_mut(*place)? = Prior::Normal { mean: 0.0, u: 1e-6 * self.part.joint.u(*place) };
        }
        let model = &self.part.fitted;
        joint::fit::<LabError>(&priors, start.as_slice(), |theta| model.linearise(theta)).ok()
    }

    /// Gauss and Newton's steps with fixed derivatives; none where they do not settle.
    fn steps(&self, jacobian: &DMatrix<f64>, start: DVector<f64>, held: &[usize]) -> Option<DVector<f64>> {
        let joint = &self.joint;
        let free: Vec<usize> = (0..start.len()).filter(|place| !held.contains(place)).collect();
        let columns = jacobian.select_columns(&free);
        let mut information = columns.transpose() * &columns;
        for (own, place) in free.iter().enumerate() {
            information[(own, own)] += joint.priors.get(*place).map_or(0.0, |prior| precision(*prior));
        }
        // brought to a diagonal of 1 first: volts, teslas and metres stand side by side
        let scale = information.diagonal().map(|x| x.max(f64::MIN_POSITIVE).sqrt().recip());
        let scaled =
            DMatrix::from_fn(free.len(), free.len(), |i, j| information[(i, j)] * scale[i] * scale[j]);
        let root = scaled.cholesky()?;
        let mut place = start;
        for _ in 0..MOST_STEPS {
            let residuals = self.part.fitted.residuals(&place).ok()?;
            let mut slope = columns.transpose() * residuals;
            for (own, at) in free.iter().enumerate() {
                if let Some((mean, u)) = joint.priors.get(*at).and_then(|prior| prior.moments()) {
                    slope[own] += (place[*at] - mean) / (u * u);
                }
            }
            let step = root.solve(&slope.component_mul(&scale)).component_mul(&scale);
            let mut largest: f64 = 0.0;
            for (own, at) in free.iter().enumerate() {
                place[*at] -= step[own];
                largest = largest.max(step[own].abs() / joint.u(*at).max(f64::MIN_POSITIVE));
            }
            if largest < SETTLED {
                return Some(place);
            }
        }
        None
    }
}

/// Unknowns that only matter together: a value of one is answered by a value of the other, so that leaving out one alone says nothing.
pub(super) fn groups(mixture: &Mixture<'_>, unknowns: &[Unknown]) -> Vec<Vec<Unknown>> {
    /// Correlation after the readings beyond which two stand together.
    const TOGETHER: f64 = 0.9;
    let part = mixture.leading();
    let covariance = super::mixture::matched(part).covariance;
    let correlated =
        |a: Unknown, b: Unknown| match (part.model.unknowns.place(a), part.model.unknowns.place(b)) {
            (Some(i), Some(j)) => {
                let both = (covariance[(i, i)] * covariance[(j, j)]).sqrt();
                covariance[(i, j)].abs() > TOGETHER * both
            }
            _ => false,
        };
    let alike = |a: Unknown, b: Unknown| {
        if [a, b].contains(&Unknown::FieldPerAmpere) {
            return false;
        }
        let across = |own| matches!(own, Unknown::BackgroundX | Unknown::BackgroundY);
        (across(a) && across(b)) || correlated(a, b)
    };
    let mut groups: Vec<Vec<Unknown>> = Vec::new();
    for unknown in unknowns {
        let (mut joined, rest): (Vec<_>, Vec<_>) =
            groups.into_iter().partition(|group| group.iter().any(|own| alike(*own, *unknown)));
        let mut group: Vec<Unknown> = joined.drain(..).flatten().collect();
        group.push(*unknown);
        groups = rest;
        groups.push(group);
    }
    groups
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use rand::SeedableRng;
    use rand_pcg::Pcg64;

    use super::super::{alternatives, solve};
    use super::*;
    use crate::assume::Apparatus;
    use crate::bench;
    use crate::desk::Desk;
    use crate::model::Model;
    use crate::simulate::{DESIGNS, Outside, by_lot};

    /// Smaller shifts are not worth a digit: 0.01 %.
    const SMALL: f64 = 1e-4;

    /// A wide field across the axis acts by its square: such a model has two best values, and which of them a fit finds hangs on its start.
    fn is_two_valued(part: &Part<'_>) -> bool {
        part.what.is_some_and(|what| matches!(what.unknown, Unknown::BackgroundX | Unknown::BackgroundY))
    }

    /// ln m of a whole fit from where the model's own start is, its derivatives made anew at every step.
    fn fresh(part: &Part<'_>, left_out: &[Unknown]) -> f64 {
        let unknowns =
            part.fitted.unknowns.held(left_out).starting_at(Unknown::LogMass, part.joint.estimate[0]);
        let model = Model { unknowns, ..part.fitted.clone() };
        let (priors, start) = (model.unknowns.priors(), model.unknowns.start());
        let fit = joint::fit::<LabError>(&priors, &start, |theta| model.linearise(theta)).unwrap();
        fit.estimate[part.mass_place()]
    }

    /// Every shift against a whole fit from the start, its own derivatives at each step, with the effects known to be 0.
    fn check(design: usize, outside: Outside, seed: u64) {
        let made = by_lot(&DESIGNS[design], outside, &mut Pcg64::seed_from_u64(seed)).unwrap();
        let apparatus = Apparatus::of(&made.notebook.bench).unwrap();
        let photos = made.rings.as_ref().map_or(&[][..], |rings| &rings.photos);
        let desk = Desk::default();
        let solved = solve(bench::bench(&made.notebook, &apparatus, photos).unwrap(), &desk).unwrap();
        let alternatives = alternatives::weigh(&solved, Default::default(), &desk).unwrap();
        let mixture = Mixture::of(&solved, &alternatives, &desk).unwrap();
        let unknowns: Vec<Unknown> = mixture.parts[0].model.unknowns.iter().map(|own| own.1).collect();
        let refits = Refits::of(&mixture);
        let mut seen = 0;
        for group in groups(&mixture, &unknowns) {
            if group.contains(&Unknown::LogMass) || group.contains(&Unknown::FieldPerAmpere) {
                continue;
            }
            let (mut found, mut expected) = (0.0, 0.0);
            for refit in refits.parts.iter().filter(|refit| !is_two_valued(refit.part)) {
                found += refit.weight * refit.shift(&group);
                expected += refit.weight * (fresh(refit.part, &[]) - fresh(refit.part, &group));
            }
            assert!(
                (found - expected).abs() < 0.1 * expected.abs() + SMALL,
                "{}, {outside:?}, seed {seed}, {group:?}: {found} against {expected}",
                DESIGNS[design].name
            );
            seen += usize::from(expected.abs() > 2.0 * SMALL);
        }
        assert!(seen > 0, "nothing moves the mass of this bench");
    }

    #[test]
    fn every_shift_is_a_refit() {
        for (seed, design) in (300..).zip(0..DESIGNS.len()) {
            check(design, Outside::Nothing, seed);
        }
        check(1, Outside::VoltageOffset(30.0), 310);
        check(4, Outside::StrayAxial(150e-6), 311);
    }
}
