//! How much of the scatter lies within lots and how much between them: `y_ij` = μ + `b_i` + `e_ij`, b ~ N(0, `σ_b²`), e ~ N(0, `σ_w²`).
//!
//! By analysis of variance and by restricted maximum likelihood (REML); where all lots have as many readings and the between
//! component is not negative, both give the same. Everything needs only n, mean and sum of squares of each lot, so ten thousand lots
//! cost as little as ten.

use crate::LotError;
use crate::interval::Interval;
use crate::sample::{Moments, compensated_sum};
use packdrift_numerics::special::{
    Inversion, chi_squared_quantile, chi_squared_tails, fisher_tails, invert_increasing,
};
use std::f64::consts::PI;

/// One line of an analysis-of-variance table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceOfVariation {
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Sum of squares, mm².
    pub sum_of_squares: f64,
}

impl SourceOfVariation {
    /// Mean square; NaN without degrees of freedom.
    pub fn mean_square(&self) -> f64 {
        self.sum_of_squares / self.degrees_of_freedom
    }
}

/// One-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWayTable {
    /// Between the lots' means.
    pub between: SourceOfVariation,
    /// Within lots.
    pub within: SourceOfVariation,
    /// F of the lots' differences.
    pub f: f64,
    /// P(F or larger) if all lots have one mean.
    pub p_value: f64,
}

/// An estimate of both components as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComponentEstimate {
    /// Within lots, mm.
    pub within_sd: f64,
    /// Between lots, mm; 0 where the estimate is at its boundary.
    pub between_sd: f64,
    /// Mean of the lots, mm.
    pub mean: f64,
    /// Its standard error, mm.
    pub mean_se: f64,
}

/// Restricted-likelihood fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reml {
    /// The estimate.
    pub estimate: ComponentEstimate,
    /// Restricted log-likelihood at it, with all constants.
    pub log_likelihood: f64,
    /// The between component is estimated as 0: the answers equal those of one pooled sample.
    pub at_boundary: bool,
}

/// Within- and between-lot scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Lots with at least one reading.
    pub lots: usize,
    /// Readings.
    pub readings: usize,
    /// Whether all lots have as many readings.
    pub balanced: bool,
    /// The table.
    pub table: OneWayTable,
    /// `σ_b²` = (MSB − MSW)/n₀, n₀ = (N − Σn²/N)/(k − 1); may be negative, which says that the lots' means differ less than chance makes them. mm².
    pub anova_between_variance: f64,
    /// From the table (a negative between component counts as 0).
    pub anova: ComponentEstimate,
    /// By restricted likelihood.
    pub reml: Reml,
    /// Exact interval of `σ_w` from χ², mm.
    pub within_interval: Interval,
    /// Generalised confidence interval of `σ_b` (its lower end may be 0), mm.
    pub between_interval: Interval,
    /// Confidence of the intervals.
    pub confidence: f64,
}

/// The one-way table from groups' moments.
///
/// # Errors
/// Fewer than two groups, or no group with two readings.
pub fn one_way(groups: &[Moments]) -> Result<OneWayTable, LotError> {
    let groups: Vec<&Moments> = groups.iter().filter(|g| g.n > 0).collect();
    let k = groups.len();
    if k < 2 {
        return Err(LotError::TooFew { what: "scatter between lots".into(), found: k, needed: 2, of: "lots" });
    }
    let n: usize = groups.iter().map(|g| g.n).sum();
    if n == k {
        return Err(LotError::TooFew {
            what: "scatter within lots".into(),
            found: 1,
            needed: 2,
            of: "readings in some lot",
        });
    }
    let origin = groups[0].mean;
    let shift = compensated_sum(groups.iter().map(|g| g.n as f64 * (g.mean - origin))) / n as f64;
    let between = compensated_sum(groups.iter().map(|g| g.n as f64 * (g.mean - origin - shift).powi(2)));
    let within = compensated_sum(groups.iter().map(|g| g.sum_of_squares));
    let between = SourceOfVariation { degrees_of_freedom: (k - 1) as f64, sum_of_squares: between };
    let within = SourceOfVariation { degrees_of_freedom: (n - k) as f64, sum_of_squares: within };
    let f = between.mean_square() / within.mean_square();
    let p_value = fisher_tails(between.degrees_of_freedom, within.degrees_of_freedom, f).upper;
    Ok(OneWayTable { between, within, f, p_value })
}

