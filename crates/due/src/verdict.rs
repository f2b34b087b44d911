//! How valves and engines stand on the day of the plan, by the rules of docs/verdicts.md.
//!
//! A valve's word is `trend`'s of the same day: the worst of its features'. Where that word does not hold here (parts renewed since, another
//! usage in a scenario, a trend of another day) it is that of the chance that any of its features enters, or a worse one that the readings
//! themselves say. An engine's is its worst valve's, or that of the chance that any of them enters; an engine whose latest date has passed
//! is late.

use crate::calendar::iso;
use crate::engine::Outlooked;
use crate::result::{EngineStatus, LastReading, ValveToday};
use packdrift_trend::{Policy, Status, status_by_chance};
use packdrift_verdict::{Evidence, Standing, Verdict};

/// By what the fleet is judged.
#[derive(Clone, Copy)]
pub(crate) struct Judging<'a> {
    pub(crate) policy: &'a Policy,
    pub(crate) today: i32,
    /// The policy and the usage are those that `trend` judged by: its word on the chance stands. Elsewhere only what the readings
    /// themselves say of a valve does.
    pub(crate) as_trend: bool,
    /// `trend` judged by the day of the plan: its word is the valve's.
    pub(crate) same_day: bool,
    /// Names of the trend's features.
    pub(crate) features: &'a [&'a str],
}

impl Judging<'_> {
    /// What `trend` says of a part, as far as it holds here.
    fn said(&self, status: Status) -> Option<Status> {
        let of_readings = matches!(status, Status::Overdue | Status::ReadAgain | Status::NotShown);
        (self.as_trend || of_readings).then_some(status)
    }
}

/// Every valve of an engine, as it stands on the day of the plan.
pub(crate) fn valves_today(engine: &Outlooked, judging: Judging<'_>) -> Vec<ValveToday> {
    let m = &engine.machine;
    let first = chances_of_being_first(engine);
    (0..m.valves.len())
        .map(|v| {
            let parts = || m.parts.iter().enumerate().filter(move |(_, p)| p.valve == v);
            let chance_now = engine.valve_chance(v, judging.today);
            let chance_by_horizon = engine.average(judging.today, |h| engine.valve[v].at(h + judging.policy.horizon));
            let unforecast = m.unforecast.iter().filter(|(valve, _)| *valve == v).map(|(_, said)| said);
            let all_said = || parts().filter_map(|(_, p)| p.said.as_ref()).chain(unforecast.clone());
            let said = all_said().filter_map(|said| judging.said(said.status)).max();
            let as_said = judging.as_trend && judging.same_day && parts().all(|(_, p)| p.said.is_some());
            let status = match said {
                Some(said) if as_said => said,
                // A valve of which nothing is forecast is not shown to be fit.
                None if parts().next().is_none() => Status::NotShown,
                _ => {
                    let own = status_by_chance(chance_now, chance_by_horizon, 0.0, judging.policy);
                    said.map_or(own, |said| said.max(own))
                }
            };
            let readings = parts()
                .filter_map(|(_, p)| {
                    p.read.map(|r| LastReading {
                        feature: judging.features[p.feature].to_owned(),
                        day: r.day,
                        hours: r.hours,
                        value: r.value,
                    })
                })
                .collect();
            ValveToday {
                valve: m.valves[v].name.clone(),
                status,
                chance_now,
                chance_by_horizon,
                first: parts().map(|(k, _)| first[k]).sum(),
                readings,
            }
        })
        .collect()
}

/// Chance of each part to be the first of its engine to enter, from the last reading on: Σ ΔF_p·Π_{q≠p} (1 − F_q) over the hours of the
/// grid. What is in the zone already at the last reading has been there the longer, the farther it has drifted beyond its limit: the
/// longest comes first.
pub(crate) fn chances_of_being_first(engine: &Outlooked) -> Vec<f64> {
    let parts = &engine.machine.parts;
    let hours: Vec<f64> = (0..=STEPS).map(|i| engine.any.reach() * (f64::from(i) / f64::from(STEPS)).powi(2)).collect();
    let chance: Vec<Vec<f64>> = engine.part.iter().map(|c| hours.iter().map(|h| c.at(*h)).collect()).collect();
    let inside: Vec<usize> = (0..parts.len()).filter(|p| chance[*p][0] > 0.5).collect();
    if !inside.is_empty() {
        let longest = inside
            .into_iter()
            .max_by(|a, b| hours_inside(engine, *a).total_cmp(&hours_inside(engine, *b)).then(b.cmp(a)))
            .unwrap_or_default();
        return (0..parts.len()).map(|p| f64::from(u8::from(p == longest))).collect();
    }
    let others = |p: usize, i: usize| -> f64 {
        (0..parts.len())
            .filter(|q| *q != p)
            .map(|q| 1.0 - 0.5 * (chance[q][i] + chance[q][i.saturating_sub(1)]))
            .product()
    };
    (0..parts.len())
        .map(|p| {
            let from_start = chance[p][0] * others(p, 0);
            from_start + (1..hours.len()).map(|i| (chance[p][i] - chance[p][i - 1]) * others(p, i)).sum::<f64>()
        })
        .collect()
}

