//! Engines into service windows: a transportation problem.
//!
//! min Σ_ew c_ew x_ew  with  Σ_w x_ew = 1 for every engine, Σ_e x_ew ≤ capacity_w, 0 ≤ x ≤ 1,
//!
//! the last column ("later") without capacity. Its matrix is totally unimodular, so a vertex of the linear programme is a whole
//! assignment (A. J. Hoffman, J. B. Kruskal: Integral boundary points of convex polyhedra, 1956), and the simplex method ends at one.

use crate::error::DueError;
use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};

/// Who goes where.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Assignment {
    /// Column of each engine; the last is "later".
    pub(crate) column: Vec<usize>,
    /// Sum of their costs.
    pub(crate) total: f64,
}

/// Assigns engines (rows of `cost`) to windows (columns, of which there is one more than capacities) at the least total cost.
pub(crate) fn assign(cost: &[Vec<f64>], capacity: &[u32]) -> Result<Assignment, DueError> {
    let best = |row: &[f64]| {
        (0..row.len()).min_by(|a, b| row[*a].total_cmp(&row[*b]).then(a.cmp(b))).unwrap_or(capacity.len())
    };
    let total = |column: &[usize]| column.iter().zip(cost).map(|(w, row)| row[*w]).sum();
    // Everyone's wish fits: nothing can be cheaper.
    let wish: Vec<usize> = cost.iter().map(|row| best(row)).collect();
    let fits = capacity.iter().enumerate().all(|(w, c)| wish.iter().filter(|x| **x == w).count() <= *c as usize);
    if fits {
        return Ok(Assignment { total: total(&wish), column: wish });
    }
    // Who wishes to come later takes nobody's place and is left out of the programme.
    let later = capacity.len();
    let asking: Vec<usize> = (0..cost.len()).filter(|e| wish[*e] != later).collect();
    // Costs as regrets, scaled to 1: the optimum is the same and the solver's tolerances mean something.
    let regret: Vec<Vec<f64>> =
        asking.iter().map(|&e| cost[e].iter().map(|c| c - cost[e][wish[e]]).collect()).collect();
    let scale = regret.iter().flatten().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let x: Vec<Vec<_>> =
        regret.iter().map(|row| row.iter().map(|c| problem.add_var(c / scale, (0.0, 1.0))).collect()).collect();
    for row in &x {
        problem.add_constraint(row.iter().map(|v| (*v, 1.0)), ComparisonOp::Eq, 1.0);
    }
    for (w, c) in capacity.iter().enumerate() {
        problem.add_constraint(x.iter().map(|row| (row[w], 1.0)), ComparisonOp::Le, f64::from(*c));
    }
    let refused = |reason: String| DueError::Solver { reason };
    let solution = match problem.solve().map_err(|e| refused(e.to_string()))? {
        SolveOutcome::Solution(solution) => solution,
        SolveOutcome::Interrupted(_) => return Err(refused("the solver stopped early".into())),
    };
    let mut column = wish;
    for (&e, row) in asking.iter().zip(&x) {
        let chosen = row.iter().position(|v| solution.var_value(*v) > 1.0 - 1e-6);
        column[e] = chosen.ok_or_else(|| refused("the solution is not whole".into()))?;
    }
    Ok(Assignment { total: total(&column), column })
}