/// Splits the scatter.
///
/// # Errors
/// Fewer than two lots, no lot with two readings, or no scatter within lots at all.
///
/// # Examples
/// ```
/// use packdrift_lot::components::variance_components;
/// use packdrift_lot::Moments;
/// let lots = [[0.401, 0.403], [0.411, 0.409], [0.397, 0.399]].map(|r| Moments::of(&r));
/// let c = variance_components(&lots, 0.95)?;
/// assert!(c.balanced && (c.anova.between_sd - c.reml.estimate.between_sd).abs() < 1e-12);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn variance_components(groups: &[Moments], confidence: f64) -> Result<Components, LotError> {
    crate::error::share("the confidence", confidence)?;
    let table = one_way(groups)?;
    if table.within.sum_of_squares <= 0.0 {
        return Err(LotError::OutOfRange {
            what: "the scatter within lots".into(),
            value: 0.0,
            expected: "above 0: all readings of each lot are equal, so nothing can be split".into(),
        });
    }
    let groups: Vec<Moments> = groups.iter().copied().filter(|g| g.n > 0).collect();
    let lots = groups.len();
    let readings: usize = groups.iter().map(|g| g.n).sum();
    let n = readings as f64;
    let k = lots as f64;
    let squares: f64 = groups.iter().map(|g| (g.n * g.n) as f64).sum();
    let n0 = (n - squares / n) / (k - 1.0);
    let within_variance = table.within.mean_square();
    let anova_between_variance = (table.between.mean_square() - within_variance) / n0;
    let anova = estimate(&groups, within_variance, anova_between_variance.max(0.0));
    let reml = reml(&groups, table.within.sum_of_squares, anova_between_variance.max(0.0) / within_variance);
    let nu = table.within.degrees_of_freedom;
    let alpha = 1.0 - confidence;
    let within_end = |p: f64| (table.within.sum_of_squares / chi_squared_quantile(nu, p)).sqrt();
    Ok(Components {
        lots,
        readings,
        balanced: groups.iter().all(|g| g.n == groups[0].n),
        table,
        anova_between_variance,
        anova,
        reml,
        within_interval: Interval::new(within_end(1.0 - 0.5 * alpha), within_end(0.5 * alpha)),
        between_interval: between_interval(&groups, table.within, alpha),
        confidence,
    })
}

fn estimate(groups: &[Moments], within: f64, between: f64) -> ComponentEstimate {
    let weights: Vec<f64> = groups.iter().map(|g| 1.0 / (between + within / g.n as f64)).collect();
    let total: f64 = weights.iter().sum();
    let origin = groups[0].mean;
    let mean = origin + groups.iter().zip(&weights).map(|(g, w)| w * (g.mean - origin)).sum::<f64>() / total;
    ComponentEstimate { within_sd: within.sqrt(), between_sd: between.sqrt(), mean, mean_se: total.recip().sqrt() }
}

/// −2·log restricted likelihood is profiled over `σ_w²` and μ, leaving the ratio ρ = `σ_b²/σ_w²`; its derivative is brought to 0 in ln ρ.
fn reml(groups: &[Moments], within_sum: f64, start: f64) -> Reml {
    let n: f64 = groups.iter().map(|g| g.n as f64).sum();
    let origin = groups[0].mean;
    // (derivative of −2 ln L with respect to ρ, Q, Σw) at ρ.
    let at = |rho: f64| {
        let (mut sum_w, mut sum_wd, mut sum_nv, mut sum_w2) = (0.0, 0.0, 0.0, 0.0);
        for g in groups {
            let n = g.n as f64;
            let w = n / (1.0 + n * rho);
            sum_w += w;
            sum_wd += w * (g.mean - origin);
            sum_nv += w;
            sum_w2 += w * w;
        }
        let mean = sum_wd / sum_w;
        let (mut squares, mut fourth) = (0.0, 0.0);
        for g in groups {
            let n = g.n as f64;
            let w = n / (1.0 + n * rho);
            let d = g.mean - origin - mean;
            squares += w * d * d;
            fourth += w * w * d * d;
        }
        let q = within_sum + squares;
        (sum_nv - sum_w2 / sum_w - (n - 1.0) * fourth / q, q, sum_w)
    };
    let at_boundary = at(0.0).0 >= 0.0;
    let rho = if at_boundary {
        0.0
    } else {
        let start = if start > 0.0 { start } else { 1e-3 };
        invert_increasing(&Inversion { start: start.ln(), step: 0.1, lower: -60.0, upper: 60.0 }, |y| at(y.exp()).0)
            .exp()
    };
    let (_, q, sum_w) = at(rho);
    let within = q / (n - 1.0);
    let ln_det: f64 = groups.iter().map(|g| (g.n as f64 * rho).ln_1p()).sum();
    let log_likelihood = -0.5 * ((n - 1.0) * (1.0 + (2.0 * PI * within).ln()) + ln_det + sum_w.ln());
    Reml { estimate: estimate(groups, within, rho * within), log_likelihood, at_boundary }
}

