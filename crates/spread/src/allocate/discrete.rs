//! Tolerances from tables of grades with prices: the cheapest choice within the ceiling, proved by branch and bound.
//!
//! The grades of the dimensions are settled one after the other. A branch is cut where it cannot hold anything cheaper than what was found:
//!
//! - with every open dimension at its tightest the share outside is above the ceiling already (the share never falls when a tolerance is
//!   opened);
//! - the prices settled, and for each open dimension the cheapest grade that fits by itself with all others at their tightest, add up to
//!   more;
//! - or the Lagrangian bound of one limit's necessary condition does: for a limit whose terms are all normal, staying within the ceiling means
//!   Σ v·factor² ≤ V, and for every λ ≥ 0 the least cost is at least Σ min(price + λ·v·factor²) − λ·V;
//! - or that of all such limits at once, each with its own multiplier: Σ min(price + Σ λ_j·v_j·factor²) − Σ λ_j·V_j, which is what counts where
//!   each bay of several has limits of its own.

use super::continuous::Variable;
use super::share::JointShare;

/// The grades of one dimension: factor and price, tightest first, no grade both tighter and cheaper than another.
#[derive(Debug, Clone)]
pub(super) struct Choice {
    /// Place among the factors.
    pub(super) place: usize,
    pub(super) grades: Vec<(f64, f64)>,
}

/// The best choice that was found.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub(super) factors: Vec<f64>,
    /// Whether nothing cheaper exists.
    pub(super) proven: bool,
    pub(super) nodes: u64,
}

/// Branches looked at before it stops without a proof.
const MOST_NODES: u64 = 200_000;

/// A complete choice: cost, and the factors with whatever was not graded settled; None where it is not within the ceiling.
type Leaf<'a> = dyn Fn(&[f64]) -> Option<(f64, Vec<f64>)> + 'a;

/// A Lagrangian bound.
struct Relaxed {
    /// With nothing settled: the sharpest is tried first.
    bound: f64,
    /// Σ λ·v·factor² of each grade of each choice.
    parts: Vec<Vec<f64>>,
    /// The least of what is not graded, cost + Σ λ·v·factor², less Σ λ·V.
    rest: f64,
}

struct Search<'a> {
    joint: &'a JointShare<'a>,
    choices: &'a [Choice],
    leaf: &'a Leaf<'a>,
    /// The least that the rest (what is not graded) can cost.
    rest: f64,
    relaxed: Vec<Relaxed>,
    /// Cost, with what is not graded, and factors.
    best: Option<(f64, Vec<f64>)>,
    nodes: u64,
}

/// The cheapest choice. `variables` are what is not graded, `tightest` the factors with everything at its tightest.
/// None where nothing is within the ceiling.
pub(super) fn search(
    joint: &JointShare<'_>,
    choices: &[Choice],
    variables: &[(usize, Variable)],
    tightest: &[f64],
    leaf: &Leaf<'_>,
) -> Option<Found> {
    if !joint.within(tightest) {
        return None;
    }
    let relaxed = relax(joint, choices, variables);
    let rest = variables.iter().map(|(_, v)| v.cost(v.bounds.1)).sum();
    let mut search = Search { joint, choices, leaf, rest, relaxed, best: None, nodes: 0 };
    search.greedy(tightest);
    let mut settled = Vec::with_capacity(choices.len());
    let mut factors = tightest.to_vec();
    let proven = search.branch(&mut settled, &mut factors);
    let nodes = search.nodes;
    search.best.map(|(_, factors)| Found { factors, proven, nodes })
}

