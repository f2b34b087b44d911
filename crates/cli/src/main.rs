//! The `packdrift` program: arguments in, exit status out. Files are read by `packdrift-records`, computed with by `spread` and
//! `trend`, rendered by `packdrift-report`; here they are only joined.
//!
//! One file a command in [`command`]; what a run comes to becomes an exit status in one place, [`exit`].

mod args;
mod command;
mod exit;
mod findings;
mod interrupt;
mod output;
mod progress;
mod shares;

use crate::exit::Failure;
use clap::{CommandFactory, FromArgMatches};
use std::process::ExitCode;

fn main() -> ExitCode {
    exit::quiet_panics();
    // A value such as -1 reaches the check of its option, which says what is wrong with it, and is not taken for an option.
    let command = args::Arguments::command().mut_subcommands(|command| {
        command.mut_args(|argument| {
            let takes_values = argument.get_action().takes_values();
            argument.allow_negative_numbers(takes_values)
        })
    });
    let parsed = command.try_get_matches().and_then(|matches| args::Arguments::from_arg_matches(&matches));
    let arguments = match parsed {
        Ok(arguments) => arguments,
        Err(refusal) => return exit::of_refusal(&refusal),
    };
    match std::panic::catch_unwind(|| run(arguments)) {
        Ok(Ok(verdict)) => verdict.into(),
        Ok(Err(failure)) => exit::of_failure(&failure),
        Err(_) => exit::of_panic(),
    }
}

fn run(arguments: args::Arguments) -> Result<exit::Verdict, Failure> {
    interrupt::listen()?;
    command::run(arguments.command)
}
