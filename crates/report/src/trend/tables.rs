//! The trend as tables, for CSV and spreadsheets: every valve, the fitted means, and what was found wrong with readings.

use super::{backtest, order, usage};
use crate::calendar;
use crate::table::{Cell, Column, Table};
use packdrift_trend::{Compared, FeatureResult, Policy, TrendResult};

/// `valves` (most urgent first), `fleet` (the fitted models), and, where there is something in them, `models` (what was
/// compared), `backtest`, `readings-to-check`, `jumps`, `faulty-days` and `left-out`.
pub fn tables(result: &TrendResult, policy: Option<&Policy>) -> Vec<Table> {
    let mut all = vec![valves(result, policy), fleet(result)];
    all.extend(
        [
            all_models(result),
            backtest::table(result),
            suspected(result),
            steps(result),
            faulty_days(result),
            left_out(result),
        ]
        .into_iter()
        .flatten(),
    );
    all
}

fn valves(result: &TrendResult, policy: Option<&Policy>) -> Table {
    let mut table = Table::new(
        "valves",
        "Every valve, the most urgent first; levels and slopes in each feature's own unit",
        vec![
            Column::text("status"),
            Column::text("engine"),
            Column::text("valve"),
            Column::text("group"),
            Column::text("feature"),
            Column::text("unit"),
            Column::number("segment"),
            Column::number("readings"),
            Column::number("meter").unit("h").key("hours"),
            Column::number("level"),
            Column::number("level, standard error").key("level_se"),
            Column::number("slope per hour").key("slope"),
            Column::number("slope, standard error").key("slope_se"),
            Column::text("drifting to"),
            Column::number("lower limit").key("lower"),
            Column::number("upper limit").key("upper"),
            Column::number("chance now"),
            Column::number("chance by horizon"),
            Column::number("limit reached, early").unit("h").key("crossing_hours_0.05"),
            Column::number("limit reached, middle").unit("h").key("crossing_hours_0.5"),
            Column::number("limit reached, late").unit("h").key("crossing_hours_0.95"),
            Column::text("date, middle").key("crossing_date_0.5"),
            Column::text("last read").key("newest_date"),
            Column::number("newest reading").key("newest"),
            Column::number("run since it was read").unit("h").key("since_read"),
            Column::text("as of").key("today"),
            Column::text("why").key("reason"),
            Column::text("what would settle it").key("settled_by"),
        ],
    );
    let mut all: Vec<order::Ranked<'_>> = result.features.iter().flat_map(order::ranked).collect();
    all.sort_by(|a, b| order::by_urgency(a.valve, b.valve));
    for r in all {
        let v = r.valve;
        let limits = r.feature.limits.as_ref();
        let hour = |h: Option<f64>| h.map_or(Cell::Empty, |h| Cell::fixed(h, 0));
        let chance = |c: Option<f64>| c.map_or(Cell::Empty, Cell::chance);
        table.push(vec![
            v.status.map_or(Cell::Empty, |s| Cell::verdict(s.name(), order::standing(v.status))),
            Cell::text(&v.engine),
            Cell::text(&v.valve),
            Cell::text(&v.group),
            Cell::text(&r.feature.feature),
            Cell::text(order::unit(r.feature)),
            Cell::Count(u64::from(v.segment)),
            Cell::Count(v.readings as u64),
            Cell::fixed(v.hours, 0),
            Cell::rounded(v.level, v.level_se),
            Cell::significant(v.level_se, 2),
            Cell::rounded(v.slope, v.slope_se),
            Cell::significant(v.slope_se, 2),
            v.drifting_to.map_or(Cell::Empty, |l| Cell::text(l.name())),
            Cell::plain_or_empty(limits.and_then(|l| l.lower)),
            Cell::plain_or_empty(limits.and_then(|l| l.upper)),
            chance(v.chance_now),
            chance(v.chance_by_horizon),
            hour(v.crossing_hours.p05),
            hour(v.crossing_hours.p50),
            hour(v.crossing_hours.p95),
            v.crossing_hours.p50.and_then(|h| usage::date(v, h, policy)).map_or(Cell::Empty, Cell::text),
            v.newest.map_or(Cell::Empty, |n| Cell::text(calendar::iso(n.day))),
            v.newest.map_or(Cell::Empty, |n| Cell::plain(n.value)),
            Cell::fixed(v.since_read, 0),
            v.today.map_or(Cell::Empty, |day| Cell::text(calendar::iso(day))),
            v.verdict.as_ref().and_then(|d| d.reasons().first()).map_or(Cell::Empty, |r| Cell::text(r.to_string())),
            v.verdict.as_ref().and_then(|d| d.what_settles_it()).map_or(Cell::Empty, Cell::text),
        ]);
    }
    table
}

