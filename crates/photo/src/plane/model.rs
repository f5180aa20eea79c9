//! What the camera must see: every mark a line of known place along the scale, every foot on a straight line across it.

use nalgebra::{DVector, Matrix3, Rotation3, Vector3};

use crate::by_hand::click_u_px;
use crate::camera::{Camera, CameraHints, Pose};
use crate::plane::slant::{SeenRing, elongation};
use crate::plane::solve::Prior;
use crate::scale::{ScaleFound, ScaleRow};

/// Unknowns: rotation (3), place of the reference point (2), ln(px/mm), ln(focal length), principal point (2), k1, k2;
/// then for each further row its offset, ln(spacing), foot and angle; the first three rotate about u, v and the plane's
/// normal.
pub(crate) const FIXED_UNKNOWNS: usize = 11;
/// Index of ln(px/mm) and of ln(focal length).
pub(super) const LN_SCALE: usize = 5;
pub(crate) const LN_FOCAL: usize = 6;
/// Index of the principal point.
const CENTRE: usize = 7;

/// A camera seldom looks at a scale from further aside than twice this (radians).
const TILT_U: f64 = 0.35;
/// Principal point from the picture's middle, as a part of the width (common practice, no source).
const CENTRE_U: f64 = 0.015;
/// The same where the picture was cut down afterwards: the middle may lie anywhere.
const CROPPED_U: f64 = 0.2;
/// Radial distortion of photographic lenses, first and second coefficient in units of the focal length
/// (common practice, no source).
const K1_U: f64 = 0.1;
const K2_U: f64 = 0.15;
/// Without any word on the camera: focal length between a wide and a long lens, in picture widths.
const FOCAL_WIDTHS: f64 = 1.5;
const FOCAL_LN_U: f64 = 0.7;
/// The same where a few points marked by hand are all there is: then it is a phone, seldom with a long lens.
const PHONE_FOCAL_WIDTHS: f64 = 0.85;
const PHONE_FOCAL_LN_U: f64 = 0.45;
/// A scale of which only a few points are known is taken to face the camera within this (radians, standard deviation).
pub(super) const FACING_U: f64 = 0.07;
/// Lens and stated distance contradict each other from so many standard uncertainties on.
const CONTRADICTS: f64 = 2.0;
/// Points further from one line than this part of their length tell the tilt.
const OFF_LINE: f64 = 0.15;
/// The stated distance is to the bulb's centre, the reference point lies elsewhere on the plane, and the lens is thick.
const DISTANCE_EXTRA_U: f64 = 0.01;
/// Feet are printed straight, but blur moves them by a part of a pixel depending on the ground beside the ruler.
const FOOT_U_PX: f64 = 0.5;

/// Unknowns of each row after the first.
const ROW_UNKNOWNS: usize = 4;
/// A row whose direction differs by more than this (tangent) belongs to another ruler.
const ANGLED: f64 = 0.12;
/// Relative standard uncertainty between two edges of one ruler, and of their directions (radians).
const EDGES_U: f64 = 1e-4;
/// Where a row lies is not known beforehand, in millimetres.
const OPEN_MM: f64 = 100.0;

/// One thing seen.
#[derive(Debug, Clone, Copy)]
enum Seen {
    /// A point on mark `number` of a row.
    Mark {
        row: usize,
        number: f64,
    },
    /// The foot of a mark of a row.
    Foot {
        row: usize,
    },
    /// Along and across a scale, as marked by hand.
    Along {
        mm: f64,
    },
    Across {
        mm: f64,
    },
}

#[derive(Debug, Clone, Copy)]
struct Observation {
    seen: Seen,
    px: [f64; 2],
    /// Standard uncertainty in pixels.
    u_px: f64,
}

/// Observations with the frame in which the unknowns are small.
#[derive(Debug, Clone)]
pub(crate) struct Model {
    observations: Vec<Observation>,
    /// Row and mark of each observation of a mark; for a crossing row 0 and its index.
    pub(crate) owners: Vec<Option<(usize, usize)>>,
    upright: Matrix3<f64>,
    reference_mm: [f64; 2],
    px_per_mm: f64,
    /// Spacing of each row in millimetres, negative where its numbers run against the first row's, before its unknown.
    spacing: Vec<f64>,
    priors: Vec<Prior>,
    start: DVector<f64>,
    /// Middle of the picture, and ln(distance in millimetres) from the lens to the point of the plane seen there.
    middle_px: [f64; 2],
    distance: Option<Prior>,
    /// Whether the points are so few, or so nearly on one line, that they tell no tilt.
    pub(super) is_few: bool,
    /// The ring that lies parallel to the scale and is round.
    ring: Option<SeenRing>,
}

