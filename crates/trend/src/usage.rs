//! Hours a week of each engine, from its meter, and how sure they are: what turns running hours into dates.
//!
//! The running hours of days that do not overlap are taken as independent, with mean μ and variance σ² a day (a Wiener process with
//! drift, CoxMiller1965 ch. 5): between two readings Δ days apart the meter gains
//! ΔH ~ (μΔ, σ²Δ). Then
//!
//! μ̂ = ΣΔH/ΣΔ,   s² = Σ(ΔH − μ̂Δ)²/Δ / (n − 1),   Var(H in D days to come) = σ²·D·(1 + D/ΣΔ),
//!
//! the second part for the error of μ̂. A handful of intervals tell little of σ², so an engine's own s² counts by its degrees of freedom
//! and the fleet's index of dispersion (s²/μ̂ of all engines together) as [`FLEET_WEIGHT`] more.

use crate::inspections::Inspections;
use crate::policy::Policy;
use std::collections::BTreeMap;

/// Where an engine's hours a week are from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum UsageSource {
    /// The policy, for this engine by name.
    PolicyForEngine,
    /// Its own meter readings.
    Meter,
    /// The policy's default.
    PolicyDefault,
    /// The mean of the fleet: an engine read once, or not known to the inspections.
    Fleet,
}

impl UsageSource {
    /// As JSON spells it: `policy`, `meter`, `policy-default`, `fleet`.
    pub fn name(self) -> &'static str {
        match self {
            Self::PolicyForEngine => "policy",
            Self::Meter => "meter",
            Self::PolicyDefault => "policy-default",
            Self::Fleet => "fleet",
        }
    }
}

/// An engine's running, and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    /// Hours a week.
    pub hours_a_week: f64,
    /// Standard error of `hours_a_week`; 0 where the policy states it; the fleet's scatter where the mean of the fleet stands for it.
    pub standard_error: f64,
    /// Variance of the hours of one day, h²: days do not repeat each other.
    pub variance_a_day: f64,
    /// Where `hours_a_week` is from.
    pub source: UsageSource,
    /// Hours a week by the meter and their standard error, beside a figure the policy states.
    pub measured: Option<(f64, f64)>,
}

/// Degrees of freedom that the fleet's scatter of usage counts beside an engine's own.
pub(crate) const FLEET_WEIGHT: f64 = 4.0;

/// Readings closer together than this are one visit: an engine stands still while it is worked on, days.
const ONE_VISIT: i32 = 7;

/// An engine's own readings tell its pace once they span this many days; less than a quarter of a year tells little of a year's running.
const SPAN: i32 = 90;

/// A meter as read: one entry a day, in order of days.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Meter {
    /// (days since 1970-01-01, hours).
    pub visits: Vec<(i32, f64)>,
}

/// Meters of all engines, in the table's order.
pub fn meters(table: &Inspections) -> Vec<Meter> {
    let mut days: Vec<BTreeMap<i32, f64>> = vec![BTreeMap::new(); table.engines.len()];
    for row in 0..table.value.len() {
        let engine = table.valves[table.valve[row] as usize].0 as usize;
        let hours = table.hours[row];
        if hours.is_finite() {
            let entry = days[engine].entry(table.day[row]).or_insert(hours);
            *entry = entry.max(hours);
        }
    }
    days.into_iter().map(|visits| Meter { visits: visits.into_iter().collect() }).collect()
}

/// What the meter gained, and in how many days, between visits. A meter that fell was changed: nothing is known of that stretch. More
/// than 24 h a day is a slip of the pen, and the stretch is left out as well.
fn gains(meter: &Meter) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    let Some(mut from) = meter.visits.first().copied() else { return out };
    for (k, &to) in meter.visits.iter().enumerate().skip(1) {
        let days = to.0 - from.0;
        let gain = to.1 - from.1;
        if gain < 0.0 || gain > 24.0 * f64::from(days + 1) {
            from = to;
        } else if days >= ONE_VISIT {
            out.push((f64::from(days), gain));
            from = to;
        } else if k + 1 == meter.visits.len() {
            // The last visit's second day belongs to the stretch before it.
            if let Some(last) = out.last_mut() {
                *last = (last.0 + f64::from(days), last.1 + gain);
            }
        }
    }
    out
}

/// An engine's own: (hours a day, total days, sum of squares, degrees of freedom).
#[derive(Debug, Clone, Copy)]
struct Own {
    rate: f64,
    days: f64,
    square: f64,
    df: f64,
}

