//! Last looks at which valves read off together: nothing was read since that could say whether the instrument was off or the wear.
//!
//! A day of which valves' newest readings are is held against all readings before it, and so is it with the look before, for an instrument that is off
//! may serve for two rounds: with V, r and X as in [`super`], and d the pattern of these readings, the common shift is δ = d′Pr/d′Pd with standard error 1/√(d′Pd), P = V⁻¹ − V⁻¹X(X′V⁻¹X)⁻¹X′V⁻¹: mean lines are told anew under the law's
//! variances, so a day that pulls them along is not judged by what it did. Unlike a faulty day ([`super::days`]) a single valve may show it, for
//! nothing is set aside by it: the answer without the look is worked out beside.

use super::View;
use crate::kernel::FleetLaw;
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;

/// The normal quantile of order 95 %: one sound look in ten lies farther off, to either side.
const STANDS_OFF: f64 = 1.645;

/// Looks taken together, from the newest back.
const TOGETHER: usize = 2;

/// A day of newest readings, or such a day and the look before it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LastLook {
    /// The first day, days since 1970-01-01: the look before, or the same as `date`.
    pub(crate) from: i32,
    /// The newest day.
    pub(crate) date: i32,
    /// Positions of its readings.
    pub(crate) readings: Vec<usize>,
    /// Segments whose newest readings they are.
    pub(crate) segments: Vec<usize>,
    pub(crate) shift: f64,
    pub(crate) shift_se: f64,
}

impl LastLook {
    /// Whether it lies farther off than a look with a sound instrument does nine times in ten.
    ///
    /// The threshold is low, for being wrong costs little: an answer more is worked out, and the worse of both is the verdict.
    pub(crate) fn stands_off(&self) -> bool {
        self.shift.abs() > STANDS_OFF * self.shift_se
    }

    /// Shift in standard errors, without its sign.
    pub(crate) fn distance(&self) -> f64 {
        self.shift.abs() / self.shift_se
    }
}

/// Sums over the segments of one pattern: d′V⁻¹r, d′V⁻¹d and X′V⁻¹d.
struct Sums {
    look: LastLook,
    top: f64,
    square: f64,
    mean: DVector<f64>,
}

/// Every day of newest readings of valves that were read before it too, and every two days of their last two looks where two looks or more were before
/// them. `weights` are 0 for readings that are set aside.
pub(crate) fn last_looks(
    segments: &Segments,
    law: &FleetLaw,
    weights: &[f64],
    day: &dyn Fn(usize) -> i32,
) -> Vec<LastLook> {
    let p = 2 * law.lines.len();
    let (mut f, mut h) = (DMatrix::zeros(p, p), DVector::zeros(p));
    let mut days: BTreeMap<(i32, i32), Sums> = BTreeMap::new();
    for s in 0..segments.len() {
        let own = weights.get(segments.range(s)).unwrap_or_default();
        let Some(view) = View::new(segments, law, own, s) else { continue };
        let place = law.place(segments.group[s] as usize);
        let columns = DMatrix::from_fn(view.len(), 2, |k, c| if c == 0 { 1.0 } else { view.lambda[k] });
        let pulled = &view.inverse * &columns;
        let mut block = f.view_mut((place, place), (2, 2));
        block += columns.transpose() * &pulled;
        let mut part = h.rows_mut(place, 2);
        part += pulled.transpose() * &view.residual;
        if !segments.current[s] {
            continue;
        }
        let residual = &view.inverse * &view.residual;
        let date = day(view.first + view.len() - 1);
        for first in firsts(&view, weights, day) {
            let from = day(view.first + first);
            let look = LastLook { from, date, readings: Vec::new(), segments: Vec::new(), shift: 0.0, shift_se: 0.0 };
            let fresh = || Sums { look, top: 0.0, square: 0.0, mean: DVector::zeros(p) };
            let sums = days.entry((date, from)).or_insert_with(fresh);
            for k in first..view.len() {
                sums.top += residual[k];
                sums.square += (first..view.len()).map(|j| view.inverse[(k, j)]).sum::<f64>();
                sums.mean[place] += pulled[(k, 0)];
                sums.mean[place + 1] += pulled[(k, 1)];
                sums.look.readings.push(view.first + k);
            }
            sums.look.segments.push(s);
        }
    }
    let Some(f) = f.cholesky() else { return Vec::new() };
    let lines = f.solve(&h);
    days.into_values()
        .filter_map(|d| {
            let square = d.square - d.mean.dot(&f.solve(&d.mean));
            // Where the lines are told by this very look nothing else foretells it.
            let told = square > 1e-6 * d.square;
            let shift = (d.top - d.mean.dot(&lines)) / square;
            told.then(|| LastLook { shift, shift_se: 1.0 / square.sqrt(), ..d.look })
        })
        .collect()
}

/// For the last look, and for the last two together, which reading of the segment is its first: where as many looks or more were before it, and all of its
/// readings count.
fn firsts(view: &View, weights: &[f64], day: &dyn Fn(usize) -> i32) -> Vec<usize> {
    let counts = |k: usize| weights.get(view.first + k).is_none_or(|w| *w > 0.0);
    let begins = |k: &usize| *k == 0 || day(view.first + k) != day(view.first + k - 1);
    let looks: Vec<usize> = (0..view.len()).filter(begins).collect();
    let mut out = Vec::new();
    for (back, first) in (1..).zip(looks.iter().rev().take(TOGETHER)) {
        let before = looks.iter().take_while(|k| *k < first).filter(|k| counts(**k)).count();
        if !(*first..view.len()).all(counts) || before < back {
            break;
        }
        out.push(*first);
    }
    out
}
