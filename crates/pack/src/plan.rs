//! Many trials at once: a [`Plan`] answers the same questions of a [`Pack`] for a block of vectors of dimension values.

use crate::model::{DimensionId, Pack};
use crate::quantity::{Outcome, Quantity};

/// A quantity in a condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ask {
    /// What.
    pub quantity: Quantity,
    /// Index into [`Pack::conditions`].
    pub condition: usize,
}

/// A pack compiled for a list of questions, to be asked of millions of trials.
///
/// The trials of a block lie as a structure of arrays: one slice per dimension. No memory is allocated per block.
#[derive(Debug, Clone)]
pub struct Plan {
    pack: Pack,
    asks: Vec<Ask>,
    used: Vec<DimensionId>,
}

/// Answers to every question of a [`Plan`] for one block of trials, and the plan's working memory. One per thread.
#[derive(Debug, Clone)]
pub struct Block {
    low: Vec<Vec<f64>>,
    high: Vec<Vec<f64>>,
    x: Vec<f64>,
    trials: usize,
}

impl Pack {
    /// Compiles the pack for a list of questions.
    ///
    /// # Panics
    ///
    /// If an index in a question is not of this pack.
    pub fn plan(&self, asks: &[Ask]) -> Plan {
        Plan { pack: self.clone(), asks: asks.to_vec(), used: (0..self.dimensions.len()).map(DimensionId).collect() }
    }
}

impl Plan {
    /// The dimensions whose values matter to the answers; the columns of all others may be empty.
    pub fn dimensions(&self) -> &[DimensionId] {
        &self.used
    }

    /// The questions, in the order of the answers.
    pub fn asks(&self) -> &[Ask] {
        &self.asks
    }

    /// Room for the answers of blocks of up to `capacity` trials.
    pub fn block(&self, capacity: usize) -> Block {
        Block {
            low: vec![vec![0.0; capacity]; self.asks.len()],
            high: vec![vec![0.0; capacity]; self.asks.len()],
            x: Vec::new(),
            trials: 0,
        }
    }

    /// Answers every question for trials 0..`trials`.
    ///
    /// `columns` has one slice per dimension of the pack: of at least `trials` values, or of one value that holds for every
    /// trial (an exact dimension costs nothing), or empty where [`Plan::dimensions`] does not name it.
    ///
    /// # Panics
    ///
    /// If there are more trials than the block has room for, or a column is missing or too short.
    pub fn evaluate(&self, columns: &[&[f64]], trials: usize, block: &mut Block) {
        block.trials = trials;
        for trial in 0..trials {
            block.x.clear();
            block.x.extend(columns.iter().map(|column| match column {
                [] => f64::NAN,
                [constant] => *constant,
                values => values[trial],
            }));
            for (k, ask) in self.asks.iter().enumerate() {
                let (low, high) = match self.pack.evaluate(&ask.quantity, ask.condition, &block.x) {
                    Outcome::Value(value) => (value, value),
                    Outcome::Range { low, high } => (low, high),
                    Outcome::CannotAssemble => (f64::NAN, f64::NAN),
                };
                block.low[k][trial] = low;
                block.high[k][trial] = high;
            }
        }
    }
}

impl Block {
    /// The value of question `ask` in every trial, or the smaller end of its range in a loose bay; NaN where the bay cannot
    /// be assembled.
    pub fn low(&self, ask: usize) -> &[f64] {
        &self.low[ask][..self.trials]
    }

    /// The value of question `ask` in every trial, or the larger end of its range in a loose bay; NaN where the bay cannot
    /// be assembled. For quantities that are never ranges this is the same slice as [`Block::low`].
    pub fn high(&self, ask: usize) -> &[f64] {
        &self.high[ask][..self.trials]
    }

    /// The answer to question `ask` in one trial, as [`Pack::evaluate`] would give it.
    pub fn outcome(&self, ask: usize, trial: usize) -> Outcome {
        let (low, high) = (self.low(ask)[trial], self.high(ask)[trial]);
        if low.is_nan() {
            Outcome::CannotAssemble
        } else if low == high {
            Outcome::Value(low)
        } else {
            Outcome::Range { low, high }
        }
    }
}
