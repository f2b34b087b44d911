//! What a gamma process makes of a jump that was found under a model with normal increments.
//!
//! Increments of a gamma process are skewed: now and then one is several times the mean, where a Wiener process of the same variance would
//! take it for a part that slipped. So where the gamma process is the model chosen, a jump stands only if the process does not explain it:
//! the chance that the first reading after it is as far on, or farther, given all that was read before it.
//! The limit allows for the number of increments looked at (Bonferroni), as that of the search does.

use super::lattice::Params;
use super::{GammaFit, WearPoint};
use crate::robust::detect::FALSE_ALARM;
use crate::robust::student::slices;
use crate::segments::Segments;
use packdrift_numerics::normal;
use packdrift_numerics::special::gamma_tails;

/// Half-width of the integral over a reading's error, in its standard deviations, and its steps.
const REACH: f64 = 6.0;
const STEPS: i32 = 48;

impl GammaFit {
    /// Whether the process explains the reading of the table's row `row` given those of its segment before it: by no less than the chance
    /// of one false finding over `increments` increments. A fall is explained by reading errors alone.
    pub(crate) fn explains(&self, segments: &Segments, row: usize, increments: usize) -> bool {
        let Some(i) = segments.row.iter().position(|r| *r as usize == row) else { return false };
        let s = segments.offset.partition_point(|start| *start <= i).saturating_sub(1);
        let first = segments.range(s).start;
        let Some(before) = i.checked_sub(first + 1) else { return false };
        let only = segments.subset(&[s]);
        let histories = self.histories(&only);
        let Some(state) = histories.first().and_then(|h| h.get(before)) else { return false };
        let point = WearPoint::of(state, &self.params, self.sign);
        let hours = segments.hours[i] - segments.hours[i - 1];
        let farther = point.chance_of_reading(&self.params, hours, segments.value[i]);
        farther.min(1.0 - farther) >= FALSE_ALARM / increments.max(1) as f64
    }
}

impl WearPoint {
    /// Chance that a reading some hours ahead is at `value` or farther in the direction of the wear: ∫ φ(e)·P(X > y − σe) de by the
    /// trapezoidal rule, whose error for a smooth integrand that has died away at both ends is below all else here.
    fn chance_of_reading(&self, p: &Params, hours: f64, value: f64) -> f64 {
        let y = self.sign * value;
        let step = 2.0 * REACH / f64::from(STEPS);
        let of = |sigma: f64| -> f64 {
            (0..=STEPS)
                .map(|k| {
                    let e = -REACH + step * f64::from(k);
                    step * normal::pdf(e) * self.chance_beyond(y - sigma * e, hours)
                })
                .sum()
        };
        let chance = match p.df {
            None => of(p.sigma),
            Some(nu) => slices(nu).into_iter().map(|(q, u)| q * of(p.sigma / u.sqrt())).sum(),
        };
        chance.min(1.0)
    }

    /// Chance that the depth some hours ahead exceeds `depth`, both in the direction of the wear.
    fn chance_beyond(&self, depth: f64, hours: f64) -> f64 {
        self.atoms
            .iter()
            .map(|&(w, x, a)| {
                if x > depth {
                    w
                } else if hours > 0.0 {
                    w * gamma_tails(a * hours, (depth - x) / self.scale).upper
                } else {
                    0.0
                }
            })
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chance_of_a_reading_is_that_of_the_exponential_and_normal_sum() {
        // One depth, 0, and increments Gamma(1, b), an exponential: P(X + σe > y) = Q(y/σ) + exp(σ²/2b² − y/b)·Φ(y/σ − σ/b), by completing
        // the square.
        let (b, sigma, y) = (0.01_f64, 0.004_f64, 0.03_f64);
        let p = Params { shape: vec![0.001], scale: b, sigma, df: None, cv: 0.0, start: 0.0, start_sd: 0.0 };
        for sign in [1.0, -1.0] {
            let w = WearPoint { atoms: vec![(1.0, 0.0, 0.001)], scale: b, sigma, sign };
            let exact =
                normal::sf(y / sigma) + (0.5 * (sigma / b).powi(2) - y / b).exp() * normal::cdf(y / sigma - sigma / b);
            let found = w.chance_of_reading(&p, 1000.0, sign * y);
            assert!((found / exact - 1.0).abs() < 1e-4, "{found} against {exact}");
        }
    }
}
