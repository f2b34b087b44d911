//! A lot that was sorted piece by piece through its limits, by a gauge that errs.
//!
//! Before sorting ln f(x) = a·y − c·y² + const, y = (x − m)/h: normal, flat (c = 0), piled up at the ends (c < 0) or sloping. A part of size x is passed where its
//! reading x + u·Z lies within the limits, g(x) = Φ((U − x)/u) − Φ((L − x)/u). The sorted lot is f·g/∫f·g, the share outside ∫_outside f·g/∫f·g.
//!
//! | symbol | meaning |
//! |---|---|
//! | m, h | middle and half width between two limits; with one limit, the limit and the readings' sd |
//! | u | standard uncertainty of the sorting gauge, mm |
//!
//! The readings enter by Σy and Σy² alone. The distribution of (a, c), flat beforehand, is integrated on a grid in the axes of its curvature; a bound is its
//! quantile. The density near a limit decides what slips through: a perfect gauge (u = 0) leaves nothing outside.
//!
//! Not in the model: a second sorting, other limits than the drawing's, and parts that change after sorting.

use super::limits::OpenShares;
use crate::posterior::SpecificationLimits;
use packdrift_numerics::normal;

/// Fewest parts for which the grid, made for a nearly normal distribution of (a, c), holds.
const FEWEST: usize = 10;
/// Points of the integral over sizes.
const POINTS: usize = 600;

/// The lot before sorting, in y.
struct Model {
    /// (y, weight of the integral times g, whether outside).
    points: Vec<(f64, f64, bool)>,
    n: f64,
    sum: f64,
    squares: f64,
}

/// Moments of y and y² under (a, c): ln ∫, means, covariance.
struct Moments {
    ln_total: f64,
    outside: f64,
    mean: [f64; 2],
    covariance: [f64; 3],
}

/// What the readings of a sorted lot leave open of its share outside; None below [`FEWEST`] of them, or where no (a, c) fits.
pub(super) fn open_shares(values: &[f64], sd: f64, limits: SpecificationLimits, u: f64) -> Option<OpenShares> {
    if values.len() < FEWEST || sd.is_nan() || sd <= 0.0 {
        return None;
    }
    let (m, h) = match (limits.lower, limits.upper) {
        (Some(l), Some(u)) => (0.5 * (l + u), 0.5 * (u - l)),
        (Some(l), None) => (l, sd),
        (None, Some(u)) => (u, sd),
        (None, None) => return None,
    };
    let y = |x: f64| (x - m) / h;
    let model = Model::new(values.iter().map(|x| y(*x)), limits.lower.map(y), limits.upper.map(y), u / h);
    let mode = model.mode()?;
    Some(model.grid(mode))
}

