//! An engine's chance by date, and the latest day on which it is still below the risk.
//!
//! C̄(t) = E[C(H_t)]: the chance over hours ([`crate::curve`]) averaged over the hours the engine may have run by day t
//! ([`packdrift_trend::Usage`]). The hours are one number for all its valves, so the average is taken last.

use crate::curve::{Curve, Curves};
use crate::machine::Machine;

/// Days ahead that are looked at: ten years. Beyond, neither usage nor wear is foreseen by what was read.
pub(crate) const REACH_DAYS: i32 = 3653;

/// Double panels of Simpson's rule over a plan's time.
const PANELS: i32 = 16;

/// An engine with its chances tabulated.
#[derive(Debug, Clone)]
pub(crate) struct Outlooked {
    pub(crate) machine: Machine,
    /// That any valve has entered the damage zone.
    pub(crate) any: Curve,
    /// Per valve, by any feature.
    pub(crate) valve: Vec<Curve>,
    /// Per part.
    pub(crate) part: Vec<Curve>,
}

impl Outlooked {
    /// `horizon` in hours; `faster`: how many times as much as today it may have to run in a scenario, 1 or more.
    pub(crate) fn of(machine: Machine, horizon: f64, faster: f64) -> Self {
        let reach = machine.usage.map_or(0.0, |u| {
            let (mean, variance) = u.hours_in(f64::from(REACH_DAYS));
            faster * (mean + 4.0 * variance.sqrt())
        });
        let reach = reach.max(2.0 * horizon);
        // A part whose chance is no number is not part of the date, and its engine is not shown to be fit.
        let curves: Vec<Option<Curve>> = machine.parts.iter().map(|p| Curve::of(reach, p.chances())).collect();
        let mut machine = machine;
        for (p, _) in machine.parts.iter().zip(&curves).filter(|(_, curve)| curve.is_none()) {
            machine.not_forecast.push(p.feature);
        }
        let mut sound = curves.iter().map(Option::is_some);
        machine.parts.retain(|_| sound.next().unwrap_or_default());
        let part = curves.into_iter().flatten().collect();
        let Curves { any, valve, part } = Curves::of(&machine.parts, part, machine.valves.len(), reach);
        Self { machine, any, valve, part }
    }

    /// Average over the hours run until `day`; without usage the hours are taken to stand still.
    pub(crate) fn average(&self, day: i32, f: impl Fn(f64) -> f64) -> f64 {
        self.average_days(f64::from(day - self.machine.last_day), f)
    }

    fn average_days(&self, days: f64, f: impl Fn(f64) -> f64) -> f64 {
        match self.machine.usage {
            Some(usage) if days > 0.0 => usage.average(days, f),
            _ => f(0.0),
        }
    }

    /// Chance that any valve has entered the damage zone by `day`.
    pub(crate) fn chance(&self, day: i32) -> f64 {
        self.average(day, |h| self.any.at(h))
    }

    /// Chance that a valve has, by `day`.
    pub(crate) fn valve_chance(&self, valve: usize, day: i32) -> f64 {
        self.average(day, |h| self.valve[valve].at(h))
    }

    /// Chance that a part has, by `day`.
    pub(crate) fn part_chance(&self, part: usize, day: i32) -> f64 {
        self.average(day, |h| self.part[part].at(h))
    }

    /// Standard error of the simulation behind the chance that any valve has entered `ahead` hours after `day`; 0 where it is integrated.
    pub(crate) fn simulation_error(&self, day: i32, ahead: f64) -> f64 {
        let hours = self.average(day, |h| h) + ahead;
        let errors = self.machine.parts.iter().filter_map(|p| p.prospect.chance_with_error(p.behind + hours).1);
        errors.map(|e| e * e).sum::<f64>().sqrt()
    }

    /// The latest day on which the chance is still below `risk`: the day before the first on which it is not. Where it is not at the
    /// last reading, the day before that. None where it stays below through the reach, or the usage is not known.
    pub(crate) fn latest_day(&self, risk: f64) -> Option<i32> {
        let from = self.machine.last_day;
        let reached = |days: i32| self.chance(from.saturating_add(days)) >= risk;
        if reached(0) {
            return Some(from - 1);
        }
        self.machine.usage?;
        if !reached(REACH_DAYS) {
            return None;
        }
        let (mut low, mut high) = (0, REACH_DAYS);
        while high - low > 1 {
            let mid = i32::midpoint(low, high);
            if reached(mid) {
                high = mid;
            } else {
                low = mid;
            }
        }
        Some(from + low)
    }

    /// Days from `from` to `to`, each weighted with what the chance goes beyond `risk` on it.
    pub(crate) fn days_beyond(&self, risk: f64, from: i32, to: i32) -> f64 {
        self.integral(from, to, |chance| (chance - risk).max(0.0))
    }

