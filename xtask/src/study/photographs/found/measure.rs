//! One picture measured unaided, with three clicks on the beam, and with two more on the scale.

use std::path::Path;

use arcmass_draw::FoundCondition;
use arcmass_lab::desk::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::{MarkKind, Notebook};
use arcmass_photo::{Picture, RingHints, find_ring};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::clicks::{self, Marks};
use super::scene::PHOTO;
use super::truth::Truth;

/// A diameter may be off by this much, or by so many standard uncertainties where that is more.
const RIGHT: f64 = 0.01;
const RIGHT_U: f64 = 3.0;
/// With two clicks on the scale.
const RIGHT_BY_CLICKS_MM: f64 = 0.015;
/// A ring's middle may be off by this much of its radius.
const CENTRE: f64 = 0.04;

/// What one way of measuring gave.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Reading {
    /// "measured", "by-hand", "unsure", as the entry says.
    pub(super) status: Option<String>,
    pub(super) centre_px: Option<[f64; 2]>,
    /// Mean of the semi-axes, and its standard uncertainty where one is given.
    pub(super) radius_px: Option<f64>,
    pub(super) u_share: Option<f64>,
    /// Diameter in the scale's plane, and in the muzzle's, with standard uncertainties.
    pub(super) in_scale_plane_mm: Option<[f64; 2]>,
    pub(super) diameter_mm: Option<[f64; 2]>,
    pub(super) caveats: Vec<String>,
    pub(super) failed: Option<String>,
}

/// What became of one picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Row {
    pub(super) condition: String,
    pub(super) seed: u64,
    pub(super) true_centre_px: [f64; 2],
    pub(super) true_radius_px: f64,
    pub(super) true_in_scale_plane_mm: Option<f64>,
    pub(super) true_diameter_mm: f64,
    pub(super) visible_deg: f64,
    pub(super) unaided: Reading,
    /// None where there is nothing to click.
    pub(super) clicked: Option<Reading>,
    pub(super) scaled: Option<Reading>,
}

impl Reading {
    pub(super) fn is_unsure(&self) -> bool {
        self.status.as_deref() == Some("unsure")
    }
}

impl Row {
    /// Measured over true, less one, of the radius in pixels.
    pub(super) fn error_px(&self, reading: &Reading) -> Option<f64> {
        reading.radius_px.map(|radius| radius / self.true_radius_px - 1.0)
    }

    /// The same of the diameter in the scale's plane.
    pub(super) fn error_mm(&self, reading: &Reading) -> Option<f64> {
        let truth = self.true_in_scale_plane_mm?;
        reading.in_scale_plane_mm.map(|[value, _]| value / truth - 1.0)
    }

    pub(super) fn pull_px(&self, reading: &Reading) -> Option<f64> {
        let u = reading.u_share.filter(|u| *u > 0.0)?;
        self.error_px(reading).map(|error| error / u)
    }

    pub(super) fn pull_mm(&self, reading: &Reading) -> Option<f64> {
        let truth = self.true_in_scale_plane_mm?;
        reading.in_scale_plane_mm.map(|[value, u]| (value - truth) / u)
    }

    fn is_centred(&self, reading: &Reading) -> bool {
        let [x, y] = self.true_centre_px;
        reading.centre_px.is_none_or(|c| (c[0] - x).hypot(c[1] - y) < CENTRE * self.true_radius_px)
    }

    /// Whether the ring in pixels is right; none where there is none.
    pub(super) fn is_right_px(&self, reading: &Reading) -> Option<bool> {
        let most = RIGHT.max(RIGHT_U * reading.u_share.unwrap_or(0.0));
        self.error_px(reading).map(|error| error.abs() <= most && self.is_centred(reading))
    }

    /// Whether the diameter in the scale's plane is right.
    pub(super) fn is_right_mm(&self, reading: &Reading) -> Option<bool> {
        let pull = self.pull_mm(reading)?;
        self.error_mm(reading).map(|error| error.abs() <= RIGHT || pull.abs() <= RIGHT_U)
    }

    /// Right within 1 % in pixels with three clicks.
    pub(super) fn is_clicked_right(&self) -> Option<bool> {
        let clicked = self.clicked.as_ref()?;
        Some(self.error_px(clicked).is_some_and(|error| error.abs() <= RIGHT) && self.is_centred(clicked))
    }

    /// Right within 1.5 % in millimetres with two more.
    pub(super) fn is_scaled_right(&self) -> Option<bool> {
        let scaled = self.scaled.as_ref()?;
        Some(self.error_mm(scaled).is_some_and(|error| error.abs() <= RIGHT_BY_CLICKS_MM))
    }

    /// Unaided, wrong in pixels or millimetres, and nothing says so.
    pub(super) fn is_silently_wrong(&self) -> bool {
        let reading = &self.unaided;
        let is_wrong = self.is_right_px(reading) == Some(false) || self.is_right_mm(reading) == Some(false);
        is_wrong && reading.failed.is_none() && !reading.is_unsure() && reading.caveats.is_empty()
    }

