//! The `packdrift` program: arguments in, exit status out. Files are read by `packdrift-records`, computed with by `spread` and
//! `trend`, rendered by `packdrift-report`; here they are only joined.
//!
//! One file a command in `command`; what a run comes to becomes an exit status in one place, `exit`. The program itself is [`program`] and
//! nothing else; it is a library so that what it reads can be tried by itself (see [`readers`]).

mod args;
mod command;
mod examples;
mod exit;
mod findings;
mod interrupt;
mod number;
mod output;
mod progress;
mod ranges;
pub mod readers;
mod shares;

use crate::exit::Failure;
use clap::{CommandFactory, FromArgMatches};
use std::ffi::OsString;
use std::panic::AssertUnwindSafe;
use std::process::ExitCode;

/// The program: from the arguments of this process to its exit status.
pub fn program() -> ExitCode {
    exit::quiet_panics();
    let (arguments, matches) = match parsed(&mut command_line(), std::env::args_os()) {
        Ok(parsed) => parsed,
        Err(refusal) => return exit::of_refusal(refusal),
    };
    match std::panic::catch_unwind(AssertUnwindSafe(|| run(arguments, &matches))) {
        Ok(Ok(verdict)) => verdict.into(),
        Ok(Err(failure)) => exit::of_failure(&failure),
        Err(_) => exit::of_panic(),
    }
}

/// The arguments that the program takes. A value such as -1 reaches the check of its option, which says what is wrong with it, and is not
/// taken for an option; where a number is to be given, so does -inf.
fn command_line() -> clap::Command {
    args::Arguments::command().mut_subcommands(|command| {
        let own = ranges::OWN_COMMANDS.contains(&command.get_name());
        command.mut_args(|argument| {
            let takes_values = argument.get_action().takes_values();
            let takes_a_number = ranges::is_number(&argument);
            let argument = argument.allow_negative_numbers(takes_values).allow_hyphen_values(takes_a_number);
            if own { argument } else { ranges::ranged(argument) }
        })
    })
}

/// What is told of the program to shells and readers: all commands but those that it keeps to itself.
fn shown_command_line() -> clap::Command {
    let all = command_line();
    let shown: Vec<clap::Command> = all.get_subcommands().filter(|one| !one.is_hide_set()).cloned().collect();
    let parts = [all.get_before_help(), all.get_about(), all.get_long_about(), all.get_after_help()];
    let [before, about, long_about, after] = parts.map(|part| part.cloned().unwrap_or_default());
    clap::Command::new("packdrift")
        .version(env!("CARGO_PKG_VERSION"))
        .before_help(before)
        .about(about)
        .long_about(long_about)
        .after_help(after)
        .subcommands(shown)
}

/// Arguments, the program's name first, as the commands take them.
fn parsed(
    command_line: &mut clap::Command,
    arguments: impl IntoIterator<Item = OsString>,
) -> Result<(args::Arguments, clap::ArgMatches), clap::Error> {
    let matches = command_line.try_get_matches_from_mut(arguments)?;
    Ok((args::Arguments::from_arg_matches(&matches)?, matches))
}

fn run(arguments: args::Arguments, matches: &clap::ArgMatches) -> Result<exit::Verdict, Failure> {
    interrupt::listen()?;
    if let Some((name, matches)) = matches.subcommand() {
        progress::hush(matches!(matches.try_get_one::<bool>("quiet"), Ok(Some(true))));
        output::kinds::refuse_other_kinds(name, matches)?;
        output::places::refuse_clashes(name, matches)?;
        output::note_arguments(name, matches);
    }
    command::run(arguments.command)
}
