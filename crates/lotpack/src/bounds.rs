//! What the readings leave open of a lot's mean, sd and shape, carried through to the shares outside.
//!
//! The distribution of (bias, sd) given the readings (see `posterior`) is cut into slices of one sd each, and each slice into fine strips of
//! bias. Shares are computed at some biases of a slice and interpolated between on the probit scale, where they are nearly straight. Nothing is
//! drawn, so a bound moves smoothly with the readings.
//!
//! That is for a normal lot. A few dozen readings do not tell one from a lot with longer tails, so of every other description that they do not rule out
//! ([`packdrift_lot::bound`]) the same quantile is taken, to its own order, and the worst counts ([`over_all`]).

use super::ratio;
use super::response::Response;
use super::surface::Surface;
use packdrift_lot::bound::LeftOpen;
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
        let pairs = self.shares[requirement].iter().copied().zip(self.weights.iter().copied());
        quantile(&sorted(pairs.collect()), p)
    }

    /// The part of the distribution in which every requirement keeps its limit.
    pub(crate) fn chance_within(&self, limits: &[f64]) -> f64 {
        let kept = |point: usize| self.shares.iter().zip(limits).all(|(s, limit)| ratio(s[point], *limit) <= 1.0);
        let total: f64 = self.weights.iter().sum();
        let inside: f64 = self.weights.iter().enumerate().filter(|(point, _)| kept(*point)).map(|(_, w)| w).sum();
        inside / total
    }
}

/// The upper and the lower bound of a share under the worst of several descriptions; None where there is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Worst {
    pub(crate) upper: f64,
    pub(crate) lower: f64,
    /// The upper bound with the readings right on average.
    pub(crate) upper_unmoved: f64,
}

/// The bounds of one requirement over every description of a lot of this mean, at this bias, with all its readings right and off alike by `off` either way, mm.
/// Shares are those of `response` times `scale`.
pub(crate) fn over_all(
    response: &Response,
    open: &[LeftOpen],
    (mean, bias): (f64, f64),
    off: f64,
    scale: f64,
) -> Option<Worst> {
    let moves = [0.0, off, -off];
    let moves = if off > 0.0 { &moves[..] } else { &moves[..1] };
    let mut worst: Option<Worst> = None;
    for one in open {
        let sum = response.sum(|score| one.part(score));
        for &moved in moves {
            let share = |node: &packdrift_lot::bound::OpenNode| {
                (scale * response.share(bias + node.mean - mean + moved, node.sd, &sum), node.weight)
            };
            let pairs = sorted(one.nodes.iter().map(share).collect());
            let lower = quantile(&pairs, one.order.min(0.5)).min(1.0);
            // A description that only the lower bound asks for leaves the upper one alone.
            let upper = if one.only_below() { 0.0 } else { quantile(&pairs, (1.0 - one.order).max(0.5)).min(1.0) };
            let so_far = worst.unwrap_or(Worst { upper: 0.0, lower: 1.0, upper_unmoved: 0.0 });
            worst = Some(Worst {
                upper: so_far.upper.max(upper),
                lower: so_far.lower.min(lower),
                upper_unmoved: if moved.abs() > 0.0 { so_far.upper_unmoved } else { so_far.upper_unmoved.max(upper) },
            });
        }
    }
    worst
}

/// By rising value.
fn sorted(mut pairs: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    pairs
}

/// The value below which the part p of sorted, weighted points lies, linear between them.
fn quantile(pairs: &[(f64, f64)], p: f64) -> f64 {
    let total: f64 = pairs.iter().map(|p| p.1).sum();
    let target = p * total;
    let mut before = 0.0;
    let mut last: Option<(f64, f64)> = None;
    for &(value, weight) in pairs {
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
