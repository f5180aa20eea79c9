//! One photograph: read, its scale's plane, its ring in that plane.

use arcmass_notebook::{HandMarks, Input, MarkKind, Notebook};
use arcmass_photo::load::DecodeLimits;
use arcmass_photo::marks::{HandMark, HandMarkKind};
use arcmass_photo::overlay::{Overlay, draw_helix, draw_ring, draw_scale};
use arcmass_photo::plane::{
    CameraHints, RingInPlane, ScalePlane, TraceInPixels, TurnHints, fit_plane, likely_px_per_mm, ring_of_turn,
};
use arcmass_photo::scale::{ScaleFound, ScaleHints, ScaleKind, find_scale};
use arcmass_photo::{PhotoCaveat, PhotoError, Picture, RingHints, RingTrace, find_ring, ring_by_hand};

use super::still::Calibrated;
use super::{OverlayPicture, StraightBeam};
use crate::assume::Apparatus;
use crate::document::{CaveatEntry, FailedPhoto, PhotoEntry, Q};
use crate::spread::{self, Spread};

/// A ring's photograph as the readings name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Shot {
    pub(super) run: String,
    pub(super) ring_photo: String,
    pub(super) scale_photo: Option<String>,
    pub(super) is_side_view: bool,
}

/// A scale's photograph, measured or not.
pub(super) struct Scale {
    name: String,
    pub(super) result: Result<Calibrated, FailedPhoto>,
    pub(super) input: Option<Input>,
    pub(super) overlay: Option<OverlayPicture>,
}

impl Scale {
    /// Not looked at, because the person asked to stop.
    pub(super) fn stopped(name: &str) -> Self {
        Self { name: name.to_owned(), result: Err(stopped(name)), input: None, overlay: None }
    }

    /// Why it could not be measured, if so.
    pub(super) fn failure(&self) -> Option<FailedPhoto> {
        self.result.as_ref().err().cloned()
    }
}

/// A ring's photograph, measured or not.
pub(super) struct Outcome {
    pub(super) result: Result<PhotoEntry, FailedPhoto>,
    pub(super) input: Option<Input>,
    pub(super) overlay: Option<OverlayPicture>,
    pub(super) straight: Option<StraightBeam>,
}

impl Outcome {
    /// Not looked at, because the person asked to stop.
    pub(super) fn stopped(shot: &Shot) -> Self {
        Self { result: Err(stopped(&shot.ring_photo)), input: None, overlay: None, straight: None }
    }
}

fn stopped(name: &str) -> FailedPhoto {
    FailedPhoto {
        photo: name.to_owned(),
        sentence: "the measurement was stopped before it".to_owned(),
        remedy: "start it again".to_owned(),
    }
}

/// What all photographs of a notebook share.
pub(super) struct Job<'a> {
    pub(super) notebook: &'a Notebook,
    pub(super) apparatus: &'a Apparatus,
    pub(super) spacing_m: f64,
    pub(super) with_overlays: bool,
    pub(super) with_straight: bool,
    pub(super) limits: DecodeLimits,
}

/// The bulb's outline lies between these shares of its stated radius, perspective and an oblique view included.
const BULB_OUTLINE: [f64; 2] = [0.85, 1.2];

