//! Minus twice the (restricted) log-likelihood, profiled over the mean lines and the reading error.

use super::wander::{self, Reduced};
use super::{Dual, Problem, Scalar};
use crate::options::Estimator;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Which parameters of the family a model has.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(clippy::struct_excessive_bools, reason = "each is a parameter of its own: present or fixed at 0")]
pub(crate) struct Shape {
    /// λ₀: starts scatter.
    pub(crate) intercept: bool,
    /// λ₁: start and slope go together.
    pub(crate) corr: bool,
    /// λ₂: slopes scatter.
    pub(crate) slope: bool,
    /// ω: the true value wanders.
    pub(crate) wander: bool,
    /// γ: an engine's valves share a slope.
    pub(crate) engine: bool,
    /// κ: a valve keeps its slope through its re-shims.
    pub(crate) valve: bool,
    /// σ in the feature's unit where it is given; else it is estimated.
    pub(crate) known_sd: Option<f64>,
}

impl Shape {
    pub(crate) fn free(self) -> usize {
        [self.intercept, self.corr, self.slope, self.wander, self.engine, self.valve].into_iter().filter(|x| *x).count()
    }

    /// Spreads the free parameters over the family's six: λ₀, λ₁, λ₂, ω, γ, κ.
    pub(crate) fn spread<D: Scalar>(self, x: impl Fn(usize) -> D) -> Theta<D> {
        let mut k = 0;
        let mut take = |present: bool| {
            if present {
                k += 1;
                x(k - 1)
            } else {
                D::of(0.0)
            }
        };
        let (l0, l1, l2) = (take(self.intercept), take(self.corr), take(self.slope));
        let (omega, gamma, kappa) = (take(self.wander), take(self.engine), take(self.valve));
        Theta { l: [l0, l1, l2], omega2: omega * omega, gamma2: gamma * gamma, kappa2: kappa * kappa }
    }
}

/// The relative variance parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Theta<D> {
    /// λ₀, λ₁, λ₂.
    pub(crate) l: [D; 3],
    /// ω².
    pub(crate) omega2: D,
    /// γ².
    pub(crate) gamma2: D,
    /// κ².
    pub(crate) kappa2: D,
}

/// Deviance and the profiled estimates, all in the frame except the deviance.
#[derive(Debug, Clone)]
pub(crate) struct Profile<D> {
    pub(crate) deviance: D,
    pub(crate) beta: Vec<f64>,
    pub(crate) sigma2: f64,
    /// (X′V⁻¹X)⁻¹, relative to σ², row by row.
    pub(crate) covariance: Vec<f64>,
}

/// Sums over segments.
struct Sums<D> {
    /// Lower triangle of X′V⁻¹X, row by row.
    xx: Vec<D>,
    xy: Vec<D>,
    yy: D,
    log_det: D,
}

impl<D: Scalar> Sums<D> {
    fn new(p: usize) -> Self {
        let zero = D::of(0.0);
        Self { xx: vec![zero; p * (p + 1) / 2], xy: vec![zero; p], yy: zero, log_det: zero }
    }

    fn merge(&mut self, other: &Self) {
        for (a, b) in self.xx.iter_mut().zip(&other.xx).chain(self.xy.iter_mut().zip(&other.xy)) {
            *a += *b;
        }
        self.yy += other.yy;
        self.log_det += other.log_det;
    }
}

const fn triangle(i: usize, j: usize) -> usize {
    i * (i + 1) / 2 + j
}

/// A segment after its own line's scatter is eliminated: M = Z′V⁻¹Z, m = Z′V⁻¹y, y′V⁻¹y and ln|V|, V relative to σ².
#[derive(Clone, Copy)]
pub(crate) struct Marginal<D> {
    pub(crate) m: [D; 3],
    pub(crate) v: [D; 2],
    pub(crate) q: D,
    pub(crate) log_det: D,
}

/// Eliminates (b₀, b₁): with B = I + Λ′SΛ, M = S − SΛB⁻¹Λ′S and so on. Sound at Λ = 0.
#[inline]
pub(crate) fn eliminate<D: Scalar>(reduced: &Reduced<D>, l: [D; 3]) -> Marginal<D> {
    let [s00, s01, s11] = reduced.s;
    let [r0, r1] = reduced.r;
    let [l0, l1, l2] = l;
    // A = SΛ (2 × 2), then Λ′S Λ.
    let (a00, a01) = (s00 * l0 + s01 * l1, s01 * l2);
    let (a10, a11) = (s01 * l0 + s11 * l1, s11 * l2);
    let one = D::of(1.0);
    let b00 = one + l0 * a00 + l1 * a10;
    let b01 = l2 * a10;
    let b11 = one + l2 * a11;
    let det = b00 * b11 - b01 * b01;
    let inv = one / det;
    let (i00, i01, i11) = (b11 * inv, -(b01 * inv), b00 * inv);
    let (g0, g1) = (l0 * r0 + l1 * r1, l2 * r1);
    // B⁻¹A′ column by column, B⁻¹Λ′r.
    let (c00, c01) = (i00 * a00 + i01 * a01, i00 * a10 + i01 * a11);
    let (c10, c11) = (i01 * a00 + i11 * a01, i01 * a10 + i11 * a11);
    let (h0, h1) = (i00 * g0 + i01 * g1, i01 * g0 + i11 * g1);
    Marginal {
        m: [s00 - a00 * c00 - a01 * c10, s01 - a00 * c01 - a01 * c11, s11 - a10 * c01 - a11 * c11],
        v: [r0 - a00 * h0 - a01 * h1, r1 - a10 * h0 - a11 * h1],
        q: reduced.q - g0 * h0 - g1 * h1,
        log_det: reduced.log_det + det.ln(),
    }
}

