//! The stack for the terminal: the answer with its mark and one line of plain advice, every requirement in aligned columns, and what makes
//! the worst ones spread.

use super::order;
use crate::number::{self, counted, fixed, percent, plus_minus, significant};
use crate::table::{Cell, Column, Table};
use crate::text::wrapped;
use packdrift_spread::{Contributor, Joint, RequirementResult, Stack, StackResult, Together, Warning};
use std::fmt::Write as _;

/// Contributors listed for each requirement.
const CONTRIBUTORS: usize = 5;
/// Requirements whose contributors are listed where all are met: the ones with the least to spare.
const DETAILED: usize = 3;

/// Pairs of requirements listed.
const PAIRS: usize = 4;
/// Correlation below which two requirements may be looked at one by one.
const WORTH_SAYING: f64 = 0.25;

/// The stack as text.
pub fn text(stack: &Stack, result: &StackResult) -> String {
    let ranked = order::ranked(result);
    let answer = super::answer(stack, result);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 100, 2).trim_start());
    if !ranked.is_empty() {
        out.push_str(&wrapped(&answer.advice, 100, 2));
    }
    out.push_str(&wrapped(&stack.pack.title, 100, 2));
    if ranked.is_empty() {
        return out;
    }
    out.push('\n');
    out.push_str(&verdicts(&ranked).text(2));
    out.push('\n');
    out.push_str(&intervals(&ranked).text(2));
    if let Some(changes) = super::tables::changes(result) {
        let _ = write!(out, "\n{}", wrapped(&changes.caption, 200, 0));
        out.push_str(&changes.text(2));
    }
    out.push_str(&together(result));
    out.push_str(&causes(result, &ranked));
    out
}

/// The pairs of one condition that go together most; empty where none does to speak of.
fn together(result: &StackResult) -> String {
    let strength = |t: &Together| t.correlation.unwrap_or(0.0).abs();
    let mut pairs: Vec<&Together> = result.questions.together.iter().filter(|t| strength(t) >= WORTH_SAYING).collect();
    pairs.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    pairs.truncate(PAIRS);
    if pairs.is_empty() {
        return String::new();
    }
    let mut table = Table::new(
        "together",
        "",
        vec![
            Column::text("requirement"),
            Column::text("and"),
            Column::text("condition"),
            Column::number("correlation"),
            Column::number("both outside"),
            Column::number("at least one"),
        ],
    );
    for pair in pairs {
        let of = |i: usize| result.requirements.get(i);
        let name = |i: usize| of(i).map_or(Cell::Empty, |r| Cell::text(&r.name));
        table.push(vec![
            name(pair.first),
            name(pair.second),
            of(pair.first).map_or(Cell::Empty, |r| Cell::text(&r.condition)),
            pair.correlation.map_or(Cell::Empty, |c| Cell::fixed(c, 2)),
            Cell::share(pair.both_out),
            Cell::share(pair.either_out),
        ]);
    }
    let head = wrapped("What goes together: near 1 they rise together, near -1 one pays for the other", 100, 0);
    format!("\n{head}{}", table.text(2))
}

