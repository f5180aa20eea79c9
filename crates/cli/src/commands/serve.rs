//! `arcmass serve`: the page, shown to this machine and, where told, to the room.

use std::net::{IpAddr, Ipv4Addr};
use std::path::Path;

use arcmass_web::{Running, ServeError, ServeOptions};

use crate::arguments::{Arguments, Serve};
use crate::ending::{Ending, say};
use crate::show::Sheet;

pub(crate) fn run(asked: &Serve, arguments: &Arguments) -> Result<(), Ending> {
    serve(
        &asked.notebook,
        asked.port,
        asked.listen.map(|ip| ip.unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED))),
        arguments,
    )
}

/// Serves a notebook until it is interrupted.
pub(crate) fn serve(
    folder: &Path,
    port: u16,
    listen: Option<IpAddr>,
    arguments: &Arguments,
) -> Result<(), Ending> {
    if !folder.is_dir() {
        let shown = folder.display().to_string();
        return Err(Ending::input(
            &shown,
            &format!("there is no notebook folder `{shown}`"),
            "check the name, or make a new notebook with `arcmass new DIR`",
        ));
    }
    let options = ServeOptions { folder: folder.to_owned(), port, listen, desk: arguments.desk() };
    let served = arcmass_web::serve(&options, |running| {
        if let Err(fault) = told(running, arguments) {
            say(&format!("arcmass: the address can't be printed: {fault:?}"));
        }
    });
    served.map_err(|fault| match fault {
        ServeError::Port { .. } => Ending::input(
            "command line",
            &fault.to_string(),
            "choose another port with --port, or an address of this machine with --listen",
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
    sheet.line("It ends with Ctrl-C; what was typed is saved already.");
    sheet.out()
}
