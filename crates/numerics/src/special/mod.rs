//! Distribution functions with both tails accurate, and quantiles that are checked against them.
//!
//! `statrs` gives most of these too, but its incomplete beta loses digits for large parameters, some of its quantiles stop
//! at a wrong value or never return, and it has no noncentral t. A quality verdict rests on exactly these numbers, so they
//! are computed here: a distribution function returns the lower *and* the upper tail, each with its own relative accuracy
//! (never `1 − cdf`), and a quantile is the root of that function, bracketed before it is refined.

mod beta;
mod gamma;
mod invert;
mod noncentral_t;
mod saddle;

pub use beta::{
    beta_quantile, beta_tails, binomial_tails, fisher_quantile, fisher_tails, student_t_quantile, student_t_tails,
};
pub use gamma::{chi_squared_quantile, chi_squared_tails, digamma, gamma_tails, ln_gamma};
pub use invert::{Inversion, invert_increasing};
pub use noncentral_t::{noncentral_t_noncentrality, noncentral_t_quantile, noncentral_t_tails};

/// The two tails of a distribution at one point: P(X ≤ x) and P(X > x), each accurate in itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tails {
    /// P(X ≤ x).
    pub lower: f64,
    /// P(X > x).
    pub upper: f64,
}

impl Tails {
    /// Of a distribution at a point below its support.
    pub const BELOW: Self = Self { lower: 0.0, upper: 1.0 };
    /// Of a distribution at a point above its support.
    pub const ABOVE: Self = Self { lower: 1.0, upper: 0.0 };

    const NAN: Self = Self { lower: f64::NAN, upper: f64::NAN };

    const fn swapped(self) -> Self {
        Self { lower: self.upper, upper: self.lower }
    }

    /// How far the point lies past the quantile of order `p`, on a scale that keeps its meaning in both tails:
    /// the logarithm of the smaller tail's ratio to what it should be. Rises with the point; 0 at the quantile.
    pub(crate) fn excess_over(self, p: f64) -> f64 {
        if p <= 0.5 { (self.lower / p).ln() } else { ((1.0 - p) / self.upper).ln() }
    }
}
