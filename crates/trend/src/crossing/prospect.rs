//! The future of one valve: all that is not known of it, averaged over points of equal weight.

use super::Zone;
use super::hours::CrossingSearch;
use super::line::{chance_ever, chance_from, tails};
use super::quick;
use super::wear::WearPoint;
use crate::kernel::Outlook;
use crate::kernel::frame::Clock;
use crate::policy::FeatureLimits;
use packdrift_numerics::special::chi_squared_quantile;
use std::sync::Arc;

/// The future of one valve's true value if nothing is done: normal in level and slope, with wander, averaged over the uncertainty of
/// the fitted variances, against the limits of the damage zone.
///
/// Hours are ahead of the valve's last reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Prospect {
    /// One per point of the average over the variances, equal weights.
    pub(crate) outlooks: Vec<Outlook>,
    /// The gamma process's counterpart.
    pub(crate) wear: Vec<WearPoint>,
    /// Share of the points that are the gamma process's, where there are both.
    pub(crate) wear_share: f64,
    pub(crate) clock: ClockOrPlain,
    /// A clock for each of `outlooks`, where the power of the hours differs from point to point; empty where `clock` serves all.
    pub(crate) clocks: Arc<[Clock]>,
    /// The points come from this many independent scramblings, one after the other, equally many of each: the scatter between them is the
    /// error of the simulation. 0 where there is none to tell.
    pub(crate) scramblings: usize,
    /// Degrees of freedom of a reading's error about a line; None: normal.
    pub(crate) reading_df: Option<f64>,
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
    pub(crate) fn ahead(&self, hours: f64) -> f64 {
        self.clock.0.at(self.age + hours.max(0.0)) - self.clock.0.at(self.age)
    }

    /// The same at a point, whose clock may be its own.
    pub(crate) fn ahead_at(&self, point: usize, hours: f64) -> f64 {
        let clock = self.clocks.get(point).copied().unwrap_or(self.clock.0);
        clock.at(self.age + hours.max(0.0)) - clock.at(self.age)
    }

    /// Which the k-th of the equally likely points is. Where there are lines and wear, wear takes its share of the places, evenly spread.
    fn place(&self, k: usize) -> Option<Place> {
        if k >= self.points() {
            return None;
        }
        if self.wear.is_empty() {
            return Some(Place::Line(k));
        }
        if self.outlooks.is_empty() {
            return Some(Place::Wear(k));
        }
        let taken = |k: usize| (k as f64 * self.wear_share).floor() as usize;
        let before = taken(k);
        Some(if taken(k + 1) > before { Place::Wear(before % self.wear.len()) } else { Place::Line(k) })
    }

    /// The k-th of the equally likely points.
    pub(crate) fn point(&self, k: usize) -> Option<Point<'_>> {
        match self.place(k)? {
            Place::Line(k) => self.outlooks.get(k).map(|o| Point::Line(k, o)),
            Place::Wear(k) => self.wear.get(k).map(Point::Wear),
        }
    }

    /// Mean of `line` or `wear` over the points; not a number where there are none: a future of which nothing is known reassures nobody.
    pub(super) fn mean(&self, line: impl Fn(usize, &Outlook) -> f64, wear: impl Fn(&WearPoint) -> f64) -> f64 {
        let n = self.points();
        self.mean_of(0..n, &line, &wear)
    }

    /// The mean over some of the points. A wear point stands at several places, and is asked once.
    fn mean_of(
        &self,
        places: std::ops::Range<usize>,
        line: &impl Fn(usize, &Outlook) -> f64,
        wear: &impl Fn(&WearPoint) -> f64,
    ) -> f64 {
        let n = places.len() as f64;
        let mut times = vec![0.0; self.wear.len()];
        let mut sum = 0.0;
        for k in places {
            sum += match self.place(k) {
                Some(Place::Line(k)) => self.outlooks.get(k).map_or(f64::NAN, |o| line(k, o)),
                Some(Place::Wear(k)) => {
                    times[k] += 1.0;
                    0.0
                }
                None => f64::NAN,
            };
        }
        for (times, own) in times.iter().zip(&self.wear).filter(|(times, _)| **times > 0.0) {
            sum += times * wear(own);
        }
        sum / n
    }

    /// Chance of being in the damage zone now.
    pub fn chance_now(&self) -> f64 {
        self.chance_within(0.0)
    }

    /// Chance of being in the damage zone now or at some time within the next `hours`.
    pub fn chance_within(&self, hours: f64) -> f64 {
        let common = self.ahead(hours);
        let own = !self.clocks.is_empty();
        self.mean(
            |k, o| self.chance_at(o, if own { self.ahead_at(k, hours) } else { common }),
            |w| w.chance_within(self.zone, hours),
        )
    }

    /// [`Self::chance_within`] for many hours: what they have in common is worked out once.
    ///
    /// ```
    /// use packdrift_trend::{FeatureLimits, Prospect};
    /// let limits = FeatureLimits { upper: Some(1.6), ..FeatureLimits::default() };
    /// let p = Prospect::new((1.0, 0.05), (5e-5, 1e-5), 1e-4, &limits);
    /// let chance = p.chances();
    /// assert!((chance(9000.0) - p.chance_within(9000.0)).abs() < 1e-12);
    /// ```
    pub fn chances(&self) -> impl Fn(f64) -> f64 + '_ {
        let search = CrossingSearch::of(self);
        move |hours| search.chance_within(hours)
    }

    /// Chance at one state within hours of its Λ.
    fn chance_at(&self, o: &Outlook, ahead: f64) -> f64 {
        self.chance_from(o, tails(o.level, o.level_var, self.zone), ahead)
    }

    /// The same with the chances of being below and above the limits now at hand. Averages over hundreds of points take the quick rule.
    pub(super) fn chance_from(&self, o: &Outlook, now: (f64, f64), ahead: f64) -> f64 {
        if self.scramblings > 0 {
            quick::chance_within(o, self.zone, now, ahead)
        } else {
            chance_from(o, self.zone, now, ahead)
        }
    }

    /// [`Self::chance_within`] with its standard error of simulation, from the scatter between independent scramblings of the points; None
    /// where there are none to compare.
    pub fn chance_with_error(&self, hours: f64) -> (f64, Option<f64>) {
        let (count, n) = (self.scramblings, self.points());
        if count < 2 || n == 0 || n % count != 0 {
            return (self.chance_within(hours), None);
        }
        let size = n / count;
        let line = |k: usize, o: &Outlook| self.chance_at(o, self.ahead_at(k, hours));
        let wear = |w: &WearPoint| w.chance_within(self.zone, hours);
        let means: Vec<f64> =
            (0..count).map(|part| self.mean_of(part * size..(part + 1) * size, &line, &wear)).collect();
        let mean = means.iter().sum::<f64>() / count as f64;
        let squares: f64 = means.iter().map(|m| (m - mean) * (m - mean)).sum();
        (mean, Some((squares / (count * (count - 1)) as f64).sqrt()))
    }

    /// Points of the average, all equally likely.
    pub fn points(&self) -> usize {
        if self.outlooks.is_empty() { self.wear.len() } else { self.outlooks.len() }
    }

    /// [`Self::chance_within`] at one point of that average: prospects of one fit have their points in common.
    pub fn chance_at_point(&self, k: usize, hours: f64) -> f64 {
        match self.point(k) {
            Some(Point::Line(k, o)) => self.chance_at(o, self.ahead_at(k, hours)),
            Some(Point::Wear(w)) => w.chance_within(self.zone, hours),
            None => f64::NAN,
        }
    }

    /// By point of that average, the first point that is the same: a gamma process stands at several of them.
    pub fn alike(&self) -> Vec<usize> {
        let mut first = vec![None; self.wear.len()];
        let of = |k: usize| match self.place(k) {
            Some(Place::Wear(w)) => *first[w].get_or_insert(k),
            _ => k,
        };
        (0..self.points()).map(of).collect()
    }

    /// Chance of ever being in the damage zone if nothing is done.
    pub fn chance_ever(&self) -> f64 {
        // Averages over hundreds of points take the quick rule.
        let ever = if self.scramblings > 0 { quick::chance_ever_met } else { chance_ever };
        self.mean(|_, o| ever(o, self.zone), |w| w.chance_ever(self.zone))
    }

    /// Something of every point; a gamma process stands at several of them, and is asked once.
    fn each<T: Copy>(&self, line: impl Fn(usize, &Outlook) -> T, wear: impl Fn(&WearPoint) -> T) -> Vec<T> {
        let mut known: Vec<Option<T>> = vec![None; self.wear.len()];
        let of = |k: usize| match self.place(k)? {
            Place::Line(k) => self.outlooks.get(k).map(|o| line(k, o)),
            Place::Wear(k) => Some(*known[k].get_or_insert_with(|| wear(&self.wear[k]))),
        };
        (0..self.points()).filter_map(of).collect()
    }

    /// Mean and variance of the true value at every point.
    fn moments(&self, hours: f64) -> Vec<(f64, f64)> {
        self.each(|k, o| o.at(self.ahead_at(k, hours)), |w| w.at(hours.max(0.0)))
    }

    /// Mean and standard deviation of the true value `hours` ahead.
    pub fn value_at(&self, hours: f64) -> (f64, f64) {
        let moments = self.moments(hours);
        if let [(mean, var)] = moments[..] {
            return (mean, var.sqrt());
        }
        let n = moments.len() as f64;
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
        // Of each point: mean at a, mean at b, covariance.
        let line = |k: usize, o: &Outlook| {
            let (to_a, to_b) = (self.ahead_at(k, a), self.ahead_at(k, b));
            (o.at(to_a).0, o.at(to_b).0, o.covariance(to_a, to_b))
        };
        let (to_a, to_b) = (a.max(0.0), b.max(0.0));
        let points = self.each(line, |w| (w.at(to_a).0, w.at(to_b).0, w.covariance(to_a, to_b)));
        let n = points.len() as f64;
        let mean_a = points.iter().map(|p| p.0).sum::<f64>() / n;
        let mean_b = points.iter().map(|p| p.1).sum::<f64>() / n;
        points.iter().map(|p| p.2 + (p.0 - mean_a) * (p.1 - mean_b)).sum::<f64>() / n
    }

    /// The limits beyond which the damage zone lies, lower and upper, in the feature's unit.
    pub fn limits(&self) -> (Option<f64>, Option<f64>) {
        (self.zone.lower, self.zone.upper)
    }

    /// Standard deviation of a reading's error.
    pub fn sd_reading(&self) -> f64 {
        self.mean(|_, o| o.reading_var, |w| w.sigma * w.sigma).sqrt()
    }

    /// Forecast of a *reading*: the true value and its reading error.
    pub(crate) fn reading(&self, hours: f64) -> Vec<Part> {
        let n = self.points();
        let mut out = Vec::new();
        for k in 0..n {
            match self.point(k) {
                Some(Point::Line(k, o)) => {
                    let (mean, var) = o.at(self.ahead_at(k, hours));
                    let precisions = precisions(self.reading_df);
                    let weight = 1.0 / (n * precisions.len()) as f64;
                    out.extend(precisions.iter().map(|u| Part { weight, mean, sd: (var + o.reading_var / u).sqrt() }));
                }
                Some(Point::Wear(w)) => {
                    let precisions = precisions(w.df);
                    let weight = 1.0 / (n * precisions.len() * DEPTHS) as f64;
                    for mean in w.slices(hours, DEPTHS) {
                        out.extend(precisions.iter().map(|u| Part { weight, mean, sd: w.sigma / u.sqrt() }));
                    }
                }
                None => {}
            }
        }
        out
    }

    /// Hours ahead by which the value has entered the damage zone with chance `p`: 0 where that is so now, None where it never is.
    pub fn hours_to(&self, p: f64) -> Option<f64> {
        CrossingSearch::of(self).hours_to(p)
    }
}

/// Depths that stand for a gamma process's distribution: the middles of as many equal slices.
const DEPTHS: usize = 24;

/// Precisions of a t's scale mixture at the middles of eight equal slices; 1 for a normal error.
fn precisions(df: Option<f64>) -> Vec<f64> {
    match df {
        Some(nu) => (0..8).map(|k| chi_squared_quantile(nu, (f64::from(k) + 0.5) / 8.0) / nu).collect(),
        None => vec![1.0],
    }
}

/// A normal part of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Part {
    pub(crate) weight: f64,
    pub(crate) mean: f64,
    pub(crate) sd: f64,
}

/// Where one of the equally likely points of a prospect stands.
#[derive(Debug, Clone, Copy)]
enum Place {
    Line(usize),
    Wear(usize),
}

/// One of the equally likely points of a prospect.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Point<'a> {
    /// A normal state, with its place among the states.
    Line(usize, &'a Outlook),
    /// A gamma process.
    Wear(&'a WearPoint),
}
