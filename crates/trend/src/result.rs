//! What a trend finds: the model of each feature, and a forecast of each valve.

use crate::backtest::BacktestModel;
use crate::crossing::Prospect;
use crate::policy::FeatureLimits;
use crate::verdict::{NewestReading, Status, ValveVerdict};
use packdrift_verdict::Verdict;

/// Result of [`trend`](crate::trend).
#[derive(Debug, Clone, PartialEq)]
pub struct TrendResult {
    /// One per feature, in the table's order.
    pub features: Vec<FeatureResult>,
    /// Readings in the table.
    pub rows: usize,
    /// Readings that no fit used, by reason; empty where all were used.
    pub left_out: Vec<LeftOut>,
    /// What the reader must know.
    pub warnings: Vec<TrendWarning>,
}

impl TrendResult {
    /// The verdict on the fleet: its worst valve's. A feature with limits that could not be judged is not shown to be right.
    ///
    /// Without limits nothing is asked, and the answer is `not shown`; [`Self::is_judged`] tells.
    pub fn verdict(&self) -> Verdict {
        let features = self.features.iter().filter(|f| f.has_limits());
        Verdict::worst(features.map(FeatureResult::verdict))
    }

    /// Whether any feature has limits to be judged by.
    pub fn is_judged(&self) -> bool {
        self.features.iter().any(FeatureResult::has_limits)
    }
}

impl FeatureResult {
    /// Whether the policy has a limit for it.
    pub fn has_limits(&self) -> bool {
        self.limits.as_ref().is_some_and(|l| l.lower.is_some() || l.upper.is_some())
    }

    /// The worst of its valves.
    pub fn verdict(&self) -> Verdict {
        let worst = self.valves.iter().filter_map(|v| v.verdict.as_ref()).max_by_key(|v| v.status());
        match worst {
            Some(worst) if self.valves.iter().all(|v| v.verdict.is_some()) => worst.verdict(),
            _ => Verdict::not_shown(format!("{}: {}", self.feature, self.diagnostics.reason)),
        }
    }
}

/// Readings left out for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// In words.
    pub reason: String,
    /// How many readings.
    pub rows: usize,
    /// The first few, as lines of the file where known, else 1-based rows.
    pub first_lines: Vec<u32>,
}

/// How far a fit can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FitStatus {
    /// Converged inside the range of every parameter.
    Ok,
    /// At least one variance is estimated as 0, or was set to 0 because the data cannot show it: the model without it is the result.
    Boundary,
    /// The optimiser did not meet the criterion: no estimates are given.
    NotConverged,
    /// The data cannot carry the model: no estimates are given.
    NotEstimable,
}

impl FitStatus {
    /// As JSON spells it: `ok`, `boundary`, `not-converged`, `not-estimable`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Boundary => "boundary",
            Self::NotConverged => "not-converged",
            Self::NotEstimable => "not-estimable",
        }
    }
}

/// How the fit went, as data.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnostics {
    /// The verdict.
    pub status: FitStatus,
    /// The verdict in words; empty where all is well.
    pub reason: String,
    /// Evaluations of the likelihood.
    pub evaluations: usize,
    /// Largest change of the deviance that another Newton step promises; the criterion is 1e-8.
    pub newton_decrement: f64,
    /// Points over which the variances' uncertainty was averaged in forecasts; 1 where the fitted variances stand alone.
    pub average_points: usize,
    /// Effective number of them (Kish), from the importance weights.
    pub average_effective: f64,
}

/// Which model was fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ModelKind {
    /// Straight lines.
    RandomSlope,
    /// Straight lines and a Wiener process.
    Wiener,
    /// A power of the hours.
    RunningIn,
    /// A gamma process.
    Gamma,
}

impl ModelKind {
    /// As JSON spells it.
    pub fn name(self) -> &'static str {
        match self {
            Self::RandomSlope => "random-slope",
            Self::Wiener => "wiener",
            Self::RunningIn => "running-in",
            Self::Gamma => "gamma",
        }
    }
}

/// Mean line of one group of valves.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupLine {
    /// Group name; empty for valves without one.
    pub group: String,
    /// Segments of it.
    pub segments: usize,
    /// Mean at 0 hours of a segment, in the feature's unit.
    pub intercept: f64,
    /// Its standard error.
    pub intercept_se: f64,
    /// Mean slope, per hour.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
}

