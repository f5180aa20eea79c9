//! Windings with a section, and sets of them: pairs, single coils, long coils.

use crate::coil::{Frame, Local, Loop, RectangularLoop, checked_point, loop_terms, positive};
use crate::dual::{Dual, Real};
use crate::error::FieldError;
use crate::gauss;
use crate::vec3::{Mat3, Vec3};

/// A cell of a winding's section is halved until the point is this many of its half sizes away.
const NEAR_CELLS: f64 = 2.0;
/// Halvings after which what is left of the section around the point no longer counts (2⁻⁴² of each side).
const MOST_HALVINGS: u32 = 84;
/// Most pieces along a side of a section that is turned into loops.
const MOST_PIECES: f64 = 256.0;
/// Decimal digits the quadrature over a cell must reach.
const DIGITS: f64 = 14.0;

/// How a coil is wound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Shape {
    /// Round.
    Circular,
    /// Square, sides along the bench's x and y (carried along with a tilted axis).
    Square,
}

/// A coil with a rectangular winding section and a current density that is the same all over it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winding {
    /// Round or square.
    pub shape: Shape,
    /// Radius (half side for a square) to the middle of the section.
    pub mean_radius_m: f64,
    /// Number of turns.
    pub turns: f64,
    /// +1 for a field along `axis` with a positive current, −1 against it.
    pub sense: f64,
    /// Centre of the coil.
    pub centre_m: Vec3,
    /// Unit vector along the coil's axis.
    pub axis: Vec3,
    /// Extent of the section along the radius; 0 for a thin one.
    pub winding_radial_m: f64,
    /// Extent of the section along the axis; 0 for a thin one.
    pub winding_axial_m: f64,
}

/// A part of a winding's section: middle and half size along radius and axis.
#[derive(Clone, Copy, Debug)]
struct Cell {
    radius: f64,
    axial: f64,
    half_radius: f64,
    half_axial: f64,
}

impl Winding {
    /// Flux density for one ampere, in tesla, integrated over the section.
    ///
    /// Gauss–Legendre over the section with as many nodes as 1e-13 needs at the point's distance, the section halved near
    /// the point; right to 1e-12 outside the winding and inside it. A thin winding is one [`Loop`].
    pub fn flux_density_per_ampere(&self, point: Vec3) -> Result<Vec3, FieldError> {
        self.check()?;
        let scale = self.turns * self.sense;
        match self.shape {
            Shape::Circular => {
                let local = Local::new(self.centre_m, self.axis, point)?;
                let (mut f, mut g) = (0.0, 0.0);
                self.over_section(&meridian_distance(local.rho, local.z), &mut |a, shift, weight| {
                    let (df, dg) = loop_terms(a, local.w(a), local.rho, local.z - shift)?;
                    f += df * weight;
                    g += dg * weight;
                    Some(())
                })
                .ok_or(FieldError::OnWire(point))?;
                Ok(local.vector(f, g) * scale)
            }
            Shape::Square => {
                let frame = Frame::new(self.axis)?;
                let p = frame.to_local(checked_point(point)? - self.centre_m);
                let sum = self.square(p, [p.x, p.y, p.z]).ok_or(FieldError::OnWire(point))?;
                Ok(frame.to_bench(Vec3::from(sum)) * scale)
            }
        }
    }

    /// Gradient matrix for one ampere, `[i][j] = ∂B_i/∂x_j`, in tesla per metre.
    pub fn gradient_per_ampere(&self, point: Vec3) -> Result<Mat3, FieldError> {
        self.check()?;
        let scale = self.turns * self.sense;
        match self.shape {
            Shape::Circular => {
                let local = Local::new(self.centre_m, self.axis, point)?;
                let zero = Dual::<2>::constant(0.0);
                let (mut f, mut g) = (zero, zero);
                self.over_section(&meridian_distance(local.rho, local.z), &mut |a, shift, weight| {
                    let w = Dual { v: local.w(a), d: [-2.0 * local.rho, 0.0] };
                    let z = Dual::<2>::variable(local.z - shift, 1);
                    let (df, dg) = loop_terms(a, w, Dual::<2>::variable(local.rho, 0), z)?;
                    f = f + df * weight;
                    g = g + dg * weight;
                    Some(())
                })
                .ok_or(FieldError::OnWire(point))?;
                Ok(local.gradient(f, g) * scale)
            }
            Shape::Square => {
                let frame = Frame::new(self.axis)?;
                let p = frame.to_local(checked_point(point)? - self.centre_m);
                let dual = [Dual::<3>::variable(p.x, 0), Dual::variable(p.y, 1), Dual::variable(p.z, 2)];
                let sum = self.square(p, dual).ok_or(FieldError::OnWire(point))?;
                Ok(frame.matrix_to_bench(&Mat3 { rows: sum.map(|c| c.d) }) * scale)
            }
        }
    }