impl Model {
    /// The model of a scale found, in a picture of this size.
    pub(crate) fn new(found: &ScaleFound, size_px: [usize; 2], hints: &CameraHints) -> Option<Self> {
        let mut model = if !found.rows.is_empty() {
            Self::by_rows(found)?
        } else if !found.crossings.is_empty() {
            Self::by_crossings(found)?
        } else {
            Self::by_hand(
                found,
                if found.hand_u_px > 0.0 { found.hand_u_px } else { click_u_px(size_px[0], size_px[1]) },
            )?
        };
        model.add_priors(size_px, hints);
        Some(model)
    }

    fn bare(
        from: ([f64; 2], [f64; 2]),
        to: ([f64; 2], [f64; 2]),
        reference: ([f64; 2], [f64; 2]),
    ) -> Option<Self> {
        let (p, q) = (from.1, to.1);
        let px = (q[0] - p[0]).hypot(q[1] - p[1]);
        let step = [to.0[0] - from.0[0], to.0[1] - from.0[1]];
        let mm = step[0].hypot(step[1]);
        if !(px > 0.0 && mm > 0.0) {
            return None;
        }
        // the direction of u in the picture: turn the pixel vector back by the angle of the step on the plane;
        // v is a quarter turn counter-clockwise from u as seen, and pixels count y downwards
        let seen = [(q[0] - p[0]) / px, (q[1] - p[1]) / px];
        let (c, s) = (step[0] / mm, step[1] / mm);
        let a = [seen[0] * c - seen[1] * s, seen[1] * c + seen[0] * s];
        let upright = Matrix3::new(a[0], a[1], 0.0, a[1], -a[0], 0.0, 0.0, 0.0, -1.0);
        Some(Self {
            observations: Vec::new(),
            owners: Vec::new(),
            upright,
            reference_mm: reference.0,
            px_per_mm: px / mm,
            spacing: vec![1.0],
            priors: Vec::new(),
            start: DVector::from_column_slice(&reference.1),
            middle_px: [0.0; 2],
            distance: None,
            is_few: false,
            ring: None,
        })
    }

    fn by_rows(found: &ScaleFound) -> Option<Self> {
        let main = found.rows.first()?;
        let spacing = main.spacing_mm?;
        let (first, last) = (main.marks.first()?, main.marks.last()?);
        let middle = main.marks.get(main.marks.len() / 2)?;
        let at = |m: &crate::scale::ScaleMark| ([f64::from(m.number) * spacing, 0.0], m.ends_px[0]);
        let mut model = Self::bare(at(first), at(last), at(middle))?;
        model.spacing = vec![spacing];
        for (row, r) in found.rows.iter().enumerate() {
            for (k, m) in r.marks.iter().enumerate() {
                for px in m.points_px {
                    let seen = Seen::Mark { row, number: f64::from(m.number) };
                    model.add(Observation { seen, px, u_px: m.u_px }, Some((row, k)));
                }
                let u_px = (2.0 * r.foot_scatter_px).max(FOOT_U_PX);
                model.add(Observation { seen: Seen::Foot { row }, px: m.ends_px[0], u_px }, None);
            }
        }
        Some(model)
    }

    fn by_crossings(found: &ScaleFound) -> Option<Self> {
        let spacing = found.crossing_spacing_mm?;
        let known: Vec<([f64; 2], [f64; 2])> =
            found.crossings.iter().map(|c| (c.number.map(|n| spacing * f64::from(n)), c.px)).collect();
        let mut model = Self::spanned(&known)?;
        for (k, ((mm, px), crossing)) in known.into_iter().zip(&found.crossings).enumerate() {
            let u_px = crossing.u_px;
            model.add(Observation { seen: Seen::Along { mm: mm[0] }, px, u_px }, Some((0, k)));
            model.add(Observation { seen: Seen::Across { mm: mm[1] }, px, u_px }, Some((0, k)));
        }
        Some(model)
    }

    /// The frame of points known in the plane and in the picture, from two that lie far apart.
    fn spanned(known: &[([f64; 2], [f64; 2])]) -> Option<Self> {
        let away = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        let from = *known.first()?;
        let to = *known.iter().max_by(|a, b| away(&a.1, &from.1).total_cmp(&away(&b.1, &from.1)))?;
        let n = known.len() as f64;
        let middle = [0, 1].map(|k| known.iter().map(|p| p.1[k]).sum::<f64>() / n);
        let reference = *known.iter().min_by(|a, b| away(&a.1, &middle).total_cmp(&away(&b.1, &middle)))?;
        Self::bare(from, to, reference)
    }