/// Generalised confidence interval of `σ_b`: with `σ_w²` = SSW/χ²_(N−k), `σ_b²` solves Σ wᵢ(ȳᵢ − `ȳ_w)²` = χ²_(k−1), wᵢ = `1/(σ_b²` + `σ_w²/nᵢ`), both χ²
/// independent (Weerahandi 1993; Li and Li, Biometrics 61, 2005). The distribution function of the pivot,
/// ∫ P(χ²_(k−1) ≥ Q(v, `σ_w²`)) `dP(σ_w²)`, is integrated by the trapezoidal rule, so nothing is random.
fn between_interval(groups: &[Moments], within: SourceOfVariation, alpha: f64) -> Interval {
    let nu = within.degrees_of_freedom;
    let k1 = (groups.len() - 1) as f64;
    // ln(χ²_ν/ν) over ± 7 sd of its own scale.
    let h = (0.5 * (2.0 / nu).sqrt()).min(0.25);
    let mut nodes = Vec::new();
    for direction in [-1.0, 1.0] {
        let mut j = if direction < 0.0 { 1.0 } else { 0.0 };
        loop {
            let y: f64 = direction * j * h;
            let ln_f = 0.5 * nu * (y - y.exp_m1());
            if ln_f < -20.0 {
                break;
            }
            nodes.push((ln_f.exp(), within.sum_of_squares / (nu * y.exp())));
            j += 1.0;
        }
    }
    let total: f64 = nodes.iter().map(|n| n.0).sum();
    let balanced = groups.iter().all(|g| g.n == groups[0].n);
    let origin = groups[0].mean;
    let plain_mean = groups.iter().map(|g| g.mean - origin).sum::<f64>() / groups.len() as f64;
    let plain_squares: f64 = groups.iter().map(|g| (g.mean - origin - plain_mean).powi(2)).sum();
    let q = |v: f64, within: f64| {
        if balanced {
            return plain_squares / (v + within / groups[0].n as f64);
        }
        let (mut sum_w, mut sum_wd, mut sum_wdd) = (0.0, 0.0, 0.0);
        for g in groups {
            let w = 1.0 / (v + within / g.n as f64);
            let d = g.mean - origin - plain_mean;
            sum_w += w;
            sum_wd += w * d;
            sum_wdd += w * d * d;
        }
        sum_wdd - sum_wd * sum_wd / sum_w
    };
    // P(σ_b² ≤ v)
    let distribution =
        |v: f64| nodes.iter().map(|&(w, within)| w * chi_squared_tails(k1, q(v, within)).upper).sum::<f64>() / total;
    let scale = (plain_squares / k1).max(1e-300);
    let at_zero = distribution(0.0);
    let end = |p: f64| {
        if at_zero >= p {
            return 0.0;
        }
        let ln_v = invert_increasing(
            &Inversion { start: scale.ln(), step: 0.5, lower: scale.ln() - 80.0, upper: scale.ln() + 80.0 },
            |y| distribution(y.exp()) - p,
        );
        ln_v.exp().sqrt()
    };
    Interval::new(end(0.5 * alpha), end(1.0 - 0.5 * alpha))
}
