//! Times the crate's kernels: one JSON line each, on one thread, with the accuracy reached.
//!
//! Run with `cargo run --release -p arcmass-physics --example speed`. Unit of length: coil radius; centre field 1; orbits of
//! radius 0.35 with 5° of tilt, one turn.

use std::time::Instant;

use arcmass_physics::{BenchField, CoilSet, PathError, PreparedField, TraceOptions, Until, Vec3, trace};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    orbit()?;
    Ok(())
}

/// Median seconds of one call.
fn median(mut call: impl FnMut(), repeats: usize, inner: usize) -> f64 {
    let mut times: Vec<f64> = (0..repeats)
        .map(|_| {
            let start = Instant::now();
            for _ in 0..inner {
                call();
            }
            start.elapsed().as_secs_f64() / inner as f64
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times.get(repeats / 2).copied().unwrap_or(f64::NAN)
}

/// Radius of the orbit in the centre field, in coil radii.
const GYRORADIUS: f64 = 0.35;
/// End of the single orbit, by two independent integrators (an eighth-order Runge–Kutta at 1e-13 and a Taylor series at 1e-18).
const ORBIT_END: Vec3 = Vec3::new(0.07967125013336, -0.33875639555931, 0.12874439192684);

fn orbit() -> Result<(), PathError> {
    let set = CoilSet::pair(1.0, 1.0, 1.0, 0.0, 0.0, 1.0);
    let prepared = PreparedField::new(&set, 0.6)?;
    let centre = set.flux_density_per_ampere(Vec3::ZERO)?.z;
    let field =
        BenchField { prepared: &prepared, current_a: 1.0 / centre, scale: 1.0, background_t: Vec3::ZERO };
    let tilt = 5f64.to_radians();
    let (start, direction) = (Vec3::new(0.10, -0.35, -0.10), Vec3::new(tilt.cos(), 0.0, tilt.sin()));
    let length = std::f64::consts::TAU * GYRORADIUS;
    for tolerance in [1e-11, 1e-10, 1e-9, 1e-8] {
        let options = TraceOptions { tolerance, longest_step_m: 10.0, ..TraceOptions::default() };
        let follow = || trace(&field, start, direction, -GYRORADIUS, Until::Length(length), &options);
        let path = follow()?;
        let error = (path.at(length).0 - ORBIT_END).norm() / ORBIT_END.norm();
        let seconds = median(|| drop(std::hint::black_box(follow())), 41, 200);
        println!(
            "{{\"kernel\":\"orbit\",\"tolerance\":{tolerance:e},\"microseconds\":{:.3},\"relative_error\":{error:.2e},\"steps\":{}}}",
            1e6 * seconds,
            path.steps()
        );
    }
    Ok(())
}