/// What makes the worst ones spread, and what a change of one dimension would bring.
fn causes(result: &StackResult, ranked: &[&RequirementResult]) -> String {
    let sets = order::folded(ranked);
    let failing = sets.iter().filter(|(r, _)| !r.acceptable).count();
    let detailed = failing.max(DETAILED).min(sets.len());
    let shown: usize = sets[..detailed].iter().map(|(_, twins)| 1 + twins.len()).sum();
    let scatters = |r: &RequirementResult| r.contributors.iter().any(|c| c.variance_share != 0.0);
    let list = |(r, twins): &(&RequirementResult, Vec<&RequirementResult>)| {
        let same = order::same_for(twins);
        let same = if same.is_empty() { same } else { wrapped(&same, 100, 4) };
        format!("{}{same}", contributors(result, r))
    };
    let lists: Vec<String> = sets[..detailed].iter().filter(|(r, _)| scatters(r)).map(list).collect();
    if lists.is_empty() {
        return String::new();
    }
    let head = if result.questions.answers.iter().all(Vec::is_empty) {
        "What makes them spread"
    } else {
        "What makes them spread, and what a change of one dimension alone would bring"
    };
    let mut out = format!("\n{}", wrapped(head, 100, 0));
    out.extend(lists);
    match ranked.len() - shown {
        0 => {}
        1 => out.push_str("  The other requirement is in the tables and the JSON.\n"),
        rest => {
            let _ = writeln!(out, "  The other {} are in the tables and the JSON.", counted(rest, "requirement"));
        }
    }
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
    let failing = result.requirements.iter().filter(|r| order::is_not_met(r)).count();
    let open = result.requirements.iter().filter(|r| order::is_open(r)).count();
    let are = |count: usize| if count == 1 { "is" } else { "are" };
    let mut out = cannot_assemble(result);
    out.push_str(&match (failing, open) {
        (0, 0) if n == 1 => "The one requirement is met.".to_owned(),
        (0, 0) => format!("All {n} requirements are met."),
        (1, 0) if n == 1 => "The one requirement is not met.".to_owned(),
        (0, 1) if n == 1 => format!("The one requirement is {}.", open_words(result)),
        (failing, 0) => format!("{failing} of {n} requirements {} not met.", are(failing)),
        (0, open) => format!("{open} of {n} requirements {} {}.", are(open), open_words(result)),
        (failing, open) => {
            format!("{failing} of {n} requirements {} not met, {open} {}.", are(failing), open_words(result))
        }
    });
    if let Some(joint) = &result.joint {
        if failing + open == 0 {
            let _ = write!(out, " {}", all_but(joint.bound));
        } else if failing == 0 {
            let _ = write!(out, " {}", while_open(result, joint));
        } else {
            let all = number::all_but(joint.out.value, joint.out.standard_error);
            let _ = write!(out, " {all} of packs meet every limit.");
        }
    }
    if let Some(accuracy) = result.accuracy.filter(|accuracy| !accuracy.is_reached()) {
        let reached = if accuracy.reached.is_finite() {
            format!("{} was reached", percent(accuracy.reached))
        } else {
            "nothing was seen outside to reach it with".to_owned()
        };
        let _ = write!(out, " The accuracy asked for, {}, is not reached: {reached}.", percent(accuracy.asked));
    }
    out
}

/// How many packs meet every limit where that is open: the bound, which the verdict is by, before the estimate. What keeps it open for another reason (a loose
/// bay, a limit that can never bind, a load that is not settled) is not in any share, and that is said first.
fn while_open(result: &StackResult, joint: &Joint) -> String {
    let all = all_but(joint.bound);
    if result.requirements.iter().any(order::is_open_for_another_reason) {
        let mut letters = all.chars();
        let first = letters.next().map(|c| c.to_lowercase().to_string()).unwrap_or_default();
        return format!("By the limits and formulas as they stand, {first}{}", letters.as_str());
    }
    let estimate = match joint.out.value {
        none if none <= 0.0 => "None was found outside.".to_owned(),
        out => format!("The estimate, {}, does not show it.", number::all_but(out, joint.out.standard_error)),
    };
    format!("{all} {estimate}")
}

/// That packs cannot be built is said before what they would be like: `In 48 % of packs bay cylinder 2 (running) binds: … `; empty where it decides nothing.
fn cannot_assemble(result: &StackResult) -> String {
    let decides = result.requirements.iter().filter(|r| order::has_limits(r) && r.spread.cannot_assemble > r.max_out);
    let Some(share) = decides.map(|r| r.spread.cannot_assemble).max_by(f64::total_cmp) else { return String::new() };
    let bays = result.warnings.iter().filter_map(|warning| match warning {
        Warning::CannotAssemble { bay, share } => Some((format!("the bay {bay}"), *share)),
        _ => None,
    });
    let bay = bays.max_by(|a, b| a.1.total_cmp(&b.1)).map_or_else(|| "a bay".to_owned(), |named| named.0);
    let packs = if share < 1.0 { format!("In {} of packs", percent(share)) } else { "In every pack".to_owned() };
    format!("{packs} {bay} binds: its parts are longer than the span, and it cannot be assembled. ")
}

/// In what way the open ones are open: `too close to tell` only where all of them are.
fn open_words(result: &StackResult) -> &'static str {
    let open = result.requirements.iter().filter(|r| order::is_open(r));
    let mut words = open.map(|r| order::verdict(r).0);
    let first = words.next().unwrap_or("not shown");
    match (first, words.all(|word| word == first)) {
        ("too close to tell", true) => "too close to tell",
        _ => "not shown to be met",
    }
}

