//! The stack for the terminal: the verdict, every requirement in aligned columns, what makes the worst ones spread, and one
//! line of plain advice.

use super::order;
use crate::number::{self, counted, fixed, percent, plus_minus, significant};
use crate::table::{Cell, Column, Table};
use crate::text::wrapped;
use packdrift_pack::{PartKind, QuantityKind};
use packdrift_spread::{Answer, RequirementResult, Source, Stack, StackResult};
use std::fmt::Write as _;

/// Contributors listed for each requirement.
const CONTRIBUTORS: usize = 5;
/// Requirements whose contributors are listed where all are met: the ones with the least to spare.
const DETAILED: usize = 3;

/// The stack as text.
pub fn text(stack: &Stack, result: &StackResult) -> String {
    let ranked = order::ranked(result);
    let mut out = wrapped(&stack.pack.title, 100, 0);
    out.push_str(&wrapped(&summary(result), 100, 0));
    if ranked.is_empty() {
        return out;
    }
    out.push('\n');
    out.push_str(&verdicts(&ranked).text(2));
    out.push('\n');
    out.push_str(&intervals(&ranked).text(2));
    if let Some(changes) = super::tables::changes(result) {
        let _ = writeln!(out, "\n{}", changes.caption);
        out.push_str(&changes.text(2));
    }
    out.push('\n');
    out.push_str("What makes them spread: share of variance; change of the result per unit of the dimension");
    out.push_str(if result.questions.answers.is_empty() { "\n" } else { "; share outside if it alone were perfect\n" });
    let failing = ranked.iter().filter(|r| !r.acceptable).count();
    let detailed = failing.max(DETAILED).min(ranked.len());
    for r in ranked[..detailed].iter().filter(|r| !r.contributors.is_empty()) {
        out.push_str(&contributors(result, r));
    }
    if detailed < ranked.len() {
        let _ = writeln!(
            out,
            "  The other {} are in the tables and the JSON.",
            counted(ranked.len() - detailed, "requirement")
        );
    }
    out.push('\n');
    out.push_str(&wrapped(&advice(stack, result), 100, 0));
    out
}

/// How many requirements are met, and the share of packs that meet them all.
pub(super) fn summary(result: &StackResult) -> String {
    if result.requirements.is_empty() {
        return "The pack file has no requirement, so there is nothing to judge.".to_owned();
    }
    let n = result.requirements.iter().filter(|r| order::has_limits(r)).count();
    if n == 0 {
        return "No requirement has limits, so there is nothing to judge.".to_owned();
    }
    let failing = result.requirements.iter().filter(|r| !r.acceptable).count();
    let mut out = match failing {
        0 if n == 1 => "The one requirement is met.".to_owned(),
        0 => format!("All {n} requirements are met."),
        _ if n == 1 => "The one requirement is not met.".to_owned(),
        1 => format!("1 of {n} requirements is not met."),
        _ => format!("{failing} of {n} requirements are not met."),
    };
    if let Some(joint) = &result.joint {
        let all = number::share((1.0 - joint.out.value).max(0.0), joint.out.standard_error);
        let _ = write!(out, " {all} of packs meet every limit.");
    }
    out
}

fn verdicts(ranked: &[&RequirementResult]) -> Table {
    let mut table = Table::new(
        "verdicts",
        "",
        vec![
            Column::text("verdict"),
            Column::text("requirement"),
            Column::text("condition"),
            Column::number("limits"),
            Column::number("nominal"),
            Column::number("mean ± sd"),
            Column::number("outside"),
            Column::number("allowed"),
        ],
    );
    for r in ranked {
        let (word, standing) = order::verdict(r);
        let allowed = if order::has_limits(r) { percent(r.max_out) } else { number::NO_VALUE.to_owned() };
        table.push(vec![
            Cell::verdict(word, standing),
            Cell::text(&r.name),
            Cell::text(&r.condition),
            Cell::text(format!("{} {}", number::limits(r.lower, r.upper), r.unit)),
            r.nominal.map_or(Cell::Empty, |v| Cell::fixed(v, order::places(r))),
            Cell::text(mean_sd(r)),
            Cell::text(order::outside(r)),
            Cell::text(allowed),
        ]);
    }
    table
}

