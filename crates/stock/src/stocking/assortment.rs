//! Which sizes to hold: the assortment of n sizes from which the largest share of the jobs can be done.
//!
//! For every job the search gives the smallest sets of sizes that do it; an assortment does the job if it contains one of them. Jobs with the same
//! sets are counted together. The best assortment is then found by branch and bound: sizes are put in or left out one after
//! the other, and a branch ends where even all sizes not yet left out, with no more of them than there are places, could not do better than the best so far.

use super::bay::StockingBay;
use super::catalogue::{Size, check_catalogue};
use super::demand::Job;
use super::job::{Seen, Ways};
use crate::error::StockError;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The sets of sizes that do each job, jobs alike counted together.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    sizes: usize,
    jobs: usize,
    /// Smallest sets and how many jobs they do.
    groups: Vec<(Vec<u64>, u32)>,
}

/// An assortment.
#[derive(Debug, Clone, PartialEq)]
pub struct Assortment {
    /// Indices into the catalogue, in order.
    pub sizes: Vec<usize>,
    /// Share of the jobs that can be done from it.
    pub coverage: f64,
    /// Its standard error, from the number of jobs drawn.
    pub standard_error: f64,
    /// No assortment of as many sizes can do more than this share.
    pub bound: f64,
    /// Whether it is proven to be the best for these jobs: `bound` is met.
    pub proven: bool,
}

/// Jobs per piece of work handed to a thread.
const CHUNK: usize = 64;

/// Nodes of the tree looked at before the search gives up proving.
const MOST_NODES: u64 = 400_000;

impl Coverage {
    /// Solves every job from the whole catalogue.
    ///
    /// # Errors
    ///
    /// [`StockError`]: a bay or a catalogue that cannot be, no jobs.
    ///
    /// # Examples
    /// ```
    /// use packdrift_pack::SolidKind::Shim;
    /// use packdrift_stock::{Coverage, Job, Size, StockingBay};
    /// // A rocker with a 0.40 mm shim left and one right of it, which may be 0.05 mm off and whose sum may be 0.10 mm off.
    /// let mut bay = StockingBay::sketch(&[(Shim, 0.40)], &[(Shim, 0.40)], &[]);
    /// (bay.offset, bay.offset_sd, bay.sum_sd) = ((-0.05, 0.05), 0.005, 0.01);
    /// let size = |thickness: f64| Size {
    ///     name: format!("{thickness:.2}"),
    ///     thickness,
    ///     bias: 0.0,
    ///     between: 0.004,
    ///     within: 0.003,
    ///     cost: 1.0,
    ///     lead_days: 14.0,
    /// };
    /// // Rockers that have to move by 0.20 mm one way or the other: 0.20 mm more on one side, 0.20 mm in place of 0.40 on the other. By
    /// // 0.40 mm a shim that changes sides moves it: that takes nothing from the drawer.
    /// let with_what_is_there = Job { correction: 0.40, squeeze: 0.0, worn_faces: 0.0 };
    /// let jobs = [0.20, -0.20].map(|correction| Job { correction, squeeze: 0.0, worn_faces: 0.0 });
    /// let coverage = Coverage::new(&bay, &[size(0.15), size(0.20), size(0.60)], &jobs)?;
    /// assert_eq!((coverage.share_without(), coverage.share(&[0])), (0.0, 0.5));
    /// let best = coverage.best(1)?;
    /// assert_eq!((best.sizes, best.coverage), (vec![1], 1.0));
    /// assert_eq!(Coverage::new(&bay, &[size(0.15)], &[with_what_is_there])?.share_without(), 1.0);
    /// # Ok::<(), packdrift_stock::StockError>(())
    /// ```
    pub fn new(bay: &StockingBay, sizes: &[Size], jobs: &[Job]) -> Result<Self, StockError> {
        bay.check()?;
        check_catalogue(sizes)?;
        if jobs.is_empty() {
            return Err(StockError::Count { what: "jobs", count: 0, expected: "at least 1" });
        }
        let all = if sizes.len() == 64 { u64::MAX } else { (1 << sizes.len()) - 1 };
        let ways = Ways::new(bay, sizes, all);
        let sets: Vec<Vec<Vec<u64>>> = jobs
            .par_chunks(CHUNK)
            .map(|chunk| {
                let mut seen = Seen::new(sizes.len());
                chunk.iter().map(|&job| ways.smallest_sets(job, &mut seen)).collect()
            })
            .collect();
        let mut groups: BTreeMap<Vec<u64>, u32> = BTreeMap::new();
        for set in sets.into_iter().flatten() {
            *groups.entry(set).or_insert(0) += 1;
        }
        Ok(Self { sizes: sizes.len(), jobs: jobs.len(), groups: groups.into_iter().collect() })
    }

    /// Of each group of jobs that are alike the smallest sets of sizes that do them (one bit a size of the catalogue; the empty set: nothing
    /// is needed), and how many jobs they are.
    pub fn groups(&self) -> &[(Vec<u64>, u32)] {
        &self.groups
    }

    fn count(&self, assortment: u64) -> u32 {
        let does = |sets: &[u64]| sets.iter().any(|&set| set & !assortment == 0);
        self.groups.iter().filter(|(sets, _)| does(sets)).map(|&(_, jobs)| jobs).sum()
    }

    /// How many of the jobs can be done from all sizes there are, and of how many.
    pub(super) fn done(&self) -> (u64, u64) {
        (self.count(self.all()).into(), self.jobs as u64)
    }

