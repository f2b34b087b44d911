//! What a run comes to, as an exit status: the one place that decides it.
//!
//! | status | meaning |
//! |---|---|
//! | 0 | done and acceptable |
//! | 1 | done, and something is out of limits, rejected, due or overdue |
//! | 2 | the input or the options are wrong |
//! | 3 | the machine failed |
//! | 130, 143, 129 | stopped by Ctrl-C, TERM or HUP, as shells expect (128 and the signal's number) |
//!
//! A reader that closes the pipe early is no failure: the status is that of the result.

use crate::findings;
use clap::error::{ContextKind, ContextValue};
use packdrift_records as records;
use std::io::{self, Write};
use std::process::ExitCode;

/// What a finished run says of what it looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Within limits.
    Acceptable,
    /// Something is out of limits, rejected, due or overdue.
    NotAcceptable,
    /// `check` found mistakes (and has shown them).
    Mistakes,
}

impl From<Verdict> for ExitCode {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Acceptable => Self::SUCCESS,
            Verdict::NotAcceptable => Self::from(1),
            Verdict::Mistakes => WRONG_INPUT.into(),
        }
    }
}

const WRONG_INPUT: u8 = 2;
const MACHINE_FAILED: u8 = 3;
/// What a signal's number is added to, as shells do.
pub(crate) const SIGNALLED: u8 = 128;
/// Called off from within: as by Ctrl-C (SIGINT is 2 everywhere).
const INTERRUPTED: u8 = SIGNALLED + 2;

/// Why a run did not finish.
#[derive(Debug)]
pub(crate) enum Failure {
    /// Mistakes in files.
    Input(records::InputError),
    /// Options, or an input as a whole, that cannot be used.
    Refused(String),
    /// The machine failed: what was being done, and the chain of causes.
    Machine(String),
    /// Called off.
    Interrupted,
}

impl Failure {
    /// The machine failed while `doing`.
    pub(crate) fn machine(doing: &str, error: impl std::error::Error) -> Self {
        Self::Machine(format!("could not {doing}: {}", chain(&error)))
    }

    /// The input or the options are wrong.
    pub(crate) fn refused(error: impl std::error::Error) -> Self {
        Self::Refused(chain(&error))
    }
}

/// An error and its causes in one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let said = error.to_string();
        if !text.contains(&said) {
            text = format!("{text}: {said}");
        }
        cause = error.source();
    }
    text
}

impl From<records::Error> for Failure {
    fn from(error: records::Error) -> Self {
        match error {
            records::Error::Input(error) => Self::Input(error),
            records::Error::Cancelled => Self::Interrupted,
            other => Self::Machine(chain(&other)),
        }
    }
}

impl From<records::Machine> for Failure {
    fn from(error: records::Machine) -> Self {
        Self::Machine(chain(&error))
    }
}

impl From<records::write::FolderError> for Failure {
    fn from(error: records::write::FolderError) -> Self {
        match error {
            records::write::FolderError::Machine(error) => error.into(),
            other => Self::refused(other),
        }
    }
}

impl From<packdrift_spread::SpreadError> for Failure {
    fn from(error: packdrift_spread::SpreadError) -> Self {
        match error {
            packdrift_spread::SpreadError::Cancelled => Self::Interrupted,
            other => Self::refused(other),
        }
    }
}

impl From<packdrift_spread::AllocateError> for Failure {
    fn from(error: packdrift_spread::AllocateError) -> Self {
        match error {
            packdrift_spread::AllocateError::Spread(error) => error.into(),
            other => Self::refused(other),
        }
    }
}

impl From<packdrift_trend::TrendError> for Failure {
    fn from(error: packdrift_trend::TrendError) -> Self {
        Self::refused(error)
    }
}

impl From<packdrift_lot::LotError> for Failure {
    fn from(error: packdrift_lot::LotError) -> Self {
        Self::refused(error)
    }
}

impl From<packdrift_lotpack::LotPackError> for Failure {
    fn from(error: packdrift_lotpack::LotPackError) -> Self {
        match error {
            packdrift_lotpack::LotPackError::Cancelled => Self::Interrupted,
            other => Self::refused(other),
        }
    }
}

impl From<packdrift_stock::StockError> for Failure {
    fn from(error: packdrift_stock::StockError) -> Self {
        Self::refused(error)
    }
}

/// A refusal of the bench or the drawer, its lengths in the unit that the command shows.
pub(crate) fn of_stock(lengths: packdrift_report::Lengths) -> impl Fn(packdrift_stock::StockError) -> Failure + Copy {
    move |error| Failure::Refused(error.words(&|mm| lengths.with_unit(mm)))
}

impl From<packdrift_report::Error> for Failure {
    fn from(error: packdrift_report::Error) -> Self {
        Self::Machine(chain(&error))
    }
}

/// Says what went wrong on standard error.
pub(crate) fn of_failure(failure: &Failure) -> ExitCode {
    match failure {
        Failure::Input(error) => {
            to_stderr(&findings::text(error));
            WRONG_INPUT.into()
        }
        Failure::Refused(text) => {
            say(&format!("error: {text}\n"));
            WRONG_INPUT.into()
        }
        Failure::Machine(text) => {
            say(&format!("error: {text}\n"));
            MACHINE_FAILED.into()
        }
        Failure::Interrupted => INTERRUPTED.into(),
    }
}

/// The number with a point for its comma, where that makes it one.
fn with_point(value: &str) -> Option<String> {
    let (whole, fraction) = value.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    (digits(whole.trim_start_matches(['-', '+'])) && digits(fraction)).then(|| format!("{whole}.{fraction}"))
}

/// Arguments that the program does not take; also `--help` and `--version`, which are no failure.
pub(crate) fn of_refusal(mut refusal: clap::Error) -> ExitCode {
    if let Some(ContextValue::String(value)) = refusal.get(ContextKind::InvalidValue)
        && let Some(point) = with_point(value)
    {
        let tip = format!("the decimal sign is a point: write {point}");
        refusal.insert(ContextKind::Suggested, ContextValue::StyledStrs(vec![tip.into()]));
    }
    if refusal.use_stderr() {
        // The arguments stand in it as they were given.
        say(&refusal.render().to_string());
        return WRONG_INPUT.into();
    }
    // Who closes the pipe has read enough of the help.
    let _ = refusal.print();
    ExitCode::SUCCESS
}

/// Replaces the panic message by one for people.
pub(crate) fn quiet_panics() {
    std::panic::set_hook(Box::new(|panic| {
        if records::is_guarding() {
            return;
        }
        let place = panic.location().map_or_else(String::new, |place| format!(" ({}:{})", place.file(), place.line()));
        say(&format!(
            "error: packdrift {} has a defect{place} and cannot go on; nothing was written half. Please report what you ran.\n",
            env!("CARGO_PKG_VERSION")
        ));
    }));
}

/// The hook has spoken.
pub(crate) fn of_panic() -> ExitCode {
    MACHINE_FAILED.into()
}

/// To standard error, without characters that steer the terminal.
pub(crate) fn say(text: &str) {
    to_stderr(&packdrift_visible::text(text));
}

/// Where standard error is closed there is nobody to tell.
fn to_stderr(text: &str) {
    let _ = io::stderr().lock().write_all(text.as_bytes());
}
