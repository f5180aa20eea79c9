//! One run's ring as the model predicts it: traced from the muzzle, seen by the camera, measured as the person measured it.

use arcmass_notebook::DiameterKind;
use arcmass_photo::glass::Shell;
use arcmass_physics::{BenchField, Path, TraceOptions, Until, Vec3, trace};
use nalgebra::{Matrix3, Vector3};

use super::coils::FieldShape;
use crate::desk::LabError;

/// Points of one turn: the middles of so many equal parts of the path.
const POINTS: usize = 48;
/// Of the path's end, relative: far below what a diameter can be read to, and below what the derivatives' steps can see.
const TOLERANCE: f64 = 1e-9;

/// What decides where the beam runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Launch {
    /// Momentum over charge, T m, with the charge's sign.
    pub rigidity_t_m: f64,
    /// Factor on the field shape: ampere, or tesla at the centre; carries the sense.
    pub drive: f64,
    /// +1 or −1 where no coil sizes are known.
    pub field_direction: f64,
    /// T.
    pub background_t: Vec3,
    /// Where the beam leaves the gun, m; none: the ring is centred on the axis.
    pub muzzle_m: Option<Vec3>,
    /// Unit vector.
    pub direction: Vec3,
}

/// How a diameter was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sight {
    /// Into the table: along the axis, from far away. A fitted circle goes through one whole turn, which is what `path` and
    /// `plan` call the fitted diameter and what a person who reads both sides compares with.
    AlongAxis(DiameterKind),
    /// On a photograph: the circle through the line that the picture shows, from the muzzle round to the gun.
    Photograph {
        /// Part of a turn from the muzzle on that the circle goes through.
        part: f64,
        /// Where the picture was taken from; none: along the axis, from far away.
        camera: Option<Camera>,
    },
}

/// Where a photograph was taken from, and on to which plane it is carried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Unit vector from the ring's centre to the camera.
    pub direction: [f64; 3],
    /// Of the lens from the bulb's centre, m.
    pub distance_m: f64,
    /// z of the scale's plane, m.
    pub plane_z_m: f64,
    /// The bulb's wall, through which the ring is seen.
    pub glass: Option<Shell>,
}

/// One turn of the path.
#[derive(Debug, Clone)]
pub struct Turn {
    /// As followed.
    pub path: Path,
}

/// A predicted ring.
#[derive(Debug, Clone)]
pub struct Ring {
    /// The path.
    pub turn: Turn,
    /// Mean over the turn of the field's component across the beam, T.
    pub mean_field_t: f64,
}

impl Launch {
    /// Field at a point.
    pub fn field(&self, shape: &FieldShape, point_m: Vec3) -> Result<Vec3, LabError> {
        Ok(shape.at(point_m, self.field_direction)? * self.drive + self.background_t)
    }

    /// Where the beam starts: at the muzzle, or where a ring centred on the axis puts it.
    fn start(&self, shape: &FieldShape) -> Result<Vec3, LabError> {
        if let Some(muzzle) = self.muzzle_m {
            return Ok(muzzle);
        }
        let field = self.field(shape, Vec3::ZERO)?;
        let across = self.direction.cross(field) * self.rigidity_t_m.signum();
        let strength = across.norm();
        if strength <= 0.0 {
            return Err(no_ring("the beam runs along the field"));
        }
        // the centre of the circle lies along q v × B from the beam
        Ok(across * (-self.rigidity_t_m.abs() / (strength * strength)))
    }

    fn follow(&self, shape: &FieldShape, muzzle_m: Vec3) -> Result<Path, LabError> {
        let options = TraceOptions { tolerance: TOLERANCE, ..TraceOptions::default() };
        let along = |field: &dyn Fn(Vec3) -> Result<Vec3, arcmass_physics::FieldError>| {
            trace(&field, muzzle_m, self.direction, self.rigidity_t_m, Until::Turns(1.0), &options)
        };
        match shape {
            FieldShape::Coils { prepared, factor } => {
                let field = BenchField {
                    prepared,
                    current_a: self.drive,
                    scale: *factor,
                    background_t: self.background_t,
                };
                trace(&field, muzzle_m, self.direction, self.rigidity_t_m, Until::Turns(1.0), &options)
            }
            FieldShape::Uniform => {
                let field = Vec3::new(0.0, 0.0, self.field_direction * self.drive) + self.background_t;
                along(&|_| Ok(field))
            }
        }
        .map_err(|fault| no_ring(&fault.to_string()))
    }

