//! Several requirements at once: the probability that at least one limit is passed, from the limits' own probabilities and how they depend on
//! each other.
//!
//! Each limit j is taken as the half-space {α_j·u ≥ β_j} of the standard normals, β_j = −Φ⁻¹(P_j), with P_j the limit's own share as
//! computed elsewhere and α_j the direction of its design point. For requirements that are linear in normal dimensions this is exact;
//! otherwise only the dependence is of first order, while the shares themselves are not.

use crate::result::Estimate;
use packdrift_numerics::legendre::integrate16;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;

/// One limit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HalfSpace {
    /// Unit vector towards the outside.
    pub(crate) direction: Vec<f64>,
    /// Its share.
    pub(crate) share: f64,
}

impl HalfSpace {
    pub(crate) fn beta(&self) -> f64 {
        -normal::quantile(self.share)
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// P(X ≤ h, Y ≤ k) of standard normals with correlation ρ: Φ(h)Φ(k) + ∫₀^{asin ρ} exp(−(h² + k² − 2hk sin θ)/(2cos²θ)) dθ/2π
/// (Z. Drezner and G. O. Wesolowsky, Journal of Statistical Computation and Simulation 35 (1990) 101–107).
///
/// Towards |ρ| = 1 the integrand falls within a short stretch, so the interval is halved towards its end.
pub(crate) fn bivariate(h: f64, k: f64, rho: f64) -> f64 {
    if h == f64::NEG_INFINITY || k == f64::NEG_INFINITY {
        return 0.0;
    }
    if h == f64::INFINITY || k == f64::INFINITY {
        return normal::cdf(h.min(k));
    }
    let rho = rho.clamp(-1.0, 1.0);
    let end = rho.asin();
    let f = |theta: f64| {
        let (sin, cos) = libm::sincos(theta);
        let c2 = cos * cos;
        if c2 == 0.0 { 0.0 } else { libm::exp(-(h * h + k * k - 2.0 * h * k * sin) / (2.0 * c2)) }
    };
    let mut sum = 0.0;
    let mut from = 0.0;
    for _ in 0..30 {
        let to = 0.5 * (from + end);
        sum += integrate16(from, to, f);
        from = to;
    }
    sum += integrate16(from, end, f);
    (normal::cdf(h) * normal::cdf(k) + sum / std::f64::consts::TAU).clamp(0.0, normal::cdf(h.min(k)))
}

/// P(both) of two limits.
pub(crate) fn both(a: &HalfSpace, b: &HalfSpace) -> f64 {
    if a.share <= 0.0 || b.share <= 0.0 {
        return 0.0;
    }
    bivariate(-a.beta(), -b.beta(), dot(&a.direction, &b.direction))
}

const SCRAMBLINGS: u64 = 16;
const LOG2_POINTS: u32 = 7;

/// P(at least one), by sampling the half-spaces in turn of their shares: Σ P_j · E[1/S], S the number of half-spaces that a point of the one
/// that was drawn lies in (A. B. Owen, Y. Maximov and M. Chertkov, "Importance sampling the union of rare events", Electronic
/// Journal of Statistics 13 (2019) 231–254). The relative error does not grow as the shares fall.
///
/// The points depend on the seed and the number of limits alone, so nearby shares give nearby results.
pub(crate) fn union(limits: &[HalfSpace], seed: u64) -> Estimate {
    let dimensions = limits.first().map_or(0, |first| first.direction.len());
    Points::new(dimensions, seed).union(limits)
}

/// The points of [`union`], for who asks often.
#[derive(Debug, Clone)]
pub(crate) struct Points {
    /// Of each scrambling its points, one after the other: which limit, how far beyond it, then the coordinates.
    scramblings: Vec<Vec<f64>>,
    /// Numbers of a point.
    width: usize,
}

impl Points {
    pub(crate) fn new(dimensions: usize, seed: u64) -> Self {
        let width = dimensions + 2;
        let scramblings = (0..SCRAMBLINGS)
            .map(|number| {
                let points = Scrambling { seed, purpose: "union", number, log2_points: LOG2_POINTS };
                let mut column = vec![0.0; points.points()];
                let mut rows = vec![0.0; points.points() * width];
                for k in 0..width {
                    if k < 2 {
                        points.fill(k, &mut column);
                    } else {
                        points.fill_normal(k, &mut column);
                    }
                    for (row, value) in rows.chunks_mut(width).zip(&column) {
                        row[k] = *value;
                    }
                }
                rows
            })
            .collect();
        Self { scramblings, width }
    }

    /// See [`union`].
    pub(crate) fn union(&self, limits: &[HalfSpace]) -> Estimate {
        let limits: Vec<&HalfSpace> = limits.iter().filter(|h| h.share > 0.0).collect();
        let total: f64 = limits.iter().map(|h| h.share).sum();
        if limits.len() < 2 {
            return Estimate { value: total, standard_error: 0.0 };
        }
        let betas: Vec<f64> = limits.iter().map(|h| h.beta()).collect();
        let cosines: Vec<Vec<f64>> =
            limits.iter().map(|a| limits.iter().map(|b| dot(&a.direction, &b.direction)).collect()).collect();
        // Coordinates that matter, and each limit's share in them: all limits' projections of a point are summed side by side.
        let matters = |d: &usize| limits.iter().any(|h| h.direction[*d] != 0.0);
        let coordinates: Vec<(usize, Vec<f64>)> =
            (0..self.width - 2).filter(matters).map(|d| (d, limits.iter().map(|h| h.direction[d]).collect())).collect();
        let n = 1_usize << LOG2_POINTS;
        let mut along = vec![0.0; limits.len()];
        let mut values = Vec::with_capacity(SCRAMBLINGS as usize);
        for rows in &self.scramblings {
            let mut sum = 0.0;
            for row in rows.chunks(self.width) {
                let mut rest = row[0] * total;
                let mut j = 0;
                while j + 1 < limits.len() && rest >= limits[j].share {
                    rest -= limits[j].share;
                    j += 1;
                }
                // Beyond β_j, by the tail's own quantile.
                let beyond = normal::upper_quantile(row[1] * limits[j].share);
                along.fill(0.0);
                for (d, directions) in &coordinates {
                    let z = row[d + 2];
                    for (along, direction) in along.iter_mut().zip(directions) {
                        *along += direction * z;
                    }
                }
                let more = beyond - along[j];
                let inside =
                    (0..limits.len()).filter(|&k| k == j || along[k] + more * cosines[j][k] >= betas[k]).count();
                sum += 1.0 / inside as f64;
            }
            values.push(total * sum / n as f64);
        }
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        // Packs that pass two limits at once may be too rare to have been drawn: no error below 1e-4 of the share is claimed.
        let standard_error = (squares / (count * (count - 1.0))).sqrt().max(1e-4 * mean);
        Estimate { value: mean.min(1.0), standard_error }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(direction: &[f64], share: f64) -> HalfSpace {
        HalfSpace { direction: direction.to_vec(), share }
    }

    /// Φ₂(0, 0; ρ) = ¼ + asin(ρ)/2π (Sheppard), and scipy 1.17.1 `multivariate_normal.cdf`, tolerances 1e-12 asked of it.
    #[test]
    fn bivariate_normal() {
        for rho in [-0.999, -0.5, 0.0, 0.3, 0.9, 0.9999] {
            let sheppard = 0.25 + f64::asin(rho) / std::f64::consts::TAU;
            assert!((bivariate(0.0, 0.0, rho) - sheppard).abs() < 1e-13, "{rho}");
        }
        assert!((bivariate(-3.0, -2.5, 1.0) - normal::cdf(-3.0)).abs() < 1e-9);
        assert!(bivariate(-3.0, -2.5, -1.0) < 1e-9);
        assert!((bivariate(1.0, 0.5, 0.0) - normal::cdf(1.0) * normal::cdf(0.5)).abs() < 1e-15);
    }

    /// Two limits: the union is P₁ + P₂ − Φ₂; independent, tied, the same, and opposite ones.
    #[test]
    fn unions_of_two() {
        for (b, expected) in [
            ([0.0, 1.0], 2e-5 - 1e-10),
            ([1.0, 0.0], 1e-5),
            ([-1.0, 0.0], 2e-5),
            ([0.8, 0.6], 2e-5 - bivariate(normal::quantile(1e-5), normal::quantile(1e-5), 0.8)),
        ] {
            let found = union(&[limit(&[1.0, 0.0], 1e-5), limit(&b, 1e-5)], 1);
            let tolerance = 4.5 * found.standard_error + 1e-9 * expected;
            assert!((found.value - expected).abs() <= tolerance, "{b:?}: {found:?} {expected}");
            assert!(found.standard_error < 0.01 * expected);
        }
    }

    /// n independent limits of share p: 1 − (1 − p)ⁿ, also where the shares are large.
    #[test]
    fn independent_limits() {
        for (n, p) in [(3, 0.3), (10, 0.01), (40, 1e-7)] {
            let limits: Vec<HalfSpace> = (0..n)
                .map(|k| {
                    let mut direction = vec![0.0; n];
                    direction[k] = 1.0;
                    limit(&direction, p)
                })
                .collect();
            let expected = -libm::expm1(n as f64 * libm::log1p(-p));
            let found = union(&limits, 7);
            assert!(
                (found.value - expected).abs() <= 4.5 * found.standard_error + 1e-9 * expected,
                "{n}: {found:?} {expected}"
            );
        }
        assert!(union(&[], 1).value == 0.0);
        assert!(union(&[limit(&[1.0], 0.0)], 1).value == 0.0);
    }
}
