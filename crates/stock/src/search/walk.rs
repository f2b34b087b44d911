//! One pass over all builds that may reach a floor of the score.
//!
//! A build is a choice of what stays and a set of the drawer's pieces for every zone. The zones that take the fewest pieces come first, each with all
//! sets whose sum lies in its window, laid out once; the zone that takes the most comes last, with the sets that fit beside the others. The
//! windows ([`super::windows`]) narrow as sums become known, and so does what the misses may still cost.

use super::sets::{MOST_IN_A_SET, Set};
use super::windows::{self, Window, Windows};
use super::{Choice, Found, Free, Prepared, Problem, Source, free, warm};
use crate::objective::{Judged, Member, Range, ZONES};

/// The pass.
pub(super) struct Walk<'a> {
    problem: &'a Problem<'a>,
    prepared: &'a Prepared,
    floor: f64,
    /// Sorted, best first; never more than wanted.
    pub(super) found: Vec<Found>,
    pub(super) work: u64,
    members: Vec<Member>,
    /// The windows of the level, from the limits alone.
    coarse: Windows,
}

/// A choice with how many pieces are added where: what one descent through the zones needs to know.
struct Descent<'c> {
    choice: &'c Choice,
    counts: [usize; ZONES],
    touched: usize,
    range: Range,
    windows: Windows,
    /// What the sum of everything costs at least.
    least_sum_cost: f64,
    /// The zones in the order in which they are filled.
    order: Vec<usize>,
    /// All sets for each zone but the last of the order, by rising sum.
    sets: [Vec<Set>; ZONES],
    /// Zone of the free piece, and what it may be.
    free: Option<(usize, Window)>,
}

impl Descent<'_> {
    /// What a zone holds beside the added pieces: those that stay or move, and a free one.
    fn others(&self, zone: usize) -> Window {
        let kept = self.choice.sums[zone];
        let free = self.free.filter(|free| free.0 == zone).map_or((0.0, 0.0), |free| free.1);
        (kept + free.0, kept + free.1)
    }

    /// The window of a zone's sum from that of its added pieces' sum, and the other way round.
    fn with_others(&self, zone: usize, added: Window) -> Window {
        let others = self.others(zone);
        (added.0 + others.0, added.1 + others.1)
    }

    fn without_others(&self, zone: usize, all: Window) -> Window {
        let others = self.others(zone);
        (all.0 - others.1, all.1 - others.0)
    }
}

impl<'a> Walk<'a> {
    pub(super) fn new(
        problem: &'a Problem<'a>,
        prepared: &'a Prepared,
        floor: f64,
        found: Vec<Found>,
        work: u64,
    ) -> Self {
        let coarse = windows::coarse(problem.objective, &prepared.sum_cost, floor);
        Self { problem, prepared, floor, found, work, members: Vec::new(), coarse }
    }

    /// False where the work ran out.
    pub(super) fn all(&mut self) -> bool {
        let spare = 1.0 - self.floor;
        let per_part = self.problem.objective.weights.per_part;
        let most_touched = if per_part > 0.0 { (spare / per_part + 1e-9).floor().min(64.0) as usize } else { 64 };
        // Few parts touched first: that raises the floor soonest.
        for touched in 0..=most_touched {
            if 1.0 - self.problem.objective.penalty(touched) < self.floor {
                break;
            }
            if !self.level(touched, 0, 1) {
                return false;
            }
        }
        true
    }

