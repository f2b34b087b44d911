//! From a family's answer to a forecast of every valve, and from chances to its verdict.

pub(crate) mod figures;
mod index;
mod scope;

pub(crate) use index::{Names, SegmentIndex};
pub(crate) use scope::ForecastScope;

use crate::crossing::hours::CrossingSearch;
use crate::crossing::{CrossingHours, Prospect, Zone};
use crate::families::{Estimate, FamilyFit, SegmentFit};
use crate::policy::Policy;
use crate::result::{Limit, ValveForecast};
use crate::since::{Running, Since};
use crate::verdict::{self, Answer, Assumption, Case, status_by_chance};
use rayon::prelude::*;
use std::collections::HashMap;

/// Another forecast of some valves, and what each takes for granted.
pub(crate) type Others = HashMap<u32, Vec<(Assumption, SegmentFit)>>;

/// What an answer's future comes to: all that is dear in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Chances {
    pub(crate) now: f64,
    pub(crate) within: f64,
    /// Standard error of simulation of `within`.
    pub(crate) error: f64,
    /// Hours ahead of the valve's last reading.
    pub(crate) crossing: [Option<f64>; 3],
}

impl Chances {
    /// `since`: what the valve has run since it was read, until the day of the answer.
    fn of(prospect: &Prospect, horizon: f64, since: Since) -> Self {
        let search = CrossingSearch::of(prospect);
        let when_read = search.chance_within(0.0);
        let now = if since.mean() > 0.0 { since.average_chance(|h| search.chance_within(h)) } else { when_read };
        let (sure, error) = prospect.chance_with_error(since.mean() + horizon);
        let within = if since.is_sure() { sure } else { since.average_chance(|h| search.chance_within(h + horizon)) };
        let crossing = search.hours_to_each([0.05, 0.5, 0.95], when_read);
        Self { now, within, error: error.unwrap_or(0.0), crossing }
    }
}

/// All that a feature's valves are forecast from.
pub(crate) struct Basis<'a> {
    pub(crate) feature: &'a str,
    pub(crate) names: Names<'a>,
    pub(crate) index: &'a SegmentIndex,
    pub(crate) zone: Option<Zone>,
    pub(crate) scope: ForecastScope<'a>,
    /// Running of each engine until the day of the answer; empty where readings are not at hand.
    pub(crate) running: &'a [Running],
    /// The day of the answer; None: that of each valve's last reading.
    pub(crate) today: Option<i32>,
}

impl Basis<'_> {
    /// Forecasts of all valves from their current segments, in the order of the segments. `others` are further answers by valve.
    pub(crate) fn forecasts(&self, fit: &mut FamilyFit, others: &Others) -> Vec<ValveForecast> {
        let judged = self.scope.places(&self.index.engines_of_valves());
        let horizon = self.scope.policy.map_or(0.0, |p| p.horizon);
        let too_far = fit.reach.filter(|reach| horizon > *reach).map(|reach| {
            format!(
                "wear speeds up, and {horizon} h is more than the {reach:.0} h ahead to which such wear can be foretold"
            )
        });
        let trouble = match fit.trouble.clone() {
            Some(why) => Some(Trouble { why, reach: None }),
            None => too_far.map(|why| Trouble { why, reach: fit.reach }),
        };
        std::mem::take(&mut fit.current)
            .into_par_iter()
            .enumerate()
            .with_min_len(16)
            .map(|(place, own)| {
                let mut out = self.blank(own.segment);
                set_estimate(&mut out, &own.estimate);
                out.prospect = own.prospect;
                if judged.contains(&place) {
                    // A reading that later ones settle is not held against the valve; one that nothing settles is.
                    let held = self.index.held.get(own.segment).cloned().flatten().zip(own.at_their_word);
                    let more = others.get(&out.valve_index).map_or(&[][..], Vec::as_slice);
                    let further = held
                        .map(|(assuming, (estimate, prospect))| (assuming, estimate, prospect))
                        .into_iter()
                        .chain(more.iter().map(|(a, fit)| (a.clone(), fit.estimate, fit.prospect.clone())))
                        .collect();
                    self.judge(&mut out, place, own.estimate, further, trouble.as_ref());
                }
                out
            })
            .collect()
    }

    /// Valves of which no forecast can be made: what was read of them is judged all the same.
    pub(crate) fn without_forecast(&self, why: &str) -> Vec<ValveForecast> {
        let mut out: Vec<ValveForecast> = self.index.current_segments().map(|s| self.blank(s)).collect();
        if let (Some(zone), Some(policy)) = (self.zone, self.scope.policy) {
            for valve in &mut out {
                enter(valve, zone, policy, Vec::new(), Some((why, "Read again, or give `reading_sd` in the policy.")));
            }
        }
        out
    }

    fn blank(&self, s: usize) -> ValveForecast {
        let Self { names, index, zone, .. } = self;
        let (engine, valve) = &names.valves[index.valve[s] as usize];
        let newest = index.newest.get(s).copied();
        let hours = index.origin[s] + index.last[s];
        let running = self.running.get(*engine as usize);
        let since = running.zip(newest).map(|(running, read)| running.since(read.day, read.hours));
        ValveForecast {
            valve_index: index.valve[s],
            engine: names.engines[*engine as usize].clone(),
            valve: valve.clone(),
            group: index.group_names[index.group[s] as usize].clone(),
            segment: index.number[s],
            readings: index.readings[s] as usize,
            hours,
            today: self.today,
            since_read: since.unwrap_or_default().mean(),
            hours_a_week: running.and_then(|r| r.usage).map(|u| u.hours_a_week),
            segment_start: index.origin[s],
            level: f64::NAN,
            level_se: f64::NAN,
            slope: f64::NAN,
            slope_se: f64::NAN,
            level_slope_cov: f64::NAN,
            drifting_to: None,
            crossing_hours: CrossingHours::default(),
            chance_now: None,
            chance_by_horizon: None,
            status: None,
            verdict: None,
            newest,
            prospect: Prospect { zone: zone.unwrap_or_default(), ..Prospect::default() },
            series: Vec::new(),
            band: Vec::new(),
        }
    }

    /// What a valve has run since it was read.
    fn since(&self, of: &ValveForecast) -> Since {
        let engine = self.names.valves[of.valve_index as usize].0;
        match (self.running.get(engine as usize), of.newest) {
            (Some(running), Some(newest)) => running.since(newest.day, newest.hours),
            _ => Since::default(),
        }
    }

    /// Chances, crossing hours and verdict against the limits.
    fn judge(
        &self,
        out: &mut ValveForecast,
        place: usize,
        own: Estimate,
        further: Vec<(Assumption, Estimate, Prospect)>,
        trouble: Option<&Trouble>,
    ) {
        let (Some(zone), Some(policy)) = (self.zone, self.scope.policy) else { return };
        let since = self.since(out);
        let chances = |k: usize, prospect: &Prospect| match self.scope.elsewhere(self.feature, place, k) {
            Some(given) => given,
            None => Some(Chances::of(prospect, policy.horizon, since)),
        };
        let Some(first) = chances(0, &out.prospect) else { return };
        // A lone answer leaves its future where it is.
        let copy = if further.is_empty() { Prospect::default() } else { out.prospect.clone() };
        let mut answers = vec![answer(Assumption::AsBelieved, &own, copy, first, out.hours, policy)];
        for (k, (assuming, estimate, prospect)) in further.into_iter().enumerate() {
            let Some(chances) = chances(k + 1, &prospect) else { return };
            answers.push(answer(assuming, &estimate, prospect, chances, out.hours, policy));
        }
        conclude(out, zone, policy, answers, trouble);
    }
}

