//! The share outside as a smooth function of a lot's bias and sd, by conditional Monte Carlo.
//!
//! Everything that acts on a requirement through one sum T (the lot's parts among it, see `direction`) is integrated: with the rest at one draw
//! the requirement holds for T in some intervals, found once by root finding, and T is normal with mean Σκᵢ·bias and variance
//! Σκᵢ²·sd² + that of the other dimensions in the sum. The share at this draw is a sum of normal tails and the mean over the draws is the
//! answer; the same draws serve every bias and sd. Where nothing is left to draw it is exact.
//!
//! Where several parts of the lot act each in its own way (springs on both sides, a bay that comes loose) they are
//! nominal + c + σ·ρᵢ with ρᵢ = zᵢ − z̄ drawn, c ~ N(bias, σ²/m) integrated, the intervals found at a few σ and interpolated.
//!
//! What is left to draw is drawn wider along the direction in which the requirement leans on it most, and weighted for that, so that rare
//! shares are found there too.
//!
//! Draws are scrambled Sobol' points numbered by a requirement's own coordinates, so the result depends on the seed alone and like bays get
//! like figures.

use super::direction::{Direction, Question, margin};
use super::ends::{Ends, Holds, between};
use super::place::Place;
use crate::LotError;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::special::{Inversion, invert_increasing};
use packdrift_spread::{PackModel, Population, Stack};
use rayon::prelude::*;

/// 2^11 draws of what is left.
const LOG2_DRAWS: u32 = 11;
/// How much wider what is left is drawn along its most important direction.
const WIDER: f64 = 2.0;
/// Points at which a requirement is first looked at along the sum.
const COARSE: usize = 41;
/// σ over the reach at which intervals are found where the parts act each in its own way.
const LEVELS: [f64; 4] = [0.0, 1.0 / 16.0, 1.0 / 6.0, 1.0 / 2.0];

pub(super) struct Conditional {
    requirements: Vec<Answer>,
    /// How far bias and sd of the lot are looked at, mm.
    pub(super) reach: f64,
}

/// One requirement.
enum Answer {
    /// One sum.
    Sum { mean: f64, own: f64, other: f64, kappa: Vec<f64>, ends: Ends },
    /// The parts act each in its own way: `holds[level][draw]`.
    Split { parts: f64, levels: Vec<f64>, holds: Vec<Vec<Holds>> },
}

impl Conditional {
    /// For lots whose biases and sds are at most these, mm.
    pub(super) fn new(bare: &Stack, place: &Place, bias: f64, sd: f64, seed: u64) -> Result<Self, LotError> {
        let spread = |e: packdrift_spread::SpreadError| LotError::Pack(e.to_string());
        let population = Population::of_stack(bare).map_err(spread)?;
        let model = PackModel::new(bare).map_err(spread)?;
        let question = Question { model: &model, population: &population, stack: bare, place, seed };
        let smallest = place.inputs.iter().map(|&i| bare.inputs[i].nominal).fold(f64::INFINITY, f64::min);
        let innermost = innermost(&question, smallest);
        let reach = (2.5 * innermost).max(bias.abs() + 8.0 * sd).min(0.95 * smallest + bias.abs());
        let requirements = (0..bare.requirements.len())
            .into_par_iter()
            .map(|k| Answer::new(&question, k, &Direction::find(&question, k, innermost), reach))
            .collect();
        Ok(Self { requirements, reach })
    }

    /// Whether any requirement depends on the parts.
    pub(super) fn depends(&self) -> bool {
        self.requirements.iter().any(|r| match r {
            Answer::Sum { own, .. } => *own > 0.0,
            Answer::Split { .. } => true,
        })
    }

    /// The share outside of every requirement at a bias and sd of the lot, mm.
    pub(super) fn shares(&self, bias: f64, sd: f64) -> Vec<f64> {
        let sd = sd.max(1e-9 * self.reach);
        self.requirements.iter().map(|r| r.share(bias, sd)).collect()
    }

    /// The share outside of one requirement where its parts are drawn from these deviations from nominal, mm, all combinations alike;
    /// None where that would be too many, or the parts act each in its own way.
    pub(super) fn share_of_deviations(&self, requirement: usize, deviations: &[f64]) -> Option<f64> {
        const MOST: f64 = 200_000.0;
        let Answer::Sum { other, kappa, ends, .. } = &self.requirements[requirement] else { return None };
        let acting: Vec<f64> = kappa.iter().copied().filter(|k| *k != 0.0).collect();
        if (deviations.len() as f64).powi(acting.len() as i32) > MOST {
            return None;
        }
        let mut sums = vec![0.0];
        for kappa in acting {
            sums = sums.iter().flat_map(|s| deviations.iter().map(move |d| s + kappa * d)).collect();
        }
        let sd = other.sqrt().max(1e-9 * self.reach);
        Some(sums.iter().map(|s| ends.outside(*s, sd)).sum::<f64>() / sums.len() as f64)
    }
}

