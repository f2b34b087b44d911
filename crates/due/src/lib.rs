//! When each engine is due for re-shimming, in which service window, with which corrections.
//!
//! From a [`packdrift_trend::TrendResult`] (each valve's future) and the meter readings (each engine's pace) to a latest date for each
//! engine, to a plan that fills the service windows, to the corrections it asks of the drawer, and to the interval that is cheapest in the
//! long run. Steps, in the order of the data: [`packdrift_trend::usages`] hours a week, [`machine`] the fleet put together, [`curve`] chance over hours,
//! [`engine`] chance over days and the latest date, [`windows`] the assignment, [`demand`] valves and corrections, [`plan`] all of these
//! joined, [`interval`] the age-replacement argument.

mod curve;
mod demand;
mod engine;
mod error;
mod interval;
mod machine;
mod plan;
mod result;
mod windows;

pub use error::DueError;
pub use packdrift_trend::{Usage, UsageSource};
pub use result::{
    Cause, ChancePoint, Correction, CostPoint, Criterion, DemandStep, DueResult, DueWarning, EngineDue, EngineStatus,
    Interval, Month, NoDate, Plan, PlannedWindow, ValveWork,
};

use curve::{Curves, Part};
use demand::Aims;
use engine::Outlooked;
use machine::{Fresh, machines};
use packdrift_trend::Inspections;
use packdrift_trend::Policy;
use packdrift_trend::TrendResult;
use packdrift_trend::{meters, usages};
use plan::Calendar;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The contact offset a valve starts with after it was built or re-shimmed: from the stack's spread.
#[derive(Debug, Clone, PartialEq)]
pub struct StartingOffset {
    /// Valve name.
    pub valve: String,
    /// Mean, in the offset feature's unit.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// An engine that was built or re-shimmed and has not been read since. One that the inspections do not know runs the policy's hours a week
/// for its name, else the fleet's mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Built {
    /// Engine name.
    pub engine: String,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Only the shims were changed: the offset starts anew, all other wear goes on. False: all parts are new.
    pub shims_only: bool,
}

/// What a planner may ask.
#[derive(Debug, Clone, PartialEq)]
pub struct DueOptions {
    /// The day the plan is made, days since 1970-01-01; None: the day of the last reading in the table, so that the same files give the
    /// same plan on any day.
    pub today: Option<i32>,
    /// The feature that shims correct.
    pub offset_feature: String,
    /// The aim of the offset by valve name, where it is not [`Self::target`].
    pub targets: BTreeMap<String, f64>,
    /// The aim of the offset; None: the middle of its limits.
    pub target: Option<f64>,
    /// Starting offsets from the stack; empty: the fleet's own fitted starts.
    pub starts: Vec<StartingOffset>,
    /// Engines built or re-shimmed and not read since.
    pub built: Vec<Built>,
    /// Engines whose latest day has passed wait for a window, in which they take the first places. Otherwise they are done on the day of
    /// the plan and take no place: a valve that is in its damage zone by more than the accepted chance is not left running to suit a
    /// calendar.
    pub late_in_windows: bool,
    /// Months of the outlook.
    pub months: usize,
    /// Largest number of engines for which the chance over time is kept for figures.
    pub curves_up_to: usize,
}

impl Default for DueOptions {
    fn default() -> Self {
        Self {
            today: None,
            offset_feature: "contact_offset".into(),
            targets: BTreeMap::new(),
            target: None,
            starts: Vec::new(),
            built: Vec::new(),
            late_in_windows: false,
            months: 24,
            curves_up_to: 400,
        }
    }
}

