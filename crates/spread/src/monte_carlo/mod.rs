//! Plain Monte Carlo propagation (JCGM 101:2008, clause 7), by blocks.
//!
//! Trials come in blocks of 1024 whose random numbers depend on the seed, the inputs' names and the block's index alone, and everything
//! that is kept of a block adds up exactly ([`Partial`]). So a run may be shared out among threads, or among machines as ranges of
//! blocks, and merged in any order to the same bytes; and its memory does not depend on the number of trials.

mod accumulator;
mod digits;
mod partial;
mod quasi;
mod state;

use crate::error::SpreadError;
use crate::model::{Columns, Model, Responses, middle};
use crate::options::Progress;
use crate::population::{Population, Sampler};
use accumulator::{FLAGS, Place};
use packdrift_numerics::quantile::of_sorted;
use packdrift_numerics::stream::{ALGORITHM, BLOCK};
pub use partial::Partial;
pub(crate) use quasi::Quasi;
pub use state::PartialState;
use std::ops::Range;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Blocks handed to a thread at once.
const STRIDE: u64 = 16;

/// Trials done where the user says nothing else.
pub const DEFAULT_TRIALS: u64 = 1_000_000;

/// The largest number of trials that a run to a wanted accuracy makes unless told otherwise.
pub const MOST_TRIALS: u64 = 1_000_000_000;

/// The limits of a response; a side without limit is infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Smallest acceptable value, or −∞.
    pub lower: f64,
    /// Largest acceptable value, or ∞.
    pub upper: f64,
}

impl Bounds {
    /// No limits.
    pub const NONE: Self = Self { lower: f64::NEG_INFINITY, upper: f64::INFINITY };

    /// From optional limits.
    pub fn new(lower: Option<f64>, upper: Option<f64>) -> Self {
        Self { lower: lower.unwrap_or(f64::NEG_INFINITY), upper: upper.unwrap_or(f64::INFINITY) }
    }
}

/// A Monte Carlo run that is set up: what is carried through what, with which seed.
///
/// ```
/// use packdrift_spread::{Bounds, Distribution, Function, MonteCarlo, Population, Silent, Variable};
/// // JCGM 101:2008, 9.2.2: the sum of four standard normals.
/// let four: Vec<Variable> = (1..=4)
///     .map(|k| Variable { label: format!("X{k}"), distribution: Distribution::normal(0.0, 1.0).unwrap(), lot: None })
///     .collect();
/// let population = Population::new(&four, &[], &[]).unwrap();
/// let sum = Function::new(4, |x: &[f64]| x.iter().sum());
/// let run = MonteCarlo::new(&sum, &population, &[Bounds::NONE], 1).unwrap();
/// let spread = run.run(100_000, &Silent).unwrap().spread(0);
/// assert!((spread.sd.unwrap() - 2.0).abs() < 0.02);
/// ```
pub struct MonteCarlo<'a> {
    model: &'a dyn Model,
    population: &'a Population,
    bounds: Vec<Bounds>,
    seed: u64,
    /// Centre and scale of each response, for sums and bins.
    places: Vec<Place>,
    fingerprint: u64,
}

/// Why a run to a wanted accuracy ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// Whether it was reached.
    pub reached: bool,
    /// The accuracy at the end, in the terms it was asked in.
    pub accuracy: f64,
}

impl<'a> MonteCarlo<'a> {
    /// Sets up a run. One block of trials, the run's first, is made at once to learn where the responses lie.
    ///
    /// # Errors
    /// Limits that do not match the model's responses, a model that does not match the population, a limit that is NaN.
    pub fn new(
        model: &'a dyn Model,
        population: &'a Population,
        bounds: &[Bounds],
        seed: u64,
    ) -> Result<Self, SpreadError> {
        let lengths = [
            ("the list of limits", bounds.len(), model.responses()),
            ("the population", population.inputs(), model.inputs()),
        ];
        for (what, found, expected) in lengths {
            if found != expected {
                return Err(SpreadError::Length { what, found, expected });
            }
        }
        for (k, limit) in bounds.iter().enumerate() {
            if limit.lower.is_nan() || limit.upper.is_nan() {
                let what = format!("a limit of response {k}");
                return Err(SpreadError::Value { what, value: f64::NAN, expected: "it must be a number" });
            }
        }
        let bounds = bounds.to_vec();
        let mut run = Self { model, population, bounds, seed, places: Vec::new(), fingerprint: 0 };
        let mut worker = Worker::new(&run);
        worker.draw(&run, 0);
        run.places = (0..model.responses()).map(|k| Place::of_pilot(&worker.responses, k)).collect();
        run.fingerprint = run.hash();
        Ok(run)
    }

