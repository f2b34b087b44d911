//! The exact distribution of a linear requirement: Y = constant + Σ cᵢ·Xᵢ of independent dimensions of any listed kind.
//!
//! All normal terms together are one normal. The rest goes by the first of these that is cheap enough:
//!
//! 1. nothing but normals, or one other term alone: its own distribution function;
//! 2. Gil-Pelaez inversion of the characteristic function on a lattice, with R. B. Davies' bound of the lattice's error and a bound of the
//!    sum's cut-off tail ([`lattice`]);
//! 3. the same integral on graded panels, where a heavy tail (few readings, few degrees of freedom) would need an endless lattice ([`panels`]);
//! 4. convolution by Gauss–Legendre quadrature between the kinks, where there are so few terms that the characteristic function
//!    dies out too slowly ([`few`]).
//!
//! The error of every probability is at most [`Exact::error_bound`], below 1e-11. What none of them can do in reasonable time is
//! declined ([`NotExact`]), so that another method is used. `docs/exact.md` has formulas and limits.

mod few;
mod lattice;
mod panels;
mod plane;
mod term;

#[cfg(test)]
mod tests;

use crate::distribution::Distribution;
use packdrift_numerics::{normal, root};
use term::Term;

/// Share cut off at either end of the range, in all.
const CUT: f64 = 1e-13;

/// Why a distribution is not computed exactly.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotExact {
    /// A kind of distribution that this method has no characteristic function for.
    #[error("no characteristic function of a {kind} distribution is known here")]
    Kind {
        /// Its name.
        kind: &'static str,
    },
    /// It would take longer than sampling.
    #[error(
        "the characteristic function dies out so slowly that its inversion would take {work:.1e} steps; the limit is {limit:.1e}"
    )]
    Work {
        /// Terms of the lattice times random terms.
        work: f64,
        /// The largest number that is done.
        limit: f64,
    },
    /// Dimensions whose scatter is tied and not normal: their sum has no characteristic function that is known.
    #[error("{first} and {second} are correlated and not both normal")]
    Tied {
        /// One dimension's path.
        first: String,
        /// The other's.
        second: String,
    },
    /// The response is not linear often enough: the bay comes loose, or a spring washer flat.
    #[error(
        "the pack leaves the range in which the requirement is linear (loose, or a spring washer flat) with a probability of at least {probability:.1e}"
    )]
    Guards {
        /// A bound of it, as far as it was summed.
        probability: f64,
    },
    /// A coefficient or constant that is not finite.
    #[error("a coefficient is {value}")]
    NotFinite {
        /// The value.
        value: f64,
    },
}

/// The distribution of constant + Σ cᵢ·Xᵢ.
#[derive(Debug, Clone)]
pub struct Exact {
    mean: f64,
    variance: f64,
    way: Way,
}

#[derive(Debug, Clone)]
enum Way {
    Point(f64),
    Normal { mean: f64, sd: f64 },
    Lattice(lattice::Lattice),
    Panels(panels::Panels),
    Few(few::Few),
}

