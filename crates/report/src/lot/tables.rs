//! Lots as tables.

use super::{Lots, in_pack, steady, text, why};
use crate::Lengths;
use crate::table::{Cell, Column, Standing, Table};
use packdrift_lot::capability::Form;
use packdrift_lot::{Interval, LotResult, LotStudy, SizeGroup};

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
pub(super) fn lots(study: &LotStudy, unit: &str) -> Table {
    let mut table = Table::new(
        "lots",
        "Each lot against its limits",
        vec![
            Column::text("lot"),
            Column::text("verdict"),
            Column::number("parts"),
            Column::number("mean").unit(unit),
            Column::number("off the packet").unit(unit),
            Column::number("off").unit("%"),
            Column::number("sd").unit(unit),
            Column::number("counted outside"),
            Column::number("outside"),
            Column::number("outside, at most"),
            Column::text("at most, by"),
            Column::number("at most, if normal"),
            Column::number("Ppk"),
            Column::number("Ppk, at least"),
            Column::text("shape"),
            Column::text("order"),
        ],
    );
    // One number of places for all, that of the middle lot.
    let mut errors: Vec<f64> =
        study.lots.iter().filter_map(|l| Some(l.sd? / (l.n as f64).sqrt())).filter(|e| *e > 0.0).collect();
    errors.sort_unstable_by(f64::total_cmp);
    let error = errors.get(errors.len() / 2).copied();
    for lot in &study.lots {
        let (word, standing) = text::word_of(lot, study);
        let rounded = |x: f64| error.map_or_else(|| Lengths::written_cell(unit, Some(x)), |e| Cell::rounded(x, e));
        table.push(vec![
            Cell::text(lot.name.as_str()),
            Cell::verdict(word, standing),
            Cell::Count(lot.n as u64),
            rounded(lot.mean),
            or_empty(lot.deviation.map(|d| d.value), rounded),
            or_empty(lot.deviation.and_then(|d| d.percent), |x| Cell::significant(x, 2)),
            or_empty(lot.parts_sd.or(lot.sd), |x| Cell::significant(x, 3)),
            lot.share_outside.map_or(Cell::Empty, |s| Cell::Count(s.counted as u64)),
            or_empty(lot.share_outside.map(|s| s.total()), Cell::estimated_share),
            or_empty(lot.share_outside.map(|s| s.upper_bound), Cell::estimated_share),
            lot.share_outside.map_or(Cell::Empty, |s| Cell::text(why::basis(&s))),
            or_empty(lot.share_outside.and_then(|s| s.normal_upper_bound), Cell::estimated_share),
            or_empty(lot.capability.map(|c| c.ppk), |x| Cell::fixed(x, 2)),
            or_empty(lot.capability.map(|c| c.ppk_lower), |x| Cell::fixed(x, 2)),
            Cell::text(shape(lot)),
            Cell::text(steady::word(lot)),
        ]);
    }
    table
}

/// The columns of [`lots`] that fit a page and a terminal; the file has all.
pub(super) fn lots_in_short(study: &LotStudy, unit: &str) -> Table {
    let [mean, sd] = ["mean", "sd"].map(|head| format!("{head}_{unit}"));
    let mut keys = vec![
        "lot",
        "verdict",
        "parts",
        &mean,
        "off_percent",
        &sd,
        "counted_outside",
        "outside_at_most",
        "at_most_by",
        "shape",
    ];
    if study.lots.iter().any(|l| l.chart.is_some()) {
        keys.push("order");
    }
    lots(study, unit).with_columns(&keys)
}

/// Capability of each lot with its intervals. By the normal form where the lot is not shown to have another: Ppk then holds for a normal lot.
pub(super) fn capability(study: &LotStudy) -> Table {
    let mut columns = vec![Column::text("lot")];
    columns.extend(["Pp", "Pp, from", "Pp, to", "Ppk", "Ppk, from", "Ppk, to"].map(Column::number));
    columns.push(Column::text("form"));
    let mut table =
        Table::new("capability", "Capability, with intervals; the normal form holds for a normal lot", columns);
    for lot in &study.lots {
        let Some(c) = lot.capability else { continue };
        let two = |x: f64| Cell::fixed(x, 2);
        let mut row = vec![Cell::text(lot.name.as_str()), or_empty(c.pp, two)];
        row.extend(ends(c.pp_interval, two));
        row.push(two(c.ppk));
        row.extend(ends(Some(c.ppk_interval), two));
        row.push(Cell::text(match c.form {
            Form::Normal => "normal",
            Form::Percentile(curve) => curve.family(),
        }));
        table.push(row);
    }
    table
}

/// What each reading proves with the instrument's uncertainty.
pub(super) fn guard_bands(study: &LotStudy, unit: &str) -> Table {
    let columns = vec![
        Column::text("lot"),
        Column::number("guard band").unit(unit),
        Column::number("proves good from").unit(unit),
        Column::number("proves good to").unit(unit),
        Column::number("proven good"),
        Column::number("neither"),
        Column::number("proven bad"),
    ];
    let mut table = Table::new(
        "guard-bands",
        "What the readings prove of their parts, given the instrument's uncertainty (ISO 14253-1)",
        columns,
    );
    for lot in &study.lots {
        let Some((guard, proofs)) = lot.guard.zip(lot.proofs) else { continue };
        let mm = |x: Option<f64>| or_empty(x, |x| Cell::significant(x, 4));
        table.push(vec![
            Cell::text(lot.name.as_str()),
            Cell::significant(guard.width, 2),
            mm(guard.accept_from),
            mm(guard.accept_to),
            Cell::Count(proofs.conforming as u64),
            Cell::Count(proofs.neither as u64),
            Cell::Count(proofs.not_conforming as u64),
        ]);
    }
    table
}

