//! From a fitted member of the straight-line family to a forecast of every valve.

use crate::average::{Average, Point};
use crate::crossing::hours::Outset;
use crate::crossing::{ClockOrPlain, Prospect, Zone};
use crate::family::Member;
use crate::inspections::Inspections;
use crate::kernel::posterior::{Posterior, posteriors, smoothed};
use crate::kernel::{Outlook, Problem};
use crate::policy::Policy;
use crate::result::{BandPoint, CrossingHours, FleetProspect, Limit, SeriesPoint, ValveForecast};
use crate::run::Fit;
use crate::segments::{Segments, line_of, share};
use crate::verdict::{self, Answer, Assumption, BELIEVED, Case, NewestReading, status_by_chance};
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::shard::Shard;
use packdrift_numerics::stream::Key;
use rayon::prelude::*;

/// Whose segments they are, by columns: what a forecast needs beside the sums.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cases {
    pub(crate) valve: Vec<u32>,
    pub(crate) engine: Vec<u32>,
    /// Index into `group_names`, before any pooling.
    pub(crate) group: Vec<u32>,
    pub(crate) number: Vec<u32>,
    pub(crate) origin: Vec<f64>,
    pub(crate) current: Vec<bool>,
    pub(crate) readings: Vec<u32>,
    /// Hours from the segment's start to its last reading.
    pub(crate) last: Vec<f64>,
    pub(crate) group_names: Vec<String>,
    /// The newest reading of each segment; empty where readings are not at hand.
    pub(crate) newest: Vec<NewestReading>,
}

impl Cases {
    pub(crate) fn of(segments: &Segments) -> Self {
        Self {
            valve: segments.valve.clone(),
            engine: segments.engine.clone(),
            group: segments.group.clone(),
            number: segments.number.clone(),
            origin: segments.origin.clone(),
            current: segments.current.clone(),
            readings: (0..segments.len()).map(|s| segments.range(s).len() as u32).collect(),
            last: (0..segments.len()).map(|s| segments.range(s).last().map_or(0.0, |i| segments.hours[i])).collect(),
            group_names: segments.group_names.clone(),
            newest: Vec::new(),
        }
    }

    /// Enters what was read last, each reading with its weight (empty for all 1).
    pub(crate) fn read(&mut self, table: &Inspections, segments: &Segments, weights: &[f64]) {
        self.newest = (0..segments.len()).map(|s| newest(table, segments, weights, s)).collect();
    }
}

/// The last reading of a segment; where its visit has several, their mean, of the believed ones if there are any.
fn newest(table: &Inspections, segments: &Segments, weights: &[f64], s: usize) -> NewestReading {
    let weight = |i: usize| weights.get(i).copied().unwrap_or(1.0);
    let range = segments.range(s);
    let last = range.end - 1;
    let visit = || range.clone().filter(|i| segments.hours[*i] >= segments.hours[last]);
    let some_believed = visit().any(|i| weight(i) >= BELIEVED);
    let counts = |i: &usize| weight(*i) >= BELIEVED || !some_believed;
    let n = visit().filter(counts).count() as f64;
    let mean = |of: &dyn Fn(usize) -> f64| visit().filter(counts).map(of).sum::<f64>() / n;
    let row = segments.row[last];
    NewestReading {
        value: mean(&|i| segments.value[i]),
        day: table.day[row as usize],
        hours: segments.origin[s] + segments.hours[last],
        line: line_of(table, row),
        weight: mean(&weight),
    }
}

impl Cases {
    /// The last segment of each valve.
    pub(crate) fn current_segments(&self) -> Vec<usize> {
        (0..self.valve.len()).filter(|s| self.current[*s]).collect()
    }
}

/// Names of engines and valves.
#[derive(Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) engines: &'a [String],
    pub(crate) valves: &'a [(u32, String)],
}

