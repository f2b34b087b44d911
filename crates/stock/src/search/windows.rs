//! From a floor of the score to windows for the sums of the zones.
//!
//! score ≤ min over the quantities of P − centring·Σ miss² − penalties, and both P and the miss of a quantity follow from its mean. What a
//! quantity costs at least, over all the sums that can be reached, is taken from what the others may cost.

use crate::chance::most_inside;
use crate::objective::{Objective, Range, ZONES};
use crate::response::{Aim, Follows};

/// A window of sums, mm.
pub(super) type Window = (f64, f64);

fn follows_the_sum(objective: &Objective<'_>, k: usize) -> bool {
    objective.response.tracks[objective.limited[k]].follows.is_total()
}

/// The sums within `reach` whose preload is not too far from its aim for any chance: quick, and where most choices end.
pub(super) fn wide_sum(objective: &Objective<'_>, need: f64, reach: Window) -> Option<Window> {
    let response = objective.response;
    // The search adds up in another order: a hair of room for rounding.
    let mut window = (response.first.max(reach.0 - 1e-9), response.last().min(reach.1 + 1e-9));
    if window.0 > window.1 {
        return None;
    }
    let total: Vec<usize> = (0..objective.limited.len()).filter(|&k| follows_the_sum(objective, k)).collect();
    let centring = objective.weights.centring;
    let budget = if centring > 0.0 { ((1.0 - need) / centring).max(0.0) } else { f64::INFINITY };
    for k in total {
        // The score takes the mean over a quantity's conditions: one alone may miss by as many times more.
        if objective.shares[k] == 0.0 {
            continue;
        }
        let budget = budget / objective.shares[k];
        let track = &response.tracks[objective.limited[k]];
        let Some(aim) = track.aim else { continue };
        let mut near = (f64::INFINITY, f64::NEG_INFINITY);
        let mut nearest = (f64::INFINITY, 0.0);
        for (sum, value) in response.nodes(track) {
            let miss = aim.miss(value);
            if miss < nearest.0 {
                nearest = (miss, sum);
            }
            if miss <= budget {
                near = (near.0.min(sum), near.1.max(sum));
            }
        }
        // The aim may lie between two nodes, both too far from it.
        near = (near.0.min(nearest.1), near.1.max(nearest.1));
        window = (window.0.max(near.0 - response.step), window.1.min(near.1 + response.step));
    }
    (window.0 <= window.1).then_some(window)
}

/// What a limited quantity in a condition can be, and is worth at best.
struct Bound {
    aim: Aim,
    /// Its mean over all that can be reached.
    values: (f64, f64),
    /// Of f, for an offset.
    f: (f64, f64),
    /// Largest chance, least miss².
    chance: f64,
    miss: f64,
    /// What its miss² counts for.
    share: f64,
}