/// Steadiness of each lot whose order is known.
pub(super) fn steadiness(study: &LotStudy) -> Table {
    let columns =
        vec![Column::text("lot"), Column::text("order"), Column::text("signs"), Column::number("as much by chance")];
    let mut table = Table::new("steadiness", "Each lot in the order made", columns);
    for lot in &study.lots {
        let Some(chart) = &lot.chart else { continue };
        let standing = if chart.is_steady() { Standing::Good } else { Standing::Attend };
        table.push(vec![
            Cell::text(lot.name.as_str()),
            Cell::verdict(steady::word(lot), standing),
            Cell::text(steady::signs(chart)),
            Cell::chance(chart.chance),
        ]);
    }
    table
}

/// Both answers where a reading was set aside.
pub(super) fn set_aside(study: &LotStudy, unit: &str) -> Table {
    let columns = vec![
        Column::text("lot"),
        Column::number("line"),
        Column::number("reading").unit(unit),
        Column::text("reason"),
        Column::text("with it"),
        Column::text("without it"),
    ];
    let mut table = Table::new("set-aside", "Readings set aside: both answers; the worse is the verdict", columns);
    for one in &study.set_aside {
        let cell = |verdict: Option<&packdrift_verdict::Verdict>| {
            let (word, standing) = text::word(verdict);
            Cell::verdict(word, standing)
        };
        table.push(vec![
            Cell::text(one.lot.as_str()),
            Cell::Count(u64::from(one.line)),
            Lengths::written_cell(unit, Some(one.reading)),
            Cell::text(one.reason.as_str()),
            cell(one.with.as_ref()),
            cell(one.without.as_ref()),
        ]);
    }
    table
}

/// What stands below the lots, where there is any.
pub(super) fn beside(study: &LotStudy, unit: &str) -> Vec<Table> {
    let mut all = vec![
        set_aside(study, unit),
        capability(study),
        steadiness(study),
        guard_bands(study, unit),
        outliers(study, unit),
    ];
    all.extend(processes(study, unit));
    all
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
fn intervals(study: &LotStudy, unit: &str) -> Table {
    let mut columns = vec![Column::text("lot")];
    for (head, own) in [
        ("mean", unit),
        ("off the packet", unit),
        ("off the packet", "%"),
        ("sd of parts", unit),
        ("Pp", ""),
        ("Ppk", ""),
        ("tolerance interval", unit),
        ("distribution-free", unit),
    ] {
        for end in ["from", "to"] {
            columns.push(Column::number(&format!("{head}, {end}")).unit(own));
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
pub(super) fn outliers(study: &LotStudy, unit: &str) -> Table {
    let columns = vec![
        Column::text("lot"),
        Column::number("line"),
        Column::number("reading").unit(unit),
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
                Lengths::written_cell(unit, Some(o.value)),
                Cell::fixed(o.deviate, 2),
                Cell::fixed(o.critical, 2),
            ]);
        }
    }
    table
}

/// The supplier's process, size by size; beside it without the readings set aside.
pub(super) fn processes(study: &LotStudy, unit: &str) -> Vec<Table> {
    let mut all: Vec<Table> = study.groups.iter().map(|g| process(study, g, "", unit)).collect();
    if let Some(without) = &study.without {
        all.extend(without.groups.iter().map(|g| process(without, g, ", without what was set aside", unit)));
    }
    all.retain(|t| !t.rows.is_empty());
    all
}

fn process(study: &LotStudy, group: &SizeGroup, which: &str, unit: &str) -> Table {
    let columns = vec![
        Column::text("scatter over all lots"),
        Column::number("estimate"),
        Column::number("from"),
        Column::number("to"),
    ];
    let size = match group.nominal {
        Some(nominal) if study.groups.len() > 1 => {
            format!(" of size {} {unit}", Lengths::named(unit).given_in_it(nominal))
        }
        _ => String::new(),
    };
    let mut table = Table::new(
        &format!("process{size}{which}"),
        &format!(
            "Scatter, capability and share outside over all lots{size}{which}, lengths in {}",
            if unit == "in" { "inches" } else { unit }
        ),
        columns,
    );
    let Some(c) = &group.components else { return table };
    let three = |x: f64| Cell::significant(x, 3);
    let mut push = |what: &str, value: f64, interval: Option<Interval>| {
        let [low, high] = ends(interval, three);
        table.push(vec![Cell::text(what), three(value), low, high]);
    };
    push("within lots, sd", c.reml.estimate.within_sd, Some(c.within_interval));
    push("between lots, sd", c.reml.estimate.between_sd, Some(c.between_interval));
    push("between lots by analysis of variance, sd", c.anova.between_sd, None);
    if let Some(p) = &group.process {
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
pub fn tables(shown: &Lots) -> Vec<Table> {
    let (study, unit) = (&shown.study, shown.unit());
    let mut all = vec![lots(study, unit), intervals(study, unit)];
    all.extend(beside(study, unit));
    for pack in &shown.packs {
        all.push(in_pack::table(pack));
        all.push(super::acceptance::table(pack, unit));
    }
    all.retain(|t| !t.rows.is_empty());
    all
}
