//! The chances of a gamma increment to span 0, 1, 2, … lattice steps, and how they change with the parameters.
//!
//! An increment over h hours is Gamma(shape s, scale b). A step's mass is the integral of the density over it: a difference of distribution
//! functions near 0, where the density of a shape below 1 is infinite, and for increments that scatter by less than some steps; Simpson's
//! rule elsewhere. The derivatives are those of the same expressions, so that the likelihood's gradient is exact for the likelihood as it
//! is computed:
//!
//! ```text
//! ∂f/∂ln s = s·(ln(x/b) − ψ(s))·f        ∂f/∂ln b = (x/b − s)·f
//! ```

use packdrift_numerics::special::{digamma, gamma_tails, ln_gamma};

/// Masses by steps spanned, and their derivatives to ln s and ln b (empty where not asked for).
#[derive(Debug, Clone, Default)]
pub(crate) struct Increments {
    pub(crate) mass: Vec<f64>,
    pub(crate) by_shape: Vec<f64>,
    pub(crate) by_scale: Vec<f64>,
}

/// Logarithms of the half steps' numbers: ln 0 (never used), ln 1, ln 2, …
pub(crate) fn logarithms(steps: usize) -> Vec<f64> {
    (0..=2 * steps).map(|m| (m as f64).ln()).collect()
}

/// Cells near 0 that are integrated exactly.
const NEAR: usize = 4;
/// Increments whose standard deviation is below this many steps are too narrow for Simpson's rule.
const NARROW: f64 = 1.2;
/// Step of the difference that stands for the derivative to ln s where the distribution function has none in closed form, in units of
/// 1/√s, over which the distribution changes.
const NUDGE: f64 = 3e-4;

/// The first `n` masses. `logs` are [`logarithms`], as far as they reach.
pub(crate) fn increments(shape: f64, scale: f64, step: f64, n: usize, logs: &[f64], slopes: bool) -> Increments {
    let mut out = Increments::default();
    let exact = if scale * shape.sqrt() < NARROW * step { n } else { NEAR.min(n) };
    out.mass.reserve(n);
    let cell = step / scale;
    let cdf = Cdf::new(shape);
    near(&cdf, cell, exact, slopes, &mut out);
    if exact == n {
        return out;
    }
    // Simpson over (d − ½, d + ½): at the cell's ends and middle, u = x/b at half steps.
    let (psi, constant) = (if slopes { digamma(shape) } else { 0.0 }, -ln_gamma(shape));
    let log_half = (0.5 * cell).ln();
    let at = |m: usize| {
        let u = 0.5 * cell * m as f64;
        let log_u = logs.get(m).copied().unwrap_or_else(|| (m as f64).ln()) + log_half;
        let f = cell / 6.0 * ((shape - 1.0) * log_u - u + constant).exp();
        (f, shape * (log_u - psi) * f, (u - shape) * f)
    };
    let mut left = at(2 * exact - 1);
    for d in exact..n {
        let (mid, right) = (at(2 * d), at(2 * d + 1));
        out.mass.push(left.0 + 4.0 * mid.0 + right.0);
        if slopes {
            out.by_shape.push(left.1 + 4.0 * mid.1 + right.1);
            out.by_scale.push(left.2 + 4.0 * mid.2 + right.2);
        }
        left = right;
    }
    out
}

/// Cells by differences of the distribution function at their ends.
fn near(cdf: &Cdf, cell: f64, cells: usize, slopes: bool, out: &mut Increments) {
    let nudge = NUDGE / cdf.shape.max(1.0).sqrt();
    let mut nudged: Option<[Cdf; 2]> = None;
    let (mut start, mut before) = (0.0, cdf.at(0.0));
    for d in 0..cells {
        let end = (d as f64 + 0.5) * cell;
        let next = cdf.at(end);
        out.mass.push(between(before, next));
        if slopes {
            out.by_shape.push(if let (Some(a), Some(b)) = (before.slope, next.slope) {
                b - a
            } else {
                let [less, more] =
                    nudged.get_or_insert_with(|| [-nudge, nudge].map(|by| Cdf::new(cdf.shape * by.exp())));
                let mass = |of: &Cdf| between(of.at(start), of.at(end));
                (mass(more) - mass(less)) / (2.0 * nudge)
            });
            // ∂P(s, x/b)/∂ln b = −x·f(x).
            out.by_scale.push(before.density - next.density);
        }
        (start, before) = (end, next);
    }
}

