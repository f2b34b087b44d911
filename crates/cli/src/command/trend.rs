//! `trend INSPECTIONS`: how fast each valve drifts, and which are heading for the damage zone.

use crate::args::{Delivery, Machine, TableOptions, UnitName, date};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope, to_stdout};
use crate::progress::Progress;
use crate::shares::{Shares, shard};
use clap::{Args, ValueEnum};
use packdrift_records::{self as records, LengthUnit};
use packdrift_report::{Envelope, Figure, Table, trend as report};
use packdrift_trend::{
    Estimator, ForecastPart, Inspections, ModelChoice, Options, Policy, ReadingErrors, Shard, Sums, TrendResult,
    forecast_part, sums_sql, trend, trend_from_sums, trend_of_parts,
};
use serde::{Deserialize, Serialize};
use std::io::{self, Write};
use std::path::PathBuf;

/// Options of `trend`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift trend inspections.csv --policy policy.toml
  packdrift trend inspections.csv --policy policy.toml --today 2027-01-31 --out wear
  packdrift trend --sums-sql")]
pub(crate) struct Trend {
    /// The inspection records (CSV, Parquet or XLSX).
    #[arg(required_unless_present_any = ["sums", "sums_sql"], conflicts_with_all = ["sums", "sums_sql"])]
    inspections: Option<PathBuf>,
    /// In place of the inspections: their sums by segment (Parquet, CSV or XLSX), as the query of --sums-sql makes them.
    #[arg(long, help_heading = "Sums in place of readings", value_name = "FILE", conflicts_with = "sums_sql")]
    sums: Option<PathBuf>,
    /// Print the SQL that makes the table of sums from a table of inspections (named `inspections` unless given), and do nothing else.
    #[arg(
        long,
        help_heading = "Sums in place of readings",
        value_name = "TABLE",
        num_args = 0..=1,
        default_missing_value = "inspections",
        value_parser = table_name
    )]
    sums_sql: Option<String>,
    /// How the SQL engine quotes names: `"` by the standard, a backtick for some.
    #[arg(long, help_heading = "Sums in place of readings", value_enum, value_name = "KIND", requires = "sums_sql")]
    sql_quote: Option<Quote>,
    /// The policy file (TOML): damage zone, risk, horizon. Without it: fits only, no limits, no status.
    #[arg(long, help_heading = "What is judged", value_name = "FILE")]
    policy: Option<PathBuf>,
    /// The day of the answer (ISO 8601), as in `due`. Unless given: the day of the last reading, so that the same files give the same answer.
    #[arg(
        long,
        help_heading = "What is judged",
        value_name = "DATE",
        value_parser = date,
        conflicts_with_all = ["sums", "sums_sql"]
    )]
    today: Option<i32>,
    /// Unit of the inspections' lengths and of all that is shown; the policy's limits in mm or in are brought to it. Unless given, the tables' is mm, and limits
    /// are taken as they stand.
    #[arg(long, help_heading = "What is judged", value_name = "mm|in", value_enum)]
    units: Option<UnitName>,
    /// The wear model; `auto` averages over what the readings leave open, a gamma process beside by the weight that its forecasts earn.
    #[arg(long, help_heading = "The model", value_enum, default_value_t = ModelName::Auto)]
    model: ModelName,
    /// How variances are estimated.
    #[arg(long, help_heading = "The model", value_enum, default_value_t = EstimatorName::Reml)]
    estimator: EstimatorName,
    /// How reading errors scatter; unless given, as normal but for gross errors, and `auto` looks for jumps and faulty days.
    #[arg(long, help_heading = "The model", value_enum, value_name = "KIND")]
    reading_errors: Option<ErrorsName>,
    /// Seed of the points over which the variances' own uncertainty is averaged.
    #[arg(long, help_heading = "The model", value_name = "N")]
    seed: Option<u64>,
    /// Hide the last 1 to N readings of every segment in turn, forecast them from the rest, and score the forecasts of each model.
    #[arg(long, help_heading = "The model", value_name = "N", num_args = 0..=1, require_equals = true, default_missing_value = "2",
          value_parser = clap::value_parser!(u32).range(1..=20), conflicts_with_all = ["sums", "sums_sql"])]
    backtest: Option<u32>,
    /// Forecast only the K-th of N shares of the engines, and write it down (JSON) on standard output; --parts joins them.
    #[arg(long, help_heading = "One run on many machines", value_name = "K/N", value_parser = shard, requires = "policy",
          conflicts_with_all = ["parts", "out", "xlsx", "backtest", "sums_sql"])]
    shard: Option<Shard>,
    /// Take the forecasts from files that --shard wrote, of these records and with these options: the same result to the byte.
    #[arg(
        long,
        help_heading = "One run on many machines",
        value_name = "FILE",
        num_args = 1..,
        requires = "policy",
        conflicts_with = "sums_sql"
    )]
    parts: Vec<PathBuf>,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

