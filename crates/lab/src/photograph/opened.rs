//! One photograph kept decoded, measured again and again as a person moves marks on it.

mod laid;

use std::sync::{Mutex, PoisonError};

pub use laid::{Laid, LaidSide};

use arcmass_notebook::{HandMark, HandMarks, Input, MarkKind, Notebook, View};
use arcmass_photo::load::DecodeLimits;
use arcmass_photo::marks::inside_outline;
use arcmass_photo::plane::{RingInPlane, ScalePlane};
use arcmass_photo::scale::ScaleFound;
use arcmass_photo::{FEWEST_BY_HAND, Helix, HelixInPlane, Picture, RingTrace};
use serde::Serialize;

use super::StraightBeam;
use super::measure::{Job, Shot};
use super::stands::Standard;
use super::still::Calibrated;
use crate::assume::Apparatus;
use crate::desk::LabError;
use crate::document::{CaveatEntry, FailedPhoto, PhotoEntry};

/// A photograph on the desk.
pub struct Opened {
    /// Name under `photos/`.
    pub photo: String,
    picture: Picture,
    shot: Option<Shot>,
    /// The scale of another photograph, measured once and carried along where the camera moved.
    scale: Option<OtherScale>,
    /// The scale on this photograph as it was read last: marks on the beam don't ask for it again.
    own_scale: Mutex<Option<(ScaleKey, OwnScale)>>,
    /// The beam as it was followed last, to answer at once while a mark moves.
    last: Mutex<Option<Last>>,
}

/// The plane of a scale on another photograph and what it was measured against, or why there is none.
type OtherScale = Result<(ScalePlane, Standard), FailedPhoto>;

/// What a scale's plane depends on beside the picture: the bench file's hash, marks that are not on the beam.
type ScaleKey = (String, Vec<HandMark>);
/// The scale of the photograph itself.
type OwnScale = Result<(ScaleFound, ScalePlane, Standard), FailedPhoto>;

/// What the last whole measurement gave.
#[derive(Clone)]
enum Last {
    Ring(Box<RingLast>),
    /// A side view with the marks it was measured with: only the same marks are answered at once.
    Side(Box<SideLast>),
}

/// A side view as it was measured.
#[derive(Clone)]
struct SideLast {
    seen: Seen,
    marks: Vec<HandMark>,
    plane: ScalePlane,
}

/// A ring that was followed.
#[derive(Clone)]
struct RingLast {
    trace: RingTrace,
    plane: ScalePlane,
    standard: Standard,
    marks: Vec<HandMark>,
}

impl Last {
    fn plane(&self) -> &ScalePlane {
        match self {
            Self::Ring(last) => &last.plane,
            Self::Side(last) => &last.plane,
        }
    }
}

/// Points of an outline drawn on the photograph.
const OUTLINE_POINTS: usize = 180;
/// A mark this far off the followed line, in parts of the ring's radius, may mean another line.
const ANOTHER_LINE: f64 = 0.05;

/// A point on the beam.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeenPoint {
    /// Pixels.
    pub x_px: f64,
    /// Pixels.
    pub y_px: f64,
    /// Whether it was believed.
    pub accepted: bool,
}

/// A mark of the scale as it was counted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeenMark {
    /// Ends in pixels.
    pub ends_px: [[f64; 2]; 2],
    /// Number along its row.
    pub number: i32,
}

/// What is seen on a photograph with the marks as they are.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Seen {
    /// Width, pixels.
    pub width_px: usize,
    /// Height, pixels.
    pub height_px: usize,
    /// The entry `rings` would write; null for a scale's photograph.
    pub entry: Option<PhotoEntry>,
    /// On the beam, in order.
    pub points: Vec<SeenPoint>,
    /// The fitted circle drawn back, pixels.
    pub outline_px: Vec<[f64; 2]>,
    /// Found but not believed: where and why.
    pub rejected: Vec<(String, Vec<[f64; 2]>)>,
    /// Marks of the scale, if this photograph holds one.
    pub marks: Vec<SeenMark>,
    /// Pixels per millimetre at the middle of the picture's scale.
    pub px_per_mm: Option<f64>,
    /// Why there is no ring or no scale.
    pub trouble: Option<FailedPhoto>,
    /// Said beside it.
    pub caveats: Vec<CaveatEntry>,
}

