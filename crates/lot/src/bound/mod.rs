//! The share outside that the readings of a lot leave open, over every description of the lot that they do not rule out.
//!
//! A few dozen readings do not tell a normal lot from one with longer tails, and it is the tails that lie outside the limits. So the bound is not that of
//! one fitted shape. Every [`Candidate`] has its own bound, exact where the lot has that shape ([`location_scale`]), and a weight: how well it agrees with the
//! readings, against the likeliest. The verdict's bound is
//!
//! max over shapes of the quantile of order 1 − α/r of the share outside, r = min(1, 2·agreement/largest agreement), shapes with r ≤ α left out.
//!
//! A shape that is at least half as likely as the likeliest counts in full; one that the readings speak against is asked for less; one that they contradict
//! counts no more. If the lot has one of the shapes, it is accepted at the boundary with a chance of at most α while its own shape counts in full, and a
//! little more where chance speaks against it: tests/decisions.rs has the measured figures, also for lots of none of these shapes.
//!
//! The lower bound, by which a lot is refused, is the least over the same list and a hard [`edge`] either way.
//!
//! Where the order of manufacture is known, the same is done over the correlation of neighbours ([`serial`]). A lot sorted piece by piece has a model of its
//! own ([`sorted`]).
//!
//! Whoever carries a lot further than a drawing (`packdrift-lotpack`) asks for the descriptions themselves: [`LeftOpen`].

mod candidate;
mod edge;
mod limits;
mod location_scale;
mod open;
mod serial;
mod sorted;

pub use candidate::Candidate;
pub(crate) use open::orders_left_open;
pub use open::{Description, LeftOpen, OpenNode};

use crate::posterior::{ChiGrid, SpecificationLimits};
use candidate::CANDIDATES;
use edge::Edge;
use limits::{Node, Scaled, shares};
use location_scale::Standardised;

/// A candidate that is at least one in so many as likely as the likeliest counts in full.
const FULL: f64 = 2.0;

/// A share outside as far as readings tell it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenShare<M> {
    /// Half way: the median under the description that agrees best.
    pub estimate: f64,
    /// Not below this, with the confidence, under any description that is not ruled out.
    pub lower: f64,
    /// Not above this.
    pub upper: f64,
    /// The description that agrees best.
    pub likeliest: M,
    /// The one that sets the upper bound.
    pub deciding: M,
}

/// One lot's readings under every candidate.
#[derive(Debug)]
pub(crate) struct Shapes {
    mean: f64,
    sd: f64,
    gauge_sd: f64,
    /// Of the candidates, then of the edges.
    ln_agreements: Vec<f64>,
    nodes: Vec<Vec<Node>>,
    edges: [Edge; 2],
}

impl Shapes {
    /// Of sorted readings with their own mean and sd (above 0), and the gauge's share of that sd, mm.
    pub(crate) fn new(sorted: &[f64], mean: f64, sd: f64, gauge_sd: f64) -> Self {
        let readings = Standardised::new(sorted, mean, sd);
        let (mut ln_agreements, nodes): (Vec<f64>, _) =
            CANDIDATES.iter().map(|shape| readings.integrate(shape)).unzip();
        let edges = Edge::both(sorted, mean, sd);
        ln_agreements.extend(edges.iter().map(Edge::ln_agreement));
        Self { mean, sd, gauge_sd, ln_agreements, nodes, edges }
    }

    /// ln of the agreement with each candidate and each edge, less the candidates' largest.
    pub(crate) fn agreements(&self) -> Vec<f64> {
        let largest = largest(&self.ln_agreements);
        self.ln_agreements.iter().map(|a| a - largest).collect()
    }

    fn scaled(&self, limits: SpecificationLimits) -> Scaled {
        let z = |x: f64| (x - self.mean) / self.sd;
        Scaled { lower: limits.lower.map(z), upper: limits.upper.map(z), gauge: self.gauge_sd / self.sd }
    }

    /// The share outside. `agreements` are those of the lot itself, or of all lots of its kind together.
    pub(crate) fn open_share(
        &self,
        limits: SpecificationLimits,
        agreements: &[f64],
        confidence: f64,
    ) -> OpenShare<Candidate> {
        let scaled = self.scaled(limits);
        let largest = largest(agreements);
        let answers = CANDIDATES.iter().zip(&self.nodes).zip(agreements).map(|((shape, nodes), agreement)| {
            let ln = agreement - largest;
            let quantile = move |p: [f64; 3]| {
                let open = shares(shape, nodes, &scaled);
                p.map(|p| open.quantile(p))
            };
            (shape.shape, ln, quantile)
        });
        let mut open = worst(Candidate::Normal, answers, 1.0 - confidence, FULL);
        let edges = agreements.get(CANDIDATES.len()..).unwrap_or_default();
        for (edge, agreement) in self.edges.iter().zip(edges) {
            let order = order(agreement - largest, 1.0 - confidence, FULL);
            if let Some(order) = order {
                open.lower = open.lower.min(edge.quantile(&scaled, order.min(0.5)));
            }
        }
        open
    }

