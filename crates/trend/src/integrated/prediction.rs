//! Forecasts: at every draw of the parameters, and of which readings are gross errors, each history's level and slope are normal; the draws
//! together are the forecast.

use super::anchor::starts;
use super::answer::{Fitted, Forecast, MeanLine};
use super::frame::{Block, Frame};
use super::gross::{changes, changes_of_reduced};
use super::likelihood::{Lines, Totals, Workspace, solve, solve_each};
use super::priors::Theta;
use super::sampler::Scratch;
use crate::crossing::{Prospect, Zone};
use crate::kernel::Outlook;
use crate::kernel::frame::Clock;
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use packdrift_numerics::stream::Key;
use packdrift_numerics::{normal, root};
use rayon::prelude::*;
use std::sync::Arc;

/// A history is also forecast with every reading at its word where one of its readings is a gross error with at least this chance.
const DOUBTFUL: f64 = 0.05;

/// Up to this many blocks what a draw has reduced is kept between the passes over the fleet; beyond it is made again, for it would not stay at hand.
const KEPT: usize = 500;

/// Draws that fitted values at readings are averaged over: figures need no more.
const FOR_FIGURES: usize = 64;

/// Draws of equal weight.
pub(crate) struct Points {
    pub(crate) thetas: Vec<Theta>,
    pub(crate) scramblings: usize,
    pub(crate) seed: u64,
}

/// Everything that forecasts are made of.
pub(crate) struct Predicted {
    pub(crate) forecasts: Vec<Forecast>,
    pub(crate) gross: Vec<Vec<f64>>,
    pub(crate) lines: Vec<MeanLine>,
    /// By group: averaged over the mean line, and by draws of it.
    pub(crate) unread: Vec<(Prospect, Prospect)>,
}

/// What one draw makes of the fleet.
struct AtDraw {
    /// By current case, blocks in order.
    outlooks: Vec<Outlook>,
    /// By reading, blocks in order.
    gross: Vec<f64>,
    totals: Totals,
    lines: Lines,
}

/// Level and slope at the last visit of each current case of a block, in the feature's unit.
pub(super) fn outlooks(
    block: &Block,
    frame: &Frame,
    theta: &Theta,
    lines: &Lines,
    scratch: &mut Scratch,
    only: Option<usize>,
    out: &mut Vec<Outlook>,
) {
    scratch.work.reduce(block, theta);
    outlooks_of_reduced(block, frame, theta, lines, &mut scratch.work, only, out);
}

/// [`outlooks`] of the block that `work` reduced last, at the same parameters.
fn outlooks_of_reduced(
    block: &Block,
    frame: &Frame,
    theta: &Theta,
    lines: &Lines,
    work: &mut Workspace,
    only: Option<usize>,
    out: &mut Vec<Outlook>,
) {
    let variance = frame.length * frame.length;
    let (t, a) = (frame.time, frame.length);
    work.lines_of_reduced(block, &frame.shares, theta, lines, |place, case, filter, line, _| {
        if !case.current || only.is_some_and(|only| only != place) {
            return;
        }
        let (_, _, walk) = filter.sums(&case.mean);
        let x = filter.last_x();
        let (u, v) = (1.0 - filter.last[0], x - filter.last[1]);
        let [c00, c01, c11] = line.cov;
        out.push(Outlook {
            level: frame.centre + a * (u * line.mean[0] + v * line.mean[1] + walk),
            slope: a / t * line.mean[1],
            level_var: variance * (filter.last_var + u * u * c00 + 2.0 * u * v * c01 + v * v * c11),
            slope_var: variance / (t * t) * c11,
            cov: variance / t * (u * c01 + v * c11),
            wander_var: variance / t * theta.wander * theta.wander,
            reading_var: variance * (theta.reading * theta.reading + theta.visit * theta.visit),
            now: 0.0,
        });
    });
}

/// Which reading of a block changes its anchor at a share `u`; None for none.
fn picked(odds: &[f64], sum: f64, u: f64) -> Option<usize> {
    let mut left = u * (1.0 + sum) - 1.0;
    if left < 0.0 {
        return None;
    }
    for (k, o) in odds.iter().enumerate() {
        left -= o;
        if left < 0.0 {
            return Some(k);
        }
    }
    None
}

