//! Sobol' indices: which source's scatter makes the variance, by itself (first order) and with all it is involved in (total).
//!
//! S_i = Var(E[Y|X_i])/Var(Y),  T_i = 1 − Var(E[Y|X_~i])/Var(Y).
//!
//! By two independent samples A and B and, for each source, A with that source's coordinates from B (A_B^i):
//! S_i = mean(f(B)·(f(A_B^i) − f(A)))/V (A. Saltelli et al., "Variance based sensitivity analysis of model output", Computer Physics
//! Communications 181 (2010) 259–270), T_i = mean((f(A) − f(A_B^i))²)/(2V) (M. J. W. Jansen, Computer Physics Communications 117 (1999)
//! 35–43), f centred, on scrambled Sobol' points of twice the dimension; the standard errors come from independent scramblings.
//!
//! A source is a dimension (all its terms together) or a lot's shared deviation. Dimensions that a correlation ties have no index
//! of their own (the sources must be independent): None. So does a response that does not vary.

use crate::error::SpreadError;
use crate::model::{Columns, Model, Responses, middle};
use crate::population::Population;
use crate::result::{Estimate, Source};
use packdrift_numerics::sobol::Scrambling;

const SCRAMBLINGS: u64 = 16;

/// Indices of one source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Whose.
    pub source: Source,
    /// S_i; an estimate below 0 that is within two standard errors of it is given as 0.
    pub first: Estimate,
    /// T_i.
    pub total: Estimate,
}

/// Indices of all sources for one response, by 16 scramblings of 2^`log2_points` points each, and the share of points at which the response
/// had no value (left out). Empty where the response does not vary.
///
/// # Errors
/// A model that does not match the population; a response that has a value at fewer than half of the points.
///
/// ```
/// use packdrift_spread::{Distribution, Function, Population, Variable, sobol_indices};
/// // y = a + 2b, equal variances: one fifth and four fifths.
/// let rectangular = Distribution::rectangular(-1.0, 1.0).unwrap();
/// let variable = |label: &str| Variable { label: label.into(), distribution: rectangular.clone(), lot: None };
/// let population = Population::new(&[variable("a"), variable("b")], &[], &[]).unwrap();
/// let (indices, _) = sobol_indices(&Function::new(2, |x| x[0] + 2.0 * x[1]), 0, &population, 1, 8).unwrap();
/// assert!((indices[0].first.value - 0.2).abs() < 0.01 && (indices[1].total.value - 0.8).abs() < 0.01);
/// ```
pub fn sobol_indices(
    model: &dyn Model,
    response: usize,
    population: &Population,
    seed: u64,
    log2_points: u32,
) -> Result<(Vec<Indices>, f64), SpreadError> {
    if model.inputs() != population.inputs() {
        let (found, expected) = (population.inputs(), model.inputs());
        return Err(SpreadError::Length { what: "the population", found, expected });
    }
    let mut sources: Vec<Source> = population.sources().collect();
    sources.sort_unstable();
    sources.dedup();
    sobol_indices_of(model, response, population, &sources, seed, log2_points)
}

