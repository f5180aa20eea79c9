//! From pixels to millimetres in the plane of the scale: a camera calibrated on every mark.

mod judge;
mod model;
mod moved;
mod ring;
mod slant;
pub(crate) mod solve;
mod turn;

use nalgebra::{DVector, Vector3};

pub use crate::camera::CameraHints;
use crate::camera::{Camera, Pose};
use crate::error::{PhotoCaveat, PhotoError};
use crate::scale::{FEWEST_MARKS, ScaleFound};
pub use judge::likely_px_per_mm;
use judge::{cropped, cut_down, is_counted_rightly, judge_marks, stated_spacing_is_likely, with_caveats};
use model::{FACING_U, LN_FOCAL, Model, plane_point};
pub(crate) use moved::{MOVES, MovedCamera};
pub use moved::{Moved, Shifted};
pub use ring::{RingInPlane, TraceInPixels, ring_in_plane, ring_of_turn};
use solve::{Solved, solve};
pub use turn::{TO_THE_GUN, TurnHints};

/// Two poses this close in χ² can't be told apart (95 % for one degree of freedom is 3.84).
const ALIKE: f64 = 4.0;
/// The starts look at one of so many observations, of which enough must be left: no multiple of the three that each mark gives, nor
/// of a crossing's two.
const THINNED: [usize; 2] = [7, 5];
const ENOUGH_LEFT: usize = 60;
/// Tilts from which the fit starts: straight on, and 20° to each side.
const STARTS: [[f64; 2]; 5] = [[0.0, 0.0], [0.35, 0.0], [-0.35, 0.0], [0.0, 0.35], [0.0, -0.35]];

/// The plane of the scale before the camera.
///
/// Frame: x to the right in the picture, y up, z towards the camera; right-handed, in millimetres. The origin is the
/// point of the plane seen in the middle of the picture.
#[derive(Debug, Clone)]
pub struct ScalePlane {
    /// The lens.
    pub camera: Camera,
    /// The camera's place in the plane's frame, in millimetres.
    pub camera_mm: [f64; 3],
    /// Standard uncertainties of `camera_mm`.
    pub camera_u_mm: [f64; 3],
    /// Angle between the line of sight of the picture's middle and the plane's normal, in degrees.
    pub tilt_deg: f64,
    /// Standard uncertainty of `tilt_deg`.
    pub tilt_u_deg: f64,
    /// Relative standard uncertainty of the focal length.
    pub focal_relative_u: f64,
    /// Root mean square distance of the marks from their places, along the scale, in millimetres.
    pub residual_rms_mm: f64,
    /// Points of marks used.
    pub points_used: usize,
    /// Marks left out because they miss their place: (row, index in the row), or (0, index) of a crossing.
    pub rejected: Vec<(usize, usize)>,
    /// Relative standard uncertainty of lengths that the causes of error below do not hold: of second order in the tilt.
    pub slant_relative_u: f64,
    /// What deserves a caution.
    pub caveats: Vec<PhotoCaveat>,
    pose: Pose,
    frame: Frame,
    model: Model,
    unknowns: DVector<f64>,
    /// One column an independent cause of error, one standard uncertainty long.
    causes: Vec<DVector<f64>>,
    /// How the camera moved since the scale's photograph, and the causes of error in that.
    motion: [f64; MOVES],
    motion_causes: Vec<[f64; MOVES]>,
}

/// From the scale's (along, across) to the picture's (right, up).
#[derive(Debug, Clone, Copy)]
struct Frame {
    right: [f64; 2],
    origin: [f64; 2],
}

impl Frame {
    fn place(self, p: [f64; 2]) -> [f64; 2] {
        let [x, y] = [p[0] - self.origin[0], p[1] - self.origin[1]];
        [x * self.right[0] + y * self.right[1], y * self.right[0] - x * self.right[1]]
    }

    fn to_scale(self, p: [f64; 2]) -> [f64; 2] {
        let [c, s] = self.right;
        [self.origin[0] + p[0] * c - p[1] * s, self.origin[1] + p[1] * c + p[0] * s]
    }
}

impl ScalePlane {
    /// Place on the plane in millimetres of a point in pixels; none beyond the plane's horizon.
    pub fn to_plane(&self, px: [f64; 2]) -> Option<[f64; 2]> {
        plane_point(&self.camera, &self.pose.to_plane()?, px).map(|p| self.frame.place(p))
    }

    /// Places of many points; one entry a point.
    pub fn all_to_plane(&self, points_px: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
        let back = self.pose.to_plane()?;
        let place = |p: &[f64; 2]| plane_point(&self.camera, &back, *p).map(|p| self.frame.place(p));
        points_px.iter().map(place).collect()
    }

    /// Pixel of a point of the plane in millimetres; none behind the camera.
    pub fn to_px(&self, mm: [f64; 2]) -> Option<[f64; 2]> {
        Some(self.camera.to_px(self.pose.to_ray(self.frame.to_scale(mm))?))
    }

