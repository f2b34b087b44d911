//! The best pieces for one build: what is read, what is expected of every option, and a search that looks only where the aims are.
//!
//! Zone after zone, rocker after rocker, options are gone through outwards from the aim and followed as long as they can still be better than the
//! best so far; the last zone makes up the sum. A rocker whose offset hangs on one zone alone has its options listed once, each with its chance and
//! its distance from the aim, and the best of every other list bounds what a combination can come to. Where no offset leans on the sum what is
//! found is the best there is; else nearly, and how nearly is a test (`fitting/tests.rs`). Of equals the one whose options stand first is
//! taken, so that the order of the search decides nothing.

use super::fast_normal::FastNormal;
use super::knowledge::{Knowledge, LEAST_VARIANCE};
use super::zone_options::{Group, MOST_ADDED, ZoneOption, ZoneOptions};
use super::{FittingBay, LEAST_LEVER, MOST_QUANTITIES};
use crate::objective::ZONES;
use nalgebra::{DMatrix, DVector};

/// How the drawer's pieces of a build differ from what their sizes are expected to measure, mm: of size k, zone z and copy c at
/// `(k·zones + z)·MOST_ADDED + c`.
#[derive(Debug, Clone, Copy)]
pub struct Deviations<'a> {
    /// As they are.
    pub true_ones: &'a [f64],
    /// As the mechanic knows them: of pieces that were not measured nothing, so None.
    pub seen: Option<&'a [f64]>,
}

/// What is at hand for a build.
#[derive(Debug, Clone, Copy)]
pub struct AtHand<'a> {
    /// What may become of each zone with the sizes that are held.
    pub options: &'a ZoneOptions,
    /// What is known of builds with these tolerances.
    pub knowledge: &'a Knowledge,
    /// The drawer's pieces of this build.
    pub deviations: Deviations<'a>,
}

/// What the mechanic goes by.
#[derive(Debug, Clone)]
pub enum Doubts {
    /// Before the first fitting: how far each reading is from where it was expected, mm.
    First {
        /// One for each of [`Knowledge::readings`].
        off: Vec<f64>,
    },
    /// After a fitting that was read again.
    Again {
        /// Expected change of each quantity from where it is expected as drawn, mm.
        mean: Vec<f64>,
        /// Their covariance, row-major, mm².
        covariance: Vec<f64>,
        /// What is fitted now.
        current: Chosen,
    },
}

/// What is fitted: one option for each zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen {
    pub(super) picks: [u32; ZONES],
    /// What it is worth, as on the bench.
    pub score: f64,
    /// Expected chance that all is inside.
    pub chance: f64,
    /// Pieces that go in or out.
    pub touched: usize,
}

/// Memory that fitting works in; each thread has its own.
#[derive(Debug, Default)]
pub struct Workspace {
    /// By level: what may become of the zone that is filled there.
    lists: Vec<Vec<Candidate>>,
    /// Lists that nobody uses at the moment.
    spare: Vec<Vec<Candidate>>,
}

/// An option of a zone, with what it comes to for the quantity that decides there.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    /// The most that it can be worth by itself.
    most: f64,
    /// Chance that the quantity is inside.
    chance: f64,
    /// What parts touched and the distance from the aim take off.
    penalty: f64,
    /// What parts touched take off.
    touched: f64,
    /// Expected change of the zone's sum, mm.
    change: f64,
    at: u32,
}

/// What is picked so far.
#[derive(Clone, Copy)]
struct Partial {
    picks: [u32; ZONES],
    /// Expected change of each quantity, mm.
    mean: [f64; MOST_QUANTITIES],
    /// Chance that all that is settled is inside.
    chance: f64,
    /// What all that is settled takes off.
    penalty: f64,
}

/// Drawn pieces of a bay at most: one bit each.
const MOST_DRAWN: usize = 16;

/// The build being fitted.
struct Task<'a> {
    bay: &'a FittingBay,
    options: &'a ZoneOptions,
    knowledge: &'a Knowledge,
    doubts: &'a Doubts,
    seen: Option<&'a [f64]>,
    normal: FastNormal,
    now: [u32; ZONES],
    /// Expected change of each quantity with nothing touched, mm.
    base: [f64; MOST_QUANTITIES],
    /// Expected deviation of each drawn piece, mm.
    drawn: [f64; MOST_DRAWN],
    best: Chosen,
}

