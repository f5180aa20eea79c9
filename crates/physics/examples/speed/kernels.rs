//! The kernels: fields at 10⁵ points, one turn, a bundle of turns.

use std::f64::consts::TAU;
use std::path::Path;

use arcmass_physics::{
    Arrival, BenchField, CoilSet, HowWide, Launch, Misalignment, PreparedField, Shape, TraceOptions, Until,
    Vec3, VectorColumns, VectorWidth, Winding, bundle::follow_bundle_at_width, trace,
};
use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::worker::{Kernel, Result, numbers};

/// What [`make`] knows.
pub(crate) const NAMES: &[&str] = &[
    "field of a thin pair",
    "field of a thin pair by the mean",
    "field of 128 loops",
    "field of a pair of which each coil leans",
    "field of a square pair with its section",
    "one turn",
    "bundle of 10 000 turns",
];

/// Radius of the orbit in the centre field, in coil radii.
const GYRORADIUS: f64 = 0.35;
/// Field of the ideal pair at its centre for μ₀I/R = 1.
const CENTRE: f64 = 0.715_541_752_799_932_9;
/// Radius of the sphere in which the fields are prepared.
const REGION: f64 = 0.6;

/// A kernel by its name, with the machine's widest vectors.
pub(crate) fn make(name: &str, folder: Option<&Path>) -> Result<Box<dyn Kernel>> {
    make_at_width(name, folder, VectorWidth::widest())
}

/// The same at a stated width.
pub(crate) fn make_at_width(
    name: &str,
    folder: Option<&Path>,
    width: VectorWidth,
) -> Result<Box<dyn Kernel>> {
    let thin = || loops(folder, "loops-2", 1);
    Ok(match name {
        "field of a thin pair" => Box::new(Field::prepared(thin()?, folder, width)?),
        "field of a thin pair by the mean" => Box::new(Field::direct(thin()?, folder, width)?),
        "field of 128 loops" => Box::new(Field::prepared(loops(folder, "loops-128", 8)?, folder, width)?),
        "field of a pair of which each coil leans" => {
            let lean =
                |x: f64| Misalignment { tilt_rad: Vec3::new(x, 0.01, 0.0), shift_m: Vec3::new(0.01, x, 0.0) };
            let set = thin()?.misaligned(&[lean(0.01), lean(-0.02)]);
            Box::new(Field::prepared(set, folder, width)?)
        }
        "field of a square pair with its section" => Box::new(Field::prepared(square_pair(), folder, width)?),
        "one turn" => Box::new(OneTurn::new(thin()?, folder)?),
        "bundle of 10 000 turns" => Box::new(Bundle::new(thin()?, folder, width)?),
        other => return Err(format!("no kernel `{other}`").into()),
    })
}

