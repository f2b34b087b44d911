//! Intervals for the components of an unbalanced study: what the generalised intervals of a balanced one become where the sums of squares are neither
//! independent nor exact multiples of χ².
//!
//! In a balanced study the generalised distribution of the expected mean squares λ is that of `df·MS/χ²_df`, independently (module
//! [`super::anova`]). The same distribution is the restricted likelihood times Jeffreys' prior `√det I(σ²)`, `I` the expected information, which is there
//! ∏ 1/λ. That form needs no balance. Here it is drawn from by importance sampling: the proposal is that of a balanced study of this size
//! (independent scaled inverse χ² of pseudo mean squares, their expectations with harmonic mean counts), the weights are restricted likelihood times
//! `√det I` over the proposal. In a balanced study all weights are equal.
//!
//! As in the balanced study a component may come out negative and then counts as 0. The likelihood of the study at hand is not defined far beyond
//! that boundary, so a draw beyond it takes the weight of the boundary point nearest to it: the correction for imbalance is continued as a constant.
//!
//! Neither step is exact; the coverage is tested by simulation.

use super::GaugeOptions;
use super::reml::{Problem, Solution};
use super::table::Table;
use crate::interval::Interval;
use packdrift_numerics::stream::Key;
use rayon::prelude::*;

/// Draws; each costs a decomposition of the size of the cells.
const DRAWS: usize = 4000;
/// Below this effective number of draws the study does not tell its components apart.
const LEAST_EFFECTIVE: f64 = 50.0;

/// Intervals of standard deviations, mm.
pub(super) struct Intervals {
    pub(super) repeatability: Interval,
    pub(super) operators: Interval,
    pub(super) interaction: Interval,
    pub(super) reproducibility: Interval,
    pub(super) gauge: Interval,
    pub(super) parts: Interval,
    pub(super) total: Interval,
}

/// A pseudo mean square: its expectation is `Σ coefficients·σ²` (parts, operators, cells, repeat readings as the problem has them).
struct Line {
    coefficients: Vec<f64>,
    degrees_of_freedom: usize,
    estimate: f64,
}

impl Line {
    /// Degrees of freedom of the proposal: a tenth fewer.
    fn proposed(&self) -> usize {
        self.degrees_of_freedom - self.degrees_of_freedom / 10
    }

    /// Logarithm of the proposal's density at these variances, but for a constant: scaled inverse χ².
    fn log_density(&self, variances: &[f64]) -> f64 {
        let (nu, lambda) = (self.proposed() as f64, self.expectation(variances));
        -(0.5 * nu + 1.0) * lambda.ln() - 0.5 * nu * self.estimate / lambda
    }

    fn expectation(&self, variances: &[f64]) -> f64 {
        self.coefficients.iter().zip(variances).map(|(c, v)| c * v).sum()
    }
}

/// The lines of the table, the last that of repeat readings alone; each other line adds one variance to those below it.
fn lines(problem: &Problem, table: &Table, variances: &[f64]) -> Option<Vec<Line>> {
    let k = problem.blocks.len();
    let interaction = k == 3;
    let counts: Vec<f64> = table.cells.iter().flatten().map(|c| c.len() as f64).filter(|n| *n > 0.0).collect();
    let cells = counts.len();
    let harmonic = |counts: &[f64]| counts.len() as f64 / counts.iter().map(|n| 1.0 / n).sum::<f64>();
    let readings = |of: &dyn Fn(usize, usize) -> usize, levels: usize| {
        let mut sums = vec![0.0; levels];
        for (p, o, _) in table.rows() {
            sums[of(p, o)] += 1.0;
        }
        harmonic(&sums)
    };
    let (by_part, by_operator) = (readings(&|p, _| p, table.parts), readings(&|_, o| o, table.operators));
    let groups = if table.operators > 1 { table.parts + table.operators - 1 } else { table.parts };
    let mut found = Vec::with_capacity(k + 1);
    let mut add = |own: Option<(usize, f64)>, degrees_of_freedom: usize| {
        let mut coefficients = vec![0.0; k + 1];
        coefficients[k] = 1.0;
        if interaction && own.is_some() {
            coefficients[2] = harmonic(&counts);
        }
        if let Some((factor, readings)) = own {
            coefficients[factor] = readings;
        }
        let mut line = Line { coefficients, degrees_of_freedom, estimate: 0.0 };
        line.estimate = line.expectation(variances);
        found.push(line);
    };
    add(Some((0, by_part)), table.parts - 1);
    if table.operators > 1 {
        add(Some((1, by_operator)), table.operators - 1);
    }
    if interaction {
        add(Some((2, harmonic(&counts))), cells.checked_sub(groups)?);
    }
    add(None, (problem.n as usize).checked_sub(if interaction { cells } else { groups })?);
    found.iter().all(|line| line.degrees_of_freedom > 0).then_some(found)
}

