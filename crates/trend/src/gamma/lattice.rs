//! The likelihood of one segment under a gamma process read with error: a forward filter on a lattice of wear depths.
//!
//! The true depth after τ hours is X(τ) = X₀ + G(τ); increments of G over h hours are Gamma(shape a·z·h, scale b), never negative, and
//! z is the segment's own rate, Gamma with mean 1. A reading adds N(0, σ²). Between readings the depth moves by the increment's mass per
//! lattice step (a difference of distribution functions, which holds for shapes below 1 too, where the density is infinite at 0); at a
//! reading each depth is weighted by the error's density. Only depths within some σ of the reading are carried. J. van Noortwijk, A survey
//! of the application of gamma processes in maintenance, Reliability Engineering & System Safety 94 (2009) 2–21, for the process;
//! J. Lawless and M. Crowder, Lifetime Data Analysis 10 (2004) 213–227, for the segment's own rate.

use packdrift_numerics::normal;
use packdrift_numerics::special::{chi_squared_quantile, gamma_tails, ln_gamma};

/// Parameters; hours and the feature's unit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Params {
    /// Shape per hour, by group.
    pub(crate) shape: Vec<f64>,
    /// b.
    pub(crate) scale: f64,
    /// Standard deviation of a reading.
    pub(crate) sigma: f64,
    /// Coefficient of variation of segments' rates.
    pub(crate) cv: f64,
    /// Mean and standard deviation of the depth at a segment's start.
    pub(crate) start: f64,
    pub(crate) start_sd: f64,
}

/// Points that stand for the segments' own rates: the middles of this many equal slices of their distribution.
pub(crate) const RATES: usize = 5;
/// Lattice steps per standard deviation of a reading.
const FINE: f64 = 3.0;
/// Half-width of what is carried about a reading, in standard deviations of a reading.
const REACH: f64 = 7.0;

/// What is known of a segment after its last reading: for each rate its chance and the chances of depths `first + k·step`.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct State {
    pub(crate) step: f64,
    pub(crate) group: usize,
    pub(crate) rates: Vec<f64>,
    pub(crate) chances: Vec<f64>,
    pub(crate) first: f64,
    pub(crate) masses: Vec<Vec<f64>>,
}

/// The rates z that stand for Gamma(mean 1, cv).
pub(crate) fn rates(cv: f64) -> Vec<f64> {
    if cv < 1e-3 {
        return vec![1.0];
    }
    let df = 2.0 / (cv * cv);
    let z: Vec<f64> = (0..RATES).map(|q| chi_squared_quantile(df, (q as f64 + 0.5) / RATES as f64) / df).collect();
    let mean = z.iter().sum::<f64>() / RATES as f64;
    z.into_iter().map(|x| x / mean).collect()
}

/// The lattice's step for readings with this error.
pub(crate) fn step(sigma: f64) -> f64 {
    sigma / FINE
}

/// Chances of an increment to span 0, 1, 2, … steps, `n` of them.
fn kernel(shape: f64, scale: f64, step: f64, n: usize, out: &mut Vec<f64>) {
    out.clear();
    let cdf = |x: f64| gamma_tails(shape, x / scale);
    // The density serves where it is smooth over a step; near 0, and for increments that scatter by less than some steps, it does not.
    let exact = if scale * shape.sqrt() < 1.2 * step { n } else { 4.min(n) };
    let mut before = cdf(0.5 * step);
    if n > 0 {
        out.push(before.lower);
    }
    for d in 1..exact {
        let next = cdf((d as f64 + 0.5) * step);
        // The smaller tail keeps the digits.
        out.push(if next.lower < 0.5 { next.lower - before.lower } else { (before.upper - next.upper).max(0.0) });
        before = next;
    }
    let constant = -ln_gamma(shape) - shape * scale.ln();
    let density = |x: f64| (constant + (shape - 1.0) * x.ln() - x / scale).exp();
    let mut left = if exact < n { density((exact as f64 - 0.5) * step) } else { 0.0 };
    for d in exact..n {
        let (mid, right) = (density(d as f64 * step), density((d as f64 + 0.5) * step));
        out.push(step / 6.0 * (left + 4.0 * mid + right));
        left = right;
    }
}

