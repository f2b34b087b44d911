//! The search over tolerances, sizes and ways to buy pieces, all choices on the same draws.
//!
//! Where there are few choices all of them are gone through. Else the search walks from several starts: of one decision after the other every
//! alternative is tried and the best taken, until none helps; then of pairs of decisions. What counts is the cost, with a penalty
//! for what is outside beyond the ceiling, so that a walk may come from outside. Every choice that was tried is kept: the curve of cost
//! against ceiling, the worth of each decision and the prices that would change it are read from them.

use crate::draws::Draws;
use crate::estimate::{Estimate, Figure};
use crate::question::{Choice, Question};
use crate::simulate::{Ready, Tally};
use packdrift_numerics::stream::BLOCK;
use packdrift_spread::Progress;
use std::collections::BTreeMap;

/// Choices that are gone through one by one at most.
const FEW: f64 = 1500.0;
/// A choice that is clearly worse is given up after one build in so many.
const FIRST_PART: usize = 4;

/// What may be changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Free {
    Everything,
    /// Tolerances only, no fitting.
    Tolerances,
    /// Sizes and ways only, tolerances as they are.
    Drawer,
}

/// What became of an attempt.
enum Tried {
    Known(Box<Estimate>),
    /// It costs more than what it was to beat, whatever the builds say.
    Dearer,
    /// The search was stopped, or has tried what it may.
    End,
}

/// What the search knows.
pub(crate) struct Search<'a> {
    pub(crate) question: &'a Question,
    draws: &'a Draws,
    progress: &'a dyn Progress,
    tried: BTreeMap<Choice, Estimate>,
    /// Choices tried at the most.
    budget: usize,
    /// Choices tried before this search began, and in all by the end, as far as can be told.
    done: u64,
    expected: u64,
    /// What keeping a ceiling may be worth beside the tolerances: what a choice that does all it can costs more than the cheapest.
    worth: f64,
    pub(crate) stopped: bool,
}

impl<'a> Search<'a> {
    pub(crate) fn new(question: &'a Question, draws: &'a Draws, budget: usize, progress: &'a dyn Progress) -> Self {
        Self {
            question,
            draws,
            progress,
            tried: BTreeMap::new(),
            budget,
            done: 0,
            expected: budget as u64,
            worth: 0.0,
            stopped: false,
        }
    }

    /// For the progress: so many choices were tried before, and in all it will be so many.
    pub(crate) fn one_of(mut self, done: u64, expected: u64) -> Self {
        (self.done, self.expected) = (done, expected);
        self
    }

    /// Takes over what another search knows of the same question with fewer levels, on the same draws; `places`: where each of its levels is here.
    pub(crate) fn adopt(&mut self, other: &Search<'_>, places: &[Vec<u8>]) {
        (self.worth, self.stopped) = (other.worth, other.stopped);
        for mut estimate in other.tried.values().cloned() {
            place(&mut estimate.choice, places);
            self.tried.insert(estimate.choice.clone(), estimate);
        }
    }

    /// All that was tried.
    pub(crate) fn tried(&self) -> impl Iterator<Item = &Estimate> {
        self.tried.values()
    }

    /// Allows so many more to be tried.
    pub(crate) fn allow(&mut self, more: usize) {
        self.budget = self.tried.len() + more;
    }

    /// Allows so many in all.
    pub(crate) fn allow_up_to(&mut self, choices: usize) {
        self.budget = choices;
    }

    /// Tries a choice on all builds; None where the search was stopped or is at its end.
    pub(crate) fn try_one(&mut self, choice: &Choice) -> Option<Estimate> {
        match self.try_against(choice, None) {
            Tried::Known(estimate) => Some(*estimate),
            Tried::Dearer | Tried::End => None,
        }
    }

