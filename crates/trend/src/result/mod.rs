//! What a trend finds: the model of each feature, and a forecast of each valve.

mod backtest;
mod findings;
mod model;
mod valve;
mod warning;

pub use crate::crossing::CrossingHours;
pub use backtest::{BacktestFeature, BacktestModel, Scores};
pub use findings::{FaultyDay, LeftOut, StepChange, SuspectedReading};
pub use model::{Compared, Diagnostics, FitStatus, GammaParameters, GroupLine, Growth, Model, ModelKind};
pub use valve::{BandPoint, FleetProspect, Limit, SeriesPoint, ValveForecast};
pub use warning::TrendWarning;

use crate::policy::FeatureLimits;
use packdrift_verdict::Verdict;

/// Result of [`trend`](crate::trend).
#[derive(Debug, Clone, PartialEq)]
pub struct TrendResult {
    /// One per feature, in the table's order.
    pub features: Vec<FeatureResult>,
    /// Readings in the table.
    pub rows: usize,
    /// The day of the answer; None: each valve as of its own last reading.
    pub today: Option<i32>,
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
