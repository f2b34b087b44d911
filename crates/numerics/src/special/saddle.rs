//! Loader's saddle-point pieces, which keep the densities of the gamma and beta families accurate where differences of
//! logarithms of factorials would lose every digit.
//!
//! C. Loader, *Fast and Accurate Computation of Binomial Probabilities* (2000).

/// δ(n) = ln Γ(n+1) − (n+½)·ln n + n − ½·ln 2π, the error of Stirling's formula, n > 0.
///
/// The asymptotic series serves n ≥ 16; smaller n climb there by δ(n) − δ(n+1) = (n+½)·ln(1+1/n) − 1.
pub(crate) fn stirling_error(n: f64) -> f64 {
    let mut n = n;
    let mut climbed = 0.0;
    while n < 16.0 {
        climbed += (n + 0.5) * (1.0 / n).ln_1p() - 1.0;
        n += 1.0;
    }
    let r = 1.0 / (n * n);
    // Bernoulli-number coefficients of Stirling's series.
    let series = 1.0 / 12.0
        - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r * (1.0 / 1680.0 - r * (1.0 / 1188.0 - r * 691.0 / 360360.0))));
    climbed + series / n
}

/// The deviance term D(x, m) = x·ln(x/m) + m − x, without cancellation near x = m.
pub(crate) fn deviance(x: f64, m: f64) -> f64 {
    if x == 0.0 {
        return m;
    }
    let v = (x - m) / (x + m);
    if v.abs() < 0.1 {
        let mut sum = (x - m) * v;
        let mut term = 2.0 * x * v;
        let v2 = v * v;
        for j in 1..60_u32 {
            term *= v2;
            let next = sum + term / f64::from(2 * j + 1);
            #[allow(clippy::float_cmp, reason = "the series has stopped changing the sum")]
            if next == sum {
                break;
            }
            sum = next;
        }
        return sum;
    }
    x * (x / m).ln() + m - x
}
