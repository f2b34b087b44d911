//! What the reader must know of a plan.

use crate::calendar::Calendar;
use crate::result::{DueWarning, EngineDue, UsageDifference};
use packdrift_trend::{Policy, TrendResult, UsageSource};

/// Readings older than this on the day of the plan are pointed out, days.
const OLD: i32 = 550;

pub(crate) fn warnings(
    trend: &TrendResult,
    policy: &Policy,
    dues: &[EngineDue],
    calendar: &Calendar,
) -> Vec<DueWarning> {
    let mut out = Vec::new();
    for f in trend.features.iter().filter(|f| f.limits.is_some() && f.model.is_none()) {
        out.push(DueWarning::NotForecast { feature: f.feature.clone() });
    }
    of_usage(policy, dues, &mut out);
    let mut old: Vec<(String, i32)> =
        dues.iter().map(|d| (d.engine.clone(), calendar.today - d.last_day)).filter(|(_, days)| *days > OLD).collect();
    old.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    if !old.is_empty() {
        out.push(DueWarning::ReadLongAgo { engines: old, days: OLD });
    }
    of_windows(dues, calendar, &mut out);
    if policy.cost.is_some_and(|c| c.failure <= c.planned) {
        out.push(DueWarning::NoIncentive);
    }
    out
}

fn of_usage(policy: &Policy, dues: &[EngineDue], out: &mut Vec<DueWarning>) {
    let unknown: Vec<String> = dues.iter().filter(|d| d.usage.is_none()).map(|d| d.engine.clone()).collect();
    if !unknown.is_empty() {
        out.push(DueWarning::UsageUnknown { engines: unknown });
    }
    let of_fleet = |d: &&EngineDue| d.usage.is_some_and(|u| u.source == UsageSource::Fleet);
    if let Some(usage) = dues.iter().find(of_fleet).and_then(|d| d.usage) {
        out.push(DueWarning::FleetUsage {
            engines: dues.iter().filter(of_fleet).map(|d| d.engine.clone()).collect(),
            hours_a_week: usage.hours_a_week,
            standard_error: usage.standard_error,
        });
    }
    if let Some(hours_a_week) = policy.usage_default
        && !dues.iter().any(|d| d.usage.is_some_and(|u| u.source == UsageSource::PolicyDefault))
    {
        out.push(DueWarning::DefaultUnused { hours_a_week });
    }
    let differing: Vec<UsageDifference> = dues
        .iter()
        .filter_map(|d| {
            let usage = d.usage.filter(|u| u.source == UsageSource::PolicyForEngine)?;
            let (meter, standard_error) = usage.measured?;
            let policy = usage.hours_a_week;
            let differs = (policy - meter).abs() > (3.0 * standard_error).max(0.2 * meter);
            differs.then(|| UsageDifference { engine: d.engine.clone(), policy, meter, standard_error })
        })
        .collect();
    if !differing.is_empty() {
        out.push(DueWarning::UsageDiffers { engines: differing });
    }
}

fn of_windows(dues: &[EngineDue], calendar: &Calendar, out: &mut Vec<DueWarning>) {
    if !calendar.past.is_empty() {
        out.push(DueWarning::WindowsPast { windows: calendar.past.iter().map(|w| (w.start, w.end)).collect() });
    }
    let (repeated, overlapping) = (calendar.repeated(), calendar.overlapping());
    if !repeated.is_empty() {
        out.push(DueWarning::WindowsRepeat { windows: repeated });
    }
    if !overlapping.is_empty() {
        out.push(DueWarning::WindowsOverlap { pairs: overlapping });
    }
    let Some(first) = calendar.windows.first().map(|w| w.start) else {
        out.push(DueWarning::NoWindows);
        return;
    };
    let names = |wanted: &dyn Fn(&EngineDue, i32) -> bool| -> Vec<String> {
        let behind =
            |d: &&EngineDue| !d.at_once && d.usage.is_some() && d.due.is_some_and(|due| due < d.done && wanted(d, due));
        dues.iter().filter(behind).map(|d| d.engine.clone()).collect()
    };
    let past = names(&|d, _| d.status.is_past());
    let before = names(&|d, due| !d.status.is_past() && due < first);
    let lacking = names(&|d, due| !d.status.is_past() && due >= first);
    for (engines, warning) in [
        (past, (|engines| DueWarning::LateInWindows { engines }) as fn(Vec<String>) -> DueWarning),
        (before, |engines| DueWarning::BeforeWindows { engines }),
        (lacking, |engines| DueWarning::PlacesLacking { engines }),
    ] {
        if !engines.is_empty() {
            out.push(warning(engines));
        }
    }
}
