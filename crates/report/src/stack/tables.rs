//! The stack as tables, for CSV and spreadsheets.

use super::json::form_name;
use super::order;
use crate::Lengths;
use crate::table::{Cell, Column, Table};
use packdrift_pack::{PartKind, Quantity};
use packdrift_spread::{Answer, Distribution, RequirementResult, Source, Stack, StackResult};

/// `requirements`, `contributors`, `bays` (each bay at nominal in every condition), `dimensions` (what was put in),
/// `histograms`, `correlation`, `together` (pairs of requirements) and `changes` (from one condition to another), all of them with the worst first where there is a worse and a better.
pub fn tables(stack: &Stack, result: &StackResult) -> Vec<Table> {
    let lengths = super::lengths_of(result);
    let mut all = vec![
        requirements(result),
        contributors(stack, result),
        bays(stack, lengths),
        dimensions(stack, lengths),
        histograms(result),
    ];
    all.extend([correlation(result), together(result), changes(result)].into_iter().flatten());
    all
}

fn requirements(result: &StackResult) -> Table {
    let mut table = Table::new(
        "requirements",
        "Every requirement, what is not met first",
        vec![
            Column::text("verdict"),
            Column::text("requirement"),
            Column::text("quantity"),
            Column::text("point"),
            Column::text("condition"),
            Column::text("unit"),
            Column::number("lower"),
            Column::number("upper"),
            Column::number("target"),
            Column::number("nominal"),
            Column::number("mean"),
            Column::number("sd"),
            Column::number("outside"),
            Column::number("outside, standard error").key("outside_standard_error"),
            Column::number("outside, at most").key("outside_at_most"),
            Column::number("below"),
            Column::number("above"),
            Column::number("allowed outside").key("max_out"),
            Column::number("cannot assemble"),
            Column::number("loose"),
            Column::number("worst case, smallest").key("worst_case_min"),
            Column::number("worst case, largest").key("worst_case_max"),
            Column::number("root sum square, mean").key("root_sum_square_mean"),
            Column::number("root sum square, sd").key("root_sum_square_sd"),
            Column::number("0.135 % quantile").key("quantile_0.00135"),
            Column::number("2.5 %").key("quantile_0.025"),
            Column::number("50 %").key("quantile_0.5"),
            Column::number("97.5 %").key("quantile_0.975"),
            Column::number("99.865 % quantile").key("quantile_0.99865"),
            Column::number("Cp"),
            Column::number("Cpk"),
            Column::number("Pp"),
            Column::number("Ppk"),
            Column::text("form of the indices").key("capability_form"),
            Column::text("method"),
            Column::text("method of mean and sd").key("moments_method"),
            Column::number("trials"),
        ],
    );
    for r in order::ranked(result) {
        table.push(requirement_row(r));
    }
    table
}

fn requirement_row(r: &RequirementResult) -> Vec<Cell> {
    let places = order::places(r);
    let value = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, places));
    let index = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, 2));
    let (word, standing) = order::verdict(r);
    let out = &r.spread.out;
    let mut row = vec![
        Cell::verdict(word, standing),
        Cell::text(&r.name),
        Cell::text(r.quantity.name()),
        r.point.map_or(Cell::Empty, |point| Cell::text(point.name())),
        Cell::text(&r.condition),
        Cell::text(r.unit),
        Lengths::written_cell(r.unit, r.lower),
        Lengths::written_cell(r.unit, r.upper),
        Lengths::written_cell(r.unit, r.target),
        value(r.nominal),
        value(r.spread.mean),
        r.spread.sd.map_or(Cell::Empty, |s| Cell::significant(s, 2)),
        Cell::share(out.total),
        Cell::shown_as(out.standard_error, crate::number::percent(out.standard_error)),
        order::at_most(r),
        Cell::share(out.below),
        Cell::share(out.above),
        Cell::share(r.max_out),
        Cell::share(r.spread.cannot_assemble),
        Cell::share(r.spread.loose),
        value(r.worst_case.min),
        value(r.worst_case.max),
        value(r.root_sum_square.map(|s| s.mean)),
        r.root_sum_square.map_or(Cell::Empty, |s| Cell::significant(s.sd, 2)),
    ];
    for order in packdrift_spread::QUANTILE_ORDERS {
        #[allow(clippy::float_cmp)] // the orders are copied, never computed
        let quantile = r.spread.quantiles.iter().find(|q| q.order == order);
        row.push(value(quantile.map(|q| q.value)));
    }
    row.extend([
        index(r.capability.cp),
        index(r.capability.cpk),
        index(r.capability.pp),
        index(r.capability.ppk),
        Cell::text(form_name(r.capability.form)),
        Cell::text(r.spread.method.to_string()),
        Cell::text(r.spread.moments_method.to_string()),
        Cell::Count(r.spread.trials),
    ]);
    row
}

