//! The gamma process: wear that cannot heal, read with error. Fit and forecasts.

mod answer;
mod error;
mod increments;
pub(crate) mod jump;
mod lattice;
mod points;
mod score;
mod start;

pub(crate) use answer::{Gamma, GammaAlone, Process};

use super::FitFailure;
use super::line::{Spec, fit_member};
use crate::crossing::Prospect;
use crate::crossing::wear::WearPoint;
use crate::optimise;
use crate::options::Estimator;
use crate::result::{FitStatus, GammaParameters, GroupLine, Model, ModelKind};
use crate::segments::Segments;
use lattice::{FINE, Lattice, Params, State, WIDEST, step};
use nalgebra::DMatrix;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;
use score::Score;

/// A fitted gamma process.
#[derive(Debug, Clone)]
pub(crate) struct GammaFit {
    pub(crate) params: Params,
    /// Parameter sets of equal weight over which forecasts are averaged: even points of the likelihood's normal approximation.
    pub(crate) draws: Vec<Params>,
    pub(crate) step: f64,
    /// 1 where depths rise, −1 where the feature falls (a spring's height) and is fitted upside down.
    pub(crate) sign: f64,
    pub(crate) log_likelihood: f64,
    pub(crate) parameters: usize,
    pub(crate) status: FitStatus,
    pub(crate) reason: String,
    pub(crate) evaluations: usize,
    pub(crate) decrement: f64,
    /// Standard errors of the mean start and of each group's mean rate.
    start_se: f64,
    rate_se: Vec<f64>,
    counts: Vec<usize>,
}

/// Where the search for the degrees of freedom begins, and its range: variances are finite above 2, and beyond some hundred the t is the
/// normal.
const FIRST_DF: f64 = 6.0;
const DF: (f64, f64) = (2.05, 150.0);

/// Depths a rate where one parameter set stands alone, and where it is one of many.
const ALONE: f64 = 12.0;
const OF_MANY: f64 = 6.0;

/// A density of a reading, by its standard deviation, below which depths out of the filter's reach count: that of a normal error at 6.3
/// standard deviations.
const CARRIED: f64 = 1e-9;

/// log₂ of half the parameter sets in a forecast's average: the other half lies opposite.
const LOG2_PAIRS: u32 = 4;

/// Increments over the longest record that scatter less than this share of a reading's error are straight lines, as far as readings tell: the
/// likelihood is flat from there on, and the shape wherever the search stopped.
const LEAST_SCATTER: f64 = 0.1;

/// Fits by maximum likelihood, with normal or Student's t reading errors. `near`: a fit of nearly the same readings to begin at.
pub(crate) fn fit(
    segments: &Segments,
    known_sd: Option<f64>,
    heavy: bool,
    near: Option<&GammaFit>,
) -> Result<GammaFit, FitFailure> {
    // The Wiener process with the same drift gives the start: its variance per hour is a·b².
    let wiener = fit_member(segments, &[], Spec::plain(ModelKind::Wiener), Estimator::Ml, known_sd, None)
        .or_else(|_| fit_member(segments, &[], Spec::plain(ModelKind::RandomSlope), Estimator::Ml, known_sd, None))?;
    let m = wiener.model(&segments.group_names);
    let groups = segments.group_names.len();
    let slope = |g: usize| m.groups.get(g).map_or(m.slope, |l| l.slope);
    let sign = if m.slope < 0.0 { -1.0 } else { 1.0 };
    if (0..groups).any(|g| sign * slope(g) <= 0.0) {
        return Err(FitFailure::not_estimable(
            "a gamma process only rises, or only falls, but the groups of this feature drift in different directions",
        ));
    }
    let value: Vec<f64> = segments.value.iter().map(|v| sign * v).collect();
    let wander = m.sd_wander.powi(2);
    let typical = sign * m.slope;
    // A wander of 0 would mean increments without scatter; a twentieth of the mean increment is a start the search can leave.
    let interval = segments.hours.iter().copied().fold(0.0, f64::max) / (wiener.support.longest.max(2) - 1) as f64;
    let scale = (wander / typical).max(0.05 * typical * interval);
    let params = Params {
        shape: (0..groups).map(|g| sign * slope(g) / scale).collect(),
        scale,
        // The scale of a t is less than its standard deviation, √(ν/(ν − 2)) scales.
        sigma: known_sd.unwrap_or(m.sd_reading * if heavy { (1.0 - 2.0 / FIRST_DF).sqrt() } else { 1.0 }),
        df: heavy.then_some(FIRST_DF),
        cv: (m.sd_slope / typical).clamp(0.05, 0.8),
        start: sign * m.intercept,
        start_sd: m.sd_intercept.max(0.3 * m.sd_reading),
    };
    // From where a neighbour ended it is a few steps; where that leads nowhere, the search begins as it would alone.
    let alike = |n: &&GammaFit| n.sign == sign && n.params.df.is_some() == heavy && n.params.shape.len() == groups;
    if let Some(near) = near.filter(alike)
        && let Ok(found) = settle(segments, &value, near.params.clone(), known_sd, sign)
    {
        return Ok(found);
    }
    settle(segments, &value, params, known_sd, sign)
}

