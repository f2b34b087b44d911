//! Today's plan and scenarios side by side.

use super::words::{ordered, place};
use crate::calendar::iso;
use crate::number::{fixed, percent, significant};
use crate::table::{Cell, Column, Table};
use crate::text::{clean, wrapped};
use packdrift_due::{Comparison, DueResult};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The plans, today's first, with their names.
fn plans(comparison: &Comparison) -> Vec<(String, &DueResult)> {
    let scenarios = comparison.scenarios.iter().map(|s| (clean(&s.name), &s.result));
    std::iter::once(("today's plan".to_owned(), &comparison.today)).chain(scenarios).collect()
}

fn columns(first: &[&str], comparison: &Comparison) -> Vec<Column> {
    let first = first.iter().map(|head| Column::text(head));
    first.chain(plans(comparison).iter().map(|(name, _)| Column::number(name))).collect()
}

/// Cost, engines late, valves in the zone: a row a measure, a column a plan.
pub(super) fn measures(comparison: &Comparison) -> Table {
    let unit = &comparison.today.cost_unit;
    let money = if unit.is_empty() { String::new() } else { format!(", {}", clean(unit)) };
    let until = iso(comparison.until);
    let mut table = Table::new(
        "scenarios",
        &format!("Today's plan and the scenarios, counted until {until}"),
        columns(&["measure"], comparison),
    );
    let mut row = |measure: String, of: &dyn Fn(&DueResult) -> Cell| {
        let mut cells = vec![Cell::text(measure)];
        cells.extend(plans(comparison).iter().map(|(_, result)| of(result)));
        if cells[1..].iter().any(|c| *c != Cell::Empty) {
            table.push(cells);
        }
    };
    let costs = |cost: Option<f64>| cost.map_or(Cell::Empty, |c| Cell::significant(c, 3));
    let tenth = |n: f64| Cell::fixed(n, 1);
    row("accepted risk".into(), &|r| Cell::shown_as(r.risk, percent(r.risk)));
    row(format!("expected cost{money}"), &|r| costs(r.plan.expected_cost));
    row(format!("expected cost if nothing is done{money}"), &|r| costs(r.plan.expected_cost_undone));
    row("engines done at once".into(), &|r| Cell::Count(r.engines.iter().filter(|e| e.at_once).count() as u64));
    row("engines in windows".into(), &|r| Cell::Count(r.engines.iter().filter(|e| e.window.is_some()).count() as u64));
    row("engines late".into(), &|r| Cell::Count(r.plan.late as u64));
    row("days late, all together".into(), &|r| {
        Cell::Count(r.late().iter().map(|e| u64::from(e.days_late.unsigned_abs())).sum())
    });
    row("engines expected to enter before they are done".into(), &|r| tenth(r.plan.expected_late));
    row(format!("valves in the zone on {until}, by the plan"), &|r| {
        r.until.map_or(Cell::Empty, |m| tenth(m.valves_with_plan))
    });
    row(format!("valves in the zone on {until}, nothing done"), &|r| r.until.map_or(Cell::Empty, |m| tenth(m.valves)));
    row("corrections by shims to order".into(), &|r| {
        tenth(
            r.order
                .iter()
                .filter(|l| matches!(l.part, packdrift_due::Ordered::Shims { .. }))
                .map(packdrift_due::OrderLine::total)
                .sum(),
        )
    });
    row("new parts to order".into(), &|r| {
        tenth(
            r.order
                .iter()
                .filter(|l| !matches!(l.part, packdrift_due::Ordered::Shims { .. }))
                .map(packdrift_due::OrderLine::total)
                .sum(),
        )
    });
    table
}