impl FittingBay {
    /// The best pieces for a build.
    pub fn choose(&self, at_hand: &AtHand<'_>, doubts: &Doubts, work: &mut Workspace) -> Chosen {
        let now = match doubts {
            Doubts::First { .. } => at_hand.options.as_drawn,
            Doubts::Again { current, .. } => current.picks,
        };
        let none = Chosen { picks: now, score: f64::NEG_INFINITY, chance: 0.0, touched: 0 };
        let mut task = self.task(at_hand, doubts, none);
        task.consider(&now);
        // Nothing that touches a part can be worth more than this.
        if task.best.score < 1.0 - self.weights.per_part {
            task.search(work);
        }
        task.best
    }

    fn task<'a>(&'a self, at_hand: &AtHand<'a>, doubts: &'a Doubts, best: Chosen) -> Task<'a> {
        let (options, knowledge, seen) = (at_hand.options, at_hand.knowledge, at_hand.deviations.seen);
        let (mut base, mut drawn) = ([0.0; MOST_QUANTITIES], [0.0; MOST_DRAWN]);
        match doubts {
            Doubts::First { off } => {
                let rows = |gain: &[f64], out: &mut [f64]| {
                    for (value, row) in out.iter_mut().zip(gain.chunks_exact(knowledge.readings.max(1))) {
                        *value = row.iter().zip(off).map(|(g, o)| g * o).sum::<f64>();
                    }
                };
                rows(&knowledge.gain, &mut base);
                rows(&knowledge.piece_gain, &mut drawn);
            }
            Doubts::Again { mean, .. } => base[..mean.len()].copy_from_slice(mean),
        }
        let now = match doubts {
            Doubts::First { .. } => options.as_drawn,
            Doubts::Again { current, .. } => current.picks,
        };
        Task { bay: self, options, knowledge, doubts, seen, normal: FastNormal::new(), now, base, drawn, best }
    }

    /// The drawn pieces, all of them.
    pub fn as_drawn(&self, options: &ZoneOptions) -> Chosen {
        Chosen { picks: options.as_drawn, score: f64::NAN, chance: f64::NAN, touched: 0 }
    }

    /// What the zones really sum to with these pieces: drawn ones as `x` says of the stack's inputs, the drawer's as they
    /// deviate, mm.
    pub fn sums_of(
        &self,
        options: &ZoneOptions,
        chosen: &Chosen,
        x: impl Fn(usize) -> f64,
        deviations: &Deviations<'_>,
    ) -> [f64; ZONES] {
        let mut sums = [0.0; ZONES];
        for (zone, sum) in sums.iter_mut().enumerate().take(self.zones()) {
            let option = &options.zones[zone][chosen.picks[zone] as usize];
            let mut expected = option.sum;
            for (f, piece) in self.drawn.iter().enumerate() {
                if option.kept >> f & 1 == 1 {
                    expected += x(piece.dimension) - piece.mean;
                }
            }
            *sum = expected + deviation(option, zone, self.zones(), deviations.true_ones);
        }
        sums
    }

    /// How many pieces of each size a fitting takes that was not there before.
    pub fn takes(&self, options: &ZoneOptions, chosen: &Chosen, before: Option<&Chosen>, counts: &mut [u32]) {
        for zone in 0..self.zones() {
            let option = &options.zones[zone][chosen.picks[zone] as usize];
            match before.map(|before| &options.zones[zone][before.picks[zone] as usize]) {
                Some(had) => option.beyond(had).for_each(|k| counts[k] += 1),
                None => option.pieces().for_each(|k| counts[k] += 1),
            }
        }
    }

    /// How many places have other pieces in them than before.
    pub fn places_changed(&self, chosen: &Chosen, before: Option<&Chosen>, options: &ZoneOptions) -> usize {
        let before = before.map_or(options.as_drawn, |before| before.picks);
        (0..self.zones()).filter(|&z| before[z] != chosen.picks[z]).count()
    }

    /// What is known after a fitting was read again: `off` is how far each offset then is from where the drawing expects it, mm.
    pub fn learn(&self, at_hand: &AtHand<'_>, first: &Doubts, chosen: &Chosen, off: &[f64]) -> Doubts {
        let task = self.task(at_hand, first, *chosen);
        let q = self.levers.len();
        let (mut mean, covariance) = task.joint(&chosen.picks);
        let rockers = q - 1;
        let p = DMatrix::from_row_slice(q, q, &covariance);
        let mut s = p.view((0, 0), (rockers, rockers)).into_owned();
        (0..rockers).for_each(|r| s[(r, r)] += at_hand.knowledge.noise);
        let cross = p.columns(0, rockers).into_owned();
        let surprise = DVector::from_iterator(rockers, (0..rockers).map(|r| off[r] - mean[r]));
        let Some(cholesky) = s.cholesky() else {
            return Doubts::Again { mean, covariance, current: *chosen };
        };
        let change = &cross * cholesky.solve(&surprise);
        let mut left = &p - &cross * cholesky.solve(&cross.transpose());
        // As on the bench: both readings are learned with all of u, and the offset is never known better than one mean of them makes it.
        for (r, floor) in at_hand.knowledge.floor.iter().enumerate() {
            left[(r, r)] = left[(r, r)].max(floor.min(p[(r, r)]));
        }
        mean.iter_mut().zip(change.iter()).for_each(|(m, c)| *m += c);
        Doubts::Again { mean, covariance: left.iter().copied().collect(), current: *chosen }
    }
}

