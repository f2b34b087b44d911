//! Why tolerances and drawer cannot be chosen together.

use packdrift_spread::SpreadError;
use packdrift_stock::StockError;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PolicyError {
    /// Nothing may change.
    #[error(
        "no dimension has a cost: give those whose tolerance may change a `cost`, as `cost = {{ fixed = 1.0, scale = 0.02 }}` for 1 + 0.02/tol; docs/files.md has all its forms"
    )]
    NoCosts,
    /// Nothing to keep.
    #[error("no requirement has a limit: there is nothing to keep the tolerances for")]
    NoLimits,
    /// Nothing to fit by.
    #[error(
        "no offset has limits: builds are fitted by the offsets that are read, so there is nothing to fit. Leave out --fit-from"
    )]
    NoOffsets,
    /// A cost without a tolerance that it is the cost of.
    #[error("{dimension} has a cost but no tolerance that scatters: give it limits (`tol`, or `plus` and `minus`)")]
    NoTolerance {
        /// The dimension's path.
        dimension: String,
    },
    /// A cost without meaning.
    #[error(
        "{dimension}: its cost has no meaning: tolerances must be above 0, prices numbers, and there are 1 to 100 grades"
    )]
    Cost {
        /// The dimension's path.
        dimension: String,
    },
    /// A ceiling outside 0 to 1.
    #[error("the ceiling of the share outside is {value}: it must lie between 0 and 1")]
    Ceiling {
        /// As given.
        value: f64,
    },
    /// Too many pieces to work out every set that may stay.
    #[error("{bay} has {pieces} shims and flat washers: builds with at most {most} can be fitted here")]
    TooManyPieces {
        /// The bay.
        bay: String,
        /// How many it has.
        pieces: usize,
        /// How many it may have.
        most: usize,
    },
    /// More sizes than can be chosen among.
    #[error("the catalogue has {sizes} sizes: choose among at most {most}")]
    TooManySizes {
        /// How many it has.
        sizes: usize,
        /// How many it may have.
        most: usize,
    },
    /// The ceiling is to hold for a bad year, and packets do not last one.
    #[error(
        "the ceiling is to hold for a bad year, but packets are new for each build: then years do not differ. Say --packets year too"
    )]
    NoYears,
    /// A number that cannot be.
    #[error("{what} is {value}: it must be {expected}")]
    Number {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// It was stopped before anything was found.
    #[error("stopped before anything was found")]
    Stopped,
    /// The drawer or the fitting cannot be.
    #[error(transparent)]
    Stock(#[from] StockError),
    /// The pack cannot be drawn.
    #[error(transparent)]
    Spread(#[from] SpreadError),
}