/// Steps of the sum over the hours.
const STEPS: i32 = 64;

/// Hours since a part passed its limit, by its mean and its drift at the last reading.
fn hours_inside(engine: &Outlooked, part: usize) -> f64 {
    let p = &engine.machine.parts[part];
    let (lower, upper) = p.prospect.limits();
    let now = p.prospect.value_at(p.behind).0;
    let drift = p.prospect.value_at(p.behind + 1.0).0 - now;
    let beyond = upper.map(|u| now - u).into_iter().chain(lower.map(|l| l - now)).fold(f64::NEG_INFINITY, f64::max);
    beyond / drift.abs().max(1e-12)
}

/// How an engine stands, and why.
pub(crate) fn judge(
    engine: &Outlooked,
    valves: &[ValveToday],
    due: Option<i32>,
    chance_by_horizon: f64,
    judging: Judging<'_>,
) -> (EngineStatus, Verdict) {
    let m = &engine.machine;
    let mut verdict = by_chance(engine, chance_by_horizon, judging);
    for valve in valves {
        verdict = of_valve(engine, valve, judging).into_iter().fold(verdict, Verdict::and);
    }
    for feature in &m.not_forecast {
        let reason = format!("{}: {} could not be forecast", m.name, judging.features[*feature]);
        verdict = verdict.and(Verdict::not_shown(reason).settled_by(format!("Read {} again.", m.name)));
    }
    if m.parts.is_empty() {
        verdict = verdict.and(Verdict::not_shown(format!("{}: none of its valves could be forecast", m.name)));
    }
    let overdue = valves.iter().any(|v| v.status == Status::Overdue);
    if let Some(due) = due.filter(|due| *due < judging.today && !overdue) {
        verdict = verdict.and(Verdict::adverse(format!("{}: its latest date, {}, has passed", m.name, iso(due))));
    }
    let status = match verdict.standing() {
        _ if overdue => EngineStatus::Overdue,
        _ if due.is_some_and(|due| due < judging.today) => EngineStatus::Late,
        Standing::Adverse => EngineStatus::Due,
        Standing::ReadAgain => EngineStatus::ReadAgain,
        Standing::NotShown => EngineStatus::NotShown,
        Standing::TooCloseToTell => EngineStatus::TooCloseToTell,
        Standing::Watch => EngineStatus::Watch,
        Standing::Shown => EngineStatus::NotYet,
    };
    (status, verdict)
}

/// The chance that any valve enters within the horizon, against the risk. The chance already holds what is not known of wear and usage:
/// it is its own bound.
fn by_chance(engine: &Outlooked, chance: f64, judging: Judging<'_>) -> Verdict {
    let Policy { risk, horizon, .. } = *judging.policy;
    let name = &engine.machine.name;
    let what = format!("chance that a valve of {name} enters its damage zone within {horizon} h");
    // Simulation matters near a threshold only, and costs as much as the chance did.
    let near = (0.25 * risk..2.0 * risk).contains(&chance);
    let error = if near { engine.simulation_error(judging.today, horizon) } else { 0.0 };
    let against = |allowed: f64| Evidence::at_most(what.clone(), allowed).exact(chance).simulation_error(error).judge();
    let verdict = against(risk);
    if !verdict.is_shown() {
        return verdict;
    }
    let not_yet = against(0.5 * risk);
    if not_yet.is_shown() { not_yet } else { Verdict::watch(format!("{what}: above half of the risk")) }
}

/// What a valve adds; nothing where its own chance says it already.
fn of_valve(engine: &Outlooked, valve: &ValveToday, judging: Judging<'_>) -> Option<Verdict> {
    let m = &engine.machine;
    let own = |v: usize| m.valves[v].name == valve.valve;
    let of_parts = m.parts.iter().filter(|p| own(p.valve)).filter_map(|p| p.said.as_ref());
    let mut said = of_parts.chain(m.unforecast.iter().filter(|(v, _)| own(*v)).map(|(_, said)| said));
    let said = said.find(|s| s.status == valve.status && judging.said(s.status).is_some());
    let reason = match said {
        Some(said) => format!("{}, {}: {}", m.name, valve.valve, said.why),
        None => format!("{}, {}: {}", m.name, valve.valve, valve.status.name()),
    };
    let verdict = match valve.status.standing() {
        Standing::Shown => return None,
        Standing::Watch => Verdict::watch(reason),
        Standing::TooCloseToTell => Verdict::too_close(reason),
        Standing::NotShown => Verdict::not_shown(reason),
        Standing::ReadAgain => Verdict::read_again(reason),
        Standing::Adverse => Verdict::adverse(reason),
    };
    Some(match said.and_then(|said| said.settled_by.clone()) {
        Some(what) => verdict.settled_by(what),
        None => verdict,
    })
}
