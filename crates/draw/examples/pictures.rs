//! Draws a ring and a scale at full size into a folder, to be looked at: `pictures DIR`.

use arcmass_draw::{
    Beam, Bulb, Camera, Coils, Edge, Gun, Haze, Holder, Room, ScaleKind, ScaleObject, Scene, Sensor, Surface,
    draw_bench, draw_ring, draw_scale,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).ok_or("name a folder to draw into")?;
    let folder = std::path::Path::new(&folder);
    let start = std::time::Instant::now();
    std::fs::write(folder.join("ring.jpg"), draw_ring(&scene())?.jpeg)?;
    println!("ring: {:?}", start.elapsed());
    let start = std::time::Instant::now();
    let lit = Scene { room: Room::lit(), ..scene() };
    let holder = Some(Holder { along_mm: 120.0, width_mm: 16.0, reach_mm: 7.0 });
    let ruler = ScaleObject { holder, ..ScaleObject::ruler(200, -85.0, -58.0, 0.4, 31.0) };
    std::fs::write(folder.join("scale.jpg"), draw_scale(&lit, &ruler)?.jpeg)?;
    println!("scale: {:?}", start.elapsed());
    let paper = ScaleObject { ground: [0.82, 0.81, 0.78], ..ScaleObject::ruler(1, -60.0, -50.0, 0.0, 3.0) };
    let grid = ScaleKind::Grid { columns: 24, rows: 20, spacing_mm: 5.0, line_mm: 0.35 };
    std::fs::write(
        folder.join("grid.jpg"),
        draw_scale(&lit, &ScaleObject { kind: grid, ..paper.clone() })?.jpeg,
    )?;
    let board = ScaleKind::Board { columns: 12, rows: 10, square_mm: 10.0 };
    std::fs::write(folder.join("board.jpg"), draw_scale(&lit, &ScaleObject { kind: board, ..paper })?.jpeg)?;
    for (name, ruler) in rulers() {
        std::fs::write(folder.join(format!("{name}.jpg")), draw_scale(&lit, &ruler)?.jpeg)?;
    }
    let dark = Scene { room: Room { light: 0.0, reflections: 0.0, ..Room::dark() }, ..lit.clone() };
    std::fs::write(folder.join("lit-from-behind.jpg"), draw_scale(&dark, &clear(0.6))?.jpeg)?;
    let half_lit = Scene { room: Room { light: 0.09, ..Room::dark() }, ..scene() };
    let low = ScaleObject { surface: Surface::Wood, ..ScaleObject::ruler(200, -100.0, -112.0, 0.0, 2.0) };
    let up = ScaleObject::ruler(200, -90.0, 90.0, 0.0, -88.0);
    std::fs::write(folder.join("both.jpg"), draw_bench(&half_lit, &[low, up])?.jpeg)?;
    let behind = ScaleObject::ruler(200, -100.0, -20.0, -90.0, 6.0);
    std::fs::write(folder.join("through-the-bulb.jpg"), draw_bench(&half_lit, &[behind])?.jpeg)?;
    let mut side = scene();
    side.camera = Camera {
        position_mm: [620.0, 12.0, 20.0],
        look_at_mm: [0.0; 3],
        ..Camera::on_axis(620.0, 5800.0, 3000, 2000)
    };
    if let Some(beam) = &mut side.beam {
        for (step, point) in beam.points_mm.iter_mut().enumerate() {
            point[2] = 0.1 * step as f64 - 20.0;
        }
    }
    std::fs::write(folder.join("side.jpg"), draw_ring(&side)?.jpeg)?;
    Ok(())
}

/// One ruler of each kind.
fn rulers() -> Vec<(&'static str, ScaleObject)> {
    let of = |near, far| ScaleKind::Ruler { length_mm: 200, width_mm: 28.0, near, far, numerals: true };
    let plain = ScaleObject { surface: Surface::Plain, ..ScaleObject::ruler(200, -85.0, -58.0, 0.4, 31.0) };
    let wood = ScaleObject {
        kind: of(Edge::Millimetres, Edge::Bare),
        ground: [0.52, 0.33, 0.16],
        surface: Surface::Wood,
        ..plain.clone()
    };
    let yellow = ScaleObject {
        kind: of(Edge::Millimetres, Edge::Millimetres),
        ground: [0.85, 0.62, 0.05],
        hidden_mm: vec![[60.0, 75.0, -1.0, 40.0], [120.0, 131.0, -1.0, 12.0]],
        ..plain.clone()
    };
    let fine = ScaleObject { kind: of(Edge::HalfMillimetres, Edge::Centimetres), ..plain.clone() };
    let dark = ScaleObject { ground: [0.03; 3], ink: [0.8; 3], ..plain };
    vec![("wood", wood), ("yellow", yellow), ("fine", fine), ("dark", dark), ("clear", clear(0.0))]
}

/// A clear ruler, with a panel of light behind it or without.
fn clear(lit_from_behind: f64) -> ScaleObject {
    ScaleObject {
        see_through: 0.85,
        lit_from_behind,
        surface: Surface::Plain,
        ..ScaleObject::ruler(200, -85.0, -58.0, 0.4, 31.0)
    }
}

fn scene() -> Scene {
    let radius = 42.0;
    let points_mm = (0..=260)
        .map(|step| {
            let angle = f64::from(step) / radius;
            [radius * libm::sin(angle), -36.0 + radius * (1.0 - libm::cos(angle)), 0.012 * f64::from(step)]
        })
        .collect();
    Scene {
        camera: Camera {
            position_mm: [36.0, 12.0, 620.0],
            look_at_mm: [2.0, -1.0, 0.0],
            roll_deg: 0.7,
            k1: -0.05,
            k2: 0.02,
            ..Camera::on_axis(620.0, 5800.0, 3000, 2000)
        },
        bulb: Some(Bulb { outer_radius_mm: 84.0, glass_thickness_mm: 2.0, glass_index: 1.48 }),
        coils: Some(Coils {
            mean_radius_mm: 160.0,
            separation_mm: 160.0,
            winding_radial_mm: 12.0,
            winding_axial_mm: 14.0,
        }),
        gun: Some(Gun {
            muzzle_mm: [0.0, -36.0, 0.0],
            direction: [1.0, 0.0, 0.0],
            length_mm: 26.0,
            radius_mm: 5.6,
            neck_direction: [0.0, -1.0, 0.0],
        }),
        beam: Some(Beam {
            points_mm,
            bundle_mm: Vec::new(),
            sigma_mm: (0..=260).map(|step| 0.36 + 0.0012 * f64::from(step)).collect(),
            brightness: 1.6,
            fading_length_mm: 700.0,
            colour: [0.55, 0.44, 1.0],
            halo: 0.35,
            haze_inside: Some(Haze { strength: 0.35, mean_loss: 0.12 }),
        }),
        room: Room::dark(),
        sensor: Sensor::good(),
        seed: 11,
    }
}
