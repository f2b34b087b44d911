//! Disc spring (conical spring washer): the Almen–Laszlo load and stresses as in EN 16984, unmodified ends, no contact flats.
//!
//! Source: J. O. Almen and A. Laszlo, The uniform-section disk spring, Trans. ASME 58 (1936) 305–314; EN 16984 (formerly
//! DIN 2092) gives the same formulas in the form used here. Assumptions, limits and checks: `docs/disc-spring.md`.

use crate::model::Elastic;
use crate::stress::StressPoint;
use std::f64::consts::PI;

/// A disc spring's dimensions and material.
///
/// # Examples
///
/// ```
/// use packdrift_pack::{Elastic, disc::Disc};
/// let disc = Disc {
///     outer_diameter: 25.0,
///     inner_diameter: 12.2,
///     thickness: 1.5,
///     cone_height: 0.55,
///     elastic: Elastic { youngs_modulus: 206_000.0, poisson: 0.3 },
/// };
/// // EN 16983, series A, De 25: 2 910 N at 0.75 h0 and 1 091 MPa at the lower outer edge.
/// let s = 0.75 * disc.cone_height;
/// assert!((disc.load(s) / 2_910.0 - 1.0).abs() < 0.01);
/// assert!((disc.stresses(s).iii - 1_090.5).abs() < 0.1);
/// assert_eq!(disc.peak(), None); // h0/t below √2: the load rises all the way
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disc {
    /// De, mm.
    pub outer_diameter: f64,
    /// Di, mm.
    pub inner_diameter: f64,
    /// t, mm.
    pub thickness: f64,
    /// h0, free height less thickness, mm.
    pub cone_height: f64,
    /// E and ν.
    pub elastic: Elastic,
}

/// Stresses of a disc spring, MPa, tension positive, at the places that EN 16984 names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stresses {
    /// `σ_OM`: upper surface, at the centre of rotation.
    pub om: f64,
    /// `σ_I`: upper inner edge.
    pub i: f64,
    /// `σ_II`: lower inner edge.
    pub ii: f64,
    /// `σ_III`: lower outer edge.
    pub iii: f64,
    /// `σ_IV`: upper outer edge.
    pub iv: f64,
}

/// The point where a load curve stops rising.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// mm.
    pub deflection: f64,
    /// N.
    pub load: f64,
}

impl Disc {
    fn curve(&self) -> DiscCurve {
        DiscCurve {
            c: coefficient(self.outer_diameter, self.inner_diameter, self.thickness, &self.elastic),
            h: self.cone_height,
            t: self.thickness,
        }
    }

    /// Load F at a deflection s (mm), N:
    ///
    /// F = 4E/(1 − ν²) · t⁴/(K1·De²) · s/t · ((h0/t − s/t)·(h0/t − s/(2t)) + 1)
    ///
    /// with E Young's modulus (MPa), ν Poisson's ratio, De, t, h0 in mm, [`k1`] of De/Di.
    pub fn load(&self, deflection: f64) -> f64 {
        self.curve().load(deflection)
    }

    /// Rate dF/ds at a deflection s (mm), N/mm.
    pub fn rate(&self, deflection: f64) -> f64 {
        self.curve().rate(deflection)
    }

    /// Load that presses the disc flat (s = h0), N.
    pub fn flat_load(&self) -> f64 {
        self.load(self.cone_height)
    }

    /// Where the load stops rising, for h0/t > √2: s = h0 − √((h0² − 2t²)/3). None where it rises all the way to flat.
    pub fn peak(&self) -> Option<Peak> {
        let curve = self.curve();
        curve.peak().map(|deflection| Peak { deflection, load: curve.load(deflection) })
    }

