//! What makes one build better than another, as one number; and a bound on it from sums alone, which the search prunes by.
//!
//! score = P(all inside their limits) − `per_part`·(parts touched) − `centring`·Σ (distance from the aim in half-widths)²
//!
//! The sum runs over the quantities (each the mean over its conditions). The chance is that of jointly normal quantities; of one quantity in several
//! conditions (the offset cold and warm) the scatter is one and the same, so their limits are cut to the narrowest: the
//! forecast of a finished build drops that simplification, and the linear one.

use crate::beliefs::Beliefs;
use crate::chance::{MOST, all_between, between, both_between, most_inside};
use crate::layout::Layout;
use crate::response::{Response, TrackKind};

/// Most zones a bay may have: four rockers.
pub(crate) const ZONES: usize = 5;
/// Most limited tracks.
const TRACKS: usize = 24;

/// What a part touched and a distance from the aim are worth, in chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    /// A further part touched must buy this much chance. Default 0.01.
    pub per_part: f64,
    /// What it costs to miss the aim by half the width of the limits, times the square of the miss. Default 0.02.
    pub centring: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Self { per_part: 0.01, centring: 0.02 }
    }
}

/// A piece in the bay, as the search sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Member {
    pub(crate) zone: usize,
    /// Its entry in the beliefs; None: measured, tied to nothing else.
    pub(crate) entry: Option<usize>,
    /// Expected, mm.
    pub(crate) thickness: f64,
    /// Variance of its own beyond its entry's, mm².
    pub(crate) own: f64,
}

/// Pieces of the drawer that are alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Kind {
    /// Index of the drawer's row.
    pub(crate) row: usize,
    /// Expected, mm.
    pub(crate) thickness: f64,
    /// Its entry in the beliefs; None: measured, tied to nothing else.
    pub(crate) entry: Option<usize>,
    /// Variance of each piece's own beyond the entry's, mm².
    pub(crate) own: f64,
    /// How many.
    pub(crate) count: u32,
}

impl Kind {
    pub(crate) fn member(&self, zone: usize) -> Member {
        Member { zone, entry: self.entry, thickness: self.thickness, own: self.own }
    }
}

/// What a build is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Judged {
    pub(crate) score: f64,
    /// That every rocker of the bay and the preload are inside their limits.
    pub(crate) chance_all: f64,
}

/// Least and largest standard deviation of each limited track.
pub(crate) type Range = [(f64, f64); TRACKS];

/// Expected value and standard deviation of one track, with its scatter's tie to others.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Moments {
    pub(crate) mean: Vec<f64>,
    /// Half the range of a loose bay.
    pub(crate) half: Vec<f64>,
    /// Row-major.
    pub(crate) covariance: Vec<f64>,
}

/// The judge of builds.
#[derive(Debug, Clone)]
pub(crate) struct Objective<'a> {
    pub(crate) response: &'a Response,
    pub(crate) layout: &'a Layout,
    pub(crate) beliefs: &'a Beliefs,
    pub(crate) weights: Weights,
    /// Indices of tracks with limits, grouped by what they follow.
    pub(crate) limited: Vec<usize>,
    /// What each limited track's miss² counts for: a quantity's conditions share 1; whether the bay can be assembled has no aim.
    pub(crate) shares: Vec<f64>,
    /// Ranges in `limited`, one per quantity.
    groups: Vec<(usize, usize)>,
}

/// A standard deviation is never taken below this, mm or N: an exact pack has a chance of 0 or 1.
const LEAST_SD: f64 = 1e-9;

