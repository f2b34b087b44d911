//! One file a command: options to records, records to computation, computation to report.

mod allocate;
mod check;
mod completions;
mod drawing;
mod due;
mod gauge;
mod lot;
mod manual;
mod new;
pub(crate) mod replay;
mod sampling;
mod shim;
pub(crate) mod stack;
mod stock;
mod tidy;
mod tour;
pub(crate) mod trend;
mod try_read;

use crate::exit::{Failure, Verdict};
use clap::Subcommand;

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// See in a minute what this does: demo files, the main job on them, a report.
    Tour(tour::Tour),
    /// Are these files right? Every mistake, with its place and what was expected.
    Check(check::Check),
    /// A file to begin with: commented, right as it stands, with what you must answer marked.
    New(new::New),
    /// A table as it comes from a shop, written once as this program has it, with every change.
    Tidy(tidy::Tidy),
    /// How far do preload and contact offset spread, and what makes them?
    Stack(stack::Stack),
    /// Which tolerance to tighten, and which may be opened, at the least cost?
    Allocate(Box<allocate::Allocate>),
    /// Is this supplier's scatter acceptable: against the drawing, and in the pack?
    Lot(Box<lot::Lot>),
    /// Can this micrometer see the difference? A crossed gauge study.
    Gauge(gauge::Gauge),
    /// How many parts to measure, and when to accept?
    Sampling(sampling::Sampling),
    /// Which of the pieces in the drawer to fit to this rocker?
    Shim(Box<shim::Shim>),
    /// Which thicknesses to hold, and how many?
    Stock(Box<stock::Stock>),
    /// How fast does each valve drift, and which are heading for the damage zone?
    Trend(trend::Trend),
    /// When is each engine due for re-shimming, in which service window, with which corrections?
    Due(Box<due::Due>),
    /// Is a result what its inputs give? Finds them by their SHA-256, runs again, compares to the byte.
    Replay(replay::Replay),
    /// What a shell needs to complete commands and options.
    Completions(completions::Completions),
    /// A manual page for each command, for `man`.
    Manual(manual::Manual),
    /// Read a Parquet file and nothing else, for a process that may not live through it.
    #[command(hide = true)]
    TryRead(try_read::TryRead),
}

/// Runs one command.
pub(crate) fn run(command: Command) -> Result<Verdict, Failure> {
    if !matches!(command, Command::TryRead(_)) {
        packdrift_records::try_parquet_first(try_read::is_survived);
    }
    match command {
        Command::Tour(tour) => tour.run(),
        Command::Check(check) => check.run(),
        Command::New(new) => new.run(),
        Command::Tidy(tidy) => tidy.run(),
        Command::Stack(stack) => stack.run(),
        Command::Allocate(allocate) => allocate.run(),
        Command::Lot(lot) => lot.run(),
        Command::Gauge(gauge) => gauge.run(),
        Command::Sampling(sampling) => sampling.run(),
        Command::Shim(shim) => shim.run(),
        Command::Stock(stock) => stock.run(),
        Command::Trend(trend) => trend.run(),
        Command::Due(due) => due.run(),
        Command::Replay(replay) => replay.run(),
        Command::Completions(completions) => completions.run(),
        Command::Manual(manual) => manual.run(),
        Command::TryRead(read) => read.run(),
    }
}
