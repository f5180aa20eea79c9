//! The picture of a scale in the ring's plane with the lights on, and the truth behind it.

use crate::bodies::COARSE;
use crate::camera::View;
use crate::canvas::Canvas;
use crate::error::DrawError;
use crate::photograph::{DrawnBench, draw_bench};
use crate::scale_face::Face;
use crate::scale_object::ScaleObject;
use crate::scene::Scene;

/// One mark of a scale, or one crossing of a grid or board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Place along the marks.
    pub along_mm: f64,
    /// Place across, from the near edge (or from the first line).
    pub across_mm: f64,
    /// Where it is in the picture.
    pub px: [f64; 2],
    /// Whether it is in the picture and nothing stands before it.
    pub visible: bool,
}

/// The marks of a drawn scale.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleTruth {
    /// Marks of the near edge where they meet it, crossings of lines, or corners of squares, in order.
    pub marks: Vec<Mark>,
    /// Marks of a ruler's far edge where they meet it; empty without.
    pub far_marks: Vec<Mark>,
}

/// A drawn scale.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnScale {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// What is in it.
    pub truth: ScaleTruth,
}

/// Draws a scale on the bench of a scene; tube, gun and beam are left out.
///
/// # Errors
///
/// When a number of scene or scale cannot be drawn, or the scale turns its back to the camera.
pub fn draw_scale(scene: &Scene, scale: &ScaleObject) -> Result<DrawnScale, DrawError> {
    let bare = Scene { bulb: None, gun: None, beam: None, ..scene.clone() };
    let DrawnBench { jpeg, scales, .. } = draw_bench(&bare, std::slice::from_ref(scale))?;
    let truth = scales.into_iter().next().unwrap_or(ScaleTruth { marks: Vec::new(), far_marks: Vec::new() });
    Ok(DrawnScale { jpeg, truth })
}

pub(crate) fn scale_truth(
    face: &Face,
    view: &View,
    near: Option<&Canvas<4>>,
) -> Result<ScaleTruth, DrawError> {
    let mark = |[along_mm, across_mm]: [f64; 2]| {
        let px = face
            .seen([along_mm, across_mm])
            .ok_or(DrawError::BehindCamera { what: "a mark of the scale" })?;
        let free = view.in_frame(px) && !is_covered(near, px) && !face.is_hidden(along_mm, across_mm);
        Ok(Mark { along_mm, across_mm, px, visible: free })
    };
    let all = |places: Vec<[f64; 2]>| places.into_iter().map(mark).collect::<Result<Vec<_>, _>>();
    Ok(ScaleTruth { marks: all(face.marks())?, far_marks: all(face.far_marks())? })
}

