//! A predicted path laid over a photograph, as the photograph's own camera would see it.

mod side;
mod turns;

use std::sync::PoisonError;

use arcmass_fit::{Scatter, fit_circle};
use arcmass_notebook::Notebook;
use arcmass_photo::plane::ScalePlane;
use serde::Serialize;

use super::Opened;
use crate::assume::Apparatus;
use crate::desk::LabError;
use crate::document::{PathDocument, Q};

/// The photograph's place is found by bringing centres together; each round leaves about a hundredth of the last's error.
const ROUNDS: usize = 4;

/// A prediction and a photograph of the ring or of the helix together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Laid {
    /// Width, pixels.
    pub width_px: usize,
    /// Height, pixels.
    pub height_px: usize,
    /// The predicted beam up to its end, pixels.
    pub path_px: Vec<[f64; 2]>,
    /// The beam as it was found on the photograph, pixels; empty where it could not be followed.
    pub beam_px: Vec<[f64; 2]>,
    /// From the front: diameter of the circle through the predicted turn as this camera sees it on the scale's plane, mm.
    /// From the side: diameter of the predicted helix along what the photograph shows of it, mm.
    pub predicted_diameter_mm: Option<f64>,
    /// From the front: the photographed ring's diameter in the scale's plane, mm; from the side: the helix' diameter, mm.
    pub photographed_diameter_mm: Option<Q>,
    /// Predicted minus photographed, mm.
    pub difference_mm: Option<f64>,
    /// Whether the two were brought together; else the coils' axis lies in the middle of the picture.
    pub is_centred: bool,
    /// What only a side view tells.
    pub side: Option<LaidSide>,
}

/// A prediction over a side view.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LaidSide {
    /// Pitch of the predicted helix along what the photograph shows of it, mm, without sign.
    pub predicted_pitch_mm: Option<f64>,
    /// The photographed helix' pitch, mm.
    pub photographed_pitch_mm: Option<Q>,
    /// Predicted minus photographed, mm.
    pub difference_mm: Option<f64>,
    /// `+x` or `-x`: where the camera stood, as the photograph fits better.
    pub camera_on: &'static str,
    /// How far the prediction was turned in the picture to lie along the photographed helix, degrees, counter-clockwise.
    pub turned_deg: f64,
}

impl Opened {
    /// Lays a predicted path over this photograph.
    ///
    /// The scale gives the camera: how far, how tilted, how many pixels a millimetre. It doesn't say where on its plane the
    /// coils' axis passes, so the centres of the predicted and the photographed ring are brought together; size, shape and
    /// the way the beam doesn't close are compared, the place is not. The camera is taken to stand upright; over a side view
    /// the prediction is turned in the picture until it lies along the photographed helix.
    ///
    /// - **Takes** the notebook and a path of it.
    /// - **Fails** where the photograph has no measured scale.
    pub fn lay(&self, notebook: &Notebook, path: &PathDocument) -> Result<Laid, LabError> {
        let file = format!("photos/{}", self.photo);
        let marks = notebook.marks_of(&self.photo).map(|own| own.marks.clone()).unwrap_or_default();
        let seen = match self.quick(notebook, &marks)? {
            Some(seen) => seen,
            None => self.measure(notebook, &marks)?,
        };
        let Some(plane) = self.plane() else {
            let why = seen.trouble.map_or_else(
                || ("no scale belongs to this photograph".to_owned(), "name it in scale_photo".to_owned()),
                |trouble| (trouble.sentence, trouble.remedy),
            );
            return Err(LabError::lacking(&file, why.0, why.1));
        };
        let apparatus = Apparatus::of(&notebook.bench)?;
        if self.shot.as_ref().is_some_and(|shot| shot.is_side_view) {
            return Ok(side::laid(&seen, &plane, 1e3 * apparatus.scale_offset.value, path));
        }
        let plane_z_mm = path.muzzle_mm[2] + 1e3 * apparatus.scale_offset.value;
        let accepted = seen.points.iter().filter(|point| point.accepted);
        let beam_px: Vec<[f64; 2]> = accepted.map(|point| [point.x_px, point.y_px]).collect();
        let centre = centre_of(&beam_px, &plane);
        let view = Sight { plane: &plane, plane_z_mm };
        let turn = &path.points_mm;
        let middle = path.centre_mm.unwrap_or([0.0, 0.0]);
        let mut shift = centre.map_or([0.0, 0.0], |c| [c[0] - middle[0], c[1] - middle[1]]);
        let mut circle = view.circle(turn, shift);
        if let Some(target) = centre {
            for _ in 0..ROUNDS {
                let Some((at, _)) = circle else { break };
                shift = [shift[0] + target[0] - at[0], shift[1] + target[1] - at[1]];
                circle = view.circle(turn, shift);
            }
        }
        let predicted = circle.map(|(_, diameter)| diameter);
        let photographed = seen.entry.and_then(|entry| entry.ring_diameter_in_scale_plane_mm);
        Ok(Laid {
            width_px: seen.width_px,
            height_px: seen.height_px,
            path_px: view.pixels(&path.drawn_mm, shift),
            beam_px,
            predicted_diameter_mm: predicted,
            photographed_diameter_mm: photographed,
            difference_mm: predicted.zip(photographed).map(|(ours, theirs)| ours - theirs.value),
            is_centred: centre.is_some(),
            side: None,
        })
    }
}

impl Opened {
    /// The plane of the scale, once it was measured.
    fn plane(&self) -> Option<ScalePlane> {
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        let last = last.as_ref().map(|last| last.plane().clone());
        last.or_else(|| self.scale.as_ref()?.as_ref().ok().map(|scale| scale.0.clone()))
    }
}

/// How the photograph's camera sees the bench.
struct Sight<'a> {
    plane: &'a ScalePlane,
    plane_z_mm: f64,
}

impl Sight<'_> {
    /// The plane's frame: x right, y up, z towards the camera, moved by `shift` from the bench's.
    fn place(&self, p: [f64; 3], shift: [f64; 2]) -> [f64; 3] {
        [p[0] + shift[0], p[1] + shift[1], p[2] - self.plane_z_mm]
    }

    fn pixels(&self, points: &[[f64; 3]], shift: [f64; 2]) -> Vec<[f64; 2]> {
        points.iter().filter_map(|p| self.plane.space_to_px(self.place(*p, shift))).collect()
    }

    /// Centre and diameter of the circle through the points, carried along the camera's rays on to the plane.
    fn circle(&self, points: &[[f64; 3]], shift: [f64; 2]) -> Option<([f64; 2], f64)> {
        let lens = self.plane.camera_mm;
        let carry = |p: &[f64; 3]| {
            let [x, y, z] = self.place(*p, shift);
            let t = lens[2] / (lens[2] - z);
            [lens[0] + t * (x - lens[0]), lens[1] + t * (y - lens[1])]
        };
        circle(&points.iter().map(carry).collect::<Vec<_>>())
    }
}

fn centre_of(beam_px: &[[f64; 2]], plane: &ScalePlane) -> Option<[f64; 2]> {
    circle(&plane.all_to_plane(beam_px)?).map(|(centre, _)| centre)
}

fn circle(points: &[[f64; 2]]) -> Option<([f64; 2], f64)> {
    let circle = fit_circle(points, None, Scatter::Known(1.0)).ok()?;
    Some((circle.centre, 2.0 * circle.radius))
}
