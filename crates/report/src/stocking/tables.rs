//! The tables: what to hold, coverage by number of sizes, cost against service, the worth of measuring.

use super::{Stocked, size_names};
use crate::Lengths;
use crate::table::{Cell, Column, Table};
use packdrift_stock::{Plan, Share};

fn held(plan: &Plan, lengths: Lengths) -> Table {
    let mut columns = vec![
        Column::text("size"),
        lengths.column("thickness"),
        Column::number("hold"),
        Column::number("taken in lead time"),
        Column::number("lead time").unit("days"),
        Column::number("cost each"),
        Column::number("on its own"),
    ];
    let biased = plan.held.iter().any(|held| plan.catalogue[held.size].bias != 0.0);
    if biased {
        columns.insert(2, lengths.column("expected"));
    }
    let ordering = plan.held.iter().any(|held| held.reorder.is_some());
    if ordering {
        columns.push(Column::number("order at"));
        columns.push(Column::number("order"));
    }
    let mut table = Table::new("hold", "What to hold, judged together; beside it each size on its own", columns);
    for held in &plan.held {
        let size = &plan.catalogue[held.size];
        let mut row = vec![
            Cell::text(size.name.as_str()),
            lengths.fine_cell(size.thickness),
            held.together.map_or(Cell::Empty, |n| Cell::Count(n.into())),
            Cell::significant(held.lead_time_demand, 2),
            Cell::plain(size.lead_days),
            Cell::plain(size.cost),
            Cell::Count(held.on_its_own.into()),
        ];
        if biased {
            row.insert(2, lengths.fine_cell(size.expected()));
        }
        if ordering {
            row.push(held.reorder.map_or(Cell::Empty, |(point, ..)| Cell::fixed(point as f64, 0)));
            row.push(held.reorder.map_or(Cell::Empty, |(_, quantity, _)| Cell::Count(quantity.into())));
        }
        table.push(row);
    }
    table
}

fn coverage(plan: &Plan) -> Table {
    let mut table = Table::new(
        "coverage",
        "How much the best assortment of so many sizes can do, and what no other of as many can pass",
        vec![
            Column::number("sizes"),
            Column::text("which"),
            Column::number("jobs done"),
            Column::number("standard error"),
            Column::number("at most"),
            Column::text("proven best"),
        ],
    );
    for a in &plan.curve {
        table.push(vec![
            Cell::Count(a.sizes.len() as u64),
            Cell::text(size_names(plan, &a.sizes)),
            Cell::share(a.coverage),
            Cell::share(a.standard_error),
            Cell::share(a.bound),
            Cell::text(if a.proven { "yes" } else { "no" }),
        ]);
    }
    table
}

fn service(plan: &Plan) -> Table {
    let mut columns = vec![Column::number("cost"), Column::number("served at once"), Column::number("standard error")];
    columns.extend(plan.held.iter().map(|held| Column::number(&plan.catalogue[held.size].name)));
    let mut table = Table::new("service", "Cost against service of the jobs that take pieces, step by step", columns);
    for levels in &plan.service_curve {
        let mut row = vec![
            Cell::plain(levels.cost),
            Cell::share(levels.service.share),
            Cell::share(levels.service.standard_error),
        ];
        row.extend(levels.counts.iter().map(|&n| Cell::Count(n.into())));
        table.push(row);
    }
    table
}

fn sorting(plan: &Plan) -> Table {
    let s = &plan.sorting;
    let mut table = Table::new(
        "sorting",
        "Of the jobs that take pieces, those inside at the first fitting: pieces as bought with their label believed, measured and picked among, or of a tighter grade",
        vec![
            Column::text("pieces"),
            Column::number("inside"),
            Column::number("standard error"),
            Column::number("gain"),
            Column::number("its error"),
            Column::number("cost a job"),
            Column::number("cost a job gained"),
        ],
    );
    let mut push = |what: &str, at: Share, gain: Option<Share>, cost: Option<(f64, Option<f64>)>| {
        table.push(vec![
            Cell::text(what),
            Cell::share(at.share),
            Cell::share(at.standard_error),
            gain.map_or(Cell::Empty, |g| Cell::share(g.share)),
            gain.map_or(Cell::Empty, |g| Cell::share(g.standard_error)),
            cost.map_or(Cell::Empty, |c| Cell::significant(c.0, 3)),
            cost.and_then(|c| c.1).map_or(Cell::Empty, |c| Cell::significant(c, 3)),
        ]);
    };
    push("as bought", s.as_bought, None, None);
    push("measured and picked", s.measured, Some(s.gain_measured), Some(s.cost_measured));
    push("of a tighter grade", s.graded, Some(s.gain_graded), Some(s.cost_graded));
    table
}

/// All tables.
pub fn tables(stocked: &Stocked<'_>) -> Vec<Table> {
    let Stocked { plan, lengths } = *stocked;
    let mut all = vec![held(plan, lengths), coverage(plan), service(plan), sorting(plan)];
    all.retain(|table| !table.rows.is_empty());
    all
}
