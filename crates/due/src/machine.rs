//! The fleet put together for planning: each engine with its valves' futures, from the trend, or from a new start that was not read yet.

use crate::curve::Part;
use crate::error::DueError;
use crate::{Built, DueOptions, StartingOffset};
use packdrift_trend::Inspections;
use packdrift_trend::Policy;
use packdrift_trend::Prospect;
use packdrift_trend::TrendResult;
use packdrift_trend::{Meter, Usage, UsageSource, fleet_usage};
use std::collections::{BTreeMap, HashMap};

/// An engine to be planned.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    pub(crate) name: String,
    pub(crate) last_day: i32,
    pub(crate) last_hours: f64,
    pub(crate) usage: Option<Usage>,
    /// Name and group.
    pub(crate) valves: Vec<(String, String)>,
    pub(crate) parts: Vec<Part>,
    pub(crate) not_read: bool,
}

/// Features that are planned by: limits and a model.
pub(crate) fn features(trend: &TrendResult) -> Vec<usize> {
    (0..trend.features.len())
        .filter(|&f| {
            let one = &trend.features[f];
            one.model.is_some() && one.limits.as_ref().is_some_and(|l| l.lower.is_some() || l.upper.is_some())
        })
        .collect()
}

/// A valve of a group that starts anew, by one feature.
pub(crate) struct Fresh<'a> {
    pub(crate) trend: &'a TrendResult,
    pub(crate) starts: &'a [StartingOffset],
    pub(crate) offset_feature: &'a str,
}

impl Fresh<'_> {
    /// Its future from hour 0; None where the fleet tells nothing of the feature.
    pub(crate) fn prospect(&self, feature: usize, valve: &str, group: &str) -> Option<Prospect> {
        let one = &self.trend.features[feature];
        // Groups pooled into one line have no name.
        let of_group = one.fleet.iter().find(|f| f.group == group).or_else(|| one.fleet.first())?;
        if one.feature == self.offset_feature
            && let Some(start) = self.starts.iter().find(|s| s.valve == valve)
        {
            return Some(of_group.prospect.with_level(start.mean, start.sd));
        }
        Some(of_group.prospect.clone())
    }
}

/// The last time each valve's feature was read.
fn last_read(table: &Inspections) -> HashMap<(u32, u32), (i32, f64)> {
    let mut out: HashMap<(u32, u32), (i32, f64)> = HashMap::new();
    for row in 0..table.value.len() {
        if !table.value[row].is_finite() || !table.hours[row].is_finite() {
            continue;
        }
        let now = (table.day[row], table.hours[row]);
        let entry = out.entry((table.valve[row], table.feature[row])).or_insert(now);
        if now.0 > entry.0 || (now.0 == entry.0 && now.1 > entry.1) {
            *entry = now;
        }
    }
    out
}

/// All engines, in the table's order, then the new ones.
#[allow(clippy::too_many_arguments, reason = "one call")]
pub(crate) fn machines(
    table: &Inspections,
    trend: &TrendResult,
    meters: &[Meter],
    usages: &[Option<Usage>],
    fresh: &Fresh<'_>,
    policy: &Policy,
    options: &DueOptions,
    today: i32,
) -> Result<Vec<Machine>, DueError> {
    let read = last_read(table);
    let features = features(trend);
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
                not_read: false,
            }
        })
        .collect();
    // The table's valve → its place on its engine.
    let mut place: HashMap<u32, usize> = HashMap::new();
    for &f in &features {
        let index = table.features.iter().position(|n| *n == trend.features[f].feature).unwrap_or(0) as u32;
        for v in &trend.features[f].valves {
            let Some((engine, name)) = table.valves.get(v.valve_index as usize) else { continue };
            let machine = &mut out[*engine as usize];
            let valve = *place.entry(v.valve_index).or_insert_with(|| {
                machine.valves.push((name.clone(), v.group.clone()));
                machine.valves.len() - 1
            });
            let (day, hours) = read.get(&(v.valve_index, index)).copied().unwrap_or((machine.last_day, v.hours));
            // On the engine's meter where it has gone on since, else by the days: the meter was changed.
            let by_meter = machine.last_hours - hours;
            let days = f64::from(machine.last_day - day);
            let behind = if (0.0..=24.0 * (days + 1.0)).contains(&by_meter) {
                by_meter
            } else {
                machine.usage.map_or(0.0, |u| u.hours_in(days).0)
            };
            machine.parts.push(Part { valve, feature: f, prospect: v.prospect.clone(), behind });
        }
    }
    for built in &options.built {
        renew(&mut out, built, fresh, &features, policy, options, usages, today)?;
    }
    out.retain(|m| !m.parts.is_empty());
    Ok(out)
}

