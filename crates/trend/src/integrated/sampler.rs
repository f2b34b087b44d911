//! Adaptive multiple importance sampling: draws of the parameters with weights.
//!
//! J.-M. Cornuet, J.-M. Marin, A. Mira, C. Robert, Adaptive multiple importance sampling, Scandinavian Journal of Statistics 39 (2012) 798–812 (the
//! abstract was seen): draws come in stages, each proposed from what the stages before found, and every draw is weighted by
//! prior × likelihood over the mixture of all proposals so far. Points are scrambled Sobol' points, so the same seed gives the same draws and
//! their scatter is a fraction of a random sample's. While too few draws carry the weight, the weights are tempered (raised to a power below 1) until
//! enough do, and the next stage is one t about those; then two t's. The prior stays in the mixture, so a mode that a stage missed
//! is still found. The last stage is made of independent scramblings: the scatter between them is the error of simulation.

use super::diagnostics::{effective, smooth};
use super::filter::Seen;
use super::frame::Frame;
use super::gross::{Changes, changes_of_reduced};
use super::likelihood::{Totals, Workspace, solve, solve_each};
use super::priors::Prior;
use super::proposal::{Cloud, Component, one, two};
use packdrift_numerics::sobol::Scrambling;
use rayon::prelude::*;

/// Memory of one thread that evaluates draws.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scratch {
    pub(crate) work: Workspace,
    /// One for each block, where all of them are gone through twice.
    pub(crate) each: Vec<Workspace>,
    pub(crate) totals: Totals,
    pub(crate) changes: Changes,
    pub(crate) seen: Vec<Seen>,
}

impl Scratch {
    pub(crate) fn of(frame: &Frame) -> Self {
        Self { totals: Totals::new(frame.groups), ..Self::default() }
    }
}

/// What is drawn from: prior × likelihood of some blocks of a frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Target<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) blocks: &'a [usize],
    /// Whether single changes of the anchor are summed over.
    pub(crate) changes: bool,
}

impl Target<'_> {
    /// ln of prior × likelihood, but for a constant; −∞ where it is no number.
    pub(crate) fn ln(&self, z: &[f64], scratch: &mut Scratch) -> f64 {
        let prior = &self.frame.prior;
        let ln_prior = prior.ln_density(z);
        if !ln_prior.is_finite() {
            return f64::NEG_INFINITY;
        }
        let theta = prior.theta(z);
        let Scratch { work, each, totals, changes, seen } = scratch;
        let solved = if self.changes {
            solve_each(self.frame, self.blocks, &theta, each, totals)
        } else {
            solve(self.frame, self.blocks, &theta, work, totals)
        };
        let Some(lines) = solved else { return f64::NEG_INFINITY };
        let mut ln = ln_prior + lines.ln_likelihood;
        if self.changes {
            let mut sum = 0.0;
            for (&b, work) in self.blocks.iter().zip(each) {
                changes_of_reduced(&self.frame.blocks[b], &self.frame.shares, &theta, &lines, work, seen, changes);
                sum += changes.sum;
                ln += changes.ln_anchor;
            }
            ln += sum.ln_1p();
        }
        if ln.is_finite() { ln } else { f64::NEG_INFINITY }
    }
}

/// Sizes of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Plan {
    /// log₂ of the points of a stage.
    pub(crate) stage: u32,
    /// Largest number of stages before the last.
    pub(crate) stages: usize,
    /// The last stage: independent scramblings, and log₂ of the points of each.
    pub(crate) scramblings: usize,
    pub(crate) last: u32,
    /// Effective number at which the proposals are good enough for the last stage.
    pub(crate) enough: f64,
}

/// Share of the last stage's draws that come from the prior.
const DEFENCE: f64 = 0.05;
/// Share of each fitted t's draws in the last stage that come from the same t stretched: what the fit missed at its rim would carry a large weight.
const RIM: f64 = 0.15;
const STRETCH: f64 = 1.8;

/// Draws so far.
struct Pool<'a> {
    prior: &'a Prior,
    z: Vec<f64>,
    ln_target: Vec<f64>,
    components: Vec<Component>,
    /// Expected draws of each component.
    mass: Vec<f64>,
    /// By component and draw.
    ln_density: Vec<Vec<f64>>,
}

impl<'a> Pool<'a> {
    fn new(prior: &'a Prior) -> Self {
        Self {
            prior,
            z: Vec::new(),
            ln_target: Vec::new(),
            components: Vec::new(),
            mass: Vec::new(),
            ln_density: Vec::new(),
        }
    }

    fn rows<'b>(&'b self, z: &'b [f64]) -> impl Iterator<Item = &'b [f64]> {
        z.chunks(self.prior.dimensions())
    }

