//! A good list before the search begins: the better it is, the higher the floor the search starts from, and the less it has to look at.
//!
//! A few pieces spread over the drawer's thicknesses are searched through in full; then, piece by piece, each build found is tried with the
//! pieces of the whole drawer that are near in thickness, as long as that helps. Nothing is proven by this; but what it finds
//! stands where the full search runs out of work.

use super::choices::choice;
use super::walk::Walk;
use super::{AvailablePieces, Choice, Disposition, Found, OutOfWork, Problem, Source};
use rayon::prelude::*;
use std::cmp::Ordering;

/// Drawers with no more kinds of pieces than this are searched at once.
const FEW_KINDS: usize = 20;
/// Builds that are tried with other pieces.
const TRIED: usize = 6;
/// Pieces on either side of one, in order of thickness, that are tried in its place.
const NEAR: usize = 10;
/// Rounds of trying.
const ROUNDS: usize = 6;

impl Problem<'_> {
    /// A list to start from, best first, and the work left; empty for a small drawer.
    pub(super) fn warm_start(&self, work: u64) -> (Vec<Found>, u64) {
        let kinds = &self.available.kinds;
        if kinds.len() <= FEW_KINDS {
            return (Vec::new(), work);
        }
        // Evenly over the order of thickness, both ends among them.
        let at = |k: usize| k * (kinds.len() - 1) / (FEW_KINDS - 1);
        let picked: Vec<usize> = (0..FEW_KINDS).map(at).collect();
        let few = AvailablePieces::new(picked.iter().map(|&k| kinds[k]).collect());
        let part =
            Problem { available: &few, list: self.list, free: self.free.clone(), effort: work / 4, ..self.clone() };
        let (answer, left) = part.lower_the_floor(Vec::new(), part.effort);
        let work = work - (part.effort - left);
        // The few keep the order of the whole.
        let whole = |kind: usize| picked[kind];
        let mut list: Vec<Found> = answer
            .found
            .into_iter()
            .map(|mut found| {
                found.added.iter_mut().flatten().for_each(|kind| *kind = whole(*kind));
                if let Some((_, _, Some(Source::Drawer(kind)))) = &mut found.free {
                    *kind = whole(*kind);
                }
                found
            })
            .collect();
        for _ in 0..ROUNDS {
            let before = list.clone();
            for found in before.iter().take(TRIED).filter(|found| found.free.is_none()) {
                self.exchange(found, &mut list);
            }
            if list == before {
                break;
            }
        }
        (list, work)
    }

    /// Tries every piece of a build for its neighbours in thickness; what is good enough for the list joins it.
    fn exchange(&self, found: &Found, list: &mut Vec<Found>) {
        let Some(choice) = choice(self.objective.layout, &self.fitted, &found.dispositions) else { return };
        for zone in 0..found.added.len() {
            for at in 0..found.added[zone].len() {
                let kind = found.added[zone][at];
                for other in kind.saturating_sub(NEAR)..(kind + NEAR + 1).min(self.available.kinds.len()) {
                    if other != kind {
                        let mut added = found.added.clone();
                        added[zone][at] = other;
                        added[zone].sort_unstable();
                        self.join(&choice, added, found.touched, list);
                    }
                }
            }
        }
    }

    fn join(&self, choice: &Choice, added: Vec<Vec<usize>>, touched: usize, list: &mut Vec<Found>) {
        let taken = |kind: usize| added.iter().flatten().filter(|&&k| k == kind).count() as u32;
        if added.iter().flatten().any(|&kind| taken(kind) > self.available.kinds[kind].count)
            || (0..added.len()).any(|zone| self.needed(choice, zone, added[zone].iter().copied()) != Some(0.0))
        {
            return;
        }
        let floor = if list.len() < self.list { f64::NEG_INFINITY } else { list[list.len() - 1].judged.score };
        let judged = crate::objective::Judged { score: 0.0, chance_all: 0.0 };
        let mut found = Found { judged, touched, dispositions: choice.dispositions.clone(), added, free: None };
        if let Some(judged) = self.objective.judge_above(&self.members(&found), touched, floor) {
            found.judged = judged;
            insert(list, found, self.list);
        }
    }

    /// The builds that are the bay as it is, if nothing else was found.
    pub(crate) fn as_it_is(&self) -> Option<Found> {
        let judged = self.objective.judge(&self.fitted, 0)?;
        let added = vec![Vec::new(); self.objective.layout.zones];
        Some(Found { judged, touched: 0, dispositions: vec![Disposition::Stays; self.fitted.len()], added, free: None })
    }

    /// What `pass` makes of the best builds that touch the fewest parts, going up from none touched to `most` until it makes something.
    /// They score at least `floor`.
    pub(crate) fn fewest<T>(
        &self,
        most: usize,
        floor: f64,
        mut pass: impl FnMut(Vec<Found>) -> Option<T>,
    ) -> Result<Option<T>, OutOfWork> {
        let prepared = self.prepared();
        let mut work = self.effort;
        for touched in 0..=most {
            // The best are wanted, not all that are good enough: the floor comes down until there are as many.
            let mut found = Vec::new();
            let mut gap = FIRST_GAP;
            loop {
                let at = (1.0 - self.objective.penalty(touched) - gap).max(floor);
                // Each part has its own list and share of the work, whatever the threads: the best of all are the best of the parts' best.
                let parts: Vec<(bool, Walk<'_>)> = (0..PARTS)
                    .into_par_iter()
                    .map(|part| {
                        let mut walk = Walk::new(self, &prepared, at, found.clone(), work / PARTS as u64);
                        (walk.level(touched, part, PARTS), walk)
                    })
                    .collect();
                if parts.iter().any(|(complete, _)| !complete) {
                    return Err(OutOfWork);
                }
                work = parts.iter().map(|(_, walk)| walk.work).sum();
                parts.into_iter().flat_map(|(_, walk)| walk.found).for_each(|one| insert(&mut found, one, self.list));
                if found.len() >= self.list || at <= floor {
                    break;
                }
                gap *= 2.0;
            }
            if let Some(passed) = pass(found) {
                return Ok(Some(passed));
            }
        }
        Ok(None)
    }
}

/// Parts that a level is searched in, side by side.
const PARTS: usize = 8;

/// Where a search for the best builds of a level begins, below the best there could be.
const FIRST_GAP: f64 = 0.002;

/// Puts a build in its place of a list of at most `most`, once.
pub(super) fn insert(list: &mut Vec<Found>, found: Found, most: usize) {
    let at = list.partition_point(|other| other.order(&found) == Ordering::Less);
    if list.get(at).is_some_and(|other| other.order(&found) == Ordering::Equal) {
        return;
    }
    list.insert(at, found);
    list.truncate(most);
}