/// The same for some sources only: each costs as much as either sample.
pub(crate) fn sobol_indices_of(
    model: &dyn Model,
    response: usize,
    population: &Population,
    sources: &[Source],
    seed: u64,
    log2_points: u32,
) -> Result<(Vec<Indices>, f64), SpreadError> {
    let log2_points = log2_points.clamp(2, 16);
    let dimensions = population.coordinates();
    let coordinates: Vec<Source> = population.sources().collect();
    let mut sources: Vec<Source> = sources.to_vec();
    sources.retain(|source| !matches!(source, Source::Input(k) if population.is_tied(*k)));

    let n = 1_usize << log2_points;
    let mut a = Columns::new(dimensions, n);
    let mut b = Columns::new(dimensions, n);
    let mut mixed = Columns::new(dimensions, n);
    let mut x = Columns::new(population.inputs(), n);
    let mut responses = Responses::new(model.responses(), n);
    let mut firsts: Vec<Vec<f64>> = vec![Vec::new(); sources.len()];
    let mut totals: Vec<Vec<f64>> = vec![Vec::new(); sources.len()];
    // The inputs that each source moves.
    let moved: Vec<Vec<bool>> = sources
        .iter()
        .map(|source| {
            (0..population.inputs())
                .map(|input| match *source {
                    Source::Input(k) => input == k,
                    Source::Lot(j) => population.lot_of(input) == Some(j),
                })
                .collect()
        })
        .collect();
    let (mut without, mut made) = (0_usize, 0_usize);
    for number in 0..SCRAMBLINGS {
        let points = Scrambling { seed, purpose: "sobol indices", number, log2_points };
        for k in 0..dimensions {
            points.fill_normal(k, a.column_mut(k));
            points.fill_normal(dimensions + k, b.column_mut(k));
            mixed.column_mut(k).copy_from_slice(a.column(k));
        }
        let mut evaluate = |x: &Columns| -> Vec<f64> {
            model.respond_block(x, &mut responses);
            (0..n).map(|trial| responses.outcome(response, trial).and_then(middle).unwrap_or(f64::NAN)).collect()
        };
        population.to_x_block(&b, &mut x);
        let of_b = evaluate(&x);
        population.to_x_block(&a, &mut x);
        let of_a = evaluate(&x);
        let valued: Vec<f64> = of_a.iter().chain(&of_b).copied().filter(|y| y.is_finite()).collect();
        made += 2 * n;
        without += 2 * n - valued.len();
        if valued.len() < 2 {
            continue;
        }
        let mean = valued.iter().sum::<f64>() / valued.len() as f64;
        let variance = valued.iter().map(|y| (y - mean) * (y - mean)).sum::<f64>() / valued.len() as f64;
        // Rounding alone gives a constant a variance of about (mean·2⁻⁵³)².
        if variance <= (1e-12 * mean.abs()).powi(2) || variance == 0.0 {
            return Ok((Vec::new(), without as f64 / made as f64));
        }
        for (place, source) in sources.iter().enumerate() {
            // A with this source's coordinates from B: only the inputs it moves are worked out anew, and put back.
            let own: Vec<usize> = (0..dimensions).filter(|&k| coordinates[k] == *source).collect();
            own.iter().for_each(|&k| mixed.column_mut(k).copy_from_slice(b.column(k)));
            population.to_x_part(&mixed, 0, &mut x, |input| moved[place][input]);
            let of_mixed = evaluate(&x);
            own.iter().for_each(|&k| mixed.column_mut(k).copy_from_slice(a.column(k)));
            population.to_x_part(&mixed, 0, &mut x, |input| moved[place][input]);
            let (mut first, mut total, mut count) = (0.0, 0.0, 0_usize);
            for ((fa, fb), fm) in of_a.iter().zip(&of_b).zip(&of_mixed) {
                let difference = fm - fa;
                let product = (fb - mean) * difference;
                if product.is_finite() {
                    first += product;
                    total += difference * difference;
                    count += 1;
                }
            }
            if count > 0 {
                firsts[place].push(first / (count as f64 * variance));
                totals[place].push(0.5 * total / (count as f64 * variance));
            }
        }
    }
    let left_out = without as f64 / made as f64;
    if left_out > 0.5 {
        let what = "the share of builds without a value, in the sensitivity analysis".to_owned();
        return Err(SpreadError::Value { what, value: left_out, expected: "fewer than half can be assembled" });
    }
    let indices = sources
        .into_iter()
        .zip(firsts.iter().zip(&totals))
        .filter(|(_, (first, _))| first.len() > 1)
        .map(|(source, (first, total))| Indices { source, first: estimate(first), total: estimate(total) })
        .collect();
    Ok((indices, left_out))
}