    /// Pixel of a point in front of the plane, `z` towards the camera.
    pub fn space_to_px(&self, mm: [f64; 3]) -> Option<[f64; 2]> {
        let p = self.frame.to_scale([mm[0], mm[1]]);
        let q = self.pose.rotation * Vector3::new(p[0], p[1], mm[2]) + self.pose.translation;
        (q.z > 0.0).then(|| self.camera.to_px([q.x / q.z, q.y / q.z]))
    }

    /// Largest and smallest pixels per millimetre at a point of the plane, over all directions.
    pub fn px_per_mm(&self, mm: [f64; 2]) -> Option<[f64; 2]> {
        const STEP: f64 = 0.05;
        let at = |dx: f64, dy: f64| self.to_px([mm[0] + dx * STEP, mm[1] + dy * STEP]);
        let (l, r, d, u) = (at(-1.0, 0.0)?, at(1.0, 0.0)?, at(0.0, -1.0)?, at(0.0, 1.0)?);
        let slope = |a: [f64; 2], b: [f64; 2]| [0, 1].map(|k| (b[k] - a[k]) / (2.0 * STEP));
        let (x, y) = (slope(l, r), slope(d, u));
        let j = nalgebra::Matrix2::new(x[0], y[0], x[1], y[1]);
        let s = j.singular_values();
        Some([s.max(), s.min()])
    }

    /// The same plane with one cause of error moved by ± one standard uncertainty: pairs, one a cause.
    ///
    /// Half the difference of any number derived from both of a pair is that cause's part of its uncertainty.
    pub fn perturbed(&self) -> Vec<[Self; 2]> {
        let pair = |with: &dyn Fn(f64) -> Option<Self>| Some([with(1.0)?, with(-1.0)?]);
        let of_scale = self
            .causes
            .iter()
            .filter_map(|cause| pair(&|sign| self.with(&self.unknowns + cause * sign, self.motion)));
        let of_motion = self.motion_causes.iter().filter_map(|cause| {
            pair(&|sign| {
                let motion = std::array::from_fn(|k| self.motion[k] + sign * cause[k]);
                self.with(self.unknowns.clone(), motion)
            })
        });
        of_scale.chain(of_motion).collect()
    }

    /// The same plane for other unknowns and another motion of the camera; without causes of error.
    fn with(&self, unknowns: DVector<f64>, motion: [f64; MOVES]) -> Option<Self> {
        let (camera, pose) = self.model.camera(&unknowns)?;
        let (camera, pose) = moved::after(camera, pose, motion);
        Some(Self {
            camera,
            pose,
            camera_mm: camera_place(&pose, &self.frame),
            unknowns,
            causes: Vec::new(),
            motion,
            motion_causes: Vec::new(),
            ..self.clone()
        })
    }

    /// Standard uncertainty that the plane alone gives to a derived number.
    pub fn uncertainty_of(&self, number: impl Fn(&Self) -> Option<f64>) -> f64 {
        let part = |pair: &[Self; 2]| Some((number(&pair[0])? - number(&pair[1])?) / 2.0);
        self.perturbed().iter().filter_map(part).map(|d| d * d).sum::<f64>().sqrt()
    }

    /// The angle between the optical axis and the plane's normal, in degrees.
    fn tilt(&self) -> f64 {
        self.pose.rotation[(2, 2)].abs().min(1.0).acos().to_degrees()
    }
}

fn camera_place(pose: &Pose, frame: &Frame) -> [f64; 3] {
    let c = pose.camera();
    let p = frame.place([c[0], c[1]]);
    [p[0], p[1], c[2]]
}

/// Calibrates the camera on the marks of a scale.
///
/// Every mark is a line: both its points must lie at the mark's place along the scale, whatever the depth; the feet of
/// a row lie on one straight line at right angles to the marks. Unknown are the pose, the focal length, the principal
/// point and two terms of radial distortion, the last five held by priors where the scale does not fix them.
///
/// - **Takes** the scale found, the picture's width and height in pixels, and what is known of the camera.
/// - **Fails** with [`PhotoError::ScaleUnclear`] if fewer than [`FEWEST_MARKS`] marks (two points by hand) are given, or no
///   camera sees them so.
pub fn fit_plane(
    found: &ScaleFound,
    size_px: [usize; 2],
    hints: &CameraHints,
) -> Result<ScalePlane, PhotoError> {
    let unclear = |why: &str| PhotoError::ScaleUnclear { why: why.into() };
    let marks = found.rows.first().map_or(0, |r| r.marks.len());
    if marks < FEWEST_MARKS && found.crossings.is_empty() && found.hand_marks.len() < 2 {
        return Err(unclear(&format!("at least {FEWEST_MARKS} are needed and {marks} were counted")));
    }
    let mut model = Model::new(found, size_px, hints).ok_or_else(|| unclear("they give no direction"))?;
    for row in found.rows.iter().skip(1) {
        model.add_row(row).ok_or_else(|| unclear("a further row does not fit the first"))?;
    }
    let (solved, ambiguous) = best_pose(&model).ok_or_else(|| unclear("no camera sees them as they are"))?;
    let cropped = if model.is_few { None } else { cropped(&model, &solved, size_px, hints) };
    let is_cropped = cropped.is_some();
    let (model, solved) = cropped.unwrap_or((model, solved));
    let mut plane =
        finish(model, &solved, size_px).ok_or_else(|| unclear("no camera sees them as they are"))?;
    // points whose millimetres a person typed say the scale themselves
    if found.hand_marks.is_empty() {
        stated_spacing_is_likely(found, &mut plane, size_px, hints)?;
    }
    if is_cropped {
        plane.caveats.push(cut_down(&plane, size_px));
    }
    let plane = with_caveats(plane, found, hints, ambiguous);
    is_counted_rightly(&plane)?;
    Ok(plane)
}

