//! The best builds, provably: which pieces stay, which come out, which go where.
//!
//! A build is judged by its [`Objective`]; what makes the search quick is that a bound on the score follows from the sums of the zones alone
//! ([`Objective::bound`]). The search asks for all builds with a score of at least a floor: the floor turns into a window for the sum of every
//! zone, and the sets of pieces in a window come out of sorted sums ([`sets::Shelf`]) without going through the others. It starts with a floor just
//! below the best conceivable score and lowers it until enough builds are found; so the builds that cannot compete are never looked at,
//! and what is found is the best there is. [`exhaustive`] goes through every build, and is what it is held against.

pub(crate) mod exhaustive;
mod free;
mod sets;
mod warm;
mod windows;

pub(crate) use free::{Free, Source};
pub(crate) use sets::Shelf;
use sets::{MOST_IN_A_SET, Set};

use crate::objective::{Increments, Judged, Member, Objective, Range, ZONES};
use std::cmp::Ordering;

/// What becomes of a piece that is in the bay now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Fate {
    Stays,
    Out,
    /// To another zone.
    Moves(usize),
}

/// A build the search found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found {
    pub(crate) judged: Judged,
    pub(crate) touched: usize,
    /// One per piece now in the bay.
    pub(crate) fates: Vec<Fate>,
    /// Kinds of the shelf added to each zone.
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
            .then_with(|| self.fates.cmp(&other.fates))
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
    pub(crate) shelf: &'a Shelf,
    /// How many builds are wanted.
    pub(crate) list: usize,
    /// Allow one piece that is not on the shelf as it is.
    pub(crate) free: Option<Free>,
    /// Sets of pieces looked at before the search gives up proving, and says so.
    pub(crate) effort: u64,
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

/// A choice of what stays, with all that follows from it.
#[derive(Debug)]
pub(crate) struct Choice {
    pub(crate) fates: Vec<Fate>,
    /// The pieces that stay or move.
    pub(crate) kept: Vec<Member>,
    sums: [f64; ZONES],
    pub(crate) touched: usize,
    /// Room for added pieces, by zone.
    pub(crate) room: [usize; ZONES],
    /// Fewest added pieces, by zone: gaps that lost their flat washers less the pieces moved there.
    pub(crate) fewest: [usize; ZONES],
    /// What the thickest pieces added to each zone must be at least, falling, mm: see [`crate::layout::Seat`].
    needs: [Vec<f64>; ZONES],
    /// Thicknesses of the pieces moved to each zone, mm.
    moved: [Vec<f64>; ZONES],
    variance_kept: Vec<f64>,
}

/// More pieces than this in a bay are taken out or left, but not moved: the choices would be too many.
const MOST_MOVABLE: usize = 6;

