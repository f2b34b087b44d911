//! The gamma process: wear that cannot heal, read with error. Fit and forecasts.

pub(crate) mod lattice;
mod prospect;
pub(crate) mod wear;

pub(crate) use prospect::WearPoint;

use crate::family::{Spec, fit_member};
use crate::fit::{Unfit, optimise};
use crate::options::Estimator;
use crate::result::{FitStatus, GammaParameters, GroupLine, Model, ModelKind};
use crate::segments::Segments;
use lattice::{Params, State, filter, step};
use nalgebra::DMatrix;
use packdrift_numerics::stream::Key;
use rayon::prelude::*;

/// A fitted gamma process.
#[derive(Debug, Clone)]
pub(crate) struct GammaFit {
    pub(crate) params: Params,
    /// Parameter sets of equal weight over which forecasts are averaged: drawn from the likelihood's normal approximation.
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

/// Parameter sets in a forecast's average.
const DRAWS: usize = 12;

/// Fits by maximum likelihood.
pub(crate) fn fit(segments: &Segments, known_sd: Option<f64>) -> Result<GammaFit, Unfit> {
    // The Wiener process with the same drift gives the start: its variance per hour is a·b².
    let spec = |kind| Spec { kind, engine: false, heavy: false };
    let wiener = fit_member(segments, &[], spec(ModelKind::Wiener), Estimator::Ml, known_sd, None)
        .or_else(|_| fit_member(segments, &[], spec(ModelKind::RandomSlope), Estimator::Ml, known_sd, None))?;
    let m = wiener.model(&segments.group_names);
    let groups = segments.group_names.len();
    let slope = |g: usize| m.groups.get(g).map_or(m.slope, |l| l.slope);
    let sign = if m.slope < 0.0 { -1.0 } else { 1.0 };
    if (0..groups).any(|g| sign * slope(g) <= 0.0) {
        return Err(Unfit::not_estimable(
            "a gamma process only rises, or only falls, but the groups of this feature drift in different directions",
        ));
    }
    let value: Vec<f64> = segments.value.iter().map(|v| sign * v).collect();
    let wander = m.sd_wander.powi(2);
    let typical = sign * m.slope;
    // A wander of 0 would mean increments without scatter; a twentieth of the mean increment is a start the search can leave.
    let interval = segments.hours.iter().copied().fold(0.0, f64::max) / (wiener.support.longest.max(2) - 1) as f64;
    let scale = (wander / typical).max(0.05 * typical * interval);
    let mut params = Params {
        shape: (0..groups).map(|g| sign * slope(g) / scale).collect(),
        scale,
        sigma: known_sd.unwrap_or(m.sd_reading),
        cv: (m.sd_slope / typical).clamp(0.05, 0.8),
        start: sign * m.intercept,
        start_sd: m.sd_intercept.max(0.3 * m.sd_reading),
    };
    let mut evaluations = 0;
    let mut lattice = step(params.sigma);
    for _ in 0..4 {
        let found = search(segments, &value, &params, known_sd, lattice).ok_or_else(|| {
            Unfit::not_estimable(
                "some readings fall by more than reading error explains, which a wear that cannot heal does not allow; look for an event \
                 that was not noted, or fit another model",
            )
        })?;
        evaluations += found.evaluations;
        let base = params;
        params = unpack(&found.x, &base, groups, known_sd);
        let settled = (params.sigma / (lattice * 3.0) - 1.0).abs() < 0.25;
        if settled || known_sd.is_some() {
            if !found.converged() && found.decrement > 1e-3 {
                return Err(Unfit {
                    status: FitStatus::NotConverged,
                    reason: format!("the search stopped with {:.1e} of the deviance still to gain", found.decrement),
                });
            }
            return Ok(finish(segments, &found, &base, params, lattice, sign, known_sd, evaluations));
        }
        lattice = step(params.sigma);
    }
    Err(Unfit {
        status: FitStatus::NotConverged,
        reason: "the reading error cannot be told from the wear's own scatter; give `reading_sd` in the policy".into(),
    })
}

/// Free parameters: ln a by group, ln b, ln σ if free, cv and start_sd (either sign stands for the size), start; each of size 1.
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
        cv: take().abs().min(3.0),
        start_sd: base.sigma * take().abs(),
        start: base.start + base.sigma * take(),
    }
}

fn deviance(segments: &Segments, value: &[f64], p: &Params, lattice: f64) -> f64 {
    // By blocks of a fixed size, merged in order: the same sum on any number of threads.
    let blocks: Vec<usize> = (0..segments.len()).step_by(8).collect();
    let sums: Vec<f64> = blocks
        .par_iter()
        .map(|&start| {
            (start..(start + 8).min(segments.len()))
                .map(|s| {
                    let r = segments.range(s);
                    filter(p, segments.group[s] as usize, &segments.hours[r.clone()], &value[r], lattice).0
                })
                .sum()
        })
        .collect();
    -2.0 * sums.iter().sum::<f64>()
}