    /// Tries a choice; one that its fixed costs, or a first part of the builds, show to be worse than `(limit, aim)`, a penalised cost, is tried no
    /// longer.
    fn try_against(&mut self, choice: &Choice, limit: Option<(f64, f64)>) -> Tried {
        let choice = choice.clone().plain();
        let whole = (self.draws.blocks.len() * BLOCK) as u64;
        let known = self.tried.get(&choice).cloned();
        // What was tried on a part of the builds is an answer only where it still shows enough.
        let worse = |known: &Estimate| limit.is_some_and(|(limit, aim)| self.at_its_best(known, aim) > limit);
        if let Some(known) = known.as_ref().filter(|known| known.builds == whole || worse(known)) {
            return Tried::Known(Box::new(known.clone()));
        }
        if limit.is_some_and(|(limit, _)| self.question.fixed_costs(&choice) > limit) {
            return Tried::Dearer;
        }
        if self.stopped || self.progress.cancelled() {
            self.stopped = true;
            return Tried::End;
        }
        if self.tried.len() >= self.budget && known.is_none() {
            return Tried::End;
        }
        let ready = Ready::new(self.question, &choice);
        let (first, rest) = self.draws.blocks.split_at(self.draws.blocks.len().div_ceil(FIRST_PART));
        let mut tally = ready.run(first, false);
        let mut estimate = Estimate::new(self.question, &choice, &ready, &tally, None);
        if limit.is_none_or(|(limit, aim)| self.at_its_best(&estimate, aim) <= limit) {
            tally = Tally::of(vec![tally, ready.run(rest, false)]);
            estimate = Estimate::new(self.question, &choice, &ready, &tally, None);
        }
        self.tried.insert(choice, estimate.clone());
        let done = self.done + self.tried.len() as u64;
        self.progress.advance(done, self.expected.max(done));
        Tried::Known(Box::new(estimate))
    }

    /// Every choice, where there are few; whether they were.
    pub(crate) fn all(&mut self) -> bool {
        let question = self.question;
        if question.choices() > FEW {
            return false;
        }
        self.allow(FEW as usize + 1);
        let sets = sets(question.catalogue.len(), question.most_sizes);
        let mut levels = vec![0_u8; question.priced.len()];
        loop {
            for &sizes in &sets {
                for &pieces in &question.ways {
                    let choice = Choice { levels: levels.clone(), sizes, pieces };
                    if self.try_one(&choice).is_none() {
                        return false;
                    }
                }
            }
            let mut at = 0;
            loop {
                let Some(level) = levels.get_mut(at) else { return true };
                if usize::from(*level) + 1 < question.priced[at].levels.len() {
                    *level += 1;
                    break;
                }
                *level = 0;
                at += 1;
            }
        }
    }

    /// The penalised cost that a choice may still come to on all builds, four standard errors to its favour.
    fn at_its_best(&self, estimate: &Estimate, aim: f64) -> f64 {
        let lucky = |value: f64, error: f64| (value - 4.0 * error).max(0.0);
        let cost = Figure { value: lucky(estimate.cost.value, estimate.cost.standard_error), ..estimate.cost };
        let held_to = lucky(estimate.held_to, estimate.out.standard_error);
        self.penalised(&Estimate { cost, held_to, ..estimate.clone() }, aim)
    }

    /// Cost with a penalty for what is outside beyond `aim`.
    fn penalised(&self, estimate: &Estimate, aim: f64) -> f64 {
        // Half a build is nobody: without it none outside would be infinitely better than one.
        let least = 0.5 / estimate.builds as f64;
        let beyond = (estimate.held_to.max(least) / aim.max(least)).ln().max(0.0);
        estimate.cost.value + self.scale() * beyond
    }

    /// What the dearest tolerances cost more than the cheapest, or what it costs to do all that can be done: no ceiling is worth more.
    fn scale(&self) -> f64 {
        let most =
            self.question.priced.iter().map(|p| p.levels.iter().map(|l| l.price).fold(0.0, f64::max)).sum::<f64>();
        (most - self.question.at_least()).max(self.worth).max(1e-9)
    }

    /// Sees what it costs to do all that can be done: the tightest tolerances, every size. A walk that stands outside the ceiling then knows that
    /// it is worth readings and pieces too, not only tolerances.
    pub(crate) fn see_what_a_ceiling_is_worth(&mut self) {
        let levels = vec![0; self.question.priced.len()];
        let all = Choice { levels, sizes: self.question.all_sizes(), pieces: self.question.ways[0] };
        if let Some(estimate) = self.try_one(&all) {
            self.worth = estimate.cost.value - self.question.at_least();
        }
    }

