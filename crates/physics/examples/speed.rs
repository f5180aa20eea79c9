//! Times the crate's kernels: one JSON line each, on one thread, with the accuracy reached.
//!
//! Run with `cargo run --release -p arcmass-physics --example speed`, optionally with `field`, `orbit` or `bundle`. Unit of length:
//! coil radius; centre field 1; orbits of radius 0.35 with 5° of tilt, one turn.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use arcmass_physics::{
    BenchField, CoilSet, HowWide, Launch, PathError, PreparedField, TraceOptions, Until, Vec3, VectorColumns,
    VectorWidth, follow_bundle, trace,
};

/// Radius of the orbit in the centre field, in coil radii.
const GYRORADIUS: f64 = 0.35;
/// End of the single orbit, by two independent integrators (an eighth-order Runge–Kutta at 1e-13 and a Taylor series at 1e-18).
const ORBIT_END: Vec3 = Vec3::new(0.07967125013336, -0.33875639555931, 0.12874439192684);

fn main() -> Result<(), Box<dyn Error>> {
    let only = std::env::args().nth(1);
    let wanted = |name: &str| only.as_deref().is_none_or(|o| o == name);
    if wanted("field") {
        field("thin pair", 1)?;
        field("128 loops", 8)?;
    }
    if wanted("orbit") {
        orbit()?;
    }
    if wanted("bundle") {
        bundle()?;
    }
    Ok(())
}

