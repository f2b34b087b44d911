//! The joint share outside as a function of the tolerances, quick enough to be asked for thousands of times.

use crate::population::Population;
use crate::questions::{Limits, PlaneChange};
use crate::result::Source;
use crate::union::{HalfSpace, Points};

/// Limits that make less than this part of the sum of all are added as they are: what they have in common with others cannot matter.
const MINOR: f64 = 1e-3;

/// P(at least one requirement fails) when the scatter of some inputs is multiplied by factors.
pub(super) struct JointShare<'a> {
    limits: &'a [Limits],
    population: &'a Population,
    /// The inputs whose factors vary.
    pub(super) inputs: Vec<usize>,
    points: Points,
    ceiling: f64,
    stopped: &'a (dyn Fn() -> bool + 'a),
}

impl<'a> JointShare<'a> {
    pub(super) fn new(
        limits: &'a [Limits],
        population: &'a Population,
        inputs: Vec<usize>,
        seed: u64,
        ceiling: f64,
        stopped: &'a (dyn Fn() -> bool + 'a),
    ) -> Self {
        let points = Points::new(population.coordinates(), seed);
        Self { limits, population, inputs, points, ceiling, stopped }
    }

    /// Whether the user has called it off.
    pub(super) fn stopped(&self) -> bool {
        (self.stopped)()
    }

    fn change(&self, factors: &[f64]) -> PlaneChange {
        let scale = self.inputs.iter().zip(factors).map(|(k, f)| (Source::Input(*k), *f)).collect();
        PlaneChange { scale, shift: Vec::new() }
    }

    /// The single limits' shares.
    fn singles(&self, factors: &[f64]) -> Vec<f64> {
        let change = self.change(factors);
        self.limits.iter().flat_map(|limits| limits.shares(&change)).collect()
    }

    /// Their sum: an upper bound, and smooth.
    pub(super) fn sum(&self, factors: &[f64]) -> f64 {
        self.singles(factors).iter().sum()
    }

    /// The joint share.
    pub(super) fn joint(&self, factors: &[f64]) -> f64 {
        let shares = self.singles(factors);
        let least = MINOR * shares.iter().sum::<f64>();
        let minor: f64 = shares.iter().filter(|p| **p <= least).sum();
        (minor + self.points.union(&self.half_spaces(factors, shares, least)).value).min(1.0)
    }

    /// Whether the joint share is within the ceiling; the bounds max P_j ≤ P ≤ Σ P_j decide most cases.
    pub(super) fn within(&self, factors: &[f64]) -> bool {
        let singles = self.singles(factors);
        let ceiling = self.ceiling * (1.0 + 1e-9);
        if singles.iter().any(|p| *p > ceiling) {
            return false;
        }
        singles.iter().sum::<f64>() <= ceiling || self.joint(factors) <= ceiling
    }

    fn half_spaces(&self, factors: &[f64], shares: Vec<f64>, least: f64) -> Vec<HalfSpace> {
        let mut by_input = vec![1.0; self.population.inputs()];
        for (k, factor) in self.inputs.iter().zip(factors) {
            by_input[*k] = *factor;
        }
        let origin = vec![0.0; self.population.coordinates()];
        let sources: Vec<Source> = self.population.sources().collect();
        let coefficients = self.limits.iter().flat_map(Limits::coefficients);
        let mut in_u = vec![0.0; origin.len()];
        coefficients
            .zip(shares)
            .filter(|(_, share)| *share > least)
            .filter_map(|(coefficients, share)| {
                self.population.gradient_to_u(&origin, coefficients, &mut in_u);
                // An input's own coordinates carry its factor; a lot's does not.
                let mut direction: Vec<f64> = in_u
                    .iter()
                    .zip(&sources)
                    .map(|(g, source)| match source {
                        Source::Input(k) => -g * by_input[*k],
                        Source::Lot(_) => -g,
                    })
                    .collect();
                let size = direction.iter().map(|d| d * d).sum::<f64>().sqrt();
                direction.iter_mut().for_each(|d| *d /= size);
                (size > 0.0 && size.is_finite()).then_some(HalfSpace { direction, share })
            })
            .collect()
    }

    /// ∂ ln Σ P_j/∂ ln factor for some inputs (by place) at the factors: smooth, so differenced closely.
    pub(super) fn slopes_of_sum(&self, factors: &[f64], places: &[usize]) -> Vec<f64> {
        differences(factors, places, 1e-4, |at| self.sum(at))
    }

    /// ∂ ln(P/Σ P_j)/∂ ln factor: what dependence takes off the sum changes slowly and is sampled, so it is differenced widely.
    pub(super) fn slopes_of_overlap(&self, factors: &[f64], places: &[usize]) -> Vec<f64> {
        differences(factors, places, 0.05, |at| self.joint(at) / self.sum(at))
    }

    /// Of each limit whose terms are all normal: the variance that must not be exceeded for it to stay within the ceiling by itself, less what does not
    /// vary, and each input's part at factor 1. A necessary condition for every allocation, and linear in the squares of the factors.
    pub(super) fn knapsacks(&self) -> Vec<(f64, Vec<f64>)> {
        self.limits.iter().flat_map(|limits| limits.knapsacks(&self.inputs, self.ceiling)).collect()
    }
}

/// Central differences of ln f in ln factor.
fn differences(factors: &[f64], places: &[usize], step: f64, f: impl Fn(&[f64]) -> f64) -> Vec<f64> {
    let mut at = factors.to_vec();
    places
        .iter()
        .map(|&i| {
            at[i] = factors[i] * step.exp();
            let high = f(&at);
            at[i] = factors[i] * (-step).exp();
            let low = f(&at);
            at[i] = factors[i];
            (high / low).ln() / (2.0 * step)
        })
        .collect()
}
