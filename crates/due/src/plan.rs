//! The plan: what each engine costs in each window, the windows filled, and what comes of doing nothing.

use crate::curve::Curve;
use crate::demand::{Aims, demand, work};
use crate::engine::Outlooked;
use crate::error::DueError;
use crate::result::{Criterion, EngineDue, Month, Plan, PlannedWindow, ValveWork};
use crate::windows::{Assignment, assign, worth_of_places};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use packdrift_trend::{Costs, Policy, Window};
use rayon::prelude::*;

/// A year in the damage zone weighs as much as this many engines that are done too late.
const YEAR: f64 = 100.0;

/// The days that count: windows still to come, and the plan's end.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Calendar {
    pub(crate) today: i32,
    pub(crate) windows: Vec<Window>,
    pub(crate) past: usize,
    /// A following window is taken to come as long after the last as the windows are apart (their mean distance; a year where there is one
    /// window or none).
    pub(crate) end: i32,
    pub(crate) gap: i32,
}

impl Calendar {
    pub(crate) fn of(policy: &Policy, today: i32) -> Self {
        let windows: Vec<Window> = policy.windows.iter().filter(|w| w.end >= today).cloned().collect();
        let gap = match policy.windows.as_slice() {
            [first, .., last] => ((last.end - first.end) / (policy.windows.len() as i32 - 1)).max(1),
            _ => 365,
        };
        let end = windows.last().map_or(today, |w| w.end) + gap;
        Self { today, past: policy.windows.len() - windows.len(), windows, end, gap }
    }

    /// The day by which an engine of a column is done: its latest day where that lies in the window (the urgent come first), else the
    /// window's last; without a window the plan's end.
    pub(crate) fn done(&self, column: usize, due: Option<i32>) -> i32 {
        let Some(window) = self.windows.get(column) else { return self.end };
        due.filter(|d| (window.start.max(self.today)..window.end).contains(d)).unwrap_or(window.end)
    }

    /// The day by which the window after that is over.
    pub(crate) fn following(&self, column: usize) -> i32 {
        if column >= self.windows.len() { self.end + self.gap } else { self.done(column + 1, None) }
    }
}

/// What an engine in a column comes to.
#[derive(Debug, Clone, Copy)]
struct Cost {
    /// Expected cost until the plan's end; 0 where the policy has none.
    expected: f64,
    /// Days, each weighted with what the chance goes beyond the accepted risk on it. Unlike the chance itself this goes on growing for an
    /// engine that is in the damage zone already, so that such an engine is not put off as a lost case.
    beyond: f64,
    /// What is minimised.
    minimised: f64,
}

impl Cost {
    fn of(engine: &Outlooked, day: i32, calendar: &Calendar, policy: &Policy, rate: f64) -> Self {
        let chance = engine.chance(day);
        let beyond = engine.days_beyond(policy.risk, calendar.today, day);
        // Too late is too late, and the longer the worse. Set against an engine that is done too late is a failure, or twice what is
        // given away by work done at no risk at all: the risk is exceeded only where no place is left.
        let late = f64::from(u8::from(chance >= policy.risk)) + YEAR * beyond / 365.25;
        match policy.cost {
            Some(Costs { planned, failure, .. }) => {
                // The expected cost of this job, and of the interval that begins with it up to the plan's end, by its hours. Until the
                // job, or the failure before it, the engine lives: E[min(T, t)] = ∫R.
                let hours_a_day = engine.machine.usage.map_or(0.0, |u| u.hours_a_week / 7.0);
                let lived = engine.integral(calendar.today, day, |chance| 1.0 - chance) * hours_a_day;
                let whole = f64::from((calendar.end - calendar.today).max(0)) * hours_a_day;
                let expected = planned * (1.0 - chance) + failure * chance + rate * (whole - lived);
                Self { expected, beyond, minimised: expected + late * failure }
            }
            None => Self { expected: 0.0, beyond, minimised: 2.0 * late + (1.0 - chance / policy.risk).max(0.0) },
        }
    }
}

