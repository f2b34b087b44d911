//! The order of requirements, and the words of verdicts.

use crate::table::{Cell, Standing};
use packdrift_spread::{Answer, RequirementResult, Source, StackResult};
use packdrift_verdict::{STACK, Standing as Judged, Verdict};
use std::cmp::Ordering;

/// What is not met first, the largest share outside against what is allowed first; then the others in the same manner;
/// last what has no limits.
pub(super) fn ranked(result: &StackResult) -> Vec<&RequirementResult> {
    let mut all: Vec<&RequirementResult> = result.requirements.iter().collect();
    let strain = |r: &RequirementResult| {
        if r.max_out > 0.0 { r.spread.out.total / r.max_out } else { r.spread.out.total * f64::MAX }
    };
    let weight = |r: &RequirementResult| r.verdict.as_ref().map(packdrift_verdict::Verdict::standing);
    all.sort_by(|a, b| {
        weight(b)
            .cmp(&weight(a))
            .then(has_limits(b).cmp(&has_limits(a)))
            .then(strain(b).partial_cmp(&strain(a)).unwrap_or(Ordering::Equal))
    });
    all
}

/// Whether two requirements are one question asked of two places that are alike: the same limits, and the same nominal, worst case and root
/// sum square to nine digits. Their simulated shares differ by chance alone.
pub(super) fn are_twins(a: &RequirementResult, b: &RequirementResult) -> bool {
    let asked =
        |r: &RequirementResult| (r.quantity, r.point, r.condition.clone(), r.lower, r.upper, r.target, r.max_out);
    let same = |x: Option<f64>, y: Option<f64>| match (x, y) {
        (Some(x), Some(y)) => (x - y).abs() <= 1e-9 * x.abs().max(y.abs()).max(1e-3),
        (None, None) => true,
        _ => false,
    };
    let (p, q) = (a.root_sum_square, b.root_sum_square);
    a.name != b.name
        && asked(a) == asked(b)
        && verdict(a).0 == verdict(b).0
        && same(a.nominal, b.nominal)
        && same(a.worst_case.min, b.worst_case.min)
        && same(a.worst_case.max, b.worst_case.max)
        && same(p.map(|p| p.mean), q.map(|q| q.mean))
        && same(p.map(|p| p.sd), q.map(|q| q.sd))
        && a.contributors.len() == b.contributors.len()
}

/// The first of each set of twins with those that are folded into it, in the order given.
pub(super) fn folded<'a>(ranked: &[&'a RequirementResult]) -> Vec<(&'a RequirementResult, Vec<&'a RequirementResult>)> {
    let mut sets: Vec<(&RequirementResult, Vec<&RequirementResult>)> = Vec::new();
    for &r in ranked {
        match sets.iter_mut().find(|(first, _)| are_twins(first, r)) {
            Some((_, twins)) => twins.push(r),
            None => sets.push((r, Vec::new())),
        }
    }
    sets
}

/// `The same for offset, 2 exhaust (outside 2.38 %): its dimensions are the same.`; empty without twins.
pub(super) fn same_for(twins: &[&RequirementResult]) -> String {
    if twins.is_empty() {
        return String::new();
    }
    let named: Vec<String> = twins.iter().map(|r| format!("{} (outside {})", name(r), outside(r))).collect();
    format!("The same for {}: the same dimensions in another place.", named.join(", "))
}

/// What a change of one contributor alone would do to a requirement; empty where that was not asked.
pub(super) fn answers<'a>(result: &'a StackResult, r: &RequirementResult) -> &'a [Answer] {
    let index = result.requirements.iter().position(|other| std::ptr::eq(other, r));
    index.and_then(|i| result.questions.answers.get(i)).map_or(&[], Vec::as_slice)
}

pub(super) fn has_limits(r: &RequirementResult) -> bool {
    r.lower.is_some() || r.upper.is_some()
}

