//! Points that a person marked on a photograph by hand.

/// What a marked point stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandMarkKind {
    /// A point on the beam's centre line.
    Beam,
    /// A point of the scale with known millimetres.
    Scale,
    /// A corner of an area to be left out; corners follow each other.
    LeaveOut,
}

/// One marked point of a photograph.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HandMark {
    /// What it stands for.
    pub what: HandMarkKind,
    /// Right of the centre of the top-left pixel, in pixels.
    pub x_px: f64,
    /// Below the centre of the top-left pixel, in pixels.
    pub y_px: f64,
    /// Reading along the scale in millimetres, for a point of the scale.
    pub along_mm: Option<f64>,
    /// Distance across the scale in millimetres; 0 when absent.
    pub across_mm: Option<f64>,
}

impl HandMark {
    /// The point in pixels.
    pub fn point_px(&self) -> [f64; 2] {
        [self.x_px, self.y_px]
    }
}

/// Whether a point lies inside a closed outline (even-odd rule); fewer than three corners hold nothing.
pub fn inside_outline(outline: &[[f64; 2]], point: [f64; 2]) -> bool {
    let Some(mut previous) = outline.last().filter(|_| outline.len() >= 3) else { return false };
    let mut inside = false;
    for corner in outline {
        let crosses = (corner[1] > point[1]) != (previous[1] > point[1]);
        let at = (previous[0] - corner[0]) * (point[1] - corner[1]) / (previous[1] - corner[1]) + corner[0];
        if crosses && point[0] < at {
            inside = !inside;
        }
        previous = corner;
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_holds_its_middle_and_not_its_neighbour() {
        let square = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]];
        assert!(inside_outline(&square, [5.0, 5.0]));
        assert!(!inside_outline(&square, [15.0, 5.0]));
        assert!(!inside_outline(&square[..2], [5.0, 0.0]));
    }
}
