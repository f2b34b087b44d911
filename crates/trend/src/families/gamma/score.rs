//! The gradient of the filter's log-likelihood, by a sweep back over what the filter left (R. Fisher's identity: the gradient is the
//! expectation, given the readings, of the gradient with the hidden depths known).
//!
//! With α the filter's chances after reading i − 1, K the increment's masses, e the error's density, c the reading's likelihood and β what
//! later readings add, the chance of a rise by d steps is K(d)·C(d), C(d) = Σⱼ α(j)·e(j + d)β(j + d)/c. So one correlation C gives the
//! derivatives to every parameter of K: Σ_d ∂K(d)·C(d). The cost is about three times that of the likelihood, whatever the number of
//! parameters.

use super::error::ReadingError;
use super::lattice::{History, Passes, Run, Setting, rates};
use super::start::{self, Cell};
use packdrift_numerics::vector;

/// Log-likelihood of a segment and its derivatives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Score {
    pub(crate) log_likelihood: f64,
    /// To ln a of the segment's group, which is `group`.
    pub(crate) shape: f64,
    pub(crate) group: usize,
    /// To ln b.
    pub(crate) scale: f64,
    /// To ln σ.
    pub(crate) sigma: f64,
    /// To ln ν.
    pub(crate) df: f64,
    pub(crate) cv: f64,
    pub(crate) start: f64,
    pub(crate) start_sd: f64,
}

/// d ln z/d cv of the rates that stand for the segments' own, by central differences of the quantiles.
pub(crate) fn rate_slopes(cv: f64) -> Vec<f64> {
    let z = rates(cv);
    if z.len() == 1 {
        return vec![0.0];
    }
    let h = 1e-4 * cv;
    let (up, down) = (rates(cv + h), rates(cv - h));
    if up.len() != down.len() {
        return vec![0.0; z.len()];
    }
    up.iter().zip(&down).map(|(u, d)| (u / d).ln() / (2.0 * h)).collect()
}

/// What one rate's run tells.
#[derive(Debug, Clone, Copy, Default)]
struct Slopes {
    shape: f64,
    scale: f64,
    sigma: f64,
    df: f64,
    start: f64,
    start_sd: f64,
}

/// The score of a segment that the filter has run over.
pub(crate) fn score(history: &History, setting: &Setting<'_>, passes: &Passes, rate_slopes: &[f64]) -> Score {
    let mut out = Score {
        log_likelihood: passes.log_likelihood(),
        shape: 0.0,
        group: history.group,
        scale: 0.0,
        sigma: 0.0,
        df: 0.0,
        cv: 0.0,
        start: 0.0,
        start_sd: 0.0,
    };
    let chances = passes.chances(history.value.len());
    // All rates begin alike.
    let cells = match (passes.low.first(), passes.weight.first()) {
        (Some(low), Some(weight)) => start::cells(setting.p, setting.step, *low, weight.len()),
        _ => Vec::new(),
    };
    for (rate, chance) in chances.into_iter().enumerate() {
        // A rate at which no path meets the readings has no chance.
        if chance < 1e-16 {
            continue;
        }
        let s = sweep(history, setting, passes, rate, &cells, None);
        out.shape += chance * s.shape;
        out.scale += chance * s.scale;
        out.sigma += chance * s.sigma;
        out.df += chance * s.df;
        out.cv += chance * s.shape * rate_slopes[rate];
        out.start += chance * s.start;
        out.start_sd += chance * s.start_sd;
    }
    out
}

/// Weight of each reading given all of them: the mean of the error's over the depth.
pub(crate) fn weights(history: &History, setting: &Setting<'_>, passes: &Passes) -> Vec<f64> {
    let mut out = vec![0.0; history.value.len()];
    for (rate, chance) in passes.chances(history.value.len()).into_iter().enumerate() {
        if chance < 1e-16 {
            continue;
        }
        let mut own = vec![0.0; out.len()];
        sweep(history, setting, passes, rate, &[], Some(&mut own));
        for (sum, weight) in out.iter_mut().zip(own) {
            *sum += chance * weight;
        }
    }
    out
}

