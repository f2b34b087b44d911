//! Readings that stand out: the generalised extreme studentised deviate procedure. They are named, never removed.

use crate::LotError;
use crate::error::share;
use packdrift_numerics::special::{student_t_quantile, student_t_tails};

/// Critical values of the procedure for one sample size.
///
/// Step i removes the reading farthest from the mean of those left, Rᵢ = |x − x̄|/s. The number of outliers is the largest i with
/// Rᵢ > λᵢ, λᵢ = (n − i)·t/√((n − i − 1 + t²)(n − i + 1)), t the quantile of order 1 − α/(2(n − i + 1)) with n − i − 1
/// degrees of freedom (Rosner, Technometrics 25, 1983; the first step alone is Grubbs' test).
#[derive(Debug, Clone, PartialEq)]
pub struct CriticalDeviates {
    n: usize,
    level: f64,
    lambda: Vec<f64>,
}

/// A reading that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Index into the values given.
    pub index: usize,
    /// The reading, mm.
    pub value: f64,
    /// Rᵢ: distance from the mean of those left, in their sd.
    pub deviate: f64,
    /// λᵢ.
    pub critical: f64,
}

/// What the procedure found.
#[derive(Debug, Clone, PartialEq)]
pub struct Outliers {
    /// Most deviating first; empty where none stands out.
    pub named: Vec<Outlier>,
    /// Two-sided p-value of Grubbs' test for the single most deviating reading (an upper bound, exact where small); None below
    /// 3 readings or where all are equal.
    pub grubbs_p: Option<f64>,
}

impl CriticalDeviates {
    /// For n readings, looking for at most a tenth of them (at least 1, at most 10) at the level α. Rosner finds the level right from
    /// n = 25 on and usable from 15; below 15 only one is looked for, where it is exact.
    ///
    /// # Errors
    /// A level not strictly between 0 and 1.
    pub fn new(n: usize, level: f64) -> Result<Self, LotError> {
        share("the level of the outlier test", level)?;
        let most = if n < 3 {
            0
        } else if n < 15 {
            1
        } else {
            (n / 10).clamp(1, 10)
        };
        let lambda = (1..=most)
            .map(|i| {
                let left = (n - i + 1) as f64;
                let nu = left - 2.0;
                let t = -student_t_quantile(nu, level / (2.0 * left));
                (left - 1.0) * t / ((nu + t * t) * left).sqrt()
            })
            .collect();
        Ok(Self { n, level, lambda })
    }

    /// λ₁, λ₂, …
    pub fn values(&self) -> &[f64] {
        &self.lambda
    }

    /// The level α.
    pub fn level(&self) -> f64 {
        self.level
    }

    /// Runs the procedure over n finite values in any order, read in steps of `step` (0: finely). A reading stands for any size within half a step of
    /// it, and the others for any within half of theirs: what counts is the distance less a whole step, so that two of three equal readings do not make
    /// the third stand out.
    pub fn find(&self, values: &[f64], step: f64) -> Outliers {
        let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
        let mut removed = Vec::new();
        let mut grubbs_p = None;
        for (i, &critical) in self.lambda.iter().enumerate() {
            let n = left.len() as f64;
            let mean = left.iter().map(|v| v.1).sum::<f64>() / n;
            let variance = left.iter().map(|v| (v.1 - mean).powi(2)).sum::<f64>() / (n - 1.0);
            let Some((at, &(index, value))) =
                left.iter().enumerate().max_by(|a, b| (a.1.1 - mean).abs().total_cmp(&(b.1.1 - mean).abs()))
            else {
                break;
            };
            if variance.is_nan() || variance <= 1e-24 * mean * mean {
                break;
            }
            let deviate = ((value - mean).abs() - step).max(0.0) / variance.sqrt();
            if i == 0 {
                grubbs_p = Some(grubbs_p_value(deviate, self.n));
            }
            removed.push(Outlier { index, value, deviate, critical });
            left.swap_remove(at);
        }
        let count = removed.iter().rposition(|o| o.deviate > o.critical).map_or(0, |last| last + 1);
        removed.truncate(count);
        Outliers { named: removed, grubbs_p }
    }
}

/// min(1, 2n·P(t₍ₙ₋₂₎ > t)), t² = n(n − 2)G²/((n − 1)² − n·G²).
fn grubbs_p_value(deviate: f64, n: usize) -> f64 {
    let n = n as f64;
    let room = (n - 1.0).powi(2) - n * deviate * deviate;
    if room <= 0.0 {
        return 0.0;
    }
    let t = (n * (n - 2.0) * deviate * deviate / room).sqrt();
    (2.0 * n * student_t_tails(n - 2.0, t).upper).min(1.0)
}
