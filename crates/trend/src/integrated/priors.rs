//! The parameters of the integrated model, the coordinates in which they are drawn, and what is held of them before the readings are seen.
//!
//! Lengths are in units of the frame's length A, hours in units of its time T ([`super::frame`]):
//!
//! ```text
//! σᵤ (starts), σᵥ (slopes × T), σ_c (engines' shared slopes × T), σ_k (kept slopes × T)   half-t₄(1)
//! σ_w (wander after T hours of the clock)                                                   half-t₄(¾)
//! σ_b (what the readings of a visit have in common)                                         half-t₄(s₀)
//! ln σₑ (a reading's error)     t₄(ln s₀, 0.7) where s₀ is stated, t₄(ln s₀, 1) where not, cut at step/√12 and at A·20
//! ρ (start and slope)           ¾(1 − ρ²)
//! p (power of the hours)        N(1, 0.4²) cut to (0.2, 2.5)
//! κ (growth of wear with wear)  t₄(0, 0.3) cut to (−1, 20)
//! ```
//!
//! Half-t on standard deviations: A. Gelman, Prior distributions for variance parameters in hierarchical models, Bayesian Analysis 1 (2006)
//! 515–534, who recommends it where groups are few; its abstract was seen, the article not. Their density at 0 is positive and flat, so a component
//! that the data do not need shrinks to nothing, and their tails are heavy, so one that the data ask for is not held back. ¾(1 − ρ²) is the
//! marginal of D. Lewandowski, D. Kurowicka, H. Joe, Journal of Multivariate Analysis 100 (2009) 1989–2001, with η = 2 for two dimensions (from
//! memory). That p is near 1 is a judgement: wear by the hour is the usual case, and powers beyond the cuts are told from a straight line
//! by any three readings; a posterior that piles up at a cut is reported as a failure and never reassures. That κ is small, in half of the
//! cases within ±0.22, is a judgement too: the usual wear goes by the hour. Its tail is heavy, so that wear which grows with itself is followed as soon as readings
//! show it. It may be below 0 as easily, or straight wear would be taken for wear that speeds up a little; but wear that comes to a standstill reassures, so at κ = −1
//! it is cut: there the rate falls to 1/e in T hours, and what calms down more is left to p, which never stands still.
//!
//! Coordinates: ln σₑ, the cube roots of the other standard deviations, atanh ρ, p, κ. Where the readings do not tell a standard deviation its posterior is a
//! half bell at 0; its cube root is a whole one, which a t proposal follows. With logarithms, which were used first, a tenth of the weights' effective number
//! was lost in the long tail towards 0 (a fleet of twelve had 83 of 4 096).

use super::answer::Parameter;
use packdrift_numerics::normal;

/// Mean and standard deviation of p before its cuts, and the cuts.
const POWER: (f64, f64) = (1.0, 0.4);
pub(crate) const POWER_RANGE: (f64, f64) = (0.2, 2.5);
/// Prior scale of the wander after T, in A.
const WANDER: f64 = 0.75;
/// Prior scale of κ, and its cuts: the t has 1e-7 beyond the upper.
const GROWTH: f64 = 0.3;
pub(crate) const GROWTH_RANGE: (f64, f64) = (-1.0, 20.0);
/// Width of ln σₑ's prior where the error is stated, and where it is not.
pub(crate) const STATED: f64 = 0.7;
pub(crate) const NOT_STATED: f64 = 1.0;
/// Largest reading error, in A: nothing is known of wear through such a gauge.
pub(crate) const LARGEST_ERROR: f64 = 20.0;

/// Standard deviation of where the value goes in a jump, in A: anywhere, as far as a gross error reaches. It is taken as known, so it weighs nothing.
pub(crate) const LEAP: f64 = 50.0;

/// Parameters in the frame; 0 where the model has no such component.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Theta {
    pub(crate) reading: f64,
    pub(crate) visit: f64,
    pub(crate) start: f64,
    pub(crate) slope: f64,
    pub(crate) correlation: f64,
    pub(crate) wander: f64,
    pub(crate) power: f64,
    pub(crate) growth: f64,
    pub(crate) engine: f64,
    pub(crate) kept: f64,
}

