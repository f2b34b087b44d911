//! The whole question: the pack, what is known of each of its dimensions, the lots they come from, and what is required.

use crate::distribution::{Distribution, Limits};
use crate::worst_case::LimitBox;
use packdrift_pack::{Pack, Quantity};

/// What is known of one dimension; the k-th input belongs to the k-th of [`Pack::dimensions`].
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// The drawing nominal (for measured parts, the mean).
    pub nominal: f64,
    /// The limits on the drawing; None where there are none (worst case then uses mean ± 3 sd).
    pub limits: Option<Limits>,
    /// Scatter of single parts; for a part of a lot, within the lot.
    pub distribution: Distribution,
    /// Index into [`Stack::lots`].
    pub lot: Option<usize>,
    /// What tightening it costs, for allocation.
    pub cost: Option<Cost>,
}

/// Parts from one packet: they share the deviation of the packet's mean, N(bias, between²), added to each dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Its name.
    pub name: String,
    /// Mean of lots minus nominal, mm.
    pub bias: f64,
    /// Standard deviation of the lots' means, mm.
    pub between: f64,
}

/// Two dimensions that do not scatter independently.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correlation {
    /// Indices into [`Stack::inputs`].
    pub between: (usize, usize),
    /// Of the Gaussian copula, −1 to 1.
    pub coefficient: f64,
}

/// What a tolerance costs.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Cost {
    /// fixed + scale / tol^exponent, tol in mm (half the width of the limits).
    Power {
        /// a.
        fixed: f64,
        /// b.
        scale: f64,
        /// k.
        exponent: f64,
    },
    /// Discrete grades: (tol, price), tol in mm.
    Grades(Vec<(f64, f64)>),
}

/// The largest acceptable share outside the limits unless something else is said: that of a normal distribution outside its mean ± 3 standard
/// deviations.
pub const MAX_OUT: f64 = 0.0027;

/// A quantity in a condition, and the limits it must keep.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    /// As named in the file.
    pub name: String,
    /// Of which bay, valve or spring washer.
    pub quantity: Quantity,
    /// Index into [`Pack::conditions`]. A requirement without a condition in the file becomes one per condition here.
    pub condition: usize,
    /// Smallest acceptable value.
    pub lower: Option<f64>,
    /// Largest acceptable value.
    pub upper: Option<f64>,
    /// The aim; default the middle of the limits.
    pub target: Option<f64>,
    /// Largest acceptable share outside the limits; [`MAX_OUT`] where nothing is said.
    pub max_out: f64,
}

/// A pack with all that is known and required of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stack {
    /// The mechanical model.
    pub pack: Pack,
    /// One per dimension of the pack.
    pub inputs: Vec<Input>,
    /// The packets.
    pub lots: Vec<Lot>,
    /// Pairs that are tied.
    pub correlations: Vec<Correlation>,
    /// One per quantity and condition.
    pub requirements: Vec<Requirement>,
}

impl Stack {
    /// Squeeze, preload, play and offsets of every bay in every condition with each dimension at its nominal: what was read.
    pub fn as_drawn(&self) -> Vec<packdrift_pack::AsDrawn> {
        let nominals: Vec<f64> = self.inputs.iter().map(|input| input.nominal).collect();
        self.pack.as_drawn(&nominals)
    }

    /// The bays that no values within their limits can build ([`Pack::never_built`]); where a dimension has no limits its mean ± 3 sd
    /// stand for them, and a lot adds its own bias ± 3 sd. Mistakes in the file, not results.
    pub fn never_built(&self) -> Vec<packdrift_pack::PackError> {
        let ranges = LimitBox::of_stack(self);
        let ends = |upper: bool| -> Vec<f64> {
            let pick = |(low, high): (f64, f64)| if upper { high } else { low };
            let inputs = ranges.inputs.iter().zip(&ranges.lot_of);
            inputs
                .map(|(of_input, lot)| {
                    pick(*of_input) + lot.and_then(|lot| ranges.lots.get(lot)).map_or(0.0, |of_lot| pick(*of_lot))
                })
                .collect()
        };
        self.pack.never_built(&ends(false), &ends(true))
    }
}
