//! What a planner gets to know of a fleet.

use packdrift_trend::Usage;

/// Why there is no due date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum NoDate {
    /// The chance does not reach the risk within the time looked at.
    NotWithinReach,
    /// Its hours a week are not known: no meter readings over a quarter of a year, and no figure in the policy.
    UsageUnknown,
}

impl NoDate {
    /// As JSON spells it: `not-within-reach`, `usage-unknown`.
    pub fn name(self) -> &'static str {
        match self {
            Self::NotWithinReach => "not-within-reach",
            Self::UsageUnknown => "usage-unknown",
        }
    }
}

/// How urgent an engine is on the day of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EngineStatus {
    /// A valve is in the damage zone already with a chance above one half: what `trend` calls overdue too.
    Overdue,
    /// Its latest day has passed.
    Late,
    /// The chance within the horizon is above the risk.
    Due,
    /// It is above half the risk.
    Watch,
    /// None of these.
    InWindow,
}

impl EngineStatus {
    /// As JSON spells it: `overdue`, `late`, `due`, `watch`, `in window`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Overdue => "overdue",
            Self::Late => "late",
            Self::Due => "due",
            Self::Watch => "watch",
            Self::InWindow => "in window",
        }
    }

    /// Whether it cannot wait for its latest day, because that has passed.
    pub fn is_past(self) -> bool {
        matches!(self, Self::Overdue | Self::Late)
    }
}

/// One feature's part in a valve's need for work.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// Feature name.
    pub feature: String,
    /// Chance that it has entered the damage zone by the following window.
    pub chance: f64,
}

/// How far a rocker has to move, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    /// Aim less expected offset, in the feature's unit (mm); positive: the offset has to grow.
    pub mean: f64,
    /// Standard deviation, from the forecast and from the hours run until then.
    pub sd: f64,
    /// The offset expected then.
    pub expected: f64,
    /// The aim.
    pub target: f64,
}

/// A valve to be done.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveWork {
    /// Valve name.
    pub valve: String,
    /// Chance of having entered the damage zone, by any feature, when the shaft comes off.
    pub chance_then: f64,
    /// The same by the following window, if it were left alone.
    pub chance_by_following: f64,
    /// The features behind it, most likely first; those with less than a tenth of the chance are left out.
    pub causes: Vec<Cause>,
    /// Features among the causes that no shim mends: what has worn is to be renewed.
    pub renew: Vec<String>,
    /// Of the contact offset, where that is among the causes; None where a worn part alone is the cause, or the offset is not followed.
    pub correction: Option<Correction>,
}

/// One point of an engine's chance over time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChancePoint {
    /// Days since 1970-01-01.
    pub day: i32,
    /// Chance that any of its valves has entered the damage zone.
    pub chance: f64,
}

/// An engine and its due date.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineDue {
    /// Engine name.
    pub engine: String,
    /// Day of its last meter reading, or of the work it was told to have had since.
    pub last_day: i32,
    /// Meter hours then.
    pub last_hours: f64,
    /// Meter hours expected on the day the plan is made.
    pub hours: f64,
    /// Standard deviation of `hours`.
    pub hours_sd: f64,
    /// None where it is not known.
    pub usage: Option<Usage>,
    /// Valves that are forecast.
    pub valves: usize,
    /// Built or re-shimmed, and not read since: forecast from the starting offset and the fleet's slopes.
    pub not_read: bool,
    /// Chance that any valve has entered the damage zone on the day the plan is made.
    pub chance_now: f64,
    /// The same within the policy's horizon of running hours.
    pub chance_by_horizon: f64,
    /// The valve most likely to be first.
    pub first_valve: String,
    /// Meter hours at which the chance reaches the policy's risk; None where it does not within reach.
    pub due_hours: Option<f64>,
    /// Latest day on which the chance is still below the risk, days since 1970-01-01.
    pub due: Option<i32>,
    /// Why `due` is None.
    pub no_date: Option<NoDate>,
    /// Its urgency on the day of the plan.
    pub status: EngineStatus,
    /// Index into the plan's windows; None: in none of them.
    pub window: Option<usize>,
    /// Done on the day of the plan, outside any window, because its latest day has passed.
    pub at_once: bool,
    /// The day by which it is done: its latest day where that lies in its window, else the window's last; without one the plan's end; at
    /// once, the day of the plan.
    pub done: i32,
    /// Chance that any valve has entered the damage zone by then.
    pub chance_then: f64,
    /// The valves to do then, the most likely first; without a window, at the end of the plan if it needs work by then.
    pub work: Vec<ValveWork>,
    /// Chance over the plan's time; empty for large fleets.
    pub curve: Vec<ChancePoint>,
}

/// What the plan minimises.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Criterion {
    /// Expected cost over the plan's time, among plans that go least beyond the accepted risk.
    Cost,
    /// Time beyond the accepted risk; where that is equal, the risk left unused (work done too early).
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

/// How many corrections of a size are to be expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandStep {
    /// Corrections from here …
    pub from: f64,
    /// … to here, in the feature's unit.
    pub to: f64,
    /// Expected number.
    pub expected: f64,
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
    /// Expected number of engines that have entered the damage zone before they are done, by the plan.
    pub expected_late: f64,
    /// The same if nothing is done until the plan's end.
    pub expected_late_undone: f64,
}

