//! The chance that jointly normal quantities are all inside their limits: the number every build is judged by.
//!
//! One quantity is a difference of Φ; two use the bivariate normal integral of Z. Drezner and G. O. Wesolowsky, J. Statist. Comput.
//! Simul. 35 (1990) 101–107, in the form of A. Genz, Statistics and Computing 14 (2004) 251–260 (absolute error below 1e-14);
//! three use R. L. Plackett's reduction, Biometrika 41 (1954) 351–360, to one dimension; more are conditioned on one of them and
//! integrated by Gauss–Legendre quadrature.

use packdrift_numerics::normal::{cdf, sf};
use std::f64::consts::PI;
use std::sync::OnceLock;

/// Most quantities a rectangle may have.
pub(crate) const MOST: usize = 6;

/// P(lower ≤ Z ≤ upper) of a standard normal Z, without cancellation in either tail.
pub(crate) fn between(lower: f64, upper: f64) -> f64 {
    if lower >= upper {
        0.0
    } else if lower > 0.0 {
        sf(lower) - sf(upper)
    } else {
        cdf(upper) - cdf(lower)
    }
}

/// Largest P(lower ≤ X ≤ upper) of a normal X with the given mean and a standard deviation anywhere in `[sd_min, sd_max]`.
///
/// Inside the limits less scatter is better. Outside, with a distance δ to the near limit and Δ to the far one, the chance
/// rises with the scatter up to sd² = (Δ² − δ²)/(2 ln(Δ/δ)) and falls beyond.
pub(crate) fn most_inside(lower: f64, upper: f64, mean: f64, sd_min: f64, sd_max: f64) -> f64 {
    let inside = |sd: f64| between((lower - mean) / sd, (upper - mean) / sd);
    if mean >= lower && mean <= upper {
        return inside(sd_min);
    }
    let near = if mean < lower { lower - mean } else { mean - upper };
    let far = if mean < lower { upper - mean } else { mean - lower };
    let best =
        if far.is_finite() { ((far * far - near * near) / (2.0 * (far / near).ln())).sqrt() } else { f64::INFINITY };
    inside(best.clamp(sd_min, sd_max))
}

/// Gauss–Legendre half-rules on (−1, 1): weights and abscissas of 6, 12 and 20 points.
const RULE_6: [(f64, f64); 3] = [
    (0.171_324_492_379_170_5, 0.932_469_514_203_152_2),
    (0.360_761_573_048_138_4, 0.661_209_386_466_264_7),
    (0.467_913_934_572_690_4, 0.238_619_186_083_197),
];
const RULE_12: [(f64, f64); 6] = [
    (0.047_175_336_386_511_77, 0.981_560_634_246_719_1),
    (0.106_939_325_995_318_3, 0.904_117_256_370_475),
    (0.160_078_328_543_346_4, 0.769_902_674_194_305),
    (0.203_167_426_723_065_9, 0.587_317_954_286_617_1),
    (0.233_492_536_538_354_7, 0.367_831_498_998_180_2),
    (0.249_147_045_813_402_9, 0.125_233_408_511_469_2),
];
const RULE_20: [(f64, f64); 10] = [
    (0.017_614_007_139_152_12, 0.993_128_599_185_094_9),
    (0.040_601_429_800_386_94, 0.963_971_927_277_913_8),
    (0.062_672_048_334_109_06, 0.912_234_428_251_325_9),
    (0.083_276_741_576_704_75, 0.839_116_971_822_218_8),
    (0.101_930_119_817_240_4, 0.746_331_906_460_150_8),
    (0.118_194_531_961_518_4, 0.636_053_680_726_515),
    (0.131_688_638_449_176_6, 0.510_867_001_950_827_1),
    (0.142_096_109_318_382_1, 0.373_706_088_715_419_6),
    (0.149_172_986_472_603_7, 0.227_785_851_141_645_1),
    (0.152_753_387_130_725_9, 0.076_526_521_133_497_33),
];

