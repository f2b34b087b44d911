//! When the true value enters the damage zone.
//!
//! Level and slope are known with errors that go together, the value may wander, and either limit may be met first. Without wander the
//! path is a line, whose extremes are at its ends: the chance is that of a rectangle of a bivariate normal ([`bivariate`]). With wander it
//! is the first passage of a Wiener process ([`passage`]), integrated over the level. A [`Prospect`] averages both over the uncertainty of
//! the fitted variances.

pub(crate) mod bivariate;
pub(crate) mod hours;
pub(crate) mod passage;
mod quick;

use crate::gamma::WearPoint;
use crate::kernel::Outlook;
use crate::kernel::frame::Clock;
use crate::policy::FeatureLimits;
use hours::Outset;
use packdrift_numerics::normal;
use passage::{Motion, gauss};
use std::sync::Arc;

/// Limits of the damage zone.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Zone {
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
}

impl Zone {
    pub(crate) fn of(limits: &FeatureLimits) -> Option<Self> {
        (limits.lower.is_some() || limits.upper.is_some()).then_some(Self { lower: limits.lower, upper: limits.upper })
    }

    /// The limit that a value has reached or passed.
    pub(crate) fn passed_by(self, value: f64) -> Option<f64> {
        self.lower.filter(|l| value <= *l).or(self.upper.filter(|u| value >= *u))
    }
}

/// Chances below this are as good as 0 beside the rounding of the rest.
const NIL: f64 = 1e-15;

/// Chances of a normal value to lie below and above the zone's limits.
fn tails(mean: f64, var: f64, zone: Zone) -> (f64, f64) {
    if var <= 0.0 {
        let below = zone.lower.is_some_and(|l| mean < l);
        let above = zone.upper.is_some_and(|u| mean > u);
        return (f64::from(u8::from(below)), f64::from(u8::from(above)));
    }
    let sd = var.sqrt();
    (zone.lower.map_or(0.0, |l| normal::cdf((l - mean) / sd)), zone.upper.map_or(0.0, |u| normal::sf((u - mean) / sd)))
}

/// Chance of being in the zone now.
pub(crate) fn chance_now(o: &Outlook, zone: Zone) -> f64 {
    let (below, above) = tails(o.level, o.level_var, zone);
    (below + above).min(1.0)
}

/// Chance of being in the zone now or at some time in the next `ahead` hours of Λ, with the chances of being below and above the limits now
/// at hand.
fn chance_from(o: &Outlook, zone: Zone, now: (f64, f64), ahead: f64) -> f64 {
    if ahead <= 0.0 {
        return (now.0 + now.1).min(1.0);
    }
    if o.wander_var * ahead <= 1e-12 * (o.level_var + o.slope_var * ahead * ahead) {
        return line_chance(o, zone, now, ahead);
    }
    wander_chance(
        o,
        zone,
        |m, y0| match (zone.lower, zone.upper) {
            (Some(l), Some(u)) => Motion { time: ahead, ..m }.outside(y0 - l, u - l),
            (None, Some(u)) => Motion { time: ahead, ..m }.above(u - y0),
            (Some(l), None) => Motion { time: ahead, ..m }.below(y0 - l),
            (None, None) => 0.0,
        },
        ahead,
    )
}

