//! A panel: two axes and what is laid between them.

use super::axis::Axis;
use super::meaning::Meaning;

/// A point with its standard uncertainties, drawn as bars.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) x_bar: f64,
    pub(super) y_bar: f64,
    pub(super) label: String,
}

impl Point {
    /// A point without bars.
    pub fn new(x: f64, y: f64) -> Self {
        Point { x, y, x_bar: 0.0, y_bar: 0.0, label: String::new() }
    }

    /// Half the length of the bar along x, in the unit of x.
    #[must_use]
    pub fn x_bar(mut self, half_length: f64) -> Self {
        self.x_bar = half_length.abs();
        self
    }

    /// Half the length of the bar along y, in the unit of y.
    #[must_use]
    pub fn y_bar(mut self, half_length: f64) -> Self {
        self.y_bar = half_length.abs();
        self
    }

    /// A word beside the point.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }
}

/// Which way a rule or span runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// At one value of x, from the bottom to the top.
    Upright,
    /// At one value of y, from left to right.
    Level,
}

/// One bar of a bar chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    pub(super) name: String,
    pub(super) value: f64,
    pub(super) meaning: Meaning,
    pub(super) label: String,
}

impl Bar {
    /// A bar with its name at the left and `label` at its end.
    pub fn new(meaning: Meaning, name: impl Into<String>, value: f64, label: impl Into<String>) -> Self {
        Bar { name: name.into(), value, meaning, label: label.into() }
    }
}

/// Colours of a map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Palette {
    /// From dark to light, for amounts.
    Sequential,
    /// From blue over neutral to orange, for deviations from the middle.
    Diverging,
}

/// A quantity over the plane: filled levels, contour lines with their values, and a colour bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    pub(super) x: Vec<f64>,
    pub(super) y: Vec<f64>,
    pub(super) z: Vec<f64>,
    pub(super) levels: Vec<f64>,
    pub(super) label: String,
    pub(super) palette: Palette,
    pub(super) has_bar: bool,
}

impl Map {
    /// Values on a grid: `x` and `y` rising, `z` row by row (all x at the first y, and so on).
    ///
    /// `levels` are rising; the map is filled between them and each gets a contour line. A `z` of the wrong
    /// length or with gaps is drawn as far as its cells are whole.
    pub fn new(x: Vec<f64>, y: Vec<f64>, z: Vec<f64>, levels: Vec<f64>, label: impl Into<String>) -> Self {
        Map { x, y, z, levels, label: label.into(), palette: Palette::Sequential, has_bar: true }
    }

    /// Chooses the colours.
    #[must_use]
    pub fn palette(mut self, palette: Palette) -> Self {
        self.palette = palette;
        self
    }

    /// Leaves the colour bar out, where a map beside this one has the same levels.
    #[must_use]
    pub fn without_bar(mut self) -> Self {
        self.has_bar = false;
        self
    }

    pub(super) fn at(&self, i: usize, j: usize) -> f64 {
        self.z.get(j * self.x.len() + i).copied().unwrap_or(f64::NAN)
    }
}

/// What an outline in a drawing is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outline {
    /// A solid body: gun, post, camera.
    Body,
    /// Glass.
    Glass,
    /// A coil's winding.
    Coil,
    /// Something only thought: an axis, a plane, a limit.
    Construction,
}

/// What is laid into a panel.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Layer {
    Points { meaning: Meaning, name: String, points: Vec<Point> },
    Curve { meaning: Meaning, name: String, points: Vec<[f64; 2]> },
    Band { meaning: Meaning, name: String, points: Vec<[f64; 3]> },
    Rule { meaning: Meaning, side: Side, at: f64, label: String },
    Span { meaning: Meaning, name: String, side: Side, from: f64, to: f64 },
    Bars { bars: Vec<Bar> },
    Map(Map),
    Dots { meaning: Meaning, name: String, points: Vec<[f64; 2]> },
    Picture { x: [f64; 2], y: [f64; 2], jpeg: Vec<u8> },
    Shape { outline: Outline, name: String, points: Vec<[f64; 2]>, hole: Vec<[f64; 2]>, closed: bool },
    Note { at: [f64; 2], text: String },
}

