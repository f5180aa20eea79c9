//! The measured centre line against the known one of drawn photographs, and the errors of files that are no photograph.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use arcmass_photo::{PhotoError, Picture, RingHints, RingTrace, find_ring};

/// Largest mean offset along the normals, in pixels: a tenth of a pixel is 0.03 % of the smallest ring's diameter.
const BIAS_PX: f64 = 0.1;
/// Largest scatter about that mean, in pixels.
const RMS_PX: f64 = 0.1;

fn data(set: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(set)
}

/// Offset of an accepted point from the polyline along its normal; `None` when no visible piece lies within 4 pixels.
fn offset(
    point: &arcmass_photo::TracePoint,
    line: &[[f64; 2]],
    seen: &[bool],
    radius_px: f64,
) -> Option<f64> {
    let mut best: Option<f64> = None;
    for (w, v) in line.windows(2).zip(seen.windows(2)).filter(|(_, v)| v[0] && v[1]) {
        let _ = v;
        let (dx, dy) = (w[1][0] - w[0][0], w[1][1] - w[0][1]);
        let length = dx * dx + dy * dy;
        let u = ((point.x_px - w[0][0]) * dx + (point.y_px - w[0][1]) * dy) / length;
        if !(-0.01..=1.01).contains(&u) {
            continue;
        }
        let (ex, ey) = (point.x_px - w[0][0] - u * dx, point.y_px - w[0][1] - u * dy);
        // the arc stands outside its chord by u (1 − u) c² / 2 r
        let d = ex * point.normal[0] + ey * point.normal[1] - u * (1.0 - u) * length / (2.0 * radius_px);
        if d.abs() < best.map_or(4.0, f64::abs) {
            best = Some(d);
        }
    }
    best
}

fn bias_and_rms(trace: &RingTrace, answer: &serde_json::Value) -> (f64, f64, usize, usize) {
    let pair = |p: &serde_json::Value| [p[0].as_f64().unwrap(), p[1].as_f64().unwrap()];
    let line: Vec<[f64; 2]> = answer["seen_px"].as_array().unwrap().iter().map(pair).collect();
    let seen: Vec<bool> =
        answer["visible"].as_array().unwrap().iter().map(|v| v.as_i64() == Some(1)).collect();
    let accepted: Vec<_> = trace.points.iter().filter(|p| p.accepted).collect();
    let ds: Vec<f64> =
        accepted.iter().filter_map(|p| offset(p, &line, &seen, trace.semi_axes_px[0])).collect();
    let n = ds.len() as f64;
    let bias = ds.iter().sum::<f64>() / n;
    let rms = (ds.iter().map(|d| (d - bias).powi(2)).sum::<f64>() / n).sqrt();
    (bias, rms, ds.len(), accepted.len())
}

#[test]
fn the_centre_line_is_right_to_a_tenth_of_a_pixel_on_the_drawn_photographs() {
    let mut measured = 0;
    for set in ["typical", "tilted-camera"] {
        let text = std::fs::read_to_string(data(set).join("answer.json")).unwrap();
        let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
        for (name, photo) in
            answer["photos"].as_object().unwrap().iter().filter(|(n, _)| n.starts_with("ring"))
        {
            let Ok(bytes) = std::fs::read(data(set).join("photos").join(name)) else { continue };
            let trace = find_ring(&Picture::from_bytes(&bytes).unwrap(), &RingHints::default()).unwrap();
            let (bias, rms, near, accepted) = bias_and_rms(&trace, &photo["centreline"]);
            let what = format!(
                "{set}/{name}: bias {bias:.3} px, rms {rms:.3} px, {near} of {accepted} points near the line"
            );
            assert!(bias.abs() < BIAS_PX && rms < RMS_PX, "{what}");
            assert!(near + 2 >= accepted && trace.arc_seen_deg > 280.0, "{what}, arc {}", trace.arc_seen_deg);
            let first = photo["centreline"]["seen_px"][0].as_array().unwrap();
            let muzzle = trace.muzzle_px.expect("the muzzle is seen");
            let off = (muzzle[0] - first[0].as_f64().unwrap()).hypot(muzzle[1] - first[1].as_f64().unwrap());
            assert!(off < 2.0 * trace.beam_width_px[0], "{what}, muzzle off by {off:.1} px");
            measured += 1;
        }
    }
    assert!(measured >= 2, "the photographs of the test data were not found");
}

/// A drawn ring with a gap at the bottom, a Gaussian line on a dark ground with a little deterministic noise.
fn drawn(centre: [f64; 2], semi: [f64; 2], sigma: f64, gap_deg: f64) -> Picture {
    drawn_lines(&[Drawn { centre, semi, height: 0.4 }], sigma, gap_deg)
}

/// One closed line of a drawn picture.
struct Drawn {
    centre: [f64; 2],
    semi: [f64; 2],
    height: f64,
}

/// Several such lines; the first gap at the bottom is that of all.
fn drawn_lines(lines: &[Drawn], sigma: f64, gap_deg: f64) -> Picture {
    let (w, h) = (480_usize, 360_usize);
    let mut state = 7_u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / f64::from(1 << 24) - 0.5
    };
    let mut rgb = Vec::with_capacity(w * h * 3);
    for y in 0..h {
        for x in 0..w {
            let one = |line: &Drawn| {
                let Drawn { centre, semi, height } = line;
                let (u, v) = ((x as f64 - centre[0]) / semi[0], (y as f64 - centre[1]) / semi[1]);
                let from_bottom = u.atan2(v).to_degrees().abs();
                let g = u.hypot(v);
                // first-order distance from an ellipse: (g − 1) / |grad g|
                let slope = (u / semi[0]).hypot(v / semi[1]) / g.max(1e-9);
                let d = (g - 1.0) / slope.max(1e-9);
                if from_bottom < 0.5 * gap_deg { 0.0 } else { height * (-0.5 * (d / sigma).powi(2)).exp() }
            };
            let beam: f64 = lines.iter().map(one).sum();
            for colour in [0.5, 1.0, 0.9] {
                let light: f64 = 0.01 + beam * colour + 0.004 * noise();
                let encoded =
                    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
                rgb.push((encoded.clamp(0.0, 1.0) * 255.0).round() as u8);
            }
        }
    }
    Picture::from_rgb8(w, h, rgb).unwrap()
}

