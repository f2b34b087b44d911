//! Tolerances with the cost a + b/tol^k: least cost under the ceiling, by the conditions of Karush, Kuhn and Tucker.
//!
//! With x = ln tol, at the optimum k·b/tol^k = λ·∂ln P/∂x for every tolerance between its bounds. Near the present point the share outside is
//! taken as a function of a weighted sum of squares, Σ w·(tol/tol₀)² with w ∝ ∂ln P/∂x, which is what it is for root-sum-square; then for a multiplier μ
//!
//! x = (ln(k·b/(2μw)) + 2·ln tol₀)/(2 + k)
//!
//! in closed form, and μ follows from the ceiling by one root search, with P as the sum of the single limits' shares times what dependence
//! leaves of it at the present point. Repeated with the new slopes and the new remainder until nothing moves: then the conditions hold for the real P. For one linear requirement of normals and k = 1 that is tol ∝ (b/g²)^⅓ at once.

use super::share::JointShare;
use packdrift_numerics::root;

/// One tolerance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variable {
    /// The tolerance at factor 1, mm.
    pub(super) tol: f64,
    /// b of the cost.
    pub(super) scale: f64,
    /// k of the cost.
    pub(super) exponent: f64,
    /// Smallest and largest factor.
    pub(super) bounds: (f64, f64),
}

impl Variable {
    /// The part of the cost that varies.
    pub(super) fn cost(&self, factor: f64) -> f64 {
        self.scale / (factor * self.tol).powf(self.exponent)
    }
}

impl Variable {
    /// min over the factor f of cost(f) + w·f², within the bounds.
    pub(super) fn least_with(&self, w: f64) -> f64 {
        let of = |f: f64| self.cost(f) + w * f * f;
        if w <= 0.0 {
            return of(self.bounds.1);
        }
        let k = self.exponent;
        let free = (k * self.scale / (2.0 * w * self.tol.powf(k))).powf(1.0 / (k + 2.0));
        of(free.clamp(self.bounds.0, self.bounds.1))
    }
}

/// The factors, and how well the conditions hold.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub(super) factors: Vec<f64>,
    /// Largest relative difference between k·b/tol^k and λ·∂ln P/∂x among the tolerances between their bounds; 0 where the ceiling does not bind.
    pub(super) residual: f64,
    /// Whether it converged.
    pub(super) converged: bool,
}

const ROUNDS: usize = 25;
/// In how many rounds the slopes of what dependence leaves are taken anew; they are small and change little.
const OVERLAP_ROUNDS: usize = 2;

/// Least cost of the variables at places `free` of the factors, the other factors held; None where even the smallest factors are not
/// within the ceiling.
pub(super) fn solve(
    joint: &JointShare<'_>,
    ceiling: f64,
    variables: &[(usize, Variable)],
    held: &[f64],
) -> Option<Solution> {
    let with = |values: &[f64]| {
        let mut factors = held.to_vec();
        for ((place, _), value) in variables.iter().zip(values) {
            factors[*place] = *value;
        }
        factors
    };
    let lowest: Vec<f64> = variables.iter().map(|(_, v)| v.bounds.0).collect();
    let highest: Vec<f64> = variables.iter().map(|(_, v)| v.bounds.1).collect();
    if !joint.within(&with(&lowest)) {
        return None;
    }
    if joint.within(&with(&highest)) {
        return Some(Solution { factors: with(&highest), residual: 0.0, converged: true });
    }
    let mut values: Vec<f64> = variables.iter().map(|(place, v)| held[*place].clamp(v.bounds.0, v.bounds.1)).collect();
    let mut converged = false;
    let mut slopes = Vec::new();
    let places: Vec<usize> = variables.iter().map(|(place, _)| *place).collect();
    let mut of_overlap = vec![0.0; places.len()];
    for round in 0..ROUNDS {
        if joint.stopped() {
            break;
        }
        let here = with(&values);
        if round < OVERLAP_ROUNDS {
            of_overlap = joint.slopes_of_overlap(&here, &places);
        }
        let of_sum = joint.slopes_of_sum(&here, &places);
        let fresh: Vec<f64> = of_sum.iter().zip(&of_overlap).map(|(a, b)| (a + b).max(1e-12)).collect();
        let left = joint.joint(&here) / joint.sum(&here);
        // Where the weights swing from round to round their geometric mean is taken.
        slopes = if round < 4 || slopes.is_empty() {
            fresh
        } else {
            fresh.iter().zip(&slopes).map(|(a, b): (&f64, &f64)| (a * b).sqrt()).collect()
        };
        let at = |log_mu: f64| -> Vec<f64> {
            variables
                .iter()
                .zip(&slopes)
                .zip(&values)
                .map(|(((_, v), w), now)| {
                    let (k, tol) = (v.exponent, v.tol * now);
                    let x = ((k * v.scale / (2.0 * w)).ln() - log_mu + 2.0 * tol.ln()) / (2.0 + k);
                    (x.exp() / v.tol).clamp(v.bounds.0, v.bounds.1)
                })
                .collect()
        };
        let miss = |log_mu: f64| (left * joint.sum(&with(&at(log_mu))).max(1e-300) / ceiling).ln();
        // A larger multiplier means tighter tolerances. From where the present ones would have theirs, outwards.
        let start = variables
            .iter()
            .zip(&slopes)
            .zip(&values)
            .map(|(((_, v), w), now)| (v.exponent * v.cost(*now) / (2.0 * w)).ln())
            .fold(f64::NEG_INFINITY, f64::max);
        let (mut low, mut high) = (start - 1.0, start + 1.0);
        while miss(high) > 0.0 && high < start + 400.0 {
            high += 4.0;
        }
        while miss(low) < 0.0 && low > start - 400.0 {
            low -= 4.0;
        }
        let log_mu = root::brent(miss, low, high, 1e-10).unwrap_or(high);
        let next = at(log_mu);
        let moved = next.iter().zip(&values).map(|(a, b)| (a / b).ln().abs()).fold(0.0, f64::max);
        values = next;
        if moved < 1e-4 {
            converged = true;
            break;
        }
    }
    // On the safe side of the ceiling, whatever the last root left.
    let inside = |shrink: f64| -> Vec<f64> {
        values.iter().zip(variables).map(|(f, (_, v))| (f * (1.0 - shrink)).max(v.bounds.0)).collect()
    };
    let mut shrink = 0.0;
    while !joint.within(&with(&inside(shrink))) && shrink < 0.1 {
        shrink = if shrink == 0.0 { 1e-8 } else { 4.0 * shrink };
    }
    values = inside(shrink);
    let here = with(&values);
    let all: Vec<f64> = joint.slopes_of_sum(&here, &places).iter().zip(&of_overlap).map(|(a, b)| a + b).collect();
    let ratios: Vec<f64> = variables
        .iter()
        .zip(&values)
        .zip(&all)
        .filter(|(((_, v), f), _)| **f > v.bounds.0 * 1.0001 && **f < v.bounds.1 * 0.9999)
        .map(|(((_, v), f), slope)| v.exponent * v.cost(*f) / slope)
        .collect();
    let (least, largest) = ratios.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), r| (a.min(*r), b.max(*r)));
    let residual = if ratios.len() > 1 { largest / least - 1.0 } else { 0.0 };
    Some(Solution { factors: with(&values), residual, converged })
}