/// Numbers from −1 to 1, a fixed sequence.
fn sequence() -> impl FnMut() -> f64 {
    let mut state = 88_172_645_463_325_252u64;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// 10⁵ points in the sphere.
fn points(folder: Option<&Path>) -> Result<VectorColumns> {
    if let Some(folder) = folder {
        let rows = numbers(folder, "points")?;
        return Ok(rows.chunks_exact(3).map(|p| Vec3::new(p[0], p[1], p[2])).collect());
    }
    let mut next = sequence();
    let all = std::iter::repeat_with(|| Vec3::new(next(), next(), next())).filter(|p| p.norm() <= 1.0);
    Ok(all.take(100_000).map(|p| p * REGION).collect())
}

fn coil(shape: Shape, radius: f64, z: f64, turns: f64, section: f64) -> Winding {
    Winding {
        shape,
        mean_radius_m: radius,
        turns,
        sense: 1.0,
        centre_m: Vec3::new(0.0, 0.0, z),
        axis: Vec3::Z,
        winding_radial_m: section,
        winding_axial_m: section,
    }
}

/// The pair, each coil of n × n loops at the middles of the cells of a section of 0.1 × 0.1, field 1 at the centre of the thin one.
fn loops(folder: Option<&Path>, file: &str, n: usize) -> Result<CoilSet> {
    let one = |l: &[f64]| coil(Shape::Circular, l[0], l[1], l[2] / VACUUM_PERMEABILITY.value, 0.0);
    if let Some(folder) = folder {
        return Ok(CoilSet { windings: numbers(folder, file)?.chunks_exact(3).map(one).collect() });
    }
    let middle = |i: usize| if n == 1 { 0.0 } else { 0.1 * ((i as f64 + 0.5) / n as f64 - 0.5) };
    let strength = 1.0 / (CENTRE * (n * n) as f64);
    let cells = (0..n * n).map(|k| (middle(k / n), middle(k % n)));
    let windings = cells
        .flat_map(|(out, up)| [-0.5, 0.5].map(|z| one(&[1.0 + out, z * (1.0 + 2.0 * up), strength])))
        .collect();
    Ok(CoilSet { windings })
}

fn square_pair() -> CoilSet {
    let turns = 1.0 / (CENTRE * VACUUM_PERMEABILITY.value);
    // the separation that makes a square pair most even: 0.5445 of the side
    CoilSet { windings: [-0.5445, 0.5445].map(|z| coil(Shape::Square, 1.0, z, turns, 0.1)).into() }
}

/// A field at many points.
struct Field {
    set: CoilSet,
    prepared: Option<PreparedField>,
    points: VectorColumns,
    out: VectorColumns,
    how: HowWide,
}

impl Field {
    fn prepared(set: CoilSet, folder: Option<&Path>, width: VectorWidth) -> Result<Self> {
        let prepared = Some(PreparedField::new(&set, REGION)?);
        Ok(Self { prepared, ..Self::direct(set, folder, width)? })
    }

    fn direct(set: CoilSet, folder: Option<&Path>, width: VectorWidth) -> Result<Self> {
        let (points, how) = (points(folder)?, HowWide { threads: 1, width });
        Ok(Self { set, prepared: None, points, out: VectorColumns::default(), how })
    }
}

impl Kernel for Field {
    fn method(&self) -> String {
        if self.prepared.is_some() { "harmonics" } else { "arithmetic-geometric mean" }.to_owned()
    }
    fn amount(&self) -> (usize, &'static str) {
        (self.points.len(), "points")
    }
    fn call(&mut self) -> Result<()> {
        match &self.prepared {
            Some(prepared) => Ok(prepared.fill(&self.points, &mut self.out, self.how)?),
            None => Ok(self.set.fill(&self.points, &mut self.out, self.how)?),
        }
    }
    fn result(&self) -> Vec<f64> {
        self.out.iter().flat_map(<[f64; 3]>::from).collect()
    }
    /// Against the sum over the loops, at a hundred of the points.
    fn error(&self) -> Result<f64> {
        let mut worst: f64 = 0.0;
        for (p, b) in self.points.iter().zip(self.out.iter()).step_by(1000) {
            let exact = self.set.flux_density_per_ampere(p)?;
            worst = worst.max((b - exact).norm() / exact.norm());
        }
        Ok(worst)
    }
}

/// Start, direction, p/q and length of the single turn.
fn single(folder: Option<&Path>) -> Result<Launch> {
    if let Some(folder) = folder {
        let v = numbers(folder, "start")?;
        let [x, y, z, vx, vy, vz, kappa, time] = v.as_slice() else {
            return Err("start: eight numbers".into());
        };
        return launch(&[*x, *y, *z, *vx, *vy, *vz], *kappa, *time);
    }
    let tilt = 5f64.to_radians();
    launch(&[0.10, -0.35, -0.10, tilt.cos(), 0.0, tilt.sin()], -1.0 / GYRORADIUS, TAU * GYRORADIUS)
}

/// A particle with `v' = κ v × B` followed for a time.
fn launch(state: &[f64], kappa: f64, time: f64) -> Result<Launch> {
    let [x, y, z, vx, vy, vz] = state else { return Err("a state: six numbers".into()) };
    let velocity = Vec3::new(*vx, *vy, *vz);
    let speed = velocity.norm();
    Ok(Launch {
        place_m: Vec3::new(*x, *y, *z),
        direction: velocity / speed,
        momentum_over_charge_t_m: speed / kappa,
        length_m: speed * time,
    })
}

fn bench(prepared: &PreparedField) -> BenchField<'_> {
    BenchField { prepared, current_a: 1.0, scale: 1.0, background_t: Vec3::ZERO }
}

/// The end of a launch by the sum over the loops and a tolerance at rounding.
fn exact_end(set: &CoilSet, l: &Launch) -> Result<Vec3> {
    let direct = |p: Vec3| set.flux_density_per_ampere(p);
    let options = TraceOptions { tolerance: 1e-14, ..TraceOptions::default() };
    let path = trace(
        &direct,
        l.place_m,
        l.direction,
        l.momentum_over_charge_t_m,
        Until::Length(l.length_m),
        &options,
    )?;
    Ok(path.at(l.length_m).0)
}

