//! What a user may ask of a trend.

use crate::watch::Watch;

/// Which wear model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum ModelChoice {
    /// One model that holds line, wander, power of the hours and growth of wear with wear at once, averaged over all that the readings leave
    /// open, and a gamma process beside it with the weight that its forecasts earn; the result says how much each weighs.
    #[default]
    Auto,
    /// A straight line a segment, starts and slopes scattering over the fleet.
    RandomSlope,
    /// The same with a Wiener process added: the true value wanders about its line.
    Wiener,
    /// A power of the hours in place of the hours: fast at first, slower later (or the reverse).
    RunningIn,
    /// A gamma process: wear that cannot heal, read with error.
    Gamma,
}

impl ModelChoice {
    /// As the command line spells it.
    ///
    /// ```
    /// use packdrift_trend::ModelChoice;
    /// assert_eq!(ModelChoice::RandomSlope.name(), "random-slope");
    /// assert_eq!(ModelChoice::from_name("wiener"), Some(ModelChoice::Wiener));
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::RandomSlope => "random-slope",
            Self::Wiener => "wiener",
            Self::RunningIn => "running-in",
            Self::Gamma => "gamma",
        }
    }

    /// The choice of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Auto, Self::RandomSlope, Self::Wiener, Self::RunningIn, Self::Gamma]
            .into_iter()
            .find(|m| m.name() == name)
    }
}

/// How variances are estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Estimator {
    /// Restricted maximum likelihood: allows for the estimated means. The default.
    #[default]
    Reml,
    /// Maximum likelihood.
    Ml,
}

impl Estimator {
    /// `REML` or `ML`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Reml => "REML",
            Self::Ml => "ML",
        }
    }
}

/// How reading errors scatter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum ReadingErrors {
    /// Normal but for gross errors, which every model leaves out; jumps and faulty days are looked for with [`ModelChoice::Auto`].
    #[default]
    ByModel,
    /// Normal, every reading at its word, gross errors too.
    Normal,
    /// Student's t for a model asked for by name, jumps and faulty days looked for; `auto` has gross errors in any case.
    Heavy,
}

impl ReadingErrors {
    /// In words: `as the model has them`, `as normal`, `as heavy-tailed`.
    pub fn name(self) -> &'static str {
        match self {
            Self::ByModel => "as the model has them",
            Self::Normal => "as normal",
            Self::Heavy => "as heavy-tailed",
        }
    }
}

/// Options of [`trend`](crate::trend).
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Which wear model.
    pub model: ModelChoice,
    /// How variances are estimated.
    pub estimator: Estimator,
    /// How reading errors scatter.
    pub reading_errors: ReadingErrors,
    /// A random slope that all valves of an engine share (they share oil and load): `Some(true)` asks for it, `Some(false)` forbids it,
    /// None leaves it to `auto` (a model asked for by name then goes without).
    pub engine_slope: Option<bool>,
    /// A random slope that a valve keeps through its re-shims, beside the one that each segment has for itself: `Some(true)` asks for it,
    /// `Some(false)` forbids it, None leaves it to `auto` (a model asked for by name then goes without).
    pub valve_slope: Option<bool>,
    /// Rounds of a [`backtest`](crate::backtest()) to run beside the forecast; 0 for none.
    pub backtest: usize,
    /// The day of the answer, since 1970-01-01, not before the last reading: chances are those of the hours that each engine has run by then
    /// and of the horizon after it. None: each valve as of its own last reading, and its horizon from there.
    pub today: Option<i32>,
    /// Seed of the points over which the variances' own uncertainty is averaged.
    pub seed: u64,
    /// Points of that average; 1 takes the fitted variances at their word. Fleets above [`Options::average_up_to`] segments use 1.
    pub average_points: usize,
    /// Largest fleet, in segments, for which the average is taken: its effect falls as one over the number of segments.
    pub average_up_to: usize,
    /// Largest number of valves for which readings and prediction bands are kept for figures.
    pub series_up_to: usize,
    /// Told how far the run has come; nobody unless given. It changes no result.
    pub watch: Watch,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            model: ModelChoice::Auto,
            estimator: Estimator::Reml,
            reading_errors: ReadingErrors::ByModel,
            engine_slope: None,
            valve_slope: None,
            backtest: 0,
            today: None,
            seed: 1,
            average_points: 64,
            average_up_to: 1000,
            series_up_to: 4000,
            watch: Watch::default(),
        }
    }
}