fn line_chance(o: &Outlook, zone: Zone, now: (f64, f64), ahead: f64) -> f64 {
    let (m1, v1) = o.at(ahead);
    let then = tails(m1, v1, zone);
    let (p0, p1) = (now.0 + now.1, then.0 + then.1);
    // The chance of both cannot exceed either.
    if p0 < NIL {
        return p1.min(1.0);
    }
    if p1 < NIL || p0 > 1.0 - NIL {
        return p0.min(1.0);
    }
    let (s0, s1) = (o.level_var.sqrt(), v1.sqrt());
    if s0 <= 0.0 || s1 <= 0.0 {
        return if p0 > 0.5 { 1.0 } else { p1.min(1.0) };
    }
    let r = ((o.level_var + ahead * o.cov) / (s0 * s1)).clamp(-1.0, 1.0);
    // Both outside, by the four combinations of sides.
    let mut both = 0.0;
    for (side0, part0) in [(-1.0, now.0), (1.0, now.1)] {
        for (side1, part1) in [(-1.0, then.0), (1.0, then.1)] {
            if part0 < NIL || part1 < NIL {
                continue;
            }
            let bound = |side: f64| if side < 0.0 { zone.lower } else { zone.upper };
            if let (Some(b0), Some(b1)) = (bound(side0), bound(side1)) {
                both += bivariate::upper(side0 * (b0 - o.level) / s0, side1 * (b1 - m1) / s1, side0 * side1 * r);
            }
        }
    }
    (p0 + p1 - both).clamp(p0.max(p1).min(1.0), 1.0)
}

/// Averages a first-passage chance over the level inside the zone's limits and the slope given the level; outside counts whole.
fn wander_chance(o: &Outlook, zone: Zone, given: impl Fn(Motion, f64) -> f64, ahead: f64) -> f64 {
    let now = chance_now(o, zone);
    let sd = o.level_var.sqrt();
    let still = Motion { mean: o.slope, var: o.slope_var, wander: o.wander_var, time: 0.0 };
    if sd <= 1e-9 * (o.wander_var * ahead).sqrt() {
        return if now > 0.5 { 1.0 } else { given(still, o.level).clamp(0.0, 1.0) };
    }
    let pull = o.cov / o.level_var;
    let var = (o.slope_var - pull * o.cov).max(0.0);
    let low = zone.lower.unwrap_or(f64::NEG_INFINITY).max(o.level - 7.0 * sd);
    let high = zone.upper.unwrap_or(f64::INFINITY).min(o.level + 7.0 * sd);
    if low >= high {
        return now;
    }
    // Two panels serve the density; more where the boundary layer of a limit is thinner than they resolve.
    let layer = 5.0 * (o.wander_var * ahead).sqrt();
    let mut cuts = [low, o.level, f64::NAN, f64::NAN, high];
    if layer < 4.0 * sd {
        cuts[2] = zone.upper.map_or(f64::NAN, |u| u - layer);
        cuts[3] = zone.lower.map_or(f64::NAN, |l| l + layer);
    }
    for c in &mut cuts {
        *c = if c.is_nan() { low } else { c.clamp(low, high) };
    }
    cuts.sort_unstable_by(f64::total_cmp);
    let inside: f64 = cuts
        .windows(2)
        .filter(|w| w[1] - w[0] > 1e-12 * sd)
        .map(|w| {
            gauss(w[0], w[1], |y0| {
                let z = (y0 - o.level) / sd;
                let m = Motion { mean: o.slope + pull * (y0 - o.level), var, ..still };
                normal::pdf(z) / sd * given(m, y0)
            })
        })
        .sum();
    (now + inside).clamp(now, 1.0)
}