impl<'a> Objective<'a> {
    pub(crate) fn new(response: &'a Response, layout: &'a Layout, beliefs: &'a Beliefs, weights: Weights) -> Self {
        let mut limited: Vec<usize> =
            (0..response.tracks.len()).filter(|&j| response.tracks[j].aim.is_some()).collect();
        let rank = |j: usize| match response.tracks[j].kind {
            TrackKind::Offset(t) => t,
            TrackKind::Preload | TrackKind::Sum | TrackKind::Excess => usize::MAX,
        };
        limited.sort_by_key(|&j| (rank(j), j));
        limited.truncate(TRACKS);
        let mut groups: Vec<(usize, usize)> = Vec::new();
        for (k, &j) in limited.iter().enumerate() {
            match groups.last_mut() {
                Some(group) if rank(limited[group.0]) == rank(j) => group.1 = k + 1,
                _ => groups.push((k, k + 1)),
            }
        }
        groups.truncate(MOST);
        let shares = shares(response, &limited, &groups);
        Self { response, layout, beliefs, weights, limited, shares, groups }
    }

    /// The same judge with other weights.
    pub(crate) fn with(&self, weights: Weights) -> Self {
        Self { weights, ..self.clone() }
    }

    /// Offsets' prefix sums: entry z is the sum of zones 0..=z.
    fn prefixes(&self, sums: &[f64]) -> [f64; ZONES] {
        let mut prefix = [0.0; ZONES];
        let mut sum = 0.0;
        for (z, s) in sums.iter().enumerate() {
            sum += s;
            prefix[z] = sum;
        }
        prefix
    }

    fn mean(&self, j: usize, place: (usize, f64), prefix: &[f64; ZONES]) -> (f64, f64) {
        let track = &self.response.tracks[j];
        let (value, half) = self.response.value(track, place);
        match track.kind {
            TrackKind::Offset(t) => (value + track.growth * prefix[self.layout.targets[t].boundary], half),
            _ => (value, half),
        }
    }

    /// Σ miss², each quantity the mean over its conditions; None outside the tables.
    pub(crate) fn miss(&self, sums: &[f64]) -> Option<f64> {
        let prefix = self.prefixes(sums);
        let place = self.response.place(prefix[sums.len() - 1])?;
        let of = |k: usize| {
            let j = self.limited[k];
            self.response.tracks[j].aim.map_or(0.0, |aim| aim.miss(self.mean(j, place, &prefix).0))
        };
        Some((0..self.limited.len()).map(|k| self.shares[k] * of(k)).sum())
    }

    /// Covariance of each track with one entry of the beliefs.
    pub(crate) fn ties(&self, members: &[Member], tracks: &[usize], entry: usize) -> Option<Vec<f64>> {
        let sum: f64 = members.iter().map(|member| member.thickness).sum();
        let (node, u) = Response::coarse_place(self.response.place(sum)?);
        let at = |j: usize, node: usize| {
            let track = &self.response.tracks[j];
            let slope = self.response.slope(track, node);
            let pieces = members.iter().filter_map(|member| {
                Some(track.lever(member.zone, slope, self.layout) * self.beliefs.covariance(member.entry?, entry))
            });
            self.response.tie(node, j, entry) + pieces.sum::<f64>()
        };
        Some(
            tracks.iter().map(|&j| (1.0 - u) * at(j, node) + if u > 0.0 { u * at(j, node + 1) } else { 0.0 }).collect(),
        )
    }

    /// ∂(track)/∂(thickness of a piece in `zone`) for a build.
    pub(crate) fn levers(&self, members: &[Member], tracks: &[usize], zone: usize) -> Option<Vec<f64>> {
        let sum: f64 = members.iter().map(|member| member.thickness).sum();
        let (node, u) = Response::coarse_place(self.response.place(sum)?);
        let at = |j: usize, node: usize| {
            let track = &self.response.tracks[j];
            track.lever(zone, self.response.slope(track, node), self.layout)
        };
        Some(
            tracks.iter().map(|&j| (1.0 - u) * at(j, node) + if u > 0.0 { u * at(j, node + 1) } else { 0.0 }).collect(),
        )
    }

    /// Largest |∂(track)/∂(thickness)| over all zones and sums, for each limited track.
    pub(crate) fn largest_levers(&self) -> Vec<f64> {
        let largest = |&j: &usize| {
            let track = &self.response.tracks[j];
            (0..=self.response.coarse)
                .flat_map(|node| (0..self.layout.zones).map(move |z| (node, z)))
                .map(|(node, z)| track.lever(z, self.response.slope(track, node), self.layout).abs())
                .fold(0.0, f64::max)
        };
        self.limited.iter().map(largest).collect()
    }

