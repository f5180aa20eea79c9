//! Whole figures: snapshots of small ones, and what must hold for every one.

use super::*;

/// Measured rings with a model, a textbook line, a struck run and residuals.
fn law() -> Figure {
    let model: Vec<[f64; 2]> =
        (0..20).map(|k| [130.0 + 10.0 * f64::from(k), 850.0 + 60.0 * f64::from(k)]).collect();
    let band = model.iter().map(|[x, y]| [*x, y - 20.0, y + 20.0]).collect();
    let measured = [(150.0, 980.0), (200.0, 1262.0), (300.0, 1875.0)];
    let points =
        |shift: f64| measured.iter().map(|(x, y)| Point::new(*x, y - shift).x_bar(1.0).y_bar(25.0)).collect();
    Figure::new("Ring radius squared against voltage", "Three rings lie on the model's line.")
        .panel(
            Panel::new(Axis::new("*V* / V"), Axis::new("*r*^{2} / mm^{2}"))
                .band(Meaning::Predicted, "model, *k* = 1", band)
                .curve(Meaning::Predicted, "model, *k* = 1", model)
                .curve(Meaning::Textbook, "textbook", vec![[130.0, 900.0], [320.0, 2100.0]])
                .points(Meaning::Measured, "measured, *k* = 1", points(0.0))
                .points(Meaning::Rejected, "struck", vec![Point::new(250.0, 1300.0).label("run 4")])
                .points(Meaning::Caution, "", vec![Point::new(310.0, 1200.0)]),
        )
        .panel(Panel::residuals(Axis::new("residual / mm^{2}")).points(Meaning::Measured, "", points(1300.0)))
}

fn map() -> Figure {
    let axis: Vec<f64> = (-4..=4).map(|k| 15.0 * f64::from(k)).collect();
    let z = axis.iter().flat_map(|y| axis.iter().map(move |x| -(x * x + 2.0 * y * y) / 4000.0)).collect();
    let map =
        Map::new(axis.clone(), axis, z, vec![-2.0, -1.0, -0.5], "deviation / %").palette(Palette::Diverging);
    let panel = Panel::drawing(Axis::new("*x* / mm"), Axis::new("*y* / mm")).map(map);
    Figure::new("Uniformity", "The field falls off outwards.").panel(panel)
}

fn budget() -> Figure {
    let bars = vec![
        Bar::new(Meaning::Measured, "ring diameter", 0.42, "0.42 %"),
        Bar::new(Meaning::Stated, "gain of the ammeter, shared by all runs of the day", 1.1, "1.10 %"),
        Bar::new(Meaning::Stated, "nothing known", f64::NAN, "–"),
    ];
    Figure::new("Budget", "The ammeter leads.").panel(Panel::bars(Axis::new("share / %"), bars))
}

fn bench() -> Figure {
    let side = || {
        Panel::drawing(Axis::new("*z* / mm").range(-100.0, 100.0), Axis::new("*y* / mm").range(-90.0, 90.0))
    };
    let front =
        Panel::drawing(Axis::new("*x* / mm").range(-90.0, 90.0), Axis::new("*y* / mm").range(-90.0, 90.0))
            .circle(Outline::Glass, "bulb", [0.0, 0.0], 80.0)
            .polygon(Outline::Body, "gun", vec![[-26.0, -45.0], [0.0, -45.0], [0.0, -35.0], [-26.0, -35.0]])
            .note([0.0, -40.0], "muzzle")
            .curve(Meaning::Beam, "beam", vec![[0.0, -40.0], [300.0, -40.0]]);
    let side = side().polyline(Outline::Construction, "axis", vec![[-100.0, 0.0], [100.0, 0.0]]);
    Figure::new("Bench", "From the front and from the side, to scale.").panel(front).panel_beside(side)
}

