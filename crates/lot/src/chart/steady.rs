//! How often a steady process shows as much as a chart does: the false alarms of the chart as a whole.
//!
//! Each rule alone is seldom broken at a given point (`signals`), but a chart has many points and several rules, and its limits come from the same readings:
//! of steady lots of 100 parts three quarters show some sign. So the signs are weighed together. For each rule the chart has a strength (how far the farthest
//! point lies, how long the longest run is), and each strength a chance, the share of steady charts of the same kind and length that reach it; the smallest of
//! the chances is the chart's, and how often a steady chart has one as small is what counts. All by simulation of normal lots with limits from their own readings.

use super::Chart;
use packdrift_numerics::stream::Key;

/// A chart is not steady where a steady one shows as much with at most this chance.
pub const LEVEL: f64 = 0.01;

const STRENGTHS: usize = 6;

/// Strengths of simulated steady charts of one kind and length.
#[derive(Debug, Clone)]
pub(crate) struct SteadyCharts {
    /// Rising, one list a strength.
    strengths: [Vec<f64>; STRENGTHS],
    /// Smallest chances, rising.
    smallest: Vec<f64>,
}

impl SteadyCharts {
    /// Of `n` readings, drawn by `draw`; None where no chart is possible. `key` keys the random numbers.
    pub(crate) fn new(n: usize, key: &Key, draw: impl Fn(&[f64]) -> Option<Chart>) -> Option<Self> {
        // Enough for the level; fewer of long charts, where a chance at the level is known to a half of itself.
        let charts = (2_000_000 / n.max(1)).clamp(499, 1999);
        let mut stream = key.stream(0);
        let mut readings = vec![0.0; n];
        let mut all: Vec<[f64; STRENGTHS]> = Vec::with_capacity(charts);
        for _ in 0..charts {
            readings.iter_mut().for_each(|x| *x = stream.normal());
            all.push(strengths(&draw(&readings)?));
        }
        let sorted: [Vec<f64>; STRENGTHS] = std::array::from_fn(|k| {
            let mut list: Vec<f64> = all.iter().map(|s| s[k]).collect();
            list.sort_unstable_by(f64::total_cmp);
            list
        });
        let mut found = Self { strengths: sorted, smallest: Vec::new() };
        found.smallest = all.iter().map(|s| found.smallest_chance(s)).collect();
        found.smallest.sort_unstable_by(f64::total_cmp);
        Some(found)
    }

    fn smallest_chance(&self, strengths: &[f64; STRENGTHS]) -> f64 {
        let chance = |(list, s): (&Vec<f64>, &f64)| {
            let reached = list.len() - list.partition_point(|x| *x < *s - 1e-12);
            (reached + 1) as f64 / (list.len() + 1) as f64
        };
        self.strengths.iter().zip(strengths).map(chance).fold(1.0, f64::min)
    }

    /// The chance that a steady process shows as much as this chart.
    pub(crate) fn chance(&self, chart: &Chart) -> f64 {
        let smallest = self.smallest_chance(&strengths(chart));
        let as_small = self.smallest.partition_point(|x| *x <= smallest + 1e-12);
        ((as_small + 1) as f64 / (self.smallest.len() + 1) as f64).min(1.0)
    }
}

/// Of the farthest point, of the scatter upwards and downwards, of the longest run on one side, of the longest drift, of two in three far out on one side.
fn strengths(chart: &Chart) -> [f64; STRENGTHS] {
    let (location, scatter) = (&chart.location, &chart.scatter);
    let error = (location.upper - location.centre) / 3.0;
    let z: Vec<f64> =
        location.points.iter().map(|x| if error > 0.0 { (x - location.centre) / error } else { 0.0 }).collect();
    let up = (scatter.upper - scatter.centre).max(f64::MIN_POSITIVE);
    let down = scatter.centre - scatter.lower;
    let farthest = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
    let near = z.windows(3).map(|w| {
        let mut sorted = [w[0], w[1], w[2]];
        sorted.sort_unstable_by(f64::total_cmp);
        // The middle one counts where two lie on its side: the second farthest up or down.
        sorted[1].max(-sorted[1])
    });
    [
        farthest(&mut z.iter().map(|z| z.abs())),
        farthest(&mut scatter.points.iter().map(|x| (x - scatter.centre) / up)),
        // A limit at 0 is never passed.
        if scatter.lower > 0.0 {
            farthest(&mut scatter.points.iter().map(|x| (scatter.centre - x) / down))
        } else {
            0.0
        },
        longest(z.iter().map(|z| z.total_cmp(&0.0))),
        longest(location.points.windows(2).map(|w| w[1].total_cmp(&w[0]))),
        farthest(&mut near.into_iter()),
    ]
}

