//! What it is worth to measure the pieces and pick among them, against buying a tighter grade.
//!
//! Three ways of working do the same jobs with the same deviations (common random numbers):
//!
//! - as bought: the size on the packet is believed;
//! - measured: of every size some pieces lie in the drawer, each measured; the fitter picks among them;
//! - a tighter grade: as bought, with the scatter times a factor.
//!
//! A job that takes pieces counts where offset and sum come out inside their limits at the first fitting. Differences are paired, and so are their standard errors.

use super::bay::StockingBay;
use super::catalogue::{Size, check_catalogue};
use super::demand::Job;
use super::job::{Way, Ways};
use crate::error::{StockError, within};
use packdrift_numerics::stream::Key;
use rayon::prelude::*;

/// The comparison to make.
#[derive(Debug, Clone, PartialEq)]
pub struct SortingOptions {
    /// Measured pieces of each size in the drawer when a job comes. Default 4.
    pub held: usize,
    /// Standard uncertainty of measuring a piece, mm. Default 0.002.
    pub u: f64,
    /// What it costs to measure a piece.
    pub cost_of_measuring: f64,
    /// Scatter of the tighter grade over that of the catalogue. Default 0.5.
    pub grade: f64,
    /// What a piece of the tighter grade costs more.
    pub premium: f64,
    /// Seed of the deviations.
    pub seed: u64,
}

impl Default for SortingOptions {
    fn default() -> Self {
        Self {
            held: 4,
            u: 0.002,
            cost_of_measuring: 0.0,
            grade: 0.5,
            premium: 0.0,
            seed: packdrift_numerics::stream::DEFAULT_SEED,
        }
    }
}

/// A share with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// The share.
    pub share: f64,
    /// Its standard error.
    pub standard_error: f64,
}

/// How tight a grade would have to be to bring as much as measuring does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GradeWorth {
    /// Measuring brings nothing that two standard errors would not hide: there is no question.
    NothingGained,
    /// Deviations times this, of those of the catalogue.
    Grade(f64),
    /// Even exact pieces bring less.
    BeyondAny,
}

/// What measuring and what a tighter grade bring.
#[derive(Debug, Clone, PartialEq)]
pub struct Sorting {
    /// Inside at the first fitting, with the packet's size believed.
    pub as_bought: Share,
    /// With measured pieces.
    pub measured: Share,
    /// With the tighter grade.
    pub graded: Share,
    /// Gain by measuring; paired standard error.
    pub gain_measured: Share,
    /// Gain by the grade; paired standard error.
    pub gain_graded: Share,
    /// Pieces a job takes.
    pub pieces_per_job: f64,
    /// Cost of measuring per job, and per job more that is right at once; None where nothing is gained.
    pub cost_measured: (f64, Option<f64>),
    /// Cost of the grade per job, and per job more that is right at once.
    pub cost_graded: (f64, Option<f64>),
    /// The grade that brings as much as measuring.
    pub grade_worth_measuring: GradeWorth,
    /// Share of the jobs that cannot do without pieces: those are compared.
    pub take_pieces: f64,
    /// Share of the jobs that no way can do at all; they count nowhere.
    pub cannot: f64,
}

/// Ways tried for a job with measured pieces.
const WAYS: usize = 12;

struct Draws {
    between: Vec<f64>,
    within: Vec<Vec<f64>>,
    reading: Vec<Vec<f64>>,
    offset: f64,
    sum: f64,
}

