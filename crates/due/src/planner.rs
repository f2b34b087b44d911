//! A fleet put together once, and planned: as the policy says, and under scenarios.

use crate::anew::anew;
use crate::calendar::{Calendar, iso};
use crate::engine::Outlooked;
use crate::error::DueError;
use crate::fresh::{FreshCurves, intervals};
use crate::machine::{Machine, Sources, machines};
use crate::months::{months, on_days};
use crate::options::DueOptions;
use crate::order::{order, step};
use crate::plan::{Planning, fill};
use crate::price::Pricing;
use crate::result::{
    ChancePoint, Comparison, DueResult, EngineDue, EngineStatus, NoDate, Plan, ScenarioAnswer, ValveToday,
};
use crate::scenario::Scenario;
use crate::verdict::{Judging, chances_of_being_first, judge, valves_today};
use crate::warnings::warnings;
use crate::work::Aims;
use packdrift_trend::{Inspections, Meter, Policy, Status, TrendResult, Usage, meters, usages};
use rayon::prelude::*;
use std::borrow::Cow;
use std::sync::atomic::{AtomicU64, Ordering};

/// Told how many engines of how many are put together.
pub type Progress<'a> = &'a (dyn Fn(u64, u64) + Sync);

/// A fleet put together: every engine's chances over its hours. That is most of the work of a plan, and scenarios share it.
pub struct Planner<'a> {
    table: &'a Inspections,
    trend: &'a TrendResult,
    policy: &'a Policy,
    options: &'a DueOptions,
    scenarios: &'a [Scenario],
    meters: Vec<Meter>,
    usages: Vec<Option<Usage>>,
    names: Vec<&'a str>,
    features: Vec<usize>,
    today: i32,
    engines: Vec<Outlooked>,
    fresh: FreshCurves,
}

impl<'a> Planner<'a> {
    /// Puts a fleet together. `trend` is what [`trend`](packdrift_trend::trend) found in `table` with the same `policy`.
    ///
    /// # Errors
    /// [`DueError`]: nothing to plan by, a day before the last reading, an engine said to be worked on that cannot be, a scenario that names
    /// what is not there.
    pub fn new(
        table: &'a Inspections,
        trend: &'a TrendResult,
        policy: &'a Policy,
        options: &'a DueOptions,
        scenarios: &'a [Scenario],
        progress: Progress<'_>,
    ) -> Result<Self, DueError> {
        for s in &options.starts {
            if !(s.mean.is_finite() && s.sd >= 0.0 && s.sd.is_finite()) {
                return Err(DueError::Start { valve: s.valve.clone(), mean: s.mean, sd: s.sd });
            }
        }
        let last = table.day.iter().copied().max().unwrap_or(0);
        let today = options.today.unwrap_or_else(|| options.built.iter().map(|b| b.day).fold(last, i32::max));
        if today < last {
            return Err(DueError::BeforeReadings { today, last });
        }
        let meters = meters(table);
        let usages = usages(&table.engines, &meters, policy);
        let sources = Sources { table, trend, policy, options, meters: &meters, usages: &usages, today };
        let features = sources.features();
        if features.is_empty() {
            return Err(DueError::NothingForecast);
        }
        let machines = machines(&sources)?;
        let engine_names: Vec<&str> = machines.iter().map(|m| m.name.as_str()).collect();
        for scenario in scenarios {
            if let Some(reason) = scenario.refusal(&engine_names, policy, today) {
                return Err(DueError::Scenario { scenario: scenario.name.clone(), reason });
            }
        }
        let engines = tabulated(machines, policy.horizon, scenarios, progress);
        let fresh = FreshCurves::of(&sources, &engines, policy.cost.is_some());
        let names = trend.features.iter().map(|f| f.feature.as_str()).collect();
        Ok(Self { table, trend, policy, options, scenarios, meters, usages, names, features, today, engines, fresh })
    }

    /// The plan as the policy says.
    pub fn plan(&self) -> DueResult {
        let calendar = Calendar::of(self.policy, self.today, None);
        let until = calendar.end;
        self.planned(&Setting { policy: Cow::Borrowed(self.policy), calendar, until, scenario: None })
    }

