//! The scale on a photograph and its plane: by every mark, by labels that a person marked, by rhythm, or by an outline.

use arcmass_notebook::{HandMarks, MarkKind, ScaleKind as Kind};
use arcmass_photo::Picture;
use arcmass_photo::marks::{HandMark, HandMarkKind};
use arcmass_photo::plane::{CameraHints, ScalePlane, fit_plane, likely_px_per_mm};
use arcmass_photo::scale::{ScaleFound, ScaleHints, ScaleKind, find_scale};

use super::measure::{Job, leave_out, said};
use super::stands::Standard;
use crate::document::FailedPhoto;

/// Labels of a scale that give its size.
const FEWEST_LABELS: usize = 2;

impl Job<'_> {
    pub(super) fn plane_of(
        &self,
        name: &str,
        picture: &Picture,
    ) -> Result<(ScaleFound, ScalePlane, Standard), FailedPhoto> {
        let marks = self.notebook.marks_of(name);
        let size = [picture.width(), picture.height()];
        let camera = self.camera_hints(picture);
        let labels = marks.iter().flat_map(|marks| &marks.marks).filter(|mark| mark.what == MarkKind::Scale);
        let has_labels = labels.count() >= FEWEST_LABELS;
        if !has_labels && let Some(known) = self.marked_outline(name, picture, &camera)? {
            let plane = self.plane_of_outline(name, &known, size, &camera, None)?;
            return Ok((ScaleFound::default(), plane, Standard::Outline(known)));
        }
        let hints = self.scale_hints(name, picture, &camera, has_labels);
        if has_labels {
            let (found, plane) = by_marks(name, picture, &hints, &camera)?;
            return Ok((found, plane, Standard::Labels));
        }
        let is_ruler = hints.kind == ScaleKind::Ruler;
        let by_rhythm = || {
            let found = self.scale_by_rhythm(picture, &camera).filter(|_| is_ruler)?;
            let plane = fit_plane(&found, size, &camera).ok()?;
            let plane = with_caveats(plane, &found);
            Some((found, plane, Standard::Labels))
        };
        // through the bulb each mark is drawn aside by its own amount, which the rhythm is told and the single marks are not
        if self.is_scale_behind_bulb()
            && self.shows_ring(name)
            && let Some(read) = by_rhythm()
        {
            return Ok(read);
        }
        if hints.spacing_mm.is_none() {
            return by_rhythm().ok_or_else(|| FailedPhoto {
                photo: name.to_owned(),
                sentence: "the distance between the scale's marks is not stated, and no two points of the scale are marked by hand".to_owned(),
                remedy: "write `spacing = \"1 mm\"` under [scale], or mark two numbers of the scale and type what they say".to_owned(),
            });
        }
        match by_marks(name, picture, &hints, &camera) {
            Ok((found, plane)) => Ok((found, plane, Standard::Scale)),
            Err(fault) => by_rhythm().ok_or(fault),
        }
    }

    /// Whether the ring is in the same picture.
    fn shows_ring(&self, name: &str) -> bool {
        let runs = self.notebook.readings.iter().flat_map(|readings| &readings.runs);
        runs.into_iter().any(|run| run.ring_photo.as_deref() == Some(name))
    }

    fn scale_hints(
        &self,
        name: &str,
        picture: &Picture,
        camera: &CameraHints,
        has_labels: bool,
    ) -> ScaleHints {
        let marks = self.notebook.marks_of(name);
        ScaleHints {
            kind: match self.notebook.bench.scale.as_ref().and_then(|scale| scale.kind) {
                Some(Kind::Grid) => ScaleKind::Grid,
                Some(Kind::Board) => ScaleKind::Board,
                Some(Kind::Ruler | Kind::Mirror) | None => ScaleKind::Ruler,
            },
            spacing_mm: self.apparatus.scale_spacing_m.map(|m| 1e3 * m),
            px_per_mm: likely_px_per_mm(camera, [picture.width(), picture.height()]),
            leave_out: leave_out(marks),
            hand_marks: marks.map(hand_marks).unwrap_or_default(),
            bulb: if has_labels { self.bulb_before(picture) } else { None },
        }
    }
}

/// The scale and its plane by its marks, or by those that a person set.
fn by_marks(
    name: &str,
    picture: &Picture,
    hints: &ScaleHints,
    camera: &CameraHints,
) -> Result<(ScaleFound, ScalePlane), FailedPhoto> {
    let found = find_scale(picture, hints).map_err(|error| said(name, &error))?;
    let plane = fit_plane(&found, [picture.width(), picture.height()], camera);
    let plane = with_caveats(plane.map_err(|error| said(name, &error))?, &found);
    Ok((found, plane))
}

/// The plane with the cautions of its scale.
fn with_caveats(mut plane: ScalePlane, found: &ScaleFound) -> ScalePlane {
    for caveat in &found.caveats {
        if !plane.caveats.iter().any(|own| own.code == caveat.code) {
            plane.caveats.push(caveat.clone());
        }
    }
    plane
}

fn hand_marks(marks: &HandMarks) -> Vec<HandMark> {
    let kind = |kind| match kind {
        MarkKind::Beam => Some(HandMarkKind::Beam),
        MarkKind::Scale => Some(HandMarkKind::Scale),
        MarkKind::LeaveOut => Some(HandMarkKind::LeaveOut),
        MarkKind::Bulb | MarkKind::Coil => None,
    };
    let hand = |mark: &arcmass_notebook::HandMark| {
        Some(HandMark {
            what: kind(mark.what)?,
            x_px: mark.x_px,
            y_px: mark.y_px,
            along_mm: mark.along_m.map(|m| 1e3 * m),
            across_mm: mark.across_m.map(|m| 1e3 * m),
        })
    };
    marks.marks.iter().filter_map(hand).collect()
}
