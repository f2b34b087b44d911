//! From a chance to the hours by which it is reached: a closed form where there is one, else a search.

use super::Prospect;
use super::line::tails;
use packdrift_numerics::{normal, root};

/// Hours ahead beyond which a crossing counts as never: longer than any engine lasts by a factor of a thousand.
const NEVER: f64 = 1e9;

/// A prospect with what every later chance needs again.
pub(crate) struct CrossingSearch<'a> {
    prospect: &'a Prospect,
    /// Chances of being below and above the limits now, one per outlook.
    now: Vec<(f64, f64)>,
    /// Where each outlook's own clock stands now; empty where they share one.
    begun: Vec<f64>,
}

impl<'a> CrossingSearch<'a> {
    pub(crate) fn of(prospect: &'a Prospect) -> Self {
        let now = prospect.outlooks.iter().map(|o| tails(o.level, o.level_var, prospect.zone)).collect();
        let begun = prospect.clocks.iter().map(|clock| clock.at(prospect.age)).collect();
        Self { prospect, now, begun }
    }

    /// [`Prospect::chance_within`].
    pub(crate) fn chance_within(&self, hours: f64) -> f64 {
        let Prospect { outlooks, clocks, zone, age, .. } = self.prospect;
        let common = self.prospect.ahead(hours);
        let then = age + hours.max(0.0);
        // Clocks of one fit have the same unit, and so the same logarithm.
        let unit = clocks.first().map_or(1.0, |clock| clock.unit);
        let log = (then / unit).ln();
        let ahead = |k: usize| match clocks.get(k) {
            Some(clock) if clock.unit == unit => clock.at_log(log) - self.begun[k],
            Some(clock) => clock.at(then) - self.begun[k],
            None => common,
        };
        let line = |k: usize| outlooks.get(k).map_or(f64::NAN, |o| self.prospect.chance_from(o, self.now[k], ahead(k)));
        self.prospect.mean(|k, _| line(k), |w| w.chance_within(*zone, hours))
    }

    /// [`Prospect::hours_to`].
    pub(crate) fn hours_to(&self, p: f64) -> Option<f64> {
        let [hours] = self.hours_to_each([p], self.chance_within(0.0));
        hours
    }

    /// [`Prospect::hours_to`] for several chances, with the chance now at hand.
    pub(crate) fn hours_to_each<const N: usize>(&self, chances: [f64; N], now: f64) -> [Option<f64>; N] {
        if self.prospect.points() == 0 {
            return [None; N];
        }
        if chances.iter().all(|&p| now >= p) {
            return [Some(0.0); N];
        }
        let ever = self.prospect.chance_ever();
        chances.map(|p| {
            if now >= p {
                Some(0.0)
            } else if ever < p {
                None
            } else {
                self.hours_to_come(p)
            }
        })
    }

    /// The hours to a chance that is larger than that of now, and reached.
    fn hours_to_come(&self, p: f64) -> Option<f64> {
        let z = normal::quantile(p);
        let straight = self.straight_hours(z);
        if let Some(hours) = straight
            && (self.chance_within(hours) - p).abs() < 1e-11
        {
            return Some(hours);
        }
        // Most of an average's points only correct what a few of them find.
        let few = self.few();
        let few = few.as_ref().map(CrossingSearch::of);
        let start = straight.unwrap_or_else(|| few.as_ref().unwrap_or(self).rough_hours(p));
        if let Some(few) = few {
            if let Some(hours) = few.search(z, start).and_then(|hours| self.corrected(&few, hours, z)) {
                return Some(hours);
            }
        }
        self.search(z, start)
    }

    /// The closed form for a line that starts inside and meets one limit only, which most valves of a large fleet do: the root of
    /// limit − level − slope·h = k·√Var(h), k the normal quantile. Where it meets both it is a start for the search.
    fn straight_hours(&self, z: f64) -> Option<f64> {
        let Prospect { outlooks, zone, clock, age, .. } = self.prospect;
        let [o] = outlooks.as_slice() else { return None };
        if o.wander_var > 0.0 || !self.prospect.clocks.is_empty() {
            return None;
        }
        let (side, limit) = if o.slope > 0.0 { (1.0, zone.upper?) } else { (-1.0, zone.lower?) };
        let (d, v, k) = (side * (limit - o.level), side * o.slope, -z);
        let (a, b, c) = (v * v - k * k * o.slope_var, v * d + k * k * o.cov, d * d - k * k * o.level_var);
        let root = (b * b - a * c).max(0.0).sqrt();
        // Squaring doubled the roots: the one with the sign of k is meant.
        let meant = |h: f64| (d - v * h) * k >= 0.0;
        let ahead = [c / (b + root), (b + root) / a].into_iter().find(|h| h.is_finite() && *h > 0.0 && meant(*h))?;
        let hours = clock.0.hours(clock.0.at(*age) + ahead) - age;
        (hours > 1e-6 && hours < NEVER).then_some(hours)
    }

