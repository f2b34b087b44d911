//! Two correlated normal values, both above their bounds.
//!
//! A. Genz, Numerical computation of rectangular bivariate and trivariate normal and t probabilities, Statistics and Computing 14 (2004)
//! 251–260, which refines Z. Drezner and G. Wesolowsky (1990): Plackett's integral over the correlation by Gauss–Legendre, and for
//! |ρ| > 0.925 an expansion about ±1 with the remainder integrated. Good to about 1e-15.

use packdrift_numerics::normal::{cdf, sf};
use std::f64::consts::PI;

/// Gauss–Legendre nodes in (0, 1) and weights, symmetric about 0, of 6, 12 and 20 points.
const SIX: [(f64, f64); 3] = [
    (0.932_469_514_203_152_1, 0.171_324_492_379_170_36),
    (0.661_209_386_466_264_5, 0.360_761_573_048_138_6),
    (0.238_619_186_083_196_9, 0.467_913_934_572_691_04),
];
const TWELVE: [(f64, f64); 6] = [
    (0.981_560_634_246_719_2, 0.047_175_336_386_511_83),
    (0.904_117_256_370_474_9, 0.106_939_325_995_318_43),
    (0.769_902_674_194_304_7, 0.160_078_328_543_346_22),
    (0.587_317_954_286_617_4, 0.203_167_426_723_065_92),
    (0.367_831_498_998_180_2, 0.233_492_536_538_354_8),
    (0.125_233_408_511_468_92, 0.249_147_045_813_402_77),
];
const TWENTY: [(f64, f64); 10] = [
    (0.993_128_599_185_094_9, 0.017_614_007_139_152_118),
    (0.963_971_927_277_913_8, 0.040_601_429_800_386_94),
    (0.912_234_428_251_325_9, 0.062_672_048_334_109_06),
    (0.839_116_971_822_218_8, 0.083_276_741_576_704_75),
    (0.746_331_906_460_150_8, 0.101_930_119_817_240_44),
    (0.636_053_680_726_515, 0.118_194_531_961_518_42),
    (0.510_867_001_950_827_1, 0.131_688_638_449_176_63),
    (0.373_706_088_715_419_56, 0.142_096_109_318_382_05),
    (0.227_785_851_141_645_08, 0.149_172_986_472_603_75),
    (0.076_526_521_133_497_33, 0.152_753_387_130_725_85),
];

/// P(X > h, Y > k) of standard normal X, Y with correlation `r`.
pub(crate) fn upper(h: f64, k: f64, r: f64) -> f64 {
    let r = r.clamp(-1.0, 1.0);
    let nodes: &[(f64, f64)] = if r.abs() < 0.3 {
        &SIX
    } else if r.abs() < 0.75 {
        &TWELVE
    } else {
        &TWENTY
    };
    if r.abs() < 0.925 {
        let hs = 0.5 * (h * h + k * k);
        let hk = h * k;
        let angle = r.asin();
        let mut sum = 0.0;
        for &(x, w) in nodes {
            for sign in [-1.0, 1.0] {
                let sn = (0.5 * angle * (1.0 + sign * x)).sin();
                sum += w * ((sn * hk - hs) / (1.0 - sn * sn)).exp();
            }
        }
        return (sum * angle / (4.0 * PI) + sf(h) * sf(k)).clamp(0.0, 1.0);
    }
    let k = if r < 0.0 { -k } else { k };
    let hk = h * k;
    let mut sum = 0.0;
    if r.abs() < 1.0 {
        let a2 = (1.0 - r) * (1.0 + r);
        let mut a = a2.sqrt();
        let b2 = (h - k) * (h - k);
        let c = (4.0 - hk) / 8.0;
        let d = (12.0 - hk) / 16.0;
        let e = -0.5 * (b2 / a2 + hk);
        if e > -100.0 {
            sum = a * e.exp() * (1.0 - c * (b2 - a2) * (1.0 - d * b2 / 5.0) / 3.0 + c * d * a2 * a2 / 5.0);
        }
        if -hk < 100.0 {
            let b = b2.sqrt();
            sum -=
                (-0.5 * hk).exp() * (2.0 * PI).sqrt() * cdf(-b / a) * b * (1.0 - c * b2 * (1.0 - d * b2 / 5.0) / 3.0);
        }
        a *= 0.5;
        for &(x, w) in nodes {
            for sign in [-1.0, 1.0] {
                let xs = (a * (1.0 + sign * x)).powi(2);
                let rs = (1.0 - xs).sqrt();
                let e = -0.5 * (b2 / xs + hk);
                if e > -100.0 {
                    let series = 1.0 + c * xs * (1.0 + d * xs);
                    let exact = (-hk * (1.0 - rs) / (2.0 * (1.0 + rs))).exp() / rs;
                    sum += a * w * e.exp() * (exact - series);
                }
            }
        }
        sum /= -2.0 * PI;
    }
    let p = if r > 0.0 { sum + sf(h.max(k)) } else { -sum + if k > h { cdf(k) - cdf(h) } else { 0.0 } };
    p.clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition: ∫_h^∞ φ(x)·Φ((ρx − k)/√(1 − ρ²)) dx by Simpson's rule.
    fn by_integral(h: f64, k: f64, r: f64) -> f64 {
        let (n, top) = (40_000, 12.0);
        let step = (top - h) / f64::from(n);
        let f = |x: f64| packdrift_numerics::normal::pdf(x) * cdf((r * x - k) / (1.0 - r * r).sqrt());
        let inner: f64 = (1..n).map(|i| f(h + step * f64::from(i)) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
        step / 3.0 * (inner + f(h) + f(top))
    }

    #[test]
    fn agrees_with_the_integral_at_every_branch() {
        for r in [-0.99, -0.93, -0.8, -0.2, 0.1, 0.5, 0.9, 0.95, 0.999] {
            for (h, k) in [(0.0, 0.0), (-1.5, 0.3), (1.0, 1.01), (2.5, -0.5), (-0.7, -2.2)] {
                let (p, q) = (upper(h, k, r), by_integral(h, k, r));
                assert!((p - q).abs() < 2e-10, "{h} {k} {r}: {p} against {q}");
            }
        }
    }

    #[test]
    fn quadrants_and_extremes() {
        // Sheppard's formula: P(X > 0, Y > 0) = ¼ + asin(ρ)/2π.
        for r in [-0.999_9, -0.5, 0.0, 0.3, 0.97] {
            let sheppard = 0.25 + f64::asin(r) / (2.0 * PI);
            assert!((upper(0.0, 0.0, r) - sheppard).abs() < 1e-15);
        }
        assert!((upper(0.5, 1.0, 1.0) - sf(1.0)).abs() < 1e-16);
        assert!(upper(0.5, 1.0, -1.0).abs() < 1e-16);
        // Y = −X: P(−0.5 < X < 1).
        assert!((upper(-0.5, -1.0, -1.0) - (cdf(1.0) - cdf(-0.5))).abs() < 1e-15);
    }
}
