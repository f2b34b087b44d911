//! What to buy, what to hold, and everything beside it, as tables.

use super::{Answered, changed, names, places, way};
use crate::number::decimals;
use crate::stack::rounded_up;
use crate::table::{Cell, Column, Standing, Table};
use packdrift_policy::{Decision, Estimate, Figure, Policy, PriceChange};

/// All tables.
pub fn tables(answered: &Answered<'_>) -> Vec<Table> {
    let policy = answered.policy;
    let mut all = vec![tolerances(answered), drawer(policy), costs(policy), beside(policy)];
    if !policy.curve.is_empty() {
        all.push(curve(policy));
    }
    if !policy.alone.is_empty() {
        all.push(alone(answered));
    }
    if !policy.stopped {
        all.push(prices(answered));
        all.push(assumptions(policy));
    }
    all
}

fn money(policy: &Policy, value: f64) -> Cell {
    Cell::fixed(value, places(policy))
}

fn error(figure: Figure) -> Cell {
    decimals(figure.standard_error).map_or(Cell::fixed(0.0, 0), |d| Cell::fixed(figure.standard_error, d))
}

fn bound(value: f64) -> Cell {
    Cell::shown_as(value, rounded_up(value))
}

fn tolerances(answered: &Answered<'_>) -> Table {
    let policy = answered.policy;
    let mut table = Table::new(
        "tolerances",
        "Buy these tolerances: limits are at plus and minus these about their middle",
        vec![
            Column::text("dimension"),
            Column::text("verdict"),
            answered.lengths.column("as drawn").key("tol_now"),
            answered.lengths.column("buy").key("tol"),
            Column::number("cost"),
            Column::text("remark"),
        ],
    );
    for (p, &l) in policy.question.priced.iter().zip(&policy.best.choice.levels) {
        let level = p.levels[usize::from(l)];
        let (word, standing) = if level.tol < p.tol_now * (1.0 - 1e-6) {
            ("tighten", Standing::Act)
        } else if level.tol > p.tol_now * (1.0 + 1e-6) {
            ("open", Standing::Good)
        } else {
            ("keep", Standing::Good)
        };
        let ends = (usize::from(l) == 0, usize::from(l) + 1 == p.levels.len());
        let remark = match ends {
            (_, true) if p.stepped => "widest looked at",
            (true, _) if p.stepped => "tightest looked at",
            (_, true) => "widest grade",
            (true, _) => "tightest grade",
            _ => "",
        };
        table.push(vec![
            Cell::text(&p.dimension),
            Cell::verdict(word, standing),
            Cell::significant(answered.lengths.of(p.tol_now), 3),
            Cell::significant(answered.lengths.of(level.tol), 3),
            money(policy, level.price),
            Cell::text(remark),
        ]);
    }
    table
}

fn drawer(policy: &Policy) -> Table {
    let mut table = Table::new(
        "drawer",
        "Hold these sizes: as many of each, ordered again one for one",
        vec![
            Column::text("size"),
            Column::number("hold").key("hold"),
            Column::number("taken a year").key("taken_a_year"),
            Column::text("pieces"),
        ],
    );
    for held in &policy.best.drawer {
        table.push(vec![
            Cell::text(&policy.question.catalogue[held.size].name),
            Cell::Count(u64::from(held.level)),
            Cell::significant(held.taken * policy.question.prices.builds(), 3),
            Cell::text(way(policy.best.choice.pieces)),
        ]);
    }
    table
}

fn costs(policy: &Policy) -> Table {
    let parts = &policy.best.parts;
    let builds = policy.question.prices.builds();
    let mut table = Table::new(
        "costs",
        "What a build costs: part by part",
        vec![Column::text("part"), Column::number("a build").key("build"), Column::number("a year").key("year")],
    );
    let rows = [
        ("tolerances", parts.tolerances.iter().sum::<f64>()),
        ("reading offsets", parts.reading),
        ("opening and closing", parts.opening),
        ("parts touched", parts.touching),
        ("pieces", parts.pieces.iter().sum()),
        ("measuring", parts.measuring),
        ("tighter lots", parts.tighter),
        ("holding the drawer", parts.holding),
        ("holding sizes", parts.sizes),
        ("all", parts.total()),
    ];
    for (name, value) in rows {
        table.push(vec![Cell::text(name), money(policy, value), Cell::significant(value * builds, 4)]);
    }
    table
}