/// Shares at which draws pick their gross errors, by draw and block: multiples of the golden section, which fill (0, 1) evenly, from an independent
/// start for every scrambling and block.
struct Picks {
    starts: Vec<Vec<f64>>,
    each: usize,
}

impl Picks {
    fn new(points: &Points, blocks: usize) -> Self {
        let key = Key::new(points.seed, "integrated/gross");
        let starts = (0..points.scramblings)
            .map(|s| {
                let mut stream = key.stream(s as u64);
                (0..blocks).map(|_| stream.uniform()).collect()
            })
            .collect();
        Self { starts, each: (points.thetas.len() / points.scramblings).max(1) }
    }

    fn share(&self, draw: usize, block: usize) -> f64 {
        const GOLDEN: f64 = 0.618_033_988_749_894_9;
        let start = self.starts[(draw / self.each).min(self.starts.len() - 1)][block];
        (start + GOLDEN * (draw % self.each) as f64).fract()
    }
}

fn at_draw(
    frame: &Frame,
    all: &[usize],
    theta: &Theta,
    draw: usize,
    picks: &Picks,
    scratch: &mut Scratch,
) -> Option<AtDraw> {
    let keep = all.len() <= KEPT;
    let lines = {
        let Scratch { work, each, totals, .. } = &mut *scratch;
        if keep { solve_each(frame, all, theta, each, totals)? } else { solve(frame, all, theta, work, totals)? }
    };
    let mut totals = scratch.totals.clone();
    let mut part = Totals::new(frame.groups);
    let mut gross = Vec::new();
    let mut changed: Vec<(usize, Block)> = Vec::new();
    for &b in all {
        let block = &frame.blocks[b];
        let Scratch { work, each, changes: own, seen, .. } = &mut *scratch;
        match each.get_mut(b).filter(|_| keep) {
            Some(reduced) => changes_of_reduced(block, &frame.shares, theta, &lines, reduced, seen, own),
            None => changes(block, &frame.shares, theta, &lines, work, seen, own),
        }
        let kept = block.cases.iter().flat_map(|c| c.entries.iter().map(|e| e.kept));
        gross.extend(kept.enumerate().map(|(k, kept)| own.chance(k, kept)));
        if let Some(changing) = picked(&own.odds, own.sum, picks.share(draw, b)) {
            let starts = starts(block);
            let other = block.with_kept(|c, k, e| if starts[c] + k == changing { !e.kept } else { e.kept });
            part.clear();
            work.add(block, &frame.shares, theta, &mut part);
            totals.add(&part, -1.0);
            part.clear();
            work.add(&other, &frame.shares, theta, &mut part);
            totals.add(&part, 1.0);
            changed.push((b, other));
        }
    }
    // The mean lines of the changed fleet; where a change left them untold, the anchor's.
    let lines = if changed.is_empty() { lines } else { totals.solve().unwrap_or(lines) };
    let mut out = Vec::new();
    let mut next = changed.iter().peekable();
    for &b in all {
        if let Some((_, other)) = next.next_if(|(place, _)| *place == b) {
            outlooks(other, frame, theta, &lines, scratch, None, &mut out);
            continue;
        }
        let block = &frame.blocks[b];
        match scratch.each.get_mut(b).filter(|_| keep) {
            Some(reduced) => outlooks_of_reduced(block, frame, theta, &lines, reduced, None, &mut out),
            None => outlooks(block, frame, theta, &lines, scratch, None, &mut out),
        }
    }
    Some(AtDraw { outlooks: out, gross, totals, lines })
}

/// Places of the current cases: block, case, reading where the case begins in the list of all readings.
struct Current {
    block: usize,
    case: usize,
    first: usize,
}