/// What an option's pieces from the drawer deviate by, mm.
fn deviation(option: &ZoneOption, zone: usize, zones: usize, of: &[f64]) -> f64 {
    option.copies().map(|(k, copy)| of[(k * zones + zone) * MOST_ADDED + copy]).sum()
}

impl Task<'_> {
    fn option(&self, zone: usize, pick: u32) -> &ZoneOption {
        &self.options.zones[zone][pick as usize]
    }

    /// What an option's pieces from the drawer are known to deviate by, mm.
    fn seen(&self, zone: usize, option: &ZoneOption) -> f64 {
        self.seen.map_or(0.0, |seen| deviation(option, zone, self.bay.zones(), seen))
    }

    /// What is added to the sum of a zone's option, with these drawn pieces kept, to have the expected change of the zone, mm.
    fn from_sum(&self, zone: usize, kept: u16) -> f64 {
        match self.doubts {
            Doubts::First { .. } => {
                let gone = |(f, piece): &(usize, &super::DrawnPiece)| piece.zone == zone && kept >> f & 1 == 0;
                let out: f64 = self.bay.drawn.iter().enumerate().filter(gone).map(|(f, _)| self.drawn[f]).sum();
                -self.bay.now[zone] - out
            }
            Doubts::Again { current, .. } => {
                let had = self.option(zone, current.picks[zone]);
                -(had.sum + self.seen(zone, had))
            }
        }
    }

    /// Expected change of a zone's sum, mm: what comes less what goes, and of drawn pieces that go what the readings say of them.
    fn change(&self, zone: usize, pick: u32) -> f64 {
        if pick == self.now[zone] {
            return 0.0;
        }
        let option = self.option(zone, pick);
        option.sum + self.seen(zone, option) + self.from_sum(zone, option.kept)
    }

    fn mask(&self, picks: &[u32; ZONES]) -> usize {
        usize::from((0..self.bay.zones()).map(|z| self.option(z, picks[z]).kept).sum::<u16>())
    }

    /// Variance of one quantity, mm².
    fn variance(&self, j: usize, picks: &[u32; ZONES]) -> f64 {
        let (bay, q) = (self.bay, self.bay.levers.len());
        let lever = &bay.levers[j];
        let mut variance;
        match self.doubts {
            Doubts::First { .. } => {
                variance = self.knowledge.variances[self.mask(picks) * q + j];
                for z in 0..bay.zones() {
                    variance += lever[z] * lever[z] * self.option(z, picks[z]).variance;
                }
            }
            Doubts::Again { covariance, current, .. } => {
                variance = covariance[j * q + j];
                for z in (0..bay.zones()).filter(|&z| picks[z] != current.picks[z] && lever[z].abs() > LEAST_LEVER) {
                    let (to, from) = (self.option(z, picks[z]), self.option(z, current.picks[z]));
                    variance += lever[z] * lever[z] * self.unsure_between(to, from);
                }
            }
        }
        variance.max(LEAST_VARIANCE)
    }

    /// Variance of the pieces that one option has and the other has not, mm².
    fn unsure_between(&self, a: &ZoneOption, b: &ZoneOption) -> f64 {
        let apart = a.kept ^ b.kept;
        let drawn: f64 =
            self.knowledge.piece.iter().enumerate().filter(|(f, _)| apart >> f & 1 == 1).map(|(_, v)| v).sum();
        let more = |a: &ZoneOption, b: &ZoneOption| -> f64 { a.beyond(b).map(|k| self.options.of_size[k]).sum() };
        drawn + more(a, b) + more(b, a)
    }

    /// Expected change and covariance of all quantities.
    fn joint(&self, picks: &[u32; ZONES]) -> (Vec<f64>, Vec<f64>) {
        let q = self.bay.levers.len();
        let means = self.means(picks);
        let mean = means[..q].to_vec();
        let mut covariance = match self.doubts {
            Doubts::First { .. } => self.knowledge.kept[self.mask(picks)].clone(),
            Doubts::Again { covariance, .. } => covariance.clone(),
        };
        for z in 0..self.bay.zones() {
            let added = match self.doubts {
                Doubts::First { .. } => self.option(z, picks[z]).variance,
                Doubts::Again { current, .. } => {
                    self.unsure_between(self.option(z, picks[z]), self.option(z, current.picks[z]))
                }
            };
            for j in 0..q {
                for k in 0..q {
                    covariance[j * q + k] += self.bay.levers[j][z] * self.bay.levers[k][z] * added;
                }
            }
        }
        (mean, covariance)
    }

    fn touched(&self, zone: usize, option: &ZoneOption) -> usize {
        match self.doubts {
            Doubts::First { .. } => usize::from(option.touched),
            Doubts::Again { .. } => option.changed(self.option(zone, self.now[zone])),
        }
    }

    fn miss(&self, j: usize, mean: f64) -> f64 {
        ((mean - self.bay.aims[j]) / self.bay.halves[j]).powi(2)
    }

    /// Expected change of every quantity, mm.
    fn means(&self, picks: &[u32; ZONES]) -> [f64; MOST_QUANTITIES] {
        let mut mean = self.base;
        for z in 0..self.bay.zones() {
            let change = self.change(z, picks[z]);
            for (mean, lever) in mean.iter_mut().zip(&self.bay.levers) {
                *mean += lever[z] * change;
            }
        }
        mean
    }

    /// Scores what is picked, and keeps it where it is the best so far; of equals the first in order.
    fn consider(&mut self, picks: &[u32; ZONES]) {
        let bay = self.bay;
        let touched: usize = (0..bay.zones()).map(|z| self.touched(z, self.option(z, picks[z]))).sum();
        let mut penalty = bay.weights.per_part * touched as f64;
        let mean = self.means(picks);
        for j in 0..bay.levers.len() {
            penalty += bay.weights.centring * self.miss(j, mean[j]);
        }
        let mut chance = 1.0;
        for j in 0..bay.levers.len() {
            if chance - penalty < self.best.score {
                return;
            }
            chance *= self.normal.between(bay.limits[j], mean[j], self.variance(j, picks).sqrt());
        }
        let score = chance - penalty;
        if score > self.best.score || (score >= self.best.score && *picks < self.best.picks) {
            self.best = Chosen { picks: *picks, score, chance, touched };
        }
    }

    /// Whether something that comes to this at most need not be looked at.
    fn hopeless(&self, most: f64) -> bool {
        most + ROUNDING < self.best.score
    }

    fn search(&mut self, work: &mut Workspace) {
        let levels = self.bay.order.len();
        work.lists.resize_with(levels.max(work.lists.len()), Vec::new);
        let start = Partial { picks: self.now, mean: self.base, chance: 1.0, penalty: 0.0 };
        let inner = 0..levels.saturating_sub(1);
        let alone = |level: &usize| self.bay.alone[*level];
        // The best for each rocker by itself, and what makes up the sum then: mostly the best of all already.
        let mut greedy = start;
        let mut most = [1.0; ZONES];
        for level in inner.clone().filter(alone) {
            let Some(best) = self.best_alone(level, &start) else { return };
            most[level] = best.most.max(0.0);
            greedy = self.with(&greedy, level, &best);
        }
        let ceiling: f64 = most.iter().product();
        if self.hopeless(ceiling) {
            return;
        }
        if inner.clone().all(|level| self.bay.alone[level]) {
            self.fill(levels - 1, &greedy, &most, work);
        }
        for level in inner.filter(|&level| self.bay.alone[level]) {
            let mut list = std::mem::take(&mut work.lists[level]);
            let rest = most.iter().enumerate().filter(|(other, _)| *other != level).map(|(_, m)| m).product();
            self.list(level, &start, rest, &mut list);
            work.lists[level] = list;
        }
        self.fill(0, &start, &most, work);
    }

    /// What is picked with one more.
    fn with(&self, partial: &Partial, level: usize, candidate: &Candidate) -> Partial {
        let zone = self.bay.order[level].0;
        let mut next = *partial;
        next.picks[zone] = candidate.at;
        for (mean, lever) in next.mean.iter_mut().zip(&self.bay.levers) {
            *mean += lever[zone] * candidate.change;
        }
        if self.bay.alone[level] {
            next.chance *= candidate.chance;
            next.penalty += candidate.penalty;
        } else {
            // Other zones move it still: nothing but the parts is settled.
            next.penalty += candidate.touched;
        }
        next
    }

    /// Goes through what may become of the zones from `level` on, and follows the best as long as what they can still come to is more than the
    /// best so far. `most`: what each level can be worth at the most.
    fn fill(&mut self, level: usize, partial: &Partial, most: &[f64; ZONES], work: &mut Workspace) {
        if level >= self.bay.order.len() {
            return self.consider(&partial.picks);
        }
        if level + 1 == self.bay.order.len() {
            return self.make_up(level, partial);
        }
        let rest: f64 = most[level + 1..].iter().product();
        let alone = self.bay.alone[level];
        let mut list =
            if alone { std::mem::take(&mut work.lists[level]) } else { work.spare.pop().unwrap_or_default() };
        if !alone && !self.list(level, partial, rest, &mut list) {
            work.spare.push(list);
            return self.fill(level + 1, partial, most, work);
        }
        for candidate in &list {
            // What is picked so far leaves at most its chance of what a list can be worth.
            if self.hopeless(partial.chance * rest * candidate.most - partial.penalty) {
                break;
            }
            if self.hopeless(partial.chance * rest * candidate.chance - partial.penalty - candidate.penalty) {
                continue;
            }
            let next = self.with(partial, level, candidate);
            self.fill(level + 1, &next, most, work);
        }
        if alone {
            work.lists[level] = list;
        } else {
            list.clear();
            work.spare.push(list);
        }
    }

    /// The last zone: what is there stays, or something comes that brings its quantity to its aim.
    fn make_up(&mut self, level: usize, partial: &Partial) {
        let (zone, j) = self.bay.order[level];
        let away = self.miss(j, partial.mean[j]) * self.bay.weights.centring;
        if !self.hopeless(partial.chance - partial.penalty - away) {
            self.consider(&partial.picks);
        }
        let Some(scan) = self.scan(level, partial) else { return };
        let options = self.options;
        for group in &options.groups[zone] {
            let least = partial.penalty + self.bay.weights.per_part * self.touched_at_least(zone, group) as f64;
            if self.hopeless(partial.chance - least) {
                continue;
            }
            let mut picks = partial.picks;
            let scan = scan.of(self.from_sum(zone, group.kept));
            let mut walk = scan.walk(group.of(&options.zones[zone]));
            while let Some((at, miss)) = walk.next() {
                if self.hopeless(partial.chance - least - self.bay.weights.centring * miss) {
                    walk.turn();
                    continue;
                }
                picks[zone] = group.from + at as u32;
                if picks[zone] != self.now[zone] {
                    self.consider(&picks);
                }
            }
        }
    }

    /// The best that a rocker by itself can have.
    fn best_alone(&self, level: usize, start: &Partial) -> Option<Candidate> {
        let mut best: Option<Candidate> = None;
        self.each(level, start, 1.0, |candidate, least| {
            if best.is_none_or(|best| candidate.most > best.most) {
                *least = least.max(candidate.most);
                best = Some(candidate);
            }
        });
        best
    }

    /// All that may become of a zone and can still be better than the best so far, the best first; whether the quantity answers to the
    /// zone at all.
    fn list(&self, level: usize, partial: &Partial, rest: f64, list: &mut Vec<Candidate>) -> bool {
        list.clear();
        let answers = self.each(level, partial, rest, |candidate, _| list.push(candidate));
        list.sort_unstable_by(|a, b| b.most.total_cmp(&a.most).then(a.at.cmp(&b.at)));
        answers
    }

    /// Hands over all that may become of a zone and can still be better than the best so far, or than what `take` then asks for.
    fn each(&self, level: usize, partial: &Partial, rest: f64, mut take: impl FnMut(Candidate, &mut f64)) -> bool {
        let (zone, j) = self.bay.order[level];
        let Some(scan) = self.scan(level, partial) else { return false };
        let (weights, lever) = (self.bay.weights, self.bay.levers[j][zone]);
        let (filler, sum) = self.bay.order[self.bay.order.len() - 1];
        let (lean, of_sum) = (self.bay.levers[j][filler], self.bay.levers[sum][zone]);
        let mut picks = partial.picks;
        // What a candidate must be worth by itself.
        let wanted = self.best.score + partial.penalty;
        let mut least = wanted / (partial.chance * rest).max(f64::MIN_POSITIVE);
        for group in &self.options.groups[zone] {
            let touches = weights.per_part * self.touched_at_least(zone, group) as f64;
            if 1.0 - touches + ROUNDING < least {
                continue;
            }
            let from_sum = self.from_sum(zone, group.kept);
            let options = group.of(&self.options.zones[zone]);
            let mut walk = scan.of(from_sum).walk(options);
            while let Some((at, miss)) = walk.next() {
                if 1.0 - touches - weights.centring * miss + ROUNDING < least {
                    walk.turn();
                    continue;
                }
                let option = &options[at];
                let pick = group.from + at as u32;
                let touched = weights.per_part * self.touched(zone, option) as f64;
                let change = if pick == self.now[zone] { 0.0 } else { option.sum + self.seen(zone, option) + from_sum };
                picks[zone] = pick;
                let mean = partial.mean[j] + lever * change;
                // With the sum anything from what it then is to its aim.
                let made_up = if lean.abs() > LEAST_LEVER {
                    lean * (self.bay.aims[sum] - partial.mean[sum] - of_sum * change)
                } else {
                    0.0
                };
                let there = self.bay.aims[j].clamp(mean.min(mean + made_up), mean.max(mean + made_up));
                let penalty = touched + weights.centring * self.miss(j, there);
                if 1.0 - penalty + ROUNDING < least {
                    continue;
                }
                let chance = self.normal.between(self.bay.limits[j], there, self.variance(j, &picks).sqrt());
                let most = chance - penalty;
                if most + ROUNDING >= least {
                    take(Candidate { most, chance, penalty, touched, change, at: pick }, &mut least);
                }
            }
        }
        true
    }

    /// Parts that any of a group touches at the least.
    fn touched_at_least(&self, zone: usize, group: &Group) -> usize {
        match self.doubts {
            Doubts::First { .. } => usize::from(group.touched),
            Doubts::Again { .. } => {
                let now = self.option(zone, self.now[zone]);
                (group.kept ^ now.kept).count_ones() as usize + now.pieces().count().abs_diff(usize::from(group.added))
            }
        }
    }

    /// Where a zone is looked at for the sake of a quantity; None where the quantity does not answer to it.
    fn scan(&self, level: usize, partial: &Partial) -> Option<Scan> {
        let bay = self.bay;
        let (zone, j) = bay.order[level];
        let lever = bay.levers[j][zone];
        // A quantity that leans on the sum is looked at with the sum as it is and with the last zone making up for it.
        let made_up = match bay.order.last() {
            Some(&(filler, sum)) if level + 1 < bay.order.len() => {
                let lean = bay.levers[j][filler];
                (lever - lean, lean * (bay.aims[sum] - partial.mean[sum]))
            }
            _ => (lever, 0.0),
        };
        let aims = [(lever, 0.0), made_up].into_iter().filter(|(lever, _)| lever.abs() > LEAST_LEVER);
        let (mut from, mut to, mut least) = (f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY);
        for (lever, spare) in aims {
            let wanted = (bay.aims[j] - partial.mean[j] - spare) / lever;
            (from, to, least) = (from.min(wanted), to.max(wanted), least.min(lever.abs()));
        }
        if !least.is_finite() {
            return None;
        }
        let stray = if self.seen.is_some() { STRAY } else { 0.0 };
        Some(Scan { from, to, stray, per_half: least / bay.halves[j] })
    }
}

