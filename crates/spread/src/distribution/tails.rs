//! Distribution functions with both tails, densities, and quantiles.
//!
//! Every quantile takes the share below and the share above as two numbers, and each is used in its own tail: 1 − p has no digits left
//! where p is within 1e-16 of 1. [`Distribution::at_normal`] is the marginal transformation x = F⁻¹(Φ(z)) made of it.

use super::moments::{log_parameters, truncated_quantile};
use super::trapezoid::Trapezoid;
use super::{Distribution, SumTable};
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
            Self::Sum { terms } => SumTable::new(terms).tails(x),
            _ if x < low => Tails::BELOW,
            _ if x >= high => Tails::ABOVE,
            Self::Exact { .. } => Tails::ABOVE,
            Self::Normal { mean, sd } => normal_tails((x - mean) / sd),
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let [a, z, b] = [lower, &x, upper].map(|v| (v - mean) / sd);
                // Differences taken in the tail where they do not cancel.
                let between = |from: f64, to: f64| {
                    if from > 0.0 { normal::sf(from) - normal::sf(to) } else { normal::cdf(to) - normal::cdf(from) }
                };
                let whole = between(a, b);
                Tails { lower: between(a, z) / whole, upper: between(z, b) / whole }
            }
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                if x <= 0.0 { Tails::BELOW } else { normal_tails((x.ln() - location) / scale) }
            }
            Self::Rectangular { lower, upper } => {
                Tails { lower: (x - lower) / (upper - lower), upper: (upper - x) / (upper - lower) }
            }
            Self::Triangular { .. } | Self::Trapezoidal { .. } | Self::CurvilinearTrapezoidal { .. } => {
                let (centre, shape) = self.trapezoid();
                let beyond = shape.beyond((x - centre).abs());
                if x < centre {
                    Tails { lower: beyond, upper: 1.0 - beyond }
                } else {
                    Tails { lower: 1.0 - beyond, upper: beyond }
                }
            }
            Self::Arcsine { lower, upper } => {
                // F = (2/π)·asin √((x − a)/(b − a)).
                let share = |part: f64| (part / (upper - lower)).sqrt().min(1.0).asin() / FRAC_PI_2;
                Tails { lower: share(x - lower), upper: share(upper - x) }
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
            Self::Sum { terms } => SumTable::new(terms).pdf(x),
            _ if self.is_exact() => f64::NAN,
            _ if x < low || x > high => 0.0,
            Self::Normal { mean, sd } => normal::pdf((x - mean) / sd) / sd,
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let (a, b) = ((lower - mean) / sd, (upper - mean) / sd);
                let whole = if a > 0.0 { normal::sf(a) - normal::sf(b) } else { normal::cdf(b) - normal::cdf(a) };
                normal::pdf((x - mean) / sd) / sd / whole
            }
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                if x <= 0.0 { 0.0 } else { normal::pdf((x.ln() - location) / scale) / (scale * x) }
            }
            Self::Rectangular { lower, upper } => 1.0 / (upper - lower),
            Self::Triangular { .. } | Self::Trapezoidal { .. } | Self::CurvilinearTrapezoidal { .. } => {
                let (centre, shape) = self.trapezoid();
                shape.density((x - centre).abs())
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
                let (centre, shape) = self.trapezoid();
                if p < 0.5 { centre - shape.distance(p) } else { centre + shape.distance(q) }
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
            Self::Sum { terms } => SumTable::new(terms).quantile_of(p, q),
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

    /// Centre and shape of the distributions that are trapezoids.
    pub(super) fn trapezoid(&self) -> (f64, Trapezoid) {
        let (lower, upper) = match self {
            Self::Triangular { lower, upper }
            | Self::Trapezoidal { lower, upper, .. }
            | Self::CurvilinearTrapezoidal { lower, upper, .. } => (*lower, *upper),
            other => other.support(),
        };
        let half = 0.5 * (upper - lower);
        let shape = match self {
            Self::Trapezoidal { beta, .. } => Trapezoid::Straight { half, beta: *beta },
            // An inexactness that does not change the limits' bits is none.
            Self::CurvilinearTrapezoidal { inexactness, .. } if *inexactness > 1e-12 * half => {
                Trapezoid::Curvilinear { half, inexactness: inexactness.min(half) }
            }
            Self::CurvilinearTrapezoidal { .. } => Trapezoid::Straight { half, beta: 1.0 },
            _ => Trapezoid::Straight { half, beta: 0.0 },
        };
        (0.5 * (lower + upper), shape)
    }
}

fn normal_tails(z: f64) -> Tails {
    Tails { lower: normal::cdf(z), upper: normal::sf(z) }
}

fn normal_at(p: f64, q: f64) -> f64 {
    if p < 0.5 { normal::quantile(p) } else { normal::upper_quantile(q) }
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
    let c = 1.0 / (9.0 * shape);
    let cube = (1.0 - c + normal_at(p, q) * c.sqrt()).powi(3);
    let start = if cube > 1e-3 {
        (shape * cube).ln()
    } else {
        // P(a, x) ≈ xᵃ/Γ(a + 1) for small x.
        (p.ln() + ln_gamma(shape + 1.0)) / shape
    };
    let search = Inversion { start, step: 0.1, lower: -745.0 / shape.min(1.0), upper: 709.0 };
    invert_increasing(&search, |ln_x| {
        let tails = gamma_tails(shape, ln_x.exp());
        if p < 0.5 { (tails.lower / p).ln() } else { (q / tails.upper).ln() }
    })
    .exp()
}
