//! Balanced crossed studies by analysis of variance: `y_ijk` = μ + `part_i` + `operator_j` + (part × operator)_ij + `e_ijk`, all random.
//!
//! Components from the expected mean squares; a negative one counts as 0. Intervals of repeatability are exact (χ²); the others are
//! generalised confidence intervals (Hamada and Weerahandi, Journal of Quality Technology 32, 2000): each mean square's expectation is
//! replaced by `df·MS/χ²_df`, the χ² drawn independently, and the components' quantiles taken over the draws.

use super::table::Table;
use super::{GaugeComponents, GaugeOptions, SdEstimate};
use crate::interval::Interval;
use crate::sample::{Moments, compensated_sum, quantile_of_sorted};
use packdrift_numerics::special::{chi_squared_quantile, fisher_tails};
use packdrift_numerics::stream::{Key, Stream};

/// A line of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSquareRow {
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// mm².
    pub sum_of_squares: f64,
}

impl MeanSquareRow {
    /// mm².
    pub fn mean_square(&self) -> f64 {
        self.sum_of_squares / self.degrees_of_freedom
    }
}

/// The two-way table. F of operators and parts is against the interaction, as the random model asks; `pooled` is the error after pooling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AnovaTable {
    /// Operators.
    pub operators: MeanSquareRow,
    /// Parts.
    pub parts: MeanSquareRow,
    /// Part × operator.
    pub interaction: MeanSquareRow,
    /// Repeat readings.
    pub repeatability: MeanSquareRow,
    /// All.
    pub total: MeanSquareRow,
    /// F of the interaction against repeatability.
    pub interaction_f: f64,
    /// Its p-value.
    pub interaction_p: f64,
    /// F of operators against the interaction.
    pub operators_f: f64,
    /// Its p-value.
    pub operators_p: f64,
    /// F of parts against the interaction.
    pub parts_f: f64,
    /// Its p-value.
    pub parts_p: f64,
    /// Interaction and repeatability pooled.
    pub pooled: MeanSquareRow,
    /// F of operators against the pooled error.
    pub operators_f_pooled: f64,
    /// F of parts against the pooled error.
    pub parts_f_pooled: f64,
}

/// Draws for the generalised intervals.
const DRAWS: usize = 10_000;

impl AnovaTable {
    pub(super) fn new(table: &Table, trials: usize) -> Self {
        let (p, o, r) = (table.parts as f64, table.operators as f64, trials as f64);
        let grand = table.mean();
        let cell_means: Vec<Vec<f64>> =
            table.cells.iter().map(|row| row.iter().map(|c| Moments::of(c).mean - grand).collect()).collect();
        let part_means: Vec<f64> = cell_means.iter().map(|row| row.iter().sum::<f64>() / o).collect();
        let operator_means: Vec<f64> =
            (0..table.operators).map(|j| cell_means.iter().map(|row| row[j]).sum::<f64>() / p).collect();
        let squares = |values: &[f64]| compensated_sum(values.iter().map(|x| x * x));
        let parts = o * r * squares(&part_means);
        let operators = p * r * squares(&operator_means);
        let interaction = r * compensated_sum(cell_means.iter().enumerate().flat_map(|(i, row)| {
            let part = part_means[i];
            let operator_means = &operator_means;
            row.iter().enumerate().map(move |(j, m)| (m - part - operator_means[j]).powi(2))
        }));
        let repeatability = compensated_sum(table.cells.iter().flatten().map(|c| Moments::of(c).sum_of_squares));
        let row = |degrees_of_freedom: f64, sum_of_squares: f64| MeanSquareRow { degrees_of_freedom, sum_of_squares };
        let operators = row(o - 1.0, operators);
        let parts = row(p - 1.0, parts);
        let interaction = row((o - 1.0) * (p - 1.0), interaction);
        let repeatability = row(o * p * (r - 1.0), repeatability);
        let total = row(
            o * p * r - 1.0,
            operators.sum_of_squares + parts.sum_of_squares + interaction.sum_of_squares + repeatability.sum_of_squares,
        );
        let pooled = row(
            interaction.degrees_of_freedom + repeatability.degrees_of_freedom,
            interaction.sum_of_squares + repeatability.sum_of_squares,
        );
        let test = |upper: &MeanSquareRow, lower: &MeanSquareRow| {
            let f = upper.mean_square() / lower.mean_square();
            (f, fisher_tails(upper.degrees_of_freedom, lower.degrees_of_freedom, f).upper)
        };
        let (interaction_f, interaction_p) = test(&interaction, &repeatability);
        let (operators_f, operators_p) = test(&operators, &interaction);
        let (parts_f, parts_p) = test(&parts, &interaction);
        Self {
            operators,
            parts,
            interaction,
            repeatability,
            total,
            interaction_f,
            interaction_p,
            operators_f,
            operators_p,
            parts_f,
            parts_p,
            pooled,
            operators_f_pooled: test(&operators, &pooled).0,
            parts_f_pooled: test(&parts, &pooled).0,
        }
    }

