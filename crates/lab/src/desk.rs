//! What the outside hands in (seed, version), and the ways a job can fail.

use arcmass_notebook::Faults;
use arcmass_quantity::print;
use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::document::{InputHash, MadeBy};

/// What a job needs from outside: nothing else is read, no clock, no other random source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Desk {
    /// Of every random stream.
    pub seed: u64,
    /// Worker threads for photographs.
    pub workers: usize,
}

impl Default for Desk {
    fn default() -> Self {
        let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        Self { seed: 1, workers }
    }
}

impl Desk {
    /// A random stream of its own for part `part` of a job.
    pub fn stream(&self, part: u64) -> Pcg64 {
        Pcg64::seed_from_u64(self.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(part))
    }

    /// Who made a document, from what.
    pub fn made_by(&self, inputs: Vec<arcmass_notebook::Input>) -> MadeBy {
        let inputs =
            inputs.into_iter().map(|input| InputHash { file: input.file, sha256: input.sha256 }).collect();
        MadeBy { version: VERSION.to_owned(), seed: self.seed, inputs }
    }
}

/// Version of arcmass.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Why a job gave no result.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LabError {
    /// The notebook has faults; each has its place.
    #[error("{0}")]
    Faults(#[from] Faults),
    /// Something the job needs is not there, or the numbers can't be used.
    #[error("{sentence}; {remedy}")]
    Lacking {
        /// What must be, what was found.
        sentence: String,
        /// Where: a file of the notebook.
        file: String,
        /// What would have been accepted there.
        accepted: String,
        /// What to do.
        remedy: String,
    },
    /// A fault of the program or the machine.
    #[error("{0}")]
    Internal(String),
}

impl LabError {
    /// The same, said of one run.
    pub(crate) fn of_run(self, run: &crate::model::RunDatum) -> Self {
        match self {
            Self::Lacking { sentence, file, accepted, remedy } => Self::Lacking {
                sentence: format!(
                    "run {} ({} V, {} A, {} mm): {sentence}",
                    run.run,
                    print::significant(run.voltage_read_v, 4),
                    print::significant(run.current_read_a, 4),
                    print::significant(1e3 * run.diameter_m, 4)
                ),
                file,
                accepted,
                remedy,
            },
            other => other,
        }
    }

    /// Something the job needs is not there.
    pub fn lacking(file: &str, sentence: impl Into<String>, remedy: impl Into<String>) -> Self {
        let sentence = sentence.into();
        let accepted = accepted_in(file, &sentence);
        Self::Lacking { sentence, file: file.to_owned(), accepted, remedy: remedy.into() }
    }

    /// The same, with what would have been accepted in its place.
    #[must_use]
    pub fn accepting(self, what: impl Into<String>) -> Self {
        match self {
            Self::Lacking { sentence, file, remedy, .. } => {
                Self::Lacking { sentence, file, accepted: what.into(), remedy }
            }
            other => other,
        }
    }
}

/// What is accepted: the part of a sentence that says what must be, else what the file is there for.
fn accepted_in(file: &str, sentence: &str) -> String {
    let found = sentence.find(", got").or_else(|| sentence.find("; "));
    if let Some(must) = sentence.find(" must ")
        && found.is_none_or(|end| end > must)
    {
        return sentence.get(..found.unwrap_or(sentence.len())).unwrap_or(sentence).to_owned();
    }
    let what = match file {
        "bench.toml" => "a bench file that states what this command needs; `arcmass check` lists it",
        "readings.csv" => "readings with what this command needs; `arcmass check` lists it",
        "field-probe.csv" => "probe readings on a straight line against the coil current",
        "command line" => "the values that `arcmass help` lists for this command",
        photo if photo.starts_with("photos/") => {
            return format!(
                "a photograph that shows the ring or the scale, as {}",
                arcmass_photo::error::KINDS
            );
        }
        _ => "what the remedy says",
    };
    what.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn accepted(file: &str, sentence: &str) -> String {
        match LabError::lacking(file, sentence, "do it") {
            LabError::Lacking { accepted, .. } => accepted,
            other => other.to_string(),
        }
    }

    #[test]
    fn what_is_accepted_is_said_for_every_lack() {
        assert_eq!(
            accepted("command line", "the coil current must lie between −20 A and 20 A, got 99 A"),
            "the coil current must lie between −20 A and 20 A"
        );
        for file in ["bench.toml", "readings.csv", "photos/ring-1.jpg", "photos/", "command line", "else"] {
            assert!(!accepted(file, "nothing is stated").is_empty(), "{file}");
        }
    }
}