/// The best of several starts; whether another, different one is as good.
fn best_pose(model: &Model) -> Option<(Solved, bool)> {
    let (best, other) = poses(model)?;
    let alike = ALIKE * best.scale.max(1.0).powi(2);
    let ambiguous = other.is_some_and(|o| (o.cost - best.cost).abs() < alike);
    Some((best, ambiguous))
}

/// The best of several starts, and the best that differs from it.
fn poses(model: &Model) -> Option<(Solved, Option<Solved>)> {
    let thinned = THINNED.into_iter().find(|thinned| model.len() / thinned >= ENOUGH_LEFT).unwrap_or(1);
    let rough = |p: &DVector<f64>| model.residuals(p, thinned);
    let mut tried: Vec<Solved> = STARTS
        .iter()
        .filter_map(|s| solve(&rough, &model.start(*s), model.priors(), model.stated(), [10, 1]))
        .collect();
    tried.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let all = |p: &DVector<f64>| model.residuals(p, 1);
    let polished = |s: &Solved| solve(&all, &s.unknowns, model.priors(), model.stated(), [40, 3]);
    let first = polished(tried.first()?)?;
    let differs = |s: &Solved| (0..2).any(|k| (s.unknowns[k] - first.unknowns[k]).abs() > 0.03);
    let second = tried.iter().find(|s| differs(s)).and_then(polished).filter(differs);
    Some(match second {
        Some(s) if s.cost < first.cost && s.scale <= first.scale => (s, Some(first)),
        other => (first, other),
    })
}

fn finish(model: Model, solved: &Solved, size_px: [usize; 2]) -> Option<ScalePlane> {
    let (camera, pose) = model.camera(&solved.unknowns)?;
    let r = &pose.rotation;
    let length = r[(0, 0)].hypot(r[(0, 1)]);
    if length < 0.2 {
        return None;
    }
    let middle = size_px.map(|n| (n as f64 - 1.0) / 2.0);
    let origin = plane_point(&camera, &pose.to_plane()?, middle)?;
    let frame = Frame { right: [r[(0, 0)] / length, r[(0, 1)] / length], origin };
    let causes = causes(&solved.covariance);
    let mut plane = ScalePlane {
        camera,
        camera_mm: camera_place(&pose, &frame),
        camera_u_mm: [0.0; 3],
        tilt_deg: 0.0,
        tilt_u_deg: 0.0,
        focal_relative_u: solved.covariance[(LN_FOCAL, LN_FOCAL)].max(0.0).sqrt(),
        residual_rms_mm: 0.0,
        points_used: 0,
        rejected: Vec::new(),
        slant_relative_u: 0.5 * if model.is_few { FACING_U * FACING_U } else { 0.0 },
        caveats: Vec::new(),
        pose,
        frame,
        model,
        unknowns: solved.unknowns.clone(),
        causes,
        motion: [0.0; MOVES],
        motion_causes: Vec::new(),
    };
    plane.tilt_deg = plane.tilt();
    plane.tilt_u_deg = plane.uncertainty_of(|p| Some(p.tilt()));
    plane.camera_u_mm = [0, 1, 2].map(|k| plane.uncertainty_of(|p| p.camera_mm.get(k).copied()));
    judge_marks(&mut plane, solved);
    Some(plane)
}

/// Independent directions of the covariance, each one standard uncertainty long.
fn causes(covariance: &nalgebra::DMatrix<f64>) -> Vec<DVector<f64>> {
    // unknowns of very different size: take the directions of the correlation matrix
    let u = DVector::from_fn(covariance.nrows(), |k, _| covariance[(k, k)].max(0.0).sqrt().max(1e-300));
    let correlation = nalgebra::DMatrix::from_fn(u.len(), u.len(), |i, j| covariance[(i, j)] / (u[i] * u[j]));
    let eigen = correlation.symmetric_eigen();
    let direction = |(v, l): (nalgebra::DVectorView<'_, f64>, &f64)| v.component_mul(&u) * l.max(0.0).sqrt();
    eigen.eigenvectors.column_iter().zip(eigen.eigenvalues.iter()).map(direction).collect()
}
