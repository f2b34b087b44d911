//! The vector of dimensions as it grows, and every mistake met on the way.

use super::BuildError;
use super::known::Known;
use crate::stack::Input;
use packdrift_pack::{Dimension, DimensionId};

/// Dimensions and inputs side by side.
#[derive(Debug, Clone, Default)]
pub(super) struct Places {
    pub(super) dimensions: Vec<Dimension>,
    pub(super) inputs: Vec<Input>,
    /// Names of the packets, in the order given.
    pub(super) lots: Vec<String>,
    pub(super) mistakes: Vec<BuildError>,
}

impl Places {
    /// A place for a dimension; a packet that is not known is a mistake.
    pub(super) fn add(&mut self, path: &str, name: &str, unit: &'static str, known: Known) -> DimensionId {
        let path = format!("{path}/{name}");
        let lot = known.lot.and_then(|name| {
            let found = self.lots.iter().position(|lot| *lot == name);
            if found.is_none() {
                self.refuse(&path, &format!("it comes from lot {name:?}, which the pack does not have"));
            }
            found
        });
        self.dimensions.push(Dimension { path, unit });
        self.inputs.push(Input {
            nominal: known.nominal,
            limits: known.limits,
            distribution: known.distribution,
            lot,
            cost: known.cost,
        });
        DimensionId(self.dimensions.len() - 1)
    }

    pub(super) fn refuse(&mut self, path: &str, reason: &str) {
        self.mistakes.push(BuildError::Refused { path: path.to_owned(), reason: reason.to_owned() });
    }
}
