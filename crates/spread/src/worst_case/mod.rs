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

mod reduction;
mod search;

use crate::error::SpreadError;
use crate::model::{Model, ModelError};
use crate::result::WorstCase;
use crate::stack::{Input, Lot, Stack};
use packdrift_pack::Outcome;
use reduction::Reduction;

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
    let reduction = Reduction::new(model, response, ranges);
    let axes = reduction.axes();
    let problem = Problem::new(model, response, &reduction, &axes);
    let loose = extreme(&axes, |v| problem.margins(v).map(|m| -m.interference)).is_some_and(|d| d >= 0.0);
    let cannot_assemble = extreme(&axes, |v| problem.margins(v).map(|m| m.excess)).is_some_and(|e| e > 0.0);
    let min = search::maximise(&axes, &|v| problem.value(v).map(|(low, _)| -low));
    let max = search::maximise(&axes, &|v| problem.value(v).map(|(_, high)| high));
    if min.is_none() && !cannot_assemble {
        // Nowhere a value: the model itself can say why.
        let centre: Vec<f64> = axes.iter().map(|(a, b)| 0.5 * (a + b)).collect();
        let what = "the worst case".to_owned();
        let source = match model.respond_one(response, &reduction.to_x(&centre)) {
            Err(source) => source,
            Ok(_) => ModelError::Response("it has no value anywhere within the limits".to_owned()),
        };
        return Err(SpreadError::Model { what, source });
    }
    let place = |v: &[f64]| problem.fitted(v).map(|v| reduction.to_x(&v)).unwrap_or_default();
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
    reduction: &'a Reduction<'a>,
    /// What makes a bay fit; what costs the response least comes first.
    relief: Vec<Relief>,
}

/// An axis by which a bay can be made to fit.
#[derive(Debug, Clone, Copy)]
struct Relief {
    axis: usize,
    /// Where the bay is shortest.
    end: f64,
    /// Interference per unit of the axis.
    rate: f64,
}

impl<'a> Problem<'a> {
    fn new(model: &'a dyn Model, response: usize, reduction: &'a Reduction<'a>, axes: &[(f64, f64)]) -> Self {
        let mut problem = Self { model, response, reduction, relief: Vec::new() };
        let mut v: Vec<f64> = axes.iter().map(|(a, b)| 0.5 * (a + b)).collect();
        for axis in model.relief(response).into_iter().filter_map(|input| reduction.axis_of(input)) {
            let (a, b) = axes[axis];
            if problem.relief.iter().any(|known| known.axis == axis) {
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
                let end = if at_a < at_b { a } else { b };
                problem.relief.push(Relief { axis, end, rate: (at_b - at_a) / (b - a) });
            }
        }
        // The cost of each, in the response's unit per mm of interference, where the bay is made as short as it can be.
        for relief in &problem.relief {
            v[relief.axis] = relief.end;
        }
        let mut costs: Vec<(f64, Relief)> = Vec::with_capacity(problem.relief.len());
        for &relief in &problem.relief {
            let Relief { axis, end, .. } = relief;
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
            costs.push((cost, relief));
        }
        costs.sort_by(|a, b| a.0.total_cmp(&b.0));
        problem.relief = costs.into_iter().map(|(_, relief)| relief).collect();
        problem
    }

    fn margins(&self, v: &[f64]) -> Option<crate::model::Margins> {
        self.model.margins(self.response, &self.reduction.to_x(v))
    }

    /// Low and high end at a point, where it can be assembled.
    fn outcome(&self, v: &[f64]) -> Option<(f64, f64)> {
        match self.model.respond_one(self.response, &self.reduction.to_x(v)) {
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
        // Each relief shortens the bay, so once it fits it goes on fitting. How many it takes follows from their lengths, and is looked up on
        // either side: tried one by one, a bay of a thousand parts would cost a thousand evaluations at every point.
        let long = v.clone();
        let mut excess = self.margins(&v)?.excess;
        let mut count = 0;
        while count < self.relief.len() && (excess > 0.0 || excess.is_nan()) {
            let Relief { axis, end, rate } = self.relief[count];
            excess += rate * (end - long[axis]);
            count += 1;
        }
        let mut fits = |count: usize| {
            for (k, relief) in self.relief.iter().enumerate() {
                v[relief.axis] = if k < count { relief.end } else { long[relief.axis] };
            }
            self.outcome(&v).is_some()
        };
        let (mut too_few, mut enough) = (0, self.relief.len());
        for guess in [count, count.saturating_sub(1)] {
            if guess > too_few && guess < enough {
                if fits(guess) { enough = guess } else { too_few = guess }
            }
        }
        while enough - too_few > 1 {
            let middle = too_few + (enough - too_few) / 2;
            if fits(middle) { enough = middle } else { too_few = middle }
        }
        if !fits(enough) {
            return None;
        }
        // The last one back towards where it was, as far as it still fits.
        let Relief { axis, end, .. } = *self.relief.get(enough.checked_sub(1)?)?;
        v[axis] = self.edge(&mut v.clone(), axis, end, long[axis]);
        Some(v)
    }

    /// The place on an axis, from one that fits towards one that is too long, beyond which the next number no longer fits.
    fn edge(&self, v: &mut [f64], axis: usize, mut fits: f64, mut too_long: f64) -> f64 {
        let mut excess = |place: f64| {
            v[axis] = place;
            self.margins(v).map_or(f64::NAN, |m| m.excess)
        };
        // What is too much is linear in a length, so a straight line leads to the edge but for rounding, which is looked for on either side.
        let (at_fits, at_long) = (excess(fits), excess(too_long));
        let guess = fits + (too_long - fits) * (at_fits / (at_fits - at_long));
        let mut fits_at = |place: f64| {
            v[axis] = place;
            self.outcome(v).is_some()
        };
        let away = (too_long - fits).signum();
        for side in [away, -away] {
            let mut reach = 8.0 * f64::EPSILON * fits.abs().max(too_long.abs());
            loop {
                let place = guess + side * reach;
                if !(place > fits.min(too_long) && place < fits.max(too_long)) {
                    break;
                }
                let inside = fits_at(place);
                if inside {
                    fits = place;
                } else {
                    too_long = place;
                }
                // Now it is known on this side.
                if inside == (side != away) {
                    break;
                }
                reach *= 16.0;
            }
        }
        for _ in 0..60 {
            let middle = 0.5 * (fits + too_long);
            if middle <= fits.min(too_long) || middle >= fits.max(too_long) {
                break;
            }
            if fits_at(middle) { fits = middle } else { too_long = middle }
        }
        fits
    }
}

#[cfg(test)]
mod tests;
