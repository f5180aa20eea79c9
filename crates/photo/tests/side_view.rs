//! Pitch and diameter of helices drawn across their axis, in pixels and in the plane of a scale, and what is no helix.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_photo::{Helix, PhotoError, Picture, RingHints, find_helix};

const WIDTH: usize = 640;
const HEIGHT: usize = 480;

/// Light dots of width `sigma` along a path of pixels, on a dark ground with a little repeatable noise.
fn drawn(path: &[[f64; 2]], sigma: f64) -> Picture {
    let mut light = vec![0.0_f64; WIDTH * HEIGHT];
    let reach = (4.0 * sigma).ceil() as i64;
    for w in path.windows(2) {
        let length = (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
        let (cx, cy) = (w[0][0].round() as i64, w[0][1].round() as i64);
        for y in cy - reach..=cy + reach {
            for x in cx - reach..=cx + reach {
                if x < 0 || y < 0 || x >= WIDTH as i64 || y >= HEIGHT as i64 {
                    continue;
                }
                let d2 = (x as f64 - w[0][0]).powi(2) + (y as f64 - w[0][1]).powi(2);
                light[y as usize * WIDTH + x as usize] += 0.16 * length * (-0.5 * d2 / (sigma * sigma)).exp();
            }
        }
    }
    let mut state = 11_u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / f64::from(1 << 24) - 0.5
    };
    let mut rgb = Vec::with_capacity(3 * light.len());
    for l in light {
        for colour in [0.6, 0.5, 1.0] {
            let v: f64 = 0.008 + 0.5 * l.min(1.5) * colour + 0.003 * noise();
            let encoded = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
            rgb.push((encoded.clamp(0.0, 1.0) * 255.0).round() as u8);
        }
    }
    Picture::from_rgb8(WIDTH, HEIGHT, rgb).unwrap()
}

/// A helix about a nearly level axis before an eye 2 000 pixels away: pitch and radius in pixels in the axis' plane.
fn helix(pitch: f64, radius: f64, turns: f64) -> Vec<[f64; 2]> {
    let tilt = 0.06_f64;
    (0..(turns * 2000.0) as usize)
        .map(|i| {
            let psi = i as f64 / 2000.0 * std::f64::consts::TAU + 0.8;
            let along = pitch * (i as f64 / 2000.0 - 0.5 * turns);
            let (across, z) = (radius * psi.cos(), radius * psi.sin());
            let k = 2000.0 / (2000.0 - z);
            let (x, y) = (along * tilt.cos() - across * tilt.sin(), along * tilt.sin() + across * tilt.cos());
            [319.5 + k * (x + 10.0), 239.5 + k * (y - 6.0)]
        })
        .collect()
}

fn found(path: &[[f64; 2]]) -> Result<Helix, PhotoError> {
    find_helix(&drawn(path, 2.2), &RingHints::default())
}

#[test]
fn pitch_and_diameter_of_a_drawn_helix_are_right_to_half_a_percent() {
    for (pitch, radius, turns) in [(110.0, 95.0, 3.3), (260.0, 120.0, 1.4), (70.0, 60.0, 5.0)] {
        let h = found(&helix(pitch, radius, turns)).unwrap();
        let what =
            format!("pitch {:?} for {pitch}, diameter {:?} for {}", h.pitch_px, h.diameter_px, 2.0 * radius);
        assert!((h.pitch_px[0] - pitch).abs() < 0.005 * pitch, "{what}");
        assert!((h.diameter_px[0] - 2.0 * radius).abs() < 0.005 * 2.0 * radius, "{what}");
        assert!((h.axis_angle_deg - 0.06_f64.to_degrees()).abs() < 0.5, "{what}, axis {}", h.axis_angle_deg);
        assert!((h.turns_seen - turns).abs() < 0.25 * turns, "{what}, turns {}", h.turns_seen);
        assert!(h.points.windows(2).all(|w| w[1].turns > w[0].turns), "points run along the axis");
    }
}

#[test]
fn a_straight_line_a_ring_and_a_dark_picture_are_no_helix() {
    let line: Vec<[f64; 2]> =
        (0..2000).map(|i| [60.0 + 0.25 * f64::from(i), 200.0 + 0.02 * f64::from(i)]).collect();
    let ring: Vec<[f64; 2]> = (0..=2000)
        .map(|i| (f64::from(i) * std::f64::consts::TAU / 2000.0).sin_cos())
        .map(|(s, c)| [320.0 + 150.0 * c, 240.0 + 150.0 * s])
        .collect();
    for (name, path) in [("line", line), ("ring", ring), ("nothing", Vec::new())] {
        let error = found(&path).expect_err(name);
        assert!(
            matches!(error, PhotoError::NoHelix { .. } | PhotoError::TooFewTurns { .. }),
            "{name}: {error}"
        );
        assert!(error.remedy().contains("photograph again"), "{name}");
    }
}

#[test]
fn half_a_turn_is_refused_and_less_than_one_is_said() {
    let part = found(&helix(300.0, 120.0, 0.4));
    assert!(matches!(part, Err(PhotoError::TooFewTurns { .. } | PhotoError::NoHelix { .. })), "{part:?}");
    let most = found(&helix(300.0, 120.0, 0.93)).unwrap();
    assert!(most.caveats.iter().any(|c| c.code == "less-than-a-turn"), "{:?} turns", most.turns_seen);
}
