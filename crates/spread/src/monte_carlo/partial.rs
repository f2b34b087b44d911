//! The result of some blocks of a run: it merges with those of the others, and answers for what it has.

use super::accumulator::{Accumulator, Place};
use super::{MonteCarlo, Worker};
use crate::error::SpreadError;
use crate::interval::{share_interval, share_standard_error, sure_interval};
use crate::method::Method;
use crate::result::{Estimate, Failed, Histogram, QUANTILE_ORDERS, Quantile, Spread};
use packdrift_numerics::moments::ExactSum;
use packdrift_numerics::quantile::{QuantileSketch, Ranking};
use packdrift_numerics::stream::BLOCK;

/// Products of responses are summed in every this many blocks: a correlation needs fewer trials than a share outside.
const CROSS_EVERY: u64 = 8;

/// With more responses no correlations are kept (they grow as the square).
const CROSS_MOST: usize = 64;

/// Failed trials that are remembered.
const FAILED_MOST: usize = 5;

/// Bins of the histogram for figures.
const FIGURE_BINS: usize = 80;

/// What some blocks of trials gave. Everything in it adds exactly: merged in any order and grouping it has the same bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Partial {
    pub(super) fingerprint: u64,
    pub(super) trials: u64,
    /// Half-open ranges of blocks, rising and apart.
    pub(super) covered: Vec<(u64, u64)>,
    pub(super) responses: Vec<Accumulator>,
    /// Trials in which at least one requirement fails.
    pub(super) joint: u64,
    pub(super) cross: Option<Cross>,
    /// Trial and input values, the first few by trial.
    pub(super) first_failed: Vec<(u64, Vec<f64>)>,
}

/// Sums over trials in which every response has a value, in units of each one's place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cross {
    pub(super) count: u64,
    pub(super) sums: Vec<ExactSum>,
    /// (0,0), (1,0), (1,1), (2,0), …
    pub(super) products: Vec<ExactSum>,
}

impl Partial {
    pub(super) fn new(fingerprint: u64, places: &[Place]) -> Self {
        let n = places.len();
        Self {
            fingerprint,
            trials: 0,
            covered: Vec::new(),
            responses: places.iter().map(|&place| Accumulator::new(place)).collect(),
            joint: 0,
            cross: (n <= CROSS_MOST).then(|| Cross {
                count: 0,
                sums: vec![ExactSum::default(); n],
                products: vec![ExactSum::default(); n * (n + 1) / 2],
            }),
            first_failed: Vec::new(),
        }
    }

    /// Adds the first `kept` trials that the worker has drawn of a block.
    pub(super) fn add_block(&mut self, run: &MonteCarlo<'_>, block: u64, kept: usize, worker: &mut Worker<'_>) {
        worker.outside.fill(0);
        let failed_before: u64 = self.responses.iter().map(|r| r.failed).sum();
        for (k, response) in self.responses.iter_mut().enumerate() {
            let (low, high) = worker.responses.ends(k);
            let middle = &mut worker.middles[k][..kept];
            response.add_block(&low[..kept], &high[..kept], run.bounds[k], middle, &mut worker.outside);
        }
        self.trials += kept as u64;
        self.joint += worker.outside.iter().map(|flags| u64::from(flags.count_ones())).sum::<u64>();
        let failed: u64 = self.responses.iter().map(|r| r.failed).sum();
        if failed > failed_before {
            self.remember_failed(block, kept, worker);
        }
        if let Some(cross) = &mut self.cross
            && block.is_multiple_of(CROSS_EVERY)
        {
            cross.add_block(&run.places, &worker.middles, kept);
        }
    }

    fn remember_failed(&mut self, block: u64, kept: usize, worker: &Worker<'_>) {
        for trial in 0..kept {
            let failed = (0..self.responses.len()).any(|k| worker.responses.outcome(k, trial).is_none());
            if failed {
                let mut x = vec![0.0; worker.x.columns()];
                worker.x.row(trial, &mut x);
                self.first_failed.push((block * BLOCK as u64 + trial as u64, x));
            }
        }
        self.trim_failed();
    }

    fn trim_failed(&mut self) {
        self.first_failed.sort_by_key(|(trial, _)| *trial);
        self.first_failed.truncate(FAILED_MOST);
    }

