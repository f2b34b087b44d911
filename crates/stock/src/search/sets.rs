//! All ways to take n pieces whose thicknesses add up to a window, without going through all ways to take n pieces: sums of two are
//! sorted once, three are one and a pair, four are a pair and a pair (E. Horowitz and S. Sahni, J. ACM 21 (1974) 277–292: meet in
//! the middle).

use crate::objective::Kind;

/// Most pieces a set can hold: two gaps' worth.
pub(crate) const MOST_IN_A_SET: usize = 8;

/// A set of pieces: its sum, mm, and the kinds in it, in rising order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Set {
    pub(crate) sum: f64,
    pub(crate) kinds: [u16; MOST_IN_A_SET],
}

/// The drawer, laid out for the search.
#[derive(Debug, Clone)]
pub(crate) struct AvailablePieces {
    /// Sorted by thickness.
    pub(crate) kinds: Vec<Kind>,
    /// Sums of two, sorted.
    pairs: Vec<(f64, u16, u16)>,
}

impl AvailablePieces {
    pub(crate) fn new(mut kinds: Vec<Kind>) -> Self {
        kinds.retain(|kind| kind.count > 0);
        kinds.sort_by(|a, b| a.thickness.total_cmp(&b.thickness).then(a.row.cmp(&b.row)));
        let mut pairs = Vec::with_capacity(kinds.len() * (kinds.len() + 1) / 2);
        for (i, a) in kinds.iter().enumerate() {
            for (j, b) in kinds.iter().enumerate().skip(i) {
                if i != j || a.count > 1 {
                    pairs.push((a.thickness + b.thickness, i as u16, j as u16));
                }
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        Self { kinds, pairs }
    }

    /// Smallest and largest sum of n pieces, disregarding how many there are of each.
    pub(crate) fn reach(&self, n: usize) -> (f64, f64) {
        match (self.kinds.first(), self.kinds.last()) {
            (Some(first), Some(last)) => (first.thickness * n as f64, last.thickness * n as f64),
            _ if n == 0 => (0.0, 0.0),
            _ => (f64::INFINITY, f64::NEG_INFINITY),
        }
    }

    fn singles(&self, lower: f64, upper: f64) -> std::ops::Range<usize> {
        let from = self.kinds.partition_point(|kind| kind.thickness < lower);
        from..self.kinds.partition_point(|kind| kind.thickness <= upper).max(from)
    }

    fn pairs_in(&self, lower: f64, upper: f64) -> &[(f64, u16, u16)] {
        let from = self.pairs.partition_point(|pair| pair.0 < lower);
        &self.pairs[from..self.pairs.partition_point(|pair| pair.0 <= upper).max(from)]
    }

    fn stands(&self, kinds: &[u16]) -> bool {
        let mut run = 0;
        kinds.iter().enumerate().all(|(k, &kind)| {
            run = if k > 0 && kinds[k - 1] == kind { run + 1 } else { 1 };
            run <= self.kinds[usize::from(kind)].count
        })
    }

    /// The first kind that is at least so thick; the number of kinds where none is.
    pub(crate) fn from_thickness(&self, least: f64) -> u16 {
        self.kinds.partition_point(|kind| kind.thickness < least) as u16
    }

    /// Whether there may be a set of n pieces with a sum in the window: certain for two and fewer, which is quick to see.
    pub(crate) fn may_have(&self, n: usize, (lower, upper): (f64, f64)) -> bool {
        match n {
            0 => (lower..=upper).contains(&0.0),
            1 => !self.singles(lower, upper).is_empty(),
            2 => !self.pairs_in(lower, upper).is_empty(),
            _ => true,
        }
    }

    /// Puts every set of n pieces with a sum in `[lower, upper]` into `out`, whose thickest piece is of kind `least[0]` or beyond, the second
    /// of `least[1]` or beyond, and so on; false where `work` ran out before.
    pub(crate) fn collect(
        &self,
        n: usize,
        (lower, upper): (f64, f64),
        least: &[u16],
        out: &mut Vec<Set>,
        work: &mut u64,
    ) -> bool {
        out.clear();
        let can = least.iter().all(|&kind| usize::from(kind) < self.kinds.len());
        if lower > upper || n < least.len() || !can {
            return true;
        }
        self.extend(n, 0, 0.0, [0; MOST_IN_A_SET], 0, (lower, upper), least, out, work)
    }

    /// `taken` pieces are in `kinds` already, the next must not be below kind `from`.
    #[allow(clippy::too_many_arguments, reason = "the state of a depth-first walk")]
    fn extend(
        &self,
        n: usize,
        taken: usize,
        sum: f64,
        kinds: [u16; MOST_IN_A_SET],
        from: u16,
        (lower, upper): (f64, f64),
        least: &[u16],
        out: &mut Vec<Set>,
        work: &mut u64,
    ) -> bool {
        let left = n - taken;
        let mut push = |tail: &[u16], sum: f64, work: &mut u64| {
            let mut kinds = kinds;
            kinds[taken..n].copy_from_slice(tail);
            let thick = least.iter().zip(kinds[..n].iter().rev()).all(|(least, kind)| kind >= least);
            if thick && self.stands(&kinds[..n]) {
                out.push(Set { sum, kinds });
                *work = work.saturating_sub(1);
            }
        };
        match left {
            0 => {
                if (lower..=upper).contains(&sum) {
                    push(&[], sum, work);
                }
            }
            1 => {
                for kind in self.singles(lower - sum, upper - sum) {
                    if kind >= usize::from(from) {
                        push(&[kind as u16], sum + self.kinds[kind].thickness, work);
                    }
                }
            }
            2 => {
                for &(pair, i, j) in self.pairs_in(lower - sum, upper - sum) {
                    if i >= from {
                        push(&[i, j], sum + pair, work);
                    }
                }
            }
            3 => {
                for i in usize::from(from)..self.kinds.len() {
                    let sum = sum + self.kinds[i].thickness;
                    for &(pair, j, k) in self.pairs_in(lower - sum, upper - sum) {
                        if usize::from(j) >= i {
                            push(&[i as u16, j, k], sum + pair, work);
                        }
                    }
                    *work = work.saturating_sub(1);
                    if *work == 0 {
                        return false;
                    }
                }
            }
            4 => {
                // As the first pair's sum rises the window of the second one's falls.
                let (mut low, mut high) = (self.pairs.len(), self.pairs.len());
                for &(first, i, j) in &self.pairs {
                    // The second pair is not below the first in any piece, so neither in its sum.
                    let sum = sum + first;
                    if sum + first > upper {
                        break;
                    }
                    while high > 0 && self.pairs[high - 1].0 > upper - sum {
                        high -= 1;
                    }
                    while low > 0 && self.pairs[low - 1].0 >= lower - sum {
                        low -= 1;
                    }
                    if i < from || low >= high {
                        continue;
                    }
                    for &(second, k, l) in &self.pairs[low..high] {
                        if k >= j {
                            push(&[i, j, k, l], sum + second, work);
                        }
                    }
                    *work = work.saturating_sub(1);
                    if *work == 0 {
                        return false;
                    }
                }
            }
            _ => {
                let most = self.kinds.last().map_or(0.0, |kind| kind.thickness);
                for i in usize::from(from)..self.kinds.len() {
                    let t = self.kinds[i].thickness;
                    if sum + t * left as f64 > upper {
                        break;
                    }
                    if sum + t + most * (left - 1) as f64 >= lower {
                        let mut kinds = kinds;
                        kinds[taken] = i as u16;
                        if !self.extend(n, taken + 1, sum + t, kinds, i as u16, (lower, upper), least, out, work) {
                            return false;
                        }
                    }
                }
            }
        }
        *work > 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(thickness: f64, count: u32) -> Kind {
        Kind { row: 0, thickness, entry: None, own: 0.0, count }
    }

    /// Every multiset by plain recursion.
    fn all(available: &AvailablePieces, n: usize, from: usize, taken: &mut Vec<u16>, out: &mut Vec<(f64, Vec<u16>)>) {
        if taken.len() == n {
            out.push((taken.iter().map(|&k| available.kinds[usize::from(k)].thickness).sum(), taken.clone()));
            return;
        }
        for i in from..available.kinds.len() {
            let used = taken.iter().filter(|&&k| usize::from(k) == i).count();
            if used < available.kinds[i].count as usize {
                taken.push(i as u16);
                all(available, n, i, taken, out);
                taken.pop();
            }
        }
    }

    #[test]
    fn the_sets_in_a_window_are_those_of_plain_enumeration() {
        let thickness = [0.15, 0.21, 0.252, 0.3, 0.38, 0.4, 0.55, 0.61, 0.8, 1.2];
        let kinds = thickness.iter().enumerate().map(|(k, &t)| kind(t, 1 + (k as u32) % 3)).collect();
        let available = AvailablePieces::new(kinds);
        for n in 0..=6 {
            let mut every = Vec::new();
            all(&available, n, 0, &mut Vec::new(), &mut every);
            for (lower, upper) in [(0.0, 0.9001), (0.7001, 1.3001), (1.1001, 1.1501), (1.9001, 2.6001), (3.0, 2.0)] {
                let mut found = Vec::new();
                let mut work = u64::MAX;
                assert!(available.collect(n, (lower, upper), &[], &mut found, &mut work));
                // With two that must be thick: those of the whole that have them.
                let mut thick = Vec::new();
                assert!(available.collect(n, (lower, upper), &[6, 4], &mut thick, &mut work));
                let has = |set: &&Set| n >= 2 && set.kinds[n - 1] >= 6 && set.kinds[n - 2] >= 4;
                assert_eq!(thick, found.iter().filter(has).copied().collect::<Vec<_>>());
                let mut found: Vec<Vec<u16>> = found.iter().map(|s| s.kinds[..n].to_vec()).collect();
                let mut wanted: Vec<Vec<u16>> =
                    every.iter().filter(|(sum, _)| *sum >= lower && *sum <= upper).map(|(_, k)| k.clone()).collect();
                found.sort();
                wanted.sort();
                assert_eq!(found, wanted, "{n} in {lower}..{upper}");
            }
        }
    }

    #[test]
    fn it_stops_where_its_work_is_used_up() {
        let available = AvailablePieces::new((0..50).map(|k| kind(0.3 + 0.01 * f64::from(k), 4)).collect());
        let mut work = 100;
        assert!(!available.collect(4, (0.0, 10.0), &[], &mut Vec::new(), &mut work));
    }
}