fn contributors(stack: &Stack, result: &StackResult) -> Table {
    let lengths = super::lengths_of(result);
    // What a packet's pieces have in common is a length.
    let unit_of = |source: Source| match source {
        Source::Input(input) => stack.pack.dimensions.get(input).map_or("mm", |dimension| dimension.unit),
        Source::Lot(_) => "mm",
    };
    let shown = |unit: &'static str| if unit == "mm" { lengths.unit() } else { unit };
    let mut table = Table::new(
        "contributors",
        "What makes each requirement spread, the largest share first",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("dimension"),
            Column::text("unit of the dimension").key("dimension_unit"),
            Column::number("sensitivity"),
            Column::text("unit of the sensitivity").key("sensitivity_unit"),
            Column::number("share of variance").key("variance_share"),
            Column::number("Sobol' first").key("sobol_first"),
            Column::number("Sobol' total").key("sobol_total"),
            Column::number("scatter may grow by").key("may_open"),
            Column::number("outside if perfect").key("out_if_perfect"),
            Column::number("costs outside").key("cost_in_out"),
            Column::number("shift to centre"),
            Column::number("outside if shifted").key("out_if_shifted"),
        ],
    );
    for r in order::ranked(result) {
        let answers = order::answers(result, r);
        for (k, c) in r.contributors.iter().enumerate() {
            let answer = answers.get(k);
            let share = |f: fn(&Answer) -> Option<f64>| answer.and_then(f).map_or(Cell::Empty, Cell::share);
            let index = |e: Option<packdrift_spread::Estimate>| {
                e.map_or(Cell::Empty, |e| Cell::rounded(e.value, e.standard_error))
            };
            let unit = shown(unit_of(c.source));
            table.push(vec![
                Cell::text(&r.name),
                Cell::text(&r.condition),
                Cell::text(&c.dimension),
                Cell::text(unit),
                Cell::significant(c.sensitivity, 4),
                Cell::text(per(r.unit, unit)),
                Cell::share(c.variance_share),
                index(c.sobol_first),
                index(c.sobol_total),
                answer.and_then(|a| a.may_open).map_or(Cell::Empty, may_open),
                share(|a| a.out_if_perfect),
                share(|a| a.share_outside_due_to),
                answer.and_then(|a| a.shift_to_centre).map_or(Cell::Empty, |s| Cell::significant(s, 2)),
                share(|a| a.out_if_shifted),
            ]);
        }
    }
    table
}

/// `N/mm`, `N/(N/mm)`; `1` for a length per length.
fn per(unit: &str, of: &str) -> String {
    match of {
        _ if of == unit => "1".to_owned(),
        "1" | "" => unit.to_owned(),
        _ if of.contains('/') => format!("{unit}/({of})"),
        _ => format!("{unit}/{of}"),
    }
}

/// A factor on a scatter: `× 0.62`; where the dimension does not matter it may be anything.
pub(super) fn may_open(factor: f64) -> Cell {
    if factor.is_infinite() {
        Cell::text("any")
    } else {
        Cell::shown_as(factor, format!("× {}", crate::number::significant(factor, 2)))
    }
}

/// The same of an answer; where even a perfect dimension would not do it says so.
pub(super) fn may_be(answer: &Answer) -> Cell {
    match (answer.may_open, answer.out_if_perfect) {
        (Some(factor), _) => may_open(factor),
        (None, Some(_)) => Cell::text("not enough"),
        (None, None) => Cell::Empty,
    }
}

/// What a change of one contributor alone would bring, of one requirement; None where that was not asked.
pub(super) fn answers(result: &StackResult, r: &RequirementResult, most: usize) -> Option<Table> {
    let lengths = super::lengths_of(result);
    let mut table = Table::new(
        "answers",
        "What a change of one dimension alone would bring",
        vec![
            Column::text("dimension"),
            Column::number("its scatter may become"),
            Column::number("outside if it were perfect"),
            Column::number("move its nominal by"),
            Column::number("outside then"),
        ],
    );
    for a in order::answers(result, r).iter().take(most) {
        let share = |v: Option<f64>| v.map_or(Cell::Empty, Cell::share);
        table.push(vec![
            Cell::text(&a.dimension),
            may_be(a),
            share(a.out_if_perfect),
            a.shift_to_centre.map_or(Cell::Empty, |s| Cell::shown_as(s, super::text::shift(s, lengths))),
            share(a.out_if_shifted),
        ]);
    }
    (!table.rows.is_empty()).then_some(table)
}

