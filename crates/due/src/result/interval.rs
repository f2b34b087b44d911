//! What an interval costs in the long run.

/// A point of the cost of re-shimming at a fixed age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostPoint {
    /// Interval, running hours.
    pub hours: f64,
    /// Long-run cost per 1000 running hours.
    pub cost: f64,
    /// Chance of entering the damage zone before the interval is over.
    pub chance: f64,
}

/// The cheapest interval for engines with the same valves.
#[derive(Debug, Clone, PartialEq)]
pub struct Interval {
    /// The valves: how many of each group, as `2 exhaust, 2 intake`.
    pub valves: String,
    /// Engines of this kind.
    pub engines: usize,
    /// The cheapest; None where waiting is always cheaper within what is looked at, or the cost's argument does not apply.
    pub cheapest: Option<CostPoint>,
    /// The cheapest interval by the fifth and by the ninety-fifth of a hundred fleets that the readings could be of; None where they cannot
    /// tell, or at the far end where waiting is the cheapest for more than one in twenty.
    pub band: (Option<f64>, Option<f64>),
    /// Long-run cost per 1000 running hours if an engine is done only when a valve has entered the damage zone; None where the mean of
    /// that time is not finite within what is looked at.
    pub run_to_failure: Option<f64>,
    /// Interval at which the chance reaches the policy's risk, hours; None where it does not.
    pub at_risk: Option<f64>,
    /// The cost over the interval, for a figure.
    pub curve: Vec<CostPoint>,
}
