//! What n readings say of a normal lot's true mean and sd, as a distribution to integrate over.
//!
//! With x̄ and s from n readings, μ = x̄ − Z·σ/√n and σ = `s·√(ν/χ²_ν)`, ν = n − 1, Z and χ² independent (the generalised pivotal
//! quantities of Weerahandi 1993; the same as the posterior under the prior 1/σ). Bounds for the share outside one limit and for a
//! one-sided capability index derived from it are the exact noncentral-t bounds; for two limits they are generalised confidence
//! bounds, whose coverage is tested by simulation. The integral over σ is done by the trapezoidal rule in ln σ, so nothing is random.
//!
//! Where the gauge's own repeatability is known, the readings' variance is σ² = `σ_parts²` + `σ_gauge²`, and `σ_parts²` = σ² − `σ_gauge²`
//! (0 where that is negative) is what the limits judge, while the mean's error keeps the whole σ.

use packdrift_numerics::normal;
use packdrift_numerics::special::{Inversion, invert_increasing};

/// A point of the grid over σ.
#[derive(Debug, Clone, Copy)]
struct Node {
    weight: f64,
    /// Of the parts, mm; not 0.
    sd: f64,
    /// Of the mean's error, mm.
    mean_sd: f64,
}

/// Grid in w = `χ_ν/√ν` for one sample size; shared by all lots of that size.
#[derive(Debug, Clone)]
pub struct ChiGrid {
    n: f64,
    points: Vec<(f64, f64)>,
}

impl ChiGrid {
    /// For n ≥ 2 readings.
    pub fn new(n: usize) -> Self {
        Self::finer(n, 1.0)
    }

    /// With a step so many times smaller, for outlines that are drawn.
    pub fn finer(n: usize, times: f64) -> Self {
        let nf = n as f64;
        let nu = (nf - 1.0).max(1.0);
        // Fine enough for the χ density and for Φ(√n·K·w) with K about 3 (see the noncentral t's quadrature); the error is below 1e-8.
        let h = (1.0 / (2.0 * nu + 9.0 * nf).sqrt()).min(0.2) / times;
        let ln_density = |y: f64| nu * (y - 0.5 * (2.0 * y).exp_m1());
        let mut points = Vec::new();
        for direction in [-1.0, 1.0] {
            let mut k = if direction < 0.0 { 1.0 } else { 0.0 };
            loop {
                let y = direction * k * h;
                let ln_f = ln_density(y);
                if ln_f < -27.0 {
                    break;
                }
                points.push((y.exp(), ln_f.exp()));
                k += 1.0;
            }
        }
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = points.iter().map(|p| p.1).sum();
        for p in &mut points {
            p.1 /= total;
        }
        Self { n: nf, points }
    }
}

/// The joint distribution of a normal lot's mean and sd given its readings.
#[derive(Debug, Clone)]
pub struct Posterior {
    mean: f64,
    readings_sd: f64,
    gauge_sd: f64,
    /// The mean's variance over that of a reading: 1/n for independent readings.
    mean_variance: f64,
    nodes: Vec<Node>,
}

/// A piece of the distribution with one sd: the mean is N(measured mean, mean_sd²).
#[derive(Debug, Clone, Copy)]
pub struct Slice {
    /// Of the parts, mm.
    pub sd: f64,
    /// Of the mean's error, mm.
    pub mean_sd: f64,
    /// Not normalised.
    pub weight: f64,
}

/// Standard deviations beyond which a limit that is no limit of such a size can never bind; as of loads and stresses in docs/verdicts.md.
const NEVER_BINDS: f64 = 100.0;

/// Limits that a lot is judged against; at least one is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpecificationLimits {
    /// Lower limit, mm.
    pub lower: Option<f64>,
    /// Upper limit, mm.
    pub upper: Option<f64>,
}

impl SpecificationLimits {
    /// Of a drawing with at least one limit.
    pub fn of(drawing: crate::readings::Drawing) -> Option<Self> {
        drawing.has_limits().then_some(Self { lower: drawing.lower, upper: drawing.upper })
    }