impl Problem<'_> {
    /// Every choice of what stays, comes out or moves that the rules allow.
    pub(crate) fn choices(&self) -> Vec<Choice> {
        let layout = self.objective.layout;
        let n = layout.fitted.len();
        let mut fates = vec![Fate::Stays; n];
        let mut choices = Vec::new();
        loop {
            if let Some(choice) = self.choice(&fates) {
                choices.push(choice);
            }
            // Count up: stays, out, zone 0, zone 1, … without its own.
            let mut at = 0;
            loop {
                if at == n {
                    choices.sort_by_key(|choice| choice.touched);
                    return choices;
                }
                let next = match fates[at] {
                    Fate::Stays => Some(Fate::Out),
                    Fate::Out if n > MOST_MOVABLE => None,
                    Fate::Out => (0..layout.zones).find(|&z| z != layout.fitted[at].zone).map(Fate::Moves),
                    Fate::Moves(z) => (z + 1..layout.zones).find(|&z| z != layout.fitted[at].zone).map(Fate::Moves),
                };
                if let Some(fate) = next {
                    fates[at] = fate;
                    break;
                }
                fates[at] = Fate::Stays;
                at += 1;
            }
        }
    }

    fn choice(&self, fates: &[Fate]) -> Option<Choice> {
        let layout = self.objective.layout;
        let stays: Vec<bool> = fates.iter().map(|&fate| fate == Fate::Stays).collect();
        // Both washers of a pair are exchanged, or none.
        if layout.fitted.iter().enumerate().any(|(f, fitted)| fitted.partner.is_some_and(|p| stays[p] != stays[f])) {
            return None;
        }
        let mut kept = Vec::new();
        let mut sums = [0.0; ZONES];
        let mut moved: [Vec<f64>; ZONES] = std::array::from_fn(|_| Vec::new());
        for (member, &fate) in self.fitted.iter().zip(fates) {
            let zone = match fate {
                Fate::Stays => member.zone,
                Fate::Out => continue,
                Fate::Moves(zone) => {
                    moved[zone].push(member.thickness);
                    zone
                }
            };
            sums[zone] += member.thickness;
            kept.push(Member { zone, ..*member });
        }
        let (mut room, mut fewest) = ([0; ZONES], [0; ZONES]);
        let mut needs: [Vec<f64>; ZONES] = std::array::from_fn(|_| Vec::new());
        for seat in layout.seats(&stays, |f| self.fitted[f].thickness) {
            needs[seat.zone].push(seat.least);
        }
        for zone in 0..layout.zones {
            room[zone] = layout.capacity(zone, &stays).checked_sub(moved[zone].len())?;
            fewest[zone] = needs[zone].len().saturating_sub(moved[zone].len());
        }
        let touched = stays.iter().filter(|&&stays| !stays).count();
        let variance_kept = self.objective.variance_kept(&kept);
        Some(Choice { fates: fates.to_vec(), kept, sums, touched, room, fewest, needs, moved, variance_kept })
    }

    /// What a further piece in the zone must be at least for the zone's gaps to have a piece each in their flat washers' stead, beside
    /// the moved pieces and the `added` ones (kinds of the shelf); 0 where it need not be at all, None where one is not enough.
    pub(crate) fn needed(&self, choice: &Choice, zone: usize, added: impl Iterator<Item = usize>) -> Option<f64> {
        let needs = &choice.needs[zone];
        if needs.is_empty() {
            return Some(0.0);
        }
        let mut thickness: Vec<f64> =
            added.map(|kind| self.shelf.kinds[kind].thickness).chain(choice.moved[zone].iter().copied()).collect();
        thickness.sort_by(|a, b| b.total_cmp(a));
        let at = |k: usize| thickness.get(k).copied().unwrap_or(0.0);
        let Some(first) = (0..needs.len()).find(|&k| at(k) < needs[k]) else { return Some(0.0) };
        (first + 1..needs.len()).all(|k| at(k - 1) >= needs[k]).then_some(needs[first])
    }

    /// The pieces of a build, a free one last.
    pub(crate) fn members(&self, found: &Found) -> Vec<Member> {
        let stay = self.fitted.iter().zip(&found.fates).filter_map(|(member, &fate)| match fate {
            Fate::Stays => Some(*member),
            Fate::Moves(zone) => Some(Member { zone, ..*member }),
            Fate::Out => None,
        });
        let added = found
            .added
            .iter()
            .enumerate()
            .flat_map(|(zone, kinds)| kinds.iter().map(move |&k| self.shelf.kinds[k].member(zone)));
        let own = self.free.as_ref().map_or(0.0, |free| free.own);
        let free = found.free.map(|(zone, thickness, _)| Member { zone, entry: None, thickness, own });
        stay.chain(added).chain(free).collect()
    }

    fn prepared(&self) -> (Vec<Choice>, Increments) {
        let others: Vec<usize> = self.fitted.iter().filter_map(|member| member.entry).collect();
        (self.choices(), Increments::new(self.objective, &self.shelf.kinds, &others))
    }

    fn walk<'w>(&'w self, increments: &'w Increments, floor: f64, found: Vec<Found>, work: u64) -> Walk<'w> {
        Walk { problem: self, increments, floor, found, work, members: Vec::new() }
    }

    /// The best builds.
    pub(crate) fn solve(&self) -> Answer {
        let (start, work) = self.warm_start(self.effort);
        self.lower_the_floor(start, work).0
    }

    /// The best builds, from a list to start with; and the work left.
    fn lower_the_floor(&self, start: Vec<Found>, mut work: u64) -> (Answer, u64) {
        let (choices, increments) = self.prepared();
        let mut answer = Answer { found: start, proven: true, floor: f64::INFINITY };
        let mut gap: f64 = 0.005;
        // Below −10⁷ the aim is missed by more than anything in a bay is long.
        while gap < 1e7 {
            // With a full list what is below its last cannot join it.
            let full = answer.found.len() >= self.list;
            let last = answer.found.last().map_or(f64::NEG_INFINITY, |found| found.judged.score);
            let floor = if full { last } else { 1.0 - gap };
            let mut walk = self.walk(&increments, floor, answer.found.clone(), work);
            let complete = walk.all(&choices);
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

/// One pass over all builds that may reach the floor.
struct Walk<'a> {
    problem: &'a Problem<'a>,
    increments: &'a Increments,
    floor: f64,
    /// Sorted, best first; never more than wanted.
    found: Vec<Found>,
    work: u64,
    members: Vec<Member>,
}

/// A choice with how many pieces are added where: what one descent through the zones needs to know.
struct Descent<'c> {
    choice: &'c Choice,
    counts: [usize; ZONES],
    touched: usize,
    range: Range,
    /// Window of the sum of everything, mm.
    sum: (f64, f64),
    /// Window of the prefix that ends with each zone, mm.
    prefix: [(f64, f64); ZONES],
    /// Zone of the free piece, and what it may be.
    free: Option<(usize, (f64, f64))>,
}

