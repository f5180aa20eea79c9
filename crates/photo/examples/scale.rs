//! Measures a circle, given in pixels, on scale photographs: one line of a list a photograph, one line of result.
//!
//! A line of the list holds: picture, kind (`ruler`, `grid`, `board`), stated spacing in mm, camera's distance and its
//! uncertainty in mm (0 if unknown), focal length and its uncertainty in pixels (0 if unknown), true diameter in mm
//! (0 if unknown), then the circle's points as `x,y` in pixels. The result: picture, `ok`, relative error, relative standard
//! uncertainty, residual in mm, tilt in degrees, seconds for reading, finding and fitting, caveats; or `failed` and why.

use std::time::Instant;

use arcmass_photo::Picture;
use arcmass_photo::plane::{CameraHints, TraceInPixels, fit_plane, ring_in_plane};
use arcmass_photo::scale::{ScaleHints, ScaleKind, find_scale};

type Fault = Box<dyn std::error::Error>;

fn main() -> Result<(), Fault> {
    let list = std::env::args().nth(1).ok_or("the list's name is missing")?;
    for line in std::fs::read_to_string(list)?.lines().filter(|line| !line.trim().is_empty()) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let name = words.first().copied().unwrap_or("");
        match measured(&words) {
            Ok(said) => println!("{name} {said}"),
            Err(why) => println!("{name} failed {why}"),
        }
    }
    Ok(())
}

fn measured(words: &[&str]) -> Result<String, Fault> {
    let [name, kind, spacing, d, u_d, f, u_f, truth, points @ ..] = words else {
        return Err("a line must hold eight words and the points".into());
    };
    let start = Instant::now();
    let picture = Picture::from_bytes(&std::fs::read(name)?)?;
    let read = start.elapsed().as_secs_f64();
    let kind = match *kind {
        "grid" => ScaleKind::Grid,
        "board" => ScaleKind::Board,
        _ => ScaleKind::Ruler,
    };
    let spacing: f64 = spacing.parse()?;
    let hints = ScaleHints { kind, spacing_mm: (spacing > 0.0).then_some(spacing), ..ScaleHints::default() };
    let start = Instant::now();
    let found = find_scale(&picture, &hints)?;
    let searched = start.elapsed().as_secs_f64();
    let known = |value: &str, u: &str| -> Result<Option<(f64, f64)>, Fault> {
        let value: f64 = value.parse()?;
        Ok((value > 0.0).then_some((value, u.parse()?)))
    };
    let camera =
        CameraHints { distance_mm: known(d, u_d)?, focal_px: known(f, u_f)?, ..CameraHints::default() };
    let start = Instant::now();
    let plane = fit_plane(&found, [picture.width(), picture.height()], &camera)?;
    let fitted = start.elapsed().as_secs_f64();
    let mut px = Vec::new();
    for point in points {
        let (x, y) = point.split_once(',').ok_or("a point must be `x,y`")?;
        px.push([x.parse()?, y.parse()?]);
    }
    let trace = TraceInPixels { points_px: &px, u_px: &[] };
    let ring = ring_in_plane(trace, &plane)?;
    let truth: f64 = truth.parse()?;
    let mut codes: Vec<&str> = found.caveats.iter().chain(&plane.caveats).map(|c| c.code).collect();
    codes.sort_unstable();
    codes.dedup();
    let mut rows: Vec<String> = found
        .rows
        .iter()
        .map(|r| format!("{}x{:.4}", r.marks.len(), r.spacing_mm.unwrap_or(f64::NAN)))
        .collect();
    if !found.crossings.is_empty() {
        rows.push(format!("{} crossings, heavier {:?}", found.crossings.len(), found.heavier_every));
    }
    Ok(format!(
        "ok {:.6} {:.6} {:.4} {:.2} {read:.3} {searched:.3} {fitted:.3} [{}] {}",
        ring.diameter_mm / truth - 1.0,
        ring.u_plane_mm / truth,
        plane.residual_rms_mm,
        plane.tilt_deg,
        rows.join(" "),
        codes.join(",")
    ))
}
