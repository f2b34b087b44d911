//! Disc spring (conical spring washer): the Almen–Laszlo load and stresses as in EN 16984, unmodified ends, no contact flats.

use crate::model::Elastic;
use std::f64::consts::PI;

/// Load curve with its constants filled in: F(δ) = c·δ·((h − δ)(h − δ/2) + t²).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DiscCurve {
    /// 4E/(1 − ν²)·t/(K1·De²), times friction, N/mm³.
    pub(crate) c: f64,
    /// h0, mm.
    pub(crate) h: f64,
    /// t, mm.
    pub(crate) t: f64,
}

/// c of [`DiscCurve`]: 4E/(1 − ν²)·t/(K1·De²).
pub(crate) fn coefficient(outer: f64, inner: f64, t: f64, elastic: &Elastic) -> f64 {
    stiffness(elastic) * t / (k1(outer / inner) * outer * outer)
}

/// 4E/(1 − ν²), MPa.
pub(crate) fn stiffness(elastic: &Elastic) -> f64 {
    4.0 * elastic.youngs_modulus / (1.0 - elastic.poisson * elastic.poisson)
}

impl DiscCurve {
    pub(crate) fn load(&self, deflection: f64) -> f64 {
        self.c * deflection * ((self.h - deflection) * (self.h - 0.5 * deflection) + self.t * self.t)
    }

    pub(crate) fn rate(&self, deflection: f64) -> f64 {
        self.c * (self.h * self.h + self.t * self.t - deflection * (3.0 * self.h - 1.5 * deflection))
    }

    /// Deflection of the largest load where h > √2·t: h − √((h² − 2t²)/3), mm.
    pub(crate) fn peak(&self) -> Option<f64> {
        let excess = self.h * self.h - 2.0 * self.t * self.t;
        (excess > 0.0).then(|| self.h - (excess / 3.0).sqrt())
    }

    /// The deflection under a load on the first branch, at most `end`.
    ///
    /// The curve is concave up to h, so Newton's steps from the left stay left of the answer and grow towards it: no
    /// bracket is needed, and the search ends when a step no longer moves.
    pub(crate) fn deflection(&self, load: f64, end: f64) -> f64 {
        let mut deflection = 0.0;
        // Near the peak the root is nearly double and each step only halves the distance: 60 halvings reach the last bit.
        for _ in 0..80 {
            let step = (load - self.load(deflection)) / self.rate(deflection);
            let next = deflection + step;
            if !(next > deflection) {
                break;
            }
            if next >= end {
                return end;
            }
            deflection = next;
        }
        deflection
    }
}

/// K1 of EN 16984, a function of δ = De/Di (unit 1):
///
/// K1 = (1/π)·((δ − 1)/δ)² / ((δ + 1)/(δ − 1) − 2/ln δ)
///
/// # Examples
///
/// ```
/// assert!((packdrift_pack::disc::k1(2.0) - 0.694_333_202_4).abs() < 1e-10);
/// ```
pub fn k1(ratio: f64) -> f64 {
    let a = (ratio - 1.0) / ratio;
    a * a / (PI * ((ratio + 1.0) / (ratio - 1.0) - 2.0 / ratio.ln()))
}
