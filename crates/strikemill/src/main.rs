//! The program: command line, configuration, and the wiring of the rooms into commands and a daemon.

mod alerts;
mod cli;
mod commands;
mod config;
mod config_file;
#[cfg(test)]
mod config_schema;
mod daemon;
mod fault;
mod logging;
mod output;
mod overview;
mod pipeline;
mod repair_note;
mod requests;
mod shipped;
mod studio;

use std::process::ExitCode;

use clap::Parser;

use crate::cli::{Command, CommandLine};
use crate::commands::status::Wanted;

/// Exit code of `status --quiet`.
const SOMETHING_WANTS_A_PERSON: u8 = 3;

fn main() -> ExitCode {
    let line = CommandLine::parse();
    let home = line.common.home;
    let done = match line.command {
        Command::Demo(arguments) => commands::demo::run(&arguments),
        Command::Init => commands::init::run(&home),
        Command::Run => commands::run::run(&home),
        Command::Compute => commands::compute::run(&home),
        Command::Import(arguments) => commands::import::run(&home, &arguments),
        Command::Retry(arguments) => commands::import::retry(&home, &arguments),
        Command::Reprocess(arguments) => commands::import::reprocess(&home, &arguments),
        Command::Check(arguments) => commands::check::run(&home, &arguments),
        Command::Remove(arguments) => commands::remove::run(&home, &arguments),
        Command::Forget(arguments) => commands::forget::run(&home, &arguments),
        Command::Repair => commands::repair::run(&home),
        Command::Formats(command) => commands::formats::run(&home, &command),
        Command::Jobs(command) => commands::jobs::run(&home, &command),
        Command::Query(arguments) => commands::query::run(&home, &arguments),
        Command::Status(arguments) => match commands::status::run(&home, &arguments) {
            Ok(Wanted::APerson) => return ExitCode::from(SOMETHING_WANTS_A_PERSON),
            told => told.map(|_| ()),
        },
        Command::Limits(arguments) => commands::limits::run(&home, &arguments),
        Command::Alert(_) => commands::alert::run(&home),
        Command::Digest(arguments) => commands::digest::run(&home, &arguments),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            // One chain, outermost first; a broken pipe means that the reader has seen enough.
            if error.chain().any(is_broken_pipe) {
                return ExitCode::SUCCESS;
            }
            eprintln!("error: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn is_broken_pipe(cause: &(dyn std::error::Error + 'static)) -> bool {
    match cause.downcast_ref::<std::io::Error>() {
        Some(error) => error.kind() == std::io::ErrorKind::BrokenPipe,
        // Writers of CSV and JSON keep only the words of the error below them.
        None => cause.to_string().contains("Broken pipe"),
    }
}
