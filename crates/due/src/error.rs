//! Why no plan could be made.

use crate::calendar::iso;
use crate::scenario::counted;

/// Refusals. Each names the offending entry and what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DueError {
    /// Nothing to plan by.
    #[error(
        "no feature of the policy could be forecast: give limits in [feature.NAME] for a feature of the inspections with enough readings"
    )]
    NothingForecast,
    /// The day of the plan lies before readings.
    #[error("the day of the plan, {}, lies before the last reading's, {}", iso(*.today), iso(*.last))]
    BeforeReadings {
        /// Days since 1970-01-01.
        today: i32,
        /// The last reading's day.
        last: i32,
    },
    /// An engine named as re-shimmed is not in the inspections.
    #[error(
        "engine {engine} is said to be re-shimmed, but the inspections do not know it; if it is new, say that it was built"
    )]
    UnknownEngine {
        /// Engine name.
        engine: String,
    },
    /// The work an engine is said to have had lies before its last reading, which would show it.
    #[error(
        "engine {engine} is said to have been worked on {} before its last reading; give the work as an `event` in the inspections",
        counted(.before, "day")
    )]
    WorkBeforeReading {
        /// Engine name.
        engine: String,
        /// Days.
        before: i32,
    },
    /// The work an engine is said to have had lies after the day of the plan.
    #[error("engine {engine} is said to have been worked on {} after the day of the plan", counted(.after, "day"))]
    WorkAfterToday {
        /// Engine name.
        engine: String,
        /// Days.
        after: i32,
    },
    /// The valves of a new engine are not known.
    #[error(
        "engine {engine} is new and its valves are not known: no starting offsets were given, and the fleet's engines differ in their valves"
    )]
    NoValves {
        /// Engine name.
        engine: String,
    },
    /// A starting offset that is no distribution.
    #[error(
        "valve {valve}: starting offset {mean} ± {sd} is not usable, expected finite numbers and a standard deviation of 0 or more"
    )]
    Start {
        /// Valve name.
        valve: String,
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// A scenario that cannot be: what it asks of an engine or a window is not there, or does not fit together.
    #[error("scenario {scenario}: {reason}")]
    Scenario {
        /// Its name.
        scenario: String,
        /// Why, and what to do.
        reason: String,
    },
}
