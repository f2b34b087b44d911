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

use crate::exit::Failure;
use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    exit::quiet_panics();
    let arguments = match args::Arguments::try_parse() {
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
