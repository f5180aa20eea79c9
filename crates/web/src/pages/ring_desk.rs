//! The desk of the Ring station: the steps, the photograph, and what is asked beside it.

use arcmass_notebook::Notebook;
use arcmass_notebook::edit::bench_value;
use maud::{Markup, html};

use super::photos::encoded;
use super::ring::{Role, marks_of, role};

/// Everything below the list of photographs; the page's script fills it.
pub(super) fn desk(notebook: &Notebook, photo: &str, names: &[String]) -> Markup {
    let role = role(notebook, photo);
    let marks = serde_json::to_string(&marks_of(notebook, photo)).unwrap_or_default();
    let (word, run, scale) = match &role {
        Role::Ring(run, scale) => ("ring", run.as_str(), scale.as_deref().unwrap_or(photo)),
        Role::Scale => ("scale", "", photo),
        Role::Free(scale) => ("free", "", scale.as_str()),
    };
    let stated = |table, key| bench_value(&notebook.bench.source, table, key).unwrap_or_default();
    let has_bulb = notebook.bench.bulb.as_ref().is_some_and(|bulb| bulb.outer_radius.is_some());
    let has_coil = !stated("coils", "mean_radius").is_empty();
    html! {
        div #desk.desk data-photo=(photo) data-src={ "/photos/view?name=" (encoded(photo)) } data-marks=(marks) data-role=(word) data-run=(run)
            data-scale=(scale) data-offset=(stated("scale", "offset")) data-distance=(stated("camera", "distance"))
            data-bulb=[has_bulb.then_some("stated")] data-coil=[has_coil.then_some("stated")] {
            (steps(word))
            p #ring-ask.ask role="status" {}
            div.work {
                div.seen {
                    div.stage {
                        canvas #picture aria-hidden="true" {}
                        canvas #photo tabindex="0" role="application" aria-label="Photograph with marks, to be worked by keys" aria-describedby="ring-keys" {}
                        canvas #glass width="180" height="180" aria-hidden="true" hidden {}
                    }
                    (tools())
                    p #ring-keys.quiet.keys {}
                }
                div.side {
                    p #ring-said.said role="status" {}
                    div.questions {
                        (is_it())
                        (lengths())
                        @if word != "scale" && scale == photo { (place(&stated("camera", "distance"), &stated("scale", "offset"))) }
                        (whose(notebook, &role, photo, names))
                        p #panel-said.said role="status" {}
                    }
                    p.ring-diameter { span.quiet { @if word == "scale" { "Scale" } @else { "Diameter of the ring" } } b #diameter { "…" } span #diameter-more.quiet {} }
                    div #ring-words {}
                }
            }
            (strip(photo))
        }
    }
}

fn steps(word: &str) -> Markup {
    let step = |value: &str, name: &str| {
        html! {
            label data-step=(value) data-stands="open" {
                input type="radio" name="tool" value=(value) checked[value == "move"];
                span.dot aria-hidden="true" {}
                span { (name) span.unseen {} }
            }
        }
    };
    html! {
        fieldset.steps {
            legend.unseen { "Steps" }
            @if word != "scale" { (step("beam", "Beam")) }
            (step("scale", "Scale"))
            @if word != "scale" { (step("place", "Where it stands")) }
            (step("move", if word == "scale" { "Look" } else { "Diameter" }))
            label.aside data-step="leave-out" { input type="radio" name="tool" value="leave-out"; span { "Leave something out" span.unseen {} } }
        }
    }
}

fn tools() -> Markup {
    let slider = |id: &str, name: &str, most: &str| {
        html! { label.light for=(id) { (name) " " input type="range" id=(id) min="0.4" max=(most) step="0.1" value="1"; } }
    };
    html! {
        div.tools {
            div.acts role="toolbar" aria-label="Photograph and marks" {
                button type="button" data-zoom="in" { "Nearer" }
                button type="button" data-zoom="out" tabindex="-1" { "Farther" }
                button type="button" data-zoom="all" tabindex="-1" { "Whole" }
                button type="button" data-undo tabindex="-1" { "Undo" }
                button type="button" data-delete tabindex="-1" { "Remove mark" }
                button type="button" data-overlay aria-pressed="true" tabindex="-1" { "Overlay" }
            }
            div.lights {
                (slider("ring-brightness", "Brightness", "8"))
                (slider("ring-contrast", "Contrast", "4"))
            }
        }
    }
}

/// Asked where the line that was found may be something else.
fn is_it() -> Markup {
    html! {
        div #panel-beam.acts hidden {
            button.main type="button" data-yes { "Yes, this is the beam" }
            button type="button" data-mine { "Mark it myself" }
        }
    }
}

/// What the marks on the scale, the bulb or a coil stand for.
fn lengths() -> Markup {
    html! {
        form #panel-scale autocomplete="off" hidden {
            fieldset.known {
                legend.quiet { "Known length" }
                label { input type="radio" name="known" value="scale" checked; " two labels" }
                label { input type="radio" name="known" value="bulb"; " the bulb" }
                label { input type="radio" name="known" value="coil"; " the nearer coil" }
            }
            div #labels.labels {}
            div.row {
                label { span.unseen { "Unit" } select #label-unit { option value="cm" { "cm" } option value="mm" { "mm" } } }
                button #label-save.main type="submit" { "Save" }
            }
        }
    }
}