    /// Whether a size lies outside, mm.
    pub fn is_outside(self, x: f64) -> bool {
        self.lower.is_some_and(|lower| x < lower) || self.upper.is_some_and(|upper| x > upper)
    }

    /// A limit that can never bind for parts of this mean and sd (above 0), mm: whether it is the upper one, and how many sds it is away. It lies more than a
    /// hundred sds from the mean, and beyond a fifth or five times the size itself, as no limit of a size does ([`crate::Drawing::check`]).
    pub(crate) fn never_binds(self, mean: f64, sd: f64) -> Option<(bool, f64)> {
        let size = mean.abs();
        let far = |limit: f64| {
            let sds = (limit - mean).abs() / sd;
            (sds > NEVER_BINDS && !(size / 5.0..=5.0 * size).contains(&(limit * mean.signum()))).then_some(sds)
        };
        let lower = self.lower.and_then(far).map(|sds| (false, sds));
        self.upper.and_then(far).map(|sds| (true, sds)).or(lower)
    }

    /// Both moved by as much, mm.
    pub(crate) fn shifted(self, by: f64) -> Self {
        Self { lower: self.lower.map(|l| l + by), upper: self.upper.map(|u| u + by) }
    }

    /// Both drawn in by as much, mm; None where nothing is left between them.
    pub(crate) fn drawn_in(self, by: f64) -> Option<Self> {
        let inner = Self { lower: self.lower.map(|l| l + by), upper: self.upper.map(|u| u - by) };
        inner.lower.zip(inner.upper).is_none_or(|(l, u)| l < u).then_some(inner)
    }

    /// Each limit by itself.
    pub(crate) fn sides(self) -> impl Iterator<Item = Self> {
        [(self.lower, None), (None, self.upper)]
            .into_iter()
            .filter(|(lower, upper)| lower.is_some() || upper.is_some())
            .map(|(lower, upper)| Self { lower, upper })
    }

    /// The share of N(mean, sd²) outside.
    pub fn share_outside(&self, mean: f64, sd: f64) -> f64 {
        let below = self.lower.map_or(0.0, |l| normal::cdf((l - mean) / sd));
        let above = self.upper.map_or(0.0, |u| normal::sf((u - mean) / sd));
        below + above
    }

    /// min over the limits of (distance from the mean)/(3 sd).
    pub(crate) fn nearest(&self, mean: f64, sd: f64) -> f64 {
        let below = self.lower.map_or(f64::INFINITY, |l| mean - l);
        let above = self.upper.map_or(f64::INFINITY, |u| u - mean);
        below.min(above) / (3.0 * sd)
    }
}

/// An index above this is none: no readings show it but those without any scatter.
const NO_LIMIT: f64 = 1e6;

impl Posterior {
    /// From mean and sd of the readings (sd above 0) and the gauge's share of that sd (0 where unknown), all mm.
    pub fn new(grid: &ChiGrid, mean: f64, readings_sd: f64, gauge_sd: f64) -> Self {
        Self::correlated(grid, mean, readings_sd, gauge_sd, 1.0 / grid.n)
    }

    /// The same where the readings are correlated, `mean_variance` being the mean's variance over that of a reading.
    pub(crate) fn correlated(grid: &ChiGrid, mean: f64, readings_sd: f64, gauge_sd: f64, mean_variance: f64) -> Self {
        let nodes = grid
            .points
            .iter()
            .map(|&(w, weight)| {
                let total = readings_sd / w;
                let parts = (total * total - gauge_sd * gauge_sd).max(0.0).sqrt().max(1e-6 * total);
                Node { weight, sd: parts, mean_sd: total * mean_variance.sqrt() }
            })
            .collect();
        Self { mean, readings_sd, gauge_sd, mean_variance, nodes }
    }

