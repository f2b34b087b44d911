//! From a fitted gamma process to a forecast of every valve.

use super::lattice::State;
use super::{GammaFit, WearPoint};
use crate::crossing::{Prospect, Zone};
use crate::forecast::{Cases, Judging, Names, ahead_of, band_point, judge, readings_of};
use crate::inspections::Inspections;
use crate::options::Options;
use crate::result::{CrossingHours, Diagnostics, FeatureResult, FleetProspect, ValveForecast};
use crate::segments::Segments;

/// Fills in model, forecasts, fleet prospects and figures' series.
#[allow(clippy::too_many_arguments, reason = "one call")]
pub(crate) fn fill(
    out: &mut FeatureResult,
    table: &Inspections,
    names: Names<'_>,
    cases: &Cases,
    segments: &Segments,
    fit: &GammaFit,
    judging: Judging<'_>,
    options: &Options,
) {
    out.method = "ML";
    out.diagnostics = Diagnostics {
        status: fit.status,
        reason: fit.reason.clone(),
        evaluations: fit.evaluations,
        newton_decrement: fit.decrement,
        average_points: fit.draws.len(),
        average_effective: fit.draws.len() as f64,
    };
    out.model = Some(fit.model(&cases.group_names));
    let zone = out.limits.as_ref().and_then(Zone::of);
    let prospect = |wear: Vec<WearPoint>| Prospect { wear, zone: zone.unwrap_or_default(), ..Prospect::default() };
    out.fleet = (0..fit.params.shape.len())
        .map(|g| {
            // Every point is a draw of all parameters.
            let prospect = prospect(fit.draws.iter().map(|p| WearPoint::fresh(p, g, fit.sign)).collect());
            FleetProspect { group: cases.group_names[g].clone(), drawn: prospect.clone(), prospect }
        })
        .collect();
    let points = fit.points(segments);
    let histories = fit.histories(segments);
    let at = |state: &State| WearPoint::of(state, &fit.params, fit.sign);
    let weights = fit.weights(segments);
    let policy = judging.policy;
    let current = cases.current_segments();
    let judged = judging.places(&current.iter().map(|s| cases.engine[*s]).collect::<Vec<_>>());
    let keep_series = current.len() <= options.series_up_to;
    let mut from = 0;
    for (place, s) in current.into_iter().enumerate() {
        // Level and slope at the fitted parameters; chances averaged over them.
        let count = segments.range(s).len();
        let here = histories[s].last().map(at).unwrap_or_default();
        let (level, level_var) = here.at(0.0);
        let (slope, slope_var, cov) = here.rate();
        let (engine, valve) = &names.valves[cases.valve[s] as usize];
        let mut one = ValveForecast {
            valve_index: cases.valve[s],
            engine: names.engines[*engine as usize].clone(),
            valve: valve.clone(),
            group: cases.group_names[cases.group[s] as usize].clone(),
            segment: cases.number[s],
            readings: count,
            hours: cases.origin[s] + cases.last[s],
            segment_start: cases.origin[s],
            level,
            level_se: level_var.sqrt(),
            slope,
            slope_se: slope_var.sqrt(),
            level_slope_cov: cov,
            drifting_to: None,
            crossing_hours: CrossingHours::default(),
            chance_now: None,
            chance_by_horizon: None,
            status: None,
            verdict: None,
            newest: cases.newest.get(s).copied(),
            prospect: prospect(points[s].clone()),
            series: Vec::new(),
            band: Vec::new(),
        };
        if judged.contains(&place) {
            judge(&mut one, zone, policy);
        }
        if keep_series {
            from = readings_of(&mut one, table, segments, &weights, from);
            let first = segments.range(s).start;
            for (k, then) in histories[s].iter().enumerate() {
                // As known at each reading, not in hindsight: the filter's own figures.
                let (mean, var) = at(then).at(0.0);
                one.band.push(band_point(cases.origin[s] + segments.hours[first + k], mean, var, fit.params.sigma));
            }
            ahead_of(&mut one.band, &one.prospect, cases.origin[s], cases.last[s], policy.map(|p| p.horizon));
        }
        out.valves.push(one);
    }
}
