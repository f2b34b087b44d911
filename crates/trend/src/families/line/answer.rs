//! From a fitted member to levels, slopes and futures: of every valve's last segment, and of one that begins now.

use super::average::{Average, Point};
use super::gross::Found;
use super::member::Member;
use crate::crossing::{ClockOrPlain, Prospect, Zone};
use crate::families::{Estimate, FamilyFit, FitQuestion, Past, SegmentFit};
use crate::kernel::posterior::{Posterior, posteriors, smoothed};
use crate::kernel::{FleetLaw, Outlook, Problem};
use crate::result::{Diagnostics, FleetProspect};
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;
use packdrift_numerics::special::student_t_quantile;
use packdrift_numerics::stream::Key;
use rayon::prelude::*;

/// Effective draws below which an average over the variances is refused: a chance that differs from draw to draw by as much as ±¼ (one
/// standard deviation) then has a standard error of 0.018, beside the 0.05 that usually decides.
const NEEDED: f64 = 200.0;

/// All that the later stages need of a member.
pub(crate) fn answer(question: &FitQuestion<'_>, member: &Member, average: &Average, doubted: &[Found]) -> FamilyFit {
    let segments = question.segments;
    let last = |s: usize| segments.range(s).last().map_or(0.0, |i| segments.hours[i]);
    let current: Vec<(usize, f64)> =
        (0..segments.len()).filter(|s| segments.current[*s]).map(|s| (s, last(s))).collect();
    let mut out = of_segments(member, average, &current, question.zone, &segments.group_names);
    if question.figures {
        let lines = all_lines(&member.problem, average);
        for fit in &mut out.current {
            fit.past = past(segments, fit.segment, member, average, &lines);
        }
    }
    super::gross::take_back(question, member, average, doubted, &mut out);
    out
}

/// The answer for segments given by index and hours at their last reading; readings need not be at hand.
pub(crate) fn of_segments(
    member: &Member,
    average: &Average,
    current: &[(usize, f64)],
    zone: Option<Zone>,
    group_names: &[String],
) -> FamilyFit {
    let problem = &member.problem;
    let plug = posteriors(problem, member.fitted.shape, &member.fitted.theta, &member.fitted.profile);
    let spread = if average.points.len() > 1 { all_lines(problem, average) } else { Vec::new() };
    let fits = current
        .par_iter()
        .with_min_len(64)
        .map(|&(segment, hours)| segment_fit(member, &plug, &spread, segment, hours, zone))
        .collect();
    FamilyFit {
        model: member.model(group_names),
        method: member.estimator.name(),
        diagnostics: Diagnostics {
            status: member.fitted.status,
            reason: member.fitted.reason.clone(),
            evaluations: member.fitted.evaluations,
            newton_decrement: member.fitted.decrement,
            average_points: average.points.len(),
            average_effective: average.effective,
        },
        trouble: trouble(member, average),
        reach: None,
        current: fits,
        weights: member.weight.clone(),
        new_segments: new_segments(member, average, zone, group_names),
        law: Some(law(member)),
        notes: Vec::new(),
    }
}

/// Why chances by this fit must not reassure.
fn trouble(member: &Member, average: &Average) -> Option<String> {
    if average.collapsed {
        return Some("the average over the variances could not be taken".to_owned());
    }
    if average.points.len() > 1 && average.effective < NEEDED {
        return Some(format!(
            "only {:.0} of the draws that the variances are averaged over count, {NEEDED:.0} are needed",
            average.effective
        ));
    }
    member.power_at_end.then(|| "the power of the hours sits at the end of its range".to_owned())
}

/// Lines of all segments at every point of an average.
fn all_lines(problem: &Problem, average: &Average) -> Vec<Vec<Posterior>> {
    average.points.iter().map(|p| posteriors(problem, p.shape, &p.theta, &p.profile)).collect()
}

fn segment_fit(
    member: &Member,
    plug: &[Posterior],
    spread: &[Vec<Posterior>],
    segment: usize,
    hours: f64,
    zone: Option<Zone>,
) -> SegmentFit {
    let problem = &member.problem;
    let (lambda, group) = (member.clock.at(hours), problem.group[segment]);
    let state = |line: &[Posterior]| line[segment].outlook(&problem.frame, group, lambda);
    let here = state(plug);
    let outlooks = if spread.is_empty() { vec![here] } else { spread.iter().map(|line| state(line)).collect() };
    SegmentFit {
        segment,
        estimate: estimate(member, &here, hours),
        prospect: prospect(member, outlooks, zone, hours),
        at_their_word: None,
        past: Vec::new(),
    }
}

