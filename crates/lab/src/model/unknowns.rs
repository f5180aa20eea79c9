//! What the model of a bench does not know: each unknown, what is known of it beforehand, and its name for people.

use arcmass_fit::joint::Prior;

use crate::assume::{Apparatus, CoilsKnown, DEFAULT_BEAM_WIDTH, Known};
use crate::spread::Spread;

/// One unknown of the model. SI units; gains and scales are relative, about 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unknown {
    /// ln(m / 10⁻³⁰ kg).
    LogMass,
    /// True voltage = reading · (1 + gain) + zero.
    VoltmeterGain,
    /// V.
    VoltmeterZero,
    /// True current = reading · (1 + gain) + zero.
    AmmeterGain,
    /// A.
    AmmeterZero,
    /// True flux density = reading · (1 + gain) + zero.
    ProbeGain,
    /// T.
    ProbeZero,
    /// Accelerating voltage minus true voltage, V.
    VoltageOffset,
    /// Field of the coils per ampere at the centre, T/A; where the coils' absolute size does not give it.
    FieldPerAmpere,
    /// m, difference from the stated.
    CoilRadius,
    /// m, difference from the stated.
    CoilSeparation,
    /// Relative size of a list of coils.
    CoilSize,
    /// rad, of one coil about x; of all coils together where they are a list.
    CoilTiltX(usize),
    /// rad, of one coil about y; of all coils together where they are a list.
    CoilTiltY(usize),
    /// T along +x.
    BackgroundX,
    /// T along +y.
    BackgroundY,
    /// T along +z.
    BackgroundZ,
    /// m, difference from the stated.
    MuzzleX,
    /// m, difference from the stated.
    MuzzleY,
    /// m, difference from the stated.
    MuzzleZ,
    /// rad, in the plane of the ring.
    DirectionInPlane,
    /// rad, towards +z.
    DirectionAcross,
    /// m, of the beam; where an edge was read.
    BeamWidth,
    /// Relative: measured length = true length · (1 + scale).
    LengthScale,
    /// m, of the scale's plane from the muzzle's.
    ScaleOffset,
    /// m, of the lens from the bulb's centre, difference from the stated.
    CameraDistance,
    /// Relative, of the scale's plane as found on one photograph of it.
    Plane(usize),
    /// Relative: the coils' field is this much larger than stated, for runs and probe alike. Only in an alternative.
    CoilFactor,
    /// m, read too much in every diameter. Only in an alternative.
    DiameterOffset,
    /// V, lost on the way round by the beam of a typical run. Only in an alternative, or where a pressure is stated.
    BeamLoss,
    /// Relative, of one run's diameter. Only in an alternative.
    Run(usize),
}

/// Code, unit, factor from SI to that unit, and words for the budget.
pub struct Naming {
    /// Fixed name of the effect; None where it is no effect of its own.
    pub code: &'static str,
    /// Unit shown.
    pub unit: &'static str,
    /// Number shown = SI number × factor.
    pub factor: f64,
    /// Line of the budget.
    pub words: &'static str,
}

impl Unknown {
    /// Whether it changes the coils' field in space.
    pub fn is_size(self) -> bool {
        matches!(
            self,
            Self::CoilRadius
                | Self::CoilSeparation
                | Self::CoilSize
                | Self::CoilTiltX(_)
                | Self::CoilTiltY(_)
        )
    }

