//! The apparatus as the model needs it: every number with its spread, and what had to be assumed because the bench file
//! is silent.

use arcmass_notebook::{Bench, CoilShape, Meter, Particle, Scale, ScaleKind, Surroundings};
use arcmass_photo::glass::Shell;
use arcmass_quantity::{Stated, Uncertainty, constants};

use crate::desk::LabError;
use crate::gas::GasKnown;
use crate::spread::Spread;

/// A number and how well it is known, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Best estimate before any reading.
    pub value: f64,
    /// Its distribution.
    pub spread: Spread,
}

impl Known {
    fn stated(stated: &Stated, silent: Spread) -> Self {
        Self { value: stated.value, spread: Spread::stated(stated.uncertainty, silent) }
    }
}

/// One meter: gain and zero shared by all its readings, noise of each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterKnown {
    /// Relative, about 0.
    pub gain: Spread,
    /// In the meter's unit, SI.
    pub zero: Known,
    /// Standard uncertainty of one reading: resolution/√12 and noise; 0 where neither is stated.
    pub per_reading_u: f64,
    /// Whether the bench file describes the meter at all.
    pub is_stated: bool,
}

/// The coils' sizes.
#[derive(Debug, Clone, PartialEq)]
pub enum CoilsKnown {
    /// A coaxial pair.
    Pair {
        /// Circle or square.
        shape: CoilShape,
        /// m.
        mean_radius: Known,
        /// m.
        separation: Known,
        /// On each coil; none where the absolute field must come from elsewhere.
        turns: Option<f64>,
        /// m.
        winding_radial_m: f64,
        /// m.
        winding_axial_m: f64,
    },
    /// Coils anywhere; one relative size for all of them is uncertain.
    List {
        /// As stated.
        coils: Vec<arcmass_notebook::Coil>,
        /// Of the relative size, about 1.
        size: Spread,
    },
}

/// The gun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GunKnown {
    /// m; none where the file is silent, and the ring is then taken as centred on the axis.
    pub muzzle_m: Option<[f64; 3]>,
    /// Of each component, m.
    pub muzzle_spread: Spread,
    /// Unit vector.
    pub direction: [f64; 3],
    /// rad, in each of the two directions across the beam.
    pub direction_spread: Spread,
}

/// What a silent file made us assume, and which unknown of the model it belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Silent {
    /// Fixed name of the caveat.
    pub code: &'static str,
    /// What is not stated and what was taken.
    pub sentence: String,
    /// What to write, and where.
    pub remedy: &'static str,
    /// Names of the model's effects it stands in for, to look up their part in the mass; empty where the model holds none.
    pub effects: &'static [&'static str],
}

/// Largest readings that coils and tube may bear, where they are stated.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ratings {
    /// V.
    pub voltage_v: Option<f64>,
    /// A.
    pub current_a: Option<f64>,
}

/// Everything about the bench that a job needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Apparatus {
    /// For reports.
    pub name: String,
    /// None where neither `[coils]` sizes nor `[[coil]]` are stated.
    pub coils: Option<CoilsKnown>,
    /// +1 or −1: sign of Bz for a positive ammeter reading with field sense `+`.
    pub field_direction: f64,
    /// Stated coil constant, T/A.
    pub field_per_ampere: Option<Known>,
    /// Of the coils' axis, rad, about x and about y.
    pub coil_tilt: Spread,
    /// The gun.
    pub gun: GunKnown,
    /// V: effective voltage minus true voltage.
    pub voltage_offset: Known,
    /// m.
    pub beam_width: Option<Known>,
    /// The voltmeter.
    pub voltmeter: MeterKnown,
    /// The ammeter, shared by runs and field tables.
    pub ammeter: MeterKnown,
    /// The probe.
    pub probe: MeterKnown,
    /// T along +x, +y, +z, bench not turned.
    pub background: [Known; 3],
    /// m, lens to the bulb's centre.
    pub camera_distance: Option<Known>,
    /// Whether the bench file says that nobody touched the camera between ring and scale.
    pub is_camera_fixed: bool,
    /// m, of the scale from the muzzle's plane.
    pub scale_offset: Known,
    /// Whether the bench file states it.
    pub is_scale_offset_stated: bool,
    /// Whether a diameter that a person read has a parallax that is known: off a scale that stands out of the ring's plane and is no
    /// mirror, from the camera's distance.
    pub reads_with_parallax: bool,
    /// Of the scale's own length, relative standard uncertainty.
    pub scale_relative_u: f64,
    /// m between marks.
    pub scale_spacing_m: Option<f64>,
    /// Outer radius of the glass, m.
    pub bulb_radius_m: Option<f64>,
    /// Its relative standard uncertainty, where stated.
    pub bulb_relative_u: Option<f64>,
    /// The bulb's wall as light meets it; none where radius or thickness is not stated.
    pub glass: Option<Shell>,
    /// Gas at a stated pressure.
    pub gas: Option<GasKnown>,
    /// What coils and tube may bear.
    pub ratings: Ratings,
    /// Sign of the particle's charge and its number of elementary charges.
    pub charge_number: i32,
    /// kg; for predictions only.
    pub assumed_mass_kg: f64,
    /// What had to be assumed.
    pub silent: Vec<Silent>,
}

