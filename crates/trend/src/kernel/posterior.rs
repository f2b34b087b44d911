//! What is known of one segment's line once the fleet is fitted: best linear unbiased predictions and their errors.
//!
//! With δ = β_g + (a_g·c_e + u_v)·(0, 1)′ the line's prior mean, P = ΛB⁻¹Λ′ and Z′R⁻¹Z = S, the segment's line is ℓ = (I − PS)δ + Pr with error
//! covariance σ²P + (I − PS)·Cov(δ)·(I − PS)′, where Cov(δ) holds the uncertainty of the mean lines and of the engine's and the valve's slope: Henderson's
//! equations (C. R. Henderson, Biometrics 31 (1975) 423–447), solved segment by segment. Fitted variances are taken at their word here;
//! [`crate::integrated`] carries their uncertainty.

use super::likelihood::{Marginal, eliminate, reduce};
use super::wander::{Filtered, by_filter};
use super::{Frame, Problem, Profile, Shape, Theta};
use rayon::prelude::*;

/// A segment's line and wander at its last reading, in the frame; variances are absolute (σ² multiplied in).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Posterior {
    /// Intercept at the segment's start, and slope.
    pub(crate) line: [f64; 2],
    /// Mean of the line before the segment's own readings are seen.
    pub(crate) prior: [f64; 2],
    /// Their covariance: 00, 01, 11.
    pub(crate) cov: [f64; 3],
    /// Wander at the last reading as the filter leaves it: `y − one·ℓ₀ − time·ℓ₁`.
    pub(crate) filtered: Filtered<f64>,
    /// Λ at the last reading.
    pub(crate) last: f64,
    pub(crate) sigma2: f64,
    pub(crate) omega2: f64,
}

/// True value now and what moves it, in the feature's unit and hours of Λ.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Outlook {
    pub(crate) level: f64,
    pub(crate) slope: f64,
    pub(crate) level_var: f64,
    pub(crate) slope_var: f64,
    pub(crate) cov: f64,
    /// Growth of the wander's variance per hour of Λ.
    pub(crate) wander_var: f64,
    /// Variance of a reading's error.
    pub(crate) reading_var: f64,
    /// Λ now.
    pub(crate) now: f64,
}

impl Outlook {
    /// Mean and variance of the true value `ahead` hours of Λ from now.
    pub(crate) fn at(&self, ahead: f64) -> (f64, f64) {
        let var = self.level_var + ahead * (2.0 * self.cov + ahead * self.slope_var) + self.wander_var * ahead.max(0.0);
        (self.level + self.slope * ahead, var.max(0.0))
    }

    /// Covariance of the true values `a` and `b` hours of Λ from now.
    pub(crate) fn covariance(&self, a: f64, b: f64) -> f64 {
        self.level_var + (a + b) * self.cov + a * b * self.slope_var + self.wander_var * a.min(b).max(0.0)
    }
}

/// The pull of an engine's shared slope.
#[derive(Clone, Default)]
struct Shared {
    s: f64,
    t: f64,
    d: Vec<f64>,
}

/// The pull of a slope that a valve keeps: of its merged segments M₀₁, M₁₁ and m₁, and k = κ²/(1 + κ²M₁₁), the variance of u_v given the mean
/// line and the engine's slope.
#[derive(Clone, Copy)]
struct Kept {
    d: [f64; 2],
    t: f64,
    k: f64,
}

/// Lines of all segments.
pub(crate) fn posteriors(
    problem: &Problem,
    shape: Shape,
    theta: &Theta<f64>,
    profile: &Profile<f64>,
) -> Vec<Posterior> {
    let parts: Vec<Vec<Posterior>> = problem
        .blocks
        .par_iter()
        .map(|block| {
            let mut out = Vec::with_capacity(block.len());
            let mut start = block.start;
            while start < block.end {
                let mut end = start + 1;
                while end < block.end && problem.engine[end] == problem.engine[start] {
                    end += 1;
                }
                let valves =
                    if shape.engine || shape.valve { merged(problem, start..end, shape, theta) } else { Vec::new() };
                let shared = shape.engine.then(|| engine_pull(problem, start, &valves, shape, theta));
                for s in start..end {
                    let kept = shape.valve.then(|| valves.get(s - start).map(|m| Kept::of(m, theta))).flatten();
                    out.push(posterior(problem, s, shape, theta, profile, shared.as_ref(), kept));
                }
                start = end;
            }
            out
        })
        .collect();
    parts.into_iter().flatten().collect()
}

/// By segment, what it tells of its line together with those that share its slope.
fn merged(problem: &Problem, segments: std::ops::Range<usize>, shape: Shape, theta: &Theta<f64>) -> Vec<Marginal<f64>> {
    let first = segments.start;
    let mut out: Vec<Marginal<f64>> =
        segments.map(|s| eliminate(&reduce(problem, s, shape.wander, theta.omega2), theta.l)).collect();
    if shape.valve {
        let mut i = 0;
        while i < out.len() {
            let mut end = i + 1;
            while end < out.len() && problem.goes_on(first + end) {
                let next = out[end];
                out[i].merge(&next);
                end += 1;
            }
            let whole = out[i];
            out[i..end].fill(whole);
            i = end;
        }
    }
    out
}

