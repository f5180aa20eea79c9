//! Draws a panel: what lies underneath first, points above lines, words last.

use super::clip::{self, holds};
use super::contour;
use super::label::width;
use super::layout::{BAR_GAP, BAR_WIDTH, Cell, LINE, TICK_GAP, level_label};
use super::meaning::Meaning;
use super::panel::{Bar, Layer, Map, Outline, Palette, Point, Side};
use super::place::{Spot, Taken, around, text_box};
use super::svg::{Anchor, Svg, TEXT};

/// Length of a tick with and without a label.
const TICKS: [f64; 2] = [6.0, 3.0];
/// Radius of a point's mark.
const MARK: f64 = 4.0;
/// Levels closer together than this along a line get no label.
const SHORTEST_LABELLED: f64 = 90.0;
/// Stops of the palettes: amounts (cividis, values from memory) and deviations (blue, neutral, vermilion).
const SEQUENTIAL: [[f64; 3]; 5] = [
    [0.0, 34.0, 78.0],
    [66.0, 78.0, 108.0],
    [124.0, 123.0, 120.0],
    [187.0, 172.0, 105.0],
    [254.0, 232.0, 56.0],
];
/// The same on dark ground: nothing there glares where nothing deviates.
const DIVERGING_DARK: [[f64; 3]; 5] = [
    [110.0, 196.0, 242.0],
    [28.0, 84.0, 124.0],
    [26.0, 29.0, 34.0],
    [128.0, 66.0, 22.0],
    [240.0, 158.0, 66.0],
];
const DIVERGING: [[f64; 3]; 5] = [
    [0.0, 84.0, 140.0],
    [106.0, 168.0, 212.0],
    [242.0, 240.0, 234.0],
    [240.0, 160.0, 102.0],
    [190.0, 76.0, 0.0],
];

/// Draws one panel with its axes.
pub(super) fn panel(svg: &mut Svg, cell: &Cell) {
    let mut taken = Taken::default();
    if cell.panel.has_picture() {
        svg.begin_on_picture();
    }
    for pass in 0..5 {
        for layer in &cell.panel.layers {
            draw_layer(svg, cell, layer, pass, &mut taken);
        }
    }
    if cell.panel.has_picture() {
        svg.raw_line("</g>");
    }
    if !cell.panel.bare {
        axes(svg, cell);
    }
    for layer in &cell.panel.layers {
        words(svg, cell, layer, &mut taken);
    }
}

/// Which pass draws a layer: maps, bands, outlines, lines, marks.
fn draw_layer(svg: &mut Svg, cell: &Cell, layer: &Layer, pass: usize, taken: &mut Taken) {
    match (pass, layer) {
        (0, Layer::Map(map)) => draw_map(svg, cell, map),
        (0, Layer::Picture { x, y, jpeg }) => {
            let place =
                |scale: &super::axis::Scale, v: &[f64; 2]| Some([scale.place(v[0])?, scale.place(v[1])?]);
            if let (Some([left, right]), Some([foot, top])) = (place(&cell.x, x), place(&cell.y, y)) {
                svg.jpeg([left, top, right, foot], jpeg);
            }
        }
        (1, Layer::Span { meaning, side, from, to, .. }) => span(svg, cell, *meaning, *side, [*from, *to]),
        (1, Layer::Band { meaning, points, .. }) => band(svg, cell, *meaning, points),
        (2, Layer::Shape { outline, points, hole, closed, .. }) if !hole.is_empty() && *closed => {
            let cut = |points: &[[f64; 2]]| {
                let placed: Vec<[f64; 2]> = places(cell, points).into_iter().flatten().collect();
                clip::area(&placed, cell.frame)
            };
            let (outside, inside) = (cut(points), cut(hole));
            svg.area_with_hole(outline_class(*outline), &outside, &inside);
            taken.add_line(&outside, 1.0);
            taken.add_line(&inside, 1.0);
        }
        (2, Layer::Shape { outline, points, closed, .. }) => {
            shape(svg, cell, *outline, points, *closed, taken)
        }
        (3, Layer::Rule { meaning, side, at, .. }) => rule(svg, cell, *meaning, *side, *at, taken),
        (3, Layer::Curve { meaning, points, .. }) => {
            for part in places(cell, points) {
                for piece in clip::line(&part, cell.frame) {
                    stroke(svg, *meaning, &piece);
                    taken.add_line(&piece, 1.0);
                }
            }
        }
        (4, Layer::Dots { meaning, points, .. }) => {
            let placed: Vec<[f64; 2]> =
                places(cell, points).into_iter().flatten().filter(|p| holds(cell.frame, *p)).collect();
            svg.dots(&format!("{}-bar dots", meaning.class()), &placed);
        }
        (4, Layer::Bars { bars }) => draw_bars(svg, cell, bars),
        (4, Layer::Points { meaning, points, .. }) => {
            for point in points {
                draw_point(svg, cell, *meaning, point, taken);
            }
        }
        _ => {}
    }
}