/// Each engine's place, days late, and chance by the end of each window, plan by plan.
fn engines(comparison: &Comparison) -> Table {
    let mut table = Table::new(
        "scenario-engines",
        "Each engine's place and days late; chance that it has entered by the end of a window, if nothing is done to it before",
        vec![
            Column::text("plan"),
            Column::text("engine"),
            Column::text("latest date"),
            Column::text("place"),
            Column::number("days late"),
            Column::number("chance then"),
            Column::text("window"),
            Column::number("chance by its end"),
        ],
    );
    for (name, result) in plans(comparison) {
        for e in &result.engines {
            for (w, chance) in result.plan.windows.iter().zip(&e.chance_by_window) {
                table.push(vec![
                    Cell::text(&name),
                    Cell::text(&e.engine),
                    e.due.map_or(Cell::Empty, |d| Cell::text(iso(d))),
                    Cell::text(place(result, e)),
                    Cell::Count(e.days_late.unsigned_abs().into()),
                    Cell::chance(e.chance_then),
                    Cell::text(iso(w.start)),
                    Cell::chance(*chance),
                ]);
            }
        }
    }
    table
}

/// The order of parts: a row a part, a column a plan.
fn orders(comparison: &Comparison) -> Table {
    let mut table =
        Table::new("scenario-order", "Parts to order, expected numbers in all", columns(&["part"], comparison));
    // Shims in the order of their size, then parts.
    let mut parts: BTreeMap<(i64, String), Vec<f64>> = BTreeMap::new();
    let plans = plans(comparison);
    for (k, (_, result)) in plans.iter().enumerate() {
        for line in &result.order {
            let rank = match line.part {
                packdrift_due::Ordered::Shims { from, .. } => (from * 1e3).round() as i64,
                _ => i64::MAX,
            };
            parts.entry((rank, ordered(&line.part))).or_insert_with(|| vec![0.0; plans.len()])[k] += line.total();
        }
    }
    for ((_, name), numbers) in parts {
        let mut row = vec![Cell::text(name)];
        row.extend(numbers.into_iter().map(|n| Cell::shown_as(n, fixed(n, 1))));
        table.push(row);
    }
    table
}

/// Which engines move, in words: `P03 from 2027-03-01 to 2027-06-14`.
fn moves(today: &DueResult, other: &DueResult) -> Vec<String> {
    today
        .engines
        .iter()
        .filter_map(|e| {
            let then = other.engines.iter().find(|o| o.engine == e.engine)?;
            let (from, to) = (place(today, e), place(other, then));
            (from != to).then(|| format!("{} from {from} to {to}", clean(&e.engine)))
        })
        .collect()
}

/// The comparison for the terminal.
pub(super) fn text(comparison: &Comparison) -> String {
    let mut out = format!("\nScenarios, from the same readings and forecasts\n{}", measures(comparison).text(2));
    for line in lines(comparison) {
        out.push_str(&wrapped(&line, 98, 2));
    }
    out
}

/// What each scenario changes, and what comes of it.
pub(super) fn lines(comparison: &Comparison) -> Vec<String> {
    const MOVES: usize = 6;
    comparison
        .scenarios
        .iter()
        .map(|s| {
            let mut line = format!("{}: {}.", clean(&s.name), clean(&s.changes.join("; ")));
            let moved = moves(&comparison.today, &s.result);
            if !moved.is_empty() {
                let _ = write!(line, " Moved: {}.", super::words::listed(&moved, MOVES));
            }
            if let (Some(then), Some(now)) = (s.result.plan.expected_cost, comparison.today.plan.expected_cost) {
                let unit = &comparison.today.cost_unit;
                let unit = if unit.is_empty() { String::new() } else { format!(" {}", clean(unit)) };
                let more = if then >= now { "more" } else { "less" };
                let _ =
                    write!(line, " It costs {}{unit} {more} than today's plan.", significant((then - now).abs(), 3));
            }
            line
        })
        .collect()
}

/// The tables of a comparison.
pub(super) fn tables(comparison: &Comparison) -> Vec<Table> {
    vec![measures(comparison), engines(comparison), orders(comparison)]
}