/// `valves` are [`merged`] of the engine's segments, the first of which is `first`.
fn engine_pull(problem: &Problem, first: usize, valves: &[Marginal<f64>], shape: Shape, theta: &Theta<f64>) -> Shared {
    let mut out = Shared { s: 0.0, t: 0.0, d: vec![0.0; problem.fixed()] };
    for (i, whole) in valves.iter().enumerate() {
        let s = first + i;
        // Segments that share a slope stand here together, once.
        if shape.valve && i > 0 && problem.goes_on(s) {
            continue;
        }
        let part = whole.without_shared_slope(theta.kappa2);
        let g = 2 * problem.group[s] as usize;
        let a = problem.share[problem.group[s] as usize];
        out.s += a * a * part.m[2];
        out.t += a * part.v[1];
        out.d[g] += a * part.m[1];
        out.d[g + 1] += a * part.m[2];
    }
    out
}

fn posterior(
    problem: &Problem,
    s: usize,
    shape: Shape,
    theta: &Theta<f64>,
    profile: &Profile<f64>,
    shared: Option<&Shared>,
    kept: Option<Kept>,
) -> Posterior {
    let (reduced, filtered, last) = if shape.wander {
        let (time, y, w) = problem.readings_of(s);
        let (reduced, filtered) = by_filter(time, y, w, theta.omega2);
        (reduced, filtered, time.last().copied().unwrap_or(0.0))
    } else {
        let filtered = Filtered { one: 0.0, time: 0.0, y: 0.0, variance: 0.0 };
        (reduce(problem, s, false, 0.0), filtered, f64::NAN)
    };
    let [s00, s01, s11] = reduced.s;
    let [r0, r1] = reduced.r;
    let p = shrinkage(reduced.s, theta.l);
    // I − PS.
    let k = [
        [1.0 - p[0] * s00 - p[1] * s01, -p[0] * s01 - p[1] * s11],
        [-p[1] * s00 - p[2] * s01, 1.0 - p[1] * s01 - p[2] * s11],
    ];
    let (delta, delta_cov) = prior_line(problem, s, theta, profile, shared, kept);
    let line = [
        k[0][0] * delta[0] + k[0][1] * delta[1] + p[0] * r0 + p[1] * r1,
        k[1][0] * delta[0] + k[1][1] * delta[1] + p[1] * r0 + p[2] * r1,
    ];
    let quad = |a: [f64; 2], b: [f64; 2]| {
        a[0] * (delta_cov[0] * b[0] + delta_cov[1] * b[1]) + a[1] * (delta_cov[1] * b[0] + delta_cov[2] * b[1])
    };
    let sigma2 = profile.sigma2;
    let cov =
        [sigma2 * (p[0] + quad(k[0], k[0])), sigma2 * (p[1] + quad(k[0], k[1])), sigma2 * (p[2] + quad(k[1], k[1]))];
    Posterior { line, prior: delta, cov, filtered, last, sigma2, omega2: theta.omega2 }
}

/// P = ΛB⁻¹Λ′, B = I + Λ′SΛ.
fn shrinkage(s: [f64; 3], l: [f64; 3]) -> [f64; 3] {
    let [l0, l1, l2] = l;
    let (a00, a10, a11) = (s[0] * l0 + s[1] * l1, s[1] * l0 + s[2] * l1, s[2] * l2);
    let (b00, b01, b11) = (1.0 + l0 * a00 + l1 * a10, l2 * a10, 1.0 + l2 * a11);
    let det = b00 * b11 - b01 * b01;
    let (i00, i01, i11) = (b11 / det, -b01 / det, b00 / det);
    [l0 * l0 * i00, l0 * (l1 * i00 + l2 * i01), l1 * l1 * i00 + 2.0 * l1 * l2 * i01 + l2 * l2 * i11]
}

impl Kept {
    fn of(merged: &Marginal<f64>, theta: &Theta<f64>) -> Self {
        let [_, m1, m2] = merged.m;
        Self { d: [m1, m2], t: merged.v[1], k: theta.kappa2 / (1.0 + theta.kappa2 * m2) }
    }
}

