//! What any choice must cost at least: Lagrangian bounds over conditions that every choice within the ceiling meets, each linear in the squares of the
//! factors, Σ w·factor² ≤ W. For every λ ≥ 0 the least cost is at least Σ min(price + Σ λ_j·w_j·factor²) − Σ λ_j·W_j, and a branch is cut
//! where that is no less than what was found.
//!
//! The conditions, for limits whose terms are all normal:
//!
//! - each limit by itself is within the ceiling c;
//! - so is a set of limits that hardly ever fail together: P(any) ≥ Σ P_j − Σ P_jk (Bonferroni), and P_jk is at most Φ₂ at the ceiling with the
//!   largest correlation that the tightest tolerances leave ([`JointShare::together_at_most`]): both sides of one requirement, and requirements of
//!   bays that have but lots in common. So Σ P_j ≤ c + Σ P_jk, and as the shares are convex in the squares, their tangent at any point is a condition.
//!   It is taken at the best that is known, where it costs nothing.

use super::continuous::Variable;
use super::discrete::Choice;
use super::share::JointShare;
use crate::questions::NormalShare;

/// Σ w·factor² ≤ `room`, w by place.
#[derive(Debug, Clone)]
pub(super) struct Condition {
    room: f64,
    weights: Vec<f64>,
}

/// A Lagrangian bound.
#[derive(Debug, Clone)]
pub(super) struct Relaxed {
    /// With nothing settled: the sharpest is tried first.
    pub(super) bound: f64,
    /// price + Σ λ·w·factor² of each grade of each choice.
    pub(super) parts: Vec<Vec<f64>>,
    /// The least of what is not graded, cost + Σ λ·w·factor², less Σ λ·W.
    pub(super) rest: f64,
}

/// What the share outside may be made of, at the most, by sets of limits that fail together.
const TOGETHER: f64 = 0.05;

/// The limits each by itself.
pub(super) fn of_single_limits(joint: &JointShare<'_>) -> Vec<Condition> {
    let limits = joint.normal_shares().into_iter().flatten();
    limits
        .filter_map(|limit| {
            let room = limit.room(joint.ceiling())?;
            (room > 0.0).then_some(Condition { room, weights: limit.parts })
        })
        .collect()
}

/// Sets of limits that hardly ever fail together, by their tangents at the factors.
pub(super) fn of_sets(joint: &JointShare<'_>, tightest: &[f64], at: &[f64]) -> Vec<Condition> {
    let ceiling = joint.ceiling();
    let squares: Vec<f64> = at.iter().map(|f| f * f).collect();
    let usable = |limit: &NormalShare| limit.convex_up_to(ceiling) && limit.at(&squares).0 <= ceiling * (1.0 + 1e-6);
    let limits: Vec<Option<NormalShare>> =
        joint.normal_shares().into_iter().map(|limit| limit.filter(usable)).collect();
    let together = joint.together_at_most(tightest);
    let share = |k: usize| limits[k].as_ref().map_or(0.0, |limit| limit.at(&squares).0);
    // From each limit on, those that weigh most first.
    let mut order: Vec<usize> = (0..limits.len()).filter(|&k| limits[k].is_some()).collect();
    order.sort_by(|&a, &b| share(b).total_cmp(&share(a)).then(a.cmp(&b)));
    let mut sets: Vec<Vec<usize>> = Vec::new();
    for &first in &order {
        let (mut set, mut overlap) = (vec![first], 0.0);
        for &k in &order {
            let more: f64 = set.iter().map(|&j| together[j][k]).sum();
            if !set.contains(&k) && overlap + more <= TOGETHER * ceiling {
                set.push(k);
                overlap += more;
            }
        }
        set.sort_unstable();
        if set.len() > 1 && !sets.contains(&set) {
            sets.push(set);
        }
    }
    let tangent = |set: &Vec<usize>| {
        let mut weights = vec![0.0; at.len()];
        let mut shares = 0.0;
        for limit in set.iter().filter_map(|&k| limits[k].as_ref()) {
            let (share, slope) = limit.at(&squares);
            shares += share;
            for (weight, part) in weights.iter_mut().zip(&limit.parts) {
                *weight += slope * part;
            }
        }
        let overlap: f64 = set
            .iter()
            .flat_map(|&j| set.iter().map(move |&k| (j, k)))
            .filter(|(j, k)| j < k)
            .map(|(j, k)| together[j][k])
            .sum();
        let here: f64 = weights.iter().zip(&squares).map(|(w, q)| w * q).sum();
        Condition { room: ceiling + overlap - shares + here, weights }
    };
    sets.iter().map(tangent).filter(|condition| condition.room > 0.0).collect()
}