    /// The confidence that at most the share `p` lies outside.
    pub(crate) fn confidence_share_at_most(&self, limits: SpecificationLimits, p: f64) -> f64 {
        let z = normal::quantile(p);
        self.confidence_mean_between(|sd| match (limits.lower, limits.upper) {
            (Some(l), Some(u)) => {
                let half = 0.5 * (u - l);
                let reach = reach_for_share(half / sd, p, z)? * sd;
                let middle = 0.5 * (l + u);
                Some((middle - reach, middle + reach))
            }
            (None, Some(u)) => Some((f64::NEG_INFINITY, u + z * sd)),
            (Some(l), None) => Some((l - z * sd, f64::INFINITY)),
            (None, None) => Some((f64::NEG_INFINITY, f64::INFINITY)),
        })
    }

    /// The confidence that the distance to the nearest limit is at least 3·`index`·sd.
    pub(crate) fn confidence_index_at_least(&self, limits: SpecificationLimits, index: f64) -> f64 {
        self.confidence_mean_between(|sd| {
            let low = limits.lower.map_or(f64::NEG_INFINITY, |l| l + 3.0 * index * sd);
            let high = limits.upper.map_or(f64::INFINITY, |u| u - 3.0 * index * sd);
            (low < high).then_some((low, high))
        })
    }

    fn confidence_mean_between(&self, zone: impl Fn(f64) -> Option<(f64, f64)>) -> f64 {
        self.nodes
            .iter()
            .filter_map(|node| {
                let (low, high) = zone(node.sd)?;
                let (a, b) = ((low - self.mean) / node.mean_sd, (high - self.mean) / node.mean_sd);
                // The difference on the side where it keeps its digits.
                let inside = if a > 0.0 { normal::sf(a) - normal::sf(b) } else { normal::cdf(b) - normal::cdf(a) };
                Some(node.weight * inside)
            })
            .sum()
    }

    /// The share outside that is not exceeded with the confidence; between 0 and 1.
    pub(crate) fn share_bound(&self, limits: SpecificationLimits, confidence: f64) -> f64 {
        let sd = (self.readings_sd.powi(2) - self.gauge_sd.powi(2)).max(1e-12 * self.readings_sd.powi(2)).sqrt();
        let estimate = limits.share_outside(self.mean, sd).clamp(1e-290, 0.5);
        // On the probit scale the confidence is nearly normal, which the root finder likes.
        let z = invert_increasing(
            &Inversion { start: normal::quantile(estimate), step: 0.3, lower: -37.0, upper: 8.0 },
            |z| probit(self.confidence_share_at_most(limits, normal::cdf(z))) - normal::quantile(confidence),
        );
        normal::cdf(z)
    }

    /// The share that is outside at least, with the confidence. The total is at least the share beyond either limit, whose own lower bound is exact; the
    /// generalised bound of the total would understate its error (93 % instead of 95 in simulation).
    pub(crate) fn least_share(&self, limits: SpecificationLimits, confidence: f64) -> f64 {
        limits.sides().map(|side| self.share_bound(side, 1.0 - confidence)).fold(0.0, f64::max)
    }

    /// The index that is exceeded with the confidence.
    pub(crate) fn index_bound(&self, limits: SpecificationLimits, confidence: f64) -> f64 {
        let sd = (self.readings_sd.powi(2) - self.gauge_sd.powi(2)).max(1e-12 * self.readings_sd.powi(2)).sqrt();
        let start = limits.nearest(self.mean, sd);
        let index = -invert_increasing(
            &Inversion { start: -start, step: 0.05 * (1.0 + start.abs()), lower: -1e7, upper: 1e7 },
            |minus| probit(self.confidence_index_at_least(limits, -minus)) - normal::quantile(confidence),
        );
        // Of readings all alike no index is too large: the end of the search is no figure.
        if index >= NO_LIMIT { f64::INFINITY } else { index }
    }

    /// The readings' mean, mm, about which the mean is open.
    pub(crate) fn mean(&self) -> f64 {
        self.mean
    }

