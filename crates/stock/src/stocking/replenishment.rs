//! How many of each size to hold.
//!
//! Every piece taken is ordered again at once and comes after its lead time (base stock, one for one). A job takes several pieces, of several sizes,
//! and can often be done in another way if one size is short; so the sizes are judged together, by simulation of the job stream against
//! the drawer. All levels see the same jobs at the same times (common random numbers), so that a difference between two levels is
//! theirs and not the draw's; standard errors are those of independent replications.

use super::bay::StockingBay;
use super::catalogue::{Size, check_catalogue};
use super::demand::{Demand, Job};
use super::job::Ways;
use super::policy::PoissonDemand;
use crate::error::{StockError, within};
use packdrift_numerics::stream::Key;
use rayon::prelude::*;
use std::collections::VecDeque;

/// What becomes of a job whose pieces are not all there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shortage {
    /// It waits for them; what is there is laid aside for it.
    Waits,
    /// Its pieces are got elsewhere; the drawer is left as it is.
    GotElsewhere,
}

/// How to simulate.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulationOptions {
    /// What becomes of a job that finds its pieces short.
    pub shortage: Shortage,
    /// Independent replications. Default 20.
    pub replications: usize,
    /// Jobs counted in each. Default 1000.
    pub jobs: usize,
    /// Different jobs that are drawn from. Default 2000.
    pub pool: usize,
    /// Seed of jobs and arrivals.
    pub seed: u64,
}

impl Default for SimulationOptions {
    fn default() -> Self {
        Self {
            shortage: Shortage::Waits,
            replications: 20,
            jobs: 1000,
            pool: 2000,
            seed: packdrift_numerics::stream::DEFAULT_SEED,
        }
    }
}

/// How well a drawer serves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Service {
    /// Share of the jobs that take pieces of these sizes, that find them there. 1 where no job takes any.
    pub share: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Mean number of pieces waited for, at a moment.
    pub waiting: f64,
    /// Its standard error.
    pub waiting_se: f64,
}

/// Levels to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Levels {
    /// Of each size of the assortment.
    pub counts: Vec<u32>,
    /// What they cost; where no size has a cost, their number.
    pub cost: f64,
    /// How they serve.
    pub service: Service,
    /// Whether every cheaper drawer was tried and serves worse.
    pub proven: bool,
}

/// An assortment with its job stream, ready to be tried with any levels.
#[derive(Debug, Clone)]
pub struct Replenishment {
    sizes: Vec<Size>,
    /// Of each job of the pool that cannot do without pieces, the ways to do it, best first.
    ways: Vec<Vec<Vec<(u8, u8)>>>,
    /// Jobs a day that take pieces.
    rate: f64,
    /// Share of all jobs that can be done from these sizes, with pieces or without.
    coverage: f64,
    /// The sets of pieces that most jobs take: what the drawer is filled by.
    kits: Vec<Vec<(u8, u8)>>,
    options: SimulationOptions,
    /// Times and jobs of every replication.
    arrivals: Vec<Vec<(f64, u32)>>,
    /// Arrivals before this time only fill the pipeline.
    warm: f64,
}

/// Ways kept for each job.
const MOST_WAYS: usize = 24;
/// Most arrivals of a replication.
const MOST_ARRIVALS: f64 = 5e6;

impl Replenishment {
    /// # Errors
    ///
    /// [`StockError`]: a bay, sizes or a demand that cannot be; a job stream so dense that its lead times hold millions of jobs.
    pub fn new(
        bay: &StockingBay,
        sizes: &[Size],
        demand: &Demand,
        options: SimulationOptions,
    ) -> Result<Self, StockError> {
        bay.check()?;
        check_catalogue(sizes)?;
        let pool = demand.jobs(options.pool, options.seed)?;
        let all = if sizes.len() == 64 { u64::MAX } else { (1 << sizes.len()) - 1 };
        let ways = Ways::new(bay, sizes, all);
        let ways: Vec<Vec<Vec<(u8, u8)>>> = pool
            .par_iter()
            .map(|&job: &Job| ways.list(job, MOST_WAYS).into_iter().map(|way| way.takes).collect())
            .collect();
        Self::from_ways(sizes, ways, demand.rate_per_day(), options)
    }

