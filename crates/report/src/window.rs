//! A plan in one figure: the settings that serve, the ratings, and those proposed.

use arcmass_lab::plan::document::{Arrangement, PlanDocument, PlannedSetting};

use crate::figure::{Axis, Figure, Meaning, Panel, Point, Side};

/// Width of the figure, in its own units.
const WIDTH: f64 = 520.0;

/// One panel for each way the bench stands in the plan: the window, the ratings, the settings with their numbers.
pub fn window(plan: &PlanDocument) -> Figure {
    let used = |arrangement: &&Arrangement| plan.settings.iter().any(|setting| is_in(setting, arrangement));
    let shown: Vec<&Arrangement> = plan.window.arrangements.iter().filter(used).collect();
    let described = format!(
        "{} settings, numbered in the order to take them, in the window of voltage and current in which a ring clears the glass, glows and keeps every rating: expected u = {:.2} % of the mass, never below {:.2} %.",
        plan.settings.len(),
        plan.expected.as_stated_percent,
        plan.floor.standard_uncertainty_percent
    );
    let figure = Figure::new("Which settings to take next", described).id("plan").width(WIDTH);
    shown
        .iter()
        .enumerate()
        .fold(figure, |figure, (place, arrangement)| figure.panel(panel(plan, arrangement, place == 0)))
}

fn is_in(setting: &PlannedSetting, arrangement: &Arrangement) -> bool {
    setting.field_sense == arrangement.field_sense
        && setting.bench_turned_deg == arrangement.bench_turned_deg
        && setting.gun_tilt_deg == arrangement.gun_tilt_deg
}

fn panel(plan: &PlanDocument, arrangement: &Arrangement, is_first: bool) -> Panel {
    let name = |text: &str| if is_first { text.to_owned() } else { String::new() };
    let band = arrangement.lines.iter().map(|line| [line.voltage_v, line.current_from_a, line.current_to_a]);
    let points = plan
        .settings
        .iter()
        .filter(|setting| is_in(setting, arrangement))
        .map(|setting| Point::new(setting.voltage_v, setting.current_a).label(setting.order.to_string()));
    let leads = if arrangement.field_sense == "-" { "leads reversed" } else { "leads as wired" };
    let turned = if arrangement.bench_turned_deg == 0.0 {
        String::new()
    } else {
        format!(", bench rotated by {}°", arrangement.bench_turned_deg)
    };
    let x = Axis::new(format!("*V* / V  ({leads}{turned})"));
    Panel::new(x, Axis::new("*I* / A"))
        .height(280.0)
        .band(Meaning::Stated, name("window"), band.collect())
        .rule(Meaning::Caution, Side::Upright, plan.window.voltage_limit_v, "gun’s rating")
        .rule(Meaning::Caution, Side::Level, plan.window.current_limit_a, "coils’ rating")
        .points(Meaning::Predicted, name("proposed"), points.collect())
}
