//! From a linear response of a population to the sum that [`Exact`] takes: lots become normal terms, tied normals a normal of their joint
//! variance, and the guards' probabilities a bound of what the plane leaves out.

use super::{Exact, NotExact};
use crate::distribution::Distribution;
use crate::model::{Linear, Plane};
use crate::population::Population;

/// Largest probability that the plane is not the response, for it to count as exact.
pub(crate) const LEFT_OUT: f64 = 1e-10;

impl Exact {
    /// The distribution of a plane under a population.
    ///
    /// # Errors
    /// [`NotExact`]; among others, dimensions that are not normal and tied to each other.
    pub fn of_plane(population: &Population, plane: &Plane) -> Result<Self, NotExact> {
        let means = population.means();
        let mut constant = plane.constant;
        let mut normal_variance = 0.0;
        let mut terms: Vec<(f64, &Distribution)> = Vec::new();
        // Indices of inputs that are tied and count.
        let mut tied = Vec::new();
        // Of each lot: its coordinate, and the sum of coefficient·between.
        let mut lots: Vec<(usize, f64)> = Vec::new();
        for (k, &c) in plane.coefficients.iter().enumerate().filter(|(_, c)| **c != 0.0) {
            let own = population.own(k);
            constant += c * (means[k] - own.mean());
            if let Some((coordinate, between)) = population.shared(k) {
                match lots.iter_mut().find(|(place, _)| *place == coordinate) {
                    Some((_, sum)) => *sum += c * between,
                    None => lots.push((coordinate, c * between)),
                }
            }
            if population.is_tied(k) {
                tied.push(k);
            }
            terms.push((c, own));
        }
        normal_variance += lots.iter().map(|(_, sum)| sum * sum).sum::<f64>();
        if !tied.is_empty() {
            for (i, j, covariance) in population.covariances() {
                let (a, b) = (plane.coefficients[i], plane.coefficients[j]);
                if a == 0.0 || b == 0.0 {
                    continue;
                }
                let normal = |k: usize| matches!(population.own(k), Distribution::Normal { .. });
                if !(normal(i) && normal(j)) {
                    let label = |k: usize| population.labels()[k].clone();
                    return Err(NotExact::Tied { first: label(i), second: label(j) });
                }
                normal_variance += 2.0 * a * b * covariance;
            }
        }
        // Tied normals enter the sum with their own variances; together with the covariances the variance may be negative here by
        // itself (the terms' variances make up for it), so normals are taken out of the terms.
        let mut others = Vec::with_capacity(terms.len());
        for (c, distribution) in terms {
            if let Distribution::Normal { mean, sd } = distribution {
                constant += c * mean;
                normal_variance += (c * sd) * (c * sd);
            } else {
                others.push((c, distribution));
            }
        }
        // Fully tied normals can cancel to a rounding error below 0.
        Self::new(constant, &others, normal_variance.max(0.0))
    }

    /// The distribution of a response that is a plane but for guards that hardly ever fail, and a bound of the probability that one does.
    ///
    /// # Errors
    /// [`NotExact`]; among others, guards that fail with a probability above 1e-10, or whose probability cannot be computed.
    pub fn of_linear(population: &Population, linear: &Linear) -> Result<(Self, f64), NotExact> {
        let mut left_out = 0.0;
        for guard in &linear.guards {
            let guard = Self::of_plane(population, guard)?;
            left_out += guard.cdf(0.0) + guard.error_bound();
            if left_out > LEFT_OUT {
                return Err(NotExact::Guards { probability: left_out });
            }
        }
        Ok((Self::of_plane(population, &linear.plane)?, left_out))
    }
}