impl Intervals {
    /// None where there are too few cells or readings for the components, or where the draws do not hit the likelihood.
    pub(super) fn of(problem: &Problem, table: &Table, solution: &Solution, options: &GaugeOptions) -> Option<Self> {
        Self::of_draws(problem, table, solution, options, DRAWS)
    }

    fn of_draws(
        problem: &Problem,
        table: &Table,
        solution: &Solution,
        options: &GaugeOptions,
        draws: usize,
    ) -> Option<Self> {
        let k = problem.blocks.len();
        let lines = lines(problem, table, &solution.variances)?;
        let mut stream = Key::new(options.seed, "gauge/unbalanced").stream(0);
        // A tenth fewer degrees of freedom than the table's: tails no lighter than those to be drawn from.
        let proposed: Vec<Vec<f64>> = (0..draws)
            .map(|_| {
                let expectation = |line: &Line| {
                    let chi_squared: f64 = (0..line.proposed()).map(|_| stream.normal().powi(2)).sum();
                    line.proposed() as f64 * line.estimate / chi_squared
                };
                solved(&lines, &lines.iter().map(expectation).collect::<Vec<f64>>(), k)
            })
            .collect();
        // In the order of the draws, whatever the threads.
        let (log_weights, drawn): (Vec<f64>, Vec<Vec<f64>>) = proposed
            .into_par_iter()
            .map(|variances| {
                // The correction where it is defined: at the nearest study without negative components.
                let inside: Vec<f64> = variances.iter().map(|v| v.max(0.0)).collect();
                let log_proposal: f64 = lines.iter().map(|line| line.log_density(&inside)).sum();
                let point = problem.at(&inside)?;
                let information = point.score(problem, &inside).1.cholesky()?;
                // ½ ln det I is the sum of the logarithms of the factor's diagonal.
                let prior: f64 = information.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
                Some((point.log_likelihood + prior - log_proposal, inside))
            })
            .collect::<Vec<Option<_>>>()
            .into_iter()
            .flatten()
            .unzip();
        let largest = log_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = log_weights.iter().map(|w| (w - largest).exp()).collect();
        let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
        if sum.is_nan() || sum * sum < LEAST_EFFECTIVE * squares {
            return None;
        }
        let interval = |of: &dyn Fn(&[f64]) -> f64| {
            let mut list: Vec<(f64, f64)> = drawn.iter().map(|v| of(v)).zip(weights.iter().copied()).collect();
            list.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
            let end = |p: f64| quantile(&list, p * sum).sqrt();
            Interval::new(end(0.5 - 0.5 * options.confidence), end(0.5 + 0.5 * options.confidence))
        };
        let factor = |v: &[f64], place: usize| if place < k { v[place] } else { 0.0 };
        let reproducibility = |v: &[f64]| factor(v, 1) + factor(v, 2);
        Some(Self {
            repeatability: interval(&|v| v[k]),
            operators: interval(&|v| factor(v, 1)),
            interaction: interval(&|v| factor(v, 2)),
            reproducibility: interval(&reproducibility),
            gauge: interval(&|v| reproducibility(v) + v[k]),
            parts: interval(&|v| factor(v, 0)),
            total: interval(&|v| reproducibility(v) + v[k] + factor(v, 0)),
        })
    }
}

