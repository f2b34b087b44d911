//! What stands close to the choice: each decision changed alone, and the prices at which another choice would be the cheapest.

use crate::estimate::{Estimate, Parts};
use crate::question::{Choice, Pieces, Question};
use crate::search::Search;
use packdrift_spread::Cost;

/// What is changed.
#[derive(Debug, Clone, PartialEq)]
pub enum Decision {
    /// A tolerance, from one level to another.
    Tolerance {
        /// Index of the priced dimension.
        dimension: usize,
        /// Levels.
        from: usize,
        /// See `from`.
        to: usize,
    },
    /// A size of the catalogue is no longer held.
    Without {
        /// Index into the catalogue.
        size: usize,
    },
    /// A size is held besides.
    With {
        /// Index into the catalogue.
        size: usize,
    },
    /// Pieces are bought and known in another way.
    Pieces {
        /// As chosen.
        from: Pieces,
        /// Instead.
        to: Pieces,
    },
}

/// One decision changed, all others kept; on the draws of the search.
#[derive(Debug, Clone, PartialEq)]
pub struct Alone {
    /// Which.
    pub decision: Decision,
    /// Cost of a build then, less that of the choice.
    pub cost: f64,
    /// Share outside then.
    pub out: f64,
    /// Whether the estimate then still keeps the ceiling; None where it lies within two standard errors of it.
    pub keeps: Option<bool>,
}

/// A price that changes the decision.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceChange {
    /// Which price; a tolerance in mm.
    pub price: String,
    /// Of a tolerance: index of the priced dimension, and its level.
    pub tolerance: Option<(usize, usize)>,
    /// By what part it must change: 0.2 for a fifth more, −0.1 for a tenth less.
    pub by: f64,
    /// What then is the cheapest of those tried.
    pub then: Choice,
}

/// Standard errors within which an estimate does not tell on which side of the ceiling it lies.
const CLOSE: f64 = 2.0;

/// Each decision changed alone, the neighbouring levels of each tolerance first.
pub(crate) fn alone(search: &mut Search<'_>, chosen: &Choice) -> Vec<Alone> {
    let question = search.question;
    let Some(now) = search.try_one(chosen) else { return Vec::new() };
    let mut changes: Vec<(Decision, Choice)> = Vec::new();
    for (d, priced) in question.priced.iter().enumerate() {
        let from = usize::from(chosen.levels[d]);
        for to in [from.checked_sub(1), Some(from + 1)].into_iter().flatten().filter(|&l| l < priced.levels.len()) {
            let mut choice = chosen.clone();
            choice.levels[d] = to as u8;
            changes.push((Decision::Tolerance { dimension: d, from, to }, choice));
        }
    }
    for size in 0..question.catalogue.len() {
        let bit = 1 << size;
        if chosen.sizes & bit != 0 {
            changes.push((Decision::Without { size }, Choice { sizes: chosen.sizes & !bit, ..chosen.clone() }));
        } else {
            changes.push((Decision::With { size }, Choice { sizes: chosen.sizes | bit, ..chosen.clone() }));
        }
    }
    for &to in question.ways.iter().filter(|&&to| to != chosen.pieces && chosen.sizes != 0) {
        changes.push((Decision::Pieces { from: chosen.pieces, to }, Choice { pieces: to, ..chosen.clone() }));
    }
    let mut all = Vec::new();
    for (decision, choice) in changes {
        let Some(then) = search.try_one(&choice) else { break };
        let off = then.held_to - question.ceiling;
        let keeps = (off.abs() > CLOSE * then.out.standard_error).then_some(off < 0.0);
        all.push(Alone { decision, cost: then.cost.value - now.cost.value, out: then.out.value, keeps });
    }
    all
}

/// Its name, and of a tolerance's price the dimension and the level.
type Price = (String, Option<(usize, usize)>);

/// How each price enters the cost of a build.
fn shares(question: &Question, estimate: &Estimate) -> Vec<(Price, f64)> {
    let Parts { tolerances, reading, opening, touching, pieces, measuring, tighter, holding, sizes } = &estimate.parts;
    let named = |name: &str, share: f64| ((name.to_owned(), None), share);
    let mut all: Vec<(Price, f64)> = vec![
        named("minute (at the bench)", reading + opening + touching),
        named("read_minutes", *reading),
        named("open_minutes", *opening),
        named("piece_minutes", *touching),
        named("measuring", *measuring),
        named("tighter", *tighter),
        named("holding", *holding),
        named("size_a_year", *sizes),
    ];
    for (k, size) in question.catalogue.iter().enumerate() {
        let taken = estimate.drawer.iter().position(|h| h.size == k);
        let share = taken.and_then(|at| pieces.get(at)).copied().unwrap_or(0.0);
        all.push(named(&format!("a piece of {}", size.name), share));
    }
    for (d, priced) in question.priced.iter().enumerate() {
        // Of a curve nobody changes the price of one tolerance: its scale is what the file has.
        if let (true, Some(Cost::Power { fixed, .. })) = (priced.stepped, &question.stack.inputs[priced.input].cost) {
            let above = tolerances.get(d).map_or(0.0, |price| price - fixed);
            all.push(named(&format!("{}: the scale of its cost", priced.dimension), above));
            continue;
        }
        for (l, level) in priced.levels.iter().enumerate() {
            let bought = usize::from(estimate.choice.levels[d]) == l;
            let share = if bought { tolerances.get(d).copied().unwrap_or(0.0) } else { 0.0 };
            all.push(((format!("{} at {} mm", priced.dimension, short(level.tol)), Some((d, l))), share));
        }
    }
    all
}

/// A length in as many digits as it needs, at most three.
fn short(tol: f64) -> String {
    let rounded = format!("{tol:.3}");
    rounded.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Prices that may change by more than this part without changing the decision are not told: a list of forty hides the three that matter.
const MOST: f64 = 0.3;

/// For each price the smallest change that makes another choice the cheapest among all that were tried and keep the ceiling. Costs are
/// linear in every price, since what is fitted does not depend on prices: so this is exact for the draws of the search.
pub(crate) fn price_changes(question: &Question, search: &Search<'_>, chosen: &Choice, aim: f64) -> Vec<PriceChange> {
    let Some(now) = search.tried().find(|e| e.choice == *chosen).cloned() else { return Vec::new() };
    let mine = shares(question, &now);
    let mut best: Vec<Option<(f64, Choice)>> = vec![None; mine.len()];
    let may = |e: &&Estimate| e.choice != *chosen && e.held_to <= aim && question.permits(&e.choice);
    for other in search.tried().filter(may) {
        let dearer = other.cost.value - now.cost.value;
        for (k, ((_, a), (_, b))) in mine.iter().zip(&shares(question, other)).enumerate() {
            if (b - a).abs() < 1e-12 || dearer < 0.0 {
                continue;
            }
            let by = dearer / (a - b);
            let possible = by > -1.0 && by.abs() <= MOST;
            if possible && best[k].as_ref().is_none_or(|(least, _)| by.abs() < least.abs()) {
                best[k] = Some((by, other.choice.clone()));
            }
        }
    }
    let mut all: Vec<PriceChange> = mine
        .into_iter()
        .zip(best)
        .filter_map(|(((price, tolerance), _), found)| {
            found.map(|(by, then)| PriceChange { price, tolerance, by, then })
        })
        .collect();
    all.sort_by(|a, b| a.by.abs().total_cmp(&b.by.abs()).then(a.price.cmp(&b.price)));
    all
}
