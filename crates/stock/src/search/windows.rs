//! From a floor of the score to windows for the sums of the zones.
//!
//! score ≤ min over the quantities of P − centring·Σ miss² − penalties, and both P and the miss of a quantity follow from its mean. What a
//! quantity costs at least, over all the sums that can be reached, is taken from what the others may cost.
//!
//! An offset follows from the sum P of the pieces on its rocker's left as γ·P + f(S), or from the sum Q = S − P of those on its right as
//! h(S) − γ·Q with h(S) = f(S) + γ·S. Where the rocker rests on what lies to its left f hardly varies with S, where it rests on what
//! lies to its right h does: either way one of the two ties it closely to the pieces of one side.

use crate::chance::most_inside;
use crate::objective::{Objective, Range, ZONES};
use crate::response::{Aim, TrackKind};

/// A window of sums, mm.
pub(super) type Window = (f64, f64);

/// What is common to both, nothing where the first exceeds the second.
pub(super) fn common(a: Window, b: Window) -> Window {
    (a.0.max(b.0), a.1.min(b.1))
}

/// Sums are added up in another order here and there: room for rounding, mm.
pub(super) const HAIR: f64 = 1e-9;

/// Anything.
pub(super) const ALL: Window = (f64::NEG_INFINITY, f64::INFINITY);

fn follows_the_sum(objective: &Objective<'_>, k: usize) -> bool {
    objective.response.tracks[objective.limited[k]].kind.is_total()
}

/// What the quantities that follow the sum of everything cost, node by node of the response's tables: once for a search.
#[derive(Debug)]
pub(super) struct SumCost {
    /// Sum, mm, and centring · Σ share · miss².
    nodes: Vec<(f64, f64)>,
    /// The least up to each node, and from it on.
    up_to: Vec<f64>,
    from: Vec<f64>,
    best: usize,
    step: f64,
}

impl SumCost {
    pub(super) fn new(objective: &Objective<'_>) -> Self {
        let response = objective.response;
        let mut nodes: Vec<(f64, f64)> = Vec::new();
        for (k, &j) in objective.limited.iter().enumerate() {
            let track = &response.tracks[j];
            if nodes.is_empty() {
                nodes.extend(response.nodes(track).map(|(sum, _)| (sum, 0.0)));
            }
            let weight = objective.weights.centring * objective.shares[k];
            if let Some(aim) = track.aim.filter(|_| weight > 0.0 && follows_the_sum(objective, k)) {
                nodes.iter_mut().zip(response.nodes(track)).for_each(|(node, at)| node.1 += weight * aim.miss(at.1));
            }
        }
        let least = |least: &mut f64, node: &(f64, f64)| {
            *least = least.min(node.1);
            Some(*least)
        };
        let up_to = nodes.iter().scan(f64::INFINITY, least).collect();
        let mut from: Vec<f64> = nodes.iter().rev().scan(f64::INFINITY, least).collect();
        from.reverse();
        let best = (0..nodes.len()).min_by(|&a, &b| nodes[a].1.total_cmp(&nodes[b].1)).unwrap_or(0);
        Self { nodes, up_to, from, best, step: response.step }
    }

    /// The sums that cost no more than `budget`.
    pub(super) fn within(&self, budget: f64) -> Window {
        let Some(best) = self.nodes.get(self.best) else { return ALL };
        let (low, high) = if best.1 <= budget {
            let low = self.up_to.partition_point(|&least| least > budget);
            (low, self.from.partition_point(|&least| least <= budget) - 1)
        } else {
            // The aim may lie between two nodes, both too far from it.
            (self.best, self.best)
        };
        (self.nodes[low].0 - self.step, self.nodes[high].0 + self.step)
    }

    /// What a sum of the window costs at least.
    pub(super) fn least(&self, (low, high): Window) -> f64 {
        let last = self.nodes.len().saturating_sub(1);
        let node = |sum: f64| self.nodes.partition_point(|node| node.0 <= sum);
        // One node beyond on either side; where the best lies among them its true place may be between two.
        let (from, to) = (node(low).saturating_sub(2), (node(high) + 1).min(last));
        if self.nodes.is_empty() || from > to || (from..=to).contains(&self.best) {
            return 0.0;
        }
        self.nodes[from..=to].iter().map(|node| node.1).fold(f64::INFINITY, f64::min)
    }
}

/// What an offset in a condition costs at least: centring · share · miss².
#[derive(Debug, Clone)]
struct Cost {
    boundary: usize,
    /// It follows from the sum on its rocker's right.
    from_right: bool,
    growth: f64,
    /// Of f, or of h.
    hull: Window,
    aim: Aim,
    target: f64,
    weight: f64,
}

/// What the zones' sums may be.
#[derive(Debug, Clone)]
pub(super) struct Windows {
    /// Of the sum of everything, mm.
    pub(super) sum: Window,
    /// Of the sum of the zones up to and with each, mm.
    pub(super) prefix: [Window; ZONES],
    /// Of the sum of the zones beyond each, mm.
    pub(super) suffix: [Window; ZONES],
    /// Largest chance.
    pub(super) cap: f64,
    costs: Vec<Cost>,
}

