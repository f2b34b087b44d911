//! The likelihood of segments under a gamma process read with error: a forward filter on a lattice of wear depths.
//!
//! The true depth after τ hours is X(τ) = X₀ + G(τ); increments of G over h hours are Gamma(shape a·z·h, scale b), never negative, and
//! z is the segment's own rate, Gamma with mean 1. A reading adds N(0, σ²). Between readings the depth moves by the increment's mass per
//! lattice step ([`increments`](super::increments)); at a reading each depth is weighted by the error's density. Only depths within some σ
//! of the reading are carried, and of these only the ones with a chance worth the name. J. van Noortwijk, A survey
//! of the application of gamma processes in maintenance, Reliability Engineering & System Safety 94 (2009) 2–21, for the process;
//! J. Lawless and M. Crowder, Lifetime Data Analysis 10 (2004) 213–227, for the segment's own rate.
//!
//! An engine's valves are read on the same days, so their increments span the same hours: masses are made once for all of a block.

use super::error::ReadingError;
use super::increments::{Increments, increments, logarithms};
use super::score::{self, Score};
use super::start;
use crate::segments::Segments;
use packdrift_numerics::special::chi_squared_quantile;
use packdrift_numerics::vector;
use rayon::prelude::*;
use std::collections::HashMap;
use std::ops::Range;

/// Parameters; hours and the feature's unit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Params {
    /// Shape per hour, by group.
    pub(crate) shape: Vec<f64>,
    /// b.
    pub(crate) scale: f64,
    /// Standard deviation of a reading.
    pub(crate) sigma: f64,
    /// Degrees of freedom of a reading's error, σ then the t's scale; None: normal.
    pub(crate) df: Option<f64>,
    /// Coefficient of variation of segments' rates.
    pub(crate) cv: f64,
    /// Mean and standard deviation of the depth at a segment's start.
    pub(crate) start: f64,
    pub(crate) start_sd: f64,
}

/// Points that stand for the segments' own rates: the middles of this many equal slices of their distribution.
pub(crate) const RATES: usize = 5;
/// Lattice steps per standard deviation of a reading.
pub(crate) const FINE: f64 = 3.0;
/// Half-width of what is carried about a reading, in standard deviations of a reading.
const REACH: f64 = 7.0;
/// Depths at the ends with smaller chances are dropped.
const NIL: f64 = 1e-18;
/// Segments worked together, whatever the number of threads; whole engines are not needed, but neighbours share increments.
const BLOCK: usize = 16;

/// What is known of a segment after its last reading: for each rate its chance and the chances of depths `first + k·step`.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct State {
    pub(crate) step: f64,
    pub(crate) group: usize,
    pub(crate) rates: Vec<f64>,
    pub(crate) chances: Vec<f64>,
    pub(crate) first: Vec<f64>,
    pub(crate) masses: Vec<Vec<f64>>,
}

/// The rates z that stand for Gamma(mean 1, cv).
pub(crate) fn rates(cv: f64) -> Vec<f64> {
    if cv < 1e-3 {
        return vec![1.0];
    }
    let df = 2.0 / (cv * cv);
    let z: Vec<f64> = (0..RATES).map(|q| chi_squared_quantile(df, (q as f64 + 0.5) / RATES as f64) / df).collect();
    let mean = z.iter().sum::<f64>() / RATES as f64;
    z.into_iter().map(|x| x / mean).collect()
}

/// The lattice's step for readings with this error.
pub(crate) fn step(sigma: f64) -> f64 {
    sigma / FINE
}

/// A kind of increment: all of one group over the same hours.
#[derive(Debug, Clone, Copy)]
struct Kind {
    group: usize,
    hours: f64,
    /// Largest rise of the reading over it, in steps.
    rise: i64,
}

/// Readings laid on a lattice.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lattice {
    pub(crate) step: f64,
    blocks: Vec<Block>,
    /// ln 1, ln 2, …, as far as any increment of these readings may span.
    logs: Vec<f64>,
}

#[derive(Debug, Clone, Default)]
struct Block {
    histories: Vec<History>,
    kinds: Vec<Kind>,
}

