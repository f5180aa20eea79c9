//! The scales that can be laid into the bench: rulers of several kinds, squared paper, boards.

use crate::error::DrawError;
use crate::scene::{finite, positive, within};

/// A scale laid into a plane of the bench.
///
/// Along the marks runs `along`; across, away from the near edge, runs `normal × along`. The face looks along `normal`.
/// [`ScaleObject::ruler`] gives a steel ruler; others are written as changes of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleObject {
    /// What it is.
    pub kind: ScaleKind,
    /// Where its first mark meets its near edge (grid and board: the first crossing).
    pub origin_mm: [f64; 3],
    /// Direction along the marks; made square to `normal` and of unit length.
    pub along: [f64; 3],
    /// Direction the face looks to: `[0, 0, 1]` for the front view.
    pub normal: [f64; 3],
    /// Linear red, green, blue of the ground.
    pub ground: [f32; 3],
    /// Linear red, green, blue of the marks.
    pub ink: [f32; 3],
    /// What the ground is made of.
    pub surface: Surface,
    /// Share of what lies behind that shows through the ground: 0 for steel, 0.8 for a clear ruler.
    pub see_through: f64,
    /// Light of a panel close behind the scale, in the units of the room's light; 0 for none.
    pub lit_from_behind: f64,
    /// A post with a clamp that holds the scale.
    pub holder: Option<Holder>,
    /// Pieces covered by something dark: along from, to, across from, to.
    pub hidden_mm: Vec<[f64; 4]>,
}

/// What a scale is made of, as far as it can be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// Paper, plastic, painted metal.
    Plain,
    /// Grain along the scale.
    Wood,
    /// Brushed across, with a broad glare.
    Steel,
}

/// A post from below with a clamp over the scale's far edge.
#[derive(Debug, Clone, PartialEq)]
pub struct Holder {
    /// Where along the marks the clamp grips.
    pub along_mm: f64,
    /// Width of the clamp along the marks.
    pub width_mm: f64,
    /// How far the clamp reaches over the face, from the far edge.
    pub reach_mm: f64,
}

/// The marks along one edge of a ruler.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// No marks.
    Bare,
    /// Every millimetre, longer at 5 and 10.
    Millimetres,
    /// Every half millimetre, longer at 1, 5 and 10.
    HalfMillimetres,
    /// Every centimetre, all of one length.
    Centimetres,
    /// Sixteenths of an inch, longer at eighths, quarters, halves and wholes.
    SixteenthInches,
}

impl Edge {
    /// Distance between neighbouring marks; none for a bare edge. An inch is 25.4 mm exactly.
    pub fn spacing_mm(self) -> Option<f64> {
        match self {
            Edge::Bare => None,
            Edge::Millimetres => Some(1.0),
            Edge::HalfMillimetres => Some(0.5),
            Edge::Centimetres => Some(10.0),
            Edge::SixteenthInches => Some(25.4 / 16.0),
        }
    }
}

/// The kinds of scale.
#[derive(Debug, Clone, PartialEq)]
pub enum ScaleKind {
    /// A straight ruler with marks along one or both edges.
    Ruler {
        /// Length from the first to the last mark, whole millimetres.
        length_mm: u32,
        /// Width from edge to edge.
        width_mm: f64,
        /// Marks along the edge at across = 0.
        near: Edge,
        /// Marks along the edge at across = width.
        far: Edge,
        /// Numerals every 10 mm (and every inch).
        numerals: bool,
    },
    /// Paper with square lines, every tenth heavier.
    Grid {
        /// Number of cells along.
        columns: u32,
        /// Number of cells across.
        rows: u32,
        /// Side of a cell.
        spacing_mm: f64,
        /// Width of a light line.
        line_mm: f64,
    },
    /// A board of dark and light squares.
    Board {
        /// Number of squares along.
        columns: u32,
        /// Number of squares across.
        rows: u32,
        /// Side of a square.
        square_mm: f64,
    },
}

impl ScaleObject {
    /// A steel ruler, millimetres on the near edge and inches on the far one, in the plane z = `z0_mm`; its zero mark at
    /// `(x, y)`, marks running along `angle_deg` (counter-clockwise from +x as seen from +z).
    pub fn ruler(length_mm: u32, x_mm: f64, y_mm: f64, z0_mm: f64, angle_deg: f64) -> Self {
        let angle = angle_deg.to_radians();
        let (near, far) = (Edge::Millimetres, Edge::SixteenthInches);
        ScaleObject {
            kind: ScaleKind::Ruler { length_mm, width_mm: 30.0, near, far, numerals: true },
            origin_mm: [x_mm, y_mm, z0_mm],
            along: [libm::cos(angle), libm::sin(angle), 0.0],
            normal: [0.0, 0.0, 1.0],
            ground: [0.74, 0.76, 0.78],
            ink: [0.05, 0.05, 0.06],
            surface: Surface::Steel,
            see_through: 0.0,
            lit_from_behind: 0.0,
            holder: None,
            hidden_mm: Vec::new(),
        }
    }

    pub(crate) fn check(&self) -> Result<(), DrawError> {
        finite("the scale's place", &self.origin_mm)?;
        finite("the scale's direction", &self.along)?;
        finite("the scale's normal", &self.normal)?;
        within("what shows through the scale", self.see_through, "0 to 1", |v| (0.0..=1.0).contains(&v))?;
        within("the light behind the scale", self.lit_from_behind, "0 or more", |v| v >= 0.0)?;
        self.hidden_mm.iter().try_for_each(|piece| finite("a hidden piece of the scale", piece))?;
        match self.kind {
            ScaleKind::Ruler { length_mm, width_mm, .. } => {
                within("the ruler's length", f64::from(length_mm), "1 to 5000 mm", |v| {
                    (1.0..=5000.0).contains(&v)
                })?;
                within("the ruler's width", width_mm, "10 to 200 mm", |v| (10.0..=200.0).contains(&v))
            }
            ScaleKind::Grid { columns, rows, spacing_mm, line_mm } => {
                check_cells(columns, rows, spacing_mm)?;
                within("the width of a line", line_mm, "above 0, below half a cell", |v| {
                    v > 0.0 && v < spacing_mm / 2.0
                })
            }
            ScaleKind::Board { columns, rows, square_mm } => check_cells(columns, rows, square_mm),
        }
    }
}

fn check_cells(columns: u32, rows: u32, side_mm: f64) -> Result<(), DrawError> {
    positive("the side of a cell", side_mm)?;
    for count in [columns, rows] {
        within("the number of cells", f64::from(count), "2 to 1000", |v| (2.0..=1000.0).contains(&v))?;
    }
    Ok(())
}
