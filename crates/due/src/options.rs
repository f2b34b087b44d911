//! A planner's questions beside the policy: the day, the aims, what was done since the last readings.

use std::collections::BTreeMap;

/// The contact offset a valve starts with after it was built or re-shimmed: from the stack's spread.
#[derive(Debug, Clone, PartialEq)]
pub struct StartingOffset {
    /// Valve name.
    pub valve: String,
    /// Mean, in the offset feature's unit.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// An engine that was built or re-shimmed and has not been read since. One that the inspections do not know runs the policy's hours a week
/// for its name, else the fleet's mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Built {
    /// Engine name.
    pub engine: String,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Only the shims were changed: the offset starts anew, all other wear goes on. False: all parts are new.
    pub shims_only: bool,
}

/// What a planner may ask.
#[derive(Debug, Clone, PartialEq)]
pub struct DueOptions {
    /// The day the plan is made, days since 1970-01-01; None: the day of the last reading in the table, so that the same files give the
    /// same plan on any day.
    pub today: Option<i32>,
    /// The feature that shims correct.
    pub offset_feature: String,
    /// The aim of the offset by valve name, where it is not [`Self::target`].
    pub targets: BTreeMap<String, f64>,
    /// The aim of the offset; None: the middle of its limits.
    pub target: Option<f64>,
    /// Starting offsets from the stack; empty: the fleet's own fitted starts.
    pub starts: Vec<StartingOffset>,
    /// Engines built or re-shimmed and not read since.
    pub built: Vec<Built>,
    /// Engines whose latest day has passed wait for a window, in which they take the first places. Otherwise they are done on the day of
    /// the plan and take no place: a valve that is in its damage zone by more than the accepted chance is not left running to suit a
    /// calendar.
    pub late_in_windows: bool,
    /// Months of the outlook.
    pub months: usize,
    /// Largest number of engines for which the chance over time is kept for figures.
    pub curves_up_to: usize,
}

impl Default for DueOptions {
    fn default() -> Self {
        Self {
            today: None,
            offset_feature: "contact_offset".into(),
            targets: BTreeMap::new(),
            target: None,
            starts: Vec::new(),
            built: Vec::new(),
            late_in_windows: false,
            months: 24,
            curves_up_to: 400,
        }
    }
}
