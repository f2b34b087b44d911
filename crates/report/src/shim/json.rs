//! The builds as JSON, documented in docs/results.md.

use super::{Shimming, in_order};
use crate::envelope::{Document, Envelope};
use packdrift_stock::{After, Build, Candidate, Forecast, Missing, Origin, Proposal};
use serde::Serialize;
use serde_json::{Value, json};

#[derive(Serialize)]
struct Answered {
    bay: String,
    measured_in: String,
    valves: Vec<Value>,
    enough: f64,
    now: Value,
    builds: Vec<Value>,
    fewest: Option<usize>,
    proven: bool,
    missing: Value,
    measure_first: Vec<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    after: Option<Value>,
}

/// The result.
pub fn json<'a>(envelope: &'a Envelope, shimming: &Shimming<'_>) -> Document<'a, impl Serialize + use<'a>> {
    let proposal = shimming.proposal;
    envelope.around(Answered {
        bay: shimming.bench.bay().to_owned(),
        measured_in: shimming.bench.measured_in().to_owned(),
        valves: shimming
            .measured
            .iter()
            .enumerate()
            .map(|(k, m)| {
                let date = shimming.read_on.get(k).copied().flatten().map(crate::calendar::iso);
                let surprise = shimming.bench.readings().iter().find(|(valve, _)| *valve == m.valve).map(|(_, s)| s);
                json!({ "valve": m.valve, "measured": m.offset, "u": m.u, "date": date,
                        "expected": surprise.map(|s| s.expected), "z": surprise.map(|s| s.z) })
            })
            .collect(),
        enough: shimming.enough,
        now: forecast(&proposal.now),
        builds: builds(proposal),
        fewest: proposal.fewest.map(|k| k + 1),
        proven: proposal.proven,
        missing: proposal.missing.as_ref().map_or(Value::Null, missing),
        measure_first: measure_first(proposal),
        after: shimming.after.map(|(number, after)| after_build(number, after)),
    })
}

fn builds(proposal: &Proposal) -> Vec<Value> {
    proposal.builds.iter().enumerate().map(|(k, b)| build(k + 1, b)).collect()
}

fn measure_first(proposal: &Proposal) -> Vec<Value> {
    let one = |m: &packdrift_stock::MeasureFirst| {
        json!({ "piece": m.name, "in_bay": m.row.is_none(), "thickness": m.thickness, "sd": m.sd, "gain": m.gain,
                "scatter_removed": m.scatter_removed, "chance_now": m.chance_now, "chance_then": m.chance_then })
    };
    proposal.measure_first.iter().map(one).collect()
}

fn build(number: usize, b: &Build) -> Value {
    let places: Vec<Value> = b
        .places
        .iter()
        .map(|place| {
            let pieces: Vec<Value> = place
                .pieces
                .iter()
                .map(|p| {
                    let from = match &p.origin {
                        Origin::Stays => "stays",
                        Origin::Moved { .. } => "moved",
                        Origin::Drawer { .. } => "drawer",
                        Origin::Wished => "wished",
                    };
                    json!({ "piece": p.name, "thickness": p.thickness, "sd": p.sd, "measured": p.measured, "from": from,
                            "thinned_from": p.thinned_from })
                })
                .collect();
            json!({ "place": place.label, "pieces": pieces })
        })
        .collect();
    let out: Vec<Value> =
        b.taken_out.iter().map(|t| json!({ "piece": t.name, "thickness": t.thickness, "place": t.place })).collect();
    json!({ "build": number, "score": b.score, "good_enough": b.good_enough, "touched": b.touched, "sum": b.sum, "old_sum": b.old_sum, "places": places,
            "taken_out": out, "forecast": forecast(&b.forecast) })
}

fn forecast(f: &Forecast) -> Value {
    let quantities: Vec<Value> = in_order(f)
        .map(|e| {
            json!({ "quantity": e.kind.name(), "of": e.of, "condition": e.condition, "temperature": e.temperature,
                    "unit": e.kind.unit(), "mean": e.mean, "sd": e.sd, "wander": e.wander, "lower": e.lower, "upper": e.upper,
                    "target": e.target, "asked_for": e.named })
        })
        .collect();
    json!({ "chance": f.chance, "chance_standard_error": f.chance_se, "chance_all": f.chance_all,
            "chance_all_standard_error": f.chance_all_se, "loose": f.loose, "cannot_assemble": f.cannot_assemble,
            "quantities": quantities })
}

fn candidate(c: &Candidate) -> Value {
    json!({ "piece": c.name, "thickness": c.thickness, "chance": c.chance, "lead_days": c.lead_days, "cost": c.cost })
}

fn missing(m: &Missing) -> Value {
    json!({ "thickness": m.thickness, "good_enough": m.good_enough.map(|(a, b)| [a, b]), "build": build(0, &m.build),
            "nearest_in_drawer": m.nearest_in_drawer.as_ref().map(candidate),
            "nearest_to_be_had": m.nearest_to_be_had.as_ref().map(candidate) })
}

fn after_build(number: usize, after: &After) -> Value {
    let readings: Vec<Value> = after
        .readings
        .iter()
        .map(|r| {
            json!({ "valve": r.valve, "reading": r.reading, "expected": r.surprise.expected, "sd": r.surprise.sd,
                    "z": r.surprise.z, "surprising": r.is_surprising() })
        })
        .collect();
    let learned: Vec<Value> = after
        .learned
        .iter()
        .map(|l| json!({ "dimension": l.path, "before": [l.before.0, l.before.1], "after": [l.after.0, l.after.1] }))
        .collect();
    let next = after.next.as_ref().map(|next| {
        json!({ "builds": builds(next), "fewest": next.fewest.map(|k| k + 1), "proven": next.proven,
                "missing": next.missing.as_ref().map_or(Value::Null, missing) })
    });
    json!({ "build": number, "readings": readings, "learned": learned, "now": forecast(&after.now), "done": after.done,
            "next": next })
}
