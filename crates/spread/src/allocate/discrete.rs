//! Tolerances from tables of grades with prices: the cheapest choice within the ceiling, proved by branch and bound.
//!
//! 1. A first answer: from the tightest grades, always the step that saves most for the share it costs.
//! 2. Better ones: the choices in the order of a bound that is nearly what each costs ([`relaxation::guide`]), the first of them tried.
//! 3. The proof: all choices that the sound bounds ([`relaxation`]) leave, in the order of those bounds. A branch is cut where a bound says that it holds nothing
//!    cheaper, where a limit by itself is above the ceiling with every open dimension at its tightest (the share never falls when a tolerance is
//!    opened), or where the joint share is. Of what is left each is settled, the ungraded tolerances with it, until the next bound is no less than the best.
//!
//! Where that is too much the search ends, and the least bound of what was not looked at says how much cheaper a choice could be.

use super::continuous::Variable;
use super::relaxation::{self, Condition, Relaxed, relax};
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
    /// No choice costs less than this, in prices and what varies of the formulas.
    pub(super) at_least: f64,
    /// Whether nothing cheaper exists.
    pub(super) proven: bool,
    pub(super) nodes: u64,
}

/// Branches of the proof, at the most.
const MOST_NODES: u64 = 200_000;

/// Of those, how many may ask for the joint share, a sum over thousands of points.
const MOST_JOINT: u64 = 20_000;

/// Choices settled in the proof, at the most: each, where formulas are beside the tables, an optimum of its own.
const MOST_SETTLED: usize = 100;

/// Choices that may be settled where there are tables alone.
const MOST_SETTLED_OF_TABLES: usize = 20_000;

/// Choices tried at once by the guide, and how often it is taken anew.
const GUIDED: usize = 12;
const GUIDES: usize = 4;

/// A complete choice: cost, and the factors with whatever was not graded settled; None where it is not within the ceiling.
type Leaf<'a> = dyn Fn(&[f64]) -> Option<(f64, Vec<f64>)> + 'a;

struct Search<'a> {
    joint: &'a JointShare<'a>,
    choices: Vec<Choice>,
    variables: &'a [(usize, Variable)],
    tightest: &'a [f64],
    leaf: &'a Leaf<'a>,
    /// Cost, with what is not graded, and factors.
    best: Option<(f64, Vec<f64>)>,
    nodes: u64,
    joints: u64,
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
    // A grade that does not do with all others at their tightest is in no choice.
    let does = |choice: &Choice, factor: f64| {
        let mut factors = tightest.to_vec();
        factors[choice.place] = factor;
        joint.within(&factors)
    };
    let choices = choices
        .iter()
        .map(|choice| {
            let grades = choice.grades.iter().copied().enumerate();
            let kept = grades.filter(|(g, (factor, _))| *g == 0 || does(choice, *factor)).map(|(_, grade)| grade);
            Choice { place: choice.place, grades: kept.collect() }
        })
        .collect();
    let mut search = Search { joint, choices, variables, tightest, leaf, best: None, nodes: 0, joints: 0 };
    search.greedy();
    let mut conditions = relaxation::of_single_limits(joint);
    search.follow_guides(&conditions);
    if let Some((_, at)) = &search.best {
        conditions.extend(relaxation::of_sets(joint, tightest, at));
    }
    let at_least = search.prove(&conditions);
    let nodes = search.nodes;
    let (cost, factors) = search.best?;
    let proven = at_least >= enough(cost);
    Some(Found { factors, at_least: if proven { cost } else { at_least }, proven, nodes })
}

/// A hair's breadth cheaper is not cheaper: prices are not known so well.
fn enough(best: f64) -> f64 {
    best - 1e-9 * best.abs()
}

/// Choices that bounds leave, by rising bound.
struct Open {
    choices: Vec<(f64, Vec<usize>)>,
    /// No choice that is not among them, and was not cut, has a lower bound.
    others: f64,
}

