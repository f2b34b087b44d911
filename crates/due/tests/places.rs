//! Do what the plan says, and count what comes of it: engines that have entered the damage zone before they were done, by the plan and by
//! plain rules, on made fleets whose truth is known.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod made;

use made::common::{policy, stream, with};
use made::{TODAY, fleet};
use packdrift_due::{DueOptions, DueResult, EngineDue, due};
use packdrift_trend::{Costs, ModelChoice, Options, Policy, Window, trend};

const LIMITS: (f64, f64) = (0.4, 1.6);

/// Fleets of the short form; `PACKDRIFT_FLEETS` asks for more (docs/due.md has the figures of 400).
fn fleets() -> u64 {
    std::env::var("PACKDRIFT_FLEETS").ok().and_then(|n| n.parse().ok()).unwrap_or(14)
}

fn windows(first: i32, places: u32) -> Vec<Window> {
    (0..4).map(|k| Window { start: first + 120 * k, end: first + 10 + 120 * k, engines: places }).collect()
}

/// The day by which an engine is done in a window, as the plan counts it.
fn done(e: &EngineDue, result: &DueResult, window: usize) -> i32 {
    let Some(w) = result.plan.windows.get(window) else { return result.plan.end };
    e.due.filter(|d| (w.start.max(result.today)..w.end).contains(d)).unwrap_or(w.end)
}

/// A plain fill: engines by latest date, each into the last window that does it in time and has a place, else an earlier one, else the first
/// later one.
fn plain(result: &DueResult) -> Vec<i32> {
    let later = result.plan.windows.len();
    let mut free: Vec<u32> = result.plan.windows.iter().map(|w| w.capacity).collect();
    let mut days = vec![0; result.engines.len()];
    let mut order: Vec<usize> = (0..result.engines.len()).collect();
    order.sort_by_key(|k| result.engines[*k].due.unwrap_or(i32::MAX));
    for k in order {
        let e = &result.engines[k];
        if e.at_once {
            days[k] = e.done;
            continue;
        }
        let window = match e.due.filter(|d| *d < result.plan.end) {
            None => later,
            Some(due) => {
                let last = result.plan.windows.iter().rposition(|w| w.start <= due);
                let in_time = (0..=last.unwrap_or(0)).rev().take(if last.is_some() { later } else { 0 });
                let after = last.map_or(0, |l| l + 1)..later;
                in_time.chain(after).find(|w| free[*w] > 0).unwrap_or(later)
            }
        };
        if let Some(places) = free.get_mut(window) {
            *places -= 1;
        }
        days[k] = done(e, result, window);
    }
    days
}

/// Engines in the order of their dates, from the first place to the last, whether they need it yet or not.
fn first_come(result: &DueResult) -> Vec<i32> {
    let mut order: Vec<usize> = (0..result.engines.len()).collect();
    order.sort_by_key(|k| result.engines[*k].due.unwrap_or(i32::MAX));
    let places = result.plan.windows.iter().enumerate().flat_map(|(w, p)| (0..p.capacity).map(move |_| w));
    let mut places = places.chain(std::iter::repeat(result.plan.windows.len()));
    let mut days = vec![0; result.engines.len()];
    for k in order {
        let e = &result.engines[k];
        days[k] = if e.at_once { e.done } else { done(e, result, places.next().unwrap()) };
    }
    days
}

/// What came of a rule over all fleets.
#[derive(Debug, Default)]
struct Came {
    /// Engines that had entered before they were done.
    entered: f64,
    /// Days in the zone until they were done.
    days: f64,
    /// Engines done within the plan's time.
    jobs: f64,
}

#[derive(Debug, Default)]
struct Counted {
    fleets: f64,
    plan: Came,
    plain: Came,
    first_come: Came,
    /// What the plan said of its own count, and the variance of that count.
    said: f64,
    variance: f64,
}

fn counted(costs: bool, fleets: u64) -> Counted {
    let mut counted = Counted::default();
    let quick = Options { average_points: 16, series_up_to: 0, ..with(ModelChoice::RandomSlope) };
    for seed in 0..fleets {
        let (t, truths) = fleet(24, 500 + seed);
        let base = policy("contact_offset", Some(LIMITS.0), Some(LIMITS.1), 2000.0);
        let cost = costs.then_some(Costs { planned: 180.0, failure: 2600.0, inspection: None });
        // Windows of two to four places, the first in one to five months: too few places in most fleets, enough in some.
        let (first, places) = (TODAY + 30 + 20 * (seed % 7) as i32, 2 + (seed % 3) as u32);
        let policy = Policy { windows: windows(first, places), cost, ..base };
        let fitted = trend(&t, Some(&policy), &quick).unwrap();
        let result = due(&t, &fitted, &policy, &DueOptions::default()).unwrap();
        let mut s = stream(seed, "what came of it");
        let rules = [result.engines.iter().map(|e| e.done).collect(), plain(&result), first_come(&result)];
        counted.fleets += 1.0;
        for (k, e) in result.engines.iter().enumerate() {
            let truth = &truths[e.engine[1..].parse::<usize>().unwrap()];
            let enters = truth.enters(LIMITS, &mut s);
            // Those at once are the same in all rules, and are in no window.
            if e.at_once {
                continue;
            }
            counted.said += e.chance_then;
            counted.variance += e.chance_then * (1.0 - e.chance_then);
            for (came, days) in [&mut counted.plan, &mut counted.plain, &mut counted.first_come].into_iter().zip(&rules)
            {
                let days: &Vec<i32> = days;
                let done = days[k] - TODAY;
                if let Some(day) = enters.filter(|day| *day < done) {
                    came.entered += 1.0;
                    came.days += f64::from(done - day);
                }
                came.jobs += f64::from(u8::from(days[k] < result.plan.end));
            }
        }
    }
    counted
}

#[test]
fn fewer_engines_enter_than_by_a_plain_fill() {
    for costs in [false, true] {
        let c = counted(costs, fleets());
        assert!(c.plan.entered > 5.0, "{c:?}");
        // The same fleets, futures and rule of need, so that the comparison is of the places alone. Where costs count, jobs come earlier too.
        assert!(c.plan.entered <= c.plain.entered, "{c:?}");
        // And as many as was said: 3.5 standard errors, the fit's own error of each fleet shared by its engines taken as a third more.
        assert!((c.plan.entered - c.said).abs() < 3.5 * 1.3 * c.variance.sqrt(), "{c:?}");
    }
}
