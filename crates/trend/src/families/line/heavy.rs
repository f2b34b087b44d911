//! Reading errors with heavy tails: Student's t, fitted by expectation propagation.
//!
//! ε = σz/√u, u ~ χ²_ν/ν, taken at [`EDGES`]: slices of u's distribution, finer where it makes the tail. Each reading is replaced by a normal
//! one (a site), of value ỹ and error variance σ²/w, such that the true value f has the mean and variance that the t reading would give it
//! beside all others (the cavity):
//!
//! ```text
//! Ẑ = Σ_k q_k N(y; m, v + σ²/u_k),  m, v: cavity of f;    site: N(f; ỹ, σ²/w) with the tilted density's mean and variance
//! ln L ≈ ln N(ỹ; sites) + Σ ln Ẑ − ln N(ỹ; m, v + σ²/w)
//! ```
//!
//! With the sites held, ln L depends on the lines' and the wander's variances as a normal model's does, so they are refitted by the code
//! that fits every other model; σ and ν are set to the maximum of Σ ln Ẑ with the cavities held, whose gradient is that of ln L. Repeated
//! until nothing moves (T. Minka, Expectation propagation for approximate Bayesian inference, 2001; P. Jylänki, J. Vanhatalo, A. Vehtari,
//! Robust Gaussian process regression with a Student-t likelihood, Journal of Machine Learning Research 12 (2011) 3227–3257, who keep
//! sites' precisions above 0 as is done here).
//!
//! Weighting by E(u) alone, with line and weights as independent given the readings (the t by EM), was tried and lost: its bound falls as the
//! true value's own variance grows, so it set a wander to 0 that the same readings without their three bad ones showed plainly.

use super::Spec;
use super::member::{Member, fit_member};
use crate::families::FitFailure;
use crate::kernel::evaluate;
use crate::kernel::posterior::{posteriors, smoothed};
use crate::options::Estimator;
use crate::segments::Segments;
use packdrift_numerics::normal;
use packdrift_numerics::special::chi_squared_quantile;
use rayon::prelude::*;

/// Largest move of a site (its value in σ, its weight) at which a fit stands: no estimate moves by a hundredth of its error then.
pub(crate) const TOLERANCE: f64 = 5e-3;
/// From here on a t is a normal to any eye: the fit is then the normal one.
const NORMAL: f64 = 150.0;
const ROUNDS: usize = 25;
/// Rounds of the sites to one of the variances, which are dearer.
const SWEEPS: usize = 3;
/// Share of a site's new value that is taken in a round: all of it may swing.
const DAMPING: f64 = 0.8;
/// Smallest weight of a site.
const LEAST: f64 = 1e-4;
/// Slices of the precision's distribution, by probability.
const EDGES: [f64; 14] = [0.0, 1e-5, 1e-4, 1e-3, 0.004, 0.012, 0.035, 0.09, 0.18, 0.32, 0.5, 0.7, 0.87, 1.0];

/// The t's scale mixture: (chance, precision) of each slice, the precision at its middle.
pub(crate) fn slices(nu: f64) -> Vec<(f64, f64)> {
    EDGES.windows(2).map(|e| (e[1] - e[0], chi_squared_quantile(nu, 0.5 * (e[0] + e[1])) / nu)).collect()
}

/// True value at a reading as all other readings know it: mean and variance.
#[derive(Debug, Clone, Copy)]
struct Cavity {
    mean: f64,
    variance: f64,
    /// Whether the reading counts at all.
    told: bool,
}

/// What a t reading makes of its cavity.
struct Tilted {
    mean: f64,
    variance: f64,
}

impl Cavity {
    /// The slices' densities of the reading, each with its chance.
    fn densities(self, y: f64, sigma2: f64, slices: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> + '_ {
        slices.iter().map(move |&(q, u)| {
            let variance = self.variance + sigma2 / u;
            let z = (y - self.mean) / variance.sqrt();
            (q * normal::pdf(z) / variance.sqrt(), variance)
        })
    }

    fn log_z(self, y: f64, sigma2: f64, slices: &[(f64, f64)]) -> f64 {
        self.densities(y, sigma2, slices).map(|(d, _)| d).sum::<f64>().max(1e-300).ln()
    }

