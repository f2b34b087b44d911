//! Fewer axes for the same extremes.
//!
//! A long pack has hundreds of washers and shims, but the quantity knows of them only the length of those on the left of the rocker and the length
//! of the others with the span. Inputs that act through one such sum alone ([`Model::alike`]) move together here, each between its own ends:
//! with t from 0 to 1 every one goes from the end where the sum is least to the end where it is largest, so the sum takes every value that it
//! can take in the box, and the extremes over t are those over the box. So the search looks along as many axes as there are sums and
//! single inputs, and its cost is that of a fixed number of evaluations: linear in the inputs.
//!
//! A lot whose members all belong to one sum moves with them; one with members elsewhere stays an axis of its own.

use super::LimitBox;
use crate::model::Model;

/// The box by fewer axes.
#[derive(Debug)]
pub(super) struct Reduction<'a> {
    ranges: &'a LimitBox,
    /// Ends of each input and each lot.
    ends: Vec<(f64, f64)>,
    axes: Vec<Axis>,
    /// Of each input and lot that is free, its axis.
    axis_of: Vec<Option<usize>>,
}

/// One coordinate of the search.
#[derive(Debug)]
enum Axis {
    /// An input or a lot by itself.
    Single(usize),
    /// Inputs and lots that move together, t from 0 to 1; whether each goes down as t goes up.
    Together(Vec<(usize, bool)>),
}

impl<'a> Reduction<'a> {
    pub(super) fn new(model: &dyn Model, response: usize, ranges: &'a LimitBox) -> Self {
        let ends: Vec<(f64, f64)> = ranges.inputs.iter().chain(&ranges.lots).copied().collect();
        let free = |k: usize| ends[k].0 < ends[k].1;
        let mut axes = Vec::new();
        let mut axis_of = vec![None; ends.len()];
        // The sum that each input belongs to, and its sign there.
        let mut sum_of = vec![None; ranges.inputs.len()];
        let sums = model.alike(response);
        for (s, members) in sums.iter().enumerate() {
            for &(input, falls) in members {
                sum_of[input] = Some((s, falls));
            }
        }
        let mut members: Vec<Vec<(usize, bool)>> =
            sums.iter().map(|members| members.iter().copied().filter(|&(input, _)| free(input)).collect()).collect();
        for lot in 0..ranges.lots.len() {
            let mut sums =
                (0..ranges.inputs.len()).filter(|&input| ranges.lot_of[input] == Some(lot)).map(|i| sum_of[i]);
            let first = sums.next().flatten();
            if let Some((sum, falls)) = first
                && sums.all(|other| other == first)
                && free(ranges.inputs.len() + lot)
            {
                members[sum].push((ranges.inputs.len() + lot, falls));
            }
        }
        for together in members {
            if together.len() > 1 {
                for &(k, _) in &together {
                    axis_of[k] = Some(axes.len());
                }
                axes.push(Axis::Together(together));
            }
        }
        for k in 0..ends.len() {
            if free(k) && axis_of[k].is_none() {
                axis_of[k] = Some(axes.len());
                axes.push(Axis::Single(k));
            }
        }
        Self { ranges, ends, axes, axis_of }
    }

    /// Ends of each coordinate.
    pub(super) fn axes(&self) -> Vec<(f64, f64)> {
        let ends = |axis: &Axis| match axis {
            Axis::Single(k) => self.ends[*k],
            Axis::Together(_) => (0.0, 1.0),
        };
        self.axes.iter().map(ends).collect()
    }

    /// The coordinate that moves an input; None where it is fixed.
    pub(super) fn axis_of(&self, input: usize) -> Option<usize> {
        self.axis_of[input]
    }

    /// Input values at a point.
    pub(super) fn to_x(&self, v: &[f64]) -> Vec<f64> {
        let mut values: Vec<f64> = self.ends.iter().map(|(low, _)| *low).collect();
        for (&place, axis) in v.iter().zip(&self.axes) {
            match axis {
                Axis::Single(k) => values[*k] = place,
                Axis::Together(members) => {
                    for &(k, falls) in members {
                        let (low, high) = self.ends[k];
                        let (from, to) = if falls { (high, low) } else { (low, high) };
                        // At 0 and 1 the ends themselves.
                        values[k] = (1.0 - place) * from + place * to;
                    }
                }
            }
        }
        let (inputs, lots) = values.split_at(self.ranges.inputs.len());
        let shift = |lot: Option<usize>| lot.and_then(|j| lots.get(j)).copied().unwrap_or(0.0);
        inputs.iter().zip(&self.ranges.lot_of).map(|(x, lot)| x + shift(*lot)).collect()
    }
}