    /// Traces one turn.
    pub fn turn(&self, shape: &FieldShape) -> Result<Turn, LabError> {
        let muzzle_m = self.start(shape)?;
        Ok(Turn { path: self.follow(shape, muzzle_m)? })
    }

    /// Traces one turn, with the field met on it.
    pub fn ring(&self, shape: &FieldShape) -> Result<Ring, LabError> {
        let turn = self.turn(shape)?;
        let length_m = turn.path.length_m();
        let mut field_sum = 0.0;
        for index in 0..POINTS {
            let (place, along) = turn.path.at(length_m * (index as f64 + 0.5) / POINTS as f64);
            field_sum += self.field(shape, place)?.cross(along).norm();
        }
        Ok(Ring { turn, mean_field_t: field_sum / POINTS as f64 })
    }
}

impl Ring {
    /// See [`Turn::diameter_m`].
    pub fn diameter_m(&self, sight: &Sight) -> Result<f64, LabError> {
        self.turn.diameter_m(sight)
    }
}

impl Turn {
    /// The diameter a person would get, without edge or scale errors, m.
    pub fn diameter_m(&self, sight: &Sight) -> Result<f64, LabError> {
        match sight {
            Sight::AlongAxis(DiameterKind::Fit) => fitted(&flat(&self.points_m(1.0))),
            Sight::AlongAxis(DiameterKind::Chord) => arcmass_physics::ring::chord_diameter_m(&self.path)
                .ok_or_else(|| {
                    no_ring("the beam does not come round to the plane through the anode aperture")
                }),
            Sight::AlongAxis(DiameterKind::Width) => Ok(width(&self.points_m(1.0))),
            Sight::Photograph { part, camera: None } => fitted(&flat(&self.points_m(*part))),
            Sight::Photograph { part, camera: Some(camera) } => {
                fitted(&camera.projected(&self.points_m(*part))?)
            }
        }
    }

    /// The middles of equal parts of the first `part` of the turn: a turn that does not quite close leans on neither end.
    pub fn points_m(&self, part: f64) -> Vec<Vec3> {
        let step_m = part * self.path.length_m() / POINTS as f64;
        (0..POINTS).map(|index| self.path.at(step_m * (index as f64 + 0.5)).0).collect()
    }
}

fn flat(points: &[Vec3]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p.x, p.y]).collect()
}

impl Camera {
    /// Points carried along the last, straight way of their light to the camera on to the plane z = `plane_z_m`.
    fn projected(&self, points: &[Vec3]) -> Result<Vec<[f64; 2]>, LabError> {
        let Self { direction, distance_m, plane_z_m, glass } = *self;
        let flat = flat(points);
        let count = flat.len().max(1) as f64;
        let middle = Vec3::new(
            flat.iter().map(|p| p[0]).sum::<f64>() / count,
            flat.iter().map(|p| p[1]).sum::<f64>() / count,
            plane_z_m,
        );
        let towards = Vec3::new(direction[0], direction[1], direction[2]);
        // |middle + t·towards| = distance
        let along = middle.dot(towards);
        let inside = along * along - middle.dot(middle) + distance_m * distance_m;
        if inside <= 0.0 {
            return Err(no_ring("the camera stands inside the ring"));
        }
        let lens = middle + towards * (inside.sqrt() - along);
        let carry = |p: &Vec3| {
            let p = glass.map_or(*p, |shell| seen_through(&shell, lens, *p));
            let t = (lens.z - plane_z_m) / (lens.z - p.z);
            [lens.x + t * (p.x - lens.x), lens.y + t * (p.y - lens.y)]
        };
        Ok(points.iter().map(carry).collect())
    }
}

/// Where a point seems to lie through the bulb's wall; metres.
fn seen_through(shell: &Shell, lens: Vec3, point: Vec3) -> Vec3 {
    let mm = |v: Vec3| [1e3 * v.x, 1e3 * v.y, 1e3 * v.z];
    let [x, y, z] = shell.apparent(mm(lens), mm(point));
    Vec3::new(1e-3 * x, 1e-3 * y, 1e-3 * z)
}