    /// How people call it.
    pub fn naming(self) -> Naming {
        let name = |code, unit, factor, words| Naming { code, unit, factor, words };
        let degrees = 180.0 / std::f64::consts::PI;
        match self {
            Self::LogMass => name("mass", "1", 1.0, "mass"),
            Self::VoltmeterGain => name("voltmeter-gain", "%", 100.0, "calibration (gain) of the voltmeter"),
            Self::VoltmeterZero => name("voltmeter-zero", "V", 1.0, "zero offset of the voltmeter"),
            Self::AmmeterGain => name("ammeter-gain", "%", 100.0, "calibration (gain) of the ammeter"),
            Self::AmmeterZero => name("ammeter-zero", "A", 1.0, "zero offset of the ammeter"),
            Self::ProbeGain => name("probe-gain", "%", 100.0, "calibration (gain) of the probe"),
            Self::ProbeZero => name("probe-zero", "uT", 1e6, "zero offset of the probe"),
            Self::VoltageOffset => name("voltage-offset", "V", 1.0, "voltage offset of the gun"),
            Self::FieldPerAmpere => name("field-scale", "mT/A", 1e3, "coil constant"),
            Self::CoilRadius => name("coil-radius", "mm", 1e3, "mean radius of the coils"),
            Self::CoilSeparation => name("coil-separation", "mm", 1e3, "separation of the coils"),
            Self::CoilSize => name("coil-size", "%", 100.0, "scale of the coil geometry"),
            Self::CoilTiltX(_) => name("coil-tilt-x", "deg", degrees, "tilt of the coils"),
            Self::CoilTiltY(_) => name("coil-tilt-y", "deg", degrees, "tilt of the coils"),
            Self::BackgroundX => {
                name("stray-field-transverse", "uT", 1e6, "background field across the axis")
            }
            Self::BackgroundY => {
                name("stray-field-transverse", "uT", 1e6, "background field across the axis")
            }
            Self::BackgroundZ => name("stray-field-axial", "uT", 1e6, "background field along the axis"),
            Self::MuzzleX => name("muzzle-x", "mm", 1e3, "position of the anode aperture"),
            Self::MuzzleY => name("muzzle-y", "mm", 1e3, "position of the anode aperture"),
            Self::MuzzleZ => name("muzzle-z", "mm", 1e3, "position of the anode aperture"),
            Self::DirectionInPlane => name("gun-direction", "deg", degrees, "direction of the gun"),
            Self::DirectionAcross => name("gun-tilt", "deg", degrees, "direction of the gun"),
            Self::BeamWidth => name("edge-offset", "mm", 1e3, "beam width at the edge read"),
            Self::LengthScale => name("length-scale", "%", 100.0, "length of the scale"),
            Self::ScaleOffset => {
                name("scale-plane", "mm", 1e3, "distance of the scale from the plane of the ring")
            }
            Self::CameraDistance => name("camera-distance", "mm", 1e3, "distance of the camera"),
            Self::Plane(_) => name("scale-photo", "%", 100.0, "scale as measured on its photograph"),
            Self::CoilFactor => name("field-scale", "%", 100.0, "field of the coils"),
            Self::DiameterOffset => name("edge-offset", "mm", 1e3, "zero offset of the diameters"),
            Self::BeamLoss => name("gas-loss", "V", 1.0, "energy lost in the gas"),
            Self::Run(_) => name("outlier-run", "%", 100.0, "diameter of one run"),
        }
    }
}

/// The unknowns of one problem, in a fixed order, with what is known of each.
#[derive(Debug, Clone, Default)]
pub struct Unknowns {
    entries: Vec<(Unknown, Prior, f64)>,
}

/// Which data a problem has, and so which unknowns it needs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scope {
    /// Runs with a diameter.
    pub has_runs: bool,
    /// Probe readings.
    pub has_probe: bool,
    /// Runs measured on photographs.
    pub has_photos: bool,
    /// Runs whose edge of the beam was read.
    pub has_edges: bool,
    /// The camera is known to stand at a distance.
    pub has_camera: bool,
    /// Diameters read by a person with a parallax that is known.
    pub has_parallax: bool,
    /// Relative uncertainty of each scale photograph.
    pub planes: Vec<f64>,
}

impl Unknowns {
    /// The unknowns that the apparatus and the data call for. What is known exactly is no unknown.
    pub fn of(apparatus: &Apparatus, scope: &Scope) -> Self {
        let mut list = Self::default();
        if scope.has_runs {
            list.entries.push((Unknown::LogMass, Prior::Flat, 0.0));
            list.about_zero(Unknown::VoltmeterGain, apparatus.voltmeter.gain);
            list.known(Unknown::VoltmeterZero, apparatus.voltmeter.zero);
            list.known(Unknown::VoltageOffset, apparatus.voltage_offset);
            if let Some(gas) = &apparatus.gas {
                let (value, spread) = gas.beforehand();
                list.known(Unknown::BeamLoss, Known { value, spread });
            }
        }
        list.about_zero(Unknown::AmmeterGain, apparatus.ammeter.gain);
        list.known(Unknown::AmmeterZero, apparatus.ammeter.zero);
        if scope.has_probe {
            list.about_zero(Unknown::ProbeGain, apparatus.probe.gain);
            list.known(Unknown::ProbeZero, probe_zero(apparatus));
        }
        list.coils(apparatus);
        if scope.has_runs || scope.has_probe {
            list.tilts(apparatus);
        }
        for (unknown, known) in [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ]
            .into_iter()
            .zip(apparatus.background)
        {
            list.known(unknown, known);
        }
        if scope.has_runs {
            list.runs(apparatus, scope);
        }
        list
    }

    fn coils(&mut self, apparatus: &Apparatus) {
        let mut absolute = false;
        match &apparatus.coils {
            Some(CoilsKnown::Pair { mean_radius, separation, turns, .. }) => {
                absolute = turns.is_some();
                self.about_zero(Unknown::CoilRadius, mean_radius.spread);
                self.about_zero(Unknown::CoilSeparation, separation.spread);
            }
            Some(CoilsKnown::List { size, .. }) => {
                absolute = true;
                self.about_zero(Unknown::CoilSize, *size);
            }
            None => {}
        }
        if !absolute {
            match apparatus.field_per_ampere {
                Some(known) if known.spread != Spread::Exact => self.known(Unknown::FieldPerAmpere, known),
                Some(_) => {}
                None => self.entries.push((Unknown::FieldPerAmpere, Prior::Flat, 1e-3)),
            }
        }
    }