impl Windows {
    /// Takes up that an offset is to lie in a window.
    fn add(&mut self, boundary: usize, growth: f64, (low, high): Window, f: Window, h: Window) {
        let prefix = &mut self.prefix[boundary];
        *prefix = common(*prefix, ((low - f.1) / growth, (high - f.0) / growth));
        let suffix = &mut self.suffix[boundary];
        *suffix = common(*suffix, ((h.0 - high) / growth, (h.1 - low) / growth));
    }

    /// Takes up what the miss of the k-th limited quantity, an offset, costs.
    fn add_cost(&mut self, objective: &Objective<'_>, k: usize, f: Window, h: Window) {
        let track = &objective.response.tracks[objective.limited[k]];
        let weight = objective.weights.centring * objective.shares[k];
        if let (TrackKind::Offset(t), Some(aim), true) = (track.kind, track.aim, weight > 0.0) {
            let from_right = h.1 - h.0 < f.1 - f.0;
            self.costs.push(Cost {
                boundary: objective.layout.targets[t].boundary,
                from_right,
                growth: track.growth,
                hull: if from_right { h } else { f },
                aim,
                target: if aim.target.is_nan() { middle(&aim) } else { aim.target },
                weight,
            });
        }
    }

    /// What the offsets cost at least where the zones' sums lie in these windows.
    pub(super) fn cost(&self, zones: &[Window]) -> f64 {
        let sum = |zones: &[Window]| zones.iter().fold((0.0, 0.0), |sum, zone| (sum.0 + zone.0, sum.1 + zone.1));
        let of = |cost: &Cost| {
            let values = if cost.from_right {
                let right = sum(&zones[cost.boundary + 1..]);
                (cost.hull.0 - cost.growth * right.1, cost.hull.1 - cost.growth * right.0)
            } else {
                let left = sum(&zones[..=cost.boundary]);
                (cost.hull.0 + cost.growth * left.0, cost.hull.1 + cost.growth * left.1)
            };
            cost.weight * cost.aim.miss(cost.target.max(values.0).min(values.1))
        };
        self.costs.iter().map(of).sum()
    }

    /// What the sum of one zone may be where those of all zones lie in these windows.
    pub(super) fn narrow(&self, zone: usize, zones: &[Window]) -> Window {
        let mut window = zones[zone];
        let mut bound = |from: usize, to: usize, of: Window| {
            let (mut low, mut high) = of;
            for (z, other) in zones.iter().enumerate().take(to + 1).skip(from) {
                if z != zone {
                    (low, high) = (low - other.1, high - other.0);
                }
            }
            window = common(window, (low, high));
        };
        let last = zones.len() - 1;
        bound(0, last, self.sum);
        for z in zone..last {
            bound(0, z, self.prefix[z]);
        }
        for z in 0..zone {
            bound(z + 1, last, self.suffix[z]);
        }
        (window.0 - HAIR, window.1 + HAIR)
    }
}

/// The windows that follow from the limits alone, whatever the scatter: a chance above one half needs every mean to lie inside. Quick to
/// compare with, and where most choices end.
pub(super) fn coarse(objective: &Objective<'_>, cost: &SumCost, need: f64) -> Windows {
    let response = objective.response;
    let within = cost.within((1.0 - need).max(0.0));
    let mut sum = common(within, (response.first - HAIR, response.last() + HAIR));
    let means = |aim: &Aim| if need > 0.5 { (aim.lower, aim.upper) } else { ALL };
    for k in (0..objective.limited.len()).filter(|&k| follows_the_sum(objective, k)) {
        let track = &response.tracks[objective.limited[k]];
        let Some(aim) = &track.aim else { continue };
        let (low, high) = means(aim);
        let inside = response.nodes(track).filter(|node| node.1 >= low && node.1 <= high);
        let hull =
            inside.fold((f64::INFINITY, f64::NEG_INFINITY), |hull, node| (hull.0.min(node.0), hull.1.max(node.0)));
        // Between two nodes that are both outside there may still be a place inside; then this says nothing.
        if hull.0 <= hull.1 {
            sum = common(sum, (hull.0 - response.step, hull.1 + response.step));
        }
    }
    let mut windows = Windows { sum, prefix: [ALL; ZONES], suffix: [ALL; ZONES], cap: 1.0, costs: Vec::new() };
    for (k, &j) in objective.limited.iter().enumerate() {
        let track = &response.tracks[j];
        if let (TrackKind::Offset(t), Some(aim)) = (track.kind, track.aim) {
            let (f, h) = hulls(objective, j, sum);
            windows.add(objective.layout.targets[t].boundary, track.growth, means(&aim), f, h);
            windows.add_cost(objective, k, f, h);
        }
    }
    windows.prefix[objective.layout.zones - 1] = sum;
    windows
}

