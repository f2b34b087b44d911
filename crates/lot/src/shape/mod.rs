//! Does the lot look normal? Two tests that catch different departures, told honestly where the readings are coarse.
//!
//! Anderson–Darling weighs the tails of the distribution function, Shapiro–Wilk the straightness of the quantile plot. Both null
//! distributions are known for continuous readings. Where the instrument's step is not small beside the scatter, equal readings alone
//! raise both statistics, so the hypothesis tested is then "a normal part, read in steps": the null distribution is simulated
//! for this very lot (module `stepped`).

mod anderson_darling;
mod quantiles;
mod resolution;
mod shapiro_wilk;
mod stepped;

pub use anderson_darling::{anderson_darling, anderson_darling_p};
pub use quantiles::{QuantilePoint, quantile_points};
pub use resolution::Resolution;
pub use shapiro_wilk::ShapiroWilk;

use packdrift_numerics::normal;
use packdrift_numerics::stream::Key;

/// How a p-value was come by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PValueMethod {
    /// From the null distribution for continuous readings.
    Continuous,
    /// From a simulation of normal parts read in the instrument's steps.
    Simulated {
        /// Samples drawn.
        samples: u32,
        /// Standard error of the p-value.
        standard_error: f64,
    },
}

/// A test of normality.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalityTest {
    /// A² or W.
    pub statistic: f64,
    /// Chance of a statistic at least as far from the normal if the lot is normal.
    pub p_value: f64,
    /// How that chance was come by.
    pub method: PValueMethod,
}

/// What the readings say of the lot's shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// A² against a normal with estimated mean and sd; None below 5 readings or where all are equal.
    pub anderson_darling: Option<NormalityTest>,
    /// W; None below 3 or above 5000 readings or where all are equal.
    pub shapiro_wilk: Option<NormalityTest>,
    /// Third standardised moment √n·Σ(x − x̄)³/(Σ(x − x̄)²)^1.5; None where all are equal.
    pub skewness: Option<f64>,
    /// Instrument's step.
    pub resolution: Resolution,
    /// The overall level at which normality is contradicted.
    pub level: f64,
}

impl Shape {
    /// Whether either test contradicts normality, each at half the level so that a normal lot is contradicted with at most that
    /// chance (Bonferroni's inequality).
    pub fn contradicts_normal(&self) -> bool {
        [self.anderson_darling, self.shapiro_wilk].into_iter().flatten().any(|t| t.p_value < 0.5 * self.level)
    }

    /// The smaller of the p-values, doubled (at most 1): the p-value of the two tests together.
    pub fn combined_p(&self) -> Option<f64> {
        [self.anderson_darling, self.shapiro_wilk]
            .into_iter()
            .flatten()
            .map(|t| (2.0 * t.p_value).min(1.0))
            .reduce(f64::min)
    }
}

/// Smallest instrument step, in sd, at which the null distributions are simulated. Below it rounding moves neither p-value by more
/// than its own significance (measured: tests/shape.rs).
const STEP_THAT_MATTERS: f64 = 0.05;

/// Tests the shape of sorted values with their mean and sd. `weights` must be those of the same n (None outside 3..=5000).
pub(crate) fn assess(
    sorted: &[f64],
    mean: f64,
    sd: f64,
    resolution: Resolution,
    weights: Option<&ShapiroWilk>,
    level: f64,
    key: impl FnOnce() -> Key,
) -> Shape {
    let n = sorted.len();
    let none = Shape { anderson_darling: None, shapiro_wilk: None, skewness: None, resolution, level };
    if n < 3 || sd.is_nan() || sd <= 0.0 {
        return none;
    }
    let skewness = skewness(sorted, mean);
    if let Some(step) = resolution.step().filter(|step| *step > STEP_THAT_MATTERS * sd) {
        let tests = stepped::test(sorted, step, weights, key());
        return Shape { anderson_darling: tests.anderson_darling, shapiro_wilk: tests.shapiro_wilk, skewness, ..none };
    }
    let anderson_darling = (n >= 5).then(|| {
        let statistic = anderson_darling(sorted, mean, sd);
        NormalityTest { statistic, p_value: anderson_darling_p(statistic, n), method: PValueMethod::Continuous }
    });
    let shapiro_wilk = weights.map(|weights| {
        let statistic = weights.statistic(sorted);
        NormalityTest { statistic, p_value: weights.p_value(statistic), method: PValueMethod::Continuous }
    });
    Shape { anderson_darling, shapiro_wilk, skewness, ..none }
}

fn skewness(sorted: &[f64], mean: f64) -> Option<f64> {
    let (two, three) = sorted.iter().fold((0.0, 0.0), |(two, three), x| {
        let d = x - mean;
        (two + d * d, three + d * d * d)
    });
    (two > 0.0).then(|| (sorted.len() as f64).sqrt() * three / two.powf(1.5))
}

/// Points of the normal quantile plot: (standard normal score of the rank, reading), in rising order, with Blom's positions
/// (i − 3/8)/(n + 1/4).
pub fn quantile_plot(sorted: &[f64]) -> Vec<(f64, f64)> {
    let n = sorted.len() as f64;
    sorted.iter().enumerate().map(|(i, &x)| (normal::quantile((i as f64 + 0.625) / (n + 0.25)), x)).collect()
}