fn columns_of_a_choice(first: Column) -> Vec<Column> {
    vec![
        first,
        Column::text("ceiling kept"),
        Column::number("cost a build").key("cost"),
        Column::number("±").key("cost_standard_error"),
        Column::number("outside as assembled").key("out_drawn"),
        Column::number("after the first fitting").key("out_first"),
        Column::number("at last").key("out"),
        Column::number("not above").key("bound"),
        Column::number("tighter").key("tighter"),
        Column::number("wider").key("wider"),
        Column::text("sizes"),
        Column::text("pieces"),
    ]
}

fn row_of_a_choice(policy: &Policy, first: Cell, ceiling: f64, e: &Estimate) -> Vec<Cell> {
    let (tighter, wider) = changed(policy, &e.choice);
    let (word, standing) = if e.bound <= ceiling {
        ("shown", Standing::Good)
    } else if e.held_to <= ceiling {
        ("not shown", Standing::Attend)
    } else {
        ("no", Standing::Act)
    };
    vec![
        first,
        Cell::verdict(word, standing),
        money(policy, e.cost.value),
        error(e.cost),
        Cell::share(e.out_drawn.value),
        Cell::share(e.out_first.value),
        Cell::share(e.out.value),
        bound(e.bound),
        Cell::Count(tighter as u64),
        Cell::Count(wider as u64),
        Cell::text(names(policy, &e.choice)),
        Cell::text(if e.choice.sizes == 0 { "not fitted" } else { way(e.choice.pieces) }),
    ]
}

fn beside(policy: &Policy) -> Table {
    let mut table =
        Table::new("beside", "Beside it: what else could be done", columns_of_a_choice(Column::text("policy")));
    let rows = [
        ("both together", Some(&policy.best)),
        ("as drawn, the whole catalogue held", policy.today.as_ref()),
        ("tolerances alone, not fitted", policy.tolerances_alone.as_ref()),
        ("drawer alone, tolerances as drawn", policy.drawer_alone.as_ref()),
    ];
    for (name, estimate) in rows {
        if let Some(e) = estimate {
            table.push(row_of_a_choice(policy, Cell::text(name), policy.question.ceiling, e));
        }
    }
    table
}

fn curve(policy: &Policy) -> Table {
    let mut table = Table::new(
        "curve",
        "Cost against ceiling: the cheapest found for each",
        columns_of_a_choice(Column::number("ceiling").key("ceiling")),
    );
    for point in &policy.curve {
        match &point.estimate {
            Some(e) => table.push(row_of_a_choice(policy, Cell::share(point.ceiling), point.ceiling, e)),
            None => {
                let mut row = vec![Cell::share(point.ceiling), Cell::verdict("none found", Standing::Act)];
                row.resize(12, Cell::Empty);
                table.push(row);
            }
        }
    }
    table
}

/// What a decision is, in words.
pub(super) fn decision(answered: &Answered<'_>, decision: &Decision) -> String {
    let question = &answered.policy.question;
    let tol = |d: usize, l: usize| answered.lengths.with_unit(question.priced[d].levels[l].tol);
    match *decision {
        Decision::Tolerance { dimension, from, to } => {
            format!(
                "{}: {} instead of {}",
                question.priced[dimension].dimension,
                tol(dimension, to),
                tol(dimension, from)
            )
        }
        Decision::Without { size } => format!("without {}", question.catalogue[size].name),
        Decision::With { size } => format!("{} held besides", question.catalogue[size].name),
        Decision::Pieces { from, to } => format!("pieces {} instead of {}", way(to), way(from)),
    }
}

