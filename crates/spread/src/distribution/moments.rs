//! Mean, standard deviation, and the standard uncertainty of the GUM.

use super::Distribution;
use packdrift_numerics::normal;

impl Distribution {
    /// The mean. Of a t with ν ≤ 1, which has none, the location.
    pub fn mean(&self) -> f64 {
        match self {
            Self::Exact { value } => *value,
            Self::Normal { mean, .. } | Self::LogNormal { mean, .. } | Self::Exponential { mean } => *mean,
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                if self.is_exact() {
                    return mean.clamp(*lower, *upper);
                }
                mean + sd * truncated_moments((lower - mean) / sd, (upper - mean) / sd).0
            }
            Self::Rectangular { lower, upper }
            | Self::Triangular { lower, upper }
            | Self::Trapezoidal { lower, upper, .. }
            | Self::CurvilinearTrapezoidal { lower, upper, .. }
            | Self::Arcsine { lower, upper } => 0.5 * (lower + upper),
            Self::ScaledShiftedT { location, .. } => *location,
            Self::Gamma { shape, scale } => shape * scale,
            Self::Empirical { readings } => {
                let first = readings.first().copied().unwrap_or(f64::NAN);
                first + readings.iter().map(|r| r - first).sum::<f64>() / readings.len() as f64
            }
            Self::Sum { terms } => terms.iter().map(Self::mean).sum(),
        }
    }

    /// The standard deviation; infinite for a t with ν ≤ 2.
    ///
    /// ```
    /// use packdrift_spread::Distribution;
    /// let r = Distribution::Rectangular { lower: -1.0, upper: 1.0 };
    /// assert!((r.sd() - 1.0 / 3f64.sqrt()).abs() < 1e-15);
    /// ```
    pub fn sd(&self) -> f64 {
        match self {
            Self::Exact { .. } => 0.0,
            Self::Normal { sd, .. } | Self::LogNormal { sd, .. } => *sd,
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                if self.is_exact() {
                    return 0.0;
                }
                sd * truncated_moments((lower - mean) / sd, (upper - mean) / sd).1.sqrt()
            }
            Self::Rectangular { lower, upper } => (upper - lower) / 12_f64.sqrt(),
            Self::Triangular { lower, upper } => (upper - lower) / 24_f64.sqrt(),
            // JCGM 101:2008 6.4.4: (b − a)²(1 + β²)/24.
            Self::Trapezoidal { lower, upper, beta } => (upper - lower) * ((1.0 + beta * beta) / 24.0).sqrt(),
            // JCGM 101:2008 6.4.3.3: (b − a)²/12 + d²/9.
            Self::CurvilinearTrapezoidal { lower, upper, inexactness } => {
                ((upper - lower).powi(2) / 12.0 + inexactness.powi(2) / 9.0).sqrt()
            }
            // JCGM 101:2008 6.4.6: (b − a)²/8.
            Self::Arcsine { lower, upper } => (upper - lower) / 8_f64.sqrt(),
            Self::ScaledShiftedT { degrees_of_freedom, scale, .. } => {
                if *scale == 0.0 {
                    0.0
                } else if *degrees_of_freedom > 2.0 {
                    scale * (degrees_of_freedom / (degrees_of_freedom - 2.0)).sqrt()
                } else {
                    f64::INFINITY
                }
            }
            Self::Exponential { mean } => *mean,
            Self::Gamma { shape, scale } => shape.sqrt() * scale,
            Self::Empirical { readings } => {
                let mean = self.mean();
                (readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / readings.len() as f64).sqrt()
            }
            Self::Sum { terms } => terms.iter().map(|t| t.sd().powi(2)).sum::<f64>().sqrt(),
        }
    }

    /// The standard uncertainty that the GUM's law of propagation uses: the standard deviation, but of repeated readings s/√n (GUM
    /// 4.2.3), which is the scale of their t, not its standard deviation.
    pub fn standard_uncertainty(&self) -> f64 {
        match self {
            Self::ScaledShiftedT { scale, .. } => *scale,
            Self::Sum { terms } => terms.iter().map(|t| t.standard_uncertainty().powi(2)).sum::<f64>().sqrt(),
            other => other.sd(),
        }
    }

    /// The smallest and the largest value it can take; infinite where there is no end.
    pub fn support(&self) -> (f64, f64) {
        match self {
            Self::Exact { value } => (*value, *value),
            Self::Normal { mean, sd } if *sd == 0.0 => (*mean, *mean),
            Self::ScaledShiftedT { location, scale, .. } if *scale == 0.0 => (*location, *location),
            Self::LogNormal { mean, sd } if *sd == 0.0 => (*mean, *mean),
            Self::Normal { .. } | Self::ScaledShiftedT { .. } => (f64::NEG_INFINITY, f64::INFINITY),
            Self::LogNormal { .. } | Self::Exponential { .. } | Self::Gamma { .. } => (0.0, f64::INFINITY),
            Self::TruncatedNormal { lower, upper, .. }
            | Self::Rectangular { lower, upper }
            | Self::Triangular { lower, upper }
            | Self::Trapezoidal { lower, upper, .. }
            | Self::Arcsine { lower, upper } => (*lower, *upper),
            Self::CurvilinearTrapezoidal { lower, upper, inexactness } => (lower - inexactness, upper + inexactness),
            Self::Empirical { readings } => {
                readings.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &r| (low.min(r), high.max(r)))
            }
            Self::Sum { terms } => {
                terms.iter().map(Self::support).fold((0.0, 0.0), |(low, high), (a, b)| (low + a, high + b))
            }
        }
    }
}

