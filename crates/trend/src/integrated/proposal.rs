//! What draws are proposed from: the prior, and multivariate t distributions fitted to the draws so far.
//!
//! A t with 5 degrees of freedom has heavier tails than a posterior that is near normal, so weights stay bounded. Two of them hold a bend, or two
//! modes; they are fitted by expectation maximisation (G. McLachlan, D. Peel, Finite Mixture Models, 2000, chapter 7, from memory).

use super::priors::Prior;
use packdrift_numerics::normal;
use packdrift_numerics::special::{chi_squared_quantile, ln_gamma};

/// Degrees of freedom of the proposals.
const NU: f64 = 5.0;
/// Fitted spreads are widened by this factor (of variance): a proposal should be wider than its target.
const WIDER: f64 = 1.15;
/// Steps of expectation maximisation.
const STEPS: usize = 6;

/// A multivariate t.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Student {
    mean: Vec<f64>,
    /// Lower triangle of the scale matrix's Cholesky factor, by rows.
    factor: Vec<f64>,
    ln_norm: f64,
}

/// Below this share, and above one less it, the closed form of χ²₅ loses digits.
const RIM: f64 = 1e-3;

/// The quantile of χ²₅: Newton's steps over its closed form, P = erf√(x/2) − √(2x/π)·e^(−x/2)·(1 + x/3), from Wilson and Hilferty's start.
fn radius(share: f64) -> f64 {
    if !(RIM..=1.0 - RIM).contains(&share) {
        return chi_squared_quantile(NU, share);
    }
    let c = 2.0 / (9.0 * NU);
    let mut x = NU * (1.0 - c + normal::quantile(share) * c.sqrt()).max(0.1).powi(3);
    for _ in 0..12 {
        let peak = (2.0 * x / std::f64::consts::PI).sqrt() * (-0.5 * x).exp();
        let below = 1.0 - 2.0 * normal::sf(x.sqrt()) - peak * (1.0 + x / 3.0);
        // The density is x·peak/6.
        let step = (below - share) / (x * peak / 6.0);
        x = (x - step).clamp(0.5 * x, 2.0 * x);
        if step.abs() < 1e-9 * x {
            return x;
        }
    }
    chi_squared_quantile(NU, share)
}

fn cholesky(a: &[f64], n: usize) -> Option<Vec<f64>> {
    let mut l = vec![0.0; n * n];
    for i in 0..n {
        for k in 0..=i {
            let sum: f64 = (0..k).map(|m| l[i * n + m] * l[k * n + m]).sum();
            let rest = a[i * n + k] - sum;
            if i == k {
                if rest.is_nan() || rest <= 1e-12 * a[i * n + i].abs() {
                    return None;
                }
                l[i * n + i] = rest.sqrt();
            } else {
                l[i * n + k] = rest / l[k * n + k];
            }
        }
    }
    Some(l)
}

impl Student {
    fn new(mean: Vec<f64>, scale: &[f64]) -> Option<Self> {
        let n = mean.len();
        let factor = cholesky(scale, n)?;
        let ln_det: f64 = (0..n).map(|i| factor[i * n + i].ln()).sum();
        let d = n as f64;
        let ln_norm =
            ln_gamma(0.5 * (NU + d)) - ln_gamma(0.5 * NU) - 0.5 * d * (NU * std::f64::consts::PI).ln() - ln_det;
        Some(Self { mean, factor, ln_norm })
    }

    /// The same with its spread stretched.
    pub(crate) fn stretched(&self, by: f64) -> Self {
        Self {
            mean: self.mean.clone(),
            factor: self.factor.iter().map(|f| by * f).collect(),
            ln_norm: self.ln_norm - self.mean.len() as f64 * by.ln(),
        }
    }

    /// (z − mean)′·scale⁻¹·(z − mean).
    fn distance(&self, z: &[f64]) -> f64 {
        let n = self.mean.len();
        let mut x = [0.0; 16];
        let mut sum = 0.0;
        for i in 0..n {
            let own: f64 = (0..i).map(|k| self.factor[i * n + k] * x[k]).sum();
            x[i] = (z[i] - self.mean[i] - own) / self.factor[i * n + i];
            sum += x[i] * x[i];
        }
        sum
    }

    fn ln_density(&self, z: &[f64]) -> f64 {
        self.ln_norm - 0.5 * (NU + z.len() as f64) * (1.0 + self.distance(z) / NU).ln()
    }