    /// The coil out of its place: turned about its own centre by `tilt` (a rotation vector, radians), then moved by `shift_m`.
    pub fn misaligned(&self, by: &Misalignment) -> Self {
        Self { centre_m: self.centre_m + by.shift_m, axis: turned(self.axis, by.tilt_rad), ..*self }
    }

    /// The thin loops that stand for this round winding at every point at least `away_m` from its section.
    pub(crate) fn loops_for_distance(&self, away_m: f64) -> Result<Vec<Loop>, FieldError> {
        self.check()?;
        let mut loops = Vec::new();
        let whole = self.section();
        // a piece no longer than its distance needs few enough nodes for the tables
        let pieces = |half: f64| (half / away_m).ceil().clamp(1.0, MOST_PIECES) as usize;
        let (across, along) = (pieces(whole.half_radius), pieces(whole.half_axial));
        let cell = Cell {
            half_radius: whole.half_radius / across as f64,
            half_axial: whole.half_axial / along as f64,
            ..whole
        };
        let (n_radius, n_axial) = (node_count(away_m, cell.half_radius), node_count(away_m, cell.half_axial));
        for i in 0..across {
            for j in 0..along {
                let cell = Cell {
                    radius: whole.radius - whole.half_radius + cell.half_radius * (2 * i + 1) as f64,
                    axial: whole.axial - whole.half_axial + cell.half_axial * (2 * j + 1) as f64,
                    ..cell
                };
                self.nodes(&cell, n_radius, n_axial, &mut |radius_m, shift, weight| {
                    loops.push(Loop {
                        radius_m,
                        centre_m: self.centre_m + self.axis * shift,
                        axis: self.axis,
                        ampere_turns_per_ampere: self.turns * self.sense * weight,
                    });
                    Some(())
                });
            }
        }
        Ok(loops)
    }

    pub(crate) fn check(&self) -> Result<(), FieldError> {
        positive("mean radius (half side) of a coil in metres", self.mean_radius_m)?;
        for (what, got) in [
            ("radial extent of a winding in metres", self.winding_radial_m),
            ("axial extent of a winding in metres", self.winding_axial_m),
            ("turns of a coil", self.turns),
        ] {
            if !(got >= 0.0 && got.is_finite()) {
                return Err(FieldError::BadCoil { what, must: "0 or above and finite", got });
            }
        }
        if self.winding_radial_m >= 2.0 * self.mean_radius_m {
            return Err(FieldError::BadCoil {
                what: "radial extent of a winding in metres",
                must: "below twice its mean radius",
                got: self.winding_radial_m,
            });
        }
        if !self.sense.is_finite() || !self.centre_m.is_finite() {
            return Err(FieldError::BadCoil { what: "sense of a coil", must: "+1 or -1", got: self.sense });
        }
        Ok(())
    }

    fn section(&self) -> Cell {
        Cell {
            radius: self.mean_radius_m,
            axial: 0.0,
            half_radius: 0.5 * self.winding_radial_m,
            half_axial: 0.5 * self.winding_axial_m,
        }
    }