/// Compares the three ways of working.
///
/// # Errors
///
/// [`StockError`]: a bay, sizes or options that cannot be, no jobs.
pub fn worth_of_sorting(
    bay: &StockingBay,
    sizes: &[Size],
    jobs: &[Job],
    options: &SortingOptions,
) -> Result<Sorting, StockError> {
    bay.check()?;
    check_catalogue(sizes)?;
    if !(1..=12).contains(&options.held) {
        return Err(StockError::Count {
            what: "measured pieces of each size",
            count: options.held,
            expected: "1 to 12",
        });
    }
    if jobs.is_empty() {
        return Err(StockError::Count { what: "jobs", count: 0, expected: "at least 1" });
    }
    within("uncertainty of measuring", options.u, "mm", 0.0..=1.0, "between 0 and 1")?;
    within("grade", options.grade, "", 0.0..=10.0, "between 0 and 10")?;
    // The label is believed: ways are chosen as if there were no scatter.
    let believed: Vec<Size> =
        sizes.iter().map(|size| Size { bias: 0.0, between: 0.0, within: 0.0, ..size.clone() }).collect();
    let all = if sizes.len() == 64 { u64::MAX } else { (1 << sizes.len()) - 1 };
    let ways = Ways::new(bay, &believed, all);
    let key = Key::new(options.seed, "stock/pieces");
    let held = options.held.max(4);
    let cases: Vec<Option<(Vec<Way>, Draws, Job)>> = jobs
        .par_iter()
        .enumerate()
        .map(|(j, &job)| {
            let list = ways.list(job, WAYS);
            let mut stream = key.stream(j as u64);
            let between = sizes.iter().map(|_| stream.normal()).collect();
            let within = sizes.iter().map(|_| (0..held).map(|_| stream.normal()).collect()).collect();
            let reading = sizes.iter().map(|_| (0..held).map(|_| stream.normal()).collect()).collect();
            let draws = Draws { between, within, reading, offset: stream.normal(), sum: stream.normal() };
            (!list.is_empty()).then_some((list, draws, bay.seen(job)))
        })
        .collect();
    // A job that can do without comes out the same whatever the pieces are.
    let can = cases.iter().flatten().count();
    let takes = |list: &[Way]| list.iter().all(|way| !way.takes.is_empty());
    let done: Vec<&(Vec<Way>, Draws, Job)> = cases.iter().flatten().filter(|case| takes(&case.0)).collect();
    let graded = |grade: f64| -> Vec<bool> {
        done.par_iter().map(|(list, draws, job)| believes(bay, sizes, &list[0], draws, *job, grade)).collect()
    };
    let as_bought = graded(1.0);
    let tighter = graded(options.grade);
    let measured: Vec<bool> =
        done.par_iter().map(|(list, draws, job)| picks(bay, sizes, list, draws, *job, options)).collect();
    let pieces: f64 = done.iter().map(|(list, ..)| list[0].takes.iter().map(|&(_, n)| f64::from(n)).sum::<f64>()).sum();
    let pieces_per_job = pieces / done.len().max(1) as f64;
    let target = share(&measured).share;
    let gain_measured = difference(&measured, &as_bought);
    let grade_worth_measuring = if gain_measured.share <= 2.0 * gain_measured.standard_error {
        GradeWorth::NothingGained
    } else if share(&graded(0.0)).share < target {
        GradeWorth::BeyondAny
    } else {
        let (mut good, mut bad) = (0.0, 1.0);
        for _ in 0..14 {
            let half = 0.5 * (good + bad);
            if share(&graded(half)).share >= target { good = half } else { bad = half }
        }
        GradeWorth::Grade(good)
    };
    let gain_graded = difference(&tighter, &as_bought);
    let cost = |each: f64, gain: Share| {
        (each * pieces_per_job, (gain.share > 0.0 && each > 0.0).then(|| each * pieces_per_job / gain.share))
    };
    Ok(Sorting {
        as_bought: share(&as_bought),
        measured: share(&measured),
        graded: share(&tighter),
        gain_measured,
        gain_graded,
        pieces_per_job,
        cost_measured: cost(options.cost_of_measuring, gain_measured),
        cost_graded: cost(options.premium, gain_graded),
        grade_worth_measuring,
        take_pieces: done.len() as f64 / jobs.len() as f64,
        cannot: 1.0 - can as f64 / jobs.len() as f64,
    })
}

/// How far offset and sum are from what the labels promise, mm: (of the left pieces, of the right).
fn inside(bay: &StockingBay, sizes: &[Size], way: &Way, draws: &Draws, job: Job, left: f64, right: f64) -> bool {
    let label = |takes: &[(u8, u8)]| -> f64 {
        takes.iter().map(|&(k, n)| f64::from(n) * sizes[usize::from(k)].thickness).sum()
    };
    let (all, on_left) = (label(&way.takes), label(&way.near));
    let new_left = way.kept.0 + on_left + left;
    let change = way.kept.0 + way.kept.1 + all + left + right - bay.old_sum();
    let (of_offset, of_sum) = (way.unsure.offset.max(0.0).sqrt(), way.unsure.sum.max(0.0).sqrt());
    let offset =
        new_left - bay.old_near() + bay.lean * change - job.correction + bay.offset_sd.hypot(of_offset) * draws.offset;
    let sum = change - job.squeeze + bay.sum_sd.hypot(of_sum) * draws.sum;
    (bay.offset.0..=bay.offset.1).contains(&offset) && (bay.sum.0..=bay.sum.1).contains(&sum)
}

fn deviation(sizes: &[Size], draws: &Draws, k: usize, i: usize, grade: f64) -> f64 {
    grade * (sizes[k].bias + sizes[k].between * draws.between[k] + sizes[k].within * draws.within[k][i])
}

/// Takes the first pieces that come to hand.
fn believes(bay: &StockingBay, sizes: &[Size], way: &Way, draws: &Draws, job: Job, grade: f64) -> bool {
    let (mut left, mut right) = (0.0, 0.0);
    for &(k, n) in &way.takes {
        let on_left = way.near.iter().find(|&&(l, _)| l == k).map_or(0, |&(_, n)| n);
        for i in 0..n {
            let d = deviation(sizes, draws, usize::from(k), usize::from(i) % draws.within[0].len(), grade);
            if i < on_left { left += d } else { right += d }
        }
    }
    inside(bay, sizes, way, draws, job, left, right)
}