/// Chance of ever being in the zone if nothing is done.
pub(crate) fn chance_ever(o: &Outlook, zone: Zone) -> f64 {
    let now = chance_now(o, zone);
    match (zone.lower, zone.upper) {
        (None, None) => 0.0,
        (Some(_), Some(_)) => {
            if o.wander_var > 0.0 || o.slope_var > 0.0 || o.slope.abs() > 0.0 {
                1.0
            } else {
                now
            }
        }
        (lower, upper) => {
            if o.wander_var > 0.0 {
                let given = |m: Motion, y0: f64| match upper {
                    Some(u) => m.ever_above(u - y0),
                    None => Motion { mean: -m.mean, ..m }.ever_above(y0 - lower.unwrap_or(y0)),
                };
                // The layer in which the chance varies is as wide as the wander carries while the slope turns it away.
                let reach = o.wander_var / (o.slope.abs() + o.slope_var.sqrt()).max(1e-300);
                return wander_chance(o, zone, given, (reach * reach / o.wander_var).min(1e15));
            }
            // A line crosses unless it starts inside and does not rise (towards the one limit).
            let (side, bound) = match upper {
                Some(u) => (1.0, u),
                None => (-1.0, lower.unwrap_or(0.0)),
            };
            let (s0, s1) = (o.level_var.sqrt(), o.slope_var.sqrt());
            if s1 <= 0.0 {
                return if side * o.slope > 0.0 { 1.0 } else { now };
            }
            if s0 <= 0.0 {
                return if now > 0.5 { 1.0 } else { normal::cdf(side * o.slope / s1) };
            }
            // P(start inside, slope away) = P(−x₀′ > −d, −v′ > 0).
            let d = side * (bound - o.level) / s0;
            1.0 - bivariate::upper(-d, side * o.slope / s1, (o.cov / (s0 * s1)).clamp(-1.0, 1.0))
        }
    }
}

/// The future of one valve's true value if nothing is done: normal in level and slope, with wander, averaged over the uncertainty of
/// the fitted variances, against the limits of the damage zone.
///
/// Hours are ahead of the valve's last reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Prospect {
    /// One per point of the average over the variances, equal weights.
    pub(crate) outlooks: Vec<Outlook>,
    /// The gamma process's counterpart; then `outlooks` is empty.
    pub(crate) wear: Vec<WearPoint>,
    pub(crate) clock: ClockOrPlain,
    /// A clock for each of `outlooks`, where the power of the hours differs from point to point; empty where `clock` serves all.
    pub(crate) clocks: Arc<[Clock]>,
    /// The points come from this many independent scramblings, one after the other, equally many of each: the scatter between them is the
    /// error of the simulation. 0 where there is none to tell.
    pub(crate) scramblings: usize,
    pub(crate) zone: Zone,
    /// Hours on the clock at which `ahead` is 0.
    pub(crate) age: f64,
}

/// The clock of the model; plain by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ClockOrPlain(pub(crate) Clock);

impl Default for ClockOrPlain {
    fn default() -> Self {
        Self(Clock::PLAIN)
    }
}

impl Prospect {
    /// A prospect of a level and slope of your own: an engine just built, say, whose starting offset comes from the stack.
    ///
    /// `level` ± `level_sd` in the feature's unit, `slope` ± `slope_sd` per hour, independent of each other; `sd_wander` as in
    /// [`Model`](crate::Model).
    ///
    /// ```
    /// use packdrift_trend::{FeatureLimits, Prospect};
    /// let limits = FeatureLimits { upper: Some(1.6), ..FeatureLimits::default() };
    /// let p = Prospect::new((1.0, 0.05), (5e-5, 1e-5), 0.0, &limits);
    /// assert!(p.chance_within(2000.0) < 1e-3 && p.chance_within(40_000.0) > 0.99);
    /// ```
    pub fn new(level: (f64, f64), slope: (f64, f64), sd_wander: f64, limits: &FeatureLimits) -> Self {
        let outlook = Outlook {
            level: level.0,
            slope: slope.0,
            level_var: level.1 * level.1,
            slope_var: slope.1 * slope.1,
            cov: 0.0,
            wander_var: sd_wander * sd_wander,
            reading_var: 0.0,
            now: 0.0,
        };
        Self { outlooks: vec![outlook], zone: Zone::of(limits).unwrap_or_default(), ..Self::default() }
    }

    /// The same future with another starting level, now: after a re-shim, say. Slope and wander stay.
    #[must_use]
    pub fn with_level(&self, mean: f64, sd: f64) -> Self {
        let mut out = self.clone();
        for w in &mut out.wear {
            w.restart(mean, sd);
        }
        for o in &mut out.outlooks {
            o.level = mean;
            o.level_var = sd * sd;
            o.cov = 0.0;
        }
        out
    }

