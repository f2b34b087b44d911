//! The fitted model of a feature, and how far it can be trusted.

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
    /// Line, wander and power of the hours at once, averaged over all that the readings leave open.
    Integrated,
}

impl ModelKind {
    /// As JSON spells it.
    pub fn name(self) -> &'static str {
        match self {
            Self::RandomSlope => "random-slope",
            Self::Wiener => "wiener",
            Self::RunningIn => "running-in",
            Self::Gamma => "gamma",
            Self::Integrated => "integrated",
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
    /// Standard deviation of what the readings of one visit have in common; None where no visit has repeats, or the model does not ask.
    pub sd_visit: Option<f64>,
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
    /// Growth κ of wear with wear: the middle of what the readings leave open, and its central 95 %. Above 0 wear feeds on itself (for a power of 1
    /// its rate grows e^κ-fold in `power_hours`), below 0 it calms down. None where the model has none.
    pub growth: Option<Growth>,
    /// Gamma process: shape per hour a and scale b of the increments, and the coefficient of variation of segments' mean rates.
    pub gamma: Option<GammaParameters>,
    /// Log-likelihood at the estimates (restricted for REML; a lower bound of it with heavy-tailed reading errors); None where forecasts
    /// are averaged and there is no single estimate.
    pub log_likelihood: Option<f64>,
    /// Estimated parameters, fixed effects included.
    pub parameters: usize,
    /// The mean lines, one per group present (one without a name where there are none).
    pub groups: Vec<GroupLine>,
}

/// What the readings leave open of the growth κ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// The middle: as likely above as below.
    pub median: f64,
    /// Below it with a chance of 2.5 %.
    pub low: f64,
    /// Above it with a chance of 2.5 %.
    pub high: f64,
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
    /// The one reported as [`Model`]: of those that forecasts are averaged over the one with the largest share.
    pub chosen: bool,
    /// Share of the forecasts that is its; the shares of one feature add to 1.
    pub weight: f64,
    /// Why it was not fitted, or what its fit lacks.
    pub note: String,
}
