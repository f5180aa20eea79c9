//! How fast a photograph is decoded and its ring measured, stage by stage, on one thread.
//!
//! `cargo run --release -p arcmass-photo --example photo_speed -- PHOTOGRAPH [SCALE [DISTANCE BULB RADIUS SEPARATION RADIAL AXIAL]]`
//! prints a line of JSON a step: time of the processor where the system tells it, so that a busy machine does no harm, else by the clock.
//! With the camera's distance, the bulb's radius and the sizes of a round coil pair and its winding, in millimetres, the ring is also
//! looked for inside the bulb, and the coils on both photographs are compared.
//!
//! `… photo_speed worker` answers the orders of `cargo xtask study speed`, which sets the same kernels beside other libraries.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[allow(dead_code)]
#[path = "../../physics/examples/speed/worker.rs"]
mod worker;

use std::cell::{Cell, RefCell};
use std::path::{Path, PathBuf};
use std::time::Instant;

use arcmass_photo::plane::{CameraHints, ScalePlane, fit_plane};
use arcmass_photo::scale::{ScaleHints, find_scale};
use arcmass_photo::still::{CoilFace, StillEdges};
use arcmass_photo::{Picture, RingHints, find_ring, find_ring_telling};
use worker::{Kernel, Result};
use zune_jpeg::zune_core::bytestream::ZCursor;

fn main() -> Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.as_slice() {
        [word] if word == "worker" => worker::serve(make),
        [ring] => ring_steps(ring),
        [ring, scale] => ring_steps(ring).and_then(|()| scale_steps(scale, None)).map(|_| ()),
        [ring, scale, sizes @ ..] if sizes.len() == 6 => {
            ring_steps(ring)?;
            let mut mm = [0.0; 6];
            for (mm, word) in mm.iter_mut().zip(sizes) {
                *mm = word.parse()?;
            }
            coil_steps(ring, scale, mm)
        }
        _ => Err("name a photograph".into()),
    }
}

/// Seconds that this thread has had the processor (Linux), else by the clock.
fn now(start: Instant) -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let spent = told.and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok());
    spent.map_or_else(|| start.elapsed().as_secs_f64(), |nanoseconds| 1e-9 * nanoseconds)
}

/// Rounds of each step; the best and the middle one are printed.
const ROUNDS: usize = 9;

fn tell(step: &str, mut seconds: Vec<f64>) {
    seconds.sort_by(f64::total_cmp);
    println!(
        "{{\"step\": \"{step}\", \"best_s\": {:.4}, \"median_s\": {:.4}}}",
        seconds[0],
        seconds[seconds.len() / 2]
    );
}

fn best<T>(what: &str, mut step: impl FnMut() -> T) -> T {
    let clock = Instant::now();
    let mut seconds = Vec::new();
    let mut last = None;
    for _ in 0..ROUNDS {
        let start = now(clock);
        last = Some(step());
        seconds.push(now(clock) - start);
    }
    tell(what, seconds);
    last.expect("some rounds")
}

/// The decoder by itself, without what we do around it: limits, the camera's notes, the picture turned upright.
fn decoded_alone(bytes: &[u8]) -> Result<()> {
    if image::guess_format(bytes)? == image::ImageFormat::Jpeg {
        let decode =
            || zune_jpeg::JpegDecoder::new(ZCursor::new(bytes)).decode().map(|samples| samples.len());
        best("decode, zune-jpeg alone", decode).map_err(|why| why.to_string())?;
    }
    Ok(())
}

fn ring_steps(name: &str) -> Result<()> {
    let bytes = std::fs::read(name)?;
    decoded_alone(&bytes)?;
    let picture = best("decode", || Picture::from_bytes(&bytes))?;
    let clock = Instant::now();
    let mut stages: Vec<(&'static str, Vec<f64>)> = Vec::new();
    for _ in 0..ROUNDS {
        let told = RefCell::new(Vec::new());
        let last = Cell::new(now(clock));
        let ended = |stage: &'static str| {
            let time = now(clock);
            told.borrow_mut().push((stage, time - last.replace(time)));
        };
        find_ring_telling(&picture, &RingHints::default(), &ended)?;
        for (stage, time) in told.into_inner() {
            match stages.iter_mut().find(|(name, _)| *name == stage) {
                Some((_, times)) => times.push(time),
                None => stages.push((stage, vec![time])),
            }
        }
    }
    stages.into_iter().for_each(|(stage, times)| tell(&format!("  {stage}"), times));
    best("ring", || find_ring(&picture, &RingHints::default()).map(|trace| trace.semi_axes_px))?;
    Ok(())
}

