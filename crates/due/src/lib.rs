//! When each engine is due for work on its valve train, in which service window, with which corrections and new parts.
//!
//! From a [`packdrift_trend::TrendResult`] (each valve's future) and the meter readings (each engine's pace) to a latest date for each
//! engine, to a plan that fills the service windows, to the order of parts, to the next look, and to the interval that is cheapest in the
//! long run. [`due`] makes one plan; a [`Planner`] puts the fleet together once and plans it under [`Scenario`]s too.
//!
//! In the order of the data: [`packdrift_trend::usages`] hours a week, [`machine`] the fleet put together, [`curve`] chance over hours,
//! [`engine`] chance over days and the latest date, [`verdict`] how it stands, [`price`] and [`windows`] places, [`work`] valves to do,
//! [`plan`] all of these joined, [`months`] what comes of it, [`look`] when to read next, [`order`] parts, [`fresh`] and [`interval`] the
//! age-replacement argument.
//!
//! This crate reads no files, draws nothing, and does not fit: see `packdrift-records`, `packdrift-report`, `packdrift-trend`.

mod anew;
mod calendar;
mod curve;
mod engine;
mod error;
mod fresh;
mod interval;
mod look;
mod machine;
mod months;
mod options;
mod order;
mod plan;
mod planner;
mod price;
mod result;
mod scenario;
mod verdict;
mod warnings;
mod windows;
mod work;

pub use error::DueError;
pub use options::{Built, DueOptions, StartingOffset};
pub use packdrift_trend::{Usage, UsageSource};
pub use planner::{Planner, Progress};
pub use result::{
    Anew, Cause, ChancePoint, Comparison, Correction, CostPoint, Criterion, DemandStep, DueResult, DueWarning,
    EngineAnew, EngineDue, EngineStatus, Interval, LastReading, Look, LookFor, Month, NoDate, OrderLine, Ordered,
    PlaceReason, Plan, PlannedWindow, ScenarioAnswer, Table, UsageDifference, ValveAnew, ValveToday, ValveWork,
};
pub use scenario::{Change, Scenario};

use packdrift_trend::{Inspections, Policy, TrendResult};

/// Plans a fleet.
///
/// `trend` is what [`trend`](packdrift_trend::trend) found in `table` with the same `policy`.
///
/// # Errors
/// [`DueError`]: nothing to plan by, a day before the last reading, an engine said to be worked on that cannot be, or windows the solver
/// could not fill.
///
/// # Examples
///
/// ```
/// use packdrift_due::{DueOptions, due};
/// use packdrift_trend::{FeatureLimits, Inspections, ModelChoice, Options, Policy, Window, trend};
/// // Three valves of one engine, read four times in a year and a half: 0.02 mm in 1000 h, and 1000 h in 180 days.
/// let mut t = Inspections {
///     engines: vec!["P1".into()],
///     valves: vec![(0, "1 intake".into()), (0, "1 exhaust".into()), (0, "2 intake".into())],
///     features: vec!["contact_offset".into()],
///     ..Inspections::default()
/// };
/// let error = [0.001, -0.002, 0.002, -0.001, 0.0, 0.001, -0.001, 0.002, -0.002, 0.001, 0.0, -0.001];
/// for k in 0..12_u32 {
///     let (valve, visit) = (k % 3, k / 3);
///     t.valve.push(valve);
///     t.day.push(20_000 + 180 * visit as i32);
///     t.hours.push(1000.0 * f64::from(visit));
///     t.feature.push(0);
///     t.value.push(1.0 + 0.01 * f64::from(valve) + 0.02 * f64::from(visit) + error[k as usize]);
///     t.event.push(0);
///     t.group.push(0);
/// }
/// let limits = FeatureLimits { unit: "mm".into(), lower: Some(0.9), upper: Some(1.12), reading_sd: None };
/// let policy = Policy {
///     risk: 0.05,
///     horizon: 2000.0,
///     features: [("contact_offset".to_owned(), limits)].into(),
///     windows: vec![Window { start: 20_700, end: 20_710, engines: 1 }, Window { start: 20_880, end: 20_890, engines: 1 }],
///     ..Policy::default()
/// };
/// let fit = trend(&t, Some(&policy), &Options { model: ModelChoice::RandomSlope, ..Options::default() })?;
/// let plan = due(&t, &fit, &policy, &DueOptions::default())?;
/// // The highest valve stands at 1.0786 and drifts by 0.0191 in 1000 h: the limit is 2170 h or 391 days ahead. The risk asks for a day before.
/// let engine = &plan.engines[0];
/// let latest = engine.due.unwrap();
/// assert!((20_560..20_540 + 391).contains(&latest), "{latest}");
/// assert!(engine.chance_now < policy.risk);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn due(
    table: &Inspections,
    trend: &TrendResult,
    policy: &Policy,
    options: &DueOptions,
) -> Result<DueResult, DueError> {
    Ok(Planner::new(table, trend, policy, options, &[], &|_, _| {})?.plan())
}
