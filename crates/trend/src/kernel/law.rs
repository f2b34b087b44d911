//! How a fitted model has the readings of one segment vary: the mean line of its group and a covariance. What jumps and bad days are told by.

use super::frame::Clock;
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};

/// How far a reading lies from what all others foretell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Miss {
    /// Position among the segments' readings.
    pub(crate) at: usize,
    /// What they foretell, in the feature's unit.
    pub(crate) expected: f64,
    /// (reading − expected) over the standard deviation of that difference.
    pub(crate) standardised: f64,
}

/// The law of a fleet's segments, in the feature's unit and hours of the clock.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FleetLaw {
    /// Mean start and slope, by group.
    pub(crate) lines: Vec<(f64, f64)>,
    /// Covariance of the errors of these, start and slope of each group in turn, row by row.
    pub(crate) lines_cov: Vec<f64>,
    /// Variances and covariance of segments' starts and slopes about their group's.
    pub(crate) start_var: f64,
    pub(crate) cov: f64,
    pub(crate) slope_var: f64,
    /// Growth of the wander's variance per hour of the clock.
    pub(crate) wander_var: f64,
    /// Standard deviation of a sound reading.
    pub(crate) reading: f64,
    pub(crate) clock: Clock,
}

/// How many times the variance of all its readings a segment's start has that may be anywhere.
const ANYWHERE: f64 = 100.0;

impl FleetLaw {
    /// The mean line of a group; that of the first where groups were pooled.
    pub(crate) fn line(&self, group: usize) -> (f64, f64) {
        self.lines.get(group).or(self.lines.first()).copied().unwrap_or((0.0, 0.0))
    }

    /// Where a group's line stands among the coefficients.
    pub(crate) fn place(&self, group: usize) -> usize {
        if group < self.lines.len() { 2 * group } else { 0 }
    }

    /// Covariance of the readings at these hours of the clock.
    pub(crate) fn covariance(&self, lambda: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(lambda.len(), lambda.len(), |i, k| {
            let (a, b) = (lambda[i], lambda[k]);
            let line = self.start_var + self.cov * (a + b) + self.slope_var * a * b;
            let error = if i == k { self.reading * self.reading } else { 0.0 };
            line + self.wander_var * a.min(b) + error
        })
    }
}

impl FleetLaw {
    /// The same in a segment: one that a jump began starts anywhere.
    pub(crate) fn covariance_in(&self, segments: &Segments, s: usize, lambda: &[f64]) -> DMatrix<f64> {
        let mut v = self.covariance(lambda);
        if segments.begins_by_jump(s) {
            let anywhere = ANYWHERE * v.trace();
            v.add_scalar_mut(anywhere);
        }
        v
    }

    /// Of each reading of a segment how far it lies from what the segment's other readings foretell. Readings of weight below one half
    /// tell nothing of the others.
    pub(crate) fn misses(&self, segments: &Segments, s: usize, weights: &[f64]) -> Vec<Miss> {
        let range = segments.range(s);
        let lambda: Vec<f64> = range.clone().map(|i| self.clock.at(segments.hours[i])).collect();
        let (a, b) = self.line(segments.group[s] as usize);
        let residual = DVector::from_iterator(
            lambda.len(),
            range.clone().zip(&lambda).map(|(i, l)| segments.value[i] - a - b * l),
        );
        let mut v = self.covariance_in(segments, s, &lambda);
        let struck = |i: usize| weights.get(i).is_some_and(|w| *w < 0.5);
        let large = 1e6 * (v.trace() + f64::MIN_POSITIVE);
        for (k, i) in range.clone().enumerate() {
            if struck(i) {
                v[(k, k)] += large;
            }
        }
        let Some(inverse) = v.cholesky().map(|c| c.inverse()) else {
            return range.map(|at| Miss { at, expected: segments.value[at], standardised: 0.0 }).collect();
        };
        let pulled = &inverse * &residual;
        range
            .enumerate()
            .map(|(k, i)| {
                let precision = inverse[(k, k)];
                let miss = pulled[k] / precision;
                // A reading that is struck stands beside its own inflated variance, which is taken off again.
                let variance = (1.0 / precision - if struck(i) { large } else { 0.0 }).max(self.reading * self.reading);
                Miss { at: i, expected: segments.value[i] - miss, standardised: miss / variance.sqrt() }
            })
            .collect()
    }
}
