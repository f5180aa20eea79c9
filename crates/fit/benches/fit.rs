//! How long the fits and simulations take.

#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../tests/global/mod.rs"]
mod global;

use arcmass_fit::{
    Distribution, Exploration, Loss, Sampler, Scatter, Settings, Source, explore, fit_circle,
    fit_circle_robust, fit_ellipse, fit_ellipse_robust, least_squares, least_squares_with_jacobian, simulate,
    summarise,
};
use criterion::{Criterion, criterion_group, criterion_main};
use nalgebra::DMatrix;
use rand_pcg::Pcg64;

fn global_fit(c: &mut Criterion) {
    let settings = Settings::default();
    c.bench_function("24 runs, 7 parameters, differences", |b| {
        b.iter(|| least_squares(&global::START, global::residuals, &settings).unwrap());
    });
    c.bench_function("24 runs, 7 parameters, derivatives by hand", |b| {
        b.iter(|| {
            least_squares_with_jacobian(&global::START, global::residuals, global::jacobian, &settings)
                .unwrap()
        });
    });
    let fit = least_squares(&global::START, global::residuals, &settings).unwrap();
    c.bench_function("posterior, 5000 draws", |b| {
        b.iter(|| {
            let mut rng = Pcg64::new(1, 1);
            let how = Exploration::default();
            explore(&fit.parameters, &fit.covariance, global::log_density, &how, &mut rng).unwrap()
        });
    });
}

/// Mass from field line, current, voltage and radius: seven correlated inputs.
fn simulation(c: &mut Criterion) {
    let (k, b0, i, v) = (7.2e-4, -2.0e-5, 1.4, 250.0);
    let r: f64 = (2.0_f64 * 9.109_383_7e-31 * v / 1.602_176_634e-19).sqrt() / (k * i + b0);
    let mean = vec![k, b0, i, 1.0, v, 1000.0, r / 1000.0];
    let rel = [4e-3, 0.0, 3e-3, 5e-3, 2e-3, 3e-3, 2e-3];
    let sd: Vec<f64> = mean.iter().zip(rel).map(|(m, u)| if u > 0.0 { m * u } else { 3e-6 }).collect();
    let mut covariance = DMatrix::from_fn(7, 7, |a, b| if a == b { sd[a] * sd[a] } else { 0.0 });
    for (a, b, rho) in [(0, 1, -0.85), (2, 0, -0.3), (2, 3, 0.2), (5, 6, 0.25)] {
        covariance[(a, b)] = rho * sd[a] * sd[b];
        covariance[(b, a)] = covariance[(a, b)];
    }
    let joint = Sampler::new(&[Source::Joint { mean, covariance }]).unwrap();
    let mass = |x: &[f64]| {
        let p = (x[0] * x[2] + x[1]) * x[5] * x[6];
        1.602_176_634e-19 * p * p / (2.0 * x[3] * x[4])
    };
    let mut group = c.benchmark_group("a million draws");
    group.sample_size(10);
    group.bench_function("7 correlated inputs, draws alone", |b| {
        b.iter(|| simulate(&joint, mass, 0..61, 16_384, |k| Pcg64::new(u128::from(k), 1)).unwrap());
    });
    group.bench_function("7 correlated inputs, with summary", |b| {
        b.iter(|| {
            let mut draws = simulate(&joint, mass, 0..61, 16_384, |k| Pcg64::new(u128::from(k), 1)).unwrap();
            summarise(&mut draws, 0.95).unwrap()
        });
    });
    let four =
        Sampler::new(&[0; 4].map(|_| Source::One(Distribution::Normal { mean: 0.0, sd: 1.0 }))).unwrap();
    group.bench_function("4 independent inputs, draws alone", |b| {
        b.iter(|| {
            simulate(&four, |x| x.iter().sum(), 0..61, 16_384, |k| Pcg64::new(u128::from(k), 1)).unwrap()
        });
    });
}

/// 1000 points all round, a little out of round, wavering by a third of a pixel.
fn curves(c: &mut Criterion) {
    let points: Vec<[f64; 2]> = (0..1000)
        .map(|k| {
            let (t, noise) = (f64::from(k) * 0.006_283, 0.3 * (f64::from(k) * 12.9898).sin());
            [600.0 + (400.0 + noise) * t.cos(), 500.0 + (396.0 + noise) * t.sin()]
        })
        .collect();
    c.bench_function("circle, 1000 points", |b| b.iter(|| fit_circle(&points, None, Scatter::FromResiduals)));
    c.bench_function("ellipse, 1000 points", |b| {
        b.iter(|| fit_ellipse(&points, None, Scatter::FromResiduals))
    });
    c.bench_function("robust circle, 1000 points", |b| {
        b.iter(|| fit_circle_robust(&points, None, Loss::Tukey));
    });
    c.bench_function("robust ellipse, 1000 points", |b| {
        b.iter(|| fit_ellipse_robust(&points, None, Loss::Tukey));
    });
}

criterion_group!(benches, global_fit, simulation, curves);
criterion_main!(benches);
