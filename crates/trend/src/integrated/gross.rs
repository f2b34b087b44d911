//! Gross errors: a slipped digit, a valve mistaken for its neighbour, an unlucky grip. Each reading is one with chance π, and then tells nothing.
//!
//! A reading's error is normal with chance 1 − π and else heavy beyond all proportion (a contaminated normal: J. Tukey 1960; G. Box, G. Tiao,
//! Biometrika 55 (1968) 119–129, both from memory). With P = V⁻¹ − V⁻¹XF⁻¹X′V⁻¹ of the whole fleet, the other readings foretell reading k with a
//! normal error of variance v = 1/P_kk, and it misses by e = (Py)_k/P_kk (exact: leaving one out is a change of rank one). The odds that it is
//! a gross error and all others are not are
//!
//! ```text
//! o = π/(1 − π)·g(e)/N(e; 0, v),   g Cauchy of scale √(τ² + v)
//! ```
//!
//! g is Cauchy so that 10.87 for 1.087 and 845 for 0.845 are both within its reach; with v in its scale a reading that the others cannot foretell
//! is never called gross by its mere freedom. Readings found gross are left out (the anchor), and the mixture is summed over every single
//! change of it: one reading more left out (odds o), or one taken back (odds 1/o). In the likelihood the sum runs over the whole fleet: a product over
//! valves counts evidence twice through the mean lines. In a forecast it runs over the readings of the valve's engine.

use super::filter::Seen;
use super::frame::{Block, Case, Entry};
use super::likelihood::{Lines, Workspace};
use super::priors::Theta;

/// Prior chance that a reading is a gross error: between one and ten in a hundred are usual in routine data (common practice, no source).
pub(crate) const CHANCE: f64 = 0.02;

/// τ, in A: five half-widths between the limits.
const SCALE: f64 = 50.0;

/// Beyond this variance, in A², the other readings do not foretell a reading at all, and it cannot be judged by them.
const UNFORETOLD: f64 = 1e8;

/// Odds beyond which nothing is surer: a sum of odds must stay a number.
const CERTAIN: f64 = 1e130;

/// The odds that a reading is a gross error, foretold with error variance `v` and missing by `e`; 0 where it cannot be judged.
///
/// π/(1 − π)·g(e)/N(e; 0, v) with s² = τ² + v is π/(1 − π)·√(2vs²/π)/(s² + e²)·e^(e²/2v), by one root and one exponential.
fn odds(e: f64, v: f64) -> f64 {
    if !(v > 0.0 && v < UNFORETOLD) {
        return 0.0;
    }
    let square = SCALE * SCALE + v;
    let at_zero = (2.0 * std::f64::consts::FRAC_1_PI * v * square).sqrt() / (square + e * e);
    (CHANCE / (1.0 - CHANCE) * at_zero * (0.5 * e * e / v).min(700.0).exp()).min(CERTAIN)
}

/// ln g.
fn ln_heavy(e: f64, v: f64) -> f64 {
    let scale = (SCALE * SCALE + v).sqrt();
    -(std::f64::consts::PI * scale * (1.0 + (e / scale) * (e / scale))).ln()
}

/// How the other readings foretell this one: (miss, variance).
pub(super) fn foretold(case: &Case, entry: &Entry, count: f64, seen: &Seen, theta: &Theta) -> (f64, f64) {
    let (visit, reading) = (theta.visit * theta.visit, theta.reading * theta.reading);
    if entry.kept && count == 1.0 {
        // Alone at its visit, it is the visit's mean.
        let var = seen.precision.recip();
        return (seen.pull * var, var);
    }
    if entry.kept {
        // Of the visit's mean the rest of the fleet knows (P·, P··); of the reading's place within it, the other repeats.
        let pull = seen.pull / count + (entry.value - case.mean[entry.visit]) / reading;
        let precision = seen.precision / (count * count) + (1.0 - 1.0 / count) / reading;
        return (pull / precision, 1.0 / precision);
    }
    if seen.kept {
        // Truth and visit's error together, from the visit's other readings and the rest of the fleet.
        let own = reading / count;
        let mean = case.mean[entry.visit] - own * seen.pull;
        return (entry.value - mean, (own - own * own * seen.precision).max(0.0) + reading);
    }
    (entry.value - seen.mean, seen.var + visit + reading)
}

/// The single changes of the anchor within one block.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Changes {
    /// Odds of the change against the anchor, by case and entry, in order; 0 where it is not possible.
    pub(crate) odds: Vec<f64>,
    /// Their sum.
    pub(crate) sum: f64,
    /// ln of the anchor's own gross errors' densities.
    pub(crate) ln_anchor: f64,
}

impl Changes {
    fn clear(&mut self) {
        self.odds.clear();
        (self.sum, self.ln_anchor) = (0.0, 0.0);
    }

    /// Chance that the k-th reading of the block is a gross error, given the parameters.
    pub(crate) fn chance(&self, k: usize, kept: bool) -> f64 {
        let changed = self.odds[k] / (1.0 + self.sum);
        if kept { changed } else { 1.0 - changed }
    }
}

/// Works out a block's changes.
pub(crate) fn changes(
    block: &Block,
    shares: &[f64],
    theta: &Theta,
    lines: &Lines,
    work: &mut Workspace,
    seen: &mut Vec<Seen>,
    out: &mut Changes,
) {
    work.reduce(block, theta);
    changes_of_reduced(block, shares, theta, lines, work, seen, out);
}

/// [`changes`] of the block that `work` reduced last, at the same parameters.
pub(crate) fn changes_of_reduced(
    block: &Block,
    shares: &[f64],
    theta: &Theta,
    lines: &Lines,
    work: &mut Workspace,
    seen: &mut Vec<Seen>,
    out: &mut Changes,
) {
    out.clear();
    work.lines_of_reduced(block, shares, theta, lines, |_, case, filter, line, column| {
        filter.column(&case.mean, column);
        seen.clear();
        filter.back(column, line.mean, line.cov, |_, s| seen.push(s));
        seen.reverse();
        let counts = &block.schedules[case.schedule].readings;
        for entry in &case.entries {
            let (e, v) = foretold(case, entry, counts[entry.visit].max(1.0), &seen[entry.visit], theta);
            let odds = if entry.confirmed {
                0.0
            } else if entry.kept {
                odds(e, v)
            } else {
                out.ln_anchor += ln_heavy(e, v);
                odds(e, v).recip().min(CERTAIN)
            };
            out.odds.push(odds);
            out.sum += odds;
        }
    });
}