    /// Integral of a function of the chance over the days from `from` to `to`, by Simpson's rule.
    pub(crate) fn integral(&self, from: i32, to: i32, f: impl Fn(f64) -> f64) -> f64 {
        let days = f64::from((to - from).max(0));
        let h = days / f64::from(2 * PANELS);
        let weighted = |k: i32| {
            let weight = if k == 0 || k == 2 * PANELS { 1.0 } else { f64::from(2 + 2 * (k % 2)) };
            weight
                * f(self.average_days(f64::from(from - self.machine.last_day) + h * f64::from(k), |x| self.any.at(x)))
        };
        (0..=2 * PANELS).map(weighted).sum::<f64>() * h / 3.0
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use crate::curve::Part;
    use crate::machine::ValveName;
    use packdrift_numerics::stream::Key;
    use packdrift_trend::FeatureLimits;
    use packdrift_trend::{Prospect, Usage, UsageSource};

    const LIMITS: (f64, f64) = (0.4, 1.6);

    struct Truth {
        level: (f64, f64),
        slope: (f64, f64),
        wander: f64,
    }

    fn outlooked(valves: &[Truth], usage: Usage) -> Outlooked {
        let limits = FeatureLimits { lower: Some(LIMITS.0), upper: Some(LIMITS.1), ..FeatureLimits::default() };
        let machine = Machine {
            name: "E".into(),
            last_day: 20_000,
            last_hours: 5000.0,
            usage: Some(usage),
            valves: (0..valves.len()).map(|v| ValveName { name: v.to_string(), group: String::new() }).collect(),
            not_forecast: Vec::new(),
            unforecast: Vec::new(),
            parts: valves
                .iter()
                .enumerate()
                .map(|(v, t)| Part {
                    valve: v,
                    feature: 0,
                    prospect: Prospect::new(t.level, t.slope, t.wander, &limits),
                    behind: 0.0,
                    read: None,
                    said: None,
                })
                .collect(),
            not_read: false,
        };
        Outlooked::of(machine, 2000.0, 1.0)
    }

    /// Simulates the engine day by day from the definition alone: levels, slopes, a week's pace that is off by its error, hours that vary
    /// from day to day, and valves that wander; counts the first day on which any is outside.
    fn simulated(valves: &[Truth], usage: Usage, days: usize, trials: usize) -> Vec<u32> {
        let mut s = Key::new(11, "due simulated").stream(0);
        let mut first = vec![0_u32; days + 1];
        for _ in 0..trials {
            let rate = (usage.hours_a_week + usage.standard_error * s.normal()) / 7.0;
            let mut x: Vec<(f64, f64)> = valves
                .iter()
                .map(|t| (t.level.0 + t.level.1 * s.normal(), t.slope.0 + t.slope.1 * s.normal()))
                .collect();
            for count in &mut first {
                if x.iter().any(|(x, _)| !(LIMITS.0..=LIMITS.1).contains(x)) {
                    *count += 1;
                    break;
                }
                // Hours of a day: gamma would do, any law with this mean and variance does after a few weeks.
                let hours = (rate + usage.variance_a_day.sqrt() * s.normal()).max(0.0);
                for (x, t) in x.iter_mut().zip(valves) {
                    x.0 += x.1 * hours;
                    if t.wander > 0.0 {
                        x.0 += t.wander * hours.sqrt() * s.normal();
                    }
                }
            }
        }
        first
    }

    #[test]
    fn the_latest_day_is_that_of_a_simulated_fleet() {
        let usage = Usage {
            hours_a_week: 60.0,
            standard_error: 6.0,
            variance_a_day: 4.0,
            source: UsageSource::Meter,
            measured: None,
        };
        for wander in [0.0, 8e-4] {
            let valves = [
                Truth { level: (1.25, 0.02), slope: (4e-5, 5e-6), wander },
                Truth { level: (1.10, 0.02), slope: (5e-5, 8e-6), wander },
                Truth { level: (0.80, 0.02), slope: (-3e-5, 6e-6), wander },
            ];
            let engine = outlooked(&valves, usage);
            let due = engine.latest_day(0.05).unwrap();
            let (days, trials) = ((due - 20_000) as usize + 60, 4000);
            let first = simulated(&valves, usage, days, trials);
            let by = |day: i32| f64::from(first[..=(day - 20_000) as usize].iter().sum::<u32>()) / trials as f64;
            // 3.5 standard errors of a share of one in twenty; a path is looked at once a day, which hides part of its excursions.
            let error = 3.5 * (0.05 * 0.95 / trials as f64).sqrt();
            assert!((by(due) - 0.05).abs() < error + 0.002, "wander {wander}: {} on day {due}", by(due));
            for day in [due - 100, due + 50] {
                let c = engine.chance(day);
                let error = 3.5 * (c * (1.0 - c) / trials as f64).sqrt();
                assert!((by(day) - c).abs() < error + 0.002 + 0.02 * c, "wander {wander}, {day}: {} {c}", by(day));
            }
            assert!(engine.chance(due) < 0.05 && engine.chance(due + 1) >= 0.05);
        }
    }

    #[test]
    fn an_engine_already_at_risk_was_due_before_its_last_reading_and_a_quiet_one_has_no_date() {
        let usage = Usage {
            hours_a_week: 40.0,
            standard_error: 1.0,
            variance_a_day: 4.0,
            source: UsageSource::Meter,
            measured: None,
        };
        let at_risk = outlooked(&[Truth { level: (1.58, 0.02), slope: (4e-5, 5e-6), wander: 0.0 }], usage);
        assert_eq!(at_risk.latest_day(0.05), Some(19_999));
        let quiet = outlooked(&[Truth { level: (1.0, 0.02), slope: (1e-7, 1e-7), wander: 0.0 }], usage);
        assert_eq!(quiet.latest_day(0.05), None);
    }
}