/// P(X > h, Y > k) of standard normals with correlation ρ.
pub(crate) fn both_above(h: f64, k: f64, rho: f64) -> f64 {
    if h == f64::INFINITY || k == f64::INFINITY {
        return 0.0;
    }
    if h == f64::NEG_INFINITY {
        return sf(k);
    }
    if k == f64::NEG_INFINITY {
        return sf(h);
    }
    let p = if rho.abs() < 0.925 {
        // ∂/∂ρ of the integral, integrated over the arc sine of ρ.
        let (half_square, half_arc) = (0.5 * (h * h + k * k), 0.5 * rho.asin());
        let mut sum = 0.0;
        for &(w, x) in rule_for(rho) {
            for point in [1.0 - x, 1.0 + x] {
                let s = (half_arc * point).sin();
                sum += w * ((s * h * k - half_square) / (1.0 - s * s)).exp();
            }
        }
        sum * half_arc / (2.0 * PI) + sf(h) * sf(k)
    } else {
        strongly_correlated(h, k, rho)
    };
    p.clamp(0.0, 1.0)
}

/// Genz's expansion about |ρ| = 1.
fn strongly_correlated(h: f64, k: f64, rho: f64) -> f64 {
    let k = if rho < 0.0 { -k } else { k };
    let hk = h * k;
    let mut sum = 0.0;
    if rho.abs() < 1.0 {
        let square = (1.0 - rho) * (1.0 + rho);
        let a = square.sqrt();
        let gap = (h - k) * (h - k);
        let (c, d) = ((4.0 - hk) / 8.0, (12.0 - hk) / 80.0);
        let exponent = -0.5 * (gap / square + hk);
        if exponent > -100.0 {
            sum = a * exponent.exp() * (1.0 - c * (gap - square) * (1.0 - d * gap) / 3.0 + c * d * square * square);
        }
        if hk > -100.0 {
            let b = gap.sqrt();
            sum -= (-0.5 * hk).exp() * (2.0 * PI).sqrt() * sf(b / a) * b * (1.0 - c * gap * (1.0 - d * gap) / 3.0);
        }
        let half = 0.5 * a;
        let mut quadrature = 0.0;
        for &(w, x) in &RULE_20 {
            for point in [1.0 - x, 1.0 + x] {
                let xs = (half * point) * (half * point);
                let exponent = -0.5 * (gap / xs + hk);
                if exponent > -100.0 {
                    let root = (1.0 - xs).sqrt();
                    let series = 1.0 + c * xs * (1.0 + 5.0 * d * xs);
                    let exact = (-0.5 * hk * xs / ((1.0 + root) * (1.0 + root))).exp() / root;
                    quadrature += w * exponent.exp() * (series - exact);
                }
            }
        }
        sum = (half * quadrature - sum) / (2.0 * PI);
    }
    if rho > 0.0 {
        sum + sf(h.max(k))
    } else if h >= k {
        -sum
    } else {
        between(h, k) - sum
    }
}

/// P(lower₁ ≤ X ≤ upper₁, lower₂ ≤ Y ≤ upper₂) of standard normals with correlation ρ.
pub(crate) fn both_between(x: (f64, f64), y: (f64, f64), rho: f64) -> f64 {
    if x.0 >= x.1 || y.0 >= y.1 {
        return 0.0;
    }
    // Beyond 9 standard deviations a limit changes nothing that a double can hold beside 1.
    let open = |limit: f64| {
        if limit < -9.0 {
            f64::NEG_INFINITY
        } else if limit > 9.0 {
            f64::INFINITY
        } else {
            limit
        }
    };
    let (x, y) = ((open(x.0), open(x.1)), (open(y.0), open(y.1)));
    if rho.abs() >= 0.925 {
        let p = both_above(x.0, y.0, rho) - both_above(x.1, y.0, rho) - both_above(x.0, y.1, rho)
            + both_above(x.1, y.1, rho);
        return p.clamp(0.0, 1.0);
    }
    // As `both_above` at the four corners, with the points of the quadrature worked out once.
    let mut p = between(x.0, x.1) * between(y.0, y.1);
    let corners = [(x.0, y.0, 1.0), (x.1, y.0, -1.0), (x.0, y.1, -1.0), (x.1, y.1, 1.0)];
    let half_arc = 0.5 * rho.asin();
    for &(w, at) in rule_for(rho) {
        for point in [1.0 - at, 1.0 + at] {
            let s = (half_arc * point).sin();
            let inverse = 1.0 / (1.0 - s * s);
            for &(h, k, sign) in corners.iter().filter(|(h, k, _)| h.is_finite() && k.is_finite()) {
                let exponent = (s * h * k - 0.5 * (h * h + k * k)) * inverse;
                if exponent > NEGLIGIBLE {
                    p += sign * w * exponent.exp() * half_arc / (2.0 * PI);
                }
            }
        }
    }
    p.clamp(0.0, 1.0)
}