/// Where the scale stands, asked with a drawing from above.
fn place(distance: &str, offset: &str) -> Markup {
    html! {
        form #panel-place autocomplete="off" hidden {
            @if !offset.is_empty() { p.quiet { "The bench file says " (offset) ", positive towards the camera." } }
            (from_above())
            fieldset.known {
                legend.unseen { "Where the scale stands" }
                label { input type="radio" name="side" value="front"; " in front of the ring" }
                label { input type="radio" name="side" value="behind" checked; " behind it" }
            }
            div.row {
                label { span { "Distance / mm" } input name="mm" size="5" inputmode="decimal" required enterkeyhint="next"; }
                label { span { "u / mm" } input name="u" size="4" inputmode="decimal" value="5" enterkeyhint="done"; }
                @if !distance.is_empty() { button.main type="submit" { "Save" } }
            }
            @if distance.is_empty() {
                div.row {
                    label { span { "Lens to bulb / mm, if measured" } input name="distance" size="6" inputmode="decimal"; }
                    label { span { "u / mm" } input name="distance_u" size="4" inputmode="decimal" value="20"; }
                    button.main type="submit" { "Save" }
                }
            }
        }
    }
}

fn from_above() -> Markup {
    html! {
        svg.from-above viewBox="0 0 260 108" role="img" aria-label="Seen from above: the camera on the left, the ring in the bulb, the scale before or behind it" {
            path.line d="M34 54H250" stroke-dasharray="2 5" {}
            path.line d="M8 44h16v5l8-5v20l-8-5v5H8z" {}
            circle.line cx="170" cy="54" r="36" {}
            path.ring d="M170 32V76" {}
            g #scale-bar { path.scale-bar d="M170 20V88" {} text x="170" y="102" text-anchor="middle" { "scale" } }
            line #scale-gap.gap x1="170" x2="170" y1="54" y2="54" {}
            text x="2" y="80" { "camera" }
            text x="170" y="12" text-anchor="middle" { "ring" }
        }
    }
}

/// To which run the photograph belongs, or where to say so.
fn whose(notebook: &Notebook, role: &Role, photo: &str, names: &[String]) -> Markup {
    let runs: Vec<_> = notebook.readings.iter().flat_map(|readings| &readings.runs).collect();
    let waits = runs.iter().find(|run| run.ring_photo.is_none()).map(|run| run.run.as_str());
    html! {
        @match role {
            Role::Ring(run, Some(scale)) => p #panel-match.quiet {
                "Run " (run) @if scale == photo { ", scale in the same picture." } @else { ", scale on " a href={ "/ring?name=" (encoded(scale)) } { (scale) } "." }
            },
            Role::Ring(run, None) => form #panel-match hidden {
                p.caution { "Run " (run) ", but no scale is named for it: its diameter enters no mass." }
                input type="hidden" name="run" value=(run);
                div.row { (scales(photo, photo, names)) button.main type="submit" { "Match" } }
            },
            Role::Scale => p #panel-match.quiet { "Scale of other photographs." },
            Role::Free(_) if runs.is_empty() => p #panel-match.caution {
                "Belongs to no run: its diameter enters no mass. Type voltage and current at the " a href="/readings" { "Readings" } "."
            },
            Role::Free(assumed) => form #panel-match hidden {
                p.caution { "Belongs to no run yet: its diameter enters no mass." }
                div.row {
                    label { span { "Ring of run" } select name="run" {
                        @for run in &runs { option value=(run.run) selected[Some(run.run.as_str()) == waits] { (run.run) @if run.ring_photo.is_some() { " (has one)" } } }
                    } }
                    (scales(assumed, photo, names))
                    button.main type="submit" { "Match" }
                }
            },
        }
    }
}

/// Which picture holds the scale.
fn scales(assumed: &str, photo: &str, names: &[String]) -> Markup {
    html! {
        label { span { "Scale" } select name="scale" {
            option value=(photo) selected[assumed == photo] { "in this picture" }
            @for name in names.iter().filter(|name| *name != photo) { option value=(name) selected[name == assumed] { (name) } }
        } }
    }
}

fn strip(photo: &str) -> Markup {
    html! {
        figure.strip hidden {
            img #beam alt="The beam unrolled along the circle with its centre line and edges, outside of the ring on top; below, distance of the centre line from the circle";
            figcaption.quiet {
                "The beam unrolled along the fitted circle, outside on top; below, its distance from the circle. "
                a href={ "/ring/beam?kind=svg&name=" (encoded(photo)) } download={ (photo) "-beam.svg" } { "SVG" } ", "
                a href={ "/ring/beam?kind=csv&name=" (encoded(photo)) } download={ (photo) "-beam.csv" } { "every point as CSV" }
            }
        }
    }
}
