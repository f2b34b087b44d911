//! The incomplete beta function, and what rests on it: Student's t, Fisher's F, the binomial.

use super::Tails;
use super::gamma::ln_gamma;
use super::invert::{Inversion, invert_increasing};
use super::saddle::{deviance, stirling_error};
use crate::normal;
use std::f64::consts::PI;

/// `I_x(a, b)` and its complement, a, b > 0, with y = 1 − x given on its own so that neither end loses digits.
/// Continued fraction (NIST Digital Library of Mathematical Functions 8.17.22) with Loader's prefix. NaN outside the domain.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 6e-14 in either tail.
///
/// # Examples
/// ```
/// use packdrift_numerics::special::beta_tails;
/// // I_x(1, b) = 1 − (1 − x)^b
/// let t = beta_tails(1.0, 200.0, 0.01, 0.99);
/// assert!((t.upper / 0.99_f64.powi(200) - 1.0).abs() < 1e-13);
/// ```
pub fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> Tails {
    if a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 || x.is_nan() || y.is_nan() {
        return Tails::NAN;
    }
    if x <= 0.0 {
        return Tails::BELOW;
    }
    if y <= 0.0 {
        return Tails::ABOVE;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return beta_lower(b, a, y, x).swapped();
    }
    beta_lower(a, b, x, y)
}

