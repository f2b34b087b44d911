//! What the program reads beside the files of `packdrift-records`: its arguments, shares of a run, results to make again. Each is read as a
//! run would read it, and nothing is done with it. For fuzzing (`fuzz/`) and other tests.

use crate::{command, findings, output};
use packdrift_records::{InputError, Source};
use std::cell::RefCell;
use std::ffi::OsString;

thread_local! {
    // To lay out all options takes a thousand times as long as to parse some.
    static COMMAND_LINE: RefCell<clap::Command> = RefCell::new(crate::command_line());
}

/// Arguments, the program's name first. Where they are taken: the arguments that a result would record, in their order.
///
/// # Errors
/// What the program says of arguments that it does not take; the help, where that was asked for.
///
/// # Examples
/// ```
/// use packdrift_cli::readers::arguments;
/// assert_eq!(arguments(["packdrift", "stack", "p.toml", "--seed", "7", "--quiet"]).unwrap(), ["stack", "--seed=7", "p.toml"]);
/// assert!(arguments(["packdrift", "stack", "--seed", "seven"]).unwrap_err().contains("seven"));
/// ```
pub fn arguments<I: IntoIterator<Item: Into<OsString>>>(given: I) -> Result<Vec<String>, String> {
    let given = given.into_iter().map(Into::into);
    let parsed = COMMAND_LINE.with_borrow_mut(|command_line| crate::parsed(command_line, given));
    let (_, matches) = parsed.map_err(|refusal| packdrift_visible::text(&refusal.render().to_string()).into_owned())?;
    let recorded = matches.subcommand().map(|(name, matches)| {
        let arguments = output::canonical_arguments(name, matches);
        std::iter::once(name.to_owned()).chain(arguments).collect()
    });
    Ok(recorded.unwrap_or_default())
}

/// A share of the trials of `stack`, as `--parts` takes it.
///
/// # Errors
/// Why it is none.
pub fn stack_share(source: &Source) -> Result<(), String> {
    command::stack::is_share(source)
}

/// A share of the forecasts of `trend`, as `--parts` takes it of a run on no files.
///
/// # Errors
/// Why it is none.
pub fn trend_share(source: &Source) -> Result<(), String> {
    command::trend::is_share(source)
}

/// A result, as `replay` takes it.
///
/// # Errors
/// Why it cannot be made again.
pub fn result(source: &Source) -> Result<(), String> {
    command::replay::is_result(source)
}

/// The mistakes of a file as they are shown on a terminal.
pub fn mistakes(error: &InputError) -> String {
    findings::text(error)
}
