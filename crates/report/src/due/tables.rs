//! The plan as tables: for CSV, the workbook and the page.

use super::words::{
    because, cost, digits, feature, first, jobs, latest, look_for, ordered, place, remedy_in_short, standing,
    valve_standing, valve_word, window_name,
};
use super::{Planned, scenarios};
use crate::calendar::iso;
use crate::number::{plus_minus, significant};
use crate::table::{Cell, Column, Table};
use packdrift_due::{DueResult, EngineDue, Ordered, ValveWork};

/// Columns of [`engines`] that a terminal has room for.
pub(super) const NARROW: [&str; 9] = [
    "status",
    "engine",
    "latest_date",
    "chance_now",
    "first_to_enter",
    "work",
    "window_from",
    "days_late",
    "chance_then",
];

/// Columns of [`order`] for people.
const ORDER: [&str; 6] = ["name", "at_once", "in_windows", "without_a_place", "beyond_the_plan", "total"];

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
            Column::text("first to enter"),
            Column::text("work"),
            Column::text("window from"),
            Column::text("because"),
            Column::number("days late"),
            Column::number("chance then"),
            Column::number("valves"),
            Column::text("look by"),
        ],
    );
    for e in result.engines.iter().take(most) {
        table.push(vec![
            Cell::verdict(e.status.name(), standing(e.status)),
            Cell::text(&e.engine),
            Cell::text(latest(result, e)),
            Cell::chance(e.chance_now),
            e.usage.map_or(Cell::Empty, |u| {
                let (hours, error) = (u.hours_a_week, u.standard_error);
                Cell::shown_as(hours, if error > 0.0 { plus_minus(hours, error) } else { significant(hours, 3) })
            }),
            Cell::text(first(e)),
            Cell::text(jobs(result, e)),
            Cell::text(place(result, e)),
            Cell::text(because(e)),
            if e.days_late > 0 { Cell::Count(e.days_late.unsigned_abs().into()) } else { Cell::Empty },
            Cell::chance(e.chance_then),
            Cell::Count(e.work.len() as u64),
            e.look.as_ref().map_or(Cell::Empty, |l| Cell::text(iso(l.day))),
        ]);
    }
    table
}

/// Every valve as it stands on the day of the plan, with what was read of it last.
pub(super) fn valves(result: &DueResult) -> Table {
    let mut table = Table::new(
        "valves-today",
        &format!("Every valve as of {}, and what was read of it last", iso(result.today)),
        vec![
            Column::text("status"),
            Column::text("engine"),
            Column::text("valve"),
            Column::number("chance now"),
            Column::number("chance within the horizon"),
            Column::number("first to enter"),
            Column::text("feature"),
            Column::text("last read"),
            Column::number("at").unit("h"),
            Column::number("reading"),
        ],
    );
    for e in &result.engines {
        for v in &e.today {
            let row = |reading: [Cell; 4]| {
                let mut row = vec![
                    Cell::verdict(valve_word(v.status), valve_standing(v.status)),
                    Cell::text(&e.engine),
                    Cell::text(&v.valve),
                    Cell::chance(v.chance_now),
                    Cell::chance(v.chance_by_horizon),
                    Cell::chance(v.first),
                ];
                row.extend(reading);
                row
            };
            for r in &v.readings {
                table.push(row([
                    Cell::text(feature(&r.feature)),
                    Cell::text(iso(r.day)),
                    Cell::fixed(r.hours, 0),
                    Cell::plain(r.value),
                ]));
            }
            if v.readings.is_empty() {
                table.push(row([Cell::Empty, Cell::text("not read since the work"), Cell::Empty, Cell::Empty]));
            }
        }
    }
    table
}

fn causes(w: &ValveWork) -> String {
    w.causes.iter().map(|c| feature(&c.feature)).collect::<Vec<_>>().join(", ")
}