/// Level and slope per hour with their errors, the fitted variances at their word: the best linear unbiased prediction.
pub(super) fn estimate(member: &Member, here: &Outlook, hours: f64) -> Estimate {
    let rate = member.clock.rate(hours.max(1.0));
    Estimate {
        level: here.level,
        level_se: here.level_var.sqrt(),
        slope: here.slope * rate,
        slope_se: here.slope_var.sqrt() * rate,
        cov: here.cov * rate,
    }
}

pub(super) fn prospect(member: &Member, outlooks: Vec<Outlook>, zone: Option<Zone>, age: f64) -> Prospect {
    Prospect {
        outlooks,
        clock: ClockOrPlain(member.clock),
        reading_df: member.df,
        zone: zone.unwrap_or_default(),
        age,
        ..Prospect::default()
    }
}

/// What a sound reading scatters by: the t's scale, widened to the normal that has the t's quartiles. The few readings that make the tail
/// heavy draw the t's own scale below the rest of the readings'.
fn sound_reading(member: &Member) -> f64 {
    let sigma = member.fitted.profile.sigma2.sqrt();
    member.df.map_or(sigma, |nu| sigma * student_t_quantile(nu, 0.75) / normal::quantile(0.75))
}

/// The law of the fitted member.
pub(super) fn law(member: &Member) -> FleetLaw {
    let (frame, f) = (&member.problem.frame, &member.fitted);
    let (scale, per_hour) = (frame.scale, frame.scale / frame.time);
    let s2 = f.profile.sigma2;
    let [l0, l1, l2] = f.theta.l;
    let p = member.problem.fixed();
    let units: Vec<f64> = (0..p).map(|i| if i % 2 == 0 { scale } else { per_hour }).collect();
    FleetLaw {
        lines: (0..member.problem.groups)
            .map(|g| {
                let (a, b) = frame.lines[g];
                (a + scale * f.profile.beta[2 * g], b + per_hour * f.profile.beta[2 * g + 1])
            })
            .collect(),
        lines_cov: (0..p * p).map(|k| s2 * f.profile.covariance[k] * units[k / p] * units[k % p]).collect(),
        start_var: scale * scale * s2 * l0 * l0,
        cov: scale * per_hour * s2 * l0 * l1,
        slope_var: per_hour * per_hour * s2 * (l1 * l1 + l2 * l2 + f.theta.gamma2 + f.theta.kappa2),
        wander_var: scale * per_hour * s2 * f.theta.omega2,
        reading: scale * sound_reading(member),
        clock: member.clock,
    }
}

/// Draws of the fleet's parameters that [`FleetProspect::drawn`] has.
const DRAWN: usize = 64;

/// The prospect of a new segment of each group: a valve just built, re-shimmed or fitted with new parts, not yet read.
fn new_segments(member: &Member, average: &Average, zone: Option<Zone>, group_names: &[String]) -> Vec<FleetProspect> {
    let drawn: Vec<(&Point, Vec<f64>)> =
        (0..DRAWN).map(|k| &average.points[k % average.points.len()]).zip(mean_lines(average)).collect();
    let of = |outlooks| prospect(member, outlooks, zone, 0.0);
    (0..member.problem.groups)
        .map(|g| FleetProspect {
            group: if member.problem.groups == 1 && group_names.len() > 1 {
                String::new()
            } else {
                group_names.get(g).cloned().unwrap_or_default()
            },
            prospect: of(average.points.iter().map(|point| new_segment(member, point, g, None)).collect()),
            drawn: of(drawn.iter().map(|(point, beta)| new_segment(member, point, g, Some(beta))).collect()),
        })
        .collect()
}

/// A new segment of group `g` at one point of the average: about the mean line as estimated, its error included, or as drawn.
fn new_segment(member: &Member, point: &Point, g: usize, drawn: Option<&[f64]>) -> Outlook {
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

/// The true value at the readings of a segment, in hindsight.
fn past(segments: &Segments, s: usize, member: &Member, average: &Average, lines: &[Vec<Posterior>]) -> Vec<Past> {
    let problem = &member.problem;
    let hours = &segments.hours[segments.range(s)];
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
    let at = |(h, (m, q)): (&f64, &(f64, f64))| {
        let mean = m / k;
        Past { hours: *h, mean, sd: (q / k - mean * mean).max(0.0).sqrt() }
    };
    hours.iter().zip(&sums).map(at).collect()
}
