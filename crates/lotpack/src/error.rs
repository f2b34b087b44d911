//! What can be wrong with a lot or a gauge in a pack.

use packdrift_lot::LotError;
use packdrift_spread::SpreadError;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LotPackError {
    /// The lot, or a name the pack does not have.
    #[error(transparent)]
    Lot(#[from] LotError),
    /// Called off by the observer.
    #[error("called off")]
    Cancelled,
    /// The spread of the pack could not be computed.
    #[error("the pack's spread could not be computed: {0}")]
    Spread(String),
}

impl From<SpreadError> for LotPackError {
    fn from(error: SpreadError) -> Self {
        match error {
            SpreadError::Cancelled => Self::Cancelled,
            other => Self::Spread(other.to_string()),
        }
    }
}
