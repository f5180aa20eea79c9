//! From what stays of a group's explanations to its verdict and the list of its slips.

use crate::bench::Judged;
use crate::document::{SlipEntry, Verdict};
use crate::group::{Candidate, Second, SlipAt};
use crate::slips::{Where, slip_of};

/// What the contract asks of a verdict.
const HONEST: f64 = 0.5;
const SURE: f64 = 0.8;
const HARDLY_NONE: f64 = 0.1;
/// What stays above this is listed.
pub(crate) const LISTED: f64 = 0.05;

/// Posterior probability of no slip.
pub(crate) fn no_slip(candidates: &[Candidate]) -> f64 {
    candidates.iter().filter(|c| c.slips.is_empty() && !c.is_unlisted).map(|c| c.probability).sum()
}

/// By the rows of the contract, the bench left out.
pub(crate) fn verdict(candidates: &[Candidate]) -> Verdict {
    let none = no_slip(candidates);
    if none >= HONEST {
        return Verdict::Honest;
    }
    match candidates.iter().find(|c| !c.slips.is_empty()) {
        Some(top) if !top.is_unlisted && probability_of(top, candidates) >= SURE && none < HARDLY_NONE => {
            Verdict::Slip
        }
        _ => Verdict::Undecided,
    }
}

/// Of the same slips, whatever rows they may stand in.
fn probability_of(top: &Candidate, candidates: &[Candidate]) -> f64 {
    candidates.iter().filter(|c| !c.is_unlisted && same_codes(c, top)).map(|c| c.probability).sum()
}

fn same_codes(a: &Candidate, b: &Candidate) -> bool {
    let codes =
        |c: &Candidate| -> Vec<(&'static str, Where)> { c.slips.iter().map(|s| (s.code, s.place)).collect() };
    codes(a) == codes(b)
}

/// Slips of candidates side by side share also what stands in remote combinations.
fn even_out(confidences: &mut [(SlipAt, f64, &Candidate)]) {
    for first in 0..confidences.len() {
        let beside: Vec<usize> = (first..confidences.len())
            .filter(|other| {
                let (a, b) = (confidences[first].2, confidences[*other].2);
                let is_own = a.slips.len() == b.slips.len() && (a.probability - b.probability).abs() < 1e-12;
                is_own && (confidences[first].1 - confidences[*other].1).abs() < 0.01
            })
            .collect();
        let mean = beside.iter().map(|i| confidences[*i].1).sum::<f64>() / beside.len().max(1) as f64;
        beside.iter().for_each(|i| confidences[*i].1 = mean);
    }
}

/// The slips to show, likeliest first; of a decided group those of its explanation first.
pub(crate) fn slips(
    candidates: &[Candidate],
    second: &Second<'_>,
    judged: Option<&Judged>,
    lines: &[usize],
    decided: bool,
) -> Vec<SlipEntry> {
    let mut confidences: Vec<(SlipAt, f64, &Candidate)> = Vec::new();
    for candidate in candidates {
        for slip in &candidate.slips {
            match confidences.iter_mut().find(|(at, _, _)| at.code == slip.code && at.place == slip.place) {
                Some((_, confidence, _)) => *confidence += candidate.probability,
                None => confidences.push((slip.clone(), candidate.probability, candidate)),
            }
        }
    }
    even_out(&mut confidences);
    let top = candidates.iter().find(|c| !c.slips.is_empty());
    let in_top = |slip: &SlipAt| {
        decided
            && top.is_some_and(|top| top.slips.iter().any(|s| s.code == slip.code && s.place == slip.place))
    };
    confidences.retain(|(slip, confidence, _)| *confidence >= LISTED || in_top(slip));
    confidences.sort_by(|a, b| {
        (in_top(&b.0), b.1).partial_cmp(&(in_top(&a.0), a.1)).unwrap_or(std::cmp::Ordering::Equal)
    });
    confidences
        .into_iter()
        .map(|(slip, confidence, candidate)| SlipEntry {
            code: slip.code,
            place: slip.place,
            rows: slip
                .rows
                .as_ref()
                .map(|rows| rows.iter().filter_map(|row| lines.get(*row).copied()).collect()),
            factor_on_mass: match slip.place {
                Where::Working => second.working_factor(candidate, &slip, judged),
                Where::Reading if slip.code == "unit-field" => {
                    second.working_factor(candidate, &slip, judged)
                }
                Where::Reading if slip.rows.is_some() => None,
                Where::Reading => second.reading_factor(candidate, judged),
            },
            confidence: confidence.min(1.0),
            hint: slip_of(slip.code).map_or("", |slip| slip.hint),
        })
        .collect()
}
