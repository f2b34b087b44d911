//! Distribution functions with both tails, densities, and quantiles.
//!
//! Every quantile takes the share below and the share above as two numbers, and each is used in its own tail: 1 − p has no digits left
//! where p is within 1e-16 of 1. [`Distribution::at_normal`] is the marginal transformation x = F⁻¹(Φ(z)) made of it.

use super::moments::{GAUSS_LEGENDRE_10, log_parameters, truncated_quantile};
use super::trapezoid::Trapezoid;
use super::{Distribution, Sum};
use packdrift_numerics::normal;
use packdrift_numerics::special::{
    Inversion, Tails, gamma_tails, invert_increasing, ln_gamma, student_t_quantile, student_t_tails,
};
use std::f64::consts::{FRAC_PI_2, PI};

impl Distribution {
    /// P(X ≤ x) and P(X > x), each accurate in itself.
    pub fn tails(&self, x: f64) -> Tails {
        if x.is_nan() {
            return Tails { lower: f64::NAN, upper: f64::NAN };
        }
        if !matches!(self, Self::Empirical { .. } | Self::Sum { .. }) && self.is_exact() {
            return if x < self.mean() { Tails::BELOW } else { Tails::ABOVE };
        }
        let (low, high) = self.support();
        match self {
            Self::Empirical { readings } => {
                let below = readings.iter().filter(|&&r| r <= x).count() as f64;
                let n = readings.len() as f64;
                Tails { lower: below / n, upper: (n - below) / n }
            }
            Self::Sum { terms } => Sum::new(terms).tails(x),
            _ if x < low => Tails::BELOW,
            _ if x >= high => Tails::ABOVE,
            Self::Exact { .. } => Tails::ABOVE,
            Self::Normal { mean, sd } => normal_tails((x - mean) / sd),
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let [a, z, b] = [lower, &x, upper].map(|v| (v - mean) / sd);
                let whole = normal_between(a, b);
                Tails { lower: normal_between(a, z) / whole, upper: normal_between(z, b) / whole }
            }
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                if x <= 0.0 { Tails::BELOW } else { normal_tails((x.ln() - location) / scale) }
            }
            Self::Rectangular { lower, upper } => {
                Tails { lower: (x - lower) / (upper - lower), upper: (upper - x) / (upper - lower) }
            }
            Self::Triangular { .. } | Self::Trapezoidal { .. } | Self::CurvilinearTrapezoidal { .. } => {
                let (shape, from_low, from_high) = self.trapezoid_at(x);
                if from_low < from_high {
                    let lower = shape.share(from_low);
                    Tails { lower, upper: 1.0 - lower }
                } else {
                    let upper = shape.share(from_high);
                    Tails { lower: 1.0 - upper, upper }
                }
            }
            Self::Arcsine { lower, upper } => {
                // F = (2/π)·asin √((x − a)/(b − a)).
                let share = |part: f64| (part / (upper - lower)).sqrt().min(1.0).asin() / FRAC_PI_2;
                // From the nearer end: near the other, asin would lose half the digits.
                if x - lower < upper - x {
                    let lower = share(x - lower);
                    Tails { lower, upper: 1.0 - lower }
                } else {
                    let upper = share(upper - x);
                    Tails { lower: 1.0 - upper, upper }
                }
            }
            Self::ScaledShiftedT { degrees_of_freedom, location, scale } => {
                student_t_tails(*degrees_of_freedom, (x - location) / scale)
            }
            Self::Exponential { mean } => Tails { lower: -(-x / mean).exp_m1(), upper: (-x / mean).exp() },
            Self::Gamma { shape, scale } => gamma_tails(*shape, x / scale),
        }
    }

    /// P(X ≤ x).
    pub fn cdf(&self, x: f64) -> f64 {
        self.tails(x).lower
    }

    /// P(X > x), without the cancellation of 1 − cdf.
    pub fn sf(&self, x: f64) -> f64 {
        self.tails(x).upper
    }

    /// The density at x; 0 outside the support, infinite at the ends of an arcsine distribution. Exact values and empirical distributions have
    /// none: NaN.
    pub fn pdf(&self, x: f64) -> f64 {
        let (low, high) = self.support();
        match self {
            Self::Exact { .. } | Self::Empirical { .. } => f64::NAN,
            Self::Sum { terms } => Sum::new(terms).pdf(x),
            _ if self.is_exact() => f64::NAN,
            _ if x < low || x > high => 0.0,
            Self::Normal { mean, sd } => normal::pdf((x - mean) / sd) / sd,
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let (a, b) = ((lower - mean) / sd, (upper - mean) / sd);
                normal::pdf((x - mean) / sd) / sd / normal_between(a, b)
            }
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                if x <= 0.0 { 0.0 } else { normal::pdf((x.ln() - location) / scale) / (scale * x) }
            }
            Self::Rectangular { lower, upper } => 1.0 / (upper - lower),
            Self::Triangular { .. } | Self::Trapezoidal { .. } | Self::CurvilinearTrapezoidal { .. } => {
                let (shape, from_low, from_high) = self.trapezoid_at(x);
                shape.density(from_low.min(from_high))
            }
            Self::Arcsine { lower, upper } => 1.0 / (PI * ((x - lower) * (upper - x)).sqrt()),
            Self::ScaledShiftedT { degrees_of_freedom: nu, location, scale } => {
                let t = (x - location) / scale;
                let ln_constant = ln_gamma(0.5 * (nu + 1.0)) - ln_gamma(0.5 * nu) - 0.5 * (nu * PI).ln();
                (ln_constant - 0.5 * (nu + 1.0) * (t * t / nu).ln_1p()).exp() / scale
            }
            Self::Exponential { mean } => (-x / mean).exp() / mean,
            Self::Gamma { shape, scale } => {
                let t = x / scale;
                if t > 0.0 {
                    ((shape - 1.0) * t.ln() - t - ln_gamma(*shape)).exp() / scale
                } else if *shape > 1.0 {
                    0.0
                } else if *shape < 1.0 {
                    f64::INFINITY
                } else {
                    1.0 / scale
                }
            }
        }
    }

    /// The value with the share p below it: the least x with F(x) ≥ p. NaN outside [0, 1].
    ///
    /// ```
    /// use packdrift_spread::Distribution;
    /// let t = Distribution::ScaledShiftedT { degrees_of_freedom: 1.0, location: 0.0, scale: 1.0 };
    /// // Cauchy: tan(π(p − ½)).
    /// assert!((t.quantile(1e-9) / -318309886.18379068 - 1.0).abs() < 1e-9);
    /// ```
    pub fn quantile(&self, p: f64) -> f64 {
        self.quantile_of(p, 1.0 - p)
    }

    /// The value with the share p below and q = 1 − p above it, accurate in both tails.
    pub fn quantile_of(&self, p: f64, q: f64) -> f64 {
        if !(0.0..=1.0).contains(&p) || !(0.0..=1.0).contains(&q) {
            return f64::NAN;
        }
        if !matches!(self, Self::Empirical { .. } | Self::Sum { .. }) && self.is_exact() {
            return self.mean();
        }
        match self {
            Self::Exact { value } => *value,
            Self::Normal { mean, sd } => mean + sd * normal_at(p, q),
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                (location + scale * normal_at(p, q)).exp()
            }
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let z = truncated_quantile((lower - mean) / sd, (upper - mean) / sd, p, q);
                (mean + sd * z).clamp(*lower, *upper)
            }
            Self::Rectangular { lower, upper } => {
                if p < 0.5 {
                    lower + (upper - lower) * p
                } else {
                    upper - (upper - lower) * q
                }
            }
            Self::Triangular { .. } | Self::Trapezoidal { .. } | Self::CurvilinearTrapezoidal { .. } => {
                let (low, high) = self.support();
                if p < 0.5 { low + self.trapezoid().gap(p) } else { high - self.trapezoid().gap(q) }
            }
            Self::Arcsine { lower, upper } => {
                // a + (b − a) sin²(πp/2), and from the other end likewise.
                let part = |share: f64| (upper - lower) * (FRAC_PI_2 * share).sin().powi(2);
                if p < 0.5 { lower + part(p) } else { upper - part(q) }
            }
            Self::ScaledShiftedT { degrees_of_freedom, location, scale } => {
                let t = if p < 0.5 {
                    student_t_quantile(*degrees_of_freedom, p)
                } else {
                    -student_t_quantile(*degrees_of_freedom, q)
                };
                location + scale * t
            }
            Self::Exponential { mean } => {
                if p < 0.5 {
                    -mean * (-p).ln_1p()
                } else {
                    -mean * q.ln()
                }
            }
            Self::Gamma { shape, scale } => scale * gamma_quantile(*shape, p, q),
            Self::Empirical { readings } => {
                let mut sorted = readings.to_vec();
                sorted.sort_by(f64::total_cmp);
                empirical_quantile(&sorted, p)
            }
            Self::Sum { terms } => Sum::new(terms).quantile(p),
        }
    }

    /// x = F⁻¹(Φ(z)): the marginal transformation from the standard normal, monotone in z.
    pub fn at_normal(&self, z: f64) -> f64 {
        match self {
            Self::Normal { mean, sd } => mean + sd * z,
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                (location + scale * z).exp()
            }
            _ => self.quantile_of(normal::cdf(z), normal::sf(z)),
        }
    }

    /// The shape of the distributions that are trapezoids, and the distances of x from the two ends. The inexactness of a limit is
    /// added last, where it costs no digits.
    fn trapezoid_at(&self, x: f64) -> (Trapezoid, f64, f64) {
        let (low, high) = self.support();
        match self {
            Self::CurvilinearTrapezoidal { lower, upper, inexactness } => {
                (self.trapezoid(), (x - lower) + inexactness, (upper - x) + inexactness)
            }
            _ => (self.trapezoid(), x - low, high - x),
        }
    }

    /// The shape of the distributions that are trapezoids.
    pub(super) fn trapezoid(&self) -> Trapezoid {
        let (lower, upper) = match self {
            Self::Triangular { lower, upper }
            | Self::Trapezoidal { lower, upper, .. }
            | Self::CurvilinearTrapezoidal { lower, upper, .. } => (*lower, *upper),
            other => other.support(),
        };
        let half = 0.5 * (upper - lower);
        match self {
            Self::Trapezoidal { beta, .. } => Trapezoid::Straight { half, beta: *beta },
            // An inexactness that does not change the limits' bits is none.
            Self::CurvilinearTrapezoidal { inexactness, .. } if *inexactness > 1e-12 * half => {
                Trapezoid::Curvilinear { half, inexactness: inexactness.min(half) }
            }
            Self::CurvilinearTrapezoidal { .. } => Trapezoid::Straight { half, beta: 1.0 },
            _ => Trapezoid::Straight { half, beta: 0.0 },
        }
    }
}