    fn by_hand(found: &ScaleFound, u_px: f64) -> Option<Self> {
        let known: Vec<([f64; 2], [f64; 2])> = found
            .hand_marks
            .iter()
            .filter_map(|m| Some(([m.along_mm?, m.across_mm.unwrap_or(0.0)], m.point_px())))
            .collect();
        let mut model = Self::spanned(&known)?;
        model.is_few = known.len() < 4 || is_on_one_line(&known);
        for (mm, px) in known {
            model.add(Observation { seen: Seen::Along { mm: mm[0] }, px, u_px }, None);
            model.add(Observation { seen: Seen::Across { mm: mm[1] }, px, u_px }, None);
        }
        Some(model)
    }

    fn add(&mut self, observation: Observation, owner: Option<(usize, usize)>) {
        self.observations.push(observation);
        self.owners.push(owner);
    }

    fn add_priors(&mut self, size_px: [usize; 2], hints: &CameraHints) {
        let (width, height) = (size_px[0] as f64, size_px[1] as f64);
        let centre = [(width - 1.0) / 2.0, (height - 1.0) / 2.0];
        let (ln_focal, mut u) = focal_prior(hints, width.max(height), self.is_few);
        let tilt_u = if self.is_few { FACING_U } else { TILT_U };
        self.middle_px = centre;
        self.distance =
            hints.distance_mm.filter(good).map(|(d, u)| (d.ln(), (u / d).hypot(DISTANCE_EXTRA_U)));
        // a few points say the scale, lens and distance their tilt: where these two contradict each other, neither is held to
        if let (true, Some(distance)) = (self.is_few, &mut self.distance) {
            let gap = (distance.0 + self.px_per_mm.ln() - ln_focal).abs();
            if gap > CONTRADICTS * u.hypot(distance.1) {
                (u, distance.1) = (u.hypot(gap), distance.1.hypot(gap));
            }
        }
        // the marks' spacing as seen is shortened by the tilt: good enough for a start, not for a prior
        let first = self.distance.map_or(ln_focal, |d| d.0 + self.px_per_mm.ln());
        let focal = first.exp();
        let reference = [0, 1].map(|k| (self.start.get(k).copied().unwrap_or(0.0) - centre[k]) / focal);
        const OPEN: f64 = 10.0;
        let centre_u = CENTRE_U * width.max(height);
        self.priors = vec![
            (0.0, tilt_u),
            (0.0, tilt_u),
            (0.0, OPEN),
            (reference[0], OPEN),
            (reference[1], OPEN),
            (self.px_per_mm.ln(), OPEN),
            (ln_focal, u),
            (centre[0], centre_u),
            (centre[1], centre_u),
            (0.0, K1_U),
            (0.0, K2_U),
        ];
        self.start = DVector::from_iterator(FIXED_UNKNOWNS, self.priors.iter().map(|p| p.0));
        if let Some(start) = self.start.get_mut(LN_FOCAL) {
            *start = first;
        }
    }

    /// Adds the unknowns of a further row: its zero, its spacing (known or not), its foot line and its direction.
    pub(crate) fn add_row(&mut self, row: &ScaleRow) -> Option<()> {
        let first = row.marks.first()?;
        let last = row.marks.last()?;
        let place = |px| self.on_plane(&self.start, px);
        let (a, b) = (place(first.ends_px[0])?, place(last.ends_px[0])?);
        let steps = f64::from(last.number - first.number);
        let way = [(b[0] - a[0]) / steps, (b[1] - a[1]) / steps];
        let is_parallel = way[1].abs() < ANGLED * way[0].abs();
        // two edges of one ruler are parallel, and printed by one machine: they agree to a part in ten thousand
        let (angle, angle_u) = if is_parallel { (0.0, EDGES_U) } else { (way[1].atan2(way[0]), 1.0) };
        let rough = if is_parallel { way[0] } else { way[0].hypot(way[1]) };
        let (spacing, u) = match row.spacing_mm {
            Some(s) => (s * rough.signum(), EDGES_U),
            None => (rough, 0.03),
        };
        let turned = turn(a, angle);
        let offset = turned[0] - spacing * f64::from(first.number);
        self.spacing.push(spacing);
        self.priors.extend([(offset, OPEN_MM), (0.0, u), (turned[1], OPEN_MM), (angle, angle_u)]);
        let start = self.start.iter().copied().chain([offset, 0.0, turned[1], angle]).collect::<Vec<_>>();
        self.start = DVector::from_vec(start);
        Some(())
    }