fn fleet(result: &TrendResult) -> Table {
    let mut table = Table::new(
        "fleet",
        "The fitted mean line of each feature and group, and how valves and readings scatter about it",
        vec![
            Column::text("feature"),
            Column::text("group"),
            Column::text("model"),
            Column::text("fit"),
            Column::number("readings"),
            Column::number("segments"),
            Column::number("intercept"),
            Column::number("intercept, standard error").key("intercept_se"),
            Column::number("slope per hour").key("slope"),
            Column::number("slope, standard error").key("slope_se"),
            Column::number("sd of starts").key("sd_intercept"),
            Column::number("sd of slopes").key("sd_slope"),
            Column::number("sd of wander").key("sd_wander"),
            Column::number("sd of a reading").key("sd_reading"),
        ],
    );
    for feature in &result.features {
        let Some(model) = &feature.model else {
            let mut row = vec![
                Cell::text(&feature.feature),
                Cell::Empty,
                Cell::Empty,
                Cell::text(feature.diagnostics.status.name()),
                Cell::Count(feature.rows as u64),
                Cell::Count(feature.segments as u64),
            ];
            row.resize(table.columns.len(), Cell::Empty);
            table.push(row);
            continue;
        };
        for group in &model.groups {
            table.push(vec![
                Cell::text(&feature.feature),
                Cell::text(&group.group),
                Cell::text(model.kind.name()),
                Cell::text(feature.diagnostics.status.name()),
                Cell::Count(feature.rows as u64),
                Cell::Count(group.segments as u64),
                Cell::rounded(group.intercept, group.intercept_se),
                Cell::significant(group.intercept_se, 2),
                Cell::rounded(group.slope, group.slope_se),
                Cell::significant(group.slope_se, 2),
                Cell::significant(model.sd_intercept, 2),
                Cell::significant(model.sd_slope, 2),
                Cell::significant(model.sd_wander, 2),
                Cell::significant(model.sd_reading, 2),
            ]);
        }
    }
    table
}

/// What `auto` compared for one feature.
pub(super) fn models(feature: &FeatureResult) -> Table {
    let mut table = models_head();
    for compared in &feature.compared {
        table.push(model_row(feature, compared));
    }
    table
}

fn models_head() -> Table {
    Table::new(
        "models",
        "Models compared, with the share of the forecasts that each has; a smaller BIC is better",
        vec![
            Column::text("feature"),
            Column::text("model"),
            Column::number("log-likelihood").key("log_likelihood"),
            Column::number("parameters"),
            Column::number("BIC").key("bic"),
            Column::number("weight"),
            Column::text("reported").key("chosen"),
            Column::text("note"),
        ],
    )
}

fn model_row(feature: &FeatureResult, compared: &Compared) -> Vec<Cell> {
    let number = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, 1));
    vec![
        Cell::text(&feature.feature),
        Cell::text(&compared.model),
        number(compared.log_likelihood),
        Cell::Count(compared.parameters as u64),
        number(compared.bic),
        if compared.weight > 0.0 { Cell::fixed(compared.weight, 2) } else { Cell::Empty },
        Cell::text(if compared.chosen { "yes" } else { "" }),
        Cell::text(&compared.note),
    ]
}

