//! Every way to do a job from a set of sizes.
//!
//! What may become of the pieces in the bay is a list of choices, what may come to a side a list of sets of sizes sorted by their sums; both are made once
//! for all jobs. A job then is, for every choice, a window on either side: meet in the middle, as in the bench search.

use super::bay::{StockingBay, Unsure};
use super::catalogue::Size;
use super::demand::Job;
use crate::chance::{between, both_between};
use crate::layout::MOST_IN_A_PLACE;
use crate::objective::Kind;
use crate::search::AvailablePieces;
use crate::search::choices::Choice;
use packdrift_numerics::normal;

/// Pieces that come to a side: sizes in rising order, [`NONE`] beyond.
type Added = [u8; MOST_IN_A_PLACE];
const NONE: u8 = u8::MAX;

/// A set of pieces that come to a side from the drawer.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Holding {
    sum: f64,
    /// Sizes in it, one bit each.
    mask: u64,
    added: Added,
    count: u8,
    /// Variance of their sum, mm².
    variance: f64,
}

impl Holding {
    const NOTHING: Self = Self { sum: 0.0, mask: 0, added: [NONE; MOST_IN_A_PLACE], count: 0, variance: 0.0 };
}

/// A choice of what stays, comes out or changes sides, as the jobs see it.
#[derive(Debug, Clone, PartialEq)]
struct Plan {
    /// Sums of the kept pieces on the near and the far side, mm.
    kept: (f64, f64),
    touched: u8,
    /// Which lists of [`Ways::holdings`] may come to the near and the far side.
    lists: (usize, usize),
    unsure: Unsure,
}

/// A way to do a job.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Way {
    /// Sizes taken: index and count.
    pub(crate) takes: Vec<(u8, u8)>,
    /// Those that go to the near side.
    pub(crate) near: Vec<(u8, u8)>,
    /// Sums of what is kept, near and far, mm.
    pub(crate) kept: (f64, f64),
    pub(crate) touched: u8,
    /// At least this.
    pub(crate) chance: f64,
    pub(crate) score: f64,
    pub(crate) unsure: Unsure,
}

/// All that a set of sizes can do in a bay.
#[derive(Debug, Clone)]
pub(crate) struct Ways<'a> {
    bay: &'a StockingBay,
    sizes: &'a [Size],
    plans: Vec<Plan>,
    holdings: Vec<Vec<Holding>>,
    old_near: f64,
    old_sum: f64,
    /// Standard deviations that every limit must be away for the chance to be enough, and with which it certainly is.
    least: f64,
    surely: f64,
}

/// What decides which sets may come to a side: room, what must stand for flat washers, and what has moved there.
type Terms = (usize, Vec<u64>, Vec<u64>);

impl<'a> Ways<'a> {
    /// `allowed`: the sizes that may be used, one bit each.
    pub(crate) fn new(bay: &'a StockingBay, sizes: &'a [Size], allowed: u64) -> Self {
        let all = every_set(sizes, allowed);
        let (choices, zones) = bay.choices();
        let (mut plans, mut terms): (Vec<Plan>, Vec<Terms>) = (Vec::new(), Vec::new());
        let mut holdings: Vec<Vec<Holding>> = Vec::new();
        for choice in choices {
            let mut list = |zone: usize, room: usize| -> Option<usize> {
                let bits = |values: &[f64]| values.iter().map(|v| v.to_bits()).collect();
                let room = room.checked_sub(choice.moved[zone].len())?.min(choice.room[zone]);
                let these: Terms = (room, bits(&choice.needs[zone]), bits(&choice.moved[zone]));
                if let Some(at) = terms.iter().position(|terms| *terms == these) {
                    return Some(at);
                }
                terms.push(these);
                let may =
                    |holding: &&Holding| usize::from(holding.count) <= room && seats(sizes, choice, zone, holding);
                holdings.push(all.iter().filter(may).copied().collect());
                Some(holdings.len() - 1)
            };
            let (Some(near), Some(far)) = (list(zones.0, bay.room.0), list(zones.1, bay.room.1)) else { continue };
            let plan = Plan {
                kept: (choice.sums[zones.0], choice.sums[zones.1]),
                touched: choice.touched as u8,
                lists: (near, far),
                unsure: bay.unsure(choice),
            };
            // Twins changed for one another: the one that touches fewer parts came first.
            let alike = |other: &Plan| {
                let off = (other.kept.0 - plan.kept.0).abs() + (other.kept.1 - plan.kept.1).abs();
                off < SAME && other.lists == plan.lists && other.unsure == plan.unsure
            };
            if !plans.iter().any(alike) {
                plans.push(plan);
            }
        }
        // One limit alone costs its tail; four together cost at most the sum of theirs (Bonferroni).
        let tail = 1.0 - bay.chance;
        Self {
            bay,
            sizes,
            plans,
            holdings,
            old_near: bay.old_near(),
            old_sum: bay.old_sum(),
            least: normal::quantile(bay.chance).min(8.0),
            surely: -normal::quantile(0.25 * tail),
        }
    }

