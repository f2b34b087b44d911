//! The numbers a fit works in: hours divided by a typical length, readings less a preliminary line and divided by their scatter.
//!
//! The likelihood does not mind, the arithmetic does: sums of squares of readings near 1 mm that differ by 0.01 mm lose four digits, and
//! parameters of size 1 make one criterion of convergence serve every unit.

use super::Moments;
use crate::segments::Segments;
use rayon::prelude::*;

/// y′ = (y − interceptᵍ − slopeᵍ·τ)/scale, τ′ = Λ(τ)/time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Frame {
    pub(crate) time: f64,
    pub(crate) scale: f64,
    /// Preliminary line of each group: intercept and slope per hour (of Λ).
    pub(crate) lines: Vec<(f64, f64)>,
    pub(crate) clock: Clock,
}

/// Λ: how the hours of a segment count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Clock {
    /// Power p of the hours; 1 for all but the running-in and the integrated model.
    pub(crate) power: f64,
    /// Hours at which Λ(τ) = τ.
    pub(crate) unit: f64,
    /// Growth κ: above 0 wear feeds on itself, below it calms down; 0 for all but the integrated model.
    pub(crate) growth: f64,
}

impl Clock {
    pub(crate) const PLAIN: Self = Self { power: 1.0, unit: 1.0, growth: 0.0 };

    fn is_plain(self) -> bool {
        (self.power - 1.0).abs() < f64::EPSILON && self.growth.abs() <= LEAST
    }

    /// Λ(τ) = unit·(e^{κu} − 1)/(e^κ − 1), u = (τ/unit)^p; for κ = 0 it is unit·u.
    pub(crate) fn at(self, hours: f64) -> f64 {
        if self.is_plain() { hours } else { self.at_log((hours / self.unit).ln()) }
    }

    /// The same from ln(τ/unit), −∞ at 0.
    pub(crate) fn at_log(self, log: f64) -> f64 {
        self.unit * grown((self.power * log).exp(), self.growth)
    }

    /// Hours at which Λ has the value.
    pub(crate) fn hours(self, lambda: f64) -> f64 {
        if self.is_plain() {
            return lambda;
        }
        let x = lambda / self.unit;
        let u = if self.growth.abs() > LEAST {
            // Wear that calms down never comes so far.
            let left = x * self.growth.exp_m1();
            if left <= -1.0 { f64::INFINITY } else { left.ln_1p() / self.growth }
        } else {
            x
        };
        self.unit * u.powf(1.0 / self.power)
    }

    /// dΛ/dτ; infinite at 0 for powers below 1.
    pub(crate) fn rate(self, hours: f64) -> f64 {
        if self.is_plain() {
            return 1.0;
        }
        let s = hours / self.unit;
        let faster = if self.growth.abs() > LEAST {
            self.growth * (self.growth * s.powf(self.power)).min(FASTEST).exp() / self.growth.exp_m1()
        } else {
            1.0
        };
        self.power * s.powf(self.power - 1.0) * faster
    }
}

/// Growths below this change nothing.
const LEAST: f64 = 1e-9;
/// Exponents are cut here, far beyond any wear: chances at "never" stay numbers.
const FASTEST: f64 = 60.0;

/// (e^{κu} − 1)/(e^κ − 1); u for κ = 0.
pub(crate) fn grown(u: f64, growth: f64) -> f64 {
    Growing::new(growth).at(u)
}

/// [`grown`] of many values at one growth.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Growing {
    growth: f64,
    /// 1/(e^κ − 1).
    scale: f64,
}

/// From here on e^x − 1 keeps its digits.
const PLAIN: f64 = 0.3;

/// 1/n! from n = 2.
const INVERSE_FACTORIALS: [f64; 12] = [
    1.0 / 2.0,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
    1.0 / 6_227_020_800.0,
];

/// e^x − 1: its power series up to |x| = [`PLAIN`], whose first term left out is below 1e-18 there.
fn growth_of(x: f64) -> f64 {
    if x.abs() > PLAIN {
        return x.exp() - 1.0;
    }
    let series = INVERSE_FACTORIALS.iter().rev().fold(0.0, |sum, c| (sum + c) * x);
    x + x * series
}

impl Growing {
    pub(crate) fn new(growth: f64) -> Self {
        Self { growth, scale: if growth.abs() > LEAST { growth_of(growth).recip() } else { 1.0 } }
    }

    pub(crate) fn at(&self, u: f64) -> f64 {
        if self.growth.abs() > LEAST { growth_of((self.growth * u).min(FASTEST)) * self.scale } else { u }
    }
}

