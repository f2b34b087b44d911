//! Chance of having entered the damage zone over an engine's hours, computed once on a grid and looked up afterwards.
//!
//! An engine is in trouble as soon as one valve is, by any feature. Given the fitted parameters the valves are taken as independent, so
//! that the chance is 1 − Π(1 − p); what they share through the uncertainty of those parameters is kept, by averaging over the same
//! points for all of them:  C(h) = 1 − (1/K) Σ_k Π_v (1 − p_vk(h)). Oil and load that the valves share beyond that tie them together, and
//! then C(h) is the larger, cautious value: for paths that go together, P(all stay inside) ≥ Π P(each stays inside) (association of
//! random variables, J. D. Esary, F. Proschan, D. W. Walkup, Ann. Math. Stat. 38 (1967) 1466–1474).

use packdrift_numerics::{interpolation::MonotoneCubic, normal, root};
use packdrift_trend::Prospect;

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
}

impl Part {
    #[cfg(test)]
    pub(crate) fn chance(&self, hours: f64) -> f64 {
        self.prospect.chance_within(self.behind + hours)
    }
}

/// Chance of at least one part, `hours` after the engine's last meter reading.
pub(crate) fn joint_chance(parts: &[&Part], hours: f64) -> f64 {
    let points = parts.iter().map(|p| p.prospect.points()).max().unwrap_or(1).max(1);
    let stay: f64 = (0..points)
        .map(|k| {
            parts
                .iter()
                .map(|p| 1.0 - p.prospect.chance_at_point(k % p.prospect.points().max(1), p.behind + hours))
                .product::<f64>()
        })
        .sum();
    (1.0 - stay / points as f64).clamp(0.0, 1.0)
}

/// Points of the grid; its hours grow with the square of the index, closer together where there is more to see.
const GRID: usize = 64;

/// A chance over hours, rising. Looked up on the normal scale, where it is nearly straight.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    reach: f64,
    /// Normal score at each point of the grid, and the slope of the shape-preserving cubic there, per step.
    knots: Vec<(f64, f64)>,
}

/// Normal scores beyond this are as good as certain.
const SCORE: f64 = 37.0;

/// The curves of an engine: any valve, each valve, each part.
pub(crate) struct Curves {
    pub(crate) any: Curve,
    pub(crate) valve: Vec<Curve>,
    pub(crate) part: Vec<Curve>,
}

impl Curves {
    /// Tabulates an engine: every part at every point of the average once, and what follows from these for valves and engine.
    pub(crate) fn of(parts: &[Part], valves: usize, reach: f64) -> Self {
        let reach = reach.max(1.0);
        let points = parts.iter().map(|p| p.prospect.points()).max().unwrap_or(1).max(1);
        let mut any = vec![0.0; GRID + 1];
        let mut valve = vec![vec![0.0; GRID + 1]; valves];
        let mut part = vec![vec![0.0; GRID + 1]; parts.len()];
        for k in 0..points {
            // A part that is surely in the zone stays there: the chances of its later hours need no computing.
            let mut sure = vec![false; parts.len()];
            for i in 0..=GRID {
                let hours = grid_hours(reach, i);
                let mut stay = vec![1.0; valves];
                for (n, p) in parts.iter().enumerate() {
                    let own = p.prospect.points().max(1);
                    let chance = if sure[n] {
                        1.0
                    } else {
                        p.prospect.chance_at_point(k % own, p.behind + hours).clamp(0.0, 1.0)
                    };
                    sure[n] = chance >= 1.0 - 1e-12;
                    part[n][i] += chance / points as f64;
                    stay[p.valve] *= 1.0 - chance;
                }
                for (sum, stay) in valve.iter_mut().zip(&stay) {
                    sum[i] += (1.0 - stay) / points as f64;
                }
                any[i] += (1.0 - stay.iter().product::<f64>()) / points as f64;
            }
        }
        let curve = |chances: &Vec<f64>| Curve::through(reach, chances);
        Self { any: curve(&any), valve: valve.iter().map(curve).collect(), part: part.iter().map(curve).collect() }
    }
}

fn grid_hours(reach: f64, i: usize) -> f64 {
    reach * (i as f64 / GRID as f64).powi(2)
}

