//! The shapes that a lot's parts may have, each a monotone function of a normal score, and each brought to mean 0 and sd 1.
//!
//! | shape | normal score of a deviation u |
//! |---|---|
//! | normal | u |
//! | lognormal, skewness set by g | ln(1 + g·u)/g |
//! | heavy tails on both sides (Johnson's unbounded curve) | γ + δ·asinh(u) |
//! | flat or two-peaked | sinh(k·u)/k |
//!
//! All have the distribution function Φ(score), so tails keep their digits. The list spans a skewness of ± 6 (an exponential lot has 2) and tails as
//! heavy as those of Student's t with 3 degrees of freedom.

use crate::tails::below;
use packdrift_numerics::normal;
use std::sync::LazyLock;

/// A shape; the numbers are those of the table above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Candidate {
    /// Normal.
    Normal,
    /// Lognormal; the long tail is up where g is positive.
    Skew {
        /// Sd of the logarithm, with the sign of the skewness.
        g: f64,
    },
    /// Tails heavier than the normal's, and skew where γ is not 0.
    Heavy {
        /// Negative: the longer tail is up.
        gamma: f64,
        /// The smaller, the heavier.
        delta: f64,
    },
    /// Tails lighter than the normal's: flat at k = 1, two peaks above.
    Light {
        /// Of the table above.
        k: f64,
    },
}

impl Candidate {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Skew { g } if g > 0.0 => "skew, long tail up",
            Self::Skew { .. } => "skew, long tail down",
            Self::Heavy { gamma, .. } if gamma < 0.0 => "heavy tails, the upper longer",
            Self::Heavy { gamma, .. } if gamma > 0.0 => "heavy tails, the lower longer",
            Self::Heavy { .. } => "heavy tails",
            Self::Light { k } if k > 1.0 => "two peaks",
            Self::Light { .. } => "flat",
        }
    }

    /// Normal score of u, and the logarithm of its slope; (∓∞, −∞) beyond a bounded end.
    fn score(self, u: f64) -> (f64, f64) {
        match self {
            Self::Normal => (u, 0.0),
            Self::Skew { g } => {
                let t = 1.0 + g * u;
                if t <= 0.0 { (f64::NEG_INFINITY * g.signum(), f64::NEG_INFINITY) } else { (t.ln() / g, -t.ln()) }
            }
            Self::Heavy { gamma, delta } => (gamma + delta * u.asinh(), delta.ln() - 0.5 * (1.0 + u * u).ln()),
            // sinh(30) is a score at which no share is left.
            Self::Light { k } => {
                let t = (k * u).clamp(-30.0, 30.0);
                (t.sinh() / k, t.cosh().ln())
            }
        }
    }

    /// u of a normal score.
    fn value(self, z: f64) -> f64 {
        match self {
            Self::Normal => z,
            Self::Skew { g } => (g * z).exp_m1() / g,
            Self::Heavy { gamma, delta } => ((z - gamma) / delta).sinh(),
            Self::Light { k } => (k * z).asinh() / k,
        }
    }
}

/// Skewness 0.3, 0.6, 1.2, 1.8, 2.9 and 6.2, either way.
const SKEW: [f64; 6] = [0.1, 0.2, 0.35, 0.5, 0.7, 1.0];
/// From Student's t with 3 degrees of freedom to nearly normal.
const HEAVY: [f64; 6] = [0.95, 1.1, 1.4, 1.8, 2.5, 4.0];
/// Skew and heavy at once.
const BOTH: [(f64, f64); 2] = [(0.8, 1.4), (0.8, 2.0)];
const LIGHT: [f64; 2] = [1.0, 2.0];

/// A candidate at mean 0 and sd 1.
#[derive(Debug)]
pub(super) struct Standard {
    pub(super) shape: Candidate,
    mean: f64,
    sd: f64,
    ln_density: Vec<f64>,
}

/// ln density is tabulated from −`TABLE` to `TABLE` sds.
const TABLE: f64 = 20.0;
const PER_SD: f64 = 64.0;
/// Where neighbouring points differ by more, the table is not used.
const STEEP: f64 = 0.25;

/// All candidates, the normal first.
pub(super) static CANDIDATES: LazyLock<Vec<Standard>> = LazyLock::new(|| {
    let mut shapes = vec![Candidate::Normal];
    shapes.extend(SKEW.iter().flat_map(|&g| [Candidate::Skew { g }, Candidate::Skew { g: -g }]));
    shapes.extend(HEAVY.iter().map(|&delta| Candidate::Heavy { gamma: 0.0, delta }));
    let both = BOTH.iter().flat_map(|&(gamma, delta)| [gamma, -gamma].map(|gamma| Candidate::Heavy { gamma, delta }));
    shapes.extend(both);
    shapes.extend(LIGHT.iter().map(|&k| Candidate::Light { k }));
    shapes.into_iter().map(Standard::new).collect()
});

