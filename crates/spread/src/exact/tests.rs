//! Checks against closed forms, rational arithmetic and 30-digit quadrature in value space (another way than characteristic functions):
//! `tests/outside/exact_sums.py` freezes those in `tests/reference/exact_sums.json`.
#![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::reference;
use packdrift_numerics::special::gamma_tails;

fn sum(terms: &[(f64, Distribution)], normal_sd: f64) -> Exact {
    let terms: Vec<(f64, &Distribution)> = terms.iter().map(|(c, d)| (*c, d)).collect();
    Exact::new(0.0, &terms, normal_sd * normal_sd).unwrap()
}

fn holds(what: &str, y: &Exact, expected: &[(f64, f64)]) {
    assert!(y.error_bound() <= 1e-11, "{what}: {}", y.error_bound());
    for &(x, f) in expected {
        let error = y.cdf(x) - f;
        // The frozen values are rounded to doubles.
        assert!(error.abs() <= y.error_bound() + 2e-15, "{what} at {x}: {} for {f}, error {error:e}", y.cdf(x));
        assert!(
            (y.sf(x) - (1.0 - f)).abs() <= y.error_bound() + 2e-15,
            "{what}, upper tail at {x}: {} for {}",
            y.sf(x),
            1.0 - f
        );
        if f > 1e-6 && f < 1.0 - 1e-6 {
            // The quantile of a share is found where that share is: to the error in the share.
            let back = y.cdf(y.quantile(f));
            assert!((back - f).abs() < 1e-12, "{what}: quantile of {f} has {back} below it");
        }
    }
}

fn rectangular(half: f64) -> Distribution {
    Distribution::Rectangular { lower: -half, upper: half }
}

/// JCGM 101:2008, 9.2.3 and 9.2.4: closed forms 2√3(2 − (3/5)^¼) = 3.879406741 and 17.015814100.
#[test]
fn four_rectangular_quantities_of_the_guide() {
    let root = 3.0_f64.sqrt();
    let equal = sum(&vec![(1.0, rectangular(root)); 4], 0.0);
    assert!((equal.quantile(0.975) - 2.0 * root * (2.0 - 0.6_f64.powf(0.25))).abs() < 1e-10);
    assert!((equal.quantile(0.025) + 3.879406741).abs() < 1e-9);
    assert!((equal.sd() - 2.0).abs() < 1e-14 && equal.mean() == 0.0);
    let mut terms = vec![(1.0, rectangular(root)); 3];
    terms.push((10.0, rectangular(root)));
    let unequal = sum(&terms, 0.0);
    assert!((unequal.quantile(0.975) - 17.015814100).abs() < 1e-9);
    assert!((unequal.sd() - 103.0_f64.sqrt()).abs() < 1e-13);
}

/// Every frozen sum, and the same turned round: Irwin–Hall and its form for unequal widths in rational arithmetic, triangular, trapezoidal and
/// normal closed forms, each kind with a normal, and pairs without one, by the convolution integral.
#[test]
fn sums_by_rational_arithmetic_and_quadrature() {
    let cases = reference::values("exact_sums");
    let cases = cases.as_array().unwrap();
    assert!(cases.len() >= 28, "the reference is incomplete");
    for case in cases {
        let what = case["what"].as_str().unwrap();
        let terms: Vec<(f64, Distribution)> = case["terms"]
            .as_array()
            .unwrap()
            .iter()
            .map(|term| (reference::number(&term[0]), reference::distribution(&term[1])))
            .collect();
        let at: Vec<(f64, f64)> = case["at"]
            .as_array()
            .unwrap()
            .iter()
            .map(|point| (reference::number(&point[0]), reference::number(&point[1])))
            .collect();
        let mean: f64 = terms.iter().map(|(c, d)| c * d.mean()).sum();
        let whole = sum(&terms, 0.0);
        holds(what, &whole, &at);
        assert!((whole.mean() - mean).abs() <= 1e-13 * mean.abs().max(1.0), "{what}: mean {}", whole.mean());
        let turned: Vec<(f64, Distribution)> = terms.into_iter().map(|(c, d)| (-c, d)).collect();
        let mirrored: Vec<(f64, f64)> = at.iter().map(|(x, f)| (-x, 1.0 - f)).collect();
        holds(&format!("minus {what}"), &sum(&turned, 0.0), &mirrored);
    }
}

/// A triangle is the sum of two rectangulars, a trapezoid that of two unequal ones.
#[test]
fn triangles_and_trapezoids_are_sums_of_rectangulars() {
    let triangle = Distribution::Triangular { lower: -0.2, upper: 0.4 };
    let pair = sum(&[(1.0, triangle)], 0.0);
    assert!((pair.mean() - 0.1).abs() < 1e-15);
    assert!((pair.cdf(-0.05) - 0.125).abs() < 1e-15);
    let trapezoid = Distribution::Trapezoidal { lower: -1.0, upper: 1.0, beta: 0.5 };
    let a = sum(&[(0.7, trapezoid), (1.0, rectangular(0.3))], 0.1);
    let b = sum(&[(1.0, rectangular(0.7 * 0.75)), (1.0, rectangular(0.7 * 0.25)), (-1.0, rectangular(0.3))], 0.1);
    for x in [-1.1, -0.4, 0.05, 0.9] {
        assert!((a.cdf(x) - b.cdf(x)).abs() < 1e-13);
    }
}