fn own(meter: &Meter) -> Option<Own> {
    let gains = gains(meter);
    let days: f64 = gains.iter().map(|g| g.0).sum();
    if days < f64::from(SPAN) {
        return None;
    }
    let rate = gains.iter().map(|g| g.1).sum::<f64>() / days;
    let square = gains.iter().map(|(d, h)| (h - rate * d).powi(2) / d).sum();
    (rate > 0.0).then_some(Own { rate, days, square, df: gains.len() as f64 - 1.0 })
}

/// Usage of every engine: the policy's figure for it by name, else its own by the meter, else the policy's default, else the mean of the
/// fleet. None where nothing is known of any engine.
///
/// ```
/// use packdrift_trend::{Inspections, Policy, UsageSource, meters, usages};
/// // One valve read on two days, 200 days and 1200 hours apart.
/// let table = Inspections {
///     engines: vec!["P1".into()],
///     valves: vec![(0, "1 intake".into())],
///     features: vec!["contact_offset".into()],
///     valve: vec![0, 0],
///     day: vec![20_000, 20_200],
///     hours: vec![100.0, 1300.0],
///     feature: vec![0, 0],
///     value: vec![1.0, 1.1],
///     event: vec![0, 0],
///     group: vec![0, 0],
///     ..Inspections::default()
/// };
/// let usage = usages(&table.engines, &meters(&table), &Policy::default())[0].unwrap();
/// assert!((usage.hours_a_week - 42.0).abs() < 1e-9 && usage.source == UsageSource::Meter);
/// ```
pub fn usages(names: &[String], meters: &[Meter], policy: &Policy) -> Vec<Option<Usage>> {
    let owns: Vec<Option<Own>> = meters.iter().map(own).collect();
    let known = || owns.iter().flatten().filter(|o| o.df > 0.0);
    let df: f64 = known().map(|o| o.df).sum();
    // Index of dispersion σ²/μ, hours; with no engine read three times a day is worked or not, which is the most that can vary.
    let dispersion = if df > 0.0 { known().map(|o| o.square / o.rate).sum::<f64>() / df } else { 24.0 };
    let usable = |h: &f64| h.is_finite() && *h > 0.0;
    let known: Vec<Option<Usage>> = names
        .iter()
        .enumerate()
        .map(|(k, name)| {
            let own = owns.get(k).copied().flatten();
            let measured = own.map(|o| {
                let df = o.df + FLEET_WEIGHT;
                let variance = (o.square + FLEET_WEIGHT * dispersion * o.rate) / df;
                // Known by few intervals: the variance of Student's t.
                Usage {
                    hours_a_week: 7.0 * o.rate,
                    standard_error: 7.0 * (variance / o.days * df / (df - 2.0)).sqrt(),
                    variance_a_day: variance,
                    source: UsageSource::Meter,
                    measured: None,
                }
            });
            let stated = |hours: f64, source| Usage {
                hours_a_week: hours,
                standard_error: 0.0,
                variance_a_day: measured.map_or(dispersion * hours / 7.0, |m| m.variance_a_day),
                source,
                measured: measured.map(|m| (m.hours_a_week, m.standard_error)),
            };
            if let Some(hours) = policy.usage.get(name).copied().filter(usable) {
                return Some(stated(hours, UsageSource::PolicyForEngine));
            }
            measured.or_else(|| policy.usage_default.filter(usable).map(|h| stated(h, UsageSource::PolicyDefault)))
        })
        .collect();
    let fleet = fleet_usage(&known);
    known.into_iter().map(|usage| usage.or(fleet)).collect()
}

/// Scatter of engines' hours a week about their mean, as a share of it, where few engines tell: a third (common practice, no source).
const BETWEEN: f64 = 0.33;

/// Usage of an engine of which nothing is known, from that of the others: their mean, which errs for it by their scatter. None where none
/// is known.
pub fn fleet_usage(usages: &[Option<Usage>]) -> Option<Usage> {
    let by_themselves = |u: &&Usage| matches!(u.source, UsageSource::PolicyForEngine | UsageSource::Meter);
    let known: Vec<&Usage> = usages.iter().flatten().filter(by_themselves).collect();
    let n = known.len() as f64;
    let mean = known.iter().map(|u| u.hours_a_week).sum::<f64>() / n;
    let square: f64 = known.iter().map(|u| (u.hours_a_week - mean).powi(2)).sum();
    let df = n - 1.0 + FLEET_WEIGHT;
    let between = (square + FLEET_WEIGHT * (BETWEEN * mean).powi(2)) / df;
    (!known.is_empty()).then(|| Usage {
        hours_a_week: mean,
        standard_error: (between * (1.0 + 1.0 / n) * df / (df - 2.0)).sqrt(),
        variance_a_day: known.iter().map(|u| u.variance_a_day).sum::<f64>() / n,
        source: UsageSource::Fleet,
        measured: None,
    })
}

