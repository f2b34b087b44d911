//! `trend INSPECTIONS`: how fast each valve drifts, and which are heading for the damage zone.

use crate::args::{Delivery, Machine};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::{Args, ValueEnum};
use packdrift_records as records;
use packdrift_report::{Envelope, Figure, Table, trend as report};
use packdrift_trend::{
    Estimator, Inspections, ModelChoice, Options, Policy, ReadingErrors, Status, TrendResult, trend,
};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `trend`.
#[derive(Debug, Args)]
pub(crate) struct Trend {
    /// The inspection records (CSV, Parquet or XLSX).
    inspections: PathBuf,
    /// The policy file (TOML): damage zone, risk, horizon. Without it: fits only, no limits, no status.
    #[arg(long, value_name = "FILE")]
    policy: Option<PathBuf>,
    /// The wear model; `auto` takes the best by BIC of those the data can support.
    #[arg(long, value_enum, default_value_t = ModelName::Auto)]
    model: ModelName,
    /// How variances are estimated.
    #[arg(long, value_enum, default_value_t = EstimatorName::Reml)]
    estimator: EstimatorName,
    /// How reading errors scatter; unless given, `auto` looks for heavy tails and other models take them as normal.
    #[arg(long, value_enum, value_name = "KIND")]
    reading_errors: Option<ErrorsName>,
    /// Seed of the points over which the variances' own uncertainty is averaged.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
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

/// A fleet and what came of it.
struct Fitted {
    envelope: Envelope,
    result: TrendResult,
    policy: Option<Policy>,
}

impl Trend {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let progress = Progress::new("reading", self.delivery.quiet);
        // Mistakes in both files are told in one run.
        let policy = self.policy.as_deref().map(records::read_policy).transpose();
        let inspections = records::read_inspections(&self.inspections, &records::Options::default());
        drop(progress);
        let (inspections, policy) = both(inspections, policy)?;
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
            ..defaults
        };
        let mut inputs = inspections.inputs;
        let mut notices = inspections.notices;
        let policy = policy.map(|policy| {
            inputs.extend(policy.inputs);
            notices.extend(policy.notices);
            policy.value
        });
        let strangers = policy.as_ref().map(|policy| strangers(&inspections.value, policy)).transpose()?;
        let progress = Progress::new("fitting", self.delivery.quiet);
        let result = trend(&inspections.value, policy.as_ref(), &options)?;
        drop(progress);
        let warnings = strangers.into_iter().flatten().chain(result.warnings.iter().map(ToString::to_string));
        let envelope = envelope("trend", &inputs, Some(options.seed), &notices, warnings);
        let acceptable = acceptable(&result);
        deliver(&Fitted { envelope, result, policy }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

/// A warning where the policy names engines that the inspections do not know.
///
/// # Errors
/// Where the policy judges none of the readings' features: every valve would look well.
pub(crate) fn strangers(inspections: &Inspections, policy: &Policy) -> Result<Vec<String>, Failure> {
    let listed = |names: Vec<&str>| names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    if !policy.features.is_empty() && !policy.features.keys().any(|name| inspections.features.contains(name)) {
        let (named, read) = (policy.features.keys(), inspections.features.iter());
        return Err(Failure::Refused(format!(
            "the policy has limits for {} only, but the readings are of {}: nothing would be judged. Give the policy's [feature.NAME] \
             tables the names in the inspections' column `feature`",
            listed(named.map(String::as_str).collect()),
            listed(read.map(String::as_str).collect())
        )));
    }
    let unknown: Vec<&str> =
        policy.usage.keys().filter(|engine| !inspections.engines.contains(engine)).map(String::as_str).collect();
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

/// No valve is due or overdue, and every feature with limits could be judged.
pub(crate) fn acceptable(result: &TrendResult) -> bool {
    result.features.iter().all(|feature| {
        let judged = feature.limits.is_none() || feature.model.is_some();
        judged && !feature.valves.iter().any(|valve| matches!(valve.status, Some(Status::Due | Status::Overdue)))
    })
}

impl Report for Fitted {
    fn text(&self) -> String {
        report::text(&self.result, self.policy.as_ref())
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.result)
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
