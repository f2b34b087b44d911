//! Randomised quasi-Monte Carlo: the same accounts as plain Monte Carlo, but the trials are scrambled Sobol' points.
//!
//! Each scrambling is 2^m points, the zero point among them and none skipped, scrambled independently of the others; each gives an
//! unbiased estimate of every mean and share, and the standard error of their mean is s/√R with s the scatter of the R estimates (A. B. Owen,
//! "Practical Quasi-Monte Carlo Integration", 2023, chapter 17) — never the scatter of the trials. Coordinates with the largest
//! first-order shares of variance come first.

use super::{MonteCarlo, Partial, Worker};
use crate::error::SpreadError;
use crate::interval::{estimate_interval, sure_estimate_interval, sure_interval};
use crate::method::Method;
use crate::model::Columns;
use crate::options::Progress;
use crate::result::{Estimate, Spread};
use packdrift_numerics::quantile::Ranking;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::stream::BLOCK;
use rayon::prelude::*;

/// Independent scramblings.
const SCRAMBLINGS: u64 = 16;
/// Points of each, at least one block.
const LOG2_POINTS: u32 = 12;
/// Coordinates times points held at once by a thread.
const HELD: usize = 1 << 22;
/// With fewer trials outside than this the scatter between scramblings is not trusted with a share; then counting is no better than
/// plain Monte Carlo, and its interval is used.
const COUNTED: u64 = 50;

/// What all scramblings gave, together and one by one.
pub(crate) struct Quasi {
    pub(crate) merged: Partial,
    parts: Vec<Partial>,
}

impl Quasi {
    /// Makes the points and the trials; `rank[k]` is the Sobol' coordinate that coordinate k of u gets.
    pub(crate) fn run(run: &MonteCarlo<'_>, rank: &[usize], progress: &dyn Progress) -> Result<Self, SpreadError> {
        let population = run.population;
        let held = (HELD / population.coordinates().max(1)).max(1).ilog2();
        let log2_points = LOG2_POINTS.min(held).max(BLOCK.ilog2());
        let blocks = (1_usize << log2_points) / BLOCK;
        let total = SCRAMBLINGS * (blocks * BLOCK) as u64;
        let parts = (0..SCRAMBLINGS)
            .into_par_iter()
            .map_init(
                || (Worker::new(run), Columns::new(population.coordinates(), 1 << log2_points)),
                |(worker, u), number| {
                    if progress.cancelled() {
                        return Err(SpreadError::Cancelled);
                    }
                    let points = Scrambling { seed: run.seed, purpose: "spread", number, log2_points };
                    for (k, &rank) in rank.iter().enumerate() {
                        points.fill_normal(rank, u.column_mut(k));
                    }
                    let mut part = run.empty();
                    for block in 0..blocks {
                        population.to_x_part(u, block * BLOCK, &mut worker.x, |_| true);
                        run.model.respond_block(&worker.x, &mut worker.responses);
                        part.add_block(run, number * blocks as u64 + block as u64, BLOCK, worker);
                    }
                    progress.advance((number + 1) * (blocks * BLOCK) as u64, total);
                    Ok(part)
                },
            )
            .collect::<Result<Vec<Partial>, SpreadError>>()?;
        let mut merged = run.empty();
        for part in &parts {
            merged.absorb(part);
        }
        Ok(Self { merged, parts })
    }

    /// Standard error of the mean of one figure over the scramblings; None where one of them lacks it.
    fn scatter(&self, figure: impl Fn(&Partial) -> Option<f64>) -> Option<f64> {
        self.parts.iter().map(figure).collect::<Option<Vec<f64>>>().map(|values| standard_error(&values))
    }

    /// The distribution of a response, with standard errors from the scramblings.
    pub(crate) fn spread(&self, response: usize) -> Spread {
        let mut spread = self.merged.spread(response);
        spread.standard_error = self.scatter(|part| part.responses[response].moments.mean());
        let rankings: Vec<Ranking> = self.parts.iter().map(|part| part.responses[response].sketch.ranking()).collect();
        for quantile in &mut spread.quantiles {
            let of_parts = rankings.iter().map(|ranking| ranking.quantile(quantile.order)).collect::<Option<Vec<_>>>();
            quantile.standard_error = of_parts.map(|values| standard_error(&values));
        }
        let out = |part: &Partial| {
            let accumulator = &part.responses[response];
            (accumulator.answered() > 0).then(|| accumulator.outside() as f64 / accumulator.answered() as f64)
        };
        if let Some(error) = self.scatter(out).filter(|_| self.merged.outside(response) >= COUNTED) {
            spread.out.standard_error = error;
            spread.out.ci95 = estimate_interval(spread.out.total, error);
            let (low, high) = sure_estimate_interval(spread.out.total, error);
            // What trials without an answer may add is in the bounds already.
            let of_failed = sure_interval(self.merged.responses[response].failed, self.merged.trials()).1;
            let more = if self.merged.responses[response].failed > 0 { of_failed } else { 0.0 };
            spread.out.bounds = (low, (high + more).min(1.0));
        }
        spread.method = Method::QuasiMonteCarlo;
        spread.moments_method = Method::QuasiMonteCarlo;
        spread
    }