/// What one more place in each window would save of `saved` (a sum over engines like the cost, beside which it is looked at); 0 where
/// there is room.
///
/// An engine moves in from another column, whose place another takes, and so on: the cheapest such chain is a shortest path between the
/// columns, an edge a → b costing the least of c_eb − c_ea over the engines in a. An optimal assignment has no cycle below 0, so that the
/// chain leads to the optimum with the additional place (successive shortest paths; R. K. Ahuja, T. L. Magnanti, J. B. Orlin: Network
/// Flows, 1993, section 9.7).
pub(crate) fn worth_of_places(cost: &[Vec<f64>], saved: &[Vec<f64>], capacity: &[u32], found: &Assignment) -> Vec<f64> {
    let columns = capacity.len() + 1;
    // The cheapest mover of each edge.
    let mut mover: Vec<Vec<Option<usize>>> = vec![vec![None; columns]; columns];
    let price = |e: usize, to: usize| cost[e][to] - cost[e][found.column[e]];
    for (e, &from) in found.column.iter().enumerate() {
        for (to, best) in mover[from].iter_mut().enumerate().filter(|(to, _)| *to != from) {
            if best.is_none_or(|other| price(e, to) < price(other, to)) {
                *best = Some(e);
            }
        }
    }
    // What rounding in the solver leaves is no gain.
    let scale = cost.iter().flatten().map(|c| c.abs()).fold(0.0, f64::max);
    let nil = 1e-9 * scale.max(f64::MIN_POSITIVE);
    // Cost and saving of the cheapest chain that ends in a column.
    let mut chain = vec![(0.0, 0.0); columns];
    for _ in 1..columns {
        let before = chain.clone();
        for from in 0..columns {
            for to in 0..columns {
                let Some(e) = mover[from][to] else { continue };
                let total = before[from].0 + price(e, to);
                if total < chain[to].0 - nil {
                    chain[to] = (total, before[from].1 + saved[e][from] - saved[e][to]);
                }
            }
        }
    }
    (0..capacity.len())
        .map(|w| {
            let taken = found.column.iter().filter(|c| **c == w).count() as u64;
            if taken < u64::from(capacity[w]) { 0.0 } else { chain[w].1 }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use packdrift_numerics::stream::Key;

    /// All assignments, one by one.
    fn exhausted(cost: &[Vec<f64>], capacity: &[u32]) -> f64 {
        fn go(cost: &[Vec<f64>], left: &mut Vec<u32>, so_far: f64, best: &mut f64) {
            let Some((row, rest)) = cost.split_first() else {
                *best = best.min(so_far);
                return;
            };
            for w in 0..row.len() {
                let free = w == row.len() - 1 || left[w] > 0;
                if free {
                    if w < left.len() {
                        left[w] -= 1;
                    }
                    go(rest, left, so_far + row[w], best);
                    if w < left.len() {
                        left[w] += 1;
                    }
                }
            }
        }
        let mut best = f64::INFINITY;
        go(cost, &mut capacity.to_vec(), 0.0, &mut best);
        best
    }

    #[test]
    fn small_cases_are_optimal_by_exhaustion() {
        let mut s = Key::new(5, "windows").stream(0);
        for case in 0..200 {
            let engines = 2 + case % 6;
            let windows = 1 + case % 3;
            let capacity: Vec<u32> = (0..windows).map(|_| (s.uniform() * 3.0) as u32).collect();
            // Ties on purpose in every third case; costs of very different size in every fifth.
            let cost: Vec<Vec<f64>> = (0..engines)
                .map(|_| {
                    (0..=windows)
                        .map(|_| match case % 15 {
                            k if k % 3 == 0 => (s.uniform() * 3.0).floor(),
                            k if k % 5 == 0 => 10f64.powf(6.0 * s.uniform()),
                            _ => s.uniform(),
                        })
                        .collect()
                })
                .collect();
            let found = assign(&cost, &capacity).unwrap();
            let best = exhausted(&cost, &capacity);
            assert!((found.total - best).abs() <= 1e-7 * best.abs().max(1.0), "{case}: {} {best}", found.total);
            for (w, c) in capacity.iter().enumerate() {
                assert!(found.column.iter().filter(|x| **x == w).count() <= *c as usize);
            }
            let worth = worth_of_places(&cost, &cost, &capacity, &found);
            for w in 0..windows {
                let mut more = capacity.clone();
                more[w] += 1;
                assert!((worth[w] - (best - exhausted(&cost, &more))).abs() <= 1e-7 * best.abs().max(1.0));
            }
        }
    }

    #[test]
    fn a_large_fleet_is_assigned_whole() {
        let mut s = Key::new(6, "windows").stream(0);
        let cost: Vec<Vec<f64>> = (0..600).map(|_| (0..9).map(|_| s.uniform()).collect()).collect();
        let capacity = [20; 8];
        let found = assign(&cost, &capacity).unwrap();
        assert!((0..8).all(|w| found.column.iter().filter(|c| **c == w).count() <= 20));
        // Nobody gains by a swap, nor by a free place: a necessary condition that is checked from outside the solver.
        for a in 0..600 {
            for b in 0..a {
                let (x, y) = (found.column[a], found.column[b]);
                assert!(cost[a][x] + cost[b][y] <= cost[a][y] + cost[b][x] + 1e-9);
            }
            assert!(cost[a][found.column[a]] <= cost[a][8] + 1e-9);
        }
    }
}