/// Picks among the measured pieces: of each way first the left pieces that bring the offset nearest to its aim, then the right ones that
/// bring the sum nearest to its own; of all ways the one that comes out nearest.
fn picks(bay: &StockingBay, sizes: &[Size], list: &[Way], draws: &Draws, job: Job, options: &SortingOptions) -> bool {
    let (half_offset, half_sum) = (0.5 * (bay.offset.1 - bay.offset.0), 0.5 * (bay.sum.1 - bay.sum.0));
    let mut best: Option<(f64, bool)> = None;
    for way in list {
        let right_takes: Vec<(u8, u8)> = way
            .takes
            .iter()
            .map(|&(k, n)| (k, n - way.near.iter().find(|&&(l, _)| l == k).map_or(0, |&(_, m)| m)))
            .filter(|&(_, n)| n > 0)
            .collect();
        if way.takes.iter().any(|&(_, n)| usize::from(n) > options.held) {
            continue;
        }
        let label = |takes: &[(u8, u8)]| -> f64 {
            takes.iter().map(|&(k, n)| f64::from(n) * sizes[usize::from(k)].thickness).sum()
        };
        let wanted =
            bay.old_near() + job.correction + 0.5 * (bay.offset.0 + bay.offset.1) - way.kept.0 - label(&way.near);
        let mut used = vec![0_u64; sizes.len()];
        let (left_read, left_true) = nearest(sizes, draws, &way.near, wanted, &mut used, options);
        let aim = bay.old_sum() + job.squeeze + bay.sum_aim;
        let wanted = aim - way.kept.0 - way.kept.1 - label(&way.takes) - left_read;
        let (right_read, right_true) = nearest(sizes, draws, &right_takes, wanted, &mut used, options);
        let change = way.kept.0 + way.kept.1 + label(&way.takes) + left_read + right_read - bay.old_sum();
        let offset = way.kept.0 + label(&way.near) + left_read - bay.old_near() + bay.lean * change - job.correction;
        let sum = change - job.squeeze;
        let miss = ((offset - 0.5 * (bay.offset.0 + bay.offset.1)) / half_offset).powi(2)
            + ((sum - bay.sum_aim) / half_sum).powi(2)
            + bay.weights.per_part / bay.weights.centring.max(1e-9) * f64::from(way.touched);
        if best.is_none_or(|(least, _)| miss < least) {
            best = Some((miss, inside(bay, sizes, way, draws, job, left_true, right_true)));
        }
    }
    best.is_some_and(|(_, inside)| inside)
}

/// The unused pieces of the given sizes whose readings deviate from the labels by nearest to `wanted` together: read and true deviation.
fn nearest(
    sizes: &[Size],
    draws: &Draws,
    takes: &[(u8, u8)],
    wanted: f64,
    used: &mut [u64],
    options: &SortingOptions,
) -> (f64, f64) {
    let mut chosen: Vec<u64> = vec![0; takes.len()];
    let mut best = (f64::INFINITY, 0.0, 0.0, chosen.clone());
    choose(sizes, draws, takes, 0, used, options, (0.0, 0.0), &mut chosen, &mut |read, real, chosen| {
        let miss = (read - wanted).abs();
        if miss < best.0 {
            best = (miss, read, real, chosen.to_vec());
        }
    });
    for (&(k, _), &pieces) in takes.iter().zip(&best.3) {
        used[usize::from(k)] |= pieces;
    }
    (best.1, best.2)
}

#[allow(clippy::too_many_arguments, reason = "the state of a recursion over the sizes")]
fn choose(
    sizes: &[Size],
    draws: &Draws,
    takes: &[(u8, u8)],
    at: usize,
    used: &[u64],
    options: &SortingOptions,
    (read, real): (f64, f64),
    chosen: &mut [u64],
    visit: &mut impl FnMut(f64, f64, &[u64]),
) {
    let Some(&(k, n)) = takes.get(at) else { return visit(read, real, chosen) };
    let k = usize::from(k);
    for set in 0..1_u64 << options.held {
        if set.count_ones() != u32::from(n) || set & used[k] != 0 {
            continue;
        }
        let (mut r, mut t) = (read, real);
        for i in (0..options.held).filter(|i| set >> i & 1 == 1) {
            let d = deviation(sizes, draws, k, i, 1.0);
            t += d;
            r += d + options.u * draws.reading[k][i];
        }
        chosen[at] = set;
        choose(sizes, draws, takes, at + 1, used, options, (r, t), chosen, visit);
    }
    chosen[at] = 0;
}

fn share(done: &[bool]) -> Share {
    let n = done.len().max(1) as f64;
    let p = done.iter().filter(|&&d| d).count() as f64 / n;
    Share { share: p, standard_error: (p * (1.0 - p) / n).sqrt() }
}

fn difference(a: &[bool], b: &[bool]) -> Share {
    let n = a.len().max(1) as f64;
    let differences = || a.iter().zip(b).map(|(&x, &y)| f64::from(i8::from(x) - i8::from(y)));
    let mean = differences().sum::<f64>() / n;
    let square: f64 = differences().map(|d| (d - mean) * (d - mean)).sum();
    Share { share: mean, standard_error: (square / (n - 1.0).max(1.0) / n).sqrt() }
}