/// What was read last of the valve by its first cause: `1.58 on 2026-08-20`.
fn last_read(e: &EngineDue, w: &ValveWork) -> Cell {
    let valve = e.today.iter().find(|v| v.valve == w.valve);
    let reading = valve.and_then(|v| {
        let cause = w.causes.first()?;
        v.readings.iter().find(|r| r.feature == cause.feature)
    });
    reading.map_or(Cell::Empty, |r| Cell::text(format!("{} on {}", crate::number::plain(r.value), iso(r.day))))
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
        Column::text("last read"),
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
                last_read(e, v),
                Cell::chance(v.chance_then),
                Cell::chance(v.chance_by_following),
                Cell::text(remedy_in_short(v)),
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
            Column::number("after their date"),
            Column::number("valves"),
            Column::number("one more saves").unit("days").key("worth_of_a_place"),
            Column::text("engines"),
        ],
    );
    for w in &result.plan.windows {
        let engines = || w.engines.iter().map(|e| &result.engines[*e]);
        let names: Vec<&str> = engines().map(|e| e.engine.as_str()).collect();
        table.push(vec![
            Cell::text(iso(w.start)),
            Cell::text(iso(w.end)),
            Cell::Count(u64::from(w.capacity)),
            Cell::Count(w.engines.len() as u64),
            Cell::Count(engines().filter(|e| e.days_late > 0).count() as u64),
            Cell::Count(engines().map(|e| e.work.len() as u64).sum()),
            Cell::shown_as(w.worth_of_a_place, crate::number::fixed(w.worth_of_a_place, 1)),
            Cell::text(names.join(" ")),
        ]);
    }
    table
}

/// Chance of each engine to have entered by the end of each window, nothing done.
pub(super) fn by_window(result: &DueResult) -> Table {
    let mut columns = vec![Column::text("engine"), Column::text("place")];
    columns.extend(result.plan.windows.iter().map(|w| Column::number(&format!("by {}", iso(w.end)))));
    let caption =
        "Chance that an engine has entered the damage zone by the end of each window, if nothing is done to it";
    let mut table = Table::new("chance-by-window", caption, columns);
    if result.plan.windows.is_empty() {
        return table;
    }
    for e in &result.engines {
        let mut row = vec![Cell::text(&e.engine), Cell::text(place(result, e))];
        row.extend(e.chance_by_window.iter().map(|c| Cell::chance(*c)));
        table.push(row);
    }
    table
}

/// The order of parts, by when they are needed. `stock` reads it: the rows of shims as streams of corrections over the time until the
/// window after the plan's end.
pub(super) fn order(result: &DueResult) -> Table {
    let days = f64::from((result.plan.end - result.today).max(1));
    let mut table = Table::new(
        "demand",
        "Parts to order, expected numbers by when they are needed",
        vec![
            Column::text("what").key("name"),
            Column::text("part"),
            Column::number("at once"),
            Column::number("in windows"),
            Column::number("without a place"),
            Column::number("beyond the plan"),
            Column::number("total"),
            Column::number("jobs a day").key("rate_per_day"),
            Column::number("correction"),
            Column::number("sd"),
            // The sum of the pieces is held, so that the preload stays what it is: what one side gives the other takes.
            Column::number("squeeze"),
            Column::number("squeeze_sd"),
        ],
    )
    .to_be_read();
    let expected = |n: f64| Cell::shown_as(n, crate::number::fixed(n, 1));
    for line in &result.order {
        let (part, sizes) = match &line.part {
            Ordered::Shims { mean, sd, from, to } => {
                let fixed = |length: f64| Cell::fixed(length, digits(to - from) + 1);
                ("shims", [fixed(*mean), Cell::significant(*sd, 2), fixed(0.0), fixed(0.0)])
            }
            _ => ("new part", [Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty]),
        };
        let rate = (line.at_once + line.in_windows + line.without_place) / days;
        let mut row = vec![
            Cell::text(ordered(&line.part)),
            Cell::text(part),
            expected(line.at_once),
            expected(line.in_windows),
            expected(line.without_place),
            expected(line.beyond),
            expected(line.total()),
            Cell::shown_as(rate, significant(rate, 3)),
        ];
        row.extend(sizes);
        table.push(row);
    }
    table
}

