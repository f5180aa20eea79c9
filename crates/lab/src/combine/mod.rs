//! The job `combine`: several notebooks (benches, days, terms) to one mass, what they share kept shared.

mod causes;
mod chart;
pub mod document;

use arcmass_fit::chi_squared_p_value;
use arcmass_notebook::Notebook;
use arcmass_quantity::{Caveat, print};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

use causes::{Part, is_shared};
use document::{BetweenSpread, CombinationDocument, Member, SharedCause};

use crate::desk::{Desk, LabError};
use crate::document::{CaveatEntry, InputHash, MadeBy, Q, ReductionDocument};
use crate::reduce::AcceptedMass;

/// One notebook with its result.
#[derive(Debug, Clone)]
pub struct Reduced {
    /// As given.
    pub folder: String,
    /// As read.
    pub notebook: Notebook,
    /// Its result.
    pub reduction: ReductionDocument,
}

/// Combines the masses of several notebooks.
///
/// Days of one bench are averaged first, with weights 1/(own² + τ_d²); then the benches, with 1/(own² + τ_b²); the spreads τ
/// are those that make chi-squared equal its degrees of freedom (Paule, Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377).
/// With W the weights, u² = Wᵀ (C + τ_d² + τ_b²) W, where C holds all that notebooks share: shared causes never change a
/// weight and never average away. With a spread, intervals are Student's with its few degrees of freedom.
///
/// - **Fails** with fewer than two notebooks.
pub fn combine(
    notebooks: &[Reduced],
    accepted: &AcceptedMass,
    desk: &Desk,
) -> Result<CombinationDocument, LabError> {
    if notebooks.len() < 2 {
        return Err(LabError::lacking(
            "command line",
            format!("at least two notebooks are needed, got {}", notebooks.len()),
            "give the folders of all of them, as in `arcmass combine spring autumn`",
        ));
    }
    let set = Set::of(notebooks);
    let solved = set.solve();
    let mass_kg = set.mass(&solved);
    let reference = accepted.compare(mass_kg);
    let charts = chart::charts(notebooks, &set.own_among_days(), solved.days);
    Ok(CombinationDocument {
        schema: "arcmass.combination/1".to_owned(),
        made_by: made_by(notebooks, desk),
        mass_kg,
        notebooks: set.members(notebooks, &solved),
        shared_causes: set.shared(notebooks, &solved),
        sentences: set.sentences(&solved, mass_kg, &charts),
        spread: set.spread(&solved),
        rule: causes::RULE.to_owned(),
        charts,
        reference,
        caveats: caveats(notebooks, &set),
    })
}

fn made_by(notebooks: &[Reduced], desk: &Desk) -> MadeBy {
    let mut made = desk.made_by(Vec::new());
    for one in notebooks {
        let name = one.folder.trim_end_matches('/');
        let inputs = one.reduction.made_by.inputs.iter();
        made.inputs.extend(
            inputs.map(|input| InputHash {
                file: format!("{name}/{}", input.file),
                sha256: input.sha256.clone(),
            }),
        );
    }
    made
}

/// The notebooks as numbers: masses relative to the first, parts of their uncertainty, and which bench each is of.
struct Set {
    scale_kg: f64,
    values: DVector<f64>,
    parts: Vec<Vec<Part>>,
    benches: Vec<usize>,
    bench_count: usize,
}

/// What came out, relative.
struct Solved {
    weights: DVector<f64>,
    mean: f64,
    variance: f64,
    /// Spread between days and between benches, if there is a way to tell.
    days: Option<f64>,
    between: Option<f64>,
    chi_squared: f64,
    /// Of the spread that decides; none where no spread is needed.
    freedom: Option<f64>,
}

impl Set {
    fn of(notebooks: &[Reduced]) -> Self {
        let scale_kg = notebooks.first().map_or(1.0, |one| one.reduction.mass_kg.value);
        let mut names: Vec<&str> = Vec::new();
        let benches = notebooks
            .iter()
            .map(|one| {
                let name = one.notebook.bench.name.as_str();
                names.iter().position(|other| *other == name).unwrap_or_else(|| {
                    names.push(name);
                    names.len() - 1
                })
            })
            .collect();
        Self {
            scale_kg,
            values: DVector::from_iterator(
                notebooks.len(),
                notebooks.iter().map(|one| one.reduction.mass_kg.value / scale_kg),
            ),
            parts: notebooks.iter().map(|one| causes::parts(&one.notebook, &one.reduction)).collect(),
            benches,
            bench_count: names.len(),
        }
    }

    fn len(&self) -> usize {
        self.values.len()
    }

    fn same_bench(&self, a: usize, b: usize) -> bool {
        self.benches.get(a) == self.benches.get(b)
    }

