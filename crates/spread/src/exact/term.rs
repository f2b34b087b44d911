//! The random terms of a sum, each moved to its centre and scaled: characteristic function, a bound of it, range, and what quadrature needs.

use super::NotExact;
use crate::distribution::Distribution;
use packdrift_numerics::legendre::rule16;
use packdrift_numerics::normal;
use packdrift_numerics::special::{Tails, gamma_tails, ln_gamma, student_t_quantile, student_t_tails};
use packdrift_numerics::student_characteristic::StudentCharacteristic;
use packdrift_numerics::transcendental::sine_integral;
use std::f64::consts::{FRAC_PI_2, PI};
use std::sync::Arc;

/// Constant, normal part and the other terms of a sum.
#[derive(Debug, Clone)]
pub(super) struct Collected {
    pub(super) constant: f64,
    pub(super) normal_variance: f64,
    pub(super) terms: Vec<Term>,
}

/// A random term that is not normal. All but [`Term::Gamma`] have their centre (or mean) at 0; that has its end there.
#[derive(Debug, Clone)]
pub(super) enum Term {
    /// Rectangular on ±half.
    Rectangular { half: f64 },
    /// Symmetric trapezoid, the sum of two rectangulars of half widths `wide` ≥ `narrow` (equal: a triangle).
    Trapezoidal { wide: f64, narrow: f64 },
    /// Rectangular on ±h, h itself rectangular on half ± inexactness.
    Curvilinear { half: f64, inexactness: f64 },
    /// Arcsine on ±half.
    Arcsine { half: f64 },
    /// Gamma from 0; a negative scale turns it round.
    Gamma { shape: f64, scale: f64 },
    /// Student's t times scale.
    StudentT { degrees_of_freedom: f64, scale: f64, table: Arc<StudentCharacteristic> },
    /// coefficient·exp(log_mean + log_sd·Z) − mean.
    LogNormal { coefficient: f64, log_mean: f64, log_sd: f64, mean: f64 },
    /// scale·Z − mean, with Z standard normal between `from` and `to`.
    Truncated { scale: f64, from: f64, to: f64, mean: f64, variance: f64 },
    /// Equally likely values, rising.
    Mass { values: Vec<f64> },
}

impl Collected {
    pub(super) fn new(constant: f64, normal_variance: f64) -> Self {
        Self { constant, normal_variance, terms: Vec::new() }
    }