/// The order for people: without sizes of which fewer than one in twenty is expected.
pub(super) fn short_order(result: &DueResult) -> Table {
    let mut order = order(result).with_columns(&ORDER);
    let shown = result.order.iter().map(|l| l.total() >= 0.05);
    let mut shown = shown.collect::<Vec<_>>().into_iter();
    order.rows.retain(|_| shown.next().unwrap_or_default());
    order
}

/// The next look at each engine, the earliest first.
pub(super) fn looks(result: &DueResult) -> Table {
    let mut table = Table::new(
        "looks",
        "When to look at each engine next",
        vec![
            Column::text("look by"),
            Column::text("engine"),
            Column::text("because"),
            Column::text("valves first"),
            Column::number("chance then"),
            Column::number("saves"),
            Column::text("saves most on"),
            Column::number("saves then"),
        ],
    );
    let mut engines: Vec<(&EngineDue, &packdrift_due::Look)> =
        result.engines.iter().filter_map(|e| Some((e, e.look.as_ref()?))).collect();
    engines.sort_by(|a, b| a.1.day.cmp(&b.1.day).then_with(|| a.0.engine.cmp(&b.0.engine)));
    for (e, look) in engines {
        let after = if look.after_work { ", after the work" } else { "" };
        table.push(vec![
            Cell::text(if look.day <= result.today { "now".to_owned() } else { iso(look.day) }),
            Cell::text(&e.engine),
            Cell::text(format!("{}{after}", look_for(look.because))),
            Cell::text(look.valves.join(", ")),
            Cell::chance(look.chance),
            look.worth.map_or(Cell::Empty, |w| Cell::shown_as(w, cost(result, w))),
            look.best.map_or(Cell::Empty, |b| Cell::text(iso(b.0))),
            look.best.map_or(Cell::Empty, |b| Cell::shown_as(b.1, cost(result, b.1))),
        ]);
    }
    table
}

/// Expected corrections by size, window by window.
fn corrections(result: &DueResult) -> Table {
    let unit = result.unit.as_str();
    let mut table = Table::new(
        "corrections",
        "Corrections to be expected in each window, by size",
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
                Cell::fixed(step.from, digits(step.to - step.from)),
                Cell::fixed(step.to, digits(step.to - step.from)),
                Cell::fixed(step.expected, 2),
            ]);
        }
    }
    table
}

/// Month by month.
pub(super) fn months(result: &DueResult) -> Table {
    let mut table = Table::new(
        "months",
        "Expected number in the damage zone on a day: entered by then, and not done since",
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
        "The cheapest interval between jobs, with its 90 % band",
        vec![
            Column::text("engines with"),
            Column::number("engines"),
            Column::number("interval").unit("h"),
            Column::number("from").unit("h"),
            Column::number("to").unit("h"),
            Column::number("cost per 1000 h"),
            Column::number("chance within it"),
            Column::number("cost per 1000 h, never planned"),
            Column::number("accepted risk reached after").unit("h").key("chance_at_the_risk_after_h"),
        ],
    );
    for i in &result.intervals {
        let best = i.cheapest;
        let hours = |h: Option<f64>| h.map_or(Cell::Empty, |h| Cell::significant(h, 3));
        table.push(vec![
            Cell::text(&i.valves),
            Cell::Count(i.engines as u64),
            hours(best.map(|b| b.hours)),
            hours(i.band.0),
            hours(i.band.1),
            best.map_or(Cell::Empty, |b| Cell::significant(b.cost, 3)),
            best.map_or(Cell::Empty, |b| Cell::chance(b.chance)),
            i.run_to_failure.map_or(Cell::Empty, |c| Cell::significant(c, 3)),
            hours(i.at_risk),
        ]);
    }
    table
}

/// All tables.
pub fn tables(planned: Planned<'_>) -> Vec<Table> {
    let result = planned.result;
    let mut all = vec![
        engines(result, usize::MAX),
        windows(result),
        work(result, Of::All),
        order(result),
        looks(result),
        by_window(result),
        valves(result),
        corrections(result),
        months(result),
        intervals(result),
    ];
    all.extend(planned.comparison.into_iter().flat_map(scenarios::tables));
    all.retain(|t| !t.rows.is_empty());
    all
}