    /// What a plan and a pair of holdings make of a job.
    fn outcome(&self, job: Job, plan: &Plan, near: &Holding, far: &Holding) -> Outcome {
        let bay = self.bay;
        let cross = cross(self.sizes, &near.added, &far.added);
        let near_change = plan.kept.0 + near.sum - self.old_near;
        let change = plan.kept.0 + plan.kept.1 + near.sum + far.sum - self.old_sum;
        let offset = near_change + bay.lean * change - job.correction;
        let sum = change - job.squeeze;
        let (a, b) = (1.0 + bay.lean, bay.lean);
        let of_offset = a * a * near.variance + b * b * far.variance + 2.0 * a * b * cross;
        let of_sum = near.variance + far.variance + 2.0 * cross;
        let of_both = a * near.variance + b * far.variance + (a + b) * cross;
        let so = (bay.offset_sd * bay.offset_sd + plan.unsure.offset + of_offset).max(0.0).sqrt().max(1e-9);
        let ss = (bay.sum_sd * bay.sum_sd + plan.unsure.sum + of_sum).max(0.0).sqrt().max(1e-9);
        let x = ((bay.offset.0 - offset) / so, (bay.offset.1 - offset) / so);
        let y = ((bay.sum.0 - sum) / ss, (bay.sum.1 - sum) / ss);
        let rho = ((of_both + plan.unsure.both) / (so * ss)).clamp(-1.0, 1.0);
        Outcome { x, y, rho, offset, sum }
    }

    /// Whether a plan with a pair of holdings does a job: the integral is worked out only where the limits alone do not tell.
    fn does(&self, job: Job, plan: &Plan, near: &Holding, far: &Holding) -> bool {
        let outcome = self.outcome(job, plan, near, far);
        let Outcome { x, y, .. } = outcome;
        let nearest = (-x.0).min(x.1).min(-y.0).min(y.1);
        nearest >= self.least && (nearest >= self.surely || outcome.chance(self.bay.chance) >= self.bay.chance)
    }

