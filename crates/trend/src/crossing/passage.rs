//! First passage of a Wiener process whose drift is uncertain: closed forms given the start, quadrature over the start.
//!
//! The value starts at distance y₀ above a lower limit, W below which... all in one frame: limits at 0 and W, start y₀ in (0, W), drift
//! v ~ N(μ, η²), variance σ² per hour. For a known drift the chance of not having left (0, W) by t is the method of images,
//!
//! ```text
//! S(t | v) = Σₙ e^{2nWv/σ²}·[Φ]  −  e^{2(nW − y₀)v/σ²}·[Φ],
//! ```
//!
//! (D. Cox, H. Miller, The Theory of Stochastic Processes, 1965, section 5.7); one limit keeps two terms, whose complement is the
//! inverse Gaussian distribution. Over the normal drift each term stays closed, E[e^{av}·Φ((c − vt)/σ√t)] =
//! e^{aμ + a²η²/2}·Φ((c − (μ + aη²)t)/√(σ²t + η²t²)), as C. Peng and S. Tseng found for one limit (IEEE Transactions on Reliability 58
//! (2009) 444–455). The exponent overflows and Φ underflows together; their product is formed as e^X·g(z), g(z) = Φ(z)·e^{z²/2}, with X
//! simplified by hand so that nothing large cancels.

use packdrift_numerics::normal::cdf;

/// g(z) = Φ(z)·e^{z²/2} for z ≤ 0, from 1/2 down like 1/(|z|√2π).
fn scaled(z: f64) -> f64 {
    if z > -26.0 {
        return cdf(z) * (0.5 * z * z).exp();
    }
    // Mills' ratio by its asymptotic series; the first term left out is below 1e-11 here.
    let r = 1.0 / (z * z);
    let series = 1.0 - r * (1.0 - 3.0 * r * (1.0 - 5.0 * r * (1.0 - 7.0 * r)));
    series / (-z * (2.0 * std::f64::consts::PI).sqrt())
}

/// ln of a chance that is none: 1e-22.
const NOTHING: f64 = -50.0;

/// Drift, its variance, the wander's variance per hour, and the time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Motion {
    pub(crate) mean: f64,
    pub(crate) var: f64,
    pub(crate) wander: f64,
    pub(crate) time: f64,
}

impl Motion {
    /// e^{aμ + a²η²/2}·Φ(±(c − (μ + aη²)t)/D) with a = A/σ².
    fn piece(&self, big_a: f64, c: f64, sign: f64) -> f64 {
        let Self { mean, var, wander, time } = *self;
        let a = big_a / wander;
        let spread = wander + var * time;
        let d = (time * spread).sqrt();
        let z = sign * (c - (mean + a * var) * time) / d;
        let x = (a * var * (big_a + 2.0 * c) + 2.0 * mean * big_a) / (2.0 * spread)
            - (c - mean * time).powi(2) / (2.0 * d * d);
        // Φ is at most 1, and g at most 1/2: nothing is left of either.
        if x + 0.5 * z.max(0.0).powi(2) < NOTHING {
            return 0.0;
        }
        if z < 0.0 { x.exp() * scaled(z) } else { (x + 0.5 * z * z).exp() * cdf(z) }
    }

    /// e^…·[Φ(upper) − Φ(lower)], by whichever tail keeps the digits.
    fn slab(&self, big_a: f64, low: f64, high: f64) -> f64 {
        let centre = (self.mean + big_a / self.wander * self.var) * self.time;
        if 0.5 * (low + high) > centre {
            self.piece(big_a, low, -1.0) - self.piece(big_a, high, -1.0)
        } else {
            self.piece(big_a, high, 1.0) - self.piece(big_a, low, 1.0)
        }
    }

    /// Chance of having gone down through a limit at distance `d` > 0 below, by `time`.
    pub(crate) fn below(&self, d: f64) -> f64 {
        Self { mean: -self.mean, ..*self }.above(d)
    }

    /// Chance of having gone up through a limit at distance `d` > 0 above, by `time`.
    pub(crate) fn above(&self, d: f64) -> f64 {
        if d <= 0.0 {
            return 1.0;
        }
        if self.time <= 0.0 {
            return 0.0;
        }
        // Φ((μt − d)/D) + e^{2dμ/σ² + …}·Φ(−(d + (μ + 2dη²/σ²)t)/D).
        let direct = self.piece(0.0, d, -1.0);
        (direct + self.returned(d)).clamp(0.0, 1.0)
    }

    /// Chance of having gone up through a limit at distance `d` > 0 above and being below it again at `time` > 0: the second term.
    pub(crate) fn returned(&self, d: f64) -> f64 {
        self.piece(2.0 * d, -d, 1.0)
    }

    /// Chance of having left (0, width) by `time`, starting at `y0` inside.
    pub(crate) fn outside(&self, y0: f64, width: f64) -> f64 {
        if y0 <= 0.0 || y0 >= width {
            return 1.0;
        }
        if self.time <= 0.0 {
            return 0.0;
        }
        // The chance of meeting both limits cannot exceed that of meeting the rarer one.
        let (up, down) = (self.above(width - y0), self.below(y0));
        if up.min(down) < 1e-13 {
            return up.max(down);
        }
        let mut stay = 0.0;
        for n in 0..40 {
            let shift = f64::from(n) * width;
            let mut ring = self.image(y0, width, shift);
            if n > 0 {
                ring += self.image(y0, width, -shift);
            }
            stay += ring;
            if n > 0 && ring.abs() < 1e-13 {
                break;
            }
        }
        (1.0 - stay).clamp(0.0, 1.0)
    }

