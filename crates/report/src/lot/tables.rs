//! Lots as tables.

use super::{in_pack, text};
use crate::table::{Cell, Column, Table};
use packdrift_lot::capability::Form;
use packdrift_lotpack::LotInPack;
use packdrift_lot::{Interval, LotResult, LotStudy};

fn or_empty(value: Option<f64>, show: impl Fn(f64) -> Cell) -> Cell {
    value.map_or(Cell::Empty, show)
}

fn ends(interval: Option<Interval>, show: impl Fn(f64) -> Cell) -> [Cell; 2] {
    match interval {
        Some(i) => [show(i.lower), show(i.upper)],
        None => [Cell::Empty, Cell::Empty],
    }
}

/// One row a lot: what decides.
pub(super) fn lots(study: &LotStudy) -> Table {
    let mut table = Table::new(
        "lots",
        "Each lot against its limits",
        vec![
            Column::text("lot"),
            Column::text("verdict"),
            Column::number("parts"),
            Column::number("mean").unit("mm"),
            Column::number("off the packet").unit("mm"),
            Column::number("off").unit("%"),
            Column::number("sd").unit("mm"),
            Column::number("outside"),
            Column::number("outside, at most"),
            Column::number("Ppk"),
            Column::number("Ppk, at least"),
            Column::text("shape"),
        ],
    );
    // One number of places for all, that of the middle lot.
    let mut errors: Vec<f64> =
        study.lots.iter().filter_map(|l| Some(l.sd? / (l.n as f64).sqrt())).filter(|e| *e > 0.0).collect();
    errors.sort_unstable_by(f64::total_cmp);
    let error = errors.get(errors.len() / 2).copied();
    for lot in &study.lots {
        let (word, standing) = text::word(lot.verdict);
        let rounded = |x: f64| error.map_or_else(|| Cell::plain(x), |e| Cell::rounded(x, e));
        table.push(vec![
            Cell::text(lot.name.as_str()),
            Cell::verdict(word, standing),
            Cell::Count(lot.n as u64),
            rounded(lot.mean),
            or_empty(lot.deviation.map(|d| d.value), rounded),
            or_empty(lot.deviation.and_then(|d| d.percent), |x| Cell::significant(x, 2)),
            or_empty(lot.parts_sd.or(lot.sd), |x| Cell::significant(x, 3)),
            or_empty(lot.share_outside.map(|s| s.total()), Cell::estimated_share),
            or_empty(lot.share_outside.map(|s| s.upper_bound), Cell::estimated_share),
            or_empty(lot.capability.map(|c| c.ppk), |x| Cell::fixed(x, 2)),
            or_empty(lot.capability.map(|c| c.ppk_lower), |x| Cell::fixed(x, 2)),
            Cell::text(shape(lot)),
        ]);
    }
    table
}

/// The columns of [`lots`] that fit a page and a terminal; the file has all.
pub(super) fn lots_in_short(study: &LotStudy) -> Table {
    let keys = [
        "lot",
        "verdict",
        "parts",
        "mean_mm",
        "off_percent",
        "sd_mm",
        "outside",
        "outside_at_most",
        "ppk_at_least",
        "shape",
    ];
    lots(study).with_columns(&keys)
}

fn shape(lot: &LotResult) -> String {
    match lot.shape.combined_p() {
        None => "not tested".to_owned(),
        Some(_) if !lot.shape.contradicts_normal() => "normal".to_owned(),
        Some(_) => match lot.capability.map(|c| c.form) {
            Some(Form::Percentile(curve)) => curve.family().to_owned(),
            _ => "not normal".to_owned(),
        },
    }
}

