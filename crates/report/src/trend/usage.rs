//! From meter hours to a date: the hours still to run at the hours a week of the valve's engine. This is how people plan; it adds no
//! uncertainty of its own to the forecast.

use crate::calendar;
use packdrift_trend::{Policy, ValveForecast};

/// Dates further away than this are not worth naming, days.
const FAR: f64 = 20.0 * 365.25;

/// Before a date that is past.
pub(super) const PAST: &str = "past, ";

/// Hours a week of the valve's engine, or the policy's default where its meter does not tell.
pub(super) fn hours_a_week(valve: &ValveForecast, policy: Option<&Policy>) -> Option<f64> {
    let usable = |h: &f64| h.is_finite() && *h > 0.0;
    valve.hours_a_week.filter(usable).or(policy.and_then(|p| p.usage_default).filter(usable))
}

/// The same in words: a date before the day of the answer is called past.
pub(super) fn when(valve: &ValveForecast, hours: f64, policy: Option<&Policy>) -> Option<String> {
    let date = date(valve, hours, policy)?;
    // ISO dates sort as they run.
    let past = valve.today.is_some_and(|today| date < calendar::iso(today));
    Some(if past { format!("{PAST}{date}") } else { date })
}

/// The date at which the engine's meter will show `hours`, as ISO 8601; None where no hours a week or no dated reading is known, or the date
/// is more than twenty years away.
pub(super) fn date(valve: &ValveForecast, hours: f64, policy: Option<&Policy>) -> Option<String> {
    let last = valve.newest?.day;
    let days = (hours - valve.hours).max(0.0) / hours_a_week(valve, policy)? * 7.0;
    (days.is_finite() && days <= FAR).then(|| calendar::iso(last.saturating_add(days.round() as i32)))
}
