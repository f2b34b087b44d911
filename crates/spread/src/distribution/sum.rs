//! The distribution of a sum of independent terms: a measured part is repeatability (t) + instrument (normal) + resolution
//! (rectangular). Sampling and the standard-normal space treat the terms one by one and need none of this; it serves the quantiles of a
//! measured dimension that is tied to another by a correlation, and whoever asks for a density.
//!
//! The sum is inverted from its characteristic function ([`Exact`]), to 1e-11 in probability. Where that is declined (very many steps, as for
//! readings without any smooth term) every term is replaced by equally likely values, its quantiles at the middles of equal shares, and
//! the sum has the values of all their combinations: within 1/500 of the scatter.

use super::Distribution;
use super::tails::empirical_quantile;
use crate::exact::Exact;
use packdrift_numerics::special::Tails;

/// A sum made ready for evaluation.
#[derive(Debug, Clone)]
pub(crate) enum Sum {
    /// By inversion.
    Inverted {
        exact: Box<Exact>,
        /// √Σ of the terms' squared standard uncertainties, the scale of differences.
        scale: f64,
    },
    /// Equally likely values, rising.
    Values(Vec<f64>),
}

/// Combinations kept where there is no inversion.
const COMBINATIONS: usize = 1 << 18;

impl Sum {
    pub(crate) fn new(terms: &[Distribution]) -> Self {
        let scale = terms.iter().map(|term| term.standard_uncertainty().powi(2)).sum::<f64>().sqrt();
        let weighted: Vec<(f64, &Distribution)> = terms.iter().map(|term| (1.0, term)).collect();
        if let Ok(exact) = Exact::new(0.0, &weighted, 0.0)
            && scale > 0.0
        {
            return Self::Inverted { exact: Box::new(exact), scale };
        }
        let uncertain = terms.iter().filter(|term| !term.is_exact()).count().max(1) as u32;
        let mut each = 2_usize;
        while (each + 1).pow(uncertain) <= COMBINATIONS {
            each += 1;
        }
        let mut values = vec![0.0];
        for term in terms {
            let parts: Vec<f64> = match term {
                term if term.is_exact() => vec![term.mean()],
                Distribution::Empirical { readings } if readings.len() <= each => readings.to_vec(),
                term => (0..each).map(|k| term.quantile((k as f64 + 0.5) / each as f64)).collect(),
            };
            values = values.iter().flat_map(|value| parts.iter().map(move |part| value + part)).collect();
        }
        values.sort_by(f64::total_cmp);
        Self::Values(values)
    }

    pub(crate) fn tails(&self, x: f64) -> Tails {
        match self {
            Self::Inverted { exact, .. } => Tails { lower: exact.cdf(x), upper: exact.sf(x) },
            Self::Values(values) => {
                let below = values.partition_point(|&value| value <= x) as f64;
                let n = values.len() as f64;
                Tails { lower: below / n, upper: (n - below) / n }
            }
        }
    }

    /// A central difference of the distribution function: good to about 1e-6.
    pub(crate) fn pdf(&self, x: f64) -> f64 {
        match self {
            Self::Inverted { exact, scale } => {
                let step = 1e-3 * scale;
                (exact.cdf(x + step) - exact.cdf(x - step)) / (2.0 * step)
            }
            Self::Values(_) => f64::NAN,
        }
    }

    pub(crate) fn quantile(&self, p: f64) -> f64 {
        match self {
            Self::Inverted { exact, .. } => exact.quantile(p),
            Self::Values(values) => empirical_quantile(values, p),
        }
    }
}
