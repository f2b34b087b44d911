//! Valves that start anew, tabulated once for all of a kind, and the engines that have the same.

use crate::curve::Curve;
use crate::engine::Outlooked;
use crate::interval::{self, Found};
use crate::machine::{Fresh, Sources, ValveName};
use packdrift_trend::{Policy, Prospect};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};

/// What makes two fresh valves alike by a feature: the group, and a starting offset of its own where there is one.
type Key = (usize, String, Option<String>);

/// A fresh valve's chances over its hours, by feature.
#[derive(Debug, Clone)]
pub(crate) struct FreshCurves {
    curves: HashMap<Key, Curve>,
    /// The same by each draw of the fleet's parameters; empty where nobody asks what an interval costs.
    drawn: HashMap<Key, Vec<Curve>>,
    /// Valves with a starting offset of their own, and the feature that is of.
    own_starts: (Vec<String>, Option<usize>),
}

impl FreshCurves {
    /// Tabulates every kind of valve of the fleet as far as any engine is looked at; `draws` too where intervals are asked for.
    pub(crate) fn of(sources: &Sources<'_>, engines: &[Outlooked], draws: bool) -> Self {
        let offset = &sources.options.offset_feature;
        let names = sources.options.starts.iter().map(|s| s.valve.clone()).collect();
        let feature = sources.trend.features.iter().position(|f| f.feature == *offset);
        let mut out = Self { curves: HashMap::new(), drawn: HashMap::new(), own_starts: (names, feature) };
        let reach = engines.iter().map(|e| e.any.reach()).fold(1.0, f64::max);
        let mut kinds: BTreeMap<Key, &ValveName> = BTreeMap::new();
        for valve in engines.iter().flat_map(|e| &e.machine.valves) {
            for f in sources.features() {
                kinds.entry(out.key(f, valve)).or_insert(valve);
            }
        }
        let fresh: Fresh<'_> = sources.fresh();
        let kinds: Vec<(Key, &ValveName)> = kinds.into_iter().collect();
        let found: Vec<(Key, Option<Curve>, Vec<Curve>)> = kinds
            .into_par_iter()
            .map(|(key, valve)| {
                let curve = fresh.prospect(key.0, valve).and_then(|p| Curve::of(reach, p.chances()));
                let drawn = fresh.drawn(key.0, valve).filter(|_| draws);
                let drawn = drawn.map_or_else(Vec::new, |p| by_draw(&p, reach));
                (key, curve, drawn)
            })
            .collect();
        for (key, curve, drawn) in found {
            out.drawn.insert(key.clone(), drawn);
            out.curves.extend(curve.map(|curve| (key, curve)));
        }
        out
    }

    fn key(&self, feature: usize, valve: &ValveName) -> Key {
        let (starts, offset) = &self.own_starts;
        let own = (Some(feature) == *offset && starts.contains(&valve.name)).then(|| valve.name.clone());
        (feature, valve.group.clone(), own)
    }

    /// A valve's chance by a feature, from 0 hours; None where the fleet tells nothing of it.
    pub(crate) fn valve(&self, feature: usize, valve: &ValveName) -> Option<&Curve> {
        self.curves.get(&self.key(feature, valve))
    }

    /// That any valve of an engine as new has entered, by all features.
    fn engine(&self, features: &[usize], valves: &[ValveName], reach: f64) -> Curve {
        let parts = valves.iter().flat_map(|v| features.iter().filter_map(move |f| self.valve(*f, v)));
        Curve::any(reach, parts)
    }

    /// The same by each draw of the fleet's parameters.
    fn engine_drawn(&self, features: &[usize], valves: &[ValveName], reach: f64) -> Vec<Curve> {
        let parts: Vec<&Vec<Curve>> = valves
            .iter()
            .flat_map(|v| features.iter().filter_map(move |f| self.drawn.get(&self.key(*f, v))))
            .filter(|draws| !draws.is_empty())
            .collect();
        let draws = parts.iter().map(|d| d.len()).max().unwrap_or(0);
        // Draws of one feature go together; those of two features are independent of each other.
        (0..draws).map(|k| Curve::any(reach, parts.iter().map(|d| &d[k % d.len()]))).collect()
    }
}

/// The curve of each draw of the fleet's parameters that has one; of draws that are the same it is worked out once.
fn by_draw(prospect: &Prospect, reach: f64) -> Vec<Curve> {
    let mut curves: Vec<Option<Curve>> = Vec::with_capacity(prospect.points());
    for (k, first) in prospect.alike().into_iter().enumerate() {
        let curve = match curves.get(first) {
            Some(known) => known.clone(),
            None => Curve::of(reach, |h| prospect.chance_at_point(k, h)),
        };
        curves.push(curve);
    }
    curves.into_iter().flatten().collect()
}

/// Engines with the same valves share an interval.
struct Kind {
    valves: Vec<ValveName>,
    engines: usize,
    reach: f64,
}

impl Kind {
    /// `2 exhaust, 2 intake`, or `4 valves` where there are no groups.
    fn name(&self) -> String {
        let mut groups: BTreeMap<&str, usize> = BTreeMap::new();
        for valve in &self.valves {
            *groups.entry(&valve.group).or_default() += 1;
        }
        let parts: Vec<String> =
            groups.iter().map(|(g, n)| if g.is_empty() { format!("{n} valves") } else { format!("{n} {g}") }).collect();
        parts.join(", ")
    }
}

/// The kinds of engines by their groups, and which each is of.
fn kinds(engines: &[Outlooked], fresh: &FreshCurves, features: &[usize]) -> (Vec<Kind>, Vec<usize>) {
    let mut kinds: Vec<Kind> = Vec::new();
    let mut index: BTreeMap<Vec<Key>, usize> = BTreeMap::new();
    let of = engines
        .iter()
        .map(|e| {
            let valves = &e.machine.valves;
            let mut keys: Vec<Key> =
                valves.iter().flat_map(|v| features.iter().map(move |f| fresh.key(*f, v))).collect();
            keys.sort();
            let k = *index.entry(keys).or_insert_with(|| {
                kinds.push(Kind { valves: valves.clone(), engines: 0, reach: 0.0 });
                kinds.len() - 1
            });
            kinds[k].engines += 1;
            kinds[k].reach = kinds[k].reach.max(e.any.reach());
            k
        })
        .collect();
    (kinds, of)
}

/// The cheapest interval of each kind of engine, and of which kind each engine is; empty without costs.
pub(crate) fn intervals(
    engines: &[Outlooked],
    fresh: &FreshCurves,
    features: &[usize],
    policy: &Policy,
) -> (Vec<Found>, Vec<usize>) {
    let (kinds, of) = kinds(engines, fresh, features);
    let Some(costs) = policy.cost else { return (Vec::new(), of) };
    let found = kinds
        .par_iter()
        .map(|kind| {
            let curve = fresh.engine(features, &kind.valves, kind.reach);
            let drawn = fresh.engine_drawn(features, &kind.valves, kind.reach);
            interval::of_kind(kind.name(), kind.engines, costs, policy.risk, &curve, &drawn)
        })
        .collect();
    (found, of)
}