    fn image(&self, y0: f64, width: f64, shift: f64) -> f64 {
        self.slab(2.0 * shift, -y0 - 2.0 * shift, width - y0 - 2.0 * shift)
            - self.slab(2.0 * (shift - y0), y0 - 2.0 * shift, width + y0 - 2.0 * shift)
    }

    /// Chance of ever going up through a limit at distance `d` above: E[min(1, e^{2vd/σ²})].
    pub(crate) fn ever_above(&self, d: f64) -> f64 {
        if d <= 0.0 {
            return 1.0;
        }
        let a = 2.0 * d / self.wander;
        if self.var <= 0.0 {
            return (a * self.mean).min(0.0).exp();
        }
        let eta = self.var.sqrt();
        let z = -(self.mean + a * self.var) / eta;
        let falling = if z < 0.0 {
            (-0.5 * self.mean * self.mean / self.var).exp() * scaled(z)
        } else {
            (a * self.mean + 0.5 * a * a * self.var).exp() * cdf(z)
        };
        (cdf(self.mean / eta) + falling).clamp(0.0, 1.0)
    }
}

/// The 16-point Gauss–Legendre rule on (−1, 1): half of its nodes, with weights.
pub(crate) const GAUSS: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_6),
    (0.458_016_777_657_227_37, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_7, 0.149_595_988_816_576_74),
    (0.755_404_408_355_003, 0.124_628_971_255_533_88),
    (0.865_631_202_387_831_7, 0.095_158_511_682_492_79),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_894),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_094),
];

/// ∫ f over [a, b].
pub(crate) fn gauss(a: f64, b: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    let (mid, half) = (0.5 * (a + b), 0.5 * (b - a));
    half * GAUSS.iter().map(|&(x, w)| w * (f(mid - half * x) + f(mid + half * x))).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motion(mean: f64, var: f64, sd: f64, time: f64) -> Motion {
        Motion { mean, var, wander: sd * sd, time }
    }

    #[test]
    fn a_known_drift_gives_the_inverse_gaussian() {
        // scipy 1.17 `invgauss(mu = s²/(vL), scale = L²/s²).cdf`.
        for (d, v, s, t, expected) in [
            (1.0, 1.0, 1.0, 0.5, 0.36497554817296),
            (1.0, 1.0, 1.0, 1.0, 0.66810200122317),
            (5.0, 0.5, 0.8, 5.0, 0.11519733153722),
            (5.0, 0.5, 0.8, 10.0, 0.59542532737264),
            (0.35, 0.01, 0.02, 35.0, 0.56565221779257),
        ] {
            let p = motion(v, 0.0, s, t).above(d);
            assert!((p - expected).abs() < 1e-13, "{p} against {expected}");
            // The mirror image.
            assert!((motion(-v, 0.0, s, t).below(d) - expected).abs() < 1e-13);
        }
    }

    #[test]
    fn nothing_overflows_where_the_wander_is_tiny() {
        // e^{2vd/σ²} = e^{2e10}; the answer is that of a straight line with an uncertain slope.
        let m = motion(1e-4, 4e-10, 1e-7, 5000.0);
        let line = cdf((1e-4 * 5000.0 - 0.5) / (4e-10_f64.sqrt() * 5000.0));
        assert!((m.above(0.5) - line).abs() < 1e-6, "{}", m.above(0.5));
        assert!((m.outside(0.5, 1.0) - line).abs() < 1e-6);
        assert!(motion(-1.0, 0.0, 1e-5, 1e6).above(1.0).abs() < 1e-300);
    }

    #[test]
    fn two_limits_agree_with_one_where_the_other_is_far_and_with_the_sine_series() {
        let m = motion(0.02, 0.0004, 0.1, 30.0);
        assert!((m.outside(50.0, 51.0) - m.above(1.0)).abs() < 1e-12);
        // Driftless: Σ 4/(πk)·sin(πk y/W)·e^{−π²k²σ²t/2W²}, k odd, is the chance of staying.
        let (y, w, s, t) = (0.3, 1.0, 0.4, 2.0);
        let stay: f64 = (0..60)
            .map(|i| {
                let k = std::f64::consts::PI * f64::from(2 * i + 1);
                4.0 / k * (k * y / w).sin() * (-k * k * s * s * t / (2.0 * w * w)).exp()
            })
            .sum();
        assert!((1.0 - motion(0.0, 0.0, s, t).outside(y, w) - stay).abs() < 1e-12);
    }

    #[test]
    fn an_uncertain_drift_is_the_average_over_it() {
        let (mean, var, wander, time) = (0.03, 0.0009, 0.02, 25.0);
        let m = Motion { mean, var, wander, time };
        let sd = f64::sqrt(var);
        let average = |f: &dyn Fn(Motion) -> f64| {
            let mut sum = 0.0;
            for k in -8..8 {
                let (a, b) = (mean + sd * f64::from(k), mean + sd * f64::from(k + 1));
                sum += gauss(a, b, |v| {
                    packdrift_numerics::normal::pdf((v - mean) / sd) / sd
                        * f(Motion { mean: v, var: 0.0, wander, time })
                });
            }
            sum
        };
        assert!((m.above(1.2) - average(&|x| x.above(1.2))).abs() < 1e-12);
        assert!((m.outside(0.7, 1.9) - average(&|x| x.outside(0.7, 1.9))).abs() < 1e-12);
        assert!((m.ever_above(1.2) - average(&|x| x.ever_above(1.2))).abs() < 1e-4);
    }

    #[test]
    fn the_long_run_is_the_chance_of_ever() {
        let m = motion(-0.02, 0.0003, 0.2, 1e9);
        assert!((m.above(0.8) - m.ever_above(0.8)).abs() < 1e-6);
    }
}
