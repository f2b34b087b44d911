//! Why a trend could not be computed at all. What concerns one feature only is a [`Status`](crate::FitStatus) of that feature.

/// Refusals of the whole table or of the options. A refusal names the offending entry and what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TrendError {
    /// The columns of the table differ in length.
    #[error("column `{column}` has {found} entries where the table has {expected} rows")]
    Ragged {
        /// Column name.
        column: &'static str,
        /// Its length.
        found: usize,
        /// Length of `value`.
        expected: usize,
    },
    /// An index points outside its list of names.
    #[error("row {row}: column `{column}` points at name {index} of {names}")]
    Index {
        /// 0-based row.
        row: usize,
        /// Column name.
        column: &'static str,
        /// The index found.
        index: u32,
        /// How many names there are.
        names: usize,
    },
    /// The table has no rows.
    #[error("the inspections hold no readings")]
    Empty,
    /// The day of the answer comes before the last reading.
    #[error("the day of the answer, {}, is before the last reading, {}", crate::day::iso(*today), crate::day::iso(*last))]
    BeforeReadings {
        /// The day asked for, since 1970-01-01.
        today: i32,
        /// The last reading's.
        last: i32,
    },
    /// The meter runs backwards within a segment.
    #[error(
        "engine {engine}, valve {valve}, feature {feature}: the meter falls from {before} h to {after} h while the date rises; \
         correct the hours, or give the row an `event` if the meter or the part was changed"
    )]
    HoursFall {
        /// Engine name.
        engine: String,
        /// Valve name.
        valve: String,
        /// Feature name.
        feature: String,
        /// Earlier reading's hours.
        before: f64,
        /// Later reading's hours.
        after: f64,
    },
    /// A number of the policy is not usable.
    #[error("policy: {what} is {value}, expected {expected}")]
    Policy {
        /// Which entry.
        what: String,
        /// Its value.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// An option that the chosen model would ignore.
    #[error("{option} does not apply to {model}: {reason}")]
    Option {
        /// The option, in words.
        option: &'static str,
        /// The model, in words.
        model: &'static str,
        /// Why.
        reason: &'static str,
    },
    /// Parts of a run shared out among machines that do not make it up.
    #[error("the parts do not make up this run: {}", .0.join("; "))]
    Parts(
        /// All that is wrong with them.
        Vec<String>,
    ),
    /// A row of a table of sums that no readings could have produced.
    #[error("sums, row {row}: {what} is {value}, expected {expected}")]
    Sums {
        /// 0-based row.
        row: usize,
        /// Column.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
}