    /// Stresses at a deflection s (mm), MPa. With S = 4E/(1 − ν²) · t²/(K1·De²) · s/t, δ = De/Di and k = h0/t − s/(2t):
    ///
    /// - `σ_OM` = −S·3/π
    /// - `σ_I` = −S·(K2·k + K3), `σ_II` = −S·(K2·k − K3)
    /// - `σ_III` = −S/δ·((K2 − 2·K3)·k − K3), `σ_IV` = −S/δ·((K2 − 2·K3)·k + K3)
    pub fn stresses(&self, deflection: f64) -> Stresses {
        let ratio = self.outer_diameter / self.inner_diameter;
        let t = self.thickness;
        let s = stiffness(&self.elastic) * t * deflection * shape(self.outer_diameter, self.inner_diameter);
        let k = (self.cone_height - 0.5 * deflection) / t;
        let (k2, k3) = (k2(ratio), k3(ratio));
        let outer = k2 - 2.0 * k3;
        Stresses {
            om: -s * 3.0 / PI,
            i: -s * (k2 * k + k3),
            ii: -s * (k2 * k - k3),
            iii: -s / ratio * (outer * k - k3),
            iv: -s / ratio * (outer * k + k3),
        }
    }
}

/// σ = −S·(a·k + b) at one point of a disc, with S = `stiffness`·t·s and k = (h0 − s/2)/t, and how that changes with the diameters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct StressShape {
    /// 4E/(1 − ν²)/(K1·De²), MPa/mm².
    pub(crate) stiffness: f64,
    pub(crate) a: f64,
    pub(crate) b: f64,
    /// d ln(stiffness)/dDe and /dDi, 1/mm.
    pub(crate) log_by_outer: f64,
    pub(crate) log_by_inner: f64,
    pub(crate) a_by_outer: f64,
    pub(crate) b_by_outer: f64,
    pub(crate) a_by_inner: f64,
    pub(crate) b_by_inner: f64,
}

/// See [`StressShape`]; None where a disc has no such point.
pub(crate) fn stress_shape(disc: &Disc, point: StressPoint) -> Option<StressShape> {
    let (outer, inner) = (disc.outer_diameter, disc.inner_diameter);
    let ratio = outer / inner;
    let (k2, k3) = (k2(ratio), k3(ratio));
    let ln = ratio.ln();
    // d/dδ of K3 = (3/π)·(δ − 1)/ln δ and of K2 = (6/π)·((δ − 1)/ln δ − 1)/ln δ.
    let k3_slope = 3.0 / PI * (ln - (ratio - 1.0) / ratio) / (ln * ln);
    let quotient = (ratio - 1.0) / ln;
    let k2_slope = 6.0 / PI * (PI / 3.0 * k3_slope / ln - (quotient - 1.0) / (ratio * ln * ln));
    // a, b and their slopes by δ, before the division by δ at the outer edges.
    let (a, b, a_slope, b_slope, at_outer_edge) = match point {
        StressPoint::Om => (0.0, 3.0 / PI, 0.0, 0.0, false),
        StressPoint::I => (k2, k3, k2_slope, k3_slope, false),
        StressPoint::Ii => (k2, -k3, k2_slope, -k3_slope, false),
        StressPoint::Iii => (k2 - 2.0 * k3, -k3, k2_slope - 2.0 * k3_slope, -k3_slope, true),
        StressPoint::Iv => (k2 - 2.0 * k3, k3, k2_slope - 2.0 * k3_slope, k3_slope, true),
        StressPoint::Bending => return None,
    };
    let (a, b, a_slope, b_slope) = if at_outer_edge {
        (a / ratio, b / ratio, (a_slope - a / ratio) / ratio, (b_slope - b / ratio) / ratio)
    } else {
        (a, b, a_slope, b_slope)
    };
    let (by_outer, by_inner) = (1.0 / inner, -ratio / inner);
    let log_k1 = log_k1_slope(ratio);
    Some(StressShape {
        stiffness: stiffness(&disc.elastic) * shape(outer, inner),
        a,
        b,
        log_by_outer: -log_k1 * by_outer - 2.0 / outer,
        log_by_inner: -log_k1 * by_inner,
        a_by_outer: a_slope * by_outer,
        b_by_outer: b_slope * by_outer,
        a_by_inner: a_slope * by_inner,
        b_by_inner: b_slope * by_inner,
    })
}

/// Load curve with its constants filled in: F(s) = c·s·((h − s)(h − s/2) + t²).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DiscCurve {
    /// 4E/(1 − ν²)·t/(K1·De²), times friction, N/mm⁴.
    pub(crate) c: f64,
    /// h0, mm.
    pub(crate) h: f64,
    /// t, mm.
    pub(crate) t: f64,
}

