//! One line of plain advice on a stack: what to do first about the requirement that is worst off.

use super::order;
use crate::Lengths;
use crate::number::{fixed, percent, significant};
use packdrift_pack::{PartKind, QuantityKind};
use packdrift_spread::{Answer, Distribution, RequirementResult, Source, Stack, StackResult};

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
    // What cannot be put together comes before whatever else is worst.
    let stuck = ranked.iter().filter(|r| order::has_limits(r) && r.spread.cannot_assemble > r.max_out);
    if let Some(stuck) = stuck.max_by(|a, b| a.spread.cannot_assemble.total_cmp(&b.spread.cannot_assemble)) {
        return format!(
            "{}: {} of packs cannot be assembled; take thickness out, or widen the span, before anything else.",
            order::name(stuck),
            percent(rounded(stuck.spread.cannot_assemble))
        );
    }
    if let Some(open) = open_for_another_reason(worst) {
        return format!("{name}: {open}");
    }
    if worst.spread.loose > worst.max_out {
        return format!(
            "{name}: in {} of packs the bay is loose, and a rocker lies anywhere in its play; add thickness, or take a taller spring washer, before \
             anything else.",
            percent(rounded(worst.spread.loose))
        );
    }
    let answers = order::answers(result, worst);
    if let Some(shift) = shift(stack, worst, answers, super::lengths_of(result)) {
        return shift;
    }
    if let Some(aim) = off_its_limits(worst) {
        return aim;
    }
    tighten(stack, worst, answers)
}

/// A scatter that has to come down to more than this part of itself has to come down a little.
const LITTLE: f64 = 0.95;

/// Where the share outside is kept and something else leaves the requirement open: why, and what settles it.
fn open_for_another_reason(r: &RequirementResult) -> Option<String> {
    let verdict = r.verdict.as_ref().filter(|verdict| !verdict.is_shown() && r.spread.out.bounds.1 <= r.max_out)?;
    let cure = verdict.what_settles_it()?;
    Some(format!("{}. {cure}", verdict.reasons().join("; ")))
}

/// Where the middle itself lies outside the limits, scatter is not the matter.
fn off_its_limits(r: &RequirementResult) -> Option<String> {
    let middle = r.spread.mean.or_else(|| super::text::quantile(r, 0.5))?;
    let beyond = |limit: Option<f64>, sign: f64| limit.map(|l| sign * (middle - l)).filter(|by| *by > 0.0);
    let (by, which) = match (beyond(r.upper, 1.0), beyond(r.lower, -1.0)) {
        (Some(by), _) => (by, "above its upper limit"),
        (_, Some(by)) => (by, "below its lower limit"),
        _ => return None,
    };
    let places = order::places(r);
    Some(format!(
        "{}: the middle of the packs, {} {}, lies {} {} {which}, and no shim, washer or spacer alone can mend that; correct the nominal dimensions or \
         the limits.",
        order::name(r),
        fixed(middle, places),
        r.unit,
        fixed(by, places),
        r.unit
    ))
}

/// Where a shim, washer or spacer of another thickness would take away a third of the share outside or more, moving the middle
/// comes before tightening anything.
fn shift(stack: &Stack, r: &RequirementResult, answers: &[Answer], lengths: Lengths) -> Option<String> {
    let best = answers
        .iter()
        .filter_map(|a| {
            let Source::Input(input) = a.source else { return None };
            let change = a.shift_to_centre.filter(|s| s.is_finite() && *s != 0.0)?;
            // What is taken away must be there.
            let left = stack.inputs.get(input)?.nominal + lengths.to_mm(change);
            (is_choosable(stack, input) && left > 0.0).then_some((a, change, a.out_if_shifted?))
        })
        .min_by(|a, b| a.2.total_cmp(&b.2))?;
    let (answer, change, after) = best;
    if after > 0.67 * r.spread.out.total {
        return None;
    }
    let off = r.spread.mean? - r.target?;
    let where_to = if off > 0.0 { "above" } else { "below" };
    let other = if r.quantity == QuantityKind::Offset {
        " Change the other side by as much the other way, so that the preload stays."
    } else {
        " See what that does to the offsets."
    };
    Some(format!(
        "{} lies {} {} {where_to} its aim: {} would bring it there, and leave {} outside.{other}",
        order::name(r),
        fixed(off.abs(), order::places(r)),
        r.unit,
        thicker(&answer.dimension, change, lengths),
        percent(rounded(after)),
    ))
}

/// `making the right shim of cylinder 2 0.028 mm thinner`, of `cylinder 2/right shim/thickness`.
fn thicker(dimension: &str, change: f64, lengths: Lengths) -> String {
    let by = super::text::shift(change.abs(), lengths);
    let by = by.trim_start_matches('+');
    let unit = lengths.unit();
    match dimension.split('/').collect::<Vec<_>>()[..] {
        [bay, part, "thickness"] => {
            let word = if change > 0.0 { "thicker" } else { "thinner" };
            format!("making the {part} of {bay} {by} {unit} {word}")
        }
        _ => format!("making {dimension} {by} {unit} {}", if change > 0.0 { "longer" } else { "shorter" }),
    }
}

/// Which dimension to tighten: the one that has to give least, if one alone can do it.
fn tighten(stack: &Stack, r: &RequirementResult, answers: &[Answer]) -> String {
    let name = order::name(r);
    let alone = answers
        .iter()
        .filter_map(|a| Some((a, a.may_open.filter(|f| *f > 0.0 && *f < 1.0)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((answer, factor)) = alone {
        if let Some(readings) = few_readings(stack, answer.source) {
            return format!(
                "{name} is worst, and may be better than it looks: {} is known from {readings} readings alone, which may lie close together by chance. \
                 Read it a few more times first.",
                answer.dimension
            );
        }
        // Near to what it is, by how much less says more than how much is left (and 99.7 % is not 100 %).
        let scatter = if factor < LITTLE {
            format!("Bringing the scatter of {} down to {} of what it is", answer.dimension, percent(rounded(factor)))
        } else {
            format!("Taking {} off the scatter of {}", percent(rounded(1.0 - factor)), answer.dimension)
        };
        return format!(
            "{name} is worst: it spreads more than its limits allow. {scatter} would do, alone; or ask whether the limits can be opened."
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

/// How many readings a measured part has, where they are so few that their number decides.
fn few_readings(stack: &Stack, source: Source) -> Option<f64> {
    let Source::Input(input) = source else { return None };
    let freedom = |distribution: &Distribution| match distribution {
        Distribution::ScaledShiftedT { degrees_of_freedom, .. } => Some(*degrees_of_freedom),
        _ => None,
    };
    let freedom = match &stack.inputs.get(input)?.distribution {
        Distribution::Sum { terms } => terms.iter().find_map(freedom)?,
        single => freedom(single)?,
    };
    (freedom <= 4.0).then_some(freedom + 1.0)
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