    pub(super) fn components(&self, keep_interaction: bool, trials: usize, options: &GaugeOptions) -> GaugeComponents {
        let r = trials as f64;
        let p = self.parts.degrees_of_freedom + 1.0;
        let o = self.operators.degrees_of_freedom + 1.0;
        let error = if keep_interaction { self.repeatability } else { self.pooled };
        // Variances (operators, interaction, parts) from the four expected mean squares.
        let split = |ms_o: f64, ms_p: f64, ms_op: f64, ms_e: f64| {
            let below = if keep_interaction { ms_op } else { ms_e };
            let interaction = if keep_interaction { ((ms_op - ms_e) / r).max(0.0) } else { 0.0 };
            (((ms_o - below) / (p * r)).max(0.0), interaction, ((ms_p - below) / (o * r)).max(0.0))
        };
        let (v_o, v_op, v_p) = split(
            self.operators.mean_square(),
            self.parts.mean_square(),
            self.interaction.mean_square(),
            error.mean_square(),
        );
        let mut stream = Key::new(options.seed, "gauge/components").stream(0);
        let mut draws: [Vec<f64>; 6] = std::array::from_fn(|_| Vec::with_capacity(DRAWS));
        for _ in 0..DRAWS {
            let [ms_o, ms_p, ms_op, ms_e] =
                [&self.operators, &self.parts, &self.interaction, &error].map(|row| draw_expectation(row, &mut stream));
            let (o, op, p) = split(ms_o, ms_p, ms_op, ms_e);
            let reproducibility = o + op;
            let gauge = reproducibility + ms_e;
            for (list, v) in draws.iter_mut().zip([o, op, p, reproducibility, gauge, gauge + p]) {
                list.push(v);
            }
        }
        let [operators, interaction, parts, reproducibility, gauge, total] =
            draws.map(|list| quantile_interval(list, options.confidence));
        let sd = |variance: f64, interval: Interval| SdEstimate { sd: variance.sqrt(), interval };
        let v_gauge = v_o + v_op + error.mean_square();
        GaugeComponents {
            repeatability: repeatability(&error, options.confidence),
            operators: Some(sd(v_o, operators)),
            interaction: keep_interaction.then(|| sd(v_op, interaction)),
            reproducibility: sd(v_o + v_op, reproducibility),
            gauge: sd(v_gauge, gauge),
            parts: sd(v_p, parts),
            total: sd(v_gauge + v_p, total),
        }
    }
}

/// `df·MS/χ²_df`.
fn draw_expectation(row: &MeanSquareRow, stream: &mut Stream) -> f64 {
    let chi_squared: f64 = (0..row.degrees_of_freedom as usize).map(|_| stream.normal().powi(2)).sum();
    row.sum_of_squares / chi_squared
}

fn quantile_interval(mut draws: Vec<f64>, confidence: f64) -> Interval {
    draws.sort_unstable_by(f64::total_cmp);
    Interval::new(
        quantile_of_sorted(&draws, 0.5 - 0.5 * confidence),
        quantile_of_sorted(&draws, 0.5 + 0.5 * confidence),
    )
    .map(f64::sqrt)
}

fn repeatability(row: &MeanSquareRow, confidence: f64) -> SdEstimate {
    let end = |p: f64| (row.sum_of_squares / chi_squared_quantile(row.degrees_of_freedom, p)).sqrt();
    SdEstimate {
        sd: row.mean_square().sqrt(),
        interval: Interval::new(end(0.5 + 0.5 * confidence), end(0.5 - 0.5 * confidence)),
    }
}

/// One operator: parts and repeats only.
pub(super) fn one_operator(table: &Table, trials: usize, options: &GaugeOptions) -> GaugeComponents {
    let groups: Vec<Moments> = table.cells.iter().map(|row| Moments::of(&row[0])).collect();
    let (p, r) = (table.parts as f64, trials as f64);
    let within = MeanSquareRow {
        degrees_of_freedom: p * (r - 1.0),
        sum_of_squares: compensated_sum(groups.iter().map(|g| g.sum_of_squares)),
    };
    let means: Vec<f64> = groups.iter().map(|g| g.mean).collect();
    let between = MeanSquareRow { degrees_of_freedom: p - 1.0, sum_of_squares: r * Moments::of(&means).sum_of_squares };
    let v_p = ((between.mean_square() - within.mean_square()) / r).max(0.0);
    let mut stream = Key::new(options.seed, "gauge/one operator").stream(0);
    let (mut parts, mut total) = (Vec::with_capacity(DRAWS), Vec::with_capacity(DRAWS));
    for _ in 0..DRAWS {
        let (b, e) = (draw_expectation(&between, &mut stream), draw_expectation(&within, &mut stream));
        let v = ((b - e) / r).max(0.0);
        parts.push(v);
        total.push(v + e);
    }
    let gauge = repeatability(&within, options.confidence);
    GaugeComponents {
        repeatability: gauge,
        operators: None,
        interaction: None,
        reproducibility: SdEstimate { sd: 0.0, interval: Interval::new(0.0, 0.0) },
        gauge,
        parts: SdEstimate { sd: v_p.sqrt(), interval: quantile_interval(parts, options.confidence) },
        total: SdEstimate {
            sd: (v_p + within.mean_square()).sqrt(),
            interval: quantile_interval(total, options.confidence),
        },
    }
}