impl Theta {
    pub(crate) fn of(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Reading => self.reading,
            Parameter::Visit => self.visit,
            Parameter::Start => self.start,
            Parameter::Slope => self.slope,
            Parameter::Correlation => self.correlation,
            Parameter::Wander => self.wander,
            Parameter::Power => self.power,
            Parameter::Growth => self.growth,
            Parameter::Engine => self.engine,
            Parameter::Kept => self.kept,
        }
    }

    fn slot(&mut self, parameter: Parameter) -> &mut f64 {
        match parameter {
            Parameter::Reading => &mut self.reading,
            Parameter::Visit => &mut self.visit,
            Parameter::Start => &mut self.start,
            Parameter::Slope => &mut self.slope,
            Parameter::Correlation => &mut self.correlation,
            Parameter::Wander => &mut self.wander,
            Parameter::Power => &mut self.power,
            Parameter::Growth => &mut self.growth,
            Parameter::Engine => &mut self.engine,
            Parameter::Kept => &mut self.kept,
        }
    }
}

/// Prior of the parameters that a fleet's model has.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Prior {
    /// The model's parameters, in the order of the coordinates.
    pub(crate) layout: Vec<Parameter>,
    /// s₀, in A.
    pub(crate) error: f64,
    /// Width of ln σₑ.
    pub(crate) width: f64,
    /// Cuts of σₑ, in A.
    pub(crate) error_range: (f64, f64),
}

/// ln of the density of Student's t with 4 degrees of freedom.
fn ln_t4(t: f64) -> f64 {
    0.375_f64.ln() - 2.5 * (1.0 + 0.25 * t * t).ln()
}

/// Its distribution function.
fn t4_below(t: f64) -> f64 {
    let s = 1.0 + 0.25 * t * t;
    0.5 + 0.375 * t / s.sqrt() * (1.0 - t * t / (12.0 * s))
}

/// Its quantile; the cubic that the distribution function is, solved by angles.
fn t4_quantile(u: f64) -> f64 {
    let alpha = (4.0 * u * (1.0 - u)).clamp(1e-300, 1.0);
    let root = alpha.sqrt();
    let q = ((root.acos() / 3.0).cos() / root - 1.0).max(0.0);
    2.0 * q.sqrt().copysign(u - 0.5)
}

impl Prior {
    pub(crate) fn dimensions(&self) -> usize {
        self.layout.len()
    }

