//! Wear that never falls: what a gamma process makes of the limits.

use super::Zone;
use packdrift_numerics::special::{gamma_tails, ln_gamma};

/// Depth now and its growth, for one parameter set: a few points that stand for the joint distribution of depth and rate.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct WearPoint {
    /// (chance, depth, shape per hour).
    pub(crate) atoms: Vec<(f64, f64, f64)>,
    pub(crate) scale: f64,
    pub(crate) sigma: f64,
    /// Degrees of freedom of a reading's error; None: normal.
    pub(crate) df: Option<f64>,
    pub(crate) sign: f64,
    /// Hours from the state to the reading from which hours ahead are counted: later readings that were left out told nothing of it.
    pub(crate) lag: f64,
}

impl WearPoint {
    /// The same rates from another depth, known with standard deviation `sd`.
    pub(crate) fn restart(&mut self, mean: f64, sd: f64) {
        self.lag = 0.0;
        let mut rates: Vec<(f64, f64)> = Vec::new();
        for &(w, _, a) in &self.atoms {
            match rates.iter_mut().find(|(_, b)| (a - *b).abs() <= 1e-12 * a) {
                Some(r) => r.0 += w,
                None => rates.push((w, a)),
            }
        }
        let sign = self.sign;
        self.atoms = rates
            .into_iter()
            .flat_map(|(w, a)| {
                (0..9).map(move |k| {
                    let z = packdrift_numerics::normal::quantile((f64::from(k) + 0.5) / 9.0);
                    (w / 9.0, sign * mean + sd * z, a)
                })
            })
            .collect();
    }

    /// Limits as the rising depth meets them.
    fn limits(&self, zone: Zone) -> (Option<f64>, Option<f64>) {
        if self.sign > 0.0 { (zone.lower, zone.upper) } else { (zone.upper.map(|u| -u), zone.lower.map(|l| -l)) }
    }

    /// Chance of being in the zone now or within the hours: the depth never turns back, so the end of the span decides.
    pub(crate) fn chance_within(&self, zone: Zone, hours: f64) -> f64 {
        let hours = hours + self.lag;
        let (low, high) = self.limits(zone);
        let mut growth = Growth { shape: f64::NAN, ln_gamma: f64::NAN };
        let sum: f64 = self
            .atoms
            .iter()
            .map(|&(w, x, a)| {
                if low.is_some_and(|l| x < l) {
                    return w;
                }
                let Some(limit) = high else { return 0.0 };
                if x > limit {
                    w
                } else if hours > 0.0 {
                    if growth.shape != a * hours {
                        growth = Growth::new(a * hours);
                    }
                    w * growth.beyond((limit - x) / self.scale)
                } else {
                    0.0
                }
            })
            .sum();
        sum.clamp(0.0, 1.0)
    }

    /// Chance of ever being in the zone: certain where the drift points at a limit.
    pub(crate) fn chance_ever(&self, zone: Zone) -> f64 {
        if self.limits(zone).1.is_some() { 1.0 } else { self.chance_within(zone, 0.0) }
    }

    /// Mean and variance of the depth ahead, in the feature's direction.
    pub(crate) fn at(&self, hours: f64) -> (f64, f64) {
        let hours = hours + self.lag;
        let (mut mean, mut square, mut own) = (0.0, 0.0, 0.0);
        for &(w, x, a) in &self.atoms {
            let m = x + a * hours * self.scale;
            mean += w * m;
            square += w * m * m;
            own += w * a * hours * self.scale * self.scale;
        }
        (self.sign * mean, (square - mean * mean).max(0.0) + own)
    }

    /// Covariance of the depths `a` and `b` hours ahead: increments that do not overlap are independent, given the rate.
    pub(crate) fn covariance(&self, a: f64, b: f64) -> f64 {
        let (a, b) = (a + self.lag, b + self.lag);
        let (mut at_a, mut at_b, mut product, mut own) = (0.0, 0.0, 0.0, 0.0);
        for &(w, x, shape) in &self.atoms {
            let (m, n) = (x + shape * a * self.scale, x + shape * b * self.scale);
            at_a += w * m;
            at_b += w * n;
            product += w * m * n;
            own += w * shape * a.min(b) * self.scale * self.scale;
        }
        product - at_a * at_b + own
    }

    /// Mean, variance and covariance with the depth of the rate per hour, in the feature's direction.
    pub(crate) fn rate(&self) -> (f64, f64, f64) {
        let (mut r, mut rr, mut x_mean, mut xr) = (0.0, 0.0, 0.0, 0.0);
        for &(w, x, a) in &self.atoms {
            let rate = a * self.scale;
            r += w * rate;
            rr += w * rate * rate;
            x_mean += w * x;
            xr += w * x * rate;
        }
        (self.sign * r, (rr - r * r).max(0.0), xr - x_mean * r)
    }