/// Searches from `params`, on a lattice for their reading error, until that error is the one found.
fn settle(
    segments: &Segments,
    value: &[f64],
    mut params: Params,
    known_sd: Option<f64>,
    sign: f64,
) -> Result<GammaFit, FitFailure> {
    let groups = params.shape.len();
    let mut evaluations = 0;
    let mut width = step(params.sigma);
    for _ in 0..4 {
        let found = search(segments, value, &params, known_sd, width).ok_or_else(|| {
            FitFailure::not_estimable(
                "some readings fall by more than reading error explains, which a wear that cannot heal does not allow; look for an event \
                 that was not noted, or fit another model",
            )
        })?;
        evaluations += found.evaluations;
        let base = params;
        params = unpack(&found.x, &base, groups, known_sd);
        let settled = (params.sigma / (width * FINE) - 1.0).abs() < 0.25;
        if settled || known_sd.is_some() {
            if !found.converged() && found.decrement > 1e-3 {
                return Err(FitFailure {
                    status: FitStatus::NotConverged,
                    reason: format!("the search stopped with {:.1e} of the deviance still to gain", found.decrement),
                });
            }
            return Ok(finish(segments, &found, &base, params, width, sign, known_sd, evaluations));
        }
        width = step(params.sigma);
    }
    Err(FitFailure {
        status: FitStatus::NotConverged,
        reason: "the reading error cannot be told from the wear's own scatter; give `reading_sd` in the policy".into(),
    })
}

/// Free parameters: ln a by group, ln b, ln σ if free, ln ν if tails are heavy, cv and start_sd (either sign stands for the size), start; each of size 1.
fn unpack(x: &[f64], base: &Params, groups: usize, known_sd: Option<f64>) -> Params {
    let mut k = groups;
    let mut take = || {
        k += 1;
        x[k - 1]
    };
    Params {
        shape: (0..groups).map(|g| base.shape[g] * x[g].exp()).collect(),
        scale: base.scale * take().exp(),
        sigma: match known_sd {
            Some(sd) => sd,
            None => base.sigma * take().exp(),
        },
        df: base.df.map(|nu| (nu * take().exp()).clamp(DF.0, DF.1)),
        cv: take().abs().min(3.0),
        start_sd: base.sigma * take().abs(),
        start: base.start + base.sigma * take(),
    }
}

/// The likelihood as the search sees it: x relative to `base`.
struct Target<'a> {
    lattice: &'a Lattice,
    base: &'a Params,
    known_sd: Option<f64>,
}

