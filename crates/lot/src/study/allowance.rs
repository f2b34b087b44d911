//! What a shape that the readings do not show may add to a share that was computed for a normal lot, away from any drawing limit: in a pack, say.

use super::options::{LotOptions, ShapeKnowledge};
use super::result::LotResult;
use crate::bound::Shapes;
use crate::posterior::{ChiGrid, Posterior, SpecificationLimits};
use crate::sample::{Moments, spread_ties};

/// Shares below this are looked at as if they were this: no shape is known to such a tail.
const LEAST: f64 = 1e-12;

/// The upper bound over the shapes that a lot's readings do not rule out, where that of a normal lot is `share`: of parts beyond a limit, on either side, that lies
/// where the normal bound is `share`; the worse side. `share` itself of a lot that its user knows to be normal and whose readings do not contradict it.
///
/// Never below `share`; 1 of readings without scatter.
pub fn bound_over_shapes(lot: &LotResult, options: &LotOptions, share: f64) -> f64 {
    if options.shape == ShapeKnowledge::Normal && !lot.shape.contradicts_normal() {
        return share;
    }
    let mut values = lot.sorted_values();
    if let Some(step) = lot.shape.resolution.step() {
        values = spread_ties(&values, step);
    }
    let moments = Moments::of(&values);
    let (mean, sd) = (moments.mean, moments.sd());
    if sd.is_nan() || sd <= 1e-9 * mean.abs() || share >= 0.5 {
        return 1.0;
    }
    let confidence = options.confidence;
    let shapes = Shapes::new(&values, mean, sd, lot.gauge_sd.min(sd));
    let own = shapes.agreements();
    let normal = Posterior::new(&ChiGrid::new(lot.n), mean, sd, lot.gauge_sd);
    let level = share.max(LEAST);
    let beyond = |side: f64| {
        let limits = |t: f64| {
            let limit = Some(mean + side * t * sd);
            let (lower, upper) = if side < 0.0 { (limit, None) } else { (None, limit) };
            SpecificationLimits { lower, upper }
        };
        // The bound falls as the limit moves away; a thousand sds are beyond any.
        let (mut near, mut far) = (-10.0, 1000.0);
        for _ in 0..60 {
            let middle = 0.5 * (near + far);
            if normal.share_bound(limits(middle), confidence) > level { near = middle } else { far = middle }
        }
        shapes.open_share(limits(near), &own, confidence).upper
    };
    beyond(-1.0).max(beyond(1.0)).max(share)
}
