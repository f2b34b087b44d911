//! Capability of a lot against its limits, with confidence intervals, and the share outside with its upper bound.
//!
//! ISO 22514-2: with a normal shape Pp = (U − L)/(6s) and Ppk = min(U − x̄, x̄ − L)/(3s); with another, the percentile form
//! Pp = (U − L)/(x₉₉.₈₆₅ − x₀.₁₃₅), Ppk = min((U − x₅₀)/(x₉₉.₈₆₅ − x₅₀), (x₅₀ − L)/(x₅₀ − x₀.₁₃₅)). Whether a lot comes from a stable
//! process one lot cannot show, so these are performance indices (Pp, Ppk); Cp and Cpk, on the scatter within lots, are given for
//! all lots of a process together.

use crate::interval::Interval;
use crate::johnson::Johnson;
use crate::posterior::{ChiGrid, Posterior, SpecificationLimits};
use crate::sample::quantile_of_sorted;
use packdrift_numerics::normal;
use packdrift_numerics::special::{beta_quantile, chi_squared_quantile};
use packdrift_numerics::stream::Key;

/// The distribution an index or share was computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// Mean and sd.
    Normal,
    /// Percentiles of a fitted curve; intervals by resampling the readings.
    Percentile(Johnson),
}

/// Capability indices with their intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// What they rest on.
    pub form: Form,
    /// Pp; None with one limit only.
    pub pp: Option<f64>,
    /// Two-sided interval of Pp.
    pub pp_interval: Option<Interval>,
    /// Ppk.
    pub ppk: f64,
    /// Two-sided interval of Ppk; the percentile form's is approximate.
    pub ppk_interval: Interval,
    /// One-sided lower confidence bound of Ppk.
    pub ppk_lower: f64,
}

/// What the normal form needs.
pub(crate) struct NormalLot<'a> {
    pub grid: &'a ChiGrid,
    pub n: usize,
    pub mean: f64,
    /// Of the readings.
    pub sd: f64,
    /// The gauge's share of it.
    pub gauge_sd: f64,
}

impl NormalLot<'_> {
    pub(crate) fn parts_sd(&self) -> f64 {
        (self.sd * self.sd - self.gauge_sd * self.gauge_sd).max(0.0).sqrt()
    }

    /// σ's interval from χ², the gauge's known variance taken out.
    pub(crate) fn sd_interval(&self, confidence: f64) -> Interval {
        let nu = (self.n - 1) as f64;
        let end = |p: f64| {
            (self.sd * self.sd * nu / chi_squared_quantile(nu, p) - self.gauge_sd * self.gauge_sd).max(0.0).sqrt()
        };
        Interval::new(end(0.5 + 0.5 * confidence), end(0.5 - 0.5 * confidence))
    }
}

pub(crate) fn normal_capability(lot: &NormalLot<'_>, limits: SpecificationLimits, confidence: f64) -> Capability {
    let posterior = Posterior::new(lot.grid, lot.mean, lot.sd, lot.gauge_sd);
    let sd = lot.parts_sd();
    let alpha = 1.0 - confidence;
    let bound = |level: f64| posterior.index_bound(limits, level);
    // Ppk is at most either side's index, whose own upper bound is exact; with two sides each takes half of the remaining risk. The
    // generalised bound of the smaller of two is too low where the lot is centred (in simulation 91 % instead of 95 for the interval).
    let each = if limits.sides().count() == 2 { 0.25 * alpha } else { 0.5 * alpha };
    let highest = limits.sides().map(|side| posterior.index_bound(side, each)).fold(f64::INFINITY, f64::min);
    let ppk_interval = Interval::new(bound(1.0 - 0.5 * alpha), highest);
    let width = limits.lower.zip(limits.upper).map(|(l, u)| u - l);
    let sd_interval = lot.sd_interval(confidence);
    Capability {
        form: Form::Normal,
        pp: width.map(|w| w / (6.0 * sd)),
        pp_interval: width.map(|w| Interval::new(w / (6.0 * sd_interval.upper), w / (6.0 * sd_interval.lower))),
        ppk: limits.nearest(lot.mean, sd),
        ppk_interval,
        ppk_lower: bound(confidence),
    }
}

/// Clopper and Pearson's one-sided upper bound of a share from k out of n.
///
/// # Examples
/// ```
/// // None out of 59: below 5 % with 95 % confidence.
/// assert!(packdrift_lot::capability::count_upper_bound(0, 59, 0.95) < 0.05);
/// assert!(packdrift_lot::capability::count_upper_bound(0, 58, 0.95) > 0.05);
/// ```
pub fn count_upper_bound(k: usize, n: usize, confidence: f64) -> f64 {
    if k >= n { 1.0 } else { beta_quantile((k + 1) as f64, (n - k) as f64, confidence).0 }
}

/// Clopper and Pearson's one-sided lower bound of a share from k out of n.
pub fn count_lower_bound(k: usize, n: usize, confidence: f64) -> f64 {
    if k == 0 { 0.0 } else { beta_quantile(k as f64, (n - k + 1) as f64, 1.0 - confidence).0 }
}

/// Resamples for the percentile form's intervals.
const RESAMPLES: usize = 500;

