//! A ring's beam laid straight: where it runs about the fitted circle, as numbers and as a strip of the photograph.

use std::f64::consts::{PI, TAU};

use arcmass_photo::overlay::{StripFrame, draw_strip};
use arcmass_photo::plane::{RingInPlane, ScalePlane};
use arcmass_photo::{Helix, Picture, RingTrace};

use super::measure::Shot;

/// Width of the strip to each side of the circle, in beam widths; at least this many millimetres, at most this part of the radius.
const STRIP_WIDTHS: f64 = 3.5;
const NARROWEST_MM: f64 = 1.5;
const WIDEST_RADII: f64 = 0.3;

/// A beam as it runs about its fitted curve.
#[derive(Debug, Clone, PartialEq)]
pub struct StraightBeam {
    /// Name under `photos/`.
    pub photo: String,
    /// The run it belongs to.
    pub run: String,
    /// Whether the angle counts from where the beam leaves the gun, in the electrons' direction.
    pub is_from_muzzle: bool,
    /// Diameter of the fitted curve in the scale's plane, mm.
    pub diameter_mm: f64,
    /// Points of the centre line, in order.
    pub points: Vec<StraightPoint>,
    /// The photograph laid straight; none for a side view.
    pub strip: Option<Strip>,
}

/// A point of the centre line against the fitted curve.
#[derive(Debug, Clone, PartialEq)]
pub struct StraightPoint {
    /// Along the beam, degrees about the circle's centre (of a side view: 360 a turn).
    pub along_deg: f64,
    /// On the photograph, pixels.
    pub place_px: [f64; 2],
    /// Distance from the curve in the scale's plane, mm, outwards positive.
    pub residual_mm: f64,
    /// Its standard uncertainty from this cross-section alone, mm; none where it was not told.
    pub u_mm: Option<f64>,
    /// Inner and outer edge (half height) from the curve, mm, outwards positive; none where it was not told.
    pub edges_mm: Option<[f64; 2]>,
    /// Whether it was believed.
    pub is_believed: bool,
    /// Why not; empty if it was.
    pub why: String,
}

/// The photograph laid straight, with its extent.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// JPEG; along the beam to the right, outside on top.
    pub jpeg: Vec<u8>,
    /// First and last angle, degrees.
    pub along_deg: [f64; 2],
    /// Lower and upper distance from the circle, mm.
    pub across_mm: [f64; 2],
}

impl StraightBeam {
    /// Lays the beam of a ring straight.
    ///
    /// - **Takes** the photograph with its plane, the beam followed on it, and the circle fitted to it.
    /// - **Gives** every point of the centre line; none where the plane does not reach.
    pub(super) fn of_ring(
        shot: &Shot,
        picture: &Picture,
        plane: &ScalePlane,
        trace: &RingTrace,
        ring: &RingInPlane,
    ) -> Option<Self> {
        let around = Around::of(plane, trace, ring)?;
        let mut beam = Self {
            photo: shot.ring_photo.clone(),
            run: shot.run.clone(),
            is_from_muzzle: around.is_from_muzzle,
            diameter_mm: ring.diameter_mm,
            points: points(plane, trace, ring, &around)?,
            strip: None,
        };
        beam.strip = beam.strip(picture, plane, trace, ring, &around);
        Some(beam)
    }

    /// The same of a side view: residuals about the helix only.
    pub(super) fn of_helix(shot: &Shot, helix: &Helix, diameter_mm: f64) -> Self {
        let px_per_mm = helix.diameter_px[0] / diameter_mm;
        let point = |p: &arcmass_photo::HelixPoint| StraightPoint {
            along_deg: 360.0 * p.turns,
            place_px: [p.x_px, p.y_px],
            residual_mm: p.residual_px / px_per_mm,
            u_mm: None,
            edges_mm: None,
            is_believed: true,
            why: String::new(),
        };
        Self {
            photo: shot.ring_photo.clone(),
            run: shot.run.clone(),
            is_from_muzzle: false,
            diameter_mm,
            points: helix.points.iter().map(point).collect(),
            strip: None,
        }
    }

    /// Name under `results/` of what is shown of it, by its ending.
    pub fn result_name(&self, ending: &str) -> String {
        format!("figures/{}-beam.{ending}", self.photo.replace('/', "-"))
    }

    /// Largest distance of a believed point from the curve, mm.
    pub fn largest_residual_mm(&self) -> f64 {
        let believed = self.points.iter().filter(|point| point.is_believed);
        believed.map(|point| point.residual_mm.abs()).fold(0.0, f64::max)
    }

    /// Root mean square distance of the believed points, mm.
    pub fn rms_mm(&self) -> f64 {
        let squares = || self.points.iter().filter(|p| p.is_believed).map(|p| p.residual_mm * p.residual_mm);
        (squares().sum::<f64>() / squares().count().max(1) as f64).sqrt()
    }

    /// First and last believed angle, degrees; none where no point was believed.
    pub fn believed_deg(&self) -> Option<[f64; 2]> {
        let mut angles = self.points.iter().filter(|p| p.is_believed).map(|p| p.along_deg);
        let first = angles.next()?;
        Some(angles.fold([first, first], |[low, high], a| [low.min(a), high.max(a)]))
    }

