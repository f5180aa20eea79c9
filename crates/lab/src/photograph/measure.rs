//! One photograph: read, its scale's plane, its ring in that plane.

use arcmass_notebook::{HandMarks, Input, MarkKind, Notebook};
use arcmass_photo::load::DecodeLimits;
use arcmass_photo::overlay::{Overlay, draw_helix, draw_ring, draw_scale};
use arcmass_photo::plane::{CameraHints, RingInPlane, ScalePlane, TraceInPixels, TurnHints, ring_of_turn};
use arcmass_photo::{
    FEWEST_BY_HAND, PhotoCaveat, PhotoError, Picture, RingHints, RingTrace, UNSURE, find_ring,
};

use super::stands::Standard;
use super::still::Calibrated;
use super::{OverlayPicture, StraightBeam};
use crate::assume::Apparatus;
use crate::document::{CaveatEntry, FailedPhoto, PhotoEntry, PhotoStatus, Q};
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
    pub(super) with_overlays: bool,
    pub(super) with_straight: bool,
    pub(super) limits: DecodeLimits,
}

/// The bulb's outline lies between these shares of its stated radius, perspective and an oblique view included.
const BULB_OUTLINE: [f64; 2] = [0.85, 1.2];

/// Arc that tells how a ring is slanted, in degrees.
const SLANT_ARC_DEG: f64 = 150.0;

