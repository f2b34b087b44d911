//! Wear models over recorded inspections, and forecasts.
//!
//! The input is a columnar [`Inspections`] table and a [`Policy`]; files are read by `packdrift-records`.

mod backtest;
mod believe;
mod checks;
mod crossing;
mod day;
#[cfg(test)]
mod decisions;
mod ensemble;
mod error;
mod families;
#[cfg(test)]
mod fixtures;
mod forecast;
mod inspections;
#[allow(dead_code, unused_imports, reason = "its own tests use all of it")]
mod integrated;
mod kernel;
mod notices;
mod optimise;
mod options;
mod policy;
mod readings;
mod remembered;
mod result;
mod robust;
mod run;
mod segments;
mod shard;
mod since;
mod sums;
mod usage;
mod verdict;
mod watch;

pub use backtest::backtest;
pub use crossing::Prospect;
pub use error::TrendError;
pub use inspections::{Doubt, Inspections, Latest, MeterChange, Unlikely};
pub use options::{Estimator, ModelChoice, Options, ReadingErrors};
pub use policy::{Costs, FeatureLimits, Policy, Window};
pub use readings::{InspectionsBuilder, Reading, ReadingError, days_since_epoch};
pub use result::{
    BacktestFeature, BacktestModel, BandPoint, Compared, CrossingHours, Diagnostics, FaultyDay, FeatureResult,
    FitStatus, FleetProspect, GammaParameters, GroupLine, Growth, LeftOut, Limit, Model, ModelKind, Scores,
    SeriesPoint, StepChange, SuspectedReading, TrendResult, TrendWarning, ValveForecast,
};

pub use run::trend;
pub use shard::{ForecastPart, Records, Shard, forecast_part, trend_of_parts};
pub use since::hours_behind;
pub use sums::{Sums, sums_sql, trend_from_sums};
pub use usage::{Meter, Usage, UsageSource, fleet_usage, meters, usages};
pub use verdict::{Answer, Assumption, NewestReading, Reason, Status, ValveVerdict, status_by_chance};
pub use watch::Watch;
