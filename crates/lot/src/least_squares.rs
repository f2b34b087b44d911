//! Linear least squares: Householder's QR of the scaled columns, then refinement of coefficients and residuals together with sums in doubled
//! precision, so that columns that nearly depend on each other cost few digits, whatever the scatter. Å. Björck, Numerical Methods for Least
//! Squares Problems, SIAM 1996, sections 2.4 and 2.9.

use nalgebra::{DMatrix, DVector};

/// The minimum of |y − X·b|².
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LeastSquares {
    /// b, one per column.
    pub(crate) coefficients: Vec<f64>,
    /// (XᵀX)⁻¹, by rows; times the residual variance it is the covariance of b.
    pub(crate) inverse: Vec<Vec<f64>>,
    /// y − X·b.
    pub(crate) residuals: Vec<f64>,
}

/// Corrections of b; each gains the digits that one solution has, and the second is only there to be sure.
const REFINEMENTS: usize = 3;

/// Of the columns of X. None where they depend on each other to working precision, or are more than the rows.
pub(crate) fn least_squares(columns: &[Vec<f64>], y: &[f64]) -> Option<LeastSquares> {
    let (n, p) = (y.len(), columns.len());
    if p == 0 || n < p {
        return None;
    }
    // A power of two changes no digit.
    let scales: Vec<f64> = columns
        .iter()
        .map(|c| c.iter().fold(0.0_f64, |a, x| a.max(x.abs())))
        .map(|largest| largest.log2().ceil().exp2())
        .collect();
    if scales.iter().any(|s| !s.is_finite() || *s <= 0.0) {
        return None;
    }
    let scaled: Vec<Vec<f64>> = columns.iter().zip(&scales).map(|(c, s)| c.iter().map(|x| x / s).collect()).collect();
    let (q, r) = DMatrix::from_fn(n, p, |i, j| scaled[j][i]).qr().unpack();
    let largest = r.diagonal().amax();
    if r.diagonal().iter().any(|d| d.abs() <= largest * f64::EPSILON * n as f64) {
        return None;
    }
    // Both unknowns of r + X·b = y, Xᵀr = 0, from 0; each pass solves for what the two equations still lack.
    let mut b = vec![0.0; p];
    let mut residuals = vec![0.0; n];
    for _ in 0..=REFINEMENTS {
        let lack = DVector::from_fn(n, |i, _| {
            let row = scaled.iter().zip(&b).map(|(c, b)| (-c[i], *b));
            sum_of_products(std::iter::once((-1.0, residuals[i])).chain(row), y[i])
        });
        let slant =
            DVector::from_fn(p, |j, _| sum_of_products(scaled[j].iter().zip(&residuals).map(|(x, r)| (-x, *r)), 0.0));
        let along = q.tr_mul(&lack);
        let across = r.tr_solve_upper_triangular(&slant)?;
        let step = r.solve_upper_triangular(&(&along - &across))?;
        let change = lack + &q * (across - along);
        b.iter_mut().zip(&step).for_each(|(b, d)| *b += d);
        residuals.iter_mut().zip(&change).for_each(|(r, d)| *r += d);
    }
    let coefficients = b.iter().zip(&scales).map(|(b, s)| b / s).collect();
    let root = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let product = &root * root.transpose();
    let inverse = (0..p).map(|i| (0..p).map(|j| product[(i, j)] / (scales[i] * scales[j])).collect()).collect();
    Some(LeastSquares { coefficients, inverse, residuals })
}

