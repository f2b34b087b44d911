//! Rare events: the share outside a limit to a few per cent or better, at a cost that does not grow as the share falls.
//!
//! 1. Find the [`design_point`]s of each limit, the two limits by themselves.
//! 2. Integrate by line sampling ([`lines`]) along them, more and more lines until the standard error is what was asked for.
//! 3. Check what that rests on: a scan four times as fine on some of the lines must find the same; importance sampling from the
//!    same points ([`importance`]) must agree within its own error; and so must what the crude sample, which knows
//!    nothing of design points, counted.
//! 4. Where a check fails, or no design point was found although the event happens, fall back on importance sampling, and where that is no
//!    better, on the crude sample, and say so.
//!
//! The first-order approximation Φ(−β) itself is never the answer: it can be wrong by orders of magnitude without a sign of it.

mod design_point;
mod event;
mod importance;
mod lines;

#[cfg(test)]
mod tests;

use crate::interval::share_interval;
use crate::method::Method;
use crate::model::Model;
use crate::options::Progress;
use crate::population::Population;
use crate::{Estimate, SpreadError};
pub(crate) use design_point::DesignPoint;
use design_point::{search, search_all};
use event::Evaluator;
pub(crate) use event::{Event, Side};
use packdrift_numerics::sobol::Scrambling;
use rayon::prelude::*;

/// Independent scramblings; their scatter is the standard error.
const SCRAMBLINGS: u64 = 16;
/// log₂ of the lines of each scrambling, first and last.
const FIRST_LINES: u32 = 4;
/// Where the user asked for a standard error, and where not.
const LAST_LINES: u32 = 12;
const LAST_LINES_UNASKED: u32 = 8;
/// No relative standard error is claimed to be smaller than this: the crossings are located less well than they could be, and lines that one in
/// ten thousand events would need may not have been drawn.
const FLOOR: f64 = 1e-4;
/// Relative standard error aimed at where the user asked for none.
const UNTIL: f64 = 0.01;
/// log₂ of the points of each scrambling of importance sampling, for the check and as fall-back at the most.
const CHECK_POINTS: u32 = 7;
const LAST_POINTS: u32 = 13;
/// Memory for the points of one scrambling: coordinates times points.
const HELD: usize = 1 << 22;
/// Standard errors that two estimates may differ by.
const APART: f64 = 4.5;

/// A share by a plain sample, to check against: events counted among points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Crude {
    pub(crate) share: f64,
    pub(crate) standard_error: f64,
    pub(crate) points: u64,
}

/// The share of an event.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rare {
    pub(crate) share: Estimate,
    pub(crate) method: Method,
    /// Points at which the model was evaluated.
    pub(crate) evaluations: u64,
    /// Points at which it had no response.
    pub(crate) failed: u64,
    /// Why line sampling was not relied upon.
    pub(crate) fell_back: Option<FellBack>,
    /// What the share may be although the event was seen nowhere: the upper end of its 95 % interval by the crude sample; 0 where it was seen.
    pub(crate) bound: f64,
    /// Whether the standard error asked for was reached.
    pub(crate) reached: bool,
    /// The design points, nearest first, for what is derived from them.
    pub(crate) design_points: Vec<DesignPoint>,
}

/// Why line sampling was not relied upon.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum FellBack {
    /// The event happens, but no nearest point of it was found.
    NoDesignPoint,
    /// A finer scan of the lines found other crossings.
    Crossings {
        /// By the scan.
        scanned: f64,
        /// By the finer scan.
        finer: f64,
    },
    /// Importance sampling from the same design points gave something else.
    ImportanceSampling {
        /// By line sampling.
        lines: f64,
        /// By importance sampling.
        importance: f64,
    },
    /// The crude sample counted something else.
    Counts {
        /// By line sampling.
        lines: f64,
        /// By counting.
        counted: f64,
    },
}

impl std::fmt::Display for FellBack {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoDesignPoint => f.write_str("the limit is passed, but its nearest point was not found"),
            Self::Crossings { scanned, finer } => {
                write!(f, "a finer scan of the lines gave {finer:.3e} where the scan gave {scanned:.3e}")
            }
            Self::ImportanceSampling { lines, importance } => {
                write!(f, "importance sampling gave {importance:.3e} where line sampling gave {lines:.3e}")
            }
            Self::Counts { lines, counted } => {
                write!(f, "counting gave {counted:.3e} where line sampling gave {lines:.3e}")
            }
        }
    }
}

