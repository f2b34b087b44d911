//! The share outside as a smooth function of a lot's bias and sd, by conditional Monte Carlo.
//!
//! With the other dimensions fixed at one draw, the parts of the lot are nominal + c + σ·ρᵢ: their common shift c and what each differs from it
//! (ρᵢ = zᵢ − z̄, independent of z̄). A requirement holds for c in some intervals, found once by root finding. Since c is N(bias, σ²/m) for m parts,
//! the share outside at this draw is a sum of normal tail areas, and the mean over the draws of those areas is the answer: no draw is wasted on
//! parts of the lot that lie where the answer is plain, and the same draws serve every bias and sd. With one part the intervals do not depend on
//! σ at all; with more they are found at a few σ and interpolated.
//!
//! Draws are scrambled Sobol' points, so the result depends on the seed alone.

use super::place::Place;
use crate::LotError;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::special::{Inversion, invert_increasing};
use packdrift_pack::Outcome;
use packdrift_spread::{Model, PackModel, Population, Stack};
use rayon::prelude::*;

/// 2^12 draws of the other dimensions: shares of a percent are then good to about a twentieth of themselves, the map's resolution.
const LOG2_DRAWS: u32 = 12;
/// Points at which a requirement is first looked at along c.
const COARSE: usize = 13;

/// Where a requirement holds along c at one draw and one σ.
type Holds = Vec<(f64, f64)>;

pub(super) struct Conditional {
    requirements: Vec<Answer>,
    /// Half the range of c that was looked at, mm.
    pub(super) reach: f64,
}

/// One requirement.
struct Answer {
    /// Parts of the lot in its bay.
    parts: f64,
    /// σ at which the intervals were found; one entry for a single part or none.
    levels: Vec<f64>,
    /// `holds[level][draw]`.
    holds: Vec<Vec<Holds>>,
}

impl Conditional {
    pub(super) fn new(bare: &Stack, place: &Place, bias: f64, sd: f64, seed: u64) -> Result<Self, LotError> {
        let spread = |e: packdrift_spread::SpreadError| LotError::Pack(e.to_string());
        let population = Population::of_stack(bare).map_err(spread)?;
        let model = PackModel::new(bare).map_err(spread)?;
        let requirements = bare.requirements.len();
        let points = Scrambling { seed, purpose: "lot in pack", number: 0, log2_points: LOG2_DRAWS };
        let own: Vec<Vec<usize>> = (0..requirements).map(|r| of_bay(bare, place, r)).collect();
        let m = own.iter().map(Vec::len).max().unwrap_or(0);
        let coordinates = population.coordinates();
        // The parts' own normals come first: the leading coordinates are the best balanced.
        let columns: Vec<Vec<f64>> = (0..m + coordinates)
            .into_par_iter()
            .map(|k| {
                let mut column = vec![0.0; points.points()];
                points.fill_normal(k, &mut column);
                column
            })
            .collect();
        let nominals: Vec<f64> = place.inputs.iter().map(|&i| bare.inputs[i].nominal).collect();
        let smallest = nominals.iter().copied().fold(f64::INFINITY, f64::min);
        // How far c matters: to where the requirements fail with everything else at its mean, and well past the lot itself.
        let means = population.means();
        let signed = |requirement: usize, x: &[f64]| margin(&model, bare, requirement, x);
        let at_mean = |requirement: usize, c: f64| {
            let mut x = means.clone();
            for (&i, nominal) in place.inputs.iter().zip(&nominals) {
                x[i] = nominal + c;
            }
            signed(requirement, &x)
        };
        let mut innermost = f64::INFINITY;
        for requirement in 0..requirements {
            for direction in [-1.0, 1.0] {
                let mut c = 1e-3 * smallest.max(0.05);
                while c < smallest && at_mean(requirement, direction * c) > 0.0 {
                    c *= 1.25;
                }
                if c < smallest {
                    innermost = innermost.min(c);
                }
            }
        }
        let innermost = if innermost.is_finite() { innermost } else { 0.25 * smallest };
        let reach = (2.5 * innermost).max(bias.abs() + 8.0 * sd).min(0.95 * smallest + bias.abs());
        let draws: Vec<usize> = (0..points.points()).collect();
        let requirements = own
            .iter()
            .enumerate()
            .map(|(requirement, own)| {
                let m = own.len();
                let levels: Vec<f64> =
                    if m < 2 { vec![0.0] } else { [0.0, 1.0 / 16.0, 1.0 / 6.0, 1.0 / 2.0].map(|f| f * reach).to_vec() };
                let holds = levels
                    .iter()
                    .map(|&sigma| {
                        draws
                            .par_iter()
                            .map(|&d| {
                                let u: Vec<f64> = columns[columns.len() - coordinates..].iter().map(|c| c[d]).collect();
                                let mut x = vec![0.0; population.inputs()];
                                population.to_x(&u, &mut x);
                                let mean = columns[..m].iter().map(|c| c[d]).sum::<f64>() / m.max(1) as f64;
                                let starts: Vec<f64> = own
                                    .iter()
                                    .zip(&columns)
                                    .map(|(&i, z)| bare.inputs[i].nominal + sigma * (z[d] - mean))
                                    .collect();
                                if m == 0 {
                                    return if signed(requirement, &x) >= 0.0 {
                                        vec![(f64::NEG_INFINITY, f64::INFINITY)]
                                    } else {
                                        Vec::new()
                                    };
                                }
                                intervals(reach, |c| {
                                    for (&i, start) in own.iter().zip(&starts) {
                                        x[i] = start + c;
                                    }
                                    signed(requirement, &x)
                                })
                            })
                            .collect()
                    })
                    .collect();
                Answer { parts: m.max(1) as f64, levels, holds }
            })
            .collect();
        Ok(Self { requirements, reach })
    }