    /// The point with the shares `u` of its coordinates: `radius` of the χ², then one for each dimension.
    fn point(&self, radius: f64, u: &[f64], z: &mut [f64]) {
        let n = self.mean.len();
        let stretch = (NU / self::radius(radius)).sqrt();
        let mut x = [0.0; 16];
        for (x, u) in x.iter_mut().zip(u) {
            *x = stretch * normal::quantile(*u);
        }
        for i in 0..n {
            z[i] = self.mean[i] + (0..=i).map(|k| self.factor[i * n + k] * x[k]).sum::<f64>();
        }
    }
}

/// One part of a mixture.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Component {
    Prior,
    Student(Student),
}

impl Component {
    pub(crate) fn ln_density(&self, prior: &Prior, z: &[f64]) -> f64 {
        match self {
            Self::Prior => prior.ln_density(z),
            Self::Student(t) => t.ln_density(z),
        }
    }

    pub(crate) fn point(&self, prior: &Prior, radius: f64, u: &[f64], z: &mut [f64]) {
        match self {
            Self::Prior => prior.point(u, z),
            Self::Student(t) => t.point(radius, u, z),
        }
    }
}

/// Weighted draws, n × d by rows, weights that add to 1.
#[derive(Clone, Copy)]
pub(crate) struct Cloud<'a> {
    pub(crate) dimensions: usize,
    pub(crate) z: &'a [f64],
    pub(crate) weight: &'a [f64],
}

impl Cloud<'_> {
    fn rows(&self) -> impl Iterator<Item = (&[f64], f64)> {
        self.z.chunks(self.dimensions).zip(self.weight.iter().copied()).filter(|(_, w)| *w > 0.0)
    }

    /// Mean and covariance, by rows.
    fn moments(&self) -> (Vec<f64>, Vec<f64>) {
        let n = self.dimensions;
        let mut mean = vec![0.0; n];
        for (z, w) in self.rows() {
            for (m, z) in mean.iter_mut().zip(z) {
                *m += w * z;
            }
        }
        let mut cov = vec![0.0; n * n];
        for (z, w) in self.rows() {
            for i in 0..n {
                for k in 0..n {
                    cov[i * n + k] += w * (z[i] - mean[i]) * (z[k] - mean[k]);
                }
            }
        }
        (mean, cov)
    }
}

/// Widens a spread, and keeps it from collapsing.
fn widened(cov: &[f64], n: usize) -> Vec<f64> {
    let mut out: Vec<f64> = cov.iter().map(|c| WIDER * c).collect();
    for i in 0..n {
        out[i * n + i] += 1e-6;
    }
    out
}

/// One t over the whole cloud; None where it has no spread to speak of.
pub(crate) fn one(cloud: Cloud<'_>) -> Option<Vec<(f64, Component)>> {
    let (mean, cov) = cloud.moments();
    Some(vec![(1.0, Component::Student(Student::new(mean, &widened(&cov, cloud.dimensions))?))])
}

/// Direction of the largest spread beside each coordinate's own, by power iteration on the correlations; in units of the coordinates.
fn main_axis(cov: &[f64], n: usize) -> Vec<f64> {
    let sd: Vec<f64> = (0..n).map(|i| cov[i * n + i].max(1e-12).sqrt()).collect();
    let mut axis = vec![1.0; n];
    let mut length: f64 = 1.0;
    for _ in 0..30 {
        let next: Vec<f64> = (0..n).map(|i| (0..n).map(|k| cov[i * n + k] / (sd[i] * sd[k]) * axis[k]).sum()).collect();
        let size = next.iter().map(|x| x * x).sum::<f64>().sqrt();
        if size <= 0.0 {
            break;
        }
        length = size;
        axis = next.into_iter().map(|x| x / size).collect();
    }
    let half = length.clamp(0.0, n as f64).sqrt();
    axis.iter().zip(&sd).map(|(a, s)| a * s * half).collect()
}