impl<D: Scalar> Marginal<D> {
    /// Together with another segment of the same line.
    #[inline]
    pub(crate) fn merge(&mut self, other: &Self) {
        for (a, b) in self.m.iter_mut().zip(other.m).chain(self.v.iter_mut().zip(other.v)) {
            *a += b;
        }
        self.q += other.q;
        self.log_det += other.log_det;
    }

    /// Eliminates the slope u ~ N(0, κ²) that the merged segments share: M − (κ²/(1 + κ²M₁₁))·dd′ with d = M(0, 1)′, and so on.
    #[inline]
    pub(crate) fn without_shared_slope(self, kappa2: D) -> Self {
        let [m0, m1, m2] = self.m;
        let [v0, v1] = self.v;
        let det = D::of(1.0) + kappa2 * m2;
        let k = kappa2 / det;
        Self {
            m: [m0 - k * m1 * m1, m1 - k * m1 * m2, m2 - k * m2 * m2],
            v: [v0 - k * m1 * v1, v1 - k * m2 * v1],
            q: self.q - k * v1 * v1,
            log_det: self.log_det + det.ln(),
        }
    }
}

/// Segment s reduced over its readings, in the frame.
#[inline]
pub(crate) fn reduce<D: Scalar>(problem: &Problem, s: usize, wander: bool, omega2: D) -> Reduced<D> {
    if wander {
        let (time, y, w) = problem.readings_of(s);
        if !D::DERIVES {
            let r = if wander::is_short(w, time.len()) {
                wander::by_covariance(time, y, w, omega2.value())
            } else {
                wander::by_filter(time, y, w, omega2.value()).0
            };
            return Reduced { s: r.s.map(D::of), r: r.r.map(D::of), q: D::of(r.q), log_det: D::of(r.log_det) };
        }
        let one = Dual::<1>::parameter(omega2.value(), 0);
        let r = if wander::is_short(w, time.len()) {
            wander::by_covariance(time, y, w, one)
        } else {
            wander::by_filter(time, y, w, one).0
        };
        let lift = |x: Dual<1>| D::chain(x.v, x.d[0], omega2);
        Reduced { s: r.s.map(lift), r: r.r.map(lift), q: lift(r.q), log_det: lift(r.log_det) }
    } else {
        let m = &problem.moments[s];
        let w = m.weight;
        Reduced {
            s: [D::of(w), D::of(w * m.time), D::of(m.tt + w * m.time * m.time)],
            r: [D::of(w * m.y), D::of(m.ty + w * m.time * m.y)],
            q: D::of(m.yy + w * m.y * m.y),
            log_det: D::of(-m.log_weight),
        }
    }
}

fn block_sums<D: Scalar>(problem: &Problem, block: std::ops::Range<usize>, shape: Shape, theta: &Theta<D>) -> Sums<D> {
    let p = problem.fixed();
    let mut sums = Sums::new(p);
    let zero = D::of(0.0);
    let mut shared = vec![zero; if shape.engine { p } else { 0 }];
    let (mut engine_s, mut engine_t) = (zero, zero);
    let end = block.end;
    // What the valve's earlier segments with the same parts have told.
    let mut earlier: Option<Marginal<D>> = None;
    for s in block {
        let reduced = reduce(problem, s, shape.wander, theta.omega2);
        let mut part = eliminate(&reduced, theta.l);
        if shape.valve {
            if let Some(before) = earlier.take() {
                part.merge(&before);
            }
            if s + 1 < end && problem.goes_on(s + 1) {
                earlier = Some(part);
                continue;
            }
            part = part.without_shared_slope(theta.kappa2);
        }
        let g = 2 * problem.group[s] as usize;
        sums.xx[triangle(g, g)] += part.m[0];
        sums.xx[triangle(g + 1, g)] += part.m[1];
        sums.xx[triangle(g + 1, g + 1)] += part.m[2];
        sums.xy[g] += part.v[0];
        sums.xy[g + 1] += part.v[1];
        sums.yy += part.q;
        sums.log_det += part.log_det;
        if shape.engine {
            let a = D::of(problem.share[problem.group[s] as usize]);
            engine_s += a * a * part.m[2];
            engine_t += a * part.v[1];
            shared[g] += a * part.m[1];
            shared[g + 1] += a * part.m[2];
            if s + 1 == end || problem.engine[s + 1] != problem.engine[s] {
                let d = D::of(1.0) + theta.gamma2 * engine_s;
                let k = theta.gamma2 / d;
                for i in 0..p {
                    let ki = k * shared[i];
                    for (j, other) in shared.iter().enumerate().take(i + 1) {
                        sums.xx[triangle(i, j)] -= ki * *other;
                    }
                    sums.xy[i] -= ki * engine_t;
                }
                sums.yy -= k * engine_t * engine_t;
                sums.log_det += d.ln();
                shared.fill(zero);
                engine_s = zero;
                engine_t = zero;
            }
        }
    }
    sums
}

