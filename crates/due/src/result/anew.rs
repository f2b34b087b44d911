//! What a page needs to plan again.

use packdrift_trend::Usage;

/// A fleet as far as its plan depends on day, risk, usage and places.
#[derive(Debug, Clone, PartialEq)]
pub struct Anew {
    /// All windows of the policy, those that are over too: first day, last day, places.
    pub windows: Vec<(i32, i32, u32)>,
    /// Days from the last window to the plan's end.
    pub gap: i32,
    /// Of a planned job and of a failure.
    pub costs: Option<(f64, f64)>,
    /// Engines whose latest date has passed wait for a window.
    pub late_in_windows: bool,
    /// The day of the last reading: no plan is made for an earlier one.
    pub first_day: i32,
    /// In the order in which places are given to equals: that of the inspections.
    pub engines: Vec<EngineAnew>,
}

/// One engine of it.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineAnew {
    /// Its name.
    pub engine: String,
    /// Day from which its hours count.
    pub last_day: i32,
    /// None where it is not known.
    pub usage: Option<Usage>,
    /// Whether any of its valves is forecast.
    pub forecast: bool,
    /// Chance that any valve has entered the damage zone.
    pub chance: Table,
    /// Least long-run cost per hour of its kind; 0 without costs.
    pub rate: f64,
    /// A valve was read in its zone: overdue on any day.
    pub overdue: bool,
    /// The valves that may be in the zone more likely than not at some setting.
    pub valves: Vec<ValveAnew>,
}

/// A valve that is overdue, or may be.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveAnew {
    /// Whether it is overdue on the day of the plan.
    pub said: bool,
    /// Chance that it has entered the damage zone.
    pub chance: Table,
}

/// A rising chance over running hours: normal scores at `reach`·(i/n)² hours, n the number of scores less one, joined by the
/// shape-preserving cubic over i. Beyond the reach nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Hours.
    pub reach: f64,
    /// Φ⁻¹ of the chance.
    pub scores: Vec<f64>,
}