/// The distribution function at the end of a cell.
#[derive(Debug, Clone, Copy)]
struct Edge {
    lower: f64,
    upper: f64,
    /// u·f(u) of the standard gamma density.
    density: f64,
    /// ∂P/∂ln s, where the series gives it.
    slope: Option<f64>,
}

/// P of the higher edge less P of the lower one, by whichever tail keeps the digits.
fn between(before: Edge, next: Edge) -> f64 {
    if next.lower < 0.5 { next.lower - before.lower } else { (before.upper - next.upper).max(0.0) }
}

/// The standard gamma distribution of one shape.
struct Cdf {
    shape: f64,
    /// ln Γ(s + 1).
    log_gamma: f64,
    /// ψ(s + 1).
    psi: f64,
}

impl Cdf {
    fn new(shape: f64) -> Self {
        Self { shape, log_gamma: ln_gamma(shape + 1.0), psi: digamma(shape + 1.0) }
    }

    /// P(s, u) = u^s e^(−u)/Γ(s + 1)·Σ uⁿ/((s + 1)…(s + n)) below u = s + 1, with its derivative to ln s term by term; the general
    /// function, which has no such derivative, above.
    fn at(&self, u: f64) -> Edge {
        let s = self.shape;
        if u <= 0.0 {
            return Edge { lower: 0.0, upper: 1.0, density: 0.0, slope: Some(0.0) };
        }
        let log_u = u.ln();
        let prefix = (s * log_u - u - self.log_gamma).exp();
        let density = s * prefix;
        if u >= s + 1.0 {
            let tails = gamma_tails(s, u);
            return Edge { lower: tails.lower, upper: tails.upper, density, slope: None };
        }
        let (mut term, mut sum, mut harmonic, mut slope, mut k) = (1.0, 1.0, 0.0, 0.0, s);
        loop {
            k += 1.0;
            term *= u / k;
            harmonic += 1.0 / k;
            sum += term;
            slope -= term * harmonic;
            if term * (1.0 + harmonic) < sum * 1e-16 {
                break;
            }
        }
        let lower = prefix * sum;
        Edge { lower, upper: 1.0 - lower, density, slope: Some(density * ((log_u - self.psi) * sum + slope)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_of_an_increment_sum_to_one_and_keep_its_mean() {
        let step = 0.001;
        let logs = logarithms(1500);
        for (shape, scale) in [(0.3, 0.02), (1.0, 0.01), (12.0, 0.004), (400.0, 0.0005), (3000.0, 1e-5)] {
            let out = increments(shape, scale, step, 1500, &logs, false).mass;
            let (sum, mean) =
                out.iter().enumerate().fold((0.0, 0.0), |(s, m), (d, w)| (s + w, m + w * d as f64 * step));
            // Simpson's rule just right of the singular end of a shape below 1 is good to some 1e-6.
            assert!((sum - 1.0).abs() < 1e-5, "{shape} {scale}: {sum}");
            // Lumping into steps moves the mean by less than a twentieth of a step.
            assert!((mean - shape * scale).abs() < 0.05 * step, "{shape} {scale}: {mean}");
        }
    }

    #[test]
    fn derivatives_agree_with_central_differences() {
        let (step, n, h) = (0.001, 120, 1e-5_f64);
        let logs = logarithms(n);
        // Wide increments, a shape below 1, and two too narrow for Simpson's rule, one of which ends far above its bulk.
        for (shape, scale) in [(3.8, 0.0018), (0.4, 0.01), (40.0, 1e-4), (3000.0, 1e-5)] {
            let mass = |s: f64, b: f64| increments(s, b, step, n, &logs, false).mass;
            let out = increments(shape, scale, step, n, &logs, true);
            let by_shape = (mass(shape * h.exp(), scale), mass(shape * (-h).exp(), scale));
            let by_scale = (mass(shape, scale * h.exp()), mass(shape, scale * (-h).exp()));
            assert_eq!((out.by_shape.len(), out.by_scale.len()), (n, n));
            for d in 0..n {
                // Differences are good to about 1e-16/h of the distribution function near a cell.
                let slack = 1e-9 * out.mass[d].max(1e-2) * (1.0 + shape);
                let (a, b) = ((by_shape.0[d] - by_shape.1[d]) / (2.0 * h), (by_scale.0[d] - by_scale.1[d]) / (2.0 * h));
                assert!((out.by_shape[d] - a).abs() < 100.0 * slack, "{shape} {d}: {} {a}", out.by_shape[d]);
                assert!((out.by_scale[d] - b).abs() < 100.0 * slack, "{shape} {d}: {} {b}", out.by_scale[d]);
            }
        }
    }
}
