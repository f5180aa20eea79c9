//! What may be typed after `arcmass`, with an example for each command.

use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;
use std::process::ExitCode;

use arcmass_lab::Desk;
use arcmass_lab::field_unit::FieldUnit;
use clap::{Args, Parser, Subcommand};

/// From photographs of a glowing ring and of a ruler to the mass of the electron.
///
/// arcmass reads a notebook folder of plain files (`bench.toml`, `readings.csv`, photographs), measures, reduces and
/// reports. It never commands a supply. High voltage, evacuated glass and hot coils: local rules and the responsible
/// person come first.
#[derive(Debug, Parser)]
#[command(
    name = "arcmass",
    version,
    max_term_width = 80,
    after_help = "Without a command the page opens in the browser: a new notebook, one you have, or the demo."
)]
pub(crate) struct Arguments {
    /// One JSON document on standard output, and nothing else there
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// Seed of every random stream
    #[arg(long, global = true, default_value_t = 1, value_name = "N")]
    pub(crate) seed: u64,
    /// Open no browser: the page's address is printed only
    #[arg(long, global = true)]
    pub(crate) no_open: bool,
    /// Say on standard error what is being done
    #[arg(short, long, global = true)]
    pub(crate) verbose: bool,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Make an example notebook in ./arcmass-demo, measure, reduce and report it
    #[command(after_help = "Example:\n  arcmass demo\n  arcmass demo --class")]
    Demo(Demo),
    /// Make a new notebook with a commented bench file and empty tables
    #[command(after_help = "Example:\n  arcmass new window-bench")]
    New(New),
    /// Check every file of a notebook, and say what is missing for what
    #[command(after_help = "Example:\n  arcmass check window-bench")]
    Check(NotebookArguments),
    /// Join the masses of several notebooks, and show each bench's history
    #[command(after_help = "Example:\n  arcmass combine spring autumn other-bench --to history.svg")]
    Combine(CombineArguments),
    /// Flux density at points, coil constant by probe and by geometry
    #[command(after_help = "Example:\n  arcmass field window-bench --current 1.5 --at 0,0,0 --at 0,-40,0")]
    Field(Field),
    /// Propose the next settings, with the uncertainty they will give and the part that no number of runs removes
    #[command(after_help = "Example:\n  arcmass plan window-bench --runs 12")]
    Plan(PlanArguments),
    /// Measure the photographs
    #[command(after_help = "Example:\n  arcmass rings window-bench --photo ring-03.jpg")]
    Rings(Rings),
    /// Reduce everything measured to the mass, with budget, effects, law and comparison
    #[command(after_help = "Example:\n  arcmass reduce window-bench --json > reduction.json")]
    Reduce(NotebookArguments),
    /// Predict the ring or helix of a setting in the real field
    #[command(after_help = "Example:\n  arcmass path window-bench --voltage 250 --current 1.5 --gun-tilt 10")]
    Path(PathArguments),
    /// Write the report, a class's worksheet or its key: one self-contained HTML file
    #[command(
        after_help = "Example:\n  arcmass report window-bench --to report.html\n  arcmass report window-bench --sheet worksheet --to worksheet.html"
    )]
    Report(Report),
    /// Print the completion script of a shell
    #[command(after_help = "Example:\n  arcmass completions bash > arcmass.bash && source ./arcmass.bash")]
    Completions(Completions),
    /// Write the manual pages of the command and of each of its commands
    #[command(after_help = "Example:\n  arcmass manual man1")]
    Manual(Manual),
    /// A class's results: each group's slips found, the rest pooled
    #[command(subcommand, after_help = "Example:\n  arcmass class check class.csv --bench window-bench")]
    Class(ClassCommand),
    /// Serve the notebook as pages in a browser
    #[command(
        after_help = "Examples:\n  arcmass serve window-bench\n  arcmass serve --listen window-bench    # a phone may take part"
    )]
    Serve(Serve),
}

#[derive(Debug, Args)]
pub(crate) struct NotebookArguments {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
}

#[derive(Debug, Subcommand)]
pub(crate) enum ClassCommand {
    /// Judge a class's table: readings against the physics of their bench, sums step by step
    #[command(
        after_help = "Example:\n  arcmass class check class.csv --bench bench-1 --bench bench-2\n  arcmass class check class.csv --bench A=window-bench --columns columns.toml"
    )]
    Check(ClassCheck),
}