// What stands in for a silent bench file, and why so wide: docs/decisions/0006-unstated-is-not-exact.md
const DEFAULT_BACKGROUND: Spread = Spread::Normal(30e-6);
const DEFAULT_VOLTAGE_OFFSET: Known = Known { value: -2.0, spread: Spread::Normal(5.0) };
const DEFAULT_MUZZLE: Spread = Spread::Normal(3e-3);
const DEFAULT_DIRECTION: Spread = Spread::Normal(std::f64::consts::PI / 180.0);
const DEFAULT_COIL_TILT: Spread = Spread::Normal(0.3 * std::f64::consts::PI / 180.0);
/// Relative, of a coil's radius or separation.
const DEFAULT_COIL_SIZE: f64 = 0.015;
/// Relative, of a stated coil constant.
const DEFAULT_COIL_CONSTANT: f64 = 0.01;
const DEFAULT_SCALE_OFFSET: Spread = Spread::Normal(5e-3);
/// Relative, of the length of a ruler, and of any other scale.
const DEFAULT_RULER: f64 = 0.002;
const DEFAULT_SCALE: f64 = 0.005;
/// Of the beam, where an edge was read.
pub(crate) const DEFAULT_BEAM_WIDTH: Known = Known { value: 1.5e-3, spread: Spread::Normal(1e-3) };
/// Relative, of a stated width of the beam.
const DEFAULT_BEAM_WIDTH_U: f64 = 0.3;
/// Limits of a meter without a data sheet, as a part of its full scale or of the reading: class 2.5 of IEC 60051-1.
pub(crate) const DEFAULT_METER_CLASS: f64 = 0.025;

impl Apparatus {
    /// Reads the bench file's numbers into the model's, filling in the defaults where it is silent.
    ///
    /// - **Fails** where a place and date lie outside the model of the Earth's field.
    pub fn of(bench: &Bench) -> Result<Self, LabError> {
        let mut silent = Vec::new();
        let coils = coils(bench, &mut silent);
        let pair = bench.pair.as_ref();
        let gun = gun(bench, &mut silent);
        let background = background(bench, &mut silent)?;
        let voltage_offset = voltage_offset(bench, &mut silent);
        let (charge_number, assumed_mass_kg) = particle(bench);
        let scale = bench.scale.as_ref();
        let scale_offset = scale_offset(scale, &mut silent);
        let scale_relative_u = scale_relative_u(scale, &mut silent);
        let meters = &bench.meters;
        let [voltmeter, ammeter, probe] = [
            (meters.voltage.as_ref(), &VOLTMETER),
            (meters.current.as_ref(), &AMMETER),
            (meters.probe.as_ref(), &PROBE),
        ]
        .map(|(stated, role)| meter(stated, role, &mut silent));
        Ok(Self {
            name: bench.name.clone(),
            coils,
            field_direction: pair.and_then(|pair| pair.field_direction).map_or(1.0, |sense| sense.sign()),
            field_per_ampere: coil_constant(bench, &mut silent),
            coil_tilt: DEFAULT_COIL_TILT,
            gun,
            voltage_offset,
            beam_width: beam_width(bench, &mut silent),
            voltmeter,
            ammeter,
            probe,
            background,
            camera_distance: bench
                .camera
                .as_ref()
                .and_then(|camera| camera.distance.as_ref())
                .map(|stated| Known::stated(stated, Spread::Normal(0.01 * stated.value))),
            is_camera_fixed: bench.camera.as_ref().is_some_and(|camera| camera.is_fixed),
            scale_offset,
            is_scale_offset_stated: scale.is_some_and(|scale| scale.offset.is_some()),
            scale_relative_u,
            reads_with_parallax: scale_offset.value != 0.0
                && bench.camera.as_ref().is_some_and(|camera| camera.distance.is_some())
                && scale.is_some_and(|scale| scale.kind != Some(ScaleKind::Mirror)),
            scale_spacing_m: scale.and_then(|scale| scale.spacing.as_ref()).map(|stated| stated.value),
            bulb_radius_m: bench.bulb.as_ref().and_then(|bulb| bulb.outer_radius.as_ref()).map(|r| r.value),
            bulb_relative_u: bench
                .bulb
                .as_ref()
                .and_then(|bulb| bulb.outer_radius.as_ref())
                .map(|radius| Spread::stated(radius.uncertainty, Spread::Exact).u() / radius.value)
                .filter(|u| *u > 0.0),
            glass: bench.bulb.as_ref().and_then(glass),
            gas: GasKnown::of(bench),
            ratings: Ratings {
                voltage_v: bench.gun.as_ref().and_then(|gun| gun.voltage_limit_v),
                current_a: pair.and_then(|pair| pair.current_limit_a),
            },
            charge_number,
            assumed_mass_kg,
            silent,
        })
    }
}