    /// Walks from a choice to one that no change of one decision, or of two, makes better.
    pub(crate) fn walk(&mut self, start: &Choice, aim: f64, free: Free) -> Option<Estimate> {
        let mut at = self.try_one(start)?;
        loop {
            let before = self.penalised(&at, aim);
            for group in self.groups(&at.choice, free) {
                at = self.best_of(at, group, aim);
            }
            if self.penalised(&at, aim) < before - 1e-12 {
                continue;
            }
            let pairs = self.pairs(&at.choice, free);
            let next = self.first_better(&at, pairs, aim);
            match next {
                Some(next) => at = next,
                None => return Some(at),
            }
        }
    }

    fn best_of(&mut self, at: Estimate, group: Vec<Choice>, aim: f64) -> Estimate {
        let mut best = at;
        for choice in group {
            let now = self.penalised(&best, aim);
            match self.try_against(&choice, Some((now, aim))) {
                Tried::Known(estimate) if self.penalised(&estimate, aim) < now - 1e-12 => best = *estimate,
                Tried::Known(_) | Tried::Dearer => {}
                Tried::End => break,
            }
        }
        best
    }

    fn first_better(&mut self, at: &Estimate, choices: Vec<Choice>, aim: f64) -> Option<Estimate> {
        let now = self.penalised(at, aim);
        for choice in choices {
            match self.try_against(&choice, Some((now, aim))) {
                Tried::Known(estimate) if self.penalised(&estimate, aim) < now - 1e-12 => return Some(*estimate),
                Tried::Known(_) | Tried::Dearer => {}
                Tried::End => return None,
            }
        }
        None
    }

    /// For each decision all of its alternatives.
    fn groups(&self, at: &Choice, free: Free) -> Vec<Vec<Choice>> {
        let mut groups = Vec::new();
        if free != Free::Drawer {
            for (d, priced) in self.question.priced.iter().enumerate() {
                groups.push(self.levels_of(at, d, 0..priced.levels.len()));
            }
        }
        if free != Free::Tolerances {
            groups.push(self.other_sizes(at));
            groups.push(self.question.ways.iter().map(|&pieces| Choice { pieces, ..at.clone() }).collect());
        }
        groups
    }

    fn levels_of(&self, at: &Choice, d: usize, levels: std::ops::Range<usize>) -> Vec<Choice> {
        let with = |level: usize| {
            let mut choice = at.clone();
            choice.levels[d] = level as u8;
            choice
        };
        levels.filter(|&level| level != usize::from(at.levels[d])).map(with).collect()
    }

    /// One size less, one more, one for another.
    pub(crate) fn other_sizes(&self, at: &Choice) -> Vec<Choice> {
        let n = self.question.catalogue.len();
        let with = |sizes: u64| Choice { sizes, ..at.clone() };
        let held = |k: &usize| at.sizes >> k & 1 == 1;
        let mut all: Vec<Choice> = (0..n).filter(held).map(|k| with(at.sizes & !(1 << k))).collect();
        if (at.sizes.count_ones() as usize) < self.question.most_sizes {
            all.extend((0..n).filter(|k| !held(k)).map(|k| with(at.sizes | 1 << k)));
        }
        for out in (0..n).filter(held) {
            all.extend((0..n).filter(|k| !held(k)).map(|k| with(at.sizes & !(1 << out) | 1 << k)));
        }
        all
    }