    fn tilt(self, y: f64, sigma2: f64, slices: &[(f64, f64)]) -> Tilted {
        let (mut z, mut first, mut second) = (0.0, 0.0, 0.0);
        for (density, variance) in self.densities(y, sigma2, slices) {
            let gain = self.variance / variance;
            // From the cavity's mean, so that squares keep their digits.
            let mean = gain * (y - self.mean);
            z += density;
            first += density * mean;
            second += density * (mean * mean + self.variance * (1.0 - gain));
        }
        let z = z.max(1e-300);
        let mean = first / z;
        Tilted { mean: self.mean + mean, variance: (second / z - mean * mean).max(0.0) }
    }
}

/// The normal readings that stand for the t ones.
struct Sites {
    value: Vec<f64>,
    /// Relative to σ².
    weight: Vec<f64>,
}

/// Fits with t errors. Falls back to the normal fit where ν runs off to large values. `weights`: 0 where a reading is set aside; empty for
/// none.
pub(crate) fn fit_heavy(
    segments: &Segments,
    weights: &[f64],
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
    tolerance: f64,
) -> Result<Member, FitFailure> {
    let plain = Spec { heavy: false, ..spec };
    let normal = fit_member(segments, weights, plain, estimator, known_sd, None)?;
    let mut member = normal.clone();
    let mut sigma2 = sigma2_of(&member);
    let mut nu = 6.0;
    let weight = if weights.is_empty() { vec![1.0; segments.readings()] } else { weights.to_vec() };
    let mut sites = Sites { value: segments.value.clone(), weight };
    let mut pseudo = segments.clone();
    for round in 0..ROUNDS {
        let mut moved = 0.0;
        for sweep in 0..SWEEPS {
            let cavities = cavities(segments, &member, &sites, sigma2);
            let before = (sigma2, nu);
            if known_sd.is_none() {
                sigma2 = better_sigma2(segments, &cavities, sigma2, nu);
            }
            nu = better_nu(segments, &cavities, sigma2, nu);
            if nu >= NORMAL && round > 1 {
                return Ok(Member { spec, parameters: normal.parameters + 1, ..normal });
            }
            let change = sites.update(segments, &cavities, before.0, sigma2, &slices(nu));
            if sweep == 0 {
                moved = change.max((sigma2 / before.0).ln().abs()).max(0.1 * (nu / before.1).ln().abs());
            }
            pseudo.value.clone_from(&sites.value);
            if sweep + 1 < SWEEPS {
                member.refresh(&pseudo, &sites.weight, sigma2, estimator)?;
            }
        }
        member = fit_member(&pseudo, &sites.weight, plain, estimator, Some(sigma2.sqrt()), Some(&member))?;
        // What the first sweep after a fit moves is what the fit had left to move.
        if round > 0 && moved < tolerance {
            break;
        }
    }
    let log_likelihood = sites.log_likelihood(segments, &member, sigma2, &slices(nu));
    member.spec = spec;
    member.df = Some(nu);
    member.log_likelihood = log_likelihood;
    // ν, and σ where it was not given.
    member.parameters += 1 + usize::from(known_sd.is_none());
    member.sigma_estimated = known_sd.is_none();
    Ok(member)
}

impl Member {
    /// Puts other values and weights in the readings' place, the variances as they are and σ² given.
    fn refresh(
        &mut self,
        pseudo: &Segments,
        weight: &[f64],
        sigma2: f64,
        estimator: Estimator,
    ) -> Result<(), FitFailure> {
        self.problem = self.problem.with_readings(pseudo, weight);
        let f = &mut self.fitted;
        f.shape.known_sd = Some(sigma2.sqrt());
        f.profile = evaluate(&self.problem, f.shape, &f.theta, estimator)
            .ok_or_else(|| FitFailure::not_estimable("heavy tails leave no reading to tell the mean line by"))?;
        Ok(())
    }
}

fn sigma2_of(member: &Member) -> f64 {
    member.problem.frame.scale.powi(2) * member.fitted.profile.sigma2
}

impl Sites {
    /// Moves the sites towards their cavities' tilted moments; the largest change of a weight, or of a value in σ.
    fn update(
        &mut self,
        segments: &Segments,
        cavities: &[Cavity],
        before: f64,
        sigma2: f64,
        slices: &[(f64, f64)],
    ) -> f64 {
        let mut change = 0.0_f64;
        for (i, cavity) in cavities.iter().enumerate().filter(|(_, c)| c.told) {
            let tilted = cavity.tilt(segments.value[i], sigma2, slices);
            // Precision and precision times value: natural parameters, in which steps are taken.
            let precision = (1.0 / tilted.variance - 1.0 / cavity.variance).max(LEAST / sigma2);
            let shift = (precision + 1.0 / cavity.variance) * tilted.mean - cavity.mean / cavity.variance;
            let old = self.weight[i] / before;
            let next = old + DAMPING * (precision - old);
            let value = (old * self.value[i] + DAMPING * (shift - old * self.value[i])) / next;
            let weight = (next * sigma2).max(LEAST);
            change = change.max((weight - self.weight[i]).abs()).max(
                // A site of no weight may stand anywhere.
                weight.min(1.0) * (value - self.value[i]).abs() / sigma2.sqrt(),
            );
            self.value[i] = value;
            self.weight[i] = weight;
        }
        change
    }

