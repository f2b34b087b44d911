//! All that a planner gets to know of a fleet.

mod anew;
mod engine;
mod interval;
mod look;
mod order;
mod plan;
mod scenario;
mod warning;
mod work;

pub use anew::{Anew, EngineAnew, Table, ValveAnew};
pub use engine::{ChancePoint, EngineDue, EngineStatus, LastReading, NoDate, ValveToday};
pub use interval::{CostPoint, Interval};
pub use look::{Look, LookFor};
pub use order::{OrderLine, Ordered};
pub use plan::{Criterion, Month, PlaceReason, Plan, PlannedWindow};
pub use scenario::{Comparison, ScenarioAnswer};
pub use warning::{DueWarning, UsageDifference};
pub use work::{Cause, Correction, DemandStep, ValveWork};

use packdrift_verdict::Verdict;

/// Result of [`due`](crate::due).
#[derive(Debug, Clone, PartialEq)]
pub struct DueResult {
    /// The day the plan is made, days since 1970-01-01.
    pub today: i32,
    /// The policy's risk.
    pub risk: f64,
    /// The policy's horizon, hours.
    pub horizon: f64,
    /// The feature that shims correct.
    pub offset_feature: String,
    /// Its unit.
    pub unit: String,
    /// What costs are counted in; empty where the policy does not say.
    pub cost_unit: String,
    /// Engines, the most urgent first: overdue, then by latest day.
    pub engines: Vec<EngineDue>,
    /// The windows filled.
    pub plan: Plan,
    /// How many are in the damage zone, month by month.
    pub months: Vec<Month>,
    /// The same on the day to which costs are counted: the plan's end, in a comparison the latest of their ends.
    pub until: Option<Month>,
    /// What is to be ordered: shims by size, then new parts.
    pub order: Vec<OrderLine>,
    /// The cheapest interval; empty where the policy has no costs.
    pub intervals: Vec<Interval>,
    /// What a page needs to plan again; None in a scenario.
    pub anew: Option<Anew>,
    /// Valves forecast.
    pub valves: usize,
    /// What the reader must know.
    pub warnings: Vec<DueWarning>,
}

impl DueResult {
    /// The verdict on the fleet: its worst engine's. `not shown` where there is no engine.
    pub fn verdict(&self) -> Verdict {
        Verdict::worst(self.engines.iter().map(|e| e.verdict.clone()))
    }

    /// Engines done after their latest date by the plan, the longest wait first.
    pub fn late(&self) -> Vec<&EngineDue> {
        let mut late: Vec<&EngineDue> = self.engines.iter().filter(|e| e.days_late > 0 && !e.at_once).collect();
        late.sort_by(|a, b| b.days_late.cmp(&a.days_late).then_with(|| a.engine.cmp(&b.engine)));
        late
    }
}
