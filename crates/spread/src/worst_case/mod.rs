//! Worst case: the extremes of a response over the box of what the dimensions may be.
//!
//! The box: every dimension between its drawing limits, or mean ± 3 standard deviations where there are none (within what its distribution
//! allows); every lot's deviation between bias − 3·between and bias + 3·between, the same for all its dimensions. The extremes are
//! those of the law itself, not of its tangent: where the law is not monotone they may lie inside the box ([`search`]).
//!
//! A loose bay's value is a range: `min` takes its low end, `max` its high end. Where part of the box cannot be assembled, `min` and `max` are
//! the extremes over the rest (a least upper bound: the largest preload is reached as the spring washers just go flat), and
//! `cannot_assemble` says so. Points that are too long are brought back to the edge of what fits by the inputs of [`Model::relief`], cheapest
//! first, which for a linear response is the optimum of the linear programme.

mod search;

use crate::error::SpreadError;
use crate::model::{Model, ModelError};
use crate::result::WorstCase;
use crate::stack::{Input, Lot, Stack};
use packdrift_pack::Outcome;

/// What the inputs may be, at worst.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitBox {
    /// Lower and upper end of each input, without its lot.
    pub inputs: Vec<(f64, f64)>,
    /// Lower and upper end of each lot's deviation.
    pub lots: Vec<(f64, f64)>,
    /// The lot of each input.
    pub lot_of: Vec<Option<usize>>,
}

impl LimitBox {
    /// Of a stack's inputs and lots.
    pub fn of_stack(stack: &Stack) -> Self {
        Self {
            inputs: stack.inputs.iter().map(input_range).collect(),
            lots: stack.lots.iter().map(lot_range).collect(),
            lot_of: stack.inputs.iter().map(|input| input.lot).collect(),
        }
    }

    /// The same with only those inputs free that `matter` to a response; the search need not look along the others, which stay at their
    /// upper ends.
    pub(crate) fn only(&self, matter: &[bool]) -> Self {
        let mut only = self.clone();
        for (matters, (low, high)) in matter.iter().zip(&mut only.inputs) {
            if !matters {
                *low = *high;
            }
        }
        for (lot, (low, high)) in only.lots.iter_mut().enumerate() {
            if !matter.iter().zip(&self.lot_of).any(|(matters, of)| *matters && *of == Some(lot)) {
                *low = *high;
            }
        }
        only
    }

    fn axes(&self) -> Vec<(f64, f64)> {
        self.inputs.iter().chain(&self.lots).copied().collect()
    }

    /// Input values at a point of the axes.
    fn to_x(&self, v: &[f64]) -> Vec<f64> {
        let (inputs, lots) = v.split_at(self.inputs.len());
        inputs.iter().zip(&self.lot_of).map(|(&v, lot)| v + lot.and_then(|j| lots.get(j)).unwrap_or(&0.0)).collect()
    }
}

fn input_range(input: &Input) -> (f64, f64) {
    if let Some(limits) = input.limits {
        return (limits.lower, limits.upper);
    }
    let distribution = &input.distribution;
    // Of few readings the standard deviation may be infinite; their standard uncertainty is not.
    let sd = if distribution.sd().is_finite() { distribution.sd() } else { distribution.standard_uncertainty() };
    let (low, high) = distribution.support();
    ((distribution.mean() - 3.0 * sd).max(low), (distribution.mean() + 3.0 * sd).min(high))
}

fn lot_range(lot: &Lot) -> (f64, f64) {
    (lot.bias - 3.0 * lot.between, lot.bias + 3.0 * lot.between)
}

/// The extremes of a response over the box.
///
/// # Errors
/// A response without value in the box for another reason than that the bay cannot be assembled.
pub fn worst_case(model: &dyn Model, response: usize, ranges: &LimitBox) -> Result<WorstCase, SpreadError> {
    let axes = ranges.axes();
    let problem = Problem::new(model, response, ranges, &axes);
    let loose = extreme(&axes, |v| problem.margins(v).map(|m| -m.interference)).is_some_and(|d| d >= 0.0);
    let cannot_assemble = extreme(&axes, |v| problem.margins(v).map(|m| m.excess)).is_some_and(|e| e > 0.0);
    let min = search::maximise(&axes, &|v| problem.value(v).map(|(low, _)| -low));
    let max = search::maximise(&axes, &|v| problem.value(v).map(|(_, high)| high));
    if min.is_none() && !cannot_assemble {
        // Nowhere a value: the model itself can say why.
        let centre: Vec<f64> = axes.iter().map(|(a, b)| 0.5 * (a + b)).collect();
        let what = "the worst case".to_owned();
        let source = match model.respond_one(response, &ranges.to_x(&centre)) {
            Err(source) => source,
            Ok(_) => ModelError::Response("it has no value anywhere within the limits".to_owned()),
        };
        return Err(SpreadError::Model { what, source });
    }
    let place = |v: &[f64]| problem.fitted(v).map(|v| ranges.to_x(&v)).unwrap_or_default();
    Ok(WorstCase {
        min: min.as_ref().map(|(value, _)| -value),
        max: max.as_ref().map(|(value, _)| *value),
        at_min: min.map(|(_, v)| place(&v)).unwrap_or_default(),
        at_max: max.map(|(_, v)| place(&v)).unwrap_or_default(),
        loose,
        cannot_assemble,
    })
}