/// Runs of points that have a place; a run ends where a value has none.
fn places(cell: &Cell, points: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
    let mut runs: Vec<Vec<[f64; 2]>> = vec![Vec::new()];
    for [x, y] in points {
        match (cell.x.place(*x), cell.y.place(*y)) {
            (Some(x), Some(y)) => {
                if let Some(run) = runs.last_mut() {
                    run.push([x, y]);
                }
            }
            _ => runs.push(Vec::new()),
        }
    }
    runs
}

/// A line of some meaning; the beam has a halo and a light core.
pub(super) fn stroke(svg: &mut Svg, meaning: Meaning, points: &[[f64; 2]]) {
    if meaning == Meaning::Beam {
        svg.line("glow", points);
        svg.line("halo", points);
    }
    svg.line(&format!("{}-line", meaning.class()), points);
    if meaning == Meaning::Beam {
        svg.line("core", points);
    }
}

/// A mark at a place, with bars `[[left, right], [up, down]]` long.
pub(super) fn mark(svg: &mut Svg, meaning: Meaning, [x, y]: [f64; 2], bars: [[f64; 2]; 2]) {
    let class = meaning.class();
    for (from, to) in [([x - bars[0][0], y], [x + bars[0][1], y]), ([x, y - bars[1][0]], [x, y + bars[1][1]])]
    {
        if from != to {
            svg.line(&format!("{class}-bar"), &[from, to]);
        }
    }
    match meaning {
        Meaning::Rejected => {
            svg.circle("rejected-open", [x, y], MARK);
            let reach = MARK + 2.0;
            svg.line("rejected-bar", &[[x - reach, y + reach], [x + reach, y - reach]]);
        }
        Meaning::Caution => {
            svg.area("caution-fill", &[[x, y - 6.5], [x + 6.0, y + 4.5], [x - 6.0, y + 4.5]]);
        }
        Meaning::Predicted | Meaning::Textbook | Meaning::Stated => {
            svg.circle(&format!("{class}-open"), [x, y], MARK - 0.5);
        }
        _ => svg.circle(&format!("{class}-fill"), [x, y], MARK),
    }
}

fn draw_point(svg: &mut Svg, cell: &Cell, meaning: Meaning, point: &Point, taken: &mut Taken) {
    let (Some(x), Some(y)) = (cell.x.place(point.x), cell.y.place(point.y)) else { return };
    if !holds(cell.frame, [x, y]) {
        return;
    }
    let [left, top, right, foot] = cell.frame;
    // Bars end at the frame; an end without a place (below zero on a logarithmic axis) runs to it.
    let reach = |end: Option<f64>, from: f64, most: f64| end.map_or(most, |e| (e - from).abs().min(most));
    let bars = [
        [
            reach(cell.x.place(point.x - point.x_bar), x, x - left),
            reach(cell.x.place(point.x + point.x_bar), x, right - x),
        ],
        [
            reach(cell.y.place(point.y + point.y_bar), y, y - top),
            reach(cell.y.place(point.y - point.y_bar), y, foot - y),
        ],
    ];
    mark(svg, meaning, [x, y], bars);
    taken.add([x - MARK, y - MARK, x + MARK, y + MARK], 4.0);
    taken.add([x - bars[0][0], y - 1.0, x + bars[0][1], y + 1.0], 1.0);
    taken.add([x - 1.0, y - bars[1][0], x + 1.0, y + bars[1][1]], 1.0);
}

fn band(svg: &mut Svg, cell: &Cell, meaning: Meaning, points: &[[f64; 3]]) {
    let whole = |p: &&[f64; 3]| p.iter().all(|v| v.is_finite());
    let edge = |index: usize| points.iter().filter(whole).map(move |p| [p[0], p[index]]);
    let outline: Vec<[f64; 2]> = edge(1)
        .chain(edge(2).rev())
        .filter_map(|[x, y]| Some([cell.x.place(x)?, cell.y.place(y)?]))
        .collect();
    svg.area(&format!("{}-band", meaning.class()), &clip::area(&outline, cell.frame));
}