/// Readings older than this on the day of the plan are pointed out, days.
const OLD: i32 = 550;

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
    for s in &options.starts {
        if !(s.mean.is_finite() && s.sd >= 0.0 && s.sd.is_finite()) {
            return Err(DueError::Start { valve: s.valve.clone(), mean: s.mean, sd: s.sd });
        }
    }
    let features = machine::features(trend);
    if features.is_empty() {
        return Err(DueError::NothingForecast);
    }
    let last = table.day.iter().copied().max().unwrap_or(0);
    let today = options.today.unwrap_or_else(|| options.built.iter().map(|b| b.day).fold(last, i32::max));
    if today < last {
        return Err(DueError::BeforeReadings { today, last });
    }
    let calendar = Calendar::of(policy, today);
    let meters = meters(table);
    let usages = usages(&table.engines, &meters, policy);
    let fresh = Fresh { trend, starts: &options.starts, offset_feature: &options.offset_feature };
    let machines = machines(table, trend, &meters, &usages, &fresh, policy, options, today)?;
    let engines: Vec<Outlooked> = machines.into_par_iter().map(|m| Outlooked::of(m, policy)).collect();
    let names: Vec<&str> = trend.features.iter().map(|f| f.feature.as_str()).collect();

    let mut dues: Vec<EngineDue> = engines.par_iter().map(|e| engine_due(e, policy, today)).collect();
    for due in &mut dues {
        // Without usage there is no chance by date, but what is in the zone already is.
        due.at_once = !options.late_in_windows && due.status.is_past();
    }
    let (kinds, kind_of) = kinds(&engines);
    let intervals: Vec<interval::Found> = match policy.cost {
        Some(costs) => kinds
            .par_iter()
            .map(|kind| {
                let parts = fresh_parts(&fresh, &features, &kind.valves);
                let reach = kind.reach;
                let curve = Curves::of(&parts, kind.valves.len(), reach).any;
                interval::cheapest(kind.name(), kind.engines, costs, policy.risk, reach, |h| curve.at(h))
            })
            .collect(),
        None => Vec::new(),
    };
    let rates: Vec<f64> = kind_of.iter().map(|k| intervals.get(*k).map_or(0.0, |i| i.rate)).collect();

    let offset = features.iter().copied().find(|f| trend.features[*f].feature == options.offset_feature);
    let limits = offset.and_then(|f| trend.features[f].limits.as_ref());
    let middle = limits.and_then(|l| Some(0.5 * (l.lower? + l.upper?)));
    let aims = Aims { feature: offset, by_valve: &options.targets, default: options.target.or(middle) };
    let mut plan = plan::fill(&engines, &mut dues, &calendar, policy, &rates, &aims, &names)?;
    let months = plan::months(&engines, &dues, &calendar, options.months, |engine, valve, work| {
        let (name, group) = &engine.machine.valves[valve];
        // Shims renew the offset, new parts what they are named after; all else goes on.
        let renewed = |f: usize| work.causes.iter().any(|c| c.feature == names[f]);
        let done: Vec<usize> = features.iter().copied().filter(|f| renewed(*f)).collect();
        let parts = fresh_parts(&fresh, &done, &[(name.clone(), group.clone())]);
        let own = engine.machine.parts.iter().enumerate().filter(|(_, p)| p.valve == valve && !renewed(p.feature));
        let going_on = own.map(|(k, _)| k).collect();
        (!parts.is_empty()).then(|| (Curves::of(&parts, 1, engine.any.reach()).any, going_on))
    });
    if dues.len() <= options.curves_up_to {
        for (due, engine) in dues.iter_mut().zip(&engines) {
            due.curve = (0..=52)
                .map(|k| today + (calendar.end - today) * k / 52)
                .map(|day| ChancePoint { day, chance: engine.chance(day) })
                .collect();
        }
    }
    let warnings = warnings(trend, policy, &dues, &calendar);
    sort(&mut dues, &mut plan);
    Ok(DueResult {
        today,
        risk: policy.risk,
        horizon: policy.horizon,
        offset_feature: options.offset_feature.clone(),
        unit: limits.map_or_else(String::new, |l| l.unit.clone()),
        valves: dues.iter().map(|d| d.valves).sum(),
        engines: dues,
        plan,
        months,
        intervals: intervals.into_iter().map(|i| i.interval).collect(),
        warnings,
    })
}

fn engine_due(engine: &Outlooked, policy: &Policy, today: i32) -> EngineDue {
    let m = &engine.machine;
    let due = engine.latest_day(policy.risk);
    let (run, variance) = m.usage.map_or((0.0, 0.0), |u| u.hours_in(f64::from(today - m.last_day)));
    let chance_by_horizon = engine.average(today, |h| engine.any.at(h + policy.horizon));
    let first = (0..m.valves.len())
        .map(|v| (v, engine.average(today, |h| engine.valve[v].at(h + policy.horizon))))
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
        .map_or(0, |v| v.0);
    EngineDue {
        engine: m.name.clone(),
        last_day: m.last_day,
        last_hours: m.last_hours,
        hours: m.last_hours + run,
        hours_sd: variance.sqrt(),
        usage: m.usage,
        valves: m.valves.len(),
        not_read: m.not_read,
        chance_now: engine.chance(today),
        chance_by_horizon,
        first_valve: m.valves.get(first).map_or_else(String::new, |v| v.0.clone()),
        due_hours: engine.any.hours_to(policy.risk).map(|h| m.last_hours + h),
        due,
        no_date: match (due, m.usage) {
            (Some(_), _) => None,
            (None, None) => Some(NoDate::UsageUnknown),
            (None, Some(_)) => Some(NoDate::NotWithinReach),
        },
        status: engine.status(due, chance_by_horizon, policy, today),
        window: None,
        at_once: false,
        done: today,
        chance_then: engine.chance(today),
        work: Vec::new(),
        curve: Vec::new(),
    }
}

