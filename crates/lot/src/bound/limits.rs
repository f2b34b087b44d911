//! Limits in the readings' own scale, and the distribution of a share that the readings leave open.

use super::candidate::Standard;

/// Limits less the readings' mean, over the readings' sd; and the gauge's sd over the readings' sd.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scaled {
    pub(super) lower: Option<f64>,
    pub(super) upper: Option<f64>,
    pub(super) gauge: f64,
}

impl Scaled {
    /// The share of parts outside where the readings have this mean and sd: the gauge's variance is taken out of theirs.
    pub(super) fn outside(&self, shape: &Standard, mean: f64, sd: f64) -> f64 {
        let parts = self.parts(sd);
        self.lower.map_or(0.0, |l| shape.below((l - mean) / parts))
            + self.upper.map_or(0.0, |u| shape.above((u - mean) / parts))
    }

    /// Sd of the parts where the readings have this sd.
    pub(super) fn parts(&self, sd: f64) -> f64 {
        (sd * sd - self.gauge * self.gauge).max(1e-12 * sd * sd).sqrt()
    }

    /// Both limits brought nearer to the mean, or away from it, by a factor.
    pub(super) fn moved(&self, factor: f64) -> Self {
        Self { lower: self.lower.map(|l| factor * l), upper: self.upper.map(|u| factor * u), gauge: self.gauge }
    }
}

/// A mean and an sd of the readings that they leave open, in their own sds from their own mean, with its weight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    pub(super) mean: f64,
    pub(super) sd: f64,
    pub(super) weight: f64,
}

/// The share outside at every node.
pub(super) fn shares(shape: &Standard, nodes: &[Node], limits: &Scaled) -> OpenShares {
    let mut open = OpenShares::default();
    for node in nodes {
        open.push(limits.outside(shape, node.mean, node.sd), node.weight);
    }
    open.sort();
    open
}

/// Shares with their weights.
#[derive(Debug, Clone, Default)]
pub(super) struct OpenShares {
    points: Vec<(f64, f64)>,
    total: f64,
}

impl OpenShares {
    pub(super) fn push(&mut self, share: f64, weight: f64) {
        self.points.push((share, weight));
        self.total += weight;
    }

    /// By rising share, once all are there.
    pub(super) fn sort(&mut self) {
        self.points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    }

    /// The share below which the part p of the distribution lies; linear between the points, each of which stands for the weight around it.
    pub(super) fn quantile(&self, p: f64) -> f64 {
        let target = p * self.total;
        let mut before = 0.0;
        let mut last: Option<(f64, f64)> = None;
        for &(share, weight) in &self.points {
            let middle = before + 0.5 * weight;
            if middle >= target {
                return last.map_or(share, |(s, m)| s + (share - s) * (target - m) / (middle - m));
            }
            last = Some((share, middle));
            before += weight;
        }
        last.map_or(1.0, |l| l.0)
    }
}