/// How far the parts may be moved together, everything else at its mean, until a requirement fails, mm.
fn innermost(question: &Question<'_>, smallest: f64) -> f64 {
    let Question { model, population, stack, place, .. } = *question;
    let means = population.means();
    let at = |requirement: usize, c: f64| {
        let mut x = means.clone();
        place.inputs.iter().for_each(|&i| x[i] += c);
        margin(model, stack, requirement, &x)
    };
    let mut innermost = f64::INFINITY;
    for requirement in 0..stack.requirements.len() {
        for direction in [-1.0, 1.0] {
            let mut c = 1e-3 * smallest.max(0.05);
            while c < smallest && at(requirement, direction * c) > 0.0 {
                c *= 1.25;
            }
            if c < smallest {
                innermost = innermost.min(c);
            }
        }
    }
    if innermost.is_finite() { innermost } else { 0.25 * smallest }
}

impl Answer {
    fn new(question: &Question<'_>, requirement: usize, direction: &Direction, reach: f64) -> Self {
        let Question { model, population, stack, seed, .. } = *question;
        let m = direction.parts.len();
        let split = direction.is_split();
        let points = Scrambling { seed, purpose: "lot in pack", number: 0, log2_points: LOG2_DRAWS };
        let own = if split { m } else { 0 };
        let draws = if direction.drawn.is_empty() && !split { 1 } else { points.points() };
        let columns: Vec<Vec<f64>> = (0..if draws == 1 { 0 } else { own + direction.drawn.len() })
            .map(|k| {
                let mut column = vec![0.0; draws];
                points.fill_normal(k, &mut column);
                column
            })
            .collect();
        let kappa = if split || !direction.kappa.is_empty() { direction.kappa.clone() } else { vec![1.0; m] };
        let (mean, square) = (kappa.iter().sum::<f64>(), kappa.iter().map(|k| k * k).sum::<f64>());
        let range = if split { reach } else { mean.abs().max(square.sqrt()) * reach + 8.0 * direction.variance.sqrt() };
        let mirror = Mirror::new(&direction.lean);
        let wider = if split { 1.0 } else { WIDER };
        let weight_of = |draw: usize| match columns.first() {
            // The first coordinate is the direction itself.
            Some(first) if !split => wider * (0.5 * first[draw] * first[draw] * (1.0 - wider * wider)).exp(),
            _ => 1.0,
        };
        let intervals_at = |draw: usize, sigma: f64| {
            let mut z: Vec<f64> = columns[own.min(columns.len())..].iter().map(|c| c[draw]).collect();
            if let Some(first) = z.first_mut() {
                *first *= wider;
            }
            mirror.turn(&mut z);
            let mut u = vec![0.0; population.coordinates()];
            for (&coordinate, z) in direction.drawn.iter().zip(z) {
                u[coordinate] = z;
            }
            let mut x = vec![0.0; population.inputs()];
            population.to_x(&u, &mut x);
            let middle = columns[..own].iter().map(|c| c[draw]).sum::<f64>() / own.max(1) as f64;
            for (&part, z) in direction.parts.iter().zip(&columns[..own]) {
                x[part] += sigma * (z[draw] - middle);
            }
            let start = x.clone();
            intervals(range, |t| {
                match direction.carrier {
                    Some((k, per_unit)) if !split => x[k] = start[k] + t * per_unit,
                    _ => direction.parts.iter().for_each(|&p| x[p] = start[p] + t),
                }
                margin(model, stack, requirement, &x)
            })
        };
        if split {
            let levels = LEVELS.map(|f| f * reach).to_vec();
            let holds = levels.iter().map(|&s| (0..draws).map(|d| intervals_at(d, s)).collect()).collect();
            return Self::Split { parts: m as f64, levels, holds };
        }
        let holds: Vec<(f64, Holds)> = (0..draws).map(|d| (weight_of(d), intervals_at(d, 0.0))).collect();
        Self::Sum { mean, own: square, other: direction.variance, kappa, ends: Ends::new(&holds) }
    }

