//! The fleet put together for planning: each engine with its valves' futures, from the trend, or from a new start that was not read yet.

use crate::curve::{Part, Reading, Said};
use crate::error::DueError;
use crate::{Built, DueOptions, StartingOffset};
use packdrift_trend::{
    Inspections, Meter, Policy, Prospect, TrendResult, Usage, UsageSource, ValveForecast, fleet_usage, hours_behind,
};
use std::collections::{BTreeMap, HashMap};

/// A valve of an engine.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct ValveName {
    pub(crate) name: String,
    pub(crate) group: String,
}

/// An engine to be planned.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    pub(crate) name: String,
    pub(crate) last_day: i32,
    pub(crate) last_hours: f64,
    pub(crate) usage: Option<Usage>,
    pub(crate) valves: Vec<ValveName>,
    pub(crate) parts: Vec<Part>,
    /// Features (indices into the trend's) that the policy judges and that could not be forecast for it.
    pub(crate) not_forecast: Vec<usize>,
    /// What `trend` says of valves by these features.
    pub(crate) unforecast: Vec<(usize, Said)>,
    pub(crate) not_read: bool,
}

/// What a fleet is put together from.
#[derive(Clone, Copy)]
pub(crate) struct Sources<'a> {
    pub(crate) table: &'a Inspections,
    pub(crate) trend: &'a TrendResult,
    pub(crate) policy: &'a Policy,
    pub(crate) options: &'a DueOptions,
    pub(crate) meters: &'a [Meter],
    pub(crate) usages: &'a [Option<Usage>],
    pub(crate) today: i32,
}

impl<'a> Sources<'a> {
    /// Features that are planned by: limits and a model.
    pub(crate) fn features(&self) -> Vec<usize> {
        (0..self.trend.features.len())
            .filter(|&f| self.is_judged(f) && self.trend.features[f].model.is_some())
            .collect()
    }

    fn is_judged(&self, feature: usize) -> bool {
        self.trend.features[feature].limits.as_ref().is_some_and(|l| l.lower.is_some() || l.upper.is_some())
    }

    /// A valve of a group that starts anew, by one feature.
    pub(crate) fn fresh(&self) -> Fresh<'a> {
        Fresh { trend: self.trend, starts: &self.options.starts, offset_feature: &self.options.offset_feature }
    }
}

/// Valves that start anew.
#[derive(Clone, Copy)]
pub(crate) struct Fresh<'a> {
    trend: &'a TrendResult,
    starts: &'a [StartingOffset],
    offset_feature: &'a str,
}

impl Fresh<'_> {
    /// The future from hour 0; None where the fleet tells nothing of the feature.
    pub(crate) fn prospect(&self, feature: usize, valve: &ValveName) -> Option<Prospect> {
        self.of(feature, valve, |fleet| &fleet.prospect)
    }

    /// The same by points that are each one draw of the fleet's parameters.
    pub(crate) fn drawn(&self, feature: usize, valve: &ValveName) -> Option<Prospect> {
        self.of(feature, valve, |fleet| &fleet.drawn)
    }

    fn of(
        &self,
        feature: usize,
        valve: &ValveName,
        which: impl Fn(&packdrift_trend::FleetProspect) -> &Prospect,
    ) -> Option<Prospect> {
        let one = &self.trend.features[feature];
        // Groups pooled into one line have no name.
        let of_group = which(one.fleet.iter().find(|f| f.group == valve.group).or_else(|| one.fleet.first())?);
        let start = self.starts.iter().find(|s| s.valve == valve.name && one.feature == self.offset_feature);
        Some(start.map_or_else(|| of_group.clone(), |start| of_group.with_level(start.mean, start.sd)))
    }
}

/// The last time each valve's feature was read.
fn last_read(table: &Inspections) -> HashMap<(u32, u32), Reading> {
    let mut out: HashMap<(u32, u32), Reading> = HashMap::new();
    for row in 0..table.value.len() {
        if !table.value[row].is_finite() || !table.hours[row].is_finite() {
            continue;
        }
        let now = Reading { day: table.day[row], hours: table.hours[row], value: table.value[row] };
        let entry = out.entry((table.valve[row], table.feature[row])).or_insert(now);
        if now.day > entry.day || (now.day == entry.day && now.hours >= entry.hours) {
            *entry = now;
        }
    }
    out
}

