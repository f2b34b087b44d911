//! The plan as JSON, documented in docs/results.md.

use crate::calendar::iso;
use crate::envelope::{Document, Envelope};
use packdrift_due::{CostPoint, DueResult, EngineDue, Interval, PlannedWindow, Usage, ValveWork};
use serde::Serialize;
use serde_json::{Value, json};

#[derive(Serialize)]
struct Planned {
    today: String,
    risk: f64,
    horizon: f64,
    valve_count: usize,
    engines: Vec<Value>,
    plan: Value,
    months: Vec<Value>,
    intervals: Vec<Value>,
    acceptable: bool,
}

/// The result.
pub fn json<'a>(envelope: &'a Envelope, result: &DueResult) -> Document<'a, impl Serialize + use<'a>> {
    envelope.around(Planned {
        today: iso(result.today),
        risk: result.risk,
        horizon: result.horizon,
        valve_count: result.valves,
        engines: result.engines.iter().map(engine).collect(),
        plan: json!({
            "minimises": result.plan.criterion.name(), "expected_cost": result.plan.expected_cost, "days_beyond": result.plan.days_beyond,
            "end": iso(result.plan.end),
            "expected_late": result.plan.expected_late, "expected_late_if_nothing_is_done": result.plan.expected_late_undone,
            "windows": result.plan.windows.iter().map(|w| window(w, result)).collect::<Vec<_>>(),
        }),
        months: result
            .months
            .iter()
            .map(|m| {
                json!({ "date": iso(m.day), "valves_if_nothing_is_done": m.valves, "engines_if_nothing_is_done": m.engines,
                        "valves_with_plan": m.valves_with_plan })
            })
            .collect(),
        intervals: result.intervals.iter().map(interval).collect(),
        acceptable: acceptable(result),
    })
}

/// No latest date has passed.
pub fn acceptable(result: &DueResult) -> bool {
    !result.engines.iter().any(|e| e.status.is_past())
}

fn engine(e: &EngineDue) -> Value {
    json!({
        "engine": e.engine, "status": e.status.name(), "due": e.due.map(iso), "due_hours": e.due_hours,
        "no_date": e.no_date.map(packdrift_due::NoDate::name),
        "chance_now": e.chance_now, "chance_by_horizon": e.chance_by_horizon, "first_valve": e.first_valve,
        "last_date": iso(e.last_day), "last_hours": e.last_hours, "hours": e.hours, "hours_sd": e.hours_sd,
        "not_read": e.not_read, "usage": e.usage.as_ref().map(usage),
        "window": e.window, "at_once": e.at_once, "done": iso(e.done), "chance_then": e.chance_then,
        "valves": e.work.iter().map(valve).collect::<Vec<_>>(),
    })
}

fn usage(u: &Usage) -> Value {
    json!({ "hours_a_week": u.hours_a_week, "standard_error": u.standard_error, "source": u.source.name(),
            "measured": u.measured.map(|m| m.0), "measured_standard_error": u.measured.map(|m| m.1) })
}

fn valve(w: &ValveWork) -> Value {
    let causes: Vec<Value> = w.causes.iter().map(|c| json!({ "feature": c.feature, "chance": c.chance })).collect();
    json!({
        "valve": w.valve, "chance_then": w.chance_then, "chance_by_following": w.chance_by_following, "causes": causes,
        "renew": w.renew,
        "correction": w.correction.map(|c| c.mean), "correction_sd": w.correction.map(|c| c.sd),
        "expected_offset": w.correction.map(|c| c.expected), "target": w.correction.map(|c| c.target),
    })
}

fn window(w: &PlannedWindow, result: &DueResult) -> Value {
    let demand: Vec<Value> =
        w.demand.iter().map(|d| json!({ "from": d.from, "to": d.to, "expected": d.expected })).collect();
    json!({
        "start": iso(w.start), "end": iso(w.end), "capacity": w.capacity,
        "engines": w.engines.iter().map(|e| &result.engines[*e].engine).collect::<Vec<_>>(),
        "worth_of_a_place": w.worth_of_a_place, "corrections": demand,
    })
}

fn interval(i: &Interval) -> Value {
    let point = |p: &CostPoint| json!({ "hours": p.hours, "cost_per_1000_hours": p.cost, "chance": p.chance });
    json!({
        "valves": i.valves, "engines": i.engines, "cheapest": i.cheapest.as_ref().map(point),
        "run_to_failure_cost_per_1000_hours": i.run_to_failure, "hours_at_risk": i.at_risk,
        "curve": i.curve.iter().map(point).collect::<Vec<_>>(),
    })
}
