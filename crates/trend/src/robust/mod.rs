//! Readings that are not to be believed as they stand: jumps that stayed, days on which all were off together.
//!
//! Patterns are told from drift by the law of a fitted model ([`crate::kernel::FleetLaw`]), whichever family it is of. In segment j let V be
//! the covariance of its readings and r = y − Xβ. A pattern d (all readings from one on; all readings of one day, over segments) that adds
//! δ·d is estimated by δ = d′V⁻¹r/d′V⁻¹d with standard error 1/√(d′V⁻¹d): the innovations of the fitted model weighed against the pattern
//! (A. Harvey, S. J. Koopman, Diagnostic checking of unobserved-components time series models, Journal of Business & Economic Statistics 10
//! (1992) 377–389). Drift and wander are part of V, so what a valve may do by itself is not taken for a jump. Thresholds hold the chance of
//! one false finding in a whole sound table at 1 %, by Bonferroni over the patterns tried.

pub(crate) mod days;
pub(crate) mod jumps;
pub(crate) mod last_look;
mod visits;

use crate::kernel::FleetLaw;
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;

/// Chance of a false finding in a sound table.
const FALSE_ALARM: f64 = 0.01;
/// Readings of one segment looked at together: the latest, in histories longer than this.
const LONGEST: usize = 200;

/// One segment's readings under the law.
struct View {
    first: usize,
    lambda: Vec<f64>,
    residual: DVector<f64>,
    /// V⁻¹ with the readings of no weight struck out.
    inverse: DMatrix<f64>,
}

impl View {
    /// None where the covariance cannot be inverted. `weights` are the segment's own readings'; those of weight 0 are struck.
    fn new(segments: &Segments, law: &FleetLaw, weights: &[f64], s: usize) -> Option<Self> {
        let range = segments.range(s);
        let first = range.end - range.len().min(LONGEST);
        let lambda: Vec<f64> = (first..range.end).map(|i| law.clock.at(segments.hours[i])).collect();
        let (a, b) = law.line(segments.group[s] as usize);
        let residual = DVector::from_iterator(
            lambda.len(),
            (first..range.end).zip(&lambda).map(|(i, l)| segments.value[i] - a - b * l),
        );
        let mut v = law.covariance_in(segments, s, &lambda);
        let large = 1e6 * (v.trace() + f64::MIN_POSITIVE);
        for (k, i) in (first..range.end).enumerate() {
            if weights.get(i - range.start).is_some_and(|w| *w <= 0.0) {
                v[(k, k)] += large;
            }
        }
        let inverse = v.cholesky()?.inverse();
        Some(Self { first, lambda, residual, inverse })
    }

    fn len(&self) -> usize {
        self.lambda.len()
    }
}

/// Standard errors beyond which one of so many patterns counts as found.
pub(crate) fn threshold(patterns: usize) -> f64 {
    normal::upper_quantile(0.5 * FALSE_ALARM / patterns.max(1) as f64)
}
