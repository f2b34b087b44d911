//! What the integrated model answers.

use super::diagnostics::Diagnostics;
use crate::crossing::Prospect;
use std::fmt;

/// A parameter of the model, in the order in which it is reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Parameter {
    /// Standard deviation of one reading's error, σₑ.
    Reading,
    /// Standard deviation of what the readings of one visit have in common.
    Visit,
    /// Standard deviation of the histories' starts about their group's line.
    Start,
    /// Standard deviation of the histories' own slopes, per hour of the clock.
    Slope,
    /// Correlation of a history's start and slope.
    Correlation,
    /// Standard deviation of the wander after one hour of the clock.
    Wander,
    /// Power p of the hours.
    Power,
    /// Growth κ of wear with wear.
    Growth,
    /// Standard deviation of the slope that an engine's valves share.
    Engine,
    /// Standard deviation of the slope that a valve keeps through its re-shims.
    Kept,
}

impl Parameter {
    /// In plain words, as results name it.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Reading => "reading error",
            Self::Visit => "error of a visit",
            Self::Start => "scatter of starts",
            Self::Slope => "scatter of slopes",
            Self::Correlation => "correlation of start and slope",
            Self::Wander => "wander",
            Self::Power => "power of the hours",
            Self::Growth => "growth of wear with wear",
            Self::Engine => "slope shared by an engine's valves",
            Self::Kept => "slope kept through re-shims",
        }
    }
}

impl fmt::Display for Parameter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Which end of its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    Lower,
    Upper,
}

/// Whether the answer may be relied on. Anything but [`Outcome::Settled`] never reassures.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Outcome {
    /// All checks passed.
    Settled,
    /// Too few effective draws carry the average.
    TooFewDraws { effective: f64, needed: f64 },
    /// A few draws carry most of the weight: the tail of the weights has this Pareto shape.
    HeavyWeights { shape: f64, limit: f64 },
    /// Most of a parameter's posterior lies at an end of its range: the data ask for what the model does not hold.
    Piled { parameter: Parameter, end: End, share: f64 },
    /// A likelihood or a forecast is no number.
    NotFinite,
    /// The data cannot tell the model's mean line.
    NotEstimable(String),
}

impl Outcome {
    /// Whether chances may be used to reassure.
    pub(crate) fn is_settled(&self) -> bool {
        matches!(self, Self::Settled)
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Settled => f.write_str("settled"),
            Self::TooFewDraws { effective, needed } => {
                write!(f, "only {effective:.0} effective draws of the variances, {needed:.0} are needed")
            }
            Self::HeavyWeights { shape, limit } => {
                write!(
                    f,
                    "a few draws of the variances carry the average (Pareto shape {shape:.2}, at most {limit:.2})"
                )
            }
            Self::Piled { parameter, end, share } => write!(
                f,
                "{:.0} % of what the data say of the {parameter} lies at the {} end of its range",
                100.0 * share,
                match end {
                    End::Lower => "lower",
                    End::Upper => "upper",
                }
            ),
            Self::NotFinite => f.write_str("a figure could not be computed"),
            Self::NotEstimable(why) => f.write_str(why),
        }
    }
}

/// A parameter's posterior, in the feature's unit (slopes and wander per hour of the clock, see [`Answer::clock_hours`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Summary {
    pub(crate) parameter: Parameter,
    pub(crate) mean: f64,
    pub(crate) sd: f64,
    /// Quantiles of order 2.5, 50 and 97.5 %.
    pub(crate) low: f64,
    pub(crate) median: f64,
    pub(crate) high: f64,
}

/// Mean line of a group: level at the start, and slope per hour of the clock, averaged over the posterior.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct MeanLine {
    pub(crate) intercept: f64,
    pub(crate) intercept_se: f64,
    pub(crate) slope: f64,
    pub(crate) slope_se: f64,
}

/// The true value at a reading's hours, as the model sees it with all readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fitted {
    /// Hours since the history's start.
    pub(crate) hours: f64,
    pub(crate) mean: f64,
    pub(crate) sd: f64,
}

/// Forecast of one current history.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Forecast {
    /// Index into [`Question::histories`](super::Question).
    pub(crate) history: usize,
    /// The future, averaged over everything; its points are in common with those of all other forecasts of the answer.
    pub(crate) prospect: Prospect,
    /// The same with every reading of this history taken at its word, where one of them may be a gross error.
    pub(crate) believed: Option<Prospect>,
    /// True value at the last reading, with its total error.
    pub(crate) level: f64,
    pub(crate) level_se: f64,
    /// Rate of wear at the last reading, per hour, with its total error.
    pub(crate) slope: f64,
    pub(crate) slope_se: f64,
    pub(crate) level_slope_cov: f64,
    /// At the visits, for figures; empty where not asked for.
    pub(crate) fitted: Vec<Fitted>,
}

/// What the integrated model makes of a fleet.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    pub(crate) outcome: Outcome,
    /// Of every current history, in the order of the question; empty where the outcome is `NotEstimable` or `NotFinite`.
    pub(crate) forecasts: Vec<Forecast>,
    /// By history and reading of the question: posterior chance that it is a gross error. The forecasts used these.
    pub(crate) gross: Vec<Vec<f64>>,
    pub(crate) parameters: Vec<Summary>,
    /// By group.
    pub(crate) lines: Vec<MeanLine>,
    /// By group: a new history, not yet read; and the same by points that are each one draw of the fleet, mean line included.
    pub(crate) unread: Vec<(Prospect, Prospect)>,
    /// T: at these hours the clock shows the same for every power and growth.
    pub(crate) clock_hours: f64,
    /// Prior standard deviation of the reading error that was used, in the feature's unit, and whether it was stated.
    pub(crate) reading_prior: f64,
    /// How far the posterior of the reading error is from a stated one, in its prior's standard deviations; None where none was stated.
    pub(crate) reading_surprise: Option<f64>,
    /// Where wear clearly speeds up: its rate at T over that at half of T.
    pub(crate) speeds_up: Option<f64>,
    /// Groups were put together because one of them has no slope to tell.
    pub(crate) pooled_groups: bool,
    /// Histories whose engines made the posterior of the fleet's parameters.
    pub(crate) histories_used: usize,
    pub(crate) diagnostics: Diagnostics,
}