/// One segment's readings.
#[derive(Debug, Clone)]
pub(crate) struct History {
    pub(crate) group: usize,
    pub(crate) value: Vec<f64>,
    /// Kind of the increment before each reading; None for the first and where no hours passed.
    pub(crate) kind: Vec<Option<usize>>,
    /// Lowest and highest lattice point about which the depth at each reading is carried: the reading's own; with heavy tails those of all
    /// readings that a rising depth may have to meet, the lowest from here on and the highest up to here.
    about: Vec<(i64, i64)>,
}

/// The half-width carried, in steps. A heavy tail still has weight where it is cut off, so that a cut which follows σ would give the likelihood
/// a jump at every step: there the width stays as it is while σ is near the one that the lattice was made for.
fn width(p: &Params, step: f64) -> i64 {
    let relative = p.sigma / (step * FINE);
    let held = match p.df {
        None => relative.max(1.0),
        Some(_) if relative <= NEAR => NEAR,
        Some(_) => WIDEST,
    };
    (REACH * FINE * held).ceil() as i64
}

/// How much larger a reading error than the one the lattice was made for still counts as near.
const NEAR: f64 = 1.25;

/// Largest reading error, relative to the one that the lattice was made for, that it serves.
pub(crate) const WIDEST: f64 = 3.0;

impl Lattice {
    /// Of segments whose values (turned so that they rise) stand in `value`; `heavy`: a reading may be far off.
    pub(crate) fn new(segments: &Segments, value: &[f64], step: f64, heavy: bool) -> Self {
        let blocks: Vec<Block> = (0..segments.len())
            .step_by(BLOCK)
            .map(|start| Block::of(segments, value, start..(start + BLOCK).min(segments.len()), step, heavy))
            .collect();
        let rise = blocks.iter().flat_map(|b| &b.kinds).map(|k| k.rise).max().unwrap_or(0).max(0);
        let longest = rise + 2 * (REACH * FINE * WIDEST).ceil() as i64 + 2;
        Self { step, blocks, logs: logarithms(longest as usize) }
    }

    /// Of one history.
    #[cfg(test)]
    pub(crate) fn single(group: usize, hours: &[f64], value: &[f64], step: f64, heavy: bool) -> Self {
        let segments = Segments {
            offset: vec![0, hours.len()],
            valve: vec![0],
            group: vec![group as u32],
            hours: hours.to_vec(),
            value: value.to_vec(),
            ..Segments::default()
        };
        Self::new(&segments, value, step, heavy)
    }

    /// Increments of a block's kinds: by kind, then by rate.
    fn increments(&self, block: &Block, p: &Params, rates: &[f64], slopes: bool) -> Vec<Vec<Increments>> {
        let span = 2 * width(p, self.step) + 1;
        let of = |kind: &Kind| {
            let n = (kind.rise + span).max(0) as usize;
            let one = |rate: &f64| {
                increments(p.shape[kind.group] * rate * kind.hours, p.scale, self.step, n, &self.logs, slopes)
            };
            rates.iter().map(one).collect()
        };
        block.kinds.iter().map(of).collect()
    }

