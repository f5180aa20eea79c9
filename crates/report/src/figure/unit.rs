//! A figure in another unit: the axes that carry it, and what is drawn along them, scaled.

use arcmass_lab::field_unit::FieldUnit;

use super::panel::{Layer, Panel, Side};
use super::{Axis, Figure};

impl Figure {
    /// The same figure with its flux densities in a unit that a person chose.
    #[must_use]
    pub fn in_field_unit(mut self, unit: &FieldUnit) -> Self {
        self.description = unit.in_words(&self.description);
        for from in ["mT", "µT", "mT/A"] {
            let (factor, to) = unit.told(from);
            if to != from {
                self = self.in_unit(from, &to, factor);
            }
        }
        self
    }

    /// The same figure with every upright axis labelled `… / from` in another unit.
    ///
    /// `factor` is the number of new units in one old unit. Axes with other units, maps and drawings stay as they are.
    #[must_use]
    pub fn in_unit(mut self, from: &str, to: &str, factor: f64) -> Self {
        for panel in self.rows.iter_mut().flatten() {
            panel.scale_upright(from, to, factor);
        }
        self
    }
}

impl Panel {
    fn scale_upright(&mut self, from: &str, to: &str, factor: f64) {
        let Some(named) = self.y.label.strip_suffix(&format!("/ {from}")) else { return };
        if self.to_scale || !(factor.is_finite() && factor > 0.0) {
            return;
        }
        let Axis { range, logarithmic, from_zero, counted, .. } = self.y;
        let range = range.map(|range| range.map(|end| end * factor));
        self.y = Axis { label: format!("{named}/ {to}"), range, logarithmic, from_zero, counted };
        for layer in &mut self.layers {
            match layer {
                Layer::Points { points, .. } => {
                    for point in points {
                        point.y *= factor;
                        point.y_bar *= factor;
                    }
                }
                Layer::Curve { points, .. } | Layer::Dots { points, .. } => {
                    points.iter_mut().for_each(|[_, y]| *y *= factor)
                }
                Layer::Band { points, .. } => {
                    for [_, low, high] in points {
                        *low *= factor;
                        *high *= factor;
                    }
                }
                Layer::Rule { side: Side::Level, at, .. } => *at *= factor,
                Layer::Span { side: Side::Level, from, to, .. } => {
                    *from *= factor;
                    *to *= factor;
                }
                Layer::Note { at: [_, y], .. } => *y *= factor,
                Layer::Picture { y, .. } => y.iter_mut().for_each(|end| *end *= factor),
                Layer::Rule { .. }
                | Layer::Span { .. }
                | Layer::Bars { .. }
                | Layer::Map(_)
                | Layer::Shape { .. } => {}
            }
        }
    }
}