/// Slopes of the groups' preliminary lines over their root mean square by segments; 1 for a single group.
///
/// What an engine's valves share, oil and load, makes all of them wear faster or slower by the same factor, each in its own direction: intake
/// and exhaust that drift to opposite sides move apart on a harsh engine. Adding one and the same slope to both, as was tried first, found
/// nothing shared on a fleet whose engines differ by 12 %.
fn shares(lines: &[(f64, f64)], group: &[u32]) -> Vec<f64> {
    if lines.len() < 2 {
        return vec![1.0; lines.len()];
    }
    let squares: f64 = group.iter().filter_map(|g| lines.get(*g as usize)).map(|l| l.1 * l.1).sum();
    let size = (squares / group.len().max(1) as f64).sqrt();
    lines.iter().map(|l| if size > 0.0 { l.1 / size } else { 1.0 }).collect()
}

/// One feature in its frame.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    pub(crate) frame: Frame,
    pub(crate) engine: Vec<u32>,
    pub(crate) group: Vec<u32>,
    pub(crate) groups: usize,
    /// As [`Segments::part`].
    pub(crate) part: Vec<u32>,
    /// a_g, by group: how far an engine's deviation moves the slope, in proportion to the group's mean slope.
    pub(crate) share: Vec<f64>,
    pub(crate) blocks: Vec<std::ops::Range<usize>>,
    /// Of each segment, in the frame.
    pub(crate) moments: Vec<Moments>,
    /// Readings in the frame, for models with a wander; empty where only sums are at hand.
    pub(crate) offset: Vec<usize>,
    pub(crate) time: Vec<f64>,
    pub(crate) y: Vec<f64>,
    /// Empty where all are 1.
    pub(crate) weight: Vec<f64>,
    /// Sum of the logarithms of the weights is part of the moments; this is the number of readings.
    pub(crate) readings: usize,
}

/// Segments are worked in blocks of about this many, whatever the number of threads; sums are merged in block order.
pub(crate) const BLOCK: usize = 2048;

impl Problem {
    /// Centred sums per segment; weights empty for all 1.
    pub(crate) fn moments_of(segments: &Segments, weight: &[f64], clock: Clock) -> Vec<Moments> {
        (0..segments.len())
            .into_par_iter()
            .with_min_len(1024)
            .map(|s| {
                let r = segments.range(s);
                let w = if weight.is_empty() { weight } else { &weight[r.clone()] };
                Moments::of(&segments.hours[r.clone()], &segments.value[r], w, clock)
            })
            .collect()
    }

    /// From readings. Keeps the readings in the frame where `keep_readings`.
    pub(crate) fn of_readings(
        segments: &Segments,
        weight: &[f64],
        clock: Clock,
        pool_groups: bool,
        keep_readings: bool,
    ) -> Self {
        let moments = Self::moments_of(segments, weight, clock);
        let mut problem = Self::of_moments(&moments, &segments.engine, &segments.group, clock, pool_groups);
        problem.part.clone_from(&segments.part);
        if keep_readings {
            let frame = &problem.frame;
            let mut time = Vec::with_capacity(segments.readings());
            let mut y = Vec::with_capacity(segments.readings());
            for s in 0..segments.len() {
                let (a, b) = frame.lines[problem.group[s] as usize];
                for i in segments.range(s) {
                    let lambda = clock.at(segments.hours[i]);
                    time.push(lambda / frame.time);
                    y.push((segments.value[i] - a - b * lambda) / frame.scale);
                }
            }
            problem.time = time;
            problem.y = y;
            problem.offset.clone_from(&segments.offset);
            problem.weight = weight.to_vec();
        }
        problem
    }

    /// The same segments with other values and weights, in the same frame.
    pub(crate) fn with_readings(&self, segments: &Segments, weight: &[f64]) -> Self {
        let (frame, clock) = (&self.frame, self.frame.clock);
        let line = |s: usize| frame.lines[self.group[s] as usize];
        let moments = Self::moments_of(segments, weight, clock)
            .iter()
            .enumerate()
            .map(|(s, m)| m.framed(line(s).0, line(s).1, frame.time, frame.scale))
            .collect();
        let mut out = Self { moments, ..self.clone() };
        out.readings = out.moments.iter().map(|m: &Moments| m.readings as usize).sum();
        if !self.offset.is_empty() {
            for s in 0..segments.len() {
                let (a, b) = line(s);
                for i in segments.range(s) {
                    out.y[i] = (segments.value[i] - a - b * clock.at(segments.hours[i])) / frame.scale;
                }
            }
            out.weight = weight.to_vec();
        }
        out
    }

