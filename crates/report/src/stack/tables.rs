//! The stack as tables, for CSV and spreadsheets.

use super::json::form_name;
use super::order;
use crate::table::{Cell, Column, Table};
use packdrift_pack::{PartKind, Quantity};
use packdrift_spread::{Distribution, RequirementResult, Stack, StackResult};

/// `requirements`, `contributors`, `bays` (each bay at nominal in every condition), `dimensions` (what was put in),
/// `histograms` and `correlation`, all of them with the worst first where there is a worse and a better.
pub fn tables(stack: &Stack, result: &StackResult) -> Vec<Table> {
    let mut all = vec![requirements(result), contributors(result), bays(stack), dimensions(stack), histograms(result)];
    all.extend(correlation(result));
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
        Cell::text(&r.condition),
        Cell::text(r.unit),
        Cell::plain_or_empty(r.lower),
        Cell::plain_or_empty(r.upper),
        Cell::plain_or_empty(r.target),
        value(r.nominal),
        value(r.spread.mean),
        r.spread.sd.map_or(Cell::Empty, |s| Cell::significant(s, 2)),
        Cell::share(out.total),
        Cell::shown_as(out.standard_error, crate::number::percent(out.standard_error)),
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

fn contributors(result: &StackResult) -> Table {
    let mut table = Table::new(
        "contributors",
        "What makes each requirement spread, the largest share first",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("dimension"),
            Column::number("sensitivity"),
            Column::number("share of variance").key("variance_share"),
            Column::number("Sobol' first").key("sobol_first"),
            Column::number("Sobol' total").key("sobol_total"),
        ],
    );
    for r in order::ranked(result) {
        for c in &r.contributors {
            let index = |e: Option<packdrift_spread::Estimate>| {
                e.map_or(Cell::Empty, |e| Cell::rounded(e.value, e.standard_error))
            };
            table.push(vec![
                Cell::text(&r.name),
                Cell::text(&r.condition),
                Cell::text(&c.dimension),
                Cell::significant(c.sensitivity, 4),
                Cell::share(c.variance_share),
                index(c.sobol_first),
                index(c.sobol_total),
            ]);
        }
    }
    table
}

/// Every bay at its nominal dimensions in every condition: how far it is squeezed, preload or play, offsets, spring heights.
pub(super) fn bays(stack: &Stack) -> Table {
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
                    row("parts longer than the span by", "", e.interference, "mm", 3);
                    row("preload", "", e.load, "N", 0);
                    row("play", "", e.play, "mm", 3);
                    for (v, valve) in bay.valves.iter().enumerate() {
                        if let Some(offset) =
                            stack.pack.outcome(&Quantity::Offset { bay: i, valve: v }, &e, &x).middle()
                        {
                            row("contact offset", &valve.name, offset, "mm", 3);
                        }
                    }
                    for (p, part) in bay.parts.iter().enumerate() {
                        if matches!(part.kind, PartKind::Spring(_)) {
                            row("height", &part.name, e.lengths[p], "mm", 3);
                        }
                    }
                }
                Err(e) => row("cannot be assembled, too long by", "", e.interference - e.room, "mm", 3),
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

fn dimensions(stack: &Stack) -> Table {
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
        let lot = input.lot.and_then(|l| stack.lots.get(l)).map_or(Cell::Empty, |l| Cell::text(&l.name));
        table.push(vec![
            Cell::text(&dimension.path),
            Cell::text(dimension.unit),
            Cell::plain(input.nominal),
            Cell::plain_or_empty(input.limits.map(|l| l.lower)),
            Cell::plain_or_empty(input.limits.map(|l| l.upper)),
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
