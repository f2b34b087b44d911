//! A reading that tells too little: whether any build at all, of whatever pieces, can be inside its limits with the wanted chance.
//!
//! With every piece of the bay known exactly the offset still scatters by what the reading leaves open of stem, rocker and faces:
//!
//! ```text
//! σ² = gᵀ(Σ − Σ·P(P Σ P)⁻¹P·Σ)g
//! ```
//!
//! with the gradient g of the offset, the covariance Σ of the dimensions and the pieces P. No choice of pieces makes the chance larger than
//! 2Φ(h/σ) − 1, h half the width of the limits: where that is below what is wanted, the search cannot find what is not there, and is kept short.

use super::Bench;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;
use packdrift_pack::Quantity;

/// What a reading that is too coarse can tell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TooCoarse {
    /// Whose offset it is.
    pub(super) valve: String,
    /// What is left open of the offset whatever the pieces: a standard deviation, mm.
    pub(super) sd: f64,
    /// The largest chance that any build can have.
    pub(super) most: f64,
    /// The standard deviation with which a well centred build would have the wanted chance, mm.
    pub(super) wanted: f64,
}

/// What is taken for an exactly known thickness: a ridge that keeps the matrix of exactly known pieces from being singular, mm².
const EXACT: f64 = 1e-12;
/// The offset is nearly linear in all lengths: any step does, mm.
const STEP: f64 = 1e-3;

impl Bench {
    /// The named valve whose reading leaves the most open, if that is too much for any build.
    pub(super) fn too_coarse(&self, enough: f64) -> Option<TooCoarse> {
        let of_named = self.layout.targets.iter().zip(&self.named).filter(|(_, named)| **named);
        let of_each = of_named.filter_map(|(target, _)| {
            let quantity = Quantity::Offset { bay: self.bay, valve: target.valve };
            let limits = (0..self.pack.conditions.len()).filter_map(|condition| {
                let (lower, upper, _) = self.limits(quantity, condition);
                lower.zip(upper).map(|(lower, upper)| (condition, 0.5 * (upper - lower)))
            });
            let (condition, half) = limits.min_by(|a, b| a.1.total_cmp(&b.1))?;
            let sd = self.left_open(quantity, condition)?;
            let most = if sd > 0.0 { 2.0 * normal::cdf(half / sd) - 1.0 } else { 1.0 };
            let wanted = half / normal::quantile(0.5 + 0.5 * enough);
            let valve = self.pack.bays[self.bay].valves[target.valve].name.clone();
            (most < enough).then_some(TooCoarse { valve, sd, most, wanted })
        });
        of_each.min_by(|a, b| a.most.total_cmp(&b.most))
    }

    /// Standard deviation of an offset with every piece of the bay known, mm.
    fn left_open(&self, quantity: Quantity, condition: usize) -> Option<f64> {
        let x = self.values();
        let offset = |x: &[f64]| self.pack.evaluate(&quantity, condition, x).middle();
        let centre = offset(&x)?;
        let entries = self.entry.iter().copied().max().map_or(0, |last| last + 1);
        let mut gradient = vec![0.0; entries];
        let mut at = x.clone();
        for (d, &entry) in self.entry.iter().enumerate().filter(|&(_, &e)| self.beliefs.covariance(e, e) > 0.0) {
            at[d] = x[d] + STEP;
            gradient[entry] += offset(&at).map_or(0.0, |moved| (moved - centre) / STEP);
            at[d] = x[d];
        }
        let used: Vec<usize> = (0..entries).filter(|&e| gradient[e].abs() > 1e-6).collect();
        let mut pieces = self.pieces_now();
        pieces.sort_unstable();
        pieces.dedup();
        let of = |rows: &[usize], columns: &[usize]| {
            DMatrix::from_fn(rows.len(), columns.len(), |i, j| self.beliefs.covariance(rows[i], columns[j]))
        };
        let g = DVector::from_iterator(used.len(), used.iter().map(|&e| gradient[e]));
        let with_pieces = of(&pieces, &used) * &g;
        let known = (of(&pieces, &pieces) + DMatrix::identity(pieces.len(), pieces.len()) * EXACT).cholesky()?;
        let variance = (g.transpose() * of(&used, &used) * &g)[0] - with_pieces.dot(&known.solve(&with_pieces));
        Some(variance.max(0.0).sqrt())
    }
}
