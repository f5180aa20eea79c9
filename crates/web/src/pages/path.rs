//! Path: the ring or helix of a setting, in the real field, under the hand.

use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::document::{CaveatEntry, PathDocument, Q};
use arcmass_lab::path::{Calibrated, Setting};
use arcmass_lab::photograph::opened::Laid;
use arcmass_notebook::{Notebook, Run, View};
use arcmass_quantity::print;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::{Value, json};

use super::units::{self, Chosen};
use super::words::{fixed, plus_minus};
use super::{blocking, broken, next, one_ring, ring};
use crate::answer;
use crate::frame::{self, Station};
use crate::long::Trouble;
use crate::state::{App, Snapshot};

/// What paths are predicted with, kept while the folder stands unchanged.
#[derive(Default)]
pub(crate) struct Kept(Mutex<Option<(String, Ready)>>);

/// A notebook with its field fixed.
pub(crate) type Ready = Arc<(Arc<Notebook>, Calibrated)>;

/// `/path`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            div.head { h1 { "Path" } (units::choice(&headers)) }
            @match &snapshot.notebook {
                Ok(notebook) => { (next::line(&app, &snapshot, Station::Path)) (station(notebook)) }
                Err(_) => (frame::faults(&snapshot)),
            }
        };
        frame::page(&app, &snapshot, &headers, Station::Path, "path.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// Where the sliders begin and end.
struct Range {
    voltage: [f64; 3],
    current: [f64; 3],
}

fn range(notebook: &Notebook) -> Range {
    let gun = notebook.bench.gun.as_ref();
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let most = |values: Vec<f64>, fallback: f64| values.into_iter().reduce(f64::max).unwrap_or(fallback);
    let high = gun.and_then(|gun| gun.voltage_limit_v);
    let high = high.unwrap_or_else(|| most(runs.iter().map(Run::mean_voltage_v).collect(), 300.0));
    let low = gun.and_then(|gun| gun.voltage_minimum_v).unwrap_or(high / 5.0).min(high);
    let rated = notebook.bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
    let rated = rated.unwrap_or_else(|| most(runs.iter().map(Run::mean_current_a).collect(), 2.0));
    let first = runs.first();
    Range {
        voltage: [low, high, first.map_or(f64::midpoint(low, high), Run::mean_voltage_v)],
        current: [rated / 10.0, rated, first.map_or(rated * 0.75, Run::mean_current_a)],
    }
}

fn station(notebook: &Notebook) -> Markup {
    let range = range(notebook);
    let [v_low, v_high, v] = range.voltage;
    let [i_low, i_high, i] = range.current;
    html! {
        div.path-station {
            form #setting.setting autocomplete="off" aria-label="Setting" {
                (slider("voltage", "Voltage as read", "V", [v_low, v_high, 0.5], round(v, 10.0)))
                (slider("current", "Coil current as read", "A", [round(i_low, 100.0), i_high, 0.005], round(i, 1000.0)))
                (slider("tilt", "Gun tilt", "°", [-90.0, 90.0, 0.5], 0.0))
                (slider("turned", "Bench rotated", "°", [-180.0, 180.0, 5.0], 0.0))
                fieldset.sense { legend { "Field sense" }
                    label { input type="radio" name="sense" value="+" checked; " + as wired" }
                    label { input type="radio" name="sense" value="-"; " − leads reversed" }
                }
                p.acts { button #freeze type="button" aria-pressed="false" { "Freeze this prediction" } " " button #front type="button" { "Turn the view to the front" } }
                p.quiet { "A prediction is no permission to switch anything on." }
            }
            div.seen {
                figure.scene {
                    canvas #scene width="900" height="620" tabindex="0" role="img" aria-describedby="path-words" aria-label="The beam in the bulb, in perspective; arrow keys turn the view" {}
                    figcaption.quiet { "In perspective: drag or use the arrow keys to turn it, " kbd { "+" } " and " kbd { "-" } " to come nearer." }
                }
                div.pair {
                    figure { canvas #flat-front width="440" height="400" role="img" aria-label="Seen from the front camera" {} figcaption.quiet { "From the front" } }
                    figure { canvas #flat-side width="440" height="400" role="img" aria-label="Seen from the side" {} figcaption.quiet { "From the side, camera to the right" } }
                }
                div #path-words role="status" aria-live="polite" {}
                dl.figures #path-figures {
                    @for (name, label) in FIGURES { div { dt { (label) } dd data-figure=(name) {} } }
                }
                (over(notebook))
            }
        }
    }
}

/// Name and label of each predicted number.
const FIGURES: [(&str, &str); 7] = [
    ("fitted", "Diameter, fitted"),
    ("chord", "Diameter, anode aperture to far side"),
    ("pitch", "Pitch"),
    ("turns", "Turns to the glass"),
    ("glass", "Strikes the glass at x, y, z"),
    ("speed", "Speed"),
    ("field", "Flux density at the anode aperture, x, y, z"),
];

/// The place where a prediction is laid over a photograph.
fn over(notebook: &Notebook) -> Markup {
    let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
    let shots: Vec<(&Run, &str)> = runs.filter_map(|run| Some((run, run.ring_photo.as_deref()?))).collect();
    let view = |run: &Run| if run.view == View::Side { ", from the side" } else { "" };
    html! {
        section #over aria-labelledby="over-heading" {
            h2 #over-heading { "Lay it over a photograph" }
            @if shots.is_empty() {
                p.quiet { "No run has a photograph yet. Drop some at the " a href="/readings" { "Readings" } "." }
            } @else {
                p.acts {
                    label { "Photograph " select #over-photo {
                        option value="" { "none" }
                        @for (run, photo) in &shots {
                            option value=(photo) data-voltage=(round(run.mean_voltage_v(), 100.0)) data-current=(round(run.mean_current_a(), 10_000.0)) data-tilt=(run.gun_tilt_deg) data-turned=(run.bench_turned_deg) data-sense=[(run.field_sense.sign() < 0.0).then_some("-")] { "run " (run.run) ", " (photo) (view(run)) }
                        }
                    } }
                    button #over-setting type="button" disabled { "Take this run’s setting" }
                }
                p #over-said role="status" {}
                canvas #over-view hidden tabindex="0" role="img" aria-label="The prediction dashed over the photograph, the photographed beam as dots" aria-describedby="over-said" {}
                p.quiet { "Dashed: the prediction, frozen if one is, as this photograph’s camera sees it. Dots: the beam as measured. The camera is the one its scale gives; the two centres are brought together, so size and shape are compared, not the place. Over a photograph from the side the two helices are brought together." }
            }
        }
    }
}