const SHARES: Shares = Shares {
    holds: "share of the forecasts of trend",
    meaning: "a share of this run's forecasts as `trend --shard` writes it",
};

/// A share of the forecasts, and what it was made from.
#[derive(Serialize, Deserialize)]
struct Share {
    made_from: MadeFrom,
    forecasts: ForecastPart,
}

/// The files, and the options that forecasts depend on.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct MadeFrom {
    /// SHA-256 of each file; the machines may have them under paths of their own.
    inputs: Vec<String>,
    model: String,
    estimator: String,
    reading_errors: String,
    seed: u64,
    /// The day of the answer, since 1970-01-01.
    today: Option<i32>,
    /// The unit that lengths are brought to; none: as the files have them.
    #[serde(default)]
    units: Option<String>,
}

impl MadeFrom {
    fn new(inputs: &[records::InputFile], options: &Options, units: Option<LengthUnit>) -> Self {
        Self {
            inputs: inputs.iter().map(|input| input.sha256.clone()).collect(),
            model: options.model.name().to_owned(),
            estimator: options.estimator.name().to_owned(),
            reading_errors: options.reading_errors.name().to_owned(),
            seed: options.seed,
            today: options.today,
            units: units.map(|unit| if unit == LengthUnit::Inch { "in".to_owned() } else { "mm".to_owned() }),
        }
    }

