//! Rare events: the share of packs to which something happens, to a few per cent or better, at a cost that does not grow as the share
//! falls.
//!
//! 1. Find the [`design_point`]s of the event: from the origin, from wide samples, and from the points that [`levels`] (subset simulation)
//!    found in the event and that no design point explains yet. Where there is no slope to follow, the place where the way from the
//!    origin to such a point enters the event stands for one.
//! 2. Integrate by line sampling ([`lines`]) along them, more and more lines until the standard error is what was asked for.
//! 3. Check what that rests on: a scan four times as fine on some of the lines must find the same; importance sampling from the
//!    same points ([`importance`]) must agree within its own error; so must what the sample of the whole run, which knows nothing of design
//!    points, counted; and subset simulation must not find much more.
//! 4. Where a check fails fall back on importance sampling, and where that is no better, on the sample or on subset simulation, and say so.
//! 5. What was found nowhere has a bound: by how far subset simulation went down, or by the sample, whichever is less.
//!
//! The first-order approximation Φ(−β) itself is never the answer: it can be wrong by orders of magnitude without a sign of it.

mod design_point;
mod event;
mod importance;
mod levels;
mod lines;

#[cfg(test)]
mod tests;

use crate::interval::sure_interval;
use crate::method::Method;
use crate::model::Model;
use crate::options::Progress;
use crate::population::Population;
use crate::{Estimate, SpreadError};
pub(crate) use design_point::DesignPoint;
use design_point::{explained, search, search_all};
use event::Evaluator;
pub(crate) use event::{Branch, Cause, Event};
use levels::Levels;
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
pub(crate) const FLOOR: f64 = 1e-4;
/// Relative standard error aimed at where the user asked for none.
const UNTIL: f64 = 0.01;
/// log₂ of the points of each scrambling of importance sampling, for the check and as fall-back at the most.
const CHECK_POINTS: u32 = 7;
const LAST_POINTS: u32 = 13;
/// Memory for the points of one scrambling: coordinates times points.
const HELD: usize = 1 << 22;
/// Standard errors that two estimates may differ by.
const APART: f64 = 4.5;
/// Events counted in the sample from which on it finds what design points overlook as well as subset simulation would.
const COUNTED_ENOUGH: f64 = 100.0;
/// Share of the points in the event that design points may leave unexplained.
const UNEXPLAINED: f64 = 0.02;

/// A share by a plain sample, to check against: events counted among points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SampledShare {
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
    /// The share is at most this although the event was seen nowhere, at three standard errors; 0 where it was seen.
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
    /// Subset simulation found more.
    SubsetSimulation {
        /// By line sampling.
        lines: f64,
        /// By subset simulation.
        levels: f64,
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
            Self::SubsetSimulation { lines, levels } => {
                write!(f, "subset simulation gave {levels:.3e} where line sampling gave {lines:.3e}")
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
    /// Relative standard error that is wanted, where more than the usual.
    pub(crate) until: Option<f64>,
    /// A share below this decides nothing, and is not looked for.
    pub(crate) floor: f64,
    pub(crate) seed: u64,
    /// What the points are for: the requirement.
    pub(crate) purpose: &'a str,
    pub(crate) sampled: Option<SampledShare>,
    /// Further places to look for design points from: those of the event's parts, where it has known ones.
    pub(crate) starts: &'a [Vec<f64>],
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
    let mut work = Work { model, population, question, progress, evaluations: 0, failed: 0 };
    let (design_points, levels) = work.find()?;
    let rare = |share, method, bound, fell_back| Rare {
        share,
        method,
        evaluations: 0,
        failed: 0,
        fell_back,
        bound,
        reached: true,
        design_points: Vec::new(),
    };
    let nothing = Estimate { value: 0.0, standard_error: 0.0 };
    let mut rare = if !design_points.is_empty() {
        let (share, method, fell_back) = work.integrate(&design_points, levels.as_ref())?;
        rare(share, method, 0.0, fell_back)
    } else if let Some(sampled) = question.sampled.filter(|sampled| sampled.share > 0.0) {
        let share = Estimate { value: sampled.share, standard_error: sampled.standard_error };
        rare(share, Method::QuasiMonteCarlo, 0.0, Some(FellBack::NoDesignPoint))
    } else {
        // Nowhere. What is known is how far down it is at least.
        let by_sample = question.sampled.map_or(1.0, |sampled| sure_interval(0, sampled.points).1);
        let by_levels = levels.map_or(1.0, |levels| levels.below);
        rare(nothing, Method::SubsetSimulation, by_sample.min(by_levels), None)
    };
    rare.evaluations = work.evaluations;
    rare.failed = work.failed;
    rare.reached = rare.share.standard_error <= work.until() * rare.share.value;
    rare.design_points = design_points;
    Ok(rare)
}

/// What is done for one question.
struct Work<'a> {
    model: &'a dyn Model,
    population: &'a Population,
    question: &'a Question<'a>,
    progress: &'a dyn Progress,
    evaluations: u64,
    failed: u64,
}