impl Opened {
    /// Reads and decodes a photograph, and measures its scale where that is another picture.
    ///
    /// - **Fails** where there is no such photograph or it can't be decoded.
    pub fn open(notebook: &Notebook, photo: &str) -> Result<Self, LabError> {
        let file = format!("photos/{photo}");
        let bytes = notebook
            .photo_bytes(photo)
            .map_err(|fault| LabError::lacking(&file, fault.to_string(), fault.remedy()))?;
        let picture = Picture::from_bytes(&bytes.bytes)
            .map_err(|error| LabError::lacking(&file, error.to_string(), error.remedy()))?;
        let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
        let shot = runs.filter(|run| run.ring_photo.as_deref() == Some(photo)).map(|run| Shot {
            run: run.run.clone(),
            ring_photo: photo.to_owned(),
            scale_photo: run.scale_photo.clone(),
            is_side_view: run.view == View::Side,
        });
        let mut opened = Self {
            photo: photo.to_owned(),
            picture,
            shot: shot.into_iter().next(),
            scale: None,
            own_scale: Mutex::default(),
            last: Mutex::default(),
        };
        opened.scale = opened.other_scale(notebook)?;
        Ok(opened)
    }

    fn other_scale(&self, notebook: &Notebook) -> Result<Option<OtherScale>, LabError> {
        let name = self.shot.as_ref().and_then(|shot| shot.scale_photo.clone());
        let Some(name) = name.filter(|name| *name != self.photo) else { return Ok(None) };
        let apparatus = Apparatus::of(&notebook.bench)?;
        let job = job(notebook, &apparatus);
        let is_side_view = self.shot.as_ref().is_some_and(|shot| shot.is_side_view);
        let here = |scale: Calibrated| {
            let plane = if is_side_view {
                Ok(scale.plane.clone())
            } else {
                scale.plane_for(&self.photo, &self.picture)
            };
            plane.map(|plane| (plane, scale.standard))
        };
        Ok(Some(job.scale(&name).result.and_then(here)))
    }

    fn nothing_seen(&self) -> Seen {
        Seen {
            width_px: self.picture.width(),
            height_px: self.picture.height(),
            entry: None,
            points: Vec::new(),
            outline_px: Vec::new(),
            rejected: Vec::new(),
            marks: Vec::new(),
            px_per_mm: None,
            trouble: None,
            caveats: Vec::new(),
        }
    }

    /// What these marks make of the line that was followed last: no new search, so that it keeps up with the hand.
    ///
    /// Left out is what the outline holds; marks on the scale make a new plane; marks on the beam only choose the line,
    /// so none moves the diameter. None where only a whole measurement can tell: nothing was followed yet, or a mark on
    /// the beam lies off the line.
    pub fn quick(&self, notebook: &Notebook, marks: &[HandMark]) -> Result<Option<Seen>, LabError> {
        let Some(shot) = &self.shot else { return Ok(None) };
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut last = match last {
            None => return Ok(None),
            Some(Last::Side(last)) => return Ok((last.marks == marks).then_some(last.seen)),
            Some(Last::Ring(last)) => *last,
        };
        let of = |kind: MarkKind| marks.iter().filter(move |mark| mark.what == kind);
        let ellipse = last.trace.ellipse;
        let off = |mark: &HandMark| ellipse.distance(mark.x_px, mark.y_px).abs() > ANOTHER_LINE * ellipse.r;
        let by_hand = |marks: &[HandMark]| {
            marks.iter().filter(|mark| mark.what == MarkKind::Beam).count() >= FEWEST_BY_HAND
        };
        if of(MarkKind::Beam).any(off) || by_hand(marks) != by_hand(&last.marks) {
            return Ok(None);
        }
        let notebook = self.with_marks(notebook, marks);
        let apparatus = Apparatus::of(&notebook.bench)?;
        let job = job(&notebook, &apparatus);
        let scale_marks = |marks: &[HandMark]| -> Vec<HandMark> {
            let is_size = |mark: &&HandMark| !matches!(mark.what, MarkKind::Beam | MarkKind::LeaveOut);
            marks.iter().filter(is_size).map(|mark| HandMark { line: 0, ..*mark }).collect()
        };
        if self.scale.is_none() && scale_marks(marks) != scale_marks(&last.marks) {
            match self.own_scale(&job, marks) {
                Ok((_, plane, standard)) => {
                    last.plane = job.parallel(&self.photo, &self.picture, plane, &standard, &last.trace);
                    last.standard = standard;
                }
                Err(_) => return Ok(None),
            }
        }
        let outline: Vec<[f64; 2]> = of(MarkKind::LeaveOut).map(|mark| [mark.x_px, mark.y_px]).collect();
        for point in &mut last.trace.points {
            point.accepted &= !inside_outline(&outline, [point.x_px, point.y_px]);
        }
        let mut seen = self.nothing_seen();
        if let Ok(ring) = super::measure::in_plane(&last.trace, &last.plane) {
            fill(&mut seen, &job, shot, &last, ring);
        }
        Ok(Some(seen))
    }

