//! A segment's readings reduced to S, r, q and ln|R| where a Wiener process stands between line and reading: R = diag(1/w) + ω²·min(τᵢ, τₖ).
//!
//! Two routes to the same numbers. Short histories: Cholesky's factor of R itself. Long ones: a Kalman filter on W, run over the columns
//! 1, τ and y at once, for the gains are common (G. Wahba's and R. Kohn's device; see A. C. Harvey, Forecasting, Structural Time Series
//! Models and the Kalman Filter, 1989, section 3.4.3); its cost is linear in the readings. The tests hold them together to 1e-8.

use super::Scalar;

/// What a segment tells of its line: sums weighted by R⁻¹.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reduced<D> {
    /// Z′R⁻¹Z: entries 00, 01, 11.
    pub(crate) s: [D; 3],
    /// Z′R⁻¹y.
    pub(crate) r: [D; 2],
    /// y′R⁻¹y.
    pub(crate) q: D,
    /// ln|R|.
    pub(crate) log_det: D,
}

/// The filter's state after the last reading: E[W | readings, line ℓ] = y − one·ℓ₀ − time·ℓ₁, relative variance `variance`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Filtered<D> {
    pub(crate) one: D,
    pub(crate) time: D,
    pub(crate) y: D,
    pub(crate) variance: D,
}

/// Up to this many readings the covariance is factored, beyond the filter runs. At 3 the two cost the same.
pub(crate) const SHORT: usize = 3;

/// The filter. `weight` is empty where all are 1; over a reading of weight 0 time goes on and nothing is learnt.
pub(crate) fn by_filter<D: Scalar>(time: &[f64], y: &[f64], weight: &[f64], omega2: D) -> (Reduced<D>, Filtered<D>) {
    let zero = D::of(0.0);
    let mut out = Reduced { s: [zero; 3], r: [zero; 2], q: zero, log_det: zero };
    let mut state = Filtered { one: zero, time: zero, y: zero, variance: zero };
    let mut before = 0.0;
    // Logarithms are dear: factors are multiplied up and taken together while far from overflow.
    let mut product = D::of(1.0);
    for (i, (&t, &value)) in time.iter().zip(y).enumerate() {
        if weight.get(i).is_some_and(|w| *w <= 0.0) {
            let passed = omega2 * D::of(t - before);
            state.variance = passed + state.variance;
            before = t;
            continue;
        }
        let noise = weight.get(i).map_or(1.0, |w| 1.0 / w);
        let variance = state.variance + omega2 * D::of(t - before);
        before = t;
        let f = variance + D::of(noise);
        let inverse = D::of(1.0) / f;
        let (e1, et, ey) = (D::of(1.0) - state.one, D::of(t) - state.time, D::of(value) - state.y);
        let (w1, wt, wy) = (e1 * inverse, et * inverse, ey * inverse);
        out.s[0] += e1 * w1;
        out.s[1] += e1 * wt;
        out.s[2] += et * wt;
        out.r[0] += e1 * wy;
        out.r[1] += et * wy;
        out.q += ey * wy;
        state.one += variance * w1;
        state.time += variance * wt;
        state.y += variance * wy;
        state.variance = variance * inverse * D::of(noise);
        product = product * f;
        let size = product.value();
        if !(1e-100..=1e100).contains(&size) {
            out.log_det += product.ln();
            product = D::of(1.0);
        }
    }
    out.log_det += product.ln();
    (out, state)
}

/// Whether the covariance of these readings may be factored: few of them, none of weight 0.
pub(crate) fn is_short(weight: &[f64], readings: usize) -> bool {
    readings <= SHORT && weight.iter().all(|w| *w > 0.0)
}