/// By what valves are judged, and whose.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Judging<'a> {
    pub(crate) policy: Option<&'a Policy>,
    pub(crate) whose: Whose,
}

/// Whose chances and hours of crossing are computed.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Whose {
    /// Every valve's.
    All,
    /// Those of a share of the engines' valves.
    Of(Shard),
    /// None's: they come from elsewhere.
    NoOne,
}

impl<'a> Judging<'a> {
    /// Every valve, by the policy.
    pub(crate) fn all(policy: Option<&'a Policy>) -> Self {
        Self { policy, whose: Whose::All }
    }

    /// Places among a feature's valves of those that are judged; `engines` has the engine of each, neighbours together.
    pub(crate) fn places(&self, engines: &[u32]) -> std::ops::Range<usize> {
        match self.whose {
            Whose::All => 0..engines.len(),
            Whose::Of(shard) => share(engines, shard),
            Whose::NoOne => 0..0,
        }
    }
}

/// Forecasts of all valves from their current segments, in the order of the segments.
pub(crate) fn forecasts(
    names: Names<'_>,
    cases: &Cases,
    fit: &Fit,
    zone: Option<Zone>,
    judging: Judging<'_>,
) -> Vec<ValveForecast> {
    let Fit { member, average, averaged_errors } = fit;
    let problem = &member.problem;
    let plug = posteriors(problem, member.fitted.shape, &member.fitted.theta, &member.fitted.profile);
    let spread: Vec<Vec<Posterior>> = if average.points.len() > 1 {
        average.points.iter().map(|p| posteriors(problem, p.shape, &p.theta, &p.profile)).collect()
    } else {
        Vec::new()
    };
    let current = cases.current_segments();
    let judged = judging.places(&current.iter().map(|s| cases.engine[*s]).collect::<Vec<_>>());
    current
        .par_iter()
        .enumerate()
        .with_min_len(64)
        .map(|(place, &s)| {
            let lambda = member.clock.at(cases.last[s]);
            let group = problem.group[s];
            let here = plug[s].outlook(&problem.frame, group, lambda);
            let outlooks: Vec<Outlook> = if spread.is_empty() {
                vec![here]
            } else {
                spread.iter().map(|p| p[s].outlook(&problem.frame, group, lambda)).collect()
            };
            let here = if *averaged_errors { mixed(&outlooks) } else { here };
            let prospect = Prospect {
                outlooks,
                clock: ClockOrPlain(member.clock),
                zone: zone.unwrap_or_default(),
                age: cases.last[s],
                ..Prospect::default()
            };
            let rate = member.clock.rate(cases.last[s].max(1.0));
            let (engine, valve) = &names.valves[cases.valve[s] as usize];
            let mut out = ValveForecast {
                valve_index: cases.valve[s],
                engine: names.engines[*engine as usize].clone(),
                valve: valve.clone(),
                group: cases.group_names[cases.group[s] as usize].clone(),
                segment: cases.number[s],
                readings: cases.readings[s] as usize,
                hours: cases.origin[s] + cases.last[s],
                segment_start: cases.origin[s],
                level: here.level,
                level_se: here.level_var.sqrt(),
                slope: here.slope * rate,
                slope_se: here.slope_var.sqrt() * rate,
                level_slope_cov: here.cov * rate,
                drifting_to: None,
                crossing_hours: CrossingHours::default(),
                chance_now: None,
                chance_by_horizon: None,
                status: None,
                verdict: None,
                newest: cases.newest.get(s).copied(),
                prospect,
                series: Vec::new(),
                band: Vec::new(),
            };
            if judged.contains(&place) {
                judge(&mut out, zone, judging.policy);
            }
            out
        })
        .collect()
}