fn normal_tails(z: f64) -> Tails {
    Tails { lower: normal::cdf(z), upper: normal::sf(z) }
}

fn normal_at(p: f64, q: f64) -> f64 {
    if p < 0.5 { normal::quantile(p) } else { normal::upper_quantile(q) }
}

/// Φ(b) − Φ(a): in the tail where it does not cancel, and between near points by 10-point Gauss–Legendre quadrature of the density.
fn normal_between(a: f64, b: f64) -> f64 {
    if b - a < 0.25 {
        let (centre, half) = (0.5 * (a + b), 0.5 * (b - a));
        let pair = |node: f64| normal::pdf(centre - half * node) + normal::pdf(centre + half * node);
        half * GAUSS_LEGENDRE_10.iter().map(|(node, weight)| weight * pair(*node)).sum::<f64>()
    } else if a > 0.0 {
        normal::sf(a) - normal::sf(b)
    } else {
        normal::cdf(b) - normal::cdf(a)
    }
}

/// The reading below which, itself included, at least the share p lies.
pub(super) fn empirical_quantile(sorted: &[f64], p: f64) -> f64 {
    let n = sorted.len();
    // A grain less, so that p = k/n gives the k-th reading although k/n is rounded.
    let rank = (p * n as f64 - 1e-9).ceil().max(1.0) as usize;
    sorted[rank.min(n) - 1]
}

/// Of scale 1, on the logarithm of x, where the tails are smooth; from Wilson and Hilferty's approximation.
fn gamma_quantile(shape: f64, p: f64, q: f64) -> f64 {
    if p <= 0.0 {
        return 0.0;
    }
    if q <= 0.0 {
        return f64::INFINITY;
    }
    // P(a, x) = xᵃ/Γ(a + 1)·(1 − O(x)): below e⁻³⁷ the first term is all, and x itself may be too small for a double.
    let small = (p.ln() + ln_gamma(shape + 1.0)) / shape;
    if small < -37.0 {
        return small.exp();
    }
    let c = 1.0 / (9.0 * shape);
    let cube = (1.0 - c + normal_at(p, q) * c.sqrt()).powi(3);
    let start = if cube > 1e-3 { (shape * cube).ln() } else { small };
    let search = Inversion { start, step: 0.1, lower: -40.0, upper: 709.0 };
    invert_increasing(&search, |ln_x| {
        let tails = gamma_tails(shape, ln_x.exp());
        if p < 0.5 { (tails.lower / p).ln() } else { (q / tails.upper).ln() }
    })
    .exp()
}