/// Mean and variance of the standard normal cut off at `a` and `b`, by Gauss–Legendre quadrature of the two moments about the point of
/// the interval nearest to 0. The closed forms subtract nearly equal numbers where the interval is narrow or far out.
fn truncated_moments(a: f64, b: f64) -> (f64, f64) {
    // Weight beyond 39 sd of the densest point is below every double.
    let centre = 0.0_f64.clamp(a, b);
    let (a, b) = (a.max(centre - 39.0), b.min(centre + 39.0));
    // Far out the density falls like exp(−centre·x): panels must follow that scale.
    let width = (1.0 / (1.0 + centre.abs())).min(b - a);
    let panels = ((b - a) / width).ceil().clamp(1.0, 4000.0);
    let step = (b - a) / panels;
    let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
    for panel in 0..panels as usize {
        let middle = a + (panel as f64 + 0.5) * step;
        for (node, w) in GAUSS_LEGENDRE_10 {
            for x in [middle - 0.5 * step * node, middle + 0.5 * step * node] {
                let t = x - centre;
                // φ(x)/φ(centre), which does not underflow where it matters.
                let density = w * libm::exp(-t * (0.5 * t + centre));
                weight += density;
                first += density * t;
                second += density * t * t;
            }
        }
    }
    let mean = first / weight;
    (centre + mean, second / weight - mean * mean)
}

/// Nodes and weights on [−1, 1], positive half.
pub(super) const GAUSS_LEGENDRE_10: [(f64, f64); 5] = [
    (0.148_874_338_981_631_22, 0.295_524_224_714_752_87),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_35),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
];

/// ln-scale parameters (µ, σ) of a lognormal with the given mean and standard deviation on the natural scale.
pub(super) fn log_parameters(mean: f64, sd: f64) -> (f64, f64) {
    let variance = (sd / mean).powi(2).ln_1p();
    (mean.ln() - 0.5 * variance, variance.sqrt())
}

/// The quantile of the normal cut off at a and b (standard units), from the share below (p) and above (q): taken in the tail where
/// the interval lies, so that it is accurate far out on either side.
pub(super) fn truncated_quantile(a: f64, b: f64, p: f64, q: f64) -> f64 {
    let z = if a > 0.0 {
        let (low, high) = (normal::sf(b), normal::sf(a));
        normal::upper_quantile(high * q + low * p)
    } else if b < 0.0 || normal::cdf(a) * q + normal::cdf(b) * p < 0.5 {
        normal::quantile(normal::cdf(a) * q + normal::cdf(b) * p)
    } else {
        normal::upper_quantile(normal::sf(a) * q + normal::sf(b) * p)
    };
    z.clamp(a, b)
}