/// The profiled deviance at θ. None where a mean line cannot be estimated.
pub(crate) fn evaluate<D: Scalar>(
    problem: &Problem,
    shape: Shape,
    theta: &Theta<D>,
    estimator: Estimator,
) -> Option<Profile<D>> {
    let p = problem.fixed();
    let work = |block: &std::ops::Range<usize>| block_sums(problem, block.clone(), shape, theta);
    let parts: Vec<Sums<D>> = if problem.blocks.len() > 1 {
        problem.blocks.par_iter().map(work).collect()
    } else {
        problem.blocks.iter().map(work).collect()
    };
    let mut sums = Sums::new(p);
    for part in &parts {
        sums.merge(part);
    }
    // Cholesky of X′V⁻¹X; a pivot that has lost all its digits means a line nobody can tell.
    let mut l = sums.xx.clone();
    let mut log_x = D::of(0.0);
    for i in 0..p {
        for j in 0..=i {
            let mut sum = l[triangle(i, j)];
            for k in 0..j {
                sum -= l[triangle(i, k)] * l[triangle(j, k)];
            }
            if i == j {
                if sum.value().is_nan() || sum.value() <= 1e-13 * sums.xx[triangle(i, i)].value() {
                    return None;
                }
                log_x += sum.ln();
                l[triangle(i, i)] = sum.sqrt();
            } else {
                l[triangle(i, j)] = sum / l[triangle(j, j)];
            }
        }
    }
    let mut white = sums.xy.clone();
    let mut rss = sums.yy;
    for i in 0..p {
        for k in 0..i {
            let part = l[triangle(i, k)] * white[k];
            white[i] -= part;
        }
        white[i] = white[i] / l[triangle(i, i)];
        rss -= white[i] * white[i];
    }
    let n = problem.readings as f64;
    let df = match estimator {
        Estimator::Reml => n - p as f64,
        Estimator::Ml => n,
    };
    let scale2 = problem.frame.scale * problem.frame.scale;
    let mut deviance = sums.log_det + D::of(n * scale2.ln());
    if estimator == Estimator::Reml {
        // |X′V⁻¹X| in hours and the feature's unit.
        deviance += log_x + D::of(2.0 * problem.groups as f64 * problem.frame.time.ln() - p as f64 * scale2.ln());
    }
    let sigma2 = if let Some(sd) = shape.known_sd {
        let sigma2 = sd * sd / scale2;
        deviance += rss / D::of(sigma2) + D::of(df * (2.0 * PI * sigma2).ln());
        sigma2
    } else {
        if rss.value().is_nan() || rss.value() <= 0.0 || df <= 0.0 {
            return None;
        }
        deviance += D::of(df) * ((rss * D::of(2.0 * PI / df)).ln() + D::of(1.0));
        rss.value() / df
    };
    // β = L⁻ᵀ·white and (X′V⁻¹X)⁻¹ = L⁻ᵀL⁻¹, values only.
    let lv: Vec<f64> = l.iter().map(|x| x.value()).collect();
    let mut beta: Vec<f64> = white.iter().map(|x| x.value()).collect();
    for i in (0..p).rev() {
        for k in i + 1..p {
            beta[i] -= lv[triangle(k, i)] * beta[k];
        }
        beta[i] /= lv[triangle(i, i)];
    }
    let mut inverse = vec![0.0; p * p];
    for c in 0..p {
        for i in c..p {
            let mut sum = if i == c { 1.0 } else { 0.0 };
            for k in c..i {
                sum -= lv[triangle(i, k)] * inverse[k * p + c];
            }
            inverse[i * p + c] = sum / lv[triangle(i, i)];
        }
    }
    let mut covariance = vec![0.0; p * p];
    for i in 0..p {
        for j in 0..p {
            covariance[i * p + j] = (i.max(j)..p).map(|k| inverse[k * p + i] * inverse[k * p + j]).sum();
        }
    }
    deviance.value().is_finite().then_some(Profile { deviance, beta, sigma2, covariance })
}
