//! Jumps and bad days, told from drift by the generalised residuals of the fitted model.
//!
//! In segment j let V be the covariance of its readings under the fitted model (line, wander and reading error) and r = y − Xβ. A pattern d
//! (one reading; all readings from one on; all readings of one day, over segments) that adds δ·d to the readings is estimated by
//! δ = d′V⁻¹r/d′V⁻¹d with standard error σ/√(d′V⁻¹d): the innovations of the fitted model weighed against the pattern (A. Harvey, S. J. Koopman,
//! Diagnostic checking of unobserved-components time series models, Journal of Business & Economic Statistics 10 (1992) 377–389). Drift and
//! wander are part of V, so what a valve may do by itself is not taken for a jump. Thresholds hold the chance of one false finding in a
//! whole sound table at 1 %, by Bonferroni over the patterns tried.

use crate::family::Member;
use crate::kernel::posterior::{Posterior, posteriors};
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;
use packdrift_numerics::special::student_t_quantile;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Chance of a false finding in a sound table.
pub(crate) const FALSE_ALARM: f64 = 0.01;
/// Readings of one segment looked at together: the latest, in histories longer than this.
const LONGEST: usize = 200;

/// A reading that does not fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Outlier {
    /// Position in the segments' readings.
    pub(crate) at: usize,
    pub(crate) segment: usize,
    pub(crate) expected: f64,
    pub(crate) standardised: f64,
}

/// A jump that stayed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Step {
    /// Position of the first reading after it.
    pub(crate) at: usize,
    pub(crate) segment: usize,
    pub(crate) size: f64,
    pub(crate) size_se: f64,
    pub(crate) readings_after: usize,
}

/// A day whose readings are off together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Day {
    pub(crate) date: i32,
    pub(crate) readings: Vec<usize>,
    pub(crate) engines: Vec<u32>,
    pub(crate) shift: f64,
    pub(crate) shift_se: f64,
}

/// One segment's readings under the model, in the frame.
struct View {
    first: usize,
    time: Vec<f64>,
    residual: DVector<f64>,
    covariance: DMatrix<f64>,
}

impl View {
    fn new(segments: &Segments, member: &Member, line: &Posterior, s: usize) -> Self {
        let range = segments.range(s);
        let first = range.end - range.len().min(LONGEST);
        let frame = &member.problem.frame;
        let group = member.problem.group[s] as usize;
        let (a, b) = frame.lines[group];
        let theta = &member.fitted.theta;
        let [l0, l1, l2] = theta.l;
        let time: Vec<f64> = (first..range.end).map(|i| member.clock.at(segments.hours[i]) / frame.time).collect();
        let residual = DVector::from_iterator(
            time.len(),
            (first..range.end).zip(&time).map(|(i, t)| {
                (segments.value[i] - a - b * t * frame.time) / frame.scale - line.prior[0] - line.prior[1] * t
            }),
        );
        let (g00, g01, g11) = (l0 * l0, l0 * l1, l1 * l1 + l2 * l2);
        let covariance = DMatrix::from_fn(time.len(), time.len(), |i, k| {
            let (t, u) = (time[i], time[k]);
            g00 + g01 * (t + u) + g11 * t * u + theta.omega2 * t.min(u) + f64::from(u8::from(i == k))
        });
        Self { first, time, residual, covariance }
    }

    /// V⁻¹ with the given readings struck out.
    fn inverse(&self, struck: &[usize]) -> Option<DMatrix<f64>> {
        let mut v = self.covariance.clone();
        for &i in struck {
            v[(i, i)] += 1e9;
        }
        v.cholesky().map(|c| c.inverse())
    }
}

/// What a sound reading scatters by, in the frame: the t's scale, widened to the normal that has the t's quartiles. The few readings that make
/// the tail heavy draw the t's own scale below the rest of the readings'.
fn scatter(member: &Member) -> f64 {
    let sigma = member.fitted.profile.sigma2.sqrt();
    member.df.map_or(sigma, |nu| sigma * student_t_quantile(nu, 0.75) / normal::quantile(0.75))
}

fn threshold(patterns: usize) -> f64 {
    normal::upper_quantile(0.5 * FALSE_ALARM / patterns.max(1) as f64)
}

/// Jumps and single bad readings, segment by segment. A segment may hold several of either.
pub(crate) fn jumps(segments: &Segments, member: &Member) -> (Vec<Step>, Vec<Outlier>) {
    let f = &member.fitted;
    let lines = posteriors(&member.problem, f.shape, &f.theta, &f.profile);
    let limit = threshold(2 * segments.readings());
    let sigma = scatter(member);
    let scale = member.problem.frame.scale;
    let found: Vec<(Option<Step>, Vec<Outlier>)> = (0..segments.len())
        .into_par_iter()
        .map(|s| {
            let view = View::new(segments, member, &lines[s], s);
            let n = view.time.len();
            let (mut struck, mut outliers, mut step) = (Vec::new(), Vec::new(), None);
            while n >= 3 && struck.len() < n / 2 {
                let Some(inverse) = view.inverse(&struck) else { break };
                let vr = &inverse * &view.residual;
                let mut single = (0, 0.0_f64);
                for i in (0..n).filter(|i| !struck.contains(i)) {
                    let z = vr[i] / (sigma * inverse[(i, i)].sqrt());
                    if z.abs() > single.1.abs() {
                        single = (i, z);
                    }
                }
                // Two readings to either side of a jump at the least: one alone is a bad reading.
                let mut jump = (0, 0.0_f64, 0.0);
                let live = |range: std::ops::Range<usize>| range.filter(|i| !struck.contains(i)).count();
                for k in 2..n.saturating_sub(1) {
                    if live(0..k) < 2 || live(k..n) < 2 {
                        continue;
                    }
                    let top: f64 = (k..n).map(|i| vr[i]).sum();
                    let square: f64 = (k..n).map(|i| (k..n).map(|j| inverse[(i, j)]).sum::<f64>()).sum();
                    let z = top / (sigma * square.sqrt());
                    if z.abs() > jump.1.abs() {
                        jump = (k, z, top / square);
                    }
                }
                if jump.1.abs() > limit && jump.1.abs() > single.1.abs() {
                    step = Some(Step {
                        at: view.first + jump.0,
                        segment: s,
                        size: scale * jump.2,
                        size_se: (scale * jump.2 / jump.1).abs(),
                        readings_after: n - jump.0,
                    });
                    break;
                }
                if single.1.abs() <= limit {
                    break;
                }
                let i = single.0;
                outliers.push(Outlier {
                    at: view.first + i,
                    segment: s,
                    expected: segments.value[view.first + i] - scale * vr[i] / inverse[(i, i)],
                    standardised: single.1,
                });
                struck.push(i);
            }
            (step, outliers)
        })
        .collect();
    let steps: Vec<Step> = found.iter().filter_map(|(step, _)| *step).collect();
    (steps, found.into_iter().flat_map(|(_, o)| o).collect())
}