    /// Runs `work` over every segment in order, with its block's increments at hand.
    fn over<T: Send>(
        &self,
        p: &Params,
        slopes: bool,
        work: impl Fn(&History, &Setting<'_>, &mut Passes) -> T + Sync,
    ) -> Vec<T> {
        let rates = rates(p.cv);
        let parts: Vec<Vec<T>> = self
            .blocks
            .par_iter()
            .map(|block| {
                let made = self.increments(block, p, &rates, slopes);
                let setting = Setting { p, rates: &rates, increments: &made, step: self.step };
                let mut passes = Passes::default();
                block
                    .histories
                    .iter()
                    .map(|history| {
                        passes.run(history, &setting);
                        work(history, &setting, &mut passes)
                    })
                    .collect()
            })
            .collect();
        parts.into_iter().flatten().collect()
    }

    /// Log-likelihood of all segments; −∞ where no rising path meets some segment's readings.
    #[cfg(test)]
    pub(crate) fn log_likelihood(&self, p: &Params) -> f64 {
        self.over(p, false, |_, _, passes| passes.log_likelihood()).iter().sum()
    }

    /// Log-likelihood and gradient of every segment, in order; None where no rising path meets the readings.
    pub(crate) fn scores(&self, p: &Params) -> Option<Vec<Score>> {
        let rate_slopes = score::rate_slopes(p.cv);
        self.over(p, true, |history, setting, passes| {
            passes.log_likelihood().is_finite().then(|| score::score(history, setting, passes, &rate_slopes))
        })
        .into_iter()
        .collect()
    }

    /// Weight of every reading, in order, given all of its segment's readings.
    pub(crate) fn weights(&self, p: &Params) -> Vec<f64> {
        let parts = self.over(p, false, |history, setting, passes| score::weights(history, setting, passes));
        parts.into_iter().flatten().collect()
    }

    /// What is known after the last reading of every segment.
    pub(crate) fn states(&self, p: &Params) -> Vec<State> {
        self.over(p, false, |history, setting, passes| passes.state(history, setting, history.value.len()))
    }

    /// Density of the last reading of every segment given those before it; 0 where no path leads to it.
    pub(crate) fn densities_of_last(&self, p: &Params) -> Vec<f64> {
        self.over(p, false, |history, _, passes| passes.density_of_last(history.value.len()))
    }

    /// What was known after each reading of every segment.
    pub(crate) fn histories(&self, p: &Params) -> Vec<Vec<State>> {
        self.over(p, false, |history, setting, passes| {
            (1..=history.value.len()).map(|count| passes.state(history, setting, count)).collect()
        })
    }
}

impl Block {
    fn of(segments: &Segments, value: &[f64], range: Range<usize>, step: f64, heavy: bool) -> Self {
        let mut out = Self::default();
        let mut known: HashMap<(usize, u64), usize> = HashMap::new();
        for s in range {
            let readings = segments.range(s);
            let group = segments.group[s] as usize;
            let value = value[readings.clone()].to_vec();
            let mut about: Vec<(i64, i64)> =
                value.iter().map(|y| (y / step).round() as i64).map(|near| (near, near)).collect();
            if heavy {
                for i in 1..about.len() {
                    about[i].1 = about[i].1.max(about[i - 1].1);
                }
                for i in (1..about.len()).rev() {
                    about[i - 1].0 = about[i - 1].0.min(about[i].0);
                }
            }
            let hours = &segments.hours[readings];
            let kind = (0..hours.len())
                .map(|i| {
                    let elapsed = hours[i] - hours[i.checked_sub(1)?];
                    if elapsed <= 0.0 {
                        return None;
                    }
                    let rise = about[i].1 - about[i - 1].0;
                    let kind = *known.entry((group, elapsed.to_bits())).or_insert_with(|| {
                        out.kinds.push(Kind { group, hours: elapsed, rise });
                        out.kinds.len() - 1
                    });
                    out.kinds[kind].rise = out.kinds[kind].rise.max(rise);
                    Some(kind)
                })
                .collect();
            out.histories.push(History { group, value, kind, about });
        }
        out
    }
}

/// What a segment is worked with.
pub(crate) struct Setting<'a> {
    pub(crate) p: &'a Params,
    pub(crate) rates: &'a [f64],
    /// By kind, then by rate.
    pub(crate) increments: &'a [Vec<Increments>],
    pub(crate) step: f64,
}

/// The filter's runs over one segment, a rate each.
#[derive(Debug, Clone, Default)]
pub(crate) struct Passes {
    /// Reading i's error density at `low[i] + k`, all rates alike.
    pub(crate) weight: Vec<Vec<f64>>,
    pub(crate) low: Vec<i64>,
    pub(crate) runs: Vec<Run>,
}

/// One run.
#[derive(Debug, Clone, Default)]
pub(crate) struct Run {
    /// Of the readings so far, after each.
    pub(crate) log: Vec<f64>,
    /// Likelihood of each reading given those before it.
    pub(crate) total: Vec<f64>,
    /// Chances of the depths `first[i] + k` after reading i.
    pub(crate) first: Vec<i64>,
    pub(crate) mass: Vec<Vec<f64>>,
}

impl Run {
    fn log_likelihood(&self) -> f64 {
        self.log.last().copied().unwrap_or(0.0)
    }
}

