//! Engines into service windows: a transportation problem.
//!
//! min Σ_ew c_ew x_ew  with  Σ_w x_ew = 1 for every engine, Σ_e x_ew ≤ capacity_w, x whole,
//!
//! the last column ("later") without capacity. Every engine begins where it costs least; while a window holds too many, one place of it is
//! emptied by the cheapest chain of moves that ends in a column with room. Such a chain is a shortest path between the columns, and an
//! assignment without a cycle below 0 has none after it: the successive shortest paths of R. K. Ahuja, T. L. Magnanti, J. B. Orlin: Network
//! Flows, 1993, section 9.7. There are few columns, so that a fleet of thousands takes well under a second.

/// Who goes where.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Assignment {
    /// Column of each engine; the last is "later".
    pub(crate) column: Vec<usize>,
    /// Where each would go if there were room everywhere.
    pub(crate) wish: Vec<usize>,
}

/// Assigns engines (rows of `cost`) to windows (columns, of which there is one more than capacities) at the least total cost.
pub(crate) fn assign(cost: &[Vec<f64>], capacity: &[u32]) -> Assignment {
    let best = |row: &Vec<f64>| {
        (0..row.len()).min_by(|a, b| row[*a].total_cmp(&row[*b]).then(a.cmp(b))).unwrap_or(capacity.len())
    };
    let wish: Vec<usize> = cost.iter().map(best).collect();
    let mut column = wish.clone();
    let room = |column: &[usize], w: usize| -> i64 {
        capacity.get(w).map_or(1, |c| i64::from(*c) - column.iter().filter(|x| **x == w).count() as i64)
    };
    let columns = capacity.len() + 1;
    while let Some(moves) = {
        let free: Vec<i64> = (0..columns).map(|w| room(&column, w)).collect();
        cheapest_relief(cost, &column, &free)
    } {
        for (engine, to) in moves {
            column[engine] = to;
        }
    }
    Assignment { column, wish }
}

/// The moves that take one engine out of an overfull column at the least cost; None where none is overfull.
fn cheapest_relief(cost: &[Vec<f64>], column: &[usize], free: &[i64]) -> Option<Vec<(usize, usize)>> {
    let columns = free.len();
    if free.iter().all(|f| *f >= 0) {
        return None;
    }
    let mover = movers(cost, column, columns);
    let nil = rounding(cost);
    // Cost of the cheapest chain from any overfull column to each, and the column it came from.
    let mut chain: Vec<(f64, Option<usize>)> =
        free.iter().map(|f| if *f < 0 { (0.0, None) } else { (f64::INFINITY, None) }).collect();
    for _ in 1..columns {
        for from in 0..columns {
            for to in 0..columns {
                let Some(e) = mover[from][to] else { continue };
                let total = chain[from].0 + cost[e][to] - cost[e][from];
                // A cycle that rounding makes seem to save is none.
                if total < chain[to].0 - nil && !leads_to(&chain, from, to) {
                    chain[to] = (total, Some(from));
                }
            }
        }
    }
    let end = (0..columns)
        .filter(|w| free[*w] > 0 && chain[*w].0.is_finite())
        .min_by(|a, b| chain[*a].0.total_cmp(&chain[*b].0).then(a.cmp(b)))?;
    let mut moves = Vec::new();
    let mut to = end;
    while let Some(from) = chain[to].1 {
        moves.extend(mover[from][to].map(|e| (e, to)));
        to = from;
    }
    Some(moves)
}

/// Whether the chain to `from` already comes through `to`.
fn leads_to(chain: &[(f64, Option<usize>)], from: usize, to: usize) -> bool {
    let mut at = from;
    while let Some(before) = chain[at].1 {
        if before == to {
            return true;
        }
        at = before;
    }
    at == to
}

/// The cheapest engine to move from one column to another.
fn movers(cost: &[Vec<f64>], column: &[usize], columns: usize) -> Vec<Vec<Option<usize>>> {
    let mut mover: Vec<Vec<Option<usize>>> = vec![vec![None; columns]; columns];
    let price = |e: usize, to: usize| cost[e][to] - cost[e][column[e]];
    for (e, &from) in column.iter().enumerate() {
        for (to, best) in mover[from].iter_mut().enumerate().filter(|(to, _)| *to != from) {
            if best.is_none_or(|other| price(e, to) < price(other, to)) {
                *best = Some(e);
            }
        }
    }
    mover
}

/// What rounding leaves is no gain.
fn rounding(cost: &[Vec<f64>]) -> f64 {
    let scale = cost.iter().flatten().map(|c| c.abs()).fold(0.0, f64::max);
    1e-12 * scale.max(f64::MIN_POSITIVE)
}

/// What one more place in each window would save of `saved` (a sum over engines like the cost, beside which it is looked at); 0 where
/// there is room.
///
/// An engine moves in from another column, whose place another takes, and so on: the cheapest such chain is a shortest path between the
/// columns, an edge a → b costing the least of c_eb − c_ea over the engines in a. An optimal assignment has no cycle below 0, so that the
/// chain leads to the optimum with the additional place (as in [`assign`]).
pub(crate) fn worth_of_places(cost: &[Vec<f64>], saved: &[Vec<f64>], capacity: &[u32], column: &[usize]) -> Vec<f64> {
    let columns = capacity.len() + 1;
    let mover = movers(cost, column, columns);
    let nil = rounding(cost);
    // Cost and saving of the cheapest chain that ends in a column.
    let mut chain = vec![(0.0, 0.0); columns];
    for _ in 1..columns {
        let before = chain.clone();
        for from in 0..columns {
            for to in 0..columns {
                let Some(e) = mover[from][to] else { continue };
                let total = before[from].0 + cost[e][to] - cost[e][from];
                if total < chain[to].0 - nil {
                    chain[to] = (total, before[from].1 + saved[e][from] - saved[e][to]);
                }
            }
        }
    }
    (0..capacity.len())
        .map(|w| {
            let taken = column.iter().filter(|c| **c == w).count() as u64;
            if taken < u64::from(capacity[w]) { 0.0 } else { chain[w].1 }
        })
        .collect()
}

#[cfg(test)]
mod tests {
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
            let found = assign(&cost, &capacity);
            let best = exhausted(&cost, &capacity);
            let total: f64 = found.column.iter().zip(&cost).map(|(w, row)| row[*w]).sum();
            assert!((total - best).abs() <= 1e-9 * best.abs().max(1.0), "{case}: {total} {best}");
            for (w, c) in capacity.iter().enumerate() {
                assert!(found.column.iter().filter(|x| **x == w).count() <= *c as usize);
            }
            let worth = worth_of_places(&cost, &cost, &capacity, &found.column);
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
        let found = assign(&cost, &capacity);
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
