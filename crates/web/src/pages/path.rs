//! Path: the ring or helix of a setting, in the real field, under the hand.

use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::path::{Calibrated, Setting};
use arcmass_notebook::{Notebook, Run};
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::{Value, json};

use super::{blocking, broken};
use crate::answer;
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};
use crate::work::Trouble;

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
            h1 { "Path" }
            @match &snapshot.notebook {
                Ok(notebook) => (station(notebook)),
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
                (slider("turned", "Bench turned", "°", [-180.0, 180.0, 5.0], 0.0))
                fieldset.sense { legend { "Field sense" }
                    label { input type="radio" name="sense" value="+" checked; " + as described" }
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
                    div { dt { "Diameter, fitted" } dd data-figure="fitted" {} }
                    div { dt { "Diameter, muzzle to far side" } dd data-figure="chord" {} }
                    div { dt { "Pitch" } dd data-figure="pitch" {} }
                    div { dt { "Turns to the glass" } dd data-figure="turns" {} }
                    div { dt { "Meets the glass at" } dd data-figure="glass" {} }
                    div { dt { "Speed" } dd data-figure="speed" {} }
                    div { dt { "Flux density at the muzzle" } dd data-figure="field" {} }
                }
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

/// A setting as the sliders say it.
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
}

/// `/path/at`: the path and what stands around it.
pub(crate) async fn at(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Response {
    let predict = move || {
        let ready = match app.bench.ready(&app) {
            Ok(ready) => ready,
            Err(trouble) => return answer::trouble(StatusCode::CONFLICT, &trouble.sentence, &trouble.remedy),
        };
        let (notebook, calibrated) = &*ready;
        let setting = Setting {
            voltage_v: asked.voltage,
            current_a: asked.current,
            gun_tilt_deg: asked.tilt,
            field_sense: if asked.sense == "-" { -1.0 } else { 1.0 },
            bench_turned_deg: asked.turned,
        };
        match calibrated.path(notebook, &setting, &app.desk) {
            Ok(document) => {
                let mut body = serde_json::to_value(&document).unwrap_or(Value::Null);
                if let Value::Object(body) = &mut body {
                    body.insert("around".to_owned(), around(notebook));
                    body.remove("made_by");
                }
                Json(body).into_response()
            }
            Err(fault) => {
                let trouble = Trouble::from(fault);
                answer::trouble(StatusCode::UNPROCESSABLE_ENTITY, &trouble.sentence, &trouble.remedy)
            }
        }
    };
    blocking(predict).await.unwrap_or_else(broken)
}

impl Kept {
    /// The notebook as it stands, with its field fitted once.
    pub(crate) fn ready(&self, app: &App) -> Result<Ready, Trouble> {
        let Snapshot { stamp, notebook } = app.snapshot();
        let notebook = notebook.map_err(|_| Trouble {
            sentence: "the notebook has faults".to_owned(),
            remedy: "mend what the Bench marks first".to_owned(),
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
