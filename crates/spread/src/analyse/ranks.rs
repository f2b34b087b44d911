//! Correlation of the responses' ranks.

use crate::method::by_importance;
use crate::model::{Columns, Model, Responses, middle};
use crate::pack_model::PackModel;
use crate::population::Population;
use packdrift_numerics::sobol::Scrambling;

/// The responses in one sample, and their ranks, for Spearman's correlations.
pub(super) struct Ranks {
    /// Of each response, NaN where it has none.
    values: Vec<Vec<f64>>,
    /// Of each response that has a value throughout.
    ranks: Vec<Option<Vec<f64>>>,
}

impl Ranks {
    /// log₂ of the points: a correlation of ranks is then known to about 0.01.
    const LOG2_POINTS: u32 = 11;

    pub(super) fn new(model: &PackModel<'_>, population: &Population, seed: u64) -> Self {
        let points = Scrambling { seed, purpose: "ranks", number: 0, log2_points: Self::LOG2_POINTS };
        let n = points.points();
        let mut u = Columns::new(population.coordinates(), n);
        for (k, rank) in by_importance(model, population).into_iter().enumerate() {
            points.fill_normal(rank, u.column_mut(k));
        }
        let mut x = Columns::new(population.inputs(), n);
        let mut responses = Responses::new(model.responses(), n);
        population.to_x_block(&u, &mut x);
        model.respond_block(&x, &mut responses);
        let middles = |response| -> Vec<f64> {
            (0..n).map(|trial| responses.outcome(response, trial).and_then(middle).unwrap_or(f64::NAN)).collect()
        };
        let values: Vec<Vec<f64>> = (0..model.responses()).map(middles).collect();
        let ranks = values.iter().map(|v| v.iter().all(|y| !y.is_nan()).then(|| ranks(v))).collect();
        Self { values, ranks }
    }

    /// Over the trials in which both have a value; None where one of them does not vary there.
    pub(super) fn correlation(&self, i: usize, j: usize) -> Option<f64> {
        let of_rest;
        let (a, b) = match (&self.ranks[i], &self.ranks[j]) {
            (Some(a), Some(b)) => (a, b),
            _ => {
                let pairs = self.values[i].iter().zip(&self.values[j]).filter(|(a, b)| !a.is_nan() && !b.is_nan());
                let (a, b): (Vec<f64>, Vec<f64>) = pairs.unzip();
                of_rest = (ranks(&a), ranks(&b));
                (&of_rest.0, &of_rest.1)
            }
        };
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let size = (product(a, a) * product(b, b)).sqrt();
        (size > 0.0).then(|| (product(a, b) / size).clamp(-1.0, 1.0))
    }
}

/// Ranks less their mean, ties at their middle.
fn ranks(values: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| values[i].total_cmp(&values[j]));
    let mut ranks = vec![0.0; n];
    let mut from = 0;
    while from < n {
        let tied = order[from..].iter().take_while(|&&i| values[i] <= values[order[from]]).count();
        for &i in &order[from..from + tied] {
            ranks[i] = from as f64 + 0.5 * (tied as f64 - 1.0) - 0.5 * (n as f64 - 1.0);
        }
        from += tied;
    }
    ranks
}
