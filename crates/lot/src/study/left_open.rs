//! What a judged lot's readings leave open, for whoever carries it further than its drawing.

use super::options::{LotOptions, ShapeKnowledge};
use super::result::LotResult;
use crate::bound::{self, LeftOpen, Shapes};
use crate::posterior::ChiGrid;
use crate::sample::{Moments, spread_ties};

pub(super) fn left_open(lot: &LotResult, options: &LotOptions) -> Vec<LeftOpen> {
    let values: Vec<f64> = lot.parts.iter().map(|p| p.value).collect();
    if lot.sd.is_none_or(|sd| sd <= 1e-9 * lot.mean.abs()) {
        return Vec::new();
    }
    let confidence = options.confidence;
    let mut open = Vec::new();
    if options.shape != ShapeKnowledge::Normal || lot.shape.contradicts_normal() {
        let sorted = lot.sorted_values();
        let spread = lot.shape.resolution.step().map_or_else(|| sorted.clone(), |step| spread_ties(&sorted, step));
        let moments = Moments::of(&spread);
        let shapes = Shapes::new(&spread, moments.mean, moments.sd(), lot.gauge_sd.min(moments.sd()));
        let own = shapes.agreements();
        open.extend(shapes.left_open(lot.agreements_of_all.as_deref().unwrap_or(&own), confidence));
    }
    if (lot.ordered || lot.neighbours_alike) && values.len() >= 3 {
        open.extend(bound::orders_left_open(&values, &ChiGrid::new(lot.n), lot.gauge_sd, confidence));
    }
    open
}
