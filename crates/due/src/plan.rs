//! The plan: the windows filled, and each engine's day and work.

use crate::calendar::Calendar;
use crate::engine::Outlooked;
use crate::fresh::FreshCurves;
use crate::look::{Looking, look, readings};
use crate::months::Afterwards;
use crate::order::demand;
use crate::price::{Price, Pricing};
use crate::result::{Criterion, EngineDue, PlaceReason, Plan, PlannedWindow};
use crate::windows::{assign, worth_of_places};
use crate::work::{Aims, Visit, work};
use rayon::prelude::*;

/// Where an engine is put whatever it costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pin {
    /// Into a window, by its index.
    Window(usize),
    /// On a day outside the windows; it takes no place.
    Day(i32),
}

/// By what a plan is made.
#[derive(Clone, Copy)]
pub(crate) struct Planning<'a> {
    pub(crate) pricing: Pricing<'a>,
    /// Least long-run cost per hour of each engine's kind; 0 without costs.
    pub(crate) rates: &'a [f64],
    pub(crate) aims: Aims<'a>,
    pub(crate) fresh: &'a FreshCurves,
    /// Of each engine.
    pub(crate) pins: &'a [Option<Pin>],
    /// Days by which each engine's job comes later than planned.
    pub(crate) delays: &'a [i32],
    pub(crate) late_in_windows: bool,
    /// Width of the steps in which corrections are counted.
    pub(crate) step: f64,
}

/// Fills the windows; writes each engine's window, day, chance, work and next look.
pub(crate) fn fill(engines: &[Outlooked], dues: &mut [EngineDue], planning: Planning<'_>) -> Plan {
    let Pricing { calendar, policy, .. } = planning.pricing;
    for (k, due) in dues.iter_mut().enumerate() {
        // Without usage there is no chance by date, but what is in the zone already is.
        due.at_once = planning.pins[k].is_none() && !planning.late_in_windows && due.status.is_past();
    }
    let column = columns(engines, dues, planning);
    let jobs: Vec<Job> =
        (0..engines.len()).into_par_iter().map(|e| job(&engines[e], &dues[e], column.of[e], e, planning)).collect();
    for ((due, job), because) in dues.iter_mut().zip(jobs).zip(column.because) {
        due.because = because.filter(|_| job.window.is_some());
        due.window = job.window;
        due.done = job.done;
        due.days_late = due.due.map_or(0, |day| (job.done - day).max(0));
        due.chance_then = job.chance;
        due.work = job.work;
    }
    let mut windows: Vec<PlannedWindow> = calendar
        .windows
        .iter()
        .zip(column.worth)
        .map(|(w, worth_of_a_place)| PlannedWindow {
            start: w.start,
            end: w.end,
            capacity: w.engines,
            engines: Vec::new(),
            worth_of_a_place,
            demand: Vec::new(),
        })
        .collect();
    for (k, due) in dues.iter().enumerate() {
        if let Some(w) = due.window {
            windows[w].engines.push(k);
        }
    }
    let room: Vec<bool> = windows.iter().map(|w| w.engines.len() < w.capacity as usize).collect();
    for window in &mut windows {
        window.demand = demand(window.engines.iter().flat_map(|e| &dues[*e].work), planning.step);
    }
    let most = engines.iter().map(|e| e.part.len()).max().unwrap_or(0);
    let readings = readings(if policy.cost.is_some() { most } else { 0 });
    let looking = Looking { pricing: planning.pricing, room: &room, readings: &readings };
    let looks: Vec<_> = (0..engines.len())
        .into_par_iter()
        .map(|e| {
            let after = Afterwards::of(&engines[e], &dues[e], planning.fresh, planning.aims.features);
            look(&engines[e], &dues[e], planning.rates[e], &after, looking)
        })
        .collect();
    for (due, look) in dues.iter_mut().zip(looks) {
        due.look = look;
    }
    summed(engines, dues, windows, planning, if policy.cost.is_some() { Criterion::Cost } else { Criterion::Risk })
}

/// Columns of all engines: a window, or one more than there are.
struct Columns {
    of: Vec<usize>,
    because: Vec<Option<PlaceReason>>,
    /// What one more place in each window saves.
    worth: Vec<f64>,
}

