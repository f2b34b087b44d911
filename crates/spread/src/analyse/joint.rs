//! All requirements together.

use super::requirement::Setting;
use super::run::Common;
use crate::any_outside::AnyOutside;
use crate::error::SpreadError;
use crate::interval::{estimate_interval, sure_estimate_interval};
use crate::method::Method;
use crate::monte_carlo::Bounds;
use crate::questions::Limits;
use crate::rare::{self, Cause, Event, SampledShare};
use crate::result::{Estimate, Joint, Share};
use crate::union::{HalfSpace, union};

/// Relative standard error up to which the common run's count of failing packs stands.
const COUNTED_WELL: f64 = 0.03;

/// What is known of one requirement.
#[derive(Clone, Copy)]
pub(super) struct Single<'a> {
    pub(super) out: Share,
    pub(super) method: Method,
    pub(super) limits: &'a Limits,
}

/// None where no requirement has limits.
pub(super) fn joint(
    bounds: &[Bounds],
    common: &Common,
    singles: &[Single<'_>],
    correlation: Vec<Vec<Option<f64>>>,
    seed: u64,
) -> Option<Joint> {
    if bounds.iter().all(|&bounds| bounds == Bounds::NONE) {
        return None;
    }
    let (out, ci95) = joint_share(bounds, common, singles, seed);
    let sum = singles.iter().map(|single| single.out.total).sum::<f64>().min(1.0);
    Some(Joint { out, ci95, bound: bound(common, singles, out.value), sum, correlation })
}

/// The share of failing packs is not above this, at three standard errors: what was counted bounds it, and so does the sum of the single
/// shares' bounds, whatever their dependence.
pub(super) fn bound(common: &Common, singles: &[Single<'_>], estimate: f64) -> f64 {
    let sum: f64 = singles.iter().map(|single| single.out.bounds.1).sum();
    let (_, counted) = common.partial().joint_bounds();
    sum.min(counted).clamp(estimate.min(1.0), 1.0)
}

/// Relative standard error asked of the joint share where tolerances are to be held against it.
const ASKED: f64 = 0.004;

/// The joint share as an event of its own, its 95 % interval, and what it is not above at three standard errors: to hold tolerances against.
pub(super) fn by_rare_event(
    setting: &Setting<'_>,
    singles: &[Single<'_>],
    sds: &[Option<f64>],
    ceiling: f64,
) -> Result<(Estimate, (f64, f64), f64), SpreadError> {
    let Setting { bounds, common, population, options, progress, model, .. } = *setting;
    let (estimate, ci95) = joint_share(bounds, common, singles, options.seed);
    let limited = bounds.iter().filter(|bounds| **bounds != Bounds::NONE).count();
    let by_sum = bound(common, singles, 0.0);
    let largest = singles.iter().map(|single| single.out.total).fold(0.0, f64::max);
    // Alone, or one so much larger than the others that it and the sum of all bounds are nearly one: nothing to find.
    if limited < 2 || by_sum < largest * 1.005 {
        let value = estimate.value.clamp(largest.min(by_sum), by_sum);
        return Ok((Estimate { value, ..estimate }, ci95, by_sum));
    }
    let any = AnyOutside::new(model, bounds, sds.iter().copied());
    let half_spaces = singles.iter().flat_map(|single| &single.limits.half_spaces).filter(|h| h.share > 1e-3 * ceiling);
    let starts: Vec<Vec<f64>> = half_spaces.map(|h| h.direction.iter().map(|d| d * h.beta()).collect()).collect();
    let (counted, _) = common.joint_out();
    let sampled = SampledShare {
        share: counted.value,
        standard_error: counted.standard_error,
        points: common.partial().trials(),
    };
    let rare = rare::share(
        &any,
        population,
        &rare::Question {
            event: Event::of_limits(Cause::Above, None, Some(0.0)),
            until: Some(ASKED),
            floor: 1e-3 * ceiling,
            seed: options.seed,
            purpose: "joint",
            sampled: Some(sampled),
            starts: &starts,
        },
        progress,
    )?;
    let high = sure_estimate_interval(rare.share.value, rare.share.standard_error).1 + rare.bound;
    let ci95 = estimate_interval(rare.share.value, rare.share.standard_error);
    // What is known to be possible of a requirement but was seen nowhere is possible of all.
    let unseen: f64 = singles.iter().filter(|s| s.out.total == 0.0).map(|s| s.out.bounds.1).sum();
    Ok((rare.share, ci95, (high + unseen).min(by_sum).max(rare.share.value)))
}

/// The joint share by counting, or where too few packs failed for that and sharper shares are at hand, from those and how their limits depend
/// on each other.
pub(super) fn joint_share(
    bounds: &[Bounds],
    common: &Common,
    singles: &[Single<'_>],
    seed: u64,
) -> (Estimate, (f64, f64)) {
    let sharp = singles.iter().any(|single| single.method != Method::MonteCarlo);
    // With limits in one requirement alone there is nothing to join.
    let mut limited = singles.iter().zip(bounds).filter(|(_, bounds)| **bounds != Bounds::NONE).map(|(s, _)| s.out);
    if let (Some(only), None) = (limited.next(), limited.next())
        && sharp
    {
        return (Estimate { value: only.total, standard_error: only.standard_error }, only.ci95);
    }
    let (mut out, mut ci95) = common.joint_out();
    if sharp && out.standard_error > COUNTED_WELL * out.value {
        let all: Vec<HalfSpace> = singles.iter().flat_map(|single| single.limits.half_spaces.iter().cloned()).collect();
        out = union(&all, seed);
        let of_shares = singles.iter().map(|single| single.out.standard_error.powi(2)).sum::<f64>().sqrt();
        out.standard_error = out.standard_error.hypot(of_shares);
        ci95 = estimate_interval(out.value, out.standard_error);
        let sum: f64 = singles.iter().map(|single| single.out.ci95.1).sum();
        // What was seen nowhere has no half-space.
        ci95.1 = ci95.1.max(sum.min(common.joint_out().1.1));
    }
    (out, ci95)
}
