//! Steadiness in words: what single rules of a chart show, and whether chance explains it.

use crate::number::{chance, counted};
use packdrift_lot::LotResult;
use packdrift_lot::chart::{Chart, SignalKind};

/// Every sign by its kind.
pub(super) fn signs(chart: &Chart) -> String {
    let all = || chart.location.signals.iter().chain(&chart.scatter.signals);
    let count = |kind: SignalKind| all().filter(|s| s.kind == kind).count();
    let mut found = Vec::new();
    match count(SignalKind::BeyondLimit) {
        0 => {}
        1 => found.push("one point outside the control limits".to_owned()),
        n => found.push(format!("{n} points outside the control limits")),
    }
    for (kind, one, many) in [
        (SignalKind::OneSide, "a run of nine on one side", "runs of nine on one side"),
        (SignalKind::Drift, "six in a row rising or falling", "times six in a row rising or falling"),
        (SignalKind::NearLimit, "two of three near a limit", "times two of three near a limit"),
    ] {
        match count(kind) {
            0 => {}
            1 => found.push(one.to_owned()),
            n => found.push(format!("{n} {many}")),
        }
    }
    match found.as_slice() {
        [] => "no sign of change".to_owned(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// One or two words for a column: empty where the order is not known.
pub(super) fn word(lot: &LotResult) -> &'static str {
    match &lot.chart {
        Some(chart) if chart.is_steady() => "steady",
        Some(_) => "not steady",
        None => "",
    }
}

/// A sentence without its full stop.
pub(super) fn sentence(chart: &Chart) -> String {
    let points = counted(chart.location.points.len(), "point");
    if !chart.is_steady() {
        format!("not steady: {}, as in {} of steady charts of {points}", signs(chart), chance(chart.chance))
    } else if chart.signs() == 0 {
        "steady: no sign of change".to_owned()
    } else {
        format!(
            "steady: {}, no more than chance gives ({} of steady charts of {points})",
            signs(chart),
            chance(chart.chance)
        )
    }
}
