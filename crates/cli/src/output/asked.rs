//! What the run was asked for, as results record it: the command's arguments in one order, less those that only say where results go or
//! how much of the machine is used. `replay` gives them to the program again.

use clap::parser::ValueSource;
use clap::{Arg, ArgMatches};
use std::sync::OnceLock;

/// Options that do not change the result.
const APART: [&str; 11] =
    ["output", "format", "out", "xlsx", "ics", "quiet", "force", "threads", "parts", "shard", "allow_outside"];

static ASKED: OnceLock<(String, Vec<String>)> = OnceLock::new();

/// Notes the arguments of this run.
pub(crate) fn note_arguments(name: &str, matches: &ArgMatches) {
    // Set once, by `main`.
    let _ = ASKED.set((name.to_owned(), canonical_arguments(name, matches)));
}

/// The arguments of a command in the order and form in which results record them.
pub(crate) fn canonical_arguments(name: &str, matches: &ArgMatches) -> Vec<String> {
    let all = crate::command_line();
    let Some(command) = all.find_subcommand(name) else { return Vec::new() };
    let mut positional = Vec::new();
    let mut arguments = Vec::new();
    for argument in command.get_arguments() {
        let id = argument.get_id().as_str();
        // A tour's folder stands in its result.
        let is_folder = name == "tour" && id == "out";
        let given = matches.value_source(id) == Some(ValueSource::CommandLine);
        if !given || (APART.contains(&id) && !is_folder) {
            continue;
        }
        let values = matches.get_raw(id).into_iter().flatten().map(|value| value.to_string_lossy().into_owned());
        if argument.is_positional() || is_folder {
            positional.extend(values);
        } else {
            arguments.extend(named(argument, values.collect()));
        }
    }
    // A file named like an option was given behind `--`.
    if positional.iter().any(|value| value.starts_with('-')) {
        arguments.push("--".to_owned());
    }
    arguments.extend(positional);
    arguments
}

/// An option with its values: each as `--name=value`, so that none can be taken for another option.
fn named(argument: &Arg, values: Vec<String>) -> Vec<String> {
    let Some(long) = argument.get_long() else { return Vec::new() };
    if argument.get_action().takes_values() {
        values.iter().map(|value| format!("--{long}={value}")).collect()
    } else {
        vec![format!("--{long}")]
    }
}

/// The arguments of this run, if it is of this command (a tour's result holds results of other commands).
pub(super) fn arguments_of(command: &str) -> Vec<String> {
    ASKED.get().filter(|(name, _)| name == command).map(|(_, arguments)| arguments.clone()).unwrap_or_default()
}