/// A panel of a figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    pub(super) x: Axis,
    pub(super) y: Axis,
    pub(super) height: f64,
    pub(super) shares_x: bool,
    pub(super) to_scale: bool,
    pub(super) bare: bool,
    pub(super) layers: Vec<Layer>,
}

impl Panel {
    /// An empty panel, 300 units high.
    pub fn new(x: Axis, y: Axis) -> Self {
        Panel { x, y, height: 300.0, shares_x: false, to_scale: false, bare: false, layers: Vec::new() }
    }

    /// A panel of residuals under the panel before: it shares that panel's x axis and is 110 units high.
    pub fn residuals(y: Axis) -> Self {
        Panel { height: 110.0, shares_x: true, ..Panel::new(Axis::new(""), y) }
    }

    /// A bar chart, first bar on top; its height follows from the number of bars.
    pub fn bars(x: Axis, bars: Vec<Bar>) -> Self {
        let height = 26.0 * bars.len().max(1) as f64 + 8.0;
        let layers = vec![Layer::Bars { bars }];
        Panel { height, layers, ..Panel::new(x.from_zero(), Axis::new("")) }
    }

    /// A drawing in which both axes have the same scale; its height follows from its width.
    pub fn drawing(x: Axis, y: Axis) -> Self {
        Panel { to_scale: true, ..Panel::new(x, y) }
    }

    /// A picture to one scale without frame, ticks and labels, for what has no axes on paper: a view in perspective.
    pub fn picture() -> Self {
        Panel { bare: true, ..Panel::drawing(Axis::new(""), Axis::new("")) }
    }

    /// Sets the height between the lower and the upper axis; ignored for a drawing to scale.
    #[must_use]
    pub fn height(mut self, height: f64) -> Self {
        if height.is_finite() {
            self.height = height.max(40.0);
        }
        self
    }

    fn with(mut self, layer: Layer) -> Self {
        self.layers.push(layer);
        self
    }

    /// Adds points; a `name` puts them into the legend (so for all layers that have one).
    #[must_use]
    pub fn points(self, meaning: Meaning, name: impl Into<String>, points: Vec<Point>) -> Self {
        self.with(Layer::Points { meaning, name: name.into(), points })
    }

    /// Adds a curve through `[x, y]`; it is broken where a value is not finite.
    #[must_use]
    pub fn curve(self, meaning: Meaning, name: impl Into<String>, points: Vec<[f64; 2]>) -> Self {
        self.with(Layer::Curve { meaning, name: name.into(), points })
    }

    /// Adds a band through `[x, low, high]`; bands lie under everything else.
    #[must_use]
    pub fn band(self, meaning: Meaning, name: impl Into<String>, points: Vec<[f64; 3]>) -> Self {
        self.with(Layer::Band { meaning, name: name.into(), points })
    }

    /// Adds a straight rule at a value, with a label at its end.
    #[must_use]
    pub fn rule(self, meaning: Meaning, side: Side, at: f64, label: impl Into<String>) -> Self {
        self.with(Layer::Rule { meaning, side, at, label: label.into() })
    }

    /// Shades the values from `from` to `to`.
    #[must_use]
    pub fn span(self, meaning: Meaning, name: impl Into<String>, side: Side, from: f64, to: f64) -> Self {
        self.with(Layer::Span { meaning, name: name.into(), side, from, to })
    }

    /// Adds small dots without bars, for hundreds of points; a value that is not finite is left out.
    #[must_use]
    pub fn dots(self, meaning: Meaning, name: impl Into<String>, points: Vec<[f64; 2]>) -> Self {
        self.with(Layer::Dots { meaning, name: name.into(), points })
    }

    /// Lays a JPEG from `x[0]` to `x[1]` and from `y[0]` (its foot) to `y[1]`, under everything else.
    ///
    /// What is laid over it keeps its colours for dark ground, on paper too.
    #[must_use]
    pub fn jpeg(self, x: [f64; 2], y: [f64; 2], jpeg: Vec<u8>) -> Self {
        self.with(Layer::Picture { x, y, jpeg })
    }