    /// Today's plan beside the scenarios.
    pub fn compare(&self) -> Comparison {
        let today = Calendar::of(self.policy, self.today, None);
        // What is dropped at the end must not let the plan end sooner, with room for everybody.
        let calendars: Vec<(Policy, Calendar)> = self
            .scenarios
            .iter()
            .map(|s| {
                let policy = s.policy(self.policy);
                let calendar = Calendar::of(&policy, self.today, Some(today.end));
                (policy, calendar)
            })
            .collect();
        let until = calendars.iter().map(|(_, c)| c.end).fold(today.end, i32::max);
        let setting = |policy, calendar, scenario| Setting { policy, calendar, until, scenario };
        Comparison {
            until,
            today: self.planned(&setting(Cow::Borrowed(self.policy), today, None)),
            scenarios: self
                .scenarios
                .iter()
                .zip(calendars)
                .map(|(scenario, (policy, calendar))| ScenarioAnswer {
                    name: scenario.name.clone(),
                    changes: scenario.changes.iter().map(ToString::to_string).collect(),
                    result: self.planned(&setting(Cow::Owned(policy), calendar, Some(scenario))),
                })
                .collect(),
        }
    }

    fn planned(&self, setting: &Setting<'_>) -> DueResult {
        let (policy, calendar): (&Policy, &Calendar) = (&setting.policy, &setting.calendar);
        let engines = self.engines_under(setting.scenario);
        let judging = Judging {
            policy,
            today: self.today,
            as_trend: setting.scenario.is_none_or(|s| !s.judges_anew()),
            same_day: self.trend.today == Some(self.today),
            features: &self.names,
        };
        let mut dues: Vec<EngineDue> = engines.par_iter().map(|e| engine_due(e, judging)).collect();
        let (intervals, kind_of) = intervals(&engines, &self.fresh, &self.features, policy);
        let rates: Vec<f64> = kind_of.iter().map(|k| intervals.get(*k).map_or(0.0, |i| i.rate)).collect();
        let offset = self.features.iter().copied().find(|f| self.names[*f] == self.options.offset_feature);
        let limits = offset.and_then(|f| self.trend.features[f].limits.as_ref());
        let unit = limits.map_or_else(String::new, |l| l.unit.clone());
        let middle = limits.and_then(|l| Some(0.5 * (l.lower? + l.upper?)));
        let default = self.options.target.or(middle);
        let names: Vec<&str> = engines.iter().map(|e| e.machine.name.as_str()).collect();
        let planning = Planning {
            pricing: Pricing { calendar, policy, until: setting.until },
            rates: &rates,
            aims: Aims { feature: offset, by_valve: &self.options.targets, default, features: &self.names },
            fresh: &self.fresh,
            pins: &setting.scenario.map_or(vec![None; engines.len()], |s| s.pins(&names, &calendar.windows)),
            delays: &setting.scenario.map_or(vec![0; engines.len()], |s| s.delays(&names)),
            late_in_windows: self.options.late_in_windows,
            step: step(&unit),
        };
        let mut plan = fill(&engines, &mut dues, planning);
        for (due, engine) in dues.iter_mut().zip(engines.iter()) {
            due.chance_by_window = calendar.windows.iter().map(|w| engine.chance(w.end)).collect();
        }
        let months = months(&engines, &dues, &self.fresh, &self.names, calendar, self.options.months);
        let until = on_days(&engines, &dues, &self.fresh, &self.names, &[setting.until]);
        self.add_curves(&engines, &mut dues, calendar);
        let warnings = warnings(self.trend, policy, &dues, calendar);
        let order = order(&dues, calendar.end, step(&unit));
        let late_in_windows = self.options.late_in_windows;
        let anew =
            (setting.scenario.is_none()).then(|| anew(&engines, &dues, &rates, calendar, policy.cost, late_in_windows));
        sort(&mut dues, &mut plan);
        DueResult {
            today: self.today,
            risk: policy.risk,
            horizon: policy.horizon,
            offset_feature: self.options.offset_feature.clone(),
            unit,
            cost_unit: policy.cost_unit.clone(),
            valves: dues.iter().map(|d| d.valves).sum(),
            anew,
            engines: dues,
            plan,
            months,
            until: until.into_iter().next(),
            order,
            intervals: intervals.into_iter().map(|i| i.interval).collect(),
            warnings,
        }
    }