impl Passes {
    fn run(&mut self, history: &History, setting: &Setting<'_>) {
        let (p, step) = (setting.p, setting.step);
        let width = width(p, step);
        let error = ReadingError::new(p.sigma, p.df);
        self.low.clear();
        self.low.extend(history.about.iter().map(|(low, _)| low - width));
        self.weight.resize_with(history.value.len(), Vec::new);
        for ((weight, y), (low, high)) in self.weight.iter_mut().zip(&history.value).zip(&history.about) {
            let first = (y - (low - width) as f64 * step) / p.sigma;
            error.densities(first, step / p.sigma, (high - low + 2 * width + 1) as usize, weight);
        }
        let start: Vec<f64> = match history.about.first() {
            Some((low, high)) => start::masses(p, step, low - width, (high - low + 2 * width + 1) as usize),
            None => Vec::new(),
        };
        self.runs.resize_with(setting.rates.len(), Run::default);
        for (rate, run) in self.runs.iter_mut().enumerate() {
            run.over(history, &self.low, &self.weight, &start, |kind| &setting.increments[kind][rate].mass);
        }
    }

    /// −∞ where no rising path meets the readings.
    pub(crate) fn log_likelihood(&self) -> f64 {
        let (top, sum) = self.mixture(Run::log_likelihood);
        top + (sum / self.runs.len() as f64).ln()
    }

    /// The largest of the runs' logarithms and the sum of all relative to it.
    fn mixture(&self, log: impl Fn(&Run) -> f64) -> (f64, f64) {
        let top = self.runs.iter().map(&log).fold(f64::NEG_INFINITY, f64::max);
        if !top.is_finite() {
            return (f64::NEG_INFINITY, 1.0);
        }
        (top, self.runs.iter().map(|run| (log(run) - top).exp()).sum())
    }

    /// The rates' chances after the first `count` readings; all 0 where no rising path meets them.
    pub(crate) fn chances(&self, count: usize) -> Vec<f64> {
        // Before the first believed reading every rate is as likely as the other.
        let Some(last) = count.checked_sub(1) else { return vec![1.0 / self.runs.len() as f64; self.runs.len()] };
        let log = |run: &Run| run.log.get(last).copied().unwrap_or(f64::NEG_INFINITY);
        let (top, sum) = self.mixture(log);
        if !top.is_finite() {
            return vec![0.0; self.runs.len()];
        }
        self.runs.iter().map(|run| (log(run) - top).exp() / sum).collect()
    }

    /// Density of the last of `count` readings given the others.
    fn density_of_last(&self, count: usize) -> f64 {
        let Some(last) = count.checked_sub(1) else { return 0.0 };
        let of = |(chance, run): (f64, &Run)| chance * run.total.get(last).copied().unwrap_or(0.0);
        self.chances(last).into_iter().zip(&self.runs).map(of).sum()
    }

    /// After the first `count` readings; without depths where there are none.
    fn state(&self, history: &History, setting: &Setting<'_>, count: usize) -> State {
        let last = count.checked_sub(1);
        let first = |run: &Run| last.and_then(|i| run.first.get(i)).copied().unwrap_or(0) as f64 * setting.step;
        let masses = |run: &Run| last.and_then(|i| run.mass.get(i)).cloned().unwrap_or_default();
        State {
            step: setting.step,
            group: history.group,
            rates: setting.rates.to_vec(),
            chances: self.chances(count),
            first: self.runs.iter().map(first).collect(),
            masses: self.runs.iter().map(masses).collect(),
        }
    }
}

impl Run {
    /// Filters. Ends with a log-likelihood of −∞ at the first reading that no path meets.
    fn over<'a>(
        &mut self,
        history: &History,
        low: &[i64],
        weight: &[Vec<f64>],
        start: &[f64],
        increments: impl Fn(usize) -> &'a Vec<f64>,
    ) {
        self.log.clear();
        self.total.clear();
        self.first.clear();
        self.mass.resize_with(low.len(), Vec::new);
        let mut log = 0.0;
        for i in 0..low.len() {
            let (earlier, later) = self.mass.split_at_mut(i);
            let next = &mut later[0];
            next.clear();
            match (earlier.last(), history.kind[i]) {
                (None, _) => next.extend_from_slice(start),
                (Some(before), None) => {
                    let shift = low[i] - self.first[i - 1];
                    next.extend(
                        (0..weight[i].len() as i64).map(|k| {
                            usize::try_from(k + shift).ok().and_then(|j| before.get(j)).copied().unwrap_or(0.0)
                        }),
                    );
                }
                (Some(before), Some(kind)) => {
                    next.resize(weight[i].len(), 0.0);
                    let (steps, rise) = (increments(kind), low[i] - self.first[i - 1]);
                    vector::widest(
                        #[inline(always)]
                        || spread(before, steps, rise, next),
                    );
                }
            }
            let mut total = 0.0;
            for (m, w) in next.iter_mut().zip(&weight[i]) {
                *m *= w;
                total += *m;
            }
            if total.is_nan() || total <= 1e-290 {
                self.log.push(f64::NEG_INFINITY);
                return;
            }
            let a = next.iter().position(|m| *m > NIL * total).unwrap_or(0);
            let b = next.iter().rposition(|m| *m > NIL * total).map_or(next.len(), |b| b + 1);
            next.truncate(b);
            next.drain(..a);
            for m in next.iter_mut() {
                *m /= total;
            }
            log += total.ln();
            self.log.push(log);
            self.total.push(total);
            self.first.push(low[i] + a as i64);
        }
    }
}

