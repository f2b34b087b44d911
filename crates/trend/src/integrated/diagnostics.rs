//! How far an average over weighted draws can be relied on.

/// Of one answer.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Diagnostics {
    /// Effective number of the draws that the average is taken over: (Σw)²/Σw².
    pub(crate) effective: f64,
    /// Shape of the generalised Pareto distribution of the largest weights.
    pub(crate) pareto_shape: f64,
    /// Evaluations of the likelihood.
    pub(crate) evaluations: usize,
    /// Stages of the sampler, the last included.
    pub(crate) stages: usize,
    /// Points of every prospect.
    pub(crate) points: usize,
    /// Readings left out as gross errors by the anchor.
    pub(crate) left_out: usize,
}

/// (Σw)²/Σw² of ln-weights; 0 where none is finite.
pub(crate) fn effective(ln_weights: &[f64]) -> f64 {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return 0.0;
    }
    let (sum, squares) = ln_weights.iter().fold((0.0, 0.0), |(s, q), l| {
        let w = (l - top).exp();
        (s + w, q + w * w)
    });
    sum * sum / squares
}

/// Largest Pareto shape at which an average over n draws is trusted: min(1 − 1/log₁₀ n, 0.7), A. Vehtari, D. Simpson, A. Gelman, Y. Yao,
/// J. Gabry, Pareto smoothed importance sampling, Journal of Machine Learning Research 25 (2024), in the words of the release notes of the
/// authors' R package loo 2.7.0 (seen; the article was not).
pub(crate) fn shape_limit(draws: usize) -> f64 {
    (1.0 - 1.0 / (draws.max(2) as f64).log10()).min(0.7)
}

/// Replaces the largest weights by the expected order statistics of a generalised Pareto distribution fitted to them, and returns its shape
/// (Vehtari et al. 2024): the tail is the largest min(n/5, 3√n) weights.
pub(crate) fn smooth(ln_weights: &mut [f64]) -> f64 {
    let n = ln_weights.len();
    let tail = (0.2 * n as f64).min(3.0 * (n as f64).sqrt()).floor() as usize;
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() || tail < 5 {
        return f64::INFINITY;
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| ln_weights[a].total_cmp(&ln_weights[b]).then(a.cmp(&b)));
    let largest = &order[n - tail..];
    let cut = (ln_weights[order[n - tail - 1]] - top).exp();
    let excess: Vec<f64> = largest.iter().map(|&i| (ln_weights[i] - top).exp() - cut).collect();
    if excess[tail - 1] <= 1e-12 {
        // All weights alike.
        return 0.0;
    }
    let (shape, scale) = pareto(&excess);
    if !shape.is_finite() {
        return f64::INFINITY;
    }
    for (rank, &i) in largest.iter().enumerate() {
        let p = (rank as f64 + 0.5) / tail as f64;
        let quantile =
            if shape.abs() < 1e-9 { -scale * (-p).ln_1p() } else { scale * ((-shape * (-p).ln_1p()).exp_m1()) / shape };
        // No weight may exceed the largest drawn.
        ln_weights[i] = (cut + quantile).clamp(1e-300, 1.0).ln() + top;
    }
    shape
}

/// Shape and scale of a generalised Pareto distribution from its ordered sample: J. Zhang, M. Stephens, Technometrics 51 (2009) 316–325, an average
/// over a profile of the likelihood, with the weak pull of the shape to ½ that Vehtari et al. add (ten readings' worth). Both from memory.
fn pareto(x: &[f64]) -> (f64, f64) {
    let n = x.len();
    let quarter = x[((n as f64 / 4.0 + 0.5).floor() as usize).clamp(1, n) - 1].max(1e-300);
    let m = 30 + (n as f64).sqrt().floor() as usize;
    let shape_of = |b: f64| x.iter().map(|x| (-b * x).ln_1p()).sum::<f64>() / n as f64;
    let points: Vec<(f64, f64)> = (1..=m)
        .map(|j| {
            let b = 1.0 / x[n - 1] + (1.0 - (m as f64 / (j as f64 - 0.5)).sqrt()) / (3.0 * quarter);
            let k = shape_of(b);
            (b, n as f64 * ((-b / k).ln() - k - 1.0))
        })
        .collect();
    let top = points.iter().map(|p| p.1).filter(|l| l.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut mean) = (0.0, 0.0);
    for (b, l) in points.iter().filter(|p| p.1.is_finite()) {
        let w = (l - top).exp();
        sum += w;
        mean += w * b;
    }
    let b = mean / sum;
    let k = shape_of(b);
    let scale = -k / b;
    ((k * n as f64 + 10.0 * 0.5) / (n as f64 + 10.0), scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact quantiles of generalised Pareto distributions give their shapes back, as far as the pull to ½ lets them: with 3·√4000 = 189 in the tail
    /// it moves 0.2 by 0.015 and 0.9 by −0.02.
    #[test]
    fn the_shape_of_a_pareto_tail_is_found() {
        for shape in [0.0_f64, 0.2, 0.5, 0.9, 1.3] {
            let n = 4000;
            let mut weights: Vec<f64> = (0..n)
                .map(|i| {
                    let p = (f64::from(i) + 0.5) / f64::from(n);
                    let x = if shape == 0.0 { -(1.0 - p).ln() } else { ((1.0 - p).powf(-shape) - 1.0) / shape };
                    (x + 0.1).ln()
                })
                .collect();
            let found = smooth(&mut weights);
            assert!((found - shape).abs() < 0.08, "{shape}: {found}");
        }
        let mut equal = vec![0.0; 100];
        assert_eq!(smooth(&mut equal), 0.0);
        assert!((effective(&equal) - 100.0).abs() < 1e-9);
        assert_eq!(effective(&[f64::NEG_INFINITY; 4]), 0.0);
        assert!(smooth(&mut [f64::NEG_INFINITY; 100]).is_infinite());
    }

    #[test]
    fn limits_are_those_of_the_release_notes() {
        for (n, limit) in [(100, 0.5), (320, 0.6), (1000, 0.667), (2200, 0.7), (10_000, 0.7)] {
            assert!((shape_limit(n) - limit).abs() < 0.003, "{n}");
        }
    }
}