    fn log_likelihood(&self, segments: &Segments, member: &Member, sigma2: f64, slices: &[(f64, f64)]) -> f64 {
        let gain: f64 = cavities(segments, member, self, sigma2)
            .iter()
            .enumerate()
            .filter(|(_, cavity)| cavity.told)
            .map(|(i, cavity)| {
                let sd = (cavity.variance + sigma2 / self.weight[i]).sqrt();
                let z = (self.value[i] - cavity.mean) / sd;
                // ln N in full: a site far out would underflow.
                let site = -0.5 * z * z - sd.ln() - 0.5 * (2.0 * std::f64::consts::PI).ln();
                cavity.log_z(segments.value[i], sigma2, slices) - site
            })
            .sum();
        member.log_likelihood + gain
    }
}

/// The cavity of every reading: its true value's posterior with its own site taken out.
fn cavities(segments: &Segments, member: &Member, sites: &Sites, sigma2: f64) -> Vec<Cavity> {
    let problem = &member.problem;
    let f = &member.fitted;
    let lines = posteriors(problem, f.shape, &f.theta, &f.profile);
    let parts: Vec<Vec<Cavity>> = (0..segments.len())
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
                    let (precision, site) = (1.0 / o.level_var, sites.weight[i] / sigma2);
                    // A reading that alone tells its valve's level leaves next to nothing.
                    let rest = (precision - site).max(1e-6 * precision);
                    Cavity {
                        mean: (precision * o.level - site * sites.value[i]) / rest,
                        variance: 1.0 / rest,
                        told: sites.weight[i] > 0.0,
                    }
                })
                .collect()
        })
        .collect();
    parts.into_iter().flatten().collect()
}

/// Σ ln Ẑ.
fn score(segments: &Segments, cavities: &[Cavity], sigma2: f64, slices: &[(f64, f64)]) -> f64 {
    cavities.iter().zip(&segments.value).filter(|(c, _)| c.told).map(|(c, y)| c.log_z(*y, sigma2, slices)).sum()
}

/// Top of the parabola through f at `x − h`, `x` and `x + h`, at most `reach` from x; the best of the three where it has no top.
fn top(x: f64, h: f64, reach: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (low, mid, high) = (f(x - h), f(x), f(x + h));
    let curve = low - 2.0 * mid + high;
    let step = if curve < 0.0 { 0.5 * h * (low - high) / curve } else { reach * (high - low).signum() };
    x + step.clamp(-reach, reach)
}

/// σ² nearer to what suits the readings best: repeated from sweep to sweep, it gets there.
fn better_sigma2(segments: &Segments, cavities: &[Cavity], now: f64, nu: f64) -> f64 {
    let slices = slices(nu);
    top(now.ln(), 0.1, 0.3, |x| score(segments, cavities, x.exp(), &slices)).exp()
}