    /// Two tolerances at once, one wider and one tighter; a tolerance wider and a size more; one size for two.
    fn pairs(&self, at: &Choice, free: Free) -> Vec<Choice> {
        let mut all = Vec::new();
        if free != Free::Tolerances {
            let n = self.question.catalogue.len();
            let held = at.held();
            let twos = held.iter().flat_map(|&a| held.iter().filter(move |&&b| b > a).map(move |&b| 1 << a | 1 << b));
            all.extend(twos.flat_map(|two: u64| {
                let fewer = at.sizes & !two;
                (0..n).filter(|k| at.sizes >> k & 1 == 0).map(move |k| Choice { sizes: fewer | 1 << k, ..at.clone() })
            }));
        }
        if free == Free::Drawer {
            return all;
        }
        let count = self.question.priced.len();
        let last = |d: usize| self.question.priced[d].levels.len() as u8 - 1;
        for wider in (0..count).filter(|&d| at.levels[d] < last(d)) {
            let mut loose = at.clone();
            loose.levels[wider] += 1;
            for tighter in (0..count).filter(|&d| d != wider && at.levels[d] > 0) {
                let mut choice = loose.clone();
                choice.levels[tighter] -= 1;
                all.push(choice);
            }
            if free == Free::Everything && (at.sizes.count_ones() as usize) < self.question.most_sizes {
                let more = (0..self.question.catalogue.len()).filter(|k| at.sizes >> k & 1 == 0);
                all.extend(more.map(|k| Choice { sizes: at.sizes | 1 << k, ..loose.clone() }));
            }
        }
        all
    }

    /// The sizes that are taken most when all of the catalogue is held, as many as may be.
    pub(crate) fn busiest(&mut self, levels: &[u8]) -> Option<u64> {
        let all = Choice { levels: levels.to_vec(), sizes: self.question.all_sizes(), pieces: self.question.ways[0] };
        let estimate = self.try_one(&all)?;
        let mut drawer = estimate.drawer;
        drawer.sort_by(|a, b| b.taken.total_cmp(&a.taken).then(a.size.cmp(&b.size)));
        Some(drawer.iter().take(self.question.most_sizes).fold(0, |mask, h| mask | 1 << h.size))
    }

    /// The cheapest that were tried and keep `aim` with at most the permitted sizes, cheapest first.
    pub(crate) fn cheapest(&self, aim: f64, most: usize) -> Vec<Estimate> {
        self.cheapest_of(aim, most, &|_| true)
    }

    /// As [`Search::cheapest`], of some of them.
    pub(crate) fn cheapest_of(&self, aim: f64, most: usize, of: &dyn Fn(&Choice) -> bool) -> Vec<Estimate> {
        let may = |e: &&Estimate| e.held_to <= aim && of(&e.choice) && self.question.permits(&e.choice);
        let mut all: Vec<&Estimate> = self.tried().filter(may).collect();
        all.sort_by(|a, b| a.cost.value.total_cmp(&b.cost.value).then_with(|| a.choice.cmp(&b.choice)));
        all.into_iter().take(most).cloned().collect()
    }

    /// The one with least outside, where none keeps the ceiling.
    pub(crate) fn least_outside(&self) -> Option<Estimate> {
        let may = |e: &&Estimate| self.question.permits(&e.choice);
        let order =
            |a: &&Estimate, b: &&Estimate| a.held_to.total_cmp(&b.held_to).then(a.cost.value.total_cmp(&b.cost.value));
        self.tried().filter(may).min_by(order).cloned()
    }
}

/// Moves a choice to a question with more levels.
fn place(choice: &mut Choice, places: &[Vec<u8>]) {
    choice.levels.iter_mut().zip(places).for_each(|(level, places)| *level = places[usize::from(*level)]);
}

