//! How well a share is known from a number of trials.

use packdrift_numerics::normal;
use packdrift_numerics::special::beta_quantile;

/// Standard error of k of n: √(p(1 − p)/n). Where k is 0 or n that formula says 0, which would claim certainty; then p is taken half a
/// trial off the end. 0 stays the mark of exact results.
pub(crate) fn share_standard_error(count: u64, trials: u64) -> f64 {
    if trials == 0 {
        return f64::NAN;
    }
    let n = trials as f64;
    let p = if count == 0 || count >= trials { 0.5 / (n + 1.0) } else { count as f64 / n };
    (p * (1.0 - p) / n).sqrt()
}

/// Two-sided 95 % confidence interval of a share, k of n, by Clopper and Pearson (Biometrika 26, 1934): its coverage is never below
/// 95 %. Where k is 0 or n it is one-sided, with all 5 % at the open end: 0 to 1 − 0.05^(1/n), about 3/n.
pub(crate) fn share_interval(count: u64, trials: u64) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let (k, n) = (count.min(trials) as f64, trials as f64);
    if count == 0 {
        return (0.0, -(0.05_f64.ln() / n).exp_m1());
    }
    if count >= trials {
        return ((0.05_f64.ln() / n).exp(), 1.0);
    }
    let low = beta_quantile(k, n - k + 1.0, 0.025).0;
    let high = beta_quantile(k + 1.0, n - k, 0.975).0;
    (low, high)
}

/// Chance of a normal deviate beyond three standard deviations, on one side: what a verdict may be wrong by.
const BEYOND_THREE: f64 = 0.001_349_898_031_630_094_5;

/// As many standard errors from sixteen replications as three known ones are worth: Student's t of 15 degrees of freedom.
pub(crate) const SURE_OF_FEW: f64 = 3.5864;

/// As [`share_interval`], at three standard errors: each end is wrong with a chance of 0.135 %.
pub(crate) fn sure_interval(count: u64, trials: u64) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let (k, n) = (count.min(trials) as f64, trials as f64);
    let low = if count == 0 { 0.0 } else { beta_quantile(k, n - k + 1.0, BEYOND_THREE).0 };
    let high = if count >= trials { 1.0 } else { beta_quantile(k + 1.0, n - k, 1.0 - BEYOND_THREE).0 };
    (low, high)
}

/// As [`estimate_interval`], at three standard errors of an error that is itself estimated from sixteen replications.
pub(crate) fn sure_estimate_interval(share: f64, standard_error: f64) -> (f64, f64) {
    interval_at(share, standard_error, SURE_OF_FEW)
}

/// 95 % interval of an estimate with a standard error that comes from elsewhere, on the scale of the logarithm for small shares (it is
/// never negative), clamped to 0..1.
pub fn estimate_interval(share: f64, standard_error: f64) -> (f64, f64) {
    interval_at(share, standard_error, normal::quantile(0.975))
}

fn interval_at(share: f64, standard_error: f64, z: f64) -> (f64, f64) {
    if standard_error == 0.0 {
        return (share, share);
    }
    if share <= 0.0 {
        return (0.0, (z * standard_error).min(1.0));
    }
    let relative = standard_error / share;
    if share < 0.1 {
        // Lognormal with the same coefficient of variation.
        let spread = (z * relative.powi(2).ln_1p().sqrt()).exp();
        return (share / spread, (share * spread).min(1.0));
    }
    ((share - z * standard_error).max(0.0), (share + z * standard_error).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_and_degenerate_intervals() {
        // Clopper and Pearson for 10 of 100: 0.0490 to 0.1762 (many textbooks; value from memory, recomputed with scipy's beta.ppf:
        // 0.04900469, 0.17622260).
        let (low, high) = share_interval(10, 100);
        assert!((low - 0.04900469).abs() < 1e-8 && (high - 0.17622260).abs() < 1e-8, "{low} {high}");
        // The rule of three.
        let (low, high) = share_interval(0, 1_000_000);
        assert!(low == 0.0 && (high / 2.995732e-6 - 1.0).abs() < 1e-5);
        let (low, high) = share_interval(1_000_000, 1_000_000);
        assert!(high >= 1.0 && ((1.0 - low) / 2.995732e-6 - 1.0).abs() < 1e-5);
        assert_eq!(share_interval(0, 0), (0.0, 1.0));
        let (low, high) = share_interval(1, 1);
        assert!((low - 0.05).abs() < 1e-12 && high >= 1.0);
        assert!(share_standard_error(0, 100) > 0.0 && share_standard_error(100, 100) > 0.0);
        assert!((share_standard_error(50, 100) - 0.05).abs() < 1e-15);
    }

    /// 0.01 ± 0.002 as a lognormal of coefficient of variation 0.2: exp(1.959964·√ln 1.04) = 1.474330 to either side (recomputed by hand); from a tenth up
    /// the normal's.
    #[test]
    fn small_shares_have_a_lognormal_interval() {
        let (low, high) = estimate_interval(0.01, 0.002);
        let factor = (1.959_963_985_f64 * 1.04_f64.ln().sqrt()).exp();
        assert!((factor - 1.4743).abs() < 1e-3, "{factor}");
        assert!((high / 0.01 - factor).abs() < 1e-8 && (0.01 / low - factor).abs() < 1e-8, "{low} {high}");
        let (low, high) = estimate_interval(0.5, 0.1);
        assert!((low - 0.304_003_6).abs() < 1e-7 && (high - 0.695_996_4).abs() < 1e-7, "{low} {high}");
    }

    #[test]
    fn interval_of_an_estimate_contains_it() {
        for (share, error) in [(1e-9, 1e-10), (0.5, 0.01), (1e-5, 0.0), (0.0, 1e-8), (0.999, 0.01)] {
            let (low, high) = estimate_interval(share, error);
            assert!(low <= share && share <= high && low >= 0.0 && high <= 1.0, "{share}: {low} {high}");
        }
    }
}
