//! The order of requirements, and the words of verdicts.

use crate::table::Standing;
use packdrift_spread::{Answer, RequirementResult, Source, StackResult};
use std::cmp::Ordering;

/// What is not met first, the largest share outside against what is allowed first; then the others in the same manner;
/// last what has no limits.
pub(super) fn ranked(result: &StackResult) -> Vec<&RequirementResult> {
    let mut all: Vec<&RequirementResult> = result.requirements.iter().collect();
    let strain = |r: &RequirementResult| {
        if r.max_out > 0.0 { r.spread.out.total / r.max_out } else { r.spread.out.total * f64::MAX }
    };
    all.sort_by(|a, b| {
        a.acceptable
            .cmp(&b.acceptable)
            .then(has_limits(b).cmp(&has_limits(a)))
            .then(strain(b).partial_cmp(&strain(a)).unwrap_or(Ordering::Equal))
    });
    all
}

/// What a change of one contributor alone would do to a requirement; empty where that was not asked.
pub(super) fn answers<'a>(result: &'a StackResult, r: &RequirementResult) -> &'a [Answer] {
    let index = result.requirements.iter().position(|other| std::ptr::eq(other, r));
    index.and_then(|i| result.questions.answers.get(i)).map_or(&[], Vec::as_slice)
}

pub(super) fn has_limits(r: &RequirementResult) -> bool {
    r.lower.is_some() || r.upper.is_some()
}

/// Whether the share outside is not known well enough to be sure of the verdict.
pub(super) fn is_unsure(r: &RequirementResult) -> bool {
    let (low, high) = r.spread.out.ci95;
    has_limits(r) && high > low && low <= r.max_out && r.max_out <= high
}

/// The verdict in a word or two, and its weight.
pub(super) fn verdict(r: &RequirementResult) -> (&'static str, Standing) {
    match (has_limits(r), r.acceptable, is_unsure(r)) {
        (false, ..) => ("no limits", Standing::Good),
        (_, true, false) => ("met", Standing::Good),
        (_, true, true) => ("met, not surely", Standing::Attend),
        (_, false, true) => ("not met, not surely", Standing::Act),
        (_, false, false) => ("not met", Standing::Act),
    }
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
    if out.total == 0.0 && out.ci95.1 > 0.0 {
        let bound = crate::number::percent(out.ci95.1);
        return if bound.starts_with('<') { bound } else { format!("< {bound}") };
    }
    crate::number::share(out.total, out.standard_error)
}

/// The decimal places in which a requirement's values are shown: two digits of its standard deviation; without one a
/// micrometre, a newton, a megapascal.
pub(super) fn places(r: &RequirementResult) -> i32 {
    r.spread.sd.or(r.root_sum_square.map(|s| s.sd)).and_then(crate::number::decimals).unwrap_or(if r.unit == "mm" {
        3
    } else {
        0
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
