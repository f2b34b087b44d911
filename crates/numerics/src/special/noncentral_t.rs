//! The noncentral t distribution, by quadrature: tolerance factors, capability bounds and variables sampling plans rest on it.
//!
//! `T = (Z + δ)/(χ_ν/√ν)`, so `P(T ≤ t) = ∫₀^∞ Φ(t·x − δ)·f_ν(x) dx` with `f_ν` the density of `χ_ν/√ν`. With x = e^y the
//! integrand is analytic, has one peak and falls off on both sides, and the trapezoidal rule over the whole line converges
//! exponentially once its step resolves the narrower of the two factors. Every term is positive, so each tail keeps its
//! *relative* accuracy (about 1e-13, limited by Φ); series in incomplete beta functions lose it in the far tails.

use super::Tails;
use super::invert::{Inversion, invert_increasing};
use super::saddle::stirling_error;
use crate::normal;
use std::f64::consts::PI;

/// P(T ≤ t) and P(T > t) of the noncentral t distribution with ν degrees of freedom (> 0, not necessarily whole) and
/// noncentrality δ. NaN outside the domain.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 8e-13 in either tail.
///
/// # Examples
/// ```
/// use packdrift_numerics::special::noncentral_t_tails;
/// // P(T ≤ 0) = Φ(−δ) whatever ν is.
/// let t = noncentral_t_tails(3.0, 1.0, 0.0);
/// assert!((t.lower - 0.158655253931457).abs() < 1e-14);
/// ```
pub fn noncentral_t_tails(degrees_of_freedom: f64, noncentrality: f64, t: f64) -> Tails {
    let (nu, delta) = (degrees_of_freedom, noncentrality);
    if nu.is_nan() || nu <= 0.0 || !delta.is_finite() || t.is_nan() {
        return Tails::NAN;
    }
    if t == f64::INFINITY {
        return Tails::ABOVE;
    }
    if t == f64::NEG_INFINITY {
        return Tails::BELOW;
    }
    // The smaller tail is integrated; the other is its complement.
    let mean = if nu > 1.5 { delta * (1.0 - 3.0 / (4.0 * nu - 1.0)).recip() } else { delta };
    if t < mean {
        let lower = lower_tail(nu, delta, t);
        Tails { lower, upper: 1.0 - lower }
    } else {
        let upper = lower_tail(nu, -delta, -t);
        Tails { lower: 1.0 - upper, upper }
    }
}

/// `∫ Φ(t·x − δ) f_ν(x) dx`.
fn lower_tail(nu: f64, delta: f64, t: f64) -> f64 {
    // Density of ln(χ_ν/√ν) at y: √(ν/π)·e^(−δ(ν/2))·exp(ν(y − (e^(2y) − 1)/2)).
    let ln_scale = 0.5 * (nu / PI).ln() - stirling_error(0.5 * nu);
    let ln_density = |y: f64| ln_scale + nu * (y - 0.5 * (2.0 * y).exp_m1());
    let peak = peak_of_integrand(nu, delta, t);
    // The rule's error is e^(−2πθ/h) in a strip of half-width θ where the integrand stays bounded: π/4 by the χ density (whence the
    // 0.12), and narrower as either factor sharpens.
    let h = (0.55 / (2.0 * nu + delta * delta).sqrt()).min(0.12);
    let at = |y: f64| {
        let z = t * y.exp() - delta;
        if z < -30.0 { (ln_density(y) + ln_far_tail(z)).exp() } else { ln_density(y).exp() * normal::cdf(z) }
    };
    let mut sum = at(peak);
    if sum == 0.0 {
        return 0.0;
    }
    for direction in [-1.0, 1.0] {
        let mut k = 1.0;
        loop {
            let term = at(peak + direction * k * h);
            sum += term;
            // Past the peak the terms fall at least geometrically: slowest, e^(−νh), on the left.
            if term < sum * 1e-17 * (1.0 - (-nu * h).exp()).max(1e-3) || k > 200_000.0 {
                break;
            }
            k += 1.0;
        }
    }
    (sum * h).min(1.0)
}