/// Fills the windows; writes each engine's window, chance and work.
pub(crate) fn fill(
    engines: &[Outlooked],
    dues: &mut [EngineDue],
    calendar: &Calendar,
    policy: &Policy,
    rates: &[f64],
    aims: &Aims<'_>,
    feature_names: &[&str],
) -> Result<Plan, DueError> {
    // An engine whose usage is not known has no chance by date and takes no place.
    let planned: Vec<usize> =
        (0..engines.len()).filter(|e| engines[*e].machine.usage.is_some() && !dues[*e].at_once).collect();
    let next_window = calendar.windows.first().map_or(calendar.end, |w| w.end);
    let (mut total, mut days_beyond) = (0.0, 0.0);
    for (k, (engine, due)) in engines.iter().zip(dues.iter_mut()).enumerate().filter(|(_, (_, d))| d.at_once) {
        due.work = work(engine, calendar.today, next_window, policy.risk, 1, aims, feature_names);
        total += Cost::of(engine, calendar.today, calendar, policy, rates[k]).expected;
    }
    let columns = calendar.windows.len();
    let costs: Vec<Vec<Cost>> = planned
        .par_iter()
        .map(|&e| {
            let day = |w| calendar.done(w, dues[e].due);
            (0..=columns).map(|w| Cost::of(&engines[e], day(w), calendar, policy, rates[e])).collect()
        })
        .collect();
    let minimised: Vec<Vec<f64>> = costs.iter().map(|row| row.iter().map(|c| c.minimised).collect()).collect();
    let beyond: Vec<Vec<f64>> = costs.iter().map(|row| row.iter().map(|c| c.beyond).collect()).collect();
    let capacity: Vec<u32> = calendar.windows.iter().map(|w| w.engines).collect();
    let found: Assignment = assign(&minimised, &capacity)?;
    let worth = worth_of_places(&minimised, &beyond, &capacity, &found);
    let mut windows: Vec<PlannedWindow> = calendar
        .windows
        .iter()
        .zip(worth)
        .map(|(w, worth_of_a_place)| PlannedWindow {
            start: w.start,
            end: w.end,
            capacity: w.engines,
            engines: Vec::new(),
            worth_of_a_place,
            demand: Vec::new(),
        })
        .collect();
    let jobs: Vec<_> = planned
        .par_iter()
        .zip(&found.column)
        .map(|(&e, &w)| {
            let (then, following) = (calendar.done(w, dues[e].due), calendar.following(w));
            let at_least = usize::from(w < columns);
            (engines[e].chance(then), work(&engines[e], then, following, policy.risk, at_least, aims, feature_names))
        })
        .collect();
    let at_once = engines.iter().zip(dues.iter()).filter(|(_, d)| d.at_once);
    let (mut late, mut undone) =
        at_once.fold((0.0, 0.0), |sum, (e, d)| (sum.0 + d.chance_now, sum.1 + e.chance(calendar.end)));
    for (k, (&e, (chance, work))) in planned.iter().zip(jobs).enumerate() {
        let w = found.column[k];
        total += costs[k][w].expected;
        days_beyond += costs[k][w].beyond;
        late += chance;
        undone += engines[e].chance(calendar.end);
        dues[e].chance_then = chance;
        dues[e].work = work;
        dues[e].window = (w < columns).then_some(w);
        dues[e].done = calendar.done(w, dues[e].due);
        if let Some(window) = windows.get_mut(w) {
            window.engines.push(e);
        }
    }
    for window in &mut windows {
        window.demand = demand(window.engines.iter().flat_map(|e| &dues[*e].work));
    }
    Ok(Plan {
        criterion: if policy.cost.is_some() { Criterion::Cost } else { Criterion::Risk },
        windows,
        end: calendar.end,
        expected_cost: policy.cost.is_some().then_some(total),
        days_beyond,
        expected_late: late,
        expected_late_undone: undone,
    })
}

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

/// Valves and engines in the damage zone month by month: nothing done, and by the plan. `fresh` gives a done valve's chance over the hours
/// since, by what was renewed of it, and the parts that go on as they were.
pub(crate) fn months(
    engines: &[Outlooked],
    dues: &[EngineDue],
    calendar: &Calendar,
    count: usize,
    fresh: impl Fn(&Outlooked, usize, &ValveWork) -> Option<(Curve, Vec<usize>)> + Sync,
) -> Vec<Month> {
    let days = firsts(calendar.today, count);
    let parts: Vec<Vec<Month>> = engines
        .par_iter()
        .zip(dues)
        .map(|(engine, due)| {
            let done_on = due.done;
            let done: Vec<Option<(Curve, Vec<usize>)>> = (0..engine.machine.valves.len())
                .map(|v| {
                    let worked = due.work.iter().find(|w| w.valve == engine.machine.valves[v].0);
                    worked.and_then(|work| fresh(engine, v, work))
                })
                .collect();
            days.iter()
                .map(|&day| {
                    let undone: Vec<f64> = (0..done.len()).map(|v| engine.valve_chance(v, day)).collect();
                    let with_plan =
                        done.iter().zip(&undone).map(|(fresh, undone)| match (fresh, engine.machine.usage) {
                            (Some((curve, going_on)), Some(usage)) if day > done_on => {
                                let renewed = usage.average(f64::from(day - done_on), |h| curve.at(h));
                                let stay: f64 = going_on.iter().map(|p| 1.0 - engine.part_chance(*p, day)).product();
                                1.0 - (1.0 - renewed) * stay
                            }
                            _ => *undone,
                        });
                    Month {
                        day,
                        valves: undone.iter().sum(),
                        engines: engine.chance(day),
                        valves_with_plan: with_plan.sum(),
                    }
                })
                .collect()
        })
        .collect();
    // Summed in the engines' order, whatever the threads.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_begin_on_their_firsts() {
        // 2026-11-25 is day 20782.
        assert_eq!(firsts(20_782, 3), [20_782, 20_788, 20_819, 20_850]);
    }

    #[test]
    fn past_windows_fall_out_and_the_plan_ends_one_distance_after_the_last() {
        let w = |start, end| Window { start, end, engines: 2 };
        let policy = Policy { windows: vec![w(10, 20), w(110, 120), w(210, 220)], ..Policy::default() };
        let c = Calendar::of(&policy, 50);
        assert_eq!((c.past, c.windows.len(), c.gap, c.end), (1, 2, 100, 320));
        assert_eq!([0, 1, 2].map(|w| c.done(w, None)), [120, 220, 320]);
        // Its latest day where that lies in the window.
        assert_eq!([0, 1, 2].map(|w| c.done(w, Some(115))), [115, 220, 320]);
        assert_eq!([50, 109, 130].map(|due| c.done(0, Some(due))), [120, 120, 120]);
        assert_eq!([c.following(0), c.following(1), c.following(2)], [220, 320, 420]);
        assert_eq!(Calendar::of(&Policy::default(), 50).end, 415);
    }
}