fn alone(answered: &Answered<'_>) -> Table {
    let policy = answered.policy;
    let mut table = Table::new(
        "alone",
        "Each decision changed alone: by the draws of the search",
        vec![
            Column::text("change"),
            Column::number("cost of a build").key("cost"),
            Column::number("outside").key("out"),
            Column::text("ceiling"),
        ],
    );
    if let Some(now) = &policy.on_search {
        table.push(vec![
            Cell::text("none: the choice itself, on these draws"),
            Cell::shown_as(0.0, crate::number::fixed(0.0, places(policy))),
            Cell::share(now.out.value),
            Cell::text(""),
        ]);
    }
    for a in &policy.alone {
        let (word, standing) = match a.keeps {
            Some(true) => ("by the estimate", Standing::Attend),
            None => ("too close to tell", Standing::Attend),
            Some(false) => ("not kept", Standing::Act),
        };
        table.push(vec![
            Cell::text(decision(answered, &a.decision)),
            Cell::shown_as(
                a.cost,
                format!("{}{}", if a.cost < 0.0 { "" } else { "+" }, crate::number::fixed(a.cost, places(policy))),
            ),
            Cell::share(a.out),
            Cell::verdict(word, standing),
        ]);
    }
    table
}

/// The price's name; tolerances in the unit of the answer.
pub(super) fn price_of(answered: &Answered<'_>, change: &PriceChange) -> String {
    let Some((dimension, level)) = change.tolerance else { return change.price.clone() };
    let priced = &answered.policy.question.priced[dimension];
    format!("{} at {}", priced.dimension, answered.lengths.with_unit(priced.levels[level].tol))
}

fn prices(answered: &Answered<'_>) -> Table {
    let policy = answered.policy;
    let mut table = Table::new(
        "prices",
        "Prices that change the decision: by three tenths or less; the cheapest of all choices tried would then be another",
        vec![
            Column::text("price"),
            Column::number("changed by").key("by"),
            Column::number("then tighter").key("tighter"),
            Column::number("then wider").key("wider"),
            Column::text("then hold"),
            Column::text("then pieces"),
        ],
    );
    for p in &policy.prices {
        let (tighter, wider) = changed(policy, &p.then);
        let sign = if p.by < 0.0 { "−" } else { "+" };
        table.push(vec![
            Cell::text(price_of(answered, p)),
            Cell::shown_as(p.by, format!("{sign}{}", crate::number::percent(p.by.abs()))),
            Cell::Count(tighter as u64),
            Cell::Count(wider as u64),
            Cell::text(names(policy, &p.then)),
            Cell::text(if p.then.sizes == 0 { "not fitted" } else { way(p.then.pieces) }),
        ]);
    }
    table
}

fn assumptions(policy: &Policy) -> Table {
    let mut table = Table::new(
        "assumptions",
        "Assumptions turned: one at a time, by the draws of the search; the first line is the shop as it stands",
        vec![
            Column::text("assumption"),
            Column::text("taken as"),
            Column::text("instead"),
            Column::number("the same choice: cost").key("cost_same"),
            Column::number("its share outside").key("out_same"),
            Column::number("of a bad year").key("bad_year_same"),
            Column::number("best then: cost").key("cost_best"),
            Column::number("its share outside").key("out_best"),
            Column::text("best then"),
        ],
    );
    for o in &policy.otherwise {
        let same = o.best.choice == o.same.choice;
        let (tighter, wider) = changed(policy, &o.best.choice);
        let then = format!("{tighter} tighter, {wider} wider; {}", names(policy, &o.best.choice));
        table.push(vec![
            Cell::text(o.assumption),
            Cell::text(&o.stands),
            Cell::text(&o.instead),
            money(policy, o.same.cost.value),
            Cell::share(o.same.out.value),
            o.same.bad_year.map_or(Cell::Empty, Cell::share),
            money(policy, o.best.cost.value),
            Cell::share(o.best.out.value),
            Cell::text(if same { "the same".to_owned() } else { then }),
        ]);
    }
    table
}
