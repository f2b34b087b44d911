//! The answer as JSON: see `docs/results.md`.

use super::tables::{decision, price_of};
use super::{Answered, way};
use crate::envelope::{Document, Envelope};
use packdrift_policy::{Choice, Estimate, Figure, Known, Policy};
use serde_json::{Value, json};

fn figure(f: Figure) -> Value {
    json!({ "value": f.value, "standard_error": f.standard_error })
}

fn choice(policy: &Policy, c: &Choice) -> Value {
    let of = policy.question.priced.iter().zip(&c.levels);
    let tolerances: Vec<Value> = of
        .map(|(p, &l)| {
            let level = p.levels[usize::from(l)];
            json!({ "dimension": p.dimension, "tol_now": p.tol_now, "tol": level.tol, "price": level.price })
        })
        .collect();
    let sizes: Vec<&str> = c.held().into_iter().map(|k| policy.question.catalogue[k].name.as_str()).collect();
    json!({ "tolerances": tolerances, "sizes": sizes, "pieces": if c.sizes == 0 { "not fitted" } else { way(c.pieces) } })
}

fn estimate(policy: &Policy, e: &Estimate) -> Value {
    let parts = &e.parts;
    let builds = policy.question.prices.builds();
    let drawer: Vec<Value> = e
        .drawer
        .iter()
        .map(|h| json!({ "size": policy.question.catalogue[h.size].name, "hold": h.level, "taken_a_build": h.taken }))
        .collect();
    json!({
        "choice": choice(policy, &e.choice),
        "builds": e.builds,
        "cost": figure(e.cost),
        "cost_a_year": figure(e.cost_a_year(builds)),
        "parts": {
            "tolerances": parts.tolerances.iter().sum::<f64>(),
            "reading": parts.reading,
            "opening": parts.opening,
            "touching": parts.touching,
            "pieces": parts.pieces.iter().sum::<f64>(),
            "measuring": parts.measuring,
            "tighter": parts.tighter,
            "holding": parts.holding,
            "sizes": parts.sizes,
        },
        "out_drawn": figure(e.out_drawn),
        "out_first": figure(e.out_first),
        "out": figure(e.out),
        "bound": e.bound,
        "bad_year": e.bad_year,
        "keeps_the_ceiling": e.bound <= policy.question.ceiling,
        "fitted": e.fitted,
        "fitted_again": e.fitted_again,
        "readings": e.readings,
        "drawer": drawer,
        "service": e.service.map(figure),
    })
}

/// The answer as JSON.
pub fn json<'a>(envelope: &'a Envelope, answered: &Answered<'_>) -> Document<'a, Value> {
    let policy = answered.policy;
    let known = match policy.known {
        Known::Exhausted { choices } => json!({ "kind": "exhausted", "choices": choices, "at_least": Value::Null }),
        Known::BestFound { choices, at_least } => {
            json!({ "kind": "best found", "choices": choices, "at_least": at_least })
        }
    };
    let curve: Vec<Value> = policy
        .curve
        .iter()
        .map(|p| {
            let kept = p.estimate.as_ref().map(|e| e.bound <= p.ceiling);
            let found = p.estimate.as_ref().map(|e| estimate(policy, e));
            json!({ "ceiling": p.ceiling, "kept": kept, "found": found })
        })
        .collect();
    let alone: Vec<Value> = policy
        .alone
        .iter()
        .map(|a| {
            json!({ "change": decision(answered, &a.decision), "cost": a.cost, "out": a.out, "keeps_by_estimate": a.keeps })
        })
        .collect();
    let prices: Vec<Value> = policy
        .prices
        .iter()
        .map(|p| json!({ "price": price_of(answered, p), "by": p.by, "then": choice(policy, &p.then) }))
        .collect();
    let otherwise: Vec<Value> = policy
        .otherwise
        .iter()
        .map(|o| {
            json!({
                "assumption": o.assumption,
                "stands": o.stands,
                "instead": o.instead,
                "same": estimate(policy, &o.same),
                "best": estimate(policy, &o.best),
                "same_choice": o.best.choice == policy.best.choice,
            })
        })
        .collect();
    let beside = |e: &Option<Estimate>| e.as_ref().map(|e| estimate(policy, e));
    envelope.around(json!({
        "ceiling": policy.question.ceiling,
        "stopped": policy.stopped,
        "best": estimate(policy, &policy.best),
        "optimum": known,
        "beside": {
            "as_drawn": beside(&policy.today),
            "tolerances_alone": beside(&policy.tolerances_alone),
            "drawer_alone": beside(&policy.drawer_alone),
        },
        "curve": curve,
        "on_the_draws_of_the_search": beside(&policy.on_search),
        "alone": alone,
        "prices": prices,
        "assumptions": otherwise,
        "acceptable": policy.verdict.is_shown(),
        "verdict": crate::stack::VerdictForm::new(&policy.verdict),
    }))
}
