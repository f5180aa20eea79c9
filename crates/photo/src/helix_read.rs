//! Reads the beam of a side view on the full photograph, cross-section by cross-section along the wave.

use crate::helix_model::{HelixCurve, OnCurve};
use crate::picture::Picture;
use crate::ring_curve::median;
use crate::ring_follow::first_width;
use crate::trace::{Profile, Raster, Rows, Station as Place, fit_line, read_channels};
use crate::trace_shape::Shape;

/// Radius of curvature against the beam's width below which a cross-section also cuts the neighbouring piece of the wave.
const LEAST_BEND: f64 = 5.0;
/// Longest number of stations.
const MOST_STATIONS: usize = 1200;

/// One cross-section that was fitted.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Station {
    /// Centre of the beam in pixels.
    pub(crate) at: [f64; 2],
    pub(crate) u_px: f64,
    /// Angle of the turn at which it was read.
    pub(crate) psi: f64,
}

impl Station {
    pub(crate) fn on_curve(&self) -> OnCurve {
        OnCurve { at: self.at, weight: self.u_px.powi(-2), psi: self.psi }
    }
}

/// Reads and fits the cross-sections along the curve; `None` when the line is not seen there.
pub(crate) fn read_stations(
    picture: &Picture,
    curve: &HelixCurve,
    range: [f64; 2],
    eye: [f64; 3],
    scale_px: f64,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Option<Vec<Station>> {
    let drawn = curve.drawn(range, eye);
    let places = evenly(&drawn);
    let step = (scale_px / 3.0).max(1.0);
    let raster = Raster { step, half: ((6.0 * scale_px).max(10.0) / step).ceil() as usize };
    let read = |psi: f64| -> (Place, Profile) {
        let (p, n) = (curve.seen(psi, eye), curve.normal(psi, eye));
        let place = Place { x: p[0], y: p[1], nx: n[0], ny: n[1] };
        (place, sum(&read_channels(picture, &place, raster, Rows::TWO)))
    };
    let lines: Vec<(f64, Place, Profile)> = places
        .into_iter()
        .map(|psi| {
            let (place, profile) = read(psi);
            (psi, place, profile)
        })
        .filter(|(_, p, _)| allowed(p.x, p.y))
        .collect();
    let profiles: Vec<Profile> = lines.iter().map(|l| l.2.clone()).collect();
    let sigma = first_width(&profiles, raster, scale_px)?;
    let shape = Shape::gaussian(sigma);
    let reach = (2.5 * sigma).max(3.0 * step).max(4.0);
    let alone =
        |psi: f64| bend(curve, psi, eye) > LEAST_BEND * sigma && apart(&drawn, curve, psi, eye, 4.0 * sigma);
    let fitted: Vec<_> = lines
        .iter()
        .filter(|l| alone(l.0))
        .filter_map(|(psi, place, profile)| {
            let start = top(profile, raster, 3.0 * sigma.max(scale_px))?;
            let fit = fit_line(profile, raster, &shape, start, reach)?;
            Some((*psi, *place, fit))
        })
        .collect();
    let height = median(fitted.iter().map(|f| f.2.height).collect());
    let ratio = median(fitted.iter().map(|f| f.2.scatter / f.2.height.max(1e-9)).collect());
    let typical = median(fitted.iter().map(|f| f.2.u_px).collect());
    let stations: Vec<Station> = fitted
        .into_iter()
        .filter(|(_, _, f)| f.height > 0.15 * height && f.scatter < 4.0 * ratio * f.height.max(0.5 * height))
        .map(|(psi, place, f)| {
            // a line of width σ on a bend of radius ρ is brightest σ² / 2ρ inside its middle
            let centre =
                f.centre_px + outward(curve, psi, eye) * sigma * sigma / (2.0 * bend(curve, psi, eye));
            let at = [place.x + centre * place.nx, place.y + centre * place.ny];
            Station { at, u_px: f.u_px.hypot(typical), psi }
        })
        .collect();
    (stations.len() >= 24).then_some(stations)
}

/// Angles at even distances along a drawn curve, some two pixels apart.
fn evenly(drawn: &[(f64, [f64; 2])]) -> Vec<f64> {
    let length = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let total: f64 = drawn.windows(2).map(|w| length(&w[0].1, &w[1].1)).sum();
    let spacing = (total / MOST_STATIONS as f64).max(2.0);
    let (mut way, mut next) = (0.0, 0.0);
    let mut places = Vec::new();
    for w in drawn.windows(2) {
        let piece = length(&w[0].1, &w[1].1);
        while next < way + piece {
            places.push(w[0].0 + (w[1].0 - w[0].0) * (next - way) / piece.max(1e-12));
            next += spacing;
        }
        way += piece;
    }
    places
}

/// Place of the highest sample within `reach` of the middle.
fn top(profile: &[f32], raster: Raster, reach: f64) -> Option<f64> {
    let near = (0..raster.len()).filter(|&i| raster.at(i).abs() <= reach);
    let known = near.filter_map(|i| profile.get(i).filter(|v| v.is_finite()).map(|v| (i, *v)));
    known.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| raster.at(i))
}

/// Radius of curvature of the picture's curve.
fn bend(curve: &HelixCurve, psi: f64, eye: [f64; 3]) -> f64 {
    const STEP: f64 = 0.02;
    let (a, b) = (curve.tangent(psi - STEP, eye), curve.tangent(psi + STEP, eye));
    let t = curve.tangent(psi, eye);
    let second = [(b[0] - a[0]) / (2.0 * STEP), (b[1] - a[1]) / (2.0 * STEP)];
    let speed = t[0].hypot(t[1]);
    speed.powi(3) / (t[0] * second[1] - t[1] * second[0]).abs().max(1e-12)
}

/// +1 where the normal points away from the bend's middle, else −1.
fn outward(curve: &HelixCurve, psi: f64, eye: [f64; 3]) -> f64 {
    const STEP: f64 = 0.02;
    let (a, b) = (curve.tangent(psi - STEP, eye), curve.tangent(psi + STEP, eye));
    let n = curve.normal(psi, eye);
    if (b[0] - a[0]) * n[0] + (b[1] - a[1]) * n[1] > 0.0 { -1.0 } else { 1.0 }
}

/// Whether no other piece of the curve comes nearer than `least`; pieces within a sixth of a turn are the same one.
fn apart(drawn: &[(f64, [f64; 2])], curve: &HelixCurve, psi: f64, eye: [f64; 3], least: f64) -> bool {
    let p = curve.seen(psi, eye);
    drawn
        .iter()
        .filter(|d| (d.0 - psi).abs() > std::f64::consts::FRAC_PI_3)
        .all(|d| (d.1[0] - p[0]).hypot(d.1[1] - p[1]) > least)
}
/// All channels together; NaN where one is saturated.
fn sum(channels: &[Profile; 3]) -> Profile {
    let at = |k: usize| channels.iter().filter_map(|profile| profile.get(k)).sum();
    (0..channels[0].len()).map(at).collect()
}
