//! The standard normal distribution: both tails to full relative accuracy, and the quantile.
//!
//! `erfc` comes from `libm` (FreeBSD's, below 1 ulp, the same on every platform); the quantile is M. J. Wichura's algorithm AS 241
//! (PPND16), Applied Statistics 37 (1988) 477–484, accurate to about 1 part in 10¹⁶. Never write `1.0 - cdf(x)` for a tail: that
//! loses every digit beyond 8 standard deviations.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// φ(x) = exp(−x²/2)/√(2π).
///
/// Largest relative error on the grid of `docs/special-functions.md`: 4e-16.
pub fn pdf(x: f64) -> f64 {
    libm::exp(-0.5 * x * x) / (2.0 * PI).sqrt()
}

/// Φ(x), the share below x.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 2e-13 (at 36 standard deviations; it grows as x²).
///
/// ```
/// use packdrift_numerics::normal;
/// assert!((normal::cdf(-1.0) - 0.158_655_253_931_457_05).abs() < 1e-16);
/// assert!((normal::sf(10.0) / 7.619_853_024_160_527e-24 - 1.0).abs() < 1e-13);
/// ```
pub fn cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// 1 − Φ(x), the share above x, without cancellation.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 2e-13 (at 36 standard deviations; it grows as x²).
pub fn sf(x: f64) -> f64 {
    0.5 * libm::erfc(x * FRAC_1_SQRT_2)
}

/// Φ⁻¹(p): −∞ at 0, ∞ at 1, NaN outside [0, 1]. For p near 1 use [`upper_quantile`] of 1 − p, where 1 − p is known better
/// than p can say.
///
/// Largest relative error on the grid of `docs/special-functions.md`: 5e-16.
///
/// ```
/// use packdrift_numerics::normal;
/// assert!((normal::quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-14);
/// assert!((normal::upper_quantile(1e-300) - 37.047_096_299_361_2).abs() < 1e-12);
/// ```
pub fn quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if is_central(p) {
        return central(p - 0.5);
    }
    let q = p - 0.5;
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if q < 0.0 { -tail_quantile(tail) } else { tail_quantile(tail) }
}

/// [`quantile`] of every value, in place, to the same bits. The middle 85 % go through one loop without branches, which becomes vector
/// instructions; the tails are set aside, and go through another.
///
/// ```
/// use packdrift_numerics::normal;
/// let mut values = [0.975, 0.5, 1e-20];
/// normal::quantiles(&mut values);
/// assert_eq!(values, [0.975, 0.5, 1e-20].map(normal::quantile));
/// ```
pub fn quantiles(values: &mut [f64]) {
    let (mut roots, mut places) = ([0.0; GROUP], [0_usize; GROUP]);
    for part in values.chunks_mut(GROUP) {
        let mut tails = 0;
        for (i, p) in part.iter().enumerate() {
            roots[tails] = *p;
            places[tails] = i;
            tails += usize::from(!is_central(*p));
        }
        for p in part.iter_mut() {
            *p = central(*p - 0.5);
        }
        // √(−ln) of the tails' shares, negative in the lower tail: what the ratio wants, and the side.
        let mut middle = true;
        for root in &mut roots[..tails] {
            let (share, side) = if *root < 0.5 { (*root, -1.0) } else { (1.0 - *root, 1.0) };
            let r = (-libm::log(share)).sqrt();
            middle &= r <= 5.0;
            *root = r.copysign(side);
        }
        if middle {
            for root in &mut roots[..tails] {
                *root = ratio(&MIDDLE, root.abs() - 1.6).copysign(*root);
            }
        } else {
            for root in &mut roots[..tails] {
                *root = of_root(root.abs()).copysign(*root);
            }
        }
        for (&i, &x) in places.iter().zip(&roots[..tails]) {
            part[i] = x;
        }
    }
}

/// Values of [`quantiles`] worked off together.
const GROUP: usize = 256;

/// The value with the share `q` above it: Φ⁻¹(1 − q).
pub fn upper_quantile(q: f64) -> f64 {
    -quantile(q)
}

fn tail_quantile(tail: f64) -> f64 {
    if tail <= 0.0 {
        return f64::INFINITY;
    }
    of_root((-libm::log(tail)).sqrt())
}

