//! The tests of normality for readings in steps: both statistics on the cells the instrument can show, and their null distribution
//! simulated for this lot's size, step and place on the scale.
//!
//! A² takes its form for grouped data (Choulakian, Lockhart and Stephens, Canadian Journal of Statistics 22, 1994):
//! A² = (1/n) Σ `Z_j²` `p_j/(H_j(1` − `H_j`)), `Z_j` the difference of cumulative observed and expected counts at the cell's upper edge, `p_j` the
//! cell's probability and `H_j` the cumulative one. W is the ordinary one. The simulation stops early where a p-value is plainly not small
//! (Besag and Clifford, Biometrika 78, 1991): after [`ENOUGH`] samples beyond the statistic, or after [`MOST`] samples.

use super::shapiro_wilk::ShapiroWilk;
use super::{NormalityTest, PValueMethod};
use crate::tails::tail;
use packdrift_numerics::stream::Key;

/// Samples beyond the observed statistic after which the p-value is known to about ± 22 % of itself.
const ENOUGH: u32 = 20;
/// Largest number of samples; the smallest p-value is 1/(MOST + 1).
const MOST: u32 = 1999;

pub(super) struct Tests {
    pub(super) anderson_darling: Option<NormalityTest>,
    pub(super) shapiro_wilk: Option<NormalityTest>,
}

/// Counts in consecutive cells of one step, from the lowest that holds a reading; all positions are in steps from there.
struct Cells {
    counts: Vec<u32>,
}

impl Cells {
    const EMPTY: Self = Self { counts: Vec::new() };

    /// Counts anew; the vector is used again.
    fn fill(&mut self, values: &[i64]) {
        let (first, last) = values.iter().fold((i64::MAX, i64::MIN), |(low, high), &v| (low.min(v), high.max(v)));
        self.counts.clear();
        self.counts.resize((last - first + 1) as usize, 0);
        for v in values {
            self.counts[(v - first) as usize] += 1;
        }
    }

    /// Mean and sd in steps; the sd with Sheppard's correction for the rounding, at least a third of a step (below that the parts all
    /// but share one cell and the sd cannot be told).
    fn normal_fit(&self, n: f64) -> (f64, f64) {
        let mut mean = 0.0;
        for (k, &c) in self.counts.iter().enumerate() {
            mean += f64::from(c) * k as f64;
        }
        mean /= n;
        let squares: f64 = self.counts.iter().enumerate().map(|(k, &c)| f64::from(c) * (k as f64 - mean).powi(2)).sum();
        let variance = squares / (n - 1.0) - 1.0 / 12.0;
        (mean, variance.max(1.0 / 9.0).sqrt())
    }

    fn anderson_darling(&self, n: f64) -> f64 {
        let (mean, sd) = self.normal_fit(n);
        // Cells without readings count too, until the expected number beyond is negligible.
        let low = (mean - 4.5 * sd).floor().min(0.0) as i64;
        let high = (mean + 4.5 * sd).ceil().max(self.counts.len() as f64 - 1.0) as i64;
        let mut observed = 0.0;
        let mut below = 0.0;
        let mut sum = 0.0;
        for k in low..high {
            let z = (k as f64 + 0.5 - mean) / sd;
            let tail = tail(z.abs());
            let (h, rest) = if z < 0.0 { (tail, 1.0 - tail) } else { (1.0 - tail, tail) };
            observed += usize::try_from(k).ok().and_then(|k| self.counts.get(k)).map_or(0.0, |&c| f64::from(c));
            let p = h - below;
            below = h;
            let difference = observed - n * h;
            if tail > 1e-12 {
                sum += difference * difference * p / (h * rest);
            }
        }
        sum / n
    }

    fn shapiro_wilk(&self, n: f64, weights: &ShapiroWilk) -> f64 {
        let mean = self.counts.iter().enumerate().map(|(k, &c)| f64::from(c) * k as f64).sum::<f64>() / n;
        let (mut rank, mut linear, mut squares) = (0_usize, 0.0, 0.0);
        for (k, &c) in self.counts.iter().enumerate() {
            let d = k as f64 - mean;
            let next = rank + c as usize;
            linear += weights.weight_of_ranks(rank, next) * d;
            squares += f64::from(c) * d * d;
            rank = next;
        }
        (linear * linear / squares).min(1.0)
    }
}

/// How often simulated statistics fell at least as far out as the observed one.
struct Tally {
    beyond: u32,
    settled_after: Option<u32>,
}

impl Tally {
    const NEW: Self = Self { beyond: 0, settled_after: None };

    fn count(&mut self, is_beyond: bool, drawn: u32) {
        if self.settled_after.is_none() && is_beyond {
            self.beyond += 1;
            if self.beyond == ENOUGH {
                self.settled_after = Some(drawn);
            }
        }
    }

    fn test(&self, statistic: f64) -> NormalityTest {
        let (p_value, samples) = match self.settled_after {
            Some(drawn) => (f64::from(ENOUGH) / f64::from(drawn), drawn),
            None => (f64::from(self.beyond + 1) / f64::from(MOST + 1), MOST),
        };
        let standard_error = match self.settled_after {
            Some(_) => p_value * ((1.0 - p_value) / f64::from(ENOUGH)).sqrt(),
            None => (p_value * (1.0 - p_value) / f64::from(MOST)).sqrt(),
        };
        NormalityTest { statistic, p_value, method: PValueMethod::Simulated { samples, standard_error } }
    }
}

pub(super) fn test(sorted: &[f64], step: f64, weights: Option<&ShapiroWilk>, key: Key) -> Tests {
    let n = sorted.len();
    let nf = n as f64;
    let mut values: Vec<i64> = sorted.iter().map(|x| (x / step).round() as i64).collect();
    let mut cells = Cells::EMPTY;
    cells.fill(&values);
    if cells.counts.len() < 2 {
        return Tests { anderson_darling: None, shapiro_wilk: None };
    }
    let observed_a = cells.anderson_darling(nf);
    let observed_w = weights.map(|w| cells.shapiro_wilk(nf, w));
    let (mean, sd) = cells.normal_fit(nf);
    // From the first cell on; the shift makes the cast round down, which costs less than `round`.
    let shift = 1_i64 << 40;
    let origin = mean + 0.5 + shift as f64;
    let mut sample = Cells::EMPTY;
    let (mut a, mut w) = (Tally::NEW, Tally::NEW);
    let mut stream = key.stream(0);
    // Statistics take few values where the cells are few: equal ones count as beyond.
    let slack = 1e-9;
    for drawn in 1..=MOST {
        for v in &mut values {
            *v = (origin + sd * stream.normal()) as i64;
        }
        sample.fill(&values);
        // A sample in one cell fits as well as can be.
        let flat = sample.counts.len() < 2;
        if a.settled_after.is_none() {
            a.count(!flat && sample.anderson_darling(nf) >= observed_a * (1.0 - slack), drawn);
        }
        if let (Some(weights), Some(observed)) = (weights, observed_w)
            && w.settled_after.is_none()
        {
            w.count(!flat && sample.shapiro_wilk(nf, weights) <= observed + slack, drawn);
        }
        if a.settled_after.is_some() && (observed_w.is_none() || w.settled_after.is_some()) {
            break;
        }
    }
    Tests {
        anderson_darling: (n >= 5).then(|| a.test(observed_a)),
        shapiro_wilk: observed_w.map(|observed| w.test(observed)),
    }
}
