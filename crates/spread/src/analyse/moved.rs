//! The share of packs beyond a limit, as that limit is moved: what a page reads when its reader asks "and if the limit were there?".
//!
//! Exact where the requirement has an exact distribution. Elsewhere shares above a tenth are counted in scrambled Sobol' points, and
//! smaller ones come, one limit after the other outwards, from the engine for rare events, which is what a run at that limit would ask too.
//! Between two limits the logarithm of the share is a shape-preserving cubic: nearly straight steps, whatever the distribution.

use super::bays::NEGLIGIBLE;
use super::requirement::title;
use crate::error::SpreadError;
use crate::exact::Exact;
use crate::method::{Question, by_importance};
use crate::model::{Columns, Model, Responses};
use crate::rare::{self, Cause, Event};
use crate::result::{LimitShare, MovedLimits, Share};
use crate::stack::Stack;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::{normal, stream::BLOCK};

/// Independent scramblings, and log₂ of the points of each.
const SCRAMBLINGS: u64 = 8;
const LOG2_POINTS: u32 = 11;
/// Distance of neighbouring shares, on the normal scale.
const STEP: f64 = 0.25;
const STEP_OF_RARE: f64 = 0.5;
/// Shares are followed to this normal score, 3e-7: smaller ones decide nothing that a pack file may ask.
const FARTHEST: f64 = 5.0;
/// Of an exact distribution, shares are listed down to this many times its error.
const SURE: f64 = 100.0;

/// The curve of one requirement; `out` is what is said at its own limits, which lie on the curve.
pub(super) fn moved_limits(
    question: &Question<'_>,
    stack: &Stack,
    k: usize,
    out: &Share,
    past_peak: f64,
) -> Result<MovedLimits, SpreadError> {
    let asked = &stack.requirements[k];
    let exact = question.model.linear(0).and_then(|linear| Exact::of_linear(&question.inputs.population, &linear).ok());
    let mut moved = match exact {
        Some((exact, left_out)) => of_exact(&exact, exact.error_bound() + left_out),
        None => {
            let mut counted = counted(question);
            // On either side of a disc's largest load a limit is looked for apart; a curve of both is only counted.
            if past_peak <= NEGLIGIBLE * asked.max_out {
                let name = title(stack, asked);
                outwards(question, &name, Cause::Below, &mut counted.lower)?;
                outwards(question, &name, Cause::Above, &mut counted.upper)?;
            }
            counted.lower.reverse();
            counted
        }
    };
    put(&mut moved.lower, asked.lower, out.below);
    put(&mut moved.upper, asked.upper, out.above);
    Ok(moved)
}

/// Shares of an exact distribution at its own quantiles.
fn of_exact(exact: &Exact, error: f64) -> MovedLimits {
    let floor = SURE * error;
    let steps = |from: f64, to: f64| {
        let n = ((to - from) / STEP) as i32;
        (0..=n).map(move |i| from + STEP * f64::from(i))
    };
    let listed = |share: &dyn Fn(f64) -> f64| {
        let mut all: Vec<LimitShare> = steps(-6.5, 6.5)
            .map(|z| exact.quantile(normal::cdf(z)))
            .filter(|limit| limit.is_finite())
            .map(|limit| LimitShare { limit, share: share(limit) })
            .filter(|point| point.share > floor)
            .collect();
        all.dedup_by(|b, a| b.limit <= a.limit);
        all
    };
    MovedLimits { lower: listed(&|limit| exact.cdf(limit)), upper: listed(&|limit| exact.sf(limit)) }
}

/// Shares counted down to a tenth, 1600 of the points, which scrambling leaves with an error well below 1 %; the lower limits fall, the upper ones rise: both go outwards.
fn counted(question: &Question<'_>) -> MovedLimits {
    let population = &question.inputs.population;
    let rank = by_importance(question.model, population);
    let n = 1_usize << LOG2_POINTS;
    let total = SCRAMBLINGS as f64 * n as f64;
    let mut ends: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    let mut u = Columns::new(population.coordinates(), n);
    let mut x = Columns::new(population.inputs(), BLOCK);
    let mut responses = Responses::new(question.model.responses(), BLOCK);
    for number in 0..SCRAMBLINGS {
        let points =
            Scrambling { seed: question.options.seed, purpose: "moved limits", number, log2_points: LOG2_POINTS };
        for (coordinate, &rank) in rank.iter().enumerate() {
            points.fill_normal(rank, u.column_mut(coordinate));
        }
        for block in 0..n / BLOCK {
            population.to_x_part(&u, block * BLOCK, &mut x, |_| true);
            question.model.respond_block(&x, &mut responses);
            let (low, high) = responses.ends(0);
            // What cannot be assembled has no ends, and is outside wherever the limit is.
            ends[0].extend(low.iter().filter(|v| v.is_finite()));
            ends[1].extend(high.iter().filter(|v| v.is_finite()));
        }
    }
    let [mut low, mut high] = ends;
    low.sort_by(f64::total_cmp);
    high.sort_by(|a, b| b.total_cmp(a));
    // The k-th of the sorted ends has k before it and itself half.
    let listed = |sorted: &[f64]| {
        let mut all: Vec<LimitShare> = Vec::new();
        // From nearly all outside to a tenth.
        for step in -14..=5 {
            let share = normal::sf(STEP * f64::from(step));
            let k = (share * total - 0.5).round() as usize;
            if k < sorted.len() {
                all.push(LimitShare { limit: sorted[k], share: (k as f64 + 0.5) / total });
            }
        }
        all.dedup_by(|b, a| b.limit.total_cmp(&a.limit).is_eq());
        all
    };
    MovedLimits { lower: listed(&low), upper: listed(&high) }
}