    /// Chance that the depth some hours ahead exceeds `depth`, both in the direction of the wear.
    pub(crate) fn chance_beyond(&self, depth: f64, hours: f64) -> f64 {
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

    /// Depths ahead that stand for their distribution, in the feature's direction: the middles of `count` equal slices. The outermost two by
    /// bisection, what lies between by a table of the distribution function: its steps are a fiftieth of their distance, far below the slices' own width.
    pub(crate) fn slices(&self, hours: f64, count: usize) -> Vec<f64> {
        let (mean, var) = self.at(hours);
        let hours = hours + self.lag;
        let (mean, sd) = (self.sign * mean, var.sqrt());
        let below = |x: f64| -> f64 {
            self.atoms
                .iter()
                .map(|&(w, d, a)| {
                    if x <= d {
                        0.0
                    } else if hours > 0.0 {
                        w * gamma_tails(a * hours, (x - d) / self.scale).lower
                    } else {
                        w
                    }
                })
                .sum()
        };
        let bisect = |u: f64| {
            let (mut low, mut high) = (mean - 8.0 * sd, mean + 12.0 * sd);
            for _ in 0..24 {
                let mid = 0.5 * (low + high);
                if below(mid) < u {
                    low = mid;
                } else {
                    high = mid;
                }
            }
            0.5 * (low + high)
        };
        let middle = |k: usize| (k as f64 + 0.5) / count as f64;
        let (first, last) = (bisect(middle(0)), bisect(middle(count - 1)));
        let at = |k: usize| first + (last - first) * k as f64 / TABLE as f64;
        let table: Vec<f64> = (0..=TABLE).map(|k| below(at(k))).collect();
        let of = |u: f64| {
            let k = table.partition_point(|chance| *chance < u).clamp(1, TABLE);
            let (a, b) = (table[k - 1], table[k]);
            let part = if b > a { ((u - a) / (b - a)).clamp(0.0, 1.0) } else { 0.5 };
            at(k - 1) + part * (at(k) - at(k - 1))
        };
        (0..count).map(|k| self.sign * of(middle(k))).collect()
    }
}

/// Above this deviance a tail is below e^(−25) = 1.4e-11 (Chernoff's bound: P(G > u) ≤ e^(−D), D = u − s − s·ln(u/s), for u > s; the lower tail alike).
const SURE: f64 = 25.0;

/// Above this shape the series' terms are many, and large beside their sum's logarithm.
const LARGE: f64 = 500.0;

/// A standard gamma distribution, for the many depths that share a rate.
struct Growth {
    shape: f64,
    /// ln Γ(s + 1).
    ln_gamma: f64,
}

impl Growth {
    fn new(shape: f64) -> Self {
        Self { shape, ln_gamma: ln_gamma(shape + 1.0) }
    }

    /// Share above `u` > 0, to 2e-11 of 1 rather than of itself: chances are added up, and nothing hangs on a tail that small.
    ///
    /// Up to some standard deviations above its mean the series of the lower tail is short, and its steps do not wait for divisions as those
    /// of the continued fraction do.
    fn beyond(&self, u: f64) -> f64 {
        let shape = self.shape;
        if u - shape - shape * (u / shape).ln() > SURE {
            return if u > shape { 0.0 } else { 1.0 };
        }
        if !(u < shape + 1.0 + 6.0 * shape.sqrt() && shape < LARGE) {
            return gamma_tails(shape, u).upper;
        }
        // u^s e^(−u)/Γ(s + 1)·Σ uⁿ/((s + 1)…(s + n)).
        let prefix = (shape * u.ln() - u - self.ln_gamma).exp();
        let (mut term, mut sum, mut k) = (1.0, 1.0, shape);
        while term > 1e-15 * sum {
            k += 1.0;
            term *= u / k;
            sum += term;
        }
        (1.0 - prefix * sum).clamp(0.0, 1.0)
    }
}

/// Steps of the table between the outermost slices.
const TABLE: usize = 50;

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::special::{Inversion, invert_increasing};

    #[test]
    fn shares_beyond_are_the_gamma_distribution_s() {
        for shape in [0.02, 0.7, 1.0, 4.0, 33.0, 400.0, 20_000.0] {
            let growth = Growth::new(shape);
            for k in -120..=160 {
                let u = shape + f64::from(k) * 0.1 * f64::sqrt(shape);
                if u > 0.0 {
                    let (found, exact) = (growth.beyond(u), gamma_tails(shape, u).upper);
                    assert!((found - exact).abs() < 2e-11, "{shape} {u}: {found} {exact}");
                }
            }
        }
    }

    #[test]
    fn slices_are_quantiles() {
        // One depth and a gamma increment: the quantiles are the depth's and the gamma distribution's. A shape below 1 is the worst case, steepest at 0.
        for (shape, sign) in [(4.0, 1.0), (0.6, -1.0)] {
            let w = WearPoint { atoms: vec![(1.0, 0.1, shape / 500.0)], scale: 0.01, sign, ..WearPoint::default() };
            let found = w.slices(500.0, 24);
            for (k, found) in found.iter().enumerate() {
                let u = (k as f64 + 0.5) / 24.0;
                let search = Inversion { start: shape, step: 0.1, lower: 0.0, upper: 60.0 };
                let exact = invert_increasing(&search, |x| gamma_tails(shape, x).lower - u);
                let exact = sign * (0.1 + 0.01 * exact);
                // The standard deviation is 0.01·√shape.
                assert!((found - exact).abs() < 0.02 * 0.01 * shape.sqrt(), "{shape}, {k}: {found} instead of {exact}");
            }
        }
    }
}