    pub(crate) fn penalty(&self, touched: usize) -> f64 {
        self.weights.per_part * touched as f64
    }

    /// An upper bound on the score of any build with these sums of the zones whose scatter lies in `range`; None where the bay cannot
    /// be assembled (or is so loose that it is not looked at).
    pub(crate) fn bound(&self, sums: &[f64], touched: usize, range: &Range, floor: f64) -> Option<f64> {
        let prefix = self.prefixes(sums);
        let place = self.response.place(prefix[sums.len() - 1])?;
        let mut miss = 0.0;
        let mut means = [(0.0, 0.0); TRACKS];
        for (k, &j) in self.limited.iter().enumerate() {
            means[k] = self.mean(j, place, &prefix);
            miss += self.shares[k] * self.response.tracks[j].aim.map_or(0.0, |aim| aim.miss(means[k].0));
        }
        let cost = self.penalty(touched) + self.weights.centring * miss;
        if 1.0 - cost < floor {
            return None;
        }
        let mut chance: f64 = 1.0;
        for (k, &j) in self.limited.iter().enumerate() {
            if let Some(aim) = self.response.tracks[j].aim {
                let (mean, half) = means[k];
                let (lower, upper) = (aim.lower + half, aim.upper - half);
                let p = if lower < upper { most_inside(lower, upper, mean, range[k].0, range[k].1) } else { 0.0 };
                chance = chance.min(p);
                if chance - cost < floor {
                    return None;
                }
            }
        }
        Some(chance - cost)
    }

    /// Means and covariances of the given tracks; None outside the tables.
    pub(crate) fn moments(&self, members: &[Member], tracks: &[usize]) -> Option<Moments> {
        let n = tracks.len();
        let mut mean = vec![0.0; n];
        let mut covariance = vec![0.0; n * n];
        let mut half = vec![0.0; n];
        self.fill(members, tracks, &mut mean, &mut half, &mut covariance)?;
        Some(Moments { mean, half, covariance })
    }

    fn fill(
        &self,
        members: &[Member],
        tracks: &[usize],
        mean: &mut [f64],
        half: &mut [f64],
        covariance: &mut [f64],
    ) -> Option<()> {
        let zones = self.layout.zones;
        let mut sums = [0.0; ZONES];
        for member in members {
            sums[member.zone] += member.thickness;
        }
        let prefix = self.prefixes(&sums[..zones]);
        let place = self.response.place(prefix[zones - 1])?;
        for (k, &j) in tracks.iter().enumerate() {
            (mean[k], half[k]) = self.mean(j, place, &prefix);
        }
        // Covariance of the zones' sums.
        let mut own = [[0.0; ZONES]; ZONES];
        for (i, a) in members.iter().enumerate() {
            own[a.zone][a.zone] += a.own;
            let Some(e) = a.entry else { continue };
            own[a.zone][a.zone] += self.beliefs.covariance(e, e);
            for b in &members[..i] {
                if let Some(f) = b.entry {
                    let c = self.beliefs.covariance(e, f);
                    own[a.zone][b.zone] += c;
                    own[b.zone][a.zone] += c;
                }
            }
        }
        let n = tracks.len();
        let (node, u) = Response::coarse_place(place);
        covariance.fill(0.0);
        for (node, weight) in [(node, 1.0 - u), (node + 1, u)] {
            if weight == 0.0 {
                continue;
            }
            let mut lever = [[0.0; ZONES]; TRACKS];
            let mut tie = [[0.0; ZONES]; TRACKS];
            for (k, &j) in tracks.iter().enumerate() {
                let slope = self.response.slope(&self.response.tracks[j], node);
                for (z, l) in lever[k].iter_mut().enumerate().take(zones) {
                    *l = self.response.tracks[j].lever(z, slope, self.layout);
                }
                for member in members {
                    if let Some(e) = member.entry {
                        tie[k][member.zone] += self.response.tie(node, j, e);
                    }
                }
            }
            for k in 0..n {
                for l in 0..=k {
                    let mut c = self.response.base(node, tracks[k], tracks[l]);
                    for y in 0..zones {
                        c += lever[k][y] * tie[l][y] + lever[l][y] * tie[k][y];
                        for z in 0..zones {
                            c += lever[k][y] * own[y][z] * lever[l][z];
                        }
                    }
                    covariance[k * n + l] += weight * c;
                    if k != l {
                        covariance[l * n + k] += weight * c;
                    }
                }
            }
        }
        Some(())
    }