    /// Makes all trials.
    ///
    /// # Errors
    /// No trials asked for; the run was cancelled; the model had no response in any trial.
    pub fn run(&self, trials: u64, progress: &dyn Progress) -> Result<Partial, SpreadError> {
        self.part(trials, 0..blocks_of(trials), progress)
    }

    /// Makes the trials of some blocks of a run of `trials`: block b holds trials 1024·b to 1024·b + 1023, the last block what is left.
    /// Parts that together cover 0..[`blocks_of`]`(trials)` merge to the bytes of [`MonteCarlo::run`].
    ///
    /// # Errors
    /// As [`MonteCarlo::run`]; blocks beyond the last.
    pub fn part(&self, trials: u64, blocks: Range<u64>, progress: &dyn Progress) -> Result<Partial, SpreadError> {
        if trials == 0 {
            let what = "the number of trials".to_owned();
            return Err(SpreadError::Value { what, value: 0.0, expected: "it must be at least 1" });
        }
        if blocks.end > blocks_of(trials) {
            let (index, count) = (blocks.end as usize, blocks_of(trials) as usize);
            return Err(SpreadError::Index { what: "the end of the blocks,", index, count });
        }
        let next = AtomicU64::new(blocks.start);
        let done = AtomicU64::new(0);
        let cancelled = AtomicBool::new(false);
        let merged = Mutex::new(self.empty());
        let total = trials.min(blocks.end * BLOCK as u64).saturating_sub(blocks.start * BLOCK as u64);
        rayon::broadcast(|_| {
            let mut worker = None;
            loop {
                let first = next.fetch_add(STRIDE, Ordering::Relaxed);
                if first >= blocks.end || cancelled.load(Ordering::Relaxed) {
                    break;
                }
                if progress.cancelled() {
                    cancelled.store(true, Ordering::Relaxed);
                    break;
                }
                let (worker, partial) = worker.get_or_insert_with(|| (Worker::new(self), self.empty()));
                let last = (first + STRIDE).min(blocks.end);
                let mut made = 0;
                for block in first..last {
                    let kept = (trials - block * BLOCK as u64).min(BLOCK as u64);
                    worker.draw(self, block);
                    partial.add_block(self, block, kept as usize, worker);
                    made += kept;
                }
                let before = done.fetch_add(made, Ordering::Relaxed);
                progress.advance(before + made, total);
            }
            if let Some((_, partial)) = worker {
                // A poisoned lock means that another thread panicked, and rayon passes that on.
                if let Ok(mut merged) = merged.lock() {
                    merged.absorb(&partial);
                }
            }
        });
        if cancelled.into_inner() {
            return Err(SpreadError::Cancelled);
        }
        let mut merged = merged.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        merged.covered = if blocks.is_empty() { Vec::new() } else { vec![(blocks.start, blocks.end)] };
        Ok(merged)
    }

