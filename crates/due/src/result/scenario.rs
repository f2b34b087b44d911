//! What would come of other decisions.

use super::DueResult;

/// A scenario's plan.
#[derive(Debug, Clone, PartialEq)]
pub struct ScenarioAnswer {
    /// What it is called.
    pub name: String,
    /// What is other than today, in words.
    pub changes: Vec<String>,
    /// The plan, made anew from the same forecasts.
    pub result: DueResult,
}

/// Today's plan beside scenarios: the same readings and forecasts, so that every difference comes of the changes alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Costs and valves in the zone are counted until this day in all of them, days since 1970-01-01: the latest of their ends.
    pub until: i32,
    /// Today's plan, counted until then.
    pub today: DueResult,
    /// The scenarios, in the order given.
    pub scenarios: Vec<ScenarioAnswer>,
}