fn round(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

fn slider(name: &str, label: &str, unit: &str, [low, high, step]: [f64; 3], value: f64) -> Markup {
    html! {
        div.slider {
            label for={ (name) "-box" } { (label) }
            input id={ (name) "-slide" } type="range" min=(low) max=(high) step=(step) value=(value) aria-label=(label) data-for={ (name) "-box" };
            input id={ (name) "-box" } name=(name) type="number" min=(low) max=(high) step="any" value=(value); span.quiet { (unit) }
        }
    }
}

/// A setting as the sliders say it, and a photograph to lay it over.
#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    voltage: f64,
    current: f64,
    #[serde(default)]
    tilt: f64,
    #[serde(default)]
    turned: f64,
    #[serde(default)]
    sense: String,
    #[serde(default)]
    photo: String,
}

impl Asked {
    fn setting(&self) -> Setting {
        Setting {
            voltage_v: self.voltage,
            current_a: self.current,
            gun_tilt_deg: self.tilt,
            field_sense: if self.sense == "-" { -1.0 } else { 1.0 },
            bench_turned_deg: self.turned,
        }
    }

    fn predicted(&self, app: &App) -> Result<(Ready, PathDocument), Box<Response>> {
        let refuse =
            |status, trouble: &Trouble| Box::new(answer::trouble(status, &trouble.sentence, &trouble.remedy));
        let ready = app.bench.ready(app).map_err(|trouble| refuse(StatusCode::CONFLICT, &trouble))?;
        let (notebook, calibrated) = &*ready;
        let path = calibrated
            .path(notebook, &self.setting(), &app.desk)
            .map_err(|fault| refuse(StatusCode::UNPROCESSABLE_ENTITY, &fault.into()))?;
        Ok((ready, path))
    }
}

/// `/path/at`: the path and what stands around it.
pub(crate) async fn at(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(asked): Query<Asked>,
) -> Response {
    let predict = move || {
        let (ready, path) = match asked.predicted(&app) {
            Ok(predicted) => predicted,
            Err(response) => return *response,
        };
        let around = around(&ready.0);
        let chosen = Chosen::of(&headers);
        let figures = figures(&path, &chosen);
        let caveats: Vec<CaveatEntry> = path.caveats.iter().map(|caveat| chosen.caveat(caveat)).collect();
        Json(json!({
            "drawn_mm": path.drawn_mm, "glass_point_mm": path.glass_point_mm, "meets_gun": path.meets_gun,
            "caveats": caveats, "figures": figures, "around": around,
        }))
        .into_response()
    };
    blocking(predict).await.unwrap_or_else(broken)
}

/// The predicted numbers as they are read.
fn figures(path: &PathDocument, chosen: &Chosen) -> Value {
    let dash = || "–".to_owned();
    let mm = |value: Option<f64>| value.map_or_else(dash, |value| format!("{} mm", fixed(value, -1)));
    let all = |values: [f64; 3], one: &dyn Fn(f64) -> String| values.map(one).join(", ");
    let fitted = one_ring::predicted(path);
    json!({
        "fitted": fitted.map_or_else(dash, |diameter| format!("{diameter} mm")),
        "chord": mm(path.chord_diameter_mm),
        "pitch": mm(path.pitch_mm),
        "turns": path.turns_to_glass.map_or_else(|| "does not meet it".to_owned(), |turns| fixed(turns, -2)),
        "glass": path.glass_point_mm.map_or_else(dash, |at| format!("{} mm", all(at, &|value| fixed(value, 0)))),
        "speed": format!("{} m/s", print::significant(path.speed_m_per_s, 4)),
        "field": format!("{} {}", all(path.flux_density_at_muzzle_mt, &|value| chosen.predicted(value)), chosen.shown()),
    })
}