    /// Field of the nested squares in the coil's frame.
    fn square<R: Real>(&self, p: Vec3, q: [R; 3]) -> Option<[R; 3]> {
        let mut sum = [R::constant(0.0); 3];
        self.over_section(&square_distance(p), &mut |half, shift, weight| {
            let one = RectangularLoop {
                half_u_m: half,
                half_v_m: half,
                centre_m: Vec3::ZERO,
                axis: Vec3::Z,
                ampere_turns_per_ampere: 1.0,
            };
            let b = one.sides([q[0], q[1], q[2] - shift])?;
            sum = [sum[0] + b[0] * weight, sum[1] + b[1] * weight, sum[2] + b[2] * weight];
            Some(())
        })?;
        Some(sum)
    }

    /// Calls `add(radius, axial shift, weight)` for every node; weights sum to 1.
    fn over_section(
        &self,
        distance: &dyn Fn(&Cell) -> f64,
        add: &mut dyn FnMut(f64, f64, f64) -> Option<()>,
    ) -> Option<()> {
        let whole = self.section();
        let mut open = vec![(whole, 0)];
        while let Some((cell, depth)) = open.pop() {
            let size = cell.half_radius.max(cell.half_axial);
            let away = distance(&cell);
            if size == 0.0 || away >= NEAR_CELLS * size {
                self.nodes(
                    &cell,
                    node_count(away, cell.half_radius),
                    node_count(away, cell.half_axial),
                    add,
                )?;
            } else if depth < MOST_HALVINGS {
                open.extend(halves(&cell).map(|half| (half, depth + 1)));
            }
        }
        Some(())
    }

    fn nodes(
        &self,
        cell: &Cell,
        n_radius: usize,
        n_axial: usize,
        add: &mut dyn FnMut(f64, f64, f64) -> Option<()>,
    ) -> Option<()> {
        let share = |part: f64, whole: f64| if whole > 0.0 { part / (0.5 * whole) } else { 1.0 };
        let area =
            share(cell.half_radius, self.winding_radial_m) * share(cell.half_axial, self.winding_axial_m);
        for (x, wx) in gauss::rule(n_radius) {
            for (y, wy) in gauss::rule(n_axial) {
                add(
                    cell.radius + cell.half_radius * x,
                    cell.axial + cell.half_axial * y,
                    0.25 * wx * wy * area,
                )?;
            }
        }
        Some(())
    }
}

/// Nodes that reach [`DIGITS`] for a singularity `away` from an interval of half size `half`:
/// the error falls as `r^(−2n)`, `r = y + √(y² + 1)`, `y = away/half` (Bernstein ellipse).
fn node_count(away: f64, half: f64) -> usize {
    if half <= 0.0 {
        return 1;
    }
    let y = away / half;
    let rate = 2.0 * (y + (y * y + 1.0).sqrt()).log10();
    ((DIGITS / rate).ceil() as usize).clamp(2, gauss::MAX_NODES)
}

/// The two halves of a cell across its longer side.
fn halves(cell: &Cell) -> [Cell; 2] {
    if cell.half_radius >= cell.half_axial {
        let half = 0.5 * cell.half_radius;
        [-half, half].map(|d| Cell { radius: cell.radius + d, half_radius: half, ..*cell })
    } else {
        let half = 0.5 * cell.half_axial;
        [-half, half].map(|d| Cell { axial: cell.axial + d, half_axial: half, ..*cell })
    }
}

/// Distance of a point from a cell in the half plane through the axis.
fn meridian_distance(rho: f64, z: f64) -> impl Fn(&Cell) -> f64 {
    move |cell| {
        let out = ((rho - cell.radius).abs() - cell.half_radius).max(0.0);
        let along = ((z - cell.axial).abs() - cell.half_axial).max(0.0);
        out.hypot(along)
    }
}

/// Distance of a point from the four bars that a cell of a square winding sweeps.
fn square_distance(p: Vec3) -> impl Fn(&Cell) -> f64 {
    move |cell| {
        let (high, low) = (p.x.abs().max(p.y.abs()), p.x.abs().min(p.y.abs()));
        let out = ((high - cell.radius).abs() - cell.half_radius).max(0.0);
        let aside = (low - cell.radius - cell.half_radius).max(0.0);
        let along = ((p.z - cell.axial).abs() - cell.half_axial).max(0.0);
        out.hypot(aside).hypot(along)
    }
}

