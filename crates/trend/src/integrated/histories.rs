//! What the integrated model is asked: histories of one feature, what is known of the reading error, and the damage zone.

use crate::crossing::Zone;

/// One reading of a history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    /// Hours since the history's start.
    pub(crate) hours: f64,
    /// In the feature's unit.
    pub(crate) value: f64,
    /// Readings of one history with the same number were taken at one visit, at the same hours, and share the visit's error.
    pub(crate) visit: u32,
    /// Somebody looked again and it stands: it is never taken for a gross error.
    pub(crate) confirmed: bool,
    /// Something slipped or was changed since the reading before: the value starts anew, anywhere, and wears on as it did.
    pub(crate) leapt: bool,
}

/// One segment of one valve: the stretch between two events.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct History {
    /// Valves of one engine may share a part of their slopes.
    pub(crate) engine: u32,
    /// Histories of one engine with the same number wear the same parts, whatever was done to their shims in between: they may keep a part
    /// of their slope.
    pub(crate) parts: u32,
    /// Histories of one group share a mean line. 0 where there are no groups.
    pub(crate) group: u32,
    /// Whether it is the valve's last: then it gets a forecast.
    pub(crate) current: bool,
    /// Hours that the parts had run when the history began: 0 with new parts and where it is not known, else the hours of the histories
    /// before it with the same parts. The power of the hours counts from there; shims do not make parts new.
    pub(crate) age: f64,
    /// Hours since its start at which it was last looked at, though that reading may be set aside: there its forecast begins. 0 for its last reading.
    pub(crate) until: f64,
    /// In order of their hours.
    pub(crate) readings: Vec<Reading>,
}

/// What is known of the reading error before the histories are seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct ReadingError {
    /// Stated standard deviation of one reading, in the feature's unit.
    pub(crate) sd: Option<f64>,
    /// The instrument's step, in the feature's unit: a reading cannot be better than step/√12. 0 where it is not known.
    pub(crate) step: f64,
}

/// How much work is done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Effort {
    /// Histories beyond this many do not enter the posterior of the fleet's parameters: an even choice of engines with about as many does.
    pub(crate) histories: usize,
    /// Points that every prospect has; None: by the size of the fleet.
    pub(crate) points: Option<usize>,
    /// Whether the fitted values of current histories at their readings are wanted, for figures.
    pub(crate) fitted: bool,
}

impl Default for Effort {
    fn default() -> Self {
        Self { histories: 400, points: None, fitted: true }
    }
}

/// The whole question.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question<'a> {
    pub(crate) histories: &'a [History],
    pub(crate) zone: Zone,
    pub(crate) error: ReadingError,
    pub(crate) seed: u64,
    pub(crate) effort: Effort,
}
