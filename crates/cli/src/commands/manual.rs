//! `arcmass completions` and `arcmass manual`: what a shell and `man` want to know of the command.

use std::fs;
use std::io::Write;

use clap::CommandFactory;

use crate::arguments::{Arguments, Completions, Manual};
use crate::commands::report::write_beside;
use crate::ending::Ending;
use crate::show::Sheet;

/// Name of the command as people type it.
const NAME: &str = "arcmass";

/// Writes the completion script of one shell to standard output.
pub(crate) fn completions(asked: &Completions) -> Result<(), Ending> {
    let mut script = Vec::new();
    clap_complete::generate(asked.shell, &mut Arguments::command(), NAME, &mut script);
    let mut stdout = std::io::stdout().lock();
    stdout.write_all(&script)?;
    stdout.flush()?;
    Ok(())
}

/// Writes a manual page of the command and one of each of its commands.
pub(crate) fn manual(asked: &Manual) -> Result<(), Ending> {
    let shown = asked.folder.display().to_string();
    let refused = |fault: std::io::Error| {
        Ending::input(
            "command line",
            &format!("the manual can't be written into `{shown}`: {fault}"),
            "give a folder you may write to, as in `arcmass manual man1`",
        )
    };
    fs::create_dir_all(&asked.folder).map_err(refused)?;
    let mut whole = Arguments::command();
    whole.build();
    let mut pages = vec![(NAME.to_owned(), whole.clone())];
    for command in whole.get_subcommands().filter(|command| !command.is_hide_set()) {
        if command.get_name() != "help" {
            let name = format!("{NAME}-{}", command.get_name());
            pages.push((name, command.clone()));
        }
    }
    for (name, command) in &pages {
        let mut page = Vec::new();
        clap_mangen::Man::new(command.clone()).render(&mut page).map_err(refused)?;
        write_beside(&asked.folder.join(format!("{name}.1")), &page).map_err(refused)?;
    }
    let mut sheet = Sheet::default();
    sheet.line(format!("{} pages are in {shown}; read one with `man {shown}/{NAME}.1`", pages.len()));
    sheet.out()
}