impl Standard {
    fn new(shape: Candidate) -> Self {
        // The trapezoidal rule over normal scores is exact to rounding for a Gaussian weight.
        let scores = || (-1200..=1200).map(|k| f64::from(k) * 0.01);
        let moment = |f: &dyn Fn(f64) -> f64| {
            let (sum, total) = scores().fold((0.0, 0.0), |(sum, total), z| {
                let weight = normal::pdf(z);
                (sum + weight * f(shape.value(z)), total + weight)
            });
            sum / total
        };
        let mean = moment(&|u| u);
        let sd = moment(&|u| (u - mean).powi(2)).sqrt();
        let mut standard = Self { shape, mean, sd, ln_density: Vec::new() };
        let points = (2.0 * TABLE * PER_SD) as i32;
        standard.ln_density = (0..=points).map(|k| standard.exact_ln_density(f64::from(k) / PER_SD - TABLE)).collect();
        standard
    }

    /// Without ln √(2π), which all have alike; a large negative number where the density is 0.
    fn exact_ln_density(&self, x: f64) -> f64 {
        let (score, ln_slope) = self.shape.score(self.mean + self.sd * x);
        if ln_slope.is_finite() { self.sd.ln() + ln_slope - 0.5 * score * score } else { -1e9 }
    }

    /// ln of the density at x sds from the mean, by a straight line between tabulated points (within 0.01); exact where the table is steep, at the end of a
    /// lognormal: a straight line to a density of 0 would rule the shape out for parts that it may well have.
    pub(super) fn ln_density(&self, x: f64) -> f64 {
        let at = (x + TABLE) * PER_SD;
        if at >= 0.0 && at < (self.ln_density.len() - 1) as f64 {
            let k = at as usize;
            let (a, b) = (self.ln_density[k], self.ln_density[k + 1]);
            if (b - a).abs() < STEEP {
                return a + (at - k as f64) * (b - a);
            }
        }
        self.exact_ln_density(x)
    }

    /// A part, in sds from the mean, of a normal score.
    pub(super) fn draw(&self, score: f64) -> f64 {
        (self.shape.value(score) - self.mean) / self.sd
    }

    /// Share below x sds from the mean.
    pub(super) fn below(&self, x: f64) -> f64 {
        below(self.shape.score(self.mean + self.sd * x).0)
    }

    /// Share above.
    pub(super) fn above(&self, x: f64) -> f64 {
        below(-self.shape.score(self.mean + self.sd * x).0)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;

    fn find(shape: Candidate) -> &'static Standard {
        CANDIDATES.iter().find(|c| c.shape == shape).unwrap()
    }

    /// Every candidate integrates to 1 with mean 0 and sd 1, and its tails are the integral of its density.
    #[test]
    fn every_candidate_is_a_distribution_of_mean_0_and_sd_1() {
        assert_eq!(CANDIDATES.len(), 25);
        for c in CANDIDATES.iter() {
            let h = 0.002;
            let (mut whole, mut mean, mut square, mut above_two) = (0.0, 0.0, 0.0, 0.0);
            for k in -30_000..=30_000 {
                let x = (f64::from(k) + 0.5) * h;
                let p = (c.exact_ln_density(x)).exp() / (2.0 * std::f64::consts::PI).sqrt() * h;
                whole += p;
                mean += p * x;
                square += p * x * x;
                above_two += if x > 2.0 { p } else { 0.0 };
            }
            // Beyond 60 sds the heaviest keep a little of their square.
            assert!(
                (whole - 1.0).abs() < 1e-4 && mean.abs() < 0.01 && (square - 1.0).abs() < 0.06,
                "{:?} {whole} {mean} {square}",
                c.shape
            );
            assert!((c.above(2.0) - above_two).abs() < 1e-4, "{:?}: {} and {above_two}", c.shape, c.above(2.0));
            assert!((c.above(-0.3) + c.below(-0.3) - 1.0).abs() < 1e-9);
        }
    }

    /// Skewness of a lognormal, (e^(g²) + 2)·√(e^(g²) − 1); tails of Student's t with 3 degrees of freedom against the heaviest candidate.
    #[test]
    fn the_list_spans_what_its_head_says() {
        let skewness = |c: &Standard| {
            (-9000..9000)
                .map(|k| f64::from(k) * 0.001)
                .map(|z| {
                    let x = (c.shape.value(z) - c.mean) / c.sd;
                    normal::pdf(z) * 0.001 * x.powi(3)
                })
                .sum::<f64>()
        };
        for g in SKEW {
            let e = (g * g).exp();
            let expected = (e + 2.0) * (e - 1.0).sqrt();
            assert!((skewness(find(Candidate::Skew { g })) / expected - 1.0).abs() < 1e-3, "{g}");
            assert!(skewness(find(Candidate::Skew { g: -g })) < 0.0);
        }
        // Quantiles of t₃ over its quartile: 12.06 at 0.135 % (9.2189/0.7649).
        let heaviest = find(Candidate::Heavy { gamma: 0.0, delta: 0.95 });
        let ratio = heaviest.shape.value(3.0) / heaviest.shape.value(normal::quantile(0.75));
        assert!(ratio > 12.06, "{ratio}");
    }

    #[test]
    fn the_table_is_the_density() {
        for c in CANDIDATES.iter() {
            for k in 0..2000 {
                let x = f64::from(k) * 0.013 - 13.0;
                let exact = c.exact_ln_density(x);
                assert!(exact < -40.0 || (c.ln_density(x) - exact).abs() < 0.02, "{:?} at {x}", c.shape);
            }
        }
    }
}
