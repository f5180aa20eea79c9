//! `arcmass new`: a notebook to begin with.

use arcmass_notebook::new_notebook;

use crate::arguments::{Arguments, New};
use crate::ending::Ending;
use crate::show::Sheet;

pub(crate) fn run(new: &New, arguments: &Arguments) -> Result<(), Ending> {
    let shown = new.folder.display().to_string();
    new_notebook(&new.folder).map_err(|fault| Ending::input(&shown, &fault.to_string(), fault.remedy()))?;
    if arguments.json {
        let document = serde_json::json!({
            "schema": "arcmass.new/1",
            "made_by": arguments.desk().made_by(Vec::new()),
            "notebook": shown,
        });
        return crate::show::json(&document, &[]);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!("A new notebook is in {shown}:"));
    sheet.line(
        "  bench.toml       the apparatus; each number is a commented example until you enter your own",
    );
    sheet.line("  readings.csv     one row a reading");
    sheet.line("  field-probe.csv  coil current against flux density, if you have a probe");
    sheet.line("  photos/          photographs as they come from the camera");
    sheet.gap();
    sheet.line("Before you touch the bench:");
    for caution in arcmass_notebook::cautions::all() {
        sheet.paragraph("▲ ", caution);
    }
    sheet.gap();
    sheet.line(format!("Next: fill in bench.toml, then `arcmass check {shown}`"));
    sheet.out()
}