fn search(
    segments: &Segments,
    value: &[f64],
    base: &Params,
    known_sd: Option<f64>,
    lattice: f64,
) -> Option<optimise::Optimum> {
    let groups = base.shape.len();
    let mut from = vec![0.0; groups + 1 + usize::from(known_sd.is_none())];
    from.extend([base.cv, base.start_sd / base.sigma, 0.0]);
    let mut evaluations = 0;
    let mut at = |x: &[f64]| {
        if x.iter().any(|x| x.abs() > 40.0) {
            return f64::INFINITY;
        }
        let p = unpack(x, base, groups, known_sd);
        // The lattice resolves errors near the one it was made for.
        if p.sigma < 0.4 * 3.0 * lattice || p.sigma > 3.0 * 3.0 * lattice {
            return f64::INFINITY;
        }
        evaluations += 1;
        deviance(segments, value, &p, lattice)
    };
    // Differences of a deviance smooth to 1e-9 tell the gradient to 1e-6, not to the last digit: the search's criterion is eased by
    // this factor, to 1e-4 of the deviance.
    let mut f = |x: &[f64]| {
        let v = at(x);
        if !v.is_finite() {
            return None;
        }
        let gradient = (0..x.len())
            .map(|k| {
                let h = 1e-3;
                let mut y = x.to_vec();
                y[k] += h;
                let up = at(&y);
                y[k] -= 2.0 * h;
                let down = at(&y);
                EASE * match (up.is_finite(), down.is_finite()) {
                    (true, true) => (up - down) / (2.0 * h),
                    (true, false) => (up - v) / h,
                    _ => (v - down) / h,
                }
            })
            .collect();
        Some((EASE * v, gradient))
    };
    let mut found = optimise::minimise(&mut f, &from, false)?;
    found.value /= EASE;
    found.decrement /= EASE;
    found.hessian = second_differences(&mut at, &found.x, found.value);
    found.evaluations = evaluations;
    Some(found)
}

const EASE: f64 = 1e-4;

/// Hessian of the deviance from its values; the steps change it by amounts far above its rounding.
fn second_differences(at: &mut dyn FnMut(&[f64]) -> f64, x: &[f64], value: f64) -> DMatrix<f64> {
    let n = x.len();
    let h = 0.03;
    let mut moved = |moves: &[(usize, f64)]| {
        let mut y = x.to_vec();
        for (k, d) in moves {
            y[*k] += d;
        }
        let v = at(&y);
        if v.is_finite() { v - value } else { 10.0 }
    };
    let single: Vec<(f64, f64)> = (0..n).map(|k| (moved(&[(k, h)]), moved(&[(k, -h)]))).collect();
    let mut out = DMatrix::zeros(n, n);
    for i in 0..n {
        out[(i, i)] = (single[i].0 + single[i].1) / (h * h);
        for j in 0..i {
            // f(+,+) + f(−,−) − the four single moves: half the cost of the four corners.
            let corners = moved(&[(i, h), (j, h)]) + moved(&[(i, -h), (j, -h)]);
            let cross = (corners - single[i].0 - single[i].1 - single[j].0 - single[j].1) / (2.0 * h * h);
            out[(i, j)] = cross;
            out[(j, i)] = cross;
        }
    }
    out
}

#[allow(clippy::too_many_arguments, reason = "one call")]
fn finish(
    segments: &Segments,
    found: &optimise::Optimum,
    base: &Params,
    params: Params,
    lattice: f64,
    sign: f64,
    known_sd: Option<f64>,
    evaluations: usize,
) -> GammaFit {
    let groups = params.shape.len();
    let n = found.x.len();
    // Half the deviance's Hessian is the information; directions without curvature (a parameter at 0) get a unit length.
    let eigen = nalgebra::SymmetricEigen::new(&found.hessian * 0.5);
    let mut root = DMatrix::zeros(n, n);
    for k in 0..n {
        let length = 1.0 / eigen.eigenvalues[k].max(1.0).sqrt();
        root.set_column(k, &(eigen.eigenvectors.column(k) * length));
    }
    let covariance = &root * root.transpose();
    let mut stream = Key::new(1, "gamma process parameters").stream(0);
    let draws = (0..DRAWS)
        .map(|_| {
            let z = nalgebra::DVector::from_fn(n, |_, _| stream.normal());
            let moved: Vec<f64> = found.x.iter().zip((&root * z).iter()).map(|(x, d)| x + d.clamp(-2.0, 2.0)).collect();
            let mut p = unpack(&moved, base, groups, known_sd);
            p.sigma = p.sigma.clamp(0.5 * 3.0 * lattice, 2.5 * 3.0 * lattice);
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
        step: lattice,
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
    /// What is known of every segment, one state per parameter set.
    pub(crate) fn states(&self, segments: &Segments) -> Vec<Vec<State>> {
        let value: Vec<f64> = segments.value.iter().map(|v| self.sign * v).collect();
        (0..segments.len())
            .into_par_iter()
            .map(|s| {
                let r = segments.range(s);
                self.draws
                    .iter()
                    .map(|p| {
                        filter(p, segments.group[s] as usize, &segments.hours[r.clone()], &value[r.clone()], self.step)
                            .1
                    })
                    .collect()
            })
            .collect()
    }

    /// The same for the first `count` readings of one segment, at the fitted parameters.
    pub(crate) fn state_after(&self, segments: &Segments, s: usize, count: usize) -> State {
        let r = segments.range(s);
        let r = r.start..r.start + count;
        let value: Vec<f64> = segments.value[r.clone()].iter().map(|v| self.sign * v).collect();
        filter(&self.params, segments.group[s] as usize, &segments.hours[r], &value, self.step).1
    }

    /// −2·log-likelihood + parameters·ln(readings).
    pub(crate) fn bic(&self, readings: usize) -> f64 {
        -2.0 * self.log_likelihood + self.parameters as f64 * (readings as f64).ln()
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
            sd_engine_slope: None,
            reading_df: None,
            power: None,
            power_hours: None,
            gamma: Some(GammaParameters { shape_per_hour: shape, scale: p.scale, rate_cv: p.cv }),
            log_likelihood: self.log_likelihood,
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