impl Target<'_> {
    /// Where the search begins: at `base` itself.
    fn origin(&self) -> Vec<f64> {
        let free = usize::from(self.known_sd.is_none()) + usize::from(self.base.df.is_some());
        let mut x = vec![0.0; self.base.shape.len() + 1 + free];
        x.extend([self.base.cv, self.base.start_sd / self.base.sigma, 0.0]);
        x
    }

    /// Gradient of each segment's log-likelihood by the free parameters, and their sum of log-likelihoods.
    fn scores(&self, x: &[f64]) -> Option<(f64, Vec<Vec<f64>>)> {
        if x.iter().any(|x| x.abs() > 40.0) {
            return None;
        }
        let groups = self.base.shape.len();
        let p = unpack(x, self.base, groups, self.known_sd);
        // The lattice resolves errors near the one it was made for.
        let made_for = FINE * self.lattice.step;
        if p.sigma < 0.4 * made_for || p.sigma > WIDEST * made_for {
            return None;
        }
        let scores = self.lattice.scores(&p)?;
        let tail = x.len() - 3;
        let slopes = |s: &Score| {
            let mut out = vec![0.0; x.len()];
            out[s.group] = s.shape;
            out[groups] = s.scale;
            if self.known_sd.is_none() {
                out[groups + 1] = s.sigma;
            }
            if p.df.is_some_and(|nu| nu > DF.0 && nu < DF.1) {
                out[tail - 1] = s.df;
            }
            out[tail] = s.cv * sign(x[tail]);
            out[tail + 1] = self.base.sigma * s.start_sd * sign(x[tail + 1]);
            out[tail + 2] = self.base.sigma * s.start;
            out
        };
        Some((scores.iter().map(|s| s.log_likelihood).sum(), scores.iter().map(slopes).collect()))
    }

    /// Deviance and its gradient.
    fn deviance(&self, x: &[f64]) -> Option<(f64, Vec<f64>)> {
        let (log_likelihood, scores) = self.scores(x)?;
        let gradient = (0..x.len()).map(|k| -2.0 * scores.iter().map(|s| s[k]).sum::<f64>()).collect();
        Some((-2.0 * log_likelihood, gradient))
    }

    /// The inverse of the deviance's Hessian as the segments' scores tell it, twice the sum of their squares (E. Berndt, B. Hall,
    /// R. Hall, J. Hausman, Annals of Economic and Social Measurement 3 (1974) 653–665): a start for the search.
    fn metric(&self, x: &[f64]) -> Option<DMatrix<f64>> {
        let (_, scores) = self.scores(x)?;
        let n = x.len();
        let mut information = DMatrix::identity(n, n);
        for s in &scores {
            for i in 0..n {
                for j in 0..n {
                    information[(i, j)] += 2.0 * s[i] * s[j];
                }
            }
        }
        information.try_inverse()
    }
}

fn sign(x: f64) -> f64 {
    if x < 0.0 { -1.0 } else { 1.0 }
}

fn search(
    segments: &Segments,
    value: &[f64],
    base: &Params,
    known_sd: Option<f64>,
    step: f64,
) -> Option<optimise::Optimum> {
    let lattice = Lattice::new(segments, value, step, base.df.is_some());
    let target = Target { lattice: &lattice, base, known_sd };
    let from = target.origin();
    let metric = target.metric(&from)?;
    optimise::minimise_in(&mut |x: &[f64]| target.deviance(x), &from, Some(metric), true)
}

/// Even points of a standard normal distribution, each with its opposite, the same for every fit.
fn pairs(dimensions: usize) -> Vec<nalgebra::DVector<f64>> {
    let points = Scrambling { seed: 1, purpose: "gamma process parameters", number: 0, log2_points: LOG2_PAIRS };
    let mut columns = vec![vec![0.0; points.points()]; dimensions];
    for (k, column) in columns.iter_mut().enumerate() {
        points.fill(k, column);
    }
    let half: Vec<nalgebra::DVector<f64>> = (0..points.points())
        .map(|i| nalgebra::DVector::from_fn(dimensions, |k, _| normal::quantile(columns[k][i])))
        .collect();
    // Every fourth of all is again made of opposites.
    let opposite: Vec<nalgebra::DVector<f64>> = half.iter().map(|z| -z).collect();
    [half, opposite].concat()
}

