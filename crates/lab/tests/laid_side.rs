//! A predicted helix laid over drawn side views, seen from either side, by a camera that stands a little askew.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod aside;

use arcmass_draw::{Beam, Room, ScaleObject, draw_bench, draw_ring};
use arcmass_lab::Desk;
use arcmass_lab::document::PathDocument;
use arcmass_lab::path::{Calibrated, Setting};
use arcmass_lab::photograph::opened::{Laid, Opened};
use arcmass_notebook::Notebook;
use aside::{scene, write};

/// The scale stood this far before the axis.
const OFFSET_MM: f64 = 4.0;
/// Where the bench's origin stands in the picture's frame, mm, and how far the camera is turned about its line of sight.
const SHIFT_MM: [f64; 2] = [7.0, -11.0];
const ASKEW_DEG: f64 = 1.5;

const BENCH: &str = r#"
[bench]
format = 1
name = "Side bench"
[coils]
shape = "circular"
mean_radius = "150 mm ± 0.1 mm"
separation = "150 mm ± 0.1 mm"
turns = 130
[gun]
muzzle = ["0 mm", "-40 mm", "-20 mm"]
muzzle_uncertainty = "0.1 mm"
direction = [1, 0, 0]
direction_uncertainty = "0.1 deg"
voltage_limit = "300 V"
voltage_offset = "0 V ± 0.1 V"
[bulb]
outer_radius = "80 mm ± 0.1 mm"
[surroundings]
background = ["0 uT ± 1 uT", "-45 uT ± 1 uT", "0 uT ± 1 uT"]
[camera]
distance = "900 mm ± 5 mm"
[scale]
spacing = "1 mm"
offset = "4 mm ± 0.2 mm"
relative_uncertainty = "0.01 %"
"#;

/// The bench before a camera on the side of +x (`side` = 1) or −x: z runs to the left, or to the right.
fn before_the_camera(path: &PathDocument, side: f64) -> Vec<[f64; 3]> {
    let (sine, cosine) = ASKEW_DEG.to_radians().sin_cos();
    let place = |p: &[f64; 3]| {
        let [right, up] = [-side * p[2] + SHIFT_MM[0], p[1] + SHIFT_MM[1]];
        [cosine * right - sine * up, sine * right + cosine * up, side * p[0]]
    };
    path.drawn_mm.iter().map(place).collect()
}

fn setting(current_a: f64) -> Setting {
    Setting { voltage_v: 200.0, current_a, gun_tilt_deg: 8.0, field_sense: 1.0, bench_turned_deg: 0.0 }
}

/// A notebook with one side view of the path at 1.5 A, its photograph on the desk, and its calibrated bench.
struct Case {
    notebook: Notebook,
    opened: Opened,
    calibrated: Calibrated,
    desk: Desk,
    _folder: tempfile::TempDir,
}

impl Case {
    fn seen_from(side: f64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        std::fs::create_dir_all(root.join("photos")).unwrap();
        write(root, "bench.toml", BENCH.as_bytes());
        let table = "run,voltage_V,current_A,gun_tilt_deg,ring_photo,scale_photo,view\n1,200.0,1.5,8,side.jpg,scale.jpg,side\n";
        write(root, "readings.csv", table.as_bytes());
        let ruler = ScaleObject::ruler(180, -90.0, -20.0, OFFSET_MM, 4.0);
        write(root, "photos/scale.jpg", &draw_bench(&scene(Room::lit(), None), &[ruler]).unwrap().jpeg);
        write(root, "photos/side.jpg", b"");
        let desk = Desk { seed: 1, workers: 1 };
        let calibrated = Calibrated::of(&Notebook::open(root).unwrap(), &desk).unwrap();
        let true_path = calibrated.path(&Notebook::open(root).unwrap(), &setting(1.5), &desk).unwrap();
        let beam = Beam {
            points_mm: before_the_camera(&true_path, side),
            sigma_mm: vec![0.4],
            bundle_mm: Vec::new(),
            brightness: 1.0,
            fading_length_mm: 2000.0,
            colour: [0.5, 0.5, 1.0],
            halo: 0.2,
            haze_inside: None,
        };
        let photo = draw_ring(&scene(Room { reflections: 0.0, ..Room::dark() }, Some(beam))).unwrap();
        write(root, "photos/side.jpg", &photo.jpeg);
        let notebook = Notebook::open(root).unwrap();
        let opened = Opened::open(&notebook, "side.jpg").unwrap();
        Self { notebook, opened, calibrated, desk, _folder: folder }
    }

    fn laid(&self, current_a: f64) -> (Laid, PathDocument) {
        let path = self.calibrated.path(&self.notebook, &setting(current_a), &self.desk).unwrap();
        (self.opened.lay(&self.notebook, &path).unwrap(), path)
    }
}