impl Job<'_> {
    /// Finds the scale on its photograph and calibrates its plane.
    pub(super) fn scale(&self, name: &str) -> Scale {
        let mut input = None;
        let mut overlay = None;
        let result = self.picture(name, &mut input).and_then(|picture| {
            let (found, plane) = self.plane_of(name, &picture)?;
            if self.with_overlays {
                overlay = drawn_back(name, &draw_scale(&picture, &found, Some(&plane)));
            }
            Ok(Calibrated::of(&picture, plane, self.apparatus))
        });
        Scale { name: name.to_owned(), result, input, overlay }
    }

    /// Follows the beam on its photograph and carries it to the scale's plane.
    pub(super) fn ring(&self, shot: &Shot, scales: &[Scale]) -> Outcome {
        let mut outcome = Outcome::stopped(shot);
        outcome.result = self.measured(shot, scales, &mut outcome);
        outcome
    }

    /// The entry; what is shown beside it goes into `outcome`.
    fn measured(
        &self,
        shot: &Shot,
        scales: &[Scale],
        outcome: &mut Outcome,
    ) -> Result<PhotoEntry, FailedPhoto> {
        let name = &shot.ring_photo;
        let picture = self.picture(name, &mut outcome.input)?;
        let failed = |sentence: String, remedy: &str| FailedPhoto {
            photo: name.clone(),
            sentence,
            remedy: remedy.to_owned(),
        };
        let scale_name = shot.scale_photo.as_ref().ok_or_else(|| {
            failed(
                "no photograph of a scale belongs to it".to_owned(),
                "name it in the column scale_photo; the same name in both columns if both are in one picture",
            )
        })?;
        let scale = scales.iter().find(|scale| scale.name == *scale_name);
        let calibrated = match scale.map(|scale| &scale.result) {
            Some(Ok(calibrated)) => calibrated,
            Some(Err(why)) => {
                let sentence = format!("its scale {scale_name} could not be measured: {}", why.sentence);
                return Err(failed(sentence, &why.remedy));
            }
            None => {
                return Err(failed(format!("its scale {scale_name} was not looked at"), "measure it again"));
            }
        };
        if shot.is_side_view {
            let plane = &calibrated.plane;
            let (helix, sized) = self.side(name, &picture, plane)?;
            if self.with_overlays {
                outcome.overlay = drawn_back(name, &draw_helix(&picture, &helix));
            }
            outcome.straight =
                self.with_straight.then(|| StraightBeam::of_helix(shot, &helix, sized.diameter_mm));
            return Ok(self.side_entry(shot, plane, &helix, &sized));
        }
        let is_same = scale_name == name;
        let plane = &if is_same { calibrated.plane.clone() } else { calibrated.plane_for(name, &picture)? };
        let (trace, ring) = self.traced(name, &picture, plane)?;
        if self.with_overlays {
            outcome.overlay = drawn_back(name, &draw_ring(&picture, &trace, Some(&ring)));
        }
        if self.with_straight {
            outcome.straight = StraightBeam::of_ring(shot, &picture, plane, &trace, &ring);
        }
        Ok(self.entry(shot, plane, &trace, &ring))
    }

    /// The beam followed on the picture and carried to the scale's plane.
    pub(super) fn traced(
        &self,
        name: &str,
        picture: &Picture,
        plane: &ScalePlane,
    ) -> Result<(RingTrace, RingInPlane), FailedPhoto> {
        let hints = self.ring_hints(name, plane);
        // what a person marked stands in where the machine finds nothing
        let trace = find_ring(picture, &hints)
            .or_else(|error| ring_by_hand(&hints.beam_points_px).ok_or(error))
            .map_err(|error| said(name, &error))?;
        let ring = in_plane(&trace, plane).map_err(|error| said(name, &error))?;
        Ok((trace, ring))
    }

    fn picture(&self, name: &str, input: &mut Option<Input>) -> Result<Picture, FailedPhoto> {
        let failed = |sentence: String, remedy: &str| FailedPhoto {
            photo: name.to_owned(),
            sentence,
            remedy: remedy.to_owned(),
        };
        let bytes =
            self.notebook.photo_bytes(name).map_err(|fault| failed(fault.to_string(), fault.remedy()))?;
        *input = Some(bytes.input);
        Picture::from_bytes_within(&bytes.bytes, self.limits).map_err(|error| said(name, &error))
    }

    pub(super) fn plane_of(
        &self,
        name: &str,
        picture: &Picture,
    ) -> Result<(ScaleFound, ScalePlane), FailedPhoto> {
        let marks = self.notebook.marks_of(name);
        let kind = self.notebook.bench.scale.as_ref().and_then(|scale| scale.kind);
        let size = [picture.width(), picture.height()];
        let camera = CameraHints {
            distance_mm: self
                .apparatus
                .camera_distance
                .map(|known| (1e3 * known.value, 1e3 * known.spread.u())),
            ..CameraHints::default()
        }
        .with_facts(picture.facts(), picture.width(), picture.height());
        let hints = ScaleHints {
            kind: match kind {
                Some(arcmass_notebook::ScaleKind::Grid) => ScaleKind::Grid,
                Some(arcmass_notebook::ScaleKind::Board) => ScaleKind::Board,
                _ => ScaleKind::Ruler,
            },
            spacing_mm: Some(1e3 * self.spacing_m),
            px_per_mm: likely_px_per_mm(&camera, size),
            leave_out: leave_out(marks),
            hand_marks: marks.map(hand_marks).unwrap_or_default(),
        };
        let found = find_scale(picture, &hints).map_err(|error| said(name, &error))?;
        let mut plane = fit_plane(&found, size, &camera).map_err(|error| said(name, &error))?;
        for caveat in &found.caveats {
            if !plane.caveats.iter().any(|own| own.code == caveat.code) {
                plane.caveats.push(caveat.clone());
            }
        }
        Ok((found, plane))
    }

    fn ring_hints(&self, name: &str, plane: &ScalePlane) -> RingHints {
        let marks = self.notebook.marks_of(name);
        let scale = plane.px_per_mm([0.0, 0.0]).map(|[large, small]| 0.5 * (large + small));
        let bulb = self.apparatus.bulb_radius_m.zip(scale);
        RingHints {
            bulb_radius_px: bulb
                .map(|(radius_m, scale)| BULB_OUTLINE.map(|share| share * 1e3 * radius_m * scale)),
            leave_out: leave_out(marks),
            beam_points_px: marks
                .iter()
                .flat_map(|marks| &marks.marks)
                .filter(|mark| mark.what == MarkKind::Beam)
                .map(|mark| [mark.x_px, mark.y_px])
                .collect(),
            ..RingHints::default()
        }
    }

    pub(super) fn entry(
        &self,
        shot: &Shot,
        plane: &ScalePlane,
        trace: &RingTrace,
        ring: &RingInPlane,
    ) -> PhotoEntry {
        let mut caveats: Vec<CaveatEntry> = trace.caveats.iter().chain(&plane.caveats).map(caveat).collect();
        let behind = self.scale_behind_glass(plane);
        let (shrunk, u_shrunk) = behind.as_ref().map_or((1.0, 0.0), |behind| (behind.factor, behind.u));
        caveats.extend(behind.map(|behind| behind.caveat));
        let diameter = ring.diameter_mm * shrunk;
        let u_trace = ring.u_trace_mm;
        let length = Spread::Normal(self.apparatus.scale_relative_u * diameter);
        let glass = Spread::Normal(u_shrunk * diameter);
        let own = [Spread::Normal(u_trace), Spread::Normal(ring.u_plane_mm), length, glass];
        let to_muzzle = self.to_muzzle(plane, &mut caveats);
        let scale = ring.scale_px_per_mm;
        let width = trace.beam_width_px[0] / scale;
        let along_edge = |[edge_px, u_px]: [f64; 2], side: f64| {
            let edge = Spread::Normal(2.0 * u_px / scale);
            let parts: Vec<Spread> = own.iter().copied().chain([edge]).collect();
            // a ring from points set by hand has no edges
            (edge_px > 0.0).then(|| to_muzzle.moved(diameter + side * 2.0 * edge_px / scale, &parts))
        };
        PhotoEntry {
            photo: shot.ring_photo.clone(),
            run: Some(shot.run.clone()),
            scale_photo: shot.scale_photo.clone(),
            ring_diameter_in_scale_plane_mm: Some(spread::quantity(diameter, &own)),
            ring_diameter_mm: Some(to_muzzle.moved(diameter, &own)),
            u_trace_mm: Some(u_trace),
            u_plane_mm: Some(ring.u_plane_mm.hypot(u_shrunk * diameter)),
            beam_width_mm: Some(spread::quantity(width, &[Spread::Normal(trace.beam_width_px[1] / scale)])),
            inner_edge_diameter_mm: along_edge(trace.edges_px[0], -1.0),
            outer_edge_diameter_mm: along_edge(trace.edges_px[1], 1.0),
            centre_px: Some(trace.centre_px),
            semi_axes_px: Some(trace.semi_axes_px),
            axis_angle_deg: Some(trace.axis_angle_deg),
            arc_seen_deg: Some(trace.arc_seen_deg),
            scale_px_per_mm: Some(spread::quantity(
                scale,
                &[Spread::Normal(scale * ring.u_plane_mm / diameter)],
            )),
            camera_direction: Some(ring.towards_camera),
            pitch_mm: None,
            helix_diameter_mm: None,
            caveats,
        }
    }

    /// How diameters move from the scale's plane to the muzzle's by the offset and the camera's distance.
    ///
    /// Seen from the distance D a length in the plane nearer by `offset` looks larger: d → d · D/(D − offset).
    fn to_muzzle(&self, plane: &ScalePlane, caveats: &mut Vec<CaveatEntry>) -> ToMuzzle {
        let offset = self.apparatus.scale_offset;
        let stated = self.apparatus.camera_distance;
        let distance_m = stated.map_or(1e-3 * plane.camera_mm[2], |known| known.value).max(1e-3);
        if stated.is_none() {
            let percent = 100.0 * offset.spread.u() / distance_m;
            caveats.push(CaveatEntry {
                code: "camera-distance-not-stated".to_owned(),
                sentence: format!(
                    "the camera's distance is not stated; from the picture it is about {:.1} m, and the scale's offset may then change the diameter by {percent:.1} %",
                    distance_m
                ),
                remedy: "measure from the lens to the bulb's centre and state distance under [camera]".to_owned(),
            });
        }
        let distance_u = stated.map_or(0.2 * distance_m, |known| known.spread.u());
        ToMuzzle {
            factor: distance_m / (distance_m - offset.value),
            parts: [
                offset.spread.times(1.0 / distance_m),
                Spread::Normal(offset.value.abs() * distance_u / (distance_m * distance_m)),
            ],
        }
    }
}