/// c of [`DiscCurve`]: 4E/(1 − ν²)·t/(K1·De²).
pub(crate) fn coefficient(outer: f64, inner: f64, t: f64, elastic: &Elastic) -> f64 {
    stiffness(elastic) * t * shape(outer, inner)
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

    /// Deflection of the largest load where h > √2·t, mm.
    pub(crate) fn peak(&self) -> Option<f64> {
        let excess = self.h * self.h - 2.0 * self.t * self.t;
        (excess > 0.0 && self.h > 0.0).then(|| self.h - (excess / 3.0).sqrt())
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
            if next >= end {
                return end;
            }
            // A NaN ends the search too.
            if next.partial_cmp(&deflection) != Some(std::cmp::Ordering::Greater) {
                break;
            }
            deflection = next;
        }
        deflection
    }
}

/// Largest diameter ratio for which K1 is computed without a logarithm.
pub(crate) const SMALL_RATIO: f64 = 4.0;

/// K1 of EN 16984, a function of δ = De/Di (unit 1):
///
/// K1 = (1/π)·((δ − 1)/δ)² / ((δ + 1)/(δ − 1) − 2/ln δ)
///
/// The denominator is a difference of nearly equal numbers (3 − 2.885 at δ = 2). Up to δ = 4 it is therefore computed as
/// z·P(z²)/(1 + z²·P(z²)) with z = (δ − 1)/(δ + 1) and P(w) = (atanh(√w)/√w − 1)/w, which has no cancellation.
///
/// # Examples
///
/// ```
/// assert!((packdrift_pack::disc::k1(2.0) - 0.694_333_202_4).abs() < 1e-10);
/// ```
pub fn k1(ratio: f64) -> f64 {
    1.0 / (ratio * ratio * shape(ratio, 1.0))
}

/// 1/(K1·De²), 1/mm².
pub(crate) fn shape(outer: f64, inner: f64) -> f64 {
    if outer <= SMALL_RATIO * inner {
        shape_of_small_ratio(outer, inner)
    } else {
        let ratio = outer / inner;
        PI * ((ratio + 1.0) / (ratio - 1.0) - 2.0 / ratio.ln()) / ((outer - inner) * (outer - inner))
    }
}

/// [`shape`] up to [`SMALL_RATIO`], without a branch or a logarithm, so that a loop over trials becomes vector
/// instructions: with z, w = z² and P = p/q as in [`k1`], 1/(K1·De²) = π·p/((De − Di)·(De + Di)·(q + w·p)).
#[inline(always)]
pub(crate) fn shape_of_small_ratio(outer: f64, inner: f64) -> f64 {
    let z = (outer - inner) / (outer + inner);
    let w = z * z;
    let (p, q) = p_parts(w);
    PI * p / ((outer - inner) * (outer + inner) * (q + w * p))
}

/// Numerator and denominator of P(w) = (atanh(√w)/√w − 1)/w = Σ wᵏ/(2k + 3) on 0 ≤ w ≤ 0.36: the minimax rational function
/// of degrees 5 and 5, relative error 2.2e-17, found by Remez' exchange in 60-digit arithmetic.
#[inline(always)]
fn p_parts(w: f64) -> (f64, f64) {
    const P: [f64; 6] = [
        0.3333333333333333,
        -0.7916671469823823,
        0.6528466086264177,
        -0.21543477932993638,
        0.023037181021972164,
        -9.322914740908874e-05,
    ];
    const Q: [f64; 6] =
        [1.0, -2.9750014409471346, 3.314969261875028, -1.6936186108611988, 0.3835214709185825, -0.028950970823546016];
    let horner = |c: &[f64; 6]| c[0] + w * (c[1] + w * (c[2] + w * (c[3] + w * (c[4] + w * c[5]))));
    (horner(&P), horner(&Q))
}