/// A day must move its readings by at least this many standard deviations of a reading to count: smaller shifts are temperature and
/// habit, and do not condemn an instrument.
const LEAST_SHIFT: f64 = 1.0;

/// One segment's part in a day's pattern.
struct Part {
    segment: usize,
    top: f64,
    square: f64,
    /// X′V⁻¹d, in the group's two columns.
    mean: [f64; 2],
    returned: bool,
    readings: std::ops::Range<usize>,
}

/// d′V⁻¹r and d′Pd over the parts, P allowing for the estimated mean lines.
fn pattern<'a>(member: &Member, parts: impl Iterator<Item = &'a Part>) -> (f64, f64, f64) {
    let p = member.problem.fixed();
    let c = &member.fitted.profile.covariance;
    let (mut top, mut square, mut mean) = (0.0, 0.0, vec![0.0; p]);
    for part in parts {
        let g = 2 * member.problem.group[part.segment] as usize;
        top += part.top;
        square += part.square;
        mean[g] += part.mean[0];
        mean[g + 1] += part.mean[1];
    }
    let fitted: f64 = (0..p).map(|i| (0..p).map(|j| mean[i] * c[i * p + j] * mean[j]).sum::<f64>()).sum();
    (top, square - fitted, square)
}

/// The day most clearly off, if any is.
pub(crate) fn worst_day(segments: &Segments, member: &Member, day: impl Fn(usize) -> i32) -> Option<Day> {
    let f = &member.fitted;
    let lines = posteriors(&member.problem, f.shape, &f.theta, &f.profile);
    let mut days: BTreeMap<i32, Vec<Part>> = BTreeMap::new();
    for (s, line) in lines.iter().enumerate() {
        let view = View::new(segments, member, line, s);
        let Some(inverse) = view.inverse(&[]) else { continue };
        let n = view.time.len();
        let vr = &inverse * &view.residual;
        let mut i = 0;
        while i < n {
            let today = day(view.first + i);
            let mut end = i + 1;
            while end < n && day(view.first + end) == today {
                end += 1;
            }
            let mut part = Part {
                segment: s,
                top: (i..end).map(|k| vr[k]).sum(),
                square: 0.0,
                mean: [0.0; 2],
                returned: end < n,
                readings: view.first + i..view.first + end,
            };
            for k in i..end {
                part.square += (i..end).map(|j| inverse[(k, j)]).sum::<f64>();
                for j in 0..n {
                    part.mean[0] += inverse[(k, j)];
                    part.mean[1] += inverse[(k, j)] * view.time[j];
                }
            }
            days.entry(today).or_default().push(part);
            i = end;
        }
    }
    let limit = threshold(days.len());
    let sigma = scatter(member);
    let scale = member.problem.frame.scale;
    let mut worst: Option<(f64, Day)> = None;
    for (day, parts) in days {
        let mut engines: Vec<u32> = parts.iter().map(|p| segments.engine[p.segment]).collect();
        engines.dedup();
        let returned = parts.iter().filter(|p| p.returned).count();
        // Readings of one engine that never came back may as well be a change of that engine.
        if parts.len() < 3 || (engines.len() < 2 && 2 * returned < parts.len()) {
            continue;
        }
        let (top, square, whole) = pattern(member, parts.iter());
        // A day on which the whole fleet began is not to be told from the fleet's start.
        if square < 0.2 * whole {
            continue;
        }
        let (z, shift) = (top / (sigma * square.sqrt()), top / square);
        // One bad reading must not condemn a day: the others have to say the same.
        let loudest = parts.iter().enumerate().max_by(|a, b| (a.1.top * z).total_cmp(&(b.1.top * z))).map(|(i, _)| i);
        let (rest, rest_square, _) =
            pattern(member, parts.iter().enumerate().filter(|(i, _)| Some(*i) != loudest).map(|(_, p)| p));
        let rest = rest / (sigma * rest_square.max(0.0).sqrt());
        let agreed = rest * z.signum() > limit * ((parts.len() - 1) as f64 / parts.len() as f64).sqrt();
        if z.abs() > limit
            && agreed
            && shift.abs() > LEAST_SHIFT * sigma
            && worst.as_ref().is_none_or(|(w, _)| z.abs() > *w)
        {
            worst = Some((
                z.abs(),
                Day {
                    date: day,
                    readings: parts.iter().flat_map(|p| p.readings.clone()).collect(),
                    engines,
                    shift: scale * shift,
                    shift_se: scale * sigma / square.sqrt(),
                },
            ));
        }
    }
    worst.map(|(_, d)| d)
}