/// Mean and covariance of (true value, slope) over outlooks of equal weight.
fn mixed(outlooks: &[Outlook]) -> Outlook {
    let n = outlooks.len().max(1) as f64;
    let mean = |f: &dyn Fn(&Outlook) -> f64| outlooks.iter().map(f).sum::<f64>() / n;
    let (level, slope) = (mean(&|o| o.level), mean(&|o| o.slope));
    Outlook {
        level,
        slope,
        level_var: mean(&|o| o.level_var + (o.level - level).powi(2)),
        slope_var: mean(&|o| o.slope_var + (o.slope - slope).powi(2)),
        cov: mean(&|o| o.cov + (o.level - level) * (o.slope - slope)),
        ..outlooks.first().copied().unwrap_or_default()
    }
}

/// Chances, crossing hours and status against the limits.
pub(crate) fn judge(out: &mut ValveForecast, zone: Option<Zone>, policy: Option<&Policy>) {
    let (Some(_), Some(policy)) = (zone, policy) else { return };
    let outset = Outset::of(&out.prospect);
    let now = outset.chance_within(0.0);
    let within = outset.chance_within(policy.horizon);
    let [p05, p50, p95] = outset.hours_to_each([0.05, 0.5, 0.95], now).map(|h| h.map(|h| out.hours + h));
    conclude(out, policy, now, within, CrossingHours { p05, p50, p95 });
}

/// Enters chances and hours of crossing, and what follows from them.
pub(crate) fn conclude(out: &mut ValveForecast, policy: &Policy, now: f64, within: f64, hours: CrossingHours) {
    let zone = out.prospect.zone;
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
    let answer = Answer {
        assuming: Assumption::AsBelieved,
        level: out.level,
        level_se: out.level_se,
        slope: out.slope,
        slope_se: out.slope_se,
        level_slope_cov: out.level_slope_cov,
        chance_now: now,
        chance_by_horizon: within,
        simulation_error: 0.0,
        crossing_hours: hours,
        status: status_by_chance(now, within, 0.0, policy),
        prospect: Prospect::default(),
    };
    enter(out, zone, policy, vec![answer], None);
}

/// Enters the verdict.
pub(crate) fn enter(
    out: &mut ValveForecast,
    zone: Zone,
    policy: &Policy,
    answers: Vec<Answer>,
    trouble: Option<(&str, &str)>,
) {
    let name = format!("{}, {}", out.engine, out.valve);
    let (trouble, cure) = (trouble.map(|t| t.0), trouble.map(|t| t.1));
    let verdict = verdict::judge(Case { policy, zone, newest: out.newest, answers, trouble, cure, name: &name });
    out.status = Some(verdict.status());
    out.verdict = Some(verdict);
}

/// Valves of which no forecast can be made: what was read of them is judged all the same.
pub(crate) fn without_forecast(
    names: Names<'_>,
    cases: &Cases,
    zone: Option<Zone>,
    policy: Option<&Policy>,
    why: &str,
) -> Vec<ValveForecast> {
    let mut out = Vec::new();
    for s in cases.current_segments() {
        let (engine, valve) = &names.valves[cases.valve[s] as usize];
        let mut one = ValveForecast {
            valve_index: cases.valve[s],
            engine: names.engines[*engine as usize].clone(),
            valve: valve.clone(),
            group: cases.group_names[cases.group[s] as usize].clone(),
            segment: cases.number[s],
            readings: cases.readings[s] as usize,
            hours: cases.origin[s] + cases.last[s],
            segment_start: cases.origin[s],
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
            newest: cases.newest.get(s).copied(),
            prospect: Prospect { zone: zone.unwrap_or_default(), ..Prospect::default() },
            series: Vec::new(),
            band: Vec::new(),
        };
        if let (Some(zone), Some(policy)) = (zone, policy) {
            enter(&mut one, zone, policy, Vec::new(), Some((why, "Read again, or give `reading_sd` in the policy.")));
        }
        out.push(one);
    }
    out
}

/// Draws of the fleet's parameters that [`FleetProspect::drawn`] has.
const DRAWN: usize = 64;