    /// Whether any requirement depends on the parts.
    pub(super) fn depends(&self) -> bool {
        let everywhere =
            |h: &Holds| h.is_empty() || (h.len() == 1 && h[0].0 == f64::NEG_INFINITY && h[0].1 == f64::INFINITY);
        self.requirements.iter().any(|r| !r.holds[0].iter().all(everywhere))
    }

    /// The share outside of every requirement at a bias and sd of the lot, mm.
    pub(super) fn shares(&self, bias: f64, sd: f64) -> Vec<f64> {
        let sd = sd.max(1e-9 * self.reach);
        self.requirements.iter().map(|r| r.share(bias, sd)).collect()
    }
}

impl Answer {
    fn share(&self, bias: f64, sd: f64) -> f64 {
        let common = sd / self.parts.sqrt();
        let upper = self.levels.iter().position(|l| *l >= sd).unwrap_or(self.levels.len() - 1);
        let lower = upper.saturating_sub(1);
        let way = if upper == lower {
            0.0
        } else {
            ((sd - self.levels[lower]) / (self.levels[upper] - self.levels[lower])).clamp(0.0, 1.0)
        };
        let (a, b) = (&self.holds[lower], &self.holds[upper]);
        let sum: f64 = a
            .iter()
            .zip(b)
            .map(|(a, b)| match (a.as_slice(), b.as_slice()) {
                ([a], [b]) => outside(&[(mix(a.0, b.0, way), mix(a.1, b.1, way))], bias, common),
                (a, b) => outside(if way < 0.5 { a } else { b }, bias, common),
            })
            .sum();
        sum / a.len() as f64
    }
}

/// The parts of the lot that are in a requirement's bay.
fn of_bay(stack: &Stack, place: &Place, requirement: usize) -> Vec<usize> {
    let bay = &stack.pack.bays[stack.requirements[requirement].quantity.bay()].name;
    let inside = |path: &str| path.strip_prefix(bay.as_str()).is_some_and(|rest| rest.starts_with('/'));
    place.inputs.iter().copied().filter(|&i| inside(&stack.pack.dimensions[i].path)).collect()
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
    let mut share = normal::cdf(z(first.0)) + normal::sf(z(last.1));
    for gap in holds.windows(2) {
        let (a, b) = (z(gap[0].1), z(gap[1].0));
        share += if a > 0.0 { normal::sf(a) - normal::sf(b) } else { normal::cdf(b) - normal::cdf(a) };
    }
    share.min(1.0)
}

/// How far inside its limits a requirement is, in its own unit; negative outside, and where the pack cannot be assembled.
fn margin(model: &PackModel<'_>, stack: &Stack, requirement: usize, x: &[f64]) -> f64 {
    let r = &stack.requirements[requirement];
    let room = |low: f64, high: f64| {
        let above = r.lower.map_or(f64::INFINITY, |l| low - l);
        let below = r.upper.map_or(f64::INFINITY, |u| u - high);
        above.min(below)
    };
    match model.respond_one(requirement, x) {
        Ok(Outcome::Value(v)) => room(v, v),
        Ok(Outcome::Range { low, high }) => room(low, high),
        // Outside every limit; so is a draw the model refuses (a table of loads left behind).
        Ok(Outcome::CannotAssemble) | Err(_) => f64::NEG_INFINITY,
    }
}

/// The intervals of c within ± reach where f is not negative; an interval that reaches the end is taken to go on for ever.
fn intervals(reach: f64, mut f: impl FnMut(f64) -> f64) -> Holds {
    let at = |k: usize| reach * (2.0 * k as f64 / (COARSE - 1) as f64 - 1.0);
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
