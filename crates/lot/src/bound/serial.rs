//! Parts in the order they were made that resemble their neighbours: a normal lot whose readings follow a first-order autoregression.
//!
//! xₜ − μ = φ·(xₜ₋₁ − μ) + eₜ, stationary. At one φ, with R the correlations φ^|i−j| of the n readings, μ̂ = (1ᵀR⁻¹x)/(1ᵀR⁻¹1), S = (x − μ̂)ᵀR⁻¹(x − μ̂) and
//! v = 1/(1ᵀR⁻¹1): μ = μ̂ − Z·σ·√v, σ² = S/χ²₍ₙ₋₁₎ (generalised least squares; Box, Jenkins and Reinsel, Time Series Analysis, 5th ed., 7.1 and A7.4), so that
//! the bounds of a normal lot hold with these in place of x̄, s²·(n − 1) and 1/n. The agreement with the readings, free of μ and σ, is
//! |R|^(−1/2)·v^(1/2)·S^(−(n−1)/2).
//!
//! Parts made one after the other tell less of the whole lot than as many drawn from all of it: at φ = 0.7 fifty count as nine for the mean.

use crate::posterior::{ChiGrid, Posterior};

/// Correlations of neighbours that are tried.
const STEPS: u32 = 20;
const LARGEST: f64 = 0.95;

/// A correlation of neighbours, how well the readings agree with it, and what they say of mean and sd under it.
pub(super) struct Correlated {
    pub(super) correlation: f64,
    pub(super) ln_agreement: f64,
    pub(super) posterior: Posterior,
}

/// One answer for each correlation from 0 up. `values` in the order made, at least 3 and not all equal.
pub(super) fn correlated(values: &[f64], grid: &ChiGrid, gauge_sd: f64) -> Vec<Correlated> {
    (0..STEPS)
        .map(|k| {
            let correlation = LARGEST * f64::from(k) / f64::from(STEPS - 1);
            let (mean, squares, v) = least_squares(values, correlation);
            let nu = (values.len() - 1) as f64;
            let ln_determinant = nu * (1.0 - correlation * correlation).ln();
            Correlated {
                correlation,
                ln_agreement: 0.5 * (v.ln() - ln_determinant - nu * squares.ln()),
                posterior: Posterior::correlated(grid, mean, (squares / nu).sqrt(), gauge_sd, v),
            }
        })
        .collect()
}

/// μ̂, S and v. R⁻¹ of a first-order autoregression has three diagonals, so all are sums over neighbours.
fn least_squares(values: &[f64], phi: f64) -> (f64, f64, f64) {
    let rest = 1.0 - phi * phi;
    let (mut weight, mut sum) = (1.0, values[0]);
    for pair in values.windows(2) {
        weight += (1.0 - phi).powi(2) / rest;
        sum += (1.0 - phi) * (pair[1] - phi * pair[0]) / rest;
    }
    let mean = sum / weight;
    let mut squares = (values[0] - mean).powi(2);
    for pair in values.windows(2) {
        squares += ((pair[1] - mean) - phi * (pair[0] - mean)).powi(2) / rest;
    }
    (mean, squares, 1.0 / weight)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;
    use nalgebra::{DMatrix, DVector};

    /// Against the matrices written out.
    #[test]
    fn sums_over_neighbours_are_the_matrix_formula() {
        let values = [0.3, 0.7, 0.6, 1.4, 0.9, -0.2, 0.1];
        for phi in [0.0, 0.4, 0.9] {
            let n = values.len();
            let r = DMatrix::from_fn(n, n, |i, j| f64::powi(phi, (i as i32 - j as i32).abs()));
            let inverse = r.clone().try_inverse().unwrap();
            let (ones, x) = (DVector::from_element(n, 1.0), DVector::from_row_slice(&values));
            let v = 1.0 / (ones.transpose() * &inverse * &ones)[0];
            let mean = (ones.transpose() * &inverse * &x)[0] * v;
            let d = &x - &ones * mean;
            let squares = (d.transpose() * &inverse * &d)[0];
            let found = least_squares(&values, phi);
            for (a, b) in [(found.0, mean), (found.1, squares), (found.2, v)] {
                assert!((a - b).abs() < 1e-12, "{phi}: {a} and {b}");
            }
            assert!((r.determinant().ln() - (n as f64 - 1.0) * (1.0 - phi * phi).ln()).abs() < 1e-9);
        }
    }

    /// At φ = 0 nothing but the ordinary mean and sd, and n parts count as n; at 0.7 fifty count as nine (n(1 − φ)/(1 + φ), to the ends' share).
    #[test]
    fn correlated_parts_count_as_fewer() {
        let values: Vec<f64> = (0..50).map(|k| f64::from(k % 7)).collect();
        assert!((least_squares(&values, 0.0).2 - 1.0 / 50.0).abs() < 1e-15);
        assert!((1.0 / least_squares(&values, 0.7).2 - 9.65).abs() < 0.01);
    }
}