fn beta_lower(a: f64, b: f64, x: f64, y: f64) -> Tails {
    let n = a + b;
    // x^a y^b / B(a, b)
    let prefix = (a * b / (2.0 * PI * n)).sqrt()
        * (stirling_error(n) - stirling_error(a) - stirling_error(b) - deviance(a, n * x) - deviance(b, n * y)).exp();
    let nonzero = |v: f64| if v.abs() < 1e-300 { 1e-300 } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / nonzero(1.0 - n * x / (a + 1.0));
    let mut h = d;
    for m in 1..100_000_u32 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / nonzero(1.0 + even * d);
        c = nonzero(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (n + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / nonzero(1.0 + odd * d);
        c = nonzero(1.0 + odd / c);
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    let lower = (prefix * h / a).min(1.0);
    Tails { lower, upper: 1.0 - lower }
}

/// The quantile of order p of the beta distribution, returned as (x, 1 − x), each accurate; (0, 1) at p = 0, (1, 0) at p = 1,
/// NaN outside [0, 1] or for a, b not above 0.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 1.4e-14.
pub fn beta_quantile(a: f64, b: f64, p: f64) -> (f64, f64) {
    if !(0.0..=1.0).contains(&p) || a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 {
        return (f64::NAN, f64::NAN);
    }
    if p == 0.0 {
        return (0.0, 1.0);
    }
    if p >= 1.0 {
        return (1.0, 0.0);
    }
    // Solved in the logit of x, where both ends are far away.
    let split = |t: f64| {
        if t > 0.0 {
            (1.0 / (1.0 + (-t).exp()), 1.0 / (1.0 + t.exp()))
        } else {
            (t.exp() / (1.0 + t.exp()), 1.0 / (1.0 + t.exp()))
        }
    };
    let spread = (1.0 / a + 1.0 / b).sqrt();
    let start = (a / b).ln() + normal::quantile(p.clamp(1e-12, 1.0 - 1e-12)) * spread.min(3.0);
    let t = invert_increasing(&Inversion { start, step: 0.25 * spread.min(4.0), lower: -740.0, upper: 740.0 }, |t| {
        let (x, y) = split(t);
        beta_tails(a, b, x, y).excess_over(p)
    });
    split(t)
}

/// Both tails of Student's t with ν degrees of freedom (ν need not be a whole number).
///
/// Largest relative error on the grid of `docs/special-functions.md`: 4e-14 in either tail.
pub fn student_t_tails(degrees_of_freedom: f64, t: f64) -> Tails {
    let nu = degrees_of_freedom;
    if t.is_nan() || nu.is_nan() || nu <= 0.0 {
        return Tails::NAN;
    }
    if t.is_infinite() {
        return if t > 0.0 { Tails::ABOVE } else { Tails::BELOW };
    }
    let ratio = t.abs() / nu.sqrt();
    let (far, near) = if ratio > 1e100 {
        // The leading term, r^(−ν)/(ν·B(ν/2, ½)); r² would overflow.
        let ln_beta = ln_gamma(0.5 * nu) + 0.5 * std::f64::consts::PI.ln() - ln_gamma(0.5 * nu + 0.5);
        let far = (-nu * ratio.ln() - ln_beta).exp() / nu;
        (far, 1.0 - far)
    } else {
        let x = 1.0 / (1.0 + ratio * ratio);
        let y = if ratio < 1.0 { ratio * ratio * x } else { 1.0 / (1.0 + 1.0 / (ratio * ratio)) };
        let tails = beta_tails(0.5 * nu, 0.5, x, y);
        (0.5 * tails.lower, 0.5 + 0.5 * tails.upper)
    };
    if t > 0.0 { Tails { lower: near, upper: far } } else { Tails { lower: far, upper: near } }
}

/// The quantile of order p of Student's t with ν degrees of freedom; ∓∞ at 0 and 1, NaN outside [0, 1].
///
/// Largest relative error on the grid of `docs/special-functions.md`: 6e-9, beside the median at t = 1e-8, where that is less than 1e-16 in t.
///
/// # Examples
/// ```
/// use packdrift_numerics::special::student_t_quantile;
/// // ν = 1 is Cauchy: tan(π(p − ½)).
/// assert!((student_t_quantile(1.0, 1e-9) / -318309886.18379068 - 1.0).abs() < 1e-12);
/// ```
pub fn student_t_quantile(degrees_of_freedom: f64, p: f64) -> f64 {
    let nu = degrees_of_freedom;
    if !(0.0..=1.0).contains(&p) || nu.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if p > 0.5 {
        return -student_t_quantile(nu, 1.0 - p);
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 0.5 {
        return 0.0;
    }
    let z = -normal::quantile(p);
    // Solved in ln(−t).
    let y = invert_increasing(&Inversion { start: z.max(1e-3).ln(), step: 0.1, lower: -740.0, upper: 700.0 }, |y| {
        (p / student_t_tails(nu, y.exp()).upper).ln()
    });
    -y.exp()
}

/// Both tails of Fisher's F with ν₁ and ν₂ degrees of freedom.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 1.4e-13 in either tail.
pub fn fisher_tails(numerator: f64, denominator: f64, f: f64) -> Tails {
    if f.is_nan() {
        return Tails::NAN;
    }
    if f <= 0.0 {
        return Tails::BELOW;
    }
    if f.is_infinite() {
        return Tails::ABOVE;
    }
    let ratio = numerator * f / denominator;
    beta_tails(0.5 * numerator, 0.5 * denominator, ratio / (1.0 + ratio), 1.0 / (1.0 + ratio))
}

/// The quantile of order p of Fisher's F; 0 at p = 0, ∞ at p = 1, NaN outside [0, 1].
///
/// Largest relative error on the grid of `docs/special-functions.md`: 1.3e-14.
pub fn fisher_quantile(numerator: f64, denominator: f64, p: f64) -> f64 {
    let (x, y) = beta_quantile(0.5 * numerator, 0.5 * denominator, p);
    if y == 0.0 { f64::INFINITY } else { denominator * x / (numerator * y) }
}

/// P(X ≤ k) and P(X > k) of the number of successes in n trials of chance p.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 1e-13 in either tail.
pub fn binomial_tails(trials: u64, p: f64, k: u64) -> Tails {
    if k >= trials {
        return Tails::ABOVE;
    }
    // P(X > k) = I_p(k + 1, n − k)
    beta_tails(k as f64 + 1.0, (trials - k) as f64, p, 1.0 - p).swapped()
}