/// `v` turned by a rotation vector, radians.
fn turned(v: Vec3, tilt_rad: Vec3) -> Vec3 {
    match tilt_rad.unit() {
        Some(axis) => v.rotated(axis, tilt_rad.norm()),
        None => v,
    }
}

/// How far one coil stands from where it should.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Misalignment {
    /// Rotation vector about the coil's own centre, radians.
    pub tilt_rad: Vec3,
    /// Shift of its centre.
    pub shift_m: Vec3,
}

/// Any number of coils through which the same current runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CoilSet {
    /// The coils.
    pub windings: Vec<Winding>,
}

impl CoilSet {
    /// A coaxial pair of equal round coils about z, centred on the origin, mid-planes `separation_m` apart.
    ///
    /// `field_direction` is +1 if a positive current makes the field at the centre point along +z, −1 along −z.
    pub fn pair(
        mean_radius_m: f64,
        separation_m: f64,
        turns: f64,
        winding_radial_m: f64,
        winding_axial_m: f64,
        field_direction: f64,
    ) -> Self {
        let one = |z: f64| Winding {
            shape: Shape::Circular,
            mean_radius_m,
            turns,
            sense: field_direction,
            centre_m: Vec3::new(0.0, 0.0, z),
            axis: Vec3::Z,
            winding_radial_m,
            winding_axial_m,
        };
        Self { windings: vec![one(-0.5 * separation_m), one(0.5 * separation_m)] }
    }

    /// Flux density for one ampere, in tesla, at `point`; see [`Winding::flux_density_per_ampere`].
    pub fn flux_density_per_ampere(&self, point: Vec3) -> Result<Vec3, FieldError> {
        let mut sum = Vec3::ZERO;
        for winding in &self.windings {
            sum += winding.flux_density_per_ampere(point)?;
        }
        Ok(sum)
    }

    /// Gradient matrix for one ampere, `[i][j] = ∂B_i/∂x_j`, in tesla per metre.
    pub fn gradient_per_ampere(&self, point: Vec3) -> Result<Mat3, FieldError> {
        let mut sum = Mat3::default();
        for winding in &self.windings {
            sum = sum + winding.gradient_per_ampere(point)?;
        }
        Ok(sum)
    }

    /// The set turned as a rigid body about the origin by `tilt` (a rotation vector, radians) and then moved by `shift_m`.
    pub fn moved(&self, tilt_rad: Vec3, shift_m: Vec3) -> Self {
        let windings = self.windings.iter();
        let windings = windings.map(|w| Winding {
            centre_m: turned(w.centre_m, tilt_rad) + shift_m,
            axis: turned(w.axis, tilt_rad),
            ..*w
        });
        Self { windings: windings.collect() }
    }

    /// The set with each coil out of its own place, in the coils' order; coils without an entry stay.
    ///
    /// ```
    /// use arcmass_physics::{CoilSet, Misalignment, PreparedField, Vec3};
    /// let pair = CoilSet::pair(0.15, 0.15, 124.0, 0.012, 0.016, 1.0);
    /// // the upper coil leans by half a degree and sits 1 mm to the side
    /// let lean = Misalignment { tilt_rad: Vec3::new(0.0, 0.5f64.to_radians(), 0.0), shift_m: Vec3::new(1e-3, 0.0, 0.0) };
    /// let bench = pair.misaligned(&[Misalignment::default(), lean]);
    /// let field = PreparedField::new(&bench, 0.08)?;
    /// let centre = field.flux_density_per_ampere(Vec3::ZERO)?;
    /// // half the coils lean, so the axis leans by about a quarter of a degree
    /// assert!((centre.x / centre.z - 0.25f64.to_radians()).abs() < 2e-3);
    /// # Ok::<(), arcmass_physics::FieldError>(())
    /// ```
    pub fn misaligned(&self, by: &[Misalignment]) -> Self {
        let place = by.iter().copied().chain(std::iter::repeat(Misalignment::default()));
        Self { windings: self.windings.iter().zip(place).map(|(w, m)| w.misaligned(&m)).collect() }
    }
}