    /// Takes in a stage's draws, proposed from a mixture.
    fn add(&mut self, mixture: &[(f64, Component)], z: Vec<f64>, ln_target: Vec<f64>) {
        let n = ln_target.len() as f64;
        for (component, densities) in self.components.iter().zip(&mut self.ln_density) {
            densities.extend(z.chunks(self.prior.dimensions()).map(|z| component.ln_density(self.prior, z)));
        }
        self.z.extend(z);
        self.ln_target.extend(ln_target);
        for (share, component) in mixture {
            if let Some(k) = self.components.iter().position(|c| c == component) {
                self.mass[k] += share * n;
                continue;
            }
            let densities = self.rows(&self.z).map(|z| component.ln_density(self.prior, z)).collect();
            self.components.push(component.clone());
            self.mass.push(share * n);
            self.ln_density.push(densities);
        }
    }

    /// ln-weights of all draws against the mixture of all stages.
    fn ln_weights(&self) -> Vec<f64> {
        let total: f64 = self.mass.iter().sum();
        (0..self.ln_target.len())
            .map(|j| {
                let parts = self.mass.iter().zip(&self.ln_density).map(|(m, d)| (m / total).ln() + d[j]);
                self.ln_target[j] - ln_sum(parts)
            })
            .collect()
    }
}

/// ln Σ exp.
fn ln_sum(parts: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = parts.clone().fold(f64::NEG_INFINITY, f64::max);
    if top.is_finite() { top + parts.map(|p| (p - top).exp()).sum::<f64>().ln() } else { top }
}

/// Weights that add to 1, of ln-weights raised to a power.
pub(crate) fn normalised(ln_weights: &[f64], power: f64) -> Vec<f64> {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let raw: Vec<f64> =
        ln_weights.iter().map(|l| if l.is_finite() { (power * (l - top)).exp() } else { 0.0 }).collect();
    let sum: f64 = raw.iter().sum();
    raw.into_iter().map(|w| w / sum).collect()
}

/// The largest power of the weights, 1 at most, at which their effective number is `wanted`.
fn temper(ln_weights: &[f64], wanted: f64) -> f64 {
    let at = |power: f64| {
        let scaled: Vec<f64> = ln_weights.iter().map(|l| if l.is_finite() { power * l } else { *l }).collect();
        effective(&scaled)
    };
    if at(1.0) >= wanted {
        return 1.0;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let mid = 0.5 * (low + high);
        if at(mid) >= wanted {
            low = mid;
        } else {
            high = mid;
        }
    }
    low
}

/// The last stage's draws.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Draws {
    pub(crate) dimensions: usize,
    /// n × d by rows, scrambling by scrambling.
    pub(crate) z: Vec<f64>,
    /// Smoothed ln-weights.
    pub(crate) ln_weights: Vec<f64>,
    pub(crate) scramblings: usize,
    pub(crate) effective: f64,
    pub(crate) pareto_shape: f64,
}

/// A stage's points.
fn propose(prior: &Prior, mixture: &[(f64, Component)], scrambling: Scrambling<'_>) -> Vec<f64> {
    let (n, d) = (scrambling.points(), prior.dimensions());
    let mut columns = vec![vec![0.0; n]; d + 2];
    for (k, column) in columns.iter_mut().enumerate() {
        scrambling.fill(k, column);
    }
    let mut z = vec![0.0; n * d];
    let mut u = vec![0.0; d];
    for (i, z) in z.chunks_mut(d).enumerate() {
        for (u, column) in u.iter_mut().zip(&columns[2..]) {
            *u = column[i];
        }
        let (mut below, pick) = (0.0, columns[0][i]);
        let chosen = mixture.iter().find(|(share, _)| {
            below += share;
            pick < below
        });
        if let Some((_, component)) = chosen.or(mixture.last()) {
            component.point(prior, columns[1][i], &u, z);
        }
    }
    z
}

/// Evaluates the target at draws, in parallel; each value depends on its draw alone.
fn evaluate(target: &Target<'_>, z: &[f64]) -> Vec<f64> {
    let d = target.frame.prior.dimensions();
    z.par_chunks(d).with_min_len(8).map_init(|| Scratch::of(target.frame), |scratch, z| target.ln(z, scratch)).collect()
}

/// What the stages before the last found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Adapted {
    pub(crate) mixture: Vec<(f64, Component)>,
    /// n × d by rows, and their weights.
    pub(crate) z: Vec<f64>,
    pub(crate) weight: Vec<f64>,
    pub(crate) stages: usize,
}