/// The variances with these expectations of the lines: from repeat readings up, each line gives the one variance it adds.
fn solved(lines: &[Line], expectations: &[f64], k: usize) -> Vec<f64> {
    let mut variances = vec![0.0; k + 1];
    variances[k] = expectations[lines.len() - 1];
    // Cells before parts and operators, whose lines hold them.
    for own in (0..k).rev() {
        let (line, expectation) = (&lines[own], expectations[own]);
        let below: f64 =
            (0..=k).filter(|place| *place != own).map(|place| line.coefficients[place] * variances[place]).sum();
        variances[own] = (expectation - below) / line.coefficients[own];
    }
    variances
}

/// The value below which the weights of a sorted list add up to `part`.
fn quantile(sorted: &[(f64, f64)], part: f64) -> f64 {
    let mut sum = 0.0;
    for (value, weight) in sorted {
        sum += weight;
        if sum >= part {
            return *value;
        }
    }
    sorted.last().map_or(f64::NAN, |last| last.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::super::made::{TRUTH, crossed};
    use super::super::{GaugeMethod, Interaction, study};
    use super::*;

    /// Where the study is balanced the weights are those of the proposal alone, and the intervals the generalised ones of the analysis of variance, but
    /// for the draws.
    #[test]
    fn balanced_studies_get_the_intervals_of_the_analysis_of_variance() {
        let readings = crossed([8, 3, 3], 5, |_, _, _| true);
        let options = GaugeOptions { interaction: Interaction::With, ..GaugeOptions::default() };
        let expected = study(&readings, &options).unwrap();
        assert!(matches!(expected.method, GaugeMethod::AnovaWithInteraction));
        let table = Table::new(&readings);
        let problem = Problem::new(&table, true);
        let solution = super::super::reml::solve(&problem).unwrap();
        let found = Intervals::of(&problem, &table, &solution, &options).unwrap();
        let c = &expected.components;
        for (found, expected, what) in [
            (found.repeatability, c.repeatability.interval, "repeatability"),
            (found.operators, c.operators.unwrap().interval, "operators"),
            (found.interaction, c.interaction.unwrap().interval, "interaction"),
            (found.gauge, c.gauge.interval, "gauge"),
            (found.parts, c.parts.interval, "parts"),
            (found.total, c.total.interval, "total"),
        ] {
            // The upper end with three operators is a far tail: one draw in forty lies beyond it.
            for (a, b) in [(found.lower, expected.lower), (found.upper, expected.upper)] {
                assert!((a - b).abs() < 0.08 * b.max(0.05), "{what}: {found:?} against {expected:?}");
            }
        }
    }

    /// A quarter of the readings missing: every interval holds as often as it says, within four binomial standard errors.
    #[test]
    fn intervals_of_unbalanced_studies_hold() {
        let studies = 200;
        let [parts, operators, interaction, repeatability] = TRUTH;
        let both = operators.hypot(interaction);
        let gauge = both.hypot(repeatability);
        let truth = [repeatability, operators, interaction, both, gauge, parts, gauge.hypot(parts)];
        let options = GaugeOptions::default();
        let mut held = [0_u32; 7];
        for seed in 0..studies {
            let table = Table::new(&crossed([6, 3, 3], 1000 + seed, |p, o, t| (p * 7 + o * 3 + t) % 4 != 0));
            let problem = Problem::new(&table, true);
            let solution = super::super::reml::solve(&problem).unwrap();
            assert!(solution.converged, "seed {seed}");
            let found = Intervals::of_draws(&problem, &table, &solution, &options, 1000).unwrap();
            let found = [
                found.repeatability,
                found.operators,
                found.interaction,
                found.reproducibility,
                found.gauge,
                found.parts,
                found.total,
            ];
            for (held, (found, truth)) in held.iter_mut().zip(found.iter().zip(truth)) {
                *held += u32::from(found.contains(truth));
            }
        }
        let allowed = 4.0 * (0.95_f64 * 0.05 / studies as f64).sqrt();
        let names = ["repeatability", "operators", "interaction", "reproducibility", "gauge", "parts", "total"];
        let shares: Vec<(&str, f64)> = names.into_iter().zip(held.map(|h| f64::from(h) / studies as f64)).collect();
        assert!(shares.iter().all(|(_, share)| *share >= 0.95 - allowed), "{shares:?}");
    }
}
