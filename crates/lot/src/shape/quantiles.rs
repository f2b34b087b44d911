//! A quantile plot's numbers: each reading beside where a normal lot of that size would have it, and how far chance may move it.

use crate::study::LotResult;
use packdrift_numerics::normal;
use packdrift_numerics::special::beta_quantile;

/// One reading of a quantile plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuantilePoint {
    /// The i-th smallest reading, mm.
    pub reading: f64,
    /// Where it is expected, sds from the mean: Φ⁻¹((i − 3/8)/(n + 1/4)) (G. Blom, Statistical Estimates and Transformed Beta-Variables, 1958).
    pub expected: f64,
    /// Where a normal lot of the same mean and sd has the i-th reading with the confidence, mm: x̄ + s·Φ⁻¹(q), q a quantile of
    /// Beta(i, n − i + 1). For each reading on its own.
    pub lower: f64,
    /// The same from above, mm.
    pub upper: f64,
}

/// The quantile plot of a lot; empty below three parts or without scatter.
pub fn quantile_points(lot: &LotResult, confidence: f64) -> Vec<QuantilePoint> {
    let Some(sd) = lot.sd.filter(|s| *s > 0.0 && lot.n >= 3) else { return Vec::new() };
    let n = lot.n as f64;
    let alpha = 0.5 * (1.0 - confidence);
    lot.sorted_values()
        .iter()
        .enumerate()
        .map(|(k, &reading)| {
            let i = (k + 1) as f64;
            let order = |p: f64| lot.mean + sd * normal::quantile(beta_quantile(i, n - i + 1.0, p).0);
            QuantilePoint {
                reading,
                expected: normal::quantile((i - 0.375) / (n + 0.25)),
                lower: order(alpha),
                upper: order(1.0 - alpha),
            }
        })
        .collect()
}
