//! Subset simulation: down to a rare event step by step, each step to the eighth of the points that came nearest to it.
//!
//! P(E) = Π P(g ≤ b_k | g ≤ b_{k−1}), the b_k falling to 0 (S.-K. Au and J. L. Beck, "Estimation of small failure probabilities in high
//! dimensions by subset simulation", Probabilistic Engineering Mechanics 16 (2001) 263–277). From step to step the points move by
//! u' = ρ·u + √(1 − ρ²)·z, kept where g(u') ≤ b (I. Papaioannou, W. Betz, K. Zwirglmaier and D. Straub, "MCMC algorithms for subset
//! simulation", the same journal 41 (2015) 89–103), the length of the step adapted to accept 44 %.
//!
//! It needs no slope and no design point, so it finds what the search for those overlooks: corners of bounded or tied dimensions,
//! plateaus. It is coarse (about a tenth), so it is here to find, to check, and to say how rare at least is what was found nowhere; it
//! is the answer only where the sharper methods are shown to be wrong.

use super::event::Evaluator;
use crate::result::Estimate;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::stream::{Key, Stream};

/// Chains of points: those that are kept at a step.
const CHAINS: usize = 64;
/// Points of a chain: one in so many is kept.
const LENGTH: usize = 8;
/// Points in the event that are handed on, at the most, by each run.
const HANDED_ON: usize = 24;
/// Where more than this share of the points lies on one level g goes down no further.
const PLATEAU: f64 = 0.6;
/// Wanted share of accepted moves.
const ACCEPTED: f64 = 0.44;

/// One way down.
#[derive(Debug, Clone, Default)]
pub(super) struct Descent {
    /// P(g ≤ the level where it ended): the event's probability where it was reached.
    pub(super) share: f64,
    /// Whether the event was reached.
    pub(super) reached: bool,
    /// Points in the event.
    pub(super) inside: Vec<Vec<f64>>,
}

/// Several ways down together.
#[derive(Debug, Clone)]
pub(super) struct Levels {
    /// The probability where any reached it, else 0.
    pub(super) share: Estimate,
    /// Where none reached it: the probability is below this, with three standard errors of it; else 0.
    pub(super) below: f64,
    /// Points in the event.
    pub(super) inside: Vec<Vec<f64>>,
}

impl Levels {
    /// From independent ways down.
    pub(super) fn of(descents: &[Descent]) -> Self {
        let shares: Vec<f64> = descents.iter().map(|d| if d.reached { d.share } else { 0.0 }).collect();
        let reached = descents.iter().any(|d| d.reached);
        let below = if reached {
            0.0
        } else {
            let ends: Vec<f64> = descents.iter().map(|d| d.share).collect();
            let end = super::mean(&ends);
            end.value + crate::interval::SURE_OF_FEW * end.standard_error
        };
        Self { share: super::mean(&shares), below, inside: descents.iter().flat_map(|d| d.inside.clone()).collect() }
    }
}

/// Points, coordinate by coordinate, with their g.
struct Points {
    u: Vec<Vec<f64>>,
    g: Vec<f64>,
}

/// Goes down until the event is reached, or its probability is below `floor`, or g goes down no further.
pub(super) fn descend(g: &mut Evaluator<'_>, seed: u64, purpose: &str, number: u64, floor: f64) -> Descent {
    let n = CHAINS * LENGTH;
    let start = Scrambling { seed, purpose, number, log2_points: n.ilog2() };
    let mut u = vec![vec![0.0; n]; g.coordinates()];
    u.iter_mut().enumerate().for_each(|(k, column)| start.fill_normal(k, column));
    let values = g.values(n, |k, first, column| column.copy_from_slice(&u[k][first..first + column.len()]));
    let mut points = Points { u, g: values };
    let key = Key::new(seed, &format!("{purpose}/moves {number}"));
    let (mut share, mut step) = (1.0, 0.7);
    for level in 0.. {
        let inside = points.g.iter().filter(|g| **g < 0.0).count();
        if inside >= CHAINS {
            share *= inside as f64 / n as f64;
            return Descent { share, reached: true, inside: points.in_the_event() };
        }
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&i, &j| points.g[i].total_cmp(&points.g[j]));
        let limit = points.g[order[CHAINS - 1]].max(0.0);
        order.retain(|&i| points.g[i] <= limit);
        let kept = order.len() as f64 / n as f64;
        if !limit.is_finite() || kept > PLATEAU {
            // A few points may be in the event although g has no way down to it.
            let share = if inside > 0 { share * inside as f64 / n as f64 } else { share };
            return Descent { share, reached: inside > 0, inside: points.in_the_event() };
        }
        share *= kept;
        if share < floor {
            break;
        }
        let seeds: Vec<usize> = (0..CHAINS).map(|k| order[k * order.len() / CHAINS]).collect();
        points = points.moved(g, &seeds, limit, &mut step, &mut key.stream(level));
    }
    Descent { share, reached: false, inside: Vec::new() }
}

impl Points {
    /// A chain from each seed, all of them at g ≤ `limit`.
    fn moved(&self, g: &mut Evaluator<'_>, seeds: &[usize], limit: f64, step: &mut f64, stream: &mut Stream) -> Self {
        let mut at: Vec<Vec<f64>> = self.u.iter().map(|column| seeds.iter().map(|&i| column[i]).collect()).collect();
        let mut values: Vec<f64> = seeds.iter().map(|&i| self.g[i]).collect();
        let mut next = Self { u: at.clone(), g: values.clone() };
        let mut tried = at.clone();
        for round in 1..LENGTH {
            let keep = (1.0 - *step * *step).max(0.0).sqrt();
            for (tried, at) in tried.iter_mut().zip(&at) {
                stream.fill_normal(tried);
                tried.iter_mut().zip(at).for_each(|(z, u)| *z = keep * u + *step * *z);
            }
            let found = g
                .values(seeds.len(), |k, first, column| column.copy_from_slice(&tried[k][first..first + column.len()]));
            let mut accepted = 0;
            for chain in (0..seeds.len()).filter(|&chain| found[chain] <= limit) {
                accepted += 1;
                values[chain] = found[chain];
                at.iter_mut().zip(&tried).for_each(|(at, tried)| at[chain] = tried[chain]);
            }
            let rate = f64::from(accepted) / seeds.len() as f64;
            *step = (*step * ((rate - ACCEPTED) / (round as f64).sqrt()).exp()).clamp(1e-3, 1.0);
            next.u.iter_mut().zip(&at).for_each(|(all, at)| all.extend(at));
            next.g.extend(&values);
        }
        next
    }

    /// Some of the points in the event.
    fn in_the_event(&self) -> Vec<Vec<f64>> {
        let inside: Vec<usize> = (0..self.g.len()).filter(|&i| self.g[i] < 0.0).collect();
        let every = inside.len().div_ceil(HANDED_ON).max(1);
        inside.into_iter().step_by(every).map(|i| self.u.iter().map(|column| column[i]).collect()).collect()
    }
}