fn hostile() -> Figure {
    let wild = vec![[f64::NAN, 1.0], [1.0, f64::INFINITY], [2.0, -3.0], [1e300, 1e-300], [-1e300, 5.0]];
    Figure::new("</title><script>", "\"&\u{0}")
        .id("x\"><y")
        .panel(
            Panel::new(Axis::new("<b>"), Axis::new("*unclosed _{").logarithmic())
                .curve(Meaning::Predicted, "a & b", wild.clone())
                .band(Meaning::Stated, "", vec![[0.0, f64::NAN, 1.0], [1.0, 2.0, 3.0]])
                .points(
                    Meaning::Measured,
                    "",
                    wild.iter().map(|p| Point::new(p[0], p[1]).y_bar(f64::NAN)).collect(),
                )
                .rule(Meaning::Accepted, Side::Level, f64::NAN, "none")
                .span(Meaning::Plain, "", Side::Upright, f64::NEG_INFINITY, f64::INFINITY)
                .map(Map::new(vec![0.0, 1.0], vec![0.0, 1.0], vec![1.0], vec![], "")),
        )
        .panel(Panel::new(Axis::new(""), Axis::new("")))
        .panel(Panel::bars(Axis::new("none"), Vec::new()))
        .panel(Panel::drawing(Axis::new("x"), Axis::new("y")))
}

fn all() -> Vec<Figure> {
    vec![law(), map(), budget(), bench(), hostile(), Figure::new("Empty", "Nothing yet.")]
}

/// Every number in an attribute or path.
fn coordinates(svg: &str) -> Vec<(String, f64)> {
    let mut found = Vec::new();
    for name in ["x", "y", "cx", "cy", "d"] {
        for part in svg.split(&format!(" {name}=\"")).skip(1) {
            let value = part.split('"').next().unwrap_or_default();
            let numbers = value.split(['M', 'L', 'Z', ' ']).filter(|t| !t.is_empty());
            // In a path x and y alternate.
            for (index, text) in numbers.enumerate() {
                let axis = match name {
                    "d" => ["x", "y"][index % 2],
                    "cx" => "x",
                    "cy" => "y",
                    other => other,
                };
                found.push((axis.to_owned(), text.parse().unwrap()));
            }
        }
    }
    found
}

#[test]
fn no_number_is_missing_and_everything_lies_inside_the_figure() {
    for figure in all() {
        let svg = figure.to_svg();
        let body = svg.split("</style>").nth(1).unwrap();
        assert!(!body.contains("NaN") && !body.contains("inf"), "{}", figure.title());
        let size = svg.split("viewBox=\"0 0 ").nth(1).and_then(|t| t.split('"').next()).unwrap();
        let (width, height) = size.split_once(' ').unwrap();
        let bounds = [("x", width.parse::<f64>().unwrap()), ("y", height.parse::<f64>().unwrap())];
        for (axis, value) in coordinates(body) {
            let most = bounds.iter().find(|(name, _)| *name == axis).unwrap().1;
            assert!((0.0..=most).contains(&value), "{}: {axis} = {value} of {most}", figure.title());
        }
    }
}