/// Closed forms: exponentials of one mean add up to a gamma; their difference is Laplace's distribution.
#[test]
fn exponentials() {
    let exponential = Distribution::Exponential { mean: 0.5 };
    let twelve = sum(&vec![(1.0, exponential.clone()); 12], 0.0);
    for x in [1.0, 4.0, 6.0, 9.0, 16.0] {
        assert!((twelve.cdf(x) - gamma_tails(12.0, x / 0.5).lower).abs() < 1e-12);
    }
    let difference = sum(&[(1.0, exponential.clone()), (-1.0, exponential)], 0.0);
    for x in [0.0_f64, 0.3, 1.7, 5.0] {
        assert!((difference.sf(x) - 0.5 * (-x / 0.5).exp()).abs() < 1e-12, "{x}");
    }
}

/// A measured lot: the mean of shifted distribution functions, and two of them: counting.
#[test]
fn readings() {
    let readings = [0.39, 0.41, 0.405, 0.398, 0.402];
    let lot = Distribution::Empirical { readings: readings.as_slice().into() };
    let with_normal = sum(&[(2.0, lot.clone())], 0.01);
    let x = 0.807;
    let by_hand = readings.iter().map(|r| normal::cdf((x - 2.0 * r) / 0.01)).sum::<f64>() / 5.0;
    assert!((with_normal.cdf(x) - by_hand).abs() < 1e-12);
    let two = sum(&[(1.0, lot.clone()), (1.0, lot.clone())], 0.0);
    let count = readings.iter().flat_map(|a| readings.iter().map(move |b| a + b)).filter(|s| *s <= 0.8041).count();
    assert!((two.cdf(0.8041) - count as f64 / 25.0).abs() < 1e-12);
    let alone = sum(&[(1.0, lot)], 0.0);
    assert!((alone.quantile(0.5) - 0.402).abs() < 1e-12);
}

/// A measured part: repeatability as a t, instrument as a normal, resolution as a rectangular; the sum equals its terms.
#[test]
fn a_sum_is_its_terms() {
    let terms = vec![
        Distribution::ScaledShiftedT { degrees_of_freedom: 5.0, location: 0.4, scale: 0.002 },
        Distribution::Normal { mean: 0.0, sd: 0.002 },
        Distribution::Rectangular { lower: -0.0005, upper: 0.0005 },
    ];
    let whole = sum(&[(-1.5, Distribution::Sum { terms: terms.clone() })], 0.0);
    let parts: Vec<(f64, Distribution)> = terms.into_iter().map(|t| (-1.5, t)).collect();
    let parts = sum(&parts, 0.0);
    for x in [-0.62, -0.6, -0.595] {
        assert!((whole.cdf(x) - parts.cdf(x)).abs() < 1e-15);
    }
}

#[test]
fn normals_alone_keep_their_far_tails() {
    let x = Distribution::Normal { mean: 1.0, sd: 0.3 };
    let y = Exact::new(2.0, &[(2.0, &x), (-1.0, &x)], 0.04).unwrap();
    let sd = (5.0_f64 * 0.09 + 0.04).sqrt();
    assert!((y.mean() - 3.0).abs() < 1e-15 && (y.sd() - sd).abs() < 1e-15);
    assert!((y.sf(3.0 + 12.0 * sd) / normal::sf(12.0) - 1.0).abs() < 1e-12);
    assert!(y.error_bound() == 0.0);
    let fixed = Exact::new(1.0, &[(2.0, &Distribution::Exact { value: 3.0 })], 0.0).unwrap();
    assert!(fixed.cdf(6.9) == 0.0 && fixed.cdf(7.0) == 1.0 && fixed.quantile(0.3) == 7.0);
}

/// A thousand dimensions of seven kinds: the cost stays small, and the result is near the normal it tends to (Berry–Esseen bound
/// 0.56·Σρ/σ³, C. G. Esseen 1956 and I. Shevtsova 2010; with third absolute moments at most 2 sd³ here it is below 0.05; the kurtosis of
/// these kinds leaves about 1e-4).
#[test]
fn a_thousand_dimensions() {
    let kinds = [
        rectangular(0.02),
        Distribution::Triangular { lower: -0.03, upper: 0.03 },
        Distribution::Normal { mean: 0.0, sd: 0.01 },
        Distribution::Arcsine { lower: -0.01, upper: 0.01 },
        Distribution::Trapezoidal { lower: -0.02, upper: 0.02, beta: 0.4 },
        Distribution::CurvilinearTrapezoidal { lower: -0.02, upper: 0.02, inexactness: 0.005 },
        Distribution::Triangular { lower: -0.01, upper: 0.01 },
    ];
    let terms: Vec<(f64, Distribution)> = (0..1000).map(|k| (1.0, kinds[k % 7].clone())).collect();
    let start = std::time::Instant::now();
    let y = sum(&terms, 0.0);
    assert!(start.elapsed().as_secs_f64() < 1.0);
    for z in [-3.0, -1.0, 0.5, 2.0] {
        assert!((y.cdf(z * y.sd()) - normal::cdf(z)).abs() < 3e-4);
    }
}