    /// Adds coefficient·X.
    pub(super) fn add(&mut self, c: f64, x: &Distribution) -> Result<(), NotExact> {
        if c == 0.0 {
            return Ok(());
        }
        if x.is_exact() {
            self.constant += c * x.mean();
            return Ok(());
        }
        let mut centred = |lower: f64, upper: f64| {
            self.constant += c * (0.5 * lower + 0.5 * upper);
            c.abs() * (0.5 * upper - 0.5 * lower)
        };
        let term = match x {
            Distribution::Exact { .. } => return Ok(()),
            Distribution::Normal { mean, sd } => {
                self.constant += c * mean;
                self.normal_variance += (c * sd) * (c * sd);
                return Ok(());
            }
            Distribution::Sum { terms } => return terms.iter().try_for_each(|term| self.add(c, term)),
            Distribution::Rectangular { lower, upper } => Term::Rectangular { half: centred(*lower, *upper) },
            Distribution::Triangular { lower, upper } => {
                let half = centred(*lower, *upper);
                Term::Trapezoidal { wide: 0.5 * half, narrow: 0.5 * half }
            }
            Distribution::Trapezoidal { lower, upper, beta } => {
                let half = centred(*lower, *upper);
                let narrow = 0.5 * half * (1.0 - beta);
                let wide = 0.5 * half * (1.0 + beta);
                if narrow > 0.0 { Term::Trapezoidal { wide, narrow } } else { Term::Rectangular { half } }
            }
            Distribution::CurvilinearTrapezoidal { lower, upper, inexactness } => {
                let half = centred(*lower, *upper);
                let inexactness = c.abs() * inexactness;
                if inexactness > 0.0 { Term::Curvilinear { half, inexactness } } else { Term::Rectangular { half } }
            }
            Distribution::Arcsine { lower, upper } => Term::Arcsine { half: centred(*lower, *upper) },
            Distribution::Exponential { mean } => Term::Gamma { shape: 1.0, scale: c * mean },
            Distribution::Gamma { shape, scale } => Term::Gamma { shape: *shape, scale: c * scale },
            Distribution::ScaledShiftedT { degrees_of_freedom, location, scale } => {
                self.constant += c * location;
                Term::StudentT {
                    degrees_of_freedom: *degrees_of_freedom,
                    scale: c.abs() * scale,
                    table: StudentCharacteristic::of(*degrees_of_freedom),
                }
            }
            Distribution::LogNormal { mean, sd } => {
                let log_variance = libm::log1p((sd / mean) * (sd / mean));
                self.constant += c * mean;
                Term::LogNormal {
                    coefficient: c,
                    log_mean: libm::log(*mean) - 0.5 * log_variance,
                    log_sd: log_variance.sqrt(),
                    mean: c * mean,
                }
            }
            Distribution::TruncatedNormal { mean, sd, lower, upper } => {
                // Z of the parent runs from `from` to `to`; turned round where the coefficient is negative.
                let (a, b) = ((lower - mean) / sd, (upper - mean) / sd);
                let (from, to) = if c > 0.0 { (a, b) } else { (-b, -a) };
                let of_value = x.mean();
                self.constant += c * of_value;
                let scale = c.abs() * sd;
                Term::Truncated { scale, from, to, mean: c * (of_value - mean), variance: (c * x.sd()).powi(2) }
            }
            Distribution::Empirical { readings } => {
                let mean = x.mean();
                self.constant += c * mean;
                let mut values: Vec<f64> = readings.iter().map(|r| c * (r - mean)).collect();
                values.sort_by(f64::total_cmp);
                Term::Mass { values }
            }
        };
        self.terms.push(term);
        Ok(())
    }
}

/// How a quadrature variable y runs through a term's values: value and density over y, both smooth in y.
pub(super) struct Parameter {
    /// Range of y outside which less than 1e-16 lies.
    pub(super) range: (f64, f64),
    /// Length of y over which 16 points resolve value and density.
    pub(super) panel: f64,
}

impl Term {
    pub(super) fn mean(&self) -> f64 {
        match self {
            Self::Gamma { shape, scale } => shape * scale,
            _ => 0.0,
        }
    }

    pub(super) fn variance(&self) -> f64 {
        match self {
            Self::Rectangular { half } => half * half / 3.0,
            Self::Trapezoidal { wide, narrow } => (wide * wide + narrow * narrow) / 3.0,
            Self::Curvilinear { half, inexactness: d } => (half * half + d * d / 3.0) / 3.0,
            Self::Arcsine { half } => 0.5 * half * half,
            Self::Gamma { shape, scale } => shape * scale * scale,
            Self::StudentT { degrees_of_freedom: nu, scale, .. } => {
                if *nu > 2.0 {
                    scale * scale * nu / (nu - 2.0)
                } else {
                    f64::INFINITY
                }
            }
            Self::LogNormal { log_sd, mean, .. } => mean * mean * libm::expm1(log_sd * log_sd),
            Self::Truncated { variance, .. } => *variance,
            Self::Mass { values } => values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64,
        }
    }

    /// A bound of |φ(t)| that never rises in t > 0.
    pub(super) fn envelope(&self, t: f64) -> f64 {
        let bound = match self {
            Self::Rectangular { half } => 1.0 / (half * t),
            Self::Trapezoidal { wide, narrow } => (1.0 / (wide * t)).min(1.0) * (1.0 / (narrow * t)).min(1.0),
            // By parts: |∫ₐᵇ sin v / v dv| ≤ 2/a; and the mean of 1/(h·t) over h.
            Self::Curvilinear { half, inexactness: d } => {
                let inner = half - d;
                (1.0 / (inner * d * t * t)).min(libm::log((half + d) / inner) / (2.0 * d * t))
            }
            // |J₀(x)| ≤ √(2/(πx)).
            Self::Arcsine { half } => (2.0 / (PI * half * t)).sqrt(),
            Self::Gamma { shape, scale } => libm::exp(-0.5 * shape * libm::log1p((scale * t) * (scale * t))),
            Self::StudentT { scale, table, .. } => table.at(scale * t),
            // A density of one peak: its total variation, twice the peak, over t.
            Self::LogNormal { coefficient, log_mean, log_sd, .. } => {
                let peak =
                    libm::exp(-log_mean + 0.5 * log_sd * log_sd) / (log_sd * (2.0 * PI).sqrt() * coefficient.abs());
                2.0 * peak / t
            }
            Self::Truncated { scale, from, to, .. } => {
                let peak = normal::pdf(0.0_f64.clamp(*from, *to)) / (truncated_share(*from, *to) * scale);
                2.0 * peak / t
            }
            Self::Mass { .. } => 1.0,
        };
        if bound < 1.0 { bound } else { 1.0 }
    }

