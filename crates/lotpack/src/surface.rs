//! The share outside as a smooth function of a lot's bias and sd, by line sampling.
//!
//! A requirement knows of a lot on both sides of the rocker by a signed sum: what the shims on one side add, those on the other take away, so that a bias cancels
//! where the scatter does not. Which sum it is, its slopes say. With every input as standard normal scores u, α the unit vector of the response's gradient and
//! v across it, P(outside) is the mean over v of P(c : v + c·α outside), c standard normal: each line is scanned from end to end, so the estimate is unbiased
//! whatever α (Koutsourelakis, Pradlwarter and Schuëller, Probabilistic Engineering Mechanics 19, 2004), and the nearer the requirement is to linear the less the
//! lines differ; where all are alike, a few are enough.
//!
//! For many biases b and sds σ: at a few levels of both the lines are drawn once, and the ends of the intervals in which the requirement holds are kept as linear
//! responses e = b·Σgₚ + c·G(σ), G(σ)² = |σ·g + h|² (g and h the gradients by the standard normals through the lot's parts and through all else: σ²·Σgₚ² + G₀²
//! where nothing ties a part). The ends hardly move with b and σ; e of another
//! lot is N(b·Σgₚ, G(σ)²), so its share is a mean of normal tails over the ends of the neighbouring levels, joined on the probit scale: by a cubic in b, by a line
//! in σ²·|g|²/(σ²·|g|² + |h|²).
//!
//! Lines are scrambled Sobol' points numbered within the requirement, so that the result depends on the seed alone and like bays get like figures.

use super::LotPackError;
use super::ends::{Ends, Holds};
use super::lines::Lines;
use super::place::Place;
use super::response::{Parts, Response, Scale};
use packdrift_numerics::normal;
use packdrift_spread::{PackModel, Population, Stack};
use rayon::prelude::*;

/// 2⁸ lines a level; 2⁴ where all are alike.
const LOG2_LINES: u32 = 8;
const LOG2_ALIKE: u32 = 4;
/// Ends that differ by less than this part of G are alike.
const ALIKE: f64 = 1e-6;
/// Smaller shares are as good as none; beyond this many standard deviations a probit is not followed.
const NIL: f64 = 1e-300;
const FARTHEST: f64 = 12.0;
/// Of the lot's sd.
const SMOOTH: f64 = 0.03;
/// Levels of the bias and of σ, over the reach.
const BIASES: [f64; 7] = [-1.0, -0.5, -0.2, 0.0, 0.2, 0.5, 1.0];
const SDS: [f64; 4] = [0.0, 1.0 / 16.0, 1.0 / 6.0, 1.0 / 2.0];

/// Every requirement.
pub(crate) struct Surface {
    requirements: Vec<Answer>,
    /// How far bias and sd of the lot are looked at, mm.
    pub(crate) reach: f64,
}

/// One requirement.
struct Answer {
    depends: bool,
    slopes: Slopes,
    /// At `[bias][sd]` of the levels.
    levels: Vec<Vec<Ends>>,
    reach: f64,
    /// Slope for each part of the lot that it leans on.
    parts: Vec<f64>,
    /// Whether some of them are tied to each other or to other dimensions.
    tied: bool,
}

/// How a requirement leans on the lot's parts and on all else.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slopes {
    /// Σgₚ: what a bias of the lot adds.
    pub(crate) sum: f64,
    /// |g|².
    squares: f64,
    /// g·h: 0 where no part is tied to another dimension.
    cross: f64,
    /// |h|².
    others: f64,
}

impl Slopes {
    fn new(lines: &Lines<'_>, gradient: &[f64], parts: &[usize]) -> Result<Self, LotPackError> {
        // With parts that scatter by 1 mm, so that their gradient is g itself.
        let unit = Population::of_stack(&lines.place.written(lines.bare, 0.0, 1.0))?;
        let in_u = |wanted: &dyn Fn(usize) -> bool| {
            let some: Vec<f64> = gradient.iter().enumerate().map(|(k, g)| if wanted(k) { *g } else { 0.0 }).collect();
            let mut in_u = vec![0.0; unit.coordinates()];
            unit.gradient_to_u(&vec![0.0; unit.coordinates()], &some, &mut in_u);
            in_u
        };
        let (own, others) = (in_u(&|k| parts.contains(&k)), in_u(&|k| !lines.place.inputs.contains(&k)));
        let reach = lines.coordinates(&unit);
        let product = |a: &[f64], b: &[f64]| reach.iter().map(|&k| a[k] * b[k]).sum::<f64>();
        Ok(Self {
            sum: parts.iter().map(|&p| gradient[p]).sum(),
            squares: product(&own, &own),
            cross: product(&own, &others),
            others: product(&others, &others),
        })
    }