/// From the scale's plane to the muzzle's.
struct ToMuzzle {
    factor: f64,
    /// Relative.
    parts: [Spread; 2],
}

impl ToMuzzle {
    /// A diameter with the parts of its uncertainty in the scale's plane.
    fn moved(&self, diameter_mm: f64, own: &[Spread]) -> Q {
        let parts: Vec<Spread> =
            own.iter().copied().chain(self.parts.map(|part| part.times(diameter_mm))).collect();
        spread::quantity(diameter_mm * self.factor, &parts)
    }
}

/// A drawn-back photograph as a file.
fn drawn_back(name: &str, overlay: &Overlay) -> Option<OverlayPicture> {
    Some(OverlayPicture { photo: name.to_owned(), jpeg: overlay.to_jpeg()? })
}

pub(super) fn in_plane(trace: &RingTrace, plane: &ScalePlane) -> Result<RingInPlane, PhotoError> {
    let accepted: Vec<&arcmass_photo::TracePoint> =
        trace.points.iter().filter(|point| point.accepted).collect();
    let points: Vec<[f64; 2]> = accepted.iter().map(|point| [point.x_px, point.y_px]).collect();
    let u: Vec<f64> = accepted.iter().map(|point| point.u_px).collect();
    let line = TraceInPixels { points_px: &points, u_px: &u };
    let hints = TurnHints {
        muzzle_px: trace.muzzle_px,
        travel_known: trace.travel_known,
        slow_u_px: trace.slow_u_px,
        common_u_px: trace.common_u_px,
    };
    ring_of_turn(line, &hints, plane)
}