    /// Share of trials in which at least one requirement fails, and its 95 % confidence interval.
    pub(crate) fn joint_out(&self) -> (Estimate, (f64, f64)) {
        let (mut out, mut ci95) = self.merged.joint_out();
        let counted = out.value * self.merged.trials() as f64;
        if counted >= COUNTED as f64
            && let Some(error) = self.scatter(|part| Some(part.joint_out().0.value))
        {
            out.standard_error = error;
            ci95 = estimate_interval(out.value, error);
        }
        (out, ci95)
    }
}

/// Of the mean of independent values, by their scatter.
fn standard_error(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n * (n - 1.0))).sqrt()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

    use super::super::{Bounds, MonteCarlo};
    use super::*;
    use crate::distribution::Distribution;
    use crate::model::Function;
    use crate::options::Silent;
    use crate::population::{Population, Variable};

    fn population(distributions: &[Distribution]) -> Population {
        let variables: Vec<Variable> = distributions
            .iter()
            .enumerate()
            .map(|(k, d)| Variable { label: format!("x{k}"), distribution: d.clone(), lot: None })
            .collect();
        Population::new(&variables, &[], &[]).unwrap()
    }

    /// JCGM 101:2008, 9.3 (mass calibration). The converged values (references: 1.2341, 0.0754797, [1.08440, 1.38358]) differ from the
    /// printed ends, which come from a finite run, by less than 0.002. Tolerances: five standard errors of this run, as it states them.
    #[test]
    fn mass_calibration_of_the_guide() {
        let p = population(&[
            Distribution::Normal { mean: 100_000.0, sd: 0.05 },
            Distribution::Normal { mean: 1.234, sd: 0.02 },
            Distribution::Rectangular { lower: 1.1, upper: 1.3 },
            Distribution::Rectangular { lower: 7000.0, upper: 9000.0 },
            Distribution::Rectangular { lower: 7950.0, upper: 8050.0 },
        ]);
        let model =
            Function::new(5, |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0);
        let run = MonteCarlo::new(&model, &p, &[Bounds::NONE], 1).unwrap();
        let spread = Quasi::run(&run, &[0, 1, 2, 3, 4], &Silent).unwrap().spread(0);
        let mean_error = spread.standard_error.unwrap();
        assert!((spread.mean.unwrap() - 1.2340).abs() < 0.0002, "{:?}", spread.mean);
        // A hundredth of what 65 536 plain trials would leave.
        assert!(mean_error < 0.0755 / 256.0 / 20.0, "{mean_error}");
        assert!((spread.sd.unwrap() - 0.0754797).abs() < 2e-5, "{:?}", spread.sd);
        for (order, value) in [(0.025, 1.08440), (0.975, 1.38358)] {
            let q = spread.quantiles.iter().find(|q| (q.order - order).abs() < 1e-12).unwrap();
            let error = q.standard_error.unwrap();
            assert!(error < 5e-4 && (q.value - value).abs() < 5.0 * error + 5e-6, "{q:?} {value}");
        }
    }

    /// The standard error is honest: over 40 seeds the mean of exp of a sum lies within ±2 of its errors about as often as Student's t on
    /// 15 degrees of freedom says (93.6 %); 30 of 40 or more with a probability of 1 − 1e-5.
    #[test]
    fn standard_errors_are_honest() {
        let p = population(&vec![Distribution::Normal { mean: 0.0, sd: 0.5 }; 4]);
        let model = Function::new(4, |x: &[f64]| x.iter().sum::<f64>().exp());
        let expected = 0.5_f64.exp();
        let within = (0..40)
            .filter(|&seed| {
                let run = MonteCarlo::new(&model, &p, &[Bounds::NONE], seed).unwrap();
                let spread = Quasi::run(&run, &[0, 1, 2, 3], &Silent).unwrap().spread(0);
                (spread.mean.unwrap() - expected).abs() < 2.0 * spread.standard_error.unwrap()
            })
            .count();
        assert!(within >= 30, "{within} of 40");
    }

    #[test]
    fn the_same_on_any_number_of_threads() {
        let p = population(&vec![Distribution::Normal { mean: 0.0, sd: 0.5 }; 3]);
        let model = Function::new(3, |x: &[f64]| x[0] * x[1] + x[2]);
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| {
                let run = MonteCarlo::new(&model, &p, &[Bounds::new(Some(-1.0), Some(1.0))], 1).unwrap();
                Quasi::run(&run, &[0, 1, 2], &Silent).unwrap().spread(0)
            })
        };
        assert_eq!(on(1), on(3));
    }
}
