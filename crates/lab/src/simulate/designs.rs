//! The designs of the invented benches: how many runs, which probe table, how diameters are taken, what the file states.

/// What the probe was used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbeTable {
    /// Nothing.
    None,
    /// Background, and the line at the centre.
    Line,
    /// The same, and places beside the centre.
    Map,
}

/// How the diameters come about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Diameters {
    /// By eye, into the table.
    Table {
        /// Of one diameter, mm.
        u_mm: f64,
        /// Whether the table says so.
        is_stated: bool,
        /// Whether the outer edge was read, with a beam width of 2(0.3) mm stated.
        outer_edge: bool,
    },
    /// On photographs, with so many photographs of the scale.
    Photographs {
        /// Of one trace, mm.
        u_trace_mm: f64,
        /// Photographs of the scale.
        scales: usize,
    },
}

/// A design of readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// For tables.
    pub name: &'static str,
    /// V.
    pub voltages_v: &'static [f64],
    /// Radii that the current is dialled for, mm.
    pub radii_mm: &'static [f64],
    /// Whether every setting is taken again with the bench turned by 180°.
    pub turned_too: bool,
    /// The probe's table.
    pub probe: ProbeTable,
    /// How diameters are taken.
    pub diameters: Diameters,
    /// Whether the bench file leaves out every uncertainty and the background, so that defaults come in.
    pub silent: bool,
}

const EYE: Diameters = Diameters::Table { u_mm: 0.4, is_stated: true, outer_edge: false };
const PHOTOGRAPHS: Diameters = Diameters::Photographs { u_trace_mm: 0.06, scales: 1 };

/// The designs of the study.
pub const DESIGNS: &[Design] = &[
    Design {
        name: "4 photographs, no probe",
        voltages_v: &[160.0, 280.0],
        radii_mm: &[30.0, 44.0],
        turned_too: false,
        probe: ProbeTable::None,
        diameters: PHOTOGRAPHS,
        silent: false,
    },
    Design {
        name: "6 photographs, probe map",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[30.0, 44.0],
        turned_too: false,
        probe: ProbeTable::Map,
        diameters: PHOTOGRAPHS,
        silent: false,
    },
    Design {
        name: "12 photographs, turned too, probe map",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[30.0, 44.0],
        turned_too: true,
        probe: ProbeTable::Map,
        diameters: Diameters::Photographs { u_trace_mm: 0.06, scales: 2 },
        silent: false,
    },
    Design {
        name: "9 by eye, probe line",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[28.0, 36.0, 46.0],
        turned_too: false,
        probe: ProbeTable::Line,
        diameters: EYE,
        silent: false,
    },
    Design {
        name: "18 by eye, turned too, probe map",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[28.0, 36.0, 46.0],
        turned_too: true,
        probe: ProbeTable::Map,
        diameters: EYE,
        silent: false,
    },
    Design {
        name: "9 outer edges, u not stated, probe map",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[28.0, 36.0, 46.0],
        turned_too: false,
        probe: ProbeTable::Map,
        diameters: Diameters::Table { u_mm: 0.4, is_stated: false, outer_edge: true },
        silent: false,
    },
    Design {
        name: "8 by eye, silent file, no probe",
        voltages_v: &[150.0, 200.0, 250.0, 300.0],
        radii_mm: &[32.0, 44.0],
        turned_too: false,
        probe: ProbeTable::None,
        diameters: EYE,
        silent: true,
    },
    Design {
        name: "12 photographs, turned too, silent file, probe map",
        voltages_v: &[150.0, 220.0, 300.0],
        radii_mm: &[30.0, 44.0],
        turned_too: true,
        probe: ProbeTable::Map,
        diameters: PHOTOGRAPHS,
        silent: true,
    },
];
