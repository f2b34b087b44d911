//! From what a file says of a dimension to its distribution.

use packdrift_spread::{Distribution, Input, Limits};
use std::sync::Arc;

/// The words for distributions, in JCGM 101:2008's sense (its table 1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    Normal,
    TruncatedNormal,
    LogNormal,
    Rectangular,
    Triangular,
    Trapezoidal,
    CurvilinearTrapezoidal,
    Arcsine,
    T,
    Exponential,
    Gamma,
}

impl Shape {
    pub(super) const WORDS: [(&'static str, Self); 11] = [
        ("normal", Self::Normal),
        ("truncated-normal", Self::TruncatedNormal),
        ("lognormal", Self::LogNormal),
        ("rectangular", Self::Rectangular),
        ("triangular", Self::Triangular),
        ("trapezoidal", Self::Trapezoidal),
        ("curvilinear-trapezoidal", Self::CurvilinearTrapezoidal),
        ("arcsine", Self::Arcsine),
        ("t", Self::T),
        ("exponential", Self::Exponential),
        ("gamma", Self::Gamma),
    ];

    pub(super) fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, shape)| *shape == self).map_or("", |(word, _)| word)
    }

    /// Whether a tolerance stands for a number of standard deviations, rather than for the ends of the distribution.
    pub(super) fn has_tails(self) -> bool {
        matches!(self, Self::Normal | Self::TruncatedNormal | Self::LogNormal)
    }
}

/// How many standard deviations a tolerance stands for unless the file says otherwise.
pub(super) const SIGMAS: f64 = 3.0;

/// The distribution of a dimension whose scatter fills its limits.
pub(super) fn filling(limits: Limits, shape: Shape, sigmas: f64, beta: f64, inexactness: f64) -> Distribution {
    let Limits { lower, upper } = limits;
    let (mean, half) = (f64::midpoint(lower, upper), 0.5 * (upper - lower));
    if half == 0.0 {
        return Distribution::Exact { value: mean };
    }
    let sd = half / sigmas;
    match shape {
        Shape::TruncatedNormal => Distribution::TruncatedNormal { mean, sd, lower, upper },
        Shape::LogNormal => Distribution::LogNormal { mean, sd },
        Shape::Rectangular => Distribution::Rectangular { lower, upper },
        Shape::Triangular => Distribution::Triangular { lower, upper },
        Shape::Trapezoidal => Distribution::Trapezoidal { lower, upper, beta },
        Shape::CurvilinearTrapezoidal => Distribution::CurvilinearTrapezoidal { lower, upper, inexactness },
        Shape::Arcsine => Distribution::Arcsine { lower, upper },
        // The reader refuses t, exponential and gamma by limits before it comes here.
        Shape::Normal | Shape::T | Shape::Exponential | Shape::Gamma => Distribution::Normal { mean, sd },
    }
}

/// The distribution of a dimension of known mean and standard deviation. The half width of a bounded shape follows from its
/// standard deviation (JCGM 101:2008, 6.4.2 to 6.4.6): √3 sd for the rectangle, √6 sd for the triangle, √2 sd for the arcsine,
/// √(6/(1 + β²)) sd for the trapezoid. `None` where the two numbers do not settle the shape.
pub(super) fn of_mean_and_sd(
    mean: f64,
    sd: f64,
    shape: Shape,
    limits: Option<Limits>,
    beta: f64,
) -> Option<Distribution> {
    if sd == 0.0 {
        return Some(Distribution::Exact { value: mean });
    }
    let wide = |half: f64| (mean - half, mean + half);
    Some(match shape {
        Shape::Normal => Distribution::Normal { mean, sd },
        Shape::LogNormal => Distribution::LogNormal { mean, sd },
        Shape::TruncatedNormal => {
            let Limits { lower, upper } = limits?;
            Distribution::TruncatedNormal { mean, sd, lower, upper }
        }
        Shape::Rectangular => {
            let (lower, upper) = wide(3_f64.sqrt() * sd);
            Distribution::Rectangular { lower, upper }
        }
        Shape::Triangular => {
            let (lower, upper) = wide(6_f64.sqrt() * sd);
            Distribution::Triangular { lower, upper }
        }
        Shape::Arcsine => {
            let (lower, upper) = wide(2_f64.sqrt() * sd);
            Distribution::Arcsine { lower, upper }
        }
        Shape::Trapezoidal => {
            let (lower, upper) = wide((6.0 / (1.0 + beta * beta)).sqrt() * sd);
            Distribution::Trapezoidal { lower, upper, beta }
        }
        Shape::Gamma => {
            let scale = sd * sd / mean;
            Distribution::Gamma { shape: mean / scale, scale }
        }
        Shape::CurvilinearTrapezoidal | Shape::T | Shape::Exponential => return None,
    })
}