#[derive(Debug, Args)]
pub(crate) struct ClassCheck {
    /// The class's table (CSV), one row a reading
    #[arg(value_name = "FILE")]
    pub(crate) table: PathBuf,
    /// Notebook of a bench that the class used, under the folder's name or another
    #[arg(long = "bench", value_name = "[NAME=]DIR")]
    pub(crate) benches: Vec<String>,
    /// File that maps a spreadsheet's own headings to the table's columns (TOML)
    #[arg(long, value_name = "FILE")]
    pub(crate) columns: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct CombineArguments {
    /// Folders that hold bench.toml, two or more
    #[arg(value_name = "NOTEBOOK", required = true)]
    pub(crate) notebooks: Vec<PathBuf>,
    /// Where to draw masses and histories: an .svg file, or .png where that is built in
    #[arg(long, value_name = "FILE")]
    pub(crate) to: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// Where to make it
    #[arg(
        value_name = "DIR",
        default_value = "arcmass-demo",
        default_value_if("class", "true", "arcmass-class")
    )]
    pub(crate) folder: PathBuf,
    /// Then show its page
    #[arg(long)]
    pub(crate) serve: bool,
    /// A class of simulated groups in ./arcmass-class instead: its table, its benches, and what was found in it
    #[arg(long, conflicts_with = "serve")]
    pub(crate) class: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// Folder that holds bench.toml; without one the page begins with the choice of a notebook
    #[arg(value_name = "NOTEBOOK")]
    pub(crate) notebook: Option<PathBuf>,
    /// Port to listen on; 0 takes a free one [default: 7117, or a free one where that is taken]
    #[arg(long, value_name = "PORT")]
    pub(crate) port: Option<u16>,
    /// Let other machines of the network in, with a code that works once; an address of this machine, or all of them
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<Option<String>>,
}

impl Serve {
    /// The notebook, and the address to listen at: what follows `--listen` is a notebook where it is no address.
    ///
    /// - **Fails** where it is neither.
    pub(crate) fn sorted(&self) -> Result<(Option<PathBuf>, Option<IpAddr>), String> {
        let all = IpAddr::V4(Ipv4Addr::UNSPECIFIED);
        match &self.listen {
            None => Ok((self.notebook.clone(), None)),
            Some(None) => Ok((self.notebook.clone(), Some(all))),
            Some(Some(word)) => match (word.parse(), &self.notebook) {
                (Ok(address), notebook) => Ok((notebook.clone(), Some(address))),
                (Err(_), None) => Ok((Some(PathBuf::from(word)), Some(all))),
                (Err(_), Some(_)) => Err(format!("`{word}` after --listen is no address of this machine")),
            },
        }
    }
}

#[derive(Debug, Args)]
pub(crate) struct New {
    /// An empty folder, or one that isn't there yet
    #[arg(value_name = "DIR")]
    pub(crate) folder: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct Field {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
    /// Coil current, A
    #[arg(long, value_name = "I", allow_hyphen_values = true, value_parser = number)]
    pub(crate) current: Option<f64>,
    /// A point in the bench's frame, mm; repeat for more
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = point)]
    pub(crate) at: Vec<Point>,
    /// Put the map across and along the axis into the JSON document
    #[arg(long)]
    pub(crate) map: bool,
    /// Write the figures into this folder, each as SVG and as text, and as PNG where that is built in
    #[arg(long, value_name = "FOLDER")]
    pub(crate) figures: Option<PathBuf>,
    /// Draw the figures on dark ground
    #[arg(long, requires = "figures")]
    pub(crate) dark: bool,
}

/// A point, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point(pub(crate) [f64; 3]);

#[derive(Debug, Args)]
pub(crate) struct PlanArguments {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
    /// How many runs to plan
    #[arg(long, value_name = "N", default_value_t = 12)]
    pub(crate) runs: usize,
    /// Where to draw the window with its settings: an .svg file, or .png where that is built in
    #[arg(long, value_name = "FILE")]
    pub(crate) to: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Rings {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
    /// Only this photograph; repeat for more
    #[arg(long, value_name = "P")]
    pub(crate) photo: Vec<String>,
    /// Take photographs of up to so many million pixels (120 unless said)
    #[arg(long, value_name = "MEGAPIXELS")]
    pub(crate) largest: Option<u64>,
}

#[derive(Debug, Args)]
pub(crate) struct PathArguments {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
    /// Voltmeter reading, V
    #[arg(long, value_name = "V", allow_hyphen_values = true, value_parser = number)]
    pub(crate) voltage: f64,
    /// Ammeter reading, A
    #[arg(long, value_name = "I", allow_hyphen_values = true, value_parser = number)]
    pub(crate) current: f64,
    /// Tube rotated about the line through the anode aperture, degrees
    #[arg(long, value_name = "A", default_value_t = 0.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) gun_tilt: f64,
    /// Coil leads: + as described in the bench file, - reversed
    #[arg(long, value_name = "S", default_value = "+", allow_hyphen_values = true, value_parser = ["+", "-"])]
    pub(crate) field_sense: String,
    /// Whole bench rotated about the vertical, counter-clockwise seen from above, degrees
    #[arg(long, value_name = "A", default_value_t = 0.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) bench_turned: f64,
    /// Write the figures (front, side, perspective) into this folder, each as SVG and as text, and as PNG where that is built in
    #[arg(long, value_name = "FOLDER")]
    pub(crate) figures: Option<PathBuf>,
    /// Draw the figures on dark ground
    #[arg(long, requires = "figures")]
    pub(crate) dark: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// Which shell
    #[arg(value_name = "SHELL")]
    pub(crate) shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub(crate) struct Manual {
    /// Where to write the pages; made if it isn't there
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct Report {
    /// Folder that holds bench.toml
    #[arg(value_name = "NOTEBOOK", default_value = ".")]
    pub(crate) notebook: PathBuf,
    /// Where to write it, by the ending: .html, or .pdf where the typesetter is built in
    #[arg(long, value_name = "FILE")]
    pub(crate) to: Option<PathBuf>,
    /// Sheets of a PDF; an HTML page takes the printer's
    #[arg(long, value_name = "SIZE", value_enum, default_value_t = Paper::A4)]
    pub(crate) paper: Paper,
    /// Unit of flux densities; N is the force in newton on one elementary charge at one metre per second
    #[arg(long, value_name = "UNIT", value_enum, default_value_t = FluxDensity::Millitesla)]
    pub(crate) flux_density: FluxDensity,
    /// What to write: the report, a blank worksheet for the class, or the teacher's key to it
    #[arg(long, value_name = "SHEET", value_enum, default_value_t = Sheet::Report)]
    pub(crate) sheet: Sheet,
}

/// What `report` writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Sheet {
    /// Everything measured and what was made of it
    Report,
    /// Blanks to fill, with this bench's coil geometry and settings
    Worksheet,
    /// The worksheet worked from its own numbers, and what each slip makes of the mass
    Key,
}

/// A unit of flux density.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum FluxDensity {
    /// Millitesla
    #[value(name = "mT")]
    Millitesla,
    /// Tesla
    #[value(name = "T")]
    Tesla,
    /// Gauss
    #[value(name = "G")]
    Gauss,
    /// N/(e·m/s)
    #[value(name = "N")]
    Newton,
}

impl FluxDensity {
    /// For the report.
    pub(crate) fn unit(self) -> FieldUnit {
        let [millitesla, tesla, gauss, newton] = FieldUnit::CHOICES;
        let shown = match self {
            Self::Millitesla => millitesla,
            Self::Tesla => tesla,
            Self::Gauss => gauss,
            Self::Newton => newton,
        };
        FieldUnit::named(shown).unwrap_or_default()
    }
}

/// Size of a PDF's sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Paper {
    /// 210 mm × 297 mm
    A4,
    /// 8.5 in × 11 in
    Letter,
}

