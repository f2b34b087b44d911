//! Every way to do a job from a set of sizes.
//!
//! The two sides of the rocker are enumerated once for all jobs and sorted by their sums; a job then is a window on either: meet in the middle, as in the
//! bench search.

use super::catalogue::Size;
use super::demand::Job;
use super::frame::{Frame, Side};
use crate::chance::{between, both_between};
use packdrift_numerics::normal;

/// Pieces added on a side: kinds in rising order, [`NONE`] beyond.
type Added = [u8; 4];
const NONE: u8 = u8::MAX;

/// What a side can be made to hold.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Holding {
    sum: f64,
    /// Sizes in it, one bit each.
    mask: u64,
    added: Added,
    touched: u8,
    /// Variance of the added pieces' sum, mm².
    variance: f64,
}

/// A way to do a job.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Way {
    /// Sizes taken: index and count.
    pub(crate) takes: Vec<(u8, u8)>,
    /// Those that go left of the rocker.
    pub(crate) left: Vec<(u8, u8)>,
    /// Sums of what stays, left and right, mm.
    pub(crate) stays: (f64, f64),
    pub(crate) touched: u8,
    /// At least this.
    pub(crate) chance: f64,
    pub(crate) score: f64,
}

/// All holdings of both sides for a set of sizes.
#[derive(Debug, Clone)]
pub(crate) struct Ways<'a> {
    frame: &'a Frame,
    sizes: &'a [Size],
    left: Vec<Holding>,
    right: Vec<Holding>,
    old_left: f64,
    old_sum: f64,
    /// Standard deviations that every limit must be away for the chance to be enough, and with which it certainly is.
    least: f64,
    surely: f64,
}

impl<'a> Ways<'a> {
    /// `allowed`: the sizes that may be used, one bit each.
    pub(crate) fn new(frame: &'a Frame, sizes: &'a [Size], allowed: u64) -> Self {
        let holdings = |side: &Side| {
            let mut all = Vec::new();
            for stays in stays(side) {
                let needs = needs(side, stays);
                let kept: f64 = side.fitted.iter().zip(0..).filter(|&(_, f)| stays >> f & 1 == 1).map(|(t, _)| t).sum();
                let out = side.fitted.len() - stays.count_ones() as usize;
                let room = side.room.saturating_sub(stays.count_ones() as usize);
                let mut added = [NONE; 4];
                fill(sizes, allowed, 0, 0, room, &mut added, &mut |added, n| {
                    let kinds = &added[..n];
                    if !seated(sizes, kinds, &needs) {
                        return;
                    }
                    let sum = kept + kinds.iter().map(|&k| sizes[usize::from(k)].expected()).sum::<f64>();
                    let mask = kinds.iter().fold(0, |mask, &k| mask | 1 << k);
                    let touched = (out + n) as u8;
                    all.push(Holding { sum, mask, added: *added, touched, variance: variance(sizes, added) });
                });
            }
            all.sort_by(|a, b| a.sum.total_cmp(&b.sum).then(a.added.cmp(&b.added)));
            all
        };
        let (left, right) = (holdings(&frame.left), holdings(&frame.right));
        // One limit alone costs its tail; four together cost at most the sum of theirs (Bonferroni).
        let tail = 1.0 - frame.chance;
        Self {
            frame,
            sizes,
            left,
            right,
            old_left: frame.old_left(),
            old_sum: frame.old_sum(),
            least: normal::quantile(frame.chance).min(8.0),
            surely: -normal::quantile(0.25 * tail),
        }
    }

    /// What a pair of holdings makes of a job.
    fn outcome(&self, job: Job, left: &Holding, right: &Holding) -> Outcome {
        let f = self.frame;
        let cross = cross(self.sizes, &left.added, &right.added);
        let change = left.sum + right.sum - self.old_sum;
        let offset = left.sum - self.old_left + f.lean * change - job.correction;
        let sum = change - job.squeeze;
        let (a, b) = (1.0 + f.lean, f.lean);
        let (vo, vs) = (
            f.offset_sd * f.offset_sd + a * a * left.variance + b * b * right.variance + 2.0 * a * b * cross,
            f.sum_sd * f.sum_sd + left.variance + right.variance + 2.0 * cross,
        );
        let (so, ss) = (vo.sqrt().max(1e-9), vs.sqrt().max(1e-9));
        let x = ((f.offset.0 - offset) / so, (f.offset.1 - offset) / so);
        let y = ((f.sum.0 - sum) / ss, (f.sum.1 - sum) / ss);
        let rho = ((a * left.variance + b * right.variance + (a + b) * cross) / (so * ss)).clamp(-1.0, 1.0);
        Outcome { x, y, rho, offset, sum }
    }

    /// Whether a pair of holdings does a job: the integral is worked out only where the limits alone do not tell.
    fn does(&self, job: Job, left: &Holding, right: &Holding) -> bool {
        let outcome = self.outcome(job, left, right);
        let Outcome { x, y, .. } = outcome;
        let nearest = (-x.0).min(x.1).min(-y.0).min(y.1);
        nearest >= self.least && (nearest >= self.surely || outcome.chance(self.frame.chance) >= self.frame.chance)
    }

