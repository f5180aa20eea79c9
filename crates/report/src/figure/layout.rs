//! Where everything goes: margins from the width of labels, panels that share an axis lined up, drawings to scale.

use super::axis::{Axis, Scale, Ticks};
use super::clip::Frame;
use super::label::{power_of_ten, width, wrapped};
use super::legend::{self, Placed};
use super::panel::Panel;
use super::svg::TEXT;

/// Free space at the figure's border.
const BORDER: f64 = 6.0;
/// Between the frame and the labels of its ticks.
pub(super) const TICK_GAP: f64 = 7.0;
/// Line height of text.
pub(super) const LINE: f64 = 18.0;
/// Between the panels of one group, of two groups, and of two columns.
const GROUP_GAP: f64 = 10.0;
const ROW_GAP: f64 = 14.0;
const COLUMN_GAP: f64 = 14.0;
/// Width of a colour bar, and its distance from the frame.
pub(super) const BAR_WIDTH: f64 = 14.0;
pub(super) const BAR_GAP: f64 = 14.0;
/// Height of a line of a bar's name.
const NAME_LINE: f64 = 16.0;
/// About how far the labels of ticks stand apart, across and upwards.
const ACROSS_APART: f64 = 70.0;
const UP_APART: f64 = 34.0;
/// Drawings are kept between these heights.
const DRAWING_HEIGHTS: [f64; 2] = [40.0, 1400.0];

/// A panel with its place and scales.
pub(super) struct Cell<'a> {
    pub(super) panel: &'a Panel,
    pub(super) frame: Frame,
    pub(super) x: Scale,
    pub(super) y: Scale,
    pub(super) x_ticks: Ticks,
    pub(super) y_ticks: Ticks,
    /// Whether the x axis carries labels here (the panel below may carry them instead).
    pub(super) x_labelled: bool,
    pub(super) x_label: String,
    /// Lines of the y axis label, and where the first one's baseline runs.
    pub(super) y_label: Vec<String>,
    pub(super) y_label_at: f64,
    /// Names of the bars of a bar chart, in lines.
    pub(super) names: Vec<Vec<String>>,
}

/// The whole figure.
pub(super) struct Layout<'a> {
    pub(super) cells: Vec<Cell<'a>>,
    pub(super) legend: Vec<Placed>,
    pub(super) height: f64,
}

/// What is known of a panel before its place is.
struct Plan<'a> {
    panel: &'a Panel,
    x_axis: &'a Axis,
    x_range: [f64; 2],
    y_range: [f64; 2],
    x_labelled: bool,
    height: f64,
    names: Vec<Vec<String>>,
    y_label: Vec<String>,
    left: f64,
    right: f64,
}

/// Lays a figure out.
pub(super) fn lay_out(rows: &[Vec<Panel>], total: f64) -> Layout<'_> {
    let mut plans = plan(rows, total);
    line_up(&mut plans);
    let legend_left = plans.first().and_then(|row| row.first()).map_or(BORDER, |p| p.left);
    let entries = legend::entries(rows);
    let (legend, legend_height) = legend::place(entries, [legend_left, BORDER], total - BORDER);
    let mut top = BORDER + legend_height + if legend_height > 0.0 { 6.0 } else { 4.0 };
    let mut cells = Vec::new();
    let last = plans.len().saturating_sub(1);
    for (index, row) in plans.into_iter().enumerate() {
        let labelled = row.iter().any(|p| p.x_labelled);
        let foot = place_row(row, top, total, &mut cells);
        top = foot + if labelled { 0.0 } else { GROUP_GAP };
        if labelled && index < last {
            top += ROW_GAP;
        }
    }
    Layout { cells, legend, height: top + BORDER }
}

/// Ranges, labels and margins of every panel.
fn plan(rows: &[Vec<Panel>], total: f64) -> Vec<Vec<Plan<'_>>> {
    let singles: Vec<Option<&Panel>> =
        rows.iter().map(|row| if row.len() == 1 { row.first() } else { None }).collect();
    let shares = |index: usize| singles.get(index).copied().flatten().is_some_and(|p| p.shares_x);
    let mut plans = Vec::new();
    let mut group_start = 0;
    for (index, row) in rows.iter().enumerate() {
        if !shares(index) {
            group_start = index;
        }
        let end = (index + 1..rows.len()).find(|k| !shares(*k)).unwrap_or(rows.len());
        let group: Vec<&Panel> = singles[group_start..end].iter().copied().flatten().collect();
        let columns = row.len().max(1) as f64;
        plans.push(
            row.iter()
                .map(|panel| {
                    let members = if row.len() == 1 { group.clone() } else { vec![panel] };
                    plan_panel(panel, &members, index + 1 == end || row.len() > 1, total / columns)
                })
                .collect(),
        );
    }
    plans
}

