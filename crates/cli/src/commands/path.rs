//! `arcmass path`: the ring or helix of a setting.

use arcmass_lab::document::{PathDocument, PathEnd};
use arcmass_lab::path::{Setting, path};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use arcmass_report::path_figures;

use crate::arguments::{Arguments, PathArguments};
use crate::columns;
use crate::ending::Ending;
use crate::figure_files;
use crate::show::{self, Sheet};

/// A pitch smaller than this share of the diameter is called a ring's.
const RING: f64 = 0.1;

pub(crate) fn run(asked: &PathArguments, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let setting = Setting {
        voltage_v: asked.voltage,
        current_a: asked.current,
        gun_tilt_deg: asked.gun_tilt,
        field_sense: if asked.field_sense == "-" { -1.0 } else { 1.0 },
        bench_turned_deg: asked.bench_turned,
    };
    let document = path(&notebook, &setting, &arguments.desk())?;
    let written = match &asked.figures {
        Some(folder) => {
            figure_files::write(folder, &path_figures::all(&notebook.bench, &document), asked.dark)?
        }
        None => Vec::new(),
    };
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!(
        "{} at {} V and {} A (gun tilt {}°, field sense {}, bench rotated {}°)",
        kind(&document),
        asked.voltage,
        asked.current,
        asked.gun_tilt,
        asked.field_sense,
        asked.bench_turned
    ));
    shape(&mut sheet, &document);
    beam(&mut sheet, &document);
    sheet.notes(&[], &document.caveats);
    show::written(&mut sheet, &written);
    sheet.out()
}

fn kind(document: &PathDocument) -> &'static str {
    match (document.fitted_diameter_mm, document.pitch_mm) {
        (Some(diameter), Some(pitch)) if pitch.abs() < RING * diameter => "Ring",
        (Some(_), _) => "Helix",
        _ => "No whole turn",
    }
}

fn at(place: [f64; 3]) -> String {
    let [x, y, z] = place.map(|x| print::fixed(x, -1));
    format!("({x}, {y}, {z}) mm")
}

fn shape(sheet: &mut Sheet, document: &PathDocument) {
    let mut rows = Vec::new();
    let mut add =
        |name: &str, value: String, after: &str| rows.push((name.to_owned(), value, after.to_owned()));
    if let Some(diameter) = document.fitted_diameter_mm {
        let u = document.fitted_diameter_standard_uncertainty_mm.unwrap_or(0.0);
        add("fitted diameter", print::short(diameter, u), "mm");
    }
    if let Some(chord) = document.chord_diameter_mm {
        add("across the gun", print::fixed(chord, -2), "mm");
    }
    if let Some(pitch) = document.pitch_mm {
        add("pitch", print::fixed(pitch, -2), "mm along z in one turn");
    }
    if let Some(deviation) = &document.deviation {
        add("out of round", print::fixed(deviation.from_fitted_circle_mm, -2), "mm at most, seen along z");
        add(
            "off the ideal",
            print::fixed(deviation.from_uniform_field_mm, -2),
            "mm at most from the path in a uniform field",
        );
    }
    add("speed", print::significant(1e-6 * document.speed_m_per_s, 4), "× 10⁶ m/s");
    add("beam to field", print::fixed(document.pitch_angle_deg, -1), "degrees at the anode aperture");
    for line in columns::lines(&rows) {
        sheet.line(line);
    }
    sheet.paragraph(
        "  ",
        &format!(
            "Computed for {} V (as read, with the stated voltage offset and zero offset) and {} A (as read, with the calibration of the \
             ammeter from the field tables).",
            print::significant(document.accelerating_voltage_v, 4),
            print::significant(document.current_a, 4)
        ),
    );
    let [x, y, z] = document.flux_density_at_muzzle_mt.map(|b| print::fixed(b, -4));
    sheet.line(format!("  Field at the anode aperture ({x}, {y}, {z}) mT."));
    let glass = match (document.turns_to_glass, document.glass_point_mm) {
        (Some(turns), Some(place)) => {
            format!("The beam strikes the glass after {} turns at {}", print::fixed(turns, -2), at(place))
        }
        _ => "The beam does not strike the glass".to_owned(),
    };
    let gun = match (document.meets_gun, document.end) {
        (true, _) => "; the beam comes round to the gun's back",
        (false, PathEnd::Gun) => "; the beam ends at the gun in a later turn",
        _ => "",
    };
    sheet.paragraph("  ", &format!("{glass}{gun}."));
}

fn beam(sheet: &mut Sheet, document: &PathDocument) {
    if let Some(beam) = &document.beam {
        let width = |w: &arcmass_lab::document::Width| {
            let [across, along] = [w.in_plane_mm, w.along_z_mm].map(|mm| print::significant(mm, 2));
            format!("{across} mm wide seen along z and {along} mm seen across it")
        };
        sheet.gap();
        let end = if document.fitted_diameter_mm.is_some() { "After one turn" } else { "At the glass" };
        let own = if beam.own_width_assumed { "assumed" } else { "stated" };
        sheet.paragraph(
            "",
            &format!(
                "{end} the beam is {} (assumed at the gun: half-widths {}° and {} eV; {own} beam width there: {} mm).",
                width(&beam.at_end),
                print::significant(beam.divergence_deg, 2),
                print::significant(beam.energy_spread_ev, 2),
                print::significant(beam.own_width_mm, 2),
            ),
        );
        if let Some(focus) = &beam.focus {
            sheet.paragraph(
                "",
                &format!(
                    "On its far side it is narrowest after {}° at {}: {}.",
                    print::fixed(focus.turned_deg, 0),
                    at(focus.place_mm),
                    width(&focus.width)
                ),
            );
        }
    }
    if let Some(gas) = &document.gas {
        sheet.paragraph(
            "",
            &format!(
                "In {} at {} Pa (room temperature assumed) the beam loses {} eV in the mean over {} mm, and {} % of the electrons \
                 have ionised a molecule, both known to about a third.",
                gas.gas,
                print::significant(gas.pressure_pa, 2),
                print::significant(gas.mean_energy_loss_ev, 2),
                print::fixed(gas.path_length_mm, 0),
                print::significant(100.0 * gas.collided_share, 2)
            ),
        );
    }
}