impl Model {
    fn new(values: impl Iterator<Item = f64> + Clone, lower: Option<f64>, upper: Option<f64>, u: f64) -> Self {
        let n = values.clone().count() as f64;
        let (sum, squares) = values.clone().fold((0.0, 0.0), |(a, b), y| (a + y, b + y * y));
        let (least, most) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), y| (a.min(y), b.max(y)));
        // Where there is no limit the readings' own reach and six of their sds beyond.
        let from = lower.map_or(least - 6.0, |l| l - 7.0 * u);
        let to = upper.map_or(most + 6.0, |l| l + 7.0 * u);
        let passed = |x: f64| {
            let tail = |z: f64| if u > 0.0 { normal::sf(z / u) } else { f64::from(z <= 0.0) };
            1.0 - lower.map_or(0.0, |l| tail(x - l)) - upper.map_or(0.0, |l| tail(l - x))
        };
        let mut points = Vec::with_capacity(3 * POINTS);
        let mut stretch = |from: f64, to: f64, outside: bool| {
            let step = (to - from) / POINTS as f64;
            points.extend(
                (0..POINTS).map(|k| from + (k as f64 + 0.5) * step).map(|x| (x, step * passed(x).max(0.0), outside)),
            );
        };
        // A stretch of its own beyond each limit, so that what slips through keeps its digits.
        stretch(lower.unwrap_or(from), upper.unwrap_or(to), false);
        if u > 0.0 {
            if let Some(l) = lower {
                stretch(from, l, true);
            }
            if let Some(l) = upper {
                stretch(l, to, true);
            }
        }
        Self { points, n, sum, squares }
    }

    fn moments(&self, a: f64, c: f64) -> Moments {
        let ln = |y: f64| a * y - c * y * y;
        let top = self.points.iter().map(|p| ln(p.0)).fold(f64::NEG_INFINITY, f64::max);
        let mut s = [0.0; 6];
        for &(y, weight, outside) in &self.points {
            let p = weight * (ln(y) - top).exp();
            let q = y * y;
            for (sum, term) in s.iter_mut().zip([p, p * y, p * q, p * q * y, p * q * q, if outside { p } else { 0.0 }])
            {
                *sum += term;
            }
        }
        let [total, one, two, three, four, outside] = s;
        let mean = [one / total, two / total];
        Moments {
            ln_total: top + total.ln(),
            outside: outside / total,
            mean,
            covariance: [
                two / total - mean[0] * mean[0],
                three / total - mean[0] * mean[1],
                four / total - mean[1] * mean[1],
            ],
        }
    }

    fn ln_likelihood(&self, a: f64, c: f64, moments: &Moments) -> f64 {
        a * self.sum - c * self.squares - self.n * moments.ln_total
    }

    /// Newton's method with halved steps; the likelihood of an exponential family is concave. Returns (a, c) and its negative curvature.
    fn mode(&self) -> Option<([f64; 2], [f64; 3])> {
        let (mean, variance) = (self.sum / self.n, self.squares / self.n - (self.sum / self.n).powi(2));
        let mut at = [mean / variance.max(1e-6), 0.5 / variance.max(1e-6)];
        let mut moments = self.moments(at[0], at[1]);
        let mut here = self.ln_likelihood(at[0], at[1], &moments);
        for _ in 0..100 {
            let [v, cross, w] = moments.covariance;
            // In (a, −c) the gradient is Σ(y, y²) less n times the means, the curvature −n times the covariance.
            let gradient = [self.sum - self.n * moments.mean[0], self.squares - self.n * moments.mean[1]];
            let determinant = v * w - cross * cross;
            if determinant.is_nan() || determinant <= 0.0 {
                return None;
            }
            let step = [
                (w * gradient[0] - cross * gradient[1]) / (self.n * determinant),
                -(v * gradient[1] - cross * gradient[0]) / (self.n * determinant),
            ];
            let mut part = 1.0;
            loop {
                let next = [at[0] + part * step[0], at[1] + part * step[1]];
                let there_moments = self.moments(next[0], next[1]);
                let there = self.ln_likelihood(next[0], next[1], &there_moments);
                if there.is_finite() && there >= here {
                    let gained = there - here;
                    (at, moments, here) = (next, there_moments, there);
                    if gained < 1e-9 {
                        let [v, cross, w] = moments.covariance.map(|x| x * self.n);
                        return Some((at, [v, -cross, w]));
                    }
                    break;
                }
                part *= 0.5;
                if part < 1e-6 {
                    let [v, cross, w] = moments.covariance.map(|x| x * self.n);
                    return Some((at, [v, -cross, w]));
                }
            }
        }
        None
    }

    /// The grid in the axes of the curvature, five and a half sds to either side.
    fn grid(&self, (mode, [v, cross, w]): ([f64; 2], [f64; 3])) -> OpenShares {
        // Inverse of the curvature by its Cholesky factor: (a, c) = mode + L⁻ᵀz.
        let l11 = v.sqrt();
        let l21 = cross / l11;
        let l22 = (w - l21 * l21).max(1e-300).sqrt();
        let top = self.ln_likelihood(mode[0], mode[1], &self.moments(mode[0], mode[1]));
        let mut open = OpenShares::default();
        for i in -22..=22_i32 {
            for j in -22..=22_i32 {
                let (z1, z2) = (0.25 * f64::from(i), 0.25 * f64::from(j));
                let dc = z2 / l22;
                let da = (z1 - l21 * dc) / l11;
                let (a, c) = (mode[0] + da, mode[1] + dc);
                let moments = self.moments(a, c);
                let ln = self.ln_likelihood(a, c, &moments) - top;
                if ln > -16.0 && moments.outside.is_finite() {
                    open.push(moments.outside, ln.exp());
                }
            }
        }
        open.sort();
        open
    }
}
