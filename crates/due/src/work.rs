//! What is to be done to an engine once its shaft is off.
//!
//! The whole shaft comes off, so a valve left as it is waits for the next time. Done are the valves most likely to have entered, as few as
//! keep the chance of all the others together below the risk until the following window.

use crate::engine::Outlooked;
use crate::result::{Cause, Correction, ValveWork};
use std::collections::BTreeMap;

/// Causes with less than this share of their valve's chance are left out.
const LEAST_CAUSE: f64 = 0.1;

/// The aim of a valve's offset.
#[derive(Clone, Copy)]
pub(crate) struct Aims<'a> {
    /// Feature that shims correct, by index into the trend's features; None where it is not planned by.
    pub(crate) feature: Option<usize>,
    /// By valve name; else the default.
    pub(crate) by_valve: &'a BTreeMap<String, f64>,
    pub(crate) default: Option<f64>,
    /// Names of the trend's features.
    pub(crate) features: &'a [&'a str],
}

/// A visit of an engine to the workshop.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Visit {
    /// The day.
    pub(crate) then: i32,
    /// The day by which the next one is over.
    pub(crate) following: i32,
    /// Valves done at least: an engine that takes a place has its likeliest valve done.
    pub(crate) at_least: usize,
}

/// The valves to do so that the rest stays below `risk` until the next visit, the most likely first.
pub(crate) fn work(engine: &Outlooked, visit: Visit, risk: f64, aims: Aims<'_>) -> Vec<ValveWork> {
    let valves = engine.machine.valves.len();
    let mut order: Vec<(usize, f64)> = (0..valves).map(|v| (v, engine.valve_chance(v, visit.following))).collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let left = |chosen: usize| {
        engine.average(visit.following, |h| {
            1.0 - order[chosen..].iter().map(|(v, _)| 1.0 - engine.valve[*v].at(h)).product::<f64>()
        })
    };
    let mut chosen = visit.at_least.min(valves);
    while chosen < valves && left(chosen) >= risk {
        chosen += 1;
    }
    order[..chosen].iter().map(|&(v, by_following)| valve_work(engine, v, visit, by_following, aims)).collect()
}

fn valve_work(engine: &Outlooked, valve: usize, visit: Visit, by_following: f64, aims: Aims<'_>) -> ValveWork {
    let parts = || engine.machine.parts.iter().enumerate().filter(|(_, p)| p.valve == valve);
    let mut causes: Vec<Cause> = parts()
        .map(|(k, p)| Cause {
            feature: aims.features[p.feature].to_owned(),
            chance: engine.part_chance(k, visit.following),
        })
        .filter(|c| c.chance >= LEAST_CAUSE * by_following)
        .collect();
    causes.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    let name = &engine.machine.valves[valve].name;
    let target = aims.by_valve.get(name).copied().or(aims.default);
    // Shims move the rocker; what has worn they do not mend.
    let offset_name = aims.feature.map(|f| aims.features[f]);
    let by_shims = causes.iter().any(|c| Some(c.feature.as_str()) == offset_name);
    let renew = causes.iter().map(|c| &c.feature).filter(|f| Some(f.as_str()) != offset_name).cloned().collect();
    let offset = parts().map(|(_, p)| p).find(|p| by_shims && Some(p.feature) == aims.feature);
    ValveWork {
        valve: name.clone(),
        chance_then: engine.valve_chance(valve, visit.then),
        chance_by_following: by_following,
        causes,
        renew,
        correction: offset.zip(target).map(|(p, target)| {
            let value = |h: f64| p.prospect.value_at(p.behind + h);
            let mean = engine.average(visit.then, |h| value(h).0);
            // Law of total variance over the hours run.
            let var = engine.average(visit.then, |h| value(h).1.powi(2) + (value(h).0 - mean).powi(2));
            Correction { mean: target - mean, sd: var.sqrt(), expected: mean, target }
        }),
    }
}
