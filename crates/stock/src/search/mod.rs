//! The best builds, provably: which pieces stay, which come out, which go where.
//!
//! A build is judged by its [`Objective`]; what makes the search quick is that a bound on the score follows from the sums of the zones alone
//! ([`Objective::bound`]). The search asks for all builds with a score of at least a floor: the floor turns into a window for the sum of every
//! zone, and the sets of pieces in a window come out of sorted sums ([`sets::AvailablePieces`]) without going through the others. It starts with a floor just
//! below the best conceivable score and lowers it until enough builds are found; so the builds that cannot compete are never looked at,
//! and what is found is the best there is. [`exhaustive`] goes through every build, and is what it is held against.

pub(crate) mod choices;
pub(crate) mod exhaustive;
mod free;
mod sets;
mod walk;
mod warm;
mod windows;

use crate::objective::{Increments, Judged, Member, Objective};
use choices::every_choice;
pub(crate) use choices::{Choice, Disposition};
pub(crate) use free::{Free, Source};
pub(crate) use sets::AvailablePieces;
use std::cmp::Ordering;
use std::sync::Arc;
use walk::Walk;
use windows::SumCost;

/// A build the search found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found {
    pub(crate) judged: Judged,
    pub(crate) touched: usize,
    /// One per piece now in the bay.
    pub(crate) dispositions: Vec<Disposition>,
    /// Kinds of the drawer added to each zone.
    pub(crate) added: Vec<Vec<usize>>,
    /// A piece that is not taken as it is: its zone, its thickness, and what it is made from (None: it is only wished for).
    pub(crate) free: Option<(usize, f64, Option<Source>)>,
}

impl Found {
    /// Better first; ties by fewer parts touched, then by an order that is always the same.
    fn order(&self, other: &Self) -> Ordering {
        other
            .judged
            .score
            .total_cmp(&self.judged.score)
            .then_with(|| self.touched.cmp(&other.touched))
            .then_with(|| self.dispositions.cmp(&other.dispositions))
            .then_with(|| self.added.cmp(&other.added))
            .then_with(|| self.free_order().cmp(&other.free_order()))
    }

    /// Zone and thickness of a free piece, in an order of its own.
    fn free_order(&self) -> Option<(usize, u64)> {
        self.free.map(|(zone, thickness, _)| (zone, thickness.to_bits()))
    }
}

/// What the search is given.
#[derive(Debug, Clone)]
pub(crate) struct Problem<'a> {
    pub(crate) objective: &'a Objective<'a>,
    /// The pieces now in the bay, as of [`crate::layout::Layout::fitted`].
    pub(crate) fitted: Vec<Member>,
    pub(crate) available: &'a AvailablePieces,
    /// How many builds are wanted.
    pub(crate) list: usize,
    /// Allow one piece that is not in the drawer as it is.
    pub(crate) free: Option<Free>,
    /// Sets of pieces looked at before the search gives up proving, and says so.
    pub(crate) effort: u64,
    /// Every choice of what stays that the rules allow, fewest parts touched first.
    pub(crate) choices: Arc<Vec<Choice>>,
}

/// What the search hands back.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    /// Best first.
    pub(crate) found: Vec<Found>,
    /// Whether no build can be better than those found that are above `floor`.
    pub(crate) proven: bool,
    /// Every build with at least this score was looked at.
    pub(crate) floor: f64,
}

/// The search's work was used up before its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct OutOfWork;

/// What a search looks up again and again.
#[derive(Debug)]
struct Prepared {
    increments: Increments,
    sum_cost: SumCost,
}

impl<'a> Problem<'a> {
    /// A search for the `list` best builds that gives up proving after `effort` sets of pieces.
    pub(crate) fn new(
        objective: &'a Objective<'a>,
        fitted: Vec<Member>,
        available: &'a AvailablePieces,
        list: usize,
        effort: u64,
    ) -> Self {
        let mut problem = Self { objective, fitted, available, list, free: None, effort, choices: Arc::default() };
        let layout = objective.layout;
        problem.choices = Arc::new(every_choice(layout, &problem.fitted, &(0..layout.zones)));
        problem
    }

    /// As [`Choice::needed`], for kinds of the drawer.
    pub(crate) fn needed(&self, choice: &Choice, zone: usize, added: impl Iterator<Item = usize>) -> Option<f64> {
        choice.needed(zone, added.map(|kind| self.available.kinds[kind].thickness))
    }

    /// The pieces of a build, a free one last.
    pub(crate) fn members(&self, found: &Found) -> Vec<Member> {
        let stay = self.fitted.iter().zip(&found.dispositions).filter_map(|(member, &disposition)| match disposition {
            Disposition::Stays => Some(*member),
            Disposition::Moves(zone) => Some(Member { zone, ..*member }),
            Disposition::Out => None,
        });
        let added = found
            .added
            .iter()
            .enumerate()
            .flat_map(|(zone, kinds)| kinds.iter().map(move |&k| self.available.kinds[k].member(zone)));
        let own = self.free.as_ref().map_or(0.0, |free| free.own);
        let free = found.free.map(|(zone, thickness, _)| Member { zone, entry: None, thickness, own });
        stay.chain(added).chain(free).collect()
    }

    fn prepared(&self) -> Prepared {
        let others: Vec<usize> = self.fitted.iter().filter_map(|member| member.entry).collect();
        Prepared {
            increments: Increments::new(self.objective, &self.available.kinds, &others),
            sum_cost: SumCost::new(self.objective),
        }
    }

    /// The best builds.
    pub(crate) fn solve(&self) -> Answer {
        let (start, work) = self.warm_start(self.effort);
        self.lower_the_floor(start, work).0
    }

    /// The best builds, from a list to start with; and the work left.
    fn lower_the_floor(&self, start: Vec<Found>, mut work: u64) -> (Answer, u64) {
        let prepared = self.prepared();
        let mut answer = Answer { found: start, proven: true, floor: f64::INFINITY };
        let mut gap: f64 = 0.005;
        // Below −10⁷ the aim is missed by more than anything in a bay is long.
        while gap < 1e7 {
            // With a full list what is below its last cannot join it.
            let full = answer.found.len() >= self.list;
            let last = answer.found.last().map_or(f64::NEG_INFINITY, |found| found.judged.score);
            let floor = if full { last } else { 1.0 - gap };
            let mut walk = Walk::new(self, &prepared, floor, answer.found.clone(), work);
            let complete = walk.all();
            work = walk.work;
            answer.found = walk.found;
            if !complete {
                answer.proven = false;
                break;
            }
            answer.floor = floor;
            // Enough found; or so many worse ones to come that nobody would fit them.
            let best = answer.found.first().map_or(f64::NEG_INFINITY, |found| found.judged.score);
            if full || answer.found.len() >= self.list || floor < best - MUCH_WORSE {
                break;
            }
            // Small steps while a better floor may still be met; far out, where only the distance from the aim counts, larger ones.
            gap += (0.6 * gap).min(if gap < 3.0 { 0.1 } else { f64::INFINITY });
        }
        answer.found.truncate(self.list);
        (answer, work)
    }
}

/// Builds this much worse than the best are not looked for where the list is not full yet: nobody would fit them.
const MUCH_WORSE: f64 = 0.25;
