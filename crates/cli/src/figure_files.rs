//! Figures as files: each as SVG, and beside it as text.

use std::fs;
use std::path::Path;

use arcmass_report::figure::{Figure, Theme};

use crate::commands::report::write_beside;
use crate::ending::Ending;

/// Writes `NAME.svg` and `NAME.txt` of each figure into a folder, which is made if it isn't there.
pub(crate) fn write(folder: &Path, figures: &[(&str, Figure)], dark: bool) -> Result<Vec<String>, Ending> {
    let shown = folder.display().to_string();
    let refused = |fault: std::io::Error| {
        Ending::input(
            "command line",
            &format!("the figures can't be written into `{shown}`: {fault}"),
            "give a folder you may write to, as in `--figures pictures`",
        )
    };
    fs::create_dir_all(folder).map_err(refused)?;
    let theme = if dark { Theme::Dark } else { Theme::Light };
    let mut written = Vec::new();
    for (name, figure) in figures {
        for (ending, text) in [("svg", figure.to_svg_file(theme)), ("txt", figure.to_table())] {
            let file = folder.join(format!("{name}.{ending}"));
            write_beside(&file, text.as_bytes()).map_err(refused)?;
        }
        written.push(folder.join(format!("{name}.svg")).display().to_string());
    }
    Ok(written)
}