/// The longest run of one sign; equal neighbours end a run.
fn longest(signs: impl Iterator<Item = std::cmp::Ordering>) -> f64 {
    use std::cmp::Ordering::Equal;
    let (mut best, mut run, mut last) = (0_u32, 0_u32, Equal);
    for sign in signs {
        run = match sign {
            Equal => 0,
            same if same == last => run + 1,
            _ => 1,
        };
        last = sign;
        best = best.max(run);
    }
    f64::from(best)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::super::constants::ChartConstants;
    use super::super::signals::{self, SignalKind};
    use super::*;

    /// False alarms of whole charts: steady lots seldom reach the level, whatever the number of parts, though most charts of 100 show some sign of one rule.
    #[test]
    fn a_steady_chart_is_called_unsteady_as_seldom_as_stated() {
        let constants = ChartConstants::new(2).unwrap();
        let draw = |x: &[f64]| Chart::individuals(x, &constants).ok();
        for n in [8, 25, 100] {
            let steady = SteadyCharts::new(n, &Key::new(1, "null"), draw).unwrap();
            let (mut alarms, mut signs) = (0_u32, 0_u32);
            let lots = 1000_u32;
            for lot in 0..lots {
                let mut stream = Key::new(2, "steady lots").stream(u64::from(lot));
                let chart = draw(&(0..n).map(|_| stream.normal()).collect::<Vec<_>>()).unwrap();
                alarms += u32::from(steady.chance(&chart) <= LEVEL);
                signs += u32::from(!chart.location.signals.is_empty() || !chart.scatter.signals.is_empty());
            }
            // 1 %, four binomial standard errors of the lots and as much of the simulated null.
            assert!(alarms <= 26, "n {n}: {alarms} of {lots}");
            if n == 100 {
                assert!(signs > 650, "{signs}");
                assert!(alarms >= 1);
            }
        }
    }

    /// What is not steady is seen: a step of two and a half sds half way, neighbours that resemble each other, a drift, one wild reading.
    #[test]
    fn changes_are_seen() {
        type Change = fn(f64, f64) -> f64;
        let constants = ChartConstants::new(2).unwrap();
        let draw = |x: &[f64]| Chart::individuals(x, &constants).ok();
        let n = 50;
        let steady = SteadyCharts::new(n, &Key::new(1, "null"), draw).unwrap();
        let changes: [(&str, Change); 3] = [
            ("step", |t, z| z + if t > 0.5 { 2.5 } else { 0.0 }),
            ("drift", |t, z| z + 4.0 * t),
            ("wild", |t, z| if (t - 0.5).abs() < 0.01 { 6.0 } else { z }),
        ];
        for (name, change) in changes {
            let seen = (0..200_u64)
                .filter(|&lot| {
                    let mut stream = Key::new(3, name).stream(lot);
                    let x: Vec<f64> = (0..n).map(|t| change(t as f64 / n as f64, stream.normal())).collect();
                    steady.chance(&draw(&x).unwrap()) <= LEVEL
                })
                .count();
            assert!(seen > 150, "{name}: {seen} of 200");
        }
    }

    /// Average run lengths of the single rules with a known centre. Beyond three standard errors: 1/(2Φ(−3)) = 370.4, printed as 370 in the NIST/SEMATECH
    /// handbook, 6.3.2 (public domain; value from memory, and exact by the normal). Nine on one side: 2⁹ − 1 = 511, the wait for a run of nine of fair coins.
    #[test]
    fn single_rules_have_their_published_run_lengths() {
        let mut stream = Key::new(4, "run lengths").stream(0);
        let runs = 4000;
        for (kind, expected) in [(SignalKind::BeyondLimit, 370.4), (SignalKind::OneSide, 511.0)] {
            let mut total = 0_usize;
            let (mut left, mut points) = (runs, Vec::new());
            while left > 0 {
                points.extend((0..64).map(|_| stream.normal()));
                if let Some(first) = signals::find(&points, 0.0, 1.0, -3.0, 3.0, true)
                    .iter()
                    .filter(|s| s.kind == kind)
                    .map(|s| s.point)
                    .min()
                {
                    total += first + 1;
                    left -= 1;
                    points.clear();
                }
            }
            let mean = total as f64 / f64::from(runs);
            // Run lengths are nearly geometric: their sd is their mean.
            assert!((mean / expected - 1.0).abs() < 4.0 / f64::from(runs).sqrt(), "{kind:?}: {mean}");
        }
    }
}