#[allow(clippy::too_many_arguments, reason = "one call")]
fn finish(
    segments: &Segments,
    found: &optimise::Optimum,
    base: &Params,
    params: Params,
    step: f64,
    sign: f64,
    known_sd: Option<f64>,
    evaluations: usize,
) -> GammaFit {
    let groups = params.shape.len();
    let n = found.x.len();
    // Half the deviance's Hessian is the information; directions without curvature (a parameter at 0) get a unit length.
    let eigen = nalgebra::SymmetricEigen::new(&found.hessian * 0.5);
    // The symmetric root hangs neither on the order of the axes nor on their signs, so the points move no further than the likelihood does.
    let mut root = DMatrix::zeros(n, n);
    for k in 0..n {
        let axis = eigen.eigenvectors.column(k);
        root += axis * axis.transpose() * (1.0 / eigen.eigenvalues[k].max(1.0).sqrt());
    }
    let covariance = &root * &root;
    let draws = pairs(n)
        .into_iter()
        .map(|z| {
            let moved: Vec<f64> = found.x.iter().zip((&root * z).iter()).map(|(x, d)| x + d.clamp(-2.0, 2.0)).collect();
            let mut p = unpack(&moved, base, groups, known_sd);
            p.sigma = p.sigma.clamp(0.5 * FINE * step, 2.5 * FINE * step);
            p
        })
        .collect();
    let mut reason = String::new();
    let mut status = FitStatus::Ok;
    if params.cv < 0.02 {
        status = FitStatus::Boundary;
        reason = "the scatter of rates is estimated as 0: all segments of a group wear alike".into();
    }
    let mut counts = vec![0; groups];
    for g in &segments.group {
        counts[*g as usize] += 1;
    }
    // ln(a·b) = ln a + ln b.
    let rate_se = (0..groups)
        .map(|g| {
            let v = covariance[(g, g)] + covariance[(groups, groups)] + 2.0 * covariance[(g, groups)];
            params.shape[g] * params.scale * v.max(0.0).sqrt()
        })
        .collect();
    GammaFit {
        start_se: base.sigma * covariance[(n - 1, n - 1)].sqrt(),
        rate_se,
        counts,
        draws,
        step,
        sign,
        log_likelihood: -0.5 * found.value,
        parameters: n,
        status,
        reason,
        evaluations,
        decrement: found.decrement,
        params,
    }
}

impl GammaFit {
    /// Whether the increments scatter by themselves at all, as far as these readings can tell. Else the process has run out into straight lines.
    pub(crate) fn scatters(&self, segments: &Segments) -> bool {
        let longest = segments.hours.iter().copied().fold(0.0, f64::max);
        let shape = self.params.shape.iter().copied().fold(f64::INFINITY, f64::min);
        self.params.scale * (shape * longest).sqrt() > LEAST_SCATTER * self.params.sigma
    }

    fn lattice(&self, segments: &Segments) -> Lattice {
        let value: Vec<f64> = segments.value.iter().map(|v| self.sign * v).collect();
        Lattice::new(segments, &value, self.step, self.params.df.is_some())
    }

    /// What is known of every segment: by segment, one point per parameter set; of one without readings what is known of new parts.
    pub(crate) fn points(&self, segments: &Segments) -> Vec<Vec<WearPoint>> {
        let lattice = self.lattice(segments);
        let mut out = vec![Vec::with_capacity(self.draws.len()); segments.len()];
        for p in &self.draws {
            for (segment, state) in lattice.states(p).iter().enumerate() {
                let unread = segments.range(segment).is_empty();
                out[segment].push(if unread {
                    WearPoint::new_segment(p, segments.group[segment] as usize, self.sign)
                } else {
                    WearPoint::of(state, p, self.sign, OF_MANY)
                });
            }
        }
        out
    }

    /// What is known of every segment after its last reading at the fitted parameters, as the end of its [`Self::histories`]; of one without
    /// readings nothing.
    pub(crate) fn last_states(&self, segments: &Segments) -> Vec<Vec<State>> {
        let states = self.lattice(segments).states(&self.params);
        let read = |s: &usize| usize::from(!segments.range(*s).is_empty());
        states.into_iter().enumerate().map(|(s, state)| std::iter::repeat_n(state, read(&s)).collect()).collect()
    }