fn plan_panel<'a>(panel: &'a Panel, group: &[&'a Panel], x_labelled: bool, outer: f64) -> Plan<'a> {
    let x_axis = group.first().map_or(&panel.x, |first| &first.x);
    let values: Vec<f64> = group.iter().flat_map(|p| p.values(0)).collect();
    let has_map = panel.map_layer().is_some();
    let bars = panel.bar_list();
    let mut x_range = x_axis.resolve(&values, !has_map && bars.is_none());
    if let (Some(bars), None) = (bars, x_axis.range) {
        x_range =
            with_room_for_labels(x_range, bars.iter().map(|b| (b.value, b.label.as_str())), 0.55 * outer);
    }
    let y_range = match bars {
        // Bar 0 on top: the range counts bars downwards.
        Some(bars) => [-(bars.len().max(1) as f64) + 0.5 - 0.1, 0.6],
        None => panel.y.resolve(&panel.values(1), !has_map),
    };
    let names: Vec<Vec<String>> = bars
        .map(|bars| bars.iter().map(|b| wrapped(&b.name, TEXT, 0.32 * outer)).collect())
        .unwrap_or_default();
    let tallest = names.iter().map(Vec::len).max().unwrap_or(1) as f64;
    let height = panel.height + names.len() as f64 * (tallest - 1.0) * NAME_LINE * 0.8;
    let mut plan = Plan {
        panel,
        x_axis,
        x_range,
        y_range,
        x_labelled,
        height,
        names,
        y_label: Vec::new(),
        left: 0.0,
        right: 0.0,
    };
    plan.set_margins(outer);
    plan
}

/// Widens the range of a bar chart so that the words at the bars' ends stay inside the frame.
fn with_room_for_labels<'a>(
    [low, high]: [f64; 2],
    bars: impl Iterator<Item = (f64, &'a str)>,
    length: f64,
) -> [f64; 2] {
    let mut ends = [low, high * 1.03];
    for (value, label) in bars.filter(|(v, _)| v.is_finite()) {
        let share = ((width(label, TEXT) + 14.0) / length.max(60.0)).min(0.7);
        if value >= 0.0 {
            ends[1] = ends[1].max(low + (value - low) / (1.0 - share));
        } else {
            ends[0] = ends[0].min(high - (high - value) / (1.0 - share));
        }
    }
    if ends[1] > ends[0] { ends } else { [low, low + 1.0] }
}

impl Plan<'_> {
    fn y_scale(&self, top: f64, height: f64) -> Scale {
        Scale {
            range: self.y_range,
            logarithmic: self.panel.y.logarithmic,
            counted: self.panel.y.counted,
            ends: [top + height, top],
        }
    }

    fn set_margins(&mut self, outer: f64) {
        if self.panel.to_scale {
            // A first guess, good to the width of a tick label.
            self.height = self.drawing_height(outer - 90.0);
        }
        if self.panel.bare {
            (self.left, self.right, self.x_labelled) = (BORDER, BORDER, false);
            return;
        }
        let ticks = self.y_scale(0.0, self.height).ticks(UP_APART);
        let label = with_exponent(&self.panel.y.label, ticks.exponent);
        self.y_label = upright_lines(&label, self.height);
        let widest = |words: &mut dyn Iterator<Item = f64>| words.fold(0.0, f64::max);
        let labels = if self.names.is_empty() {
            widest(&mut ticks.major.iter().map(|(_, t)| width(t, TEXT)))
        } else {
            widest(&mut self.names.iter().flatten().map(|n| width(n, TEXT)))
        };
        self.left = BORDER + self.y_label.len() as f64 * LINE + labels + TICK_GAP + 4.0;
        self.right = BORDER + 12.0;
        if let Some(map) = self.panel.map_layer().filter(|map| map.has_bar) {
            let digits = map.levels.iter().map(|l| width(&level_label(&map.levels, *l), TEXT));
            self.right = BORDER + BAR_GAP + BAR_WIDTH + TICK_GAP + widest(&mut { digits }) + LINE + 4.0;
        }
    }

    fn drawing_height(&self, inner: f64) -> f64 {
        let extent = |r: [f64; 2]| r[1] - r[0];
        (inner.max(40.0) * extent(self.y_range) / extent(self.x_range))
            .clamp(DRAWING_HEIGHTS[0], DRAWING_HEIGHTS[1])
    }
}