/// What a double cannot hold beside 1: e to this.
const NEGLIGIBLE: f64 = -40.0;

/// The rule that is good to 1e-14 for a correlation below 0.925 (Genz 2004).
fn rule_for(rho: f64) -> &'static [(f64, f64)] {
    match rho.abs() {
        r if r < 0.3 => &RULE_6,
        r if r < 0.75 => &RULE_12,
        _ => &RULE_20,
    }
}

/// P(all three inside) by Plackett's reduction; None where the three are so closely tied that the quadrature would lose its digits.
///
/// With ρ₁₂ as it is and t·ρ₁₃, t·ρ₂₃ for t from 0 to 1 the chance starts from P(1 and 2 inside)·P(3 inside) and changes by
///
/// dP/dt = Σ over (i, j) = (1, 3), (2, 3): ρᵢⱼ Σ over corners ± φ₂(hᵢ, hⱼ; t·ρᵢⱼ) · P(the other inside | Xᵢ = hᵢ, Xⱼ = hⱼ)
///
/// with + where both limits are upper or both lower ones, − else.
fn three_between(limits: &[(f64, f64)], correlation: &[f64]) -> Option<f64> {
    let r = |i: usize, j: usize| correlation[3 * i + j];
    // The two that are tied most closely stay so along the way.
    let pairs = [(0, 1, 2), (0, 2, 1), (1, 2, 0)];
    let &(a, b, c) = pairs.iter().max_by(|x, y| r(x.0, x.1).abs().total_cmp(&r(y.0, y.1).abs()))?;
    let determinant = 1.0 + 2.0 * r(a, b) * r(a, c) * r(b, c) - r(a, b).powi(2) - r(a, c).powi(2) - r(b, c).powi(2);
    if determinant < 0.1 {
        return None;
    }
    let mut p = both_between(limits[a], limits[b], r(a, b)) * between(limits[c].0, limits[c].1);
    let rule: &[(f64, f64)] =
        if determinant > 0.5 && r(a, c).abs().max(r(b, c).abs()) < 0.5 { &RULE_12 } else { &RULE_20 };
    for (i, other) in [(a, b), (b, a)] {
        let rho = r(i, c);
        if rho == 0.0 {
            continue;
        }
        for (h, from_upper) in [(limits[i].0, false), (limits[i].1, true)] {
            for (k, to_upper) in [(limits[c].0, false), (limits[c].1, true)] {
                // No correlation on the way makes the corner's density larger than at the end, or at k = ρh.
                if !h.is_finite() || !k.is_finite() || -0.5 * h.abs().max(k.abs()).powi(2) < NEGLIGIBLE {
                    continue;
                }
                let sign = if from_upper == to_upper { 1.0 } else { -1.0 };
                for &(w, point) in rule {
                    for t in [0.5 * (1.0 - point), 0.5 * (1.0 + point)] {
                        let (ic, oc, io) = (t * rho, t * r(other, c), r(a, b));
                        let left = (1.0 - ic) * (1.0 + ic);
                        let exponent = -0.5 * (h * h + k * k - 2.0 * ic * h * k) / left;
                        if exponent < NEGLIGIBLE {
                            continue;
                        }
                        let mean = ((io - oc * ic) * h + (oc - io * ic) * k) / left;
                        let sd = (1.0 - (io * io + oc * oc - 2.0 * io * oc * ic) / left).max(1e-12).sqrt();
                        let inside = between((limits[other].0 - mean) / sd, (limits[other].1 - mean) / sd);
                        p += sign * 0.5 * w * rho * exponent.exp() / (2.0 * PI * left.sqrt()) * inside;
                    }
                }
            }
        }
    }
    Some(p.clamp(0.0, 1.0))
}

/// Points of the quadrature over a conditioning quantity.
const POINTS: usize = 20;

fn rule() -> &'static [(f64, f64); POINTS] {
    static RULE: OnceLock<[(f64, f64); POINTS]> = OnceLock::new();
    RULE.get_or_init(|| {
        let mut rule = [(0.0, 0.0); POINTS];
        for (k, &(w, x)) in RULE_20.iter().enumerate() {
            rule[2 * k] = (w, -x);
            rule[2 * k + 1] = (w, x);
        }
        rule
    })
}

