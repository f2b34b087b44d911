//! The Anderson–Darling test of normality with mean and sd estimated from the sample.

use packdrift_numerics::normal;

/// A² = −n − (1/n) Σ (2i − 1)·[ln Φ(z₍ᵢ₎) + ln(1 − Φ(z₍ₙ₊₁₋ᵢ₎))], z = (x − mean)/sd, of sorted values. sd above 0.
pub fn anderson_darling(sorted: &[f64], mean: f64, sd: f64) -> f64 {
    let n = sorted.len();
    let sum: f64 = (0..n)
        .map(|i| {
            let low = (sorted[i] - mean) / sd;
            let high = (sorted[n - 1 - i] - mean) / sd;
            (2 * i + 1) as f64 * (normal::cdf(low).max(1e-300) * normal::sf(high).max(1e-300)).max(1e-300).ln()
        })
        .sum();
    -(n as f64) - sum / n as f64
}

/// The p-value of A² where both mean and sd come from the sample: the four exponentials of D'Agostino and Stephens (Goodness-of-Fit
/// Techniques, 1986, table 4.9) in A*² = A²·(1 + 0.75/n + 2.25/n²). Only for that case; a fully specified normal has another
/// null distribution.
///
/// # Examples
/// ```
/// // Table 4.7: A*² = 0.752 is the 5 % point.
/// let p = packdrift_lot::shape::anderson_darling_p(0.752, 1_000_000);
/// assert!((p - 0.05).abs() < 0.001);
/// ```
pub fn anderson_darling_p(statistic: f64, n: usize) -> f64 {
    let n = n as f64;
    let a = statistic * (1.0 + 0.75 / n + 2.25 / (n * n));
    let p = if a >= 13.0 {
        // The quadratic turns up far out; its value at 13 is below anything that matters.
        f64::exp(1.2937 - 5.709 * 13.0 + 0.0186 * 169.0)
    } else if a >= 0.6 {
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    } else if a > 0.34 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a > 0.2 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    };
    p.clamp(0.0, 1.0)
}
