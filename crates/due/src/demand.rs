//! What is to be done to an engine once its shaft is off, and what that asks of the drawer.
//!
//! The whole shaft comes off, so a valve left as it is waits for the next time. Done are the valves most likely to be first, as few as
//! keep the chance of all the others together below the risk until the following window.

use crate::curve::{Part, joint_chance};
use crate::engine::Outlooked;
use crate::result::{Cause, Correction, DemandStep, ValveWork};
use packdrift_numerics::normal;

/// Width of the steps in which corrections are counted, in the feature's unit: 0.05 mm, the usual step of shim sizes.
const STEP: f64 = 0.05;

/// The aim of a valve's offset.
pub(crate) struct Aims<'a> {
    /// Feature that shims correct, by index into the trend's features; None where it is not planned by.
    pub(crate) feature: Option<usize>,
    /// By valve name; else the default.
    pub(crate) by_valve: &'a std::collections::BTreeMap<String, f64>,
    pub(crate) default: Option<f64>,
}

/// The valves to do on day `then` so that the rest stays below `risk` until day `following`, the most likely first; `at_least` so many: an
/// engine that takes a place because that is cheapest has its likeliest valve done.
pub(crate) fn work(
    engine: &Outlooked,
    then: i32,
    following: i32,
    risk: f64,
    at_least: usize,
    aims: &Aims<'_>,
    feature_names: &[&str],
) -> Vec<ValveWork> {
    let valves = engine.machine.valves.len();
    let mut order: Vec<(usize, f64)> = (0..valves).map(|v| (v, engine.valve_chance(v, following))).collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut chosen = at_least.min(valves);
    while chosen < valves {
        let left: Vec<usize> = order[chosen..].iter().map(|o| o.0).collect();
        let parts: Vec<&Part> = engine.machine.parts.iter().filter(|p| left.contains(&p.valve)).collect();
        if engine.average(following, |h| joint_chance(&parts, h)) < risk {
            break;
        }
        chosen += 1;
    }
    order[..chosen]
        .iter()
        .map(|&(v, by_following)| valve_work(engine, v, then, following, by_following, aims, feature_names))
        .collect()
}

fn valve_work(
    engine: &Outlooked,
    valve: usize,
    then: i32,
    following: i32,
    by_following: f64,
    aims: &Aims<'_>,
    feature_names: &[&str],
) -> ValveWork {
    let parts = || engine.machine.parts.iter().enumerate().filter(|(_, p)| p.valve == valve);
    let mut causes: Vec<Cause> = parts()
        .map(|(k, p)| Cause { feature: feature_names[p.feature].to_owned(), chance: engine.part_chance(k, following) })
        .filter(|c| c.chance >= 0.1 * by_following)
        .collect();
    causes.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    let name = &engine.machine.valves[valve].0;
    let target = aims.by_valve.get(name).copied().or(aims.default);
    // Shims move the rocker; what has worn they do not mend.
    let offset_name = aims.feature.map(|f| feature_names[f]);
    let by_shims = causes.iter().any(|c| Some(c.feature.as_str()) == offset_name);
    let renew =
        causes.iter().map(|c| &c.feature).filter(|f| Some(f.as_str()) != offset_name).cloned().collect::<Vec<_>>();
    let offset = parts().map(|(_, p)| p).find(|p| by_shims && Some(p.feature) == aims.feature);
    ValveWork {
        valve: name.clone(),
        chance_then: engine.valve_chance(valve, then),
        chance_by_following: by_following,
        causes,
        renew,
        correction: offset.zip(target).map(|(p, target)| {
            let value = |h: f64| p.prospect.value_at(p.behind + h);
            let mean = engine.average(then, |h| value(h).0);
            // Law of total variance over the hours run.
            let var = engine.average(then, |h| value(h).1.powi(2) + (value(h).0 - mean).powi(2));
            Correction { mean: target - mean, sd: var.sqrt(), expected: mean, target }
        }),
    }
}

/// Expected number of corrections by size, from the corrections' own distributions.
pub(crate) fn demand<'a>(work: impl Iterator<Item = &'a ValveWork> + Clone) -> Vec<DemandStep> {
    let all = work.filter_map(|w| w.correction);
    let reach = |sign: f64| {
        let end = all.clone().map(|c| sign * c.mean + 3.0 * c.sd).fold(f64::NEG_INFINITY, f64::max);
        if end.is_finite() { (end / STEP).ceil().clamp(-400.0, 400.0) as i32 } else { 0 }
    };
    let (low, high) = (-reach(-1.0), reach(1.0));
    let steps: Vec<DemandStep> = (low..high)
        .map(|k| {
            let (from, to) = (f64::from(k) * STEP, f64::from(k + 1) * STEP);
            let below = |x: f64, c: crate::result::Correction| {
                if c.sd > 0.0 { normal::cdf((x - c.mean) / c.sd) } else { f64::from(u8::from(c.mean < x)) }
            };
            // The outermost steps hold what lies beyond them.
            let expected = all
                .clone()
                .map(|c| {
                    let upper = if k + 1 == high { 1.0 } else { below(to, c) };
                    let lower = if k == low { 0.0 } else { below(from, c) };
                    upper - lower
                })
                .sum();
            DemandStep { from, to, expected }
        })
        .collect();
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    fn valve(mean: f64, sd: f64) -> ValveWork {
        ValveWork {
            valve: "1".into(),
            chance_then: 0.1,
            chance_by_following: 0.2,
            causes: Vec::new(),
            renew: Vec::new(),
            correction: Some(Correction { mean, sd, expected: 1.0 - mean, target: 1.0 }),
        }
    }

    #[test]
    fn every_correction_is_counted_once() {
        let work = [valve(-0.43, 0.03), valve(0.22, 0.05), valve(0.0, 0.0)];
        let steps = demand(work.iter());
        let sum: f64 = steps.iter().map(|s| s.expected).sum();
        assert!((sum - 3.0).abs() < 1e-12, "{sum}");
        let negative: f64 = steps.iter().filter(|s| s.to <= 1e-9).map(|s| s.expected).sum();
        assert!((negative - 1.0).abs() < 1e-4, "{negative}");
        assert!(steps.windows(2).all(|w| (w[0].to - w[1].from).abs() < 1e-12));
        assert!(demand([].iter()).is_empty());
    }
}