/// The window of the whole sum and those of the prefixes; None where nothing that can be reached is worth `need`.
pub(super) fn all(
    objective: &Objective<'_>,
    need: f64,
    sum: Window,
    reach: &[Window; ZONES],
    range: &Range,
) -> Option<(Window, [Window; ZONES])> {
    let response = objective.response;
    let centring = objective.weights.centring;
    let mut bounds = Vec::with_capacity(objective.limited.len());
    for (k, &j) in objective.limited.iter().enumerate() {
        let track = &response.tracks[j];
        let aim = track.aim?;
        let mut f = (f64::INFINITY, f64::NEG_INFINITY);
        for (at, value) in response.nodes(track) {
            if at >= sum.0 - response.step && at <= sum.1 + response.step {
                f = (f.0.min(value), f.1.max(value));
            }
        }
        // A cubic between nodes may stray from their hull by a little.
        let stray = 1e-3 * (f.1 - f.0) + 1e-9;
        f = (f.0 - stray, f.1 + stray);
        let values = match track.follows {
            Follows::Offset(t) => {
                let prefix = reach[objective.layout.targets[t].boundary];
                (track.growth * prefix.0 + f.0, track.growth * prefix.1 + f.1)
            }
            _ => f,
        };
        let nearest = |to: f64| to.clamp(values.0, values.1);
        let middle = middle(&aim);
        let chance = most_inside(aim.lower, aim.upper, nearest(middle), range[k].0, range[k].1);
        let target = if aim.target.is_nan() { middle } else { aim.target };
        let share = objective.shares[k];
        bounds.push(Bound { aim, values, f, chance, miss: aim.miss(nearest(target)), share });
    }
    let cap = bounds.iter().map(|b| b.chance).fold(1.0, f64::min);
    let least: f64 = bounds.iter().map(|b| b.miss * b.share).sum();
    if cap - centring * least < need {
        return None;
    }
    let mut window = sum;
    let mut prefix = [(f64::NEG_INFINITY, f64::INFINITY); ZONES];
    for (k, bound) in bounds.iter().enumerate() {
        let track = &response.tracks[objective.limited[k]];
        let need = need + centring * (least - bound.miss * bound.share);
        let enough = |mean: f64| {
            let chance = most_inside(bound.aim.lower, bound.aim.upper, mean, range[k].0, range[k].1).min(cap);
            chance - centring * bound.share * bound.aim.miss(mean) >= need
        };
        if let Follows::Offset(t) = track.follows {
            let (low, high) = offsets(&bound.aim, bound.values, enough);
            let at = &mut prefix[objective.layout.targets[t].boundary];
            at.0 = at.0.max((low - bound.f.1) / track.growth);
            at.1 = at.1.min((high - bound.f.0) / track.growth);
        } else {
            let (low, high) = sums(&bound.aim, response.nodes(track).collect(), enough);
            window = (window.0.max(low - response.step), window.1.min(high + response.step));
        }
    }
    let possible = |(zone, at): (usize, &Window)| at.0 <= reach[zone].1 && at.1 >= reach[zone].0;
    let zones = objective.layout.zones;
    (window.0 <= window.1 && prefix.iter().enumerate().take(zones).all(possible)).then_some((window, prefix))
}

/// The middle of the limits; of a single limit, a place well inside.
fn middle(aim: &Aim) -> f64 {
    match (aim.lower.is_finite(), aim.upper.is_finite()) {
        (true, true) => 0.5 * (aim.lower + aim.upper),
        (true, false) => aim.lower + 1e3 * aim.half_width,
        _ => aim.upper - 1e3 * aim.half_width,
    }
}

/// Offsets that may be enough: the worth falls on either side of the limits' middle and the target, whichever is farther.
fn offsets(aim: &Aim, values: (f64, f64), enough: impl Fn(f64) -> bool) -> (f64, f64) {
    let middle = middle(aim);
    let target = if aim.target.is_nan() { middle } else { aim.target };
    let edge = |from: f64, end: f64| {
        // Nothing beyond `end` can be reached; where it is enough itself there is no edge to find.
        if enough(end) {
            return end;
        }
        let (mut inside, mut outside) = (from, end);
        for _ in 0..30 {
            let half = 0.5 * (inside + outside);
            if enough(half) { inside = half } else { outside = half }
        }
        outside
    };
    let (below, above) = (middle.min(target), middle.max(target));
    let low = if values.0 < below { edge(below, values.0) } else { values.0 };
    let high = if values.1 > above { edge(above, values.1) } else { values.1 };
    (low, high)
}

/// Sums that may be enough: on either side of the node nearest to the aim the worth falls.
fn sums(aim: &Aim, nodes: Vec<(f64, f64)>, enough: impl Fn(f64) -> bool) -> (f64, f64) {
    let by_miss = |a: &usize, b: &usize| aim.miss(nodes[*a].1).total_cmp(&aim.miss(nodes[*b].1));
    let first = (0..nodes.len()).min_by(by_miss).unwrap_or(0);
    // Where a whole stretch hits the aim (one limit only), the stretch's other end.
    let last = (0..nodes.len()).rev().min_by(by_miss).unwrap_or(0);
    let (first, last) = match (aim.target.is_nan(), aim.lower.is_finite()) {
        (false, _) => (first.min(last), first.max(last)),
        // One limit only: the farther inside the better.
        (true, true) => (nodes.len() - 1, nodes.len() - 1),
        (true, false) => (0, 0),
    };
    let enough = |node: usize| enough(nodes[node].1);
    let edge = |from: usize, end: usize| {
        if !enough(from) {
            return from;
        }
        if enough(end) {
            return end;
        }
        let (mut inside, mut outside) = (from, end);
        while inside.abs_diff(outside) > 1 {
            let half = usize::midpoint(inside, outside);
            if enough(half) { inside = half } else { outside = half }
        }
        inside
    };
    (nodes[edge(first, 0)].0, nodes[edge(last, nodes.len() - 1)].0)
}