    /// Adds another part of the same run, without looking at which blocks it covers.
    pub(super) fn absorb(&mut self, other: &Self) -> bool {
        let mut same = self.responses.len() == other.responses.len();
        for (mine, theirs) in self.responses.iter_mut().zip(&other.responses) {
            same &= mine.absorb(theirs);
        }
        self.trials += other.trials;
        self.joint += other.joint;
        if let (Some(mine), Some(theirs)) = (&mut self.cross, &other.cross) {
            mine.absorb(theirs);
        }
        self.first_failed.extend(other.first_failed.iter().cloned());
        self.trim_failed();
        same
    }

    /// Adds another part of the same run.
    ///
    /// # Errors
    /// Parts of different runs (seed, inputs or limits differ), and parts that share a block.
    pub fn merge(&mut self, other: &Self) -> Result<(), SpreadError> {
        if self.fingerprint != other.fingerprint {
            return Err(SpreadError::Merge(
                "they are of different runs (inputs, limits, seed or version differ)".into(),
            ));
        }
        let mut covered = self.covered.clone();
        covered.extend(&other.covered);
        covered.sort_unstable();
        if let Some(pair) = covered.windows(2).find(|pair| pair[1].0 < pair[0].1) {
            return Err(SpreadError::Merge(format!("both hold block {}", pair[1].0)));
        }
        if !self.absorb(other) {
            return Err(SpreadError::Merge("their sums have different centres".into()));
        }
        self.covered.clear();
        for (from, to) in covered {
            match self.covered.last_mut() {
                Some(last) if last.1 == from => last.1 = to,
                _ => self.covered.push((from, to)),
            }
        }
        Ok(())
    }

    /// Trials made.
    pub fn trials(&self) -> u64 {
        self.trials
    }

    /// Blocks that it holds, as half-open ranges.
    pub fn covered(&self) -> &[(u64, u64)] {
        &self.covered
    }

    /// Relative standard error of the share outside; infinite while none was outside.
    pub fn relative_error(&self, response: usize) -> f64 {
        let accumulator = &self.responses[response];
        let (outside, n) = (accumulator.outside(), accumulator.answered());
        if outside == 0 {
            return f64::INFINITY;
        }
        let p = outside as f64 / n as f64;
        ((1.0 - p) / (p * n as f64)).sqrt()
    }

    /// Trials outside the limits of a response.
    pub fn outside(&self, response: usize) -> u64 {
        self.responses[response].outside()
    }

    /// The distribution of a response.
    pub fn spread(&self, response: usize) -> Spread {
        let accumulator = &self.responses[response];
        let (moments, sketch) = (&accumulator.moments, &accumulator.sketch);
        let ranking = sketch.ranking();
        let answered = accumulator.answered();
        let share = |count: u64| if answered == 0 { 0.0 } else { count as f64 / answered as f64 };
        let sd = moments.sd();
        Spread {
            trials: answered,
            mean: moments.mean(),
            sd,
            standard_error: sd.map(|sd| sd / (moments.count() as f64).sqrt()),
            quantiles: quantiles(&ranking),
            method: Method::MonteCarlo,
            moments_method: Method::MonteCarlo,
            out: accumulator.share(),
            cannot_assemble: share(accumulator.cannot_assemble),
            loose: share(accumulator.loose),
            histogram: histogram(sketch, &ranking, share(moments.count())),
        }
    }

    /// Skewness and excess kurtosis of a response.
    pub fn shape(&self, response: usize) -> (Option<f64>, Option<f64>) {
        let moments = &self.responses[response].moments;
        (moments.skewness(), moments.excess_kurtosis())
    }

    /// Share of trials in which at least one requirement fails, and its 95 % confidence interval.
    pub fn joint_out(&self) -> (Estimate, (f64, f64)) {
        let value = if self.trials == 0 { 0.0 } else { self.joint as f64 / self.trials as f64 };
        let standard_error = share_standard_error(self.joint, self.trials);
        (Estimate { value, standard_error }, share_interval(self.joint, self.trials))
    }

    /// What the share of trials in which at least one requirement fails is not below and not above, at three standard errors.
    pub(crate) fn joint_bounds(&self) -> (f64, f64) {
        let failed = self.responses.iter().map(|r| r.failed).max().unwrap_or(0);
        let (low, high) = (sure_interval(self.joint, self.trials), sure_interval(self.joint + failed, self.trials));
        (low.0, high.1)
    }

