//! The plan as tables: for CSV, the workbook and the page.

use super::{latest, place, standing, window_name, word};
use crate::calendar::iso;
use crate::number::{plus_minus, significant};
use crate::table::{Cell, Column, Table};
use packdrift_due::{DueResult, EngineDue, ValveWork};

/// Engines with their dates and places, the most urgent first; `most` of them.
pub(super) fn engines(result: &DueResult, most: usize) -> Table {
    let mut table = Table::new(
        "engines",
        "Engines by latest date",
        vec![
            Column::text("status"),
            Column::text("engine"),
            Column::text("latest date"),
            Column::number("chance now"),
            Column::number("hours a week"),
            Column::text("first valve"),
            Column::text("window from"),
            Column::number("chance then"),
            Column::number("valves"),
        ],
    );
    for e in result.engines.iter().take(most) {
        table.push(vec![
            Cell::verdict(word(e.status), standing(e.status)),
            Cell::text(&e.engine),
            Cell::text(latest(e)),
            Cell::chance(e.chance_now),
            e.usage.map_or(Cell::Empty, |u| {
                let (hours, error) = (u.hours_a_week, u.standard_error);
                Cell::shown_as(hours, if error > 0.0 { plus_minus(hours, error) } else { significant(hours, 3) })
            }),
            Cell::text(&e.first_valve),
            Cell::text(place(result, e)),
            Cell::chance(e.chance_then),
            Cell::Count(e.work.len() as u64),
        ]);
    }
    table
}

fn causes(w: &ValveWork) -> String {
    w.causes.iter().map(|c| c.feature.replace('_', " ")).collect::<Vec<_>>().join(", ")
}

/// What is done, in a word or two: the causes stand beside it.
fn done(w: &ValveWork) -> &'static str {
    match (w.correction.is_some(), w.renew.is_empty()) {
        (true, true) => "shims",
        (true, false) => "shims, new part",
        (false, false) => "new part",
        (false, true) => "look at it",
    }
}

/// Whose work a table shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Of {
    /// That of all engines.
    All,
    /// That of one window.
    Window(usize),
    /// What is done at once.
    AtOnce,
}

/// What is to be done: one row a valve, in the order of time; work of engines without a window last.
pub(super) fn work(result: &DueResult, of: Of) -> Table {
    let unit = result.unit.as_str();
    let mut columns = vec![
        Column::text("engine"),
        Column::text("valve"),
        Column::text("because of"),
        Column::number("chance then"),
        Column::number("by the next"),
        Column::text("work"),
        Column::number("correction").unit(unit),
        Column::number("its sd").unit(unit),
    ];
    if of == Of::All {
        columns.insert(0, Column::text("window from"));
    }
    let mut table = Table::new("valves-to-do", "Valves to do, and the corrections they are expected to need", columns);
    let mut engines: Vec<&EngineDue> = result
        .engines
        .iter()
        .filter(|e| match of {
            Of::All => true,
            Of::Window(w) => e.window == Some(w),
            Of::AtOnce => e.at_once,
        })
        .collect();
    engines.sort_by_key(|e| (!e.at_once, e.window.unwrap_or(usize::MAX)));
    for e in engines {
        for v in &e.work {
            let mut row = vec![
                Cell::text(&e.engine),
                Cell::text(&v.valve),
                Cell::text(causes(v)),
                Cell::chance(v.chance_then),
                Cell::chance(v.chance_by_following),
                Cell::text(done(v)),
                v.correction.map_or(Cell::Empty, |c| Cell::rounded(c.mean, c.sd)),
                v.correction.map_or(Cell::Empty, |c| Cell::significant(c.sd, 2)),
            ];
            if of == Of::All {
                row.insert(0, Cell::text(place(result, e)));
            }
            table.push(row);
        }
    }
    table
}

/// The windows and how full they are.
pub(super) fn windows(result: &DueResult) -> Table {
    let mut table = Table::new(
        "windows",
        "Service windows; what one more place would save, in engine-days beyond the accepted risk",
        vec![
            Column::text("start"),
            Column::text("end"),
            Column::number("places"),
            Column::number("taken"),
            Column::number("valves"),
            Column::number("one more saves").unit("days").key("worth_of_a_place"),
            Column::text("engines"),
        ],
    );
    for w in &result.plan.windows {
        let names: Vec<&str> = w.engines.iter().map(|e| result.engines[*e].engine.as_str()).collect();
        table.push(vec![
            Cell::text(iso(w.start)),
            Cell::text(iso(w.end)),
            Cell::Count(u64::from(w.capacity)),
            Cell::Count(w.engines.len() as u64),
            Cell::Count(w.engines.iter().map(|e| result.engines[*e].work.len() as u64).sum()),
            Cell::shown_as(w.worth_of_a_place, crate::number::fixed(w.worth_of_a_place, 1)),
            Cell::text(names.join(" ")),
        ]);
    }
    table
}