    /// One size, one piece a job: the textbook case.
    ///
    /// # Errors
    ///
    /// As [`Replenishment::new`].
    pub fn single(size: Size, rate_per_day: f64, options: SimulationOptions) -> Result<Self, StockError> {
        Self::from_ways(&[size], vec![vec![vec![(0, 1)]]], rate_per_day, options)
    }

    fn from_ways(
        sizes: &[Size],
        ways: Vec<Vec<Vec<(u8, u8)>>>,
        rate: f64,
        options: SimulationOptions,
    ) -> Result<Self, StockError> {
        let different = ways.len();
        for (what, count) in [
            ("replications", options.replications),
            ("jobs a replication", options.jobs),
            ("different jobs", different),
        ] {
            if count == 0 || (what == "replications" && count < 2) {
                return Err(StockError::Count { what, count, expected: "at least 1 (replications: 2)" });
            }
        }
        let coverage = ways.iter().filter(|ways| !ways.is_empty()).count() as f64 / different as f64;
        // Jobs that can do without, or that these sizes cannot do, do not touch the drawer: what is left is a thinned Poisson stream.
        let ways: Vec<Vec<Vec<(u8, u8)>>> =
            ways.into_iter().filter(|ways| !ways.is_empty() && ways.iter().all(|way| !way.is_empty())).collect();
        let rate = rate * ways.len() as f64 / different as f64;
        let kits = kits(&ways);
        let lead = sizes.iter().map(|size| size.lead_days).fold(0.0, f64::max);
        let warm = 3.0 * lead;
        within("jobs during three lead times", warm * rate, "jobs", 0.0..=MOST_ARRIVALS, "below 5000000")?;
        let mut drawer =
            Self { sizes: sizes.to_vec(), ways, rate, coverage, kits, options, arrivals: Vec::new(), warm };
        drawer.arrivals = drawer.arrivals(drawer.options.replications, "stock/arrivals");
        Ok(drawer)
    }

    /// Times and jobs of so many replications.
    fn arrivals(&self, replications: usize, purpose: &str) -> Vec<Vec<(f64, u32)>> {
        let key = Key::new(self.options.seed, purpose);
        (0..replications)
            .into_par_iter()
            .map(|replication| {
                let mut stream = key.stream(replication as u64);
                let (mut time, mut counted) = (0.0, 0);
                let mut arrivals = Vec::new();
                while counted < self.options.jobs && !self.ways.is_empty() {
                    time -= stream.uniform().ln() / self.rate;
                    let job = ((stream.uniform() * self.ways.len() as f64) as usize).min(self.ways.len() - 1);
                    arrivals.push((time, job as u32));
                    counted += usize::from(time >= self.warm);
                }
                arrivals
            })
            .collect()
    }

    /// The levels with a piece more where it helps most, until fresh draws show that they serve as wanted: those that chose them flatter them. What
    /// they serve is what the fresh draws say.
    pub fn shown_by_fresh_draws(&self, levels: Levels, service: f64) -> Levels {
        let arrivals = self.arrivals(FRESH * self.options.replications, "stock/arrivals, fresh");
        let fresh = Self { arrivals, ..self.clone() };
        let mut now = Levels { proven: levels.proven, ..fresh.levels(levels.counts) };
        for _ in 0..MOST_MORE {
            let Service { share, standard_error, .. } = now.service;
            if share - SHOWN * standard_error >= service {
                break;
            }
            let one_more = |k: usize| {
                let mut counts = now.counts.clone();
                counts[k] += 1;
                counts
            };
            let tried = (0..self.sizes.len()).map(one_more).map(|counts| fresh.levels(counts));
            let gain = |levels: &Levels| (levels.service.share - share) / (levels.cost - now.cost).max(1e-9);
            let Some(best) = tried.max_by(|a, b| gain(a).total_cmp(&gain(b)).then(b.counts.cmp(&a.counts))) else {
                break;
            };
            if best.service.share <= share {
                break;
            }
            now = best;
        }
        now
    }