pub(super) fn said(name: &str, error: &PhotoError) -> FailedPhoto {
    FailedPhoto { photo: name.to_owned(), sentence: error.to_string(), remedy: error.remedy().to_owned() }
}

pub(super) fn caveat(caveat: &PhotoCaveat) -> CaveatEntry {
    CaveatEntry {
        code: caveat.code.to_owned(),
        sentence: caveat.sentence.clone(),
        remedy: caveat.remedy.clone(),
    }
}

/// The marked corners of what must be left out, as one outline.
pub(super) fn leave_out(marks: Option<&HandMarks>) -> Vec<Vec<[f64; 2]>> {
    let corners: Vec<[f64; 2]> = marks
        .iter()
        .flat_map(|marks| &marks.marks)
        .filter(|mark| mark.what == MarkKind::LeaveOut)
        .map(|mark| [mark.x_px, mark.y_px])
        .collect();
    if corners.len() < 3 { Vec::new() } else { vec![corners] }
}

fn hand_marks(marks: &HandMarks) -> Vec<HandMark> {
    marks
        .marks
        .iter()
        .map(|mark| HandMark {
            what: match mark.what {
                MarkKind::Beam => HandMarkKind::Beam,
                MarkKind::Scale => HandMarkKind::Scale,
                MarkKind::LeaveOut => HandMarkKind::LeaveOut,
            },
            x_px: mark.x_px,
            y_px: mark.y_px,
            along_mm: mark.along_m.map(|m| 1e3 * m),
            across_mm: mark.across_m.map(|m| 1e3 * m),
        })
        .collect()
}