/// Panels that stand alone in their row get the same margins, so that their frames line up.
fn line_up(plans: &mut [Vec<Plan>]) {
    let alone = |row: &&mut Vec<Plan>| row.len() == 1 && row[0].names.is_empty() && !row[0].panel.bare;
    let ends = plans.iter_mut().filter(alone).flatten().map(|p| (p.left, p.right));
    let (left, right) = ends.fold((0.0_f64, 0.0_f64), |(l, r), (a, b)| (l.max(a), r.max(b)));
    for plan in plans.iter_mut().filter(alone).flatten() {
        (plan.left, plan.right) = (left, right);
    }
}

/// Places the panels of a row beside each other; gives where the row ends, labels of the x axis included.
fn place_row<'a>(row: Vec<Plan<'a>>, top: f64, total: f64, cells: &mut Vec<Cell<'a>>) -> f64 {
    let gaps = COLUMN_GAP * row.len().saturating_sub(1) as f64;
    let margins: f64 = row.iter().map(|p| p.left + p.right).sum();
    let room = (total - gaps - margins).max(40.0 * row.len() as f64);
    // Drawings beside each other share the room by their extent, so that all have the same scale.
    let weight = |p: &Plan| if p.panel.to_scale { p.x_range[1] - p.x_range[0] } else { 1.0 };
    let all_to_scale = row.iter().all(|p| p.panel.to_scale);
    let weights: Vec<f64> = row.iter().map(|p| if all_to_scale { weight(p) } else { 1.0 }).collect();
    let sum: f64 = weights.iter().sum();
    let (mut start, mut lowest) = (0.0, top);
    for (plan, weight) in row.into_iter().zip(weights) {
        let inner = room * weight / sum;
        let left = start + plan.left;
        let height = if plan.panel.to_scale { plan.drawing_height(inner) } else { plan.height };
        let foot = top + height;
        start = left + inner + plan.right + COLUMN_GAP;
        let under = if plan.x_labelled { TICK_GAP + 2.0 * LINE } else { 0.0 };
        lowest = lowest.max(foot + under);
        cells.push(cell(plan, [left, top, left + inner, foot]));
    }
    lowest
}

fn cell(plan: Plan, frame: Frame) -> Cell {
    let x = Scale {
        range: plan.x_range,
        logarithmic: plan.x_axis.logarithmic,
        counted: plan.x_axis.counted,
        ends: [frame[0], frame[2]],
    };
    let y = plan.y_scale(frame[1], frame[3] - frame[1]);
    let (x_ticks, y_ticks) = (x.ticks(ACROSS_APART), y.ticks(UP_APART));
    Cell {
        panel: plan.panel,
        frame,
        x,
        y,
        x_label: with_exponent(&plan.x_axis.label, x_ticks.exponent),
        x_ticks,
        y_ticks,
        x_labelled: plan.x_labelled,
        y_label_at: frame[0] - plan.left + BORDER + 0.8 * TEXT,
        y_label: plan.y_label,
        names: plan.names,
    }
}

/// Puts a power of ten before the unit of `symbol / unit`.
fn with_exponent(label: &str, exponent: i32) -> String {
    if exponent == 0 {
        return label.to_owned();
    }
    let power = power_of_ten(exponent);
    match label.split_once(" / ") {
        Some((symbol, unit)) => format!("{symbol} / {power} {unit}"),
        None => format!("{label} / {power}"),
    }
}

/// Lines of an axis label that runs upwards, no longer than its panel is high.
fn upright_lines(label: &str, height: f64) -> Vec<String> {
    if label.is_empty() { Vec::new() } else { wrapped(label, TEXT, height.max(60.0)) }
}

/// A level with just the digits that tell it from its neighbours.
pub(super) fn level_label(levels: &[f64], level: f64) -> String {
    let steps = levels.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|s| *s > 0.0);
    let finest = steps.fold(f64::INFINITY, f64::min);
    let finest = if finest.is_finite() { finest } else { level.abs().max(1e-9) / 10.0 };
    let decimals = (0..6)
        .find(|d| {
            let unit = 10_f64.powi(*d);
            (finest * unit - (finest * unit).round()).abs() < 1e-6 * finest * unit.max(1.0)
        })
        .unwrap_or(6);
    super::label::number(level, decimals as usize)
}