/// The largest value of a margin, which is monotone in every axis.
fn extreme(axes: &[(f64, f64)], f: impl Fn(&[f64]) -> Option<f64>) -> Option<f64> {
    search::maximise(axes, &f).map(|(value, _)| value)
}

struct Problem<'a> {
    model: &'a dyn Model,
    response: usize,
    ranges: &'a LimitBox,
    /// Axes that make a bay fit, with the end at which it is shortest; what costs the response least comes first.
    relief: Vec<(usize, f64)>,
}

impl<'a> Problem<'a> {
    fn new(model: &'a dyn Model, response: usize, ranges: &'a LimitBox, axes: &[(f64, f64)]) -> Self {
        let mut problem = Self { model, response, ranges, relief: Vec::new() };
        let mut v: Vec<f64> = axes.iter().map(|(a, b)| 0.5 * (a + b)).collect();
        for axis in model.relief(response) {
            let (a, b) = axes[axis];
            if a >= b || problem.relief.iter().any(|(known, _)| *known == axis) {
                continue;
            }
            let middle = v[axis];
            let mut excess_at = |end: f64| {
                v[axis] = end;
                problem.margins(&v).map(|m| m.interference)
            };
            let (at_a, at_b) = (excess_at(a), excess_at(b));
            v[axis] = middle;
            if let (Some(at_a), Some(at_b)) = (at_a, at_b) {
                problem.relief.push((axis, if at_a < at_b { a } else { b }));
            }
        }
        // The cost of each, in the response's unit per mm of interference, where the bay is made as short as it can be.
        for &(axis, end) in &problem.relief {
            v[axis] = end;
        }
        let mut costs: Vec<(f64, (usize, f64))> = Vec::with_capacity(problem.relief.len());
        for &(axis, end) in &problem.relief {
            let (a, b) = axes[axis];
            let step = 0.01 * (if end > a { a - b } else { b - a });
            let mut at = v.clone();
            at[axis] += step;
            let change = match (problem.outcome(&v), problem.outcome(&at)) {
                (Some((low, high)), Some((low_at, high_at))) => 0.5 * (low_at + high_at - low - high),
                _ => 0.0,
            };
            let effect = match (problem.margins(&v), problem.margins(&at)) {
                (Some(here), Some(there)) => there.interference - here.interference,
                _ => 0.0,
            };
            let cost = if effect == 0.0 { f64::INFINITY } else { (change / effect).abs() };
            costs.push((cost, (axis, end)));
        }
        costs.sort_by(|a, b| a.0.total_cmp(&b.0));
        problem.relief = costs.into_iter().map(|(_, relief)| relief).collect();
        problem
    }

    fn margins(&self, v: &[f64]) -> Option<crate::model::Margins> {
        self.model.margins(self.response, &self.ranges.to_x(v))
    }

    /// Low and high end at a point, where it can be assembled.
    fn outcome(&self, v: &[f64]) -> Option<(f64, f64)> {
        match self.model.respond_one(self.response, &self.ranges.to_x(v)) {
            Ok(Outcome::Value(value)) => Some((value, value)),
            Ok(Outcome::Range { low, high }) => Some((low, high)),
            Ok(Outcome::CannotAssemble) | Err(_) => None,
        }
    }

    /// Low and high end at the point, or at the nearest one that fits.
    fn value(&self, v: &[f64]) -> Option<(f64, f64)> {
        self.outcome(v).or_else(|| self.outcome(&self.fitted(v)?))
    }

    /// The point itself where it can be assembled, else brought to the edge of what can.
    fn fitted(&self, v: &[f64]) -> Option<Vec<f64>> {
        let mut v = v.to_vec();
        if self.outcome(&v).is_some() {
            return Some(v);
        }
        for &(axis, end) in &self.relief {
            let long = v[axis];
            v[axis] = end;
            if self.outcome(&v).is_none() {
                continue;
            }
            // Back towards where it was, as far as it still fits.
            let (mut fits, mut too_long) = (end, long);
            for _ in 0..60 {
                let middle = 0.5 * (fits + too_long);
                v[axis] = middle;
                if self.outcome(&v).is_some() { fits = middle } else { too_long = middle }
            }
            v[axis] = fits;
            return Some(v);
        }
        None
    }
}

#[cfg(test)]
mod tests;