    /// Whether two notebooks share a line; relative parts count on each one's own mass.
    fn covariance(&self) -> DMatrix<f64> {
        DMatrix::from_fn(self.len(), self.len(), |a, b| {
            let scale = self.values[a] * self.values[b];
            let product = |x: &Part, y: &Part| scale * x.relative * y.relative;
            if a == b {
                return self.parts[a].iter().map(|part| product(part, part)).sum();
            }
            let of = |x: &Part| {
                self.parts[b].iter().find(|y| is_shared(x, y, self.same_bench(a, b))).map(|y| product(x, y))
            };
            self.parts[a].iter().filter_map(of).sum()
        })
    }

    /// Variance of each notebook that none of `others` shares.
    fn own(&self, place: usize, others: impl Fn(usize) -> bool) -> f64 {
        let shared = |part: &&Part| {
            (0..self.len()).filter(|other| *other != place && others(*other)).any(|other| {
                self.parts[other].iter().any(|own| is_shared(part, own, self.same_bench(place, other)))
            })
        };
        let own = self.parts[place].iter().filter(|part| !shared(part));
        self.values[place].powi(2) * own.map(|part| part.relative.powi(2)).sum::<f64>()
    }

    /// Standard uncertainty of each notebook without what the other days of its bench share, relative.
    fn own_among_days(&self) -> Vec<f64> {
        (0..self.len()).map(|place| self.own(place, |other| self.same_bench(place, other)).sqrt()).collect()
    }

    fn days_of(&self, bench: usize) -> Vec<usize> {
        (0..self.len()).filter(|place| self.benches.get(*place) == Some(&bench)).collect()
    }

    fn solve(&self) -> Solved {
        let own: Vec<f64> = self.own_among_days().iter().map(|u| u * u).collect();
        let groups: Vec<Vec<usize>> = (0..self.bench_count).map(|bench| self.days_of(bench)).collect();
        let days_freedom = self.len() - self.bench_count;
        let days = (days_freedom > 0).then(|| {
            excess(days_freedom as f64, |tau2| {
                groups.iter().map(|group| weighted(&self.values, &own, group, tau2).chi_squared).sum()
            })
        });
        let day_variance = days.unwrap_or(0.0);
        let within: Vec<Weighted> =
            groups.iter().map(|group| weighted(&self.values, &own, group, day_variance)).collect();
        // what a bench's mean has of its own against the other benches
        let bench_own: Vec<f64> = groups
            .iter()
            .zip(&within)
            .map(|(group, mean)| self.bench_variance(group, mean, day_variance))
            .collect();
        let means = DVector::from_iterator(within.len(), within.iter().map(|mean| mean.value));
        let all: Vec<usize> = (0..self.bench_count).collect();
        let freedom = (self.bench_count - 1) as f64;
        let between = (self.bench_count > 1)
            .then(|| excess(freedom, |tau2| weighted(&means, &bench_own, &all, tau2).chi_squared));
        let top = weighted(&means, &bench_own, &all, between.unwrap_or(0.0));
        let mut weights = DVector::zeros(self.len());
        for ((group, mean), bench_weight) in groups.iter().zip(&within).zip(&top.weights) {
            for (place, weight) in group.iter().zip(&mean.weights) {
                weights[*place] = bench_weight * weight;
            }
        }
        self.finish(weights, days, between)
    }

    fn bench_variance(&self, group: &[usize], mean: &Weighted, day_variance: f64) -> f64 {
        let foreign = |other: usize| !group.contains(&other);
        let mut variance = 0.0;
        for (a, wa) in group.iter().zip(&mean.weights) {
            variance += wa * wa * day_variance;
            for (b, wb) in group.iter().zip(&mean.weights) {
                variance += wa * wb * self.common(*a, *b, &foreign);
            }
        }
        variance
    }

    /// Covariance of two days of a bench without what foreign notebooks share too.
    fn common(&self, a: usize, b: usize, foreign: &impl Fn(usize) -> bool) -> f64 {
        let is_foreign = |part: &Part| {
            (0..self.len())
                .filter(|other| foreign(*other))
                .any(|other| self.parts[other].iter().any(|own| is_shared(part, own, false)))
        };
        let scale = self.values[a] * self.values[b];
        self.parts[a]
            .iter()
            .filter(|part| !is_foreign(part))
            .filter_map(|part| {
                let other = if a == b {
                    Some(part)
                } else {
                    self.parts[b].iter().find(|own| is_shared(part, own, true))
                };
                other.map(|other| scale * part.relative * other.relative)
            })
            .sum()
    }