/// Adds to each depth of `next` what comes to it from the depths `before`: the k-th is reached from the j-th by a rise of `rise` + k − j steps.
#[inline(always)]
#[allow(clippy::inline_always, reason = "the widest registers serve what is inlined")]
fn spread(before: &[f64], steps: &[f64], rise: i64, next: &mut [f64]) {
    for (j, m) in before.iter().enumerate() {
        let rise = rise - j as i64;
        let (from, to) = ((-rise).max(0) as usize, rise.max(0) as usize);
        if let (Some(next), Some(steps)) = (next.get_mut(from..), steps.get(to..)) {
            for (x, s) in next.iter_mut().zip(steps) {
                *x += m * s;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::normal;

    #[test]
    fn two_readings_agree_with_the_integral() {
        // y₁ at the known start, y₂ after one increment: ∫ gamma density × normal density.
        let p = Params { shape: vec![0.004], scale: 0.01, sigma: 0.003, df: None, cv: 0.0, start: 0.0, start_sd: 1e-4 };
        let (hours, value) = ([0.0, 500.0], [0.001, 0.024]);
        let log = Lattice::single(0, &hours, &value, step(0.003) / 4.0, false).log_likelihood(&p);
        let first = normal::pdf(0.001 / 0.003_f64.hypot(1e-4)) / 0.003_f64.hypot(1e-4);
        let (n, top) = (200_000, 0.2);
        let h = top / f64::from(n);
        let sum: f64 = (0..n)
            .map(|i| {
                let g = (f64::from(i) + 0.5) * h;
                // Gamma(2, 0.01).
                g / 1e-4 * (-g / 0.01_f64).exp() * normal::pdf((0.024 - g) / 0.003) / 0.003 * h
            })
            .sum();
        assert!((log - (first * sum).ln()).abs() < 3e-3, "{log} against {}", (first * sum).ln());
    }

    #[test]
    fn wear_that_heals_has_no_path() {
        let p = Params { shape: vec![0.004], scale: 0.01, sigma: 0.003, df: None, cv: 0.3, start: 0.0, start_sd: 0.01 };
        let log = Lattice::single(0, &[0.0, 100.0], &[0.2, 0.05], step(0.003), false).log_likelihood(&p);
        assert!(log == f64::NEG_INFINITY);
    }

    /// A search in σ must not meet steps of the likelihood's own making: where it follows σ, neighbouring differences are alike. A misread depth and a heavy tail make the cut visible.
    #[test]
    fn a_heavy_likelihood_is_smooth_in_the_reading_error() {
        let (hours, value) = ([0.0, 300.0, 700.0, 1200.0], [0.001, 0.022, 0.012, 0.031]);
        let lattice = Lattice::single(0, &hours, &value, step(0.003), true);
        let at = |relative: f64| {
            let p = Params {
                shape: vec![0.01],
                scale: 0.0025,
                sigma: 0.003 * relative,
                df: Some(3.0),
                cv: 0.2,
                start: 0.001,
                start_sd: 0.001,
            };
            lattice.log_likelihood(&p)
        };
        // What is smooth has second differences of some 2e-7; a step of the cut is a hundred times that.
        let little = 2e-4;
        for k in -200..1000 {
            let middle = 1.0 + little * f64::from(k);
            let (before, after) = (at(middle) - at(middle - little), at(middle + little) - at(middle));
            assert!((after - before).abs() < 1e-6, "{middle}: {before} and {after}");
        }
    }
}
