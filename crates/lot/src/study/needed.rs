//! What would settle a lot that is not shown, and how far from its limits it is: asked of a result when it is shown.

use super::options::{LotOptions, ShapeKnowledge};
use super::result::{Doubt, LotResult, LotStudy};
use super::share::Basis;
use crate::bound::Shapes;
use crate::capability::count_upper_bound;
use crate::posterior::{ChiGrid, Posterior, SpecificationLimits};
use crate::sample::{Moments, spread_ties};
use packdrift_numerics::normal;

/// Most parts that are thought of.
const MOST: usize = 5000;

/// The smallest n up to [`MOST`] that is enough, of those some per cent apart.
fn smallest(from: usize, enough: impl Fn(usize) -> bool) -> Option<usize> {
    if !enough(MOST) {
        return None;
    }
    let (mut low, mut high) = (from.min(MOST - 1), MOST);
    // Nobody plans a sample to the part: within a fiftieth.
    while high - low > 1 + low / 50 {
        let middle = usize::midpoint(low, high);
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

pub(super) fn parts_needed(lot: &LotResult, options: &LotOptions) -> Option<usize> {
    let share = lot.share_outside?;
    // Both limits nearer by what all readings may be off: no smaller than what the verdict asks for.
    let off = options.instrument.common_error(options.instrument.repeatability.unwrap_or(0.0), options.confidence);
    let limits = SpecificationLimits::of(lot.drawing)?.drawn_in(off)?;
    let sd = lot.sd.filter(|s| *s > 0.0);
    let counts = |n: usize| count_upper_bound(share.counted, n, options.confidence) <= options.max_out;
    match share.basis {
        Basis::Count | Basis::Curve => smallest(lot.n, counts),
        Basis::Normal => smallest(lot.n, |n| {
            sd.is_some_and(|sd| {
                Posterior::new(&ChiGrid::new(n), lot.mean, sd, lot.gauge_sd).share_bound(limits, options.confidence)
                    <= options.max_out
            })
        }),
        // As if the further parts were those of a normal lot of this mean and sd without luck in it.
        Basis::Shapes { .. } => smallest(lot.n, |n| {
            sd.is_some_and(|sd| {
                let nf = n as f64;
                let z: Vec<f64> = (1..=n).map(|i| normal::quantile((i as f64 - 0.375) / (nf + 0.25))).collect();
                let own = Moments::of(&z).sd();
                let values: Vec<f64> = z.iter().map(|z| lot.mean + sd * z / own).collect();
                let shapes = Shapes::new(&values, lot.mean, sd, lot.gauge_sd.min(sd));
                shapes.open_share(limits, &shapes.agreements(), options.confidence).upper <= options.max_out
            })
        }),
        Basis::Order { .. } | Basis::Sorted { .. } => None,
    }
}

pub(super) fn margin_factor(lot: &LotResult, study: &LotStudy) -> Option<f64> {
    let options = &study.options;
    let share = lot.share_outside?;
    let limits = SpecificationLimits::of(lot.drawing)?;
    lot.sd.filter(|s| *s > 0.0)?;
    // The bar is that of the readings as they are; where another reason decides there is none.
    if matches!(lot.doubt, Some(Doubt::AllOff | Doubt::SortingNotKnown | Doubt::RepeatabilityNotShown)) {
        return None;
    }
    let mut values = lot.sorted_values();
    if let Some(step) = lot.shape.resolution.step() {
        values = spread_ties(&values, step);
    }
    let moments = Moments::of(&values);
    let factor = match share.basis {
        Basis::Normal => normal_factor(lot, &moments, limits, options),
        Basis::Shapes { .. } if options.shape != ShapeKnowledge::Alike => {
            let shapes = Shapes::new(&values, moments.mean, moments.sd(), lot.gauge_sd.min(moments.sd()));
            shapes.factor(limits, &shapes.agreements(), options.confidence, options.max_out)
        }
        _ => return None,
    };
    factor.is_finite().then_some(factor)
}

fn normal_factor(lot: &LotResult, moments: &Moments, limits: SpecificationLimits, options: &LotOptions) -> f64 {
    let (mean, sd) = (moments.mean, moments.sd());
    if limits.lower.is_some_and(|l| l >= mean) || limits.upper.is_some_and(|u| u <= mean) {
        return f64::INFINITY;
    }
    let posterior = Posterior::new(&ChiGrid::new(lot.n), mean, sd, lot.gauge_sd);
    let kept = |factor: f64| {
        let moved = |x: f64| mean + factor * (x - mean);
        let limits = SpecificationLimits { lower: limits.lower.map(moved), upper: limits.upper.map(moved) };
        posterior.confidence_share_at_most(limits, options.max_out) >= options.confidence
    };
    let (mut low, mut high) = (1e-3_f64.ln(), 1000.0_f64.ln());
    if !kept(high.exp()) {
        return f64::INFINITY;
    }
    while high - low > 5e-4 {
        let middle = 0.5 * (low + high);
        if kept(middle.exp()) { high = middle } else { low = middle }
    }
    high.exp()
}