/// `start` + Σ xy as if in twice the precision: products and sums with their rounding errors carried along (T. Ogita, S. Rump and S. Oishi,
/// SIAM Journal on Scientific Computing 26 (2005) 1955–1988).
fn sum_of_products(pairs: impl Iterator<Item = (f64, f64)>, start: f64) -> f64 {
    let (mut sum, mut lost) = (start, 0.0);
    for (x, y) in pairs {
        let product = x * y;
        let rounding = x.mul_add(y, -product);
        let total = sum + product;
        let shifted = total - sum;
        lost += (sum - (total - shifted)) + (product - shifted) + rounding;
        sum = total;
    }
    sum + lost
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;

    struct Certified {
        name: String,
        degree: Option<usize>,
        columns: Vec<Vec<f64>>,
        y: Vec<f64>,
        estimates: Vec<f64>,
        errors: Vec<f64>,
        residual_sd: f64,
    }

    /// NIST Statistical Reference Datasets, linear regression (public domain; www.itl.nist.gov/div898/strd): data and certified values,
    /// which were recomputed in rational arithmetic.
    fn sets() -> Vec<Certified> {
        let text = include_str!("../tests/data/strd_linear.txt");
        let mut sets: Vec<Certified> = Vec::new();
        for line in text.lines().filter(|l| !l.starts_with('#') && !l.is_empty()) {
            let (key, rest) = line.split_once(' ').unwrap();
            let numbers = || rest.split(' ').map(|n| n.parse::<f64>().unwrap()).collect::<Vec<_>>();
            match key {
                "set" => {
                    let (name, form) = rest.split_once(' ').unwrap();
                    sets.push(Certified {
                        name: name.into(),
                        degree: form.strip_prefix("degree ").map(|d| d.parse().unwrap()),
                        columns: vec![],
                        y: vec![],
                        estimates: vec![],
                        errors: vec![],
                        residual_sd: f64::NAN,
                    });
                }
                "estimates" => sets.last_mut().unwrap().estimates = numbers(),
                "standard_errors" => sets.last_mut().unwrap().errors = numbers(),
                "residual_sd" => sets.last_mut().unwrap().residual_sd = numbers()[0],
                _ => {
                    let set = sets.last_mut().unwrap();
                    let row = numbers();
                    set.y.push(key.parse().unwrap());
                    let x: Vec<f64> = match set.degree {
                        // Powers of whole numbers: exact as far as 2^53 reaches.
                        Some(degree) => (0..=degree).map(|k| row[0].powi(k as i32)).collect(),
                        None => std::iter::once(1.0).chain(row).collect(),
                    };
                    set.columns.resize(x.len(), vec![]);
                    for (column, x) in set.columns.iter_mut().zip(x) {
                        column.push(x);
                    }
                }
            }
        }
        sets
    }

    /// The digits to which the certified values are met, at worst.
    fn digits(found: f64, certified: f64, size: f64) -> f64 {
        let error = (found - certified).abs() / if certified == 0.0 { size } else { certified.abs() };
        if error == 0.0 { 15.0 } else { -error.log10() }
    }

    #[test]
    fn certified_regressions_are_met_to_nine_digits_and_more() {
        let sets = sets();
        assert_eq!(sets.len(), 8);
        for set in sets {
            let fit = least_squares(&set.columns, &set.y).unwrap();
            let free = (set.y.len() - set.columns.len()) as f64;
            let sd = (fit.residuals.iter().map(|r| r * r).sum::<f64>() / free).sqrt();
            let size = set.y.iter().fold(0.0_f64, |a, y| a.max(y.abs()));
            let worst = set.estimates.iter().enumerate().map(|(j, c)| digits(fit.coefficients[j], *c, 1.0));
            assert!(worst.clone().fold(15.0, f64::min) > 9.0, "{}: {:?}", set.name, worst.collect::<Vec<_>>());
            // Where the fit is exact, the standard deviation is 0 and what is left is rounding, in units of y.
            assert!(digits(sd, set.residual_sd, size) > 9.0, "{}: {sd} for {}", set.name, set.residual_sd);
            for (j, certified) in set.errors.iter().enumerate() {
                let error = sd * fit.inverse[j][j].sqrt();
                assert!(digits(error, *certified, 1e-6 * size) > 9.0, "{} {j}: {error} for {certified}", set.name);
            }
        }
    }

    #[test]
    fn columns_that_depend_on_each_other_are_refused() {
        let x = vec![1.0, 2.0, 3.0, 4.0];
        let twice = x.iter().map(|x| 2.0 * x).collect();
        assert_eq!(least_squares(&[x.clone(), twice], &[1.0, 2.0, 2.0, 5.0]), None);
        assert_eq!(least_squares(&[x.clone(), vec![0.0; 4]], &[1.0, 2.0, 2.0, 5.0]), None);
        assert_eq!(least_squares(&[vec![1.0], x[..1].to_vec()], &[1.0]), None);
    }
}