/// Whether it is shown not to be met.
pub(super) fn is_not_met(r: &RequirementResult) -> bool {
    r.verdict.as_ref().is_some_and(|v| v.standing() == Judged::Adverse)
}

/// Whether it is neither shown to be met nor shown not to be.
pub(super) fn is_open(r: &RequirementResult) -> bool {
    r.verdict.as_ref().is_some_and(|v| !v.is_shown() && v.standing() != Judged::Adverse)
}

/// Whether a requirement is open although the share outside is kept by its bound: for another reason than scatter.
pub(super) fn is_open_for_another_reason(r: &RequirementResult) -> bool {
    is_open(r) && r.spread.out.bounds.1 <= r.max_out
}

/// The verdict in a word or two, and its weight.
pub(super) fn verdict(r: &RequirementResult) -> (&'static str, Standing) {
    r.verdict.as_ref().map_or(("no limits", Standing::Good), |v| (v.word(&STACK), weight(v)))
}

/// How a verdict is marked.
pub(crate) fn weight(verdict: &Verdict) -> Standing {
    match verdict.standing() {
        Judged::Shown => Standing::Good,
        Judged::Adverse => Standing::Act,
        Judged::Watch | Judged::TooCloseToTell | Judged::NotShown | Judged::ReadAgain => Standing::Attend,
    }
}

/// The share outside is not above this: what the verdict rests on.
pub(super) fn at_most(r: &RequirementResult) -> Cell {
    if has_limits(r) { Cell::shown_as(r.spread.out.bounds.1, rounded_up(r.spread.out.bounds.1)) } else { Cell::Empty }
}

/// A bound in percent, two digits, never less than it is.
pub(crate) fn rounded_up(bound: f64) -> String {
    if !(bound > 0.0 && bound < 1.0) {
        return crate::number::percent(bound);
    }
    let unit = 10_f64.powf(bound.log10().floor() - 1.0);
    crate::number::percent(((bound / unit - 1e-9).ceil() * unit).min(1.0))
}

/// `offset, 1 exhaust · running`.
pub(super) fn name(r: &RequirementResult) -> String {
    format!("{} · {}", r.name, r.condition)
}

/// The share outside in words, with its error; an upper bound where no trial was outside.
pub(super) fn outside(r: &RequirementResult) -> String {
    let out = &r.spread.out;
    if !has_limits(r) {
        return crate::number::NO_VALUE.to_owned();
    }
    if out.total == 0.0 && out.bounds.1 > 0.0 {
        let bound = rounded_up(out.bounds.1);
        return if bound.starts_with('<') { bound } else { format!("< {bound}") };
    }
    crate::number::share(out.total, out.standard_error)
}

/// The decimal places in which a requirement's values are shown: two digits of its standard deviation; without one a
/// micrometre, a newton, a megapascal.
pub(super) fn places(r: &RequirementResult) -> i32 {
    r.spread.sd.or(r.root_sum_square.map(|s| s.sd)).and_then(crate::number::decimals).unwrap_or(match r.unit {
        "mm" => 3,
        "in" => 4,
        _ => 0,
    })
}

/// The bay that all dimensions belong to, which a figure need not repeat in every label; empty where there are several.
pub(super) fn common_bay<'a>(dimensions: impl Iterator<Item = (Source, &'a str)>) -> &'a str {
    let mut bays = dimensions
        .filter(|(source, _)| matches!(source, Source::Input(_)))
        .map(|(_, path)| path.split_once('/').map_or("", |(bay, _)| bay));
    match bays.next() {
        Some(first) if bays.all(|bay| bay == first) => first,
        _ => "",
    }
}

/// A path without its bay, where all have the same.
pub(super) fn without<'a>(bay: &str, path: &'a str) -> &'a str {
    if bay.is_empty() {
        return path;
    }
    path.strip_prefix(bay).and_then(|rest| rest.strip_prefix('/')).unwrap_or(path)
}
