//! Invented benches drawn by lot from exactly what their files state, with a hidden mass: for studies of coverage.
//!
//! Coils, paths and cameras are followed by code of their own, from the physics up; nothing of `model` is used, so that an
//! error there can't be cancelled by the same error here.

mod designs;
mod files;
mod trial;
mod truth;

use arcmass_notebook::Notebook;
use rand_pcg::Pcg64;

use crate::desk::LabError;
use crate::document::RingsDocument;

pub use designs::{DESIGNS, Design, Diameters, ProbeTable};
pub use trial::{Counts, Trial, trial};
pub use truth::Truth;

/// One thing that lies outside what the file states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outside {
    /// Nothing: the bench is as stated.
    Nothing,
    /// V, added to the accelerating voltage.
    VoltageOffset(f64),
    /// T along the axis.
    StrayAxial(f64),
    /// m, further apart than stated.
    Separation(f64),
    /// m, read too much in every diameter.
    Edge(f64),
    /// V, lost on the way round by a typical run.
    GasLoss(f64),
    /// Relative, more field than sizes and turns say.
    CoilFactor(f64),
    /// Relative, more than the field that the probe is in.
    ProbeGain(f64),
    /// One run, chosen by lot, is written down wrongly.
    Slip(Slip),
}

/// How one run comes to be written down wrongly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// The radius stands in the diameter column.
    RadiusForDiameter,
    /// The current reads a tenth.
    CurrentTenth,
    /// The ruler was read from its 10 mm mark.
    ScaleZero,
    /// The diameter belongs to another run.
    OtherRun,
}

impl Outside {
    /// The finding that names it.
    pub fn code(self) -> Option<&'static str> {
        match self {
            Self::Nothing => None,
            Self::VoltageOffset(_) => Some("voltage-offset"),
            Self::StrayAxial(_) => Some("stray-field-axial"),
            Self::Separation(_) => Some("coil-separation"),
            Self::Edge(_) => Some("edge-offset"),
            Self::GasLoss(_) => Some("gas-loss"),
            Self::CoilFactor(_) | Self::ProbeGain(_) => Some("field-scale"),
            Self::Slip(_) => Some("outlier-run"),
        }
    }
}

/// An invented bench: what a person would hold in hands, and what lies behind it.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// The files, as read back.
    pub notebook: Notebook,
    /// What the photographs would have given.
    pub rings: Option<RingsDocument>,
    /// Behind it.
    pub truth: Truth,
}

/// Draws one bench of a design and takes its readings.
///
/// The files are written into a temporary folder and read back, as everybody's are.
pub fn by_lot(design: &Design, outside: Outside, rng: &mut Pcg64) -> Result<Simulated, LabError> {
    let truth = Truth::by_lot(design, outside, rng)?;
    let folder = tempfile::tempdir().map_err(|fault| LabError::Internal(fault.to_string()))?;
    files::write(folder.path(), design, &truth).map_err(|fault| LabError::Internal(fault.to_string()))?;
    let notebook = Notebook::open(folder.path())?;
    Ok(Simulated { notebook, rings: files::rings(design, &truth), truth })
}