/// Two t's by expectation maximisation; one where a second does not hold.
pub(crate) fn two(cloud: Cloud<'_>) -> Option<Vec<(f64, Component)>> {
    let n = cloud.dimensions;
    let (mean, cov) = cloud.moments();
    let axis = main_axis(&cov, n);
    let at = |side: f64| -> Vec<f64> { mean.iter().zip(&axis).map(|(m, a)| m + side * a).collect() };
    let start = widened(&cov, n);
    let mut parts = vec![(0.5, Student::new(at(-0.8), &start)?), (0.5, Student::new(at(0.8), &start)?)];
    for _ in 0..STEPS {
        let mut sums = [(0.0, 0.0, vec![0.0; n]), (0.0, 0.0, vec![0.0; n])];
        let mut shares = Vec::with_capacity(cloud.weight.len());
        for (z, w) in cloud.rows() {
            let distance = [parts[0].1.distance(z), parts[1].1.distance(z)];
            let ln = |k: usize| {
                let p: &(f64, Student) = &parts[k];
                p.0.max(1e-300).ln() + p.1.ln_norm - 0.5 * (NU + n as f64) * (1.0 + distance[k] / NU).ln()
            };
            let (a, b) = (ln(0), ln(1));
            let first = 1.0 / (1.0 + (b - a).exp());
            let share = [first, 1.0 - first];
            let mut scaled = [0.0; 2];
            for k in 0..2 {
                scaled[k] = w * share[k] * (NU + n as f64) / (NU + distance[k]);
                sums[k].0 += w * share[k];
                sums[k].1 += scaled[k];
                for (m, z) in sums[k].2.iter_mut().zip(z) {
                    *m += scaled[k] * z;
                }
            }
            shares.push(scaled);
        }
        let mut next = Vec::new();
        for (k, (weight, scaled, sum)) in sums.into_iter().enumerate() {
            if weight < 0.02 || scaled <= 0.0 {
                return one(cloud);
            }
            let mean: Vec<f64> = sum.into_iter().map(|m| m / scaled).collect();
            let mut scale = vec![0.0; n * n];
            for ((z, _), s) in cloud.rows().zip(&shares) {
                for i in 0..n {
                    for j in 0..n {
                        scale[i * n + j] += s[k] / weight * (z[i] - mean[i]) * (z[j] - mean[j]);
                    }
                }
            }
            match Student::new(mean, &widened(&scale, n)) {
                Some(t) => next.push((weight, t)),
                None => return one(cloud),
            }
        }
        parts = next;
    }
    let whole: f64 = parts.iter().map(|p| p.0).sum();
    Some(parts.into_iter().map(|(w, t)| (w / whole, Component::Student(t))).collect())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use packdrift_numerics::stream::Key;

    #[test]
    fn radii_are_quantiles() {
        for k in 1..4000 {
            let share = f64::from(k) / 4000.0;
            let (found, exact) = (radius(share), chi_squared_quantile(NU, share));
            assert!((found / exact - 1.0).abs() < 1e-10, "{share}: {found} {exact}");
        }
    }

    #[test]
    fn points_have_the_density_that_is_stated() {
        // Importance sampling of the constant 1 by a t with another mean and spread: the mean of the ratios is 1.
        let a = Student::new(vec![0.3, -1.0], &[0.5, 0.2, 0.2, 0.8]).unwrap();
        let b = Student::new(vec![0.0, -0.8], &[0.7, 0.1, 0.1, 1.0]).unwrap();
        let mut stream = Key::new(3, "test").stream(0);
        let n = 20_000;
        let ratios: Vec<f64> = (0..n)
            .map(|_| {
                let mut z = [0.0; 2];
                b.point(stream.uniform(), &[stream.uniform(), stream.uniform()], &mut z);
                (a.ln_density(&z) - b.ln_density(&z)).exp()
            })
            .collect();
        let mean = ratios.iter().sum::<f64>() / f64::from(n);
        let var = ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / f64::from(n);
        assert!((mean - 1.0).abs() < 4.0 * (var / f64::from(n)).sqrt(), "{mean}");
    }

    #[test]
    fn two_clouds_get_a_part_each() {
        let mut stream = Key::new(4, "test").stream(0);
        let n = 2000;
        let z: Vec<f64> = (0..n)
            .flat_map(|i| {
                let side = if i % 4 == 0 { -4.0 } else { 4.0 };
                [side + stream.normal(), 0.5 * side + 0.3 * stream.normal()]
            })
            .collect();
        let weight = vec![1.0 / f64::from(n); n as usize];
        let parts = two(Cloud { dimensions: 2, z: &z, weight: &weight }).unwrap();
        let mut found: Vec<(f64, f64)> = parts
            .iter()
            .map(|(w, c)| match c {
                Component::Student(t) => (t.mean[0], *w),
                Component::Prior => (f64::NAN, *w),
            })
            .collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!((found[0].0 + 4.0).abs() < 0.3 && (found[0].1 - 0.25).abs() < 0.02, "{found:?}");
        assert!((found[1].0 - 4.0).abs() < 0.3 && (found[1].1 - 0.75).abs() < 0.02);
    }
}