/// Which options of a zone come first, and what the rest can be worth.
#[derive(Clone, Copy)]
struct Scan {
    /// The quantity can be at its aim with the zone changed by this to that, mm.
    from: f64,
    to: f64,
    /// Pieces may differ from what they are looked for by so much, mm.
    stray: f64,
    /// Half-widths for each mm beyond.
    per_half: f64,
}

impl Scan {
    /// As sums of the zone.
    fn of(mut self, from_sum: f64) -> Self {
        self.from -= from_sum;
        self.to -= from_sum;
        self
    }

    /// Outwards from the aim, downwards first.
    fn walk(self, options: &[ZoneOption]) -> Walk<'_> {
        let start = options.partition_point(|o| o.sum < 0.5 * (self.from + self.to));
        Walk { options, scan: self, next: start, start, down: true }
    }
}

/// Options with how far each is at least from the aim, in half-widths squared.
struct Walk<'a> {
    options: &'a [ZoneOption],
    scan: Scan,
    next: usize,
    start: usize,
    down: bool,
}

impl Walk<'_> {
    fn next(&mut self) -> Option<(usize, f64)> {
        if self.down && self.next == 0 {
            self.turn();
        }
        let at = if self.down { self.next - 1 } else { self.next };
        let option = self.options.get(at)?;
        self.next = if self.down { at } else { at + 1 };
        let beyond = (self.scan.from - option.sum).max(option.sum - self.scan.to) - self.scan.stray;
        let away = beyond.max(0.0) * self.scan.per_half;
        Some((at, away * away))
    }

    /// What lies further on in this direction is further off.
    fn turn(&mut self) {
        self.next = if self.down { self.start } else { self.options.len() };
        self.down = false;
    }
}

/// By how much measured pieces may differ from the size that they are looked for by, mm.
const STRAY: f64 = 0.05;
/// What rounding may add to a score.
const ROUNDING: f64 = 1e-9;

/// The best of every set of options, by the same scoring: for the tests.
#[cfg(test)]
pub(super) fn exhaustive(bay: &FittingBay, at_hand: &AtHand<'_>, doubts: &Doubts) -> Chosen {
    let start = match doubts {
        Doubts::First { .. } => bay.as_drawn(at_hand.options),
        Doubts::Again { current, .. } => *current,
    };
    let mut task = bay.task(at_hand, doubts, Chosen { score: f64::NEG_INFINITY, ..start });
    let zones = &at_hand.options.zones;
    let counts: Vec<usize> = zones.iter().map(Vec::len).collect();
    for index in 0..counts.iter().product::<usize>() {
        let (mut picks, mut rest) = (start.picks, index);
        for (zone, count) in counts.iter().enumerate() {
            picks[zone] = (rest % count) as u32;
            rest /= count;
        }
        task.consider(&picks);
    }
    task.best
}

/// As many quantities as there may be.
const _: () = assert!(MOST_QUANTITIES <= ZONES, "one for each zone");
