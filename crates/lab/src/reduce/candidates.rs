//! What else could be wrong with a bench: one thing at a time, and how wide it is tried.

use arcmass_fit::joint::Prior;

use super::Solved;
use crate::model::Unknown;

/// One thing that may lie outside what was stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Candidate {
    /// Fixed name of the finding.
    pub(crate) code: &'static str,
    /// What is set free.
    pub(crate) unknown: Unknown,
    /// Standard uncertainty that it is given beside what was stated; SI.
    pub(crate) wide_u: f64,
    /// Of the number shown.
    pub(crate) unit: &'static str,
    /// Number shown = SI number × factor.
    pub(crate) factor: f64,
    /// Smallest and largest value that makes sense.
    pub(crate) least: f64,
}

/// Fewest runs in which one can be called odd.
const FEWEST_FOR_ODD: usize = 4;

/// All things that this bench's readings could show.
pub(crate) fn candidates(solved: &Solved<'_>) -> Vec<Candidate> {
    let model = &solved.bench.model;
    let of = |code, unknown, unit, factor, wide_u| Candidate {
        code,
        unknown,
        wide_u,
        unit,
        factor,
        least: f64::NEG_INFINITY,
    };
    let degrees = 180.0 / std::f64::consts::PI;
    let stated = [
        of("voltage-offset", Unknown::VoltageOffset, "V", 1.0, 50.0),
        of("stray-field-axial", Unknown::BackgroundZ, "µT", 1e6, 200e-6),
        of("stray-field-transverse", Unknown::BackgroundX, "µT", 1e6, 200e-6),
        of("stray-field-transverse", Unknown::BackgroundY, "µT", 1e6, 200e-6),
        of("coil-separation", Unknown::CoilSeparation, "mm", 1e3, 15e-3),
        of("gun-tilt", Unknown::DirectionAcross, "°", degrees, 0.1),
    ];
    let holds = |candidate: &Candidate| {
        candidate.unknown == Unknown::VoltageOffset
            || model
                .unknowns
                .iter()
                .any(|(_, unknown, prior)| unknown == candidate.unknown && prior != Prior::Flat)
    };
    let mut list: Vec<Candidate> = stated.into_iter().filter(holds).collect();
    list.push(of("edge-offset", Unknown::DiameterOffset, "mm", 1e3, 3e-3));
    list.push(Candidate { least: 0.0, ..of("gas-loss", Unknown::BeamLoss, "V", 1.0, 15.0) });
    if model.is_absolute() && !model.probe.is_empty() {
        // either the coils make another field than their sizes say, or the probe reads wrongly
        list.push(of("field-scale", Unknown::CoilFactor, "%", 100.0, 0.2));
        list.push(of("field-scale", Unknown::ProbeGain, "%", 100.0, 0.2));
    }
    if model.runs.len() >= FEWEST_FOR_ODD {
        let runs = model.runs.iter();
        list.extend(runs.map(|run| of("outlier-run", Unknown::Run(run.place), "%", 100.0, 0.3)));
    }
    list
}