pub(crate) fn predict(
    frame: &Frame,
    points: &Points,
    zone: Zone,
    histories: usize,
    readings: &[usize],
    fitted: bool,
) -> Option<Predicted> {
    let all: Vec<usize> = (0..frame.blocks.len()).collect();
    let picks = Picks::new(points, frame.blocks.len());
    let draws: Vec<AtDraw> = points
        .thetas
        .par_iter()
        .enumerate()
        .map_init(|| Scratch::of(frame), |scratch, (draw, theta)| at_draw(frame, &all, theta, draw, &picks, scratch))
        .collect::<Option<Vec<_>>>()?;
    let n = draws.len() as f64;

    let mut gross: Vec<Vec<f64>> = readings.iter().map(|count| vec![0.0; *count]).collect();
    let mut current = Vec::new();
    let mut mean_gross = Vec::new();
    for (b, block) in frame.blocks.iter().enumerate() {
        for (c, case) in block.cases.iter().enumerate() {
            if case.current {
                current.push(Current { block: b, case: c, first: mean_gross.len() });
            }
            for entry in &case.entries {
                let k = mean_gross.len();
                let chance = draws.iter().map(|d| d.gross[k]).sum::<f64>() / n;
                gross[case.history][entry.reading] = chance;
                mean_gross.push(chance);
            }
        }
    }
    let clocks: Arc<[Clock]> =
        points.thetas.iter().map(|t| Clock { power: t.power, unit: frame.time, growth: t.growth }).collect();
    let prospect = |outlooks: Vec<Outlook>, age: f64| Prospect {
        outlooks,
        clocks: Arc::clone(&clocks),
        scramblings: points.scramblings,
        zone,
        age,
        ..Prospect::default()
    };
    let doubtful: Vec<usize> = (0..current.len())
        .filter(|&i| {
            let count = frame.blocks[current[i].block].cases[current[i].case].entries.len();
            mean_gross[current[i].first..current[i].first + count].iter().any(|c| *c >= DOUBTFUL)
        })
        .collect();
    let believed = believe(frame, points, &draws, &current, &doubtful)?;
    let figures = if fitted { at_visits(frame, points, &draws, &current) } else { Vec::new() };

    let mut by_history: Vec<Option<Forecast>> = (0..histories).map(|_| None).collect();
    for (i, place) in current.iter().enumerate() {
        let case = &frame.blocks[place.block].cases[place.case];
        let own: Vec<Outlook> = draws.iter().map(|d| d.outlooks[i]).collect();
        let age = frame.time * case.last();
        let at_own_word =
            doubtful.binary_search(&i).ok().map(|k| prospect(believed.iter().map(|d| d[k]).collect(), age));
        by_history[case.history] = Some(summary(
            case.history,
            own,
            &clocks,
            age,
            frame.time,
            at_own_word,
            figures.get(i).cloned().unwrap_or_default(),
            &prospect,
        ));
    }
    let new = |g: usize| points.thetas.iter().zip(&draws).map(|(t, d)| new_history(frame, t, &d.lines, g)).collect();
    let mean_lines = drawn_lines(points, &draws);
    let drawn = |g: usize| -> Vec<Outlook> {
        let with_lines = points.thetas.iter().zip(&mean_lines);
        with_lines.map(|(t, lines)| new_history(frame, t, lines, g)).collect()
    };
    let unread = (0..frame.groups).map(|g| (prospect(new(g), 0.0), prospect(drawn(g), 0.0))).collect();
    let lines = (0..frame.groups).map(|g| mean_line(frame, &draws, g)).collect();
    Some(Predicted { forecasts: by_history.into_iter().flatten().collect(), gross, lines, unread })
}

#[allow(clippy::too_many_arguments, reason = "one call")]
fn summary(
    history: usize,
    own: Vec<Outlook>,
    clocks: &[Clock],
    age: f64,
    time: f64,
    believed: Option<Prospect>,
    fitted: Vec<Fitted>,
    prospect: &impl Fn(Vec<Outlook>, f64) -> Prospect,
) -> Forecast {
    let n = own.len() as f64;
    // At 0 hours a power below 1 has no finite rate; a twentieth of T stands for the beginning.
    let rates: Vec<f64> = clocks.iter().map(|c| c.rate(age.max(0.05 * time))).collect();
    let level = Spread::of(own.iter().map(|o| (o.level, o.level_var)));
    let slope = Spread::of(own.iter().zip(&rates).map(|(o, r)| (o.slope * r, o.slope_var * r * r)));
    let both = own.iter().zip(&rates).map(|(o, r)| o.cov * r + (o.level - level.mean) * (o.slope * r - slope.mean));
    let correlation = (both.sum::<f64>() / n / (level.sd * slope.sd)).clamp(-1.0, 1.0);
    let (level_se, slope_se) = (level.half_of_95(), slope.half_of_95());
    Forecast {
        history,
        level: level.mean,
        level_se,
        slope: slope.mean,
        slope_se,
        level_slope_cov: if correlation.is_finite() { correlation * level_se * slope_se } else { 0.0 },
        believed,
        fitted,
        prospect: prospect(own, age),
    }
}

