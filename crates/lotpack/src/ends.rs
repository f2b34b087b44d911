//! Where a requirement begins and stops to hold, over many draws, kept so that a share costs a hundred normal tails instead of thousands.
//!
//! The ends of the intervals are sorted and put into classes, small ones in the tails. A class is a normal of its own mean and variance, so a
//! mean of Φ((end − μ)/τ) over its draws becomes Φ((mean − μ)/√(τ² + variance)): right to the second moment within the class.

use packdrift_numerics::normal;

/// Where a requirement holds along the shift at one draw: rising intervals, infinite where it holds for ever.
pub(crate) type Holds = Vec<(f64, f64)>;

/// Draws in the largest class.
const LARGEST: usize = 32;

#[derive(Debug, Clone, Copy)]
struct Class {
    mean: f64,
    variance: f64,
    weight: f64,
}

/// The intervals of all draws.
#[derive(Debug, Clone)]
pub(crate) struct Ends {
    /// Weight of all draws.
    total: f64,
    /// Of those without any interval.
    never: f64,
    lower: Vec<Class>,
    upper: Vec<Class>,
    /// Draws with more than one interval: the gaps between them, and the draw's weight.
    gaps: Vec<(f64, f64, f64)>,
}

impl Ends {
    /// Of draws with their weights.
    pub(crate) fn new(holds: &[(f64, Holds)]) -> Self {
        let (mut lower, mut upper, mut gaps, mut never) = (Vec::new(), Vec::new(), Vec::new(), 0.0);
        for (weight, intervals) in holds {
            match (intervals.first(), intervals.last()) {
                (Some(first), Some(last)) => {
                    lower.extend(first.0.is_finite().then_some((first.0, *weight)));
                    upper.extend(last.1.is_finite().then_some((last.1, *weight)));
                    gaps.extend(intervals.windows(2).map(|w| (w[0].1, w[1].0, *weight)));
                }
                _ => never += weight,
            }
        }
        let total = holds.iter().map(|h| h.0).sum();
        Self { total, never, lower: classes(lower), upper: classes(upper), gaps }
    }

    /// The mean share outside of a shift of N(mean, sd²), by tails so that small shares keep their digits.
    pub(crate) fn outside(&self, mean: f64, sd: f64) -> f64 {
        let z = |class: &Class| (class.mean - mean) / (sd * sd + class.variance).sqrt();
        let below: f64 = self.lower.iter().map(|c| c.weight * normal::cdf(z(c))).sum();
        let above: f64 = self.upper.iter().map(|c| c.weight * normal::sf(z(c))).sum();
        let between: f64 =
            self.gaps.iter().map(|&(from, to, weight)| weight * between((from - mean) / sd, (to - mean) / sd)).sum();
        ((self.never + below + above + between) / self.total).min(1.0)
    }
}

/// Φ(b) − Φ(a) on the side where it keeps its digits.
pub(crate) fn between(a: f64, b: f64) -> f64 {
    if a > 0.0 { normal::sf(a) - normal::sf(b) } else { normal::cdf(b) - normal::cdf(a) }
}

/// Classes of 1, 1, 1, 1, 2, 2, 4, 4, … draws from either end.
fn classes(mut ends: Vec<(f64, f64)>) -> Vec<Class> {
    ends.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let n = ends.len();
    let size = |k: usize| if k < 4 { 1 } else { LARGEST.min(2 << ((k - 4) / 2).min(16)) };
    let mut sizes = Vec::new();
    let (mut left, mut k) = (n, 0);
    // As many from below as from above; what is left is the middle.
    while left > 0 {
        let here = size(k).min(left.div_ceil(2));
        sizes.push(here);
        left -= (2 * here).min(left);
        k += 1;
    }
    let mut found = Vec::new();
    let mut push = |range: &[(f64, f64)]| {
        let weight: f64 = range.iter().map(|e| e.1).sum();
        if weight <= 0.0 {
            return;
        }
        let mean = range.iter().map(|e| e.1 * e.0).sum::<f64>() / weight;
        let variance = range.iter().map(|e| e.1 * (e.0 - mean).powi(2)).sum::<f64>() / weight;
        found.push(Class { mean, variance, weight });
    };
    let (mut from, mut to) = (0, n);
    for size in sizes {
        let low = (from + size).min(to);
        push(&ends[from..low]);
        from = low;
        let high = to.saturating_sub(size).max(from);
        push(&ends[high..to]);
        to = high;
    }
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;

    /// Every draw is in a class, and the classes give the mean of the tails themselves.
    #[test]
    fn classes_stand_for_all_draws() {
        for n in [0, 1, 2, 3, 7, 64, 1000, 2048] {
            let ends: Vec<f64> = (0..n).map(|i| normal::quantile((f64::from(i) + 0.5) / f64::from(n.max(1)))).collect();
            let found = classes(ends.iter().map(|e| (*e, 1.0)).collect());
            let weight: f64 = found.iter().map(|c| c.weight).sum();
            assert!((weight - f64::from(n)).abs() < 1e-12, "{n}: {weight}");
            let holds: Vec<(f64, Holds)> = ends.iter().map(|e| (1.0, vec![(*e, f64::INFINITY)])).collect();
            for (mean, sd) in [(0.0, 0.3), (2.0, 0.5), (4.0, 1.0)] {
                if n > 0 {
                    let plain = ends.iter().map(|e| normal::cdf((e - mean) / sd)).sum::<f64>() / f64::from(n);
                    let share = Ends::new(&holds).outside(mean, sd);
                    assert!(
                        (share / plain - 1.0).abs() < 2e-3,
                        "n {n}, mean {mean}, sd {sd}: {share} instead of {plain}"
                    );
                }
            }
        }
    }

    #[test]
    fn draws_that_never_hold_and_gaps_count() {
        let holds = vec![(1.0, Vec::new()), (1.0, vec![(f64::NEG_INFINITY, -1.0), (1.0, f64::INFINITY)])];
        let share = Ends::new(&holds).outside(0.0, 1.0);
        assert!((share - 0.5 * (1.0 + 0.682689492137086)).abs() < 1e-12, "{share}");
    }
}
