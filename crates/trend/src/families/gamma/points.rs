//! From the lattice's states to the points of a prospect.

use super::lattice::{Params, State, rates};
use crate::crossing::wear::WearPoint;

impl WearPoint {
    /// Of a segment's state. The lattice is thinned to about `depths` per rate, each the mean of its stretch.
    pub(crate) fn of(state: &State, p: &Params, sign: f64, depths: f64) -> Self {
        let mut atoms = Vec::new();
        for (q, masses) in state.masses.iter().enumerate() {
            let (rate, chance, first) = (state.rates[q], &state.chances[q], state.first[q]);
            let total: f64 = masses.iter().sum();
            if *chance < 1e-9 || total <= 0.0 {
                continue;
            }
            let (mut weight, mut moment) = (0.0, 0.0);
            let mut done = 0.0;
            let mut target = 1.0;
            for (k, m) in masses.iter().enumerate() {
                weight += m;
                moment += m * (first + k as f64 * state.step);
                done += m;
                if done >= total * target / depths || k + 1 == masses.len() {
                    if weight > 1e-14 * total {
                        atoms.push((chance * weight / total, moment / weight, p.shape[state.group] * rate));
                    }
                    target = (depths * done / total).floor() + 1.0;
                    (weight, moment) = (0.0, 0.0);
                }
            }
        }
        Self { atoms, scale: p.scale, sigma: p.sigma, df: p.df, sign, lag: 0.0 }
    }

    /// Of a new segment, not yet read: the start's distribution at 9 equal slices.
    pub(crate) fn new_segment(p: &Params, group: usize, sign: f64) -> Self {
        let z = rates(p.cv);
        let n = z.len() as f64;
        let atoms = z
            .into_iter()
            .flat_map(|rate| {
                (0..9).map(move |k| {
                    let u = (f64::from(k) + 0.5) / 9.0;
                    let depth = p.start + p.start_sd * packdrift_numerics::normal::quantile(u);
                    (1.0 / (9.0 * n), depth, p.shape[group] * rate)
                })
            })
            .collect();
        Self { atoms, scale: p.scale, sigma: p.sigma, df: p.df, sign, lag: 0.0 }
    }
}