/// Goes on outwards from the last share that was counted, a step of the normal score at a time.
fn outwards(
    question: &Question<'_>,
    name: &str,
    cause: Cause,
    points: &mut Vec<LimitShare>,
) -> Result<(), SpreadError> {
    let side = if cause == Cause::Below { "below" } else { "above" };
    while let [.., before, last] = points.as_slice() {
        let (a, b) = (normal::upper_quantile(before.share), normal::upper_quantile(last.share));
        let limit = last.limit + STEP_OF_RARE * (last.limit - before.limit) / (b - a);
        if b >= FARTHEST || b <= a || !limit.is_finite() || limit.total_cmp(&last.limit).is_eq() {
            return Ok(());
        }
        let (lower, upper) = if cause == Cause::Below { (Some(limit), None) } else { (None, Some(limit)) };
        let found = rare::share(
            question.model,
            &question.inputs.population,
            &rare::Question {
                event: Event::of_limits(cause, lower, upper),
                // The engine's own aim, 1 %: a run at that limit is no better unless it is asked to be.
                until: None,
                floor: normal::sf(FARTHEST + 1.0),
                seed: question.options.seed,
                purpose: &format!("{name}/moved/{side}"),
                sampled: None,
                starts: &[],
            },
            question.progress,
        )?;
        let share = found.share.value;
        if share <= 0.0 || share >= last.share {
            return Ok(());
        }
        points.push(LimitShare { limit, share });
    }
    Ok(())
}

/// Puts what is said at the requirement's own limit into the curve, in the place of its near neighbours.
fn put(points: &mut Vec<LimitShare>, limit: Option<f64>, share: f64) {
    let Some(limit) = limit.filter(|_| share > 0.0 && share < 1.0) else { return };
    let score = |share: f64| normal::upper_quantile(share.clamp(1e-300, 1.0 - 1e-15));
    points.retain(|point| (score(point.share) - score(share)).abs() > 0.4 * STEP);
    let rising = points.first().zip(points.last()).is_none_or(|(a, b)| a.share <= b.share);
    let at = points.partition_point(|point| point.limit < limit);
    let fits = |before: Option<&LimitShare>, after: Option<&LimitShare>| {
        let (low, high) = if rising { (before, after) } else { (after, before) };
        low.is_none_or(|p| p.share < share) && high.is_none_or(|p| p.share > share)
    };
    // A share that contradicts the curve would bend it: the page then says what the curve says, and its test would tell.
    if fits(at.checked_sub(1).and_then(|before| points.get(before)), points.get(at)) {
        points.insert(at, LimitShare { limit, share });
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]
    use super::*;

    #[test]
    fn the_curve_of_a_normal_is_the_normal() {
        let exact = Exact::new(2.0, &[], 0.25).unwrap();
        let moved = of_exact(&exact, exact.error_bound());
        for z in [-4.0, -1.0, 0.0, 2.0, 5.0] {
            let limit = 2.0 + 0.5 * z;
            let near = |points: &[LimitShare]| *points.iter().find(|p| (p.limit - limit).abs() < 1e-9).unwrap();
            assert!((near(&moved.lower).share / normal::cdf(z) - 1.0).abs() < 1e-9);
            assert!((near(&moved.upper).share / normal::sf(z) - 1.0).abs() < 1e-9);
        }
        assert!(moved.lower.windows(2).all(|p| p[0].limit < p[1].limit && p[0].share < p[1].share));
        assert!(moved.upper.windows(2).all(|p| p[0].limit < p[1].limit && p[0].share > p[1].share));
    }

    #[test]
    fn the_own_limit_stands_in_the_curve_with_its_own_share() {
        let exact = Exact::new(0.0, &[], 1.0).unwrap();
        let mut points = of_exact(&exact, 1e-12).upper;
        put(&mut points, Some(3.02), 0.00130);
        let at = points.iter().position(|p| (p.limit - 3.02).abs() < 1e-12).unwrap();
        assert!((points[at].share - 0.00130).abs() < 1e-15 && points[at - 1].limit < 2.9 && points[at + 1].limit > 3.1);
        let whole = points.clone();
        put(&mut points, Some(-1.0), 0.00131);
        assert!(points.iter().all(|p| whole.contains(p)), "a share that contradicts the curve is left out");
    }
}