    /// The engines as they run under a scenario.
    fn engines_under(&self, scenario: Option<&Scenario>) -> Cow<'_, [Outlooked]> {
        let Some(scenario) = scenario.filter(|s| s.judges_anew()) else { return Cow::Borrowed(&self.engines) };
        let mut engines = self.engines.clone();
        for engine in &mut engines {
            engine.machine.usage = engine.machine.usage.map(|today| scenario.usage_of(&engine.machine.name, today));
        }
        Cow::Owned(engines)
    }

    fn add_curves(&self, engines: &[Outlooked], dues: &mut [EngineDue], calendar: &Calendar) {
        if dues.len() > self.options.curves_up_to {
            return;
        }
        for (due, engine) in dues.iter_mut().zip(engines) {
            due.curve = (0..=52)
                .map(|k| self.today + (calendar.end - self.today) * k / 52)
                .map(|day| ChancePoint { day, chance: engine.chance(day) })
                .collect();
        }
    }
}

impl std::fmt::Debug for Planner<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (table, meters, usages) = (self.table.engines.len(), self.meters.len(), self.usages.len());
        let of = format!("{} of {table} engines, {meters} meters, {usages} usages", self.engines.len());
        f.debug_struct("Planner").field("today", &iso(self.today)).field("engines", &of).finish_non_exhaustive()
    }
}

/// What one plan is made under.
struct Setting<'a> {
    policy: Cow<'a, Policy>,
    calendar: Calendar,
    /// Costs and valves in the zone are counted until this day.
    until: i32,
    scenario: Option<&'a Scenario>,
}

/// Every engine with its chances tabulated, as far as any scenario may have it run in ten years.
fn tabulated(machines: Vec<Machine>, horizon: f64, scenarios: &[Scenario], progress: Progress<'_>) -> Vec<Outlooked> {
    let (total, done) = (machines.len() as u64, AtomicU64::new(0));
    machines
        .into_par_iter()
        .map(|machine| {
            let faster = scenarios.iter().map(|s| s.fastest(&machine.name, machine.usage)).fold(1.0, f64::max);
            let engine = Outlooked::of(machine, horizon, faster);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, total);
            engine
        })
        .collect()
}

/// An engine's date and urgency; its place is for the plan to say.
fn engine_due(engine: &Outlooked, judging: Judging<'_>) -> EngineDue {
    let Judging { policy, today, .. } = judging;
    let m = &engine.machine;
    let valves = valves_today(engine, judging);
    let overdue = valves.iter().any(|v| v.status == Status::Overdue);
    let latest = engine.latest_day(policy.risk).filter(|_| !m.parts.is_empty());
    // What was measured goes before what was fitted: a valve read in its zone has no latest date to come.
    let due = if overdue { Some(latest.filter(|day| *day < today).unwrap_or(m.last_day - 1)) } else { latest };
    let chance_by_horizon = engine.average(today, |h| engine.any.at(h + policy.horizon));
    let (status, verdict) = judge(engine, &valves, due, chance_by_horizon, judging);
    let (run, variance) = m.usage.map_or((0.0, 0.0), |u| u.hours_in(f64::from(today - m.last_day)));
    let (first_valve, first_feature) = first(engine, &valves, judging);
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
        first_valve,
        first_feature,
        due_hours: engine.any.hours_to(policy.risk).map(|h| m.last_hours + h),
        due,
        no_date: match (due, m.usage) {
            (Some(_), _) => None,
            (None, _) if m.parts.is_empty() => Some(NoDate::NotForecast),
            (None, None) => Some(NoDate::UsageUnknown),
            (None, Some(_)) => Some(NoDate::NotWithinReach),
        },
        status,
        verdict,
        today: valves,
        window: None,
        because: None,
        at_once: false,
        done: today,
        days_late: 0,
        chance_then: engine.chance(today),
        work: Vec::new(),
        chance_by_window: Vec::new(),
        look: None,
        curve: Vec::new(),
    }
}

/// The valve most likely to be the first to enter, and its feature; one that is overdue by what was read goes before.
fn first(engine: &Outlooked, valves: &[ValveToday], judging: Judging<'_>) -> (String, String) {
    let m = &engine.machine;
    let chance = chances_of_being_first(engine);
    let overdue = |valve: usize| valves.iter().any(|v| v.valve == m.valves[valve].name && v.status == Status::Overdue);
    (0..m.parts.len())
        .max_by(|&a, &b| {
            let key = |p: usize| overdue(m.parts[p].valve);
            key(a).cmp(&key(b)).then(chance[a].total_cmp(&chance[b])).then(b.cmp(&a))
        })
        .map(|p| (m.valves[m.parts[p].valve].name.clone(), judging.features[m.parts[p].feature].to_owned()))
        .unwrap_or_default()
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