impl Search<'_> {
    fn best_cost(&self) -> f64 {
        self.best.as_ref().map_or(f64::INFINITY, |(cost, ..)| *cost)
    }

    fn factors_of(&self, grades: &[usize]) -> Vec<f64> {
        let mut factors = self.tightest.to_vec();
        for (choice, grade) in self.choices.iter().zip(grades) {
            factors[choice.place] = choice.grades[*grade].0;
        }
        factors
    }

    /// A first answer.
    fn greedy(&mut self) {
        let mut grades = vec![0; self.choices.len()];
        let mut factors = self.factors_of(&grades);
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
        self.settle(&grades);
    }

    /// Settles a choice, and keeps it where it is the best.
    fn settle(&mut self, grades: &[usize]) {
        if let Some((cost, factors)) = (self.leaf)(&self.factors_of(grades)) {
            let prices: f64 = self.choices.iter().zip(grades).map(|(c, g)| c.grades[*g].1).sum();
            let cost = prices + cost;
            if cost < self.best_cost() {
                self.best = Some((cost, factors));
            }
        }
    }

    /// Better answers, by guides taken at the best so far until none leads further.
    fn follow_guides(&mut self, conditions: &[Condition]) {
        let mut places: Vec<usize> = self.choices.iter().map(|c| c.place).collect();
        places.extend(self.variables.iter().map(|(place, _)| *place));
        for _ in 0..GUIDES {
            let Some((before, at)) = self.best.clone() else { break };
            let mut guided = conditions.to_vec();
            guided.push(relaxation::guide(self.joint, &places, &at));
            let open = self.open(&relax(&guided, &self.choices, self.variables), GUIDED, false);
            for (bound, grades) in open.choices {
                if bound >= enough(self.best_cost()) || self.joint.stopped() {
                    break;
                }
                self.settle(&grades);
            }
            if self.best_cost() >= enough(before) {
                break;
            }
        }
    }

    /// Settles what the conditions leave, lowest bound first; no choice costs less than the answer.
    fn prove(&mut self, conditions: &[Condition]) -> f64 {
        let most = if self.variables.is_empty() { MOST_SETTLED_OF_TABLES } else { MOST_SETTLED };
        self.nodes = 0;
        let open = self.open(&relax(conditions, &self.choices, self.variables), most, true);
        // More than can be settled, each an optimum of its own: no proof will come of it, and the lowest bound is what is known.
        if !self.variables.is_empty() && open.others < enough(self.best_cost()) {
            let lowest = open.choices.first().map_or(f64::INFINITY, |(bound, _)| *bound);
            return lowest.min(open.others);
        }
        for (bound, grades) in &open.choices {
            if *bound >= enough(self.best_cost()) {
                break;
            }
            if self.joint.stopped() {
                return *bound;
            }
            self.settle(grades);
        }
        open.others.min(self.best_cost())
    }

    /// What the bounds leave, at most so many choices; with `sound` the shares are looked at too.
    fn open(&mut self, relaxed: &[Relaxed], most: usize, sound: bool) -> Open {
        // The least that what comes after each choice can add, by each bound.
        let after: Vec<Vec<f64>> = relaxed
            .iter()
            .map(|relaxed| {
                let mut after = vec![relaxed.rest];
                for part in relaxed.parts.iter().rev() {
                    after.push(after[after.len() - 1] + part.iter().copied().fold(f64::INFINITY, f64::min));
                }
                after.reverse();
                after
            })
            .collect();
        let mut walk = Walk {
            relaxed,
            after: &after,
            most,
            sound,
            limit: enough(self.best_cost()),
            open: Open { choices: Vec::new(), others: f64::INFINITY },
        };
        let mut factors = self.tightest.to_vec();
        let root = vec![0.0; relaxed.len()];
        self.walk(&mut walk, &mut Vec::new(), &mut factors, &root);
        walk.open.choices.sort_by(|a, b| a.0.total_cmp(&b.0));
        walk.trim();
        walk.open
    }

    fn walk(&mut self, walk: &mut Walk<'_>, settled: &mut Vec<usize>, factors: &mut [f64], so_far: &[f64]) {
        let depth = settled.len();
        let bound =
            so_far.iter().zip(walk.after).map(|(sum, after)| sum + after[depth]).fold(f64::NEG_INFINITY, f64::max);
        if bound >= walk.limit {
            return;
        }
        self.nodes += 1;
        if self.nodes > MOST_NODES || self.joint.stopped() {
            walk.open.others = walk.open.others.min(bound);
            return;
        }
        if walk.sound && depth > 0 && !self.may_be_within(factors) {
            return;
        }
        if depth == self.choices.len() {
            walk.open.choices.push((bound, settled.clone()));
            if walk.open.choices.len() >= 2 * walk.most {
                walk.open.choices.sort_by(|a, b| a.0.total_cmp(&b.0));
                walk.trim();
            }
            return;
        }
        let place = self.choices[depth].place;
        let tightest = factors[place];
        // What looks cheapest first, so that lists that are full are full of good ones.
        let sharpest = &walk.relaxed[0].parts[depth];
        let mut order: Vec<usize> = (0..sharpest.len()).collect();
        order.sort_by(|&a, &b| sharpest[a].total_cmp(&sharpest[b]));
        for grade in order {
            settled.push(grade);
            factors[place] = self.choices[depth].grades[grade].0;
            let sums: Vec<f64> =
                so_far.iter().zip(walk.relaxed).map(|(sum, relaxed)| sum + relaxed.parts[depth][grade]).collect();
            self.walk(walk, settled, factors, &sums);
            settled.pop();
        }
        factors[place] = tightest;
    }

    /// Whether the joint share could be within the ceiling: by the bounds of single shares, and by itself while that is not asked too often.
    fn may_be_within(&mut self, factors: &[f64]) -> bool {
        match self.joint.within_by_bounds(factors) {
            Some(answer) => answer,
            None if self.joints < MOST_JOINT => {
                self.joints += 1;
                self.joint.within(factors)
            }
            None => true,
        }
    }
}

/// A walk through the branches.
struct Walk<'a> {
    relaxed: &'a [Relaxed],
    /// By bound and number of choices settled.
    after: &'a [Vec<f64>],
    most: usize,
    sound: bool,
    /// Branches with no lower bound are cut.
    limit: f64,
    open: Open,
}

impl Walk<'_> {
    /// Leaves the list at its allowed length, and nothing above its last worth adding.
    fn trim(&mut self) {
        if let Some((bound, _)) = self.open.choices.get(self.most) {
            self.open.others = self.open.others.min(*bound);
            self.limit = self.limit.min(*bound);
            self.open.choices.truncate(self.most);
        }
    }
}