    /// Whether φ is a sum over points that depend on the largest t.
    pub(super) fn by_points(&self) -> bool {
        matches!(self, Self::LogNormal { .. } | Self::Truncated { .. } | Self::Mass { .. })
    }

    /// What one φ(t) costs, in units of the cheapest kind's. Student's t is an interpolation of ten points.
    pub(super) fn cost(&self) -> f64 {
        match self {
            Self::StudentT { .. } => 5.0,
            Self::Curvilinear { .. } => 10.0,
            _ => 1.0,
        }
    }

    /// φ(t), for the kinds that have a formula.
    pub(super) fn characteristic(&self, t: f64) -> (f64, f64) {
        let sinc = |v: f64| if v.abs() < 1e-4 { 1.0 - v * v / 6.0 } else { libm::sin(v) / v };
        match self {
            Self::Rectangular { half } => (sinc(half * t), 0.0),
            Self::Trapezoidal { wide, narrow } => (sinc(wide * t) * sinc(narrow * t), 0.0),
            Self::Curvilinear { half, inexactness: d } => {
                // The mean of sin(h·t)/(h·t) over h in half ± d.
                let value = if d * t < 0.5 {
                    0.5 * rule16().iter().map(|(x, w)| w * sinc((half + d * x) * t)).sum::<f64>()
                } else {
                    (sine_integral((half + d) * t) - sine_integral((half - d) * t)) / (2.0 * d * t)
                };
                (value, 0.0)
            }
            Self::Arcsine { half } => (libm::j0(half * t), 0.0),
            Self::Gamma { shape, scale } => {
                let v = scale * t;
                let size = libm::exp(-0.5 * shape * libm::log1p(v * v));
                let (sin, cos) = libm::sincos(shape * libm::atan(v));
                (size * cos, size * sin)
            }
            Self::StudentT { scale, table, .. } => (table.at(scale * t), 0.0),
            Self::LogNormal { .. } | Self::Truncated { .. } | Self::Mass { .. } => {
                let (mut re, mut im) = (0.0, 0.0);
                for (x, w) in self.points(t) {
                    let (sin, cos) = libm::sincos(x * t);
                    re += w * cos;
                    im += w * sin;
                }
                (re, im)
            }
        }
    }

