//! What the mechanic knows of a new build before and after its offsets are read: jointly normal, as on the bench.
//!
//! The quantities are the offsets and the squeeze, and the thicknesses of the drawn pieces beside them, so that a piece that comes out takes its
//! own deviation with it. Readings change the expectation in proportion to how far they are from where they were expected; what is left
//! unsure does not depend on what was read. So all of it is worked out once for a choice of tolerances.

use super::{FittingBay, MOST_QUANTITIES};
use nalgebra::{DMatrix, DVector};
use packdrift_spread::Stack;

/// How inputs scatter.
#[derive(Debug, Clone)]
pub struct Scatter<'a> {
    /// The stack: lots and correlations.
    pub stack: &'a Stack,
    /// Standard deviation of each input by itself (within its lot), mm.
    pub own: &'a [f64],
    /// Standard uncertainty of a read offset, mm.
    pub u_offset: f64,
    /// The part of it that is new at each reading, mm; the rest all readings of a build share.
    pub repeatability: f64,
    /// The drawn shims and washers were measured with this uncertainty before they went in, mm.
    pub u_drawn: Option<f64>,
}

/// What is known of a bay of new builds, for one choice of tolerances.
#[derive(Debug, Clone)]
pub struct Knowledge {
    /// Readings: the offsets, then the drawn pieces where they were measured.
    pub(super) readings: usize,
    /// By quantity and reading: change of the expectation for a reading 1 mm off, all drawn pieces kept.
    pub(super) gain: Vec<f64>,
    /// The same by drawn piece: what it is expected to deviate by, which goes with it where it comes out.
    pub(super) piece_gain: Vec<f64>,
    /// By which of the drawn pieces are kept, one bit each: covariance of the quantities, row-major, mm².
    pub(super) kept: Vec<Vec<f64>>,
    /// By the same and quantity: the variances alone, mm².
    pub(super) variances: Vec<f64>,
    /// Variance of each drawn piece before anything is read, mm².
    pub(super) piece: Vec<f64>,
    /// Variance of a read offset, mm².
    pub(super) noise: f64,
    /// By rocker: variance that its offset keeps however often it is read, mm²: that after one mean of both readings. What they have wrong alike no second
    /// reading takes away ([`crate::MeanReading`]).
    pub(super) floor: Vec<f64>,
}

/// A variance is never taken below this, mm²: an exact pack has a chance of 0 or 1.
pub(super) const LEAST_VARIANCE: f64 = 1e-14;

impl Knowledge {
    /// Of a bay whose inputs scatter so.
    pub fn new(bay: &FittingBay, scatter: &Scatter<'_>) -> Self {
        let (q, pieces) = (bay.slopes.len(), bay.drawn.len());
        let inputs = scatter.own.len();
        let mut rows = DMatrix::zeros(q + pieces, inputs);
        for (j, slopes) in bay.slopes.iter().enumerate() {
            slopes.iter().enumerate().for_each(|(i, &slope)| rows[(j, i)] = slope);
        }
        for (f, piece) in bay.drawn.iter().enumerate() {
            rows[(q + f, piece.dimension)] = 1.0;
        }
        let prior = covariance(&rows, scatter);
        let rockers = q - 1;
        let measured = if scatter.u_drawn.is_some() { pieces } else { 0 };
        let readings = rockers + measured;
        let at = |r: usize| if r < rockers { r } else { q + r - rockers };
        let mut of_readings = DMatrix::zeros(readings, readings);
        let mut cross = DMatrix::zeros(q + pieces, readings);
        for r in 0..readings {
            for s in 0..readings {
                of_readings[(r, s)] = prior[(at(r), at(s))];
            }
            let u = if r < rockers { scatter.u_offset } else { scatter.u_drawn.unwrap_or(0.0) };
            of_readings[(r, r)] += (u * u).max(LEAST_VARIANCE);
            for k in 0..q + pieces {
                cross[(k, r)] = prior[(k, at(r))];
            }
        }
        let gain = match of_readings.clone().cholesky() {
            Some(cholesky) => cholesky.solve(&cross.transpose()).transpose(),
            None => DMatrix::zeros(q + pieces, readings),
        };
        let posterior = &prior - &gain * cross.transpose();
        let kept: Vec<Vec<f64>> = (0..1_usize << pieces).map(|mask| kept(bay, mask, &posterior)).collect();
        let variances = kept.iter().flat_map(|covariance| (0..q).map(move |j| covariance[j * q + j])).collect();
        let rows = |from: usize, count: usize| gain.rows(from, count).transpose().iter().copied().collect();
        let (gain, piece_gain) = (rows(0, q), rows(q, pieces));
        let piece = (0..pieces).map(|f| prior[(q + f, q + f)]).collect();
        let noise = (scatter.u_offset * scatter.u_offset).max(LEAST_VARIANCE);
        let of_two = noise - 0.5 * (scatter.repeatability * scatter.repeatability).min(noise);
        let floor = (0..rockers).map(|r| prior[(r, r)] * of_two / (prior[(r, r)] + of_two)).collect();
        Self { readings, gain, piece_gain, kept, variances, piece, noise, floor }
    }

    /// How many readings there are of a build: its offsets, and the drawn pieces where they were measured.
    pub fn readings(&self) -> usize {
        self.readings
    }

    /// Standard deviation of each quantity with all drawn pieces kept, once the readings are in, mm.
    pub fn left_unsure(&self) -> Vec<f64> {
        let Some(all) = self.kept.last() else { return Vec::new() };
        let q = (all.len() as f64).sqrt().round() as usize;
        (0..q).map(|j| all[j * q + j].max(0.0).sqrt()).collect()
    }
}

/// M Σ Mᵀ of the inputs' covariance Σ: own scatter, lots, correlations.
fn covariance(rows: &DMatrix<f64>, scatter: &Scatter<'_>) -> DMatrix<f64> {
    let n = rows.nrows();
    let mut scaled = rows.clone();
    for (i, sd) in scatter.own.iter().enumerate() {
        scaled.column_mut(i).scale_mut(*sd);
    }
    let mut sum = &scaled * scaled.transpose();
    for (l, lot) in scatter.stack.lots.iter().enumerate() {
        let mut shared = DVector::zeros(n);
        for (i, input) in scatter.stack.inputs.iter().enumerate() {
            if input.lot == Some(l) {
                shared += rows.column(i);
            }
        }
        sum += &shared * shared.transpose() * (lot.between * lot.between);
    }
    for c in &scatter.stack.correlations {
        let (a, b) = (scaled.column(c.between.0), scaled.column(c.between.1));
        let product = a * b.transpose() * c.coefficient;
        sum += &product + product.transpose();
    }
    sum
}

/// Covariance with some of the drawn pieces out: what they would have added goes with them.
fn kept(bay: &FittingBay, mask: usize, posterior: &DMatrix<f64>) -> Vec<f64> {
    let (q, pieces) = (bay.slopes.len(), bay.drawn.len());
    let mut select = DMatrix::zeros(q, q + pieces);
    for j in 0..q {
        select[(j, j)] = 1.0;
        for (f, piece) in bay.drawn.iter().enumerate() {
            if mask >> f & 1 == 0 {
                select[(j, q + f)] = -bay.levers[j][piece.zone];
            }
        }
    }
    debug_assert!(q <= MOST_QUANTITIES, "four rockers and the sum");
    (&select * posterior * select.transpose()).iter().copied().collect()
}