/// A fitted model of one feature.
///
/// value = (intercept + b0) + (slope + b1 + c)·Λ(τ) + wander(Λ(τ)) + reading error, τ hours since the segment began, Λ(τ) = τ
/// (or `power_hours`·(τ/`power_hours`)^`power`).
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Which.
    pub kind: ModelKind,
    /// Fleet mean at 0 hours of a segment; with groups, their mean weighted by segments.
    pub intercept: f64,
    /// Fleet mean slope, per hour; with groups, their mean weighted by segments.
    pub slope: f64,
    /// Standard error of `intercept`.
    pub intercept_se: f64,
    /// Standard error of `slope`.
    pub slope_se: f64,
    /// Standard deviation of segments' intercepts about their mean.
    pub sd_intercept: f64,
    /// Standard deviation of segments' slopes, per hour, beyond what an engine's valves share.
    pub sd_slope: f64,
    /// Correlation of a segment's intercept and slope; 0 where either does not scatter.
    pub corr: f64,
    /// Standard deviation of the wander after one hour (it grows with the root of the hours).
    pub sd_wander: f64,
    /// Standard deviation of a reading's error (for heavy tails: of the t's scale).
    pub sd_reading: f64,
    /// Standard deviation of the slope that all valves of an engine share, per hour; None where the model has none. With groups: of a group
    /// that drifts at the root mean square of the groups' slopes; the others share in proportion to their own.
    pub sd_engine_slope: Option<f64>,
    /// Standard deviation of the slope that a valve keeps from one re-shim to the next, per hour, a part of `sd_slope`: all of it where a
    /// re-shim leaves the slope as it was. None where the model has none.
    pub sd_valve_slope: Option<f64>,
    /// Degrees of freedom of the reading errors; None where they are normal.
    pub reading_df: Option<f64>,
    /// Power of the hours; None where it is 1 by model.
    pub power: Option<f64>,
    /// The hours at which the power law's own scale is the hour (see the type's formula).
    pub power_hours: Option<f64>,
    /// Gamma process: shape per hour a and scale b of the increments, and the coefficient of variation of segments' mean rates.
    pub gamma: Option<GammaParameters>,
    /// Log-likelihood at the estimates (restricted for REML; a lower bound of it with heavy-tailed reading errors).
    pub log_likelihood: f64,
    /// Estimated parameters, fixed effects included.
    pub parameters: usize,
    /// The mean lines, one per group present (one without a name where there are none).
    pub groups: Vec<GroupLine>,
}

/// Parameters of a gamma process with reading error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GammaParameters {
    /// Shape per hour: an increment over h hours is Gamma(shape·h, scale).
    pub shape_per_hour: f64,
    /// Scale b, in the feature's unit.
    pub scale: f64,
    /// Coefficient of variation of segments' rates; 0 where all wear alike.
    pub rate_cv: f64,
}

/// One line of `auto`'s comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// In words, as `wiener, engine slope, heavy tails`.
    pub model: String,
    /// Its kind.
    pub kind: ModelKind,
    /// Maximum log-likelihood (not restricted, so that models compare); None where it was not fitted.
    pub log_likelihood: Option<f64>,
    /// Estimated parameters.
    pub parameters: usize,
    /// −2·log-likelihood + parameters·ln(readings); None where it was not fitted.
    pub bic: Option<f64>,
    /// The one taken.
    pub chosen: bool,
    /// Why it was not fitted, or what its fit lacks.
    pub note: String,
}

/// Which limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Limit {
    /// Below it is the damage zone.
    Lower,
    /// Above it is the damage zone.
    Upper,
}

impl Limit {
    /// `lower` or `upper`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Lower => "lower",
            Self::Upper => "upper",
        }
    }
}

/// Meter hours by which the true value has entered the damage zone with a chance of 0.05, 0.5, 0.95; None where it never does with that
/// chance. Where the chance now is already as large, the meter hours now.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CrossingHours {
    /// Early: chance 0.05.
    pub p05: Option<f64>,
    /// Middle: chance 0.5.
    pub p50: Option<f64>,
    /// Late: chance 0.95.
    pub p95: Option<f64>,
}

/// A reading as the figures show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeriesPoint {
    /// Meter hours.
    pub hours: f64,
    /// Days since 1970-01-01; None where the source has no dates.
    pub day: Option<i32>,
    /// The reading.
    pub value: f64,
    /// Weight of the reading: 1 at its word, near 0 suspected. 0: left out (faulty day).
    pub weight: f64,
    /// Segment it belongs to, 1-based.
    pub segment: u32,
    /// Line of the file, or 1-based row.
    pub line: u32,
}