    /// Values and weights whose sum Σ w·exp(i·t·x) is φ(t) to rounding for all |t| ≤ `largest`.
    pub(super) fn points(&self, largest: f64) -> Vec<(f64, f64)> {
        match self {
            Self::Mass { values } => {
                let weight = 1.0 / values.len() as f64;
                values.iter().map(|&v| (v, weight)).collect()
            }
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                // The trapezoidal rule under a Gaussian weight errs by exp(−(2π/step − ω)²/2), where ω is the largest rate of the phase.
                let rate = largest * coefficient.abs() * log_sd * libm::exp(log_mean + log_sd * REACH);
                let count = (2.0 * REACH * (rate + 9.0) / (2.0 * PI)).ceil();
                let step = 2.0 * REACH / count;
                (0..=count as usize)
                    .map(|k| {
                        let z = k as f64 * step - REACH;
                        (coefficient * libm::exp(log_mean + log_sd * z) - mean, step * normal::pdf(z))
                    })
                    .collect()
            }
            Self::Truncated { scale, from, to, mean, .. } => {
                let (a, b) = (from.max(-REACH), to.min(REACH));
                // The far tail has no use for the standard normal's scale: there the density falls within 1/|z|.
                let (a, b) = if *to < -REACH || *from > REACH { (*from, *to) } else { (a, b) };
                let share = truncated_share(*from, *to);
                let panels = ((b - a) * (largest * scale / 5.0).max(1.0)).ceil().max(1.0);
                let width = (b - a) / panels;
                let mut points = Vec::with_capacity(16 * panels as usize);
                for k in 0..panels as usize {
                    let middle = a + (k as f64 + 0.5) * width;
                    for (x, w) in rule16() {
                        let z = middle + 0.5 * width * x;
                        points.push((scale * z - mean, 0.5 * width * w * normal::pdf(z) / share));
                    }
                }
                points
            }
            _ => Vec::new(),
        }
    }

    /// Number of those points.
    pub(super) fn point_count(&self, largest: f64) -> f64 {
        match self {
            Self::Mass { values } => values.len() as f64,
            Self::LogNormal { coefficient, log_mean, log_sd, .. } => {
                let rate = largest * coefficient.abs() * log_sd * libm::exp(log_mean + log_sd * REACH);
                2.0 * REACH * (rate + 9.0) / (2.0 * PI)
            }
            Self::Truncated { scale, from, to, .. } => {
                16.0 * ((to.min(REACH) - from.max(-REACH)).abs() * (largest * scale / 5.0).max(1.0)).ceil()
            }
            _ => 1.0,
        }
    }

    /// Half width, where the values are bounded and symmetric about 0.
    pub(super) fn half_width(&self) -> Option<f64> {
        match self {
            Self::Rectangular { half } | Self::Arcsine { half } => Some(*half),
            Self::Trapezoidal { wide, narrow } => Some(wide + narrow),
            Self::Curvilinear { half, inexactness } => Some(half + inexactness),
            _ => None,
        }
    }

    /// Ends beyond each of which at most `share` lies.
    pub(super) fn range(&self, share: f64) -> (f64, f64) {
        if let Some(half) = self.half_width() {
            return (-half, half);
        }
        match self {
            Self::Gamma { shape, scale } => {
                let mut high = shape.max(1.0);
                while gamma_tails(*shape, high).upper > share {
                    high *= 1.25;
                }
                if *scale > 0.0 { (0.0, scale * high) } else { (scale * high, 0.0) }
            }
            Self::StudentT { degrees_of_freedom, scale, .. } => {
                let q = scale * student_t_quantile(*degrees_of_freedom, share).abs() * (1.0 + 1e-9);
                (-q, q)
            }
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                let z = -normal::quantile(share);
                let (a, b) = (
                    coefficient * libm::exp(log_mean - log_sd * z) - mean,
                    coefficient * libm::exp(log_mean + log_sd * z) - mean,
                );
                (a.min(b), a.max(b))
            }
            Self::Truncated { scale, from, to, mean, .. } => {
                let z = if *to < -REACH || *from > REACH { f64::INFINITY } else { REACH };
                (scale * from.max(-z) - mean, scale * to.min(z) - mean)
            }
            Self::Mass { values } => (values.first().copied().unwrap_or(0.0), values.last().copied().unwrap_or(0.0)),
            _ => (0.0, 0.0),
        }
    }

    /// Both tails at x.
    pub(super) fn tails(&self, x: f64) -> Tails {
        let symmetric = |upper_at: &dyn Fn(f64) -> f64| {
            let upper = upper_at(x.abs());
            if x >= 0.0 { Tails { lower: 1.0 - upper, upper } } else { Tails { lower: upper, upper: 1.0 - upper } }
        };
        match self {
            Self::Rectangular { half } => symmetric(&|x| (0.5 * (half - x) / half).max(0.0)),
            Self::Trapezoidal { wide, narrow } => symmetric(&|x| {
                let (outer, inner) = (wide + narrow, wide - narrow);
                if x >= outer {
                    0.0
                } else if x >= inner {
                    (outer - x) * (outer - x) / (8.0 * wide * narrow)
                } else {
                    0.5 - 0.5 * x / wide
                }
            }),
            Self::Curvilinear { half, inexactness: d } => symmetric(&|x| {
                // 1/2 − E min(1, x/h)/2 over h.
                let (inner, outer) = (half - d, half + d);
                if x >= outer {
                    0.0
                } else if x <= inner {
                    if x == 0.0 { 0.5 } else { 0.5 - x * libm::log(outer / inner) / (4.0 * d) }
                } else {
                    (outer - x - x * libm::log(outer / x)) / (4.0 * d)
                }
            }),
            Self::Arcsine { half } => symmetric(&|x| libm::acos((x / half).min(1.0)) / PI),
            Self::Gamma { shape, scale } => {
                let v = x / scale;
                let tails = if v <= 0.0 { Tails::BELOW } else { gamma_tails(*shape, v) };
                if *scale > 0.0 { tails } else { Tails { lower: tails.upper, upper: tails.lower } }
            }
            Self::StudentT { degrees_of_freedom, scale, .. } => student_t_tails(*degrees_of_freedom, x / scale),
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                let value = (x + mean) / coefficient;
                let z = if value > 0.0 { (libm::log(value) - log_mean) / log_sd } else { f64::NEG_INFINITY };
                let tails = Tails { lower: normal::cdf(z), upper: normal::sf(z) };
                if *coefficient > 0.0 { tails } else { Tails { lower: tails.upper, upper: tails.lower } }
            }
            Self::Truncated { scale, from, to, mean, .. } => {
                let z = ((x + mean) / scale).clamp(*from, *to);
                let share = truncated_share(*from, *to);
                Tails { lower: truncated_share(*from, z) / share, upper: truncated_share(z, *to) / share }
            }
            Self::Mass { values } => {
                let below = values.partition_point(|v| *v <= x);
                let n = values.len();
                Tails { lower: below as f64 / n as f64, upper: (n - below) as f64 / n as f64 }
            }
        }
    }

    /// Where the distribution function is not smooth, or changes within a short stretch.
    pub(super) fn kinks(&self) -> Vec<f64> {
        match self {
            Self::Rectangular { half } | Self::Arcsine { half } => vec![-half, *half],
            Self::Trapezoidal { wide, narrow } => vec![-wide - narrow, narrow - wide, wide - narrow, wide + narrow],
            Self::Curvilinear { half, inexactness: d } => vec![-half - d, d - half, 0.0, half - d, half + d],
            Self::Gamma { shape, scale } => {
                let sd = shape.sqrt() * scale;
                let mut kinks = vec![0.0];
                kinks.extend((1..=40).map(|k| shape * scale + f64::from(k - 10) * sd).filter(|k| k / scale > 0.0));
                kinks.extend((1..30).map(|k| shape.min(1.0) * scale * 0.4_f64.powi(k)));
                kinks
            }
            Self::StudentT { scale, .. } => scaled_grid(*scale),
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                (-16..=16).map(|k| coefficient * libm::exp(log_mean + log_sd * 0.5 * f64::from(k)) - mean).collect()
            }
            Self::Truncated { scale, from, to, mean, .. } => {
                let mut kinks: Vec<f64> = (-16..=16)
                    .map(|k| 0.5 * f64::from(k))
                    .filter(|z| z > from && z < to)
                    .map(|z| scale * z - mean)
                    .collect();
                kinks.extend([scale * from - mean, scale * to - mean].into_iter().filter(|k| k.is_finite()));
                kinks
            }
            Self::Mass { values } => values.clone(),
        }
    }

    /// The quadrature variable; None for a distribution of single values.
    pub(super) fn parameter(&self) -> Option<Parameter> {
        Some(match self {
            Self::Rectangular { .. } => Parameter { range: (-1.0, 1.0), panel: 2.0 },
            Self::Trapezoidal { wide, narrow } => {
                Parameter { range: (-wide - narrow, wide + narrow), panel: 2.0 * (wide + narrow) }
            }
            Self::Curvilinear { half, inexactness } => {
                Parameter { range: (-half - inexactness, half + inexactness), panel: half.min(8.0 * inexactness) }
            }
            Self::Arcsine { .. } => Parameter { range: (-FRAC_PI_2, FRAC_PI_2), panel: 0.5 },
            Self::Gamma { shape, .. } => {
                let high = libm::log(self.range(1e-17).0.abs().max(self.range(1e-17).1.abs()) / self.unit());
                // Of a share 1e-16 or less below v = eʸ: v^shape/Γ(shape + 1).
                let low = (ln_gamma(shape + 1.0) - 37.0) / shape;
                Parameter { range: (low, high), panel: 0.4 / shape.sqrt().max(1.0) }
            }
            Self::StudentT { degrees_of_freedom, .. } => {
                let end = libm::asinh(student_t_quantile(*degrees_of_freedom, 1e-16).abs());
                Parameter { range: (-end, end), panel: 0.4 }
            }
            Self::LogNormal { .. } => Parameter { range: (-REACH, REACH), panel: 1.0 },
            Self::Truncated { from, to, .. } => Parameter { range: (from.max(-REACH), to.min(REACH)), panel: 1.0 },
            Self::Mass { .. } => return None,
        })
    }

    fn unit(&self) -> f64 {
        match self {
            Self::Gamma { scale, .. } => scale.abs(),
            _ => 1.0,
        }
    }

    /// Value and density over y at a value of the quadrature variable.
    pub(super) fn at(&self, y: f64) -> (f64, f64) {
        match self {
            Self::Rectangular { half } => (half * y, 0.5),
            Self::Trapezoidal { wide, narrow } => {
                let beyond = (y.abs() - (wide - narrow)).max(0.0);
                (y, (0.5 / wide) * (1.0 - beyond / (2.0 * narrow)).max(0.0))
            }
            Self::Curvilinear { half, inexactness: d } => {
                let h = y.abs().max(half - d);
                (y, libm::log((half + d) / h).max(0.0) / (4.0 * d))
            }
            Self::Arcsine { half } => (half * libm::sin(y), 1.0 / PI),
            Self::Gamma { shape, scale } => {
                let v = libm::exp(y);
                (scale * v, libm::exp(shape * y - v - ln_gamma(*shape)))
            }
            Self::StudentT { degrees_of_freedom: nu, scale, .. } => {
                let t = libm::sinh(y);
                let log = ln_gamma(0.5 * (nu + 1.0))
                    - ln_gamma(0.5 * nu)
                    - 0.5 * libm::log(nu * PI)
                    - 0.5 * (nu + 1.0) * libm::log1p(t * t / nu);
                (scale * t, libm::exp(log) * libm::cosh(y))
            }
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                (coefficient * libm::exp(log_mean + log_sd * y) - mean, normal::pdf(y))
            }
            Self::Truncated { scale, from, to, mean, .. } => {
                (scale * y - mean, normal::pdf(y) / truncated_share(*from, *to))
            }
            Self::Mass { .. } => (0.0, 0.0),
        }
    }

    /// The quadrature variable at a value; None outside its range.
    pub(super) fn parameter_of(&self, value: f64) -> Option<f64> {
        let y = match self {
            Self::Rectangular { half } => value / half,
            Self::Trapezoidal { .. } | Self::Curvilinear { .. } => value,
            Self::Arcsine { half } => libm::asin(value / half),
            Self::Gamma { scale, .. } => libm::log(value / scale),
            Self::StudentT { scale, .. } => libm::asinh(value / scale),
            Self::LogNormal { coefficient, log_mean, log_sd, mean } => {
                (libm::log((value + mean) / coefficient) - log_mean) / log_sd
            }
            Self::Truncated { scale, mean, .. } => (value + mean) / scale,
            Self::Mass { .. } => return None,
        };
        y.is_finite().then_some(y)
    }
}

/// Standard deviations beyond which a normal has less than 1e-16 on one side.
const REACH: f64 = 8.3;

/// P(from < Z < to), from whichever tail is the smaller.
fn truncated_share(from: f64, to: f64) -> f64 {
    if from > 0.0 { normal::sf(from) - normal::sf(to) } else { normal::cdf(to) - normal::cdf(from) }
}

/// Points around 0 between which a bell of the given scale is smooth enough for 16 nodes.
fn scaled_grid(scale: f64) -> Vec<f64> {
    [0.0, 1.0, 2.0, 3.5, 5.0, 6.5, 8.5, 20.0, 60.0, 300.0].iter().flat_map(|k| [-k * scale, k * scale]).collect()
}