impl Walk<'_> {
    /// False where the work ran out.
    fn all(&mut self, choices: &[Choice]) -> bool {
        let spare = 1.0 - self.floor;
        let per_part = self.problem.objective.weights.per_part;
        let most_touched = if per_part > 0.0 { (spare / per_part + 1e-9).floor().min(64.0) as usize } else { 64 };
        // Few parts touched first: that raises the floor soonest.
        for touched in 0..=most_touched {
            if 1.0 - self.problem.objective.penalty(touched) < self.floor {
                break;
            }
            if !self.level(choices, touched) {
                return false;
            }
        }
        true
    }

    /// The builds that touch just so many parts. False where the work ran out.
    fn level(&mut self, choices: &[Choice], touched: usize) -> bool {
        let zones = self.problem.objective.layout.zones;
        let extra = self.problem.free.as_ref().map(|free| 1 + free.extra_touched);
        let only_free = self.problem.free.as_ref().is_some_and(Free::is_wish);
        for choice in choices {
            let Some(added) = touched.checked_sub(choice.touched) else { continue };
            if 1.0 - self.problem.objective.penalty(touched) < self.floor {
                return true;
            }
            let most: usize = choice.room[..zones].iter().sum();
            if added <= most && !only_free && !self.split(choice, added, touched, None) {
                return false;
            }
            if let Some(others) = extra.and_then(|extra| added.checked_sub(extra)) {
                for zone in 0..zones {
                    if others < most && !self.split(choice, others, touched, Some(zone)) {
                        return false;
                    }
                }
            }
        }
        true
    }

    /// Every way to split `added` pieces among the zones.
    fn split(&mut self, choice: &Choice, added: usize, touched: usize, free: Option<usize>) -> bool {
        let zones = self.problem.objective.layout.zones;
        let mut counts = [0; ZONES];
        self.split_from(choice, added, touched, free, 0, zones, &mut counts)
    }

    #[allow(clippy::too_many_arguments, reason = "the state of a recursion over the zones")]
    fn split_from(
        &mut self,
        choice: &Choice,
        left: usize,
        touched: usize,
        free: Option<usize>,
        zone: usize,
        zones: usize,
        counts: &mut [usize; ZONES],
    ) -> bool {
        if zone == zones {
            return left > 0 || self.descend(choice, *counts, touched, free);
        }
        let taken = usize::from(free == Some(zone));
        let Some(room) = choice.room[zone].checked_sub(taken) else { return true };
        let fewest = choice.fewest[zone].saturating_sub(taken);
        let most = room.min(left).min(MOST_IN_A_SET);
        for count in fewest..=most {
            counts[zone] = count;
            if !self.split_from(choice, left - count, touched, free, zone + 1, zones, counts) {
                return false;
            }
        }
        counts[zone] = 0;
        true
    }

    fn descend(&mut self, choice: &Choice, counts: [usize; ZONES], touched: usize, free: Option<usize>) -> bool {
        let objective = self.problem.objective;
        let zones = objective.layout.zones;
        let free = free.zip(self.problem.free.as_ref()).map(|(zone, free)| (zone, free.span()));
        let mut added = counts;
        if let Some((zone, _)) = free {
            added[zone] += 1;
        }
        let need = self.floor + objective.penalty(touched);
        // What the prefix sums can be at all.
        let mut reach = [(0.0, 0.0); ZONES];
        let (mut low, mut high) = (0.0, 0.0);
        for (zone, &count) in counts[..zones].iter().enumerate() {
            let of = self.problem.shelf.reach(count);
            low += choice.sums[zone] + of.0;
            high += choice.sums[zone] + of.1;
            if let Some((_, span)) = free.filter(|f| f.0 == zone) {
                low += span.0;
                high += span.1;
            }
            reach[zone] = (low, high);
        }
        // Most choices end here: what they can reach is nowhere near the aim.
        let Some(wide) = windows::wide_sum(objective, need, reach[zones - 1]) else { return true };
        let range_in = |window| match free {
            None => objective.range(&choice.variance_kept, &added[..zones], self.increments, window),
            Some(_) => {
                let free = self.problem.free.as_ref();
                Free::range(objective, &choice.variance_kept, &counts[..zones], self.increments, free, window)
            }
        };
        // The scatter depends on the window and the window on the scatter: a second round, in the narrower window.
        let Some((sum, _)) = windows::all(objective, need, wide, &reach, &range_in(wide)) else { return true };
        let range = range_in(sum);
        let Some((sum, prefix)) = windows::all(objective, need, sum, &reach, &range) else { return true };
        let descent = Descent { choice, counts, touched, range, sum, prefix, free };
        let mut sets = [Set { sum: 0.0, kinds: [0; MOST_IN_A_SET] }; ZONES];
        self.zone(&descent, 0, 0.0, &mut sets)
    }

    fn zone(&mut self, descent: &Descent<'_>, zone: usize, before: f64, sets: &mut [Set; ZONES]) -> bool {
        let zones = self.problem.objective.layout.zones;
        if zone == zones {
            return self.leaf(descent, sets);
        }
        let base = before + descent.choice.sums[zone];
        let (mut low, mut high) = descent.prefix[zone];
        if zone + 1 == zones {
            (low, high) = (low.max(descent.sum.0), high.min(descent.sum.1));
        }
        // A free piece to come, or in this zone, may still add anything of its span.
        if let Some((at, span)) = descent.free {
            if at <= zone {
                (low, high) = (low - span.1, high - span.0);
            }
        }
        let mut found = Vec::new();
        let free_here = descent.free.is_some_and(|free| free.0 == zone);
        // Whatever the moved pieces and a free one stand for, the others must be this thick.
        let needs = &descent.choice.needs[zone];
        let helped = descent.choice.moved[zone].len() + usize::from(free_here);
        let least: Vec<u16> =
            needs.iter().skip(helped).map(|&least| self.problem.shelf.from_thickness(least)).collect();
        let window = (low - base, high - base);
        let complete = self.problem.shelf.collect(descent.counts[zone], window, &least, &mut found, &mut self.work);
        if !needs.is_empty() && helped > 0 {
            found.retain(|set| {
                let kinds = set.kinds[..descent.counts[zone]].iter().map(|&kind| usize::from(kind));
                self.problem.needed(descent.choice, zone, kinds).is_some_and(|least| free_here || least == 0.0)
            });
        }
        // Nearest to the middle of the window first: that raises the floor soonest.
        if found.len() > 2 && low.is_finite() && high.is_finite() {
            let middle = 0.5 * (low + high) - base;
            found.sort_by(|a, b| (a.sum - middle).abs().total_cmp(&(b.sum - middle).abs()).then(a.kinds.cmp(&b.kinds)));
        }
        for set in found {
            sets[zone] = set;
            if !self.zone(descent, zone + 1, base + set.sum, sets) {
                return false;
            }
        }
        complete
    }

    fn leaf(&mut self, descent: &Descent<'_>, sets: &[Set; ZONES]) -> bool {
        let objective = self.problem.objective;
        let zones = objective.layout.zones;
        if 1.0 - objective.penalty(descent.touched) < self.floor || !self.spend(1) {
            return self.work > 0;
        }
        let mut sums = descent.choice.sums;
        for zone in 0..zones {
            sums[zone] += sets[zone].sum;
        }
        if descent.free.is_none()
            && objective.bound(&sums[..zones], descent.touched, &descent.range, self.floor).is_none()
        {
            return true;
        }
        if !self.available(descent, sets) {
            return true;
        }
        self.members.clear();
        self.members.extend_from_slice(&descent.choice.kept);
        for (zone, set) in sets[..zones].iter().enumerate() {
            for &kind in &set.kinds[..descent.counts[zone]] {
                self.members.push(self.problem.shelf.kinds[usize::from(kind)].member(zone));
            }
        }
        let added = |walk: &Self| -> Vec<Vec<usize>> {
            let of =
                |zone: usize| sets[zone].kinds[..descent.counts[zone]].iter().map(|&kind| usize::from(kind)).collect();
            (0..walk.problem.objective.layout.zones).map(of).collect()
        };
        match descent.free {
            None => {
                if !self.spend(10) {
                    return false;
                }
                if let Some(judged) = objective.judge_above(&self.members, descent.touched, self.floor) {
                    let added = added(self);
                    self.keep(descent, judged, added, None);
                }
            }
            Some((zone, span)) => {
                // What the free piece may be for every window to hold at once, and to stand for a flat washer where it must.
                let kinds = sets[zone].kinds[..descent.counts[zone]].iter().map(|&kind| usize::from(kind));
                let Some(least) = self.problem.needed(descent.choice, zone, kinds) else { return true };
                let (mut low, mut high) = (span.0.max(least), span.1);
                let mut prefix = 0.0;
                for (z, sum) in sums[..zones].iter().enumerate() {
                    prefix += sum;
                    if z >= zone {
                        (low, high) = (low.max(descent.prefix[z].0 - prefix), high.min(descent.prefix[z].1 - prefix));
                    }
                }
                let span = (low.max(descent.sum.0 - prefix), high.min(descent.sum.1 - prefix));
                if span.0 > span.1 {
                    return true;
                }
                let least = free::least_miss(objective, &sums[..zones], zone, span);
                if 1.0 - objective.penalty(descent.touched) - objective.weights.centring * least < self.floor {
                    return true;
                }
                if !self.spend(200) {
                    return false;
                }
                let Some(free) = &self.problem.free else { return true };
                let added = added(self);
                let mut members = std::mem::take(&mut self.members);
                let making = free::Making {
                    span,
                    shelf: self.problem.shelf,
                    zone,
                    touched: descent.touched,
                    added: &added,
                    fates: &descent.choice.fates,
                };
                let made = free.best(objective, &mut members, &making, self.floor);
                self.members = members;
                if let Some((judged, thickness, source)) = made {
                    self.keep(descent, judged, added, Some((zone, thickness, source)));
                }
            }
        }
        true
    }

    fn spend(&mut self, work: u64) -> bool {
        self.work = self.work.saturating_sub(work);
        self.work > 0
    }

    /// Whether the drawer has as many of each kind as all zones together take.
    fn available(&self, descent: &Descent<'_>, sets: &[Set; ZONES]) -> bool {
        let zones = self.problem.objective.layout.zones;
        let taken = |kind: u16| -> u32 {
            sets[..zones]
                .iter()
                .zip(descent.counts)
                .map(|(set, n)| set.kinds[..n].iter().filter(|&&k| k == kind).count() as u32)
                .sum()
        };
        sets[..zones].iter().zip(descent.counts).all(|(set, n)| {
            set.kinds[..n].iter().all(|&kind| taken(kind) <= self.problem.shelf.kinds[usize::from(kind)].count)
        })
    }

    fn keep(
        &mut self,
        descent: &Descent<'_>,
        judged: Judged,
        added: Vec<Vec<usize>>,
        free: Option<(usize, f64, Option<Source>)>,
    ) {
        if judged.score < self.floor {
            return;
        }
        let found = Found { judged, touched: descent.touched, fates: descent.choice.fates.clone(), added, free };
        warm::insert(&mut self.found, found, self.problem.list);
        if self.found.len() == self.problem.list {
            // What ties with the last on the list may still belong before it.
            let last = self.found[self.found.len() - 1].judged.score;
            self.floor = self.floor.max(last);
        }
    }
}
