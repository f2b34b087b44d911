//! The straight-line family over one feature: from a wish (which parts, which clock, which errors) to a fit.

use super::Spec;
use super::average::padded;
use super::identifiability::Identifiability;
use super::search::{Fitted, fit};
use crate::families::FitFailure;
use crate::kernel::frame::Clock;
use crate::kernel::{Problem, Shape, evaluate};
use crate::options::Estimator;
use crate::result::{FitStatus, GroupLine, Model, ModelKind};
use crate::segments::Segments;

/// A fitted member.
#[derive(Debug, Clone)]
pub(crate) struct Member {
    pub(crate) spec: Spec,
    pub(crate) problem: Problem,
    pub(crate) fitted: Fitted,
    /// The shape before variances at 0 were dropped.
    pub(crate) full: Shape,
    pub(crate) support: Identifiability,
    pub(crate) clock: Clock,
    /// Degrees of freedom of heavy-tailed reading errors.
    pub(crate) df: Option<f64>,
    /// σ was estimated outside the shape, which holds it as known.
    pub(crate) sigma_estimated: bool,
    /// Of each reading; empty for all 1.
    pub(crate) weight: Vec<f64>,
    pub(crate) log_likelihood: f64,
    pub(crate) parameters: usize,
    pub(crate) estimator: Estimator,
    /// The power of the hours sits at the end of its range.
    pub(crate) power_at_end: bool,
}

/// Groups are pooled where one of them has no line of its own to show.
pub(crate) const POOLED: &str = "a group has no valve read at two different hours, so all groups share one mean line";

/// Fits one member with normal errors. `weight` is empty for all 1.
pub(crate) fn fit_member(
    segments: &Segments,
    weight: &[f64],
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
    warm: Option<&Member>,
) -> Result<Member, FitFailure> {
    if segments.readings() == 0 {
        return Err(FitFailure::not_estimable("no readings are left"));
    }
    if spec.kind != ModelKind::RunningIn {
        return fit_at(segments, weight, spec, estimator, known_sd, Clock::PLAIN, warm);
    }
    let unit = (segments.hours.iter().map(|h| h * h).sum::<f64>() / segments.readings() as f64).sqrt();
    if unit.is_nan() || unit <= 0.0 {
        return Err(FitFailure::not_estimable("no valve was read at two different hours"));
    }
    // Profile likelihood over the power. Restricted likelihoods of different clocks do not compare, so the power is ML's in either case.
    let (low, high) = (0.2_f64.ln(), 3.0_f64.ln());
    let mut last: Option<Member> = warm.cloned();
    let mut deviance = |log_power: f64| {
        let clock = Clock { power: log_power.exp(), unit, growth: 0.0 };
        match fit_at(segments, weight, spec, Estimator::Ml, known_sd, clock, last.as_ref()) {
            Ok(m) => {
                let d = -2.0 * m.log_likelihood;
                last = Some(m);
                d
            }
            Err(_) => f64::INFINITY,
        }
    };
    let best = minimum(&mut deviance, low, high, warm.map(|m| m.clock.power.ln()));
    let clock = Clock { power: best.exp(), unit, growth: 0.0 };
    let mut member = fit_at(segments, weight, spec, estimator, known_sd, clock, last.as_ref())?;
    member.parameters += 1;
    if best - low < 0.01 || high - best < 0.01 {
        member.power_at_end = true;
        member.fitted.status = FitStatus::Boundary;
        add(&mut member.fitted.reason, "the power of the hours sits at the end of its range, 0.2 to 3");
    }
    Ok(member)
}