/// Every set of at most `most` of `n` sizes, the empty one first.
fn sets(n: usize, most: usize) -> Vec<u64> {
    let mut all = vec![0_u64];
    let mut from = 0;
    for _ in 0..most {
        let to = all.len();
        for at in from..to {
            let set = all[at];
            let next = 64 - set.leading_zeros() as usize;
            all.extend((next..n).map(|k| set | 1 << k));
        }
        from = to;
    }
    all
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;
    use crate::prices::Prices;
    use crate::question::{Asked, Pieces};
    use crate::shop::Shop;
    use packdrift_spread::{Cost, Known, Require, Silent, SpringForm, StackBuilder};
    use packdrift_stock::Size;

    #[test]
    fn all_sets_once() {
        for (n, most, count) in [(4, 4, 16), (4, 2, 11), (12, 5, 1 + 12 + 66 + 220 + 495 + 792)] {
            let mut all = sets(n, most);
            assert_eq!(all.len(), count, "{n} {most}");
            all.sort_unstable();
            all.dedup();
            assert_eq!(all.len(), count, "{n} {most}");
        }
    }

    /// Three tolerances in three grades, four sizes of which as many as one likes, two ways to know them.
    fn small(seed: u64) -> Question {
        let graded = |nominal: f64, grades: [(f64, f64); 3]| {
            Known::toleranced(nominal, grades[1].0).at_cost(Cost::Grades(grades.to_vec()))
        };
        let dear = 1.0 + seed as f64;
        let spring = SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) };
        let stack = StackBuilder::new("one rocker")
            .bay("bay", Known::exact(28.0), |bay| {
                bay.shim("shim", graded(0.40, [(0.006, 2.0), (0.015, 0.8), (0.03, 0.3)]))
                    .rocker("rocker", Known::exact(24.0), graded(11.0, [(0.03, 6.0 * dear), (0.06, 3.0), (0.12, 1.5)]))
                    .spring("spring", spring)
                    .washer("outer", Known::exact(1.0))
                    .valve("exhaust", "rocker", graded(10.4, [(0.05, 9.0), (0.12, 4.0 * dear), (0.30, 2.0)]))
            })
            .require(Require::offset("exhaust").between(0.90, 1.10).max_out(0.02))
            .require(Require::preload("bay").between(10.0, 170.0).max_out(0.02))
            .build()
            .unwrap();
        let size = |thickness: f64| Size {
            name: format!("{thickness:.2}"),
            thickness,
            bias: 0.0,
            between: 0.004,
            within: 0.006,
            cost: 0.5 * dear,
            lead_days: 14.0,
        };
        let prices = Prices {
            minute: Some(0.5 * dear),
            read_minutes: Some(0.5),
            open_minutes: Some(1.0),
            piece_minutes: Some(0.5),
            measuring: Some(0.2),
            ..Prices::default()
        };
        let catalogue: Vec<Size> = [0.2, 0.3, 0.5, 0.6].map(size).to_vec();
        Question::new(&stack, &catalogue, &prices, &Shop::default(), &Asked { max_out: None, most_sizes: 4 }).unwrap()
    }

    /// The walk against every choice on the same draws, for three sets of prices: it tries a part of them and ends at the cheapest.
    #[test]
    fn the_walk_ends_where_exhaustion_does() {
        for seed in 0..3 {
            let question = small(seed);
            let draws = Draws::new(&question, 1024, 3, "search").unwrap();
            let aim = 0.9 * question.ceiling;
            let mut every = Search::new(&question, &draws, 2000, &Silent);
            assert!(every.all());
            assert_eq!(every.tried().count(), 27 * (1 + 15 * 2));
            let cheapest = every.cheapest(aim, 1).pop().unwrap();
            let mut search = Search::new(&question, &draws, 2000, &Silent);
            let starts = [[1, 1, 1], [2, 2, 2], [0, 0, 0]];
            for levels in starts {
                let choice = Choice { levels: levels.to_vec(), sizes: 0b1111, pieces: Pieces::AsBought };
                search.walk(&choice, aim, Free::Everything).unwrap();
            }
            let found = search.cheapest(aim, 1).pop().unwrap();
            assert!(search.tried().count() < every.tried().count(), "all were tried");
            let off = found.cost.value / cheapest.cost.value - 1.0;
            assert!(off < 1e-3, "{seed}: {} for {}", found.cost.value, cheapest.cost.value);
        }
    }

    /// What was tried is not tried again, and a search that was called off tries nothing more.
    #[test]
    fn a_search_that_is_called_off_keeps_what_it_has() {
        struct Off(std::sync::atomic::AtomicU64);
        impl Progress for Off {
            fn advance(&self, done: u64, _total: u64) {
                self.0.store(done, std::sync::atomic::Ordering::SeqCst);
            }
            fn cancelled(&self) -> bool {
                self.0.load(std::sync::atomic::Ordering::SeqCst) >= 5
            }
        }
        let question = small(0);
        let draws = Draws::new(&question, 1024, 3, "search").unwrap();
        let off = Off(std::sync::atomic::AtomicU64::new(0));
        let mut search = Search::new(&question, &draws, 2000, &off);
        assert!(!search.all() && search.stopped);
        assert_eq!(search.tried().count(), 5);
        assert!(search.least_outside().is_some());
    }
}
