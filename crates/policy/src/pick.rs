//! The choice that is taken: the cheapest that fresh draws show to keep the ceiling.

use crate::answer::{Effort, on_fresh, run_fresh};
use crate::draws::Drawer;
use crate::error::PolicyError;
use crate::estimate::Estimate;
use crate::question::{Choice, Question};
use crate::search::Search;
use crate::simulate::{Ready, Tally};
use packdrift_numerics::stream::BLOCK;
use packdrift_spread::Progress;

/// Candidates drawn afresh before one is taken, and how far beyond the ceiling the draws of the search may put them: these are few, so
/// what they put just beyond it may well keep it.
const CANDIDATES: usize = 60;
pub(crate) const MAYBE: f64 = 1.25;
/// Of the aim, what those that are looked at next are outside at the most on the draws of the search.
const WELL_BELOW: f64 = 0.9;
/// Of the ceiling, what the draws that pick must keep: the final ones are others.
pub(crate) const SPARE: f64 = 0.97;
/// Sizes that are taken by fewer builds than this are not held where the ceiling is kept without them at no more than this part of
/// the cost.
const IDLE: f64 = 1e-3;

/// What the search aims at: below the ceiling by what fresh draws need to show it.
pub(crate) fn aim(ceiling: f64, builds: usize) -> f64 {
    let se = (ceiling * (1.0 - ceiling) / builds as f64).sqrt();
    (ceiling - crate::estimate::SURE * se).max(0.3 * ceiling)
}

/// Draws of its own, neither those of the search nor the final ones.
pub(crate) struct Picker<'a> {
    question: &'a Question,
    effort: &'a Effort,
    drawer: Drawer<'a>,
}

/// The first that is shown of many, cheapest first: the draws of the search cannot tell those that keep a small ceiling from those that do not, so
/// the dearer are looked at in growing steps, and then those before the first that is shown.
fn further(rest: &[Estimate], shown: impl Fn(&[Estimate]) -> Option<Estimate>) -> Option<Estimate> {
    let (mut from, mut step) = (0, 1);
    while from < rest.len() {
        let at = (from + step).min(rest.len()) - 1;
        if let Some(found) = shown(&rest[at..=at]) {
            return shown(&rest[from..at.min(from + CANDIDATES)]).or(Some(found));
        }
        from = at + 1;
        step *= 2;
    }
    None
}

impl<'a> Picker<'a> {
    pub(crate) fn new(question: &'a Question, effort: &'a Effort, purpose: &str) -> Result<Self, PolicyError> {
        Ok(Self { question, effort, drawer: Drawer::new(question, effort.seed, purpose)? })
    }

    fn asked(&self, choice: &Choice, builds: usize) -> Estimate {
        on_fresh(self.question, choice, &self.drawer, builds)
    }

    /// A choice on so many builds; none where an eighth of them, or a quarter, or half shows that it does not keep the ceiling.
    fn as_long_as_it_may(&self, choice: &Choice, ceiling: f64, builds: usize) -> Option<Estimate> {
        let ready = Ready::new(self.question, choice);
        let (mut tally, mut done) = (Tally::default(), 0);
        for part in [8, 4, 2, 1] {
            let to = (builds / part).div_ceil(BLOCK);
            tally = Tally::of(vec![tally, run_fresh(&ready, choice, &self.drawer, done..to, false)]);
            done = to;
            let estimate = Estimate::new(self.question, choice, &ready, &tally, None);
            if part == 1 {
                return Some(estimate);
            }
            if estimate.held_to - 2.0 * estimate.out.standard_error > aim(ceiling, builds) {
                return None;
            }
        }
        None
    }

    /// The first of the candidates whose bound keeps the ceiling on so many builds.
    pub(crate) fn shown(
        &self,
        candidates: &[Estimate],
        ceiling: f64,
        builds: usize,
        progress: &dyn Progress,
    ) -> Option<Estimate> {
        for candidate in candidates {
            if progress.cancelled() {
                return None;
            }
            let estimate = self.as_long_as_it_may(&candidate.choice, ceiling, builds);
            if let Some(estimate) = estimate.filter(|estimate| estimate.bound <= ceiling * SPARE) {
                return Some(estimate);
            }
        }
        None
    }

    /// The cheapest that is shown to keep the ceiling; where none is, one that has room to spare on the draws of the search, else the one
    /// with least outside there.
    pub(crate) fn pick(&self, search: &Search<'_>, aim: f64, progress: &dyn Progress) -> Result<Choice, PolicyError> {
        let first = search.cheapest(MAYBE * self.question.ceiling, CANDIDATES);
        // Where none of these is shown, those that the draws of the search put well below the ceiling may be.
        let rest = search.cheapest(WELL_BELOW * aim, usize::MAX);
        let shown = |some: &[Estimate]| self.shown(some, self.question.ceiling, self.effort.final_builds, progress);
        if let Some(found) = shown(&first).or_else(|| further(&rest, shown)) {
            return Ok(self.without_idle_sizes(found));
        }
        let tighter = search.cheapest(0.7 * aim, 1).pop();
        tighter.or_else(|| search.least_outside()).map(|e| e.choice).ok_or(PolicyError::Stopped)
    }

    fn without_idle_sizes(&self, mut now: Estimate) -> Choice {
        loop {
            let idle = now.drawer.iter().filter(|h| h.taken < IDLE).min_by(|a, b| a.taken.total_cmp(&b.taken));
            let Some(size) = idle.map(|h| h.size).filter(|_| now.drawer.len() > 1) else { return now.choice };
            let fewer = Choice { sizes: now.choice.sizes & !(1 << size), ..now.choice.clone() };
            let then = self.asked(&fewer, self.effort.final_builds);
            if then.bound > self.question.ceiling * SPARE || then.cost.value > now.cost.value * (1.0 + IDLE) {
                return now.choice;
            }
            now = then;
        }
    }
}