/// Whether a body before the scale covers a place.
fn is_covered(near: Option<&Canvas<4>>, px: [f64; 2]) -> bool {
    let Some(near) = near else { return false };
    let coarse = |v: f64, n: usize| ((v.max(0.0) as usize) / COARSE).min(n - 1);
    near.row(coarse(px[1], near.height))[coarse(px[0], near.width)][3] > 0.3
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photograph::{LaidOut, lay_out};
    use crate::scale_object::{Edge, ScaleKind, Surface};
    use crate::scene::{Bulb, Camera, Room, Sensor};

    fn bare_scene() -> Scene {
        Scene {
            camera: Camera::on_axis(620.0, 6200.0, 2000, 500),
            bulb: None,
            coils: None,
            gun: None,
            beam: None,
            room: Room::lit(),
            sensor: Sensor::ideal(),
            seed: 3,
        }
    }

    /// Centroid of darkness along a row between two places.
    fn dark_centre(canvas: &Canvas<3>, y: usize, from: f64, to: f64) -> f64 {
        let (from, to) = (from as usize, to as usize);
        let row = canvas.row(y);
        let slope = (row[to][1] - row[from][1]) / (to - from) as f32;
        let (mut sum, mut moment) = (0.0, 0.0);
        for (x, value) in row.iter().enumerate().take(to + 1).skip(from) {
            let ground = row[from][1] + slope * (x - from) as f32;
            let dark = f64::from(ground - value[1]);
            sum += dark;
            moment += dark * x as f64;
        }
        moment / sum
    }

    #[test]
    fn drawn_marks_lie_where_the_truth_says() {
        let surface = Surface::Plain;
        let ruler = ScaleObject { surface, ..ScaleObject::ruler(200, -100.3, -10.0, 0.0, 0.0) };
        let LaidOut { canvas, view, scales, .. } = lay_out(&bare_scene(), &[ruler]).unwrap();
        let truth = &scales[0];
        let mut checked = 0;
        for mark in truth.marks.iter().filter(|m| m.visible && !(m.along_mm as u32).is_multiple_of(10)) {
            // Look across the marks 1.5 mm in from the edge, not as far as its neighbours, 10 px away.
            let y = view.project([0.0, -8.5, 0.0]).unwrap()[1] as usize;
            let centre = dark_centre(&canvas, y, mark.px[0] - 4.0, mark.px[0] + 5.0);
            assert!(
                (centre - mark.px[0]).abs() < 0.02,
                "mark {}: {centre} for {}",
                mark.along_mm,
                mark.px[0]
            );
            checked += 1;
        }
        assert!(checked > 150, "only {checked} marks were in the picture");
    }

    #[test]
    fn crossings_of_a_grid_are_dark_and_ordered_along_then_across() {
        let kind = ScaleKind::Grid { columns: 20, rows: 8, spacing_mm: 5.0, line_mm: 0.6 };
        let grid = ScaleObject { kind, ..ScaleObject::ruler(10, -50.0, -20.0, 0.0, 0.0) };
        let LaidOut { canvas, scales, .. } = lay_out(&bare_scene(), &[grid]).unwrap();
        let truth = &scales[0];
        assert_eq!(truth.marks.len(), 21 * 9);
        assert_eq!([truth.marks[1].along_mm, truth.marks[1].across_mm], [5.0, 0.0]);
        for mark in &truth.marks {
            let at = canvas.row(mark.px[1].round() as usize)[mark.px[0].round() as usize][1];
            assert!(at < 0.45, "{mark:?}: {at}");
        }
    }

    #[test]
    fn a_scale_that_turns_its_back_is_an_error() {
        let ruler = ScaleObject { normal: [0.0, 0.0, -1.0], ..ScaleObject::ruler(100, 0.0, 0.0, 0.0, 0.0) };
        assert_eq!(lay_out(&bare_scene(), &[ruler]).err(), Some(DrawError::ScaleTurnedAway));
    }

    #[test]
    fn every_kind_of_edge_is_drawn_where_its_truth_says() {
        for (near, spacing, count) in [
            (Edge::HalfMillimetres, 0.5, 241),
            (Edge::Centimetres, 10.0, 13),
            (Edge::SixteenthInches, 25.4 / 16.0, 76),
        ] {
            let kind = ScaleKind::Ruler {
                length_mm: 120,
                width_mm: 25.0,
                near,
                far: Edge::Millimetres,
                numerals: true,
            };
            let surface = Surface::Plain;
            let ruler = ScaleObject { kind, surface, ..ScaleObject::ruler(1, -60.3, -10.0, 0.0, 0.0) };
            let LaidOut { canvas, view, scales, .. } = lay_out(&bare_scene(), &[ruler]).unwrap();
            assert_eq!(scales[0].marks.len(), count, "{near:?}");
            assert_eq!(scales[0].far_marks.len(), 121);
            let y = view.project([0.0, -8.5, 0.0]).unwrap()[1] as usize;
            for mark in scales[0].marks.iter().filter(|m| m.visible) {
                // not as far as the neighbours, 10 px a millimetre away
                let reach = f64::min(4.5 * spacing, 7.0);
                let centre = dark_centre(&canvas, y, mark.px[0] - reach, mark.px[0] + reach + 1.0);
                assert!((centre - mark.px[0]).abs() < 0.06, "{near:?} {}: {centre}", mark.along_mm);
            }
        }
    }

    #[test]
    fn a_scale_behind_the_bulb_is_drawn_where_the_bent_rays_put_it() {
        let bulb = Bulb { outer_radius_mm: 80.0, glass_thickness_mm: 2.0, glass_index: 1.5 };
        let scene = Scene { bulb: Some(bulb), ..bare_scene() };
        let ruler =
            ScaleObject { surface: Surface::Plain, ..ScaleObject::ruler(120, -60.3, -10.0, -90.0, 0.0) };
        let straight = lay_out(&bare_scene(), std::slice::from_ref(&ruler)).unwrap();
        // the marks are looked at 1.5 mm in from the edge: where the truth of a ruler that begins there puts them
        let higher = ScaleObject { origin_mm: [-60.3, -8.5, -90.0], ..ruler.clone() };
        let truth = lay_out(&scene, &[higher]).unwrap().scales.remove(0);
        let LaidOut { canvas, scales, .. } = lay_out(&scene, &[ruler]).unwrap();
        let mut moved: f64 = 0.0;
        for (index, (mark, bare)) in truth.marks.iter().zip(&straight.scales[0].marks).enumerate() {
            // near the limb the glass is too bright for a centroid
            if !(25..=95).contains(&index) || index.is_multiple_of(10) {
                continue;
            }
            let centre =
                dark_centre(&canvas, mark.px[1].round() as usize, mark.px[0] - 4.0, mark.px[0] + 5.0);
            // a mark 1.6 px wide, summed pixel by pixel, has its centroid up to 0.08 px off, by where it falls on the raster
            assert!((centre - mark.px[0]).abs() < 0.09, "{index}: {centre} for {}", mark.px[0]);
            moved = moved.max((scales[0].marks[index].px[0] - bare.px[0]).abs());
        }
        assert!(moved > 1.0, "the glass moves marks by {moved} px");
    }
}