/// Φ⁻¹(1 − tail), from √(−ln tail); NaN of NaN.
fn of_root(r: f64) -> f64 {
    if r <= 5.0 {
        ratio(&MIDDLE, r - 1.6)
    } else if r < f64::INFINITY {
        ratio(&FAR, r - 5.0)
    } else {
        r
    }
}

#[inline]
fn is_central(p: f64) -> bool {
    (p - 0.5).abs() <= 0.425
}

/// Φ⁻¹(½ + q) for |q| ≤ 0.425.
#[inline]
fn central(q: f64) -> f64 {
    let r = 0.180_625 - q * q;
    q * ratio(&CENTRE, r)
}

#[inline]
fn ratio((numerator, denominator): &([f64; 8], [f64; 8]), r: f64) -> f64 {
    let horner = |c: &[f64; 8]| c.iter().rev().fold(0.0, |sum, a| sum * r + a);
    horner(numerator) / horner(denominator)
}

/// |p − 0.5| ≤ 0.425, in 0.180625 − (p − 0.5)².
const CENTRE: ([f64; 8], [f64; 8]) = (
    [
        3.387_132_872_796_366_6,
        1.331_416_678_917_843_8e2,
        1.971_590_950_306_551_3e3,
        1.373_169_376_550_946e4,
        4.592_195_393_154_987e4,
        6.726_577_092_700_87e4,
        3.343_057_558_358_813e4,
        2.509_080_928_730_122_7e3,
    ],
    [
        1.0,
        4.231_333_070_160_091e1,
        6.871_870_074_920_579e2,
        5.394_196_021_424_751e3,
        2.121_379_430_158_659_7e4,
        3.930_789_580_009_271e4,
        2.872_908_573_572_194_3e4,
        5.226_495_278_852_854e3,
    ],
);

/// √(−ln tail) ≤ 5, in √(−ln tail) − 1.6.
const MIDDLE: ([f64; 8], [f64; 8]) = (
    [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        2.417_807_251_774_506e-1,
        2.272_384_498_926_918_4e-2,
        7.745_450_142_783_414e-4,
    ],
    [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        6.897_673_349_851e-1,
        1.481_039_764_274_800_8e-1,
        1.519_866_656_361_645_7e-2,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ],
);

/// √(−ln tail) > 5, in √(−ln tail) − 5.
const FAR: ([f64; 8], [f64; 8]) = (
    [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        2.965_605_718_285_048_7e-1,
        2.653_218_952_657_612_4e-2,
        1.242_660_947_388_078_4e-3,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288_1e-7,
    ],
    [
        1.0,
        5.998_322_065_558_88e-1,
        1.369_298_809_227_358e-1,
        1.487_536_129_085_061_5e-2,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_8e-5,
        1.421_511_758_316_446e-7,
        2.044_263_103_389_939_8e-15,
    ],
);

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "the ends are exact")]

    use super::*;

    #[test]
    fn quantile_undoes_the_distribution_function_in_both_tails() {
        let mut x = -37.0;
        while x < 37.5 {
            let back = if x < 0.0 { quantile(cdf(x)) } else { upper_quantile(sf(x)) };
            assert!((back - x).abs() <= 2e-15 * x.abs().max(1.0), "{x} → {back}");
            x += 0.0625;
        }
    }

    #[test]
    fn many_at_once_are_the_same_bits() {
        // Every part of the range, across several groups, with the ends and what is no probability.
        let mut values: Vec<f64> = (0..3000).map(|k| f64::from(k) / 2999.0).collect();
        values.extend((0..300).map(|k| 10_f64.powi(-k)));
        values.extend([f64::NAN, -0.5, 1.5, 1.0 - f64::EPSILON / 2.0, 5e-324]);
        let expected: Vec<u64> = values.iter().map(|&p| quantile(p).to_bits()).collect();
        quantiles(&mut values);
        for (k, (x, bits)) in values.iter().zip(expected).enumerate() {
            assert!(x.to_bits() == bits || x.is_nan() && f64::from_bits(bits).is_nan(), "{k}: {x}");
        }
    }

    #[test]
    fn ends_and_nonsense() {
        assert_eq!(quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantile(1.0), f64::INFINITY);
        assert!(quantile(-0.1).is_nan() && quantile(1.1).is_nan() && quantile(f64::NAN).is_nan());
    }
}
