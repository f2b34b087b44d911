//! The descriptions of a lot that its readings do not rule out, each with the means and sds that it leaves open: for whoever carries a lot further than a
//! drawing's limits, into a pack.

use super::candidate::{CANDIDATES, Candidate, Standard};
use super::edge::Edge;
use super::limits::{Node, Scaled};
use super::{FULL, Shapes, largest, order, serial};
use crate::posterior::ChiGrid;

/// What a lot's scatter may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Description {
    /// Of this shape.
    Shape(Candidate),
    /// Beginning at a hard edge and thinning out, the long tail up or down.
    Edge {
        /// Whether it is up.
        up: bool,
    },
    /// Normal, with neighbours in the order made that resemble each other.
    Order {
        /// Correlation of neighbours.
        correlation: f64,
    },
}

/// A mean and an sd of the parts that the readings leave open, mm, with its weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenNode {
    /// mm.
    pub mean: f64,
    /// The gauge's share taken out, mm.
    pub sd: f64,
    /// Not normalised.
    pub weight: f64,
}

/// A description that the readings do not rule out.
#[derive(Debug, Clone)]
pub struct LeftOpen {
    /// What it is.
    pub description: Description,
    /// α/r: of whatever follows from mean and sd, the quantile of order 1 − this is the upper bound under it, that of order this (at most one half) the
    /// lower one.
    pub order: f64,
    /// Means and sds.
    pub nodes: Vec<OpenNode>,
    deviate: Deviate,
}

#[derive(Debug, Clone, Copy)]
enum Deviate {
    Standard(&'static Standard),
    Edge(Edge),
}

impl LeftOpen {
    /// A part of this normal score, in sds from the mean.
    pub fn part(&self, score: f64) -> f64 {
        match self.deviate {
            Deviate::Standard(standard) => standard.draw(score),
            Deviate::Edge(edge) => edge.draw(score),
        }
    }

    /// Whether it is there for the lower bound alone: an edge's thin side could only lower an upper one.
    pub fn only_below(&self) -> bool {
        matches!(self.description, Description::Edge { .. })
    }
}

/// Weights below this part of the heaviest move no bound of 99 % confidence.
const LIGHT: f64 = 1e-4;

impl Shapes {
    /// Every shape and edge that the readings do not rule out. `agreements` are those of the lot itself, or of all lots of its kind together.
    pub(crate) fn left_open(&self, agreements: &[f64], confidence: f64) -> Vec<LeftOpen> {
        let largest = largest(agreements);
        let order = |agreement: &f64| order(agreement - largest, 1.0 - confidence, FULL);
        let scaled = Scaled { lower: None, upper: None, gauge: self.gauge_sd / self.sd };
        let in_mm = |nodes: &[Node]| {
            let least = LIGHT * nodes.iter().map(|n| n.weight).fold(0.0, f64::max);
            let node = |n: &Node| OpenNode {
                mean: self.mean + self.sd * n.mean,
                sd: self.sd * scaled.parts(n.sd),
                weight: n.weight,
            };
            nodes.iter().filter(|n| n.weight > least).map(node).collect()
        };
        let shapes = CANDIDATES.iter().zip(&self.nodes).zip(agreements).filter_map(|((standard, nodes), agreement)| {
            Some(LeftOpen {
                description: Description::Shape(standard.shape),
                order: order(agreement)?,
                nodes: in_mm(nodes),
                deviate: Deviate::Standard(standard),
            })
        });
        let of_edges = agreements.get(CANDIDATES.len()..).unwrap_or_default();
        let edges = self.edges.iter().zip(of_edges).zip([true, false]).filter_map(|((edge, agreement), up)| {
            Some(LeftOpen {
                description: Description::Edge { up },
                order: order(agreement)?,
                nodes: in_mm(&edge.nodes()),
                deviate: Deviate::Edge(*edge),
            })
        });
        shapes.chain(edges).collect()
    }
}

/// Of parts in the order they were made, every correlation of neighbours that is not ruled out. `values` in that order, at least 3 and not all equal.
pub(crate) fn orders_left_open(values: &[f64], grid: &ChiGrid, gauge_sd: f64, confidence: f64) -> Vec<LeftOpen> {
    let all = serial::correlated(values, grid, gauge_sd);
    let largest = all.iter().map(|c| c.ln_agreement).fold(f64::NEG_INFINITY, f64::max);
    let open = |c: &serial::Correlated| {
        let order = order(c.ln_agreement - largest, 1.0 - confidence, 1.0)?;
        let mean = c.posterior.mean();
        let across = |slice: crate::posterior::Slice| {
            (-20..=20_i32).map(move |k| {
                let z = 0.25 * f64::from(k);
                let weight = slice.weight * packdrift_numerics::normal::pdf(z);
                OpenNode { mean: mean + z * slice.mean_sd, sd: slice.sd, weight }
            })
        };
        let nodes = c.posterior.slices().into_iter().flat_map(across).collect();
        let description = Description::Order { correlation: c.correlation };
        Some(LeftOpen { description, order, nodes, deviate: Deviate::Standard(&CANDIDATES[0]) })
    };
    all.iter().filter_map(open).collect()
}
