//! Importance sampling from the design points: the check of line sampling, and its fall-back.
//!
//! Points are drawn from the mixture of standard normals centred at the design points u_j, with weights w_j ∝ Φ(−β_j), on scrambled Sobol'
//! points; each inside the event counts φ(u)/q(u) = 1/Σ w_j·exp(u_j·u − |u_j|²/2). Unbiased where q covers the event; its
//! standard error, from independent scramblings, tells how well.

use super::design_point::{DesignPoint, dot};
use super::event::Evaluator;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;

/// The probability by one scrambling, and how many of its points were inside.
pub(crate) fn scrambling(g: &mut Evaluator<'_>, points: &[DesignPoint], sobol: &Scrambling<'_>) -> (f64, usize) {
    let n = sobol.points();
    let dimensions = g.coordinates();
    // A centre is no nearer than the origin where the origin itself is inside the event.
    let centres: Vec<Vec<f64>> =
        points.iter().map(|p| if p.beta > 0.0 { p.u.clone() } else { vec![0.0; dimensions] }).collect();
    let mut weights: Vec<f64> = points.iter().map(|p| normal::sf(p.beta.max(0.0))).collect();
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= total);

    let mut choice = vec![0.0; n];
    sobol.fill(0, &mut choice);
    let chosen: Vec<usize> = choice
        .iter()
        .map(|&c| {
            let mut below = 0.0;
            weights
                .iter()
                .position(|w| {
                    below += w;
                    c < below
                })
                .unwrap_or(weights.len() - 1)
        })
        .collect();
    let mut u = vec![vec![0.0; n]; dimensions];
    for (k, column) in u.iter_mut().enumerate() {
        sobol.fill_normal(k + 1, column);
        for (value, &j) in column.iter_mut().zip(&chosen) {
            *value += centres[j][k];
        }
    }
    let values = g.values(n, |k, first, column| column.copy_from_slice(&u[k][first..first + column.len()]));
    let half_squares: Vec<f64> = centres.iter().map(|c| 0.5 * dot(c, c)).collect();
    let (mut sum, mut inside) = (0.0, 0);
    for (i, _) in values.iter().enumerate().filter(|(_, g)| **g < 0.0) {
        let density: f64 = centres
            .iter()
            .zip(&weights)
            .zip(&half_squares)
            .map(|((centre, w), half_square)| {
                let product: f64 = centre.iter().zip(&u).map(|(c, column)| c * column[i]).sum();
                w * libm::exp(product - half_square)
            })
            .sum();
        sum += 1.0 / density;
        inside += 1;
    }
    (sum / n as f64, inside)
}