/// `cells` are those of the start from the filter's first depth on, for the derivatives to its parameters; `weights` is filled with each
/// reading's, where it is asked for.
fn sweep(
    history: &History,
    setting: &Setting<'_>,
    passes: &Passes,
    rate: usize,
    cells: &[Cell],
    mut weights: Option<&mut Vec<f64>>,
) -> Slopes {
    let run: &Run = &passes.runs[rate];
    let (p, step) = (setting.p, setting.step);
    let mut out = Slopes::default();
    let Some(last) = history.value.len().checked_sub(1) else { return out };
    let error = ReadingError::new(p.sigma, p.df);
    let mut later = vec![1.0; run.mass[last].len()];
    let mut correlation: Vec<f64> = Vec::new();
    for i in (0..=last).rev() {
        let (mass, first) = (&run.mass[i], run.first[i]);
        let (at_first, by) = ((history.value[i] - first as f64 * step) / p.sigma, step / p.sigma);
        for (k, (m, b)) in mass.iter().zip(&later).enumerate() {
            let z = at_first - by * k as f64;
            let (sigma, df) = error.slopes(z);
            out.sigma += m * b * sigma;
            out.df += m * b * df;
            if let Some(weight) = weights.as_mut().and_then(|w| w.get_mut(i)) {
                *weight += m * b * error.weight(z);
            }
        }
        let weight = &passes.weight[i][(first - passes.low[i]) as usize..];
        // e·β/c over the depths that the filter kept.
        let pull: Vec<f64> = later.iter().zip(weight).map(|(b, w)| b * w / run.total[i]).collect();
        let Some(i) = i.checked_sub(1) else {
            let own = cells.get((first - passes.low[0]) as usize..).unwrap_or_default();
            for (pull, cell) in pull.iter().zip(own) {
                out.start += pull * cell.by_start;
                out.start_sd += pull * cell.by_start_sd;
            }
            break;
        };
        let before = &run.mass[i];
        // Rise from before[0] to pull[0].
        let rise = first - run.first[i];
        later.clear();
        let Some(kind) = history.kind[i + 1] else {
            later.extend(
                (0..before.len() as i64)
                    .map(|j| usize::try_from(j - rise).ok().and_then(|k| pull.get(k)).copied().unwrap_or(0.0)),
            );
            continue;
        };
        let made = &setting.increments[kind][rate];
        correlation.clear();
        correlation.resize(made.mass.len(), 0.0);
        vector::widest(
            #[inline(always)]
            || back(before, &made.mass, rise, &pull, &mut later, &mut correlation),
        );
        out.shape += dot(&correlation, &made.by_shape);
        out.scale += dot(&correlation, &made.by_scale);
    }
    out
}

/// Back over one increment: what later readings add to each depth before it, and the correlation C; `pull` is e·β/c after it, from a rise of
/// `rise` steps above the first of `before` on.
#[inline(always)]
#[allow(clippy::inline_always, reason = "the widest registers serve what is inlined")]
fn back(before: &[f64], mass: &[f64], rise: i64, pull: &[f64], later: &mut Vec<f64>, correlation: &mut [f64]) {
    for (j, m) in before.iter().enumerate() {
        let from = rise - j as i64;
        let (skip, to) = ((-from).max(0) as usize, from.max(0) as usize);
        let pull = pull.get(skip..).unwrap_or_default();
        let reach = (to + pull.len()).min(mass.len());
        let (Some(steps), Some(sums)) = (mass.get(to..reach), correlation.get_mut(to..reach)) else {
            later.push(0.0);
            continue;
        };
        later.push(dot(steps, pull));
        for (c, x) in sums.iter_mut().zip(pull) {
            *c += m * x;
        }
    }
}

/// Σ aₖbₖ in eight partial sums, which the compiler can work side by side.
#[inline(always)]
#[allow(clippy::inline_always, reason = "the widest registers serve what is inlined")]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a8, b8) = (a[..n].chunks_exact(8), b[..n].chunks_exact(8));
    let rest: f64 = a8.remainder().iter().zip(b8.remainder()).map(|(x, y)| x * y).sum();
    let mut sums = [0.0; 8];
    for (x, y) in a8.zip(b8) {
        for k in 0..8 {
            sums[k] += x[k] * y[k];
        }
    }
    let [a, b, c, d, e, f, g, h] = sums;
    (a + e) + (b + f) + ((c + g) + (d + h)) + rest
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::super::lattice::{Lattice, Params, step};

    #[test]
    fn the_gradient_agrees_with_central_differences() {
        let hours = [0.0, 310.0, 310.0, 900.0, 1500.0, 2300.0];
        let value = [0.004, 0.006, 0.005, 0.011, 0.019, 0.024];
        // Increments that Simpson's rule serves, a shape below 1, and increments too narrow for it.
        for (shape, scale) in [(0.006, 0.0018), (5e-4, 0.02), (0.4, 2.5e-5)] {
            for df in [None, Some(4.0)] {
                let p =
                    Params { shape: vec![1.0, shape], scale, sigma: 0.003, df, cv: 0.3, start: 0.002, start_sd: 0.004 };
                let lattice = Lattice::single(1, &hours, &value, step(0.0027), df.is_some());
                let s = lattice.scores(&p).unwrap().remove(0);
                assert!((s.log_likelihood - lattice.log_likelihood(&p)).abs() < 1e-12);
                let slope = |change: &dyn Fn(&mut Params, f64)| {
                    let h = 1e-5;
                    let at = |h: f64| {
                        let mut q = p.clone();
                        change(&mut q, h);
                        lattice.log_likelihood(&q)
                    };
                    (at(h) - at(-h)) / (2.0 * h)
                };
                let pairs = [
                    (s.shape, slope(&|q, h| q.shape[1] *= h.exp())),
                    (s.scale, slope(&|q, h| q.scale *= h.exp())),
                    (s.sigma, slope(&|q, h| q.sigma *= h.exp())),
                    (s.df, slope(&|q, h| q.df = q.df.map(|nu| nu * h.exp()))),
                    (s.cv, slope(&|q, h| q.cv += h)),
                    (0.003 * s.start, slope(&|q, h| q.start += 0.003 * h)),
                    (0.003 * s.start_sd, slope(&|q, h| q.start_sd += 0.003 * h)),
                ];
                for (k, (exact, difference)) in pairs.into_iter().enumerate() {
                    assert!(
                        (exact - difference).abs() < 2e-6 * (1.0 + exact.abs()),
                        "{shape} {k}: {exact} {difference}"
                    );
                }
            }
        }
    }
}
