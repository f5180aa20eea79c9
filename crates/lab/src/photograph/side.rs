//! A side view: the helix across the axis, and its pitch and diameter in millimetres.

use arcmass_photo::plane::ScalePlane;
use arcmass_photo::{Helix, HelixInPlane, Picture, RingHints, find_helix, helix_in_plane};

use super::measure::{Job, Shot, caveat, leave_out, said};
use crate::document::{FailedPhoto, PhotoEntry};
use crate::spread::{self, Spread};

impl Job<'_> {
    /// The helix found on a side view and carried to the scale's plane.
    pub(super) fn side(
        &self,
        name: &str,
        picture: &Picture,
        plane: &ScalePlane,
    ) -> Result<(Helix, HelixInPlane), FailedPhoto> {
        let hints = RingHints { leave_out: leave_out(self.notebook.marks_of(name)), ..RingHints::default() };
        let helix = find_helix(picture, &hints).map_err(|error| said(name, &error))?;
        // on side views the stated offset counts from the axis' own plane, x = 0, towards the camera
        let offset = self.apparatus.scale_offset;
        let before_axis = [1e3 * offset.value, 1e3 * offset.spread.u()];
        let sized = helix_in_plane(&helix, plane, before_axis).map_err(|error| said(name, &error))?;
        Ok((helix, sized))
    }

    /// The document's entry of a side view: what belongs to rings is null.
    pub(super) fn side_entry(
        &self,
        shot: &Shot,
        plane: &ScalePlane,
        helix: &Helix,
        sized: &HelixInPlane,
    ) -> PhotoEntry {
        let own = |value: f64, u: f64| {
            let calibration = self.apparatus.scale_relative_u * value;
            spread::quantity(value, &[Spread::Normal(u), Spread::Normal(calibration)])
        };
        let scale = sized.diameter_mm.recip() * helix.diameter_px[0];
        let caveats = helix.caveats.iter().chain(&plane.caveats).map(caveat).collect();
        PhotoEntry {
            photo: shot.ring_photo.clone(),
            run: Some(shot.run.clone()),
            scale_photo: shot.scale_photo.clone(),
            ring_diameter_in_scale_plane_mm: None,
            ring_diameter_mm: None,
            u_trace_mm: None,
            u_plane_mm: None,
            beam_width_mm: None,
            inner_edge_diameter_mm: None,
            outer_edge_diameter_mm: None,
            centre_px: None,
            semi_axes_px: None,
            axis_angle_deg: Some(helix.axis_angle_deg),
            arc_seen_deg: Some(360.0 * helix.turns_seen),
            scale_px_per_mm: Some(spread::quantity(
                scale,
                &[Spread::Normal(scale * sized.u_diameter_mm / sized.diameter_mm)],
            )),
            camera_direction: None,
            status: crate::document::PhotoStatus::Measured,
            pitch_mm: Some(own(sized.pitch_mm, sized.u_pitch_mm)),
            helix_diameter_mm: Some(own(sized.diameter_mm, sized.u_diameter_mm)),
            caveats,
        }
    }
}