    /// Makes trials until every share outside that has limits is known to the relative standard error, or until `most` trials are done.
    /// The numbers of trials at which it looks are a function of what it saw, so the end does not depend on threads.
    ///
    /// # Errors
    /// As [`MonteCarlo::run`]; a relative error that is not above 0.
    pub fn until(&self, relative: f64, most: u64, progress: &dyn Progress) -> Result<(Partial, Reached), SpreadError> {
        if !(relative > 0.0 && relative.is_finite()) {
            let what = "the relative standard error asked for".to_owned();
            return Err(SpreadError::Value { what, value: relative, expected: "it must be greater than 0" });
        }
        let mut trials = most.clamp(1, 64 * BLOCK as u64);
        let mut partial = self.part(trials, 0..blocks_of(trials), progress)?;
        loop {
            let worst = (0..self.bounds.len())
                .filter(|&k| self.bounds[k] != Bounds::NONE)
                .map(|k| partial.relative_error(k))
                .fold(0.0, f64::max);
            if worst <= relative || trials >= most {
                return Ok((partial, Reached { reached: worst <= relative, accuracy: worst }));
            }
            // What is needed by the present estimate and a tenth more, but never more than eight times what there is.
            let wanted = 1.1 * trials as f64 * (worst / relative).powi(2);
            let blocks = (wanted.min(8.0 * trials as f64) / BLOCK as f64).ceil() as u64;
            let (from, to) = (blocks_of(trials), blocks.max(blocks_of(trials) + 1));
            trials = (to * BLOCK as u64).min(most);
            let more = self.part(trials, from..blocks_of(trials), progress)?;
            partial.merge(&more)?;
        }
    }

    /// Nothing done yet.
    fn empty(&self) -> Partial {
        Partial::new(self.fingerprint, &self.places)
    }

    /// FNV-1a over everything that decides the numbers: parts of different runs must not be merged.
    fn hash(&self) -> u64 {
        let mut hash = 0xCBF2_9CE4_8422_2325_u64;
        let mut add = |bytes: &[u8]| {
            for &byte in bytes {
                hash = (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3);
            }
        };
        add(ALGORITHM.as_bytes());
        add(&self.seed.to_le_bytes());
        for (label, mean) in self.population.labels().iter().zip(self.population.means()) {
            add(label.as_bytes());
            add(&mean.to_bits().to_le_bytes());
        }
        for (bounds, place) in self.bounds.iter().zip(&self.places) {
            for value in [bounds.lower, bounds.upper, place.centre, place.scale] {
                add(&value.to_bits().to_le_bytes());
            }
        }
        hash
    }
}

/// Number of blocks of a run.
pub fn blocks_of(trials: u64) -> u64 {
    trials.div_ceil(BLOCK as u64)
}

/// What one thread works with.
struct Worker<'a> {
    sampler: Sampler<'a>,
    x: Columns,
    responses: Responses,
    middles: Vec<Vec<f64>>,
    /// One bit a trial: whether any response is outside.
    outside: [u64; FLAGS],
}

impl<'a> Worker<'a> {
    fn new(run: &MonteCarlo<'a>) -> Self {
        let sampler = run.population.sampler(run.seed);
        let x = sampler.columns();
        let responses = run.model.responses();
        Self {
            sampler,
            x,
            responses: Responses::new(responses, BLOCK),
            middles: vec![vec![0.0; BLOCK]; responses],
            outside: [0; FLAGS],
        }
    }

    fn draw(&mut self, run: &MonteCarlo<'a>, block: u64) {
        self.sampler.fill(block, &mut self.x);
        run.model.respond_block(&self.x, &mut self.responses);
    }
}

impl Place {
    /// Median and normal-consistent half interquartile range of one block; the range where that is 0.
    fn of_pilot(responses: &Responses, response: usize) -> Self {
        let outcomes = (0..responses.trials()).filter_map(|trial| responses.outcome(response, trial));
        let mut values: Vec<f64> = outcomes.filter_map(middle).collect();
        if values.is_empty() {
            return Self { centre: 0.0, scale: 1.0 };
        }
        values.sort_by(f64::total_cmp);
        let quartiles = (of_sorted(&values, 0.75) - of_sorted(&values, 0.25)) / 1.349;
        let range = values[values.len() - 1] - values[0];
        let centre = of_sorted(&values, 0.5);
        let scale = [quartiles, range, centre.abs() * 1e-9].into_iter().find(|&s| s > 0.0).unwrap_or(1.0);
        Self { centre, scale }
    }
}
