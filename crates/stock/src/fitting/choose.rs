//! The best pieces for one build: what is read, what is expected of every option, and a search that looks only where the aims are.
//!
//! Zone after zone, rocker after rocker, options are gone through outwards from the aim and followed as long as they can still be better than the
//! best so far; the last zone makes up the sum. Where no offset leans on the sum that is the best there is; else nearly, and how nearly is
//! a test (`fitting/tests.rs`).

use super::fast_normal::FastNormal;
use super::knowledge::{Kept, Knowledge, LEAST_VARIANCE};
use super::zone_options::{MOST_ADDED, ZoneOption, ZoneOptions};
use super::{FittingBay, MOST_QUANTITIES};
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
    /// Lists of options that nobody uses at the moment.
    spare: Vec<Vec<(f64, u32)>>,
}

/// The build being fitted.
struct Task<'a> {
    bay: &'a FittingBay,
    options: &'a ZoneOptions,
    knowledge: &'a Knowledge,
    doubts: &'a Doubts,
    seen: Option<&'a [f64]>,
    normal: FastNormal,
    now: [u32; ZONES],
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
            let mut picks = now;
            task.fill(0, &mut picks, 0, work);
        }
        task.best
    }

    fn task<'a>(&'a self, at_hand: &AtHand<'a>, doubts: &'a Doubts, best: Chosen) -> Task<'a> {
        let (options, knowledge, seen) = (at_hand.options, at_hand.knowledge, at_hand.deviations.seen);
        Task { bay: self, options, knowledge, doubts, seen, normal: FastNormal::new(), now: best.picks, best }
    }

    /// The drawn pieces, all of them.
    pub fn as_drawn(&self, options: &ZoneOptions) -> Chosen {
        Chosen { picks: options.as_drawn, score: f64::NAN, chance: f64::NAN, touched: 0 }
    }

    /// What the zones really sum to with these pieces: drawn ones as `x` says, the drawer's as they deviate, mm.
    pub fn sums_of(
        &self,
        options: &ZoneOptions,
        chosen: &Chosen,
        x: &[f64],
        deviations: &Deviations<'_>,
    ) -> [f64; ZONES] {
        let mut sums = [0.0; ZONES];
        for (zone, sum) in sums.iter_mut().enumerate().take(self.zones()) {
            let option = &options.zones[zone][chosen.picks[zone] as usize];
            let mut expected = option.sum;
            for (f, piece) in self.drawn.iter().enumerate() {
                if option.kept >> f & 1 == 1 {
                    expected += x[piece.dimension] - piece.mean;
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
        let left = &p - &cross * cholesky.solve(&cross.transpose());
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

    /// What a zone is expected to sum to.
    fn expected(&self, zone: usize, option: &ZoneOption) -> f64 {
        option.sum + self.seen.map_or(0.0, |seen| deviation(option, zone, self.bay.zones(), seen))
    }

    fn kept(&self, picks: &[u32; ZONES]) -> &Kept {
        let mask = (0..self.bay.zones()).map(|z| self.option(z, picks[z]).kept).sum::<u16>();
        &self.knowledge.kept[usize::from(mask)]
    }

    /// Expected change and variance of one quantity.
    fn moments(&self, j: usize, picks: &[u32; ZONES]) -> (f64, f64) {
        let (bay, q) = (self.bay, self.bay.levers.len());
        let lever = &bay.levers[j];
        let (mut mean, mut variance);
        match self.doubts {
            Doubts::First { off } => {
                let kept = self.kept(picks);
                let readings = self.knowledge.readings;
                mean = kept.gain[j * readings..(j + 1) * readings].iter().zip(off).map(|(g, o)| g * o).sum::<f64>();
                variance = kept.covariance[j * q + j];
                for z in 0..bay.zones() {
                    let option = self.option(z, picks[z]);
                    mean += lever[z] * (self.expected(z, option) - bay.now[z]);
                    variance += lever[z] * lever[z] * option.variance;
                }
            }
            Doubts::Again { mean: known, covariance, current } => {
                mean = known[j];
                variance = covariance[j * q + j];
                for z in (0..bay.zones()).filter(|&z| picks[z] != current.picks[z]) {
                    let (to, from) = (self.option(z, picks[z]), self.option(z, current.picks[z]));
                    mean += lever[z] * (self.expected(z, to) - self.expected(z, from));
                    variance += lever[z] * lever[z] * self.unsure_between(to, from);
                }
            }
        }
        (mean, variance.max(LEAST_VARIANCE))
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
        let mean = (0..q).map(|j| self.moments(j, picks).0).collect();
        let mut covariance = match self.doubts {
            Doubts::First { .. } => self.kept(picks).covariance.clone(),
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

    /// Scores what is picked, and keeps it where it is the best so far.
    fn consider(&mut self, picks: &[u32; ZONES]) {
        let bay = self.bay;
        let touched: usize = (0..bay.zones()).map(|z| self.touched(z, self.option(z, picks[z]))).sum();
        let mut penalty = bay.weights.per_part * touched as f64;
        let mut chance = 1.0;
        for j in 0..bay.levers.len() {
            if chance - penalty <= self.best.score {
                return;
            }
            let (mean, variance) = self.moments(j, picks);
            penalty += bay.weights.centring * self.miss(j, mean);
            chance *= self.normal.between(bay.limits[j], mean, variance.sqrt());
        }
        let score = chance - penalty;
        if score > self.best.score {
            self.best = Chosen { picks: *picks, score, chance, touched };
        }
    }

    /// Goes through the options of the zones from `level` on, outwards from where the zone's quantity would lie at its aim, and follows the
    /// best of them as long as what they can still come to is more than the best so far.
    fn fill(&mut self, level: usize, picks: &mut [u32; ZONES], touched: usize, work: &mut Workspace) {
        let Some(&(zone, j)) = self.bay.order.get(level) else { return self.consider(picks) };
        let last = level + 1 == self.bay.order.len();
        let keep = picks[zone];
        if last {
            // What is there touches nothing more, wherever the aim lies; and the better the best so far, the sooner the scan ends.
            self.consider(picks);
        }
        let Some(scan) = self.scan(zone, j, last, picks) else {
            return self.fill(level + 1, picks, touched, work);
        };
        let per_part = self.bay.weights.per_part;
        let so_far = per_part * touched as f64;
        let mut open: Vec<(f64, u32)> = work.spare.pop().unwrap_or_default();
        let count = self.options.zones[zone].len();
        for below in [true, false] {
            let steps = if below { scan.start } else { count - scan.start };
            for step in 0..steps {
                let at = if below { scan.start - 1 - step } else { scan.start + step };
                let option = self.options.zones[zone][at];
                let away = (scan.from - option.sum).max(option.sum - scan.to).max(0.0) * scan.per_half;
                if 1.0 - so_far - self.bay.weights.centring * away * away <= self.best.score {
                    break;
                }
                let penalty = so_far + per_part * self.touched(zone, &option) as f64;
                if 1.0 - penalty <= self.best.score {
                    continue;
                }
                picks[zone] = at as u32;
                if last {
                    self.consider(picks);
                } else {
                    open.push((self.at_best(j, picks) - penalty, at as u32));
                }
            }
        }
        open.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        for &(most, pick) in &open {
            if most <= self.best.score {
                break;
            }
            picks[zone] = pick;
            let here = self.touched(zone, self.option(zone, pick));
            self.fill(level + 1, picks, touched + here, work);
        }
        open.clear();
        work.spare.push(open);
        picks[zone] = keep;
    }

    /// Where a zone is looked at for the sake of a quantity; None where the quantity does not answer to it.
    fn scan(&self, zone: usize, j: usize, last: bool, picks: &[u32; ZONES]) -> Option<Scan> {
        let bay = self.bay;
        let present = self.expected(zone, self.option(zone, picks[zone]));
        let mean = self.moments(j, picks).0;
        let lever = bay.levers[j][zone];
        // A quantity that leans on the sum is looked at with the sum as it is and with the last zone making up for it.
        let made_up = match bay.order.last() {
            Some(&(filler, sum)) if !last => {
                let lean = bay.levers[j][filler];
                (lever - lean, lean * (bay.aims[sum] - self.moments(sum, picks).0))
            }
            _ => (lever, 0.0),
        };
        let aims = [(lever, 0.0), made_up].into_iter().filter(|(lever, _)| lever.abs() > LEAST_LEVER);
        let (mut from, mut to, mut least) = (f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY);
        for (lever, spare) in aims {
            let wanted = present + (bay.aims[j] - mean - spare) / lever;
            (from, to, least) = (from.min(wanted), to.max(wanted), least.min(lever.abs()));
        }
        if !least.is_finite() {
            return None;
        }
        let known_pieces = self.seen.is_some() || self.knowledge.readings >= bay.levers.len();
        let stray = if known_pieces { STRAY_KNOWN } else { STRAY };
        let start = self.options.zones[zone].partition_point(|o| o.sum < 0.5 * (from + to));
        Some(Scan { start, from: from - stray, to: to + stray, per_half: least / bay.halves[j] })
    }

    /// What one quantity can still come to, less how far it then is from its aim: with the sum anything from what it is to its aim.
    fn at_best(&self, j: usize, picks: &[u32; ZONES]) -> f64 {
        let bay = self.bay;
        let (mean, variance) = self.moments(j, picks);
        let made_up = bay.order.last().map_or(0.0, |&(filler, sum)| {
            let lean = bay.levers[j][filler];
            if lean.abs() > LEAST_LEVER { lean * (bay.aims[sum] - self.moments(sum, picks).0) } else { 0.0 }
        });
        let there = bay.aims[j].clamp(mean.min(mean + made_up), mean.max(mean + made_up));
        self.normal.between(bay.limits[j], there, variance.sqrt()) - bay.weights.centring * self.miss(j, there)
    }
}

/// Which options of a zone come first, and what the rest can be worth.
struct Scan {
    /// The first at or above the aim.
    start: usize,
    /// The quantity can be at its aim with sums from here to there, mm.
    from: f64,
    to: f64,
    /// Half-widths for each mm beyond.
    per_half: f64,
}

/// A quantity answers to a zone where it moves by more than this for each mm.
const LEAST_LEVER: f64 = 1e-6;
/// By how much pieces may differ from what they are looked for by, mm: by what the readings say of the drawn ones; by what was measured.
const STRAY: f64 = 0.01;
const STRAY_KNOWN: f64 = 0.05;

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