/// Gauss–Hermite points and weights for the standard normal, seven of them: exact for polynomials of degree 13 (A. Stroud, D. Secrest:
/// Gaussian Quadrature Formulas, 1966; recomputed).
const HERMITE: [(f64, f64); 7] = [
    (-3.750_439_717_725_742, 5.482_688_559_722_179e-4),
    (-2.366_759_410_734_541, 3.075_712_396_758_645e-2),
    (-1.154_405_394_739_968, 0.240_123_178_605_012_8),
    (0.0, 0.457_142_857_142_857_1),
    (1.154_405_394_739_968, 0.240_123_178_605_012_8),
    (2.366_759_410_734_541, 3.075_712_396_758_645e-2),
    (3.750_439_717_725_742, 5.482_688_559_722_179e-4),
];

impl Usage {
    /// Mean and variance of the hours run in the next `days`.
    pub fn hours_in(&self, days: f64) -> (f64, f64) {
        let days = days.max(0.0);
        let per_day = self.standard_error / 7.0;
        (self.hours_a_week / 7.0 * days, self.variance_a_day * days + (per_day * days).powi(2))
    }

    /// Points (hours, weight) that stand for the hours run in the next `days`: lognormal with the mean and variance of
    /// [`Self::hours_in`], because hours are never negative.
    pub fn points(&self, days: f64) -> [(f64, f64); 7] {
        let (mean, variance) = self.hours_in(days);
        if mean <= 0.0 {
            return HERMITE.map(|(_, w)| (0.0, w));
        }
        let s2 = (variance / (mean * mean)).ln_1p();
        let s = s2.sqrt();
        HERMITE.map(|(z, w)| (mean * (s * z - 0.5 * s2).exp(), w))
    }