    /// Share of the pool's jobs that can be done from these sizes at all.
    pub fn coverage(&self) -> f64 {
        self.coverage
    }

    /// Mean number of pieces of each size taken during its lead time, if nothing were ever short.
    pub fn lead_time_demand(&self) -> Vec<f64> {
        let mut mean = vec![0.0; self.sizes.len()];
        for way in self.ways.iter().filter_map(|ways| ways.first()) {
            for &(k, n) in way {
                mean[usize::from(k)] += f64::from(n) / self.ways.len() as f64;
            }
        }
        mean.iter().zip(&self.sizes).map(|(m, size)| m * self.rate * size.lead_days).collect()
    }

    /// Tries levels.
    ///
    /// # Errors
    ///
    /// [`StockError::Count`] where there is not one level a size.
    pub fn serve(&self, levels: &[u32]) -> Result<Service, StockError> {
        if levels.len() != self.sizes.len() {
            return Err(StockError::Count { what: "levels", count: levels.len(), expected: "one for each size" });
        }
        Ok(self.try_levels(levels))
    }

    fn try_levels(&self, levels: &[u32]) -> Service {
        if self.ways.is_empty() {
            return Service { share: 1.0, standard_error: 0.0, waiting: 0.0, waiting_se: 0.0 };
        }
        let runs: Vec<(f64, f64)> = self.arrivals.iter().map(|arrivals| self.replicate(arrivals, levels)).collect();
        let (share, standard_error) = mean_and_se(runs.iter().map(|run| run.0));
        let (waiting, waiting_se) = mean_and_se(runs.iter().map(|run| run.1));
        Service { share, standard_error, waiting, waiting_se }
    }

    /// Share served and mean number of pieces waited for in one replication.
    fn replicate(&self, arrivals: &[(f64, u32)], levels: &[u32]) -> (f64, f64) {
        // On hand less what waits.
        let mut net: Vec<i64> = levels.iter().map(|&level| i64::from(level)).collect();
        let mut coming: Vec<VecDeque<f64>> = vec![VecDeque::new(); net.len()];
        let (mut served, mut asked, mut waiting, mut looks) = (0_u64, 0_u64, 0.0, 0_u64);
        for &(time, job) in arrivals {
            for (net, coming) in net.iter_mut().zip(&mut coming) {
                while coming.front().is_some_and(|&t| t <= time) {
                    coming.pop_front();
                    *net += 1;
                }
            }
            let counts = time >= self.warm;
            if counts {
                waiting += net.iter().map(|&n| (-n).max(0) as f64).sum::<f64>();
                looks += 1;
            }
            let ways = &self.ways[job as usize];
            let Some(first) = ways.first() else { continue };
            let there = |way: &&Vec<(u8, u8)>| way.iter().all(|&(k, n)| net[usize::from(k)] >= i64::from(n));
            let way = ways.iter().find(there);
            if counts {
                asked += 1;
                served += u64::from(way.is_some());
            }
            let taken = match (way, self.options.shortage) {
                (Some(way), _) => way,
                (None, Shortage::Waits) => first,
                (None, Shortage::GotElsewhere) => continue,
            };
            for &(k, n) in taken {
                let k = usize::from(k);
                net[k] -= i64::from(n);
                for _ in 0..n {
                    coming[k].push_back(time + self.sizes[k].lead_days);
                }
            }
        }
        let share = if asked == 0 { f64::NAN } else { served as f64 / asked as f64 };
        (share, waiting / looks.max(1) as f64)
    }