    /// The builds that touch just so many parts; of the choices of what stays every `of`-th from `part` on. False where the work ran out.
    pub(super) fn level(&mut self, touched: usize, part: usize, of: usize) -> bool {
        let problem = self.problem;
        let zones = self.problem.objective.layout.zones;
        let extra = self.problem.free.as_ref().map(|free| 1 + free.extra_touched);
        let only_free = self.problem.free.as_ref().is_some_and(Free::is_wish);
        let need = self.floor + problem.objective.penalty(touched);
        self.coarse = windows::coarse(problem.objective, &self.prepared.sum_cost, need);
        for choice in problem.choices.iter().skip(part).step_by(of) {
            // Those that touch more come later.
            let Some(added) = touched.checked_sub(choice.touched) else { break };
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
        let available = self.problem.available;
        let others = |zone: usize| {
            let kept = choice.sums[zone];
            let free = free.filter(|free| free.0 == zone).map_or((0.0, 0.0), |free| free.1);
            (kept + free.0, kept + free.1)
        };
        // What the zones' sums can be at all.
        let mut at = [(0.0, 0.0); ZONES];
        for (zone, at) in at[..zones].iter_mut().enumerate() {
            let (reach, others) = (available.reach(counts[zone]), others(zone));
            *at = (others.0 + reach.0 - windows::HAIR, others.1 + reach.1 + windows::HAIR);
        }
        // Most choices end here: what they can reach is nowhere near the aim.
        let narrow = |at: &mut [Window], windows: &Windows| {
            for _ in 0..2 {
                for zone in 0..zones {
                    at[zone] = windows.narrow(zone, at);
                    let others = others(zone);
                    let added = (at[zone].0 - others.1, at[zone].1 - others.0);
                    if at[zone].0 > at[zone].1 || !available.may_have(counts[zone], added) {
                        return false;
                    }
                }
            }
            true
        };
        if !narrow(&mut at[..zones], &self.coarse) {
            return true;
        }
        let sum_cost = &self.prepared.sum_cost;
        let whole = |at: &[Window]| at.iter().fold((0.0, 0.0), |sum, at| (sum.0 + at.0, sum.1 + at.1));
        let wide = windows::common(self.coarse.sum, whole(&at[..zones]));
        if wide.0 > wide.1 || 1.0 - self.coarse.cost(&at[..zones]) - sum_cost.least(wide) < need {
            return true;
        }
        let increments = &self.prepared.increments;
        let range_in = |window| match free {
            None => objective.range(&choice.kept, &added[..zones], increments, window),
            Some(_) => {
                let free = self.problem.free.as_ref();
                Free::range(objective, &choice.kept, &counts[..zones], increments, free, window)
            }
        };
        let reach = |at: &[Window; ZONES]| {
            let mut reach = [(0.0, 0.0); ZONES];
            for zone in 0..zones {
                reach[zone] = whole(&at[..=zone]);
            }
            reach
        };
        // The scatter depends on the window and the window on the scatter: a second round, in the narrower window.
        let mut sum = wide;
        let mut last = None;
        for _ in 0..2 {
            let range = range_in(sum);
            let Some(windows) = windows::all(objective, need, sum, &reach(&at), &range) else { return true };
            if !narrow(&mut at[..zones], &windows) {
                return true;
            }
            sum = windows::common(windows.sum, whole(&at[..zones]));
            if sum.0 > sum.1 {
                return true;
            }
            last = Some((windows, range));
        }
        let Some((windows, range)) = last else { return true };
        // The zone that takes the most pieces comes last; of those that take as many the outer ones come first, which the offsets tie down.
        let mut order: Vec<usize> = (0..zones).collect();
        order.sort_by_key(|&zone| (counts[zone], zone.min(zones - 1 - zone), zone));
        let least_sum_cost = sum_cost.least(windows.sum);
        let sets = std::array::from_fn(|_| Vec::new());
        let mut descent = Descent { choice, counts, touched, range, windows, least_sum_cost, order, sets, free };
        for k in 0..zones - 1 {
            let zone = descent.order[k];
            let mut sets = Vec::new();
            if !self.collect(&descent, zone, at[zone], &mut sets) {
                return false;
            }
            if sets.is_empty() {
                return true;
            }
            sets.sort_by(|a, b| a.sum.total_cmp(&b.sum).then(a.kinds.cmp(&b.kinds)));
            descent.sets[zone] = sets;
        }
        let mut sets = [Set { sum: 0.0, kinds: [0; MOST_IN_A_SET] }; ZONES];
        self.fill(&descent, 0, &at, &mut sets)
    }

    /// Puts into `sets` all that a zone may be given for its sum to lie in the window; false where the work ran out.
    fn collect(&mut self, descent: &Descent<'_>, zone: usize, window: Window, sets: &mut Vec<Set>) -> bool {
        let free_here = descent.free.is_some_and(|free| free.0 == zone);
        // Whatever the moved pieces and a free one stand for, the others must be this thick.
        let needs = &descent.choice.needs[zone];
        let helped = descent.choice.moved[zone].len() + usize::from(free_here);
        let available = self.problem.available;
        let least: Vec<u16> = needs.iter().skip(helped).map(|&least| available.from_thickness(least)).collect();
        let count = descent.counts[zone];
        let complete = available.collect(count, descent.without_others(zone, window), &least, sets, &mut self.work);
        if !needs.is_empty() && helped > 0 {
            sets.retain(|set| {
                let kinds = set.kinds[..count].iter().map(|&kind| usize::from(kind));
                self.problem.needed(descent.choice, zone, kinds).is_some_and(|least| free_here || least == 0.0)
            });
        }
        complete
    }

    /// Fills the zones from the given one of the order on; `at` are the windows of all zones' sums, of a filled zone its sum.
    fn fill(&mut self, descent: &Descent<'_>, k: usize, at: &[Window; ZONES], sets: &mut [Set; ZONES]) -> bool {
        let zones = self.problem.objective.layout.zones;
        let Some(&zone) = descent.order.get(k) else { return self.leaf(descent, at, sets) };
        let windows = &descent.windows;
        let mut at = *at;
        let before = at[zone];
        at[zone] = windows.narrow(zone, &at[..zones]);
        // What the misses may cost has fallen with the floor's rise, too.
        let spare = windows.cap - self.floor - self.problem.objective.penalty(descent.touched);
        if k + 1 == zones {
            let (mut low, mut high) = self.prepared.sum_cost.within(spare - windows.cost(&at[..zones]));
            for (_, other) in at[..zones].iter().enumerate().filter(|&(z, _)| z != zone) {
                (low, high) = (low - other.1, high - other.0);
            }
            at[zone] = windows::common(at[zone], (low - windows::HAIR, high + windows::HAIR));
            if at[zone].0 > at[zone].1 {
                return true;
            }
            let mut last = Vec::new();
            let complete = self.collect(descent, zone, at[zone], &mut last);
            // Nearest to the middle of the window first: that raises the floor soonest.
            if last.len() > 2 && self.found.len() < self.problem.list {
                let window = descent.without_others(zone, at[zone]);
                let middle = 0.5 * (window.0 + window.1);
                let off = |set: &Set| (set.sum - middle).abs();
                last.sort_by(|a, b| off(a).total_cmp(&off(b)).then(a.kinds.cmp(&b.kinds)));
            }
            for set in last {
                sets[zone] = set;
                at[zone] = descent.with_others(zone, (set.sum, set.sum));
                if !self.leaf(descent, &at, sets) {
                    return false;
                }
            }
            return complete;
        }
        let all = &descent.sets[zone];
        let (low, high) = descent.without_others(zone, at[zone]);
        let from = all.partition_point(|set| set.sum < low);
        let to = all.partition_point(|set| set.sum <= high).max(from);
        let near = &all[from..to];
        let spare = spare - descent.least_sum_cost;
        at[zone] = before;
        let cost = |set: &Set| {
            let mut at = at;
            at[zone] = descent.with_others(zone, (set.sum, set.sum));
            windows.cost(&at[..zones])
        };
        for set in affordable(near, spare, cost) {
            sets[zone] = *set;
            at[zone] = descent.with_others(zone, (set.sum, set.sum));
            if !self.fill(descent, k + 1, &at, sets) {
                return false;
            }
        }
        true
    }

    fn leaf(&mut self, descent: &Descent<'_>, at: &[Window; ZONES], sets: &[Set; ZONES]) -> bool {
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
        if !self.has_enough_of_each(descent, sets) {
            return true;
        }
        self.members.clear();
        self.members.extend_from_slice(&descent.choice.kept);
        for (zone, set) in sets[..zones].iter().enumerate() {
            for &kind in &set.kinds[..descent.counts[zone]] {
                self.members.push(self.problem.available.kinds[usize::from(kind)].member(zone));
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
                let window = descent.windows.narrow(zone, &at[..zones]);
                let span = (span.0.max(least).max(window.0 - sums[zone]), span.1.min(window.1 - sums[zone]));
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
                    available: self.problem.available,
                    zone,
                    touched: descent.touched,
                    added: &added,
                    dispositions: &descent.choice.dispositions,
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
    fn has_enough_of_each(&self, descent: &Descent<'_>, sets: &[Set; ZONES]) -> bool {
        let zones = self.problem.objective.layout.zones;
        let taken = |kind: u16| -> u32 {
            sets[..zones]
                .iter()
                .zip(descent.counts)
                .map(|(set, n)| set.kinds[..n].iter().filter(|&&k| k == kind).count() as u32)
                .sum()
        };
        sets[..zones].iter().zip(descent.counts).all(|(set, n)| {
            set.kinds[..n].iter().all(|&kind| taken(kind) <= self.problem.available.kinds[usize::from(kind)].count)
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
        let found =
            Found { judged, touched: descent.touched, dispositions: descent.choice.dispositions.clone(), added, free };
        warm::insert(&mut self.found, found, self.problem.list);
        if self.found.len() == self.problem.list {
            // What ties with the last on the list may still belong before it.
            let last = self.found[self.found.len() - 1].judged.score;
            self.floor = self.floor.max(last);
        }
    }
}

/// The sets, by rising sum, that cost no more than `spare`: cost is a bowl over the sum, so that they lie together.
fn affordable(sets: &[Set], spare: f64, cost: impl Fn(&Set) -> f64) -> &[Set] {
    if sets.len() < 8 {
        let Some(from) = sets.iter().position(|set| cost(set) <= spare) else { return &[] };
        let to = sets.iter().rposition(|set| cost(set) <= spare).map_or(from, |last| last + 1);
        return &sets[from..to];
    }
    // Its lowest place, by ternary section.
    let (mut low, mut high) = (0, sets.len() - 1);
    while high - low > 2 {
        let (a, b) = (low + (high - low) / 3, high - (high - low) / 3);
        if cost(&sets[a]) <= cost(&sets[b]) {
            high = b;
        } else {
            low = a;
        }
    }
    let lowest = (low..=high).min_by(|&a, &b| cost(&sets[a]).total_cmp(&cost(&sets[b]))).unwrap_or(low);
    if cost(&sets[lowest]) > spare {
        return &[];
    }
    let from = sets[..lowest].partition_point(|set| cost(set) > spare);
    let to = lowest + sets[lowest..].partition_point(|set| cost(set) <= spare);
    &sets[from..to]
}
