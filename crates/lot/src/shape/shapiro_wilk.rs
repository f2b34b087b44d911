//! The Shapiro–Wilk test by Royston's algorithm AS R94 (Applied Statistics 44, 1995), for 3 to 5000 readings.

use packdrift_numerics::normal;

/// The weights of W for one sample size, and the null distribution that goes with it.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapiroWilk {
    n: usize,
    /// Antisymmetric, rising, Σa² = 1.
    weights: Vec<f64>,
    /// `cumulative[k]` = Σ of the first k weights.
    cumulative: Vec<f64>,
}

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

impl ShapiroWilk {
    /// None outside 3..=5000, where the approximation was not fitted.
    pub fn new(n: usize) -> Option<Self> {
        if !(3..=5000).contains(&n) {
            return None;
        }
        let half = n / 2;
        let nf = n as f64;
        let mut upper = vec![0.0; half];
        if n == 3 {
            upper[0] = std::f64::consts::FRAC_1_SQRT_2;
        } else {
            // Scores of the smaller half: negative, from the extreme inwards.
            let m: Vec<f64> = (1..=half).map(|i| normal::quantile((i as f64 - 0.375) / (nf + 0.25))).collect();
            let squares = 2.0 * m.iter().map(|x| x * x).sum::<f64>();
            let root = squares.sqrt();
            let u = 1.0 / nf.sqrt();
            let first = polynomial(&[0.0, 0.221157, -0.147981, -2.071190, 4.434685, -2.706056], u) - m[0] / root;
            let (from, scale);
            upper[0] = first;
            if n > 5 {
                let second = polynomial(&[0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633], u) - m[1] / root;
                upper[1] = second;
                from = 2;
                scale = ((squares - 2.0 * m[0] * m[0] - 2.0 * m[1] * m[1])
                    / (1.0 - 2.0 * first * first - 2.0 * second * second))
                    .sqrt();
            } else {
                from = 1;
                scale = ((squares - 2.0 * m[0] * m[0]) / (1.0 - 2.0 * first * first)).sqrt();
            }
            for i in from..half {
                upper[i] = -m[i] / scale;
            }
        }
        let mut weights = vec![0.0; n];
        for (i, a) in upper.iter().enumerate() {
            weights[i] = -a;
            weights[n - 1 - i] = *a;
        }
        let mut cumulative = Vec::with_capacity(n + 1);
        cumulative.push(0.0);
        let mut sum = 0.0;
        for a in &weights {
            sum += a;
            cumulative.push(sum);
        }
        Some(Self { n, weights, cumulative })
    }

    /// W = (Σ aᵢ x₍ᵢ₎)²/Σ(x − x̄)² of n sorted values that are not all equal.
    pub fn statistic(&self, sorted: &[f64]) -> f64 {
        let mean = sorted.iter().sum::<f64>() / sorted.len() as f64;
        let (mut linear, mut squares) = (0.0, 0.0);
        for (a, x) in self.weights.iter().zip(sorted) {
            let d = x - mean;
            linear += a * d;
            squares += d * d;
        }
        (linear * linear / squares).min(1.0)
    }

    /// Σ of the weights of the ranks `from..to` (from 0): what a run of equal readings counts for.
    pub(super) fn weight_of_ranks(&self, from: usize, to: usize) -> f64 {
        self.cumulative[to] - self.cumulative[from]
    }

    /// The p-value of W for a continuous normal sample of this size.
    pub fn p_value(&self, statistic: f64) -> f64 {
        let nf = self.n as f64;
        if self.n == 3 {
            // Exact.
            let p = 6.0 / std::f64::consts::PI * (statistic.sqrt().asin() - 0.75_f64.sqrt().asin());
            return p.clamp(0.0, 1.0);
        }
        let y = (1.0 - statistic).max(1e-300).ln();
        let (y, mean, sd) = if self.n <= 11 {
            let gamma = polynomial(&[-2.273, 0.459], nf);
            if y >= gamma {
                return 0.0;
            }
            (
                -(gamma - y).ln(),
                polynomial(&[0.5440, -0.39978, 0.025054, -6.714e-4], nf),
                polynomial(&[1.3822, -0.77857, 0.062767, -0.0020322], nf).exp(),
            )
        } else {
            let x = nf.ln();
            (
                y,
                polynomial(&[-1.5861, -0.31082, -0.083751, 0.0038915], x),
                polynomial(&[-0.4803, -0.082676, 0.0030302], x).exp(),
            )
        };
        normal::sf((y - mean) / sd)
    }
}