    fn spread(&self, sd: f64) -> f64 {
        (sd * sd * self.squares + 2.0 * sd * self.cross + self.others).max(0.0).sqrt()
    }

    /// The lot's part of G²: it decides along which lines a limit is met.
    fn part(&self, sd: f64) -> f64 {
        let own = sd * sd * self.squares;
        if own > 0.0 { own / (own + self.others) } else { 0.0 }
    }
}

impl Surface {
    /// For lots whose biases and sds are at most these, mm.
    pub(crate) fn new(bare: &Stack, place: &Place, bias: f64, sd: f64, seed: u64) -> Result<Self, LotPackError> {
        let model = PackModel::new(bare)?;
        let smallest = place.inputs.iter().map(|&i| bare.inputs[i].nominal).fold(f64::INFINITY, f64::min);
        let innermost = super::lines::innermost(&model, bare, place, smallest)?;
        let reach = (2.5 * innermost).max(bias.abs() + 8.0 * sd).min(0.95 * smallest + bias.abs());
        let requirements = (0..bare.requirements.len())
            .into_par_iter()
            .map(|k| Answer::new(&Lines { model: &model, bare, place, requirement: k, seed, innermost }, reach))
            .collect::<Result<_, _>>()?;
        Ok(Self { requirements, reach })
    }

    /// Whether any requirement depends on the parts.
    pub(crate) fn depends(&self) -> bool {
        self.requirements.iter().any(|r| r.depends)
    }

    /// Whether this one does.
    pub(crate) fn depends_on(&self, requirement: usize) -> bool {
        self.requirements[requirement].depends
    }

    /// One requirement as a function of the lot's own sum, for a lot of about this bias and sd, mm; None where it does not depend on the parts.
    pub(crate) fn response(&self, requirement: usize, bias: f64, sd: f64) -> Option<Response> {
        let answer = &self.requirements[requirement];
        (answer.depends && sd > 0.0).then(|| answer.response(bias, sd)).flatten()
    }

    /// The share outside of every requirement at a bias and sd of the lot, mm.
    pub(crate) fn shares(&self, bias: f64, sd: f64) -> Vec<f64> {
        self.requirements.iter().map(|r| r.share(bias, sd)).collect()
    }
}

impl Answer {
    fn new(lines: &Lines<'_>, reach: f64) -> Result<Self, LotPackError> {
        let gradient = lines.gradient()?;
        let parts = lines.parts();
        let slopes = Slopes::new(lines, &gradient, &parts)?;
        let depends = lines.depends(&parts);
        let level = |b: f64, s: f64, log2: u32| lines.at(b * reach, s * reach, &gradient, slopes.sum, log2);
        let (bias, sd) = if depends { (BIASES.as_slice(), SDS.as_slice()) } else { (&BIASES[3..4], &SDS[..1]) };
        // A level in the middle tells whether the lines are alike.
        let tried = level(0.0, SDS[1], LOG2_ALIKE)?;
        let log2 = if alike(&tried, ALIKE * slopes.spread(SDS[1] * reach)) { LOG2_ALIKE } else { LOG2_LINES };
        let row = |b: f64| sd.iter().map(|&s| level(b, s, log2).map(|holds| Ends::new(&holds))).collect();
        let levels = bias.iter().map(|&b| row(b)).collect::<Result<_, LotPackError>>()?;
        let largest = parts.iter().map(|&p| gradient[p].abs()).fold(0.0, f64::max);
        let parts = parts.iter().map(|&p| gradient[p]).filter(|g| g.abs() > 1e-6 * largest).collect();
        Ok(Self { depends, slopes, levels, reach, parts, tied: lines.place.is_tied() })
    }

    fn share(&self, bias: f64, sd: f64) -> f64 {
        let mean = self.slopes.sum * bias;
        self.at_ends_of(bias, sd, mean, self.slopes.spread(sd))
    }

