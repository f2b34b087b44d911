//! The reviewer's picture as numbers: over bias and sd of the lot, how much of what is acceptable goes outside, where the frontier runs, and where
//! the lot lies with what its readings leave open.

use super::ratio;
use super::surface::Surface;
use packdrift_lot::Drawing;
use packdrift_lot::Interval;
use packdrift_lot::posterior::SpecificationLimits;
use packdrift_numerics::special::{Inversion, invert_increasing};
use rayon::prelude::*;

/// Bias × sd.
#[derive(Debug, Clone, PartialEq)]
pub struct AcceptanceMap {
    /// Mean less nominal, mm, rising.
    pub bias: Vec<f64>,
    /// sd, mm, rising from nearly 0.
    pub sd: Vec<f64>,
    /// `ratio[i][j]` at `bias[i]`, `sd[j]`: the largest, over the requirements, of share outside over acceptable share. 1 is the frontier.
    pub ratio: Vec<Vec<f64>>,
    /// `deciding[i][j]`: index of the requirement that has it.
    pub deciding: Vec<Vec<usize>>,
    /// (bias, largest sd that the pack bears) by rising bias, mm: inside lies what it bears. Empty where nothing is borne.
    pub frontier: Vec<(f64, f64)>,
    /// The same for the drawing's limits and the lot's own acceptable share; empty without limits.
    pub drawing_frontier: Vec<(f64, f64)>,
    /// Closed outline of the (bias, sd) that the readings leave open with the confidence, mm.
    pub region: Vec<(f64, f64)>,
    /// The lot, mm.
    pub lot: (f64, f64),
    /// What the pack file assumes, mm.
    pub assumed: (f64, f64),
}

pub(crate) struct MapQuestion<'a> {
    pub surface: &'a Surface,
    pub limits: &'a [f64],
    pub bias: f64,
    pub sd: f64,
    pub assumed: (f64, f64),
    pub region: Vec<(f64, f64)>,
    pub drawing: Drawing,
    pub nominal: f64,
    pub drawing_max_out: f64,
}

const COLUMNS: usize = 41;
const ROWS: usize = 31;
const FRONTIER: usize = 81;

impl AcceptanceMap {
    pub(crate) fn new(question: &MapQuestion<'_>) -> Self {
        let MapQuestion { surface, limits, .. } = *question;
        let tiny = 1e-4 * surface.reach;
        // What the pack bears at almost no sd gives the width of the map, together with lot, region and assumption.
        let room = room(|b| worst(surface, limits, b, tiny).0, surface.reach);
        let drawing = drawing_room(question);
        let mut low = question.bias.min(question.assumed.0).min(0.0);
        let mut high = question.bias.max(question.assumed.0).max(0.0);
        for &(b, _) in &question.region {
            low = low.min(b);
            high = high.max(b);
        }
        for interval in [room, drawing].into_iter().flatten() {
            low = low.min(interval.lower.max(-surface.reach));
            high = high.max(interval.upper.min(surface.reach));
        }
        let pad = 0.08 * (high - low).max(4.0 * question.sd);
        let (low, high) = (low - pad, high + pad);
        let spaced = |from: f64, to: f64, n: usize| -> Vec<f64> {
            (0..n).map(|k| from + (to - from) * k as f64 / (n - 1) as f64).collect()
        };
        let frontier = frontier(room, surface.reach, tiny, |b, s| worst(surface, limits, b, s).0);
        let drawing_frontier = match SpecificationLimits::of(question.drawing) {
            Some(spec) => frontier_of_drawing(question, spec, drawing, surface.reach, tiny),
            None => Vec::new(),
        };
        let top = frontier
            .iter()
            .chain(&drawing_frontier)
            .chain(&question.region)
            .map(|p| p.1)
            .filter(|s| s.is_finite())
            .fold(question.sd.max(question.assumed.1), f64::max);
        let bias = spaced(low, high, COLUMNS);
        let sd = spaced(tiny, 1.15 * top, ROWS);
        let cells: Vec<Vec<(f64, usize)>> =
            bias.par_iter().map(|&b| sd.iter().map(|&s| worst(surface, limits, b, s)).collect()).collect();
        Self {
            ratio: cells.iter().map(|row| row.iter().map(|c| c.0).collect()).collect(),
            deciding: cells.iter().map(|row| row.iter().map(|c| c.1).collect()).collect(),
            bias,
            sd,
            frontier,
            drawing_frontier,
            region: question.region.clone(),
            lot: (question.bias, question.sd),
            assumed: question.assumed,
        }
    }