/// Log-likelihood of a segment's readings, and what is known after the last. −∞ where no rising path meets the readings.
pub(crate) fn filter(p: &Params, group: usize, hours: &[f64], value: &[f64], step: f64) -> (f64, State) {
    let width = (REACH * FINE * (p.sigma / (step * FINE)).max(1.0)).ceil() as i64;
    let z = rates(p.cv);
    let mut state = State { step, group, rates: z.clone(), ..State::default() };
    let mut logs = Vec::with_capacity(z.len());
    let (mut masses, mut next, mut steps) = (Vec::new(), Vec::new(), Vec::new());
    for rate in &z {
        let mut first = 0_i64;
        let mut log = 0.0;
        masses.clear();
        for (i, (h, y)) in hours.iter().zip(value).enumerate() {
            let low = (y / step).round() as i64 - width;
            let count = (2 * width + 1) as usize;
            next.clear();
            next.resize(count, 0.0);
            if i == 0 {
                let sd = p.start_sd.max(0.5 * step);
                for (k, m) in next.iter_mut().enumerate() {
                    let x = (low + k as i64) as f64 * step;
                    let (a, b) = ((x - 0.5 * step - p.start) / sd, (x + 0.5 * step - p.start) / sd);
                    *m = if a > 0.0 { normal::sf(a) - normal::sf(b) } else { normal::cdf(b) - normal::cdf(a) };
                }
            } else {
                let elapsed = h - hours[i - 1];
                if elapsed <= 0.0 {
                    for (k, m) in next.iter_mut().enumerate() {
                        let j = low + k as i64 - first;
                        *m = usize::try_from(j).ok().and_then(|j| masses.get(j)).copied().unwrap_or(0.0);
                    }
                } else {
                    let span = low + count as i64 - first;
                    if span > 0 {
                        kernel(p.shape[group] * rate * elapsed, p.scale, step, span as usize, &mut steps);
                        for (k, m) in next.iter_mut().enumerate() {
                            let top = low + k as i64 - first;
                            if top >= 0 {
                                let top = top as usize;
                                let end = masses.len().min(top + 1);
                                *m = masses[..end].iter().enumerate().map(|(j, w)| w * steps[top - j]).sum();
                            }
                        }
                    }
                }
            }
            let mut total = 0.0;
            for (k, m) in next.iter_mut().enumerate() {
                let x = (low + k as i64) as f64 * step;
                *m *= normal::pdf((y - x) / p.sigma) / p.sigma;
                total += *m;
            }
            if total.is_nan() || total <= 1e-290 {
                log = f64::NEG_INFINITY;
                break;
            }
            log += total.ln();
            for m in &mut next {
                *m /= total;
            }
            std::mem::swap(&mut masses, &mut next);
            first = low;
        }
        logs.push(log);
        state.first = first as f64 * step;
        state.masses.push(if log.is_finite() { masses.clone() } else { vec![0.0; masses.len()] });
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return (f64::NEG_INFINITY, state);
    }
    let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    state.chances = logs.iter().map(|l| (l - top).exp() / sum).collect();
    (top + (sum / logs.len() as f64).ln(), state)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_of_an_increment_sum_to_one_and_keep_its_mean() {
        for (shape, scale) in [(0.3, 0.02), (1.0, 0.01), (12.0, 0.004), (400.0, 0.0005)] {
            let mut out = Vec::new();
            let step = 0.001;
            kernel(shape, scale, step, 1500, &mut out);
            let (sum, mean) =
                out.iter().enumerate().fold((0.0, 0.0), |(s, m), (d, w)| (s + w, m + w * d as f64 * step));
            // Simpson's rule just right of the singular end of a shape below 1 is good to some 1e-6.
            assert!((sum - 1.0).abs() < 1e-5, "{shape} {scale}: {sum}");
            // Lumping into steps moves the mean by less than a twentieth of a step.
            assert!((mean - shape * scale).abs() < 0.05 * step, "{shape} {scale}: {mean}");
        }
    }

    #[test]
    fn two_readings_agree_with_the_integral() {
        // y₁ at the known start, y₂ after one increment: ∫ gamma density × normal density.
        let p = Params { shape: vec![0.004], scale: 0.01, sigma: 0.003, cv: 0.0, start: 0.0, start_sd: 1e-4 };
        let (hours, value) = ([0.0, 500.0], [0.001, 0.024]);
        let (log, _) = filter(&p, 0, &hours, &value, step(0.003) / 4.0);
        let first = normal::pdf(0.001 / 0.003_f64.hypot(1e-4)) / 0.003_f64.hypot(1e-4);
        let (n, top) = (200_000, 0.2);
        let h = top / f64::from(n);
        let sum: f64 = (0..n)
            .map(|i| {
                let g = (f64::from(i) + 0.5) * h;
                // Gamma(2, 0.01).
                g / 1e-4 * (-g / 0.01_f64).exp() * normal::pdf((0.024 - g) / 0.003) / 0.003 * h
            })
            .sum();
        assert!((log - (first * sum).ln()).abs() < 3e-3, "{log} against {}", (first * sum).ln());
    }

    #[test]
    fn wear_that_heals_has_no_path() {
        let p = Params { shape: vec![0.004], scale: 0.01, sigma: 0.003, cv: 0.3, start: 0.0, start_sd: 0.01 };
        assert!(filter(&p, 0, &[0.0, 100.0], &[0.2, 0.05], step(0.003)).0 == f64::NEG_INFINITY);
    }
}