/// Pairs of requirements of one condition; None where there are none.
pub(super) fn together(result: &StackResult) -> Option<Table> {
    let mut table = Table::new(
        "together",
        "How pairs of requirements go together: near 1 they rise together, near −1 one pays for the other",
        vec![
            Column::text("requirement"),
            Column::text("and"),
            Column::number("correlation"),
            Column::number("of ranks").key("rank_correlation"),
            Column::number("both outside").key("both_out"),
            Column::number("at least one outside").key("either_out"),
        ],
    );
    for pair in &result.questions.together {
        let name = |i: usize| result.requirements.get(i).map_or(Cell::Empty, |r| Cell::text(order::name(r)));
        let number = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, 2));
        table.push(vec![
            name(pair.first),
            name(pair.second),
            number(pair.correlation),
            number(pair.rank_correlation),
            Cell::share(pair.both_out),
            Cell::share(pair.either_out),
        ]);
    }
    (!table.rows.is_empty()).then_some(table)
}

/// What changes from one condition to another; None where nothing is asked in two.
pub(super) fn changes(result: &StackResult) -> Option<Table> {
    let mut table = Table::new(
        "changes",
        "What changes from one condition to another",
        vec![
            Column::text("requirement"),
            Column::text("from"),
            Column::text("to"),
            Column::text("unit"),
            Column::number("nominal").key("nominal_change"),
            Column::number("mean").key("mean_change"),
            Column::number("sd").key("sd_change"),
            Column::number("outside").key("out_change"),
        ],
    );
    for c in &result.questions.changes {
        let places = result.requirements.iter().find(|r| r.name == c.name).map_or(3, order::places);
        let number = |v: Option<f64>, more: i32| {
            v.map_or(Cell::Empty, |v| Cell::shown_as(v, with_sign(crate::number::fixed(v, places + more), v)))
        };
        table.push(vec![
            Cell::text(&c.name),
            Cell::text(&c.from),
            Cell::text(&c.to),
            result.requirements.iter().find(|r| r.name == c.name).map_or(Cell::Empty, |r| Cell::text(r.unit)),
            number(c.nominal, 0),
            number(c.mean, 0),
            number(c.sd, 1),
            Cell::shown_as(c.out, with_sign(crate::number::percent(c.out), c.out)),
        ]);
    }
    (!table.rows.is_empty()).then_some(table)
}

/// A plus before what is above 0 as it is shown.
fn with_sign(text: String, value: f64) -> String {
    let shows = text.bytes().any(|b| matches!(b, b'1'..=b'9'));
    if value > 0.0 && shows { format!("+{text}") } else { text }
}

/// Every bay at its nominal dimensions in every condition: how far it is squeezed, preload or play, offsets, spring heights.
pub(super) fn bays(stack: &Stack, lengths: Lengths) -> Table {
    let mut table = Table::new(
        "bays",
        "Every bay at its nominal dimensions",
        vec![
            Column::text("bay"),
            Column::text("condition"),
            Column::text("quantity"),
            Column::text("of"),
            Column::number("value"),
            Column::text("unit"),
        ],
    );
    let x: Vec<f64> = stack.inputs.iter().map(|i| i.nominal).collect();
    for (i, bay) in stack.pack.bays.iter().enumerate() {
        for (c, condition) in stack.pack.conditions.iter().enumerate() {
            let mut row = |quantity: &str, of: &str, value: f64, unit: &str, places: i32| {
                table.push(vec![
                    Cell::text(&bay.name),
                    Cell::text(&condition.name),
                    Cell::text(quantity),
                    Cell::text(of),
                    Cell::fixed(value, places),
                    Cell::text(unit),
                ]);
            };
            match stack.pack.equilibrium(i, c, &x) {
                Ok(e) => {
                    row(
                        "parts longer than the span by",
                        "",
                        lengths.of(e.interference),
                        lengths.unit(),
                        lengths.decimals(),
                    );
                    row("preload", "", e.load, "N", 0);
                    row("play", "", lengths.of(e.play), lengths.unit(), lengths.decimals());
                    for (v, valve) in bay.valves.iter().enumerate() {
                        if let Some(offset) =
                            stack.pack.outcome(&Quantity::Offset { bay: i, valve: v }, &e, &x).middle()
                        {
                            row("contact offset", &valve.name, lengths.of(offset), lengths.unit(), lengths.decimals());
                        }
                    }
                    for (p, part) in bay.parts.iter().enumerate() {
                        if matches!(part.kind, PartKind::Spring(_)) {
                            row("height", &part.name, lengths.of(e.lengths[p]), lengths.unit(), lengths.decimals());
                        }
                    }
                }
                Err(e) => row(
                    "cannot be assembled, too long by",
                    "",
                    lengths.of(e.interference - e.room),
                    lengths.unit(),
                    lengths.decimals(),
                ),
            }
        }
    }
    table
}

