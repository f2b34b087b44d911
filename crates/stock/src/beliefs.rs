//! What is known of every length at a moment, as one joint normal distribution, and how a reading changes it.
//!
//! The state holds the pack's dimensions and the drawer's thicknesses together, because a reading of the contact offset ties
//! them: it says something of stem, adjuster and of the shims in the bay at once, and a shim that stays in the bay keeps what
//! was learned with it.

use nalgebra::{DMatrix, DVector};

/// A joint normal distribution N(mean, covariance).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Beliefs {
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// How a reading compares with what was expected of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surprise {
    /// Expected value of the reading.
    pub expected: f64,
    /// Standard deviation of the reading about it: of what is read, and of the reading itself.
    pub sd: f64,
    /// (reading − expected)/sd.
    pub z: f64,
}

impl Beliefs {
    pub(crate) fn new(mean: Vec<f64>, covariance: DMatrix<f64>) -> Self {
        Self { mean: DVector::from_vec(mean), covariance }
    }

    pub(crate) fn len(&self) -> usize {
        self.mean.len()
    }

    pub(crate) fn mean(&self, i: usize) -> f64 {
        self.mean[i]
    }

    pub(crate) fn covariance(&self, i: usize, j: usize) -> f64 {
        self.covariance[(i, j)]
    }

    /// Variance of a weighted sum of unknowns.
    pub(crate) fn variance_of(&self, gradient: &[(usize, f64)]) -> f64 {
        let row = |&(i, a): &(usize, f64)| gradient.iter().map(|&(j, b)| a * b * self.covariance[(i, j)]).sum::<f64>();
        gradient.iter().map(row).sum::<f64>().max(0.0)
    }

    /// Adds an unknown that equals an old one plus independent scatter of the given variance; returns its place.
    pub(crate) fn push_like(&mut self, old: usize, variance: f64) -> usize {
        let n = self.len();
        let mean = self.mean[old];
        let row: Vec<f64> = (0..n).map(|i| self.covariance[(old, i)]).collect();
        let own = self.covariance[(old, old)] + variance;
        self.mean = std::mem::take(&mut self.mean).push(mean);
        self.covariance = std::mem::replace(&mut self.covariance, DMatrix::zeros(0, 0)).resize(n + 1, n + 1, 0.0);
        for (i, c) in row.into_iter().enumerate() {
            self.covariance[(n, i)] = c;
            self.covariance[(i, n)] = c;
        }
        self.covariance[(n, n)] = own;
        n
    }

    /// Adds an unknown tied to nothing; returns its place.
    pub(crate) fn push_alone(&mut self, mean: f64, variance: f64) -> usize {
        let n = self.len();
        self.mean = std::mem::take(&mut self.mean).push(mean);
        self.covariance = std::mem::replace(&mut self.covariance, DMatrix::zeros(0, 0)).resize(n + 1, n + 1, 0.0);
        self.covariance[(n, n)] = variance;
        n
    }

    /// Adds an independent change of the given variance along a direction: Σ ← Σ + variance·g·gᵀ.
    pub(crate) fn loosen(&mut self, direction: &[(usize, f64)], variance: f64) {
        for &(i, a) in direction {
            for &(j, b) in direction {
                self.covariance[(i, j)] += variance * a * b;
            }
        }
    }

