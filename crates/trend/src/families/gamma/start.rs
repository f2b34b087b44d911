//! Where a segment's depth begins: normal, its chance lumped into the lattice's cells, and how these change with its mean and spread.

use super::lattice::Params;
use packdrift_numerics::normal;

/// The chance of one cell, and its derivatives to the mean and to the standard deviation of the start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cell {
    pub(crate) mass: f64,
    pub(crate) by_start: f64,
    pub(crate) by_start_sd: f64,
}

/// The start's standard deviation on the lattice: below half a step it would fall between two depths.
fn spread(p: &Params, step: f64) -> f64 {
    p.start_sd.max(0.5 * step)
}

/// An edge between two cells, in standard deviations from the mean, with the smaller of its two tails.
fn edge(p: &Params, step: f64, at: i64) -> (f64, f64) {
    let x = ((at as f64 - 0.5) * step - p.start) / spread(p, step);
    (x, if x > 0.0 { normal::sf(x) } else { normal::cdf(x) })
}

/// Chance between two edges, by the tails that keep the digits.
fn between((a, tail_a): (f64, f64), (b, tail_b): (f64, f64)) -> f64 {
    if a > 0.0 {
        tail_a - tail_b
    } else if b > 0.0 {
        1.0 - tail_b - tail_a
    } else {
        tail_b - tail_a
    }
}

/// The chances of `count` cells about the lattice points from `low` on. Neighbours share an edge.
pub(crate) fn masses(p: &Params, step: f64, low: i64, count: usize) -> Vec<f64> {
    let mut before = edge(p, step, low);
    (low + 1..=low + count as i64)
        .map(|at| {
            let next = edge(p, step, at);
            let mass = between(before, next);
            before = next;
            mass
        })
        .collect()
}

/// The same with derivatives.
pub(crate) fn cells(p: &Params, step: f64, low: i64, count: usize) -> Vec<Cell> {
    let sd = spread(p, step);
    let free = f64::from(u8::from(p.start_sd > 0.5 * step));
    let with_density = |at: i64| {
        let edge = edge(p, step, at);
        (edge, normal::pdf(edge.0))
    };
    let (mut before, mut dense) = with_density(low);
    (low + 1..=low + count as i64)
        .map(|at| {
            let (next, density) = with_density(at);
            let cell = Cell {
                mass: between(before, next),
                by_start: (dense - density) / sd,
                by_start_sd: free * (before.0 * dense - next.0 * density) / sd,
            };
            (before, dense) = (next, density);
            cell
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn params(start: f64, start_sd: f64) -> Params {
        Params { shape: vec![0.01], scale: 0.002, sigma: 0.003, df: None, cv: 0.2, start, start_sd }
    }

    #[test]
    fn cells_add_up_and_their_slopes_are_those_of_differences() {
        for (start, sd) in [(0.002, 0.004), (-0.01, 0.0021), (0.03, 1e-5)] {
            let (step, low, count) = (0.001, -40, 100);
            let found = cells(&params(start, sd), step, low, count);
            let sum: f64 = found.iter().map(|c| c.mass).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{sum}");
            let h = 1e-8;
            let at = |start: f64, sd: f64| masses(&params(start, sd), step, low, count);
            let (up, down) = (at(start + h, sd), at(start - h, sd));
            let (wide, narrow) = (at(start, sd + h), at(start, sd - h));
            for (k, cell) in found.iter().enumerate() {
                assert!((cell.by_start - (up[k] - down[k]) / (2.0 * h)).abs() < 1e-5);
                assert!((cell.by_start_sd - (wide[k] - narrow[k]) / (2.0 * h)).abs() < 1e-5);
                assert!(at(start, sd)[k] == cell.mass);
            }
        }
    }
}
