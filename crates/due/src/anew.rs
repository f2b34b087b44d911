//! What it takes to plan a fleet again under other settings without its readings: for a page on which day, risk, horizon, usage and places
//! are moved.

use crate::calendar::Calendar;
use crate::engine::Outlooked;
use crate::result::{Anew, EngineAnew, EngineDue, Table, ValveAnew};
use packdrift_trend::{Costs, Status, Window};

/// A valve that is in its zone with less than this chance at the end of the plan's time, run at [`FASTER`] times its pace, is not overdue
/// at any setting.
const LIKELY: f64 = 0.3;
const FASTER: f64 = 2.0;

/// Of all engines, in the order given.
pub(crate) fn anew(
    engines: &[Outlooked],
    dues: &[EngineDue],
    rates: &[f64],
    calendar: &Calendar,
    costs: Option<Costs>,
    late_in_windows: bool,
) -> Anew {
    let mut windows: Vec<Window> = calendar.past.iter().chain(&calendar.windows).cloned().collect();
    windows.sort_by_key(|w| (w.start, w.end));
    Anew {
        windows: windows.iter().map(|w| (w.start, w.end, w.engines)).collect(),
        gap: calendar.gap,
        costs: costs.map(|c| (c.planned, c.failure)),
        late_in_windows,
        first_day: engines.iter().map(|e| e.machine.last_day).max().unwrap_or(calendar.today),
        engines: engines.iter().zip(dues).zip(rates).map(|((e, due), rate)| engine(e, due, *rate, calendar)).collect(),
    }
}

fn engine(engine: &Outlooked, due: &EngineDue, rate: f64, calendar: &Calendar) -> EngineAnew {
    let m = &engine.machine;
    let overdue = |v: usize| due.today.iter().any(|t| t.valve == m.valves[v].name && t.status == Status::Overdue);
    // A reading beyond its limit stays one on any day.
    let read_outside = |v: usize| {
        m.parts.iter().filter(|p| p.valve == v).any(|p| {
            let (lower, upper) = p.prospect.limits();
            p.read.is_some_and(|r| lower.is_some_and(|l| r.value < l) || upper.is_some_and(|u| r.value > u))
        })
    };
    let (hours, _) = m.usage.map_or((0.0, 0.0), |u| u.hours_in(f64::from(calendar.end - m.last_day)));
    let table = |curve: &crate::curve::Curve| Table { reach: curve.reach(), scores: curve.scores() };
    EngineAnew {
        engine: m.name.clone(),
        last_day: m.last_day,
        usage: m.usage,
        forecast: !m.parts.is_empty(),
        chance: table(&engine.any),
        rate,
        overdue: (0..m.valves.len()).any(|v| overdue(v) && read_outside(v)),
        valves: (0..m.valves.len())
            .filter(|v| overdue(*v) || engine.valve[*v].at(FASTER * hours) > LIKELY)
            .map(|v| ValveAnew { said: overdue(v), chance: table(&engine.valve[v]) })
            .collect(),
    }
}