/// The coils on the scale's photograph, and whether they stand elsewhere on the ring's.
fn coil_steps(
    ring: &str,
    scale: &str,
    [distance, bulb, radius, separation, radial, axial]: [f64; 6],
) -> Result<()> {
    let plane = scale_steps(scale, Some(distance))?;
    let face = |coil: f64, side: f64| CoilFace {
        above_mm: 0.5 * (coil * separation + side * axial),
        rims_mm: [radius - 0.5 * radial, radius + 0.5 * radial],
        is_square: false,
    };
    let faces = [face(-1.0, -1.0), face(-1.0, 1.0), face(1.0, -1.0), face(1.0, 1.0)];
    let [ring, scale] =
        [ring, scale].map(|name| std::fs::read(name).map(|bytes| Picture::from_bytes(&bytes)));
    let (ring, scale) = (ring??, scale??);
    // the outline's radius as `rings` allows for it
    let px_per_mm = plane.px_per_mm([0.0, 0.0]).ok_or("the plane is not seen")?;
    let bulb_radius_px = Some([0.85, 1.2].map(|share| share * bulb * 0.5 * (px_per_mm[0] + px_per_mm[1])));
    let hints = RingHints { bulb_radius_px, ..RingHints::default() };
    best("ring inside the bulb", || find_ring(&ring, &hints).map(|trace| trace.semi_axes_px))?;
    let still = best("coils found on the scale's photograph", || {
        StillEdges::on_scale_photo(&scale, &plane, &faces).ok_or("no coils are seen")
    })?;
    best("coils compared", || still.moved(&ring, &plane).map(|moved| moved.edges_px));
    Ok(())
}

fn scale_steps(name: &str, distance_mm: Option<f64>) -> Result<ScalePlane> {
    let bytes = std::fs::read(name)?;
    let picture = best("decode of the scale", || Picture::from_bytes(&bytes))?;
    let hints = ScaleHints { spacing_mm: Some(1.0), ..ScaleHints::default() };
    let found = best("scale found", || find_scale(&picture, &hints))?;
    let size = [picture.width(), picture.height()];
    let distance_mm = distance_mm.map(|distance| (distance, 0.01 * distance));
    let camera = CameraHints { distance_mm, ..CameraHints::default() };
    Ok(best("camera calibrated", || fit_plane(&found, size, &camera))?)
}

/// Names of the kernels.
const DECODE: &str = "decode of 12 megapixels";
const RING: &str = "ring on 12 megapixels";

/// From a file to its picture, or to centre and semi-axes of the ring.
struct Photograph {
    path: Option<PathBuf>,
    /// A ring of our own, where no folder is named.
    drawn: Vec<u8>,
    is_whole: bool,
    /// Centre, major and minor semi-axis.
    found: Vec<f64>,
}

impl Kernel for Photograph {
    fn method(&self) -> String {
        if self.is_whole { "decoded, ring followed, ellipse" } else { "decoded" }.to_owned()
    }

    fn amount(&self) -> (usize, &'static str) {
        (1, "photographs")
    }

    fn call(&mut self) -> Result<()> {
        let bytes = self.path.as_ref().map_or_else(|| Ok(self.drawn.clone()), std::fs::read)?;
        let picture = Picture::from_bytes(&bytes)?;
        if self.is_whole {
            let trace = find_ring(&picture, &RingHints::default())?;
            self.found = [trace.centre_px, trace.semi_axes_px].concat();
        }
        Ok(())
    }

    fn result(&self) -> Vec<f64> {
        self.found.clone()
    }

    fn error(&self) -> Result<f64> {
        let off = |(found, drawn): (&f64, &f64)| (found / drawn - 1.0).abs();
        Ok(self.found.iter().zip(&ELLIPSE).map(off).fold(0.0, f64::max))
    }
}

/// Centre and semi-axes of our own ring, in pixels.
const ELLIPSE: [f64; 4] = [2010.0, 1490.0, 1000.0, 980.0];

/// A grey JPEG of 12 megapixels with a bright ring.
fn drawn() -> Result<Vec<u8>> {
    const SIDES: [u32; 2] = [4000, 3000];
    let [cx, cy, a, b] = ELLIPSE;
    let mut grey = Vec::with_capacity((SIDES[0] * SIDES[1]) as usize);
    for y in 0..SIDES[1] {
        for x in 0..SIDES[0] {
            let (u, v) = ((f64::from(x) - cx) / a, (f64::from(y) - cy) / b);
            // the distance from an ellipse to first order
            let off = (u.hypot(v) - 1.0) * u.hypot(v) / (u / a).hypot(v / b).max(1e-9);
            grey.push((12.0 + 190.0 * (-0.5 * (off / 9.0).powi(2)).exp()).round() as u8);
        }
    }
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90).encode(
        &grey,
        SIDES[0],
        SIDES[1],
        image::ExtendedColorType::L8,
    )?;
    Ok(bytes.into_inner())
}

fn make(name: &str, folder: Option<&Path>) -> Result<Box<dyn Kernel>> {
    let drawn = if folder.is_none() { drawn()? } else { Vec::new() };
    let path = folder.map(|folder| folder.join("ring.jpg"));
    let is_whole = match name {
        DECODE => false,
        RING => true,
        other => return Err(format!("no kernel `{other}`").into()),
    };
    Ok(Box::new(Photograph { path, drawn, is_whole, found: Vec::new() }))
}