/// Minimum of a unimodal function by golden sections with a parabola at the end, to 1e-4.
fn minimum(f: &mut dyn FnMut(f64) -> f64, low: f64, high: f64, near: Option<f64>) -> f64 {
    const RATIO: f64 = 0.618_033_988_749_894_8;
    let (mut a, mut b) = near.map_or((low, high), |x| ((x - 0.15).max(low), (x + 0.15).min(high)));
    let (mut c, mut d) = (b - RATIO * (b - a), a + RATIO * (b - a));
    let (mut fc, mut fd) = (f(c), f(d));
    while b - a > 0.02 {
        if fc < fd {
            (b, d, fd) = (d, c, fc);
            c = b - RATIO * (b - a);
            fc = f(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + RATIO * (b - a);
            fd = f(d);
        }
    }
    let (x0, x1, x2) = (a, 0.5 * (a + b), b);
    let (f0, f1, f2) = (f(x0), f(x1), f(x2));
    let curve = f0 - 2.0 * f1 + f2;
    if curve > 0.0 && curve.is_finite() {
        return (x1 + 0.25 * (b - a) * (f0 - f2) / curve).clamp(a, b);
    }
    if f0 < f2 { x0 } else { x2 }
}

pub(crate) fn add(reason: &mut String, text: &str) {
    if !reason.is_empty() {
        reason.push_str("; ");
    }
    reason.push_str(text);
}

fn fit_at(
    segments: &Segments,
    weight: &[f64],
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
    clock: Clock,
    warm: Option<&Member>,
) -> Result<Member, FitFailure> {
    let wander = spec.wanders();
    let mut problem = Problem::of_readings(segments, weight, clock, false, wander);
    let mut support = Identifiability::of(&problem);
    let mut pooled = false;
    if support.poor_groups > 0 && problem.groups > 1 {
        problem = Problem::of_readings(segments, weight, clock, true, wander);
        support = Identifiability::of(&problem);
        pooled = true;
    }
    fit_problem(problem, support, pooled, spec, estimator, known_sd, clock, weight, warm)
}

/// Fits a problem already framed; this is where sums come in too.
#[allow(clippy::too_many_arguments, reason = "called from two places that have all of them")]
pub(crate) fn fit_problem(
    problem: Problem,
    support: Identifiability,
    pooled: bool,
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
    clock: Clock,
    weight: &[f64],
    warm: Option<&Member>,
) -> Result<Member, FitFailure> {
    if support.with_slope == 0 {
        return Err(FitFailure::not_estimable(format!(
            "no valve was read at two different hours ({} reading(s) of {} segment(s)), so nothing tells how fast it drifts; read again",
            support.readings, support.segments
        )));
    }
    if support.readings <= problem.fixed() && known_sd.is_none() {
        return Err(FitFailure::not_estimable(format!(
            "{} readings are as many as the mean lines have parameters, so the reading error cannot be told; read again, or give \
             `reading_sd` in the policy",
            support.readings
        )));
    }
    let (mut full, note) = support.shape(problem.groups, known_sd);
    if full.intercept
        && support.spare == 0
        && !full.slope
        && known_sd.is_none()
        && support.readings <= problem.fixed() + 1
    {
        full.intercept = false;
    }
    full.wander = spec.wanders();
    full.engine = spec.engine;
    full.valve = spec.valve && full.slope && support.kept_parts > 0;
    let start = warm.filter(|w| Shape { known_sd, ..w.full } == full).map(|w| start_from(&w.fitted, full));
    let mut fitted = fit(&problem, full, estimator, &support, start.as_deref())?;
    if let Some(note) = note {
        fitted.status = FitStatus::Boundary;
        add(&mut fitted.reason, note);
    }
    if pooled {
        add(&mut fitted.reason, POOLED);
    }
    let deviance = evaluate(&problem, fitted.shape, &fitted.theta, estimator).map_or(f64::NAN, |p| p.deviance);
    let parameters = problem.fixed() + fitted.shape.free() + usize::from(fitted.shape.known_sd.is_none());
    Ok(Member {
        spec,
        problem,
        fitted,
        full,
        support,
        clock,
        df: None,
        sigma_estimated: false,
        weight: weight.to_vec(),
        log_likelihood: -0.5 * deviance,
        parameters,
        estimator,
        power_at_end: false,
    })
}

/// An earlier fit's parameters in the full shape; those it dropped start small, for 0 is a flat place from which no search returns.
fn start_from(fitted: &Fitted, full: Shape) -> Vec<f64> {
    padded(fitted, full).iter().map(|x| if *x == 0.0 { 0.1 } else { *x }).collect()
}

impl Member {
    /// The model in the feature's unit and hours.
    pub(crate) fn model(&self, group_names: &[String]) -> Model {
        let (frame, f) = (&self.problem.frame, &self.fitted);
        let (scale, per_hour) = (frame.scale, frame.scale / frame.time);
        let sigma = f.profile.sigma2.sqrt();
        let [l0, l1, l2] = f.theta.l;
        let slope = (l1 * l1 + l2 * l2 + f.theta.kappa2.max(0.0)).sqrt();
        let p = self.problem.fixed();
        let cov = |i: usize, j: usize| f.profile.sigma2 * f.profile.covariance[i * p + j];
        let mut counts = vec![0usize; self.problem.groups];
        for g in &self.problem.group {
            counts[*g as usize] += 1;
        }
        let groups: Vec<GroupLine> = (0..self.problem.groups)
            .map(|g| {
                let (a, b) = frame.lines[g];
                GroupLine {
                    group: if self.problem.groups == 1 && group_names.len() > 1 {
                        String::new()
                    } else {
                        group_names.get(g).cloned().unwrap_or_default()
                    },
                    segments: counts[g],
                    intercept: a + scale * f.profile.beta[2 * g],
                    intercept_se: scale * cov(2 * g, 2 * g).sqrt(),
                    slope: b + per_hour * f.profile.beta[2 * g + 1],
                    slope_se: per_hour * cov(2 * g + 1, 2 * g + 1).sqrt(),
                }
            })
            .collect();
        // The fleet's mean line: groups weighted by their segments.
        let total = counts.iter().sum::<usize>().max(1) as f64;
        let share: Vec<f64> = counts.iter().map(|c| *c as f64 / total).collect();
        let mean = |f: &dyn Fn(&GroupLine) -> f64| groups.iter().zip(&share).map(|(g, w)| w * f(g)).sum::<f64>();
        let se = |offset: usize| {
            let mut sum = 0.0;
            for (i, a) in share.iter().enumerate() {
                for (j, b) in share.iter().enumerate() {
                    sum += a * b * cov(2 * i + offset, 2 * j + offset);
                }
            }
            sum.max(0.0).sqrt()
        };
        let running_in = self.spec.kind == ModelKind::RunningIn;
        Model {
            kind: self.spec.kind,
            intercept: mean(&|g| g.intercept),
            slope: mean(&|g| g.slope),
            intercept_se: scale * se(0),
            slope_se: per_hour * se(1),
            sd_intercept: scale * sigma * l0.abs(),
            sd_slope: per_hour * sigma * slope,
            corr: if l0.abs() > 0.0 && slope > 0.0 { (l1 * l0.signum() / slope).clamp(-1.0, 1.0) } else { 0.0 },
            sd_wander: scale * sigma * (f.theta.omega2.max(0.0) / frame.time).sqrt(),
            sd_reading: scale * sigma,
            sd_visit: None,
            sd_engine_slope: self.spec.engine.then(|| per_hour * sigma * f.theta.gamma2.max(0.0).sqrt()),
            sd_valve_slope: self.spec.valve.then(|| per_hour * sigma * f.theta.kappa2.max(0.0).sqrt()),
            reading_df: self.df,
            power: running_in.then_some(self.clock.power),
            power_hours: running_in.then_some(self.clock.unit),
            growth: None,
            gamma: None,
            log_likelihood: Some(self.log_likelihood),
            parameters: self.parameters,
            groups,
        }
    }

    /// −2·log-likelihood + parameters·ln(readings), of an ML fit.
    pub(crate) fn bic(&self) -> f64 {
        -2.0 * self.log_likelihood + self.parameters as f64 * (self.support.readings as f64).ln()
    }
}