    /// Hours of Λ that `hours` ahead are, on the clock of all points.
    fn ahead(&self, hours: f64) -> f64 {
        self.clock.0.at(self.age + hours.max(0.0)) - self.clock.0.at(self.age)
    }

    /// The same at a point, whose clock may be its own.
    fn ahead_at(&self, point: usize, hours: f64) -> f64 {
        let clock = self.clocks.get(point).copied().unwrap_or(self.clock.0);
        clock.at(self.age + hours.max(0.0)) - clock.at(self.age)
    }

    /// Points with the hours of Λ that `hours` ahead are.
    fn outlooks_with_ahead(&self, hours: f64) -> impl Iterator<Item = (&Outlook, f64)> {
        let common = if self.clocks.is_empty() { self.ahead(hours) } else { 0.0 };
        let own = !self.clocks.is_empty();
        self.outlooks.iter().enumerate().map(move |(k, o)| (o, if own { self.ahead_at(k, hours) } else { common }))
    }

    /// Not a number where there is nothing to average: a future of which nothing is known reassures nobody.
    fn average(&self, f: impl Fn(&Outlook) -> f64) -> f64 {
        self.outlooks.iter().map(f).sum::<f64>() / self.outlooks.len() as f64
    }

    fn wear_average(&self, f: impl Fn(&WearPoint) -> f64) -> f64 {
        self.wear.iter().map(f).sum::<f64>() / self.wear.len().max(1) as f64
    }

    /// Chance of being in the damage zone now.
    pub fn chance_now(&self) -> f64 {
        self.chance_within(0.0)
    }

    /// Chance of being in the damage zone now or at some time within the next `hours`.
    pub fn chance_within(&self, hours: f64) -> f64 {
        if !self.wear.is_empty() {
            return self.wear_average(|w| w.chance_within(self.zone, hours));
        }
        let chances = self.outlooks_with_ahead(hours).map(|(o, ahead)| self.chance_at(o, ahead));
        chances.sum::<f64>() / self.outlooks.len() as f64
    }

    /// Chance at one point within hours of its Λ. Averages over hundreds of points take the quick rule.
    fn chance_at(&self, o: &Outlook, ahead: f64) -> f64 {
        self.chance_from(o, tails(o.level, o.level_var, self.zone), ahead)
    }

    fn chance_from(&self, o: &Outlook, now: (f64, f64), ahead: f64) -> f64 {
        if self.scramblings > 0 {
            quick::chance_within(o, self.zone, now, ahead)
        } else {
            chance_from(o, self.zone, now, ahead)
        }
    }

    /// [`Self::chance_within`] with its standard error of simulation, from the scatter between independent scramblings of the points; None
    /// where there are none to compare.
    pub fn chance_with_error(&self, hours: f64) -> (f64, Option<f64>) {
        let count = self.scramblings;
        if count < 2 || self.outlooks.len() % count != 0 || self.outlooks.is_empty() {
            return (self.chance_within(hours), None);
        }
        let chances: Vec<f64> = self.outlooks_with_ahead(hours).map(|(o, ahead)| self.chance_at(o, ahead)).collect();
        let size = chances.len() / count;
        let means: Vec<f64> = chances.chunks(size).map(|part| part.iter().sum::<f64>() / size as f64).collect();
        let mean = means.iter().sum::<f64>() / count as f64;
        let squares: f64 = means.iter().map(|m| (m - mean) * (m - mean)).sum();
        (mean, Some((squares / (count * (count - 1)) as f64).sqrt()))
    }

    /// Points of the average over the variances.
    pub fn points(&self) -> usize {
        self.outlooks.len().max(self.wear.len())
    }