    /// Correlation of the responses; None where one does not vary or nothing is known.
    pub fn correlation(&self) -> Vec<Vec<Option<f64>>> {
        let n = self.responses.len();
        let mut matrix = vec![vec![None; n]; n];
        let Some(cross) = &self.cross else { return matrix };
        let count = cross.count as f64;
        let mean = |i: usize| cross.sums[i].value() / count;
        let covariance = |i: usize, j: usize| cross.products[i * (i + 1) / 2 + j].value() / count - mean(i) * mean(j);
        for i in 0..n {
            for j in 0..=i {
                let product = covariance(i, i) * covariance(j, j);
                if cross.count >= 2 && product > 0.0 {
                    let r = if i == j { 1.0 } else { (covariance(i, j) / product.sqrt()).clamp(-1.0, 1.0) };
                    matrix[i][j] = Some(r);
                    matrix[j][i] = Some(r);
                }
            }
        }
        matrix
    }

    /// Trials in which the model had no response, with the values of the first.
    pub fn failed(&self, labels: &[String]) -> Failed {
        let trials = self.responses.iter().map(|r| r.failed).max().unwrap_or(0);
        let first = self
            .first_failed
            .iter()
            .map(|(trial, x)| {
                let values: Vec<String> = labels.iter().zip(x).map(|(label, x)| format!("{label} = {x}")).collect();
                format!("trial {trial}: {}", values.join(", "))
            })
            .collect();
        Failed { trials, first }
    }
}

impl Cross {
    fn add_block(&mut self, places: &[Place], middles: &[Vec<f64>], kept: usize) {
        let whole: Vec<usize> =
            (0..kept).filter(|&trial| middles.iter().all(|middle| middle[trial].is_finite())).collect();
        self.count += whole.len() as u64;
        let scaled: Vec<Vec<f64>> = middles
            .iter()
            .zip(places)
            .map(|(middle, place)| whole.iter().map(|&trial| (middle[trial] - place.centre) / place.scale).collect())
            .collect();
        let mut product = 0;
        for (i, a) in scaled.iter().enumerate() {
            self.sums[i].add(a.iter().sum());
            for b in &scaled[..=i] {
                self.products[product].add(a.iter().zip(b).map(|(a, b)| a * b).sum());
                product += 1;
            }
        }
    }

    fn absorb(&mut self, other: &Self) {
        self.count += other.count;
        let theirs = other.sums.iter().chain(&other.products);
        for (mine, theirs) in self.sums.iter_mut().chain(&mut self.products).zip(theirs) {
            mine.merge(theirs);
        }
    }
}

/// The listed quantiles. Their standard errors are half the distance between the quantiles of orders p ± √(p(1 − p)/n), which needs
/// no density; None where that leaves 0..1.
fn quantiles(ranking: &Ranking) -> Vec<Quantile> {
    let n = ranking.count() as f64;
    QUANTILE_ORDERS
        .iter()
        .filter_map(|&order| {
            let value = ranking.quantile(order)?;
            let step = (order * (1.0 - order) / n).sqrt();
            let inside = order - step > 0.0 && order + step < 1.0;
            let standard_error = inside
                .then(|| Some(0.5 * (ranking.quantile(order + step)? - ranking.quantile(order - step)?)))
                .flatten();
            Some(Quantile { order, value, standard_error })
        })
        .collect()
}

/// Equal bins over the middle 99.98 % and a little more; `valued` is the share of trials that have a value.
fn histogram(sketch: &QuantileSketch, ranking: &Ranking, valued: f64) -> Option<Histogram> {
    let (least, largest) = sketch.range()?;
    let (from, to) = (ranking.quantile(1e-4)?, ranking.quantile(1.0 - 1e-4)?);
    let margin = 0.05 * (to - from);
    let (mut from, mut to) = ((from - margin).max(least), (to + margin).min(largest));
    if to <= from {
        // A single value: a bin about it, wide enough to be told from its neighbours.
        let half = (from.abs() * 1e-6).max(1e-9);
        (from, to) = (from - half, to + half);
    }
    let width = (to - from) / FIGURE_BINS as f64;
    let up_to: Vec<f64> = (0..=FIGURE_BINS).map(|k| ranking.share_up_to(from + k as f64 * width)).collect();
    let mut shares: Vec<f64> = up_to.windows(2).map(|pair| (pair[1] - pair[0]) * valued).collect();
    // The first bin has its left edge too, where the least value sits.
    let below = if from <= least { 0.0 } else { up_to[0] };
    shares[0] += (up_to[0] - below) * valued;
    let above = if to >= largest { 0.0 } else { 1.0 - up_to[FIGURE_BINS] };
    shares[FIGURE_BINS - 1] += (1.0 - up_to[FIGURE_BINS] - above) * valued;
    Some(Histogram { lower: from, width, shares, below: below * valued, above: above * valued })
}