/// All engines, in the table's order, then the new ones.
pub(crate) fn machines(sources: &Sources<'_>) -> Result<Vec<Machine>, DueError> {
    let mut out = as_read(sources);
    for built in &sources.options.built {
        renew(&mut out, built, sources)?;
    }
    out.retain(|m| !m.parts.is_empty() || !m.not_forecast.is_empty());
    Ok(out)
}

/// The engines as the inspections have them.
fn as_read(sources: &Sources<'_>) -> Vec<Machine> {
    let Sources { table, trend, meters, usages, today, .. } = *sources;
    let read = last_read(table);
    let mut out: Vec<Machine> = table
        .engines
        .iter()
        .zip(meters)
        .zip(usages)
        .map(|((name, meter), usage)| {
            let (last_day, last_hours) = meter.visits.last().copied().unwrap_or((today, 0.0));
            Machine {
                name: name.clone(),
                last_day,
                last_hours,
                usage: *usage,
                valves: Vec::new(),
                parts: Vec::new(),
                not_forecast: Vec::new(),
                unforecast: Vec::new(),
                not_read: false,
            }
        })
        .collect();
    // The table's valve → its place on its engine.
    let mut place: HashMap<u32, usize> = HashMap::new();
    for f in sources.features() {
        let index = index_in(table, &trend.features[f].feature);
        for v in &trend.features[f].valves {
            let Some((engine, name)) = table.valves.get(v.valve_index as usize) else { continue };
            let machine = &mut out[*engine as usize];
            let valve = placed(machine, &mut place, v, name);
            let reading = index.and_then(|index| read.get(&(v.valve_index, index)).copied());
            let (day, hours) = reading.map_or((machine.last_day, v.hours), |r| (r.day, r.hours));
            let behind = hours_behind((machine.last_day, machine.last_hours), machine.usage, (day, hours));
            // Of several answers the one that stands; a doubted reading that is to be read again first moves no date.
            let stands =
                v.verdict.as_ref().and_then(|verdict| verdict.standing_answer()).map(|answer| &answer.prospect);
            let prospect = stands.filter(|p| p.points() > 0).unwrap_or(&v.prospect).clone();
            let said = v.verdict.as_ref().map(Said::of);
            machine.parts.push(Part { valve, feature: f, prospect, behind, read: reading, said });
        }
    }
    // What has limits and readings but no forecast is said of every engine that has it.
    for f in (0..trend.features.len()).filter(|f| sources.is_judged(*f) && trend.features[*f].model.is_none()) {
        let Some(index) = index_in(table, &trend.features[f].feature) else { continue };
        for (valve, _) in read.keys().filter(|(_, feature)| *feature == index) {
            let machine = &mut out[table.valves[*valve as usize].0 as usize];
            if !machine.not_forecast.contains(&f) {
                machine.not_forecast.push(f);
            }
        }
        // What was read of a valve is judged all the same.
        for v in &trend.features[f].valves {
            let Some((engine, name)) = table.valves.get(v.valve_index as usize) else { continue };
            let machine = &mut out[*engine as usize];
            let valve = placed(machine, &mut place, v, name);
            machine.unforecast.extend(v.verdict.as_ref().map(|verdict| (valve, Said::of(verdict))));
        }
    }
    out
}

/// A valve's place on its engine, where it may be new.
fn placed(machine: &mut Machine, place: &mut HashMap<u32, usize>, valve: &ValveForecast, name: &str) -> usize {
    *place.entry(valve.valve_index).or_insert_with(|| {
        machine.valves.push(ValveName { name: name.to_owned(), group: valve.group.clone() });
        machine.valves.len() - 1
    })
}

fn index_in(table: &Inspections, feature: &str) -> Option<u32> {
    table.features.iter().position(|n| n == feature).map(|k| k as u32)
}

