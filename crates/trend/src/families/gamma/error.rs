//! The density of a reading's error: normal, or Student's t where one bad reading must not condemn a valve.
//!
//! ```text
//! f(z) = Γ((ν + 1)/2)/(Γ(ν/2)·√(νπ)·σ)·(1 + z²/ν)^(−(ν + 1)/2),   z = (y − x)/σ
//! ```

use packdrift_numerics::normal;
use packdrift_numerics::special::{digamma, ln_gamma};

/// The error of one reading, with what does not depend on it made ready.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ReadingError {
    sigma: f64,
    /// ν, the logarithm of the density's constant, and ν·(ψ((ν + 1)/2) − ψ(ν/2)) − 1.
    tails: Option<(f64, f64, f64)>,
}

impl ReadingError {
    pub(crate) fn new(sigma: f64, df: Option<f64>) -> Self {
        let tails = df.map(|nu| {
            let constant = ln_gamma(0.5 * (nu + 1.0)) - ln_gamma(0.5 * nu) - 0.5 * (nu * std::f64::consts::PI).ln();
            (nu, constant, nu * (digamma(0.5 * (nu + 1.0)) - digamma(0.5 * nu)) - 1.0)
        });
        Self { sigma, tails }
    }

    pub(crate) fn density(&self, z: f64) -> f64 {
        match self.tails {
            None => normal::pdf(z) / self.sigma,
            Some((nu, constant, _)) => (constant - 0.5 * (nu + 1.0) * (z * z / nu).ln_1p()).exp() / self.sigma,
        }
    }

    /// Densities at `count` points from z = `first` down by `by` each. A normal's neighbours stand in ratios that fall by the same factor, so three
    /// exponentials serve all; from its middle outwards, where nothing is lost below the smallest number.
    pub(crate) fn densities(&self, first: f64, by: f64, count: usize, out: &mut Vec<f64>) {
        out.clear();
        if self.tails.is_some() || count == 0 {
            out.extend((0..count).map(|k| self.density(first - by * k as f64)));
            return;
        }
        let middle = (first / by).round().clamp(0.0, (count - 1) as f64) as usize;
        let z = first - by * middle as f64;
        out.resize(count, self.density(z));
        let falls = (-by * by).exp();
        let mut outwards = |places: &mut dyn Iterator<Item = usize>, side: f64| {
            let mut ratio = (side * z * by - 0.5 * by * by).exp();
            let mut density = out[middle];
            for k in places {
                density *= ratio;
                ratio *= falls;
                out[k] = density;
            }
        };
        outwards(&mut (middle + 1..count), 1.0);
        outwards(&mut (0..middle).rev(), -1.0);
    }

    /// Derivatives of ln f to ln σ and to ln ν.
    pub(crate) fn slopes(&self, z: f64) -> (f64, f64) {
        match self.tails {
            None => (z * z - 1.0, 0.0),
            Some((nu, _, rest)) => {
                let pull = (nu + 1.0) * z * z / (nu + z * z);
                (pull - 1.0, 0.5 * (rest - nu * (z * z / nu).ln_1p() + pull))
            }
        }
    }

    /// Weight of a reading: the mean of the t's precision given the error, (ν + 1)/(ν + z²); 1 for normal errors.
    pub(crate) fn weight(&self, z: f64) -> f64 {
        self.tails.map_or(1.0, |(nu, ..)| (nu + 1.0) / (nu + z * z))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn densities_of_many_points_are_those_of_each() {
        for df in [None, Some(4.0)] {
            let e = ReadingError::new(0.3, df);
            for (first, by, count) in [(7.1, 1.0 / 3.0, 43), (30.0, 0.2, 200), (-2.0, 0.4, 30), (0.0, 0.3, 1)] {
                let mut found = Vec::new();
                e.densities(first, by, count, &mut found);
                assert_eq!(found.len(), count);
                for (k, found) in found.iter().enumerate() {
                    let exact = e.density(first - by * k as f64);
                    assert!((found - exact).abs() <= 1e-11 * exact + 1e-300, "{first} {k}: {found} {exact}");
                }
            }
        }
    }

    #[test]
    fn slopes_agree_with_central_differences_and_the_density_is_one_in_all() {
        let h = 1e-5;
        for df in [None, Some(2.5), Some(8.0)] {
            let sigma = 0.3;
            let e = ReadingError::new(sigma, df);
            let sum: f64 = (-400_000..=400_000).map(|k| e.density(f64::from(k) * 1e-2) * sigma * 1e-2).sum();
            // The t with 2.5 degrees of freedom has 1e-8 of its mass beyond 4000.
            assert!((sum - 1.0).abs() < 1e-6, "{df:?}: {sum}");
            for z in [0.0, 0.7, -3.0, 20.0] {
                let ln = |s: f64, nu: Option<f64>| {
                    let e = ReadingError::new(s, nu);
                    e.density(z * sigma / s).max(1e-300).ln()
                };
                let (to_sigma, to_df) = e.slopes(z);
                let by_sigma = (ln(sigma * (1.0 + h), df) - ln(sigma * (1.0 - h), df)) / (2.0 * h);
                assert!(
                    (to_sigma - by_sigma).abs() < 1e-6 * (1.0 + to_sigma.abs()),
                    "{df:?} {z}: {to_sigma} {by_sigma}"
                );
                if let Some(nu) = df {
                    let by_df = (ln(sigma, Some(nu * (1.0 + h))) - ln(sigma, Some(nu * (1.0 - h)))) / (2.0 * h);
                    assert!((to_df - by_df).abs() < 1e-6 * (1.0 + to_df.abs()), "{df:?} {z}: {to_df} {by_df}");
                }
            }
        }
    }
}