    fn cost(&self, levels: &[u32]) -> f64 {
        let priced = self.sizes.iter().any(|size| size.cost > 0.0);
        levels.iter().zip(&self.sizes).map(|(&n, size)| f64::from(n) * if priced { size.cost } else { 1.0 }).sum()
    }

    fn levels(&self, counts: Vec<u32>) -> Levels {
        Levels { cost: self.cost(&counts), service: self.try_levels(&counts), counts, proven: false }
    }

    /// What each size would be held at on its own: the smallest base stock with a Poisson fill rate of at least `service`. It knows nothing of jobs
    /// that take several sizes, nor of one size standing in for another.
    ///
    /// # Errors
    ///
    /// [`StockError::OutOfRange`] for a service outside 0–1.
    pub fn each_on_its_own(&self, service: f64) -> Result<Levels, StockError> {
        within("wanted service", service, "", 0.0..=0.9999, "between 0 and 0.9999")?;
        let counts: Result<Vec<u32>, StockError> = self
            .lead_time_demand()
            .iter()
            .map(|&mean| if mean > 0.0 { Ok(PoissonDemand::new(mean)?.quantile(service) + 1) } else { Ok(0) })
            .collect();
        Ok(self.levels(counts?))
    }

    /// Cost against service: from an empty drawer, one step after the other where a piece (or a pair) buys most service for its
    /// cost, up to `service` or where nothing is gained any more.
    ///
    /// # Errors
    ///
    /// [`StockError::OutOfRange`] for a service outside 0–0.9999.
    pub fn curve(&self, service: f64) -> Result<Vec<Levels>, StockError> {
        within("wanted service", service, "", 0.0..=0.9999, "between 0 and 0.9999")?;
        let k = self.sizes.len();
        let mut curve = vec![self.levels(vec![0; k])];
        for _ in 0..MOST_STEPS {
            let now = curve[curve.len() - 1].clone();
            if now.service.share >= service {
                break;
            }
            let mut steps: Vec<Vec<u32>> = Vec::new();
            for i in 0..k {
                let mut one = now.counts.clone();
                one[i] += 1;
                for j in i..k {
                    let mut two = one.clone();
                    two[j] += 1;
                    steps.push(two);
                }
                steps.push(one);
            }
            // A job is served only where all it takes is there: a single piece of four buys nothing.
            for kit in &self.kits {
                let mut counts = now.counts.clone();
                kit.iter().for_each(|&(k, n)| counts[usize::from(k)] += u32::from(n));
                steps.push(counts);
            }
            steps.sort();
            steps.dedup();
            let tried: Vec<Levels> = steps.into_par_iter().map(|counts| self.levels(counts)).collect();
            let gain =
                |levels: &Levels| (levels.service.share - now.service.share) / (levels.cost - now.cost).max(1e-9);
            let best = tried.into_iter().max_by(|a, b| gain(a).total_cmp(&gain(b)).then(b.counts.cmp(&a.counts)));
            match best {
                Some(best) if best.service.share > now.service.share => curve.push(best),
                _ => break,
            }
        }
        Ok(curve)
    }