/// A mixture of normals of equal weight.
struct Spread {
    mean: f64,
    sd: f64,
    normals: Vec<(f64, f64)>,
}

impl Spread {
    /// Of means and variances.
    fn of(normals: impl Iterator<Item = (f64, f64)>) -> Self {
        let normals: Vec<(f64, f64)> = normals.map(|(m, v)| (m, v.max(0.0).sqrt())).collect();
        let n = normals.len() as f64;
        let mean = normals.iter().map(|(m, _)| m).sum::<f64>() / n;
        let var = normals.iter().map(|(m, s)| s * s + (m - mean) * (m - mean)).sum::<f64>() / n;
        Self { mean, sd: var.sqrt(), normals }
    }

    /// Half of its central 95 % over 1.96: what a normal of the same interval has for its standard deviation.
    ///
    /// With three readings the posterior of the reading error has a long tail; a standard deviation would be made by the few draws in which the
    /// gauge hardly measures at all, and say nothing of the interval.
    fn half_of_95(&self) -> f64 {
        let n = self.normals.len() as f64;
        let share = |x: f64| {
            let below =
                |(m, s): &(f64, f64)| if *s > 0.0 { normal::cdf((x - m) / s) } else { f64::from(u8::from(x >= *m)) };
            self.normals.iter().map(below).sum::<f64>() / n
        };
        if !self.sd.is_finite() || self.sd <= 0.0 {
            return self.sd;
        }
        // Beyond 7 standard deviations lies at most 1/49 of any distribution (Chebyshev), which is less than 2.5 %.
        let quantile = |order: f64| {
            let (low, high) = (self.mean - 7.0 * self.sd, self.mean + 7.0 * self.sd);
            root::brent(|x| share(x) - order, low, high, 1e-5 * self.sd).unwrap_or(f64::NAN)
        };
        (quantile(0.975) - quantile(0.025)) / (2.0 * normal::quantile(0.975))
    }
}

/// By draw and doubtful case: its outlook with every one of its readings kept.
fn believe(
    frame: &Frame,
    points: &Points,
    draws: &[AtDraw],
    current: &[Current],
    doubtful: &[usize],
) -> Option<Vec<Vec<Outlook>>> {
    if doubtful.is_empty() {
        return Some(vec![Vec::new(); draws.len()]);
    }
    let blocks: Vec<(usize, usize, Block)> = doubtful
        .iter()
        .map(|&i| {
            let Current { block, case, .. } = current[i];
            (block, case, frame.blocks[block].with_kept(|c, _, e| e.kept || c == case))
        })
        .collect();
    let all: Vec<usize> = (0..frame.blocks.len()).collect();
    points
        .thetas
        .par_iter()
        .zip(draws)
        .map_init(
            || (Scratch::of(frame), Totals::new(frame.groups), Totals::new(frame.groups)),
            |(scratch, part, whole), (theta, _)| {
                let Scratch { work, totals, .. } = &mut *scratch;
                solve(frame, &all, theta, work, totals)?;
                let base = totals.clone();
                let mut out = Vec::with_capacity(blocks.len());
                for (b, case, other) in &blocks {
                    whole.clear();
                    whole.add(&base, 1.0);
                    part.clear();
                    scratch.work.add(&frame.blocks[*b], &frame.shares, theta, part);
                    whole.add(part, -1.0);
                    part.clear();
                    scratch.work.add(other, &frame.shares, theta, part);
                    whole.add(part, 1.0);
                    let lines = whole.solve()?;
                    outlooks(other, frame, theta, &lines, scratch, Some(*case), &mut out);
                }
                Some(out)
            },
        )
        .collect()
}

