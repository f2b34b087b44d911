//! Working memory of one block.

use super::Plan;
use super::lane::{LANES, Lane};

/// Lanes that one bay in one condition needs at a time, made for the largest bay of a plan.
#[derive(Debug, Clone)]
pub(super) struct Work {
    pub(super) copies: [Lane; 4],
    pub(super) solids: Lane,
    pub(super) interference: Lane,
    /// NaN where a washer cannot exist.
    pub(super) room: Lane,
    pub(super) load: Lane,
    /// Sum of solids to the left of each mark.
    pub(super) marks: Vec<Lane>,
    /// Of each spring washer.
    pub(super) heights: Vec<Lane>,
    /// One trial's dimension values, for the scalar solver.
    pub(super) x: Vec<f64>,
    pub(super) deflections: Vec<f64>,
}

impl Work {
    pub(super) fn new(plan: &Plan) -> Self {
        let most = |count: fn(&super::BayPlan) -> usize| plan.bays.iter().map(count).max().unwrap_or(0);
        let zero = [0.0; LANES];
        Self {
            copies: [zero; 4],
            solids: zero,
            interference: zero,
            room: zero,
            load: zero,
            marks: vec![zero; most(|bay| bay.marks.len())],
            heights: vec![zero; most(|bay| bay.springs.len())],
            x: vec![f64::NAN; plan.dimensions],
            deflections: vec![0.0; most(|bay| bay.springs.len())],
        }
    }
}