/// Everything that has an interval.
fn intervals(study: &LotStudy) -> Table {
    let mut columns = vec![Column::text("lot")];
    for (head, unit) in [
        ("mean", "mm"),
        ("off the packet", "mm"),
        ("off the packet", "%"),
        ("sd of parts", "mm"),
        ("Pp", ""),
        ("Ppk", ""),
        ("tolerance interval", "mm"),
        ("distribution-free", "mm"),
    ] {
        for end in ["from", "to"] {
            columns.push(Column::number(&format!("{head}, {end}")).unit(unit));
        }
    }
    for head in ["A²", "p of A²", "W", "p of W"] {
        columns.push(Column::number(head));
    }
    let mut table = Table::new("intervals", "Intervals and tests, lot by lot", columns);
    for lot in &study.lots {
        let mut row = vec![Cell::text(lot.name.as_str())];
        let plain = |x: f64| Cell::significant(x, 5);
        row.extend(ends(lot.mean_interval, plain));
        row.extend(ends(lot.deviation.map(|d| d.interval), plain));
        row.extend(ends(lot.deviation.and_then(|d| d.percent_interval), plain));
        row.extend(ends(lot.sd_interval, plain));
        row.extend(ends(lot.capability.and_then(|c| c.pp_interval), plain));
        row.extend(ends(lot.capability.map(|c| c.ppk_interval), plain));
        row.extend(ends(lot.tolerance.map(|t| t.two_sided), plain));
        row.extend(ends(lot.tolerance.and_then(|t| t.free_two_sided), plain));
        for test in [lot.shape.anderson_darling, lot.shape.shapiro_wilk] {
            row.push(or_empty(test.map(|t| t.statistic), |x| Cell::significant(x, 4)));
            row.push(or_empty(test.map(|t| t.p_value), |x| Cell::significant(x, 2)));
        }
        table.push(row);
    }
    table
}

/// Readings that stand out, by name.
pub(super) fn outliers(study: &LotStudy) -> Table {
    let columns = vec![
        Column::text("lot"),
        Column::number("line"),
        Column::number("reading").unit("mm"),
        Column::number("sd from the mean"),
        Column::number("allowed"),
    ];
    let mut table = Table::new("outliers", "Parts whose readings stand out from their lot; none was removed", columns);
    for lot in &study.lots {
        for o in &lot.outliers.named {
            let line = lot.parts.get(o.index).map_or(0, |p| u64::from(p.line));
            table.push(vec![
                Cell::text(lot.name.as_str()),
                Cell::Count(line),
                Cell::plain(o.value),
                Cell::fixed(o.deviate, 2),
                Cell::fixed(o.critical, 2),
            ]);
        }
    }
    table
}

/// The supplier's process.
pub(super) fn process(study: &LotStudy) -> Table {
    let columns = vec![
        Column::text("scatter over all lots"),
        Column::number("estimate"),
        Column::number("from"),
        Column::number("to"),
    ];
    let mut table =
        Table::new("process", "Scatter, capability and share outside over all lots, lengths in mm", columns);
    let Some(c) = &study.components else { return table };
    let three = |x: f64| Cell::significant(x, 3);
    let mut push = |what: &str, value: f64, interval: Option<Interval>| {
        let [low, high] = ends(interval, three);
        table.push(vec![Cell::text(what), three(value), low, high]);
    };
    push("within lots, sd", c.reml.estimate.within_sd, Some(c.within_interval));
    push("between lots, sd", c.reml.estimate.between_sd, Some(c.between_interval));
    push("between lots by analysis of variance, sd", c.anova.between_sd, None);
    if let Some(p) = &study.process {
        if let Some(bias) = p.bias {
            push("mean of lots off the packet", bias, None);
        }
        for (what, value) in [
            ("Cp", p.cp),
            ("Cpk", p.cpk),
            ("Pp", p.pp),
            ("Ppk", p.ppk),
            ("share outside over many lots", p.share_outside),
        ] {
            if let Some(value) = value {
                push(what, value, None);
            }
        }
    }
    table
}

/// All tables.
pub fn tables(study: &LotStudy, packs: &[LotInPack]) -> Vec<Table> {
    let mut all = vec![lots(study), intervals(study), outliers(study), process(study)];
    for pack in packs {
        all.push(in_pack::table(pack));
        all.push(super::acceptance::table(pack));
    }
    all.retain(|t| !t.rows.is_empty());
    all
}