/// The prospect of a new segment of each group: a valve just built, re-shimmed or fitted with new parts, not yet read.
pub(crate) fn fleet(cases: &Cases, member: &Member, average: &Average, zone: Option<Zone>) -> Vec<FleetProspect> {
    let prospect = |outlooks| Prospect {
        outlooks,
        clock: ClockOrPlain(member.clock),
        zone: zone.unwrap_or_default(),
        ..Prospect::default()
    };
    let drawn: Vec<(&Point, Vec<f64>)> =
        (0..DRAWN).map(|k| &average.points[k % average.points.len()]).zip(mean_lines(average)).collect();
    (0..member.problem.groups)
        .map(|g| FleetProspect {
            group: if member.problem.groups == 1 && cases.group_names.len() > 1 {
                String::new()
            } else {
                cases.group_names[g].clone()
            },
            prospect: prospect(average.points.iter().map(|point| fresh(member, point, g, None)).collect()),
            drawn: prospect(drawn.iter().map(|(point, beta)| fresh(member, point, g, Some(beta))).collect()),
        })
        .collect()
}

/// A new segment of group `g` at one point of the average: about the mean line as estimated, its error included, or as drawn.
fn fresh(member: &Member, point: &Point, g: usize, drawn: Option<&[f64]>) -> Outlook {
    let frame = &member.problem.frame;
    let (scale, per_hour) = (frame.scale, frame.scale / frame.time);
    let p = member.problem.fixed();
    let beta = drawn.unwrap_or(&point.profile.beta);
    let s2 = point.profile.sigma2;
    let c = |i: usize, j: usize| if drawn.is_some() { 0.0 } else { point.profile.covariance[i * p + j] };
    let [l0, l1, l2] = point.theta.l;
    let (a, b) = frame.lines[g];
    let shared = point.theta.kappa2 + member.problem.share[g].powi(2) * point.theta.gamma2;
    Outlook {
        level: a + scale * beta[2 * g],
        slope: b + per_hour * beta[2 * g + 1],
        level_var: scale * scale * s2 * (l0 * l0 + c(2 * g, 2 * g)),
        slope_var: per_hour * per_hour * s2 * (l1 * l1 + l2 * l2 + shared + c(2 * g + 1, 2 * g + 1)),
        cov: scale * per_hour * s2 * (l0 * l1 + c(2 * g, 2 * g + 1)),
        wander_var: scale * per_hour * s2 * point.theta.omega2,
        reading_var: scale * scale * s2,
        now: 0.0,
    }
}

/// Draws of the mean lines' coefficients about their estimates, [`DRAWN`] of them over the points of the average in turn.
fn mean_lines(average: &Average) -> impl Iterator<Item = Vec<f64>> {
    let mut normals = Key::new(1, "mean lines of a fleet").stream(0);
    (0..DRAWN).map(move |k| {
        let profile = &average.points[k % average.points.len()].profile;
        let p = profile.beta.len();
        let z: Vec<f64> = (0..p).map(|_| normals.normal()).collect();
        let covariance = DMatrix::from_row_slice(p, p, &profile.covariance).scale(profile.sigma2);
        match covariance.cholesky() {
            Some(factor) => {
                let error = factor.l() * DVector::from_vec(z);
                profile.beta.iter().zip(&error).map(|(b, e)| b + e).collect()
            }
            None => profile.beta.clone(),
        }
    })
}

/// Half-width of a 95 % band in standard deviations.
const BAND: f64 = 1.959_963_984_540_054;

/// Readings, fitted line and bands of every valve, for figures.
pub(crate) fn add_series(
    out: &mut [ValveForecast],
    table: &Inspections,
    segments: &Segments,
    weights: &[f64],
    member: &Member,
    average: &Average,
    horizon: Option<f64>,
) {
    let problem = &member.problem;
    let lines: Vec<Vec<Posterior>> =
        average.points.iter().map(|p| posteriors(problem, p.shape, &p.theta, &p.profile)).collect();
    let mut first = 0;
    for valve in out.iter_mut() {
        first = readings_of(valve, table, segments, weights, first);
        let s = first;
        valve.band = band(problem, segments, s, member, average, &lines, &valve.prospect, horizon);
    }
}