    /// By which factor both limits may be brought nearer to the mean (below 1), or must be moved away from it, for the upper bound to be just `max_out`;
    /// infinite where no factor up to a thousand does. A limit on the far side of the mean has no such factor: infinite.
    pub(crate) fn factor(&self, limits: SpecificationLimits, agreements: &[f64], confidence: f64, max_out: f64) -> f64 {
        let scaled = self.scaled(limits);
        if scaled.lower.is_some_and(|l| l >= 0.0) || scaled.upper.is_some_and(|u| u <= 0.0) {
            return f64::INFINITY;
        }
        let largest = largest(agreements);
        let alpha = 1.0 - confidence;
        let kept = |factor: f64| {
            let moved = scaled.moved(factor);
            CANDIDATES.iter().zip(&self.nodes).zip(agreements).all(|((shape, nodes), agreement)| {
                let Some(order) = order(agreement - largest, alpha, FULL) else { return true };
                let (above, total) = nodes.iter().fold((0.0, 0.0), |(above, total), node| {
                    let out = moved.outside(shape, node.mean, node.sd) > max_out;
                    (above + if out { node.weight } else { 0.0 }, total + node.weight)
                });
                above <= order * total
            })
        };
        if !kept(1000.0) {
            return f64::INFINITY;
        }
        let (mut low, mut high) = (1e-3_f64.ln(), 1000.0_f64.ln());
        while high - low > 5e-4 {
            let middle = 0.5 * (low + high);
            if kept(middle.exp()) { high = middle } else { low = middle }
        }
        high.exp()
    }
}

/// The share outside of parts in the order they were made, over the correlation of neighbours. `values` in that order, at least 3 and not all equal.
pub(crate) fn in_order(
    values: &[f64],
    grid: &ChiGrid,
    gauge_sd: f64,
    limits: SpecificationLimits,
    confidence: f64,
) -> OpenShare<f64> {
    let all = serial::correlated(values, grid, gauge_sd);
    let largest = all.iter().map(|c| c.ln_agreement).fold(f64::NEG_INFINITY, f64::max);
    let answers = all.iter().map(|c| {
        let quantile = |[low, middle, high]: [f64; 3]| {
            let least = c.posterior.least_share(limits, 1.0 - low);
            [least, c.posterior.share_bound(limits, middle), c.posterior.share_bound(limits, high)]
        };
        (c.correlation, c.ln_agreement - largest, quantile)
    });
    // The likeliest correlation of independent parts is as often as not above 0, so no more than the likeliest counts in full.
    worst(0.0, answers, 1.0 - confidence, 1.0)
}

/// How well independent parts agree with readings in some order, against the likeliest correlation of neighbours: between 0 and 1.
pub(crate) fn independence(values: &[f64], grid: &ChiGrid) -> f64 {
    let all = serial::correlated(values, grid, 0.0);
    let largest = all.iter().map(|c| c.ln_agreement).fold(f64::NEG_INFINITY, f64::max);
    all.first().map_or(1.0, |none| (none.ln_agreement - largest).exp())
}

/// What a lot sorted piece by piece leaves open, by a sorting gauge of standard uncertainty u, mm: (median, lower, upper). None where there are too few parts.
pub(crate) fn sorted_share(
    values: &[f64],
    sd: f64,
    limits: SpecificationLimits,
    u: f64,
    confidence: f64,
) -> Option<OpenShare<()>> {
    let open = sorted::open_shares(values, sd, limits, u)?;
    let [lower, estimate, upper] = [1.0 - confidence, 0.5, confidence].map(|p| open.quantile(p));
    Some(OpenShare { estimate, lower, upper, likeliest: (), deciding: () })
}

/// Whether one lot's readings rule out the shape that all lots together agree with best.
pub(crate) fn rules_out_the_best(own: &[f64], together: &[f64], confidence: f64) -> bool {
    let best = (0..CANDIDATES.len().min(together.len())).max_by(|&a, &b| together[a].total_cmp(&together[b]));
    best.is_some_and(|best| order(own[best] - largest(own), 1.0 - confidence, FULL).is_none())
}

/// The largest of the candidates' agreements.
fn largest(agreements: &[f64]) -> f64 {
    agreements.iter().take(CANDIDATES.len()).copied().fold(f64::NEG_INFINITY, f64::max)
}

/// α/r, the order to which a description's bound is asked for; None where it is ruled out. `ln_agreement` less the largest.
fn order(ln_agreement: f64, alpha: f64, full: f64) -> Option<f64> {
    let weight = (full * ln_agreement.exp()).min(1.0);
    (weight > alpha).then(|| alpha / weight)
}

/// The worst over descriptions: (description, ln of its agreement less the largest, quantiles of the share outside at three orders).
fn worst<M: Copy, Q: FnOnce([f64; 3]) -> [f64; 3]>(
    first: M,
    answers: impl Iterator<Item = (M, f64, Q)>,
    alpha: f64,
    full: f64,
) -> OpenShare<M> {
    let mut open = OpenShare { estimate: f64::NAN, lower: 1.0, upper: 0.0, likeliest: first, deciding: first };
    let mut best = f64::NEG_INFINITY;
    for (description, ln_agreement, quantile) in answers {
        let Some(order) = order(ln_agreement, alpha, full) else { continue };
        let [lower, median, upper] = quantile([order.min(0.5), 0.5, (1.0 - order).max(0.5)]);
        open.lower = open.lower.min(lower);
        if upper > open.upper {
            (open.upper, open.deciding) = (upper, description);
        }
        if ln_agreement > best {
            (best, open.estimate, open.likeliest) = (ln_agreement, median, description);
        }
    }
    open
}
