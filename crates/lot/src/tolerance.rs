//! Statistical tolerance intervals (ISO 16269-6): limits that cover a share p of the lot with a stated confidence.
//!
//! Normal lots with unknown mean and sd: x̄ ± k·s, where k is exact — from the noncentral t distribution for one limit, and from
//! the integral over the mean's error for two. Any lot: a pair of order statistics.

use crate::LotError;
use crate::error::share;
use packdrift_numerics::normal;
use packdrift_numerics::special::{Inversion, beta_tails, chi_squared_tails, invert_increasing, noncentral_t_quantile};

fn size(n: usize) -> Result<f64, LotError> {
    if n >= 2 {
        Ok(n as f64)
    } else {
        Err(LotError::TooFew { what: "a tolerance interval".into(), found: n, needed: 2, of: "readings" })
    }
}

/// k of the one-sided interval x̄ + k·s (or x̄ − k·s): t'₍`ₙ₋₁₎(√n·z_p`; confidence)/√n, the noncentral t quantile.
///
/// - `n`: readings; `content`: the share p to be covered; `confidence`: 1 − α.
///
/// Source: ISO 16269-6:2014, annex C; Owen (1963).
///
/// # Errors
/// Fewer than two readings; a content or confidence not strictly between 0 and 1.
///
/// # Examples
/// ```
/// // ISO 16269-6: n = 10, p = 95 %, confidence 95 %: k = 2.911.
/// let k = packdrift_lot::tolerance::one_sided_factor(10, 0.95, 0.95)?;
/// assert!((k - 2.910963).abs() < 1e-6);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn one_sided_factor(n: usize, content: f64, confidence: f64) -> Result<f64, LotError> {
    let nf = size(n)?;
    let delta = nf.sqrt() * normal::quantile(share("the content of a tolerance interval", content)?);
    Ok(noncentral_t_quantile(nf - 1.0, delta, share("the confidence of a tolerance interval", confidence)?) / nf.sqrt())
}

/// k of the two-sided interval x̄ ± k·s, exact: the root of
///
/// `√(2n/π) ∫₀^∞ P(χ²_ν > ν·r(x)²/k²) e^(−n·x²/2) dx = confidence`, with `Φ(x + r) − Φ(x − r) = p` and ν = n − 1.
///
/// Source: Odeh (Communications in Statistics B7, 1978); ISO 16269-6:2014 annex F prints the same values.
///
/// # Errors
/// Fewer than two readings; a content or confidence not strictly between 0 and 1.
///
/// # Examples
/// ```
/// let k = packdrift_lot::tolerance::two_sided_factor(20, 0.95, 0.95)?;
/// assert!((k - 2.760346).abs() < 1e-6);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn two_sided_factor(n: usize, content: f64, confidence: f64) -> Result<f64, LotError> {
    let nf = size(n)?;
    share("the content of a tolerance interval", content)?;
    share("the confidence of a tolerance interval", confidence)?;
    let nu = nf - 1.0;
    // The trapezoidal rule in z = √n·x: even, analytic and Gaussian, so 0.2 is exact to rounding.
    let step = 0.2;
    let radii: Vec<(f64, f64)> = (0..48)
        .map(|j| {
            let z = step * f64::from(j);
            let weight = if j == 0 { 0.5 } else { 1.0 } * 2.0 * step * normal::pdf(z);
            (weight, covering_radius(z / nf.sqrt(), content))
        })
        .collect();
    let covered = |k: f64| {
        let missed: f64 = radii.iter().map(|&(w, r)| w * chi_squared_tails(nu, nu * (r / k).powi(2)).lower).sum();
        missed
    };
    let start = (normal::quantile(0.5 + 0.5 * content)
        * (nu / packdrift_numerics::special::chi_squared_quantile(nu, 1.0 - confidence)).sqrt())
    .ln();
    let ln_k = invert_increasing(&Inversion { start, step: 0.05, lower: -50.0, upper: 50.0 }, |y| {
        ((1.0 - confidence) / covered(y.exp())).ln()
    });
    Ok(ln_k.exp())
}

/// r with Φ(x + r) − Φ(x − r) = p.
pub(crate) fn covering_radius(x: f64, content: f64) -> f64 {
    let x = x.abs();
    let start = normal::quantile(0.5 + 0.5 * content).max(x + normal::quantile(content));
    invert_increasing(&Inversion { start, step: 0.01, lower: 0.0, upper: x + 50.0 }, |r| {
        let outside = normal::sf(x + r) + normal::cdf(x - r);
        if outside < 0.5 { ((1.0 - content) / outside).ln() } else { ((1.0 - outside) / content).ln() }
    })
}