/// Indices and share outside from a Johnson curve, intervals by the percentile bootstrap over whole refits. None where the curve
/// cannot be fitted.
pub(crate) fn percentile_capability(
    sorted: &[f64],
    step: Option<f64>,
    limits: SpecificationLimits,
    confidence: f64,
    key: Key,
) -> Option<(Capability, f64)> {
    let curve = Johnson::fit(sorted, step)?;
    let n = sorted.len();
    let mut stream = key.stream(0);
    let mut ppks = Vec::with_capacity(RESAMPLES);
    let mut pps = Vec::with_capacity(RESAMPLES);
    let mut shares = Vec::with_capacity(RESAMPLES);
    let mut counts = vec![0_u32; n];
    let mut resample = Vec::with_capacity(n);
    for _ in 0..RESAMPLES {
        counts.fill(0);
        for _ in 0..n {
            counts[((stream.uniform() * n as f64) as usize).min(n - 1)] += 1;
        }
        resample.clear();
        for (x, &c) in sorted.iter().zip(&counts) {
            resample.extend(std::iter::repeat_n(*x, c as usize));
        }
        if let Some(curve) = Johnson::fit(&resample, step) {
            let (pp, ppk) = percentile_indices(&curve, limits);
            ppks.push(ppk);
            pps.extend(pp);
            shares.push(curve.share_outside(limits.lower, limits.upper));
        }
    }
    // Too few refits: the readings have too few different values for a curve.
    if ppks.len() < RESAMPLES / 2 {
        return None;
    }
    for list in [&mut ppks, &mut pps, &mut shares] {
        list.sort_unstable_by(f64::total_cmp);
    }
    let alpha = 1.0 - confidence;
    let (pp, ppk) = percentile_indices(&curve, limits);
    let two = |list: &[f64]| {
        Interval::new(quantile_of_sorted(list, 0.5 * alpha), quantile_of_sorted(list, 1.0 - 0.5 * alpha))
    };
    let capability = Capability {
        form: Form::Percentile(curve),
        pp,
        pp_interval: pp.map(|_| two(&pps)),
        ppk,
        ppk_interval: two(&ppks),
        ppk_lower: quantile_of_sorted(&ppks, alpha),
    };
    Some((capability, quantile_of_sorted(&shares, confidence)))
}

fn percentile_indices(curve: &Johnson, limits: SpecificationLimits) -> (Option<f64>, f64) {
    let [low, middle, high] = [-3.0, 0.0, 3.0].map(|z| curve.value(z));
    let above = limits.upper.map_or(f64::INFINITY, |u| (u - middle) / (high - middle));
    let below = limits.lower.map_or(f64::INFINITY, |l| (middle - l) / (middle - low));
    (limits.lower.zip(limits.upper).map(|(l, u)| (u - l) / (high - low)), above.min(below))
}

/// Of a normal with these parameters.
pub(crate) fn normal_shares(limits: SpecificationLimits, mean: f64, sd: f64) -> (f64, f64) {
    let sd = sd.max(f64::MIN_POSITIVE);
    (
        limits.lower.map_or(0.0, |l| normal::cdf((l - mean) / sd)),
        limits.upper.map_or(0.0, |u| normal::sf((u - mean) / sd)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With one limit the index is that of one side alone. Its lower bound at 95 % against the printed one-sided tolerance factors (n = 10, 95 %: k = 3.981
    /// for 99 % and 2.911 for 95 % of the lot; Owen's tables, from memory: a mean k·s from the limit shows that share, so Ppk ≥ z/3), and the ends of
    /// its two-sided interval by how often they are wrong in made lots.
    #[test]
    fn one_limit_has_all_the_risk() {
        let grid = ChiGrid::new(10);
        let limits = SpecificationLimits { lower: None, upper: Some(1.0) };
        let of = |mean: f64, sd: f64| {
            normal_capability(&NormalLot { grid: &grid, n: 10, mean, sd, gauge_sd: 0.0 }, limits, 0.95)
        };
        for (k, share) in [(3.981, 0.99), (2.911, 0.95)] {
            let found = of(1.0 - k * 0.1, 0.1).ppk_lower;
            let expected = normal::quantile(share) / 3.0;
            assert!((found - expected).abs() < 2e-3 * expected, "k {k}: {found} for {expected}");
        }
        // True index 1: the limit 3 sd away. Each end is wrong in one lot of forty; three standard errors of 4000 lots.
        let mut stream = Key::new(8, "one limit").stream(0);
        let (lots, mut below, mut above) = (4000, 0, 0);
        for _ in 0..lots {
            let readings: Vec<f64> = (0..10).map(|_| 0.7 + 0.1 * stream.normal()).collect();
            let mean = readings.iter().sum::<f64>() / 10.0;
            let sd = (readings.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 9.0).sqrt();
            let interval = of(mean, sd).ppk_interval;
            below += u32::from(interval.upper < 1.0);
            above += u32::from(interval.lower > 1.0);
        }
        for wrong in [below, above].map(|count| f64::from(count) / f64::from(lots)) {
            assert!((wrong - 0.025).abs() < 3.0 * (0.025 * 0.975 / f64::from(lots)).sqrt(), "{wrong}");
        }
    }

    /// Readings without any scatter: no index, not the end of the search for one.
    #[test]
    fn no_scatter_has_no_index() {
        let grid = ChiGrid::new(4);
        let limits = SpecificationLimits { lower: Some(0.3), upper: Some(0.5) };
        let found =
            normal_capability(&NormalLot { grid: &grid, n: 4, mean: 0.4, sd: 1e-12, gauge_sd: 0.0 }, limits, 0.95);
        assert!(found.ppk_interval.upper.is_infinite(), "{:?}", found.ppk_interval);
    }
}