fn estimate(values: &[f64]) -> Estimate {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    let standard_error = (squares / (n * (n - 1.0))).sqrt();
    let value = if mean < 0.0 && mean > -2.0 * standard_error { 0.0 } else { mean };
    Estimate { value, standard_error }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

    use super::*;
    use crate::distribution::Distribution;
    use crate::model::Function;
    use crate::population::Variable;
    use crate::stack::{Correlation, Lot};

    fn population(n: usize, lower: f64, upper: f64) -> Population {
        let variables: Vec<Variable> = (0..n)
            .map(|k| Variable {
                label: format!("x{k}"),
                distribution: Distribution::Rectangular { lower, upper },
                lot: None,
            })
            .collect();
        Population::new(&variables, &[], &[]).unwrap()
    }

    fn holds(indices: &[Indices], first: &[f64], total: &[f64]) {
        for ((index, first), total) in indices.iter().zip(first).zip(total) {
            for (estimate, expected) in [(index.first, first), (index.total, total)] {
                // Student's t with 15 degrees of freedom, twelve figures: 5 standard errors, and what scrambled nets reach.
                let tolerance = 5.0 * estimate.standard_error + 1e-4;
                assert!((estimate.value - expected).abs() < tolerance, "{index:?}: {expected}");
                assert!(estimate.standard_error < 0.01, "{index:?}");
            }
        }
    }

    /// Ishigami's function, a = 7, b = 0.1: analytic values (T. Ishigami and T. Homma 1990).
    #[test]
    fn ishigami() {
        use std::f64::consts::PI;
        let model =
            Function::new(3, |x: &[f64]| x[0].sin() + 7.0 * x[1].sin().powi(2) + 0.1 * x[2].powi(4) * x[0].sin());
        let (indices, _) = sobol_indices(&model, 0, &population(3, -PI, PI), 5, 12).unwrap();
        holds(&indices, &[0.3139052, 0.4424111, 0.0], &[0.5575889, 0.4424111, 0.2436837]);
    }

    /// Sobol's g-function, a = (0, 1, 4.5, 9, 99, 99, 99, 99): V_i = 1/(3(1 + a_i)²).
    #[test]
    fn g_function() {
        const A: [f64; 8] = [0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0];
        let model = Function::new(8, |x: &[f64]| {
            x.iter().zip(A).map(|(x, a)| ((4.0 * x - 2.0).abs() + a) / (1.0 + a)).product()
        });
        let (indices, _) = sobol_indices(&model, 0, &population(8, 0.0, 1.0), 5, 12).unwrap();
        holds(
            &indices,
            &[0.716192169, 0.179048042, 0.0236757742, 0.00716192169],
            &[0.7871441267, 0.2421981928, 0.0343169102, 0.0104603871],
        );
    }

    /// A lot's shared deviation is one source: y = x₀ + x₁ with own sd 1 and a shared sd 2: 1/18, 1/18, 16/18.
    #[test]
    fn a_lot_is_a_source() {
        let normal = Distribution::Normal { mean: 0.0, sd: 1.0 };
        let variable = |label: &str| Variable { label: label.into(), distribution: normal.clone(), lot: Some(0) };
        let lot = Lot { name: "packet".into(), bias: 0.0, between: 2.0 };
        let population = Population::new(&[variable("a"), variable("b")], &[lot], &[]).unwrap();
        let model = Function::new(2, |x: &[f64]| x[0] + x[1]);
        let (indices, _) = sobol_indices(&model, 0, &population, 5, 8).unwrap();
        assert_eq!(indices.last().unwrap().source, Source::Lot(0));
        holds(&indices, &[1.0 / 18.0, 1.0 / 18.0, 16.0 / 18.0], &[1.0 / 18.0, 1.0 / 18.0, 16.0 / 18.0]);
    }

    #[test]
    fn constants_and_ties() {
        let constant = Function::new(2, |_: &[f64]| 3.0);
        assert!(sobol_indices(&constant, 0, &population(2, 0.0, 1.0), 1, 6).unwrap().0.is_empty());
        let normal = Distribution::Normal { mean: 0.0, sd: 1.0 };
        let variable = |label: &str| Variable { label: label.into(), distribution: normal.clone(), lot: None };
        let tie = Correlation { between: (0, 1), coefficient: 0.5 };
        let tied = Population::new(&[variable("a"), variable("b"), variable("c")], &[], &[tie]).unwrap();
        let sum = Function::new(3, |x: &[f64]| x.iter().sum());
        let (indices, _) = sobol_indices(&sum, 0, &tied, 1, 6).unwrap();
        assert_eq!(indices.iter().map(|i| i.source).collect::<Vec<_>>(), [Source::Input(2)]);
        // 1 of 1 + 1 + 1 + 2·0.5.
        assert!((indices[0].first.value - 0.25).abs() < 0.03, "{indices:?}");
    }
}
