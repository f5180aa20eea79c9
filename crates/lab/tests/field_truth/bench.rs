//! An invented bench: its files, and tables of readings made from its truth by the direct field of its windings.

use std::fmt::Write as _;

use arcmass_lab::Desk;
use arcmass_lab::document::{FieldDocument, Q};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_notebook::Notebook;
use arcmass_physics::{CoilSet, Shape, Vec3, Winding};
use tempfile::TempDir;

/// What a bench really is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Truth {
    pub(crate) radius_m: f64,
    pub(crate) separation_m: f64,
    pub(crate) turns: f64,
    /// Factor on the coils' field, for a bench whose turns were miscounted.
    pub(crate) scale: f64,
    pub(crate) background_t: [f64; 3],
    /// Probe shows true − zero.
    pub(crate) probe_zero_t: f64,
    pub(crate) probe_noise_t: f64,
}

pub(crate) const TRUTH: Truth = Truth {
    radius_m: 0.15,
    separation_m: 0.15,
    turns: 124.0,
    scale: 1.0,
    background_t: [12e-6, -40e-6, 25e-6],
    probe_zero_t: -60e-6,
    probe_noise_t: 1e-6,
};

/// The bench file that belongs to [`TRUTH`].
pub(crate) const BENCH: &str = r#"
[bench]
format = 1
name = "Invented bench"

[coils]
mean_radius = "150.0(5) mm"
separation = "150.0(7) mm"
turns = 124
field_direction = "+z"
current_limit = "2 A"

[gun]
muzzle = ["0 mm", "-40 mm", "0 mm"]
direction = [1, 0, 0]
voltage_limit = "300 V"
voltage_minimum = "120 V"
voltage_offset = "0(0) V"

[bulb]
outer_radius = "80.0(5) mm"
glass_thickness = "1.5 mm"
clearance = "8 mm"

[meters.current]
of_reading = "0.05 %"
resolution = "0.0001 A"

[meters.probe]
of_reading = "0.5 %"
digits = 0
resolution = "0.0001 mT"
noise = "1 uT"
"#;

/// One line of a probe table.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    pub(crate) current_a: f64,
    pub(crate) axis: usize,
    pub(crate) at_mm: [f64; 3],
    pub(crate) turned_deg: f64,
    pub(crate) reversed: bool,
}

pub(crate) fn at_centre(current_a: f64) -> Line {
    Line { current_a, axis: 2, at_mm: [0.0; 3], turned_deg: 0.0, reversed: false }
}

impl Truth {
    fn coils(&self) -> CoilSet {
        let winding = |z: f64| Winding {
            shape: Shape::Circular,
            mean_radius_m: self.radius_m,
            turns: self.turns,
            sense: 1.0,
            centre_m: Vec3::new(0.0, 0.0, z),
            axis: Vec3::Z,
            winding_radial_m: 0.0,
            winding_axial_m: 0.0,
        };
        CoilSet { windings: vec![winding(-0.5 * self.separation_m), winding(0.5 * self.separation_m)] }
    }

    /// T/A.
    pub(crate) fn per_ampere(&self) -> f64 {
        self.scale * self.coils().flux_density_per_ampere(Vec3::ZERO).unwrap().z
    }

    /// What the probe shows, T: component along its own axis, its zero, one draw of noise.
    fn shown(&self, line: &Line, noise: &mut Noise) -> f64 {
        let [x, y, z] = line.at_mm.map(|mm| 1e-3 * mm);
        let coils =
            self.coils().flux_density_per_ampere(Vec3::new(x, y, z)).unwrap() * (self.scale * line.current_a);
        // the bench turned by θ about the vertical: the surroundings turn by −θ about +y in its frame
        let angle = -line.turned_deg.to_radians();
        let [bx, by, bz] = self.background_t;
        let background = [bx * angle.cos() + bz * angle.sin(), by, -bx * angle.sin() + bz * angle.cos()];
        let component = [coils.x, coils.y, coils.z][line.axis] + background[line.axis];
        let sign = if line.reversed { -1.0 } else { 1.0 };
        sign * component - self.probe_zero_t + self.probe_noise_t * noise.normal()
    }

    /// A probe table.
    pub(crate) fn table(&self, lines: &[Line], noise: &mut Noise) -> String {
        let mut text = String::from(
            "current_A,flux_density_mT,component,x_mm,y_mm,z_mm,bench_turned_deg,probe_reversed\n",
        );
        for line in lines {
            let [x, y, z] = line.at_mm;
            let shown = 1e3 * self.shown(line, noise);
            let axis = ["x", "y", "z"][line.axis];
            let reversed = if line.reversed { "yes" } else { "no" };
            writeln!(text, "{},{shown:.7},{axis},{x},{y},{z},{},{reversed}", line.current_a, line.turned_deg)
                .unwrap();
        }
        text
    }
}

/// Normal draws from a small generator (xorshift64*, constants from memory) by sums of twelve.
#[derive(Debug)]
pub(crate) struct Noise(pub(crate) u64);

impl Noise {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// A notebook of these files.
pub(crate) fn notebook(files: &[(&str, &str)]) -> (TempDir, Notebook) {
    let folder = TempDir::new().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let notebook = Notebook::open(folder.path()).unwrap_or_else(|faults| panic!("{faults}"));
    (folder, notebook)
}

/// The field of these files.
pub(crate) fn field_of(files: &[(&str, &str)]) -> FieldDocument {
    let (_folder, notebook) = notebook(files);
    field(&notebook, &FieldQuestion::default(), &Desk::default()).unwrap()
}

/// The value lies within `k` standard uncertainties of the truth.
pub(crate) fn assert_holds(q: &Q, truth: f64, k: f64, what: &str) {
    let apart = (q.value - truth).abs() / q.standard_uncertainty;
    assert!(apart < k, "{what}: {} ± {} against {truth}, {apart:.2} u", q.value, q.standard_uncertainty);
}