/// What one scrambling of one method gives.
type OneScrambling<'a> = dyn Fn(&mut Evaluator<'_>, &Scrambling<'_>) -> f64 + Sync + 'a;

impl<'a> Work<'a> {
    fn until(&self) -> f64 {
        self.question.until.unwrap_or(UNTIL)
    }

    fn evaluator(&self) -> Evaluator<'a> {
        Evaluator::new(self.model, self.population, self.question.event)
    }

    fn account(&mut self, g: &Evaluator<'_>) {
        self.evaluations += g.evaluations;
        self.failed += g.failed;
    }

    fn stopped(&self) -> Result<(), SpreadError> {
        if self.progress.cancelled() { Err(SpreadError::Cancelled) } else { Ok(()) }
    }

    /// log₂ of the most points of a scrambling that memory is taken for.
    fn held(&self) -> u32 {
        (HELD / self.population.coordinates().max(1)).max(16).ilog2()
    }

    /// Design points, and what subset simulation found where it was needed.
    fn find(&mut self) -> Result<(Vec<DesignPoint>, Option<Levels>), SpreadError> {
        let Question { seed, purpose, sampled, .. } = *self.question;
        let mut g = self.evaluator();
        let mut points = search_all(&mut g, seed, &format!("explore/{purpose}"));
        for start in self.question.starts {
            if let Some(found) = search(&mut g, start) {
                design_point::add(&mut points, found);
            }
        }
        points.sort_by(|a, b| a.beta.total_cmp(&b.beta));
        self.stopped()?;
        let counted = sampled.map_or(0.0, |sampled| sampled.share * sampled.points as f64);
        let levels = (points.is_empty() || counted < COUNTED_ENOUGH).then(|| self.levels());
        if let Some(levels) = &levels {
            self.add_unexplained(&mut g, &mut points, levels);
        }
        self.account(&g);
        self.stopped()?;
        Ok((points, levels))
    }

    fn levels(&mut self) -> Levels {
        let Question { seed, purpose, floor, .. } = *self.question;
        let purpose = format!("levels/{purpose}");
        let found: Vec<(levels::Descent, u64, u64)> = (0..SCRAMBLINGS)
            .into_par_iter()
            .map(|number| {
                let mut g = self.evaluator();
                let descent = levels::descend(&mut g, seed, &purpose, number, floor);
                (descent, g.evaluations, g.failed)
            })
            .collect();
        self.evaluations += found.iter().map(|f| f.1).sum::<u64>();
        self.failed += found.iter().map(|f| f.2).sum::<u64>();
        Levels::of(&found.into_iter().map(|f| f.0).collect::<Vec<_>>())
    }

    /// Design points for those points in the event that none explains yet.
    fn add_unexplained(&self, g: &mut Evaluator<'_>, points: &mut Vec<DesignPoint>, levels: &Levels) {
        let mut inside = levels.inside.clone();
        inside.sort_by(|a, b| design_point::norm(a).total_cmp(&design_point::norm(b)));
        let most = (UNEXPLAINED * inside.len() as f64) as usize;
        let mut tries = 0;
        loop {
            inside.retain(|point| !explained(points, point));
            if inside.len() <= most || points.len() >= design_point::MOST || tries >= 2 * design_point::MOST {
                break;
            }
            tries += 1;
            let start = inside.remove(0);
            let known = points.len();
            if let Some(found) = search(g, &start) {
                design_point::add(points, found);
            }
            if points.len() == known || !explained(points, &start) {
                // No slope led anywhere new: the way there itself.
                points.extend(design_point::on_the_way_to(g, &start));
            }
        }
        points.sort_by(|a, b| a.beta.total_cmp(&b.beta));
    }

    /// Each scrambling is one task, and a fresh evaluator per task keeps the result independent of which thread takes it.
    fn run(&mut self, log2_points: u32, purpose: &str, one: &OneScrambling<'_>) -> (Estimate, Vec<f64>) {
        let seed = self.question.seed;
        let found: Vec<(f64, u64, u64)> = (0..SCRAMBLINGS)
            .into_par_iter()
            .map(|number| {
                let mut g = self.evaluator();
                let value = one(&mut g, &Scrambling { seed, purpose, number, log2_points });
                (value, g.evaluations, g.failed)
            })
            .collect();
        self.evaluations += found.iter().map(|f| f.1).sum::<u64>();
        self.failed += found.iter().map(|f| f.2).sum::<u64>();
        let values: Vec<f64> = found.iter().map(|f| f.0).collect();
        (mean(&values), values)
    }

    /// The share by line sampling, checked; by something else where a check fails.
    fn integrate(
        &mut self,
        points: &[DesignPoint],
        levels: Option<&Levels>,
    ) -> Result<(Estimate, Method, Option<FellBack>), SpreadError> {
        let held = self.held();
        let (by_lines, crossings) = self.by_lines(points)?;
        let importance_purpose = format!("importance/{}", self.question.purpose);
        let importance = |g: &mut Evaluator<'_>, sobol: &Scrambling<'_>| importance::scrambling(g, points, sobol).0;
        let mut log2_points = CHECK_POINTS.min(held);
        let (mut by_importance, _) = self.run(log2_points, &importance_purpose, &importance);
        let mut fell_back = None;
        if apart(&by_lines, &by_importance) {
            // Is the check itself wrong? Once more, with more points.
            log2_points = (CHECK_POINTS + 3).min(held);
            by_importance = self.run(log2_points, &importance_purpose, &importance).0;
            if apart(&by_lines, &by_importance) {
                fell_back = Some(match crossings {
                    Some((scanned, finer)) => FellBack::Crossings { scanned, finer },
                    None => FellBack::ImportanceSampling { lines: by_lines.value, importance: by_importance.value },
                });
            }
        }
        fell_back = fell_back.or_else(|| self.overlooked(&by_lines, levels));
        if fell_back.is_none() {
            return Ok((by_lines, Method::LineSampling, None));
        }
        while log2_points < LAST_POINTS.min(held) && by_importance.standard_error > self.until() * by_importance.value {
            log2_points = (log2_points + 2).min(LAST_POINTS.min(held));
            by_importance = self.run(log2_points, &importance_purpose, &importance).0;
            self.stopped()?;
        }
        let mut best = (by_importance, Method::ImportanceSampling);
        if self.overlooked(&by_importance, levels).is_some() {
            let sampled = self.question.sampled.filter(|sampled| sampled.share > 0.0);
            best = match (sampled, levels) {
                (Some(sampled), _) => {
                    let share = Estimate { value: sampled.share, standard_error: sampled.standard_error };
                    (share, Method::QuasiMonteCarlo)
                }
                (None, Some(levels)) if levels.share.value > 0.0 => (levels.share, Method::SubsetSimulation),
                _ => best,
            };
        }
        Ok((best.0, best.1, fell_back))
    }

    /// By line sampling, and where the scan of the lines proved too coarse, what it and a finer one found.
    fn by_lines(&mut self, points: &[DesignPoint]) -> Result<(Estimate, Option<(f64, f64)>), SpreadError> {
        let last_lines = if self.question.until.is_some() { LAST_LINES } else { LAST_LINES_UNASKED }.min(self.held());
        let (until, seed) = (self.until(), self.question.seed);
        let purpose = format!("lines/{}", self.question.purpose);
        let mut g = self.evaluator();
        let frames: Vec<lines::Frame> = points.iter().map(|point| lines::Frame::new(&mut g, point)).collect();
        let frames = &frames;
        self.account(&g);
        let mut finer = false;
        let mut crossings = None;
        let mut log2_lines = FIRST_LINES.min(self.held());
        loop {
            let (mut by_lines, values) =
                self.run(log2_lines, &purpose, &|g, sobol| lines::scrambling(g, frames, sobol, finer).share);
            by_lines.standard_error = by_lines.standard_error.max(FLOOR * by_lines.value);
            if !finer {
                // The first two scramblings again, looking four times as closely.
                let mut check = self.evaluator();
                for (number, &scanned) in (0..2).zip(&values) {
                    let log2_points = log2_lines.min(FIRST_LINES + 2);
                    let sobol = Scrambling { seed, purpose: &purpose, number, log2_points };
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
                self.account(&check);
                if finer {
                    // All over again with the finer scan, and whether that is fine enough is for the other checks to say.
                    continue;
                }
            }
            self.stopped()?;
            if by_lines.standard_error <= until * by_lines.value || log2_lines >= last_lines {
                return Ok((by_lines, crossings));
            }
            // Scrambled nets gain at least as √n; aim a little beyond.
            let wanted = (by_lines.standard_error / (until * by_lines.value)).log2().ceil().clamp(1.0, 3.0);
            log2_lines = (log2_lines + wanted as u32).min(last_lines);
        }
    }

    /// What shows that an estimate from design points is wrong: the counts of the sample, or much more by subset simulation.
    fn overlooked(&self, estimate: &Estimate, levels: Option<&Levels>) -> Option<FellBack> {
        if let Some(sampled) = self.question.sampled {
            // The scatter that a share of this size gives a count, at least that of one event.
            let n = sampled.points as f64;
            let by_chance = (estimate.value.max(1.0 / n) / n).sqrt();
            if (sampled.share - estimate.value).abs() > APART * by_chance.hypot(estimate.standard_error) {
                return Some(FellBack::Counts { lines: estimate.value, counted: sampled.share });
            }
        }
        let levels = levels?.share;
        // Subset simulation is coarse, and a little biased with so few points: half as much again is not yet more.
        let more = levels.value - APART * levels.standard_error - 1.5 * estimate.value;
        (more > APART * estimate.standard_error)
            .then_some(FellBack::SubsetSimulation { lines: estimate.value, levels: levels.value })
    }
}

/// Whether two estimates differ by more than chance.
fn apart(a: &Estimate, b: &Estimate) -> bool {
    // 1 % of slack where both errors are known to be small: each is only an estimate from a few scramblings.
    (a.value - b.value).abs() > APART * a.standard_error.hypot(b.standard_error) + 0.01 * a.value.min(b.value)
}
