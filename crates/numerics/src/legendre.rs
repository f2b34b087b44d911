//! Gauss–Legendre nodes and weights.

use std::sync::OnceLock;

/// Nodes on (−1, 1) and weights of the n-point rule, exact for polynomials of degree 2n − 1.
///
/// Newton's iteration on Legendre's polynomial from Chebyshev's nodes; good to a few units in the last place for the small n it is used
/// with.
///
/// ```
/// // ∫ x⁴ over (−1, 1) = 2/5, exact with three points.
/// let sum: f64 = packdrift_numerics::legendre::rule(3).iter().map(|(x, w)| w * x.powi(4)).sum();
/// assert!((sum - 0.4).abs() < 1e-15);
/// ```
pub fn rule(n: usize) -> Vec<(f64, f64)> {
    let mut rule = Vec::with_capacity(n);
    for i in 0..n {
        let mut x = -libm::cos(std::f64::consts::PI * (i as f64 + 0.75) / (n as f64 + 0.5));
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut before, mut p) = (1.0, x);
            for k in 2..=n {
                let k = k as f64;
                (before, p) = (p, ((2.0 * k - 1.0) * x * p - (k - 1.0) * before) / k);
            }
            if n == 0 {
                break;
            }
            slope = n as f64 * (x * p - before) / (x * x - 1.0);
            let step = p / slope;
            x -= step;
            if step.abs() < 1e-16 {
                break;
            }
        }
        rule.push((x, 2.0 / ((1.0 - x * x) * slope * slope)));
    }
    rule
}

/// The 16-point rule, made once.
pub fn rule16() -> &'static [(f64, f64)] {
    static RULE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    RULE.get_or_init(|| rule(16))
}

/// ∫ f over (a, b) by the 16-point rule.
pub fn integrate16(a: f64, b: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    let (middle, half) = (0.5 * (a + b), 0.5 * (b - a));
    half * rule16().iter().map(|(x, w)| w * f(middle + half * x)).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun table 25.4, n = 5 (value from memory, recomputed with numpy's `leggauss`).
    #[test]
    fn five_points() {
        let rule = rule(5);
        assert!((rule[4].0 - 0.906179845938664).abs() < 1e-15);
        assert!((rule[4].1 - 0.236926885056189).abs() < 1e-15);
        assert!((rule[2].0).abs() < 1e-15 && (rule[2].1 - 0.568888888888889).abs() < 1e-15);
    }

    #[test]
    fn degree_31_is_exact() {
        for k in [0, 2, 10, 30] {
            let exact = 2.0 / (f64::from(k) + 1.0);
            assert!((integrate16(-1.0, 1.0, |x| x.powi(k)) - exact).abs() < 2e-15, "{k}");
        }
        assert!((integrate16(0.0, 1.0, f64::exp) - (std::f64::consts::E - 1.0)).abs() < 1e-15);
        assert_eq!(rule(1).len(), 1);
        assert!((rule(1)[0].1 - 2.0).abs() < 1e-15);
    }
}