    /// [`Self::chance_within`] at one point of that average: prospects of one fit have their points in common.
    pub fn chance_at_point(&self, k: usize, hours: f64) -> f64 {
        match (self.outlooks.get(k), self.wear.get(k)) {
            (Some(o), _) => self.chance_at(o, self.ahead_at(k, hours)),
            (None, Some(w)) => w.chance_within(self.zone, hours),
            (None, None) => f64::NAN,
        }
    }

    /// Chance of ever being in the damage zone if nothing is done.
    pub fn chance_ever(&self) -> f64 {
        if !self.wear.is_empty() {
            return self.wear_average(|w| w.chance_ever(self.zone));
        }
        if self.scramblings > 0 {
            return self.average(|o| quick::chance_ever_met(o, self.zone));
        }
        self.average(|o| chance_ever(o, self.zone))
    }

    /// Mean and standard deviation of the true value `hours` ahead.
    pub fn value_at(&self, hours: f64) -> (f64, f64) {
        if let ([o], true) = (self.outlooks.as_slice(), self.wear.is_empty()) {
            let (mean, var) = o.at(self.ahead_at(0, hours));
            return (mean, var.sqrt());
        }
        let moments: Vec<(f64, f64)> = if self.wear.is_empty() {
            self.outlooks_with_ahead(hours).map(|(o, ahead)| o.at(ahead)).collect()
        } else {
            self.wear.iter().map(|w| w.at(hours.max(0.0))).collect()
        };
        let n = moments.len().max(1) as f64;
        let mean = moments.iter().map(|m| m.0).sum::<f64>() / n;
        let var = moments.iter().map(|(m, v)| v + (m - mean) * (m - mean)).sum::<f64>() / n;
        (mean, var.sqrt())
    }

    /// Covariance of the true values `a` and `b` hours ahead: what a reading at one tells of the other.
    ///
    /// ```
    /// use packdrift_trend::{FeatureLimits, Prospect};
    /// let limits = FeatureLimits { upper: Some(1.6), ..FeatureLimits::default() };
    /// let p = Prospect::new((1.0, 0.05), (5e-5, 1e-5), 1e-4, &limits);
    /// // A line and a wander: 0.05² + 1000·3000·1e-5² + 1e-4²·1000.
    /// let expected = 0.0025 + 3e6 * 1e-10 + 1e-5;
    /// assert!((p.covariance(1000.0, 3000.0) / expected - 1.0).abs() < 1e-12);
    /// ```
    pub fn covariance(&self, a: f64, b: f64) -> f64 {
        let moments: Vec<(f64, f64, f64)> = if self.wear.is_empty() {
            let both = self.outlooks_with_ahead(a).zip(self.outlooks_with_ahead(b));
            both.map(|((o, a), (_, b))| (o.at(a).0, o.at(b).0, o.covariance(a, b))).collect()
        } else {
            let (a, b) = (a.max(0.0), b.max(0.0));
            self.wear.iter().map(|w| (w.at(a).0, w.at(b).0, w.covariance(a, b))).collect()
        };
        let n = moments.len().max(1) as f64;
        let mean = |f: fn(&(f64, f64, f64)) -> f64| moments.iter().map(f).sum::<f64>() / n;
        let (at_a, at_b) = (mean(|m| m.0), mean(|m| m.1));
        moments.iter().map(|m| m.2 + (m.0 - at_a) * (m.1 - at_b)).sum::<f64>() / n
    }

    /// Standard deviation of a reading's error.
    pub fn sd_reading(&self) -> f64 {
        if !self.wear.is_empty() {
            return self.wear_average(|w| w.sigma * w.sigma).sqrt();
        }
        self.average(|o| o.reading_var).sqrt()
    }

    /// Hours ahead by which the value has entered the damage zone with chance `p`: 0 where that is so now, None where it never is.
    pub fn hours_to(&self, p: f64) -> Option<f64> {
        Outset::of(self).hours_to(p)
    }
}

#[cfg(test)]
mod tests;
