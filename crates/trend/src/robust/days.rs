//! Days on which all readings were off together: an instrument out of true, or wear that truly came at once.
//!
//! Which of the two it was only later readings can tell, or another instrument. So a day's readings are set aside ([`Finding::Returned`])
//! where the valves' readings before it and on two later visits or more agree with each other and not with it; where nothing was read since, they stay,
//! and both answers are worked out ([`Finding::Open`]). Where there is a single later visit it may be that one which is off, so it is the one left open. What looks off because the wear is bent is told apart by the other days: where all days lie
//! off the model, none of them is to be blamed.

use super::visits::visits;
use super::{View, threshold};
use crate::kernel::FleetLaw;
use crate::segments::Segments;
use std::collections::BTreeMap;

/// Whether later readings returned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Finding {
    /// They did: the day was off, and its readings are set aside.
    Returned,
    /// Nothing was read since that could say so: the readings stay.
    Open,
}

/// A day that lies off.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Day {
    pub(crate) date: i32,
    pub(crate) finding: Finding,
    /// Positions of its readings.
    pub(crate) readings: Vec<usize>,
    pub(crate) engines: Vec<u32>,
    pub(crate) shift: f64,
    pub(crate) shift_se: f64,
}

/// A day must move its readings by at least this many standard deviations of a reading to count: smaller shifts are temperature and
/// habit, and do not condemn an instrument.
const LEAST_SHIFT: f64 = 1.0;

/// A day must lie this many times as far off as the days of the record usually do.
const BEYOND_OTHERS: f64 = 4.0;

/// Days beside it that tell how far days usually lie off.
const OTHER_DAYS: usize = 4;

/// One segment's part in a day.
struct Part {
    segment: usize,
    readings: std::ops::Range<usize>,
    /// d′V⁻¹r, d′V⁻¹d and X′V⁻¹d of the pulse: this day alone.
    pulse: Sums,
    /// The same of a step: this day and all after it.
    step: Sums,
    /// Whether the segment was read before and after it.
    inner: bool,
    /// Whether it was read after it.
    read_since: bool,
}

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    top: f64,
    square: f64,
    mean: [f64; 2],
}

impl Sums {
    fn of(view: &View, range: std::ops::Range<usize>) -> Self {
        let pulled = &view.inverse * &view.residual;
        let mut out = Self { top: range.clone().map(|k| pulled[k]).sum(), ..Self::default() };
        for k in range.clone() {
            out.square += range.clone().map(|j| view.inverse[(k, j)]).sum::<f64>();
            for j in 0..view.len() {
                out.mean[0] += view.inverse[(k, j)];
                out.mean[1] += view.inverse[(k, j)] * view.lambda[j];
            }
        }
        out
    }
}

/// d′V⁻¹r, and d′V⁻¹d less and without what the mean lines' own errors take of it.
fn pattern<'a>(segments: &Segments, law: &FleetLaw, sums: impl Iterator<Item = (usize, &'a Sums)>) -> (f64, f64, f64) {
    let p = 2 * law.lines.len();
    let (mut top, mut square, mut mean) = (0.0, 0.0, vec![0.0; p]);
    for (segment, part) in sums {
        let place = law.place(segments.group[segment] as usize);
        top += part.top;
        square += part.square;
        mean[place] += part.mean[0];
        mean[place + 1] += part.mean[1];
    }
    let fitted: f64 = (0..p).map(|i| (0..p).map(|j| mean[i] * law.lines_cov[i * p + j] * mean[j]).sum::<f64>()).sum();
    (top, square - fitted, square)
}

/// The parts of every day.
fn parts(segments: &Segments, law: &FleetLaw, weights: &[f64], day: &dyn Fn(usize) -> i32) -> BTreeMap<i32, Vec<Part>> {
    let counts = |i: usize| weights.get(i).is_none_or(|w| *w > 0.0);
    let mut days: BTreeMap<i32, Vec<Part>> = BTreeMap::new();
    for s in 0..segments.len() {
        let own = weights.get(segments.range(s)).unwrap_or_default();
        let Some(view) = View::new(segments, law, own, s) else { continue };
        let n = view.len();
        let mut i = 0;
        while i < n {
            let today = day(view.first + i);
            let mut end = i + 1;
            while end < n && day(view.first + end) == today {
                end += 1;
            }
            if (i..end).all(|k| counts(view.first + k)) {
                let read_since = (end..n).any(|k| counts(view.first + k));
                days.entry(today).or_default().push(Part {
                    segment: s,
                    readings: view.first + i..view.first + end,
                    pulse: Sums::of(&view, i..end),
                    step: Sums::of(&view, i..n),
                    inner: read_since && (0..i).any(|k| counts(view.first + k)),
                    read_since,
                });
            }
            i = end;
        }
    }
    days
}

/// How far a day lies off, in standard errors, and its shift with its standard error; None where it is not to be told from the fleet's start.
fn off(segments: &Segments, law: &FleetLaw, parts: &[Part]) -> Option<(f64, f64, f64)> {
    let (top, square, whole) = pattern(segments, law, parts.iter().map(|p| (p.segment, &p.pulse)));
    (square >= 0.2 * whole && square > 0.0).then(|| (top / square.sqrt(), top / square, 1.0 / square.sqrt()))
}