    /// Learns from a reading y = `predicted` + gradient·(x − mean) + e, e ~ N(0, u²).
    ///
    /// Bayes' rule for normals (R. E. Kalman, J. Basic Eng. 82 (1960) 35–45): with s² = gᵀΣg + u² and k = Σg/s²,
    /// mean ← mean + k·(y − predicted), Σ ← Σ − s²·k·kᵀ. Returns how the reading compared. Where neither x nor the reading has any
    /// scatter nothing can be learned and nothing changes.
    pub(crate) fn observe(&mut self, gradient: &[(usize, f64)], predicted: f64, reading: f64, u: f64) -> Surprise {
        let n = self.len();
        let mut sigma_g = DVector::zeros(n);
        for &(i, g) in gradient {
            sigma_g.axpy(g, &self.covariance.column(i), 1.0);
        }
        let variance = gradient.iter().map(|&(i, g)| g * sigma_g[i]).sum::<f64>().max(0.0) + u * u;
        let innovation = reading - predicted;
        if variance <= 0.0 {
            return Surprise {
                expected: predicted,
                sd: 0.0,
                z: if innovation == 0.0 { 0.0 } else { innovation.signum() * f64::INFINITY },
            };
        }
        self.mean.axpy(innovation / variance, &sigma_g, 1.0);
        self.covariance.ger(-1.0 / variance, &sigma_g, &sigma_g, 1.0);
        for i in 0..n {
            // Rounding may leave a variance that ought to be 0 a hair below.
            self.covariance[(i, i)] = self.covariance[(i, i)].max(0.0);
        }
        Surprise { expected: predicted, sd: variance.sqrt(), z: innovation / variance.sqrt() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The textbook case: prior N(m, s²), reading y with u: precision adds, the mean is weighted by precision (JCGM 106:2012, 7.2.2).
    #[test]
    fn precisions_add() {
        let mut beliefs = Beliefs::new(vec![0.40], DMatrix::from_element(1, 1, 0.01 * 0.01));
        let surprise = beliefs.observe(&[(0, 1.0)], 0.40, 0.43, 0.005);
        let precision = 1.0 / 1e-4 + 1.0 / 2.5e-5;
        assert!((beliefs.covariance(0, 0) - 1.0 / precision).abs() < 1e-15);
        assert!((beliefs.mean(0) - (0.40 / 1e-4 + 0.43 / 2.5e-5) / precision).abs() < 1e-12);
        assert!((surprise.z - 0.03 / 1.25e-4_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_reading_of_a_sum_ties_its_terms_and_a_packet_tells_of_its_pieces() {
        // Two pieces of one packet (common 0.01, own 0.002) and a stem (0.05): reading piece 0 exactly tells of piece 1.
        let (common, own, stem) = (1e-4, 4e-6, 2.5e-3);
        let covariance =
            DMatrix::from_row_slice(3, 3, &[common + own, common, 0.0, common, common + own, 0.0, 0.0, 0.0, stem]);
        let mut beliefs = Beliefs::new(vec![0.4, 0.4, 10.0], covariance);
        beliefs.observe(&[(0, 1.0)], 0.4, 0.42, 0.0);
        assert!((beliefs.mean(1) - (0.4 + 0.02 * common / (common + own))).abs() < 1e-12);
        assert!(beliefs.covariance(0, 0).abs() < 1e-18);
        // Piece 1 minus stem is read: their sum's variance falls to that of the reading, each alone stays loose.
        let before = beliefs.covariance(2, 2);
        beliefs.observe(&[(1, 1.0), (2, -1.0)], beliefs.mean(1) - 10.0, -9.5, 0.001);
        let difference = beliefs.covariance(1, 1) + beliefs.covariance(2, 2) - 2.0 * beliefs.covariance(1, 2);
        assert!(difference < 1.0001e-6 && beliefs.covariance(2, 2) > 1e-9 && beliefs.covariance(2, 2) < before);
        assert!((beliefs.mean(1) - beliefs.mean(2) + 9.5).abs() < 1e-3);
    }

    #[test]
    fn a_new_piece_shares_its_packets_deviation() {
        let mut beliefs = Beliefs::new(vec![0.4], DMatrix::from_element(1, 1, 1e-4));
        let place = beliefs.push_like(0, 4e-6);
        assert_eq!(place, 1);
        assert!((beliefs.covariance(1, 1) - 1.04e-4).abs() < 1e-18 && (beliefs.covariance(0, 1) - 1e-4).abs() < 1e-18);
    }
}