/// Correlation of the responses over packs; None with fewer than two of them.
pub(super) fn correlation(result: &StackResult) -> Option<Table> {
    let matrix = &result.joint.as_ref()?.correlation;
    if matrix.len() < 2 {
        return None;
    }
    let mut columns = vec![Column::number("no."), Column::text("requirement")];
    columns.extend((1..=matrix.len()).map(|i| Column::number(&i.to_string())));
    let mut table = Table::new(
        "correlation",
        "Correlation of the required quantities over packs: near 1 they rise together, near −1 one pays for the other",
        columns,
    );
    for (i, (row, requirement)) in matrix.iter().zip(&result.requirements).enumerate() {
        let mut cells = vec![Cell::Count(i as u64 + 1), Cell::text(order::name(requirement))];
        cells.extend(row.iter().map(|c| c.map_or(Cell::Empty, |c| Cell::fixed(c, 2))));
        table.push(cells);
    }
    Some(table)
}

fn dimensions(stack: &Stack, lengths: Lengths) -> Table {
    let mut table = Table::new(
        "dimensions",
        "Every dimension as it was put in",
        vec![
            Column::text("dimension"),
            Column::text("unit"),
            Column::number("nominal"),
            Column::number("lower limit").key("lower"),
            Column::number("upper limit").key("upper"),
            Column::text("distribution"),
            Column::text("lot"),
        ],
    );
    for (dimension, input) in stack.pack.dimensions.iter().zip(&stack.inputs) {
        let given = |value: f64| if dimension.unit == "mm" { lengths.given_cell(value) } else { Cell::plain(value) };
        let lot = input.lot.and_then(|l| stack.lots.get(l)).map_or(Cell::Empty, |l| Cell::text(&l.name));
        table.push(vec![
            Cell::text(&dimension.path),
            Cell::text(if dimension.unit == "mm" { lengths.unit() } else { dimension.unit }),
            given(input.nominal),
            input.limits.map_or(Cell::Empty, |l| given(l.lower)),
            input.limits.map_or(Cell::Empty, |l| given(l.upper)),
            Cell::text(distribution_word(&input.distribution)),
            lot,
        ]);
    }
    table
}

/// A distribution's name, as files spell it where they can.
fn distribution_word(distribution: &Distribution) -> &'static str {
    match distribution {
        Distribution::Exact { .. } => "exact",
        Distribution::Normal { .. } => "normal",
        Distribution::TruncatedNormal { .. } => "truncated-normal",
        Distribution::LogNormal { .. } => "lognormal",
        Distribution::Rectangular { .. } => "rectangular",
        Distribution::Triangular { .. } => "triangular",
        Distribution::Trapezoidal { .. } => "trapezoidal",
        Distribution::CurvilinearTrapezoidal { .. } => "curvilinear-trapezoidal",
        Distribution::Arcsine { .. } => "arcsine",
        Distribution::ScaledShiftedT { .. } => "scaled-and-shifted t",
        Distribution::Exponential { .. } => "exponential",
        Distribution::Gamma { .. } => "gamma",
        Distribution::Empirical { .. } => "sample",
        Distribution::Sum { .. } => "sum of several",
        _ => "other",
    }
}

fn histograms(result: &StackResult) -> Table {
    let mut table = Table::new(
        "histograms",
        "Shares of trials in bins",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("unit"),
            Column::number("from"),
            Column::number("to"),
            Column::number("share"),
        ],
    );
    for r in order::ranked(result) {
        let Some(h) = &r.spread.histogram else { continue };
        let places = order::places(r) + 1;
        for (k, share) in h.shares.iter().enumerate() {
            let from = h.lower + h.width * k as f64;
            table.push(vec![
                Cell::text(&r.name),
                Cell::text(&r.condition),
                Cell::text(r.unit),
                Cell::fixed(from, places),
                Cell::fixed(from + h.width, places),
                Cell::share(*share),
            ]);
        }
    }
    table
}
