//! `stack PACK`: how far the required quantities spread, by worst case, root-sum-square and Monte Carlo, and who contributes.

use crate::args::{Delivery, Machine, ShownUnits};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use crate::shares::{Shares, shard};
use clap::{Args, ValueEnum};
use packdrift_records::{self as records, LengthUnit};
use packdrift_report::{Envelope, Figure, Table, stack as report};
use packdrift_spread::{
    MethodChoice, Options, Partial, PartialState, Shard, StackResult, analyse, analyse_parts, part_of,
};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `stack`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift stack pack.toml
  packdrift stack pack.toml --out report
  packdrift stack pack.toml --until 0.02 --units in")]
pub(crate) struct Stack {
    /// The pack file (TOML).
    pack: PathBuf,
    /// How to compute: the cheapest sound way for each requirement, or plain Monte Carlo for all.
    #[arg(long, help_heading = "How it is computed", value_enum, default_value_t = MethodName::Auto)]
    method: MethodName,
    /// Trials of the random run.
    #[arg(
        long,
        help_heading = "How it is computed",
        value_name = "N",
        value_parser = clap::value_parser!(u64).range(1..)
    )]
    trials: Option<u64>,
    /// Go on until the relative standard error of every share outside the limits is at most R (0.01: one percent).
    #[arg(
        long,
        help_heading = "How it is computed",
        value_name = "R",
        value_parser = relative_error,
        conflicts_with = "trials"
    )]
    until: Option<f64>,
    /// Go on until the standard deviations are good to D significant digits (the adaptive rule of JCGM 101, 7.9).
    #[arg(
        long,
        help_heading = "How it is computed",
        value_name = "D",
        value_parser = clap::value_parser!(u32).range(1..=4),
        conflicts_with_all = ["trials", "until"]
    )]
    digits: Option<u32>,
    /// Add Sobol' indices: which dimension's scatter makes the spread, alone and together with others.
    #[arg(long, help_heading = "How it is computed")]
    sobol: bool,
    /// Seed of the random numbers; the same seed gives the same result on every machine.
    #[arg(long, help_heading = "How it is computed", value_name = "N")]
    seed: Option<u64>,
    /// Make only the K-th of N shares of the trials, and write it down (JSON) on standard output; --parts joins them.
    #[arg(
        long,
        help_heading = "One run on many machines",
        value_name = "K/N",
        value_parser = shard,
        requires = "trials",
        conflicts_with_all = ["parts", "out", "xlsx", "sobol"]
    )]
    shard: Option<Shard>,
    /// Take the trials from files that --shard wrote, of this pack and with these options: the same result to the byte.
    #[arg(long, help_heading = "One run on many machines", value_name = "FILE", num_args = 1.., requires = "trials")]
    parts: Vec<PathBuf>,
    #[command(flatten)]
    units: ShownUnits,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

const SHARES: Shares =
    Shares { holds: "share of the trials of stack", meaning: "a share of trials as `stack --shard` writes it" };

/// Whether a share's counts and sums can be those of trials.
fn can_be(state: &PartialState) -> Result<(), String> {
    Partial::try_from(state).map(drop).map_err(|error| error.to_string())
}

/// Whether a file is a share of the trials of a run.
pub(crate) fn is_share(source: &records::Source) -> Result<(), String> {
    SHARES.part(source).and_then(|state| can_be(&state))
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum MethodName {
    Auto,
    MonteCarlo,
}

impl From<MethodName> for MethodChoice {
    fn from(name: MethodName) -> Self {
        match name {
            MethodName::Auto => Self::Auto,
            MethodName::MonteCarlo => Self::MonteCarlo,
        }
    }
}

fn relative_error(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(error) if error > 0.0 && error < 1.0 => Ok(error),
        _ => Err("expected a relative standard error above 0 and below 1, such as 0.01".to_owned()),
    }
}

/// A stack and what came of it.
struct Analysed {
    envelope: Envelope,
    stack: packdrift_spread::Stack,
    result: StackResult,
}

impl Stack {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let loaded = records::read_pack(&self.pack)?;
        let unit = self.units.of(loaded.value.units);
        let loaded = loaded.map(|file| file.stack);
        let defaults = Options::default();
        let options = Options {
            method: self.method.into(),
            trials: self.trials,
            until: self.until,
            digits: self.digits,
            seed: self.seed.unwrap_or(defaults.seed),
            sobol: self.sobol,
            // Only the page has them.
            moved_limits: self.delivery.out.is_some(),
        };
        let progress = Progress::new("spreading");
        if let Some(shard) = self.shard {
            let partial = part_of(&loaded.value, &options, shard, &progress)?;
            drop(progress);
            SHARES.write(PartialState::from(&partial))?;
            return Ok(Verdict::Acceptable);
        }
        let result = if self.parts.is_empty() {
            analyse(&loaded.value, &options, &progress)?
        } else {
            let states = SHARES.read(&self.parts, can_be)?;
            let parts = states.iter().map(Partial::try_from).collect::<Result<Vec<_>, _>>()?;
            analyse_parts(&loaded.value, &options, &parts, &progress)?
        };
        drop(progress);
        let result = if unit == LengthUnit::Inch { result.in_inches(&loaded.value) } else { result };
        let warnings = result.warnings.iter().map(ToString::to_string);
        let envelope = envelope("stack", &loaded.inputs, Some(options.seed), &loaded.notices, warnings);
        let status = result.verdict().map_or(0, |verdict| verdict.exit_status());
        deliver(&Analysed { envelope, stack: loaded.value, result }, &self.delivery)?;
        Ok(if status == 0 { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Report for Analysed {
    fn text(&self) -> String {
        report::text(&self.stack, &self.result)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.result)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.stack, &self.result)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.stack, &self.result)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.stack, &self.result)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