/// A distribution-free tolerance interval, by the ranks of its order statistics.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderStatistics {
    /// Rank from 1 of the lower limit; None where the interval is open below.
    pub lower_rank: Option<usize>,
    /// Rank from 1 of the upper limit; None where the interval is open above.
    pub upper_rank: Option<usize>,
    /// The confidence actually reached (at least what was asked).
    pub confidence: f64,
}

/// Which order statistics make a two-sided distribution-free interval: the narrowest pair (v-th smallest, v-th largest, or one of
/// them one rank further out) whose coverage exceeds the content with the confidence; None where even (smallest, largest) do not.
///
/// The share between the r-th and s-th order statistic is Beta(s − r, n − s + r + 1), whatever the distribution (Wilks 1941;
/// ISO 16269-6:2014 annex G).
///
/// # Errors
/// A content or confidence not strictly between 0 and 1.
///
/// # Examples
/// ```
/// // 93 readings are the fewest for 95 % of the lot with 95 % confidence between the smallest and the largest.
/// use packdrift_lot::tolerance::order_statistics_two_sided;
/// assert!(order_statistics_two_sided(92, 0.95, 0.95)?.is_none());
/// assert_eq!(order_statistics_two_sided(93, 0.95, 0.95)?.and_then(|o| o.upper_rank), Some(93));
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn order_statistics_two_sided(
    n: usize,
    content: f64,
    confidence: f64,
) -> Result<Option<OrderStatistics>, LotError> {
    share("the content of a tolerance interval", content)?;
    share("the confidence of a tolerance interval", confidence)?;
    // m = number of blocks given up at the two ends together: 2 for (smallest, largest).
    let reached = |given_up: usize| confidence_of_blocks(n, given_up, content);
    let Some(given_up) = most_blocks(n, 2, &reached, confidence) else {
        return Ok(None);
    };
    let low = given_up / 2;
    let high = given_up - low;
    Ok(Some(OrderStatistics { lower_rank: Some(low), upper_rank: Some(n + 1 - high), confidence: reached(given_up) }))
}

/// The same with one limit: the r-th smallest (or r-th largest) reading bounds a share p of the lot from below (above).
/// `lower_rank` is filled; by symmetry the upper limit has rank n + 1 − r.
///
/// # Errors
/// A content or confidence not strictly between 0 and 1.
pub fn order_statistics_one_sided(
    n: usize,
    content: f64,
    confidence: f64,
) -> Result<Option<OrderStatistics>, LotError> {
    share("the content of a tolerance interval", content)?;
    share("the confidence of a tolerance interval", confidence)?;
    let reached = |given_up: usize| confidence_of_blocks(n, given_up, content);
    Ok(most_blocks(n, 1, &reached, confidence).map(|rank| OrderStatistics {
        lower_rank: Some(rank),
        upper_rank: None,
        confidence: reached(rank),
    }))
}

/// The fewest readings for which the extreme order statistics reach the content with the confidence; one limit or two.
///
/// # Errors
/// A content or confidence not strictly between 0 and 1.
pub fn readings_needed(content: f64, confidence: f64, two_sided: bool) -> Result<usize, LotError> {
    share("the content of a tolerance interval", content)?;
    share("the confidence of a tolerance interval", confidence)?;
    let given_up = if two_sided { 2 } else { 1 };
    let enough = |n: usize| confidence_of_blocks(n, given_up, content) >= confidence;
    let mut high = 2;
    while !enough(high) {
        high *= 2;
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if enough(middle) { high = middle } else { low = middle }
    }
    Ok(if enough(low) { low } else { high })
}

/// P(Beta(n + 1 − m, m) > p): n + 1 blocks lie between and beyond the order statistics, m of them are given up.
fn confidence_of_blocks(n: usize, given_up: usize, content: f64) -> f64 {
    if given_up > n {
        return 0.0;
    }
    beta_tails((n + 1 - given_up) as f64, given_up as f64, content, 1.0 - content).upper
}

fn most_blocks(n: usize, fewest: usize, reached: &impl Fn(usize) -> f64, confidence: f64) -> Option<usize> {
    if reached(fewest) < confidence {
        return None;
    }
    let (mut low, mut high) = (fewest, n + 1);
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if reached(middle) >= confidence { low = middle } else { high = middle }
    }
    Some(low)
}