    /// Every point as a line of a table (RFC 4180, commas, a point before the decimals).
    pub fn to_csv(&self) -> String {
        let mut text = String::from(
            "along_deg,x_px,y_px,residual_mm,u_mm,inner_edge_mm,outer_edge_mm,believed,why_not\r\n",
        );
        let cell = |value: Option<f64>| value.map(|v| format!("{v:.5}")).unwrap_or_default();
        for point in &self.points {
            let [x, y] = point.place_px;
            let edges = point.edges_mm;
            text.push_str(&format!(
                "{:.3},{x:.3},{y:.3},{:.5},{},{},{},{},{}\r\n",
                point.along_deg,
                point.residual_mm,
                cell(point.u_mm),
                cell(edges.map(|e| e[0])),
                cell(edges.map(|e| e[1])),
                if point.is_believed { "yes" } else { "no" },
                if point.why.contains(',') { format!("\"{}\"", point.why) } else { point.why.clone() },
            ));
        }
        text
    }

    fn strip(
        &self,
        picture: &Picture,
        plane: &ScalePlane,
        trace: &RingTrace,
        ring: &RingInPlane,
        around: &Around,
    ) -> Option<Strip> {
        let radius = 0.5 * ring.diameter_mm;
        let width = trace.beam_width_px[0] / ring.scale_px_per_mm.max(1e-9);
        let half =
            (STRIP_WIDTHS * width + self.largest_residual_mm()).max(NARROWEST_MM).min(WIDEST_RADII * radius);
        // the whole turn, with the gap for the gun shared by both ends
        let [first, last] = self.believed_deg()?;
        let from = first - 0.5 * (360.0 - (last - first)).max(0.0);
        let frame = StripFrame {
            centre_mm: ring.centre_mm,
            radius_mm: radius,
            from_rad: around.zero + around.sense * from.to_radians(),
            arc_rad: around.sense * TAU,
            across_mm: [-half, half],
        };
        let jpeg = draw_strip(picture, plane, &frame)?.to_jpeg()?;
        Some(Strip { jpeg, along_deg: [from, from + 360.0], across_mm: frame.across_mm })
    }
}

/// How the angle along the beam is counted about the circle's centre.
struct Around {
    /// Direction on the plane of angle 0, and the sense of counting.
    zero: f64,
    sense: f64,
    is_from_muzzle: bool,
    /// One angle a point of the trace, degrees.
    along_deg: Vec<f64>,
}

impl Around {
    fn of(plane: &ScalePlane, trace: &RingTrace, ring: &RingInPlane) -> Option<Self> {
        let [cx, cy] = ring.centre_mm;
        let place = |px: [f64; 2]| plane.to_plane(px).map(|[x, y]| (y - cy).atan2(x - cx));
        let angles: Vec<f64> =
            trace.points.iter().map(|p| place([p.x_px, p.y_px])).collect::<Option<Vec<_>>>()?;
        let believed = trace.points.iter().position(|point| point.accepted)?;
        let mut unwrapped = vec![0.0; angles.len()];
        for k in 1..angles.len() {
            let step = angles.get(k)? - angles.get(k - 1)?;
            *unwrapped.get_mut(k)? = unwrapped.get(k - 1)? + (step + PI).rem_euclid(TAU) - PI;
        }
        let total = unwrapped.last()? - unwrapped.first()?;
        let sense = if total < 0.0 { -1.0 } else { 1.0 };
        let muzzle = trace.muzzle_px.filter(|_| trace.travel_known).and_then(place);
        let first = *angles.get(believed)?;
        let zero = muzzle.unwrap_or(first);
        let before = ((sense * (first - zero)) + PI).rem_euclid(TAU) - PI;
        let start = *unwrapped.get(believed)?;
        let along_deg = unwrapped.iter().map(|u| (sense * (u - start) + before).to_degrees()).collect();
        Some(Self { zero, sense, is_from_muzzle: muzzle.is_some(), along_deg })
    }
}

fn points(
    plane: &ScalePlane,
    trace: &RingTrace,
    ring: &RingInPlane,
    around: &Around,
) -> Option<Vec<StraightPoint>> {
    let [cx, cy] = ring.centre_mm;
    let radius = 0.5 * ring.diameter_mm;
    let one = |(point, &along_deg): (&arcmass_photo::TracePoint, &f64)| {
        let out = |px: f64| -> Option<f64> {
            let [nx, ny] = point.normal;
            let [x, y] = plane.to_plane([point.x_px + px * nx, point.y_px + px * ny])?;
            Some((x - cx).hypot(y - cy) - radius)
        };
        let residual_mm = out(0.0)?;
        let is_told = point.width_px > 0.0;
        Some(StraightPoint {
            along_deg,
            place_px: [point.x_px, point.y_px],
            residual_mm,
            u_mm: (point.u_px > 0.0)
                .then(|| out(point.u_px))
                .flatten()
                .map(|moved| (moved - residual_mm).abs()),
            edges_mm: if is_told { Some([out(-point.edges_px[0])?, out(point.edges_px[1])?]) } else { None },
            is_believed: point.accepted,
            why: if point.accepted { String::new() } else { why(trace, point) },
        })
    };
    trace.points.iter().zip(&around.along_deg).map(one).collect()
}

/// The reason given for a point that was not believed.
fn why(trace: &RingTrace, point: &arcmass_photo::TracePoint) -> String {
    let here = [point.x_px, point.y_px];
    let reason = trace.rejected.iter().find(|rejected| rejected.points_px.contains(&here));
    reason.map_or_else(|| "excluded by a mark".to_owned(), |rejected| rejected.why.clone())
}