impl Arguments {
    /// What to do; the page where nothing is named.
    pub(crate) fn wish(&self) -> &Command {
        static PAGE: Command = Command::Serve(Serve { notebook: None, port: None, listen: None });
        self.command.as_ref().unwrap_or(&PAGE)
    }

    /// What the jobs need from outside.
    pub(crate) fn desk(&self) -> Desk {
        Desk { seed: self.seed, ..Desk::default() }
    }
}

/// A finite number, as it may stand in the notebook's tables.
fn number(text: &str) -> Result<f64, String> {
    arcmass_quantity::number::parse(text).map_err(|fault| fault.to_string())
}

fn point(text: &str) -> Result<Point, String> {
    match text.split(',').map(number).collect::<Result<Vec<f64>, String>>()?.as_slice() {
        [x, y, z] => Ok(Point([*x, *y, *z])),
        other => Err(format!("a point needs three numbers in mm, as in `0,-40,0`; found {}", other.len())),
    }
}

/// Reads the command line; help and version end with 0, a fault with 2.
pub(crate) fn read_arguments() -> Result<Arguments, ExitCode> {
    Arguments::try_parse().map_err(|fault| {
        let is_fault = fault.use_stderr();
        let wants_json = std::env::args_os().any(|word| word == "--json");
        if is_fault && wants_json {
            crate::ending::print_usage_fault(&fault.to_string());
        }
        let _ = fault.print();
        ExitCode::from(if is_fault { 2 } else { 0 })
    })
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    fn sorted(words: &[&str]) -> Result<(Option<PathBuf>, Option<IpAddr>), String> {
        let arguments =
            Arguments::try_parse_from(words.iter().copied()).map_err(|fault| fault.to_string())?;
        match arguments.wish() {
            Command::Serve(serve) => serve.sorted(),
            other => Err(format!("{other:?}")),
        }
    }

    #[test]
    fn a_notebook_may_stand_before_or_after_listen() {
        let (all, bench) = (Some(IpAddr::from([0, 0, 0, 0])), Some(PathBuf::from("bench")));
        for words in [["arcmass", "serve", "--listen", "bench"], ["arcmass", "serve", "bench", "--listen"]] {
            assert_eq!(sorted(&words).unwrap(), (bench.clone(), all), "{words:?}");
        }
        let one = Some(IpAddr::from([192, 0, 2, 7]));
        assert_eq!(sorted(&["arcmass", "serve", "--listen", "192.0.2.7", "bench"]).unwrap(), (bench, one));
        assert_eq!(sorted(&["arcmass"]).unwrap(), (None, None), "alone it shows the page");
        assert!(sorted(&["arcmass", "serve", "--listen", "192.0.2", "bench"]).is_err());
    }

    #[test]
    fn help_stays_within_eighty_columns() {
        let mut command = Arguments::command();
        command.build();
        let mut pages = vec![command.render_long_help().to_string()];
        pages.extend(command.get_subcommands_mut().map(|one| one.render_long_help().to_string()));
        for line in pages.iter().flat_map(|page| page.lines()) {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}