    /// The share outside of a response of N(mean, spread²), by the ends as they are about a lot of this bias and sd.
    fn at_ends_of(&self, bias: f64, sd: f64, mean: f64, spread: f64) -> f64 {
        let spread = spread.max(1e-12 * (1.0 + mean.abs()));
        if !self.depends {
            return self.levels[0][0].outside(mean, spread);
        }
        let parts = SDS.map(|level| self.slopes.part(level * self.reach));
        let (j, up) = between(&parts, self.slopes.part(sd));
        let row = |j: usize| {
            let probit = |i: usize| normal::quantile(self.levels[i][j].outside(mean, spread).clamp(NIL, 1.0 - 1e-16));
            joined(&BIASES, bias / self.reach, probit)
        };
        normal::cdf((1.0 - up) * row(j) + up * row(j + 1))
    }

    fn response(&self, bias: f64, sd: f64) -> Option<Response> {
        let slopes = &self.slopes;
        let (sum, size) = (slopes.sum, slopes.squares.sqrt());
        let straight: f64 = self.parts.iter().map(|g| g.abs()).sum();
        if size.is_nan() || size <= 0.0 {
            return None;
        }
        // A little of the lot's own scatter stays normal, so that a sum in classes meets a limit smoothly.
        let floor = SMOOTH * sd;
        let spread = (floor * floor * slopes.squares + (2.0 * sd * slopes.cross).max(0.0) + slopes.others).sqrt();
        // Where the parts pull one way, what they are off together is a bias, and the ends are those at that bias.
        let together = sum.abs() > 0.5 * straight;
        let (per_bias, per_sum) = if together { (1.0, size / sum) } else { (sum, size) };
        let share = |at: f64| {
            if together { self.at_ends_of(at, sd, sum * at, spread) } else { self.at_ends_of(bias, sd, at, spread) }
        };
        let one_way = self.parts.iter().all(|g| g * sum > 0.0);
        let parts = Parts {
            slopes: if self.tied { vec![1.0] } else { self.parts.iter().map(|g| g / size).collect() },
            count: self.parts.len(),
            either_way: (!one_way).then(|| per_sum.abs() * straight / size),
        };
        let scale = Scale { per_bias, per_sum, centre: per_bias * bias, unit: per_sum.abs() * sd };
        Some(Response::new(scale, parts, share))
    }
}

/// The cell of rising levels that holds a value, and how far into it, from 0 to 1.
fn between(levels: &[f64], at: f64) -> (usize, f64) {
    let cell = levels.iter().rposition(|l| *l <= at).unwrap_or(0).min(levels.len() - 2);
    (cell, ((at - levels[cell]) / (levels[cell + 1] - levels[cell])).clamp(0.0, 1.0))
}

/// A smooth function of the bias between its levels: the cubic through the four about it, the line through the two beside it where the share at
/// one of the outer ones is no number to go by.
fn joined(levels: &[f64; 7], at: f64, value: impl Fn(usize) -> f64) -> f64 {
    let (cell, right) = between(levels, at);
    let at = at.clamp(levels[0], levels[levels.len() - 1]);
    let first = cell.saturating_sub(1).min(levels.len() - 4);
    let values: [f64; 4] = std::array::from_fn(|k| value(first + k));
    if values.iter().any(|v| v.abs() > FARTHEST) {
        let near = |i: usize| values[i - first];
        return (1.0 - right) * near(cell) + right * near(cell + 1);
    }
    (0..4)
        .map(|i| {
            let others = (0..4).filter(|k| *k != i);
            let x = |k: usize| levels[first + k];
            values[i] * others.map(|k| (at - x(k)) / (x(i) - x(k))).product::<f64>()
        })
        .sum()
}

/// Whether every line has the same intervals, as near as `within`.
fn alike(holds: &[(f64, Holds)], within: f64) -> bool {
    let Some((_, first)) = holds.first() else { return true };
    let same = |a: f64, b: f64| a.total_cmp(&b).is_eq() || (a - b).abs() <= within;
    holds
        .iter()
        .all(|(_, h)| h.len() == first.len() && h.iter().zip(first).all(|(a, b)| same(a.0, b.0) && same(a.1, b.1)))
}
