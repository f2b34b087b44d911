//! What the work asks of the drawer and of the parts counter: corrections by size, new parts by what has worn.

use crate::result::{Correction, DemandStep, EngineDue, OrderLine, Ordered, ValveWork};
use packdrift_numerics::normal;

/// Width of the steps in which corrections are counted: the usual steps of shim sizes, 0.05 mm, and of those in inches, 0.002 in.
pub(crate) fn step(unit: &str) -> f64 {
    if unit == "in" { 0.002 } else { 0.05 }
}

/// Most steps on either side of 0: corrections beyond 20 mm are none.
const MOST: f64 = 400.0;

/// The steps that hold the corrections, as whole multiples of their width.
fn steps(corrections: &[Correction], width: f64) -> std::ops::Range<i32> {
    let reach = |sign: f64| {
        let end = corrections.iter().map(|c| sign * c.mean + 3.0 * c.sd).fold(f64::NEG_INFINITY, f64::max);
        if end.is_finite() { (end / width).ceil().clamp(-MOST, MOST) as i32 } else { 0 }
    };
    -reach(-1.0)..reach(1.0)
}

/// Chance that a correction lies in step `k`; the outermost steps hold what lies beyond them.
fn share(c: &Correction, k: i32, steps: &std::ops::Range<i32>, width: f64) -> f64 {
    let below = |k: i32| {
        let x = f64::from(k) * width;
        if c.sd > 0.0 { normal::cdf((x - c.mean) / c.sd) } else { f64::from(u8::from(c.mean < x)) }
    };
    let upper = if k + 1 == steps.end { 1.0 } else { below(k + 1) };
    let lower = if k == steps.start { 0.0 } else { below(k) };
    upper - lower
}

/// Expected number of corrections by size, from the corrections' own distributions.
pub(crate) fn demand<'a>(work: impl Iterator<Item = &'a ValveWork>, width: f64) -> Vec<DemandStep> {
    let all: Vec<Correction> = work.filter_map(|w| w.correction).collect();
    let steps = steps(&all, width);
    steps
        .clone()
        .map(|k| DemandStep {
            from: f64::from(k) * width,
            to: f64::from(k + 1) * width,
            expected: all.iter().map(|c| share(c, k, &steps, width)).sum(),
        })
        .collect()
}

/// Fewer than this many of a size are none.
const NIL: f64 = 1e-3;

/// When a part is needed.
#[derive(Clone, Copy)]
enum When {
    AtOnce,
    InWindows,
    WithoutPlace,
    Beyond,
}

/// By an engine's place; `end` is the plan's.
fn when(engine: &EngineDue, end: i32) -> When {
    match (engine.at_once, engine.window) {
        (true, _) => When::AtOnce,
        (_, Some(_)) => When::InWindows,
        // Pinned to a day of its own.
        _ if engine.done < end => When::InWindows,
        _ if engine.due.is_some_and(|due| due < end) => When::WithoutPlace,
        _ => When::Beyond,
    }
}

fn add(line: &mut OrderLine, when: When, number: f64) {
    *match when {
        When::AtOnce => &mut line.at_once,
        When::InWindows => &mut line.in_windows,
        When::WithoutPlace => &mut line.without_place,
        When::Beyond => &mut line.beyond,
    } += number;
}

fn line(part: Ordered) -> OrderLine {
    OrderLine { part, at_once: 0.0, in_windows: 0.0, without_place: 0.0, beyond: 0.0 }
}

/// The order: shims by size of the correction, then new parts by what has worn.
pub(crate) fn order(engines: &[EngineDue], end: i32, width: f64) -> Vec<OrderLine> {
    let jobs: Vec<(When, &ValveWork)> =
        engines.iter().flat_map(|e| e.work.iter().map(move |w| (when(e, end), w))).collect();
    let corrections: Vec<Correction> = jobs.iter().filter_map(|(_, w)| w.correction).collect();
    let steps = steps(&corrections, width);
    let mut lines: Vec<OrderLine> = steps
        .clone()
        .map(|k| {
            let shares: Vec<f64> = corrections.iter().map(|c| share(c, k, &steps, width)).collect();
            let (from, to) = (f64::from(k) * width, f64::from(k + 1) * width);
            let (mean, sd) = moments(&corrections, &shares, (from, to));
            let mut one = line(Ordered::Shims { from, to, mean, sd });
            let shimmed = jobs.iter().filter(|(_, w)| w.correction.is_some());
            for ((when, _), share) in shimmed.zip(shares) {
                add(&mut one, *when, share);
            }
            one
        })
        .filter(|l| l.total() >= NIL)
        .collect();
    let mut worn: Vec<&str> = jobs.iter().flat_map(|(_, w)| &w.renew).map(String::as_str).collect();
    worn.sort_unstable();
    worn.dedup();
    for feature in worn {
        let mut one = line(Ordered::NewPart { feature: feature.to_owned() });
        for (when, _) in jobs.iter().filter(|(_, w)| w.renew.iter().any(|f| f == feature)) {
            add(&mut one, *when, 1.0);
        }
        lines.push(one);
    }
    lines
}

