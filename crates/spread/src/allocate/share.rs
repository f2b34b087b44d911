//! The joint share outside as a function of the tolerances, quick enough to be asked for thousands of times.

use crate::population::Population;
use crate::questions::{Limits, NormalShare, PlaneChange};
use crate::result::Source;
use crate::union::{HalfSpace, Points, bivariate};
use packdrift_numerics::normal;

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
        self.within_by_bounds(factors).unwrap_or_else(|| self.joint(factors) <= self.ceiling * (1.0 + 1e-9))
    }

    /// The same by the bounds alone; None where they leave it open.
    pub(super) fn within_by_bounds(&self, factors: &[f64]) -> Option<bool> {
        let singles = self.singles(factors);
        let ceiling = self.ceiling * (1.0 + 1e-9);
        if singles.iter().any(|p| *p > ceiling) {
            return Some(false);
        }
        (singles.iter().sum::<f64>() <= ceiling).then_some(true)
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

    /// Each limit's share as a function of the squares of the factors, where its terms are all normal.
    pub(super) fn normal_shares(&self) -> Vec<Option<NormalShare>> {
        self.limits.iter().flat_map(|limits| limits.normal_shares(&self.inputs)).collect()
    }

    pub(super) fn ceiling(&self) -> f64 {
        self.ceiling
    }

    /// For each pair of limits more than which they can fail together by at no choice within the ceiling whose factors are at least
    /// `tightest`: Φ₂ at the ceiling and the largest correlation. Infinite where what varies may correlate them.
    pub(super) fn together_at_most(&self, tightest: &[f64]) -> Vec<Vec<f64>> {
        let mut by_input = vec![1.0; self.population.inputs()];
        let mut varies = vec![false; self.population.inputs()];
        for (k, factor) in self.inputs.iter().zip(tightest) {
            (by_input[*k], varies[*k]) = (*factor, true);
        }
        let sources: Vec<Source> = self.population.sources().collect();
        let origin = vec![0.0; self.population.coordinates()];
        let in_u: Vec<Vec<f64>> = self
            .limits
            .iter()
            .flat_map(Limits::coefficients)
            .map(|coefficients| {
                let mut in_u = vec![0.0; origin.len()];
                self.population.gradient_to_u(&origin, coefficients, &mut in_u);
                in_u
            })
            .collect();
        let factor = |d: usize| match sources[d] {
            Source::Input(k) => by_input[k],
            Source::Lot(_) => 1.0,
        };
        let least_size = |a: &Vec<f64>| a.iter().enumerate().map(|(d, g)| (g * factor(d)).powi(2)).sum::<f64>().sqrt();
        let sizes: Vec<f64> = in_u.iter().map(least_size).collect();
        let edge = normal::quantile(self.ceiling);
        let pair = |i: usize, j: usize| {
            let mut common = 0.0;
            for d in 0..origin.len() {
                let product = in_u[i][d] * in_u[j][d];
                if product <= 0.0 {
                    continue;
                }
                match sources[d] {
                    Source::Input(k) if varies[k] => return f64::INFINITY,
                    _ => common += product,
                }
            }
            let largest = common / (sizes[i] * sizes[j]);
            if largest < 1.0 { bivariate(edge, edge, largest) } else { f64::INFINITY }
        };
        (0..in_u.len()).map(|i| (0..in_u.len()).map(|j| if i == j { 0.0 } else { pair(i, j) }).collect()).collect()
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
