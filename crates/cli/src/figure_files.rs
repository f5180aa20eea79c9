//! Figures as files: each as SVG, as PNG where that is built in, and as text.

use std::fs;
use std::path::Path;

use arcmass_report::figure::{Figure, HAS_PNG, PngError, Theme};

use crate::commands::report::{write_beside, write_file};
use crate::ending::Ending;

/// Writes `NAME.svg`, `NAME.txt` and where it is built in `NAME.png` of each figure into a folder, which is made if it isn't there.
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
        let mut forms =
            vec![("svg", figure.to_svg_file(theme).into_bytes()), ("txt", figure.to_table().into_bytes())];
        if HAS_PNG {
            forms.push(("png", figure.to_png(theme).map_err(unpainted)?));
        }
        for (ending, bytes) in forms {
            write_beside(&folder.join(format!("{name}.{ending}")), &bytes).map_err(refused)?;
        }
        written.push(folder.join(format!("{name}.svg")).display().to_string());
    }
    Ok(written)
}

/// A figure's file, by the ending of its name.
pub(crate) struct FigureFile<'a> {
    path: &'a Path,
    is_png: bool,
}

impl<'a> FigureFile<'a> {
    /// Checked before anything is worked out; none where no file was asked for.
    pub(crate) fn asked(path: Option<&'a Path>) -> Result<Option<Self>, Ending> {
        let Some(path) = path else { return Ok(None) };
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
        match ending.as_str() {
            "svg" => Ok(Some(Self { path, is_png: false })),
            "png" if HAS_PNG => Ok(Some(Self { path, is_png: true })),
            "png" => Err(unpainted(PngError::NotBuiltIn)),
            _ => Err(Ending::input(
                "command line",
                &format!("a figure's name must end in .svg or .png; found `{}`", path.display()),
                "write, for example, --to figure.svg",
            )),
        }
    }

    /// Writes the figure on light ground.
    pub(crate) fn write(&self, figure: &Figure) -> Result<(), Ending> {
        let bytes = match self.is_png {
            true => figure.to_png(Theme::Light).map_err(unpainted)?,
            false => figure.to_svg_file(Theme::Light).into_bytes(),
        };
        write_file(self.path, &bytes)
    }
}

fn unpainted(fault: PngError) -> Ending {
    match fault {
        PngError::NotBuiltIn => Ending::input(
            "command line",
            "this build paints no PNG: the painter is not built in",
            "write SVG, or build with `cargo build --release --features png`",
        ),
        other => Ending::Program(other.to_string()),
    }
}