/// Starts an engine anew.
fn renew(out: &mut Vec<Machine>, built: &Built, sources: &Sources<'_>) -> Result<(), DueError> {
    if built.day > sources.today {
        return Err(DueError::WorkAfterToday { engine: built.engine.clone(), after: built.day - sources.today });
    }
    let known = out.iter().position(|m| m.name == built.engine);
    let machine = match known {
        None if built.shims_only => return Err(DueError::UnknownEngine { engine: built.engine.clone() }),
        Some(k) if built.day < out[k].last_day => {
            let before = out[k].last_day - built.day;
            return Err(DueError::WorkBeforeReading { engine: built.engine.clone(), before });
        }
        Some(k) => &mut out[k],
        None => {
            let new = new_engine(out, built, sources)?;
            out.push(new);
            let last = out.len() - 1;
            &mut out[last]
        }
    };
    let since = machine.usage.map_or(0.0, |u| u.hours_in(f64::from(built.day - machine.last_day)).0);
    machine.last_day = built.day;
    machine.last_hours += since;
    machine.not_read = true;
    let fresh = sources.fresh();
    let renewed = |f: usize| !built.shims_only || sources.trend.features[f].feature == fresh.offset_feature;
    machine.parts.retain(|p| !renewed(p.feature));
    for p in &mut machine.parts {
        p.behind += since;
    }
    for f in sources.features().into_iter().filter(|f| renewed(*f)) {
        for (v, name) in machine.valves.iter().enumerate() {
            if let Some(prospect) = fresh.prospect(f, name) {
                machine.parts.push(Part { valve: v, feature: f, prospect, behind: 0.0, read: None, said: None });
            }
        }
    }
    Ok(())
}

/// An engine that the inspections do not know, without parts.
fn new_engine(out: &[Machine], built: &Built, sources: &Sources<'_>) -> Result<Machine, DueError> {
    let Sources { policy, usages, .. } = *sources;
    let like = usages.iter().flatten().next();
    let as_stated = |hours: f64, source| Usage {
        hours_a_week: hours,
        standard_error: 0.0,
        variance_a_day: like.map_or(24.0 * hours / 7.0, |u| u.variance_a_day / u.hours_a_week * hours),
        source,
        measured: None,
    };
    let stated = policy.usage.get(&built.engine).copied().filter(|h| *h > 0.0);
    let usage = stated
        .map(|hours| as_stated(hours, UsageSource::PolicyForEngine))
        .or_else(|| fleet_usage(usages))
        .or_else(|| policy.usage_default.map(|hours| as_stated(hours, UsageSource::PolicyDefault)));
    Ok(Machine {
        name: built.engine.clone(),
        last_day: built.day,
        last_hours: 0.0,
        usage,
        valves: valves_of_new(out, built, sources.options)?,
        parts: Vec::new(),
        not_forecast: Vec::new(),
        unforecast: Vec::new(),
        not_read: true,
    })
}

/// The valves a new engine has: those of the starting offsets, else those all read engines share.
fn valves_of_new(out: &[Machine], built: &Built, options: &DueOptions) -> Result<Vec<ValveName>, DueError> {
    let unknown = || DueError::NoValves { engine: built.engine.clone() };
    let mut group_of: BTreeMap<&str, &str> = BTreeMap::new();
    for valve in out.iter().flat_map(|m| &m.valves) {
        group_of.entry(&valve.name).or_insert(&valve.group);
    }
    if !options.starts.is_empty() {
        let group = |valve: &str| group_of.get(valve).copied().unwrap_or_default().to_owned();
        return Ok(options
            .starts
            .iter()
            .map(|s| ValveName { name: s.valve.clone(), group: group(&s.valve) })
            .collect());
    }
    let sorted = |m: &Machine| {
        let mut v = m.valves.clone();
        v.sort();
        v
    };
    let mut all = out.iter().filter(|m| !m.valves.is_empty()).map(sorted);
    let first = all.next().ok_or_else(unknown)?;
    if all.all(|other| other == first) { Ok(first) } else { Err(unknown()) }
}
