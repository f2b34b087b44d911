//! Reading errors with heavy tails: Student's t as a normal whose precision is uncertain reading by reading.
//!
//! ε = σz/√u, u ~ Gamma(ν/2, ν/2). Given the weights w = E(u) the model is the normal one with error variance σ²/w; given the line's
//! posterior, w = (ν + 1)/(ν + E(e²)/σ²), where E(e²) holds the squared residual *and* the posterior variance of the true value (K. Lange,
//! R. Little, J. Taylor, Robust statistical modeling using the t distribution, Journal of the American Statistical Association 84 (1989)
//! 881–896, with the line's scatter as a second latent layer). Taking line and weights as independent given the readings makes the two
//! steps climb a lower bound of the likelihood,
//!
//! ```text
//! ℓ_w − Σ E ln N(y | f, σ²/w) + Σ ln t_ν(√E(e²); σ),
//! ```
//!
//! with ℓ_w the weighted normal log-likelihood; ν is set to its maximum in every round. The bound, not the likelihood, is reported, so a
//! comparison by BIC is hard on heavy tails, never kind.

use crate::family::{Member, Spec, fit_member};
use crate::fit::Unfit;
use crate::kernel::posterior::{posteriors, smoothed};
use crate::options::Estimator;
use crate::segments::Segments;
use packdrift_numerics::special::ln_gamma;
use rayon::prelude::*;
use std::f64::consts::PI;

/// From here on a t is a normal to any eye: the fit is then the normal one.
const NORMAL: f64 = 150.0;
const ROUNDS: usize = 60;

/// Fits with t errors. Falls back to the normal fit where ν runs off to large values.
pub(crate) fn fit_heavy(
    segments: &Segments,
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
) -> Result<Member, Unfit> {
    let plain = Spec { heavy: false, ..spec };
    let mut member = fit_member(segments, &[], plain, estimator, known_sd, None)?;
    let mut nu = 6.0;
    let mut weight = vec![1.0; segments.readings()];
    let mut bound = member.log_likelihood;
    for round in 0..ROUNDS {
        let e2 = squared_errors(segments, &member);
        nu = best_nu(&e2, nu);
        let mut change = 0.0_f64;
        for (w, e) in weight.iter_mut().zip(&e2) {
            let next = (nu + 1.0) / (nu + e);
            change = change.max((next - *w).abs());
            *w = next;
        }
        if nu >= NORMAL && round > 2 {
            let mut normal = fit_member(segments, &[], plain, estimator, known_sd, None)?;
            normal.spec = spec;
            normal.parameters += 1;
            return Ok(normal);
        }
        member = fit_member(segments, &weight, plain, estimator, known_sd, Some(&member))?;
        bound = lower_bound(segments, &member, &weight, nu);
        if change < 2e-3 {
            break;
        }
    }
    member.spec = spec;
    member.df = Some(nu);
    member.log_likelihood = bound;
    member.parameters += 1;
    Ok(member)
}

/// E(e²)/σ² of every reading: squared residual and posterior variance of the true value.
fn squared_errors(segments: &Segments, member: &Member) -> Vec<f64> {
    let problem = &member.problem;
    let f = &member.fitted;
    let lines = posteriors(problem, f.shape, &f.theta, &f.profile);
    let parts: Vec<Vec<f64>> = (0..segments.len())
        .into_par_iter()
        .with_min_len(64)
        .map(|s| {
            let r = segments.range(s);
            let states = if f.shape.wander {
                let (time, y, w) = problem.readings_of(s);
                smoothed(time, y, w, f.theta.omega2)
            } else {
                vec![lines[s].filtered; r.len()]
            };
            r.zip(&states)
                .map(|(i, state)| {
                    let lambda = member.clock.at(segments.hours[i]);
                    let o = lines[s].outlook_with(&problem.frame, problem.group[s], lambda, state);
                    ((segments.value[i] - o.level).powi(2) + o.level_var) / o.reading_var
                })
                .collect()
        })
        .collect();
    parts.into_iter().flatten().collect()
}

/// ln of the t density at e² = (e/σ)², σ = 1.
fn log_t(e2: f64, nu: f64) -> f64 {
    ln_gamma(0.5 * (nu + 1.0)) - ln_gamma(0.5 * nu) - 0.5 * (PI * nu).ln() - 0.5 * (nu + 1.0) * (e2 / nu).ln_1p()
}

/// The degrees of freedom that suit the errors best, moved at most by half per round so that σ can follow.
fn best_nu(e2: &[f64], now: f64) -> f64 {
    let sum = |nu: f64| {
        let constant = log_t(0.0, nu);
        e2.iter().map(|e| constant - 0.5 * (nu + 1.0) * (e / nu).ln_1p()).sum::<f64>()
    };
    let (mut low, mut high) = ((now / 1.6).max(2.5).ln(), (now * 1.6).min(NORMAL).ln());
    for _ in 0..18 {
        let (a, b) = (low + 0.382 * (high - low), low + 0.618 * (high - low));
        if sum(a.exp()) > sum(b.exp()) {
            high = b;
        } else {
            low = a;
        }
    }
    let nu = (0.5 * (low + high)).exp();
    if nu > 0.98 * NORMAL { NORMAL } else { nu }
}

fn lower_bound(segments: &Segments, member: &Member, weight: &[f64], nu: f64) -> f64 {
    let e2 = squared_errors(segments, member);
    let frame = &member.problem.frame;
    let sigma2 = frame.scale * frame.scale * member.fitted.profile.sigma2;
    let gain: f64 = e2
        .iter()
        .zip(weight)
        .map(|(e, w)| log_t(*e, nu) - 0.5 * sigma2.ln() + 0.5 * (2.0 * PI * sigma2 / w).ln() + 0.5 * w * e)
        .sum();
    member.log_likelihood + gain
}
