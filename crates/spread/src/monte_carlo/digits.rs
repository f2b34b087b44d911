//! The adaptive procedure of JCGM 101:2008, 7.9: trials until mean, standard deviation and 95 % interval are stable in the digits asked for.
//!
//! Batches of M trials; after h of them, with z the averages over the batches of the mean y, the standard uncertainty u and the ends of the
//! probabilistically symmetric 95 % interval, and s their standard deviations s² = Σ(zᵢ − z̄)²/(h(h − 1)): it ends when 2s is below the
//! numerical tolerance δ for all four, in every response. δ is half a unit of the last of the significant digits of u: u = c·10ˡ with c an
//! integer of that many digits, δ = ½·10ˡ (7.9.2).
//!
//! M = max(J, 10⁴), J ≥ 100/(1 − p) = 2000 (7.9.4 b); here the next whole number of blocks above, 10 240.

use super::{MonteCarlo, Partial, Reached, Worker};
use crate::error::SpreadError;
use crate::options::Progress;
use packdrift_numerics::quantile::of_sorted;
use packdrift_numerics::stream::BLOCK;
use rayon::prelude::*;

/// Blocks in a batch.
const BATCH: u64 = 10;

/// Batches made before the rule is looked at again; a fixed number, so that the end does not depend on the number of threads.
const ROUND: u64 = 16;

/// The four figures of a batch: y, u, and the ends of the 95 % interval.
type Figures = [f64; 4];

impl MonteCarlo<'_> {
    /// Makes batches of 10 240 trials until every response has `digits` significant digits of its standard uncertainty, or until
    /// `most` trials are done. [`Reached::accuracy`] is the largest 2s/δ at the end.
    ///
    /// # Errors
    /// As [`MonteCarlo::run`]; digits other than 1 to 4.
    pub fn digits(&self, digits: u32, most: u64, progress: &dyn Progress) -> Result<(Partial, Reached), SpreadError> {
        if !(1..=4).contains(&digits) {
            let what = "the number of significant digits".to_owned();
            return Err(SpreadError::Value { what, value: f64::from(digits), expected: "it must be 1, 2, 3 or 4" });
        }
        let batch_trials = BATCH * BLOCK as u64;
        // Two batches are the least that have a standard deviation.
        let most = (most / batch_trials).max(2);
        let mut rules = vec![Rule::default(); self.places.len()];
        let mut partial = self.empty();
        let mut done = 0;
        loop {
            let round: Vec<u64> = (done..(done + ROUND).min(most)).collect();
            if progress.cancelled() {
                return Err(SpreadError::Cancelled);
            }
            let batches: Vec<(Partial, Vec<Figures>)> = round.par_iter().map(|&batch| self.batch(batch)).collect();
            for (part, figures) in batches {
                partial.absorb(&part);
                done += 1;
                let mut worst = 0.0_f64;
                for (rule, figures) in rules.iter_mut().zip(figures) {
                    rule.add(figures);
                    worst = worst.max(rule.excess(digits));
                }
                let reached = done >= 2 && worst < 1.0;
                if reached || done >= most {
                    partial.covered = vec![(0, done * BATCH)];
                    progress.advance(done * batch_trials, done * batch_trials);
                    return Ok((partial, Reached { reached, accuracy: worst }));
                }
            }
            progress.advance(done * batch_trials, most * batch_trials);
        }
    }

    fn batch(&self, batch: u64) -> (Partial, Vec<Figures>) {
        let mut worker = Worker::new(self);
        let mut partial = self.empty();
        let mut values = vec![Vec::with_capacity(BATCH as usize * BLOCK); self.places.len()];
        for block in batch * BATCH..(batch + 1) * BATCH {
            worker.draw(self, block);
            partial.add_block(self, block, BLOCK, &mut worker);
            for (values, middles) in values.iter_mut().zip(&worker.middles) {
                values.extend(middles.iter().filter(|m| m.is_finite()));
            }
        }
        let figures = values
            .iter_mut()
            .zip(&partial.responses)
            .map(|(values, response)| {
                values.sort_by(f64::total_cmp);
                let (mean, sd) = (response.moments.mean(), response.moments.sd());
                let (low, high) = (of_sorted(values, 0.025), of_sorted(values, 0.975));
                // A batch in which nothing can be assembled has no figures, and cannot be unstable.
                [mean.unwrap_or(0.0), sd.unwrap_or(0.0), low, high].map(|f| if f.is_nan() { 0.0 } else { f })
            })
            .collect();
        (partial, figures)
    }
}

/// The figures of all batches of one response, as running mean and sum of squares (Welford).
#[derive(Debug, Clone, Default)]
struct Rule {
    batches: f64,
    mean: Figures,
    squares: Figures,
}

impl Rule {
    fn add(&mut self, figures: Figures) {
        self.batches += 1.0;
        for (k, figure) in figures.into_iter().enumerate() {
            let d = figure - self.mean[k];
            self.mean[k] += d / self.batches;
            self.squares[k] += d * (figure - self.mean[k]);
        }
    }

    /// The largest of 2s/δ; below 1 the response is stable.
    fn excess(&self, digits: u32) -> f64 {
        let uncertainty = self.mean[1];
        if uncertainty <= 0.0 {
            // No scatter: nothing can be unstable.
            return 0.0;
        }
        let tolerance = numerical_tolerance(uncertainty, digits);
        let pairs = self.batches * (self.batches - 1.0);
        self.squares.iter().map(|sum| 2.0 * (sum / pairs).sqrt() / tolerance).fold(0.0, f64::max)
    }
}

/// δ of JCGM 101:2008, 7.9.2: u = c·10ˡ, c an integer of n digits; δ = ½·10ˡ.
pub(crate) fn numerical_tolerance(uncertainty: f64, digits: u32) -> f64 {
    let n = f64::from(digits);
    let mut l = uncertainty.log10().floor() - (n - 1.0);
    // 9.96 to two digits is 10, not 9.9…: rounding may add a digit.
    if (uncertainty / 10_f64.powf(l)).round() >= 10_f64.powf(n) {
        l += 1.0;
    }
    0.5 * 10_f64.powf(l)
}

#[cfg(test)]
mod tests {
    use super::numerical_tolerance;

    #[test]
    fn tolerance_of_the_guide_examples() {
        // JCGM 101:2008, 7.9.2, examples 1 and 2: u = 0.000 35 g to two digits, δ = 0.000 005 g; u = 2 K to one digit, δ = 0.5 K.
        assert!((numerical_tolerance(0.00035, 2) / 0.000005 - 1.0).abs() < 1e-12);
        assert!((numerical_tolerance(2.0, 1) / 0.5 - 1.0).abs() < 1e-12);
        // Rounded, 0.0996 to two digits is 0.10.
        assert!((numerical_tolerance(0.0996, 2) / 0.005 - 1.0).abs() < 1e-12);
        assert!((numerical_tolerance(0.0994, 2) / 0.0005 - 1.0).abs() < 1e-12);
    }
}
