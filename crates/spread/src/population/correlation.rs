//! Ties between dimensions: the checks of a correlation matrix, and its triangular factor.

use super::Coordinate;
use crate::distribution::Distribution;
use crate::error::SpreadError;
use crate::model::Columns;
use crate::result::Source;
use crate::stack::Correlation;
use nalgebra::{DMatrix, SymmetricEigen};
use packdrift_numerics::normal;
use std::ops::Range;

/// Dimensions that ties connect, directly or through others.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    /// Coordinates, rising.
    members: Vec<usize>,
    /// R.
    matrix: DMatrix<f64>,
    /// L with L Lᵀ = R, lower triangular.
    factor: DMatrix<f64>,
}

impl Group {
    /// (coordinate, weight) of the independent normals that make z of the member at `place`.
    pub(crate) fn row(&self, place: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        (0..=place).map(move |j| (self.members[j], self.factor[(place, j)]))
    }

    /// z of the member at `place`.
    pub(crate) fn z(&self, place: usize, u: &[f64]) -> f64 {
        self.row(place).map(|(k, weight)| weight * u[k]).sum()
    }

    /// z of the member at `place` for a block of points.
    pub(crate) fn z_block(&self, place: usize, u: &Columns, points: Range<usize>, z: &mut Vec<f64>) {
        z.clear();
        z.resize(points.len(), 0.0);
        for (k, weight) in self.row(place) {
            for (z, u) in z.iter_mut().zip(&u.column(k)[points.clone()]) {
                *z += weight * u;
            }
        }
    }

    /// Adds slope·∂z/∂u to the gradient.
    pub(crate) fn spread_slope(&self, place: usize, slope: f64, in_u: &mut [f64]) {
        for (k, weight) in self.row(place) {
            in_u[k] += weight * slope;
        }
    }

    /// Covariances of the members' inputs.
    pub(crate) fn covariances(&self, coordinates: &[Coordinate], own: &[Distribution]) -> Vec<(usize, usize, f64)> {
        let input = |k: usize| match coordinates[k].source {
            Source::Input(input) | Source::Lot(input) => input,
        };
        let spectra: Vec<Vec<f64>> = self.members.iter().map(|&k| hermite(&coordinates[k])).collect();
        let mut found = Vec::new();
        for j in 1..self.members.len() {
            for i in 0..j {
                let r = pearson(self.matrix[(i, j)], &spectra[i], &spectra[j]);
                let (a, b) = (input(self.members[i]), input(self.members[j]));
                if r != 0.0 {
                    found.push((a, b, r * own[a].standard_uncertainty() * own[b].standard_uncertainty()));
                }
            }
        }
        found
    }
}

/// Coefficients of F⁻¹(Φ(z)) in the normalised Hermite polynomials of degree 1 to 40.
fn hermite(coordinate: &Coordinate) -> Vec<f64> {
    const DEGREE: usize = 40;
    let mut coefficients = vec![0.0; DEGREE];
    let step = 1.0 / 64.0;
    for k in -512..=512 {
        let z = f64::from(k) * step;
        let weight = coordinate.marginal.at(z) * normal::pdf(z) * step;
        // He₀/√0!, He₁/√1!, …: h(n+1) = (z·h(n) − √n·h(n−1))/√(n+1).
        let (mut before, mut h) = (1.0, z);
        for (n, c) in coefficients.iter_mut().enumerate() {
            *c += weight * h;
            let n = (n + 1) as f64;
            (before, h) = (h, (z * h - n.sqrt() * before) / (n + 1.0).sqrt());
        }
    }
    coefficients
}

/// Pearson's coefficient of two marginals under a Gaussian copula of coefficient ρ: Σ aₙbₙρⁿ/√(Σaₙ²Σbₙ²) (Mehler's formula).
fn pearson(rho: f64, a: &[f64], b: &[f64]) -> f64 {
    let mut power = 1.0;
    let mut sum = 0.0;
    for (a, b) in a.iter().zip(b) {
        power *= rho;
        sum += a * b * power;
    }
    let norm = |c: &[f64]| c.iter().map(|c| c * c).sum::<f64>();
    sum / (norm(a) * norm(b)).sqrt()
}