fn all_models(result: &TrendResult) -> Option<Table> {
    let mut table = models_head();
    for feature in &result.features {
        for compared in &feature.compared {
            table.push(model_row(feature, compared));
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// The rows of `all` features, or None where none has any.
fn found<T>(
    result: &TrendResult,
    mut table: Table,
    all: impl Fn(&FeatureResult) -> &[T],
    row: impl Fn(&T) -> Vec<Cell>,
) -> Option<Table> {
    for feature in &result.features {
        for item in all(feature) {
            let mut cells = vec![Cell::text(&feature.feature)];
            cells.extend(row(item));
            table.push(cells);
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// Every reading that figures cross out, and no other: those that do not fit, and those of days set aside where the valve is drawn.
fn suspected(result: &TrendResult) -> Option<Table> {
    let mut table = Table::new(
        "readings-to-check",
        "Readings that do not fit, or whose whole day was off; each counted by the weight given",
        vec![
            Column::text("feature"),
            Column::text("engine"),
            Column::text("valve"),
            Column::number("line"),
            Column::text("date"),
            Column::number("meter").unit("h").key("hours"),
            Column::number("reading"),
            Column::number("expected"),
            Column::number("difference in sd").key("standardised"),
            Column::number("weight"),
            Column::text("why"),
        ],
    );
    for feature in &result.features {
        for s in &feature.suspected {
            let found = |x: f64, cell: Cell| if x.is_finite() { cell } else { Cell::Empty };
            table.push(vec![
                Cell::text(&feature.feature),
                Cell::text(&s.engine),
                Cell::text(&s.valve),
                Cell::Count(u64::from(s.line)),
                Cell::text(calendar::iso(s.day)),
                Cell::fixed(s.hours, 0),
                Cell::plain(s.value),
                found(s.expected, Cell::significant(s.expected, 4)),
                found(s.standardised, Cell::fixed(s.standardised, 1)),
                Cell::fixed(s.weight, 2),
                Cell::text("does not fit its valve"),
            ]);
        }
        let aside: Vec<i32> = feature.faulty_days.iter().filter(|d| d.set_aside).map(|d| d.day).collect();
        for v in &feature.valves {
            for p in v.series.iter().filter(|p| p.doubted && p.day.is_some_and(|d| aside.contains(&d))) {
                table.push(vec![
                    Cell::text(&feature.feature),
                    Cell::text(&v.engine),
                    Cell::text(&v.valve),
                    Cell::Count(u64::from(p.line)),
                    p.day.map_or(Cell::Empty, |d| Cell::text(calendar::iso(d))),
                    Cell::fixed(p.hours, 0),
                    Cell::plain(p.value),
                    Cell::Empty,
                    Cell::Empty,
                    Cell::fixed(p.weight, 2),
                    Cell::text("its whole day was off"),
                ]);
            }
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

fn steps(result: &TrendResult) -> Option<Table> {
    let table = Table::new(
        "jumps",
        "Jumps that stayed: a part slipped, or was changed without a note",
        vec![
            Column::text("feature"),
            Column::text("engine"),
            Column::text("valve"),
            Column::number("line"),
            Column::text("date"),
            Column::number("meter").unit("h").key("hours"),
            Column::number("jump"),
            Column::number("jump, standard error").key("jump_se"),
            Column::number("readings since"),
        ],
    );
    found(
        result,
        table,
        |f| &f.steps,
        |s| {
            vec![
                Cell::text(&s.engine),
                Cell::text(&s.valve),
                Cell::Count(u64::from(s.line)),
                Cell::text(calendar::iso(s.day)),
                Cell::fixed(s.hours, 0),
                Cell::rounded(s.size, s.size_se),
                Cell::significant(s.size_se, 2),
                Cell::Count(s.readings_after as u64),
            ]
        },
    )
}

fn faulty_days(result: &TrendResult) -> Option<Table> {
    let table = Table::new(
        "faulty-days",
        "Days on which all readings were off together; they are left out where later readings returned",
        vec![
            Column::text("feature"),
            Column::text("date"),
            Column::number("readings"),
            Column::number("shift"),
            Column::number("shift, standard error").key("shift_se"),
            Column::text("left out").key("set_aside"),
            Column::text("engines"),
        ],
    );
    found(
        result,
        table,
        |f| &f.faulty_days,
        |d| {
            vec![
                Cell::text(calendar::iso(d.day)),
                Cell::Count(d.readings as u64),
                Cell::rounded(d.shift, d.shift_se),
                Cell::significant(d.shift_se, 2),
                Cell::text(if d.set_aside { "yes" } else { "no: nothing was read since" }),
                Cell::text(d.engines.join(", ")),
            ]
        },
    )
}

fn left_out(result: &TrendResult) -> Option<Table> {
    let mut table = Table::new(
        "left-out",
        "Readings that no fit used",
        vec![Column::text("reason"), Column::number("readings"), Column::text("first lines")],
    );
    for left_out in &result.left_out {
        let lines: Vec<String> = left_out.first_lines.iter().map(u32::to_string).collect();
        table.push(vec![Cell::text(&left_out.reason), Cell::Count(left_out.rows as u64), Cell::text(lines.join(" "))]);
    }
    (!table.rows.is_empty()).then_some(table)
}