/// The degrees of freedom nearer to what suits the readings best, moved at most by 1.6 times so that σ can follow.
fn better_nu(segments: &Segments, cavities: &[Cavity], sigma2: f64, now: f64) -> f64 {
    let nu = top(now.ln(), 0.2, 0.47, |x| score(segments, cavities, sigma2, &slices(x.exp()))).exp().max(2.5);
    if nu > 0.98 * NORMAL { NORMAL } else { nu }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use crate::fixtures;
    use crate::result::ModelKind;
    use nalgebra::{DMatrix, DVector};
    use packdrift_numerics::stream::Key;

    /// Twelve segments of three readings, two of which are far off.
    fn few() -> Segments {
        let mut stream = Key::new(3, "heavy tails").stream(0);
        fixtures::segments((0..12_u32).map(|v| {
            let (start, slope) = (1.0 + 0.05 * stream.normal(), 4e-5 + 1e-5 * stream.normal());
            (0..3)
                .map(|k| {
                    let hours = 900.0 * f64::from(k) + 100.0 * f64::from(v % 3);
                    let off = if (v, k) == (2, 1) || (v, k) == (7, 2) { 0.16 } else { 0.0 };
                    (hours, start + slope * hours + 0.02 * stream.normal() + off)
                })
                .collect()
        }))
    }

    /// ln of the likelihood by its definition: every choice of a slice for every reading of a segment, the mean line given.
    fn by_enumeration(segments: &Segments, member: &Member, line: (f64, f64)) -> f64 {
        let (problem, f) = (&member.problem, &member.fitted);
        let (scale, time) = (problem.frame.scale, problem.frame.time);
        let (sigma2, slices) = (sigma2_of(member), slices(member.df.unwrap()));
        let [l0, l1, l2] = f.theta.l;
        let unit = sigma2.sqrt();
        let (g00, g01, g11) = (l0 * l0, l0 * l1 / time, (l1 * l1 + l2 * l2) / (time * time));
        assert!(scale > 0.0);
        let mut sum = 0.0;
        for s in 0..segments.len() {
            let r = segments.range(s);
            let (hours, n) = (&segments.hours[r.clone()], r.len());
            let e = DVector::from_fn(n, |i, _| segments.value[r.start + i] - line.0 - line.1 * hours[i]);
            let mut likelihood = 0.0;
            for choice in 0..slices.len().pow(n as u32) {
                let pick = |i: usize| slices[choice / slices.len().pow(i as u32) % slices.len()];
                let v = DMatrix::from_fn(n, n, |i, k| {
                    let line = g00 + g01 * (hours[i] + hours[k]) + g11 * hours[i] * hours[k];
                    let wander = f.theta.omega2 / time * hours[i].min(hours[k]);
                    unit * unit * (line + wander + if i == k { 1.0 / pick(i).1 } else { 0.0 })
                });
                let chol = v.cholesky().unwrap();
                let log_det: f64 = 2.0 * chol.l().diagonal().map(f64::ln).sum();
                let chance: f64 = (0..n).map(|i| pick(i).0).product();
                let n = n as f64;
                likelihood +=
                    chance * (-0.5 * (log_det + e.dot(&chol.solve(&e)) + n * (2.0 * std::f64::consts::PI).ln())).exp();
            }
            sum += likelihood.ln();
        }
        sum
    }

    #[test]
    fn the_likelihood_is_that_of_the_definition() {
        let segments = few();
        for kind in [ModelKind::RandomSlope, ModelKind::Wiener] {
            let spec = Spec { heavy: true, ..Spec::plain(kind) };
            let member = fit_heavy(&segments, &[], spec, Estimator::Ml, None, 1e-4).unwrap();
            let model = member.model(&segments.group_names);
            let exact = by_enumeration(&segments, &member, (model.intercept, model.slope));
            // Twelve segments of two heavy outliers among 36 readings: propagation is good to a hundredth a segment.
            assert!(
                (member.log_likelihood - exact).abs() < 0.15,
                "{kind:?}: {} against {exact}",
                member.log_likelihood
            );
            let low = |i: usize| member.weight[i] < 0.2;
            assert!(low(7) && low(23) && (0..36).filter(|i| !low(*i)).count() >= 30, "{:?}", member.weight);
        }
    }

    #[test]
    fn slices_are_a_t() {
        for nu in [2.5, 4.0, 12.0, 100.0] {
            let slices = slices(nu);
            let total: f64 = slices.iter().map(|(q, _)| q).sum();
            assert!((total - 1.0).abs() < 1e-15);
            // Density of the t at 0, 1, 2, 4 and 8 scales from its own formula.
            for x in [0.0_f64, 1.0, 2.0, 4.0, 8.0] {
                let found: f64 = slices.iter().map(|(q, u)| q * u.sqrt() * normal::pdf(x * u.sqrt())).sum();
                let ln_gamma = packdrift_numerics::special::ln_gamma;
                let t = (ln_gamma(0.5 * (nu + 1.0))
                    - ln_gamma(0.5 * nu)
                    - 0.5 * (std::f64::consts::PI * nu).ln()
                    - 0.5 * (nu + 1.0) * (x * x / nu).ln_1p())
                .exp();
                // Middles of slices: some percent in the bulk, a quarter where a handful of slices make the tail.
                let slack = if x < 3.0 { 0.04 } else { 0.3 };
                assert!((found / t - 1.0).abs() < slack, "ν {nu}, x {x}: {found} against {t}");
            }
        }
    }
}
