//! Johnson's system of curves, for lots that are not normal: z = γ + η·g((x − ε)/λ) is standard normal.
//!
//! Fitted by four quantiles at normal scores −3ζ, −ζ, ζ, 3ζ (Slifker and Shapiro, Technometrics 22, 1980): with m, n and p the upper,
//! lower and middle distances between them, mn/p² above 1 tells of tails heavier than the lognormal's (unbounded, g = asinh), below 1
//! of bounded tails (g(u) = ln(u/(1 − u))), and near 1 of the lognormal itself.

use crate::sample::{quantile_of_sorted, spread_ties};
use packdrift_numerics::normal;

/// A fitted curve.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Johnson {
    /// z = γ + η·asinh((x − ε)/λ).
    Unbounded {
        /// γ.
        gamma: f64,
        /// η > 0.
        eta: f64,
        /// ε, mm.
        xi: f64,
        /// λ > 0, mm.
        lambda: f64,
    },
    /// z = γ + η·ln(u/(1 − u)), u = (x − ε)/λ between 0 and 1.
    Bounded {
        /// γ.
        gamma: f64,
        /// η > 0.
        eta: f64,
        /// ε, mm.
        xi: f64,
        /// λ > 0, mm.
        lambda: f64,
    },
    /// z = ±(γ + η·ln(±(x − ε))): a lognormal with its long tail up (+) or down (−).
    Lognormal {
        /// γ.
        gamma: f64,
        /// η > 0.
        eta: f64,
        /// ε, mm.
        xi: f64,
        /// Whether the long tail is the lower one.
        reversed: bool,
    },
}

/// ζ: the outer quantiles are then at 3ζ = 1.572, shares of 5.8 and 94.2 %, which 50 readings still know (Slifker and Shapiro's
/// advice for moderate samples).
const ZETA: f64 = 0.524;

impl Johnson {
    /// Fits sorted values; None below 20 of them or where two of the four quantiles coincide (too few different readings).
    /// Equal readings of a step are spread over it first, so that a coarse instrument does not decide the curve.
    pub fn fit(sorted: &[f64], step: Option<f64>) -> Option<Self> {
        if sorted.len() < 20 {
            return None;
        }
        let spread;
        let values = match step {
            Some(step) if step > 0.0 => {
                spread = spread_ties(sorted, step);
                &spread
            }
            _ => sorted,
        };
        let [low, inner_low, inner_high, high] =
            [-3.0, -1.0, 1.0, 3.0].map(|k| quantile_of_sorted(values, normal::cdf(k * ZETA)));
        let (m, n, p) = (high - inner_high, inner_low - low, inner_high - inner_low);
        if m <= 0.0 || n <= 0.0 || p <= 0.0 {
            return None;
        }
        let middle = 0.5 * (inner_low + inner_high);
        let discriminant = m * n / (p * p);
        let curve = if discriminant > 1.02 {
            let (a, b) = (m / p, n / p);
            let eta = 2.0 * ZETA / (0.5 * (a + b)).acosh();
            let root = (a * b - 1.0).sqrt();
            Self::Unbounded {
                gamma: eta * ((b - a) / (2.0 * root)).asinh(),
                eta,
                lambda: 2.0 * p * root / ((a + b - 2.0) * (a + b + 2.0).sqrt()),
                xi: middle + p * (b - a) / (2.0 * (a + b - 2.0)),
            }
        } else if discriminant < 0.98 {
            let (a, b) = (p / m, p / n);
            let product = (1.0 + a) * (1.0 + b);
            let eta = ZETA / (0.5 * product.sqrt()).acosh();
            let lambda = p * ((product - 2.0).powi(2) - 4.0).sqrt() / (a * b - 1.0);
            Self::Bounded {
                gamma: eta * ((b - a) * (product - 4.0).sqrt() / (2.0 * (a * b - 1.0))).asinh(),
                eta,
                lambda,
                xi: middle - 0.5 * lambda + p * (b - a) / (2.0 * (a * b - 1.0)),
            }
        } else {
            // Long tail up where m > n; mirrored otherwise. Equal: so little skew that η would be infinite; a tiny one stands in.
            let reversed = m < n;
            let ratio = (if reversed { n / p } else { m / p }).max(1.0 + 1e-6);
            let middle = if reversed { -middle } else { middle };
            let eta = 2.0 * ZETA / ratio.ln();
            let xi = middle - 0.5 * p * (ratio + 1.0) / (ratio - 1.0);
            Self::Lognormal {
                gamma: eta * ((ratio - 1.0) / (p * ratio.sqrt())).ln(),
                eta,
                xi: if reversed { -xi } else { xi },
                reversed,
            }
        };
        curve.is_finite().then_some(curve)
    }

    fn is_finite(&self) -> bool {
        match *self {
            Self::Unbounded { gamma, eta, xi, lambda } | Self::Bounded { gamma, eta, xi, lambda } => {
                [gamma, eta, xi, lambda].iter().all(|v| v.is_finite()) && eta > 0.0 && lambda > 0.0
            }
            Self::Lognormal { gamma, eta, xi, .. } => [gamma, eta, xi].iter().all(|v| v.is_finite()) && eta > 0.0,
        }
    }

    /// The standard normal score of x; ∓∞ beyond a bounded end.
    pub fn score(&self, x: f64) -> f64 {
        match *self {
            Self::Unbounded { gamma, eta, xi, lambda } => gamma + eta * ((x - xi) / lambda).asinh(),
            Self::Bounded { gamma, eta, xi, lambda } => {
                let u = (x - xi) / lambda;
                if u <= 0.0 {
                    f64::NEG_INFINITY
                } else if u >= 1.0 {
                    f64::INFINITY
                } else {
                    gamma + eta * (u / (1.0 - u)).ln()
                }
            }
            Self::Lognormal { gamma, eta, xi, reversed } => {
                let u = if reversed { xi - x } else { x - xi };
                let z = if u <= 0.0 { f64::NEG_INFINITY } else { gamma + eta * u.ln() };
                if reversed { -z } else { z }
            }
        }
    }

    /// x of a standard normal score.
    pub fn value(&self, z: f64) -> f64 {
        match *self {
            Self::Unbounded { gamma, eta, xi, lambda } => xi + lambda * ((z - gamma) / eta).sinh(),
            Self::Bounded { gamma, eta, xi, lambda } => xi + lambda / (1.0 + ((gamma - z) / eta).exp()),
            Self::Lognormal { gamma, eta, xi, reversed } => {
                if reversed {
                    xi - ((-z - gamma) / eta).exp()
                } else {
                    xi + ((z - gamma) / eta).exp()
                }
            }
        }
    }

    /// The curve's name in words.
    pub fn family(&self) -> &'static str {
        match self {
            Self::Unbounded { .. } => "Johnson, unbounded",
            Self::Bounded { .. } => "Johnson, bounded",
            Self::Lognormal { reversed: false, .. } => "lognormal, long tail up",
            Self::Lognormal { reversed: true, .. } => "lognormal, long tail down",
        }
    }

    /// Share below `lower` plus share above `upper`.
    pub(crate) fn share_outside(&self, lower: Option<f64>, upper: Option<f64>) -> f64 {
        lower.map_or(0.0, |l| normal::cdf(self.score(l))) + upper.map_or(0.0, |u| normal::sf(self.score(u)))
    }
}