    /// Adds a map.
    #[must_use]
    pub fn map(self, map: Map) -> Self {
        self.with(Layer::Map(map))
    }

    /// Adds a closed outline, filled.
    #[must_use]
    pub fn polygon(self, outline: Outline, name: impl Into<String>, points: Vec<[f64; 2]>) -> Self {
        self.polygon_with_hole(outline, name, points, Vec::new())
    }

    /// Adds a closed outline, filled but for a hole in it.
    #[must_use]
    pub fn polygon_with_hole(
        self,
        outline: Outline,
        name: impl Into<String>,
        points: Vec<[f64; 2]>,
        hole: Vec<[f64; 2]>,
    ) -> Self {
        self.with(Layer::Shape { outline, name: name.into(), points, hole, closed: true })
    }

    /// Adds an open outline.
    #[must_use]
    pub fn polyline(self, outline: Outline, name: impl Into<String>, points: Vec<[f64; 2]>) -> Self {
        self.with(Layer::Shape { outline, name: name.into(), points, hole: Vec::new(), closed: false })
    }

    /// Adds a circle; `radius` in the unit of x.
    #[must_use]
    pub fn circle(self, outline: Outline, name: impl Into<String>, centre: [f64; 2], radius: f64) -> Self {
        let point = |k: i32| {
            let angle = f64::from(k) * std::f64::consts::TAU / 96.0;
            [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
        };
        self.polygon(outline, name, (0..96).map(point).collect())
    }

    /// Writes a few words beside a place.
    #[must_use]
    pub fn note(self, at: [f64; 2], text: impl Into<String>) -> Self {
        self.with(Layer::Note { at, text: text.into() })
    }

    /// The bars of a bar chart, if it is one.
    pub(super) fn bar_list(&self) -> Option<&[Bar]> {
        self.layers.iter().find_map(|layer| match layer {
            Layer::Bars { bars } => Some(bars.as_slice()),
            _ => None,
        })
    }

    /// Whether a photograph lies under this panel.
    pub(super) fn has_picture(&self) -> bool {
        self.layers.iter().any(|layer| matches!(layer, Layer::Picture { .. }))
    }

    pub(super) fn map_layer(&self) -> Option<&Map> {
        self.layers.iter().find_map(|layer| match layer {
            Layer::Map(map) => Some(map),
            _ => None,
        })
    }

    /// Every x (first) or y (second) that the range must hold.
    pub(super) fn values(&self, axis: usize) -> Vec<f64> {
        let mut values = Vec::new();
        for layer in &self.layers {
            match layer {
                Layer::Points { points, .. } => values.extend(points.iter().flat_map(|p| {
                    let (value, bar) = if axis == 0 { (p.x, p.x_bar) } else { (p.y, p.y_bar) };
                    [value - bar, value, value + bar]
                })),
                Layer::Curve { points, .. } | Layer::Shape { points, .. } | Layer::Dots { points, .. } => {
                    values.extend(points.iter().map(|p| p[axis]));
                }
                Layer::Band { points, .. } if axis == 0 => values.extend(points.iter().map(|p| p[0])),
                Layer::Band { points, .. } => values.extend(points.iter().flat_map(|p| [p[1], p[2]])),
                Layer::Rule { side, at, .. } if (*side == Side::Upright) == (axis == 0) => values.push(*at),
                Layer::Span { side, from, to, .. } if (*side == Side::Upright) == (axis == 0) => {
                    values.extend([*from, *to]);
                }
                Layer::Bars { bars } if axis == 0 => {
                    values.push(0.0);
                    values.extend(bars.iter().map(|b| b.value));
                }
                Layer::Map(map) => values.extend(if axis == 0 { &map.x } else { &map.y }),
                Layer::Picture { x, y, .. } => values.extend(if axis == 0 { x } else { y }),
                Layer::Note { at, .. } => values.push(at[axis]),
                _ => {}
            }
        }
        values
    }
}