fn particle(bench: &Bench) -> (i32, f64) {
    match bench.gun.as_ref().map(|gun| &gun.particle) {
        Some(Particle::Other { charge_number, mass }) => (*charge_number, mass.value),
        _ => (-1, constants::ELECTRON_MASS.value),
    }
}

fn voltage_offset(bench: &Bench, silent: &mut Vec<Silent>) -> Known {
    let stated = bench.gun.as_ref().and_then(|gun| gun.voltage_offset.as_ref());
    let known =
        stated.map_or(DEFAULT_VOLTAGE_OFFSET, |stated| Known::stated(stated, DEFAULT_VOLTAGE_OFFSET.spread));
    let sentence = match stated {
        None => {
            "the voltage offset of the gun (contact potential, voltage drop along the filament) is not stated; taken as −2 V with u = 5 V"
        }
        Some(stated) if stated.standard_uncertainty().is_none() => {
            "the uncertainty of the voltage offset is not stated; taken as u = 5 V"
        }
        Some(_) => return known,
    };
    silent.push(Silent {
        code: "voltage-offset-not-stated",
        sentence: sentence.into(),
        remedy: "state voltage_offset under [gun], or take runs at well separated voltages",
        effects: &["voltage-offset"],
    });
    known
}

fn scale_offset(scale: Option<&Scale>, silent: &mut Vec<Silent>) -> Known {
    let stated = scale.and_then(|scale| scale.offset.as_ref());
    let known = stated.map_or(Known { value: 0.0, spread: DEFAULT_SCALE_OFFSET }, |stated| {
        Known::stated(stated, DEFAULT_SCALE_OFFSET)
    });
    if scale.is_some() && stated.is_none_or(|stated| stated.standard_uncertainty().is_none()) {
        let what = if stated.is_some() {
            "uncertainty of the scale offset is"
        } else {
            "scale offset (from the plane of the ring) is"
        };
        let value = if stated.is_some() { "" } else { "0 with " };
        silent.push(Silent {
            code: "scale-offset-not-stated",
            sentence: format!("the {what} not stated; taken as {value}u = 5 mm"),
            remedy: "state offset under [scale], measured with the tube out and the supplies off",
            effects: &["scale-plane"],
        });
    }
    known
}

fn scale_relative_u(scale: Option<&Scale>, silent: &mut Vec<Silent>) -> f64 {
    if let Some(stated) = scale.and_then(|scale| scale.relative_uncertainty) {
        return stated;
    }
    let (what, relative) = match scale.and_then(|scale| scale.kind) {
        Some(ScaleKind::Ruler | ScaleKind::Mirror) => ("the ruler", DEFAULT_RULER),
        Some(ScaleKind::Grid) => ("the grid", DEFAULT_SCALE),
        Some(ScaleKind::Board) => ("the board", DEFAULT_SCALE),
        None => ("the scale, whose kind is not stated either,", DEFAULT_SCALE),
    };
    silent.push(Silent {
        code: "scale-length-not-stated",
        sentence: format!("the accuracy of the length of {what} is not stated; taken as u = {} %", 100.0 * relative),
        remedy: "state kind and relative_uncertainty under [scale], from its marking or a comparison with a steel rule",
        effects: &["length-scale"],
    });
    relative
}

fn coil_constant(bench: &Bench, silent: &mut Vec<Silent>) -> Option<Known> {
    let stated = bench.pair.as_ref()?.field_per_ampere.as_ref()?;
    if stated.standard_uncertainty().is_none() {
        silent.push(Silent {
            code: "coil-constant-uncertainty-not-stated",
            sentence: "the uncertainty of the coil constant is not stated; taken as 1 %".into(),
            remedy: "state field_per_ampere with its uncertainty, as in `0.743(4) mT/A`, or read the field with a probe",
            effects: &["field-scale"],
        });
    }
    Some(Known::stated(stated, Spread::Normal(DEFAULT_COIL_CONSTANT * stated.value.abs())))
}