/// Fitted line and bands at one meter hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// Meter hours.
    pub hours: f64,
    /// Best linear unbiased prediction of the true value.
    pub fit: f64,
    /// 95 % band of the true value.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// 95 % band of a reading.
    pub reading_low: f64,
    /// Its upper end.
    pub reading_high: f64,
}

/// The future of a valve of a group that begins a segment now and has not been read.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetProspect {
    /// Group name; empty where there are none, or where all share one line.
    pub group: String,
    /// Its future from 0 hours of the segment.
    pub prospect: Prospect,
    /// The same future by points that are each one draw of the fleet's parameters, mean line included, where [`Self::prospect`] averages over
    /// the mean line's error: what differs between its points is what the readings do not tell of the fleet. The draws of one feature's groups
    /// go together.
    pub drawn: Prospect,
}

/// Forecast of one valve, from its current (last) segment.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveForecast {
    /// Index into the inspections' `valves`.
    pub valve_index: u32,
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Group name; empty for none.
    pub group: String,
    /// Current segment, 1-based.
    pub segment: u32,
    /// Readings in the current segment.
    pub readings: usize,
    /// Meter hours at the last reading: "now" of this forecast.
    pub hours: f64,
    /// Meter hours at which the segment began.
    pub segment_start: f64,
    /// True value now, best linear unbiased prediction; not a number where nothing could be fitted.
    pub level: f64,
    /// Its standard error, mean line's uncertainty included, fitted variances taken at their word.
    pub level_se: f64,
    /// Slope now, per hour.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// Covariance of the errors of level and slope.
    pub level_slope_cov: f64,
    /// The limit its slope points at; None without such a limit.
    pub drifting_to: Option<Limit>,
    /// When it enters the damage zone. All None without limits.
    pub crossing_hours: CrossingHours,
    /// Chance of being in the damage zone now; None without limits.
    pub chance_now: Option<f64>,
    /// Chance of being in the damage zone now or at some time within the horizon; None without limits.
    pub chance_by_horizon: Option<f64>,
    /// By the policy; None without limits. [`Self::verdict`] says why.
    pub status: Option<Status>,
    /// The status with its reasons, and each answer where something is doubted; None without limits.
    pub verdict: Option<ValveVerdict>,
    /// The newest reading; None where readings are not at hand (a table of sums).
    pub newest: Option<NewestReading>,
    /// The same future at any hour ahead, for planning.
    pub prospect: Prospect,
    /// All readings of the valve, earlier segments included; empty for large fleets.
    pub series: Vec<SeriesPoint>,
    /// Current segment's line and bands, from its start to past the horizon; empty for large fleets.
    pub band: Vec<BandPoint>,
}

/// A reading that does not fit its valve.
#[derive(Debug, Clone, PartialEq)]
pub struct SuspectedReading {
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Line of the file, or 1-based row.
    pub line: u32,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Meter hours.
    pub hours: f64,
    /// The reading.
    pub value: f64,
    /// What the model expected from all other readings.
    pub expected: f64,
    /// (value − expected) / its standard deviation.
    pub standardised: f64,
    /// Weight it kept in the fit, 0 to 1.
    pub weight: f64,
}

/// A jump that stayed: a part slipped, or a wrong part was fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct StepChange {
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Line of the first reading after the step, or its 1-based row.
    pub line: u32,
    /// Day of that reading.
    pub day: i32,
    /// Its meter hours.
    pub hours: f64,
    /// Estimated jump, in the feature's unit.
    pub size: f64,
    /// Its standard error.
    pub size_se: f64,
    /// Readings after the step.
    pub readings_after: usize,
}

/// A day on which all readings were off together: look at the instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultyDay {
    /// Days since 1970-01-01.
    pub day: i32,
    /// Readings of that day.
    pub readings: usize,
    /// Engines read that day.
    pub engines: Vec<String>,
    /// Estimated common shift, in the feature's unit.
    pub shift: f64,
    /// Its standard error.
    pub shift_se: f64,
}

