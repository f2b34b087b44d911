//! What the readings leave open of a lot's mean and sd, carried through to the shares outside.
//!
//! The distribution of (bias, sd) given the readings (see `posterior`) is cut into slices of one sd each, and each slice into fine strips of
//! bias. Shares are computed at some biases of a slice and interpolated between on the probit scale, where they are nearly straight. Nothing is
//! drawn, so a bound moves smoothly with the readings.

use super::ratio;
use super::surface::Surface;
use packdrift_lot::posterior::Slice;
use packdrift_numerics::normal;
use rayon::prelude::*;

/// Sds of the mean to either side.
const REACH: f64 = 5.0;
/// Biases of a slice at which shares are computed.
const COMPUTED: usize = 31;
/// Strips between two of them.
const STRIPS: usize = 10;

/// Weighted points with the shares outside at each.
pub(crate) struct Cloud {
    weights: Vec<f64>,
    /// `shares[requirement][point]`.
    shares: Vec<Vec<f64>>,
}

impl Cloud {
    pub(crate) fn new(surface: &Surface, slices: &[Slice], bias: f64) -> Self {
        let z = |k: usize| REACH * (2.0 * k as f64 / (COMPUTED - 1) as f64 - 1.0);
        let computed: Vec<Vec<Vec<f64>>> = slices
            .par_iter()
            .map(|s| (0..COMPUTED).map(|k| surface.shares(bias + z(k) * s.mean_sd, s.sd)).collect())
            .collect();
        let requirements = computed.first().map_or(0, |slice| slice[0].len());
        let width = (z(1) - z(0)) / STRIPS as f64;
        let mut weights = Vec::new();
        let mut shares = vec![Vec::new(); requirements];
        let probit = |share: f64| normal::quantile(share.clamp(1e-300, 1.0 - 1e-16));
        for (slice, computed) in slices.iter().zip(&computed) {
            for k in 0..COMPUTED - 1 {
                for strip in 0..STRIPS {
                    let from = z(k) + strip as f64 * width;
                    // By tails: the far strips must keep their digits.
                    let mass = super::ends::between(from, from + width);
                    weights.push(slice.weight * mass);
                }
                for (requirement, into) in shares.iter_mut().enumerate() {
                    let (a, b) = (probit(computed[k][requirement]), probit(computed[k + 1][requirement]));
                    into.extend((0..STRIPS).map(|strip| {
                        let way = (strip as f64 + 0.5) / STRIPS as f64;
                        normal::cdf(a + way * (b - a))
                    }));
                }
            }
        }
        Self { weights, shares }
    }

    /// The share outside below which the part p of the distribution lies, linear between the points.
    pub(crate) fn quantile(&self, requirement: usize, p: f64) -> f64 {
        let mut pairs: Vec<(f64, f64)> =
            self.shares[requirement].iter().copied().zip(self.weights.iter().copied()).collect();
        pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = pairs.iter().map(|p| p.1).sum();
        let target = p * total;
        let mut before = 0.0;
        let mut last: Option<(f64, f64)> = None;
        for (value, weight) in pairs {
            // Each point's weight is spread about its middle.
            let middle = before + 0.5 * weight;
            if middle >= target {
                return last.map_or(value, |(v, m)| v + (value - v) * (target - m) / (middle - m));
            }
            last = Some((value, middle));
            before += weight;
        }
        last.map_or(f64::NAN, |l| l.0)
    }

    /// The part of the distribution in which every requirement keeps its limit.
    pub(crate) fn chance_within(&self, limits: &[f64]) -> f64 {
        let kept = |point: usize| self.shares.iter().zip(limits).all(|(s, limit)| ratio(s[point], *limit) <= 1.0);
        let total: f64 = self.weights.iter().sum();
        let inside: f64 = self.weights.iter().enumerate().filter(|(point, _)| kept(*point)).map(|(_, w)| w).sum();
        inside / total
    }
}