/// Root mean square distance of the photographed beam from the prediction, pixels.
fn apart_px(laid: &Laid) -> f64 {
    let nearest = |p: &[f64; 2]| {
        let ways = laid.path_px.windows(2).map(|pair| {
            let (dx, dy) = (pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
            let t = ((p[0] - pair[0][0]) * dx + (p[1] - pair[0][1]) * dy) / (dx * dx + dy * dy).max(1e-12);
            let t = t.clamp(0.0, 1.0);
            (p[0] - pair[0][0] - t * dx).powi(2) + (p[1] - pair[0][1] - t * dy).powi(2)
        });
        ways.fold(f64::INFINITY, f64::min)
    };
    (laid.beam_px.iter().map(nearest).sum::<f64>() / laid.beam_px.len() as f64).sqrt()
}

#[test]
fn a_prediction_lies_on_its_own_photograph_from_either_side() {
    for side in [1.0, -1.0] {
        let case = Case::seen_from(side);
        let (laid, path) = case.laid(1.5);
        let view = laid.side.clone().unwrap();
        let apart = apart_px(&laid);
        println!("side {side}: {apart:.2} px apart, {view:?}, diameter {:?}", laid.difference_mm);
        assert!(laid.is_centred && laid.beam_px.len() > 100);
        assert!(apart < 1.0, "{apart} px; 5.6 px make a millimetre");
        assert_eq!(view.camera_on, if side > 0.0 { "+x" } else { "-x" });
        assert!((view.turned_deg - ASKEW_DEG).abs() < 0.2, "{}", view.turned_deg);
        // in the mean of what is seen the field is weaker than in the first turn
        let pitch = view.predicted_pitch_mm.unwrap();
        assert!((pitch / path.pitch_mm.unwrap().abs() - 1.0).abs() < 0.1, "{pitch}");
        assert!(view.difference_mm.unwrap().abs() < 0.005 * pitch, "{view:?}");
        // under two turns of a wide pitch the photograph itself knows the diameter to some per cent only
        let photographed = laid.photographed_diameter_mm.unwrap();
        let off = laid.difference_mm.unwrap().abs();
        assert!(off < 2.5 * photographed.standard_uncertainty, "{off} mm of {photographed:?}");
        assert!((laid.predicted_diameter_mm.unwrap() / path.fitted_diameter_mm.unwrap() - 1.0).abs() < 0.02);
        // where the muzzle stands: what the photograph does not tell exactly, but to a part of a millimetre
        let muzzle = laid.path_px[0];
        let (sine, cosine) = ASKEW_DEG.to_radians().sin_cos();
        let [right, up] = [-side * -20.0 + SHIFT_MM[0], -40.0 + SHIFT_MM[1]];
        // in the plane of the axis 5.6 px make a millimetre
        let scale = 5.6;
        let there =
            [599.5 + scale * (cosine * right - sine * up), 399.5 - scale * (sine * right + cosine * up)];
        let off = (muzzle[0] - there[0]).hypot(muzzle[1] - there[1]);
        assert!(off < 4.0, "the muzzle is {off} px off");
    }
}

#[test]
fn a_prediction_with_more_current_is_smaller_and_shorter() {
    let case = Case::seen_from(1.0);
    let ((usual, _), (laid, _)) = (case.laid(1.5), case.laid(1.545));
    let pitch = |laid: &Laid| laid.side.as_ref().unwrap().predicted_pitch_mm.unwrap();
    let diameter = |laid: &Laid| laid.predicted_diameter_mm.unwrap();
    // three per cent more field: radius and pitch go as 1/B
    for (less, more) in [(pitch(&usual), pitch(&laid)), (diameter(&usual), diameter(&laid))] {
        assert!((more / less * 1.03 - 1.0).abs() < 0.006, "{less} becomes {more}");
    }
    let off = laid.side.as_ref().unwrap().difference_mm.unwrap();
    assert!(off < -0.015 * pitch(&laid), "the prediction is shorter: {off} mm");
    assert!(apart_px(&laid) > 2.0, "what differs is seen to differ: {} px", apart_px(&laid));
}

#[test]
fn without_a_helix_the_path_stands_in_the_middle_and_says_so() {
    let mut case = Case::seen_from(1.0);
    let empty = draw_ring(&scene(Room { reflections: 0.0, ..Room::dark() }, None));
    let bytes = empty.map_or_else(|_| draw_bench(&scene(Room::dark(), None), &[]).unwrap().jpeg, |p| p.jpeg);
    write(&case.notebook.root, "photos/side.jpg", &bytes);
    case.opened = Opened::open(&case.notebook, "side.jpg").unwrap();
    let (laid, _) = case.laid(1.5);
    assert!(!laid.is_centred && laid.beam_px.is_empty() && laid.photographed_diameter_mm.is_none());
    assert!(laid.path_px.iter().all(|p| (0.0..1200.0).contains(&p[0]) && (0.0..800.0).contains(&p[1])));
}
