//! From meter hours to a date: the hours still to run, at the hours a week the policy states, or else at the engine's own
//! pace between its first and its last dated reading. This is how people plan; it adds no uncertainty of its own to the
//! forecast, and says which pace it took.

use crate::calendar;
use packdrift_trend::{Policy, ValveForecast};

/// Dates further away than this are not worth naming, days.
const FAR: f64 = 20.0 * 365.25;

/// An engine's running hours a week, and where that is from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pace {
    pub(super) hours_a_week: f64,
    pub(super) source: &'static str,
}

/// Hours a week of the valve's engine: the policy's for this engine, its own, or the policy's default.
pub(super) fn pace(valve: &ValveForecast, policy: Option<&Policy>) -> Option<Pace> {
    let usable = |h: &f64| h.is_finite() && *h > 0.0;
    if let Some(hours) = policy.and_then(|p| p.usage.get(&valve.engine)).copied().filter(usable) {
        return Some(Pace { hours_a_week: hours, source: "the policy's hours a week for this engine" });
    }
    if let Some(hours) = own_pace(valve).filter(usable) {
        return Some(Pace { hours_a_week: hours, source: "the engine's own hours a week so far" });
    }
    let hours = policy.and_then(|p| p.usage_default).filter(usable)?;
    Some(Pace { hours_a_week: hours, source: "the policy's default hours a week" })
}

fn own_pace(valve: &ValveForecast) -> Option<f64> {
    let dated = || valve.series.iter().filter_map(|p| p.day.map(|d| (d, p.hours)));
    let (first, last) = (dated().min_by_key(|p| p.0)?, dated().max_by_key(|p| p.0)?);
    let days = f64::from(last.0) - f64::from(first.0);
    // Less than a quarter of a year tells little of a year's running.
    (days >= 90.0).then(|| (last.1 - first.1) / days * 7.0)
}

/// The date at which the engine's meter will show `hours`, as ISO 8601; None where no pace or no dated reading is known,
/// or the date is more than twenty years away.
pub(super) fn date(valve: &ValveForecast, hours: f64, policy: Option<&Policy>) -> Option<String> {
    let last = valve.series.iter().filter_map(|p| p.day).max()?;
    let days = (hours - valve.hours).max(0.0) / pace(valve, policy)?.hours_a_week * 7.0;
    (days.is_finite() && days <= FAR).then(|| calendar::iso(last.saturating_add(days.round() as i32)))
}
