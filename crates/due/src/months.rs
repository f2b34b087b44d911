//! How many valves and engines are in the damage zone month by month: nothing done, and by the plan.

use crate::calendar::Calendar;
use crate::engine::Outlooked;
use crate::fresh::FreshCurves;
use crate::result::{EngineDue, Month};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use rayon::prelude::*;

fn civil(day: i32) -> Option<Date> {
    date(1970, 1, 1).checked_add(i64::from(day).days()).ok()
}

fn day_of(date_: Date) -> i32 {
    date(1970, 1, 1).until(date_).map_or(0, |s| s.get_days())
}

/// The day of the plan, then the firsts of the months after it, `count` of them.
fn firsts(today: i32, count: usize) -> Vec<i32> {
    let mut out = vec![today];
    if let Some(start) = civil(today) {
        let first = start.first_of_month();
        out.extend((1..=count as i64).filter_map(|k| first.checked_add(k.months()).ok()).map(day_of));
    }
    out
}

/// An engine after its work: the chance of each valve on a day, by what was renewed of it and what went on as it was.
pub(crate) struct Afterwards<'a> {
    engine: &'a Outlooked,
    done: i32,
    /// Of each valve: the curve of what was renewed, and the parts that go on; None where it was left alone.
    renewed: Vec<Option<(crate::curve::Curve, Vec<usize>)>>,
}

impl<'a> Afterwards<'a> {
    pub(crate) fn of(engine: &'a Outlooked, due: &EngineDue, fresh: &FreshCurves, features: &[&str]) -> Self {
        let m = &engine.machine;
        let renewed = m
            .valves
            .iter()
            .enumerate()
            .map(|(v, name)| {
                let work = due.work.iter().find(|w| w.valve == name.name)?;
                // Shims renew the offset, new parts what they are named after; all else goes on.
                let done = |f: usize| work.causes.iter().any(|c| c.feature == features[f]);
                let own = || m.parts.iter().enumerate().filter(|(_, p)| p.valve == v);
                let new: Vec<&crate::curve::Curve> =
                    own().filter(|(_, p)| done(p.feature)).filter_map(|(_, p)| fresh.valve(p.feature, name)).collect();
                let going_on = own().filter(|(_, p)| !done(p.feature)).map(|(k, _)| k).collect();
                let curve = crate::curve::Curve::any(engine.any.reach(), new.iter().copied());
                (!new.is_empty()).then_some((curve, going_on))
            })
            .collect();
        Self { engine, done: due.done, renewed }
    }

    /// Chance that a valve is in the damage zone on `day`: entered by then, and not done since.
    pub(crate) fn valve(&self, valve: usize, day: i32) -> f64 {
        match (&self.renewed[valve], self.engine.machine.usage) {
            (Some((curve, going_on)), Some(usage)) if day > self.done => {
                let renewed = usage.average(f64::from(day - self.done), |h| curve.at(h));
                let stay: f64 = going_on.iter().map(|p| 1.0 - self.engine.part_chance(*p, day)).product();
                1.0 - (1.0 - renewed) * stay
            }
            _ => self.engine.valve_chance(valve, day),
        }
    }

    /// Chance that any is.
    pub(crate) fn any(&self, day: i32) -> f64 {
        1.0 - (0..self.renewed.len()).map(|v| 1.0 - self.valve(v, day)).product::<f64>()
    }
}

/// The numbers on a day, summed over the fleet in the engines' order, whatever the threads.
pub(crate) fn on_days(
    engines: &[Outlooked],
    dues: &[EngineDue],
    fresh: &FreshCurves,
    features: &[&str],
    days: &[i32],
) -> Vec<Month> {
    let parts: Vec<Vec<Month>> = engines
        .par_iter()
        .zip(dues)
        .map(|(engine, due)| {
            let valves = engine.machine.valves.len();
            let after = Afterwards::of(engine, due, fresh, features);
            days.iter()
                .map(|&day| Month {
                    day,
                    valves: (0..valves).map(|v| engine.valve_chance(v, day)).sum(),
                    engines: engine.chance(day),
                    valves_with_plan: (0..valves).map(|v| after.valve(v, day)).sum(),
                })
                .collect()
        })
        .collect();
    let mut out: Vec<Month> =
        days.iter().map(|day| Month { day: *day, valves: 0.0, engines: 0.0, valves_with_plan: 0.0 }).collect();
    for part in &parts {
        for (sum, one) in out.iter_mut().zip(part) {
            sum.valves += one.valves;
            sum.engines += one.engines;
            sum.valves_with_plan += one.valves_with_plan;
        }
    }
    out
}

/// Month by month, `count` of them.
pub(crate) fn months(
    engines: &[Outlooked],
    dues: &[EngineDue],
    fresh: &FreshCurves,
    features: &[&str],
    calendar: &Calendar,
    count: usize,
) -> Vec<Month> {
    on_days(engines, dues, fresh, features, &firsts(calendar.today, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_begin_on_their_firsts() {
        // 2026-11-25 is day 20782.
        assert_eq!(firsts(20_782, 3), [20_782, 20_788, 20_819, 20_850]);
    }
}
