//! The builds as JSON, documented in docs/results.md.

use super::words::SIGN;
use super::{Shimming, in_order};
use crate::Lengths;
use crate::envelope::{Document, Envelope};
use packdrift_stock::{
    Build, Candidate, Compared, Forecast, Made, Measured, Missing, Origin, OtherRocker, Proposal, Rounds,
};
use packdrift_verdict::{SHIM, SHIM_UNBUILT, Verdict, Words};
use serde::Serialize;
use serde_json::{Value, json};

#[derive(Serialize)]
struct Answered {
    units: &'static str,
    bay: String,
    measured_in: String,
    plus: &'static str,
    valves: Vec<Value>,
    enough: f64,
    verdict: Value,
    now: Value,
    builds: Vec<Value>,
    fewest: Option<usize>,
    proven: bool,
    chance_with_a_gauge_twice_as_bad: Option<f64>,
    missing: Value,
    measure_first: Vec<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    after: Option<Value>,
}

/// The result. `builds` and what belongs to it are of the list that the last build was taken from.
pub fn json<'a>(envelope: &'a Envelope, shimming: &Shimming<'_>) -> Document<'a, impl Serialize + use<'a>> {
    let lengths = shimming.lengths;
    let asked = match shimming.rounds {
        Some(rounds) => (&rounds.proposal, &rounds.bench, &rounds.measured[..]),
        None => (shimming.proposal, shimming.bench, shimming.measured),
    };
    let (proposal, bench, measured) = asked;
    let valves = measured.iter().enumerate().map(|(k, m)| {
        // The day is that of the readings that the question came with.
        let day = shimming.read_on.get(k).copied().flatten().filter(|_| m.readings == shimming.measured[k].readings);
        valve(m, bench.readings(), day.map(crate::calendar::iso), lengths)
    });
    let in_doubt = match shimming.rounds {
        Some(rounds) => rounds.after.bench.now_with_a_worse_gauge(),
        None => proposal.advised().and_then(|build| bench.chance_with_a_worse_gauge(build)),
    };
    let last = shimming.rounds.map_or(&proposal.verdict, |rounds| &rounds.after.verdict);
    envelope.around(Answered {
        units: lengths.unit(),
        bay: bench.bay().to_owned(),
        measured_in: bench.measured_in().to_owned(),
        plus: SIGN,
        valves: valves.collect(),
        enough: shimming.enough,
        verdict: match shimming.rounds {
            Some(_) => verdict(last, &SHIM),
            None => verdict(last, proposal.advised().map_or(&SHIM, words_of)),
        },
        now: forecast(&proposal.now, lengths),
        builds: builds(proposal, lengths),
        fewest: proposal.fewest.map(|k| k + 1),
        proven: proposal.proven,
        chance_with_a_gauge_twice_as_bad: in_doubt,
        missing: proposal.missing.as_ref().map_or(Value::Null, |m| missing(m, lengths)),
        measure_first: measure_first(proposal, lengths),
        after: shimming.rounds.map(|rounds| after_build(rounds, lengths)),
    })
}

/// Nothing is done that is not built.
fn words_of(build: &Build) -> &'static Words {
    if build.is_as_now() { &SHIM } else { &SHIM_UNBUILT }
}

fn verdict(verdict: &Verdict, words: &Words) -> Value {
    json!({ "word": verdict.word(words), "reasons": verdict.reasons(), "settled_by": verdict.what_settles_it() })
}

fn valve(m: &Measured, readings: &[Compared], date: Option<String>, lengths: Lengths) -> Value {
    let latest = readings.iter().rfind(|one| one.valve == m.valve);
    let all: Vec<f64> = m.readings.iter().map(|&y| lengths.of(y)).collect();
    json!({ "valve": m.valve, "measured": m.readings.last().map(|&y| lengths.of(y)), "readings": all, "u": lengths.of(m.u),
            "repeatability": m.repeatability.map(|r| lengths.of(r)), "date": date,
            "expected": latest.map(|one| lengths.of(one.surprise.expected)), "z": latest.map(|one| one.surprise.z),
            "believed": latest.map(|one| one.believed) })
}

fn builds(proposal: &Proposal, lengths: Lengths) -> Vec<Value> {
    proposal.builds.iter().enumerate().map(|(k, b)| build(k + 1, b, lengths)).collect()
}

fn measure_first(proposal: &Proposal, lengths: Lengths) -> Vec<Value> {
    let one = |m: &packdrift_stock::MeasureFirst| {
        json!({ "piece": m.name, "in_bay": m.row.is_none(), "thickness": lengths.of(m.thickness), "sd": lengths.of(m.sd), "gain": m.gain,
                "scatter_removed": m.scatter_removed, "gain_in_chance": m.gain_in_chance })
    };
    proposal.measure_first.iter().map(one).collect()
}

