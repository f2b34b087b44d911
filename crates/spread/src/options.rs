//! What the user may ask of an analysis.

use crate::method::MethodChoice;
use packdrift_numerics::stream::DEFAULT_SEED;

/// Options of [`crate::analyse()`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// How.
    pub method: MethodChoice,
    /// Trials of plain Monte Carlo. None: 1 000 000, or what `until` or `digits` asks for.
    pub trials: Option<u64>,
    /// Relative standard error wanted of every share outside.
    pub until: Option<f64>,
    /// Significant digits wanted of the standard deviation, by the adaptive rule of JCGM 101:2008 7.9.
    pub digits: Option<u32>,
    /// Of all random numbers.
    pub seed: u64,
    /// Whether to compute Sobol' indices.
    pub sobol: bool,
    /// Whether to tabulate the share beyond other limits than those of the file, for a page on which limits are moved.
    pub moved_limits: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            method: MethodChoice::Auto,
            trials: None,
            until: None,
            digits: None,
            seed: DEFAULT_SEED,
            sobol: false,
            moved_limits: false,
        }
    }
}

/// Watches a long computation, and may stop it. The work calls it from several threads.
pub trait Progress: Sync {
    /// `done` of about `total` trials are finished; `total` may grow where the number of trials is not known beforehand.
    fn advance(&self, done: u64, total: u64);

    /// Whether to stop; the computation then returns [`crate::SpreadError::Cancelled`] soon.
    fn cancelled(&self) -> bool {
        false
    }
}

/// Watches nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn advance(&self, _done: u64, _total: u64) {}
}