fn beam_width(bench: &Bench, silent: &mut Vec<Silent>) -> Option<Known> {
    let stated = bench.gun.as_ref().and_then(|gun| gun.beam_width.as_ref());
    let is_known = stated.is_some_and(|stated| stated.standard_uncertainty().is_some());
    if !is_known {
        let sentence = match stated {
            None => {
                "an edge of the beam was read, and the beam width is not stated; taken as 1.5 mm with u = 1 mm"
            }
            Some(_) => "the uncertainty of the beam width is not stated; taken as 30 %",
        };
        silent.push(Silent {
            code: "beam-width-not-stated",
            sentence: sentence.into(),
            remedy: "state beam_width under [gun], or read the middle of the beam",
            effects: &["edge-offset"],
        });
    }
    stated.map(|stated| Known::stated(stated, Spread::Normal(DEFAULT_BEAM_WIDTH_U * stated.value)))
}

/// What a meter is called and which effects of the model are its own.
struct Role {
    name: &'static str,
    remedy: &'static str,
    effects: &'static [&'static str],
    unit: &'static str,
    factor: f64,
}

const VOLTMETER: Role = Role {
    name: "voltmeter",
    remedy: "state [meters.voltage] from the data sheet of the meter",
    effects: &["voltmeter-gain", "voltmeter-zero"],
    unit: "V",
    factor: 1.0,
};
const AMMETER: Role = Role {
    name: "ammeter",
    remedy: "state [meters.current] from the data sheet of the meter",
    effects: &["ammeter-gain", "ammeter-zero"],
    unit: "A",
    factor: 1.0,
};
const PROBE: Role = Role {
    name: "probe",
    remedy: "state [meters.probe] from the data sheet of the probe",
    effects: &["probe-gain"],
    unit: "mT",
    factor: 1e3,
};

fn meter(stated: Option<&Meter>, role: &Role, silent: &mut Vec<Silent>) -> MeterKnown {
    let unknown = Meter::default();
    let meter = stated.unwrap_or(&unknown);
    let resolution = meter.resolution.unwrap_or(0.0);
    let limit = |half_width: f64| if half_width > 0.0 { Spread::Limits(half_width) } else { Spread::Exact };
    let mut zero = match &meter.zero {
        Some(stated) => Known::stated(stated, Spread::Exact),
        None => Known { value: 0.0, spread: limit(meter.digits.unwrap_or(0.0) * resolution) },
    };
    let mut gain = limit(meter.of_reading.unwrap_or(0.0));
    if !meter.has_accuracy() {
        let percent = 100.0 * DEFAULT_METER_CLASS;
        let taken = match meter.full_scale {
            Some(full) => {
                zero.spread = Spread::Limits(DEFAULT_METER_CLASS * full);
                let full = arcmass_quantity::print::significant(role.factor * full, 3);
                format!("{percent} % of its full scale of {full} {}", role.unit)
            }
            None => {
                gain = Spread::Limits(DEFAULT_METER_CLASS);
                format!("{percent} % of the reading")
            }
        };
        silent.push(Silent {
            code: "meter-not-stated",
            sentence: format!(
                "the accuracy of the {} is not stated; taken as limits of {taken}, class 2.5",
                role.name
            ),
            remedy: role.remedy,
            effects: role.effects,
        });
    }
    MeterKnown {
        gain,
        zero,
        per_reading_u: (resolution / 12.0_f64.sqrt()).hypot(meter.noise.unwrap_or(0.0)),
        is_stated: meter.has_accuracy(),
    }
}

fn size(stated: &Stated, size: (&str, &'static [&'static str]), silent: &mut Vec<Silent>) -> Known {
    let (what, effects) = size;
    let known = Known::stated(stated, Spread::Normal(DEFAULT_COIL_SIZE * stated.value));
    if stated.standard_uncertainty().is_none() {
        silent.push(Silent {
            code: "coil-size-uncertainty-not-stated",
            sentence: format!("the uncertainty of the {what} of the coils is not stated; taken as 1.5 %"),
            remedy: "measure it at several places and state it under [coils], as in `150.0(5) mm`",
            effects,
        });
    }
    known
}

/// Of common glass for tubes (common practice, no source).
pub(crate) const GLASS_INDEX: f64 = 1.5;