fn span(svg: &mut Svg, cell: &Cell, meaning: Meaning, side: Side, values: [f64; 2]) {
    let scale = if side == Side::Upright { &cell.x } else { &cell.y };
    let (Some(a), Some(b)) = (scale.place(values[0]), scale.place(values[1])) else { return };
    let [left, top, right, foot] = cell.frame;
    let [from, to] = [a.min(b), a.max(b)];
    let area = match side {
        Side::Upright => [from.max(left), top, to.min(right), foot],
        Side::Level => [left, from.max(top), right, to.min(foot)],
    };
    if area[2] > area[0] && area[3] > area[1] {
        svg.rect(&format!("{}-band", meaning.class()), area);
    }
}

fn rule(svg: &mut Svg, cell: &Cell, meaning: Meaning, side: Side, at: f64, taken: &mut Taken) {
    let [left, top, right, foot] = cell.frame;
    let scale = if side == Side::Upright { &cell.x } else { &cell.y };
    let Some(place) = scale.place(at) else { return };
    let ends = match side {
        Side::Upright => [[place, foot], [place, top]],
        Side::Level => [[left, place], [right, place]],
    };
    if ends.iter().all(|end| holds(cell.frame, *end)) {
        stroke(svg, meaning, &ends);
        taken.add_line(&ends, 1.0);
    }
}

/// Class of an outline.
pub(super) fn outline_class(outline: Outline) -> &'static str {
    match outline {
        Outline::Body => "o-body",
        Outline::Glass => "o-glass",
        Outline::Coil => "o-coil",
        Outline::Construction => "o-thin",
    }
}

fn shape(svg: &mut Svg, cell: &Cell, outline: Outline, points: &[[f64; 2]], closed: bool, taken: &mut Taken) {
    let class = outline_class(outline);
    for mut run in places(cell, points) {
        if closed && outline != Outline::Construction {
            let cut = clip::area(&run, cell.frame);
            svg.area(class, &cut);
            taken.add_line(&cut, 1.0);
            continue;
        }
        if closed {
            run.extend(run.first().copied());
        }
        for piece in clip::line(&run, cell.frame) {
            svg.line(class, &piece);
            taken.add_line(&piece, 1.0);
        }
    }
}

fn draw_bars(svg: &mut Svg, cell: &Cell, bars: &[Bar]) {
    let zero = cell.x.place(0.0).unwrap_or(cell.frame[0]).clamp(cell.frame[0], cell.frame[2]);
    for (index, bar) in bars.iter().enumerate() {
        let Some(middle) = cell.y.place(-(index as f64)) else { continue };
        let half = 0.33 * (cell.frame[3] - cell.frame[1]) / (bars.len() as f64 + 0.1);
        let half = half.min(9.0);
        let end = cell.x.place(bar.value).map(|x| x.clamp(cell.frame[0], cell.frame[2]));
        let end = end.unwrap_or(zero);
        let class = bar.meaning.class();
        let area = [zero.min(end), middle - half, zero.max(end), middle + half];
        // An outline besides, so that a bar of no length still shows as a stroke.
        svg.rect(&format!("{class}-fill"), area);
        svg.line(&format!("{class}-bar"), &[[zero, middle - half], [zero, middle + half]]);
        let (gap, anchor) = if end >= zero { (6.0, Anchor::Start) } else { (-6.0, Anchor::End) };
        svg.text("", [end + gap, middle + 0.35 * TEXT], anchor, &bar.label);
        if let Some(lines) = cell.names.get(index) {
            let first = middle + 0.35 * TEXT - 8.0 * (lines.len() as f64 - 1.0);
            for (row, line) in lines.iter().enumerate() {
                let place = [cell.frame[0] - TICK_GAP, first + 16.0 * row as f64];
                svg.text("", place, Anchor::End, line);
            }
        }
    }
}

fn draw_map(svg: &mut Svg, cell: &Cell, map: &Map) {
    let place = |area: Vec<[f64; 2]>| {
        let placed: Vec<[f64; 2]> =
            area.iter().filter_map(|[x, y]| Some([cell.x.place(*x)?, cell.y.place(*y)?])).collect();
        clip::area(&placed, cell.frame)
    };
    // Each level is painted over the lower ones: no seams between them.
    for (step, level) in std::iter::once(f64::NEG_INFINITY).chain(map.levels.iter().copied()).enumerate() {
        let areas: Vec<Vec<[f64; 2]>> = contour::reached(map, level).into_iter().map(place).collect();
        svg.areas(&colour(map.palette, svg.is_dark(), step, map.levels.len()), &areas);
    }
    for level in &map.levels {
        for line in contour::lines(map, *level) {
            for run in places(cell, &line) {
                for piece in clip::line(&run, cell.frame) {
                    svg.line("level", &piece);
                }
            }
        }
    }
    if map.has_bar {
        colour_bar(svg, cell, map);
    }
}

