//! Gross errors: a slipped digit, a wrong unit, a valve mistaken for its neighbour.
//!
//! A model asked for by name takes its readings at their word, so that it gives what any mixed-model library gives, but for readings that
//! no normal error explains: those that lie more than [`GROSS`] standard deviations from what all other readings foretell. Each reading
//! left out is judged by a fit without it, for a gross error inflates the variances it is judged by; where to look first, robust
//! increments say ([`suspects`]), which several gross errors together do not hide from.
//!
//! Left out means weight 0, and that is the weight which is told.

use super::average::{Average, Point};
use super::member::{Member, fit_member};
use super::{Spec, answer};
use crate::families::{FamilyFit, FitFailure, FitQuestion};
use crate::kernel::evaluate;
use crate::kernel::law::Miss;
use crate::kernel::posterior::posteriors;
use crate::segments::Segments;

/// Standard deviations beyond which a reading is a gross error. A normal error is that far off once in 10¹⁵ readings, more than any fleet
/// has; a slip of one digit is, as a rule, by far. Smaller misses stay at their word.
pub(crate) const GROSS: f64 = 8.0;

/// Gross errors beyond this share of the readings are no slips: the model does not follow them.
const MOST: f64 = 0.1;

/// A reading left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    pub(crate) segment: usize,
    pub(crate) reading: Miss,
}

/// Fits a member with normal errors to all readings but the gross errors.
pub(crate) fn fit_gross(question: &FitQuestion<'_>, spec: Spec) -> Result<(Member, Vec<Found>), FitFailure> {
    let FitQuestion { segments, options, known_sd, .. } = *question;
    let all = if question.weights.is_empty() { vec![1.0; segments.readings()] } else { question.weights.to_vec() };
    let fit = |out: &[usize]| {
        let mut weights = all.clone();
        for &i in out {
            weights[i] = 0.0;
        }
        let weights = if weights.iter().all(|w| *w >= 1.0) { Vec::new() } else { weights };
        fit_member(segments, &weights, spec, options.estimator, known_sd, None)
    };
    let most = (MOST * segments.readings() as f64).ceil() as usize;
    let confirmed = |i: usize| question.confirmed.get(i).copied().unwrap_or(false) || all[i] <= 0.0;
    let mut out: Vec<usize> = suspects(segments, &all).into_iter().filter(|i| !confirmed(*i)).take(most).collect();
    let mut member = match fit(&out) {
        Ok(member) => member,
        // Without the suspects too little is left to fit.
        Err(_) if !out.is_empty() => {
            out.clear();
            fit(&out)?
        }
        Err(failure) => return Err(failure),
    };
    let mut found = Vec::new();
    for _ in 0..=most {
        let misses = misses(segments, &member, &out);
        // Suspects that the fit without them explains come back.
        let keep: Vec<usize> = out.iter().copied().filter(|i| misses[*i].standardised.abs() > GROSS).collect();
        let worst = (0..misses.len())
            .filter(|i| !out.contains(i) && !confirmed(*i))
            .max_by(|a, b| misses[*a].standardised.abs().total_cmp(&misses[*b].standardised.abs()));
        let mut next = keep.clone();
        if keep.len() == out.len()
            && out.len() < most
            && let Some(worst) = worst
            && is_gross_when_left_out(segments, &fit, &out, worst, misses[worst].standardised)
        {
            next.push(worst);
        }
        found = keep.iter().map(|&i| Found { segment: segments.segment_of(i), reading: misses[i] }).collect();
        if next == out {
            break;
        }
        out = next;
        member = fit(&out)?;
    }
    found.sort_by_key(|f: &Found| f.reading.at);
    Ok((member, found))
}

/// Segments up to which a single reading may hide itself by what it adds to the variances: of n segments one that is far off is, by a
/// scatter of slopes that it made, at most √n standard deviations off.
const HIDES_UP_TO: usize = 150;

/// Whether the reading is a gross error once it is left out.
fn is_gross_when_left_out(
    segments: &Segments,
    fit: &dyn Fn(&[usize]) -> Result<Member, FitFailure>,
    out: &[usize],
    at: usize,
    standardised: f64,
) -> bool {
    if standardised.abs() > GROSS {
        return true;
    }
    // Beside variances that it inflates itself a gross error stands out by two deviations at the least.
    if segments.len() > HIDES_UP_TO || standardised.abs() < 2.0 {
        return false;
    }
    let with: Vec<usize> = out.iter().copied().chain([at]).collect();
    fit(&with).is_ok_and(|member| misses(segments, &member, &with)[at].standardised.abs() > GROSS)
}

/// How far each reading lies from what all others foretell; `out` are those that the fit does not know.
pub(crate) fn misses(segments: &Segments, member: &Member, out: &[usize]) -> Vec<Miss> {
    let law = answer::law(member);
    let mut weights = if member.weight.is_empty() { vec![1.0; segments.readings()] } else { member.weight.clone() };
    for &i in out {
        weights[i] = 0.0;
    }
    (0..segments.len()).flat_map(|s| law.misses(segments, s, &weights)).collect()
}