fn columns(engines: &[Outlooked], dues: &[EngineDue], planning: Planning<'_>) -> Columns {
    let calendar = planning.pricing.calendar;
    let later = calendar.windows.len();
    let mut of = vec![later; engines.len()];
    let mut because = vec![None; engines.len()];
    let mut capacity: Vec<u32> = calendar.windows.iter().map(|w| w.engines).collect();
    for (k, pin) in planning.pins.iter().enumerate() {
        if let Some(Pin::Window(w)) = pin {
            of[k] = *w;
            because[k] = Some(PlaceReason::Pinned);
            capacity[*w] = capacity[*w].saturating_sub(1);
        }
    }
    // An engine whose usage is not known has no chance by date and takes no place.
    let planned: Vec<usize> = (0..engines.len())
        .filter(|e| engines[*e].machine.usage.is_some() && !dues[*e].at_once && planning.pins[*e].is_none())
        .collect();
    let prices: Vec<Vec<Price>> = planned
        .par_iter()
        .map(|&e| (0..=later).map(|w| planning.pricing.of(&engines[e], dues[e].due, w, planning.rates[e])).collect())
        .collect();
    let minimised: Vec<Vec<f64>> = prices.iter().map(|row| row.iter().map(|c| c.minimised).collect()).collect();
    let beyond: Vec<Vec<f64>> = prices.iter().map(|row| row.iter().map(|c| c.beyond).collect()).collect();
    let found = assign(&minimised, &capacity);
    let worth = worth_of_places(&minimised, &beyond, &capacity, &found.column);
    for ((e, w), wish) in planned.into_iter().zip(found.column).zip(found.wish) {
        of[e] = w;
        because[e] = Some(match planning.pricing.needed(dues[e].due) {
            needed if w >= needed => PlaceReason::Date,
            _ if w == wish => PlaceReason::Cost,
            _ => PlaceReason::Room,
        });
    }
    Columns { of, because, worth }
}

/// What becomes of an engine.
struct Job {
    window: Option<usize>,
    done: i32,
    chance: f64,
    work: Vec<crate::result::ValveWork>,
}

fn job(engine: &Outlooked, due: &EngineDue, column: usize, index: usize, planning: Planning<'_>) -> Job {
    let calendar: &Calendar = planning.pricing.calendar;
    let delay = planning.delays[index];
    let window = (column < calendar.windows.len() && !due.at_once).then_some(column);
    let (done, following, takes_place) = match planning.pins[index] {
        Some(Pin::Day(day)) => (day + delay, calendar.after(day + delay), true),
        _ if due.at_once => (calendar.today + delay, calendar.after(calendar.today + delay), true),
        _ if window.is_some() && delay > 0 => {
            let done = calendar.done(column, due.due) + delay;
            (done, calendar.after(done), true)
        }
        _ => (calendar.done(column, due.due), calendar.following(column), window.is_some()),
    };
    let visit = Visit { then: done, following: following.max(done), at_least: usize::from(takes_place) };
    let unknown = engine.machine.usage.is_none() && !takes_place;
    let work = if unknown { Vec::new() } else { work(engine, visit, planning.pricing.policy.risk, planning.aims) };
    Job { window, done, chance: engine.chance(done), work }
}

/// The plan's sums over the fleet, in the engines' order.
fn summed(
    engines: &[Outlooked],
    dues: &[EngineDue],
    windows: Vec<PlannedWindow>,
    planning: Planning<'_>,
    criterion: Criterion,
) -> Plan {
    let Pricing { calendar, policy, .. } = planning.pricing;
    let mut plan = Plan {
        criterion,
        windows,
        end: calendar.end,
        expected_cost: None,
        days_beyond: 0.0,
        late: 0,
        expected_late: 0.0,
        expected_late_undone: 0.0,
        expected_cost_undone: None,
    };
    let (mut cost, mut cost_undone) = (0.0, 0.0);
    for ((engine, due), rate) in engines.iter().zip(dues).zip(planning.rates) {
        if engine.machine.usage.is_none() && !due.at_once {
            continue;
        }
        cost += planning.pricing.expected(engine, due.done, *rate, policy.cost);
        cost_undone += planning.pricing.undone(engine, *rate);
        if !due.at_once {
            plan.days_beyond += engine.days_beyond(policy.risk, calendar.today, due.done);
        }
        plan.late += usize::from(due.days_late > 0 && !due.at_once);
        plan.expected_late += due.chance_then;
        plan.expected_late_undone += engine.chance(calendar.end);
    }
    if policy.cost.is_some() {
        plan.expected_cost = Some(cost);
        plan.expected_cost_undone = Some(cost_undone);
    }
    plan
}