    /// Unaided, wrong in the ring's own plane, and taken into a mass without a person's yes.
    pub(super) fn is_wrong_into_a_mass(&self) -> bool {
        let reading = &self.unaided;
        let truth = self.true_diameter_mm;
        let is_wrong = |[value, u]: [f64; 2]| {
            let off = (value / truth - 1.0).abs();
            off.is_nan() || (off > RIGHT && (value - truth).abs() > RIGHT_U * u)
        };
        !reading.is_unsure() && reading.diameter_mm.is_some_and(is_wrong)
    }
}

/// Measures a picture in the three ways.
pub(super) fn row(
    folder: &Path,
    truth: &Truth,
    condition: &FoundCondition,
    seed: u64,
) -> Result<Row, String> {
    let by = |marks: Marks| -> Result<Option<Reading>, String> {
        let can = clicks::write(folder, truth, marks, seed)?;
        if can { reading(folder).map(Some) } else { Ok(None) }
    };
    let unaided = by(Marks::None)?.unwrap_or_default();
    let (clicked, scaled) = (by(Marks::Beam)?, by(Marks::BeamAndScale)?);
    clicks::write(folder, truth, Marks::None, seed)?;
    Ok(Row {
        condition: condition.name.to_owned(),
        seed,
        true_centre_px: truth.centre_px,
        true_radius_px: truth.radius_px(),
        true_in_scale_plane_mm: truth.diameter_in_scale_plane_mm,
        true_diameter_mm: truth.diameter_mm,
        visible_deg: truth.visible_deg,
        unaided,
        clicked,
        scaled,
    })
}

/// What `rings` gives of the one photograph; where it gives no ring, what the ring alone comes to.
fn reading(folder: &Path) -> Result<Reading, String> {
    let notebook = Notebook::open(folder).map_err(|fault| fault.to_string())?;
    let desk = Desk { seed: 1, workers: 1 };
    let mut reading = Reading::default();
    match rings(&notebook, &RingsQuestion::default(), &desk, &Silent) {
        Ok(rings) => {
            let document = serde_json::to_value(&rings.document).map_err(|fault| fault.to_string())?;
            let of = |list: &str| {
                let entries = document.get(list).and_then(Value::as_array);
                let mut entries = entries.into_iter().flatten();
                entries.find(|entry| entry.get("photo").and_then(Value::as_str) == Some(PHOTO)).cloned()
            };
            if let Some(entry) = of("photos") {
                reading.take(&entry);
            }
            if let Some(entry) = of("failed") {
                reading.take(&entry);
                reading.failed = text(&entry, "sentence").or(reading.failed);
            }
        }
        Err(fault) => reading.failed = Some(fault.to_string()),
    }
    if reading.radius_px.is_none() {
        reading.take_ring_alone(&notebook);
    }
    Ok(reading)
}

impl Reading {
    /// Takes what an entry holds; a key that is missing stays unknown.
    fn take(&mut self, entry: &Value) {
        self.status = text(entry, "status").or(self.status.take());
        self.centre_px = pair(entry.get("centre_px"));
        self.radius_px = pair(entry.get("semi_axes_px")).map(|[a, b]| 0.5 * (a + b));
        let q = |key: &str| {
            let number = |of: &str| entry.get(key)?.get(of)?.as_f64();
            Some([number("value")?, number("standard_uncertainty")?])
        };
        self.in_scale_plane_mm = q("ring_diameter_in_scale_plane_mm");
        self.diameter_mm = q("ring_diameter_mm");
        let own = entry.get("u_trace_mm").and_then(Value::as_f64);
        self.u_share = own.zip(self.in_scale_plane_mm).map(|(u, [value, _])| u / value);
        let caveats = entry.get("caveats").and_then(Value::as_array);
        self.caveats.extend(caveats.into_iter().flatten().filter_map(|caveat| text(caveat, "code")));
    }

    /// The ring in pixels without any scale, the marked points given along.
    fn take_ring_alone(&mut self, notebook: &Notebook) {
        let Ok(bytes) = notebook.photo_bytes(PHOTO) else { return };
        let Ok(picture) = Picture::from_bytes(&bytes.bytes) else { return };
        let marks = notebook.marks_of(PHOTO).map(|marks| marks.marks.clone()).unwrap_or_default();
        let beam_points_px: Vec<[f64; 2]> = marks
            .iter()
            .filter(|mark| mark.what == MarkKind::Beam)
            .map(|mark| [mark.x_px, mark.y_px])
            .collect();
        let hints = RingHints { beam_points_px, ..RingHints::default() };
        match find_ring(&picture, &hints) {
            Ok(trace) => {
                self.centre_px = Some(trace.centre_px);
                self.radius_px = Some(0.5 * (trace.semi_axes_px[0] + trace.semi_axes_px[1]));
                self.caveats.extend(trace.caveats.iter().map(|caveat| caveat.code.to_owned()));
            }
            Err(fault) => {
                let before = self.failed.take().map(|why| why + "; ").unwrap_or_default();
                self.failed = Some(format!("{before}{fault}"));
            }
        }
    }
}

fn text(of: &Value, key: &str) -> Option<String> {
    of.get(key).and_then(Value::as_str).map(str::to_owned)
}

fn pair(of: Option<&Value>) -> Option<[f64; 2]> {
    let list = of?.as_array()?;
    Some([list.first()?.as_f64()?, list.get(1)?.as_f64()?])
}
