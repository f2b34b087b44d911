//! The plan as JSON, documented in docs/results.md.

use super::Planned;
use crate::calendar::iso;
use crate::envelope::{Document, Envelope};
use packdrift_due::{
    Comparison, CostPoint, DueResult, EngineDue, Interval, Look, Month, OrderLine, Ordered, PlannedWindow, Usage,
    ValveToday, ValveWork,
};
use serde::Serialize;
use serde_json::{Value, json};

#[derive(Serialize)]
struct Result {
    today: String,
    risk: f64,
    horizon: f64,
    cost_unit: Option<String>,
    verdict: Value,
    valve_count: usize,
    engines: Vec<Value>,
    plan: Value,
    order: Vec<Value>,
    months: Vec<Value>,
    intervals: Vec<Value>,
    scenarios: Option<Value>,
    acceptable: bool,
}

/// The result.
pub fn json<'a>(envelope: &'a Envelope, planned: Planned<'_>) -> Document<'a, impl Serialize + use<'a>> {
    let result = planned.result;
    let verdict = result.verdict();
    envelope.around(Result {
        today: iso(result.today),
        risk: result.risk,
        horizon: result.horizon,
        cost_unit: (!result.cost_unit.is_empty()).then(|| result.cost_unit.clone()),
        verdict: said(&verdict),
        valve_count: result.valves,
        engines: result.engines.iter().map(engine).collect(),
        plan: plan(result),
        order: result.order.iter().map(ordered).collect(),
        months: result.months.iter().map(month).collect(),
        intervals: result.intervals.iter().map(interval).collect(),
        scenarios: planned.comparison.map(scenarios),
        acceptable: verdict.exit_status() == 0,
    })
}

fn said(verdict: &packdrift_verdict::Verdict) -> Value {
    json!({ "word": verdict.word(&packdrift_verdict::DUE), "reasons": verdict.reasons(),
            "settled_by": verdict.what_settles_it() })
}

fn plan(result: &DueResult) -> Value {
    let plan = &result.plan;
    json!({
        "minimises": plan.criterion.name(), "expected_cost": plan.expected_cost,
        "expected_cost_if_nothing_is_done": plan.expected_cost_undone, "days_beyond": plan.days_beyond,
        "end": iso(plan.end), "engines_late": plan.late,
        "expected_late": plan.expected_late, "expected_late_if_nothing_is_done": plan.expected_late_undone,
        "windows": plan.windows.iter().map(|w| window(w, result)).collect::<Vec<_>>(),
    })
}

fn month(m: &Month) -> Value {
    json!({ "date": iso(m.day), "valves_if_nothing_is_done": m.valves, "engines_if_nothing_is_done": m.engines,
            "valves_with_plan": m.valves_with_plan })
}

fn engine(e: &EngineDue) -> Value {
    json!({
        "engine": e.engine, "status": e.status.name(), "verdict": said(&e.verdict),
        "due": e.due.map(iso), "due_hours": e.due_hours,
        "no_date": e.no_date.map(packdrift_due::NoDate::name),
        "chance_now": e.chance_now, "chance_by_horizon": e.chance_by_horizon,
        "first_valve": e.first_valve, "first_feature": e.first_feature,
        "last_date": iso(e.last_day), "last_hours": e.last_hours, "hours": e.hours, "hours_sd": e.hours_sd,
        "not_read": e.not_read, "usage": e.usage.as_ref().map(usage),
        "window": e.window, "because": e.because.map(packdrift_due::PlaceReason::name), "at_once": e.at_once,
        "done": iso(e.done), "days_late": e.days_late,
        "chance_then": e.chance_then, "chance_by_window": e.chance_by_window,
        "valves": e.work.iter().map(valve).collect::<Vec<_>>(),
        "valves_today": e.today.iter().map(valve_today).collect::<Vec<_>>(),
        "look": e.look.as_ref().map(look),
    })
}

fn usage(u: &Usage) -> Value {
    json!({ "hours_a_week": u.hours_a_week, "standard_error": u.standard_error, "source": u.source.name(),
            "measured": u.measured.map(|m| m.0), "measured_standard_error": u.measured.map(|m| m.1) })
}

fn valve_today(v: &ValveToday) -> Value {
    let readings: Vec<Value> = v
        .readings
        .iter()
        .map(|r| json!({ "feature": r.feature, "date": iso(r.day), "hours": r.hours, "value": r.value }))
        .collect();
    json!({ "valve": v.valve, "status": v.status.name(), "chance_now": v.chance_now,
            "chance_by_horizon": v.chance_by_horizon, "chance_of_being_first": v.first, "last_readings": readings })
}

fn look(l: &Look) -> Value {
    json!({ "by": iso(l.day), "because": l.because.name(), "after_work": l.after_work, "chance_then": l.chance,
            "saves": l.worth, "saves_most_on": l.best.map(|b| iso(b.0)), "saves_most": l.best.map(|b| b.1),
            "valves_first": l.valves })
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

fn ordered(line: &OrderLine) -> Value {
    let (part, feature, from, to) = match &line.part {
        Ordered::Shims { from, to, .. } => ("shims", None, Some(*from), Some(*to)),
        Ordered::NewPart { feature } => ("new part", Some(feature.as_str()), None, None),
        _ => ("", None, None, None),
    };
    json!({ "part": part, "feature": feature, "correction_from": from, "correction_to": to, "at_once": line.at_once,
            "in_windows": line.in_windows, "without_a_place": line.without_place, "beyond_the_plan": line.beyond })
}

fn interval(i: &Interval) -> Value {
    let point = |p: &CostPoint| json!({ "hours": p.hours, "cost_per_1000_hours": p.cost, "chance": p.chance });
    json!({
        "valves": i.valves, "engines": i.engines, "cheapest": i.cheapest.as_ref().map(point),
        "cheapest_hours_5": i.band.0, "cheapest_hours_95": i.band.1,
        "run_to_failure_cost_per_1000_hours": i.run_to_failure, "hours_at_risk": i.at_risk,
        "curve": i.curve.iter().map(point).collect::<Vec<_>>(),
    })
}

/// The comparison: the plans without what is the same in all.
fn scenarios(comparison: &Comparison) -> Value {
    let answers: Vec<Value> = comparison
        .scenarios
        .iter()
        .map(|s| {
            let mut answer = compared(&s.result);
            answer["name"] = json!(s.name);
            answer["changes"] = json!(s.changes);
            answer["warnings"] = json!(s.result.warnings.iter().map(ToString::to_string).collect::<Vec<_>>());
            answer
        })
        .collect();
    json!({ "until": iso(comparison.until), "today": compared(&comparison.today), "scenarios": answers })
}

fn compared(result: &DueResult) -> Value {
    let engines: Vec<Value> = result
        .engines
        .iter()
        .map(|e| {
            json!({ "engine": e.engine, "status": e.status.name(), "due": e.due.map(iso), "window": e.window,
                    "at_once": e.at_once, "done": iso(e.done), "days_late": e.days_late, "chance_then": e.chance_then,
                    "chance_by_window": e.chance_by_window })
        })
        .collect();
    json!({ "risk": result.risk, "plan": plan(result), "engines": engines, "on_the_last_day": result.until.as_ref().map(month),
            "order": result.order.iter().map(ordered).collect::<Vec<_>>() })
}