/// `1.013 ± 0.031`.
pub(super) fn mean_sd(r: &RequirementResult) -> String {
    match (r.spread.mean, r.spread.sd) {
        (Some(mean), Some(sd)) => plus_minus(mean, sd),
        (Some(mean), None) => number::plain(mean),
        _ => number::NO_VALUE.to_owned(),
    }
}

/// `0.81 … 1.22`.
pub(super) fn interval(r: &RequirementResult, low: Option<f64>, high: Option<f64>) -> String {
    match (low, high) {
        (Some(low), Some(high)) => {
            format!("{} … {}", fixed(low, order::places(r)), fixed(high, order::places(r)))
        }
        _ => number::NO_VALUE.to_owned(),
    }
}

/// The value below which a share `order` of the packs lies.
pub(super) fn quantile(r: &RequirementResult, order: f64) -> Option<f64> {
    #[allow(clippy::float_cmp)] // the orders are copied, never computed
    r.spread.quantiles.iter().find(|q| q.order == order).map(|q| q.value)
}

fn intervals(ranked: &[&RequirementResult]) -> Table {
    let mut table = Table::new(
        "intervals",
        "",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::number("worst case"),
            Column::number("root sum square, 3 sd"),
            Column::number("99.73 % of packs"),
            Column::number("Cp"),
            Column::number("Cpk"),
            Column::number("Pp"),
            Column::number("Ppk"),
            Column::text("by"),
        ],
    );
    for r in ranked {
        let index = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, 2));
        let rss = r.root_sum_square;
        table.push(vec![
            Cell::text(&r.name),
            Cell::text(&r.condition),
            Cell::text(interval(r, r.worst_case.min, r.worst_case.max)),
            Cell::text(interval(r, rss.map(|s| s.mean - 3.0 * s.sd), rss.map(|s| s.mean + 3.0 * s.sd))),
            Cell::text(interval(r, quantile(r, 0.00135), quantile(r, 0.99865))),
            index(r.capability.cp),
            index(r.capability.cpk),
            index(r.capability.pp),
            index(r.capability.ppk),
            Cell::text(r.spread.method.to_string()),
        ]);
    }
    table
}

fn contributors(result: &StackResult, r: &RequirementResult) -> String {
    let answers = order::answers(result, r);
    let mut out = format!("  {}, {}\n", crate::text::clean(&order::name(r)), r.unit);
    let mut columns = vec![Column::number(""), Column::number(""), Column::text("")];
    if !answers.is_empty() {
        columns.insert(2, Column::number(""));
    }
    let mut table = Table::new("c", "", columns);
    for (k, c) in r.contributors.iter().enumerate().take(CONTRIBUTORS).filter(|(_, c)| c.variance_share != 0.0) {
        let mut row = vec![
            Cell::text(format!("{} %", fixed(c.variance_share * 100.0, 1))),
            Cell::text(signed(c.sensitivity)),
            Cell::text(&c.dimension),
        ];
        if !answers.is_empty() {
            row.insert(2, answers.get(k).and_then(|a| a.out_if_perfect).map_or(Cell::Empty, Cell::share));
        }
        table.push(row);
    }
    // The heads are empty: the line above the first list names the columns once.
    for line in table.text(4).lines().skip(1) {
        out.push_str(line);
        out.push('\n');
    }
    out
}

/// With its sign, three digits.
pub(super) fn signed(value: f64) -> String {
    let text = significant(value, 3);
    if value > 0.0 { format!("+{text}") } else { text }
}