    /// What keeps a share from being of the run that `self` is made from.
    fn check(&self, share: &Share) -> Result<(), String> {
        let theirs = &share.made_from;
        let differs = [
            (self.inputs != theirs.inputs, "from other files".to_owned()),
            (self.model != theirs.model, format!("with --model {}", theirs.model)),
            (self.estimator != theirs.estimator, format!("with --estimator {}", theirs.estimator.to_lowercase())),
            (
                self.reading_errors != theirs.reading_errors,
                format!("with reading errors taken {}", theirs.reading_errors),
            ),
            (self.seed != theirs.seed, format!("with --seed {}", theirs.seed)),
            (self.today != theirs.today, "as of another day".to_owned()),
            (self.units != theirs.units, "with other --units".to_owned()),
        ];
        let differs: Vec<String> = differs.into_iter().filter(|(differs, _)| *differs).map(|(_, how)| how).collect();
        if differs.is_empty() { Ok(()) } else { Err(format!("it was made {}", differs.join(", "))) }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum ModelName {
    Auto,
    RandomSlope,
    Wiener,
    RunningIn,
    Gamma,
}

impl From<ModelName> for ModelChoice {
    fn from(name: ModelName) -> Self {
        match name {
            ModelName::Auto => Self::Auto,
            ModelName::RandomSlope => Self::RandomSlope,
            ModelName::Wiener => Self::Wiener,
            ModelName::RunningIn => Self::RunningIn,
            ModelName::Gamma => Self::Gamma,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum EstimatorName {
    /// Restricted maximum likelihood.
    Reml,
    /// Maximum likelihood.
    Ml,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum ErrorsName {
    /// Every reading at its word.
    Normal,
    /// Student's t: one bad reading does not condemn a valve.
    Heavy,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Quote {
    /// By the standard.
    Double,
    /// As some engines do.
    Backtick,
}

/// A table's name as it goes into the query: dots and quotes may be part of it, white space and semicolons may not.
fn table_name(written: &str) -> Result<String, String> {
    if written.is_empty() || written.contains(|c: char| c.is_whitespace() || c.is_control() || c == ';') {
        return Err("expected the name of a table, such as inspections or fleet.inspections".to_owned());
    }
    Ok(written.to_owned())
}

/// The query of `--sums-sql`, on standard output.
fn print_sql(table: &str, quote: Option<Quote>) -> Result<Verdict, Failure> {
    let quote = match quote {
        None | Some(Quote::Double) => '"',
        Some(Quote::Backtick) => '`',
    };
    to_stdout(|out| out.write_all(sums_sql(table, quote).as_bytes()))?;
    Ok(Verdict::Acceptable)
}

/// What is fitted.
enum Records {
    Readings(Inspections),
    Sums(Sums),
}

/// A fleet and what came of it.
struct Fitted {
    envelope: Envelope,
    result: TrendResult,
    policy: Option<Policy>,
}

/// Whether a file is a share of the forecasts of a run on no inputs, with nothing asked.
pub(crate) fn is_share(source: &records::Source) -> Result<(), String> {
    SHARES.part(source).and_then(|share: Share| MadeFrom::new(&[], &Options::default(), None).check(&share))
}

impl Trend {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        if let Some(table) = &self.sums_sql {
            return print_sql(table, self.sql_quote);
        }
        self.machine.apply()?;
        let progress = Progress::new("reading");
        // Mistakes in both files are told in one run.
        let lengths = self.units.map(UnitName::unit);
        let policy = self.policy.as_deref().map(|policy| records::read_policy_in(policy, lengths)).transpose();
        let reading = records::Options { lengths, ..self.tables.reading(self.today) };
        let found = match (&self.sums, &self.inspections) {
            (Some(sums), _) => records::read_sums(sums, &reading).map(|loaded| loaded.map(Records::Sums)),
            (None, Some(table)) => {
                records::read_inspections(table, &reading).map(|loaded| loaded.map(Records::Readings))
            }
            (None, None) => return Err(Failure::Refused("neither inspections nor --sums were given".to_owned())),
        };
        drop(progress);
        let (found, policy) = both(found, policy)?;
        let defaults = Options::default();
        let options = Options {
            model: self.model.into(),
            estimator: match self.estimator {
                EstimatorName::Reml => Estimator::Reml,
                EstimatorName::Ml => Estimator::Ml,
            },
            reading_errors: match self.reading_errors {
                None => ReadingErrors::ByModel,
                Some(ErrorsName::Normal) => ReadingErrors::Normal,
                Some(ErrorsName::Heavy) => ReadingErrors::Heavy,
            },
            seed: self.seed.unwrap_or(defaults.seed),
            backtest: self.backtest.map_or(0, |n| n as usize),
            today: match &found.value {
                Records::Readings(table) => self.today.or_else(|| table.day.iter().copied().max()),
                Records::Sums(_) => None,
            },
            ..defaults
        };
        let mut inputs = found.inputs;
        let mut notices = found.notices;
        let policy = policy.map(|policy| {
            inputs.extend(policy.inputs);
            notices.extend(policy.notices);
            policy.value
        });
        let (engines, features) = match &found.value {
            Records::Readings(table) => (&table.engines, &table.features),
            Records::Sums(sums) => (&sums.engines, &sums.features),
        };
        let strangers = policy.as_ref().map(|policy| strangers(engines, features, policy)).transpose()?;
        let progress = Progress::new("fitting");
        let options = Options { watch: progress.watch(), ..options };
        let whole = match &found.value {
            Records::Readings(table) => packdrift_trend::Records::Readings(table),
            Records::Sums(sums) => packdrift_trend::Records::Sums(sums),
        };
        let made_from = MadeFrom::new(&inputs, &options, lengths);
        let result = match (&policy, self.shard) {
            (Some(policy), Some(shard)) => {
                let forecasts = forecast_part(whole, policy, &options, shard)?;
                drop(progress);
                SHARES.write(Share { made_from, forecasts })?;
                return Ok(Verdict::Acceptable);
            }
            (Some(policy), None) if !self.parts.is_empty() => {
                let shares: Vec<Share> = SHARES.read(&self.parts, |share| made_from.check(share))?;
                let parts: Vec<ForecastPart> = shares.into_iter().map(|share| share.forecasts).collect();
                trend_of_parts(whole, policy, &options, &parts)?
            }
            _ => match whole {
                packdrift_trend::Records::Readings(table) => trend(table, policy.as_ref(), &options)?,
                packdrift_trend::Records::Sums(sums) => trend_from_sums(sums, policy.as_ref(), &options)?,
            },
        };
        drop(progress);
        let warnings = strangers.into_iter().flatten().chain(result.warnings.iter().map(ToString::to_string));
        let envelope = envelope("trend", &inputs, Some(options.seed), &notices, warnings);
        let acceptable = acceptable(&result);
        let fitted = Fitted { envelope, result, policy };
        deliver(&fitted, &self.delivery)?;
        // The program ends here: giving back a large fleet's valves one by one would take longer than some of the steps before.
        std::mem::forget((fitted, found.value));
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

/// A warning where the policy names engines that the inspections do not know.
///
/// # Errors
/// Where the policy judges none of the readings' features: every valve would look well.
pub(crate) fn strangers(engines: &[String], features: &[String], policy: &Policy) -> Result<Vec<String>, Failure> {
    let listed = |names: Vec<&str>| names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    if !policy.features.is_empty() && !policy.features.keys().any(|name| features.contains(name)) {
        let (named, read) = (policy.features.keys(), features.iter());
        return Err(Failure::Refused(format!(
            "the policy has limits for {} only, but the readings are of {}: nothing would be judged. Give the policy's [feature.NAME] \
             tables the names in the inspections' column `feature`",
            listed(named.map(String::as_str).collect()),
            listed(read.map(String::as_str).collect())
        )));
    }
    let unknown: Vec<&str> =
        policy.usage.keys().filter(|engine| !engines.contains(engine)).map(String::as_str).collect();
    Ok(match unknown[..] {
        [] => vec![],
        [engine] => vec![format!("[usage]: no engine `{engine}` is in the inspections; its hours a week are not used")],
        _ => vec![format!(
            "[usage]: engines {} are not in the inspections; their hours a week are not used",
            listed(unknown)
        )],
    })
}

/// Both values, or the mistakes of both.
pub(crate) fn both<A, B>(a: Result<A, records::Error>, b: Result<B, records::Error>) -> Result<(A, B), Failure> {
    match (a, b) {
        (Ok(a), Ok(b)) => Ok((a, b)),
        (Err(records::Error::Input(mut a)), Err(records::Error::Input(b))) => {
            a.merge(b);
            Err(Failure::Input(a))
        }
        (Err(error), _) | (_, Err(error)) => Err(error.into()),
    }
}

/// Every valve is in window or to be watched; without limits nothing was asked.
pub(crate) fn acceptable(result: &TrendResult) -> bool {
    !result.is_judged() || result.verdict().exit_status() == 0
}

impl Report for Fitted {
    fn text(&self) -> String {
        report::text(&self.result, self.policy.as_ref())
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.result)
    }

    fn write_json(&self, out: &mut dyn Write) -> io::Result<()> {
        report::write_json(out, &self.envelope, &self.result)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.result, self.policy.as_ref())
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.result, self.policy.as_ref())
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.result, self.policy.as_ref())
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