    /// Average of a function of the hours run in the next `days`.
    pub fn average(&self, days: f64, f: impl Fn(f64) -> f64) -> f64 {
        self.points(days).iter().map(|(h, w)| w * f(*h)).sum()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use packdrift_numerics::stream::Key;

    fn meter(visits: &[(i32, f64)]) -> Meter {
        Meter { visits: visits.to_vec() }
    }

    #[test]
    fn hermite_points_have_the_moments_of_the_normal() {
        for (power, moment) in [(0, 1.0), (2, 1.0), (4, 3.0), (6, 15.0), (8, 105.0), (10, 945.0), (12, 10395.0)] {
            let sum: f64 = HERMITE.iter().map(|(z, w)| w * z.powi(power)).sum();
            assert!((sum / moment - 1.0).abs() < 1e-12, "{power}: {sum}");
        }
    }

    #[test]
    fn points_have_the_mean_and_variance_of_the_hours() {
        let u = Usage {
            hours_a_week: 42.0,
            standard_error: 3.0,
            variance_a_day: 20.0,
            source: UsageSource::Meter,
            measured: None,
        };
        let (mean, variance) = u.hours_in(200.0);
        // By hand: 6 h a day for 200 days; 20·200 + (3/7·200)².
        assert!((mean - 1200.0).abs() < 1e-9 && (variance - (4000.0 + (600.0_f64 / 7.0).powi(2))).abs() < 1e-9);
        let m: f64 = u.average(200.0, |h| h);
        let v: f64 = u.average(200.0, |h| (h - mean).powi(2));
        assert!((m / mean - 1.0).abs() < 1e-9 && (v / variance - 1.0).abs() < 1e-6, "{m} {v}");
        assert_eq!(u.points(0.0)[6].0, 0.0);
    }

    #[test]
    fn a_changed_meter_and_a_slip_of_the_pen_are_left_out_and_a_visit_of_two_days_is_one() {
        let m = meter(&[(0, 100.0), (100, 600.0), (200, 3.0), (300, 503.0), (301, 504.0)]);
        assert_eq!(gains(&m), [(100.0, 500.0), (101.0, 501.0)]);
        assert_eq!(gains(&meter(&[(0, 0.0), (100, 9000.0), (200, 9500.0)])), [(100.0, 500.0)]);
    }

    #[test]
    fn the_policy_by_name_comes_before_the_meter_and_the_meter_before_the_default() {
        let names: Vec<String> = ["A", "B", "C"].map(String::from).to_vec();
        let read = meter(&[(0, 0.0), (100, 500.0), (200, 1100.0)]);
        let meters = [read.clone(), read, meter(&[(0, 0.0), (20, 100.0)])];
        let mut policy = Policy { usage_default: Some(42.0), ..Policy::default() };
        policy.usage.insert("A".into(), 30.0);
        let u = usages(&names, &meters, &policy);
        let [a, b, c] = [0, 1, 2].map(|k| u[k].unwrap());
        assert_eq!((a.source, a.hours_a_week), (UsageSource::PolicyForEngine, 30.0));
        assert!((a.measured.unwrap().0 - 38.5).abs() < 1e-9);
        assert_eq!((b.source, c.source), (UsageSource::Meter, UsageSource::PolicyDefault));
        assert!((b.hours_a_week - 38.5).abs() < 1e-9 && c.hours_a_week == 42.0 && b.standard_error > 0.0);
        let none = usages(&names[2..], &meters[2..], &Policy::default());
        assert_eq!(none, [None]);
    }

    /// Engines of one fleet; the last of each is not read, and its hours a week are held against the mean of the others. By hand with many
    /// engines: mean and sd of the fleet. Over many fleets the standardised misses have variance 1 or less (the allowance for few is wide).
    #[test]
    fn an_engine_read_once_runs_as_the_fleet_does() {
        let mut s = Key::new(8, "usage of a fleet").stream(0);
        let once = |hours: f64| meter(&[(400, hours)]);
        for engines in [1, 2, 5, 40] {
            let (mut square, fleets) = (0.0, 300);
            for _ in 0..fleets {
                let weekly: Vec<f64> = (0..=engines).map(|_| (40.0 + 12.0 * s.normal()).max(5.0)).collect();
                let read = |w: &f64| meter(&[(0, 0.0), (200, w / 7.0 * 200.0), (400, w / 7.0 * 400.0)]);
                let mut meters: Vec<Meter> = weekly[..engines].iter().map(read).collect();
                meters.push(once(500.0));
                let names: Vec<String> = (0..=engines).map(|e| e.to_string()).collect();
                let u = usages(&names, &meters, &Policy::default())[engines].unwrap();
                assert_eq!(u.source, UsageSource::Fleet);
                square += ((u.hours_a_week - weekly[engines]) / u.standard_error).powi(2) / f64::from(fleets);
            }
            // Four standard errors of a mean of squares that are at most chi-squared with one degree of freedom.
            assert!((0.3..1.0 + 4.0 * (2.0 / f64::from(fleets)).sqrt()).contains(&square), "{engines}: {square}");
        }
    }

    /// Engines run a random number of hours each day; the year after their records is predicted by mean and sd. Over many engines the
    /// standardised misses have mean 0 and variance 1 (4 standard errors; the variance's own allowance for few intervals is part of it).
    #[test]
    fn the_hours_of_the_year_after_scatter_as_foretold() {
        let mut s = Key::new(3, "usage").stream(0);
        let engines = 400;
        let mut day_hours = |rate: f64| if s.uniform() < 0.5 { 2.0 * rate * 2.0 * s.uniform() } else { 0.0 };
        let mut meters = Vec::new();
        let mut after = Vec::new();
        for e in 0..engines {
            let rate = 4.0 + f64::from(e % 5);
            let (mut hours, mut visits) = (0.0, vec![(0, 0.0)]);
            for day in 1..=1200 {
                hours += day_hours(rate);
                if day % 200 == 0 {
                    visits.push((day, hours));
                }
            }
            meters.push(Meter { visits });
            after.push((0..365).map(|_| day_hours(rate)).sum::<f64>());
        }
        let names: Vec<String> = (0..engines).map(|e| e.to_string()).collect();
        let z: Vec<f64> = usages(&names, &meters, &Policy::default())
            .iter()
            .zip(&after)
            .map(|(u, hours)| {
                let (mean, variance) = u.unwrap().hours_in(365.0);
                (hours - mean) / variance.sqrt()
            })
            .collect();
        let n = f64::from(engines);
        let mean = z.iter().sum::<f64>() / n;
        let variance = z.iter().map(|z| z * z).sum::<f64>() / n;
        assert!(mean.abs() < 4.0 / n.sqrt(), "{mean}");
        assert!((variance - 1.0).abs() < 4.0 * (2.0 / n).sqrt(), "{variance}");
    }
}
