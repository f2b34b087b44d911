//! What the planner has decided: the damage zone, the risk that is acceptable, how far to look, usage, windows, costs.

use std::collections::BTreeMap;

/// A policy file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Policy {
    /// Largest acceptable chance of being in the damage zone before the next look.
    pub risk: f64,
    /// Hours ahead.
    pub horizon: f64,
    /// By feature name.
    pub features: BTreeMap<String, FeatureLimits>,
    /// Hours a week, where an engine's own readings do not tell: the default.
    pub usage_default: Option<f64>,
    /// Hours a week by engine name.
    pub usage: BTreeMap<String, f64>,
    /// Service windows, in order of their start.
    pub windows: Vec<Window>,
    /// For the cheapest interval, and for what a plan costs.
    pub cost: Option<Costs>,
    /// What costs are counted in (`EUR`, `hours of the fitter`); empty where it is not said.
    pub cost_unit: String,
}

impl Policy {
    /// A policy by the largest acceptable chance of being in the damage zone before the next look, and how many hours ahead that is.
    ///
    /// ```
    /// use packdrift_trend::Policy;
    /// let policy = Policy::new(0.05, 2000.0).limit("contact_offset", "mm", Some(0.85), Some(1.15));
    /// assert_eq!(policy.features["contact_offset"].upper, Some(1.15));
    /// ```
    pub fn new(risk: f64, horizon: f64) -> Self {
        Self { risk, horizon, ..Self::default() }
    }

    /// The limits of a feature, outside which the damage zone begins.
    pub fn limit(
        mut self,
        feature: impl Into<String>,
        unit: impl Into<String>,
        lower: Option<f64>,
        upper: Option<f64>,
    ) -> Self {
        let limits = FeatureLimits { unit: unit.into(), lower, upper, reading_sd: None };
        self.features.insert(feature.into(), limits);
        self
    }
}

/// The limits of a feature: outside is the damage zone.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FeatureLimits {
    /// `mm`, …
    pub unit: String,
    /// Below is the damage zone.
    pub lower: Option<f64>,
    /// Above is the damage zone.
    pub upper: Option<f64>,
    /// Standard uncertainty of one reading, from a gauge study; None: estimated.
    pub reading_sd: Option<f64>,
}

/// A service window.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// First day, days since 1970-01-01.
    pub start: i32,
    /// Last day.
    pub end: i32,
    /// How many engines can be done in it.
    pub engines: u32,
}

/// Costs of doing it in time and too late, in any one currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// A planned re-shimming.
    pub planned: f64,
    /// A failure.
    pub failure: f64,
    /// Reading all valves of one engine; None where it is not said.
    pub inspection: Option<f64>,
}
