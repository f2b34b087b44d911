//! What a gamma process makes of a jump that was found under a model with normal increments.
//!
//! Increments of a gamma process are skewed: now and then one is several times the mean, where a Wiener process of the same variance would
//! take it for a part that slipped. So where the gamma process is the model chosen, a jump stands only if the process does not explain it:
//! the chance that the first reading after it is as far on, or farther, given all that was read before it.
//! The limit allows for the number of increments looked at (Bonferroni), as that of the search does.

use super::lattice::Params;
use super::{GammaFit, Process};
use crate::crossing::wear::WearPoint;
use crate::families::line::heavy::slices;
use crate::segments::Segments;
use packdrift_numerics::normal;

/// Chance of a false finding in a sound table.
const FALSE_ALARM: f64 = 0.01;
/// Half-width of the integral over a reading's error, in its standard deviations, and its steps.
const REACH: f64 = 6.0;
const STEPS: i32 = 48;

/// The rows of jumps that stand: the process is fitted to the segments without a jump; those that it does not explain are cut and it is
/// refitted, which makes it the stricter, until all others are explained. All where no process fits. `near`: a fit of nearly the same readings.
pub(crate) fn stand(
    segments: &Segments,
    weights: &[f64],
    known_sd: Option<f64>,
    heavy: bool,
    rows: &[usize],
    near: Option<&Process>,
) -> Vec<usize> {
    let (mut segments, _) = segments.counting(weights);
    let increments = segments.readings() - segments.len();
    let mut stand: Vec<usize> = Vec::new();
    let mut near = near.map(|near| near.fit.clone());
    loop {
        let Ok(fit) = super::fit(&segments, known_sd, heavy, near.as_ref()) else { return rows.to_vec() };
        let doubted: Vec<usize> = rows
            .iter()
            .copied()
            .filter(|row| !stand.contains(row))
            .filter(|row| !fit.explains(&segments, *row, increments))
            .collect();
        if doubted.is_empty() {
            return stand;
        }
        stand.extend(&doubted);
        segments = segments.cut_before(&doubted);
        near = Some(fit);
    }
}

impl GammaFit {
    /// Whether the process explains the reading of the table's row `row` given those of its segment before it: by no less than the chance
    /// of one false finding over `increments` increments. A fall is explained by reading errors alone.
    pub(crate) fn explains(&self, segments: &Segments, row: usize, increments: usize) -> bool {
        let Some(i) = segments.row.iter().position(|r| *r as usize == row) else { return false };
        let s = segments.segment_of(i);
        let first = segments.range(s).start;
        let Some(before) = i.checked_sub(first + 1) else { return false };
        let only = segments.subset(&[s]);
        let histories = self.histories(&only);
        let Some(state) = histories.first().and_then(|h| h.get(before)) else { return false };
        let point = WearPoint::of(state, &self.params, self.sign, super::ALONE);
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
            let w = WearPoint { atoms: vec![(1.0, 0.0, 0.001)], scale: b, sigma, df: None, sign, lag: 0.0 };
            let exact =
                normal::sf(y / sigma) + (0.5 * (sigma / b).powi(2) - y / b).exp() * normal::cdf(y / sigma - sigma / b);
            let found = w.chance_of_reading(&p, 1000.0, sign * y);
            assert!((found / exact - 1.0).abs() < 1e-4, "{found} against {exact}");
        }
    }
}
