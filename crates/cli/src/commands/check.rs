//! `arcmass check`: is every file sound, and what is missing for what.

use arcmass_lab::check::check;
use arcmass_notebook::Notebook;

use crate::arguments::{Arguments, NotebookArguments};
use crate::ending::Ending;
use crate::show::{self, Sheet};

pub(crate) fn run(asked: &NotebookArguments, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let document = check(&notebook, &arguments.desk());
    if arguments.json {
        return show::json(&document, &[]);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!("{}: no faults", document.bench));
    let struck = if document.struck > 0 { format!(", {} excluded", document.struck) } else { String::new() };
    sheet.line(format!(
        "  {} runs{struck}, {} probe readings, {} photographs named",
        document.runs, document.probe_readings, document.photographs
    ));
    for input in &document.made_by.inputs {
        sheet.line(format!("  ● {}", input.file));
    }
    let (needed, wanted): (Vec<_>, Vec<_>) = document.lacks.iter().partition(|lack| lack.is_needed);
    for (heading, lacks) in [("Missing:", needed), ("Would improve the result:", wanted)] {
        if !lacks.is_empty() {
            sheet.gap();
            sheet.line(heading);
        }
        for lack in lacks {
            sheet.paragraph(&format!("  {:<7} ", lack.command), &lack.what);
        }
    }
    sheet.out()
}
