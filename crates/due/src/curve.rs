//! Chance of having entered the damage zone over an engine's hours, computed once on a grid and looked up afterwards.
//!
//! An engine is in trouble as soon as one valve is, by any feature. Valves and features are taken as independent,
//!
//! C(h) = 1 − Π_p (1 − p_p(h)),   p_p the chance of one feature of one valve, averaged over what is not known of its fit.
//!
//! What they share, oil and load, or a fleet's parameters that the readings leave open, ties them together, and then C(h) is the larger,
//! cautious value: for paths that go together P(all stay inside) ≥ Π P(each stays inside) (association of random variables, J. D. Esary,
//! F. Proschan, D. W. Walkup, Ann. Math. Stat. 38 (1967) 1466–1474).

use packdrift_numerics::{interpolation::MonotoneCubic, normal, root};
use packdrift_trend::{Prospect, Status, ValveVerdict};

/// One feature of one valve.
#[derive(Debug, Clone)]
pub(crate) struct Part {
    /// Index into the engine's valves.
    pub(crate) valve: usize,
    /// Index into the trend's features.
    pub(crate) feature: usize,
    pub(crate) prospect: Prospect,
    /// Hours from the reading the prospect starts at to the engine's last meter reading.
    pub(crate) behind: f64,
    /// The reading the prospect starts at; None where the part was renewed since.
    pub(crate) read: Option<Reading>,
    /// What `trend` says of it; None where it was renewed since.
    pub(crate) said: Option<Said>,
}

/// The verdict of `trend` on a feature of a valve, without the forecasts behind it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Said {
    pub(crate) status: Status,
    pub(crate) why: String,
    pub(crate) settled_by: Option<String>,
}

impl Said {
    pub(crate) fn of(verdict: &ValveVerdict) -> Self {
        Self {
            status: verdict.status(),
            why: verdict.reasons().first().map(ToString::to_string).unwrap_or_default(),
            settled_by: verdict.what_settles_it().map(str::to_owned),
        }
    }
}

/// A valve's newest reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    pub(crate) day: i32,
    pub(crate) hours: f64,
    pub(crate) value: f64,
}

impl Part {
    /// Chance of having entered, hours after the engine's last meter reading.
    pub(crate) fn chances(&self) -> impl Fn(f64) -> f64 + '_ {
        let ahead = self.prospect.chances();
        move |hours| ahead(self.behind + hours)
    }

    /// The same at some hours.
    #[cfg(test)]
    pub(crate) fn chance(&self, hours: f64) -> f64 {
        self.chances()(hours)
    }
}

/// Points of the grid; its hours grow with the square of the index, closer together where there is more to see.
const GRID: usize = 64;

/// Every so many of them are computed to begin with.
const COARSE: usize = 16;

/// Where the cubic through what is known misses a computed point by more than this (normal score), its neighbours are computed too.
const MISS: f64 = 8e-4;

/// Beyond this score nobody decides anything.
const FAR: f64 = 8.0;

/// Normal scores beyond this are as good as certain.
const SCORE: f64 = 37.0;

/// A chance over hours, rising. Looked up on the normal scale, where it is nearly straight.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    reach: f64,
    /// Normal score at each point of the grid, and the slope of the shape-preserving cubic there, per step.
    knots: Vec<(f64, f64)>,
}

/// The curves of an engine: any valve, each valve, each part.
#[derive(Debug, Clone)]
pub(crate) struct Curves {
    pub(crate) any: Curve,
    pub(crate) valve: Vec<Curve>,
    pub(crate) part: Vec<Curve>,
}

impl Curves {
    /// What follows for valves and engine from the curves of the parts.
    pub(crate) fn of(parts: &[Part], part: Vec<Curve>, valves: usize, reach: f64) -> Self {
        let of_valve =
            |v: usize| Curve::any(reach, parts.iter().zip(&part).filter(|(p, _)| p.valve == v).map(|(_, c)| c));
        Self { any: Curve::any(reach, part.iter()), valve: (0..valves).map(of_valve).collect(), part }
    }
}

fn grid_hours(reach: f64, i: usize) -> f64 {
    reach * (i as f64 / GRID as f64).powi(2)
}

