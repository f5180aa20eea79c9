//! `arcmass` and `arcmass serve`: the page, shown to this machine and, where told, to the room.

use std::net::IpAddr;
use std::path::Path;

use arcmass_web::{Running, ServeError, ServeOptions};

use crate::arguments::{Arguments, Serve};
use crate::browser;
use crate::ending::{Ending, say};
use crate::own;
use crate::show::Sheet;

/// Where the page is looked for unless another port is named.
const PORT: u16 = 7117;

/// What to serve, and how.
pub(crate) struct Asked<'a> {
    /// None: the page begins with the choice of a notebook.
    pub(crate) folder: Option<&'a Path>,
    /// None: the usual port, or a free one where that is taken.
    pub(crate) port: Option<u16>,
    /// Other machines too.
    pub(crate) listen: Option<IpAddr>,
}

pub(crate) fn run(asked: &Serve, arguments: &Arguments) -> Result<(), Ending> {
    let remedy = "name the notebook and, after --listen, an address such as 192.168.0.7, or none";
    let (folder, listen) = asked.sorted().map_err(|fault| Ending::input("command line", &fault, remedy))?;
    let here = Path::new(".");
    serve(
        &Asked {
            // in a notebook's own folder its name need not be typed
            folder: folder.as_deref().or_else(|| here.join("bench.toml").is_file().then_some(here)),
            port: asked.port,
            listen,
        },
        arguments,
    )
}

/// Serves until it is interrupted.
pub(crate) fn serve(asked: &Asked<'_>, arguments: &Arguments) -> Result<(), Ending> {
    if let Some(folder) = asked.folder.filter(|folder| !folder.is_dir()) {
        let shown = folder.display().to_string();
        return Err(Ending::input(
            &shown,
            &format!("there is no notebook folder `{shown}`"),
            "check the name, or type `arcmass` alone and make a new notebook on its page",
        ));
    }
    let mut options = ServeOptions {
        folder: asked.folder.map(Path::to_owned),
        own: own::folder(),
        home: own::notebooks(),
        port: asked.port.unwrap_or(PORT),
        listen: asked.listen,
        desk: arguments.desk(),
    };
    let tell = |running: &Running| {
        if let Err(fault) = told(running, arguments) {
            say(&format!("arcmass: the address can't be printed: {fault:?}"));
        }
        if let Some(link) = running.open.as_deref().filter(|_| !arguments.no_open && !arguments.json) {
            browser::open(link);
        }
    };
    let mut served = arcmass_web::serve(&options, tell);
    if asked.port.is_none() && matches!(served, Err(ServeError::Port { .. })) {
        // another one runs already: this one takes a free port
        options.port = 0;
        served = arcmass_web::serve(&options, tell);
    }
    served.map_err(|fault| match fault {
        ServeError::Port { .. } => Ending::input(
            "command line",
            &fault.to_string(),
            "choose another port with --port, or an address of this machine with --listen=ADDRESS",
        ),
        other => Ending::Program(other.to_string()),
    })
}

fn told(running: &Running, arguments: &Arguments) -> Result<(), Ending> {
    if arguments.json {
        let document = serde_json::json!({
            "schema": "arcmass.serve/1", "made_by": arguments.desk().made_by(Vec::new()), "address": running.address.to_string(), "link": running.link, "outside": running.outside,
        });
        return crate::show::json(&document, &[]);
    }
    let mut sheet = Sheet::default();
    sheet.line("The page is at");
    sheet.line(format!("  {}", running.link));
    if let Some(outside) = &running.outside {
        sheet.line("From another machine of this network, once, within ten minutes:");
        sheet.line(format!("  {outside}"));
        sheet.line("The connection is not encrypted: use it on the laboratory's own network only.");
    }
    sheet.line("Stop it with Ctrl-C; everything typed is already saved.");
    sheet.out()
}

/// The demo's page, on a free port.
pub(crate) fn serve_demo(folder: &Path, arguments: &Arguments) -> Result<(), Ending> {
    serve(&Asked { folder: Some(folder), port: Some(0), listen: None }, arguments)
}