    fn finish(&self, weights: DVector<f64>, days: Option<f64>, between: Option<f64>) -> Solved {
        let mean = weights.dot(&self.values);
        let (day_variance, bench_variance) = (days.unwrap_or(0.0), between.unwrap_or(0.0));
        let mut covariance = self.covariance();
        for a in 0..self.len() {
            for b in 0..self.len() {
                covariance[(a, b)] += if a == b { day_variance } else { 0.0 };
                covariance[(a, b)] += if self.same_bench(a, b) { bench_variance } else { 0.0 };
            }
        }
        let deviations = self.values.add_scalar(-mean);
        let chi_squared = (0..self.len())
            .map(|place| deviations[place].powi(2) / self.own(place, |_| true).max(f64::MIN_POSITIVE))
            .sum();
        let freedom = if bench_variance > 0.0 {
            Some((self.bench_count - 1) as f64)
        } else if day_variance > 0.0 {
            Some((self.len() - self.bench_count) as f64)
        } else {
            None
        };
        let variance = (&covariance * &weights).dot(&weights);
        Solved { mean, variance, weights, days, between, chi_squared, freedom }
    }

    fn mass(&self, solved: &Solved) -> Q {
        let value = self.scale_kg * solved.mean;
        let u = self.scale_kg * solved.variance.max(0.0).sqrt();
        let half = |probability: f64| {
            let normal = statrs::distribution::Normal::standard().inverse_cdf(0.5 + 0.5 * probability);
            let factor = solved
                .freedom
                .and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok())
                .map_or(normal, |law| law.inverse_cdf(0.5 + 0.5 * probability));
            factor * u
        };
        let around = |probability: f64| [value - half(probability), value + half(probability)];
        Q { value, standard_uncertainty: u, interval_68: around(0.68), interval_95: around(0.95) }
    }

    fn members(&self, notebooks: &[Reduced], solved: &Solved) -> Vec<Member> {
        let spread = solved.days.unwrap_or(0.0) + solved.between.unwrap_or(0.0);
        notebooks
            .iter()
            .enumerate()
            .map(|(place, one)| {
                let own = self.own(place, |_| true);
                let whole: f64 = self.values[place].powi(2)
                    * self.parts[place].iter().map(|p| p.relative.powi(2)).sum::<f64>();
                Member {
                    folder: one.folder.clone(),
                    bench: one.notebook.bench.name.clone(),
                    taken_at: chart::taken_at(&one.notebook),
                    mass_kg: one.reduction.mass_kg,
                    own_percent: 100.0 * own.sqrt() / self.values[place],
                    shared_percent: 100.0 * (whole - own).max(0.0).sqrt() / self.values[place],
                    weight: solved.weights[place],
                    deviation_in_u: (self.values[place] - solved.mean)
                        / (own + spread).sqrt().max(f64::MIN_POSITIVE),
                }
            })
            .collect()
    }

    fn spread(&self, solved: &Solved) -> BetweenSpread {
        let freedom = self.len() - 1;
        let percent = |variance: Option<f64>| variance.map(|v| 100.0 * v.sqrt() / solved.mean);
        BetweenSpread {
            between_benches_percent: percent(solved.between),
            between_days_percent: percent(solved.days),
            chi_squared: solved.chi_squared,
            degrees_of_freedom: freedom,
            p_value: chi_squared_p_value(solved.chi_squared, freedom as f64),
        }
    }

    /// Each cause that at least two notebooks share, with its part in the mean.
    fn shared(&self, notebooks: &[Reduced], solved: &Solved) -> Vec<SharedCause> {
        let mut found: Vec<SharedCause> = Vec::new();
        let mut done: Vec<(usize, usize)> = Vec::new();
        for a in 0..self.len() {
            for (line, part) in self.parts[a].iter().enumerate() {
                if done.contains(&(a, line)) {
                    continue;
                }
                let mut sum = solved.weights[a] * self.values[a] * part.relative;
                let mut names = vec![notebooks[a].folder.clone()];
                for (b, second) in notebooks.iter().enumerate().skip(a + 1) {
                    let other =
                        self.parts[b].iter().position(|own| is_shared(part, own, self.same_bench(a, b)));
                    if let Some(place) = other {
                        sum += solved.weights[b] * self.values[b] * self.parts[b][place].relative;
                        names.push(second.folder.clone());
                        done.push((b, place));
                    }
                }
                if names.len() > 1 {
                    found.push(SharedCause {
                        cause: part.words.clone(),
                        notebooks: names,
                        standard_uncertainty_percent: 100.0 * sum / solved.mean,
                    });
                }
            }
        }
        found.sort_by(|a, b| b.standard_uncertainty_percent.total_cmp(&a.standard_uncertainty_percent));
        found
    }

    fn sentences(&self, solved: &Solved, mass: Q, charts: &[document::ControlChart]) -> Vec<String> {
        let percent = |relative: f64| print::fixed(100.0 * relative / solved.mean, -2);
        let shared: f64 = (0..self.len())
            .flat_map(|a| (0..self.len()).map(move |b| (a, b)))
            .filter(|(a, b)| a != b)
            .map(|(a, b)| solved.weights[a] * solved.weights[b] * self.covariance()[(a, b)])
            .sum();
        let mut list = vec![format!(
            "{} notebooks of {} give {} kg",
            self.len(),
            if self.bench_count == 1 {
                "one bench".to_owned()
            } else {
                format!("{} benches", self.bench_count)
            },
            print::short(mass.value, mass.standard_uncertainty)
        )];
        let whole = solved.variance.sqrt();
        list.push(format!(
            "of its u = {} %, {} % is shared and would stay with any number of notebooks like these",
            percent(whole),
            percent(shared.max(0.0).sqrt())
        ));
        if let Some(between) = solved.between {
            list.push(self.between(solved, &percent(between.sqrt())));
        }
        if let Some(days) = solved.days {
            list.push(if days > 0.0 {
                format!("days of one bench differ by {} % more than their readings say", percent(days.sqrt()))
            } else {
                "the days of one bench agree within their readings".to_owned()
            });
        }
        list.extend(charts.iter().map(|chart| chart.sentence.clone()));
        list
    }
}