fn score(chance: f64) -> f64 {
    let score = if chance < 0.5 { normal::quantile(chance) } else { normal::upper_quantile(1.0 - chance) };
    score.clamp(-SCORE, SCORE)
}

impl Curve {
    /// Tabulates a rising chance from 0 to `reach` hours, computed where it bends. None where it is no number somewhere.
    pub(crate) fn of(reach: f64, chance: impl Fn(f64) -> f64) -> Option<Self> {
        let reach = reach.max(1.0);
        let mut known: Vec<(usize, f64)> = Vec::with_capacity(GRID / 2);
        let at = |i: usize| score(chance(grid_hours(reach, i)));
        for i in (0..=GRID).step_by(COARSE) {
            // What is surely in the zone stays there: its later hours need no computing.
            let sure = known.last().is_some_and(|k| k.1 >= FAR);
            known.push((i, if sure { SCORE } else { at(i) }));
        }
        let mut open: Vec<(usize, usize)> = (0..GRID / COARSE).map(|k| (COARSE * k, COARSE * (k + 1))).collect();
        while !open.is_empty() {
            let cubic = Self::cubic(&known);
            let mut found = Vec::new();
            let mut next = Vec::new();
            for (i, j) in open {
                let ends = [i, j].map(|at| known.iter().find(|k| k.0 == at).map_or(0.0, |k| k.1));
                if j - i < 2 || ends.iter().all(|e| *e <= -FAR) || ends.iter().all(|e| *e >= FAR) {
                    continue;
                }
                let mid = usize::midpoint(i, j);
                let score = at(mid);
                found.push((mid, score));
                if (score - cubic(mid)).abs() > MISS {
                    next.extend([(i, mid), (mid, j)]);
                }
            }
            known.extend(found);
            known.sort_by_key(|k| k.0);
            open = next;
        }
        if known.iter().any(|k| k.1.is_nan()) {
            return None;
        }
        let cubic = Self::cubic(&known);
        Some(Self::through(reach, (0..=GRID).map(cubic).collect()))
    }

    /// The shape-preserving cubic through what is known of the grid.
    fn cubic(known: &[(usize, f64)]) -> impl Fn(usize) -> f64 + use<> {
        // Quadrature may dip by its rounding; the chance never does.
        let mut highest = f64::NEG_INFINITY;
        let (index, scores): (Vec<f64>, Vec<f64>) = known
            .iter()
            .map(|(i, s)| {
                highest = highest.max(*s);
                (*i as f64, highest)
            })
            .unzip();
        move |i| MonotoneCubic::new(&index, &scores).map_or(0.0, |cubic| cubic.value(i as f64))
    }