/// What happens if nothing is done.
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
    /// Long-run cost per 1000 running hours if an engine is done only when a valve has entered the damage zone; None where the mean of
    /// that time is not finite within what is looked at.
    pub run_to_failure: Option<f64>,
    /// Interval at which the chance reaches the policy's risk, hours; None where it does not.
    pub at_risk: Option<f64>,
    /// The cost over the interval, for a figure.
    pub curve: Vec<CostPoint>,
}

/// What the reader must know.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum DueWarning {
    /// A feature with limits has no model: the dates know nothing of it.
    NotForecast {
        /// Feature name.
        feature: String,
    },
    /// Engines whose usage is not known.
    UsageUnknown {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines that run as the mean of the fleet, since neither their meter nor the policy tells their own hours a week.
    FleetUsage {
        /// Their names.
        engines: Vec<String>,
        /// Mean hours a week.
        hours_a_week: f64,
        /// How far one engine may be off it.
        standard_error: f64,
    },
    /// `[usage] default` stands for no engine.
    DefaultUnused {
        /// Hours a week.
        hours_a_week: f64,
    },
    /// The policy's hours a week are not what the meter says.
    UsageDiffers {
        /// Engine name.
        engine: String,
        /// Policy's hours a week.
        policy: f64,
        /// Meter's.
        meter: f64,
        /// Standard error of the meter's.
        standard_error: f64,
    },
    /// Windows that were over before the day the plan is made.
    WindowsPast {
        /// How many.
        windows: usize,
    },
    /// The policy has no windows that are still to come.
    NoWindows,
    /// Engines whose latest day comes before any window does.
    BeforeWindows {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines that found no place by their latest day.
    PlacesLacking {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines whose latest day has passed and that wait for a window all the same.
    LateInWindows {
        /// Their names.
        engines: Vec<String>,
    },
    /// The last reading lies far back.
    ReadLongAgo {
        /// Engine name.
        engine: String,
        /// Days since.
        days: i32,
    },
    /// A failure costs no more than a planned job: there is no interval to choose.
    NoIncentive,
}

/// Names, cut after twelve.
fn some(names: &[String]) -> String {
    const MOST: usize = 12;
    match names.len().checked_sub(MOST) {
        None | Some(0) => names.join(", "),
        Some(more) => format!("{} and {more} more", names[..MOST].join(", ")),
    }
}

impl std::fmt::Display for DueWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotForecast { feature } => {
                write!(f, "{feature}: could not be forecast, so the due dates do not know of it")
            }
            Self::UsageUnknown { engines } => write!(
                f,
                "{}: hours a week unknown, so there is no date; give [usage] in the policy, or meter readings over a quarter of a year",
                engines.join(", ")
            ),
            Self::FleetUsage { engines, hours_a_week, standard_error } => write!(
                f,
                "{}: neither the meter (less than a quarter of a year of it) nor the policy tells the hours a week; taken is the mean of the fleet, {hours_a_week:.0} ± {standard_error:.0}",
                some(engines)
            ),
            Self::DefaultUnused { hours_a_week } => write!(
                f,
                "[usage] default = {hours_a_week} changes nothing: every engine's hours a week are its own, by its meter or by name in the policy"
            ),
            Self::UsageDiffers { engine, policy, meter, standard_error } => write!(
                f,
                "{engine}: the policy says {policy:.0} hours a week, the meter {meter:.0} ± {standard_error:.0}; the policy's figure is used"
            ),
            Self::WindowsPast { windows } => {
                write!(f, "{windows} service window(s) were over before the day of the plan and are left out")
            }
            Self::NoWindows => write!(f, "the policy has no service window to come; engines have dates but no place"),
            Self::BeforeWindows { engines } => write!(
                f,
                "{}: due before the first service window begins; do them before it, or open one earlier",
                some(engines)
            ),
            Self::PlacesLacking { engines } => write!(
                f,
                "{}: no place by the latest day, the windows hold too few or lie too far apart; the table of windows says what a place more is worth",
                some(engines)
            ),
            Self::LateInWindows { engines } => write!(
                f,
                "{}: the latest day has passed, and by the plan they run on until a window; places they take are lacking for others",
                some(engines)
            ),
            Self::ReadLongAgo { engine, days } => {
                write!(
                    f,
                    "{engine}: last read {days} days before the day of the plan; read it before you rely on its date"
                )
            }
            Self::NoIncentive => write!(
                f,
                "a failure costs no more than a planned re-shimming, so no interval is cheaper than waiting; check [cost] in the policy"
            ),
        }
    }
}

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
    /// Engines, the most urgent first: overdue, then by latest day.
    pub engines: Vec<EngineDue>,
    /// The windows filled.
    pub plan: Plan,
    /// What happens if nothing is done, month by month.
    pub months: Vec<Month>,
    /// The cheapest interval; empty where the policy has no costs.
    pub intervals: Vec<Interval>,
    /// Valves forecast.
    pub valves: usize,
    /// What the reader must know.
    pub warnings: Vec<DueWarning>,
}