    /// Where the value's own distribution, not its path's, has the share `p` outside: a start for the search.
    fn rough_hours(&self, p: f64) -> f64 {
        let share = |hours: f64| {
            let (mean, sd) = self.prospect.value_at(hours);
            let (below, above) = tails(mean, sd * sd, self.prospect.zone);
            below + above
        };
        let (mut low, mut high) = (0.0_f64, 16.0);
        if share(f64::exp(high)) < p {
            return 1000.0;
        }
        for _ in 0..12 {
            let mid = 0.5 * (low + high);
            if share(mid.exp()) < p {
                low = mid;
            } else {
                high = mid;
            }
        }
        high.exp()
    }

    /// Every eighth line and every fourth gamma process of a large average whose chances are dear.
    fn few(&self) -> Option<Prospect> {
        const STRIDE: usize = 8;
        const OF_WEAR: usize = 4;
        let Prospect { outlooks, clocks, wear, .. } = self.prospect;
        let many = outlooks.len() >= 2 * STRIDE || wear.len() >= 2 * OF_WEAR;
        let dear = many && (!wear.is_empty() || outlooks.iter().any(|o| o.wander_var > 0.0));
        dear.then(|| Prospect {
            outlooks: outlooks.iter().copied().step_by(STRIDE).collect(),
            clocks: clocks.iter().copied().step_by(STRIDE).collect(),
            wear: wear.iter().step_by(OF_WEAR).cloned().collect(),
            ..*self.prospect
        })
    }

    /// Secants from the hours that `few` of the points give; None where they do not settle.
    fn corrected(&self, few: &CrossingSearch<'_>, hours: f64, z: f64) -> Option<f64> {
        const APART: f64 = 0.01;
        if hours <= 0.0 {
            return None;
        }
        let mut x = hours.ln();
        let mut slope = (few.miss(x + APART, z) - few.miss(x, z)) / APART;
        let mut here = self.miss(x, z);
        for _ in 0..6 {
            if slope.is_nan() || slope <= 0.0 {
                return None;
            }
            let step = -here / slope;
            if step.abs() > 2.0 {
                return None;
            }
            x += step;
            if step.abs() < 1e-8 {
                return (x < NEVER.ln()).then(|| x.exp());
            }
            let next = self.miss(x, z);
            slope = (next - here) / step;
            here = next;
            // Rounding of the chances ends the secants.
            if here.abs() < 1e-9 {
                return (x < NEVER.ln()).then(|| x.exp());
            }
        }
        None
    }

    /// The chance within e^`log_hours` on the normal scale, less `z`, the quantile sought: over the logarithm of the hours the curve is
    /// nearly straight.
    fn miss(&self, log_hours: f64, z: f64) -> f64 {
        let c = self.chance_within(log_hours.exp());
        (if c < 0.5 { normal::quantile(c) } else { normal::upper_quantile(1.0 - c) }).clamp(-40.0, 40.0) - z
    }

    /// The hours at which the chance has the normal quantile `z`, searched from `start`.
    fn search(&self, z: f64, start: f64) -> Option<f64> {
        let f = |log_hours: f64| self.miss(log_hours, z);
        let start = start.ln();
        let (mut low, mut high) = (start, start);
        let miss = f(start);
        let mut step = (2.0 * miss.abs()).clamp(1e-9, 0.3);
        if miss > 0.0 {
            loop {
                high = low;
                low -= step;
                step *= 2.0;
                if low < -20.0 {
                    return Some(0.0);
                }
                if f(low) <= 0.0 {
                    break;
                }
            }
        } else {
            loop {
                low = high;
                high += step;
                step *= 2.0;
                if high > NEVER.ln() {
                    return None;
                }
                if f(high) >= 0.0 {
                    break;
                }
            }
        }
        root::brent(f, low, high, if self.prospect.wear.is_empty() { 1e-8 } else { 1e-5 }).ok().map(f64::exp)
    }
}