/// All that was found about one feature.
#[derive(Debug, Clone, PartialEq)]
pub struct FeatureResult {
    /// Feature name.
    pub feature: String,
    /// Limits of the policy, if it has any for the feature.
    pub limits: Option<FeatureLimits>,
    /// How variances were estimated: `REML` or `ML`.
    pub method: &'static str,
    /// Readings used.
    pub rows: usize,
    /// Valves.
    pub valves_count: usize,
    /// Segments.
    pub segments: usize,
    /// Engines.
    pub engines: usize,
    /// How the fit went.
    pub diagnostics: Diagnostics,
    /// The model; None where nothing could be estimated.
    pub model: Option<Model>,
    /// `auto`'s comparison; empty where a model was asked for by name.
    pub compared: Vec<Compared>,
    /// One per valve, in the table's order; empty where nothing could be estimated.
    pub valves: Vec<ValveForecast>,
    /// Where `auto` took a model without a wander that the data do not rule out: the wander's estimate that forecasts carry, averaged over
    /// its uncertainty, in the unit of [`Model::sd_wander`].
    pub wander_carried: Option<f64>,
    /// The same of a slope that valves keep through their re-shims, in the unit of [`Model::sd_valve_slope`].
    pub valve_slope_carried: Option<f64>,
    /// How forecasts of hidden readings would have fared, by model; empty where [`Options::backtest`](crate::Options::backtest) is 0.
    pub backtest: Vec<BacktestModel>,
    /// A new segment of each group of the model, for valves not yet read.
    pub fleet: Vec<FleetProspect>,
    /// Readings that do not fit.
    pub suspected: Vec<SuspectedReading>,
    /// Steps found; each was made the start of a new segment.
    pub steps: Vec<StepChange>,
    /// Faulty days found; their readings were left out.
    pub faulty_days: Vec<FaultyDay>,
}

/// What the reader must know of the result as a whole or of one feature.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum TrendWarning {
    /// A feature could not be fitted.
    NotFitted {
        /// Feature name.
        feature: String,
        /// Why, and what would help.
        reason: String,
    },
    /// A variance is 0, or could not be shown by the data.
    Boundary {
        /// Feature name.
        feature: String,
        /// Which, and what it means.
        reason: String,
    },
    /// The policy has no limits for a feature of the table.
    NoLimits {
        /// Feature name.
        feature: String,
    },
    /// The policy has limits for a feature that the table lacks.
    NoReadings {
        /// Feature name.
        feature: String,
    },
    /// Valves that were not read at their engine's last look.
    NotReadLately {
        /// Feature name.
        feature: String,
        /// How many valves.
        valves: usize,
    },
    /// Few valves: the scatter of the fleet is poorly known.
    SmallFleet {
        /// Feature name.
        feature: String,
        /// Segments.
        segments: usize,
    },
    /// Readings that do not fit.
    Suspected {
        /// Feature name.
        feature: String,
        /// How many.
        readings: usize,
    },
    /// Steps.
    Steps {
        /// Feature name.
        feature: String,
        /// How many.
        steps: usize,
    },
    /// Faulty days.
    FaultyDays {
        /// Feature name.
        feature: String,
        /// How many.
        days: usize,
    },
    /// Something a method had to do that changes how the result reads.
    Note {
        /// Feature name.
        feature: String,
        /// In words.
        text: String,
    },
}

impl std::fmt::Display for TrendWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotFitted { feature, reason } => write!(f, "{feature}: not fitted: {reason}"),
            Self::Boundary { feature, reason } => write!(f, "{feature}: {reason}"),
            Self::NoLimits { feature } => {
                write!(
                    f,
                    "{feature}: the policy has no limits for it, so there is no status; add [feature.{feature}] with `lower`, `upper` or both"
                )
            }
            Self::NoReadings { feature } => {
                write!(f, "{feature}: the policy has limits for it, but no reading in the inspections")
            }
            Self::NotReadLately { feature, valves } => write!(
                f,
                "{feature}: {valves} valve(s) were not read at their engine's last inspection; their forecast starts at their own last reading, earlier on the meter"
            ),
            Self::SmallFleet { feature, segments } => write!(
                f,
                "{feature}: only {segments} segment(s) tell how valves differ; forecasts are wide on purpose, more valves narrow them"
            ),
            Self::Suspected { feature, readings } => {
                write!(
                    f,
                    "{feature}: {readings} reading(s) do not fit their valve and count little; read these valves again"
                )
            }
            Self::Steps { feature, steps } => write!(
                f,
                "{feature}: {steps} jump(s) that stayed were found and taken as a new start; check whether a part slipped or was changed without a note"
            ),
            Self::FaultyDays { feature, days } => {
                write!(
                    f,
                    "{feature}: on {days} day(s) all readings were off together and were left out; check the instrument used"
                )
            }
            Self::Note { feature, text } => write!(f, "{feature}: {text}"),
        }
    }
}
