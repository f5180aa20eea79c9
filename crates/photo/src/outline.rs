//! A known diameter as the scale: points marked on the bulb's outline or on the rim of a coil.

use crate::band::{circle_through, elongated_through};
use crate::marks::{HandMark, HandMarkKind};
use crate::ring_ellipse::Ellipse;
use crate::scale::ScaleFound;

/// Points that fix an outline.
pub const FEWEST_ON_OUTLINE: usize = 3;

/// An outline of known diameter in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Points marked on it, in pixels.
    pub points_px: Vec<[f64; 2]>,
    /// Its diameter in millimetres as it appears: of a sphere that of the circle seen, carried to the plane of its centre.
    pub diameter_mm: f64,
    /// Whether it is a circle parallel to the ring, and so seen at the same slant; a sphere is round from everywhere.
    pub is_flat: bool,
}

impl Outline {
    /// The outline's radius in pixels, of a flat one its largest, as a circle through the points; none on a straight line.
    pub fn radius_px(&self) -> Option<f64> {
        circle_through(&self.points_px).map(|circle| circle.r)
    }

    /// The outline as a scale of two points, the ends of its longest diameter.
    ///
    /// - **Takes** the ring's ellipse, where it is known: its slant is that of a flat outline, and its long axis is not
    ///   foreshortened.
    /// - **Gives** nothing where the points lie on no circle.
    pub fn as_scale(&self, ring: Option<&Ellipse>) -> Option<ScaleFound> {
        let [p, q] = ring.map_or([0.0, 0.0], |ring| [ring.p / ring.r, ring.q / ring.r]);
        let angle = 0.5 * q.atan2(p);
        let ellipse = match ring {
            Some(_) if self.is_flat => elongated_through(&self.points_px, p, q)?,
            _ => circle_through(&self.points_px)?,
        };
        let half = ellipse.semi_axes()[0];
        let (sin, cos) = angle.sin_cos();
        let end = |sign: f64| HandMark {
            what: HandMarkKind::Scale,
            x_px: ellipse.cx + sign * half * cos,
            y_px: ellipse.cy + sign * half * sin,
            along_mm: Some(0.5 * sign * self.diameter_mm),
            across_mm: None,
        };
        Some(ScaleFound { hand_marks: vec![end(-1.0), end(1.0)], ..ScaleFound::default() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rim_seen_at_the_rings_slant_gives_its_long_axis() {
        let ring = Ellipse { cx: 0.0, cy: 0.0, r: 50.0, p: -3.0, q: 0.0 };
        let rim = Ellipse { cx: 400.0, cy: 300.0, r: 200.0, p: -12.0, q: 0.0 };
        let points_px = [0.3, 2.0, 4.4].map(|t| rim.point(t)).to_vec();
        let outline = Outline { points_px, diameter_mm: 320.0, is_flat: true };
        let found = outline.as_scale(Some(&ring)).expect("a rim");
        let [a, b] = [&found.hand_marks[0], &found.hand_marks[1]];
        assert!((a.x_px - b.x_px).abs() < 1e-6 && ((a.y_px - b.y_px).abs() - 424.0).abs() < 1e-6);
    }
}
