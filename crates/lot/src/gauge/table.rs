//! Readings as cells of part × operator.

use crate::chart::constants::ChartConstants;
use crate::interval::Interval;
use crate::readings::Readings;
use crate::sample::Moments;
use packdrift_numerics::special::student_t_quantile;
use std::collections::HashMap;

/// Readings by part and operator, parts counted over lots.
pub(super) struct Table {
    pub(super) parts: usize,
    pub(super) operators: usize,
    /// `cells[part][operator]`.
    pub(super) cells: Vec<Vec<Vec<f64>>>,
    /// (lot, part) indices of the readings table.
    names: Vec<(u32, u32)>,
    /// Operator indices of the readings table that occur.
    who: Vec<u32>,
}

/// One operator.
#[derive(Debug, Clone, PartialEq)]
pub struct OperatorSummary {
    /// Name.
    pub operator: String,
    /// Readings.
    pub readings: usize,
    /// Mean difference from the mean of all operators on the same parts, mm.
    pub difference: f64,
    /// t interval of it from the operator's own repeat readings, mm; None without repeats.
    pub interval: Option<Interval>,
    /// Own repeatability, mm; None without repeats.
    pub repeatability: Option<f64>,
    /// Whether his or her readings lie off those of the others beyond chance (the interval leaves out 0).
    pub reads_differently: bool,
}

/// A cell whose range is beyond the control limit D₄·R̄.
#[derive(Debug, Clone, PartialEq)]
pub struct CellRange {
    /// Operator.
    pub operator: String,
    /// Part.
    pub part: String,
    /// Range of the trials, mm.
    pub range: f64,
    /// The limit, mm.
    pub limit: f64,
}

impl Table {
    pub(super) fn new(readings: &Readings) -> Self {
        let mut names = Vec::new();
        let mut places: HashMap<(u32, u32), usize> = HashMap::new();
        let mut who: Vec<u32> = Vec::new();
        for (i, &operator) in readings.operator.iter().enumerate() {
            let key = (readings.lot[i], readings.part[i]);
            places.entry(key).or_insert_with(|| {
                names.push(key);
                names.len() - 1
            });
            if !who.contains(&operator) {
                who.push(operator);
            }
        }
        who.sort_unstable();
        let mut cells = vec![vec![Vec::new(); who.len()]; names.len()];
        for (i, &reading) in readings.reading.iter().enumerate() {
            let part = places.get(&(readings.lot[i], readings.part[i])).copied().unwrap_or_default();
            let operator = who.binary_search(&readings.operator[i]).unwrap_or_default();
            cells[part][operator].push(reading);
        }
        Self { parts: names.len(), operators: who.len(), cells, names, who }
    }

    pub(super) fn has_repeats(&self) -> bool {
        self.cells.iter().flatten().any(|c| c.len() > 1)
    }

    /// Trials of every cell, where all have as many and at least two.
    pub(super) fn balanced_trials(&self) -> Option<usize> {
        let trials = self.cells.first()?.first()?.len();
        (trials >= 2 && self.cells.iter().flatten().all(|c| c.len() == trials)).then_some(trials)
    }

    /// (part, operator, reading) of every reading.
    pub(super) fn rows(&self) -> impl Iterator<Item = (usize, usize, f64)> + '_ {
        self.cells
            .iter()
            .enumerate()
            .flat_map(|(p, row)| row.iter().enumerate().flat_map(move |(o, cell)| cell.iter().map(move |&x| (p, o, x))))
    }

    pub(super) fn mean(&self) -> f64 {
        let all: Vec<f64> = self.rows().map(|r| r.2).collect();
        Moments::of(&all).mean
    }

    pub(super) fn by_operator(&self, names: &[String], confidence: f64) -> Vec<OperatorSummary> {
        (0..self.operators)
            .map(|o| {
                // Differences from the mean over operators of the same part, so that nobody is blamed for the parts he was given.
                let mut differences = Vec::new();
                let (mut count, mut squares, mut nu) = (0, 0.0, 0.0);
                for row in &self.cells {
                    let own = Moments::of(&row[o]);
                    count += own.n;
                    if own.n == 0 {
                        continue;
                    }
                    squares += own.sum_of_squares;
                    nu += own.n as f64 - 1.0;
                    let means: Vec<f64> = row.iter().filter(|c| !c.is_empty()).map(|c| Moments::of(c).mean).collect();
                    if means.len() > 1 {
                        differences.push(own.mean - Moments::of(&means).mean);
                    }
                }
                let d = Moments::of(&differences);
                // The scatter of his differences over the parts holds repeatability and interaction.
                let interval = (d.n >= 2).then(|| {
                    let half =
                        student_t_quantile(d.n as f64 - 1.0, 0.5 + 0.5 * confidence) * d.sd() / (d.n as f64).sqrt();
                    Interval::new(d.mean - half, d.mean + half)
                });
                OperatorSummary {
                    operator: names.get(self.who[o] as usize).cloned().unwrap_or_default(),
                    readings: count,
                    difference: if d.n == 0 { 0.0 } else { d.mean },
                    interval,
                    repeatability: (nu > 0.0).then(|| (squares / nu).sqrt()),
                    reads_differently: interval.is_some_and(|i| !i.contains(0.0)),
                }
            })
            .collect()
    }

    pub(super) fn odd_cells(&self, readings: &Readings) -> Vec<CellRange> {
        let Some(constants) = self.balanced_trials().and_then(|t| ChartConstants::new(t).ok()) else {
            return Vec::new();
        };
        let ranges: Vec<Vec<f64>> = self.cells.iter().map(|row| row.iter().map(|c| range(c)).collect()).collect();
        let mean = ranges.iter().flatten().sum::<f64>() / (self.parts * self.operators) as f64;
        let limit = constants.upper_range * mean;
        let mut found = Vec::new();
        for (p, row) in ranges.iter().enumerate() {
            for (o, &r) in row.iter().enumerate() {
                if r > limit {
                    found.push(CellRange {
                        operator: readings.operators.get(self.who[o] as usize).cloned().unwrap_or_default(),
                        part: readings.parts.get(self.names[p].1 as usize).cloned().unwrap_or_default(),
                        range: r,
                        limit,
                    });
                }
            }
        }
        found
    }
}

pub(super) fn range(values: &[f64]) -> f64 {
    let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &x| (a.min(x), b.max(x)));
    high - low
}