    /// All pairs of holdings whose means are inside, left by left.
    fn pairs(&self, job: Job) -> impl Iterator<Item = (&Holding, &[Holding])> {
        let f = self.frame;
        let wanted = self.old_left + job.correction;
        // What the change of the sum adds to the offset, at most and at least.
        let leans = (f.lean * (job.squeeze + f.sum.0), f.lean * (job.squeeze + f.sum.1));
        let (most, least) = (leans.0.max(leans.1), leans.0.min(leans.1));
        let from = self.left.partition_point(|h| h.sum < wanted + f.offset.0 - most);
        let to = self.left.partition_point(|h| h.sum <= wanted + f.offset.1 - least).max(from);
        let total = self.old_sum + job.squeeze;
        self.left[from..to].iter().map(move |left| {
            let from = self.right.partition_point(|h| h.sum + left.sum < total + f.sum.0);
            let to = self.right.partition_point(|h| h.sum + left.sum <= total + f.sum.1).max(from);
            (left, &self.right[from..to])
        })
    }

    /// Whether a job (as the frame sees it) needs nothing at all: then what pieces could do for it is not asked.
    fn fits_as_it_is(&self, job: Job) -> bool {
        let as_it_is = |sum| Holding { sum, mask: 0, added: [NONE; 4], touched: 0, variance: 0.0 };
        let (left, right) = (as_it_is(self.old_left), as_it_is(self.old_sum - self.old_left));
        self.does(job, &left, &right)
    }

    /// The smallest sets of sizes from which the job can be done: no one of them contains another. The empty set: nothing is needed.
    pub(crate) fn smallest_sets(&self, job: Job, seen: &mut Seen) -> Vec<u64> {
        let job = self.frame.seen(job);
        if self.fits_as_it_is(job) {
            return vec![0];
        }
        seen.clear();
        // Few sizes first: what they do need not be asked of any set that contains them.
        let mut pairs: Vec<_> = self.pairs(job).collect();
        pairs.sort_by_key(|(left, _)| left.mask.count_ones());
        for (left, rights) in pairs {
            if seen.covers(left.mask) {
                continue;
            }
            for right in rights {
                let mask = left.mask | right.mask;
                if !seen.covers(mask) && self.does(job, left, right) {
                    seen.insert(mask);
                }
            }
        }
        seen.smallest()
    }

    /// The ways to do a job, best first; of a job that fits as it is this alone. One for every set of pieces taken that does not contain another; at most `most`.
    pub(crate) fn list(&self, job: Job, most: usize) -> Vec<Way> {
        let f = self.frame;
        let job = f.seen(job);
        if self.fits_as_it_is(job) {
            let stays = (self.old_left, self.old_sum - self.old_left);
            return vec![Way {
                takes: Vec::new(),
                left: Vec::new(),
                stays,
                touched: 0,
                chance: f.chance,
                score: f.chance,
            }];
        }
        let (half_offset, half_sum) = (0.5 * (f.offset.1 - f.offset.0), 0.5 * (f.sum.1 - f.sum.0));
        let mut ways: Vec<(f64, f64, &Holding, &Holding)> = Vec::new();
        for (left, rights) in self.pairs(job) {
            for right in rights {
                let outcome = self.outcome(job, left, right);
                let (chance, offset, sum) = (outcome.chance(f.chance), outcome.offset, outcome.sum);
                if chance >= f.chance {
                    let miss = (offset / half_offset).powi(2) + ((sum - f.sum_aim) / half_sum).powi(2);
                    let touched = f64::from(left.touched + right.touched);
                    ways.push((chance - f.weights.per_part * touched - f.weights.centring * miss, chance, left, right));
                }
            }
        }
        ways.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.2.added, a.3.added).cmp(&(b.2.added, b.3.added))));
        let mut kept: Vec<Way> = Vec::new();
        for (score, chance, left, right) in ways {
            let takes = counts(&[left.added, right.added]);
            // A worse way that takes all that a better one takes is never needed.
            if kept.iter().any(|way| contains(&takes, &way.takes)) {
                continue;
            }
            let sum_of = |added: &Added| -> f64 { pieces(added).map(|k| self.sizes[usize::from(k)].expected()).sum() };
            kept.push(Way {
                takes,
                left: counts(&[left.added]),
                stays: (left.sum - sum_of(&left.added), right.sum - sum_of(&right.added)),
                touched: left.touched + right.touched,
                chance,
                score,
            });
            if kept.len() == most {
                break;
            }
        }
        kept
    }
}

/// Limits of offset and sum in standard deviations from where they come to lie, their correlation, and their errors from the aims, mm.
#[derive(Debug, Clone, Copy)]
struct Outcome {
    x: (f64, f64),
    y: (f64, f64),
    rho: f64,
    offset: f64,
    sum: f64,
}