fn build(number: usize, b: &Build, lengths: Lengths) -> Value {
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
                    json!({ "piece": p.name, "thickness": lengths.of(p.thickness), "sd": lengths.of(p.sd), "measured": p.measured,
                            "from": from, "thinned_from": p.thinned_from.map(|t| lengths.of(t)) })
                })
                .collect();
            json!({ "place": place.label, "pieces": pieces })
        })
        .collect();
    let out: Vec<Value> = b
        .taken_out
        .iter()
        .map(|t| json!({ "piece": t.name, "thickness": lengths.of(t.thickness), "place": t.place }))
        .collect();
    json!({ "build": number, "score": b.score, "good_enough": b.good_enough, "verdict": verdict(&b.verdict, words_of(b)), "touched": b.touched,
            "sum": lengths.of(b.sum), "old_sum": lengths.of(b.old_sum), "places": places, "taken_out": out,
            "forecast": forecast(&b.forecast, lengths) })
}

fn forecast(f: &Forecast, lengths: Lengths) -> Value {
    let quantities: Vec<Value> = in_order(f)
        .map(|e| {
            let value = |v: f64| lengths.value_of(e.kind, v);
            json!({ "quantity": e.kind.name(), "of": e.of, "condition": e.condition, "temperature": e.temperature,
                    "unit": lengths.unit_of(e.kind), "mean": value(e.mean), "sd": value(e.sd), "wander": value(e.wander),
                    "lower": e.lower.map(value), "upper": e.upper.map(value), "target": e.target.map(value), "asked_for": e.named })
        })
        .collect();
    let other = |o: &OtherRocker| json!({ "valve": o.valve, "chance": o.chance, "chance_standard_error": o.chance_se });
    let others: Vec<Value> = f.others.iter().map(other).collect();
    json!({ "chance": f.chance, "chance_standard_error": f.chance_se, "chance_all": f.chance_all,
            "chance_all_standard_error": f.chance_all_se, "other_rockers": others, "loose": f.loose,
            "cannot_assemble": f.cannot_assemble, "draws": f.draws, "quantities": quantities })
}

fn candidate(c: &Candidate, lengths: Lengths) -> Value {
    json!({ "piece": c.name, "thickness": lengths.of(c.thickness), "chance": c.chance, "chance_standard_error": c.chance_se,
            "in_drawer": c.in_drawer, "lead_days": c.lead_days, "cost": c.cost })
}

fn missing(m: &Missing, lengths: Lengths) -> Value {
    json!({ "thickness": lengths.of(m.thickness), "good_enough": m.good_enough.map(|(a, b)| [lengths.of(a), lengths.of(b)]),
            "build": build(0, &m.build, lengths),
            "nearest_in_drawer": m.nearest_in_drawer.as_ref().map(|c| candidate(c, lengths)),
            "nearest_to_be_had": m.nearest_to_be_had.as_ref().map(|c| candidate(c, lengths)) })
}

fn after_build(rounds: &Rounds, lengths: Lengths) -> Value {
    let after = &rounds.after;
    let reading = |r: &Compared| {
        json!({ "valve": r.valve, "reading": lengths.of(r.reading), "expected": lengths.of(r.surprise.expected),
                "sd": lengths.of(r.surprise.sd), "z": r.surprise.z, "surprising": r.is_surprising(), "believed": r.believed,
                "lower": r.limits.0.map(|l| lengths.of(l)), "upper": r.limits.1.map(|l| lengths.of(l)), "outside": r.is_outside() })
    };
    let readings: Vec<Value> = after.readings.iter().map(reading).collect();
    let pair = |(mean, sd): (f64, f64)| [lengths.of(mean), lengths.of(sd)];
    let learned: Vec<Value> = after
        .learned
        .iter()
        .map(|l| json!({ "dimension": l.path, "before": pair(l.before), "after": pair(l.after) }))
        .collect();
    let next = after.next.as_ref().map(|next| {
        json!({ "builds": builds(next, lengths), "fewest": next.fewest.map(|k| k + 1), "proven": next.proven,
                "missing": next.missing.as_ref().map_or(Value::Null, |m| missing(m, lengths)) })
    });
    let doubt = after.doubt.as_ref().map(|doubt| {
        json!({ "valves": doubt.valves, "with": forecast(&doubt.with, lengths), "without": forecast(&doubt.without, lengths) })
    });
    let taken_as: Vec<Value> = rounds
        .taken_as
        .iter()
        .map(|made| match made {
            Made::Build(number) => json!({ "build": number }),
            Made::ReadAgain => json!("read again"),
        })
        .collect();
    json!({ "build": rounds.number, "readings": readings, "learned": learned, "now": forecast(&after.now, lengths), "done": after.done,
            "verdict": verdict(&after.verdict, &SHIM), "doubt": doubt, "contradicted": after.contradicted, "results_taken_as": taken_as,
            "next": next })
}