#[test]
fn a_small_drawn_ellipse_with_a_gap_is_measured_to_a_few_hundredths() {
    let trace = find_ring(&drawn([238.3, 181.6], [120.0, 113.0], 2.0, 40.0), &RingHints::default()).unwrap();
    let want = [238.3, 181.6, 120.0, 113.0];
    let got = [trace.centre_px[0], trace.centre_px[1], trace.semi_axes_px[0], trace.semi_axes_px[1]];
    for (g, w) in got.iter().zip(want) {
        assert!((g - w).abs() < 0.05, "{got:?} for {want:?}");
    }
    assert!((trace.beam_width_px[0] - 4.71).abs() < 0.3, "{:?}", trace.beam_width_px);
}

#[test]
fn a_second_turn_beside_the_first_is_left_out() {
    // the second turn lies up to 11 px inside on the right and 7 px outside on the left, and crosses the first twice
    let first = Drawn { centre: [238.3, 181.6], semi: [120.0, 119.0], height: 0.4 };
    let second = Drawn { centre: [229.3, 184.6], semi: [118.0, 117.0], height: 0.22 };
    let trace = find_ring(&drawn_lines(&[first, second], 2.0, 40.0), &RingHints::default()).unwrap();
    let want = [238.3, 181.6, 120.0, 119.0];
    let got = [trace.centre_px[0], trace.centre_px[1], trace.semi_axes_px[0], trace.semi_axes_px[1]];
    for (g, w) in got.iter().zip(want) {
        assert!((g - w).abs() < 0.1, "{got:?} for {want:?}");
    }
    // of 320° drawn; where the lines part, the cross-section is neither that of one line nor of two
    assert!(trace.arc_seen_deg > 213.0, "two thirds of it must be followed: {}", trace.arc_seen_deg);
    assert!(trace.caveats.iter().all(|c| c.code != "doubled-line"), "{:?}", trace.caveats);
}

#[test]
fn a_bulb_radius_close_to_the_ring_rules_it_out() {
    let hints = RingHints { bulb_radius_px: Some([110.0, 125.0]), ..RingHints::default() };
    assert!(find_ring(&drawn([238.3, 181.6], [120.0, 113.0], 2.0, 40.0), &hints).is_err());
}

#[test]
fn three_points_marked_by_hand_choose_the_ring() {
    let marks = vec![[358.3, 181.6], [118.3, 181.6], [238.3, 68.6]];
    let hints = RingHints { beam_points_px: marks, ..RingHints::default() };
    let trace = find_ring(&drawn([238.3, 181.6], [120.0, 113.0], 2.0, 40.0), &hints).unwrap();
    assert!((trace.semi_axes_px[0] - 120.0).abs() < 0.05, "{:?}", trace.semi_axes_px);
}

#[test]
fn a_line_without_a_gap_and_a_short_arc_are_said() {
    let codes = |gap| -> Vec<&'static str> {
        let found = find_ring(&drawn([238.3, 181.6], [118.0, 115.0], 2.0, gap), &RingHints::default());
        found.map_or(vec!["error"], |t| t.caveats.iter().map(|c| c.code).collect())
    };
    assert!(codes(0.0).contains(&"no-gap-for-the-gun"), "{:?}", codes(0.0));
    assert!(codes(240.0).contains(&"short-arc"), "{:?}", codes(240.0));
    assert!(codes(330.0).contains(&"error"), "{:?}", codes(330.0));
}

#[test]
fn an_even_picture_holds_no_ring() {
    let even = Picture::from_rgb8(300, 200, vec![40; 300 * 200 * 3]).unwrap();
    assert!(matches!(find_ring(&even, &RingHints::default()), Err(PhotoError::NoRing { .. })));
}

#[test]
fn files_that_are_no_photograph_are_refused_with_their_cause() {
    assert_eq!(Picture::from_bytes(b"voltage_V,current_A\n").err(), Some(PhotoError::UnknownKind));
    let whole = std::fs::read(data("typical").join("photos/ring-01.jpg")).unwrap();
    assert_eq!(Picture::from_bytes(&whole[..whole.len() / 2]).err(), Some(PhotoError::Truncated));
    // the frame header (marker, length, precision) is followed by height and width, two bytes each
    let frame = whole.windows(2).position(|m| m == [0xff, 0xc0] || m == [0xff, 0xc2]).unwrap();
    let mut huge = whole.clone();
    huge[frame + 5..frame + 9].copy_from_slice(&[0xea, 0x60, 0xea, 0x60]);
    let start = std::time::Instant::now();
    let refused = Picture::from_bytes(&huge).err();
    assert!(
        matches!(refused, Some(PhotoError::TooLarge { width: 60_000, height: 60_000, .. })),
        "{refused:?}"
    );
    assert!(start.elapsed().as_millis() < 200, "a size is refused before anything is decoded");
    let mut dot = whole;
    dot[frame + 5..frame + 9].copy_from_slice(&[0, 1, 0, 1]);
    assert!(matches!(
        Picture::from_bytes(&dot).err(),
        Some(PhotoError::TooSmall { width: 1, height: 1, .. })
    ));
}
