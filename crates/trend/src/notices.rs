//! What the reader must know of a result, gathered from it.

use crate::inspections::Inspections;
use crate::policy::Policy;
use crate::result::{FeatureResult, FitStatus, LeftOut, TrendWarning, ValveForecast};
use crate::segments::line_of;

/// Warnings of limits that meet no reading.
pub(crate) fn no_readings(policy: Option<&Policy>, features: &[FeatureResult], warnings: &mut Vec<TrendWarning>) {
    for name in policy.iter().flat_map(|p| p.features.keys()) {
        if !features.iter().any(|f| &f.feature == name) {
            warnings.push(TrendWarning::NoReadings { feature: name.clone() });
        }
    }
}

pub(crate) fn left_out(table: &Inspections, reason: &str, rows: &[u32]) -> LeftOut {
    LeftOut {
        reason: reason.to_owned(),
        rows: rows.len(),
        first_lines: rows.iter().take(5).map(|r| line_of(table, *r)).collect(),
    }
}

/// What the reader must know of one feature's result.
pub(crate) fn warnings_of(
    result: &FeatureResult,
    policy: Option<&Policy>,
    table: &Inspections,
    warnings: &mut Vec<TrendWarning>,
) {
    let feature = || result.feature.clone();
    if result.model.is_none() {
        warnings.push(TrendWarning::NotFitted { feature: feature(), reason: result.diagnostics.reason.clone() });
        return;
    }
    if result.diagnostics.status == FitStatus::Boundary {
        warnings.push(TrendWarning::Boundary { feature: feature(), reason: result.diagnostics.reason.clone() });
    } else if !result.diagnostics.reason.is_empty() {
        warnings.push(TrendWarning::Note { feature: feature(), text: result.diagnostics.reason.clone() });
    }
    if policy.is_some() && result.limits.is_none() {
        warnings.push(TrendWarning::NoLimits { feature: feature() });
    }
    if result.segments < 10 {
        warnings.push(TrendWarning::SmallFleet { feature: feature(), segments: result.segments });
    }
    if !result.suspected.is_empty() {
        warnings.push(TrendWarning::Suspected { feature: feature(), readings: result.suspected.len() });
    }
    if !result.steps.is_empty() {
        warnings.push(TrendWarning::Steps { feature: feature(), steps: result.steps.len() });
    }
    if !result.faulty_days.is_empty() {
        warnings.push(TrendWarning::FaultyDays { feature: feature(), days: result.faulty_days.len() });
    }
    let valves = stale(&result.valves, table);
    if valves > 0 {
        warnings.push(TrendWarning::NotReadLately { feature: feature(), valves });
    }
}

/// Valves whose last reading is earlier on the meter than their engine's last, of the same feature.
fn stale(valves: &[ValveForecast], table: &Inspections) -> usize {
    let engine = |v: &ValveForecast| table.valves.get(v.valve_index as usize).map(|v| v.0);
    valves
        .chunk_by(|a, b| engine(a) == engine(b))
        .map(|run| {
            let latest = run.iter().map(|v| v.hours).fold(f64::NEG_INFINITY, f64::max);
            // A reading after the work of the same visit may stand some hours later.
            run.iter().filter(|v| v.hours < latest - 24.0).count()
        })
        .sum()
}
