//! `arcmass report`: placeholder until the report notebook can be drawn.

use crate::arguments::{Arguments, Report};
use crate::ending::Ending;

pub(crate) fn run(_report: &Report, _arguments: &Arguments) -> Result<(), Ending> {
    Err(Ending::Program("no report yet".to_owned()))
}
