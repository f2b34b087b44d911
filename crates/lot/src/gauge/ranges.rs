//! The same by averages and ranges: what can be checked with a pencil. It gives no interval and cannot see an interaction.

use super::table::{Table, range};
use crate::LotError;
use crate::chart::constants::{ChartConstants, d2_star};
use crate::sample::Moments;

/// Standard deviations by averages and ranges, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AverageAndRange {
    /// R̄/d₂ of the trials (d₂* where there are at most 15 ranges).
    pub repeatability: f64,
    /// √((`X_diff/d₂`*)² − repeatability²/(parts·trials)), `X_diff` the range of the operators' averages; 0 where negative or with one operator.
    pub reproducibility: f64,
    /// √(repeatability² + reproducibility²).
    pub gauge: f64,
    /// `R_p/d₂`*, `R_p` the range of the parts' averages.
    pub parts: f64,
    /// √(gauge² + parts²).
    pub total: f64,
}

/// d₂* of ranges of any number of values: exact to 100, beyond it by the values' own spread.
fn spread_of(values: &[f64]) -> f64 {
    if values.len() > 100 { Moments::of(values).sd() } else { range(values) / d2_star(values.len(), 1) }
}

pub(super) fn average_and_range(table: &Table, trials: usize) -> Result<AverageAndRange, LotError> {
    let cells = table.parts * table.operators;
    let mean_range = table.cells.iter().flatten().map(|c| range(c)).sum::<f64>() / cells as f64;
    let d2 = if cells > 15 { ChartConstants::new(trials)?.d2 } else { d2_star(trials, cells) };
    let repeatability = mean_range / d2;
    let operator_means: Vec<f64> = (0..table.operators)
        .map(|o| table.cells.iter().map(|row| Moments::of(&row[o]).mean).sum::<f64>() / table.parts as f64)
        .collect();
    let part_means: Vec<f64> = table
        .cells
        .iter()
        .map(|row| row.iter().map(|c| Moments::of(c).mean).sum::<f64>() / table.operators as f64)
        .collect();
    let reproducibility = if table.operators < 2 {
        0.0
    } else {
        (spread_of(&operator_means).powi(2) - repeatability * repeatability / (table.parts * trials) as f64)
            .max(0.0)
            .sqrt()
    };
    let gauge = repeatability.hypot(reproducibility);
    let parts = spread_of(&part_means);
    Ok(AverageAndRange { repeatability, reproducibility, gauge, parts, total: gauge.hypot(parts) })
}