/// A measured part (JCGM 101:2008, 6.4.9): with n ≥ 2 readings of mean x̄ and standard deviation s, the repeatability is
/// t with n − 1 degrees of freedom, location x̄ and scale s/√n; the instrument adds N(0, u²), and its resolution r a rectangle
/// of width r (JCGM 100:2008, F.2.2.1).
pub(super) fn measured(readings: &[f64], u: f64, resolution: f64) -> Distribution {
    let n = readings.len() as f64;
    let mean = mean_of(readings);
    let sum_of_squares: f64 = readings.iter().map(|reading| (reading - mean).powi(2)).sum();
    let s = if readings.len() > 1 { (sum_of_squares / (n - 1.0)).sqrt() } else { 0.0 };
    let mut terms = Vec::new();
    if s > 0.0 {
        terms.push(Distribution::ScaledShiftedT { degrees_of_freedom: n - 1.0, location: mean, scale: s / n.sqrt() });
    }
    if u > 0.0 {
        let mean = if terms.is_empty() { mean } else { 0.0 };
        terms.push(Distribution::Normal { mean, sd: u });
    }
    if resolution > 0.0 {
        let middle = if terms.is_empty() { mean } else { 0.0 };
        let (lower, upper) = (middle - 0.5 * resolution, middle + 0.5 * resolution);
        terms.push(Distribution::Rectangular { lower, upper });
    }
    match (terms.pop(), terms.is_empty()) {
        (None, _) => Distribution::Exact { value: mean },
        (Some(only), true) => only,
        (Some(last), false) => {
            terms.push(last);
            Distribution::Sum { terms }
        }
    }
}

/// The readings of a lot as they are; with a resolution, each spread over it.
pub(super) fn sampled(readings: Arc<[f64]>, resolution: f64) -> Distribution {
    let empirical = Distribution::Empirical { readings };
    if resolution > 0.0 {
        let blur = Distribution::Rectangular { lower: -0.5 * resolution, upper: 0.5 * resolution };
        Distribution::Sum { terms: vec![empirical, blur] }
    } else {
        empirical
    }
}

/// The smallest reading of a sample; none for another distribution.
pub(super) fn least_of_sample(distribution: &Distribution) -> Option<f64> {
    match distribution {
        Distribution::Empirical { readings } => readings.iter().copied().reduce(f64::min),
        Distribution::Sum { terms } => terms.iter().find_map(least_of_sample),
        _ => None,
    }
}

fn mean_of(readings: &[f64]) -> f64 {
    // About the first reading, so that nearly equal readings lose no digits.
    let first = readings.first().copied().unwrap_or(f64::NAN);
    first + readings.iter().map(|reading| reading - first).sum::<f64>() / readings.len() as f64
}

/// The smallest and the largest value the worst case tries, the lot's deviation aside: the limits on the drawing, or mean ± 3
/// standard deviations where there are none (no further than the distribution reaches).
pub(super) fn reach(input: &Input) -> (f64, f64) {
    if let Some(Limits { lower, upper }) = input.limits {
        return (lower, upper);
    }
    let distribution = &input.distribution;
    // Of few readings the standard deviation may be infinite; their standard uncertainty is not.
    let sd = if distribution.sd().is_finite() { distribution.sd() } else { distribution.standard_uncertainty() };
    let (lowest, highest) = distribution.support();
    ((distribution.mean() - 3.0 * sd).max(lowest), (distribution.mean() + 3.0 * sd).min(highest))
}