/// Diameter of the circle nearest to the points, by orthogonal distance: Gauss and Newton's steps from the centroid.
///
/// The points of a predicted turn lie all round and within a thousandth of a circle, so that a handful of steps settles it.
fn fitted(points: &[[f64; 2]]) -> Result<f64, LabError> {
    const MOST_STEPS: usize = 12;
    let count = points.len().max(1) as f64;
    let mean = |axis: usize| points.iter().filter_map(|p| p.get(axis)).sum::<f64>() / count;
    let mut centre = Vector3::new(mean(0), mean(1), 0.0);
    for _ in 0..MOST_STEPS {
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for [x, y] in points {
            let (dx, dy) = (x - centre.x, y - centre.y);
            let distance = dx.hypot(dy).max(f64::MIN_POSITIVE);
            let row = Vector3::new(dx / distance, dy / distance, 1.0);
            normal += row * row.transpose();
            right += row * (distance - centre.z);
        }
        let step = normal.cholesky().map(|root| root.solve(&right));
        let Some(step) = step else { return Err(no_ring("no circle fits the predicted path")) };
        centre += step;
        if step.norm() < 1e-12 * centre.z.abs() {
            return Ok(2.0 * centre.z);
        }
    }
    Err(no_ring("no circle fits the predicted path"))
}

/// Extent along x, with the parabola through the outermost points.
fn width(points: &[Vec3]) -> f64 {
    let extreme = |sign: f64| {
        let count = points.len().max(1);
        let at = |i: usize| points.get(i % count).map_or(f64::NEG_INFINITY, |p| sign * p.x);
        let top = (0..count).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(0);
        let (left, middle, right) = (at(top + count - 1), at(top), at(top + 1));
        let bend = left - 2.0 * middle + right;
        if bend < 0.0 { middle - 0.125 * (right - left).powi(2) / bend } else { middle }
    };
    extreme(1.0) + extreme(-1.0)
}

pub(crate) fn no_ring(why: &str) -> LabError {
    LabError::lacking(
        "readings.csv",
        format!("the model finds no ring for a run: {why}"),
        "check voltage, current and gun tilt of the run",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_circle_is_that_of_the_general_fit() {
        // an ellipse by 1 in 200 with a gap: what a ring in a real field looks like at worst
        let points: Vec<[f64; 2]> = (0..POINTS)
            .map(|i| {
                let angle = 6.2 * i as f64 / POINTS as f64;
                [0.01 + 0.045 * angle.cos(), -0.02 + 0.0452 * angle.sin()]
            })
            .collect();
        let general = arcmass_fit::fit_circle(&points, None, arcmass_fit::Scatter::Known(1.0)).unwrap();
        assert!((fitted(&points).unwrap() - 2.0 * general.radius).abs() < 1e-12);
    }

    /// A ring that does not close: the gun points along the field a little, which is tilted against the line of sight.
    fn open_ring() -> Turn {
        let launch = Launch {
            rigidity_t_m: -5e-5,
            drive: 1.2e-3,
            field_direction: 1.0,
            background_t: Vec3::new(0.0, -48e-6, 0.0),
            muzzle_m: Some(Vec3::new(0.0, -0.04, 0.0)),
            direction: Vec3::new(0.999, 0.0, (1.0_f64 - 0.999 * 0.999).sqrt()),
        };
        launch.turn(&FieldShape::Uniform).unwrap()
    }

    #[test]
    fn a_photographs_circle_goes_from_the_muzzle_round_to_the_gun() {
        let turn = open_ring();
        let along_axis = |part: f64| turn.diameter_m(&Sight::Photograph { part, camera: None }).unwrap();
        let whole = turn.diameter_m(&Sight::AlongAxis(DiameterKind::Fit)).unwrap();
        assert_eq!(along_axis(1.0), whole, "all of the turn is what a table's diameter goes through");
        let steps = 4000;
        let seen: Vec<[f64; 2]> = (0..steps)
            .map(|i| turn.path.at(0.91 * turn.path.length_m() * (f64::from(i) + 0.5) / f64::from(steps)).0)
            .map(|p| [p.x, p.y])
            .collect();
        let circle = arcmass_fit::fit_circle(&seen, None, arcmass_fit::Scatter::Known(1.0)).unwrap();
        let difference = along_axis(0.91) / (2.0 * circle.radius) - 1.0;
        assert!(difference.abs() < 1e-6, "{difference:e}");
        // what the definition is worth here: more than a good photograph's uncertainty
        assert!((along_axis(0.91) / whole - 1.0).abs() > 2e-4, "{} {whole}", along_axis(0.91));
    }
}