    /// Share of the jobs that can be done from an assortment (indices into the catalogue).
    pub fn share(&self, assortment: &[usize]) -> f64 {
        f64::from(self.count(mask(assortment))) / self.jobs as f64
    }

    /// Share of the jobs that need nothing from the drawer.
    pub fn share_without(&self) -> f64 {
        self.share(&[])
    }

    /// The best assortment of `n` sizes.
    ///
    /// # Errors
    ///
    /// [`StockError::Count`] where n is 0 or above the catalogue.
    pub fn best(&self, n: usize) -> Result<Assortment, StockError> {
        if n == 0 || n > self.sizes {
            return Err(StockError::Count {
                what: "sizes in an assortment",
                count: n,
                expected: "1 to the size of the catalogue",
            });
        }
        let all = self.all();
        // Sizes that cost most jobs when missing are decided first.
        let mut order: Vec<usize> = (0..self.sizes).collect();
        let loss: Vec<u32> = order.iter().map(|&k| self.count(all & !(1 << k))).collect();
        order.sort_by_key(|&k| (loss[k], k));
        let start = self.climb(n);
        let mut tree = Tree { coverage: self, n, order, best: (self.count(start), start), nodes: 0, open: 0 };
        tree.branch(0, 0, all);
        let (count, assortment) = tree.best;
        let bound = count.max(tree.open);
        let share = |count: u32| f64::from(count) / self.jobs as f64;
        Ok(Assortment {
            sizes: (0..self.sizes).filter(|&k| assortment >> k & 1 == 1).collect(),
            coverage: share(count),
            standard_error: (share(count) * (1.0 - share(count)) / self.jobs as f64).sqrt(),
            bound: share(bound),
            proven: bound == count,
        })
    }

    /// The best assortments of 1, 2, … `most` sizes.
    ///
    /// # Errors
    ///
    /// As [`Coverage::best`].
    pub fn curve(&self, most: usize) -> Result<Vec<Assortment>, StockError> {
        (1..=most.min(self.sizes)).into_par_iter().map(|n| self.best(n)).collect()
    }

    /// The best assortment of `n` sizes by going through all of them: what [`Coverage::best`] is held against.
    pub fn best_by_exhaustion(&self, n: usize) -> (f64, Vec<usize>) {
        let mut best = (0, 0_u64);
        let all = self.all();
        let mut set = 0_u64;
        loop {
            if set.count_ones() as usize == n {
                let count = self.count(set);
                if count > best.0 || best.1 == 0 {
                    best = (count, set);
                }
            }
            if set == all {
                break;
            }
            set += 1;
        }
        (f64::from(best.0) / self.jobs as f64, (0..self.sizes).filter(|&k| best.1 >> k & 1 == 1).collect())
    }

    fn all(&self) -> u64 {
        if self.sizes == 64 { u64::MAX } else { (1 << self.sizes) - 1 }
    }

    /// A good assortment by exchanging one size for another while that helps, from several starts.
    fn climb(&self, n: usize) -> u64 {
        let mut best = (0, 0_u64);
        for start in 0..self.sizes.min(8) {
            // Spread over the catalogue, shifted from start to start.
            let mut set = 0_u64;
            for i in 0..n {
                let mut k = (i * self.sizes / n + start) % self.sizes;
                while set >> k & 1 == 1 {
                    k = (k + 1) % self.sizes;
                }
                set |= 1 << k;
            }
            let mut count = self.count(set);
            loop {
                let mut better = (count, set);
                for out in (0..self.sizes).filter(|&k| set >> k & 1 == 1) {
                    for into in (0..self.sizes).filter(|&k| set >> k & 1 == 0) {
                        let other = set & !(1 << out) | 1 << into;
                        let c = self.count(other);
                        if c > better.0 {
                            better = (c, other);
                        }
                    }
                }
                if better.0 == count {
                    break;
                }
                (count, set) = better;
            }
            if count > best.0 || best.1 == 0 {
                best = (count, set);
            }
        }
        best.1
    }
}

fn mask(sizes: &[usize]) -> u64 {
    sizes.iter().fold(0, |mask, &k| mask | 1 << k)
}

struct Tree<'a> {
    coverage: &'a Coverage,
    n: usize,
    order: Vec<usize>,
    best: (u32, u64),
    nodes: u64,
    /// Largest bound among branches given up for want of work.
    open: u32,
}

impl Tree<'_> {
    /// Sizes `taken` are in, those not in `allowed` are out; the next to decide is `order[at]`.
    fn branch(&mut self, at: usize, taken: u64, allowed: u64) {
        let left = self.n - taken.count_ones() as usize;
        let undecided = allowed & !taken;
        if left == 0 || undecided.count_ones() as usize == left {
            let set = if left == 0 { taken } else { allowed };
            let count = self.coverage.count(set);
            if count > self.best.0 {
                self.best = (count, set);
            }
            return;
        }
        // A job counts where one of its sets needs no size that is out, and no more new ones than there are places.
        let reachable =
            |sets: &[u64]| sets.iter().any(|&set| set & !allowed == 0 && (set & !taken).count_ones() as usize <= left);
        let bound: u32 = self.coverage.groups.iter().filter(|(sets, _)| reachable(sets)).map(|&(_, jobs)| jobs).sum();
        if bound <= self.best.0 {
            return;
        }
        self.nodes += 1;
        if self.nodes > MOST_NODES {
            self.open = self.open.max(bound);
            return;
        }
        let size = 1_u64 << self.order[at];
        self.branch(at + 1, taken | size, allowed);
        self.branch(at + 1, taken, allowed & !size);
    }
}