    /// Chance and score of a build; None where it cannot be assembled.
    pub(crate) fn judge(&self, members: &[Member], touched: usize) -> Option<Judged> {
        self.judge_above(members, touched, f64::NEG_INFINITY)
    }

    /// As [`Objective::judge`]; None as well where the score is below `floor`. Any two quantities bound the chance of all, and are
    /// far quicker to have.
    pub(crate) fn judge_above(&self, members: &[Member], touched: usize, floor: f64) -> Option<Judged> {
        let n = self.limited.len();
        let (mut mean, mut half, mut covariance) = ([0.0; TRACKS], [0.0; TRACKS], [0.0; TRACKS * TRACKS]);
        self.fill(members, &self.limited, &mut mean[..n], &mut half[..n], &mut covariance[..n * n])?;
        self.judge_moments_above(&mean[..n], &half[..n], &covariance[..n * n], touched, floor)
    }

    /// Chance and score from the moments of the limited tracks.
    pub(crate) fn judge_moments(&self, mean: &[f64], half: &[f64], covariance: &[f64], touched: usize) -> Judged {
        let none = Judged { score: f64::NEG_INFINITY, chance_all: 0.0 };
        self.judge_moments_above(mean, half, covariance, touched, f64::NEG_INFINITY).unwrap_or(none)
    }

    fn judge_moments_above(
        &self,
        mean: &[f64],
        half: &[f64],
        covariance: &[f64],
        touched: usize,
        floor: f64,
    ) -> Option<Judged> {
        let n = self.limited.len();
        let sd = |k: usize| covariance[k * n + k].max(0.0).sqrt().max(LEAST_SD);
        let mut limits = [(f64::NEG_INFINITY, f64::INFINITY); MOST];
        let mut miss = 0.0;
        for (group, &(from, to)) in self.groups.iter().enumerate() {
            for k in from..to {
                if let Some(aim) = self.response.tracks[self.limited[k]].aim {
                    limits[group].0 = limits[group].0.max((aim.lower + half[k] - mean[k]) / sd(k));
                    limits[group].1 = limits[group].1.min((aim.upper - half[k] - mean[k]) / sd(k));
                    miss += self.shares[k] * aim.miss(mean[k]);
                }
            }
        }
        let m = self.groups.len();
        let mut correlation = [0.0; MOST * MOST];
        for a in 0..m {
            for b in 0..m {
                let (k, l) = (self.groups[a].0, self.groups[b].0);
                correlation[a * m + b] =
                    if a == b { 1.0 } else { (covariance[k * n + l] / (sd(k) * sd(l))).clamp(-1.0, 1.0) };
            }
        }
        let cost = self.penalty(touched) + self.weights.centring * miss;
        if floor > f64::NEG_INFINITY && m > 2 {
            // Bonferroni's second inequality, of three: P(all inside) ≤ 1 − ΣP(i inside) + ΣP(i and j inside).
            let mut most = 1.0 - limits[..m].iter().map(|limits| between(limits.0, limits.1)).sum::<f64>();
            for a in 0..m {
                for b in 0..a {
                    let both = both_between(limits[a], limits[b], correlation[a * m + b]);
                    if both - cost < floor {
                        return None;
                    }
                    most += both;
                }
            }
            if m == 3 && most + 1e-12 - cost < floor {
                return None;
            }
        }
        let chance_all = all_between(&limits[..m], &correlation[..m * m]);
        let judged = Judged { score: chance_all - cost, chance_all };
        (judged.score >= floor).then_some(judged)
    }