/// What f and h can be over a window of the sum.
fn hulls(objective: &Objective<'_>, j: usize, sum: Window) -> (Window, Window) {
    let track = &objective.response.tracks[j];
    let (mut f, mut h) = ((f64::INFINITY, f64::NEG_INFINITY), (f64::INFINITY, f64::NEG_INFINITY));
    for (at, value) in objective.response.nodes_about(track, sum) {
        f = (f.0.min(value), f.1.max(value));
        let value = value + track.growth * at;
        h = (h.0.min(value), h.1.max(value));
    }
    // A cubic between nodes may stray from their hull by a little.
    let stray = 1e-3 * (f.1 - f.0).max(h.1 - h.0) + 1e-9;
    ((f.0 - stray, f.1 + stray), (h.0 - stray, h.1 + stray))
}

/// What a limited quantity in a condition can be, and is worth at best.
struct Bound {
    aim: Aim,
    /// Its mean over all that can be reached.
    values: Window,
    /// Of f and h, for an offset.
    f: Window,
    h: Window,
    /// Largest chance, least miss².
    chance: f64,
    miss: f64,
    /// What its miss² counts for.
    share: f64,
}

/// The windows of the sums, given what the whole (`sum`) and the sums up to each zone (`reach`) can be; None where nothing that can be
/// reached is worth `need`.
pub(super) fn all(
    objective: &Objective<'_>,
    need: f64,
    sum: Window,
    reach: &[Window; ZONES],
    range: &Range,
) -> Option<Windows> {
    let response = objective.response;
    let centring = objective.weights.centring;
    let zones = objective.layout.zones;
    let whole = reach[zones - 1];
    let mut bounds = Vec::with_capacity(objective.limited.len());
    for (k, &j) in objective.limited.iter().enumerate() {
        let track = &response.tracks[j];
        let aim = track.aim?;
        let (f, h) = hulls(objective, j, sum);
        let values = match track.kind {
            TrackKind::Offset(t) => {
                let left = reach[objective.layout.targets[t].boundary];
                let right = (whole.0 - left.1, whole.1 - left.0);
                let by_left = (track.growth * left.0 + f.0, track.growth * left.1 + f.1);
                common(by_left, (h.0 - track.growth * right.1, h.1 - track.growth * right.0))
            }
            _ => f,
        };
        if values.0 > values.1 {
            return None;
        }
        let nearest = |to: f64| to.clamp(values.0, values.1);
        let middle = middle(&aim);
        let chance = most_inside(aim.lower, aim.upper, nearest(middle), range[k].0, range[k].1);
        let target = if aim.target.is_nan() { middle } else { aim.target };
        let share = objective.shares[k];
        bounds.push(Bound { aim, values, f, h, chance, miss: aim.miss(nearest(target)), share });
    }
    let cap = bounds.iter().map(|b| b.chance).fold(1.0, f64::min);
    let least: f64 = bounds.iter().map(|b| b.miss * b.share).sum();
    if cap - centring * least < need {
        return None;
    }
    let mut windows = Windows { sum, prefix: [ALL; ZONES], suffix: [ALL; ZONES], cap, costs: Vec::new() };
    for (k, bound) in bounds.iter().enumerate() {
        let track = &response.tracks[objective.limited[k]];
        let need = need + centring * (least - bound.miss * bound.share);
        let enough = |mean: f64| {
            let chance = most_inside(bound.aim.lower, bound.aim.upper, mean, range[k].0, range[k].1).min(cap);
            chance - centring * bound.share * bound.aim.miss(mean) >= need
        };
        if let TrackKind::Offset(t) = track.kind {
            let (low, high) = offsets(&bound.aim, bound.values, enough);
            windows.add(objective.layout.targets[t].boundary, track.growth, (low, high), bound.f, bound.h);
            windows.add_cost(objective, k, bound.f, bound.h);
        } else {
            let nodes: Vec<(f64, f64)> = response.nodes_about(track, sum).collect();
            let (low, high) = sums(&bound.aim, &nodes, enough);
            windows.sum = common(windows.sum, (low - response.step, high + response.step));
        }
    }
    windows.prefix[zones - 1] = windows.sum;
    (windows.sum.0 <= windows.sum.1).then_some(windows)
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
        for _ in 0..11 {
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

/// Sums that may be enough: beyond the nodes nearest to the limits' middle and to the target, whichever is farther, the worth falls.
fn sums(aim: &Aim, nodes: &[(f64, f64)], enough: impl Fn(f64) -> bool) -> (f64, f64) {
    let middle = middle(aim);
    let nearest = |to: f64| {
        let distance = |k: &usize| (nodes[*k].1 - to).abs();
        (0..nodes.len()).min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or(0)
    };
    let (a, b) = (nearest(middle), nearest(if aim.target.is_nan() { middle } else { aim.target }));
    let (first, last) = (a.min(b), a.max(b));
    let enough = |node: usize| enough(nodes[node].1);
    let edge = |from: usize, end: usize| {
        // Where the near end is not enough what lies between the two may be.
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