    fn tilts(&mut self, apparatus: &Apparatus) {
        let count = match &apparatus.coils {
            Some(CoilsKnown::Pair { .. }) => 2,
            Some(CoilsKnown::List { .. }) => 1,
            None => 0,
        };
        for coil in 0..count {
            self.about_zero(Unknown::CoilTiltX(coil), apparatus.coil_tilt);
            self.about_zero(Unknown::CoilTiltY(coil), apparatus.coil_tilt);
        }
    }

    fn runs(&mut self, apparatus: &Apparatus, scope: &Scope) {
        if apparatus.gun.muzzle_m.is_some() {
            for unknown in [Unknown::MuzzleX, Unknown::MuzzleY, Unknown::MuzzleZ] {
                self.about_zero(unknown, apparatus.gun.muzzle_spread);
            }
        }
        self.about_zero(Unknown::DirectionInPlane, apparatus.gun.direction_spread);
        self.about_zero(Unknown::DirectionAcross, apparatus.gun.direction_spread);
        if scope.has_edges {
            self.known(Unknown::BeamWidth, apparatus.beam_width.unwrap_or(DEFAULT_BEAM_WIDTH));
        }
        if scope.has_photos {
            self.about_zero(Unknown::LengthScale, normal(apparatus.scale_relative_u));
        }
        if scope.has_camera && (scope.has_photos || scope.has_parallax) {
            self.known(Unknown::ScaleOffset, apparatus.scale_offset);
            if let Some(distance) = apparatus.camera_distance {
                self.about_zero(Unknown::CameraDistance, distance.spread);
            }
        }
        if scope.has_photos {
            for (index, u) in scope.planes.iter().enumerate() {
                self.about_zero(Unknown::Plane(index), normal(*u));
            }
        }
    }

    fn known(&mut self, unknown: Unknown, known: Known) {
        let prior = match known.spread {
            Spread::Exact => return,
            Spread::Normal(u) => Prior::Normal { mean: known.value, u },
            Spread::Limits(half_width) => Prior::Limits { mean: known.value, half_width },
        };
        self.entries.push((unknown, prior, known.value));
    }

    fn about_zero(&mut self, unknown: Unknown, spread: Spread) {
        self.known(unknown, Known { value: 0.0, spread });
    }

    /// The same with one more thing unknown, or one known far less well: about what was stated, with `u` beside it.
    pub fn widened(&self, unknown: Unknown, u: f64) -> Self {
        let mut wider = self.clone();
        match wider.entries.iter_mut().find(|entry| entry.0 == unknown) {
            Some(entry) => {
                let (mean, own) = entry.1.moments().unwrap_or((entry.2, 0.0));
                entry.1 = Prior::Normal { mean, u: own.hypot(u) };
            }
            None => wider.entries.push((unknown, Prior::Normal { mean: 0.0, u }, 0.0)),
        }
        wider
    }

    /// The same with some of them known to be 0, a millionth of what was known of each beside it.
    #[cfg(test)]
    pub(crate) fn held(&self, unknowns: &[Unknown]) -> Self {
        let mut held = self.clone();
        for entry in held.entries.iter_mut().filter(|entry| unknowns.contains(&entry.0)) {
            let u = entry.1.moments().map_or(1.0, |(_, u)| u);
            (entry.1, entry.2) = (Prior::Normal { mean: 0.0, u: 1e-6 * u }, 0.0);
        }
        held
    }

    /// The same with the fit starting elsewhere.
    pub fn starting_at(mut self, unknown: Unknown, value: f64) -> Self {
        if let Some(entry) = self.entries.iter_mut().find(|entry| entry.0 == unknown) {
            entry.2 = value;
        }
        self
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.entries.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// In order.
    pub fn iter(&self) -> impl Iterator<Item = (usize, Unknown, Prior)> {
        self.entries.iter().enumerate().map(|(index, (unknown, prior, _))| (index, *unknown, *prior))
    }

    /// Place of one unknown, if the problem has it.
    pub fn place(&self, unknown: Unknown) -> Option<usize> {
        self.entries.iter().position(|entry| entry.0 == unknown)
    }

    /// What is known of each.
    pub fn priors(&self) -> Vec<Prior> {
        self.entries.iter().map(|entry| entry.1).collect()
    }

    /// Where a fit starts.
    pub fn start(&self) -> Vec<f64> {
        self.entries.iter().map(|entry| entry.2).collect()
    }
}

fn normal(u: f64) -> Spread {
    if u > 0.0 { Spread::Normal(u) } else { Spread::Exact }
}

/// A probe whose zero nobody stated may be off by as much as the Earth's field many times over: 1 mT.
fn probe_zero(apparatus: &Apparatus) -> Known {
    let zero = apparatus.probe.zero;
    if zero.spread == Spread::Exact && zero.value == 0.0 {
        Known { value: 0.0, spread: Spread::Normal(1e-3) }
    } else {
        zero
    }
}
