//! The bay put together, with a value for every dimension: what a drawing of it needs.

use super::{Bench, Build};
use packdrift_pack::Pack;

/// A pack with expected values of its dimensions.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembled {
    /// The pack; of a build, with its pieces in the bay.
    pub pack: Pack,
    /// Index of the bay in hand.
    pub bay: usize,
    /// Index of the condition in which offsets are measured.
    pub condition: usize,
    /// One expected value per dimension of the pack.
    pub values: Vec<f64>,
}

impl Bench {
    /// The bay as it is.
    pub fn assembled(&self) -> Assembled {
        Assembled { pack: self.pack.clone(), bay: self.bay, condition: self.condition, values: self.values() }
    }

    /// The bay with a build in it.
    pub fn assembled_with(&self, build: &Build) -> Assembled {
        let rebuilt = self.rebuilt(&build.gaps);
        let values = rebuilt.entry.iter().map(|&entry| rebuilt.beliefs.mean(entry)).collect();
        Assembled { pack: rebuilt.pack, bay: self.bay, condition: self.condition, values }
    }
}
