//! How fast 24 runs are fitted with traced orbits.
//!
//! Run with `cargo run --release -p arcmass-lab --example traced_speed`: one line of JSON, on one thread; `… traced_speed worker` answers the
//! orders of `cargo xtask study speed`. The problem: an invented bench of 24 runs (four voltages, three rings, bench turned too) with eleven
//! unknowns, from the start that a reduction takes to the best estimate.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[allow(dead_code)]
#[path = "../../../physics/examples/speed/worker.rs"]
mod worker;

use std::path::Path;

use arcmass_fit::joint::{self, Joint};
use arcmass_lab::assume::Apparatus;
use arcmass_lab::simulate::{Design, Diameters, Outside, ProbeTable, Simulated, by_lot};
use arcmass_lab::spread::Spread;
use arcmass_lab::{LabError, bench, calibrate};
use rand::SeedableRng;
use worker::{Kernel, Result};

const NAME: &str = "fit of 24 traced runs";

fn main() -> Result<()> {
    if std::env::args().nth(1).as_deref() == Some("worker") {
        return worker::serve(make);
    }
    let mut kernel = make(NAME, None)?;
    kernel.call()?;
    let mut seconds =
        (0..9).map(|_| worker::seconds_per_call(kernel.as_mut())).collect::<Result<Vec<f64>>>()?;
    seconds.sort_by(f64::total_cmp);
    println!(
        "{{\"kernel\": \"{NAME}\", \"method\": \"{}\", \"median_s\": {:.3e}, \"best_s\": {:.3e}, \"error\": {:.1e}}}",
        kernel.method(),
        seconds[4],
        seconds[0],
        kernel.error()?
    );
    Ok(())
}

fn make(name: &str, _: Option<&Path>) -> Result<Box<dyn Kernel>> {
    if name != NAME {
        return Err(format!("no kernel `{name}`").into());
    }
    let design = Design {
        name: NAME,
        voltages_v: &[150.0, 200.0, 250.0, 300.0],
        radii_mm: &[28.0, 36.0, 46.0],
        turned_too: true,
        probe: ProbeTable::None,
        diameters: Diameters::Table { u_mm: 0.4, is_stated: true, outer_edge: false },
        silent: false,
    };
    let mut rng = rand_pcg::Pcg64::seed_from_u64(24);
    let Simulated { notebook, .. } = by_lot(&design, Outside::Nothing, &mut rng)?;
    let mut apparatus = Apparatus::of(&notebook.bench)?;
    // what is known exactly here is no unknown: mass, gains of both meters, offset, radius, separation, background, gun's direction stay
    apparatus.voltmeter.zero.spread = Spread::Exact;
    apparatus.ammeter.zero.spread = Spread::Exact;
    apparatus.coil_tilt = Spread::Exact;
    apparatus.gun.muzzle_spread = Spread::Exact;
    Ok(Box::new(Fit { simulated: notebook, apparatus, last: None }))
}

/// The bench, and its last fit.
struct Fit {
    simulated: arcmass_notebook::Notebook,
    apparatus: Apparatus,
    last: Option<Joint>,
}

impl Kernel for Fit {
    fn method(&self) -> String {
        "Gauss-Newton, 11 unknowns, derivatives by traced orbits".to_owned()
    }

    fn amount(&self) -> (usize, &'static str) {
        (1, "fits")
    }

    fn call(&mut self) -> Result<()> {
        let model = bench::bench(&self.simulated, &self.apparatus, &[])?.model;
        self.last = Some(calibrate::fit(&model)?);
        Ok(())
    }

    fn result(&self) -> Vec<f64> {
        self.last.as_ref().map_or_else(Vec::new, |joint| joint.estimate.as_slice().to_vec())
    }

    /// Against the same fit with every derivative made anew at each step, in standard uncertainties.
    fn error(&self) -> Result<f64> {
        let model = bench::bench(&self.simulated, &self.apparatus, &[])?.model;
        let (priors, start) = (model.unknowns.priors(), model.unknowns.start());
        let anew = joint::fit::<LabError>(&priors, &start, |theta| model.linearise(theta))
            .map_err(|fault| fault.to_string())?;
        let last = self.last.as_ref().ok_or("a fit must be made first")?;
        let off = |place: usize| (last.estimate[place] - anew.estimate[place]).abs() / anew.u(place);
        Ok((0..priors.len()).map(off).fold(0.0, f64::max))
    }
}
