//! `arcmass demo`: placeholder until the demo notebook can be drawn.

use crate::arguments::{Arguments, Demo};
use crate::ending::Ending;

pub(crate) fn run(_demo: &Demo, _arguments: &Arguments) -> Result<(), Ending> {
    Err(Ending::Program("no demo yet".to_owned()))
}
