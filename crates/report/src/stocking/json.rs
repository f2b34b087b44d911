//! The plan as JSON, documented in docs/results.md.

use super::Stocked;
use crate::envelope::{Document, Envelope};
use packdrift_stock::{Assortment, GradeWorth, Levels, Share};
use packdrift_verdict::STOCK;
use serde::Serialize;
use serde_json::{Value, json};

#[derive(Serialize)]
struct Answered {
    units: &'static str,
    verdict: Value,
    rate_per_day: f64,
    jobs: usize,
    fresh_jobs: usize,
    service_wanted: f64,
    needs_nothing: f64,
    whole_catalogue: f64,
    coverage: Vec<Value>,
    chosen: Value,
    hold: Vec<Value>,
    levels: Value,
    on_their_own: Value,
    service_curve: Vec<Value>,
    sorting: Value,
}

/// The result.
pub fn json<'a>(envelope: &'a Envelope, stocked: &Stocked<'a>) -> Document<'a, impl Serialize + use<'a>> {
    let Stocked { plan, lengths } = *stocked;
    let assortment = |a: &Assortment| {
        let names: Vec<&str> = a.sizes.iter().map(|&k| plan.catalogue[k].name.as_str()).collect();
        json!({ "sizes": names, "coverage": a.coverage, "standard_error": a.standard_error, "bound": a.bound, "proven": a.proven })
    };
    let levels = |l: &Levels| {
        json!({ "counts": l.counts, "cost": l.cost, "served": l.service.share, "standard_error": l.service.standard_error,
                "waiting": l.service.waiting, "waiting_standard_error": l.service.waiting_se, "proven": l.proven })
    };
    let share = |s: Share| json!({ "share": s.share, "standard_error": s.standard_error });
    let s = &plan.sorting;
    let hold = plan
        .held
        .iter()
        .map(|h| {
            let size = &plan.catalogue[h.size];
            json!({ "size": size.name, "thickness": lengths.of(size.thickness), "expected": lengths.of(size.expected()), "hold": h.together, "lead_time_demand": h.lead_time_demand,
                    "on_its_own": h.on_its_own,
                    "reorder": h.reorder.map(|(point, quantity, cost)| json!({ "point": point, "quantity": quantity, "cost_per_day": cost })) })
        })
        .collect();
    let verdict = &plan.verdict;
    envelope.around(Answered {
        units: lengths.unit(),
        verdict: json!({ "word": verdict.word(&STOCK), "reasons": verdict.reasons(), "settled_by": verdict.what_settles_it() }),
        rate_per_day: plan.rate_per_day,
        jobs: plan.jobs,
        fresh_jobs: plan.fresh_jobs,
        service_wanted: plan.service,
        needs_nothing: plan.without,
        whole_catalogue: plan.all_sizes,
        coverage: plan.curve.iter().map(assortment).collect(),
        chosen: assortment(&plan.chosen),
        hold,
        levels: plan.levels.as_ref().map_or(Value::Null, levels),
        on_their_own: levels(&plan.on_their_own),
        service_curve: plan.service_curve.iter().map(levels).collect(),
        sorting: json!({
            "as_bought": share(s.as_bought), "measured": share(s.measured), "graded": share(s.graded),
            "gain_measured": share(s.gain_measured), "gain_graded": share(s.gain_graded), "pieces_per_job": s.pieces_per_job,
            "cost_measured": { "per_job": s.cost_measured.0, "per_job_gained": s.cost_measured.1 },
            "cost_graded": { "per_job": s.cost_graded.0, "per_job_gained": s.cost_graded.1 },
            "grade_worth_measuring": match s.grade_worth_measuring { GradeWorth::Grade(grade) => Some(grade), _ => None },
            "take_pieces": s.take_pieces, "cannot": s.cannot }),
    })
}