impl Outcome {
    /// The chance that both are inside; where it is below `wanted` perhaps only a bound on it.
    fn chance(&self, wanted: f64) -> f64 {
        // Where one alone is not enough both are not, and the integral is spared.
        let alone = between(self.x.0, self.x.1).min(between(self.y.0, self.y.1));
        if alone < wanted { alone } else { both_between(self.x, self.y, self.rho) }
    }
}

/// Which of a side's pieces stay: all subsets, or all or none; one bit a piece.
fn stays(side: &Side) -> Vec<u32> {
    let all = (1_u32 << side.fitted.len()) - 1;
    if side.together { if all == 0 { vec![0] } else { vec![all, 0] } } else { (0..=all).rev().collect() }
}

/// What the thickest pieces added must be at least, falling, mm, where only `stays` stay.
fn needs(side: &Side, stays: u32) -> Vec<f64> {
    let there = |f: &usize| stays >> f & 1 == 1;
    let open = side.seats.iter().filter(|seat| !seat.washers.iter().all(there) && !seat.stand_ins.iter().any(there));
    let mut needs: Vec<f64> = open.map(|seat| seat.least).collect();
    needs.sort_by(|a, b| b.total_cmp(a));
    needs
}

/// Whether every place that lost its flat washers gets a piece that can stand for them.
fn seated(sizes: &[Size], kinds: &[u8], needs: &[f64]) -> bool {
    if needs.is_empty() {
        return true;
    }
    let mut thickness: Vec<f64> = kinds.iter().map(|&k| sizes[usize::from(k)].expected()).collect();
    thickness.sort_by(|a, b| b.total_cmp(a));
    needs.len() <= thickness.len() && needs.iter().zip(&thickness).all(|(least, t)| t >= least)
}

fn fill(
    sizes: &[Size],
    allowed: u64,
    from: usize,
    n: usize,
    room: usize,
    added: &mut Added,
    visit: &mut impl FnMut(&Added, usize),
) {
    visit(added, n);
    if n == room.min(4) {
        return;
    }
    for k in from..sizes.len() {
        if allowed >> k & 1 == 1 {
            added[n] = k as u8;
            fill(sizes, allowed, k, n + 1, room, added, visit);
            added[n] = NONE;
        }
    }
}

fn pieces(added: &Added) -> impl Iterator<Item = u8> + '_ {
    added.iter().copied().take_while(|&k| k != NONE)
}

/// Covariance of two groups' sums due to packets in common.
fn cross(sizes: &[Size], a: &Added, b: &Added) -> f64 {
    let mut sum = 0.0;
    for k in pieces(a) {
        for l in pieces(b) {
            if k == l {
                let between = sizes[usize::from(k)].between;
                sum += between * between;
            }
        }
    }
    sum
}

/// Variance of a group's sum: packets in common, and each piece's own.
fn variance(sizes: &[Size], a: &Added) -> f64 {
    let own: f64 = pieces(a).map(|k| sizes[usize::from(k)].within.powi(2)).sum();
    own + cross(sizes, a, a)
}

fn counts(groups: &[Added]) -> Vec<(u8, u8)> {
    let mut all: Vec<u8> = groups.iter().flat_map(pieces).collect();
    all.sort_unstable();
    let mut counts: Vec<(u8, u8)> = Vec::new();
    for k in all {
        match counts.last_mut() {
            Some(last) if last.0 == k => last.1 += 1,
            _ => counts.push((k, 1)),
        }
    }
    counts
}

/// Whether `large` takes at least what `small` takes of every size.
fn contains(large: &[(u8, u8)], small: &[(u8, u8)]) -> bool {
    small.iter().all(|&(k, n)| large.iter().any(|&(l, m)| l == k && m >= n))
}

/// The sets of sizes found so far that do a job, and every set that contains one.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    /// One bit a set of sizes, for small catalogues.
    table: Vec<u64>,
    sizes: usize,
    found: Vec<u64>,
}

/// Up to this many sizes every set has its bit.
const TABLE: usize = 16;

impl Seen {
    pub(crate) fn new(sizes: usize) -> Self {
        let table = if sizes <= TABLE { vec![0; (1_usize << sizes).div_ceil(64)] } else { Vec::new() };
        Self { table, sizes, found: Vec::new() }
    }

    fn clear(&mut self) {
        self.table.fill(0);
        self.found.clear();
    }

    fn covers(&self, mask: u64) -> bool {
        if self.table.is_empty() {
            self.found.iter().any(|&small| small & !mask == 0)
        } else {
            self.table[(mask / 64) as usize] >> (mask % 64) & 1 == 1
        }
    }

    fn insert(&mut self, mask: u64) {
        self.found.retain(|&large| mask & !large != 0);
        self.found.push(mask);
        if !self.table.is_empty() {
            // Every set that contains it: its own bits and any of the others.
            let others = !mask & ((1_u64 << self.sizes) - 1);
            let mut extra = others;
            loop {
                let set = mask | extra;
                self.table[(set / 64) as usize] |= 1 << (set % 64);
                if extra == 0 {
                    break;
                }
                extra = (extra - 1) & others;
            }
        }
    }

    fn smallest(&self) -> Vec<u64> {
        let mut sets = self.found.clone();
        sets.sort_unstable();
        sets
    }
}
