//! The picture of a scale in the ring's plane with the lights on, and the truth behind it.

use crate::bodies::{self, Bench, COARSE};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::develop::develop;
use crate::error::DrawError;
use crate::scale_face::Face;
use crate::scene::{ScaleObject, Scene};

/// One mark of a scale, or one crossing of a grid or board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Place along the marks.
    pub along_mm: f64,
    /// Place across, from the edge with the millimetre marks (or from the first line).
    pub across_mm: f64,
    /// Where it is in the picture.
    pub px: [f64; 2],
    /// Whether it is in the picture and nothing stands before it.
    pub visible: bool,
}

/// The marks of a drawn scale.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleTruth {
    /// Millimetre marks where they meet their edge, crossings of lines, or corners of squares, in order.
    pub marks: Vec<Mark>,
    /// Marks of the inch edge where they meet it; empty without one.
    pub inch_marks: Vec<Mark>,
}

/// A drawn scale.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnScale {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// What is in it.
    pub truth: ScaleTruth,
}

/// Draws a scale on the bench of a scene; tube and beam are left out.
///
/// # Errors
///
/// When a number of scene or scale cannot be drawn, or the scale turns its back to the camera.
pub fn draw_scale(scene: &Scene, scale: &ScaleObject) -> Result<DrawnScale, DrawError> {
    let (canvas, view, truth) = lay_out(scene, scale)?;
    Ok(DrawnScale { jpeg: develop(canvas, &view, &scene.sensor, scene.seed)?, truth })
}

/// Light and truth before the sensor.
pub(crate) fn lay_out(
    scene: &Scene,
    scale: &ScaleObject,
) -> Result<(Canvas<3>, View, ScaleTruth), DrawError> {
    scene.check()?;
    scale.check()?;
    let view = View::new(&scene.camera)?;
    let face = Face::new(scale, &view, scene.seed)?;
    let Bench { far, near } = bodies::trace(&view, scene, [0.0; 3]);
    let mut canvas = Canvas::<3>::new(view.width, view.height);
    let mut front = vec![[0.0_f32; 4]; view.width];
    for y in 0..view.height {
        let row = canvas.row_mut(y);
        far.enlarged_row(y, COARSE, row);
        face.paint_row(y, scene.room.light, row);
        if let Some(near) = &near {
            near.enlarged_row(y, COARSE, &mut front);
            for (value, front) in row.iter_mut().zip(&front) {
                for k in 0..3 {
                    value[k] = value[k] * (1.0 - front[3]) + front[k];
                }
            }
        }
    }
    let truth = truth(&face, &view, near.as_ref())?;
    Ok((canvas, view, truth))
}

fn truth(face: &Face, view: &View, near: Option<&Canvas<4>>) -> Result<ScaleTruth, DrawError> {
    let mark = |[along_mm, across_mm]: [f64; 2]| {
        let px = view
            .project(face.place(along_mm, across_mm))
            .ok_or(DrawError::BehindCamera { what: "a mark of the scale" })?;
        let free = view.in_frame(px) && !is_covered(near, px) && !face.is_clamped(along_mm, across_mm);
        Ok(Mark { along_mm, across_mm, px, visible: free })
    };
    let all = |places: Vec<[f64; 2]>| places.into_iter().map(mark).collect::<Result<Vec<_>, _>>();
    Ok(ScaleTruth { marks: all(face.marks())?, inch_marks: all(face.inch_marks())? })
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
    use crate::scene::{Camera, Room, ScaleKind, Sensor};

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
        let ruler = ScaleObject::ruler(200, -100.3, -10.0, 0.0, 0.0);
        let (canvas, view, truth) = lay_out(&bare_scene(), &ruler).unwrap();
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
        let (canvas, _, truth) = lay_out(&bare_scene(), &grid).unwrap();
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
        assert_eq!(lay_out(&bare_scene(), &ruler).err(), Some(DrawError::ScaleTurnedAway));
    }
}