/// Cholesky's factor of R, for at most [`SHORT`] readings.
#[allow(clippy::needless_range_loop, reason = "indices are the rows and columns of Cholesky's formula")]
pub(crate) fn by_covariance<D: Scalar>(time: &[f64], y: &[f64], weight: &[f64], omega2: D) -> Reduced<D> {
    let n = time.len().min(SHORT);
    let zero = D::of(0.0);
    let mut factor = [[zero; SHORT]; SHORT];
    let mut white = [[zero; 3]; SHORT];
    let mut out = Reduced { s: [zero; 3], r: [zero; 2], q: zero, log_det: zero };
    let mut product = D::of(1.0);
    for i in 0..n {
        for j in 0..i {
            let mut sum = omega2 * D::of(time[i].min(time[j]));
            for k in 0..j {
                sum -= factor[i][k] * factor[j][k];
            }
            factor[i][j] = sum / factor[j][j];
        }
        let mut sum = omega2 * D::of(time[i]) + D::of(weight.get(i).map_or(1.0, |w| 1.0 / w));
        for k in 0..i {
            sum -= factor[i][k] * factor[i][k];
        }
        product = product * sum;
        let root = sum.sqrt();
        factor[i][i] = root;
        let mut row = [D::of(1.0), D::of(time[i]), D::of(y[i])];
        for k in 0..i {
            for (value, earlier) in row.iter_mut().zip(white[k]) {
                *value -= factor[i][k] * earlier;
            }
        }
        white[i] = row.map(|x| x / root);
        let [w1, wt, wy] = white[i];
        out.s[0] += w1 * w1;
        out.s[1] += w1 * wt;
        out.s[2] += wt * wt;
        out.r[0] += w1 * wy;
        out.r[1] += wt * wy;
        out.q += wy * wy;
    }
    out.log_det = product.ln();
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::super::Dual;
    use super::*;
    use nalgebra::{DMatrix, DVector};

    /// The definition, by a general dense factorisation.
    fn by_definition(time: &[f64], y: &[f64], weight: &[f64], omega2: f64) -> Reduced<f64> {
        let n = time.len();
        let r = DMatrix::from_fn(n, n, |i, k| {
            omega2 * time[i].min(time[k]) + if i == k { weight.get(i).map_or(1.0, |w| 1.0 / w) } else { 0.0 }
        });
        let chol = r.cholesky().unwrap();
        let z = DMatrix::from_fn(n, 2, |i, k| if k == 0 { 1.0 } else { time[i] });
        let y = DVector::from_column_slice(y);
        let s = z.transpose() * chol.solve(&z);
        let riy = chol.solve(&y);
        let r = z.transpose() * &riy;
        Reduced {
            s: [s[(0, 0)], s[(0, 1)], s[(1, 1)]],
            r: [r[0], r[1]],
            q: y.dot(&riy),
            log_det: 2.0 * chol.l().diagonal().map(f64::ln).sum(),
        }
    }

    fn agree(a: Reduced<f64>, b: Reduced<f64>) {
        let list = |x: Reduced<f64>| [x.s[0], x.s[1], x.s[2], x.r[0], x.r[1], x.q, x.log_det];
        for (x, y) in list(a).into_iter().zip(list(b)) {
            assert!((x - y).abs() <= 1e-8 * y.abs().max(1.0), "{a:?}\n{b:?}");
        }
    }

    #[test]
    fn filter_covariance_and_definition_agree() {
        for n in [1, 2, 3, 8, 40] {
            for omega2 in [0.0, 1e-6, 0.3, 1e4] {
                for weighted in [false, true] {
                    let time: Vec<f64> = (0..n).map(|i| f64::from(i) * 0.7 + 0.1 * f64::from(i % 3)).collect();
                    let y: Vec<f64> = (0..n).map(|i| (f64::from(i) * 1.7).sin() * 3.0).collect();
                    let w: Vec<f64> =
                        if weighted { (0..n).map(|i| 1.0 / (1.0 + f64::from(i % 4))).collect() } else { vec![] };
                    let exact = by_definition(&time, &y, &w, omega2);
                    agree(by_filter(&time, &y, &w, omega2).0, exact);
                    if time.len() <= SHORT {
                        agree(by_covariance(&time, &y, &w, omega2), exact);
                    }
                }
            }
        }
    }

    #[test]
    fn derivatives_to_the_wander_agree_between_the_routes() {
        let (time, y) = ([0.0, 0.4, 1.1], [0.3, -0.2, 0.9]);
        let omega2 = Dual::<1>::parameter(0.35, 0);
        let (a, _) = by_filter(&time, &y, &[], omega2);
        let b = by_covariance(&time, &y, &[], omega2);
        for (x, y) in [(a.q, b.q), (a.log_det, b.log_det), (a.s[2], b.s[2]), (a.r[1], b.r[1])] {
            assert!((x.d[0] - y.d[0]).abs() < 1e-12);
        }
    }
}