fn glass(bulb: &arcmass_notebook::Bulb) -> Option<Shell> {
    let (outer, thickness) = (bulb.outer_radius.as_ref()?.value, bulb.glass_thickness.as_ref()?.value);
    let index = bulb.glass_index.as_ref().map_or(GLASS_INDEX, |index| index.value);
    (thickness > 0.0 && thickness < outer && index >= 1.0).then_some(Shell {
        outer_mm: 1e3 * outer,
        inner_mm: 1e3 * (outer - thickness),
        index,
    })
}

fn coils(bench: &Bench, silent: &mut Vec<Silent>) -> Option<CoilsKnown> {
    if !bench.coil_list.is_empty() {
        let relative = |coil: &arcmass_notebook::Coil| {
            coil.mean_radius.standard_uncertainty().map_or(DEFAULT_COIL_SIZE, |u| u / coil.mean_radius.value)
        };
        let widest = bench.coil_list.iter().map(relative).fold(0.0, f64::max);
        if bench.coil_list.iter().any(|coil| coil.mean_radius.standard_uncertainty().is_none()) {
            silent.push(Silent {
                code: "coil-size-uncertainty-not-stated",
                sentence: "the uncertainty of the size of the coils is not stated; taken as 1.5 %".into(),
                remedy: "measure it at several places and state it under [[coil]], as in `150.0(5) mm`",
                effects: &["coil-size"],
            });
        }
        let size = if widest > 0.0 { Spread::Normal(widest) } else { Spread::Exact };
        return Some(CoilsKnown::List { coils: bench.coil_list.clone(), size });
    }
    let geometry = bench.pair.as_ref()?.geometry.as_ref()?;
    Some(CoilsKnown::Pair {
        shape: geometry.shape,
        mean_radius: size(&geometry.mean_radius, ("mean radius", &["coil-radius"]), silent),
        separation: size(&geometry.separation, ("separation", &["coil-separation"]), silent),
        turns: geometry.turns.map(f64::from),
        winding_radial_m: geometry.winding_radial.as_ref().map_or(0.0, |stated| stated.value),
        winding_axial_m: geometry.winding_axial.as_ref().map_or(0.0, |stated| stated.value),
    })
}

fn gun(bench: &Bench, silent: &mut Vec<Silent>) -> GunKnown {
    let gun = bench.gun.as_ref();
    let muzzle = gun.and_then(|gun| gun.muzzle.as_ref());
    if muzzle.is_none() {
        silent.push(Silent {
            code: "muzzle-not-stated",
            sentence: "the position of the anode aperture is not stated; the ring is taken as centred on the axis of the coils".into(),
            remedy: "state muzzle and direction under [gun]",
            effects: &[],
        });
    } else if gun.is_some_and(|gun| gun.muzzle_uncertainty.unwrap_or_default() == Uncertainty::Unstated) {
        silent.push(Silent {
            code: "muzzle-uncertainty-not-stated",
            sentence: "the uncertainty of the position of the anode aperture is not stated; taken as 3 mm in each coordinate".into(),
            remedy: "state muzzle_uncertainty under [gun]",
            effects: &["muzzle-x", "muzzle-y", "muzzle-z"],
        });
    }
    GunKnown {
        muzzle_m: muzzle.map(|stated| [stated[0].value, stated[1].value, stated[2].value]),
        muzzle_spread: Spread::stated(
            gun.and_then(|gun| gun.muzzle_uncertainty).unwrap_or_default(),
            DEFAULT_MUZZLE,
        ),
        direction: gun.and_then(|gun| gun.direction).unwrap_or([1.0, 0.0, 0.0]),
        direction_spread: Spread::stated(
            gun.and_then(|gun| gun.direction_uncertainty).unwrap_or_default(),
            DEFAULT_DIRECTION,
        ),
    }
}

fn background(bench: &Bench, silent: &mut Vec<Silent>) -> Result<[Known; 3], LabError> {
    match &bench.surroundings {
        Some(Surroundings::Background(stated)) => {
            Ok([0, 1, 2].map(|axis| Known::stated(&stated[axis], DEFAULT_BACKGROUND)))
        }
        Some(Surroundings::Place(place)) => crate::earth::background(place),
        None => {
            silent.push(Silent {
                code: "background-not-stated",
                sentence: "the background field is not stated; taken as 0 with u = 30 µT along each axis"
                    .into(),
                remedy: "read the probe with the coils off along x, y and z, or state [surroundings]",
                effects: &["stray-field-axial", "stray-field-transverse"],
            });
            Ok([Known { value: 0.0, spread: DEFAULT_BACKGROUND }; 3])
        }
    }
}