/// Chance below which a scatter between benches is more than chance (common practice, no source).
const BEYOND_CHANCE: f64 = 0.05;

impl Set {
    /// What the scatter of the benches says: a spread is claimed only where chance alone rarely makes one.
    fn between(&self, solved: &Solved, percent: &str) -> String {
        let freedom = self.len() - 1;
        let p = chi_squared_p_value(solved.chi_squared, freedom as f64);
        let test = format!(
            "χ² = {}, ν = {freedom}, p = {}",
            print::fixed(solved.chi_squared, -1),
            print::significant(p, 2)
        );
        match (solved.between.unwrap_or(0.0) > 0.0, p < BEYOND_CHANCE) {
            (true, true) => format!(
                "the benches differ by {percent} % more than they state ({test}): something that differs from bench to bench is not \
                 in their budgets"
            ),
            (true, false) => format!(
                "the benches agree within what they state ({test}); a spread of {percent} % between them would explain their scatter \
                 best and is in the uncertainty"
            ),
            (false, _) => format!("the benches agree within what they state ({test})"),
        }
    }
}

/// A weighted mean of some of the values.
struct Weighted {
    value: f64,
    weights: Vec<f64>,
    chi_squared: f64,
}

fn weighted(values: &DVector<f64>, variances: &[f64], places: &[usize], tau2: f64) -> Weighted {
    let raw: Vec<f64> = places.iter().map(|p| 1.0 / (variances[*p] + tau2).max(f64::MIN_POSITIVE)).collect();
    let total: f64 = raw.iter().sum();
    let weights: Vec<f64> = raw.iter().map(|w| w / total).collect();
    let value: f64 = places.iter().zip(&weights).map(|(p, w)| w * values[*p]).sum();
    let chi_squared = places.iter().zip(&raw).map(|(p, w)| w * (values[*p] - value).powi(2)).sum();
    Weighted { value, weights, chi_squared }
}

/// Squared spread at which chi-squared equals its degrees of freedom; 0 where it is below without any.
fn excess(freedom: f64, chi_squared: impl Fn(f64) -> f64) -> f64 {
    if chi_squared(0.0) <= freedom {
        return 0.0;
    }
    // relative values: a spread of 100 % is more than any
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if chi_squared(middle) > freedom { low = middle } else { high = middle }
    }
    high
}

fn caveats(notebooks: &[Reduced], set: &Set) -> Vec<CaveatEntry> {
    let mut list = Vec::new();
    if set.bench_count == 1 {
        list.push(Caveat::new(
            "one-bench",
            "all notebooks are of one bench: its systematic effects are common to all of them",
            "add a notebook of another bench, with other coils and meters",
        ));
    } else if set.bench_count < 4 {
        list.push(Caveat::new(
            "few-benches",
            format!("the spread between {} benches is poorly known", set.bench_count),
            "quote the 95 % interval, which includes that",
        ));
    }
    for (place, one) in notebooks.iter().enumerate() {
        let same = notebooks.iter().skip(place + 1).find(|other| {
            one.notebook.readings.as_ref().map(|r| &r.input.sha256)
                == other.notebook.readings.as_ref().map(|r| &r.input.sha256)
        });
        if let Some(other) = same {
            list.push(Caveat::new(
                "same-readings",
                format!("{} and {} hold the same readings.csv", one.folder, other.folder),
                "leave one of them out: readings count once",
            ));
        }
        if let Some(finding) = one.reduction.findings.first() {
            list.push(Caveat::new(
                "finding",
                format!("{}: {}", one.folder, finding.sentence),
                finding.remedy.clone(),
            ));
        }
    }
    list.into_iter().map(CaveatEntry::from).collect()
}