    /// That any of these has: independent of each other.
    pub(crate) fn any<'a>(reach: f64, of: impl Iterator<Item = &'a Self> + Clone) -> Self {
        let reach = reach.max(1.0);
        let scores = (0..=GRID)
            .map(|i| {
                let h = grid_hours(reach, i);
                let (mut stay, mut sum) = (1.0, 0.0);
                for curve in of.clone() {
                    let at = curve.score_at(h);
                    stay *= normal::sf(at);
                    sum += normal::cdf(at);
                }
                // Small chances add up; 1 − Π would round them away.
                score(if sum < 1e-6 { sum } else { 1.0 - stay })
            })
            .collect();
        Self::through(reach, scores)
    }

    /// Through the scores at the grid's hours.
    fn through(reach: f64, scores: Vec<f64>) -> Self {
        let index: Vec<f64> = (0..scores.len()).map(|i| i as f64).collect();
        let knots = match MonotoneCubic::new(&index, &scores) {
            Ok(cubic) => index.iter().map(|i| cubic.value_and_slope(*i)).collect(),
            // Scores are finite and the indices rise: this is not reached, and would not reassure.
            Err(_) => vec![(SCORE, 0.0); GRID + 1],
        };
        Self { reach, knots }
    }

    /// The normal scores at the grid's hours, from 0 to the reach.
    pub(crate) fn scores(&self) -> Vec<f64> {
        self.knots.iter().map(|k| k.0).collect()
    }

    /// Hours to which it reaches.
    pub(crate) fn reach(&self) -> f64 {
        self.reach
    }

    /// The normal score of the chance; beyond the reach that at the reach.
    pub(crate) fn score_at(&self, hours: f64) -> f64 {
        let i = GRID as f64 * (hours.clamp(0.0, self.reach) / self.reach).sqrt();
        let k = (i as usize).min(GRID - 1);
        let ((a, da), (b, db), t) = (self.knots[k], self.knots[k + 1], i - k as f64);
        // Hermite's cubic on a step of 1.
        a + t * (da + t * (3.0 * (b - a) - 2.0 * da - db + t * (2.0 * (a - b) + da + db)))
    }

    /// The chance; beyond the reach that at the reach.
    pub(crate) fn at(&self, hours: f64) -> f64 {
        let score = self.score_at(hours);
        if score <= -SCORE {
            0.0
        } else if score >= SCORE {
            1.0
        } else {
            normal::cdf(score)
        }
    }

    /// Hours at which the chance reaches `p`: 0 where it is there from the start, None where it does not within reach.
    pub(crate) fn hours_to(&self, p: f64) -> Option<f64> {
        if self.at(0.0) >= p {
            return Some(0.0);
        }
        if self.at(self.reach) < p {
            return None;
        }
        root::brent(|h| self.at(h) - p, 0.0, self.reach, 1e-9 * self.reach).ok()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use packdrift_trend::FeatureLimits;
    use std::cell::Cell;

    fn part(level: f64, slope: f64, wander: f64) -> Part {
        let limits = FeatureLimits { lower: Some(0.4), upper: Some(1.6), ..FeatureLimits::default() };
        Part {
            valve: 0,
            feature: 0,
            prospect: Prospect::new((level, 0.03), (slope, 6e-6), wander, &limits),
            behind: 120.0,
            read: None,
            said: None,
        }
    }

    #[test]
    fn the_table_gives_the_chance_back() {
        for (level, slope, wander) in [(1.2, 4e-5, 0.0), (0.9, -3e-5, 5e-4), (1.55, 6e-5, 0.0), (1.0, 1e-6, 2e-4)] {
            let p = part(level, slope, wander);
            let asked = Cell::new(0);
            let curve = Curve::of(40_000.0, |h| {
                asked.set(asked.get() + 1);
                p.chance(h)
            })
            .unwrap();
            for h in [0.0, 40.0, 700.0, 3000.0, 5500.0, 9000.0, 12_345.0, 30_000.0] {
                assert!(
                    (curve.at(h) - p.chance(h)).abs() < 3e-4,
                    "{level} {wander} {h}: {} {}",
                    curve.at(h),
                    p.chance(h)
                );
            }
            assert!(asked.get() < 45, "{level}: {} of 65 points", asked.get());
            if let Some(h) = curve.hours_to(0.05) {
                assert!(h == 0.0 || (p.chance(h) - 0.05).abs() < 3e-4, "{h}");
            }
        }
    }

    #[test]
    fn an_engine_s_curves_are_those_of_its_parts() {
        let mut parts = vec![part(1.2, 4e-5, 0.0), part(0.9, -3e-5, 5e-4), part(1.1, 3e-5, 0.0)];
        parts[1].valve = 1;
        parts[2].valve = 1;
        let each = parts.iter().map(|p| Curve::of(30_000.0, |h| p.chance(h)).unwrap()).collect();
        let curves = Curves::of(&parts, each, 2, 30_000.0);
        let joint = |parts: &[Part], h: f64| 1.0 - parts.iter().map(|p| 1.0 - p.chance(h)).product::<f64>();
        for h in [500.0, 5000.0, 9000.0, 25_000.0] {
            assert!((curves.any.at(h) - joint(&parts, h)).abs() < 5e-4);
            assert!((curves.valve[1].at(h) - joint(&parts[1..], h)).abs() < 5e-4);
            assert!((curves.part[2].at(h) - parts[2].chance(h)).abs() < 3e-4);
        }
    }

    #[test]
    fn small_chances_add_up_and_a_chance_that_is_no_number_has_no_curve() {
        let tiny = Curve::of(1000.0, |h| 1e-12 * (1.0 + h)).unwrap();
        let both = Curve::any(1000.0, [&tiny, &tiny].into_iter());
        assert!((both.at(500.0) / (2.0 * tiny.at(500.0)) - 1.0).abs() < 1e-6);
        assert!(Curve::of(1000.0, |h| if h > 500.0 { f64::NAN } else { 0.1 }).is_none());
    }
}
