//! An engine's date, urgency and place.

use super::{Look, PlaceReason, ValveWork};
use packdrift_trend::{Status, Usage};
use packdrift_verdict::{DUE, Standing, Verdict};

/// Why there is no due date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum NoDate {
    /// The chance does not reach the risk within the time looked at.
    NotWithinReach,
    /// Hours a week are not known of any engine: no meter readings over a quarter of a year, and no figure in the policy.
    UsageUnknown,
    /// None of its valves could be forecast.
    NotForecast,
}

impl NoDate {
    /// As JSON spells it: `not-within-reach`, `usage-unknown`, `not-forecast`.
    pub fn name(self) -> &'static str {
        match self {
            Self::NotWithinReach => "not-within-reach",
            Self::UsageUnknown => "usage-unknown",
            Self::NotForecast => "not-forecast",
        }
    }
}

/// How an engine stands on the day of the plan; the most urgent first. `NotYet` is the one reassuring word, and only evidence gives it
/// (docs/verdicts.md).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EngineStatus {
    /// A valve is overdue, in `trend`'s sense: measured in its damage zone, or there with a chance above one half.
    Overdue,
    /// Its latest date has passed.
    Late,
    /// The chance within the horizon is above the risk.
    Due,
    /// One doubted reading of a valve decides it.
    ReadAgain,
    /// The readings, or the fit, of a valve cannot show it.
    NotShown,
    /// The risk lies within three standard errors of the simulation behind the chance.
    TooCloseToTell,
    /// The chance within the horizon is above half the risk.
    Watch,
    /// None of these.
    NotYet,
}

impl EngineStatus {
    /// All of them, the most urgent first.
    pub const ALL: [Self; 8] = [
        Self::Overdue,
        Self::Late,
        Self::Due,
        Self::ReadAgain,
        Self::NotShown,
        Self::TooCloseToTell,
        Self::Watch,
        Self::NotYet,
    ];

    /// `overdue`, `late`, and the words of every command: `due`, `read again`, `not shown`, `too close to tell`, `watch`, `not yet`.
    ///
    /// ```
    /// use packdrift_due::EngineStatus;
    /// assert_eq!((EngineStatus::Late.name(), EngineStatus::NotYet.name()), ("late", "not yet"));
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Overdue => "overdue",
            Self::Late => "late",
            other => DUE.of(other.standing()),
        }
    }

    /// Where it stands among the answers that every command gives.
    pub fn standing(self) -> Standing {
        match self {
            Self::Overdue | Self::Late | Self::Due => Standing::Adverse,
            Self::ReadAgain => Standing::ReadAgain,
            Self::NotShown => Standing::NotShown,
            Self::TooCloseToTell => Standing::TooCloseToTell,
            Self::Watch => Standing::Watch,
            Self::NotYet => Standing::Shown,
        }
    }

    /// Whether it cannot wait for its latest date, because that has passed.
    pub fn is_past(self) -> bool {
        matches!(self, Self::Overdue | Self::Late)
    }
}

/// The newest reading of a feature of a valve.
#[derive(Debug, Clone, PartialEq)]
pub struct LastReading {
    /// Feature name.
    pub feature: String,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Meter hours.
    pub hours: f64,
    /// The reading, in the feature's unit.
    pub value: f64,
}

/// A valve on the day of the plan, by all its features.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveToday {
    /// Valve name.
    pub valve: String,
    /// Its word: never better than `trend`'s for any of its features.
    pub status: Status,
    /// Chance of having entered its damage zone by the day of the plan.
    pub chance_now: f64,
    /// The same within the policy's horizon of running hours from then.
    pub chance_by_horizon: f64,
    /// Chance of being the engine's first valve to enter.
    pub first: f64,
    /// The newest reading of each feature that it is judged by; empty where it was built or re-shimmed since.
    pub readings: Vec<LastReading>,
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
    /// The valve most likely to be the first to enter.
    pub first_valve: String,
    /// The feature by which it most likely does.
    pub first_feature: String,
    /// Meter hours at which the chance reaches the policy's risk; None where it does not within reach.
    pub due_hours: Option<f64>,
    /// Latest day on which the chance is still below the risk, days since 1970-01-01.
    pub due: Option<i32>,
    /// Why `due` is None.
    pub no_date: Option<NoDate>,
    /// Its urgency on the day of the plan.
    pub status: EngineStatus,
    /// The same as every command gives it, with the reasons and what would settle it.
    pub verdict: Verdict,
    /// Every valve, as it stands on the day of the plan.
    pub today: Vec<ValveToday>,
    /// Index into the plan's windows; None: in none of them.
    pub window: Option<usize>,
    /// Why there; None without a place.
    pub because: Option<PlaceReason>,
    /// Done on the day of the plan, outside any window, because its latest day has passed.
    pub at_once: bool,
    /// The day by which it is done: its latest day where that lies in its window, else the window's last; without one the plan's end; at
    /// once, the day of the plan.
    pub done: i32,
    /// Whole days from its latest day to `done`; 0 where it is done in time, or has no date.
    pub days_late: i32,
    /// Chance that any valve has entered the damage zone by `done`.
    pub chance_then: f64,
    /// The valves to do then, the most likely first; without a window, at the end of the plan if it needs work by then.
    pub work: Vec<ValveWork>,
    /// Chance that any valve has entered by the last day of each of the plan's windows, if nothing is done to it.
    pub chance_by_window: Vec<f64>,
    /// When to look at it next; None where nothing calls for it within ten years.
    pub look: Option<Look>,
    /// Chance over the plan's time; empty for large fleets.
    pub curve: Vec<ChancePoint>,
}