#[test]
fn what_would_take_too_long_is_declined() {
    let arcsine = Distribution::Arcsine { lower: -1.0, upper: 1.0 };
    let lognormal = Distribution::LogNormal { mean: 1.0, sd: 0.5 };
    let slow = Exact::new(0.0, &[(1.0, &arcsine), (1.0, &arcsine), (1.0, &lognormal)], 0.0);
    assert!(matches!(slow, Err(NotExact::Work { .. })), "{slow:?}");
    assert!(matches!(Exact::new(0.0, &[(f64::NAN, &arcsine)], 0.0), Err(NotExact::NotFinite { .. })));
}

mod planes {
    use super::*;
    use crate::model::{Linear, Plane};
    use crate::population::{Population, Variable};
    use crate::stack::{Correlation, Lot};

    fn population(
        distributions: &[Distribution],
        lots: &[Option<usize>],
        between: f64,
        ties: &[Correlation],
    ) -> Population {
        let variables: Vec<Variable> = distributions
            .iter()
            .zip(lots)
            .enumerate()
            .map(|(k, (d, lot))| Variable { label: format!("d{k}"), distribution: d.clone(), lot: *lot })
            .collect();
        Population::new(&variables, &[Lot { name: "packet".into(), bias: 0.01, between }], ties).unwrap()
    }

    fn normal_of(mean: f64, sd: f64) -> Distribution {
        Distribution::Normal { mean, sd }
    }

    /// Var(aX + bY) = a²s² + b²s² + 2abρs², and a lot's deviation counts with the sum of its members' coefficients.
    #[test]
    fn lots_and_correlations_enter_the_variance() {
        let p = population(
            &[normal_of(1.0, 0.1), normal_of(2.0, 0.2), normal_of(3.0, 0.3), rectangular(0.1)],
            &[Some(0), Some(0), None, None],
            0.05,
            &[Correlation { between: (1, 2), coefficient: -0.6 }],
        );
        let y = Exact::of_plane(&p, &Plane { constant: 5.0, coefficients: vec![1.0, 2.0, -1.0, 0.0] }).unwrap();
        let variance = 0.01 + 4.0 * 0.04 + 0.09 + 2.0 * 2.0 * -1.0 * -0.6 * 0.2 * 0.3 + (3.0_f64 * 0.05).powi(2);
        assert!((y.sd() - variance.sqrt()).abs() < 1e-13);
        assert!((y.mean() - (5.0 + 1.0 + 4.0 - 3.0 + 0.01 * 3.0)).abs() < 1e-14);
    }

    #[test]
    fn fully_tied_normals_may_cancel() {
        let p = population(
            &[normal_of(0.0, 0.1), normal_of(0.0, 0.1)],
            &[None, None],
            0.0,
            &[Correlation { between: (0, 1), coefficient: 1.0 }],
        );
        let y = Exact::of_plane(&p, &Plane { constant: 0.0, coefficients: vec![1.0, -1.0] }).unwrap();
        assert!(y.sd() < 1e-9);
    }

    #[test]
    fn tied_rectangulars_are_declined_only_where_both_count() {
        let p = population(
            &[rectangular(0.1), rectangular(0.1), normal_of(0.0, 0.1)],
            &[None, None, None],
            0.0,
            &[Correlation { between: (0, 1), coefficient: 0.5 }],
        );
        let plane = |coefficients: Vec<f64>| Plane { constant: 0.0, coefficients };
        assert!(matches!(Exact::of_plane(&p, &plane(vec![1.0, 1.0, 1.0])), Err(NotExact::Tied { .. })));
        let alone = Exact::of_plane(&p, &plane(vec![1.0, 0.0, 0.0])).unwrap();
        assert!((alone.cdf(0.05) - 0.75).abs() < 1e-14);
    }

    /// A bay that comes loose at 3 standard deviations is not linear; at 8 it is.
    #[test]
    fn guards_decide() {
        let p = population(&[normal_of(0.0, 0.1)], &[None], 0.0, &[]);
        let plane = |constant: f64| Plane { constant, coefficients: vec![1.0] };
        let with_guard = |at: f64| Linear { plane: plane(0.0), guards: vec![plane(at)] };
        let refused = Exact::of_linear(&p, &with_guard(0.3));
        assert!(matches!(refused, Err(NotExact::Guards { probability }) if (probability - 0.0013498980).abs() < 1e-9));
        let (_, left_out) = Exact::of_linear(&p, &with_guard(0.8)).unwrap();
        assert!((left_out / 6.220960574271786e-16 - 1.0).abs() < 1e-9);
    }
}
