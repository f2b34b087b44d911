//! The tables: builds, what to expect, what to measure, what was learned.

use super::{Shimming, changes, expectation_words, in_order, standing, unit};
use crate::table::{Cell, Column, Standing, Table};
use packdrift_stock::{Forecast, Proposal};

/// Head of the column that a terminal shows below its row.
pub(super) const WHAT_TO_DO: &str = "what to do";

fn builds(name: &str, caption: &str, proposal: &Proposal, enough: f64) -> Table {
    let mut table = Table::new(
        name,
        caption,
        vec![
            Column::number("build"),
            Column::text(WHAT_TO_DO),
            Column::number("score"),
            Column::number("chance inside"),
            Column::number("parts touched"),
            Column::number("sum").unit("mm"),
            Column::number("change").unit("mm"),
            Column::text("finding"),
        ],
    );
    for (k, build) in proposal.builds.iter().enumerate() {
        let share = build.forecast.chance;
        let (word, standing) = match (build.good_enough, share >= enough) {
            (true, _) if proposal.fewest == Some(k) => ("advised: fewest parts", standing(share, enough)),
            (true, _) => ("good enough", standing(share, enough)),
            (false, true) => ("moves another rocker out", Standing::Attend),
            (false, false) => ("not good enough", standing(share, enough)),
        };
        table.push(vec![
            Cell::Count(k as u64 + 1),
            Cell::text(changes(build)),
            Cell::fixed(build.score, 3),
            Cell::chance(share),
            Cell::Count(build.touched as u64),
            Cell::fixed(build.sum, 3),
            Cell::fixed(build.sum - build.old_sum, 3),
            Cell::verdict(word, standing),
        ]);
    }
    table
}

fn expected(name: &str, caption: &str, before: &Forecast, after: Option<&Forecast>) -> Table {
    let mut columns =
        vec![Column::text("quantity"), Column::text("unit"), Column::number("now"), Column::number("limits")];
    if after.is_some() {
        columns.push(Column::number("after the build"));
        columns.push(Column::number("sd"));
    }
    let mut table = Table::new(name, caption, columns);
    let rows = in_order(before).zip(after.map(in_order).into_iter().flatten().map(Some).chain(std::iter::repeat(None)));
    for (b, a) in rows {
        let mut row = vec![
            Cell::text(expectation_words(b)),
            Cell::text(unit(b.kind)),
            Cell::rounded(b.mean, b.sd),
            Cell::text(crate::number::limits(b.lower, b.upper)),
        ];
        if after.is_some() {
            row.push(a.map_or(Cell::Empty, |a| Cell::rounded(a.mean, a.sd)));
            row.push(a.map_or(Cell::Empty, |a| Cell::significant(a.sd, 2)));
        }
        table.push(row);
    }
    table
}

fn measure_first(proposal: &Proposal) -> Table {
    let mut table = Table::new(
        "measure-first",
        "Not measured yet: which one to measure first",
        vec![
            Column::text("piece"),
            Column::text("where"),
            Column::number("thought to be").unit("mm"),
            Column::number("sd").unit("mm"),
            Column::number("scatter it takes away"),
            Column::number("chance now"),
            Column::number("then"),
        ],
    );
    for piece in proposal.measure_first.iter().take(8) {
        table.push(vec![
            Cell::text(piece.name.as_str()),
            Cell::text(if piece.row.is_some() { "drawer" } else { "in the bay" }),
            Cell::rounded(piece.thickness, piece.sd),
            Cell::significant(piece.sd, 2),
            Cell::share((100.0 * piece.scatter_removed).round() / 100.0),
            Cell::chance(piece.chance_now),
            Cell::chance(piece.chance_then),
        ]);
    }
    table
}

fn caption(shimming: &Shimming<'_>) -> String {
    format!(
        "Builds, best first by their score: the chance that every rocker of the bay and the preload are inside, less {} a part touched and a little \
         for the distance from the aims",
        crate::number::plain(shimming.per_part)
    )
}

/// All tables.
pub fn tables(shimming: &Shimming<'_>) -> Vec<Table> {
    let proposal = shimming.proposal;
    let advised = shimming.advised().map(|k| &proposal.builds[k].forecast);
    let mut all = vec![
        builds("builds", &caption(shimming), proposal, shimming.enough),
        expected("expected", "What to expect, cold and warm", &proposal.now, advised),
        measure_first(proposal),
    ];
    if let Some((_, after)) = shimming.after {
        all.push(expected(
            "after",
            "What to expect of the bay as it is now, with the reading learned",
            &after.now,
            None,
        ));
        let mut learned = Table::new(
            "learned",
            "What the reading taught",
            vec![
                Column::text("dimension"),
                Column::number("before").unit("mm"),
                Column::number("sd before").unit("mm"),
                Column::number("after").unit("mm"),
                Column::number("sd after").unit("mm"),
            ],
        );
        for l in &after.learned {
            learned.push(vec![
                Cell::text(l.path.as_str()),
                Cell::rounded(l.before.0, l.before.1),
                Cell::significant(l.before.1, 2),
                Cell::rounded(l.after.0, l.after.1),
                Cell::significant(l.after.1, 2),
            ]);
        }
        all.push(learned);
        if let Some(next) = &after.next {
            all.push(builds("next-builds", "What to do next, best first", next, shimming.enough));
        }
    }
    all.retain(|t| !t.rows.is_empty());
    all
}