/// Colour of the step above level `step - 1`, of `levels + 1` steps.
fn colour(palette: Palette, is_dark: bool, step: usize, levels: usize) -> String {
    let stops = match palette {
        Palette::Sequential => SEQUENTIAL,
        Palette::Diverging if is_dark => DIVERGING_DARK,
        Palette::Diverging => DIVERGING,
    };
    let place = (step as f64 / levels.max(1) as f64).clamp(0.0, 1.0) * 4.0;
    let first = (place as usize).min(3);
    let part = place - first as f64;
    let [r, g, b] =
        [0, 1, 2].map(|k| (stops[first][k] + part * (stops[first + 1][k] - stops[first][k])).round() as u8);
    format!("#{r:02X}{g:02X}{b:02X}")
}

fn colour_bar(svg: &mut Svg, cell: &Cell, map: &Map) {
    let [_, top, right, foot] = cell.frame;
    let (left, steps) = (right + BAR_GAP, map.levels.len() + 1);
    let box_height = (foot - top) / steps as f64;
    for step in 0..steps {
        let low = foot - step as f64 * box_height;
        let area = vec![
            [left, low],
            [left + BAR_WIDTH, low],
            [left + BAR_WIDTH, low - box_height],
            [left, low - box_height],
        ];
        svg.areas(&colour(map.palette, svg.is_dark(), step, map.levels.len()), &[area]);
    }
    svg.rect("frame", [left, top, left + BAR_WIDTH, foot]);
    let every = (LINE / box_height).ceil().max(1.0) as usize;
    for (index, level) in map.levels.iter().enumerate() {
        let y = foot - (index + 1) as f64 * box_height;
        svg.line("tick", &[[left + BAR_WIDTH - 4.0, y], [left + BAR_WIDTH, y]]);
        if index % every == 0 {
            let place = [left + BAR_WIDTH + TICK_GAP, y + 0.35 * TEXT];
            svg.text("", place, Anchor::Start, &level_label(&map.levels, *level));
        }
    }
    let widest = map.levels.iter().map(|l| width(&level_label(&map.levels, *l), TEXT)).fold(0.0, f64::max);
    let x = left + BAR_WIDTH + TICK_GAP + widest + LINE - 2.0;
    svg.turned_text("", [x, 0.5 * (top + foot)], Anchor::Middle, &map.label, true);
}

/// Frame, ticks inside on all four sides, and labels.
fn axes(svg: &mut Svg, cell: &Cell) {
    let [left, top, right, foot] = cell.frame;
    svg.rect("frame", cell.frame);
    let mut data = String::new();
    let mut tick = |from: [f64; 2], to: [f64; 2]| {
        let [x, y, u, v] = [from[0], from[1], to[0], to[1]].map(super::svg::num);
        data.push_str(&format!("M{x} {y}L{u} {v}"));
    };
    let places = |scale: &super::axis::Scale, ticks: &super::axis::Ticks| {
        let all =
            ticks.major.iter().map(|(v, _)| (*v, TICKS[0])).chain(ticks.minor.iter().map(|v| (*v, TICKS[1])));
        all.filter_map(|(v, length)| Some((scale.place(v)?, length))).collect::<Vec<_>>()
    };
    for (x, length) in places(&cell.x, &cell.x_ticks) {
        tick([x, foot], [x, foot - length]);
        tick([x, top], [x, top + length]);
    }
    if cell.names.is_empty() {
        for (y, length) in places(&cell.y, &cell.y_ticks) {
            tick([left, y], [left + length, y]);
            tick([right, y], [right - length, y]);
        }
    }
    if !data.is_empty() {
        svg.raw_line(&format!("<path class=\"tick\" d=\"{data}\"/>"));
    }
    axis_labels(svg, cell);
}

fn axis_labels(svg: &mut Svg, cell: &Cell) {
    let [left, top, right, foot] = cell.frame;
    if cell.x_labelled {
        for (value, label) in &cell.x_ticks.major {
            if let Some(x) = cell.x.place(*value) {
                svg.text("", [x, foot + TICK_GAP + 0.75 * TEXT], Anchor::Middle, label);
            }
        }
        let place = [0.5 * (left + right), foot + TICK_GAP + LINE + 0.9 * TEXT];
        svg.text("", place, Anchor::Middle, &cell.x_label);
    }
    if cell.names.is_empty() {
        for (value, label) in &cell.y_ticks.major {
            if let Some(y) = cell.y.place(*value) {
                svg.text("", [left - TICK_GAP, y + 0.35 * TEXT], Anchor::End, label);
            }
        }
    }
    for (row, line) in cell.y_label.iter().enumerate() {
        let place = [cell.y_label_at + LINE * row as f64, 0.5 * (top + foot)];
        svg.turned_text("", place, Anchor::Middle, line, true);
    }
}