/// d(ln K1)/dδ, 1.
///
/// With z and P as in [`k1`], ln K1 = ln(δ² − 1) − 2·ln δ + ln((1 + wP)/P) + const and w = z², where
/// P′(w) = (1/(1 − w) − 3P)/(2w) from the derivative of atanh.
pub(crate) fn log_k1_slope(ratio: f64) -> f64 {
    let z = (ratio - 1.0) / (ratio + 1.0);
    let w = z * z;
    // At small w the closed form of P′ cancels; the series converges at once there.
    let (p, p_slope) = if w < 0.01 {
        let series = |term: fn(f64) -> f64| (0..12).rev().fold(0.0, |sum, k| sum * w + term(f64::from(k)));
        (series(|k| 1.0 / (2.0 * k + 3.0)), series(|k| (k + 1.0) / (2.0 * k + 5.0)))
    } else {
        let p = (z.atanh() / z - 1.0) / w;
        (p, (1.0 / (1.0 - w) - 3.0 * p) / (2.0 * w))
    };
    let w_slope = 4.0 * z / ((ratio + 1.0) * (ratio + 1.0));
    2.0 * ratio / (ratio * ratio - 1.0) - 2.0 / ratio + ((p + w * p_slope) / (1.0 + w * p) - p_slope / p) * w_slope
}

/// K2 of EN 16984: (6/π)·((δ − 1)/ln δ − 1)/ln δ, with δ = De/Di.
pub fn k2(ratio: f64) -> f64 {
    let ln = ratio.ln();
    6.0 / PI * ((ratio - 1.0) / ln - 1.0) / ln
}

/// K3 of EN 16984: (3/π)·(δ − 1)/ln δ, with δ = De/Di.
pub fn k3(ratio: f64) -> f64 {
    3.0 / PI * (ratio - 1.0) / ratio.ln()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    #![allow(clippy::excessive_precision, reason = "copied digit by digit from the reference")]
    use super::*;

    /// 30-digit values by mpmath 1.4 from the definition of K1.
    const K1_REFERENCE: [(f64, f64); 9] = [
        (1.0001, 0.00019095728751244593169),
        (1.03125, 0.056994040318856944894),
        (1.25, 0.34263929282735741824),
        (1.63, 0.5862637727238999359),
        (2.0, 0.69433320240011760572),
        (2.5, 0.76079910343609764245),
        (3.5, 0.79793623011126485506),
        (4.0, 0.79942854527516183131),
        (8.0, 0.75237039539591890892),
    ];

    #[test]
    fn k1_has_no_cancellation() {
        for (ratio, expected) in K1_REFERENCE {
            let got = k1(ratio);
            assert!((got / expected - 1.0).abs() < 2e-15, "K1({ratio}) = {got}, expected {expected}");
        }
    }

    #[test]
    fn the_two_forms_of_k1_meet() {
        let below = k1(SMALL_RATIO);
        let above = k1(SMALL_RATIO * (1.0 + f64::EPSILON));
        assert!((below / above - 1.0).abs() < 2e-15);
    }

    #[test]
    fn the_slope_of_k1_is_its_difference_quotient() {
        for ratio in [1.001, 1.02, 1.2, 1.23, 1.63, 2.0, 3.0, 3.9, 6.0] {
            let step = 1e-5 * (ratio - 1.0);
            let quotient = (k1(ratio + step).ln() - k1(ratio - step).ln()) / (2.0 * step);
            let slope = log_k1_slope(ratio);
            assert!((slope - quotient).abs() < 1e-8 * quotient.abs(), "{ratio}: {slope} against {quotient}");
        }
    }

    #[test]
    fn the_deflection_under_a_load_inverts_the_load() {
        for (h, t) in [(0.4, 1.0), (1.3, 1.0), (1.41, 1.0), (1.5, 1.0), (3.0, 1.0)] {
            let curve = DiscCurve { c: 700.0, h, t };
            let end = curve.peak().unwrap_or(h);
            for k in 0..=100 {
                let deflection = end * f64::from(k) / 100.0;
                let back = curve.deflection(curve.load(deflection), end);
                // Where the curve is flat a load says little about the deflection: the load must come back, always.
                assert!((curve.load(back) - curve.load(deflection)).abs() <= 4.0 * f64::EPSILON * curve.load(end));
                if deflection < 0.9 * end {
                    assert!((back - deflection).abs() < 1e-13, "h/t {h}: {back} against {deflection}");
                }
            }
        }
    }

    #[test]
    fn the_peak_is_where_the_rate_is_zero() {
        let curve = DiscCurve { c: 1.0, h: 1.7, t: 1.0 };
        assert!(curve.rate(curve.peak().unwrap()).abs() < 1e-14);
        assert_eq!(DiscCurve { c: 1.0, h: 1.41, t: 1.0 }.peak(), None);
    }
}