/// `/path/over`: the prediction as the camera of a photograph sees it.
pub(crate) async fn laid(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Response {
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let worker = Arc::clone(&app);
    let lay = move || {
        let laid = asked.predicted(&worker).and_then(|(_, path)| {
            let (opened, notebook) = ring::opened(&worker, &asked.photo)?;
            opened.lay(&notebook, &path).map_err(|fault| {
                let trouble = Trouble::from(fault);
                let status = StatusCode::UNPROCESSABLE_ENTITY;
                Box::new(answer::trouble(status, &trouble.sentence, &trouble.remedy))
            })
        });
        match laid {
            Ok(laid) => Json(json!({ "said": said(&laid), "laid": laid })).into_response(),
            Err(response) => *response,
        }
    };
    blocking(lay).await.unwrap_or_else(broken)
}

fn said(laid: &Laid) -> String {
    let alone = if laid.side.is_some() {
        "No helix was found on it: the path is drawn in the middle of the picture."
    } else {
        "No ring was found on it: the coils’ axis is drawn in the middle of the picture."
    };
    let alone = (!laid.is_centred).then(|| alone.to_owned());
    let both = |what: &str, ours: Option<f64>, theirs: Option<&Q>, apart: Option<f64>| {
        let predicted = ours.map(|mm| format!("Predicted {what}: {} mm.", fixed(mm, -1)));
        let seen = theirs.map(|q| format!("Photographed: {} mm.", plus_minus(q)));
        let apart = apart.map(|apart| {
            let side = if apart > 0.0 { "larger" } else { "smaller" };
            format!("The prediction is {} mm {side}.", fixed(apart.abs(), -1))
        });
        [predicted, seen, apart]
    };
    let diameter = |what| {
        both(what, laid.predicted_diameter_mm, laid.photographed_diameter_mm.as_ref(), laid.difference_mm)
    };
    let Some(side) = &laid.side else {
        return diameter("ring as seen").into_iter().chain([alone]).flatten().collect::<Vec<_>>().join(" ");
    };
    let pitch =
        both("pitch", side.predicted_pitch_mm, side.photographed_pitch_mm.as_ref(), side.difference_mm);
    let stands = laid.is_centred.then(|| {
        let turned = fixed(side.turned_deg.abs(), -1);
        let on = side.camera_on.replace('-', "−");
        format!("It lies best seen from the side of {on}, turned by {turned}° in the picture.")
    });
    pitch
        .into_iter()
        .chain(diameter("diameter"))
        .chain([stands, alone])
        .flatten()
        .collect::<Vec<_>>()
        .join(" ")
}

impl Kept {
    /// The notebook as it stands, with its field fitted once.
    pub(crate) fn ready(&self, app: &App) -> Result<Ready, Trouble> {
        let Snapshot { stamp, notebook } = app.snapshot();
        let notebook = notebook.map_err(|_| Trouble {
            sentence: "the notebook has faults".to_owned(),
            remedy: "correct what the Bench marks first".to_owned(),
        })?;
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, ready)) = kept.as_ref().filter(|(of, _)| *of == stamp) {
            return Ok(Arc::clone(ready));
        }
        let calibrated = Calibrated::of(&notebook, &app.desk)?;
        let ready = Arc::new((notebook, calibrated));
        *kept = Some((stamp, Arc::clone(&ready)));
        Ok(ready)
    }
}

/// Glass, coils and gun as the bench file states them, mm.
fn around(notebook: &Notebook) -> Value {
    let mm = |metres: f64| 1e3 * metres;
    let bench = &notebook.bench;
    let glass =
        bench.bulb.as_ref().and_then(|bulb| bulb.outer_radius.as_ref()).map(|radius| mm(radius.value));
    let pair = bench.pair.as_ref().and_then(|pair| pair.geometry.as_ref());
    let coils: Vec<Value> = match pair {
        Some(pair) => [-0.5, 0.5]
            .iter()
            .map(|side| json!({ "radius": mm(pair.mean_radius.value), "centre": [0.0, 0.0, side * mm(pair.separation.value)], "axis": [0, 0, 1], "square": pair.shape == arcmass_notebook::CoilShape::Square }))
            .collect(),
        None => bench
            .coil_list
            .iter()
            .map(|coil| json!({ "radius": mm(coil.mean_radius.value), "centre": coil.centre.clone().map(|part| mm(part.value)), "axis": coil.axis, "square": coil.shape == arcmass_notebook::CoilShape::Square }))
            .collect(),
    };
    let gun = bench.gun.as_ref();
    let muzzle = gun.and_then(|gun| gun.muzzle.clone()).map(|muzzle| muzzle.map(|part| mm(part.value)));
    json!({ "glass": glass, "coils": coils, "muzzle": muzzle, "direction": gun.and_then(|gun| gun.direction) })
}