    /// Of a plan all pairs of holdings whose means are inside, one near holding after the other.
    fn pairs<'s>(&'s self, job: Job, plan: &'s Plan) -> impl Iterator<Item = (&'s Holding, &'s [Holding])> {
        let bay = self.bay;
        let wanted = self.old_near + job.correction - plan.kept.0;
        // What the change of the sum adds to the offset, at most and at least.
        let leans = (bay.lean * (job.squeeze + bay.sum.0), bay.lean * (job.squeeze + bay.sum.1));
        let (most, least) = (leans.0.max(leans.1), leans.0.min(leans.1));
        let (near, far) = (&self.holdings[plan.lists.0], &self.holdings[plan.lists.1]);
        let from = near.partition_point(|h| h.sum < wanted + bay.offset.0 - most);
        let to = near.partition_point(|h| h.sum <= wanted + bay.offset.1 - least).max(from);
        let total = self.old_sum + job.squeeze - plan.kept.0 - plan.kept.1;
        near[from..to].iter().map(move |near| {
            let from = far.partition_point(|h| h.sum + near.sum < total + bay.sum.0);
            let to = far.partition_point(|h| h.sum + near.sum <= total + bay.sum.1).max(from);
            (near, &far[from..to])
        })
    }

    /// Whether a job (as the bay sees it) needs nothing at all: then what pieces could do for it is not asked.
    fn fits_as_it_is(&self, job: Job) -> bool {
        self.plans
            .first()
            .is_some_and(|plan| plan.touched == 0 && self.does(job, plan, &Holding::NOTHING, &Holding::NOTHING))
    }

    /// The smallest sets of sizes from which the job can be done: no one of them contains another. The empty set: nothing from the drawer is
    /// needed; it fits as it is, or with what is in the bay on other sides.
    pub(crate) fn smallest_sets(&self, job: Job, seen: &mut Seen) -> Vec<u64> {
        let job = self.bay.seen(job);
        let with_nothing = |plan: &Plan| {
            let is_open = |list: usize| self.holdings[list].iter().any(|h| h.count == 0);
            is_open(plan.lists.0) && is_open(plan.lists.1) && self.does(job, plan, &Holding::NOTHING, &Holding::NOTHING)
        };
        if self.plans.iter().any(with_nothing) {
            return vec![0];
        }
        seen.clear();
        // Few sizes first: what they do need not be asked of any set that contains them.
        let mut pairs: Vec<(&Plan, &Holding, &[Holding])> = Vec::new();
        for plan in &self.plans {
            pairs.extend(self.pairs(job, plan).filter(|(_, far)| !far.is_empty()).map(|(near, far)| (plan, near, far)));
        }
        pairs.sort_by_key(|(_, near, _)| near.mask.count_ones());
        for (plan, near, fars) in pairs {
            if seen.covers(near.mask) {
                continue;
            }
            for far in fars {
                let mask = near.mask | far.mask;
                if !seen.covers(mask) && self.does(job, plan, near, far) {
                    seen.insert(mask);
                }
            }
        }
        seen.smallest()
    }

    /// The ways to do a job, best first; of a job that fits as it is this alone. One for every set of pieces taken that does not contain another; at most `most`.
    pub(crate) fn list(&self, job: Job, most: usize) -> Vec<Way> {
        let bay = self.bay;
        let job = bay.seen(job);
        if self.fits_as_it_is(job) {
            let plan = &self.plans[0];
            return vec![self.way(plan, &Holding::NOTHING, &Holding::NOTHING, bay.chance, bay.chance)];
        }
        let (half_offset, half_sum) = (0.5 * (bay.offset.1 - bay.offset.0), 0.5 * (bay.sum.1 - bay.sum.0));
        let mut ways: Vec<(f64, f64, &Plan, &Holding, &Holding)> = Vec::new();
        for plan in &self.plans {
            for (near, fars) in self.pairs(job, plan) {
                for far in fars {
                    let outcome = self.outcome(job, plan, near, far);
                    let (chance, offset, sum) = (outcome.chance(bay.chance), outcome.offset, outcome.sum);
                    if chance >= bay.chance {
                        let miss = (offset / half_offset).powi(2) + ((sum - bay.sum_aim) / half_sum).powi(2);
                        let touched = f64::from(plan.touched + near.count + far.count);
                        let score = chance - bay.weights.per_part * touched - bay.weights.centring * miss;
                        ways.push((score, chance, plan, near, far));
                    }
                }
            }
        }
        ways.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.3.added, a.4.added).cmp(&(b.3.added, b.4.added))));
        let mut kept: Vec<Way> = Vec::new();
        for (score, chance, plan, near, far) in ways {
            let way = self.way(plan, near, far, chance, score);
            // A worse way that takes all that a better one takes is never needed.
            if kept.iter().any(|better| contains(&way.takes, &better.takes)) {
                continue;
            }
            kept.push(way);
            if kept.len() == most {
                break;
            }
        }
        kept
    }

    fn way(&self, plan: &Plan, near: &Holding, far: &Holding, chance: f64, score: f64) -> Way {
        Way {
            takes: counts(&[near.added, far.added]),
            near: counts(&[near.added]),
            kept: plan.kept,
            touched: plan.touched + near.count + far.count,
            chance,
            score,
            unsure: plan.unsure,
        }
    }
}

/// Two sums no farther apart than this are one, mm.
const SAME: f64 = 1e-9;