/// Not a condition that every choice meets, but nearly so, and a good guide: the joint share as what it is of the sum of the limits' shares at the
/// factors, by its tangent there.
pub(super) fn guide(joint: &JointShare<'_>, places: &[usize], at: &[f64]) -> Condition {
    let share = joint.joint(at);
    let mut weights = vec![0.0; at.len()];
    for (place, slope) in places.iter().zip(joint.slopes_of_sum(at, places)) {
        weights[*place] = (share * slope / (2.0 * at[*place] * at[*place])).max(0.0);
    }
    let here: f64 = weights.iter().zip(at).map(|(w, f)| w * f * f).sum();
    Condition { room: joint.ceiling() - share + here, weights }
}

struct Relaxation<'a> {
    conditions: &'a [Condition],
    choices: &'a [Choice],
    variables: &'a [(usize, Variable)],
}

impl Relaxation<'_> {
    /// Σ λ·w of a place.
    fn weight(&self, lambda: &[f64], place: usize) -> f64 {
        self.conditions.iter().zip(lambda).map(|(condition, lambda)| lambda * condition.weights[place]).sum()
    }

    fn at(&self, lambda: &[f64]) -> Relaxed {
        let part = |c: &Choice| -> Vec<f64> {
            let weight = self.weight(lambda, c.place);
            c.grades.iter().map(|(factor, price)| price + weight * factor * factor).collect()
        };
        let parts: Vec<Vec<f64>> = self.choices.iter().map(part).collect();
        let of_variables: f64 = self.variables.iter().map(|(place, v)| v.least_with(self.weight(lambda, *place))).sum();
        let rooms = self.conditions.iter().zip(lambda).map(|(condition, l)| l * condition.room).sum::<f64>();
        let rest = of_variables - rooms;
        let graded: f64 = parts.iter().map(|part| part.iter().copied().fold(f64::INFINITY, f64::min)).sum();
        Relaxed { bound: graded + rest, parts, rest }
    }

    /// Sets one multiplier to where the bound is highest, the others held: it is concave, so a ternary search finds that. On a logarithmic scale of λ·W
    /// against `scale`, a cost; 0 where that is as good.
    fn raise(&self, lambda: &mut [f64], which: usize, scale: f64) {
        let unit = scale / self.conditions[which].room;
        let mut bound = |value: f64| {
            lambda[which] = value;
            self.at(lambda).bound
        };
        let (mut low, mut high) = (-25.0, 10.0);
        for _ in 0..60 {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if bound(unit * f64::exp(a)) < bound(unit * f64::exp(b)) { low = a } else { high = b }
        }
        let best = unit * f64::exp(0.5 * (low + high));
        let keeps = bound(best) > bound(0.0);
        lambda[which] = if keeps { best } else { 0.0 };
    }
}

/// Rounds in which all multipliers together are raised in turn; any multipliers give a bound, and more rounds hardly sharpen it.
const SWEEPS: usize = 6;

/// The Lagrangian bounds: of each condition alone, and of all at once. The first is that of no condition, so that there is one.
pub(super) fn relax(conditions: &[Condition], choices: &[Choice], variables: &[(usize, Variable)]) -> Vec<Relaxed> {
    let n = conditions.len();
    let relaxation = Relaxation { conditions, choices, variables };
    let scale = choices.iter().map(|c| c.grades.first().map_or(0.0, |g| g.1)).sum::<f64>()
        + variables.iter().map(|(_, v)| v.cost(1.0)).sum::<f64>();
    let nothing = relaxation.at(&vec![0.0; n]);
    let mut relaxed: Vec<Relaxed> = Vec::new();
    for which in 0..n {
        let mut lambda = vec![0.0; n];
        relaxation.raise(&mut lambda, which, scale);
        relaxed.push(relaxation.at(&lambda));
    }
    if n > 1 {
        let mut lambda = vec![0.0; n];
        for which in (0..SWEEPS).flat_map(|_| 0..n) {
            relaxation.raise(&mut lambda, which, scale);
        }
        relaxed.push(relaxation.at(&lambda));
    }
    relaxed.retain(|r| r.bound > nothing.bound);
    relaxed.push(nothing);
    relaxed.sort_by(|a, b| b.bound.total_cmp(&a.bound));
    relaxed
}
