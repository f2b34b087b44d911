//! Samples, a block at a time. Normal deviates come from the ziggurat of `packdrift-numerics`; what has a cheap quantile function is sampled
//! by it; t and gamma by the algorithms of `rand_distr`, whose version is pinned because it enters results.

use super::Distribution;
use super::moments::{log_parameters, truncated_quantile};
use packdrift_numerics::stream::{Generator, Stream};
use rand_distr::Distribution as _;

impl Distribution {
    /// Fills the slice with independent values from the stream; with NaN where the parameters have no meaning (see
    /// [`Distribution::validate`]).
    pub fn sample<G: Generator>(&self, stream: &mut Stream<G>, out: &mut [f64]) {
        if self.is_exact() {
            out.fill(self.mean());
            return;
        }
        match self {
            Self::Exact { value } => out.fill(*value),
            Self::Normal { mean, sd } => {
                stream.fill_scaled_normal(*mean, *sd, out);
            }
            Self::LogNormal { mean, sd } => {
                let (location, scale) = log_parameters(*mean, *sd);
                stream.fill_normal(out);
                for x in out {
                    *x = (location + scale * *x).exp();
                }
            }
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                let (a, b) = ((lower - mean) / sd, (upper - mean) / sd);
                stream.fill_uniform(out);
                for x in out {
                    *x = (mean + sd * truncated_quantile(a, b, *x, 1.0 - *x)).clamp(*lower, *upper);
                }
            }
            Self::Rectangular { lower, upper } => {
                let width = upper - lower;
                stream.fill_uniform(out);
                for x in out {
                    *x = lower + width * *x;
                }
            }
            Self::CurvilinearTrapezoidal { lower, upper, inexactness } => {
                // JCGM 101:2008 6.4.3.4: the limits first, then the value between them.
                let mut second = vec![0.0; out.len()];
                stream.fill_uniform(out);
                stream.fill_uniform(&mut second);
                for (x, r) in out.iter_mut().zip(second) {
                    let from = (lower - inexactness) + 2.0 * inexactness * *x;
                    let to = (lower + upper) - from;
                    *x = from + (to - from) * r;
                }
            }
            Self::Triangular { .. } | Self::Trapezoidal { .. } => {
                let ((low, high), shape) = (self.support(), self.trapezoid());
                stream.fill_uniform(out);
                for x in out {
                    *x = if *x < 0.5 { low + shape.gap(*x) } else { high - shape.gap(1.0 - *x) };
                }
            }
            Self::Arcsine { .. } | Self::Exponential { .. } => {
                stream.fill_uniform(out);
                for x in out {
                    *x = self.quantile_of(*x, 1.0 - *x);
                }
            }
            Self::ScaledShiftedT { degrees_of_freedom, location, scale } => {
                if let Ok(t) = rand_distr::StudentT::new(*degrees_of_freedom) {
                    for x in out {
                        *x = location + scale * t.sample(stream);
                    }
                } else {
                    out.fill(f64::NAN);
                }
            }
            Self::Gamma { shape, scale } => {
                // rand_distr: (shape, scale).
                if let Ok(gamma) = rand_distr::Gamma::new(*shape, *scale) {
                    for x in out {
                        *x = gamma.sample(stream);
                    }
                } else {
                    out.fill(f64::NAN);
                }
            }
            Self::Empirical { readings } => {
                let n = readings.len();
                stream.fill_uniform(out);
                for x in out {
                    *x = readings[((*x * n as f64) as usize).min(n - 1)];
                }
            }
            Self::Sum { terms } => {
                let mut part = vec![0.0; out.len()];
                out.fill(0.0);
                for term in terms {
                    term.sample(stream, &mut part);
                    for (x, p) in out.iter_mut().zip(&part) {
                        *x += p;
                    }
                }
            }
        }
    }
}
