//! Noise of the readings must not draw the unknowns anywhere.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_lab::assume::Apparatus;
use arcmass_lab::bench::bench;
use arcmass_lab::model::{Model, Unknown};
use arcmass_notebook::Notebook;
use nalgebra::DVector;

/// What each probe reading would be without noise at given unknowns, and its noise, T: the residual is (read − shown)/noise.
fn shown(model: &Model<'_>, theta: &DVector<f64>) -> Vec<(f64, f64)> {
    let residuals = |read_t: f64| {
        let mut model = model.clone();
        model.probe.iter_mut().for_each(|row| row.flux_density_read_t = read_t);
        model.residuals(theta).unwrap()
    };
    let (at_zero, at_one) = (residuals(0.0), residuals(1e-3));
    let of = |row: usize| {
        let noise = 1e-3 / (at_one[row] - at_zero[row]);
        (-at_zero[row] * noise, noise)
    };
    (model.runs.len()..model.runs.len() + model.probe.len()).map(of).collect()
}

/// Two sets of probe readings with opposite noise pull every unknown by opposite amounts, so that over many benches none is
/// drawn anywhere. A residual that the unknown gain stretches fails here by the number of readings: small gains would win.
#[test]
fn opposite_noise_of_the_probe_pulls_the_field_by_opposite_amounts() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical");
    let notebook = Notebook::open(&folder).unwrap();
    let apparatus = Apparatus::of(&notebook.bench).unwrap();
    let mut model = bench(&notebook, &apparatus, &[]).unwrap().model;
    let mut theta = DVector::from_vec(model.unknowns.start());
    let gain = model.unknowns.place(Unknown::ProbeGain).unwrap();
    theta[gain] = 0.008;
    let clean = shown(&model, &theta);
    let mut pull = |sign: f64| {
        for (row, (shown_t, noise_t)) in model.probe.iter_mut().zip(&clean) {
            row.flux_density_read_t = shown_t + sign * noise_t;
        }
        let at = model.linearise(&theta).unwrap();
        at.jacobian.transpose() * at.residuals
    };
    let (up, down) = (pull(1.0), pull(-1.0));
    for place in 0..up.len() {
        let left = (up[place] + down[place]).abs();
        assert!(
            left <= 1e-6 * up[place].abs().max(1.0),
            "unknown {place}: {} and {}",
            up[place],
            down[place]
        );
    }
    assert!(up[gain].abs() > 1e3, "noise all one way does pull the gain: {}", up[gain]);
}