/// Expected corrections by size, all windows.
pub(super) fn corrections(result: &DueResult) -> Table {
    let unit = result.unit.as_str();
    let mut table = Table::new(
        "corrections",
        "Corrections to be expected, by size",
        vec![
            Column::text("window"),
            Column::number("from").unit(unit),
            Column::number("to").unit(unit),
            Column::number("expected number"),
        ],
    );
    for (k, w) in result.plan.windows.iter().enumerate() {
        for step in w.demand.iter().filter(|s| s.expected >= 0.005) {
            table.push(vec![
                Cell::text(window_name(result, k)),
                Cell::fixed(step.from, 2),
                Cell::fixed(step.to, 2),
                Cell::fixed(step.expected, 2),
            ]);
        }
    }
    table
}

/// The demand as `stock` reads it: one row a job, spread over the plan's time.
fn demand(result: &DueResult) -> Table {
    let days = f64::from((result.plan.end - result.today).max(1));
    let mut table = Table::new(
        "demand",
        "Demand for shims, to be read by stock",
        vec![
            Column::text("name"),
            Column::number("jobs a day").key("rate_per_day"),
            Column::number("correction"),
            Column::number("sd"),
            // The sum of the pieces is held, so that the preload stays what it is: what one side gives the other takes.
            Column::number("squeeze"),
            Column::number("squeeze_sd"),
        ],
    );
    for e in &result.engines {
        for v in &e.work {
            if let Some(c) = v.correction {
                table.push(vec![
                    Cell::text(format!("{}, {}", e.engine, v.valve)),
                    Cell::shown_as(1.0 / days, significant(1.0 / days, 3)),
                    Cell::rounded(c.mean, c.sd),
                    Cell::significant(c.sd, 2),
                    Cell::fixed(0.0, 3),
                    Cell::fixed(0.0, 3),
                ]);
            }
        }
    }
    table
}

/// Month by month.
pub(super) fn months(result: &DueResult) -> Table {
    let mut table = Table::new(
        "months",
        "Expected number in the damage zone, month by month",
        vec![
            Column::text("date"),
            Column::number("valves, nothing done"),
            Column::number("engines, nothing done"),
            Column::number("valves, by the plan"),
        ],
    );
    for m in &result.months {
        table.push(vec![
            Cell::text(iso(m.day)),
            Cell::fixed(m.valves, 2),
            Cell::fixed(m.engines, 2),
            Cell::fixed(m.valves_with_plan, 2),
        ]);
    }
    table
}

/// The cheapest intervals.
pub(super) fn intervals(result: &DueResult) -> Table {
    let mut table = Table::new(
        "interval",
        "The cheapest interval between re-shimmings",
        vec![
            Column::text("engines with"),
            Column::number("engines"),
            Column::number("interval").unit("h"),
            Column::number("cost per 1000 h"),
            Column::number("chance within it"),
            Column::number("cost per 1000 h, never planned"),
            Column::number("chance at the risk after").unit("h"),
        ],
    );
    for i in &result.intervals {
        let best = i.cheapest;
        table.push(vec![
            Cell::text(&i.valves),
            Cell::Count(i.engines as u64),
            best.map_or(Cell::Empty, |b| Cell::significant(b.hours, 3)),
            best.map_or(Cell::Empty, |b| Cell::significant(b.cost, 3)),
            best.map_or(Cell::Empty, |b| Cell::chance(b.chance)),
            i.run_to_failure.map_or(Cell::Empty, |c| Cell::significant(c, 3)),
            i.at_risk.map_or(Cell::Empty, |h| Cell::significant(h, 3)),
        ]);
    }
    table
}

/// All tables.
pub fn tables(result: &DueResult) -> Vec<Table> {
    let mut all = vec![
        engines(result, usize::MAX),
        windows(result),
        work(result, Of::All),
        corrections(result),
        demand(result),
        months(result),
        intervals(result),
    ];
    all.retain(|t| !t.rows.is_empty());
    all
}