/// Checks tags and attributes by hand: every tag closed in its turn, every name unique, no bare `<` or `&`.
fn assert_well_formed(xml: &str) {
    let mut open: Vec<String> = Vec::new();
    let mut rest = xml;
    while let Some(start) = rest.find('<') {
        let (text, tail) = rest.split_at(start);
        assert!(!text.contains('>'), "a bare > in {text:?}");
        for entity in text.split('&').skip(1) {
            let name = entity.split(';').next().unwrap();
            assert!(["amp", "lt", "gt", "quot"].contains(&name), "entity {name}");
        }
        let end = tail.find('>').unwrap();
        let tag = &tail[1..end];
        rest = &tail[end + 1..];
        assert!(!tag.contains('<') && tag.matches('"').count() % 2 == 0, "{tag}");
        if tag.starts_with('?') || tag.ends_with('/') {
            continue;
        }
        match tag.strip_prefix('/') {
            Some(name) => assert_eq!(open.pop().as_deref(), Some(name)),
            None => open.push(tag.split(' ').next().unwrap().to_owned()),
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
}

#[test]
fn every_figure_is_well_formed_with_a_title_and_a_description() {
    for figure in all() {
        for svg in [figure.to_svg(), figure.to_svg_file(Theme::Dark), figure.to_svg_file(Theme::Light)] {
            assert_well_formed(&svg);
            assert!(
                svg.contains("<title id=\"") && svg.contains("<desc id=\"") && svg.contains("role=\"img\"")
            );
        }
    }
}

#[test]
fn figures_of_a_page_do_not_share_names() {
    let mut names: Vec<String> = Vec::new();
    for svg in all().iter().map(Figure::to_svg) {
        names.extend(svg.split(" id=\"").skip(1).map(|t| t.split('"').next().unwrap().to_owned()));
    }
    let count = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count);
}

#[test]
fn panels_that_share_an_axis_line_up() {
    let svg = law().to_svg();
    let frames: Vec<&str> =
        svg.split("<rect class=\"frame\" ").skip(1).map(|t| t.split(" y=").next().unwrap()).collect();
    assert_eq!(frames.len(), 2);
    assert_eq!(frames[0], frames[1]);
}

#[test]
fn drawings_beside_each_other_have_the_same_scale() {
    let bench = bench();
    let layout = layout::lay_out(&bench.rows, 720.0).cells;
    let per_unit = |cell: &layout::Cell| {
        let wide = (cell.frame[2] - cell.frame[0]) / (cell.x.range[1] - cell.x.range[0]);
        let high = (cell.frame[3] - cell.frame[1]) / (cell.y.range[1] - cell.y.range[0]);
        assert!((wide - high).abs() < 1e-9);
        wide
    };
    assert!((per_unit(&layout[0]) - per_unit(&layout[1])).abs() < 1e-9);
}

#[test]
fn a_page_chooses_the_colours_and_a_file_has_its_own() {
    let page = law().to_svg();
    assert!(page.contains("var(--measured,#B37400)") && !page.contains("class=\"ground\" width"));
    let file = law().to_svg_file(Theme::Dark);
    assert!(file.contains("#E69F00") && file.contains("class=\"ground\" width") && !file.contains("var("));
    assert!(css_variables(Theme::Light).contains("--predicted:#0072B2;"));
}

#[test]
fn a_caution_never_stands_without_a_word() {
    assert!(law().to_svg().contains(">caution</text>"));
}

#[test]
fn no_outline_words_overlap_each_other() {
    let mut taken = place::Taken::default();
    let frame = [0.0, 0.0, 300.0, 300.0];
    let mut boxes: Vec<[f64; 4]> = Vec::new();
    for run in 0..8 {
        let at = [150.0 + 3.0 * f64::from(run), 150.0];
        let spot = taken.choose("run 1", &place::around(at, 8.0), frame).unwrap();
        boxes.push(place::text_box("run 1", spot));
    }
    for (index, a) in boxes.iter().enumerate() {
        for b in &boxes[index + 1..] {
            let meet = a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
            assert!(!meet, "{a:?} and {b:?}");
        }
    }
}

/// The drawing without its style, which is the same for every figure.
fn drawing(figure: &Figure) -> String {
    let svg = figure.to_svg();
    let (head, rest) = svg.split_once("<style>").unwrap();
    format!("{head}{}", rest.split_once("</style>").unwrap().1)
}

#[test]
fn small_figures_look_as_they_did() {
    let curve = Panel::new(Axis::new("*I* / A").range(0.0, 2.0), Axis::new("*B* / mT").range(0.0, 2.0))
        .height(80.0)
        .curve(Meaning::Predicted, "line", vec![[0.0, 0.0], [4.0, 3.2]])
        .points(Meaning::Measured, "", vec![Point::new(1.0, 0.8).y_bar(0.1).label("probe")]);
    let small = Figure::new("Field", "A line.").id("small").width(240.0).panel(curve);
    insta::assert_snapshot!("small_figure", drawing(&small));
    insta::assert_snapshot!("budget_figure", drawing(&budget()));
    insta::assert_snapshot!("law_as_text", law().to_table());
    insta::assert_snapshot!("map_as_text", map().to_table());
}
