//! The tables: builds, what to expect, what was read, what to measure, what was learned.

use super::words::{SIGN_IN_SHORT, changes, condition, expectation_words, rounded_down, unit};
use super::{Shimming, in_order};
use crate::table::{Cell, Column, Standing, Table};
use crate::{Lengths, number};
use packdrift_stock::{Build, Compared, Forecast, Proposal, Rounds};

/// Head of the column that a terminal shows below its row.
pub(super) const WHAT_TO_DO: &str = "what to do";

/// Two chances are told apart by this many standard errors of their difference.
const TOLD_APART: f64 = 2.0;

fn builds(name: &str, caption: &str, proposal: &Proposal, lengths: Lengths) -> Table {
    let others = proposal.builds.iter().any(|build| !build.forecast.others.is_empty());
    let mut columns = vec![
        Column::number("build"),
        Column::text(WHAT_TO_DO),
        Column::number("chance").key("chance_inside"),
        Column::number("±").key("chance_standard_error"),
    ];
    if others {
        columns.push(Column::number("others").key("chance_of_the_worst_other_rocker"));
    }
    columns.extend([
        Column::number("parts").key("parts_touched"),
        Column::number("score"),
        lengths.column("sum"),
        lengths.column("change"),
        Column::text("finding"),
    ]);
    let mut table = Table::new(name, caption, columns);
    for (k, build) in proposal.builds.iter().enumerate() {
        let forecast = &build.forecast;
        let (word, standing) = finding(proposal, k);
        let mut row = vec![
            Cell::Count(k as u64 + 1),
            Cell::text(changes(build, lengths)),
            chance(forecast.chance, forecast.chance_se),
            standard_error(forecast.chance_se),
        ];
        if others {
            let worst = forecast.others.iter().map(|other| other.chance).reduce(f64::min);
            row.push(worst.map_or(Cell::Empty, Cell::chance));
        }
        row.extend([
            Cell::Count(build.touched as u64),
            Cell::fixed(build.score, 3),
            lengths.cell(build.sum),
            Cell::shown_as(lengths.of(build.sum - build.old_sum), lengths.signed(build.sum - build.old_sum)),
            Cell::verdict(word, standing),
        ]);
        table.push(row);
    }
    table
}

/// A chance with its standard error in the next column: where that would carry it over 100 %, what it is at least.
fn chance(share: f64, standard_error: f64) -> Cell {
    if share + standard_error > 1.0 {
        return Cell::shown_as(share, format!("≥ {} %", rounded_down(100.0 * (share - standard_error), 1)));
    }
    Cell::chance(share)
}

/// The standard error of a chance.
fn standard_error(error: f64) -> Cell {
    Cell::shown_as(error, format!("{} %", number::fixed(100.0 * error, if error < 5e-4 { 2 } else { 1 })))
}

/// What is to be said of the k-th build.
fn finding(proposal: &Proposal, k: usize) -> (String, Standing) {
    let (build, advised) = (&proposal.builds[k], &proposal.builds[0]);
    let pushes = |build: &Build| {
        let now = |valve: &str| proposal.now.others.iter().find(|now| now.valve == valve).map_or(0.0, |now| now.chance);
        build.forecast.others.iter().any(|other| now(&other.valve) - other.chance > 0.05)
    };
    match (build.good_enough, k) {
        (true, 0) => ("advised".to_owned(), Standing::Good),
        (false, 0) if pushes(build) => ("pushes another rocker out".to_owned(), Standing::Act),
        (false, 0) => ("not good enough".to_owned(), Standing::Act),
        (false, _) if pushes(build) => ("pushes another rocker out".to_owned(), Standing::Attend),
        (false, _) => ("not good enough".to_owned(), Standing::Attend),
        (true, _) => (format!("good enough, {}", beside(build, advised)), Standing::Good),
    }
}

/// A good build beside the advised one.
fn beside(build: &Build, advised: &Build) -> String {
    let (a, b) = (&advised.forecast, &build.forecast);
    let (gain, error) = (b.chance - a.chance, a.chance_se.hypot(b.chance_se));
    if gain.abs() <= TOLD_APART * error {
        "alike".to_owned()
    } else if gain > 0.0 {
        format!("surer by {:.1} %", 100.0 * gain)
    } else {
        format!("less sure by {:.1} %", -100.0 * gain)
    }
}

fn expected(name: &str, caption: &str, before: &Forecast, after: Option<&Forecast>, lengths: Lengths) -> Table {
    let mut columns = vec![
        Column::text("quantity"),
        Column::text("unit"),
        Column::number("lower").key("lower_limit"),
        Column::number("upper").key("upper_limit"),
        Column::number("now"),
        Column::number("sd").key("sd_now"),
    ];
    if after.is_some() {
        columns.push(Column::number("then").key("after_the_build"));
        columns.push(Column::number("sd").key("sd_after"));
    }
    let mut table = Table::new(name, caption, columns);
    let rows = in_order(before).zip(after.map(in_order).into_iter().flatten().map(Some).chain(std::iter::repeat(None)));
    for (b, a) in rows {
        let value = |v: f64| lengths.value_of(b.kind, v);
        let limit = |v: Option<f64>| Lengths::written_cell(unit(b.kind, lengths), v.map(value));
        let mut row = vec![
            Cell::text(expectation_words(b)),
            Cell::text(unit(b.kind, lengths)),
            limit(b.lower),
            limit(b.upper),
            Cell::rounded(value(b.mean), value(b.sd)),
            Cell::significant(value(b.sd), 2),
        ];
        if after.is_some() {
            row.push(a.map_or(Cell::Empty, |a| Cell::rounded(value(a.mean), value(a.sd))));
            row.push(a.map_or(Cell::Empty, |a| Cell::significant(value(a.sd), 2)));
        }
        table.push(row);
    }
    table
}