/// Every set of at most four pieces of the allowed sizes, by rising sum.
fn every_set(sizes: &[Size], allowed: u64) -> Vec<Holding> {
    let kind = |row: usize| Kind {
        row,
        thickness: sizes[row].expected(),
        entry: None,
        own: 0.0,
        count: MOST_IN_A_PLACE as u32,
    };
    let pieces = AvailablePieces::new((0..sizes.len()).filter(|row| allowed >> row & 1 == 1).map(kind).collect());
    let (mut all, mut sets, mut work) = (Vec::new(), Vec::new(), u64::MAX);
    for n in 0..=MOST_IN_A_PLACE {
        pieces.collect(n, (f64::NEG_INFINITY, f64::INFINITY), &[], &mut sets, &mut work);
        for set in &sets {
            let mut added = [NONE; MOST_IN_A_PLACE];
            for (at, &kind) in added.iter_mut().zip(&set.kinds[..n]) {
                *at = pieces.kinds[usize::from(kind)].row as u8;
            }
            added[..n].sort_unstable();
            let mask = added[..n].iter().fold(0, |mask, &k| mask | 1 << k);
            all.push(Holding { sum: set.sum, mask, added, count: n as u8, variance: variance(sizes, &added) });
        }
    }
    all.sort_by(|a, b| a.sum.total_cmp(&b.sum).then(a.added.cmp(&b.added)));
    all
}

/// Whether every place that lost its flat washers gets a piece that can stand for them.
fn seats(sizes: &[Size], choice: &Choice, zone: usize, holding: &Holding) -> bool {
    choice.needed(zone, pieces(&holding.added).map(|k| sizes[usize::from(k)].expected())) == Some(0.0)
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

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::stream::Key;
    use packdrift_pack::SolidKind::{Shim, Washer};

    /// Scatter of offset and sum, and their correlation, against draws from what they are said to be made of: each packet's deviation common to its
    /// pieces on both sides, each piece's own, what is unsure of the pieces that were there, the reading and the squeeze.
    #[test]
    fn offset_and_sum_scatter_together_as_drawn() {
        let mut bay = StockingBay::sketch(&[(Shim, 0.40)], &[(Washer, 1.0)], &[(Washer, 1.0)]);
        bay.lean = -0.3;
        let size = |name: &str, thickness: f64, between: f64| Size {
            name: name.to_owned(),
            thickness,
            bias: 0.0,
            between,
            within: 0.006,
            cost: 1.0,
            lead_days: 1.0,
        };
        let sizes = [size("0.30", 0.30, 0.020), size("0.50", 0.50, 0.012)];
        let ways = Ways::new(&bay, &sizes, 0b11);
        let unsure = Unsure { offset: 1e-4, sum: 1e-4, both: -0.5e-4 };
        let plan = Plan { kept: (0.0, 2.0), touched: 0, lists: (0, 0), unsure };
        let holding = |added: Added| Holding { added, variance: variance(&sizes, &added), ..Holding::NOTHING };
        for (near, far) in [([0, 0, 1, NONE], [0, NONE, NONE, NONE]), ([1, NONE, NONE, NONE], [0, 0, NONE, NONE])] {
            let job = Job { correction: 0.0, squeeze: 0.0, worn_faces: 0.0 };
            let outcome = ways.outcome(job, &plan, &holding(near), &holding(far));
            let mut stream = Key::new(1, "offset and sum").stream(0);
            let (n, mut oo, mut ss, mut os) = (200_000, 0.0, 0.0, 0.0);
            for _ in 0..n {
                let packet = [0.020 * stream.normal(), 0.012 * stream.normal()];
                let mut side = |added: &Added| -> f64 {
                    pieces(added).map(|k| packet[usize::from(k)] + 0.006 * stream.normal()).sum()
                };
                let (left, right) = (side(&near), side(&far));
                let (w, v) = (stream.normal(), stream.normal());
                let offset = 0.7 * left - 0.3 * right + 0.01 * w + bay.offset_sd * stream.normal();
                let sum = left + right + 0.01 * (-0.5 * w + 0.75_f64.sqrt() * v) + bay.sum_sd * stream.normal();
                oo += offset * offset;
                ss += sum * sum;
                os += offset * sum;
            }
            let sd = |x: (f64, f64), limits: (f64, f64)| (limits.1 - limits.0) / (x.1 - x.0);
            let (so, sum_sd) = (sd(outcome.x, bay.offset), sd(outcome.y, bay.sum));
            // Five standard errors of 200 000 draws.
            let count = f64::from(n);
            assert!((so / (oo / count).sqrt() - 1.0).abs() < 0.008, "{so}");
            assert!((sum_sd / (ss / count).sqrt() - 1.0).abs() < 0.008, "{sum_sd}");
            let rho = os / (oo * ss).sqrt();
            assert!((outcome.rho - rho).abs() < 0.012, "{} for {rho}", outcome.rho);
        }
    }
}
