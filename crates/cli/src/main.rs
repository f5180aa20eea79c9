//! The command `arcmass`: from readings and photographs of a glowing ring to the mass of the electron.

mod arguments;
mod browser;
mod columns;
mod commands;
mod ending;
mod figure_files;
mod own;
mod progress;
mod show;

use std::process::ExitCode;

use arguments::{Command, read_arguments};
use ending::{Ending, guarded};

fn main() -> ExitCode {
    let arguments = match read_arguments() {
        Ok(arguments) => arguments,
        Err(code) => return code,
    };
    let wants_json = arguments.json;
    guarded(wants_json, arguments.desk(), move || -> Result<(), Ending> {
        match arguments.wish() {
            Command::Demo(demo) => commands::demo::run(demo, &arguments),
            Command::New(new) => commands::new::run(new, &arguments),
            Command::Check(notebook) => commands::check::run(notebook, &arguments),
            Command::Combine(combine) => commands::combine::run(combine, &arguments),
            Command::Class(class) => commands::class::run(class, &arguments),
            Command::Field(field) => commands::field::run(field, &arguments),
            Command::Plan(plan) => commands::plan::run(plan, &arguments),
            Command::Rings(rings) => commands::rings::run(rings, &arguments),
            Command::Reduce(notebook) => commands::reduce::run(notebook, &arguments),
            Command::Path(path) => commands::path::run(path, &arguments),
            Command::Report(report) => commands::report::run(report, &arguments),
            Command::Completions(shell) => commands::manual::completions(shell),
            Command::Manual(manual) => commands::manual::manual(manual),
            Command::Serve(serve) => commands::serve::run(serve, &arguments),
        }
    })
}
