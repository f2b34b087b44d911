//! Deliveries in a row under the switching rules.

use crate::page::Answer;
use crate::table::{Cell, Column, Standing, Table};
use packdrift_lot::sampling::history::{History, Judged};
use packdrift_lot::sampling::standard::Severity;
use packdrift_lot::sampling::switching::State;
use serde_json::{Value, json};

fn word(state: State) -> &'static str {
    match state {
        State::Inspect(Severity::Normal) => "normal",
        State::Inspect(Severity::Tightened) => "tightened",
        State::Inspect(Severity::Reduced) => "reduced",
        State::Discontinued => "stopped",
    }
}

pub(super) fn answer(history: &History, plan: &str, origin: &str) -> Answer {
    let refused = history.deliveries.iter().filter(|d| d.accepted == Some(false)).count();
    let so_far = format!("{refused} of {} deliveries not accepted so far.", history.deliveries.len());
    let (standing, sentence) = match history.next {
        State::Discontinued => (
            Standing::Act,
            "Inspection is stopped: five lots were not accepted under tightened inspection. Take no more until the supplier has mended the cause; then begin again, tightened.".to_owned(),
        ),
        State::Inspect(Severity::Tightened) => (Standing::Attend, format!("The next lot is under tightened inspection. {plan}")),
        State::Inspect(Severity::Normal) if history.reduced_permitted => (
            Standing::Good,
            format!("The next lot is under normal inspection. {plan} Reduced inspection is permitted where production is steady and you agree to it: --reduced."),
        ),
        State::Inspect(Severity::Normal) => (Standing::Good, format!("The next lot is under normal inspection. {plan}")),
        State::Inspect(Severity::Reduced) => (
            Standing::Good,
            format!("The next lot is under reduced inspection, as agreed, while production stays steady. {plan}"),
        ),
    };
    // What is to be done with the parts on the bench comes before what holds for the next ones.
    let (standing, sentence) = match history.deliveries.last() {
        Some(last) if last.accepted == Some(false) => {
            (Standing::Act, format!("The last delivery, {}, is not accepted. {sentence}", last.delivery.lot))
        }
        _ => (standing, sentence),
    };
    Answer { standing, sentence, advice: format!("{so_far} {origin}") }
}

pub(super) fn table(history: &History) -> Table {
    let mut table = Table::new(
        "history",
        "Each delivery by the plan in force for it",
        vec![
            Column::text("lot"),
            Column::text("inspection"),
            Column::text("verdict"),
            Column::number("lot size"),
            Column::number("measured"),
            Column::number("outside"),
            Column::number("allowed"),
            Column::number("switching score"),
        ],
    );
    for Judged { delivery, state, plan, accepted, score } in &history.deliveries {
        table.push(vec![
            Cell::text(delivery.lot.as_str()),
            Cell::text(word(*state)),
            match accepted {
                Some(true) => Cell::verdict("accepted", Standing::Good),
                Some(false) => Cell::verdict("not accepted", Standing::Act),
                None => Cell::verdict("not judged", Standing::Attend),
            },
            Cell::Count(delivery.lot_size),
            plan.map_or(Cell::Empty, |p| Cell::Count(p.plan.sample_size)),
            Cell::Count(delivery.outside),
            plan.map_or(Cell::Empty, |p| Cell::Count(p.plan.acceptance_number)),
            Cell::Count(u64::from(*score)),
        ]);
    }
    table
}

pub(super) fn json(history: &History) -> Value {
    json!({
        "next": if history.reduced_permitted { "reduced permitted" } else { word(history.next) },
        "deliveries": history.deliveries.iter().map(|d| json!({
            "lot": d.delivery.lot, "lot_size": d.delivery.lot_size, "outside": d.delivery.outside, "inspection": word(d.state),
            "n": d.plan.map(|p| p.plan.sample_size), "c": d.plan.map(|p| p.plan.acceptance_number), "accepted": d.accepted, "score": d.score })).collect::<Vec<_>>(),
    })
}
