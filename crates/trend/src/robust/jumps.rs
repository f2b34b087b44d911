//! Jumps that stayed: a part slipped, or a wrong part was fitted.

use super::{View, threshold};
use crate::kernel::FleetLaw;
use crate::segments::Segments;
use rayon::prelude::*;

/// A jump that stayed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Jump {
    /// Position of the first reading after it.
    pub(crate) at: usize,
    pub(crate) segment: usize,
    pub(crate) size: f64,
    pub(crate) size_se: f64,
    pub(crate) readings_after: usize,
}

/// The most clearly told jump of each segment, if it has one. Readings of weight 0 do not count.
///
/// Single readings that are off are struck first where they are told more clearly: a jump has two visits to either side at the least, and
/// must be told more clearly than any one reading being off.
pub(crate) fn find(segments: &Segments, law: &FleetLaw, weights: &[f64]) -> Vec<Jump> {
    let limit = threshold(2 * segments.readings());
    (0..segments.len())
        .into_par_iter()
        .with_min_len(64)
        .filter_map(|s| {
            let mut own = weights[segments.range(s)].to_vec();
            let most = own.len() / 2;
            for _ in 0..=most {
                let view = View::new(segments, law, &own, s)?;
                let single = loudest(&view, &own);
                match jump(segments, &view, &own, s) {
                    Some((z, jump)) if z > limit && z > single.1 => return Some(jump),
                    _ if single.1 > limit => own[single.0] = 0.0,
                    _ => return None,
                }
            }
            None
        })
        .collect()
}

/// The counting reading that lies farthest from what the others foretell: its place in the view, and how far in standard deviations.
fn loudest(view: &View, weights: &[f64]) -> (usize, f64) {
    let pulled = &view.inverse * &view.residual;
    let skipped = weights.len() - view.len();
    (0..view.len())
        .filter(|k| weights[skipped + k] > 0.0)
        .map(|k| (skipped + k, (pulled[k] / view.inverse[(k, k)].sqrt()).abs()))
        .fold((0, 0.0), |best, one| if one.1 > best.1 { one } else { best })
}

/// The most clearly told jump and how clearly, in standard errors.
fn jump(segments: &Segments, view: &View, weights: &[f64], s: usize) -> Option<(f64, Jump)> {
    let n = view.len();
    let skipped = weights.len() - n;
    let pulled = &view.inverse * &view.residual;
    let counts = |k: usize| weights[skipped + k] > 0.0;
    let hours = |k: usize| segments.hours[view.first + k];
    // Visits with a reading that counts: one alone is a bad reading.
    let visits = |range: std::ops::Range<usize>| {
        let mut own: Vec<f64> = range.filter(|k| counts(*k)).map(hours).collect();
        own.dedup();
        own.len()
    };
    let mut best: Option<(f64, Jump)> = None;
    for k in 1..n {
        if hours(k) <= hours(k - 1) || visits(0..k) < 2 || visits(k..n) < 2 {
            continue;
        }
        let top: f64 = (k..n).map(|i| pulled[i]).sum();
        let square: f64 = (k..n).map(|i| (k..n).map(|j| view.inverse[(i, j)]).sum::<f64>()).sum();
        let z = top / square.sqrt();
        if best.as_ref().is_none_or(|(other, _)| z.abs() > *other) {
            let size = top / square;
            let at = view.first + k;
            let readings_after = (k..n).filter(|i| counts(*i)).count();
            best = Some((z.abs(), Jump { at, segment: s, size, size_se: (size / z).abs(), readings_after }));
        }
    }
    best
}