    /// The biases that the pack bears at one sd, around the best of them.
    pub(crate) fn bias_room(surface: &Surface, limits: &[f64], sd: f64) -> Option<Interval> {
        room(|b| worst(surface, limits, b, sd).0, surface.reach)
    }

    /// The largest sd that the pack bears at one bias; None where none is, infinite where any is.
    pub(crate) fn largest_sd(surface: &Surface, limits: &[f64], bias: f64) -> Option<f64> {
        largest_sd(1e-4 * surface.reach, surface.reach, |s| worst(surface, limits, bias, s).0)
    }
}

fn worst(surface: &Surface, limits: &[f64], bias: f64, sd: f64) -> (f64, usize) {
    surface
        .shares(bias, sd)
        .iter()
        .zip(limits)
        .enumerate()
        .map(|(k, (share, limit))| (ratio(*share, *limit), k))
        .fold((0.0, 0), |best, here| if here.0 > best.0 { here } else { best })
}

/// The interval of biases with a ratio of at most 1 around the best one; None where even that has more.
fn room(f: impl Fn(f64) -> f64 + Sync, reach: f64) -> Option<Interval> {
    let n = 161;
    let at = |k: usize| reach * (2.0 * k as f64 / (n - 1) as f64 - 1.0);
    let values: Vec<f64> = (0..n).into_par_iter().map(|k| f(at(k))).collect();
    let best = (0..n).min_by(|&a, &b| values[a].total_cmp(&values[b]))?;
    if values[best] > 1.0 {
        return None;
    }
    let end = |direction: i64| {
        let mut k = best as i64;
        while (0..n as i64).contains(&(k + direction)) && values[(k + direction) as usize] <= 1.0 {
            k += direction;
        }
        if !(0..n as i64).contains(&(k + direction)) {
            return direction as f64 * f64::INFINITY;
        }
        let (inside, outside) = (at(k as usize), at((k + direction) as usize));
        let (low, high) = (inside.min(outside), inside.max(outside));
        let sign = direction as f64;
        let g = |b: f64| sign * f(b).max(1e-300).ln().clamp(-700.0, 700.0);
        invert_increasing(
            &Inversion { start: 0.5 * (low + high), step: 0.25 * (high - low), lower: low, upper: high },
            g,
        )
    };
    Some(Interval::new(end(-1), end(1)))
}

fn largest_sd(tiny: f64, reach: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    if f(tiny) > 1.0 {
        return None;
    }
    let mut inside = tiny;
    while inside < reach {
        let next = inside * 1.3;
        if f(next) > 1.0 {
            let g = |y: f64| f(y.exp()).max(1e-300).ln().clamp(-700.0, 700.0);
            return Some(
                invert_increasing(
                    &Inversion {
                        start: 0.5 * (inside.ln() + next.ln()),
                        step: 0.05,
                        lower: inside.ln(),
                        upper: next.ln(),
                    },
                    g,
                )
                .exp(),
            );
        }
        inside = next;
    }
    Some(f64::INFINITY)
}

/// By rising bias; the ends, where no sd is left, are added at sd 0.
fn frontier(room: Option<Interval>, reach: f64, tiny: f64, f: impl Fn(f64, f64) -> f64 + Sync) -> Vec<(f64, f64)> {
    let Some(room) = room else {
        return Vec::new();
    };
    let (low, high) = (room.lower.max(-reach), room.upper.min(reach));
    let mut points: Vec<(f64, f64)> = (1..FRONTIER - 1)
        .into_par_iter()
        .filter_map(|k| {
            // Closer together towards the ends, where the frontier is steep.
            let t = 0.5 - 0.5 * (std::f64::consts::PI * k as f64 / (FRONTIER - 1) as f64).cos();
            let b = low + t * (high - low);
            largest_sd(tiny, reach, |s| f(b, s)).filter(|s| s.is_finite()).map(|s| (b, s))
        })
        .collect();
    if room.lower > -reach {
        points.insert(0, (low, 0.0));
    }
    if room.upper < reach {
        points.push((high, 0.0));
    }
    points
}

fn drawing_room(question: &MapQuestion<'_>) -> Option<Interval> {
    question.drawing.has_limits().then(|| {
        Interval::new(
            question.drawing.lower.map_or(f64::NEG_INFINITY, |l| l - question.nominal),
            question.drawing.upper.map_or(f64::INFINITY, |u| u - question.nominal),
        )
    })
}

fn frontier_of_drawing(
    question: &MapQuestion<'_>,
    limits: SpecificationLimits,
    room: Option<Interval>,
    reach: f64,
    tiny: f64,
) -> Vec<(f64, f64)> {
    frontier(room, reach, tiny, |b, s| limits.share_outside(question.nominal + b, s) / question.drawing_max_out)
}
