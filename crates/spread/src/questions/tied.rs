//! The share beyond a plane where dimensions are tied and not all normal: two rectangular ones at ρ = 0.95 have a sum that ends at its limits, and a
//! normal of the same sd is wrong by orders of magnitude there.
//!
//! With S = Σ cᵢ·(xᵢ − mean) over the tied dimensions and every other that is not normal, and N(0, σ²) for all normal ones,
//!
//! P(margin + S + N < 0) = E Φ(−(margin + S)/σ),
//!
//! the mean over the independent standard normals that S is made of. It is taken along parallel lines towards the outside: the trapezoidal rule on each,
//! the lines on a lattice for two coordinates and at scrambled Sobol' points for more. The points, and each dimension's value there, do not
//! depend on the factors that are asked about, so an answer costs a few thousand sums, and moves smoothly with the factors.
//!
//! Where σ is smaller than what a line resolves, it is taken as 1.5 steps of the line: an error of some per cent of the share, nearly the same for
//! neighbouring factors, which the plane's ratio to the whole model takes out.

use crate::population::{Marginal, Population};
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::stream::DEFAULT_SEED;
use std::sync::Arc;

/// Step along a line, and where it begins and ends, in steps: from −4, since a limit is of interest by its tail, to 7.
const STEP: f64 = 0.125;
const FROM: i32 = -32;
const TO: i32 = 56;
/// Between the lines of two coordinates, and how many to either side.
const APART: f64 = 0.25;
const BESIDE: i32 = 28;
/// log₂ of the lines of more coordinates.
const LOG2_LINES: u32 = 6;
/// The smallest σ that a line resolves, in steps of it.
const RESOLVED: f64 = 1.5;
/// Margins of more sds are inside for good: Φ(−9) is 1e-19.
const INSIDE: f64 = 9.0;
/// Points of less weight are left out.
const NEGLIGIBLE: f64 = 1e-14;

/// The dimensions of a plane that are not one normal together.
#[derive(Debug, Clone)]
pub(super) struct TiedSum {
    dimensions: usize,
    /// Of each line its weight, and the deviations of all dimensions at each point of it, point after point.
    lines: Arc<[(f64, Vec<f64>)]>,
}

/// A dimension as a sum of functions of normals: of each the coordinates with their weights (places among those used), and the function.
type Terms<'a> = Vec<(Vec<(usize, f64)>, &'a Marginal)>;

impl TiedSum {
    /// `dimensions`: input, and its part in the margin's scatter, coefficient times sd.
    pub(super) fn new(population: &Population, dimensions: &[(usize, f64)]) -> Self {
        let mut all: Vec<Terms<'_>> =
            dimensions.iter().map(|(input, _)| population.terms_of(*input).collect()).collect();
        let rows = || all.iter().flatten().flat_map(|(row, _)| row.iter().map(|(coordinate, _)| *coordinate));
        let mut used: Vec<usize> = rows().collect();
        used.sort_unstable();
        used.dedup();
        for (row, _) in all.iter_mut().flatten() {
            row.iter_mut().for_each(|(coordinate, _)| *coordinate = used.binary_search(coordinate).unwrap_or(0));
        }
        let towards = towards(&all, dimensions, used.len());
        let line = |(weight, beside): (f64, Vec<f64>)| {
            let mut values = Vec::with_capacity((TO - FROM + 1) as usize * dimensions.len());
            for k in FROM..=TO {
                let u = |place: usize| f64::from(k) * STEP * towards[place] + beside[place];
                let deviation = |(row, marginal): &(Vec<(usize, f64)>, &Marginal)| {
                    marginal.at(row.iter().map(|(place, weight)| weight * u(*place)).sum()) - marginal.mean()
                };
                values.extend(all.iter().map(|terms| terms.iter().map(deviation).sum::<f64>()));
            }
            (weight, values)
        };
        let lines = beside(&towards).into_iter().map(line).collect();
        Self { dimensions: dimensions.len(), lines }
    }

    /// P(margin + Σ coefficient·deviation + N(0, variance) < 0).
    pub(super) fn below(&self, margin: f64, coefficients: &[f64], variance: f64) -> f64 {
        let own = variance.sqrt().max(f64::MIN_POSITIVE);
        let along: Vec<f64> = (FROM..=TO).map(|k| normal::pdf(f64::from(k) * STEP)).collect();
        let mut total = 0.0;
        let mut margins = Vec::new();
        for (weight, values) in self.lines.iter() {
            margins.clear();
            let sums = values.chunks(self.dimensions);
            margins.extend(sums.map(|x| margin + x.iter().zip(coefficients).map(|(x, c)| x * c).sum::<f64>()));
            for (k, here) in margins.iter().enumerate() {
                let weight = weight * along[k] * STEP;
                if weight < NEGLIGIBLE {
                    continue;
                }
                let (before, after) = (k.saturating_sub(1), (k + 1).min(margins.len() - 1));
                let slope = (margins[after] - margins[before]) / (after - before) as f64;
                let sd = own.hypot(RESOLVED * slope);
                // Far inside there is nothing to add.
                if *here < INSIDE * sd {
                    total += weight * normal::cdf(-here / sd);
                }
            }
        }
        total
    }
}

/// The unit vector towards the outside, where the margin falls.
fn towards(all: &[Terms<'_>], dimensions: &[(usize, f64)], coordinates: usize) -> Vec<f64> {
    let mut towards = vec![0.0; coordinates];
    for (terms, (_, part)) in all.iter().zip(dimensions) {
        let slopes: Vec<f64> = terms.iter().map(|(_, marginal)| marginal.slope(0.0).abs()).collect();
        let whole = slopes.iter().map(|s| s * s).sum::<f64>().sqrt().max(f64::MIN_POSITIVE);
        for ((row, _), slope) in terms.iter().zip(slopes) {
            row.iter().for_each(|(place, weight)| towards[*place] -= part * slope / whole * weight);
        }
    }
    let size = towards.iter().map(|t| t * t).sum::<f64>().sqrt();
    if size > 0.0 && size.is_finite() {
        towards.iter_mut().for_each(|t| *t /= size);
    } else {
        // What cancels out has no outside: any direction does.
        towards.fill(0.0);
        towards.first_mut().into_iter().for_each(|t| *t = 1.0);
    }
    towards
}

/// Lines parallel to a direction: weight, and where they pass the origin.
fn beside(towards: &[f64]) -> Vec<(f64, Vec<f64>)> {
    match towards {
        [_] => vec![(1.0, vec![0.0])],
        [a, b] => {
            let at = |k: i32| {
                let across = f64::from(k) * APART;
                (normal::pdf(across) * APART, vec![-b * across, a * across])
            };
            (-BESIDE..=BESIDE).map(at).collect()
        }
        _ => {
            let points = Scrambling { seed: DEFAULT_SEED, purpose: "tied", number: 0, log2_points: LOG2_LINES };
            let count = points.points();
            let mut lines = vec![(1.0 / count as f64, vec![0.0; towards.len()]); count];
            let mut column = vec![0.0; count];
            for k in 0..towards.len() {
                points.fill_normal(k, &mut column);
                lines.iter_mut().zip(&column).for_each(|(line, z)| line.1[k] = *z);
            }
            for (_, line) in &mut lines {
                let along: f64 = line.iter().zip(towards).map(|(z, t)| z * t).sum();
                line.iter_mut().zip(towards).for_each(|(z, t)| *z -= along * t);
            }
            lines
        }
    }
}