/// Coefficients in range, pairs that exist, are given once, and tie two dimensions that scatter.
pub(super) fn check_pairs(
    labels: &[String],
    own: &[Distribution],
    correlations: &[Correlation],
) -> Result<(), SpreadError> {
    let mut seen = Vec::new();
    for correlation in correlations {
        let (a, b) = correlation.between;
        for index in [a, b] {
            if index >= labels.len() {
                return Err(SpreadError::Index { what: "correlated input", index, count: labels.len() });
            }
        }
        let (first, second) = (labels[a].clone(), labels[b].clone());
        let coefficient = correlation.coefficient;
        if !(-1.0..=1.0).contains(&coefficient) {
            return Err(SpreadError::Coefficient { first, second, coefficient });
        }
        let pair = (a.min(b), a.max(b));
        if a == b || seen.contains(&pair) {
            return Err(SpreadError::RepeatedPair { first, second });
        }
        seen.push(pair);
        if coefficient != 0.0
            && let Some(exact) = [a, b].into_iter().find(|&k| own[k].is_exact())
        {
            return Err(SpreadError::ExactCorrelated { input: labels[exact].clone() });
        }
    }
    Ok(())
}

/// The connected groups, each with its factor; marks the coordinates that belong to one.
pub(super) fn groups(
    labels: &[String],
    coordinates: &mut [Coordinate],
    correlations: &[Correlation],
) -> Result<Vec<Group>, SpreadError> {
    let ties: Vec<&Correlation> = correlations.iter().filter(|c| c.coefficient != 0.0).collect();
    // Smallest input of the group each input belongs to.
    let mut root: Vec<usize> = (0..labels.len()).collect();
    loop {
        let mut changed = false;
        for tie in &ties {
            let (a, b) = tie.between;
            let least = root[a].min(root[b]);
            changed |= root[a] != least || root[b] != least;
            root[a] = least;
            root[b] = least;
        }
        if !changed {
            break;
        }
    }
    let coordinate_of =
        |input: usize, coordinates: &[Coordinate]| coordinates.iter().position(|c| c.source == Source::Input(input));
    let mut groups = Vec::new();
    for first in 0..labels.len() {
        let inputs: Vec<usize> = (0..labels.len()).filter(|&k| root[k] == first).collect();
        if inputs.len() < 2 || root[first] != first {
            continue;
        }
        let n = inputs.len();
        let mut matrix = DMatrix::identity(n, n);
        for tie in &ties {
            let place = |input| inputs.binary_search(&input).ok();
            if let (Some(i), Some(j)) = (place(tie.between.0), place(tie.between.1)) {
                matrix[(i, j)] = tie.coefficient;
                matrix[(j, i)] = tie.coefficient;
            }
        }
        check_semidefinite(&matrix, &inputs, labels)?;
        let mut members = Vec::with_capacity(n);
        for (place, &input) in inputs.iter().enumerate() {
            if let Some(k) = coordinate_of(input, coordinates) {
                coordinates[k].tied = Some((groups.len(), place));
                members.push(k);
            }
        }
        let factor = semidefinite_factor(&matrix);
        groups.push(Group { members, matrix, factor });
    }
    Ok(groups)
}

/// Refuses a matrix with an eigenvalue below −1e-9 (rounding in the last printed digit of consistent coefficients stays within it).
fn check_semidefinite(matrix: &DMatrix<f64>, inputs: &[usize], labels: &[String]) -> Result<(), SpreadError> {
    let eigen = SymmetricEigen::new(matrix.clone());
    let Some((least, &eigenvalue)) = eigen.eigenvalues.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)) else {
        return Ok(());
    };
    if eigenvalue >= -1e-9 {
        return Ok(());
    }
    // λ = vᵀRv: the pair whose term pulls it furthest below 0.
    let v = eigen.eigenvectors.column(least);
    let mut worst = (0, 1, f64::INFINITY);
    for j in 1..inputs.len() {
        for i in 0..j {
            let pull = v[i] * v[j] * matrix[(i, j)];
            if pull < worst.2 {
                worst = (i, j, pull);
            }
        }
    }
    Err(SpreadError::NotPositiveSemidefinite {
        first: labels[inputs[worst.0]].clone(),
        second: labels[inputs[worst.1]].clone(),
        coefficient: matrix[(worst.0, worst.1)],
        eigenvalue,
    })
}

/// Cholesky's factor of a matrix that may be singular: a pivot that vanishes leaves an empty column.
fn semidefinite_factor(matrix: &DMatrix<f64>) -> DMatrix<f64> {
    let n = matrix.nrows();
    let mut factor = DMatrix::zeros(n, n);
    for j in 0..n {
        let pivot: f64 = matrix[(j, j)] - (0..j).map(|k: usize| f64::powi(factor[(j, k)], 2)).sum::<f64>();
        if pivot <= 1e-12 {
            continue;
        }
        let root = pivot.sqrt();
        factor[(j, j)] = root;
        for i in j + 1..n {
            let dot: f64 = (0..j).map(|k| factor[(i, k)] * factor[(j, k)]).sum();
            factor[(i, j)] = (matrix[(i, j)] - dot) / root;
        }
    }
    factor
}