/// Mean of independent estimates, and its standard error.
fn mean(values: &[f64]) -> Estimate {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    Estimate { value: mean, standard_error: (squares / (n * (n - 1.0))).sqrt() }
}

/// The design point that the search from the origin leads to: where a limit is passed first, for what is derived from its tangent.
pub(crate) fn nearest(model: &dyn Model, population: &Population, event: Event) -> Option<DesignPoint> {
    let mut g = Evaluator::new(model, population, event);
    let origin = vec![0.0; population.coordinates()];
    search(&mut g, &origin)
}

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question<'a> {
    pub(crate) event: Event,
    /// Relative standard error that the user wants.
    pub(crate) until: Option<f64>,
    pub(crate) seed: u64,
    /// What the points are for: the requirement.
    pub(crate) purpose: &'a str,
    pub(crate) crude: Option<Crude>,
}

/// The share of trials in which the event happens.
///
/// # Errors
/// Cancelled.
pub(crate) fn share(
    model: &dyn Model,
    population: &Population,
    question: &Question<'_>,
    progress: &dyn Progress,
) -> Result<Rare, SpreadError> {
    let Question { event, seed, purpose, crude, .. } = *question;
    let last_lines = if question.until.is_some() { LAST_LINES } else { LAST_LINES_UNASKED };
    let until = question.until.unwrap_or(UNTIL);
    let mut g = Evaluator::new(model, population, event);
    let design_points = search_all(&mut g, seed, &format!("explore/{purpose}"));
    let mut rare = Rare {
        share: Estimate { value: 0.0, standard_error: 0.0 },
        method: Method::LineSampling,
        evaluations: g.evaluations,
        failed: g.failed,
        fell_back: None,
        bound: 0.0,
        reached: true,
        design_points,
    };
    if progress.cancelled() {
        return Err(SpreadError::Cancelled);
    }
    if rare.design_points.is_empty() {
        // Nowhere within many standard deviations; unless the crude sample has it all the same, a bound is all that is known.
        if let Some(crude) = crude {
            rare.method = Method::QuasiMonteCarlo;
            if crude.share > 0.0 {
                rare.share = Estimate { value: crude.share, standard_error: crude.standard_error };
                rare.fell_back = Some(FellBack::NoDesignPoint);
                rare.reached = crude.standard_error <= until * crude.share;
            } else {
                rare.bound = share_interval(0, crude.points).1;
            }
        }
        return Ok(rare);
    }
    let held = (HELD / population.coordinates().max(1)).max(16).ilog2();

    // Each scrambling is one task, and a fresh evaluator per task keeps the result independent of which thread takes it.
    let run = |log2_points: u32, purpose: &str, work: &(dyn Fn(&mut Evaluator<'_>, &Scrambling<'_>) -> f64 + Sync)| {
        let found: Vec<(f64, u64, u64)> = (0..SCRAMBLINGS)
            .into_par_iter()
            .map(|number| {
                let mut g = Evaluator::new(model, population, event);
                let value = work(&mut g, &Scrambling { seed, purpose, number, log2_points });
                (value, g.evaluations, g.failed)
            })
            .collect();
        let values: Vec<f64> = found.iter().map(|f| f.0).collect();
        (mean(&values), found.iter().map(|f| f.1).sum::<u64>(), found.iter().map(|f| f.2).sum::<u64>(), values)
    };
    let points = &rare.design_points;
    let frames: Vec<lines::Frame> = points.iter().map(|point| lines::Frame::new(&mut g, point)).collect();
    let frames = &frames;
    let lines_purpose = format!("lines/{purpose}");
    let importance_purpose = format!("importance/{purpose}");

    let mut finer = false;
    let mut log2_lines = FIRST_LINES.min(held);
    let mut by_lines;
    let (mut evaluations, mut failed) = (0, 0);
    let mut crossings = None;
    loop {
        let (estimate, made, bad, values) =
            run(log2_lines, &lines_purpose, &|g, sobol| lines::scrambling(g, frames, sobol, finer).share);
        evaluations += made;
        failed += bad;
        by_lines = estimate;
        by_lines.standard_error = by_lines.standard_error.max(FLOOR * by_lines.value);
        if !finer {
            // The first two scramblings again, looking four times as closely.
            let mut check = Evaluator::new(model, population, event);
            for (number, &scanned) in (0..2).zip(&values) {
                let sobol =
                    Scrambling { seed, purpose: &lines_purpose, number, log2_points: log2_lines.min(FIRST_LINES + 2) };
                let again = lines::scrambling(&mut check, frames, &sobol, true).share;
                let scanned = if sobol.log2_points == log2_lines {
                    scanned
                } else {
                    lines::scrambling(&mut check, frames, &sobol, false).share
                };
                if (again - scanned).abs() > 1e-4 * again.max(scanned) {
                    finer = true;
                    crossings = Some((scanned, again));
                }
            }
            evaluations += check.evaluations;
            if finer {
                // All over again with the finer scan, and whether that is fine enough is for the other checks to say.
                continue;
            }
        }
        if progress.cancelled() {
            return Err(SpreadError::Cancelled);
        }
        if by_lines.standard_error <= until * by_lines.value || log2_lines >= last_lines.min(held) {
            break;
        }
        // Scrambled nets gain at least as √n; aim a little beyond.
        let wanted = (by_lines.standard_error / (until * by_lines.value)).log2().ceil().clamp(1.0, 3.0);
        log2_lines = (log2_lines + wanted as u32).min(last_lines.min(held));
    }

    let (mut by_importance, made, bad, _) =
        run(CHECK_POINTS.min(held), &importance_purpose, &|g, sobol| importance::scrambling(g, points, sobol).0);
    evaluations += made;
    failed += bad;
    let apart = |a: &Estimate, b: &Estimate| {
        // 1 % of slack where both errors are known to be small: each is only an estimate from a few scramblings.
        (a.value - b.value).abs() > APART * a.standard_error.hypot(b.standard_error) + 0.01 * a.value.min(b.value)
    };
    let mut fell_back = None;
    if apart(&by_lines, &by_importance) {
        // Is the check itself wrong? Once more, with more points.
        let (again, made, bad, _) = run((CHECK_POINTS + 3).min(held), &importance_purpose, &|g, sobol| {
            importance::scrambling(g, points, sobol).0
        });
        evaluations += made;
        failed += bad;
        by_importance = again;
        if apart(&by_lines, &by_importance) {
            fell_back = Some(match crossings {
                Some((scanned, finer)) => FellBack::Crossings { scanned, finer },
                None => FellBack::ImportanceSampling { lines: by_lines.value, importance: by_importance.value },
            });
        }
    }
    let counts_disagree = |estimate: &Estimate| {
        crude.is_some_and(|crude| {
            // The scatter that a share of this size gives a count, at least that of one event.
            let n = crude.points as f64;
            let by_chance = (estimate.value.max(1.0 / n) / n).sqrt();
            (crude.share - estimate.value).abs() > APART * by_chance.hypot(estimate.standard_error)
        })
    };
    if fell_back.is_none() && counts_disagree(&by_lines) {
        fell_back = crude.map(|crude| FellBack::Counts { lines: by_lines.value, counted: crude.share });
    }

    rare.share = by_lines;
    if fell_back.is_some() {
        let mut log2_points = CHECK_POINTS + 3;
        while log2_points < LAST_POINTS.min(held) && by_importance.standard_error > until * by_importance.value {
            log2_points += 1;
            let (again, made, bad, _) =
                run(log2_points, &importance_purpose, &|g, sobol| importance::scrambling(g, points, sobol).0);
            evaluations += made;
            failed += bad;
            by_importance = again;
            if progress.cancelled() {
                return Err(SpreadError::Cancelled);
            }
        }
        (rare.share, rare.method) = (by_importance, Method::ImportanceSampling);
        if let Some(crude) = crude.filter(|_| counts_disagree(&by_importance)) {
            rare.share = Estimate { value: crude.share, standard_error: crude.standard_error };
            rare.method = Method::QuasiMonteCarlo;
        }
    }
    rare.reached = rare.share.standard_error <= until * rare.share.value;
    rare.fell_back = fell_back;
    rare.evaluations += evaluations;
    rare.failed += failed;
    Ok(rare)
}