/// The day most clearly off, if any is. `weights` are 0 for readings that are set aside already (empty for none); `known` are days that
/// were judged before.
pub(crate) fn worst(
    segments: &Segments,
    law: &FleetLaw,
    weights: &[f64],
    day: &dyn Fn(usize) -> i32,
    known: &[i32],
) -> Option<Day> {
    let visit = visits(segments, day);
    let days = parts(segments, law, weights, day);
    let limit = threshold(days.len());
    let shifts: Vec<(i32, f64)> = days
        .iter()
        .filter(|(_, parts)| parts.len() >= 3)
        .filter_map(|(d, parts)| Some((*d, off(segments, law, parts)?.1.abs())))
        .collect();
    let mut worst: Option<(f64, Day)> = None;
    for (date, parts) in &days {
        if parts.len() < 3 || known.contains(date) {
            continue;
        }
        let Some((z, shift, shift_se)) = off(segments, law, parts) else { continue };
        let large = z.abs() > limit && shift.abs() > LEAST_SHIFT * law.reading;
        if !large || !agreed(segments, law, parts, z, limit) || !stands_out(&shifts, *date, shift) {
            continue;
        }
        let mut engines: Vec<u32> = parts.iter().map(|p| segments.engine[p.segment]).collect();
        engines.dedup();
        let finding = if returned(segments, law, parts, z, limit) {
            // One later visit alone may be the one that is off: then that one is open, with its answer without it.
            if let Some((last, readings)) = only_later_visit(segments, parts, weights, &visit) {
                if !known.contains(&last) && worst.as_ref().is_none_or(|(w, _)| z.abs() > *w) {
                    let found = Day { date: last, finding: Finding::Open, readings, engines, shift: -shift, shift_se };
                    worst = Some((z.abs(), found));
                }
                continue;
            }
            Finding::Returned
        } else if parts.iter().filter(|p| !p.read_since).count() * 2 >= parts.len() && engines.len() > 1 {
            Finding::Open
        } else {
            // Read since, and the readings did not return: it was no fault of the day. Or one engine alone, which may have changed.
            continue;
        };
        if worst.as_ref().is_none_or(|(w, _)| z.abs() > *w) {
            let readings = parts.iter().flat_map(|p| p.readings.clone()).collect();
            worst = Some((z.abs(), Day { date: *date, finding, readings, engines, shift, shift_se }));
        }
    }
    worst.map(|(_, d)| d)
}

/// The visit in which all later readings of a day's valves were made, by its first day, and these readings; None where there are several visits.
fn only_later_visit(segments: &Segments, parts: &[Part], weights: &[f64], visit: &[i32]) -> Option<(i32, Vec<usize>)> {
    let counts = |i: usize| weights.get(i).is_none_or(|w| *w > 0.0);
    let after = |p: &Part| (p.readings.end..segments.range(p.segment).end).filter(|i| counts(*i)).collect::<Vec<_>>();
    let later: Vec<usize> = parts.iter().flat_map(after).collect();
    let date = visit[*later.first()?];
    later.iter().all(|i| visit[*i] == date).then_some((date, later))
}

/// One bad reading must not condemn a day: without the loudest the others have to say the same.
fn agreed(segments: &Segments, law: &FleetLaw, parts: &[Part], z: f64, limit: f64) -> bool {
    let loudest =
        parts.iter().enumerate().max_by(|a, b| (a.1.pulse.top * z).total_cmp(&(b.1.pulse.top * z))).map(|(i, _)| i);
    let rest = parts.iter().enumerate().filter(|(i, _)| Some(*i) != loudest).map(|(_, p)| (p.segment, &p.pulse));
    let (top, square, _) = pattern(segments, law, rest);
    let share = ((parts.len() - 1) as f64 / parts.len() as f64).sqrt();
    square > 0.0 && top / square.sqrt() * z.signum() > limit * share
}

/// Whether the day lies farther off than days usually do: where wear is bent and the model is not, all days lie off.
fn stands_out(shifts: &[(i32, f64)], date: i32, shift: f64) -> bool {
    let mut others: Vec<f64> = shifts.iter().filter(|s| s.0 != date).map(|s| s.1).collect();
    if others.len() < OTHER_DAYS {
        return true;
    }
    others.sort_unstable_by(f64::total_cmp);
    shift.abs() > BEYOND_OTHERS * others[others.len() / 2]
}

/// Whether valves that were read before and after the day say that it was off for the day alone: three of them at the least, more clearly
/// than they say that something changed for good.
fn returned(segments: &Segments, law: &FleetLaw, parts: &[Part], z: f64, limit: f64) -> bool {
    let inner: Vec<&Part> = parts.iter().filter(|p| p.inner).collect();
    if inner.len() < 3 {
        return false;
    }
    let of = |sums: fn(&Part) -> &Sums| {
        let (top, square, _) = pattern(segments, law, inner.iter().map(|p| (p.segment, sums(p))));
        if square > 0.0 { top / square.sqrt() } else { 0.0 }
    };
    let (pulse, step) = (of(|p| &p.pulse), of(|p| &p.step));
    pulse * z > 0.0 && pulse.abs() > limit && pulse.abs() > step.abs()
}
