//! `arcmass demo`: an example from drawn photographs to the mass and the report, in one go.

use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::field_unit::FieldUnit;

use crate::arguments::{Arguments, Demo};
use crate::commands::{reduce, report};
use crate::ending::Ending;
use crate::progress::Bar;
use crate::show::Sheet;

pub(crate) fn run(demo: &Demo, arguments: &Arguments) -> Result<(), Ending> {
    if demo.class {
        return crate::commands::class::demo(&demo.folder, arguments);
    }
    let bar = Bar::new("drawing photographs");
    make_demo(&demo.folder, DemoSize::default(), &arguments.desk(), &bar)?;
    bar.finish();
    let whole = report::make(&demo.folder, arguments)?;
    let path = report::write(&whole, &FieldUnit::default(), None, |html| Ok(html.into()))?;
    report::keep_reduction(&whole)?;
    if arguments.json {
        return crate::show::json(&whole.reduction, &whole.reduction.caveats);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!(
        "An invented bench in {}: simulated readings, computer-generated photographs.",
        demo.folder.display()
    ));
    sheet.gap();
    reduce::print_reduction(&mut sheet, &whole.reduction);
    sheet.gap();
    sheet.line(format!("The report is in {}", path.display()));
    sheet.line("Its hidden truth is in hidden-truth.json; look there last.");
    sheet.out()?;
    if demo.serve {
        return crate::commands::serve::serve_demo(&demo.folder, arguments);
    }
    Ok(())
}