/// Mean and standard deviation of the corrections within a step, each counted by its share of it: of normals cut to the step, but for the
/// outermost, which are taken whole.
fn moments(corrections: &[Correction], shares: &[f64], (from, to): (f64, f64)) -> (f64, f64) {
    let (mut weight, mut sum, mut square) = (0.0, 0.0, 0.0);
    for (c, share) in corrections.iter().zip(shares).filter(|(_, s)| **s > 0.0) {
        let (mean, second) = if c.sd > 0.0 {
            let (a, b) = ((from - c.mean) / c.sd, (to - c.mean) / c.sd);
            let inside = (normal::cdf(b) - normal::cdf(a)).max(f64::MIN_POSITIVE);
            let shift = (normal::pdf(a) - normal::pdf(b)) / inside;
            let spread = 1.0 + (a * normal::pdf(a) - b * normal::pdf(b)) / inside - shift * shift;
            let mean = (c.mean + c.sd * shift).clamp(from, to);
            (mean, mean * mean + (c.sd * c.sd * spread).clamp(0.0, (to - from).powi(2) / 4.0))
        } else {
            (c.mean, c.mean * c.mean)
        };
        weight += share;
        sum += share * mean;
        square += share * second;
    }
    let mean = sum / weight.max(f64::MIN_POSITIVE);
    (mean, (square / weight.max(f64::MIN_POSITIVE) - mean * mean).max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn valve(mean: f64, sd: f64) -> ValveWork {
        ValveWork {
            valve: "1".into(),
            chance_then: 0.1,
            chance_by_following: 0.2,
            causes: Vec::new(),
            renew: Vec::new(),
            correction: Some(Correction { mean, sd, expected: 1.0 - mean, target: 1.0 }),
        }
    }

    #[test]
    fn every_correction_is_counted_once() {
        let work = [valve(-0.43, 0.03), valve(0.22, 0.05), valve(0.0, 0.0)];
        let steps = demand(work.iter(), step("mm"));
        let sum: f64 = steps.iter().map(|s| s.expected).sum();
        assert!((sum - 3.0).abs() < 1e-12, "{sum}");
        let negative: f64 = steps.iter().filter(|s| s.to <= 1e-9).map(|s| s.expected).sum();
        assert!((negative - 1.0).abs() < 1e-4, "{negative}");
        assert!(steps.windows(2).all(|w| (w[0].to - w[1].from).abs() < 1e-12));
        assert!(demand([].iter(), step("in")).is_empty());
    }

    /// The steps together have the mean and the variance of the corrections they are of, to the little that the ends' tails are off.
    #[test]
    fn the_steps_keep_mean_and_scatter() {
        let all: Vec<Correction> =
            [valve(-0.43, 0.03), valve(-0.31, 0.08), valve(0.22, 0.05)].iter().filter_map(|w| w.correction).collect();
        let width = step("mm");
        let range = steps(&all, width);
        let (mut n, mut sum, mut square) = (0.0, 0.0, 0.0);
        for k in range.clone() {
            let shares: Vec<f64> = all.iter().map(|c| share(c, k, &range, width)).collect();
            let (mean, sd) = moments(&all, &shares, (f64::from(k) * width, f64::from(k + 1) * width));
            let weight: f64 = shares.iter().sum();
            n += weight;
            sum += weight * mean;
            square += weight * (mean * mean + sd * sd);
        }
        let mean = all.iter().map(|c| c.mean).sum::<f64>() / 3.0;
        let second = all.iter().map(|c| c.mean * c.mean + c.sd * c.sd).sum::<f64>() / 3.0;
        assert!((n - 3.0).abs() < 1e-12 && (sum / n - mean).abs() < 1e-3, "{} {mean}", sum / n);
        assert!((square / n - second).abs() < 1e-3, "{} {second}", square / n);
    }
}
