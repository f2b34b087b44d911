//! Everything the physics cannot mean, found before anything is computed.

use crate::error::PackError;
use crate::model::Pack;

impl Pack {
    /// Every mistake in the pack and in one vector of dimension values (the drawing's nominals, say): an empty list means
    /// that every quantity of the pack has a meaning at `x`. That a bay cannot be assembled is not a mistake but a result.
    pub fn validate(&self, x: &[f64]) -> Vec<PackError> {
        let mut errors = Vec::new();
        if x.len() != self.dimensions.len() {
            errors.push(PackError::WrongNumberOfValues { expected: self.dimensions.len(), got: x.len() });
        }
        errors
    }
}