impl Exact {
    /// The distribution of `constant` + Σ coefficient·X over `terms`, the X independent, plus a normal deviate of mean 0 and variance
    /// `normal_variance` (what lots share, what correlated normals have in common).
    ///
    /// # Errors
    /// [`NotExact`], with the reason.
    ///
    /// ```
    /// use packdrift_spread::{Distribution, Exact};
    /// // JCGM 101:2008, 9.2.3: four rectangular quantities of standard deviation 1; the 95 % interval is ±2√3(2 − (3/5)^¼).
    /// let half = 3.0_f64.sqrt();
    /// let x = Distribution::rectangular(-half, half).unwrap();
    /// let sum = Exact::new(0.0, &[(1.0, &x), (1.0, &x), (1.0, &x), (1.0, &x)], 0.0).unwrap();
    /// assert!((sum.quantile(0.975) - 2.0 * half * (2.0 - 0.6_f64.powf(0.25))).abs() < 1e-10);
    /// ```
    pub fn new(constant: f64, terms: &[(f64, &Distribution)], normal_variance: f64) -> Result<Self, NotExact> {
        let mut sum = term::Collected::new(constant, normal_variance);
        for (coefficient, distribution) in terms {
            if !coefficient.is_finite() {
                return Err(NotExact::NotFinite { value: *coefficient });
            }
            sum.add(*coefficient, distribution)?;
        }
        if !sum.constant.is_finite() || !sum.normal_variance.is_finite() {
            return Err(NotExact::NotFinite { value: sum.constant });
        }
        let mean = sum.constant + sum.terms.iter().map(Term::mean).sum::<f64>();
        let variance = sum.normal_variance + sum.terms.iter().map(Term::variance).sum::<f64>();
        let sd = sum.normal_variance.sqrt();
        let way = if sum.terms.is_empty() {
            if sd == 0.0 { Way::Point(sum.constant) } else { Way::Normal { mean: sum.constant, sd } }
        } else {
            let few = few::Few::new(&sum);
            match few {
                Some(few) if few.is_closed_form() => Way::Few(few),
                few => match lattice::Lattice::new(&sum) {
                    Ok(lattice) => Way::Lattice(lattice),
                    Err(refused) => match (panels::Panels::new(&sum), few) {
                        (Some(panels), _) => Way::Panels(panels),
                        (None, Some(few)) => Way::Few(few),
                        (None, None) => return Err(refused),
                    },
                },
            }
        };
        Ok(Self { mean, variance, way })
    }

    /// Mean; where there is none (a t of one degree of freedom) with the location in its place.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Standard deviation; infinite where there is none (a t of at most two degrees of freedom).
    pub fn sd(&self) -> f64 {
        self.variance.sqrt()
    }

    /// P(Y ≤ x).
    pub fn cdf(&self, x: f64) -> f64 {
        match &self.way {
            Way::Point(value) => f64::from(u8::from(x >= *value)),
            Way::Normal { mean, sd } => normal::cdf((x - mean) / sd),
            Way::Lattice(lattice) => lattice.cdf_pdf(x).0.clamp(0.0, 1.0),
            Way::Panels(panels) => panels.cdf(x).clamp(0.0, 1.0),
            Way::Few(few) => few.cdf(x).clamp(0.0, 1.0),
        }
    }

    /// P(Y > x).
    pub fn sf(&self, x: f64) -> f64 {
        match &self.way {
            Way::Normal { mean, sd } => normal::sf((x - mean) / sd),
            Way::Few(few) => few.sf(x).clamp(0.0, 1.0),
            _ => 1.0 - self.cdf(x),
        }
    }

    /// The smallest value whose share below is p (0 < p < 1), as well as [`Exact::error_bound`] lets it be known.
    pub fn quantile(&self, p: f64) -> f64 {
        match &self.way {
            Way::Point(value) => *value,
            Way::Normal { mean, sd } => mean + sd * normal::quantile(p),
            Way::Lattice(lattice) => lattice.quantile(p),
            Way::Few(few) => invert(few.range(), p, |x| self.cdf(x)),
            Way::Panels(panels) => invert(panels.range(p), p, |x| self.cdf(x)),
        }
    }

    /// Largest error of a probability.
    pub fn error_bound(&self) -> f64 {
        match &self.way {
            Way::Point(_) | Way::Normal { .. } => 0.0,
            Way::Lattice(lattice) => lattice.error_bound(),
            Way::Panels(panels) => panels.error_bound(),
            Way::Few(few) => few.error_bound(),
        }
    }
}

/// Where a distribution function that goes from about 0 to about 1 over the range reaches p.
fn invert(range: (f64, f64), p: f64, cdf: impl Fn(f64) -> f64) -> f64 {
    let (low, high) = range;
    if cdf(low) >= p {
        return low;
    }
    root::brent(|x| cdf(x) - p, low, high, 0.0).unwrap_or(high)
}