    /// Density of the last reading of every segment given those before it, averaged over every `stride`-th parameter set: the filter's
    /// likelihood of it. A reading that lies beyond all depths that the filter carries about it takes the tail of a few slices.
    pub(crate) fn densities_of_last(&self, segments: &Segments, stride: usize) -> Vec<f64> {
        let lattice = self.lattice(segments);
        let some: Vec<&Params> = self.draws.iter().step_by(stride).collect();
        let mut out = vec![0.0; segments.len()];
        for p in &some {
            for (sum, density) in out.iter_mut().zip(lattice.densities_of_last(p)) {
                *sum += density / some.len() as f64;
            }
        }
        for (s, density) in out.iter_mut().enumerate() {
            if *density * self.params.sigma < CARRIED {
                *density = self.density_far_off(&segments.subset(&[s]), &some);
            }
        }
        out
    }

    /// The same for a single segment by what was known before its last reading.
    fn density_far_off(&self, only: &Segments, some: &[&Params]) -> f64 {
        let [.., before, last] = only.hours.as_slice() else { return 0.0 };
        let lattice = self.lattice(only);
        let of = |p: &&Params| {
            let histories = lattice.histories(p);
            let known = histories.first().and_then(|h| h.get(only.readings() - 2))?;
            Some(WearPoint::of(known, p, self.sign, OF_MANY))
        };
        let wear: Vec<WearPoint> = some.iter().filter_map(of).collect();
        let value = only.value[only.readings() - 1];
        let parts = Prospect { wear, ..Prospect::default() }.reading(last - before);
        parts.iter().map(|part| part.weight * normal::pdf((value - part.mean) / part.sd) / part.sd).sum()
    }

    /// Weights of the readings; empty with normal errors.
    pub(crate) fn weights(&self, segments: &Segments) -> Vec<f64> {
        if self.params.df.is_none() {
            return Vec::new();
        }
        self.lattice(segments).weights(&self.params)
    }

    /// What was known of every segment after each of its readings, at the fitted parameters.
    pub(crate) fn histories(&self, segments: &Segments) -> Vec<Vec<State>> {
        self.lattice(segments).histories(&self.params)
    }

    /// The model in the feature's unit and hours.
    pub(crate) fn model(&self, group_names: &[String]) -> Model {
        let p = &self.params;
        let total = self.counts.iter().sum::<usize>().max(1) as f64;
        let share: Vec<f64> = self.counts.iter().map(|c| *c as f64 / total).collect();
        let rate = |g: usize| self.sign * p.shape[g] * p.scale;
        let mean: f64 = (0..share.len()).map(|g| share[g] * rate(g)).sum();
        let se = (0..share.len()).map(|g| (share[g] * self.rate_se[g]).powi(2)).sum::<f64>().sqrt();
        let shape: f64 = share.iter().zip(&p.shape).map(|(w, a)| w * a).sum();
        Model {
            kind: ModelKind::Gamma,
            intercept: self.sign * p.start,
            slope: mean,
            intercept_se: self.start_se,
            slope_se: se,
            sd_intercept: p.start_sd,
            sd_slope: p.cv * mean.abs(),
            corr: 0.0,
            sd_wander: p.scale * shape.sqrt(),
            sd_reading: p.sigma,
            sd_visit: None,
            sd_engine_slope: None,
            sd_valve_slope: None,
            reading_df: p.df,
            power: None,
            power_hours: None,
            growth: None,
            gamma: Some(GammaParameters { shape_per_hour: shape, scale: p.scale, rate_cv: p.cv }),
            log_likelihood: Some(self.log_likelihood),
            parameters: self.parameters,
            groups: (0..share.len())
                .map(|g| GroupLine {
                    group: group_names[g].clone(),
                    segments: self.counts[g],
                    intercept: self.sign * p.start,
                    intercept_se: self.start_se,
                    slope: rate(g),
                    slope_se: self.rate_se[g],
                })
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests;