/// The chance that n jointly normal standard quantities all lie within their limits. `correlation` is row-major, n × n.
///
/// More than three, and three that are closely tied: P = ∫ φ(x) P(the others inside | x) dx over one quantity's limits, in one or two
/// panels of 20 points.
pub(crate) fn all_between(limits: &[(f64, f64)], correlation: &[f64]) -> f64 {
    let n = limits.len();
    if limits.iter().any(|limits| limits.0 >= limits.1) {
        return 0.0;
    }
    if n == 3 {
        if let Some(p) = three_between(limits, correlation) {
            return p;
        }
    }
    match n {
        0 => 1.0,
        1 => between(limits[0].0, limits[0].1),
        2 => both_between(limits[0], limits[1], correlation[1]),
        _ => {
            // Condition on the quantity that says least about the others: the integrand is then smoothest.
            let say = |i: usize| (0..n).filter(|&j| j != i).map(|j| correlation[i * n + j].abs()).fold(0.0, f64::max);
            let first = (0..n).min_by(|&i, &j| say(i).total_cmp(&say(j))).unwrap_or(0);
            let (a, b) = (limits[first].0.max(-6.5), limits[first].1.min(6.5));
            if a >= b {
                return 0.0;
            }
            let others: Vec<usize> = (0..n).filter(|&i| i != first).collect();
            let m = n - 1;
            let mut slope = [0.0; MOST];
            let mut sd = [0.0; MOST];
            for (k, &i) in others.iter().enumerate() {
                slope[k] = correlation[first * n + i];
                sd[k] = (1.0 - slope[k] * slope[k]).max(1e-12).sqrt();
            }
            let mut inner = vec![1.0; m * m];
            for k in 0..m {
                for l in 0..m {
                    if k != l {
                        let r = (correlation[others[k] * n + others[l]] - slope[k] * slope[l]) / (sd[k] * sd[l]);
                        inner[k * m + l] = r.clamp(-1.0, 1.0);
                    }
                }
            }
            let mut sum = 0.0;
            // One panel of 20 points is good to 1e-9 on the usual width, two on any.
            let middle = 0.5 * (a + b);
            let panels = [(a, if b - a > 7.0 { middle } else { b }), (middle, b)];
            for &(from, to) in &panels[..if b - a > 7.0 { 2 } else { 1 }] {
                let (centre, half) = (0.5 * (from + to), 0.5 * (to - from));
                for &(w, point) in rule() {
                    let x = centre + half * point;
                    let mut given = [(0.0, 0.0); MOST];
                    for (k, &i) in others.iter().enumerate() {
                        given[k] = ((limits[i].0 - slope[k] * x) / sd[k], (limits[i].1 - slope[k] * x) / sd[k]);
                    }
                    sum += w * half * (-0.5 * x * x).exp() * all_between(&given[..m], &inner);
                }
            }
            (sum / (2.0 * PI).sqrt()).clamp(0.0, 1.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Orthant probabilities have closed forms (Sheppard 1899): ¼ + asin ρ / 2π, and ⅛ + (asin ρ₁₂ + asin ρ₁₃ + asin ρ₂₃)/4π.
    #[test]
    fn orthants_by_sheppards_formula() {
        for rho in [-0.999, -0.95, -0.6, -0.2, 0.0, 0.1, 0.5, 0.9, 0.93, 0.99, 0.999_999] {
            let exact = 0.25 + f64::asin(rho) / (2.0 * PI);
            assert!((both_above(0.0, 0.0, rho) - exact).abs() < 1e-14, "{rho}");
        }
        let (r12, r13, r23) = (0.5_f64, -0.3_f64, 0.2_f64);
        let exact = 0.125 + (r12.asin() + r13.asin() + r23.asin()) / (4.0 * PI);
        let inf = f64::INFINITY;
        let correlation = [1.0, r12, r13, r12, 1.0, r23, r13, r23, 1.0];
        let p = all_between(&[(0.0, inf), (0.0, inf), (0.0, inf)], &correlation);
        assert!((p - exact).abs() < 1e-8, "{p} for {exact}");
    }

    #[test]
    fn rectangles_against_one_dimensional_quadrature() {
        // The oracle goes another way: ∫ φ(x) [Φ((u₂ − ρx)/s) − Φ((l₂ − ρx)/s)] dx by Simpson's rule with 20 000 panels.
        let oracle = |x: (f64, f64), y: (f64, f64), rho: f64| {
            let s = (1.0 - rho * rho).sqrt();
            let f =
                |t: f64| (-0.5 * t * t).exp() / (2.0 * PI).sqrt() * between((y.0 - rho * t) / s, (y.1 - rho * t) / s);
            let n = 20_000;
            let h = (x.1 - x.0) / f64::from(n);
            let sum: f64 = (0..=n)
                .map(|k| {
                    let w = if k == 0 || k == n {
                        1.0
                    } else if k % 2 == 1 {
                        4.0
                    } else {
                        2.0
                    };
                    w * f(x.0 + f64::from(k) * h)
                })
                .sum();
            sum * h / 3.0
        };
        for (x, y) in [((-1.0, 2.0), (-0.5, 0.7)), ((0.3, 1.1), (-3.0, -0.2)), ((2.0, 4.0), (1.5, 5.0))] {
            for rho in [-0.97, -0.8, -0.4, 0.0, 0.25, 0.7, 0.91, 0.94, 0.995] {
                let (p, q) = (both_between(x, y, rho), oracle(x, y, rho));
                assert!((p - q).abs() < 1e-12, "{x:?} {y:?} {rho}: {p} for {q}");
            }
        }
    }

    #[test]
    fn three_with_one_independent_is_a_product() {
        let correlation = [1.0, 0.6, 0.0, 0.6, 1.0, 0.0, 0.0, 0.0, 1.0];
        let p = all_between(&[(-1.0, 0.5), (-2.0, 1.0), (-0.3, 0.9)], &correlation);
        let q = both_between((-1.0, 0.5), (-2.0, 1.0), 0.6) * between(-0.3, 0.9);
        assert!((p - q).abs() < 1e-12);
    }

    /// The oracle conditions on the first and goes by Simpson's rule with 4 000 panels over it, the other two by the bivariate integral.
    #[test]
    fn three_tied_ones_against_conditioning() {
        let inf = f64::INFINITY;
        let boxes = [
            [(-1.0, 0.5), (-2.0, 1.0), (-0.3, 0.9)],
            [(-3.1, 3.4), (-2.8, 4.0), (-3.6, 2.9)],
            [(-inf, 1.0), (-2.0, inf), (-1.5, 5.5)],
            [(1.0, 4.0), (-0.5, 6.0), (-9.5, 0.2)],
            [(-0.1, 0.1), (2.0, 3.0), (-inf, 0.0)],
        ];
        let ties =
            [(0.3, -0.2, 0.1), (0.8, 0.5, 0.6), (-0.6, 0.3, 0.4), (0.0, 0.9, 0.0), (0.93, 0.2, 0.1), (0.0, 0.0, 0.0)];
        for limits in &boxes {
            for &(r12, r13, r23) in &ties {
                let (r12, r13, r23): (f64, f64, f64) = (r12, r13, r23);
                let correlation = [1.0, r12, r13, r12, 1.0, r23, r13, r23, 1.0];
                let (s2, s3) = ((1.0 - r12 * r12).sqrt(), (1.0 - r13 * r13).sqrt());
                let inner = (r23 - r12 * r13) / (s2 * s3);
                let given = |x: f64| {
                    let of = |limits: (f64, f64), r: f64, s: f64| ((limits.0 - r * x) / s, (limits.1 - r * x) / s);
                    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
                        * both_between(of(limits[1], r12, s2), of(limits[2], r13, s3), inner)
                };
                let (a, b) = (limits[0].0.max(-8.0), limits[0].1.min(8.0));
                let n = 4_000;
                let h = (b - a) / f64::from(n);
                let weight = |k: i32| if k == 0 || k == n { 1.0 } else { f64::from(2 + 2 * (k % 2)) };
                let oracle = (0..=n).map(|k| weight(k) * given(a + f64::from(k) * h)).sum::<f64>() * h / 3.0;
                let p = all_between(limits, &correlation);
                assert!((p - oracle).abs() < 1e-9, "{limits:?} {r12} {r13} {r23}: {p} for {oracle}");
            }
        }
    }

    #[test]
    fn the_bound_holds_over_the_whole_range_of_scatter() {
        for mean in [-3.0, -1.2, -1.0, 0.0, 0.4, 1.0, 1.5, 4.0] {
            let bound = most_inside(-1.0, 1.0, mean, 0.2, 2.5);
            let best = (0..=2300)
                .map(|k| 0.2 + 0.001 * f64::from(k))
                .map(|sd| between((-1.0 - mean) / sd, (1.0 - mean) / sd))
                .fold(0.0, f64::max);
            assert!(bound >= best - 1e-12 && bound <= best + 1e-6, "{mean}: {bound} for {best}");
        }
    }
}