    /// From sums alone.
    pub(crate) fn of_moments(
        moments: &[Moments],
        engine: &[u32],
        group: &[u32],
        clock: Clock,
        pool_groups: bool,
    ) -> Self {
        let group = if pool_groups { vec![0; group.len()] } else { group.to_vec() };
        let groups = group.iter().max().map_or(1, |g| *g as usize + 1);
        let blocks = crate::segments::blocks_of(engine, BLOCK);
        // Pooled moments of each group give the preliminary lines.
        let parts: Vec<Vec<Moments>> = blocks
            .par_iter()
            .map(|block| {
                let mut sums = vec![Moments::default(); groups];
                for s in block.clone() {
                    sums[group[s] as usize].merge(&moments[s]);
                }
                sums
            })
            .collect();
        let mut pooled = vec![Moments::default(); groups];
        for part in parts {
            for (sum, p) in pooled.iter_mut().zip(part) {
                sum.merge(&p);
            }
        }
        let lines: Vec<(f64, f64)> = pooled.iter().map(Moments::line).collect();
        let (mut weight, mut squares, mut time_squares) = (0.0, 0.0, 0.0);
        for (p, (_, slope)) in pooled.iter().zip(&lines) {
            weight += p.weight;
            squares += (p.yy - slope * p.ty).max(0.0);
            time_squares += p.tt + p.weight * p.time * p.time;
        }
        let time = if time_squares > 0.0 { (time_squares / weight).sqrt() } else { 1.0 };
        let mut scale = (squares / weight.max(1.0)).sqrt();
        // All readings on one line to within rounding: any positive scale serves.
        let size = pooled.iter().map(|p| p.y.abs() + (p.yy / p.weight.max(1.0)).max(0.0).sqrt()).fold(0.0, f64::max);
        if scale.is_nan() || scale <= 1e-13 * size {
            scale = if size > 0.0 { size } else { 1.0 };
        }
        let frame = Frame { time, scale, lines, clock };
        let framed = moments
            .par_iter()
            .zip(&group)
            .with_min_len(1024)
            .map(|(m, g)| {
                let (a, b) = frame.lines[*g as usize];
                m.framed(a, b, frame.time, frame.scale)
            })
            .collect();
        let readings = moments.iter().map(|m| m.readings as usize).sum();
        Self {
            share: shares(&frame.lines, &group),
            frame,
            engine: engine.to_vec(),
            group,
            groups,
            part: Vec::new(),
            blocks,
            moments: framed,
            offset: Vec::new(),
            time: Vec::new(),
            y: Vec::new(),
            weight: Vec::new(),
            readings,
        }
    }

    /// Whether segment s and the one before it share their parts and their mean line.
    #[inline]
    pub(crate) fn goes_on(&self, s: usize) -> bool {
        s > 0
            && self.part.get(s).is_some_and(|p| *p == self.part[s - 1])
            && self.engine[s] == self.engine[s - 1]
            && self.group[s] == self.group[s - 1]
    }

    pub(crate) fn segments(&self) -> usize {
        self.moments.len()
    }

    /// Whole engines, evenly spaced, that hold about `size` segments, in the same frame: for a start of the search.
    pub(crate) fn sample(&self, size: usize) -> Self {
        let stride = self.segments().div_ceil(size).max(1);
        let engines = crate::segments::blocks_of(&self.engine, 1);
        let keep: Vec<usize> = engines.into_iter().step_by(stride).flatten().collect();
        let pick = |of: &[u32]| -> Vec<u32> { keep.iter().map(|s| of[*s]).collect() };
        let (engine, group) = (pick(&self.engine), pick(&self.group));
        let moments: Vec<Moments> = keep.iter().map(|s| self.moments[*s]).collect();
        let mut out = Self {
            frame: self.frame.clone(),
            blocks: crate::segments::blocks_of(&engine, BLOCK),
            readings: moments.iter().map(|m| m.readings as usize).sum(),
            engine,
            group,
            groups: self.groups,
            part: if self.part.is_empty() { Vec::new() } else { pick(&self.part) },
            share: self.share.clone(),
            moments,
            offset: Vec::new(),
            time: Vec::new(),
            y: Vec::new(),
            weight: Vec::new(),
        };
        if !self.offset.is_empty() {
            out.offset.push(0);
            for &s in &keep {
                let (time, y, weight) = self.readings_of(s);
                out.time.extend_from_slice(time);
                out.y.extend_from_slice(y);
                out.weight.extend_from_slice(weight);
                out.offset.push(out.time.len());
            }
        }
        out
    }

    /// Fixed effects: intercept and slope of each group.
    pub(crate) fn fixed(&self) -> usize {
        2 * self.groups
    }

    /// Readings of a segment in the frame: hours, values, weights (empty for all 1).
    pub(crate) fn readings_of(&self, s: usize) -> (&[f64], &[f64], &[f64]) {
        let r = self.offset[s]..self.offset[s + 1];
        let w = if self.weight.is_empty() { &[][..] } else { &self.weight[r.clone()] };
        (&self.time[r.clone()], &self.y[r], w)
    }
}
