//! Why an analysis cannot be made.

use crate::distribution::DistributionError;
use crate::model::ModelError;

/// Why an analysis cannot be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SpreadError {
    /// A distribution's parameters have no meaning.
    #[error("{input}: {source}")]
    Distribution {
        /// The dimension's path, or `lot/NAME`.
        input: String,
        /// What is wrong with it.
        source: DistributionError,
    },
    /// The pack cannot be: the first of its mistakes.
    #[error(transparent)]
    Pack(#[from] packdrift_pack::PackError),
    /// The stack's parts do not fit together.
    #[error("{what} has {found} entries where {expected} are needed")]
    Length {
        /// Which list.
        what: &'static str,
        /// Its length.
        found: usize,
        /// The length it should have.
        expected: usize,
    },
    /// An index points nowhere.
    #[error("{what} {index} does not exist: there are {count}")]
    Index {
        /// What is indexed.
        what: &'static str,
        /// The index.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// A coefficient of correlation outside −1 to 1, or not a number.
    #[error("the correlation of {first} and {second} is {coefficient}: it must lie between -1 and 1")]
    Coefficient {
        /// One dimension's path.
        first: String,
        /// The other's.
        second: String,
        /// As given.
        coefficient: f64,
    },
    /// A dimension correlated with itself, or a pair given twice.
    #[error("the correlation of {first} and {second} is given more than once, or ties a dimension to itself")]
    RepeatedPair {
        /// One dimension's path.
        first: String,
        /// The other's.
        second: String,
    },
    /// A correlated dimension that does not scatter.
    #[error(
        "{input} is tied to another dimension by a correlation but has no scatter of its own; take the correlation out, or give it a tolerance"
    )]
    ExactCorrelated {
        /// The dimension's path.
        input: String,
    },
    /// No random quantities have these correlations.
    #[error(
        "the correlations contradict each other (smallest eigenvalue {eigenvalue:.3e}): no dimensions can scatter like that. \
         The pair that contradicts the others most is {first} and {second} at {coefficient}; bring it nearer to what the others imply"
    )]
    NotPositiveSemidefinite {
        /// One dimension's path.
        first: String,
        /// The other's.
        second: String,
        /// Their coefficient.
        coefficient: f64,
        /// The smallest eigenvalue of the correlation matrix.
        eigenvalue: f64,
    },
    /// A lot whose deviation has no meaning.
    #[error("lot {lot}: {what} is {value}: it must be finite{}", if *.what == "between" { " and not negative" } else { "" })]
    Lot {
        /// Its name.
        lot: String,
        /// `bias` or `between`.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// A limit, a share or an option without meaning.
    #[error("{what} is {value}: {expected}")]
    Value {
        /// Of what.
        what: String,
        /// As given.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// An option that the chosen method would not use.
    #[error("{option} has no effect with {with}: {advice}")]
    UnusedOption {
        /// The option.
        option: &'static str,
        /// What makes it idle.
        with: &'static str,
        /// What to do.
        advice: &'static str,
    },
    /// The model has no response where one is needed.
    #[error("{what}: {source}")]
    Model {
        /// What was being computed.
        what: String,
        /// Why.
        source: ModelError,
    },
    /// The model had no response in every trial.
    #[error("the pack has no response in any of {trials} trials; the first: {first}")]
    AllFailed {
        /// Trials made.
        trials: u64,
        /// Why and where.
        first: String,
    },
    /// Two partial results that are not parts of the same run.
    #[error("these partial results cannot be merged: {0}")]
    Merge(String),
    /// The user stopped it.
    #[error("stopped before the end")]
    Cancelled,
}