impl Search<'_> {
    /// A first answer: from the tightest grades, always the step that saves most for the share it costs, while it fits.
    fn greedy(&mut self, tightest: &[f64]) {
        let mut grades = vec![0; self.choices.len()];
        let mut factors = tightest.to_vec();
        for (choice, grade) in self.choices.iter().zip(&grades) {
            factors[choice.place] = choice.grades[*grade].0;
        }
        loop {
            let now = self.joint.sum(&factors);
            let mut step: Option<(f64, usize)> = None;
            for (c, choice) in self.choices.iter().enumerate() {
                let Some(next) = choice.grades.get(grades[c] + 1) else { continue };
                let before = factors[choice.place];
                factors[choice.place] = next.0;
                let saving = choice.grades[grades[c]].1 - next.1;
                let worth = saving / (self.joint.sum(&factors) - now).max(1e-300);
                let fits = step.is_none_or(|(best, _)| worth > best) && self.joint.within(&factors);
                factors[choice.place] = before;
                if fits {
                    step = Some((worth, c));
                }
            }
            let Some((_, c)) = step else { break };
            grades[c] += 1;
            factors[self.choices[c].place] = self.choices[c].grades[grades[c]].0;
        }
        self.offer(&grades, &factors);
    }

    fn offer(&mut self, grades: &[usize], factors: &[f64]) {
        if let Some((cost, factors)) = (self.leaf)(factors) {
            let prices: f64 = self.choices.iter().zip(grades).map(|(c, g)| c.grades[*g].1).sum();
            let cost = prices + cost;
            if self.best.as_ref().is_none_or(|(best, ..)| cost < *best) {
                self.best = Some((cost, factors));
            }
        }
    }

    /// Everything below what is settled; false where it stopped early.
    fn branch(&mut self, settled: &mut Vec<usize>, factors: &mut Vec<f64>) -> bool {
        self.nodes += 1;
        if self.nodes > MOST_NODES || self.joint.stopped() {
            return false;
        }
        let depth = settled.len();
        let Some(choice) = self.choices.get(depth) else {
            let (grades, at) = (settled.clone(), factors.clone());
            self.offer(&grades, &at);
            return true;
        };
        let choice = choice.clone();
        let tightest = factors[choice.place];
        let mut complete = true;
        // Cheapest, that is loosest, first: the earlier a good answer, the more is cut.
        for (grade, (factor, _)) in choice.grades.iter().enumerate().rev() {
            settled.push(grade);
            factors[choice.place] = *factor;
            if !self.cut(settled, factors) {
                complete &= self.branch(settled, factors);
            }
            settled.pop();
            factors[choice.place] = tightest;
        }
        complete
    }

    fn cut(&self, settled: &[usize], factors: &mut [f64]) -> bool {
        let best = self.best.as_ref().map_or(f64::INFINITY, |(cost, ..)| *cost);
        // A hair's breadth cheaper is not cheaper: prices are not known so well.
        let enough = best - 1e-9 * best.abs();
        let prices: f64 = self.choices.iter().zip(settled).map(|(c, g)| c.grades[*g].1).sum();
        for relaxed in &self.relaxed {
            let mut bound = prices + relaxed.rest;
            for (c, choice) in self.choices.iter().enumerate() {
                let of = |g: usize| relaxed.parts[c][g];
                bound += match settled.get(c) {
                    Some(grade) => of(*grade),
                    None => (0..choice.grades.len()).map(|g| choice.grades[g].1 + of(g)).fold(f64::INFINITY, f64::min),
                };
            }
            if bound >= enough {
                return true;
            }
        }
        let open = &self.choices[settled.len()..];
        let cheapest: f64 = open.iter().map(|c| c.grades.last().map_or(0.0, |g| g.1)).sum();
        if prices + cheapest + self.rest >= enough {
            return true;
        }
        if !self.joint.within(factors) {
            return true;
        }
        let mut bound = prices + self.rest;
        for choice in open {
            let tightest = factors[choice.place];
            let fits = choice.grades.iter().rev().find(|(factor, _)| {
                factors[choice.place] = *factor;
                self.joint.within(factors)
            });
            factors[choice.place] = tightest;
            bound += fits.map_or(f64::INFINITY, |(_, price)| *price);
        }
        bound >= enough
    }
}

/// Limits as necessary conditions Σ v·factor² ≤ V: V and the v of each place.
struct Relaxation<'a> {
    conditions: Vec<(f64, Vec<f64>)>,
    choices: &'a [Choice],
    variables: &'a [(usize, Variable)],
}

impl Relaxation<'_> {
    /// Σ λ·v of a place.
    fn weight(&self, lambda: &[f64], place: usize) -> f64 {
        self.conditions.iter().zip(lambda).map(|((_, v), lambda)| lambda * v[place]).sum()
    }

    fn at(&self, lambda: &[f64]) -> Relaxed {
        let part = |c: &Choice| -> Vec<f64> {
            let weight = self.weight(lambda, c.place);
            c.grades.iter().map(|(factor, _)| weight * factor * factor).collect()
        };
        let parts: Vec<Vec<f64>> = self.choices.iter().map(part).collect();
        let of_variables: f64 = self.variables.iter().map(|(place, v)| v.least_with(self.weight(lambda, *place))).sum();
        let rest = of_variables - self.conditions.iter().zip(lambda).map(|((room, _), l)| l * room).sum::<f64>();
        let graded: f64 = self
            .choices
            .iter()
            .zip(&parts)
            .map(|(c, part)| c.grades.iter().zip(part).map(|((_, p), v)| p + v).fold(f64::INFINITY, f64::min))
            .sum();
        Relaxed { bound: graded + rest, parts, rest }
    }

    /// Sets one multiplier to where the bound is highest, the others held: it is concave, so a ternary search finds that. On a logarithmic scale of λ·V
    /// against `scale`, a cost; 0 where that is as good.
    fn raise(&self, lambda: &mut [f64], which: usize, scale: f64) {
        let unit = scale / self.conditions[which].0;
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
const SWEEPS: usize = 4;

/// The Lagrangian bounds: of each limit alone, and of all at once.
fn relax(joint: &JointShare<'_>, choices: &[Choice], variables: &[(usize, Variable)]) -> Vec<Relaxed> {
    let conditions: Vec<(f64, Vec<f64>)> = joint.knapsacks().into_iter().filter(|(room, _)| *room > 0.0).collect();
    let n = conditions.len();
    let relaxation = Relaxation { conditions, choices, variables };
    let scale = choices.iter().map(|c| c.grades.first().map_or(0.0, |g| g.1)).sum::<f64>()
        + variables.iter().map(|(_, v)| v.cost(1.0)).sum::<f64>();
    let nothing = relaxation.at(&vec![0.0; n]).bound;
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
    relaxed.retain(|r| r.bound > nothing);
    relaxed.sort_by(|a, b| b.bound.total_cmp(&a.bound));
    relaxed
}