    /// The same, of a picture that may have been cut down: the lens may have looked anywhere.
    pub(crate) fn cropped(&self, size_px: [usize; 2]) -> Self {
        let mut model = self.clone();
        let u = CROPPED_U * size_px[0].max(size_px[1]) as f64;
        for prior in model.priors.iter_mut().skip(CENTRE).take(2) {
            prior.1 = u;
        }
        model
    }

    /// The same with a round ring in a parallel plane: its seen elongation tells the tilt.
    pub(super) fn beside(&self, ring: SeenRing) -> Self {
        let mut model = self.clone();
        model.ring = Some(ring);
        model.priors.iter_mut().take(2).for_each(|prior| *prior = (0.0, TILT_U));
        model
    }

    /// The same with the tilt held at its value for `p`, give or take `tilt_u` radians.
    pub(super) fn tilted_as(&self, p: &DVector<f64>, tilt_u: f64) -> Self {
        let mut model = self.clone();
        model.priors.iter_mut().zip(p.iter()).take(2).for_each(|(prior, at)| *prior = (*at, tilt_u));
        model
    }

    /// Width and height of the picture in pixels.
    pub(super) fn size_px(&self) -> [usize; 2] {
        self.middle_px.map(|middle| (2.0 * middle + 1.0).round() as usize)
    }

    pub(crate) fn priors(&self) -> &[Prior] {
        &self.priors
    }

    /// The start, tilted about u and v by so many radians.
    pub(crate) fn start(&self, tilt: [f64; 2]) -> DVector<f64> {
        let mut start = self.start.clone();
        start.iter_mut().zip(tilt).for_each(|(s, t)| *s = t);
        start
    }

    /// Nominal pixels per millimetre.
    pub(crate) fn px_per_mm(&self) -> f64 {
        self.px_per_mm
    }

    /// Camera and pose for given unknowns.
    pub(crate) fn camera(&self, p: &DVector<f64>) -> Option<(Camera, Pose)> {
        let [wx, wy, wz, a, b, ln_scale, ln_focal, cx, cy, k1, k2] =
            *p.as_slice().first_chunk::<FIXED_UNKNOWNS>()?;
        let focal_px = ln_focal.exp();
        let depth = focal_px / ln_scale.exp();
        let rotation = self.upright * Rotation3::new(Vector3::new(wx, wy, wz)).into_inner();
        let reference = Vector3::new(self.reference_mm[0], self.reference_mm[1], 0.0);
        let translation = Vector3::new(a, b, 1.0) * depth - rotation * reference;
        Some((Camera { focal_px, centre_px: [cx, cy], k1, k2 }, Pose { rotation, translation }))
    }

    fn on_plane(&self, p: &DVector<f64>, px: [f64; 2]) -> Option<[f64; 2]> {
        let (camera, pose) = self.camera(p)?;
        plane_point(&camera, &pose.to_plane()?, px)
    }

    /// How many points are seen.
    pub(super) fn len(&self) -> usize {
        self.observations.len()
    }

    /// Distances of the points seen (every so many of them) from where they must be, in units of their uncertainties;
    /// last the stated distance of the camera.
    pub(crate) fn residuals(&self, p: &DVector<f64>, every: usize) -> Option<Vec<f64>> {
        let (camera, pose) = self.camera(p)?;
        let back = pose.to_plane()?;
        let rows = self.rows(p);
        let row = |k: usize| rows.get(k).copied().unwrap_or_default();
        let px_per_mm = p.get(LN_SCALE)?.exp();
        let mut all: Vec<f64> = self
            .observations
            .iter()
            .step_by(every.max(1))
            .map(|o| {
                let at = plane_point(&camera, &back, o.px)?;
                let mm = match o.seen {
                    Seen::Mark { row: k, number } => row(k).along(at) - row(k).spacing * number,
                    Seen::Foot { row: k } => row(k).across(at),
                    Seen::Along { mm } => at[0] - mm,
                    Seen::Across { mm } => at[1] - mm,
                };
                Some(mm * px_per_mm / o.u_px)
            })
            .collect::<Option<_>>()?;
        if let Some((ln_mm, u)) = self.distance {
            all.push((self.distance_mm(&camera, &pose)?.ln() - ln_mm) / u);
        }
        if let Some(ring) = self.ring {
            let place = |px| plane_point(&camera, &back, px);
            all.extend(elongation(&ring.ellipse, place)?.map(|part| part / ring.elongation_u));
        }
        Some(all)
    }