    /// About 24 slices of one sd each that stand for the whole distribution; within a slice the mean is normal.
    pub fn slices(&self) -> Vec<Slice> {
        let largest = self.nodes.iter().map(|n| n.weight).fold(0.0, f64::max);
        let kept: Vec<&Node> = self.nodes.iter().filter(|n| n.weight > 1e-5 * largest).collect();
        // Every so many nodes: the trapezoidal rule in ln σ stays accurate with a few of them, and the share outside is smooth in σ.
        let stride = (kept.len() / 24).max(1);
        kept.iter().step_by(stride).map(|n| Slice { sd: n.sd, mean_sd: n.mean_sd, weight: n.weight }).collect()
    }

    /// The closed outline of highest density in (bias, sd) that holds the confidence.
    pub fn region(&self, nominal: f64, confidence: f64) -> Vec<(f64, f64)> {
        // Density in (mean, sd of the parts): φ((μ − x̄)/e)/e times that of σ_parts; the weight is a density in ln σ, and
        // dσ_parts/d ln σ = σ²/σ_parts.
        let height = |node: &Node| node.weight * node.sd * self.mean_variance / node.mean_sd.powi(3);
        let mut cells: Vec<(f64, f64)> = Vec::new();
        for node in &self.nodes {
            for k in -40..=40_i32 {
                let z = 0.1 * f64::from(k);
                cells.push((height(node) * normal::pdf(z), node.weight * normal::pdf(z)));
            }
        }
        cells.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        let total: f64 = cells.iter().map(|c| c.1).sum();
        let mut sum = 0.0;
        let mut level = 0.0;
        for (density, weight) in cells {
            sum += weight;
            level = density;
            if sum >= confidence * total {
                break;
            }
        }
        let mut left = Vec::new();
        let mut right = Vec::new();
        let mut before: Option<(f64, f64)> = None;
        for node in &self.nodes {
            let ratio = height(node) * normal::pdf(0.0) / level;
            if !(ratio > 0.0 && ratio.is_finite()) {
                continue;
            }
            // Where the density passes the level between two nodes the outline closes in a point, by a straight ln density.
            if let Some((sd, ln)) = before
                && (ln < 0.0) != (ratio.ln() < 0.0)
            {
                let tip = sd + (node.sd - sd) * ln / (ln - ratio.ln());
                left.push((self.mean - nominal, tip));
                right.push((self.mean - nominal, tip));
            }
            before = Some((node.sd, ratio.ln()));
            if ratio >= 1.0 {
                let half = (2.0 * ratio.ln()).sqrt() * node.mean_sd;
                left.push((self.mean - half - nominal, node.sd));
                right.push((self.mean + half - nominal, node.sd));
            }
        }
        left.reverse();
        right.extend(left);
        right
    }
}

/// Φ⁻¹ kept finite at 0 and 1, so that a root finder can climb towards where something happens.
fn probit(confidence: f64) -> f64 {
    normal::quantile(confidence.clamp(1e-300, 1.0 - 1e-16))
}

/// u with Φ(u − H) + Φ(−u − H) = p: how many sd the mean may be off the middle of limits 2H sd apart; None where even a centred mean
/// leaves more than p outside. Newton's method from the right of the root.
pub(crate) fn reach_for_share(half_in_sd: f64, p: f64, z: f64) -> Option<f64> {
    if 2.0 * normal::cdf(-half_in_sd) > p {
        return None;
    }
    // The root with the near limit alone; not negative, since Φ(−H) < p here.
    let mut u = (half_in_sd + z).max(0.0);
    for _ in 0..30 {
        let far = normal::cdf(-u - half_in_sd);
        if far < 1e-12 * p {
            break;
        }
        let excess = normal::cdf(u - half_in_sd) + far - p;
        let slope = normal::pdf(u - half_in_sd) - normal::pdf(u + half_in_sd);
        let next = if slope > 0.0 { (u - excess / slope).max(0.0) } else { 0.0 };
        let moved = (next - u).abs();
        u = next;
        if moved < 1e-10 * (1.0 + u) {
            break;
        }
    }
    Some(u)
}
