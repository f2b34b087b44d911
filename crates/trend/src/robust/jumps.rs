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

/// The most clearly told jump of each segment, if it has one. Readings of weight below one half do not count.
pub(crate) fn find(segments: &Segments, law: &FleetLaw, weights: &[f64]) -> Vec<Jump> {
    let limit = threshold(segments.readings());
    (0..segments.len())
        .into_par_iter()
        .with_min_len(64)
        .filter_map(|s| View::new(segments, law, weights, s).and_then(|view| jump(segments, &view, weights, s, limit)))
        .collect()
}

fn jump(segments: &Segments, view: &View, weights: &[f64], s: usize, limit: f64) -> Option<Jump> {
    let n = view.len();
    let pulled = &view.inverse * &view.residual;
    let counts = |k: usize| weights.get(view.first + k).is_none_or(|w| *w >= 0.5);
    let hours = |k: usize| segments.hours[view.first + k];
    // Visits with a reading that counts: two to either side of a jump at the least, one alone is a bad reading.
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
        if z.abs() > limit && best.as_ref().is_none_or(|(other, _)| z.abs() > *other) {
            let size = top / square;
            let at = view.first + k;
            let readings_after = (k..n).filter(|i| counts(*i)).count();
            best = Some((z.abs(), Jump { at, segment: s, size, size_se: (size / z).abs(), readings_after }));
        }
    }
    best.map(|(_, jump)| jump)
}