    /// Measures with these marks in place of those in the folder.
    pub fn measure(&self, notebook: &Notebook, marks: &[HandMark]) -> Result<Seen, LabError> {
        let notebook = self.with_marks(notebook, marks);
        let apparatus = Apparatus::of(&notebook.bench)?;
        let job = job(&notebook, &apparatus);
        let mut seen = self.nothing_seen();
        let plane = match &self.scale {
            Some(Ok(calibrated)) => Some(calibrated.clone()),
            Some(Err(why)) => {
                seen.trouble = Some(why.clone());
                None
            }
            None => match self.own_scale(&job, marks) {
                Ok((found, plane, standard)) => {
                    seen.marks = marks_of(&found);
                    seen.px_per_mm = plane.px_per_mm([0.0, 0.0]).map(|[a, b]| f64::midpoint(a, b));
                    seen.caveats = plane.caveats.iter().map(super::measure::caveat).collect();
                    Some((plane, standard))
                }
                Err(why) => {
                    seen.trouble = Some(why);
                    None
                }
            },
        };
        let is_alone = self.scale.is_none();
        match (&self.shot, plane) {
            (Some(shot), Some((plane, _))) if shot.is_side_view => {
                self.helix(&job, shot, &plane, &mut seen, marks);
            }
            (Some(shot), Some((plane, standard))) => match job.has_its_place(&self.photo, &standard) {
                Err(why) if is_alone => {
                    self.line_only(&job, &mut seen);
                    seen.trouble = Some(why);
                }
                _ => self.ring(&job, shot, plane, standard, &mut seen),
            },
            (Some(shot), None) if !shot.is_side_view => self.line_only(&job, &mut seen),
            _ => {}
        }
        Ok(seen)
    }

    /// The scale on this photograph with these marks; read again only where they or the bench file are others.
    fn own_scale(&self, job: &Job<'_>, marks: &[HandMark]) -> OwnScale {
        let others = marks.iter().filter(|mark| mark.what != MarkKind::Beam);
        let others = others.map(|mark| HandMark { line: 0, ..*mark }).collect();
        let key = (job.notebook.bench.input.sha256.clone(), others);
        let mut kept = self.own_scale.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, scale)) = kept.as_ref().filter(|(of, _)| *of == key) {
            return scale.clone();
        }
        let scale = job.plane_of(&self.photo, &self.picture);
        *kept = Some((key, scale.clone()));
        scale
    }

    fn helix(&self, job: &Job<'_>, shot: &Shot, plane: &ScalePlane, seen: &mut Seen, marks: &[HandMark]) {
        match job.side(&self.photo, &self.picture, plane) {
            Ok((helix, sized)) => fill_side(seen, job, shot, plane, &helix, &sized),
            Err(why) => seen.trouble = Some(why),
        }
        let last = SideLast { seen: seen.clone(), marks: marks.to_vec(), plane: plane.clone() };
        let last = Last::Side(Box::new(last));
        *self.last.lock().unwrap_or_else(PoisonError::into_inner) = Some(last);
    }

    /// The beam without a size: what a person sees while the scale is still to be marked.
    fn line_only(&self, job: &Job<'_>, seen: &mut Seen) {
        if let Ok(trace) = job.followed(&self.photo, &self.picture, None) {
            fill_line(seen, &trace);
            let turn = (0..=OUTLINE_POINTS).map(|k| std::f64::consts::TAU * k as f64 / OUTLINE_POINTS as f64);
            seen.outline_px = turn.map(|t| trace.ellipse.point(t)).collect();
            seen.caveats.extend(trace.caveats.iter().map(super::measure::caveat));
        }
    }

    fn ring(&self, job: &Job<'_>, shot: &Shot, plane: ScalePlane, standard: Standard, seen: &mut Seen) {
        match job.traced(&self.photo, &self.picture, plane, &standard) {
            Ok((trace, ring, plane)) => {
                let marks =
                    job.notebook.marks_of(&self.photo).map(|own| own.marks.clone()).unwrap_or_default();
                let last = RingLast { trace, plane, standard, marks };
                fill(seen, job, shot, &last, ring);
                let last = Last::Ring(Box::new(last));
                *self.last.lock().unwrap_or_else(PoisonError::into_inner) = Some(last);
            }
            Err(why) => seen.trouble = Some(why),
        }
    }

    /// The beam laid straight with these marks; none where it can't be followed.
    ///
    /// What was followed last with the same marks is not followed again.
    pub fn straight(&self, notebook: &Notebook, marks: &[HandMark]) -> Option<StraightBeam> {
        let notebook = self.with_marks(notebook, marks);
        let apparatus = Apparatus::of(&notebook.bench).ok()?;
        let job = job(&notebook, &apparatus);
        let shot = self.shot.as_ref()?;
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner).clone();
        // the page's marks have no lines of a table
        let bare = |marks: &[HandMark]| -> Vec<HandMark> {
            marks.iter().map(|mark| HandMark { line: 0, ..*mark }).collect()
        };
        let last = match last {
            Some(Last::Ring(last)) => Some(last).filter(|last| bare(&last.marks) == bare(marks)),
            _ => None,
        };
        if let Some(last) = last {
            let ring = super::measure::in_plane(&last.trace, &last.plane).ok()?;
            return StraightBeam::of_ring(shot, &self.picture, &last.plane, &last.trace, &ring);
        }
        let (plane, standard) = match &self.scale {
            Some(Ok(calibrated)) => calibrated.clone(),
            _ => {
                let (_, plane, standard) = self.own_scale(&job, marks).ok()?;
                (plane, standard)
            }
        };
        if shot.is_side_view {
            let (helix, sized) = job.side(&self.photo, &self.picture, &plane).ok()?;
            return Some(StraightBeam::of_helix(shot, &helix, sized.diameter_mm));
        }
        let (trace, ring, plane) = job.traced(&self.photo, &self.picture, plane, &standard).ok()?;
        StraightBeam::of_ring(shot, &self.picture, &plane, &trace, &ring)
    }

    fn with_marks(&self, notebook: &Notebook, marks: &[HandMark]) -> Notebook {
        let mut changed = notebook.clone();
        changed.marks.retain(|own| own.photo != self.photo);
        let input = Input { file: format!("marks/{}.csv", self.photo), sha256: String::new() };
        changed.marks.push(HandMarks { photo: self.photo.clone(), marks: marks.to_vec(), input });
        changed
    }
}