/// Runs the stages before the last; `start` is what a run before this one ended with. None where the likelihood is nowhere a number.
pub(crate) fn adapt(
    target: &Target<'_>,
    plan: &Plan,
    seed: u64,
    start: Option<&[(f64, Component)]>,
) -> Option<Adapted> {
    let prior = &target.frame.prior;
    let d = prior.dimensions();
    let wanted = (10.0 * d as f64).max(40.0);
    let mut pool = Pool::new(prior);
    let mut mixture = vec![(1.0, Component::Prior)];
    if let Some(start) = start {
        mixture = defended(start, 0.25);
    }
    let mut stage = 0;
    loop {
        let points = Scrambling { seed, purpose: "integrated/stage", number: stage as u64, log2_points: plan.stage };
        let z = propose(prior, &mixture, points);
        let ln_target = evaluate(target, &z);
        pool.add(&mixture, z, ln_target);
        stage += 1;
        let ln_weights = pool.ln_weights();
        let effective = effective(&ln_weights);
        if effective <= 0.0 {
            return None;
        }
        let power = temper(&ln_weights, wanted);
        let weight = normalised(&ln_weights, power);
        let cloud = Cloud { dimensions: d, z: &pool.z, weight: &weight };
        mixture = if power < 1.0 { one(cloud) } else { two(cloud) }?;
        // What a run before ended with needs less proof than what was begun with the prior.
        let least = if start.is_some() { 2 } else { 3 };
        if effective >= plan.enough && stage >= least || stage >= plan.stages {
            return Some(Adapted { mixture, z: pool.z, weight, stages: stage });
        }
    }
}

fn defended(mixture: &[(f64, Component)], share: f64) -> Vec<(f64, Component)> {
    let mut out = vec![(share, Component::Prior)];
    out.extend(mixture.iter().filter(|(_, c)| *c != Component::Prior).map(|(s, c)| ((1.0 - share) * s, c.clone())));
    out
}

/// The last stage.
pub(crate) fn finish(target: &Target<'_>, plan: &Plan, seed: u64, proposals: &[(f64, Component)]) -> Draws {
    let prior = &target.frame.prior;
    let d = prior.dimensions();
    let mixture = defended(&rimmed(proposals), DEFENCE);
    let mut z = Vec::new();
    for number in 0..plan.scramblings {
        let points = Scrambling { seed, purpose: "integrated/last", number: number as u64, log2_points: plan.last };
        z.extend(propose(prior, &mixture, points));
    }
    let ln_target = evaluate(target, &z);
    let mut ln_weights: Vec<f64> = z
        .chunks(d)
        .zip(&ln_target)
        .map(|(z, l)| l - ln_sum(mixture.iter().map(|(share, c)| share.ln() + c.ln_density(prior, z))))
        .collect();
    let effective_raw = effective(&ln_weights);
    let pareto_shape = smooth(&mut ln_weights);
    Draws { dimensions: d, z, scramblings: plan.scramblings, effective: effective_raw, pareto_shape, ln_weights }
}

/// Each t with its rim.
fn rimmed(mixture: &[(f64, Component)]) -> Vec<(f64, Component)> {
    let mut out = Vec::new();
    for (share, component) in mixture {
        match component {
            Component::Prior => out.push((*share, Component::Prior)),
            Component::Student(t) => {
                out.push(((1.0 - RIM) * share, component.clone()));
                out.push((RIM * share, Component::Student(t.stretched(STRETCH))));
            }
        }
    }
    out
}

impl Draws {
    /// Draws of equal weight: `count` in all, equally many from each scrambling, by systematic sampling along the order of `rank`. In that order
    /// neighbours are alike, so that hardly anything is lost beside the weighted draws.
    pub(crate) fn equal(&self, count: usize, rank: impl Fn(&[f64]) -> f64) -> Vec<usize> {
        let size = self.ln_weights.len() / self.scramblings;
        let each = count / self.scramblings;
        let mut out = Vec::with_capacity(each * self.scramblings);
        for s in 0..self.scramblings {
            let range = s * size..(s + 1) * size;
            let weight = normalised(&self.ln_weights[range.clone()], 1.0);
            let mut order: Vec<(f64, usize)> =
                range.clone().map(|i| (rank(&self.z[i * self.dimensions..(i + 1) * self.dimensions]), i)).collect();
            order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let (mut below, mut next) = (0.0, 0);
            for (_, i) in &order {
                below += weight[i - range.start];
                while next < each && (next as f64 + 0.5) / (each as f64) < below {
                    out.push(*i);
                    next += 1;
                }
            }
            // Rounding may leave the last ones.
            while next < each {
                out.push(order.last().map_or(range.start, |o| o.1));
                next += 1;
            }
        }
        out
    }
}