    /// Variance of a track at a coarse node with the pieces that stay.
    fn variance_kept(&self, node: usize, j: usize, kept: &[Member]) -> f64 {
        let slope = self.response.slope(&self.response.tracks[j], node);
        let lever = |z: usize| self.response.tracks[j].lever(z, slope, self.layout);
        let mut variance = self.response.base(node, j, j);
        for (i, a) in kept.iter().enumerate() {
            let l = lever(a.zone);
            variance += l * l * a.own;
            let Some(e) = a.entry else { continue };
            variance += 2.0 * l * self.response.tie(node, j, e) + l * l * self.beliefs.covariance(e, e);
            for b in &kept[..i] {
                if let Some(f) = b.entry {
                    variance += 2.0 * l * lever(b.zone) * self.beliefs.covariance(e, f);
                }
            }
        }
        variance
    }

    /// The range of the standard deviations of the limited tracks over all builds that keep the pieces `kept` and add `added[z]` of the
    /// drawer's to each zone, over all sums of the window.
    pub(crate) fn range(&self, kept: &[Member], added: &[usize], pieces: &Increments, window: (f64, f64)) -> Range {
        let mut range = [(0.0, 0.0); TRACKS];
        let zones = self.layout.zones;
        for (k, &j) in self.limited.iter().enumerate() {
            let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
            for node in self.response.coarse_nodes(window) {
                let variance = self.variance_kept(node, j, kept);
                let (mut low, mut high) = (variance, variance);
                for (z, &count) in added.iter().enumerate().take(zones) {
                    let (a, b) = pieces.increment(node, k, z);
                    low += count as f64 * a;
                    high += count as f64 * b;
                }
                let (mut less, mut more) = (0.0, 0.0);
                if pieces.tied {
                    // |Σᵢⱼ lᵢlⱼ cov(i, j)| ≤ Σᵢ |lᵢ| · largest |l| · (largest sum of |cov| of one piece with that many others); where all
                    // levers point one way, positive covariances only add and negative ones only take away.
                    let slope = self.response.slope(&self.response.tracks[j], node);
                    let (mut levers, mut largest, mut active) = (0.0, 0.0_f64, 0);
                    let (mut up, mut down) = (false, false);
                    for (z, &count) in added.iter().enumerate().take(zones) {
                        let lever = self.response.tracks[j].lever(z, slope, self.layout);
                        up |= lever > NO_LEVER;
                        down |= lever < -NO_LEVER;
                        largest = largest.max(lever.abs());
                        if lever != 0.0 {
                            levers += lever.abs() * count as f64;
                            active += count;
                        }
                    }
                    let of =
                        |ties: &Ties| levers * largest * (ties.with(active.saturating_sub(1)) + 2.0 * ties.with_bay);
                    (less, more) = (of(&pieces.negative), of(&pieces.positive));
                    if up && down {
                        (less, more) = (less + more, less + more);
                    } else {
                        let stray = NO_LEVER * levers * (less + more);
                        (less, more) = (less + stray, more + stray);
                    }
                }
                least = least.min(low - less);
                most = most.max(high + more);
            }
            // A hair of room for rounding.
            range[k] = (
                (least.max(0.0).sqrt() * (1.0 - 1e-9)).max(LEAST_SD),
                (most.max(0.0).sqrt() * (1.0 + 1e-9)).max(LEAST_SD),
            );
        }
        range
    }
}

/// What each limited track's miss² counts for.
fn shares(response: &Response, limited: &[usize], groups: &[(usize, usize)]) -> Vec<f64> {
    let aimed = |k: usize| response.tracks[limited[k]].kind != TrackKind::Excess;
    let mut shares = vec![0.0; limited.len()];
    for &(from, to) in groups {
        let count = (from..to).filter(|&k| aimed(k)).count().max(1) as f64;
        for (k, share) in shares.iter_mut().enumerate().take(to).skip(from) {
            *share = if aimed(k) { 1.0 / count } else { 0.0 };
        }
    }
    shares
}