    /// The cheapest levels with at least the wanted service: the curve's first that has it; then, where there are few cheaper ones, all of those,
    /// else pieces left out and exchanged for cheaper ones as long as it holds. None where no levels reach it.
    ///
    /// # Errors
    ///
    /// As [`Replenishment::curve`].
    pub fn levels_for(&self, service: f64) -> Result<Option<Levels>, StockError> {
        let Some(mut best) = self.curve(service)?.pop().filter(|levels| levels.service.share >= service) else {
            return Ok(None);
        };
        loop {
            let cheaper = self.cheaper_than(best.cost);
            let proven = cheaper.is_some();
            let mut tries = cheaper.unwrap_or_else(|| self.exchanges(&best.counts));
            tries.sort();
            tries.dedup();
            tries.retain(|counts| self.cost(counts) < best.cost - 1e-12);
            let tried: Vec<Levels> = tries.into_par_iter().map(|counts| self.levels(counts)).collect();
            let better = tried
                .into_iter()
                .filter(|levels| levels.service.share >= service)
                .min_by(|a, b| a.cost.total_cmp(&b.cost).then(b.service.share.total_cmp(&a.service.share)));
            match better {
                Some(better) => best = better,
                None => return Ok(Some(Levels { proven, ..best })),
            }
            if proven {
                return Ok(Some(Levels { proven, ..best }));
            }
        }
    }

    /// All levels that cost less; None where they are too many to go through.
    fn cheaper_than(&self, cost: f64) -> Option<Vec<Vec<u32>>> {
        let mut all = vec![vec![0; self.sizes.len()]];
        for k in 0..self.sizes.len() {
            let before = all.len();
            for at in 0..before {
                let mut counts = all[at].clone();
                loop {
                    counts[k] += 1;
                    if self.cost(&counts) >= cost - 1e-12 {
                        break;
                    }
                    all.push(counts.clone());
                    if all.len() > FEW {
                        return None;
                    }
                }
            }
        }
        Some(all)
    }

    /// Up to four of one size out, up to four of another in; one each of two sizes out, one of a third in.
    fn exchanges(&self, counts: &[u32]) -> Vec<Vec<u32>> {
        let k = counts.len();
        let mut tries: Vec<Vec<u32>> = Vec::new();
        for out in 0..k {
            for less in 1..=counts[out].min(4) {
                let mut base = counts.to_vec();
                base[out] -= less;
                tries.push(base.clone());
                for into in (0..k).filter(|&into| into != out) {
                    for more in 1..=4 {
                        let mut exchanged = base.clone();
                        exchanged[into] += more;
                        tries.push(exchanged.clone());
                        for second in (0..k).filter(|&s| less == 1 && more == 1 && s != into && base[s] > 0) {
                            let mut fewer = exchanged.clone();
                            fewer[second] -= 1;
                            tries.push(fewer);
                        }
                    }
                }
            }
        }
        tries
    }
}

/// The sets of pieces that the best ways take, the most frequent first; at most [`KITS`].
fn kits(ways: &[Vec<Vec<(u8, u8)>>]) -> Vec<Vec<(u8, u8)>> {
    let mut count: std::collections::BTreeMap<&Vec<(u8, u8)>, usize> = std::collections::BTreeMap::new();
    for way in ways.iter().filter_map(|ways| ways.first()) {
        *count.entry(way).or_insert(0) += 1;
    }
    let mut kits: Vec<(&Vec<(u8, u8)>, usize)> = count.into_iter().collect();
    kits.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(b.0)));
    kits.into_iter().take(KITS).map(|(kit, _)| kit.clone()).collect()
}

/// Fresh replications for each of those that chose.
const FRESH: usize = 4;
/// Pieces added at most until fresh draws show the wanted service.
const MOST_MORE: usize = 12;
/// Standard errors that a share must be above what is wanted (docs/verdicts.md, rule 6).
const SHOWN: f64 = 3.0;

/// Sets of pieces tried as one step of the curve.
const KITS: usize = 24;
/// Levels that may be gone through one by one.
const FEW: usize = 1500;
/// Steps of the curve before it is given up.
const MOST_STEPS: usize = 300;

fn mean_and_se(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let values: Vec<f64> = values.filter(|v| !v.is_nan()).collect();
    let n = values.len() as f64;
    if values.is_empty() {
        return (f64::NAN, f64::NAN);
    }
    let mean = values.iter().sum::<f64>() / n;
    let square: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    (mean, if values.len() > 1 { (square / (n - 1.0) / n).sqrt() } else { f64::NAN })
}