/// Readings whose increments are far outside those of the fleet, the farthest first: where to look for gross errors.
///
/// An increment's deviation from the fleet's median rate is held against the median of all such deviations. Of a reading inside a segment
/// both increments must be off, to opposite sides; at an end the one there is.
pub(crate) fn suspects(segments: &Segments, weights: &[f64]) -> Vec<usize> {
    // (reading before, reading after, hours, rise)
    let mut steps: Vec<(usize, usize, f64, f64)> = Vec::new();
    for s in 0..segments.len() {
        let own: Vec<usize> = segments.range(s).filter(|i| weights[*i] > 0.0).collect();
        steps.extend(own.windows(2).map(|w| {
            let (a, b) = (w[0], w[1]);
            (a, b, segments.hours[b] - segments.hours[a], segments.value[b] - segments.value[a])
        }));
    }
    let median = |mut x: Vec<f64>| {
        x.sort_unstable_by(f64::total_cmp);
        if x.is_empty() { 0.0 } else { x[x.len() / 2] }
    };
    if steps.len() < 4 {
        return Vec::new();
    }
    let rate = median(steps.iter().filter(|s| s.2 > 0.0).map(|s| s.3 / s.2).collect());
    let off: Vec<f64> = steps.iter().map(|s| s.3 - rate * s.2).collect();
    // 1.4826 × the median deviation is a normal's standard deviation.
    let scale = 1.4826 * median(off.iter().map(|x| x.abs()).collect());
    if scale.is_nan() || scale <= 0.0 {
        return Vec::new();
    }
    let limit = GROSS * scale;
    let mut before = vec![0.0_f64; segments.readings()];
    let mut after = vec![0.0_f64; segments.readings()];
    let (mut has_before, mut has_after) = (vec![false; before.len()], vec![false; before.len()]);
    for ((a, b, ..), off) in steps.iter().zip(&off) {
        (before[*b], has_before[*b]) = (*off, true);
        (after[*a], has_after[*a]) = (*off, true);
    }
    let size = |i: usize| match (has_before[i], has_after[i]) {
        (true, true) if before[i] * after[i] < 0.0 => before[i].abs().min(after[i].abs()),
        // At an end the neighbour may be the one that is off: then its other increment says so.
        (true, false) => before[i].abs(),
        (false, true) => after[i].abs(),
        _ => 0.0,
    };
    let mut found: Vec<(f64, usize)> = (0..before.len()).map(|i| (size(i), i)).filter(|f| f.0 > limit).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let inner = |i: usize| has_before[i] && has_after[i];
    // Beside an inner one that is off, an end is only its neighbour.
    let neighbours = |i: usize, j: usize| steps.iter().any(|s| (s.0, s.1) == (i.min(j), i.max(j)));
    let inner_found: Vec<usize> = found.iter().map(|f| f.1).filter(|i| inner(*i)).collect();
    found.into_iter().map(|f| f.1).filter(|i| inner(*i) || !inner_found.iter().any(|j| neighbours(*i, *j))).collect()
}

/// Fills in what the valves concerned would be with their gross errors at their word: the variances as fitted, the mean lines and the
/// valve's own line with the reading in.
pub(super) fn take_back(
    question: &FitQuestion<'_>,
    member: &Member,
    average: &Average,
    found: &[Found],
    out: &mut FamilyFit,
) {
    let segments = question.segments;
    for fit in &mut out.current {
        let own: Vec<usize> = found.iter().filter(|f| f.segment == fit.segment).map(|f| f.reading.at).collect();
        if own.is_empty() {
            continue;
        }
        let mut weights = member.weight.clone();
        for i in own {
            weights[i] = 1.0;
        }
        let problem = member.problem.with_readings(segments, &weights);
        let hours = segments.range(fit.segment).last().map_or(0.0, |i| segments.hours[i]);
        let (lambda, group) = (member.clock.at(hours), problem.group[fit.segment]);
        let state = |point: &Point| {
            let profile = evaluate(&problem, point.shape, &point.theta, member.estimator)?;
            // The reading tells of this valve's line; how readings scatter the others tell.
            let profile = crate::kernel::Profile { sigma2: point.profile.sigma2, ..profile };
            let lines = posteriors(&problem, point.shape, &point.theta, &profile);
            Some(lines[fit.segment].outlook(&problem.frame, group, lambda))
        };
        let f = &member.fitted;
        let plug = Point { shape: f.shape, theta: f.theta, profile: f.profile.clone() };
        let here = state(&plug);
        let outlooks: Option<Vec<_>> = average.points.iter().map(state).collect();
        if let (Some(here), Some(outlooks)) = (here, outlooks) {
            let prospect = answer::prospect(member, outlooks, question.zone, hours);
            fit.at_their_word = Some((answer::estimate(member, &here, hours), prospect));
        }
    }
}
