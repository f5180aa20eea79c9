//! Times the crate's kernels: one JSON line each, on one thread, with the accuracy reached.
//!
//! Run with `cargo run --release -p arcmass-physics --example speed`. Unit of length: coil radius; centre field 1; orbits of
//! radius 0.35 with 5° of tilt, one turn.

use std::time::Instant;

use arcmass_physics::{
    BenchField, CoilSet, HowWide, Launch, PathError, PreparedField, TraceOptions, Until, Vec3, VectorWidth,
    follow_bundle, trace,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    field("thin pair", 1)?;
    field("128 loops", 8)?;
    orbit()?;
    bundle()?;
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

/// Points in the sphere of 0.6 coil radii, a fixed sequence.
fn points(n: usize, radius: f64) -> Vec<Vec3> {
    let mut next = numbers();
    let mut out = Vec::with_capacity(n);
    while out.len() < n {
        let p = Vec3::new(next(), next(), next());
        if p.norm() <= 1.0 {
            out.push(p * radius);
        }
    }
    out
}

/// Numbers from −1 to 1, a fixed sequence.
fn numbers() -> impl FnMut() -> f64 {
    let mut state = 88_172_645_463_325_252u64;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// The pair, each coil of n × n loops at the middles of the cells of a section of 0.1 × 0.1.
fn pair(n: usize) -> CoilSet {
    if n == 1 {
        return CoilSet::pair(1.0, 1.0, 1.0, 0.0, 0.0, 1.0);
    }
    let mut windings = Vec::new();
    for i in 0..n {
        for j in 0..n {
            let (out, along) = ((i as f64 + 0.5) / n as f64 - 0.5, (j as f64 + 0.5) / n as f64 - 0.5);
            for side in [-1.0, 1.0] {
                let mut one =
                    CoilSet::pair(1.0 + 0.1 * out, side + 0.2 * along, 1.0 / (n * n) as f64, 0.0, 0.0, 1.0);
                windings.extend(one.windings.pop());
            }
        }
    }
    CoilSet { windings }
}

fn field(name: &str, n: usize) -> Result<(), Box<dyn std::error::Error>> {
    let set = pair(n);
    let points = points(100_000, 0.6);
    let prepared = PreparedField::new(&set, 0.6)?;
    let exact: Vec<Vec3> =
        points.iter().map(|p| set.flux_density_per_ampere(*p)).collect::<Result<_, _>>()?;
    let error =
        |b: &[Vec3]| b.iter().zip(&exact).map(|(a, b)| (*a - *b).norm() / b.norm()).fold(0.0, f64::max);
    let report = |method: &str, seconds: f64, error: f64| {
        println!(
            "{{\"kernel\":\"field\",\"coils\":\"{name}\",\"method\":\"{method}\",\"million_points_per_second\":{:.1},\"relative_error\":{error:.2e}}}",
            1e-6 * points.len() as f64 / seconds
        );
    };
    let repeats = if n == 1 { 41 } else { 5 };
    for width in VectorWidth::available() {
        let how = HowWide { threads: 1, width };
        let b = set.flux_densities_per_ampere(&points, how)?;
        let seconds =
            median(|| drop(std::hint::black_box(set.flux_densities_per_ampere(&points, how))), repeats, 1);
        report(&format!("mean, {width:?}"), seconds, error(&b));
        let mut out = vec![Vec3::ZERO; points.len()];
        prepared.fill(&points, &mut out, how)?;
        let reached = error(&out);
        let seconds = median(|| drop(std::hint::black_box(prepared.fill(&points, &mut out, how))), 41, 1);
        report(&format!("series, {width:?}"), seconds, reached);
    }
    Ok(())
}

fn bundle() -> Result<(), PathError> {
    let set = pair(1);
    let prepared = PreparedField::new(&set, 0.6)?;
    let centre = set.flux_density_per_ampere(Vec3::ZERO)?.z;
    let field =
        BenchField { prepared: &prepared, current_a: 1.0 / centre, scale: 1.0, background_t: Vec3::ZERO };
    let mut next = numbers();
    // a sum of twelve even numbers is normal enough for a spread
    let mut normal = || (0..12).map(|_| 0.5 * next()).sum::<f64>();
    let launches: Vec<Launch> = (0..10_000)
        .map(|_| {
            let speed = 1.0 + 0.01 * normal();
            let (a, b) = (2f64.to_radians() * normal(), 2f64.to_radians() * normal() + 5f64.to_radians());
            Launch {
                place_m: Vec3::new(0.10, -0.35, -0.10),
                direction: Vec3::new(b.cos() * a.cos(), b.cos() * a.sin(), b.sin()),
                momentum_over_charge_t_m: -GYRORADIUS * speed,
                length_m: speed * std::f64::consts::TAU * GYRORADIUS,
            }
        })
        .collect();
    let options = TraceOptions { tolerance: 1e-13, ..TraceOptions::default() };
    let exact: Vec<Vec3> = launches
        .iter()
        .map(|l| {
            let until = Until::Length(l.length_m);
            let direct = |p: Vec3| Ok(set.flux_density_per_ampere(p)? / centre);
            trace(&direct, l.place_m, l.direction, l.momentum_over_charge_t_m, until, &options)
                .map(|p| p.at(l.length_m).0)
        })
        .collect::<Result<_, _>>()?;
    for tolerance in [1e-10, 1e-9] {
        let got = follow_bundle(&field, &launches, tolerance, 1)?;
        let worst =
            got.iter().zip(&exact).map(|(a, b)| (a.place_m - *b).norm() / b.norm()).fold(0.0, f64::max);
        let seconds =
            median(|| drop(std::hint::black_box(follow_bundle(&field, &launches, tolerance, 1))), 11, 1);
        println!(
            "{{\"kernel\":\"bundle\",\"tolerance\":{tolerance:e},\"thousand_orbits_per_second\":{:.1},\"worst_relative_error\":{worst:.2e}}}",
            1e-3 * launches.len() as f64 / seconds
        );
    }
    Ok(())
}