impl Curve {
    /// Tabulates a rising chance from 0 to `reach` hours.
    #[cfg(test)]
    pub(crate) fn new(reach: f64, chance: impl Fn(f64) -> f64) -> Self {
        let chances: Vec<f64> = (0..=GRID).map(|i| chance(grid_hours(reach.max(1.0), i))).collect();
        Self::through(reach.max(1.0), &chances)
    }

    /// Through the chances at the grid's hours.
    fn through(reach: f64, chances: &[f64]) -> Self {
        let mut score: Vec<f64> = chances
            .iter()
            .map(|&c| {
                (if c < 0.5 { normal::quantile(c) } else { normal::upper_quantile(1.0 - c) }).clamp(-SCORE, SCORE)
            })
            .collect();
        // Quadrature may dip by its rounding; the chance never does.
        for i in 1..score.len() {
            score[i] = score[i].max(score[i - 1]);
        }
        let index: Vec<f64> = (0..score.len()).map(|i| i as f64).collect();
        let knots = match MonotoneCubic::new(&index, &score) {
            Ok(cubic) => index.iter().map(|i| cubic.value_and_slope(*i)).collect(),
            // Scores are finite and the indices rise: this is not reached.
            Err(_) => score.iter().map(|s| (*s, 0.0)).collect(),
        };
        Self { reach, knots }
    }

    /// Hours to which it reaches.
    pub(crate) fn reach(&self) -> f64 {
        self.reach
    }

    /// The chance; beyond the reach that at the reach.
    pub(crate) fn at(&self, hours: f64) -> f64 {
        let i = GRID as f64 * (hours.clamp(0.0, self.reach) / self.reach).sqrt();
        let k = (i as usize).min(GRID - 1);
        let ((a, da), (b, db), t) = (self.knots[k], self.knots[k + 1], i - k as f64);
        // Hermite's cubic on a step of 1.
        let score = a + t * (da + t * (3.0 * (b - a) - 2.0 * da - db + t * (2.0 * (a - b) + da + db)));
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

    fn part(level: f64, slope: f64, wander: f64) -> Part {
        let limits = FeatureLimits { lower: Some(0.4), upper: Some(1.6), ..FeatureLimits::default() };
        Part {
            valve: 0,
            feature: 0,
            prospect: Prospect::new((level, 0.03), (slope, 6e-6), wander, &limits),
            behind: 120.0,
        }
    }

    #[test]
    fn the_table_gives_the_chance_back() {
        for wander in [0.0, 5e-4] {
            let parts = [part(1.2, 4e-5, wander), part(0.9, -3e-5, wander)];
            let parts: Vec<&Part> = parts.iter().collect();
            let exact = |h: f64| joint_chance(&parts, h);
            let curve = Curve::new(40_000.0, exact);
            for h in [0.0, 40.0, 700.0, 3000.0, 5500.0, 9000.0, 12_345.0, 30_000.0] {
                assert!((curve.at(h) - exact(h)).abs() < 3e-4, "{wander} {h}: {} {}", curve.at(h), exact(h));
            }
            let h = curve.hours_to(0.05).unwrap();
            assert!((exact(h) - 0.05).abs() < 3e-4, "{h}");
        }
    }

    #[test]
    fn an_engine_s_curves_are_those_of_its_parts() {
        let mut parts = vec![part(1.2, 4e-5, 0.0), part(0.9, -3e-5, 5e-4), part(1.1, 3e-5, 0.0)];
        parts[1].valve = 1;
        parts[2].valve = 1;
        let curves = Curves::of(&parts, 2, 30_000.0);
        let all: Vec<&Part> = parts.iter().collect();
        for h in [500.0, 5000.0, 9000.0, 25_000.0] {
            assert!((curves.any.at(h) - joint_chance(&all, h)).abs() < 3e-4);
            assert!((curves.valve[1].at(h) - joint_chance(&all[1..], h)).abs() < 3e-4);
            assert!((curves.part[2].at(h) - parts[2].chance(h)).abs() < 3e-4);
        }
    }

    #[test]
    fn one_valve_is_itself_and_two_alike_are_the_complement_of_the_square() {
        let a = part(1.3, 4e-5, 0.0);
        let p = a.chance(5000.0);
        assert!((joint_chance(&[&a], 5000.0) - p).abs() < 1e-12);
        assert!((joint_chance(&[&a, &a], 5000.0) - (1.0 - (1.0 - p) * (1.0 - p))).abs() < 1e-12);
    }
}