/// One line of plain advice.
pub(super) fn advice(stack: &Stack, result: &StackResult) -> String {
    let ranked = order::ranked(result);
    let Some(worst) = ranked.first() else {
        return "Add a [[requirement]] with limits to the pack file.".to_owned();
    };
    let name = order::name(worst);
    if worst.nominal.is_none() {
        return format!(
            "{name}: the pack cannot be assembled at its nominal dimensions; take thickness out, or widen the span."
        );
    }
    if worst.acceptable {
        if !order::has_limits(worst) {
            return "No requirement has limits: give `lower` or `upper` to have them judged.".to_owned();
        }
        return match worst.contributors.first() {
            Some(c) => format!(
                "Nothing has to change. {name} has the least to spare; the largest part of its spread, {}, is {}.",
                percent(rounded(c.variance_share)),
                c.dimension
            ),
            None => "Nothing has to change.".to_owned(),
        };
    }
    if worst.spread.cannot_assemble > worst.max_out {
        return format!(
            "{name}: {} of packs cannot be assembled; take thickness out, or widen the span, before anything else.",
            percent(worst.spread.cannot_assemble)
        );
    }
    let answers = order::answers(result, worst);
    if let Some(shift) = shift(stack, worst, answers) {
        return shift;
    }
    tighten(worst, answers)
}

/// Where a shim, washer or spacer of another thickness would take away a third of the share outside or more, moving the middle
/// comes before tightening anything.
fn shift(stack: &Stack, r: &RequirementResult, answers: &[Answer]) -> Option<String> {
    let best = answers
        .iter()
        .filter(|a| matches!(a.source, Source::Input(i) if is_choosable(stack, i)))
        .filter_map(|a| Some((a, a.shift_to_centre.filter(|s| s.is_finite() && *s != 0.0)?, a.out_if_shifted?)))
        .min_by(|a, b| a.2.total_cmp(&b.2))?;
    let (answer, change, after) = best;
    if after > 0.67 * r.spread.out.total {
        return None;
    }
    let off = r.spread.mean? - r.target?;
    let where_to = if off > 0.0 { "above" } else { "below" };
    let verb = if change > 0.0 { "adding" } else { "taking away" };
    let other = if r.quantity == QuantityKind::Offset {
        " Change the other side by as much the other way, so that the preload stays."
    } else {
        " See what that does to the offsets."
    };
    Some(format!(
        "{} lies {} {} {where_to} its aim: {verb} {} mm at {} would bring it there, and leave {} outside.{other}",
        order::name(r),
        fixed(off.abs(), order::places(r)),
        r.unit,
        significant(change.abs(), 2),
        answer.dimension,
        percent(rounded(after)),
    ))
}

/// Which dimension to tighten: the one that has to give least, if one alone can do it.
fn tighten(r: &RequirementResult, answers: &[Answer]) -> String {
    let name = order::name(r);
    let alone = answers
        .iter()
        .filter_map(|a| Some((a, a.may_open.filter(|f| *f > 0.0 && *f < 1.0)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((answer, factor)) = alone {
        return format!(
            "{name} is worst: it spreads more than its limits allow. Bringing the scatter of {} down to {} of what it is would do, alone; or ask \
             whether the limits can be opened.",
            answer.dimension,
            percent(rounded(factor))
        );
    }
    match r.contributors.first() {
        Some(c) if answers.is_empty() => format!(
            "{name} is worst: it spreads more than its limits allow. Tighten {} first ({} of the variance), or ask whether the limits can be \
             opened.",
            c.dimension,
            percent(rounded(c.variance_share))
        ),
        Some(c) => format!(
            "{name} is worst: it spreads more than its limits allow, and no single dimension can mend that. Begin with {} ({} of the variance), \
             or ask whether the limits can be opened.",
            c.dimension,
            percent(rounded(c.variance_share))
        ),
        None => {
            format!("{name} is worst: its limits do not hold the nominal value; correct the dimensions or the limits.")
        }
    }
}

/// To two significant digits: advice needs no more.
fn rounded(share: f64) -> f64 {
    significant(share, 2).parse().unwrap_or(share)
}

/// Whether an input is the thickness of a shim, washer or spacer, which is what is chosen at assembly.
fn is_choosable(stack: &Stack, input: usize) -> bool {
    stack
        .pack
        .bays
        .iter()
        .flat_map(|b| &b.parts)
        .any(|part| matches!(part.kind, PartKind::Solid { thickness, .. } if thickness.0 == input))
}