fn job<'a>(notebook: &'a Notebook, apparatus: &'a Apparatus) -> Job<'a> {
    Job { notebook, apparatus, with_overlays: false, with_straight: false, limits: DecodeLimits::default() }
}

fn fill(seen: &mut Seen, job: &Job<'_>, shot: &Shot, last: &RingLast, ring: RingInPlane) {
    let entry = job.entry(shot, &last.plane, &last.standard, &last.trace, &ring);
    fill_line(seen, &last.trace);
    seen.caveats.clone_from(&entry.caveats);
    seen.px_per_mm = entry.scale_px_per_mm.as_ref().map(|q| q.value);
    seen.outline_px = ring.outline_px;
    seen.entry = Some(entry);
}

fn fill_line(seen: &mut Seen, trace: &RingTrace) {
    seen.points = points(trace);
    seen.rejected = trace.rejected.iter().map(|r| (r.why.clone(), r.points_px.clone())).collect();
}

fn fill_side(
    seen: &mut Seen,
    job: &Job<'_>,
    shot: &Shot,
    plane: &ScalePlane,
    helix: &Helix,
    sized: &HelixInPlane,
) {
    let entry = job.side_entry(shot, plane, helix, sized);
    let point = |p: &arcmass_photo::HelixPoint| SeenPoint { x_px: p.x_px, y_px: p.y_px, accepted: true };
    seen.points = helix.points.iter().map(point).collect();
    seen.outline_px.clone_from(&helix.outline_px);
    seen.caveats.clone_from(&entry.caveats);
    seen.px_per_mm = entry.scale_px_per_mm.as_ref().map(|q| q.value);
    seen.entry = Some(entry);
}

fn points(trace: &RingTrace) -> Vec<SeenPoint> {
    let one = |point: &arcmass_photo::TracePoint| SeenPoint {
        x_px: point.x_px,
        y_px: point.y_px,
        accepted: point.accepted,
    };
    trace.points.iter().map(one).collect()
}

fn marks_of(found: &ScaleFound) -> Vec<SeenMark> {
    let found = found.rows.iter().flat_map(|row| &row.marks);
    found.map(|mark| SeenMark { ends_px: mark.ends_px, number: mark.number }).collect()
}

/// The word for a kind of mark in `marks/`.
pub fn mark_word(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Beam => "beam",
        MarkKind::Scale => "scale",
        MarkKind::Bulb => "bulb",
        MarkKind::Coil => "coil",
        MarkKind::LeaveOut => "leave-out",
    }
}