/// Median and least seconds of one call.
fn times(mut call: impl FnMut(), repeats: usize, inner: usize) -> (f64, f64) {
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
    let pick = |i: usize| times.get(i).copied().unwrap_or(f64::NAN);
    (pick(repeats / 2), pick(0))
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

/// Points in a sphere.
fn points(n: usize, radius: f64) -> VectorColumns {
    let mut next = numbers();
    std::iter::repeat_with(|| Vec3::new(next(), next(), next()))
        .filter(|p| p.norm() <= 1.0)
        .take(n)
        .map(|p| p * radius)
        .collect()
}

/// The pair, each coil of n × n loops at the middles of the cells of a section of 0.1 × 0.1.
fn pair(n: usize) -> CoilSet {
    if n == 1 {
        return CoilSet::pair(1.0, 1.0, 1.0, 0.0, 0.0, 1.0);
    }
    let middle = |i: usize| 0.1 * ((i as f64 + 0.5) / n as f64 - 0.5);
    let turns = 1.0 / (n * n) as f64;
    let mut windings = Vec::new();
    for i in 0..n {
        for j in 0..n {
            let one = CoilSet::pair(1.0 + middle(i), 1.0 + 2.0 * middle(j), turns, 0.0, 0.0, 1.0);
            windings.extend(one.windings);
        }
    }
    CoilSet { windings }
}

fn field(name: &str, n: usize) -> Result<(), Box<dyn Error>> {
    let set = pair(n);
    let points = points(100_000, 0.6);
    let prepared = PreparedField::new(&set, 0.6)?;
    let exact: Vec<Vec3> = points.iter().map(|p| set.flux_density_per_ampere(p)).collect::<Result<_, _>>()?;
    let error =
        |b: &VectorColumns| b.iter().zip(&exact).map(|(a, b)| (a - *b).norm() / b.norm()).fold(0.0, f64::max);
    let report = |method: &str, width: VectorWidth, (median, least): (f64, f64), error: f64| {
        let rate = |seconds: f64| 1e-6 * points.len() as f64 / seconds;
        println!(
            "{{\"kernel\":\"field\",\"coils\":\"{name}\",\"method\":\"{method}\",\"width\":\"{width:?}\",\
             \"million_points_per_second\":{:.1},\"best\":{:.1},\"relative_error\":{error:.2e}}}",
            rate(median),
            rate(least)
        );
    };
    let mut out = VectorColumns::zeros(points.len());
    for width in VectorWidth::available() {
        let how = HowWide { threads: 1, width };
        let repeats = if n == 1 { 41 } else { 5 };
        set.fill(&points, &mut out, how)?;
        let reached = error(&out);
        report(
            "mean",
            width,
            times(|| drop(black_box(set.fill(&points, &mut out, how))), repeats, 1),
            reached,
        );
        prepared.fill(&points, &mut out, how)?;
        let reached = error(&out);
        report(
            "series",
            width,
            times(|| drop(black_box(prepared.fill(&points, &mut out, how))), 41, 1),
            reached,
        );
    }
    Ok(())
}

fn orbit() -> Result<(), PathError> {
    let set = pair(1);
    let prepared = PreparedField::new(&set, 0.6)?;
    let centre = set.flux_density_per_ampere(Vec3::ZERO)?.z;
    let field =
        BenchField { prepared: &prepared, current_a: 1.0 / centre, scale: 1.0, background_t: Vec3::ZERO };
    let tilt = 5f64.to_radians();
    let (start, direction) = (Vec3::new(0.10, -0.35, -0.10), Vec3::new(tilt.cos(), 0.0, tilt.sin()));
    let length = std::f64::consts::TAU * GYRORADIUS;
    for tolerance in [1e-11, 1e-9, 1e-8] {
        let options = TraceOptions { tolerance, longest_step_m: 10.0, ..TraceOptions::default() };
        let follow = || trace(&field, start, direction, -GYRORADIUS, Until::Length(length), &options);
        let error = (follow()?.at(length).0 - ORBIT_END).norm() / ORBIT_END.norm();
        let (median, least) = times(|| drop(black_box(follow())), 41, 200);
        println!(
            "{{\"kernel\":\"orbit\",\"tolerance\":{tolerance:e},\"microseconds\":{:.2},\"best\":{:.2},\"relative_error\":{error:.2e}}}",
            1e6 * median,
            1e6 * least
        );
    }
    Ok(())
}

fn launches() -> Vec<Launch> {
    let mut next = numbers();
    // a sum of twelve even numbers has unit spread and is normal enough here
    let mut normal = || (0..12).map(|_| 0.5 * next()).sum::<f64>();
    let spread = 2f64.to_radians();
    (0..10_000)
        .map(|_| {
            let speed = 1.0 + 0.01 * normal();
            let (a, b) = (spread * normal(), spread * normal() + 5f64.to_radians());
            Launch {
                place_m: Vec3::new(0.10, -0.35, -0.10),
                direction: Vec3::new(b.cos() * a.cos(), b.cos() * a.sin(), b.sin()),
                momentum_over_charge_t_m: -GYRORADIUS * speed,
                length_m: speed * std::f64::consts::TAU * GYRORADIUS,
            }
        })
        .collect()
}

fn bundle() -> Result<(), PathError> {
    let set = pair(1);
    let prepared = PreparedField::new(&set, 0.6)?;
    let centre = set.flux_density_per_ampere(Vec3::ZERO)?.z;
    let field =
        BenchField { prepared: &prepared, current_a: 1.0 / centre, scale: 1.0, background_t: Vec3::ZERO };
    let launches = launches();
    let options = TraceOptions { tolerance: 1e-13, ..TraceOptions::default() };
    let direct = |p: Vec3| Ok(set.flux_density_per_ampere(p)? / centre);
    let end = |l: &Launch| {
        let until = Until::Length(l.length_m);
        trace(&direct, l.place_m, l.direction, l.momentum_over_charge_t_m, until, &options)
            .map(|p| p.at(l.length_m).0)
    };
    let exact: Vec<Vec3> = launches.iter().map(end).collect::<Result<_, _>>()?;
    for tolerance in [1e-10, 1e-9] {
        let got = follow_bundle(&field, &launches, tolerance, 1)?;
        let worst =
            got.iter().zip(&exact).map(|(a, b)| (a.place_m - *b).norm() / b.norm()).fold(0.0, f64::max);
        let (median, least) =
            times(|| drop(black_box(follow_bundle(&field, &launches, tolerance, 1))), 15, 1);
        let rate = |seconds: f64| 1e-3 * launches.len() as f64 / seconds;
        println!(
            "{{\"kernel\":\"bundle\",\"tolerance\":{tolerance:e},\"thousand_orbits_per_second\":{:.1},\"best\":{:.1},\
             \"worst_relative_error\":{worst:.2e}}}",
            rate(median),
            rate(least)
        );
    }
    Ok(())
}