fn set_estimate(out: &mut ValveForecast, e: &Estimate) {
    (out.level, out.level_se, out.slope, out.slope_se, out.level_slope_cov) =
        (e.level, e.level_se, e.slope, e.slope_se, e.cov);
}

/// A forecast under an assumption.
fn answer(
    assuming: Assumption,
    estimate: &Estimate,
    prospect: Prospect,
    chances: Chances,
    hours: f64,
    policy: &Policy,
) -> Answer {
    let [p05, p50, p95] = chances.crossing.map(|h| h.map(|h| hours + h));
    Answer {
        assuming,
        level: estimate.level,
        level_se: estimate.level_se,
        slope: estimate.slope,
        slope_se: estimate.slope_se,
        level_slope_cov: estimate.cov,
        chance_now: chances.now,
        chance_by_horizon: chances.within,
        simulation_error: chances.error,
        crossing_hours: CrossingHours { p05, p50, p95 },
        status: status_by_chance(chances.now, chances.within, chances.error, policy),
        prospect,
    }
}

/// Enters the verdict, and the numbers of the answer that stands.
fn conclude(out: &mut ValveForecast, zone: Zone, policy: &Policy, answers: Vec<Answer>, trouble: Option<&Trouble>) {
    let first = answers.first().map(numbers);
    let cure = trouble.map_or_else(String::new, |t| t.cure(out));
    enter(out, zone, policy, answers, trouble.map(|t| (t.why.as_str(), cure.as_str())));
    let stands = out.verdict.as_ref().and_then(|v| v.standing_answer());
    if let Some(prospect) = stands.map(|s| s.prospect.clone()) {
        out.prospect = prospect;
    }
    let stands = out.verdict.as_ref().and_then(|v| v.standing_answer()).map(numbers).or(first);
    let Some((estimate, now, within, hours)) = stands else { return };
    set_estimate(out, &estimate);
    out.drifting_to = if out.slope > 0.0 {
        zone.upper.map(|_| Limit::Upper)
    } else if out.slope < 0.0 {
        zone.lower.map(|_| Limit::Lower)
    } else {
        None
    };
    out.chance_now = Some(now);
    out.chance_by_horizon = Some(within);
    out.crossing_hours = hours;
}

/// Why forecasts must not reassure.
struct Trouble {
    why: String,
    /// Hours ahead of a valve's last reading up to which they may; None: nowhere.
    reach: Option<f64>,
}

impl Trouble {
    /// What would settle it for a valve.
    fn cure(&self, of: &ValveForecast) -> String {
        match self.reach {
            Some(reach) => format!(
                "Read {}, {} again by {:.0} h on its meter: until then, {reach:.0} h from its last reading, it can be foretold.",
                of.engine,
                of.valve,
                of.hours + reach
            ),
            None => "More readings, or `reading_sd` in the policy, would tell.".to_owned(),
        }
    }
}

fn numbers(a: &Answer) -> (Estimate, f64, f64, CrossingHours) {
    let estimate =
        Estimate { level: a.level, level_se: a.level_se, slope: a.slope, slope_se: a.slope_se, cov: a.level_slope_cov };
    (estimate, a.chance_now, a.chance_by_horizon, a.crossing_hours)
}

fn enter(out: &mut ValveForecast, zone: Zone, policy: &Policy, answers: Vec<Answer>, trouble: Option<(&str, &str)>) {
    let name = format!("{}, {}", out.engine, out.valve);
    let (trouble, cure) = (trouble.map(|t| t.0), trouble.map(|t| t.1));
    let verdict = verdict::judge(Case { policy, zone, newest: out.newest, answers, trouble, cure, name: &name });
    out.status = Some(verdict.status());
    out.verdict = Some(verdict);
}