fn measure_first(proposal: &Proposal, lengths: Lengths) -> Table {
    let mut table = Table::new(
        "measure-first",
        "Pieces of the advised build that nobody has measured, the one that tells most first",
        vec![
            Column::text("piece"),
            Column::text("where"),
            lengths.column("thought to be"),
            lengths.column("sd"),
            Column::number("scatter it takes away"),
            Column::number("surer by").key("gain_in_chance"),
        ],
    );
    for piece in proposal.measure_first.iter().take(8) {
        table.push(vec![
            Cell::text(piece.name.as_str()),
            Cell::text(if piece.row.is_some() { "drawer" } else { "in the bay" }),
            lengths.rounded(piece.thickness, piece.sd),
            lengths.spread(piece.sd),
            Cell::share((100.0 * piece.scatter_removed).round() / 100.0),
            Cell::shown_as(piece.gain_in_chance, gain(piece.gain_in_chance)),
        ]);
    }
    table
}

/// What the chance of the best build is expected to gain.
fn gain(gain: f64) -> String {
    if gain > 0.0 { number::chance(gain) } else { "nothing".to_owned() }
}

/// Readings beside what was expected of them.
fn readings(readings: &[Compared], caption: &str, lengths: Lengths) -> Table {
    let mut table = Table::new(
        "readings",
        caption,
        vec![
            Column::text("valve"),
            lengths.column("reading"),
            lengths.column("expected"),
            lengths.column("sd"),
            Column::number("sds off"),
            lengths.column("lower"),
            lengths.column("upper"),
            Column::text("finding"),
        ],
    );
    for one in readings {
        let (word, standing) = match (one.believed, one.is_outside()) {
            (false, _) => ("not believed", Standing::Attend),
            (true, true) => ("outside the limits", Standing::Act),
            (true, false) => ("inside", Standing::Good),
        };
        let signed = |mm: f64| Cell::shown_as(lengths.of(mm), lengths.signed(mm));
        table.push(vec![
            Cell::text(one.valve.as_str()),
            signed(one.reading),
            signed(one.surprise.expected),
            lengths.spread(one.surprise.sd),
            Cell::fixed(one.surprise.z, 1),
            lengths.cell_or_empty(one.limits.0),
            lengths.cell_or_empty(one.limits.1),
            Cell::verdict(word, standing),
        ]);
    }
    table
}

fn learned(rounds: &Rounds, lengths: Lengths) -> Table {
    let mut table = Table::new(
        "learned",
        "What the readings taught",
        vec![
            Column::text("dimension"),
            lengths.column("before"),
            lengths.column("sd before"),
            lengths.column("after"),
            lengths.column("sd after"),
        ],
    );
    for l in &rounds.after.learned {
        table.push(vec![
            Cell::text(l.path.as_str()),
            lengths.rounded(l.before.0, l.before.1),
            lengths.spread(l.before.1),
            lengths.rounded(l.after.0, l.after.1),
            lengths.spread(l.after.1),
        ]);
    }
    table
}

fn caption(shimming: &Shimming<'_>) -> String {
    format!(
        "The advised build first (the fewest parts), then others that differ in kind, by their score: the chance that all rockers of the bay and \
         the preload are inside, less {} a part touched and a little for the distance from the aims",
        crate::number::plain(shimming.per_part)
    )
}

/// All tables: of what is to be done now, then of what was.
pub fn tables(shimming: &Shimming<'_>) -> Vec<Table> {
    let lengths = shimming.lengths;
    let current = shimming.current();
    let offsets = format!("contact offsets, {SIGN_IN_SHORT}");
    let mut all = Vec::new();
    if let Some(proposal) = current.proposal {
        let advised = proposal.advised().map(|build| &build.forecast);
        let expect = format!("What to expect, cold and warm; {offsets}");
        all.push(builds("builds", &caption(shimming), proposal, lengths));
        all.push(expected("expected", &expect, &proposal.now, advised, lengths));
        all.push(measure_first(proposal, lengths));
    }
    let read = |what: &str| format!("{what}, read at {}; {SIGN_IN_SHORT}", condition(current.bench));
    match shimming.rounds {
        Some(rounds) => {
            let after = &rounds.after;
            if current.proposal.is_none() {
                let expect = format!("What to expect of the bay as it is now; {offsets}");
                all.push(expected("expected", &expect, &after.now, None, lengths));
            }
            all.push(readings(&after.readings, &read("Offsets after the build"), lengths));
            all.push(learned(rounds, lengths));
            let from = format!("The list that build {} was taken from", rounds.number);
            all.push(builds("made", &from, &rounds.proposal, lengths));
        }
        None => all.push(readings(shimming.bench.readings(), &read("Offsets before the build"), lengths)),
    }
    all.retain(|t| !t.rows.is_empty());
    all
}