/// Fills in the valve's readings; returns its current segment. `from` is a segment not after the valve's first.
pub(crate) fn readings_of(
    valve: &mut ValveForecast,
    table: &Inspections,
    segments: &Segments,
    weights: &[f64],
    from: usize,
) -> usize {
    // Segments of a valve stand together and the current one is last.
    let mut s = from;
    while segments.valve[s] != valve.valve_index {
        s += 1;
    }
    loop {
        for i in segments.range(s) {
            valve.series.push(SeriesPoint {
                hours: segments.origin[s] + segments.hours[i],
                day: Some(table.day[segments.row[i] as usize]),
                value: segments.value[i],
                weight: weights.get(i).copied().unwrap_or(1.0),
                segment: segments.number[s],
                line: line_of(table, segments.row[i]),
            });
        }
        if segments.current[s] {
            return s;
        }
        s += 1;
    }
}

/// A point of the bands: a normal true value, and a reading's error beside it.
pub(crate) fn band_point(hours: f64, mean: f64, var: f64, reading: f64) -> BandPoint {
    let (sd, wide) = (var.sqrt(), (var + reading * reading).sqrt());
    BandPoint {
        hours,
        fit: mean,
        low: mean - BAND * sd,
        high: mean + BAND * sd,
        reading_low: mean - BAND * wide,
        reading_high: mean + BAND * wide,
    }
}

#[allow(clippy::too_many_arguments, reason = "one call")]
fn band(
    problem: &Problem,
    segments: &Segments,
    s: usize,
    member: &Member,
    average: &Average,
    lines: &[Vec<Posterior>],
    prospect: &Prospect,
    horizon: Option<f64>,
) -> Vec<BandPoint> {
    let hours = &segments.hours[segments.range(s)];
    let last = hours.last().copied().unwrap_or(0.0);
    let origin = segments.origin[s];
    let reading = prospect.sd_reading();
    let push = |out: &mut Vec<BandPoint>, at: f64, mean: f64, var: f64| {
        out.push(band_point(origin + at, mean, var, reading));
    };
    let mut out = Vec::new();
    let mut sums = vec![(0.0, 0.0); hours.len()];
    for (point, line) in average.points.iter().zip(lines) {
        let states = if point.shape.wander {
            let (time, y, w) = problem.readings_of(s);
            smoothed(time, y, w, point.theta.omega2)
        } else {
            vec![line[s].filtered; hours.len()]
        };
        for ((sum, state), h) in sums.iter_mut().zip(&states).zip(hours) {
            let o = line[s].outlook_with(&problem.frame, problem.group[s], member.clock.at(*h), state);
            sum.0 += o.level;
            sum.1 += o.level_var + o.level * o.level;
        }
    }
    let k = average.points.len() as f64;
    for ((m, q), h) in sums.iter().zip(hours) {
        let mean = m / k;
        push(&mut out, *h, mean, (q / k - mean * mean).max(0.0));
    }
    ahead_of(&mut out, prospect, origin, last, horizon);
    out
}

/// Band points from the last reading to past the horizon.
pub(crate) fn ahead_of(out: &mut Vec<BandPoint>, prospect: &Prospect, origin: f64, last: f64, horizon: Option<f64>) {
    let reading = prospect.sd_reading();
    let reach = horizon.map_or(0.5 * last, |h| 1.25 * h).max(1.0);
    for i in 1..=16 {
        let ahead = reach * f64::from(i) / 16.0;
        let (mean, sd) = prospect.value_at(ahead);
        out.push(band_point(origin + last + ahead, mean, sd * sd, reading));
    }
}