/// How many packs meet every limit at the least, from the bound of those that do not.
fn all_but(bound: f64) -> String {
    if bound <= 0.0 {
        return "No pack can be outside.".to_owned();
    }
    if bound < 5e-5 {
        return format!("Of all packs at most {} miss a limit.", order::rounded_up(bound));
    }
    // Rounded down: the distance from all is what is known.
    if bound >= 1.0 {
        return "It is not shown that any pack meets every limit.".to_owned();
    }
    let unit = 10_f64.powf(bound.log10().floor() - 1.0);
    let least = 1.0 - (bound / unit - 1e-9).ceil() * unit;
    format!("At least {} of packs meet every limit.", percent(least.max(0.0)))
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
            Column::number("at most"),
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
            if order::has_limits(r) {
                Cell::text(format!("{} {}", crate::Lengths::limits_in(r.unit, r.lower, r.upper), r.unit))
            } else {
                Cell::Empty
            },
            r.nominal.map_or(Cell::Empty, |v| Cell::fixed(v, order::places(r))),
            Cell::text(mean_sd(r)),
            Cell::text(order::outside(r)),
            order::at_most(r),
            Cell::text(allowed),
        ]);
    }
    table
}

/// `1.013 ± 0.031`.
pub(super) fn mean_sd(r: &RequirementResult) -> String {
    match (r.spread.mean, r.spread.sd) {
        (Some(mean), Some(sd)) => plus_minus(mean, sd),
        (Some(mean), None) => fixed(mean, order::places(r)),
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
    let mut columns = vec![Column::number("variance"), Column::number("per unit")];
    let with_others = r.contributors.iter().any(tells_more);
    if with_others {
        columns.push(Column::number("with others"));
    }
    if !answers.is_empty() {
        columns.extend([
            Column::number("scatter may be"),
            Column::number("outside if perfect"),
            Column::number("centred by"),
        ]);
    }
    columns.push(Column::text("dimension"));
    let mut table = Table::new("c", "", columns);
    for (k, c) in r.contributors.iter().enumerate().take(CONTRIBUTORS).filter(|(_, c)| c.variance_share != 0.0) {
        let mut row =
            vec![Cell::text(format!("{} %", fixed(c.variance_share * 100.0, 1))), Cell::text(signed(c.sensitivity))];
        if with_others {
            row.push(c.sobol_total.map_or(Cell::Empty, |t| Cell::text(format!("{} %", fixed(t.value * 100.0, 1)))));
        }
        if !answers.is_empty() {
            let answer = answers.get(k);
            row.extend([
                answer.map_or(Cell::Empty, super::tables::may_be),
                answer.and_then(|a| a.out_if_perfect).map_or(Cell::Empty, Cell::share),
                answer
                    .and_then(|a| a.shift_to_centre)
                    .map_or(Cell::Empty, |s| Cell::shown_as(s, shift(s, super::lengths_of(result)))),
            ]);
        }
        row.push(Cell::text(&c.dimension));
        table.push(row);
    }
    format!("{}{}", wrapped(&format!("{}, {}", order::name(r), r.unit), 200, 2), table.text(4))
}

/// Whether the share of the variance in which a contributor is involved, alone and with others (the total Sobol' index), is not what first order says.
fn tells_more(c: &Contributor) -> bool {
    c.sobol_total.is_some_and(|total| (total.value - c.variance_share).abs() > 0.05 + 3.0 * total.standard_error)
}

/// A change of a nominal, mm, with its sign: two digits, and no finer than a micrometre, since nothing is set finer.
pub(super) fn shift(value: f64, lengths: crate::Lengths) -> String {
    let places = crate::number::decimals(value.abs()).unwrap_or(3).clamp(0, lengths.decimals());
    let text = fixed(value, places);
    if text.bytes().all(|b| matches!(b, b'0' | b'.')) {
        "0".to_owned()
    } else if value > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

/// With its sign, three digits.
pub(super) fn signed(value: f64) -> String {
    let text = significant(value, 3);
    if value > 0.0 { format!("+{text}") } else { text }
}