/// Words beside points, at the ends of rules, on level lines, and notes.
fn words(svg: &mut Svg, cell: &Cell, layer: &Layer, taken: &mut Taken) {
    match layer {
        Layer::Points { meaning, points, .. } => {
            for point in points {
                // A caution never stands without a word.
                let missing = *meaning == Meaning::Caution && point.label.is_empty();
                let label = if missing { "caution" } else { &point.label };
                beside(svg, cell, [point.x, point.y], label, MARK + 4.0, taken);
            }
        }
        Layer::Note { at, text } => beside(svg, cell, *at, text, 4.0, taken),
        Layer::Rule { side, at, label, .. } => rule_label(svg, cell, *side, *at, label, taken),
        Layer::Map(map) => level_labels(svg, cell, map, taken),
        _ => {}
    }
}

fn beside(svg: &mut Svg, cell: &Cell, at: [f64; 2], text: &str, radius: f64, taken: &mut Taken) {
    let (Some(x), Some(y)) = (cell.x.place(at[0]), cell.y.place(at[1])) else { return };
    if text.is_empty() || !holds(cell.frame, [x, y]) {
        return;
    }
    if let Some(spot) = taken.choose(text, &around([x, y], radius), cell.frame) {
        svg.text("", spot.place, spot.anchor, text);
    }
}

fn rule_label(svg: &mut Svg, cell: &Cell, side: Side, at: f64, label: &str, taken: &mut Taken) {
    let [left, top, right, foot] = cell.frame;
    let scale = if side == Side::Upright { &cell.x } else { &cell.y };
    let Some(place) = scale.place(at).filter(|_| !label.is_empty()) else { return };
    let spots: Vec<Spot> = match side {
        Side::Level => {
            let lines = [place - 5.0, place + 5.0 + 0.75 * TEXT];
            // At the end if it is free, else as near to the end as it gets.
            let starts = (0..12).map(|k| right - 10.0 - f64::from(k) * 0.06 * (right - left));
            let at = |x: f64| lines.map(|y| Spot { place: [x, y], anchor: Anchor::End });
            starts.flat_map(at).collect()
        }
        Side::Upright => {
            let lines = [top + 8.0 + TEXT, top + 8.0 + TEXT + LINE, foot - 12.0];
            let beside = |y: f64| {
                [
                    Spot { place: [place + 6.0, y], anchor: Anchor::Start },
                    Spot { place: [place - 6.0, y], anchor: Anchor::End },
                ]
            };
            lines.into_iter().flat_map(beside).collect()
        }
    };
    if let Some(spot) = taken.choose(label, &spots, cell.frame) {
        svg.text("", spot.place, spot.anchor, label);
    }
}

/// The value of each level on its longest line, where it fits.
fn level_labels(svg: &mut Svg, cell: &Cell, map: &Map, taken: &mut Taken) {
    for level in &map.levels {
        let pieces = contour::lines(map, *level)
            .into_iter()
            .flat_map(|line| places(cell, &line))
            .flat_map(|run| clip::line(&run, cell.frame));
        let long = |piece: &Vec<[f64; 2]>| {
            piece.windows(2).map(|p| (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1])).sum::<f64>()
        };
        let longest = pieces.max_by(|a, b| long(a).total_cmp(&long(b)));
        let Some(line) = longest.filter(|line| long(line) > SHORTEST_LABELLED) else { continue };
        let text = level_label(&map.levels, *level);
        // Eight places along the line; the emptiest is taken.
        let spots: Vec<Spot> = (1..8)
            .filter_map(|k| line.get(line.len() * k / 8))
            .map(|[x, y]| Spot { place: [*x, y + 0.35 * TEXT], anchor: Anchor::Middle })
            .filter(|spot| {
                let area = text_box(&text, *spot);
                holds(cell.frame, [area[0] - 8.0, area[1] - 6.0])
                    && holds(cell.frame, [area[2] + 8.0, area[3] + 6.0])
            })
            .collect();
        if let Some(spot) = taken.choose(&text, &spots, cell.frame) {
            svg.text("onmap", spot.place, spot.anchor, &text);
        }
    }
}
