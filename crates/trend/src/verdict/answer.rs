//! One forecast of a valve, and what it takes for granted. Where nothing is doubted there is one; else there are two or more, and the
//! worst is the verdict.

use super::Status;
use crate::crossing::{CrossingHours, Prospect};
use crate::day::iso;

/// What an answer takes for granted.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Assumption {
    /// Every reading counts by its weight.
    AsBelieved,
    /// A doubted reading counts in full.
    ReadingCounts {
        /// Line of the file, or 1-based row.
        line: u32,
        /// Its day, days since 1970-01-01.
        day: i32,
        /// The reading.
        value: f64,
        /// Whether it is the valve's newest: it can be read again.
        newest: bool,
    },
    /// A reading that may be a slip does not count.
    ReadingLeftOut {
        /// Line of the file, or 1-based row.
        line: u32,
        /// Its day, days since 1970-01-01.
        day: i32,
        /// The reading.
        value: f64,
        /// Whether it is the valve's newest: it can be read again.
        newest: bool,
    },
    /// The readings of a day count in full, though the instrument may have been off that day.
    DayCounts {
        /// Days since 1970-01-01.
        day: i32,
    },
    /// The readings of a day, on which all were off together, do not count.
    DayLeftOut {
        /// Days since 1970-01-01.
        day: i32,
    },
    /// The readings of the last visits, which were off together, do not count.
    LooksLeftOut {
        /// Day of the first, days since 1970-01-01.
        from: i32,
        /// Day of the last.
        to: i32,
    },
    /// A jump was drift and wander: nothing slipped and nothing was changed.
    NoJump {
        /// Day of the first reading after it, days since 1970-01-01.
        day: i32,
    },
}

impl Assumption {
    /// What would tell whether it holds, in the imperative.
    pub(crate) fn settled_by(&self, valve: &str) -> Option<String> {
        match self {
            Self::AsBelieved => None,
            Self::ReadingCounts { newest: true, .. } | Self::ReadingLeftOut { newest: true, .. } => {
                Some(format!("Read {valve} again."))
            }
            Self::ReadingCounts { day, .. } | Self::ReadingLeftOut { day, .. } => {
                Some(format!("Check the record of {}.", iso(*day)))
            }
            Self::DayCounts { day } | Self::DayLeftOut { day } => {
                Some(format!("Read {valve} again with another instrument than on {}.", iso(*day)))
            }
            Self::LooksLeftOut { from, to } => {
                Some(format!("Read {valve} again with another instrument than from {} to {}.", iso(*from), iso(*to)))
            }
            Self::NoJump { day } => Some(format!("Find out what was done to {valve} before {}.", iso(*day))),
        }
    }
}

impl std::fmt::Display for Assumption {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::AsBelieved => write!(f, "readings as believed"),
            Self::ReadingCounts { day, value, .. } => write!(f, "with the reading {value} of {} in full", iso(*day)),
            Self::ReadingLeftOut { day, value, .. } => write!(f, "without the reading {value} of {}", iso(*day)),
            Self::DayCounts { day } => write!(f, "with the readings of {} in full", iso(*day)),
            Self::DayLeftOut { day } => write!(f, "without the readings of {}", iso(*day)),
            Self::LooksLeftOut { from, to } => write!(f, "without the readings from {} to {}", iso(*from), iso(*to)),
            Self::NoJump { day } => write!(f, "without a jump before {}", iso(*day)),
        }
    }
}

/// A valve's forecast under one assumption.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// What it takes for granted.
    pub assuming: Assumption,
    /// True value at the last reading, in the feature's unit.
    pub level: f64,
    /// Its standard error.
    pub level_se: f64,
    /// Slope there, per hour.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// Covariance of the two errors.
    pub level_slope_cov: f64,
    /// Chance of being in the damage zone now.
    pub chance_now: f64,
    /// Chance of being in the damage zone now or at some time within the horizon.
    pub chance_by_horizon: f64,
    /// Standard error of the simulation behind that chance; 0 where it is integrated.
    pub simulation_error: f64,
    /// When the damage zone is entered.
    pub crossing_hours: CrossingHours,
    /// What this answer alone would say.
    pub status: Status,
    /// The future it foresees.
    pub prospect: Prospect,
}