    /// Where each row lies for given unknowns.
    fn rows(&self, p: &DVector<f64>) -> Vec<RowPlace> {
        let extra =
            |k: usize, m: usize| p.get(FIXED_UNKNOWNS + ROW_UNKNOWNS * (k - 1) + m).copied().unwrap_or(0.0);
        let place = |(k, spacing): (usize, &f64)| {
            if k == 0 {
                return RowPlace { spacing: *spacing, turn: [1.0, 0.0], ..RowPlace::default() };
            }
            let (sin, cos) = extra(k, 3).sin_cos();
            RowPlace {
                offset: extra(k, 0),
                spacing: spacing * extra(k, 1).exp(),
                foot: extra(k, 2),
                turn: [cos, sin],
            }
        };
        self.spacing.iter().enumerate().map(place).collect()
    }

    /// How many of the last residuals are stated knowledge, which no weight may set aside.
    pub(crate) fn stated(&self) -> usize {
        // of a few points typed by a person none is an outlier
        let typed = if self.is_few { self.observations.len() } else { 0 };
        typed + usize::from(self.distance.is_some()) + if self.ring.is_some() { 2 } else { 0 }
    }

    /// Distance from the lens to the point of the plane seen in the middle of the picture.
    fn distance_mm(&self, camera: &Camera, pose: &Pose) -> Option<f64> {
        let ray = camera.to_ray(self.middle_px)?;
        let ray = Vector3::new(ray[0], ray[1], 1.0);
        let normal = pose.rotation.column(2);
        let along = normal.dot(&pose.translation) / normal.dot(&ray);
        (along > 0.0).then(|| along * ray.norm())
    }

    /// Standard uncertainty of an observation in pixels.
    pub(crate) fn u_px(&self, k: usize) -> f64 {
        self.observations.get(k).map_or(1.0, |o| o.u_px)
    }
}

/// Whether points known in the plane lie on one line there, nearly.
fn is_on_one_line(known: &[([f64; 2], [f64; 2])]) -> bool {
    let n = known.len() as f64;
    let mean = [0, 1].map(|k| known.iter().map(|p| p.0[k]).sum::<f64>() / n);
    let moment =
        |i: usize, j: usize| known.iter().map(|p| (p.0[i] - mean[i]) * (p.0[j] - mean[j])).sum::<f64>();
    let moments = nalgebra::Matrix2::new(moment(0, 0), moment(0, 1), moment(1, 0), moment(1, 1));
    let sizes = moments.singular_values();
    sizes.min().max(0.0).sqrt() < OFF_LINE * sizes.max().max(0.0).sqrt()
}

/// Where a row lies on the plane: turned by an angle, its zero and its foot line.
#[derive(Debug, Clone, Copy, Default)]
struct RowPlace {
    offset: f64,
    spacing: f64,
    foot: f64,
    turn: [f64; 2],
}

impl RowPlace {
    fn along(self, p: [f64; 2]) -> f64 {
        p[0] * self.turn[0] + p[1] * self.turn[1] - self.offset
    }

    fn across(self, p: [f64; 2]) -> f64 {
        p[1] * self.turn[0] - p[0] * self.turn[1] - self.foot
    }
}

/// Coordinates of a point in axes turned by an angle.
fn turn(p: [f64; 2], angle: f64) -> [f64; 2] {
    let (sin, cos) = angle.sin_cos();
    [p[0] * cos + p[1] * sin, p[1] * cos - p[0] * sin]
}

/// A pixel carried to the plane; none beyond the horizon.
pub(crate) fn plane_point(camera: &Camera, back: &Matrix3<f64>, px: [f64; 2]) -> Option<[f64; 2]> {
    let ray = camera.to_ray(px)?;
    let p = back * Vector3::new(ray[0], ray[1], 1.0);
    (p.z > 0.0).then(|| [p.x / p.z, p.y / p.z])
}

/// Mean and standard uncertainty of ln(focal length in pixels) before the scale and the distance are looked at.
fn focal_prior(hints: &CameraHints, width_px: f64, is_phone: bool) -> Prior {
    let written = hints.focal_px.filter(good).map(|(f, u)| (f.ln(), (u / f).max(0.005)));
    let (widths, ln_u) =
        if is_phone { (PHONE_FOCAL_WIDTHS, PHONE_FOCAL_LN_U) } else { (FOCAL_WIDTHS, FOCAL_LN_U) };
    written.unwrap_or(((widths * width_px).ln(), ln_u))
}

fn good(v: &(f64, f64)) -> bool {
    v.0 > 0.0 && v.1 >= 0.0 && v.0.is_finite() && v.1.is_finite()
}
