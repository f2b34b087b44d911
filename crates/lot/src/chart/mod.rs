//! Control charts of a lot's readings in the order they were made: individuals and moving range, or means and ranges (or standard
//! deviations) of subgroups. Limits at three standard errors, with every constant computed ([`constants`]).
//!
//! ISO 7870-2:2013.

pub mod constants;
mod signals;
pub(crate) mod steady;

pub use signals::{Signal, SignalKind};
pub use steady::LEVEL;

use crate::LotError;
use crate::sample::Moments;
use constants::ChartConstants;

/// What is plotted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChartKind {
    /// Single readings, and the range of each two neighbours.
    IndividualsMovingRange,
    /// Means and ranges of subgroups of this size.
    MeanRange(usize),
    /// Means and standard deviations of subgroups of this size.
    MeanSd(usize),
}

/// One of the two traces of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    /// Plotted values, mm.
    pub points: Vec<f64>,
    /// Centre line, mm.
    pub centre: f64,
    /// Lower control limit, mm.
    pub lower: f64,
    /// Upper control limit, mm.
    pub upper: f64,
    /// Where it signals.
    pub signals: Vec<Signal>,
}

/// A control chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// What is plotted.
    pub kind: ChartKind,
    /// Single readings or means.
    pub location: Trace,
    /// Moving ranges, ranges or standard deviations.
    pub scatter: Trace,
    /// The short-term sd the limits rest on, mm.
    pub sd_within: f64,
    /// Readings at the end that fill no subgroup; they are not plotted.
    pub left_over: usize,
    /// Chance that a steady process shows as much on a chart of this kind and length; 1 until it was looked for.
    pub chance: f64,
}

impl Chart {
    /// Whether chance explains what the chart shows: a steady process would show as much in more than one chart of a hundred ([`LEVEL`]).
    pub fn is_steady(&self) -> bool {
        self.chance > LEVEL
    }

    /// Signs of single rules on both traces. A long chart has some without a cause; [`chance`](Self::chance) weighs them together.
    pub fn signs(&self) -> usize {
        self.location.signals.len() + self.scatter.signals.len()
    }

    /// Individuals and moving range: x̄ ± 3·MR̄/d₂(2), MR̄·D₄(2).
    ///
    /// # Errors
    /// Fewer than 3 readings.
    pub fn individuals(readings: &[f64], constants: &ChartConstants) -> Result<Self, LotError> {
        if readings.len() < 3 {
            return Err(LotError::TooFew {
                what: "a chart of individual readings".into(),
                found: readings.len(),
                needed: 3,
                of: "readings",
            });
        }
        let ranges: Vec<f64> = readings.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        let mean_range = Moments::of(&ranges).mean;
        let sd = mean_range / constants.d2;
        let mean = Moments::of(readings).mean;
        let location = Trace::new(readings.to_vec(), mean, sd, mean - 3.0 * sd, mean + 3.0 * sd, true);
        let spread = constants.d3 * sd;
        let scatter = Trace::new(
            ranges,
            mean_range,
            spread,
            constants.lower_range * mean_range,
            constants.upper_range * mean_range,
            false,
        );
        Ok(Self {
            kind: ChartKind::IndividualsMovingRange,
            location,
            scatter,
            sd_within: sd,
            left_over: 0,
            chance: 1.0,
        })
    }

    /// Means and ranges of consecutive subgroups: x̿ ± A₂·R̄, R̄·D₃ … R̄·D₄.
    ///
    /// # Errors
    /// A subgroup size below 2 or other than that of the constants; fewer than two full subgroups.
    pub fn means_and_ranges(readings: &[f64], constants: &ChartConstants) -> Result<Self, LotError> {
        let (groups, left_over) = subgroups(readings, constants.n)?;
        let ranges: Vec<f64> = groups
            .iter()
            .map(|g| {
                g.iter().copied().fold(f64::NEG_INFINITY, f64::max) - g.iter().copied().fold(f64::INFINITY, f64::min)
            })
            .collect();
        let mean_range = Moments::of(&ranges).mean;
        let sd = mean_range / constants.d2;
        let location = mean_trace(&groups, sd);
        let scatter = Trace::new(
            ranges,
            mean_range,
            constants.d3 * sd,
            constants.lower_range * mean_range,
            constants.upper_range * mean_range,
            false,
        );
        Ok(Self { kind: ChartKind::MeanRange(constants.n), location, scatter, sd_within: sd, left_over, chance: 1.0 })
    }

    /// Means and standard deviations of consecutive subgroups: x̿ ± A₃·s̄, s̄·B₃ … s̄·B₄.
    ///
    /// # Errors
    /// A subgroup size below 2 or other than that of the constants; fewer than two full subgroups.
    pub fn means_and_sds(readings: &[f64], constants: &ChartConstants) -> Result<Self, LotError> {
        let (groups, left_over) = subgroups(readings, constants.n)?;
        let sds: Vec<f64> = groups.iter().map(|g| Moments::of(g).sd()).collect();
        let mean_sd = Moments::of(&sds).mean;
        let sd = mean_sd / constants.c4;
        let location = mean_trace(&groups, sd);
        let spread = sd * (1.0 - constants.c4 * constants.c4).sqrt();
        let scatter =
            Trace::new(sds, mean_sd, spread, constants.lower_sd * mean_sd, constants.upper_sd * mean_sd, false);
        Ok(Self { kind: ChartKind::MeanSd(constants.n), location, scatter, sd_within: sd, left_over, chance: 1.0 })
    }
}

fn subgroups(readings: &[f64], size: usize) -> Result<(Vec<&[f64]>, usize), LotError> {
    if size < 2 {
        return Err(LotError::OutOfRange {
            what: "the subgroup size".into(),
            value: size as f64,
            expected: "2 or more".into(),
        });
    }
    let groups: Vec<&[f64]> = readings.chunks_exact(size).collect();
    if groups.len() < 2 {
        return Err(LotError::TooFew {
            what: "a chart of subgroups".into(),
            found: groups.len(),
            needed: 2,
            of: "full subgroups",
        });
    }
    Ok((groups, readings.len() % size))
}

fn mean_trace(groups: &[&[f64]], sd: f64) -> Trace {
    let means: Vec<f64> = groups.iter().map(|g| Moments::of(g).mean).collect();
    let centre = Moments::of(&means).mean;
    let error = sd / (groups[0].len() as f64).sqrt();
    Trace::new(means, centre, error, centre - 3.0 * error, centre + 3.0 * error, true)
}

impl Trace {
    fn new(points: Vec<f64>, centre: f64, error: f64, lower: f64, upper: f64, runs: bool) -> Self {
        let signals = signals::find(&points, centre, error, lower, upper, runs);
        Self { points, centre, lower, upper, signals }
    }
}
