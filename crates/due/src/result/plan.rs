//! The windows filled, and what comes of it month by month.

use super::DemandStep;

/// What the plan minimises.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Criterion {
    /// Expected cost over the plan's time, among plans by which the fewest engines enter the damage zone beyond the accepted risk.
    Cost,
    /// Engines that enter the damage zone beyond the accepted risk; nobody has a place before it is needed.
    Risk,
}

impl Criterion {
    /// `cost` or `risk`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Cost => "cost",
            Self::Risk => "risk",
        }
    }
}

/// Why an engine has its place where it has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PlaceReason {
    /// Its latest date: no later window does it in time, or none does and this is the earliest to be had.
    Date,
    /// Costs: waiting for the window of its latest date is expected to cost more.
    Cost,
    /// The window of its latest date is full.
    Room,
    /// A scenario puts it there.
    Pinned,
}

impl PlaceReason {
    /// As JSON spells it: `date`, `cost`, `room`, `pinned`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Date => "date",
            Self::Cost => "cost",
            Self::Room => "room",
            Self::Pinned => "pinned",
        }
    }
}

/// A service window as planned.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedWindow {
    /// First day, days since 1970-01-01.
    pub start: i32,
    /// Last day.
    pub end: i32,
    /// How many engines can be done in it.
    pub capacity: u32,
    /// Indices into the engines, the most urgent first.
    pub engines: Vec<usize>,
    /// What one more place in it would save of [`Plan::days_beyond`]; 0 where there is room.
    pub worth_of_a_place: f64,
    /// Expected corrections by size.
    pub demand: Vec<DemandStep>,
}

/// The plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What it minimises.
    pub criterion: Criterion,
    /// The windows that are not over yet, in order.
    pub windows: Vec<PlannedWindow>,
    /// Day by which a following window is taken to come: what no window holds waits until then.
    pub end: i32,
    /// Expected cost until the plan's end, the interval that begins with each job counted by its hours; None without costs.
    pub expected_cost: Option<f64>,
    /// Engine-days until each is done, each weighted with what the chance goes beyond the accepted risk on it: 0 where every engine is done
    /// by its latest day.
    pub days_beyond: f64,
    /// Engines that are done after their latest date: those that wait for a window, or find no place.
    pub late: usize,
    /// Expected number of engines that have entered the damage zone at some time before they are done, by the plan.
    pub expected_late: f64,
    /// The same if nothing is done until the plan's end.
    pub expected_late_undone: f64,
    /// Expected cost until the plan's end if nothing is done; None without costs.
    pub expected_cost_undone: Option<f64>,
}

/// How many are in the damage zone on a day: entered by then, and not done since.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Month {
    /// First day of the month (the first entry: the day the plan is made), days since 1970-01-01.
    pub day: i32,
    /// Expected number of valves that have entered the damage zone, nothing done.
    pub valves: f64,
    /// Expected number of engines with such a valve, nothing done.
    pub engines: f64,
    /// Expected number of such valves if the plan is kept: what is done starts anew.
    pub valves_with_plan: f64,
}