/// ln Φ(z) for z < −30, where Φ itself is about to underflow, by the asymptotic series of Mills' ratio (Abramowitz and
/// Stegun 26.2.12); its error there is below 1e-12.
fn ln_far_tail(z: f64) -> f64 {
    let r = 1.0 / (z * z);
    let mills = 1.0 - r * (1.0 - 3.0 * r * (1.0 - 5.0 * r * (1.0 - 7.0 * r)));
    -0.5 * z * z - 0.5 * (2.0 * PI).ln() - (-z).ln() + mills.ln()
}

/// Where Φ(t·e^y − δ)·exp(ν(y − e^(2y)/2)) is largest: the root of ν(1 − x²) + t·x·φ(z)/Φ(z), z = t·x − δ, x = e^y.
fn peak_of_integrand(nu: f64, delta: f64, t: f64) -> f64 {
    let slope = |y: f64| {
        let x = y.exp();
        let z = t * x - delta;
        // φ/Φ; in the far tail −z − 1/z.
        let hazard = if z < -30.0 { -z - 1.0 / z } else { normal::pdf(z) / normal::cdf(z) };
        nu * (1.0 - x * x) + t * x * hazard
    };
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    if slope(0.0) > 0.0 {
        high = 0.25;
        while slope(high) > 0.0 && high < 300.0 {
            low = high;
            high *= 2.0;
        }
    } else {
        low = -0.25;
        while slope(low) < 0.0 && low > -300.0 {
            high = low;
            low *= 2.0;
        }
    }
    // The peak only centres the sum; a tenth of its width is near enough.
    let enough = 0.1 / (2.0 * nu + delta * delta).sqrt();
    while high - low > enough {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// The quantile of order p (0 < p < 1) of the noncentral t distribution; NaN outside the domain.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 1.2e-12.
///
/// # Examples
/// ```
/// use packdrift_numerics::{normal, special::noncentral_t_quantile};
/// // One-sided tolerance factor for n = 10, 90 % of the lot, 95 % confidence: 2.355 (ISO 16269-6).
/// let k = noncentral_t_quantile(9.0, 10f64.sqrt() * normal::quantile(0.9), 0.95) / 10f64.sqrt();
/// assert!((k - 2.354640).abs() < 1e-6);
/// ```
pub fn noncentral_t_quantile(degrees_of_freedom: f64, noncentrality: f64, p: f64) -> f64 {
    let (nu, delta) = (degrees_of_freedom, noncentrality);
    if p.is_nan() || p <= 0.0 || p >= 1.0 || nu.is_nan() || nu <= 0.0 || !delta.is_finite() {
        return f64::NAN;
    }
    // Johnson and Welch's approximation starts.
    let z = normal::quantile(p);
    let b = 1.0 - 0.25 / nu;
    let spread = (b * b + (delta * delta - z * z) / (2.0 * nu)).max(0.0).sqrt();
    let denominator = (b * b - z * z / (2.0 * nu)).max(0.05);
    let start = (delta * b + z * spread) / denominator;
    let step = 0.02 * (1.0 + start.abs());
    invert_increasing(&Inversion { start, step, lower: f64::MIN / 4.0, upper: f64::MAX / 4.0 }, |t| {
        noncentral_t_tails(nu, delta, t).excess_over(p)
    })
}

/// The noncentrality δ at which P(T ≤ t) = p: a confidence bound of δ from an observed t (P falls as δ rises).
/// NaN outside the domain.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 5e-13.
pub fn noncentral_t_noncentrality(degrees_of_freedom: f64, t: f64, p: f64) -> f64 {
    if p.is_nan() || p <= 0.0 || p >= 1.0 || !t.is_finite() {
        return f64::NAN;
    }
    let nu = degrees_of_freedom;
    let z = normal::quantile(p);
    let start = t * (1.0 - 0.25 / nu) - z * (1.0 + t * t / (2.0 * nu)).sqrt();
    let step = 0.02 * (1.0 + t * t / (2.0 * nu)).sqrt();
    invert_increasing(&Inversion { start, step, lower: -1e9, upper: 1e9 }, |delta| {
        -noncentral_t_tails(nu, delta, t).excess_over(p)
    })
}