/// Least and largest variance that one piece of the drawer adds to a track, by coarse node, limited track and zone.
#[derive(Debug, Clone)]
pub(crate) struct Increments {
    table: Vec<(f64, f64)>,
    tracks: usize,
    zones: usize,
    /// Whether any piece of the drawer is tied to another piece.
    tied: bool,
    positive: Ties,
    negative: Ties,
}

/// Largest sums of covariances of one sign.
#[derive(Debug, Clone)]
struct Ties {
    /// Entry m: of one piece of the drawer with m others of it, mm².
    with_others: Vec<f64>,
    /// Of one piece of the drawer with all that are in the bay, mm².
    with_bay: f64,
}

impl Ties {
    /// `sign`: 1 for positive covariances, −1 for negative ones.
    fn new(objective: &Objective<'_>, kinds: &[Kind], others: &[usize], sign: f64) -> Self {
        let of = |a: usize, b: usize| (sign * objective.beliefs.covariance(a, b)).max(0.0);
        let mut with_others = vec![0.0_f64; MOST_TIES + 1];
        let mut with_bay: f64 = 0.0;
        for (i, kind) in kinds.iter().enumerate() {
            let Some(a) = kind.entry else { continue };
            let mut ties: Vec<f64> = Vec::new();
            for (k, other) in kinds.iter().enumerate() {
                let Some(b) = other.entry else { continue };
                // Two pieces of one kind share the whole variance of its entry.
                let count = if k == i { other.count.saturating_sub(1) } else { other.count };
                let tie = of(a, b);
                if tie > 0.0 {
                    ties.extend(std::iter::repeat_n(tie, (count as usize).min(MOST_TIES)));
                }
            }
            ties.sort_by(|x, y| y.total_cmp(x));
            let mut sum = 0.0;
            for (m, with) in with_others.iter_mut().enumerate().skip(1) {
                sum += ties.get(m - 1).copied().unwrap_or(0.0);
                *with = with.max(sum);
            }
            with_bay = with_bay.max(others.iter().map(|&b| of(a, b)).sum());
        }
        Self { with_others, with_bay }
    }

    fn with(&self, others: usize) -> f64 {
        self.with_others[others.min(MOST_TIES)]
    }

    fn any(&self) -> bool {
        self.with_bay > 0.0 || self.with_others[MOST_TIES] > 0.0
    }
}

/// A lever below this is rounding: the quantity does not depend on the zone.
const NO_LEVER: f64 = 1e-6;

/// Sets in all zones together hold no more pieces than this.
const MOST_TIES: usize = 40;

impl Increments {
    /// `kinds`: of the drawer. `others`: entries of the pieces now in the bay.
    pub(crate) fn new(objective: &Objective<'_>, kinds: &[Kind], others: &[usize]) -> Self {
        let (tracks, zones) = (objective.limited.len(), objective.layout.zones);
        let mut table = Vec::with_capacity((objective.response.coarse + 1) * tracks * zones);
        for node in 0..=objective.response.coarse {
            for &j in &objective.limited {
                let track = &objective.response.tracks[j];
                let slope = objective.response.slope(track, node);
                for z in 0..zones {
                    let lever = track.lever(z, slope, objective.layout);
                    let add = |kind: &Kind| {
                        let tied = kind.entry.map_or(0.0, |e| {
                            lever * lever * objective.beliefs.covariance(e, e)
                                + 2.0 * lever * objective.response.tie(node, j, e)
                        });
                        lever * lever * kind.own + tied
                    };
                    let span = kinds
                        .iter()
                        .map(add)
                        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
                    table.push(if kinds.is_empty() { (0.0, 0.0) } else { span });
                }
            }
        }
        let positive = Ties::new(objective, kinds, others, 1.0);
        let negative = Ties::new(objective, kinds, others, -1.0);
        let tied = positive.any() || negative.any();
        Self { table, tracks, zones, tied, positive, negative }
    }

    fn increment(&self, node: usize, track: usize, zone: usize) -> (f64, f64) {
        self.table[(node * self.tracks + track) * self.zones + zone]
    }
}
