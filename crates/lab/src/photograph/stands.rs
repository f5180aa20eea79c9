//! What gives a photograph its millimetres, and where that stands: a scale, the bulb's outline, the rim of a coil.

use arcmass_notebook::{HandMarks, MarkKind};
use arcmass_photo::outline::{FEWEST_ON_OUTLINE, Outline};
use arcmass_photo::plane::{CameraHints, ScalePlane, fit_plane};
use arcmass_photo::{Ellipse, Picture};

use super::measure::{Job, said};
use crate::assume::CoilsKnown;
use crate::document::FailedPhoto;
use crate::spread::Spread;

/// What was measured against.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Standard {
    /// The scale: its distance from the ring's plane is the bench file's.
    Scale,
    /// Something else of known size, with its own place.
    Outline(KnownOutline),
}

/// The bulb or a coil as the standard of length.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct KnownOutline {
    outline: Outline,
    /// Of its plane from the muzzle's, m, positive towards the camera.
    pub(super) offset_m: f64,
    /// Standard uncertainty, m.
    pub(super) offset_u_m: f64,
    /// Of its diameter, relative.
    pub(super) relative_u: f64,
}

/// A typed diameter without uncertainty is known to this part of it (common practice, no source).
const TYPED_U: f64 = 0.01;
/// The bulb's centre and a coil's face are where the bench file says to this, m (common practice, no source).
const PLACE_U_M: f64 = 2e-3;
/// A phone's focal length in parts of the picture's longer side, where neither lens nor distance is known.
const PHONE_WIDTHS: f64 = 0.85;

impl Job<'_> {
    /// The outline that a person marked on this photograph, if any; a scale's marks come before it.
    pub(super) fn marked_outline(
        &self,
        name: &str,
        picture: &Picture,
        camera: &CameraHints,
    ) -> Result<Option<KnownOutline>, FailedPhoto> {
        let Some(marks) = self.notebook.marks_of(name) else { return Ok(None) };
        let [bulb, coil] = [MarkKind::Bulb, MarkKind::Coil].map(|kind| of_kind(marks, kind));
        if bulb.points_px.len() >= FEWEST_ON_OUTLINE {
            return self.bulb(name, bulb, picture, camera).map(Some);
        }
        if coil.points_px.len() >= FEWEST_ON_OUTLINE { self.coil(name, coil).map(Some) } else { Ok(None) }
    }

    fn bulb(
        &self,
        name: &str,
        marked: Marked,
        picture: &Picture,
        camera: &CameraHints,
    ) -> Result<KnownOutline, FailedPhoto> {
        let stated = self.apparatus.bulb_radius_m.map(|radius| 2e3 * radius);
        let diameter_mm = marked.diameter_mm.or(stated).ok_or_else(|| FailedPhoto {
            photo: name.to_owned(),
            sentence: "the bulb's outline is marked, but its diameter is not known".to_owned(),
            remedy: "type the bulb's outer diameter beside the marks, or state outer_radius under [bulb]"
                .to_owned(),
        })?;
        let stated_u = self.apparatus.bulb_relative_u.filter(|_| marked.diameter_mm.is_none());
        let mut outline = Outline { points_px: marked.points_px, diameter_mm, is_flat: false };
        let radius_px = outline.radius_px().ok_or_else(|| on_a_line(name, "bulb"))?;
        let focal_px = camera
            .focal_px
            .map_or(PHONE_WIDTHS * picture.width().max(picture.height()) as f64, |(focal, _)| focal);
        let distance_mm = camera.distance_mm.map_or(0.5 * focal_px * diameter_mm / radius_px, |(d, _)| d);
        // the lens sees a sphere by the rays that touch it, which lie nearer to the lens than its centre
        let sine = (0.5 * diameter_mm / distance_mm).min(0.9);
        outline.diameter_mm = diameter_mm / (1.0 - sine * sine).sqrt();
        Ok(KnownOutline {
            outline,
            offset_m: -self.muzzle_z_m(),
            offset_u_m: PLACE_U_M,
            relative_u: stated_u.unwrap_or(TYPED_U),
        })
    }

    fn coil(&self, name: &str, marked: Marked) -> Result<KnownOutline, FailedPhoto> {
        let Some(CoilsKnown::Pair { mean_radius, separation, winding_radial_m, winding_axial_m, .. }) =
            &self.apparatus.coils
        else {
            return Err(FailedPhoto {
                photo: name.to_owned(),
                sentence: "a coil's rim is marked, but where the coil stands is not known".to_owned(),
                remedy: "state mean_radius and separation under [coils], or mark two labels of a scale"
                    .to_owned(),
            });
        };
        let stated = 2e3 * (mean_radius.value + 0.5 * winding_radial_m);
        let diameter_mm = marked.diameter_mm.unwrap_or(stated);
        let outline = Outline { points_px: marked.points_px, diameter_mm, is_flat: true };
        outline.radius_px().ok_or_else(|| on_a_line(name, "coil"))?;
        let own = mean_radius.spread.u() / mean_radius.value;
        Ok(KnownOutline {
            outline,
            offset_m: 0.5 * (separation.value + winding_axial_m) - self.muzzle_z_m(),
            offset_u_m: PLACE_U_M.hypot(0.5 * separation.spread.u()),
            relative_u: if marked.diameter_mm.is_some() { TYPED_U } else { own.max(1e-3) },
        })
    }

    fn muzzle_z_m(&self) -> f64 {
        self.apparatus.gun.muzzle_m.map_or(0.0, |muzzle| muzzle[2])
    }

    /// The outline's plane, parallel to the ring where that is known.
    pub(super) fn plane_of_outline(
        &self,
        name: &str,
        known: &KnownOutline,
        size: [usize; 2],
        camera: &CameraHints,
        ring: Option<&Ellipse>,
    ) -> Result<ScalePlane, FailedPhoto> {
        let found = known.outline.as_scale(ring).ok_or_else(|| on_a_line(name, "outline"))?;
        fit_plane(&found, size, camera).map_err(|error| said(name, &error))
    }
}

impl Standard {
    /// Relative standard uncertainty of its length.
    pub(super) fn relative_u(&self, scale_relative_u: f64) -> f64 {
        match self {
            Self::Scale => scale_relative_u,
            Self::Outline(known) => known.relative_u,
        }
    }

    /// Distance of its plane from the muzzle's, where that is its own, m.
    pub(super) fn offset(&self) -> Option<(f64, Spread)> {
        match self {
            Self::Scale => None,
            Self::Outline(known) => Some((known.offset_m, Spread::Normal(known.offset_u_m))),
        }
    }
}

/// What a person marked on one outline.
struct Marked {
    points_px: Vec<[f64; 2]>,
    /// As typed beside it.
    diameter_mm: Option<f64>,
}

fn of_kind(marks: &HandMarks, kind: MarkKind) -> Marked {
    let own: Vec<_> = marks.marks.iter().filter(|mark| mark.what == kind).collect();
    Marked {
        points_px: own.iter().map(|mark| [mark.x_px, mark.y_px]).collect(),
        diameter_mm: own.iter().find_map(|mark| mark.along_m).map(|m| 1e3 * m).filter(|mm| *mm > 0.0),
    }
}

fn on_a_line(name: &str, what: &str) -> FailedPhoto {
    FailedPhoto {
        photo: name.to_owned(),
        sentence: format!("the points marked on the {what} lie on one straight line"),
        remedy: "mark three points spread round it".to_owned(),
    }
}