    fn share(&self, bias: f64, sd: f64) -> f64 {
        match self {
            Self::Sum { mean, own, other, ends, .. } => {
                let spread = (own * sd * sd + other).sqrt().max(1e-9 * sd);
                ends.outside(mean * bias, spread)
            }
            Self::Split { parts, levels, holds } => split_share(*parts, levels, holds, bias, sd),
        }
    }
}

/// The reflection that takes the first axis to a direction.
struct Mirror {
    /// Unit normal of the mirror; zeros where there is nothing to reflect.
    normal: Vec<f64>,
}

impl Mirror {
    fn new(direction: &[f64]) -> Self {
        let mut normal: Vec<f64> = direction.iter().map(|a| -a).collect();
        if let Some(first) = normal.first_mut() {
            *first += 1.0;
        }
        let size = normal.iter().map(|w| w * w).sum::<f64>().sqrt();
        let length = direction.iter().map(|a| a * a).sum::<f64>();
        if size > 1e-9 && length > 0.5 {
            normal.iter_mut().for_each(|w| *w /= size);
        } else {
            normal.fill(0.0);
        }
        Self { normal }
    }

    fn turn(&self, z: &mut [f64]) {
        let along: f64 = self.normal.iter().zip(z.iter()).map(|(w, z)| w * z).sum();
        z.iter_mut().zip(&self.normal).for_each(|(z, w)| *z -= 2.0 * along * w);
    }
}

fn split_share(parts: f64, levels: &[f64], holds: &[Vec<Holds>], bias: f64, sd: f64) -> f64 {
    let common = sd / parts.sqrt();
    let upper = levels.iter().position(|l| *l >= sd).unwrap_or(levels.len() - 1).max(1);
    let lower = upper - 1;
    let way = ((sd - levels[lower]) / (levels[upper] - levels[lower])).clamp(0.0, 1.0);
    let (a, b) = (&holds[lower], &holds[upper]);
    let sum: f64 = a
        .iter()
        .zip(b)
        .map(|(a, b)| match (a.as_slice(), b.as_slice()) {
            ([a], [b]) => outside(&[(mix(a.0, b.0, way), mix(a.1, b.1, way))], bias, common),
            (a, b) => (1.0 - way) * outside(a, bias, common) + way * outside(b, bias, common),
        })
        .sum();
    sum / a.len() as f64
}

fn mix(a: f64, b: f64, way: f64) -> f64 {
    if a.is_infinite() || b.is_infinite() { if way < 0.5 { a } else { b } } else { a + way * (b - a) }
}

/// P(c outside all intervals), c ~ N(bias, sd²), by tails so that small shares keep their digits.
fn outside(holds: &[(f64, f64)], bias: f64, sd: f64) -> f64 {
    let (Some(first), Some(last)) = (holds.first(), holds.last()) else {
        return 1.0;
    };
    let z = |c: f64| (c - bias) / sd;
    let gaps: f64 = holds.windows(2).map(|gap| between(z(gap[0].1), z(gap[1].0))).sum();
    (normal::cdf(z(first.0)) + normal::sf(z(last.1)) + gaps).min(1.0)
}

/// The intervals of t within ± range where f is not negative; an interval that reaches the end is taken to go on for ever.
fn intervals(range: f64, mut f: impl FnMut(f64) -> f64) -> Holds {
    let at = |k: usize| range * (2.0 * k as f64 / (COARSE - 1) as f64 - 1.0);
    let values: Vec<f64> = (0..COARSE).map(|k| f(at(k))).collect();
    let mut found = Vec::new();
    let mut start = if values[0] >= 0.0 { Some(f64::NEG_INFINITY) } else { None };
    for k in 1..COARSE {
        let (before, here) = (values[k - 1] >= 0.0, values[k] >= 0.0);
        if before == here {
            continue;
        }
        let rising = here;
        let (low, high) = (at(k - 1), at(k));
        let guess = if values[k - 1].is_finite() && values[k].is_finite() {
            low + (high - low) * values[k - 1] / (values[k - 1] - values[k])
        } else {
            0.5 * (low + high)
        };
        let step = 0.02 * (high - low);
        let crossing = invert_increasing(&Inversion { start: guess, step, lower: low, upper: high }, |c| {
            let v = if rising { f(c) } else { -f(c) };
            // Minus infinity (cannot be assembled) must not upset the interpolation.
            v.clamp(-1e12, 1e12)
        });
        if rising {
            start = Some(crossing);
        } else if let Some(from) = start.take() {
            found.push((from, crossing));
        }
    }
    if let Some(from) = start {
        found.push((from, f64::INFINITY));
    }
    found
}