struct OneTurn {
    set: CoilSet,
    prepared: PreparedField,
    launch: Launch,
    end: Vec3,
}

impl OneTurn {
    fn new(set: CoilSet, folder: Option<&Path>) -> Result<Self> {
        let prepared = PreparedField::new(&set, REGION)?;
        Ok(Self { set, prepared, launch: single(folder)?, end: Vec3::ZERO })
    }
}

/// The loosest power of ten that keeps one turn and every turn of the bundle within 1e-10.
const TOLERANCE: f64 = 1e-9;

impl Kernel for OneTurn {
    fn method(&self) -> String {
        format!("collocation at 16 Gauss nodes, tolerance {TOLERANCE:e}")
    }
    fn amount(&self) -> (usize, &'static str) {
        (1, "orbits")
    }
    fn call(&mut self) -> Result<()> {
        let options = TraceOptions { tolerance: TOLERANCE, longest_step_m: 10.0, ..TraceOptions::default() };
        let l = &self.launch;
        let until = Until::Length(l.length_m);
        let field = bench(&self.prepared);
        let path = trace(&field, l.place_m, l.direction, l.momentum_over_charge_t_m, until, &options)?;
        self.end = path.at(l.length_m).0;
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        <[f64; 3]>::from(self.end).to_vec()
    }
    fn error(&self) -> Result<f64> {
        let exact = exact_end(&self.set, &self.launch)?;
        Ok((self.end - exact).norm() / exact.norm())
    }
}

struct Bundle {
    set: CoilSet,
    prepared: PreparedField,
    launches: Vec<Launch>,
    arrivals: Vec<Arrival>,
    width: VectorWidth,
}

impl Bundle {
    fn new(set: CoilSet, folder: Option<&Path>, width: VectorWidth) -> Result<Self> {
        let prepared = PreparedField::new(&set, REGION)?;
        let launches = match folder {
            Some(folder) => {
                let start = numbers(folder, "start")?;
                let [.., kappa, time] = start.as_slice() else { return Err("start: eight numbers".into()) };
                let rows = numbers(folder, "launches")?;
                rows.chunks_exact(6).map(|s| launch(s, *kappa, *time)).collect::<Result<_>>()?
            }
            None => spread(),
        };
        Ok(Self { set, prepared, launches, arrivals: Vec::new(), width })
    }
}

/// Speeds spread by 1 %, directions by 2°.
fn spread() -> Vec<Launch> {
    let mut next = sequence();
    // a sum of twelve even numbers has unit spread and is normal enough here
    let mut normal = || (0..12).map(|_| 0.5 * next()).sum::<f64>();
    let width = 2f64.to_radians();
    (0..10_000)
        .map(|_| {
            let speed = 1.0 + 0.01 * normal();
            let (a, b) = (width * normal(), width * normal() + 5f64.to_radians());
            Launch {
                place_m: Vec3::new(0.10, -0.35, -0.10),
                direction: Vec3::new(b.cos() * a.cos(), b.cos() * a.sin(), b.sin()),
                momentum_over_charge_t_m: -GYRORADIUS * speed,
                length_m: speed * TAU * GYRORADIUS,
            }
        })
        .collect()
}

impl Kernel for Bundle {
    fn method(&self) -> String {
        format!("collocation at 8 Gauss nodes, eight orbits side by side, tolerance {TOLERANCE:e}")
    }
    fn amount(&self) -> (usize, &'static str) {
        (self.launches.len(), "orbits")
    }
    fn call(&mut self) -> Result<()> {
        self.arrivals =
            follow_bundle_at_width(&bench(&self.prepared), &self.launches, TOLERANCE, 1, self.width)?;
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        let row = |a: &Arrival| [<[f64; 3]>::from(a.place_m), <[f64; 3]>::from(a.direction)].concat();
        self.arrivals.iter().flat_map(row).collect()
    }
    /// Of a hundred of the orbits.
    fn error(&self) -> Result<f64> {
        let mut worst: f64 = 0.0;
        for (l, a) in self.launches.iter().zip(&self.arrivals).step_by(100) {
            let exact = exact_end(&self.set, l)?;
            worst = worst.max((a.place_m - exact).norm() / exact.norm());
        }
        Ok(worst)
    }
}