    /// Scale of a half-t₄, in A.
    fn scale(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Wander => WANDER,
            Parameter::Visit => self.error,
            _ => 1.0,
        }
    }

    /// The cuts of ln σₑ on the scale of its t.
    fn error_cuts(&self) -> (f64, f64) {
        let on_t = |s: f64| (s / self.error).ln() / self.width;
        (on_t(self.error_range.0), on_t(self.error_range.1))
    }

    /// Parameters at the coordinates.
    pub(crate) fn theta(&self, z: &[f64]) -> Theta {
        let mut theta = Theta { power: 1.0, ..Theta::default() };
        for (parameter, z) in self.layout.iter().zip(z) {
            *theta.slot(*parameter) = match parameter {
                Parameter::Correlation => z.tanh(),
                Parameter::Power | Parameter::Growth => *z,
                Parameter::Reading => z.exp(),
                _ => z.max(0.0).powi(3),
            };
        }
        theta
    }

    /// ln of the density in the coordinates; −∞ beyond the cuts.
    pub(crate) fn ln_density(&self, z: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (parameter, &z) in self.layout.iter().zip(z) {
            sum += match parameter {
                Parameter::Reading => {
                    let (low, high) = self.error_cuts();
                    let t = (z - self.error.ln()) / self.width;
                    if t < low || t > high {
                        return f64::NEG_INFINITY;
                    }
                    ln_t4(t) - (self.width * (t4_below(high) - t4_below(low))).ln()
                }
                Parameter::Correlation => {
                    let rho = z.tanh();
                    0.75_f64.ln() + 2.0 * ((1.0 - rho) * (1.0 + rho)).max(1e-300).ln()
                }
                Parameter::Power => {
                    let (low, high) = POWER_RANGE;
                    if z < low || z > high {
                        return f64::NEG_INFINITY;
                    }
                    let (mean, sd) = POWER;
                    let inside = normal::cdf((high - mean) / sd) - normal::cdf((low - mean) / sd);
                    (normal::pdf((z - mean) / sd) / (sd * inside)).ln()
                }
                Parameter::Growth => {
                    let (low, high) = GROWTH_RANGE;
                    if z < low || z > high {
                        return f64::NEG_INFINITY;
                    }
                    let inside = t4_below(high / GROWTH) - t4_below(low / GROWTH);
                    ln_t4(z / GROWTH) - (GROWTH * inside).ln()
                }
                other => {
                    if z <= 0.0 {
                        return f64::NEG_INFINITY;
                    }
                    let scale = self.scale(*other);
                    std::f64::consts::LN_2 + ln_t4(z.powi(3) / scale) + (3.0 * z * z / scale).ln()
                }
            };
        }
        sum
    }

    /// The point of the prior at shares `u` of its coordinates.
    pub(crate) fn point(&self, u: &[f64], z: &mut [f64]) {
        for ((parameter, u), z) in self.layout.iter().zip(u).zip(z) {
            *z = match parameter {
                Parameter::Reading => {
                    let (low, high) = self.error_cuts();
                    let (below, above) = (t4_below(low), t4_below(high));
                    let t = t4_quantile(below + u * (above - below)).clamp(low, high);
                    self.error.ln() + self.width * t
                }
                // The root in (−1, 1) of ρ³ − 3ρ + 4u − 2.
                Parameter::Correlation => {
                    let rho = 2.0 * (((1.0 - 2.0 * u).acos() + 4.0 * std::f64::consts::PI) / 3.0).cos();
                    rho.clamp(-1.0 + 1e-12, 1.0 - 1e-12).atanh()
                }
                Parameter::Power => {
                    let ((mean, sd), (low, high)) = (POWER, POWER_RANGE);
                    let (below, above) = (normal::cdf((low - mean) / sd), normal::cdf((high - mean) / sd));
                    (mean + sd * normal::quantile(below + u * (above - below))).clamp(low, high)
                }
                Parameter::Growth => {
                    let (low, high) = GROWTH_RANGE;
                    let (below, above) = (t4_below(low / GROWTH), t4_below(high / GROWTH));
                    (GROWTH * t4_quantile(below + u * (above - below))).clamp(low, high)
                }
                other => (self.scale(*other) * t4_quantile(0.5 + 0.5 * u)).max(1e-30).cbrt(),
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn prior() -> Prior {
        use Parameter::{Correlation, Engine, Growth, Kept, Power, Reading, Slope, Start, Visit, Wander};
        Prior {
            layout: vec![Reading, Visit, Start, Slope, Correlation, Wander, Power, Growth, Engine, Kept],
            error: 0.3,
            width: 0.7,
            error_range: (0.02, 20.0),
        }
    }

    /// The density integrates to 1 over each coordinate, and the share of it below a point is the share that the point was made from.
    #[test]
    fn points_and_density_are_of_one_distribution() {
        let prior = prior();
        let n = prior.dimensions();
        for k in 0..n {
            let single = Prior { layout: vec![prior.layout[k]], ..prior.clone() };
            let at = |u: f64| {
                let mut z = [0.0];
                single.point(&[u], &mut z);
                z[0]
            };
            for (a, b) in [(0.05, 0.3), (0.3, 0.5), (0.5, 0.97)] {
                let (low, high) = (at(a), at(b));
                let steps = 4000;
                let h = (high - low) / f64::from(steps);
                let mass: f64 =
                    (0..steps).map(|i| h * single.ln_density(&[low + h * (f64::from(i) + 0.5)]).exp()).sum();
                assert!((mass - (b - a)).abs() < 1e-5, "{:?} {a} {b}: {mass}", prior.layout[k]);
            }
        }
    }

    #[test]
    fn cuts_hold() {
        let prior = prior();
        let mut z = vec![0.0; prior.dimensions()];
        prior.point(&vec![0.5; prior.dimensions()], &mut z);
        assert!(prior.ln_density(&z).is_finite());
        for (k, bad) in [(0, 0.01_f64.ln()), (0, 21.0_f64.ln()), (6, 0.19), (6, 2.51)] {
            let mut z = z.clone();
            z[k] = bad;
            assert!(prior.ln_density(&z) == f64::NEG_INFINITY);
        }
        assert!((prior.theta(&z).reading - 0.3).abs() < 0.01 && (prior.theta(&z).power - 1.0).abs() < 0.02);
    }

    #[test]
    fn t4_is_student_t_with_four_degrees_of_freedom() {
        use packdrift_numerics::special::{student_t_quantile, student_t_tails};
        for u in [1e-6, 0.1, 0.4, 0.5, 0.7, 0.999] {
            let t = student_t_quantile(4.0, u);
            assert!((t4_quantile(u) - t).abs() < 1e-7 * t.abs().max(1.0), "{u}");
            assert!((t4_below(t) - student_t_tails(4.0, t).lower).abs() < 1e-12);
        }
    }
}