/// The true value at the visits of every current case, over some of the draws.
fn at_visits(frame: &Frame, points: &Points, draws: &[AtDraw], current: &[Current]) -> Vec<Vec<Fitted>> {
    let stride = draws.len().div_ceil(FOR_FIGURES).max(1);
    let some: Vec<(&Theta, &Lines)> =
        points.thetas.iter().zip(draws).step_by(stride).map(|(t, d)| (t, &d.lines)).collect();
    let blocks: Vec<Vec<Vec<(f64, f64)>>> = frame
        .blocks
        .par_iter()
        .with_min_len(8)
        .map_init(
            || Scratch::of(frame),
            |scratch, block| {
                let mut sums: Vec<Vec<(f64, f64)>> = block
                    .cases
                    .iter()
                    .map(|c| if c.current { vec![(0.0, 0.0); c.mean.len()] } else { Vec::new() })
                    .collect();
                for (theta, lines) in &some {
                    scratch.work.lines(block, &frame.shares, theta, lines, |place, case, filter, line, column| {
                        if !case.current {
                            return;
                        }
                        filter.column(&case.mean, column);
                        let own = &mut sums[place];
                        filter.back(column, line.mean, line.cov, |i, seen| {
                            own[i].0 += seen.mean;
                            own[i].1 += seen.var + seen.mean * seen.mean;
                        });
                    });
                }
                sums
            },
        )
        .collect();
    let n = some.len() as f64;
    current
        .iter()
        .map(|place| {
            let case = &frame.blocks[place.block].cases[place.case];
            let sums = &blocks[place.block][place.case];
            let at = case.since_start().zip(sums);
            at.map(|(hours, (sum, squares))| {
                let mean = sum / n;
                Fitted {
                    hours: frame.time * hours,
                    mean: frame.centre + frame.length * mean,
                    sd: frame.length * (squares / n - mean * mean).max(0.0).sqrt(),
                }
            })
            .collect()
        })
        .collect()
}

/// A history of a group that is not yet read.
pub(super) fn new_history(frame: &Frame, theta: &Theta, lines: &Lines, group: usize) -> Outlook {
    let (a, t) = (frame.length, frame.time);
    let (mean, cov) = lines.of(group);
    let slope_var = theta.slope.powi(2) + theta.kept.powi(2) + (frame.shares[group] * theta.engine).powi(2);
    Outlook {
        level: frame.centre + a * mean[0],
        slope: a / t * mean[1],
        level_var: a * a * (cov[0] + theta.start.powi(2)),
        slope_var: a * a / (t * t) * (cov[2] + slope_var),
        cov: a * a / t * (cov[1] + theta.correlation * theta.start * theta.slope),
        wander_var: a * a / t * theta.wander.powi(2),
        reading_var: a * a * (theta.reading.powi(2) + theta.visit.powi(2)),
        now: 0.0,
    }
}

/// By draw: one draw of all groups' mean lines from what is known of them there, as lines that are known.
fn drawn_lines(points: &Points, draws: &[AtDraw]) -> Vec<Lines> {
    let key = Key::new(points.seed, "integrated/lines");
    draws
        .iter()
        .enumerate()
        .map(|(k, draw)| {
            let mut stream = key.stream(k as u64);
            let n = draw.lines.mean.len();
            let z = DVector::from_fn(n, |_, _| stream.normal());
            // The symmetric root of a covariance, which rounding may have left with an eigenvalue just below 0.
            let eigen = SymmetricEigen::new(DMatrix::from_row_slice(n, n, &draw.lines.cov));
            let along = eigen.eigenvectors.transpose() * z;
            let stretched = DVector::from_fn(n, |i, _| eigen.eigenvalues[i].max(0.0).sqrt() * along[i]);
            let moved = eigen.eigenvectors * stretched;
            Lines {
                mean: draw.lines.mean.iter().zip(moved.iter()).map(|(m, d)| m + d).collect(),
                cov: vec![0.0; n * n],
                ln_likelihood: draw.lines.ln_likelihood,
            }
        })
        .collect()
}

fn mean_line(frame: &Frame, draws: &[AtDraw], group: usize) -> MeanLine {
    let n = draws.len() as f64;
    let of: Vec<([f64; 2], [f64; 3])> = draws.iter().map(|d| d.lines.of(group)).collect();
    let mean = |k: usize| of.iter().map(|(m, _)| m[k]).sum::<f64>() / n;
    let (m0, m1) = (mean(0), mean(1));
    let var = |k: usize, m: f64| of.iter().map(|(x, v)| v[2 * k] + (x[k] - m).powi(2)).sum::<f64>() / n;
    let (a, per_hour) = (frame.length, frame.length / frame.time);
    MeanLine {
        intercept: frame.centre + a * m0,
        intercept_se: a * var(0, m0).sqrt(),
        slope: per_hour * m1,
        slope_se: per_hour * var(1, m1).sqrt(),
    }
}