/// Starts an engine anew.
#[allow(clippy::too_many_arguments, reason = "one call")]
fn renew(
    out: &mut Vec<Machine>,
    built: &Built,
    fresh: &Fresh<'_>,
    features: &[usize],
    policy: &Policy,
    options: &DueOptions,
    usages: &[Option<Usage>],
    today: i32,
) -> Result<(), DueError> {
    if built.day > today {
        return Err(DueError::WorkAfterToday { engine: built.engine.clone(), after: built.day - today });
    }
    let known = out.iter().position(|m| m.name == built.engine);
    if known.is_none() && built.shims_only {
        return Err(DueError::UnknownEngine { engine: built.engine.clone() });
    }
    let k = match known {
        Some(k) => {
            if built.day < out[k].last_day {
                return Err(DueError::WorkBeforeReading {
                    engine: built.engine.clone(),
                    before: out[k].last_day - built.day,
                });
            }
            k
        }
        None => {
            let valves = valves_of_new(out, built, options)?;
            let stated = policy.usage.get(&built.engine).copied().filter(|h| *h > 0.0);
            let like = usages.iter().flatten().next();
            let as_stated = |hours: f64, source| Usage {
                hours_a_week: hours,
                standard_error: 0.0,
                variance_a_day: like.map_or(24.0 * hours / 7.0, |u| u.variance_a_day / u.hours_a_week * hours),
                source,
                measured: None,
            };
            let usage = stated
                .map(|hours| as_stated(hours, UsageSource::PolicyForEngine))
                .or_else(|| fleet_usage(usages))
                .or_else(|| policy.usage_default.map(|hours| as_stated(hours, UsageSource::PolicyDefault)));
            out.push(Machine {
                name: built.engine.clone(),
                last_day: built.day,
                last_hours: 0.0,
                usage,
                valves,
                parts: Vec::new(),
                not_read: true,
            });
            out.len() - 1
        }
    };
    let machine = &mut out[k];
    let since = machine.usage.map_or(0.0, |u| u.hours_in(f64::from(built.day - machine.last_day)).0);
    machine.last_day = built.day;
    machine.last_hours += since;
    machine.not_read = true;
    let renewed = |f: usize| !built.shims_only || fresh.trend.features[f].feature == fresh.offset_feature;
    machine.parts.retain(|p| !renewed(p.feature));
    for p in &mut machine.parts {
        p.behind += since;
    }
    for &f in features.iter().filter(|f| renewed(**f)) {
        for (v, (name, group)) in machine.valves.iter().enumerate() {
            if let Some(prospect) = fresh.prospect(f, name, group) {
                machine.parts.push(Part { valve: v, feature: f, prospect, behind: 0.0 });
            }
        }
    }
    Ok(())
}

/// The valves a new engine has: those of the starting offsets, else those all read engines share.
fn valves_of_new(out: &[Machine], built: &Built, options: &DueOptions) -> Result<Vec<(String, String)>, DueError> {
    let unknown = || DueError::NoValves { engine: built.engine.clone() };
    let mut group_of: BTreeMap<&str, &str> = BTreeMap::new();
    for (name, group) in out.iter().flat_map(|m| &m.valves) {
        group_of.entry(name).or_insert(group);
    }
    if !options.starts.is_empty() {
        return Ok(options
            .starts
            .iter()
            .map(|s| (s.valve.clone(), group_of.get(s.valve.as_str()).copied().unwrap_or_default().to_owned()))
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