impl Job<'_> {
    /// Finds the scale on its photograph and calibrates its plane.
    pub(super) fn scale(&self, name: &str) -> Scale {
        let mut input = None;
        let mut overlay = None;
        let result = self.picture(name, &mut input).and_then(|picture| {
            let (found, plane, standard) = self.plane_of(name, &picture)?;
            if self.with_overlays {
                overlay = drawn_back(name, &draw_scale(&picture, &found, Some(&plane)));
            }
            Ok(Calibrated::of(&picture, plane, standard, self.apparatus))
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
        let plane = if is_same { calibrated.plane.clone() } else { calibrated.plane_for(name, &picture)? };
        let standard = &calibrated.standard;
        if is_same {
            self.has_its_place(name, standard)?;
        }
        let (trace, ring, plane) = self.traced(name, &picture, plane, standard)?;
        let plane = &plane;
        if self.with_overlays {
            outcome.overlay = drawn_back(name, &draw_ring(&picture, &trace, Some(&ring)));
        }
        if self.with_straight {
            outcome.straight = StraightBeam::of_ring(shot, &picture, plane, &trace, &ring);
        }
        Ok(self.entry(shot, plane, standard, &trace, &ring))
    }

    /// A scale in the ring's own picture stands before or behind the bulb: where must be known.
    pub(super) fn has_its_place(&self, name: &str, standard: &Standard) -> Result<(), FailedPhoto> {
        if matches!(standard, Standard::Outline(_)) || self.apparatus.is_scale_offset_stated {
            return Ok(());
        }
        Err(FailedPhoto {
            photo: name.to_owned(),
            sentence: "how far the scale stands before or behind the ring is not stated; a scale in the ring's own picture can't stand in its plane, and 50 mm behind makes a ring seen from 1 m look 5 % too large"
                .to_owned(),
            remedy: "state offset under [scale], positive towards the camera: \"-50(5) mm\" is a scale 50 mm behind the ring"
                .to_owned(),
        })
    }

    /// The beam followed on the picture.
    pub(super) fn followed(
        &self,
        name: &str,
        picture: &Picture,
        plane: Option<&ScalePlane>,
    ) -> Result<RingTrace, FailedPhoto> {
        find_ring(picture, &self.ring_hints(name, plane)).map_err(|error| said(name, &error))
    }

    /// The beam followed on the picture and carried to the scale's plane; the plane once more, since of a scale of which few
    /// points are known the ring tells the tilt.
    pub(super) fn traced(
        &self,
        name: &str,
        picture: &Picture,
        plane: ScalePlane,
        standard: &Standard,
    ) -> Result<(RingTrace, RingInPlane, ScalePlane), FailedPhoto> {
        let trace = self.followed(name, picture, Some(&plane))?;
        let plane = self.parallel(name, picture, plane, standard, &trace);
        let ring = in_plane(&trace, &plane).map_err(|error| said(name, &error))?;
        Ok((trace, ring, plane))
    }

    /// The plane made parallel to the ring, where its own points don't tell its tilt.
    pub(super) fn parallel(
        &self,
        name: &str,
        picture: &Picture,
        plane: ScalePlane,
        standard: &Standard,
        trace: &RingTrace,
    ) -> ScalePlane {
        // a ring of which less is seen does not tell its slant
        if !plane.is_facing_assumed() || trace.arc_seen_deg < SLANT_ARC_DEG || trace.beam_width_px[0] <= 0.0 {
            return plane;
        }
        let size = [picture.width(), picture.height()];
        let plane = match standard {
            Standard::Outline(known) => {
                let camera = self.camera_hints(picture);
                self.plane_of_outline(name, known, size, &camera, Some(&trace.ellipse)).unwrap_or(plane)
            }
            Standard::Scale | Standard::Labels => plane,
        };
        let u_px = trace.slow_u_px.hypot(trace.scatter_px / trace.effective_points.max(1.0).sqrt());
        plane.parallel_to(&trace.ellipse, u_px).unwrap_or(plane)
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

    /// What is known of the camera before looking at the scale.
    pub(super) fn camera_hints(&self, picture: &Picture) -> CameraHints {
        CameraHints {
            distance_mm: self
                .apparatus
                .camera_distance
                .map(|known| (1e3 * known.value, 1e3 * known.spread.u())),
            ..CameraHints::default()
        }
        .with_facts(picture.facts(), picture.width(), picture.height())
    }

    fn ring_hints(&self, name: &str, plane: Option<&ScalePlane>) -> RingHints {
        let marks = self.notebook.marks_of(name);
        let scale =
            plane.and_then(|plane| plane.px_per_mm([0.0, 0.0])).map(|[large, small]| 0.5 * (large + small));
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
        standard: &Standard,
        trace: &RingTrace,
        ring: &RingInPlane,
    ) -> PhotoEntry {
        let mut caveats: Vec<CaveatEntry> = trace.caveats.iter().chain(&plane.caveats).map(caveat).collect();
        let behind = if *standard == Standard::Scale { self.scale_behind_glass(plane) } else { None };
        let (shrunk, u_shrunk) = behind.as_ref().map_or((1.0, 0.0), |behind| (behind.factor, behind.u));
        caveats.extend(behind.map(|behind| behind.caveat));
        let diameter = ring.diameter_mm * shrunk;
        let u_trace = ring.u_trace_mm;
        let length_u = standard.relative_u(self.apparatus.scale_relative_u) * diameter;
        let length = Spread::Normal(length_u);
        let glass = Spread::Normal(u_shrunk * diameter);
        let own = [Spread::Normal(u_trace), Spread::Normal(ring.u_plane_mm), length, glass];
        let to_muzzle = self.to_muzzle(plane, standard, &mut caveats);
        // what follows takes the diameter in the plane of the bench file's scale
        let to_scale = match standard {
            Standard::Scale | Standard::Labels => 1.0,
            Standard::Outline(_) => {
                to_muzzle.factor / self.to_muzzle(plane, &Standard::Scale, &mut Vec::new()).factor
            }
        };
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
            ring_diameter_in_scale_plane_mm: Some(spread::quantity(diameter * to_scale, &own)),
            ring_diameter_mm: Some(to_muzzle.moved(diameter, &own)),
            u_trace_mm: Some(u_trace),
            u_plane_mm: Some(match standard {
                Standard::Scale | Standard::Labels => ring.u_plane_mm.hypot(u_shrunk * diameter),
                // its length and its place belong to no scale of the bench file
                Standard::Outline(_) => to_muzzle
                    .parts
                    .iter()
                    .fold(ring.u_plane_mm.hypot(length_u), |u, part| u.hypot(part.u() * diameter)),
            }),
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
            status: self.status(&shot.ring_photo, trace),
            caveats,
        }
    }

    fn status(&self, name: &str, trace: &RingTrace) -> PhotoStatus {
        let marks = self.notebook.marks_of(name);
        let beam = marks.iter().flat_map(|marks| &marks.marks).filter(|mark| mark.what == MarkKind::Beam);
        if beam.count() >= FEWEST_BY_HAND {
            PhotoStatus::ByHand
        } else if trace.caveats.iter().any(|caveat| caveat.code == UNSURE) {
            PhotoStatus::Unsure
        } else {
            PhotoStatus::Measured
        }
    }

    /// How diameters move from the scale's plane to the muzzle's by the offset and the camera's distance.
    ///
    /// Seen from the distance D a length in the plane nearer by `offset` looks larger: d → d · D/(D − offset).
    fn to_muzzle(&self, plane: &ScalePlane, standard: &Standard, caveats: &mut Vec<CaveatEntry>) -> ToMuzzle {
        let stated = self.apparatus.scale_offset;
        let (offset, spread) = standard.offset().unwrap_or((stated.value, stated.spread));
        let stated = self.apparatus.camera_distance;
        let distance_m = stated.map_or(1e-3 * plane.camera_mm[2], |known| known.value).max(1e-3);
        if stated.is_none() {
            let percent = 100.0 * spread.u() / distance_m;
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
            factor: distance_m / (distance_m - offset),
            parts: [
                spread.times(1.0 / distance_m),
                Spread::Normal(offset.abs() * distance_u / (distance_m * distance_m)),
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