/// Engines with the same valves share an interval.
struct Kind {
    valves: Vec<(String, String)>,
    engines: usize,
    reach: f64,
}

impl Kind {
    /// `2 exhaust, 2 intake`, or `4 valves` where there are no groups.
    fn name(&self) -> String {
        let mut groups: BTreeMap<&str, usize> = BTreeMap::new();
        for (_, group) in &self.valves {
            *groups.entry(group).or_default() += 1;
        }
        let parts: Vec<String> =
            groups.iter().map(|(g, n)| if g.is_empty() { format!("{n} valves") } else { format!("{n} {g}") }).collect();
        parts.join(", ")
    }
}

/// The kinds of engines, and which each is of.
fn kinds(engines: &[Outlooked]) -> (Vec<Kind>, Vec<usize>) {
    let mut kinds: Vec<Kind> = Vec::new();
    let mut index: BTreeMap<Vec<(String, String)>, usize> = BTreeMap::new();
    let of = engines
        .iter()
        .map(|e| {
            let mut valves = e.machine.valves.clone();
            valves.sort();
            let k = *index.entry(valves.clone()).or_insert_with(|| {
                kinds.push(Kind { valves, engines: 0, reach: 0.0 });
                kinds.len() - 1
            });
            kinds[k].engines += 1;
            kinds[k].reach = kinds[k].reach.max(e.any.reach());
            k
        })
        .collect();
    (kinds, of)
}

/// An engine as new, by all features.
fn fresh_parts(fresh: &Fresh<'_>, features: &[usize], valves: &[(String, String)]) -> Vec<Part> {
    let mut out = Vec::new();
    for &feature in features {
        for (valve, (name, group)) in valves.iter().enumerate() {
            if let Some(prospect) = fresh.prospect(feature, name, group) {
                out.push(Part { valve, feature, prospect, behind: 0.0 });
            }
        }
    }
    out
}

/// The most urgent first: overdue, late, then by latest day, then by chance; engines without a date last. The plan's indices follow.
fn sort(dues: &mut Vec<EngineDue>, plan: &mut Plan) {
    let key = |d: &EngineDue| (d.status.min(EngineStatus::Due), d.due.unwrap_or(i32::MAX));
    let mut order: Vec<usize> = (0..dues.len()).collect();
    order.sort_by(|&a, &b| {
        let (a, b) = (&dues[a], &dues[b]);
        key(a)
            .cmp(&key(b))
            .then(b.chance_by_horizon.total_cmp(&a.chance_by_horizon))
            .then_with(|| a.engine.cmp(&b.engine))
    });
    let mut place = vec![0; order.len()];
    for (new, old) in order.iter().enumerate() {
        place[*old] = new;
    }
    let mut sorted: Vec<Option<EngineDue>> = std::mem::take(dues).into_iter().map(Some).collect();
    *dues = order.iter().filter_map(|old| sorted[*old].take()).collect();
    for window in &mut plan.windows {
        for e in &mut window.engines {
            *e = place[*e];
        }
        window.engines.sort_unstable();
    }
}

fn warnings(trend: &TrendResult, policy: &Policy, dues: &[EngineDue], calendar: &Calendar) -> Vec<DueWarning> {
    let mut out = Vec::new();
    for f in trend.features.iter().filter(|f| f.limits.is_some() && f.model.is_none()) {
        out.push(DueWarning::NotForecast { feature: f.feature.clone() });
    }
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
    for d in dues {
        if let Some(u) = &d.usage
            && let Some((meter, standard_error)) = u.measured
            && u.source == UsageSource::PolicyForEngine
            && (u.hours_a_week - meter).abs() > (3.0 * standard_error).max(0.2 * meter)
        {
            out.push(DueWarning::UsageDiffers {
                engine: d.engine.clone(),
                policy: u.hours_a_week,
                meter,
                standard_error,
            });
        }
        if calendar.today - d.last_day > OLD {
            out.push(DueWarning::ReadLongAgo { engine: d.engine.clone(), days: calendar.today - d.last_day });
        }
    }
    if calendar.past > 0 {
        out.push(DueWarning::WindowsPast { windows: calendar.past });
    }
    if calendar.windows.is_empty() {
        out.push(DueWarning::NoWindows);
    } else {
        let names = |wanted: &dyn Fn(&EngineDue, i32) -> bool| -> Vec<String> {
            let behind = |d: &&EngineDue| {
                !d.at_once && d.usage.is_some() && d.due.is_some_and(|due| due < d.done && wanted(d, due))
            };
            dues.iter().filter(behind).map(|d| d.engine.clone()).collect()
        };
        let first = calendar.windows[0].start;
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
    if policy.cost.is_some_and(|c| c.failure <= c.planned) {
        out.push(DueWarning::NoIncentive);
    }
    out
}