/// Mean and relative covariance of δ = β_g + (a_g·c_e + u_v)·(0, 1)′ given all readings.
///
/// Given β, c_e ~ N(κ_e(t − d′β), κ_e) with the engine's sums; given c_e too, u_v ~ N(k(t_v − d_v′β − a_g·M₁₁·c_e), k). So δ = Aβ + const with
/// A = E_g − (0, 1)′w′, w = a_g·f·κ_e·d + k·d_v and f = 1 − k·M₁₁, and what is left scatters by (a_g·f)²κ_e + k.
fn prior_line(
    problem: &Problem,
    s: usize,
    theta: &Theta<f64>,
    profile: &Profile<f64>,
    shared: Option<&Shared>,
    kept: Option<Kept>,
) -> ([f64; 2], [f64; 3]) {
    let p = problem.fixed();
    let g = 2 * problem.group[s] as usize;
    let c = |i: usize, j: usize| profile.covariance[i * p + j];
    let beta = &profile.beta;
    if shared.is_none() && kept.is_none() {
        return ([beta[g], beta[g + 1]], [c(g, g), c(g, g + 1), c(g + 1, g + 1)]);
    }
    let (mut w, mut pull, mut left) = (vec![0.0; p], 0.0, 0.0);
    let f = kept.map_or(1.0, |v| 1.0 - v.k * v.d[1]);
    if let Some(shared) = shared {
        let kappa = theta.gamma2 / (1.0 + theta.gamma2 * shared.s);
        let a = f * problem.share[problem.group[s] as usize];
        for (w, d) in w.iter_mut().zip(&shared.d) {
            *w = a * kappa * d;
        }
        pull = a * kappa * shared.t;
        left = a * a * kappa;
    }
    if let Some(v) = kept {
        w[g] += v.k * v.d[0];
        w[g + 1] += v.k * v.d[1];
        pull += v.k * v.t;
        left += v.k;
    }
    pull -= w.iter().zip(beta).map(|(w, b)| w * b).sum::<f64>();
    let wc: Vec<f64> = (0..p).map(|j| w.iter().enumerate().map(|(i, w)| w * c(i, j)).sum()).collect();
    let wcw: f64 = wc.iter().zip(&w).map(|(a, b)| a * b).sum();
    ([beta[g], beta[g + 1] + pull], [c(g, g), c(g, g + 1) - wc[g], c(g + 1, g + 1) - 2.0 * wc[g + 1] + wcw + left])
}

impl Posterior {
    /// Mean and error covariance of (true value, slope) at the last reading, in the feature's unit; `last` is Λ there, in hours.
    pub(crate) fn outlook(&self, frame: &Frame, group: u32, last: f64) -> Outlook {
        self.outlook_with(frame, group, last, &self.filtered)
    }

    /// The same at another moment of the segment, given the wander's state there.
    pub(crate) fn outlook_with(&self, frame: &Frame, group: u32, lambda: f64, w: &Filtered<f64>) -> Outlook {
        let k = [1.0 - w.one, lambda / frame.time - w.time];
        let level = k[0] * self.line[0] + k[1] * self.line[1] + w.y;
        let to_line = [k[0] * self.cov[0] + k[1] * self.cov[1], k[0] * self.cov[1] + k[1] * self.cov[2]];
        let level_var = k[0] * to_line[0] + k[1] * to_line[1] + self.sigma2 * w.variance;
        let (scale, per_hour) = (frame.scale, frame.scale / frame.time);
        let (a, b) = frame.lines[group as usize];
        Outlook {
            level: a + b * lambda + scale * level,
            slope: b + per_hour * self.line[1],
            level_var: (scale * scale * level_var).max(0.0),
            slope_var: (per_hour * per_hour * self.cov[2]).max(0.0),
            cov: scale * per_hour * to_line[1],
            wander_var: scale * per_hour * self.sigma2 * self.omega2,
            reading_var: scale * scale * self.sigma2,
            now: lambda,
        }
    }
}

/// The wander's state at every reading given all of the segment's readings: the filter, and a sweep back (Rauch, Tung and Striebel),
/// column by column.
pub(crate) fn smoothed(time: &[f64], y: &[f64], weight: &[f64], omega2: f64) -> Vec<Filtered<f64>> {
    let mut forward: Vec<Filtered<f64>> = Vec::with_capacity(time.len());
    for n in 0..time.len() {
        let told = weight.get(n).is_none_or(|w| *w > 0.0);
        let noise = weight.get(n).map_or(1.0, |w| 1.0 / w);
        let (before, start) = match (n.checked_sub(1), forward.last()) {
            (Some(k), Some(state)) => (*state, time[k]),
            _ => (Filtered { one: 0.0, time: 0.0, y: 0.0, variance: 0.0 }, 0.0),
        };
        let variance = before.variance + omega2 * (time[n] - start);
        if !told {
            forward.push(Filtered { variance, ..before });
            continue;
        }
        let gain = variance / (variance + noise);
        forward.push(Filtered {
            one: before.one + gain * (1.0 - before.one),
            time: before.time + gain * (time[n] - before.time),
            y: before.y + gain * (y[n] - before.y),
            variance: variance * noise / (variance + noise),
        });
    }
    for n in (0..forward.len().saturating_sub(1)).rev() {
        let (now, next) = (forward[n], forward[n + 1]);
        let predicted = now.variance + omega2 * (time[n + 1] - time[n]);
        let j = if predicted > 0.0 { now.variance / predicted } else { 0.0 };
        forward[n] = Filtered {
            one: now.one + j * (next.one - now.one),
            time: now.time + j * (next.time - now.time),
            y: now.y + j * (next.y - now.y),
            variance: now.variance + j * j * (next.variance - predicted),
        };
    }
    forward
}
