//! Checks against closed forms, rational arithmetic and 30-digit quadrature in value space (another way than characteristic functions).
//! The values were printed by mpmath 1.4.1 and Python's fractions; `tests/outside/exact_sums.py` prints them again.
#![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

use super::*;
use packdrift_numerics::special::gamma_tails;

fn sum(terms: &[(f64, Distribution)], normal_sd: f64) -> Exact {
    let terms: Vec<(f64, &Distribution)> = terms.iter().map(|(c, d)| (*c, d)).collect();
    Exact::new(0.0, &terms, normal_sd * normal_sd).unwrap()
}

fn holds(what: &str, y: &Exact, expected: &[(f64, f64)]) {
    assert!(y.error_bound() <= 1e-11, "{what}: {}", y.error_bound());
    for &(x, f) in expected {
        let error = y.cdf(x) - f;
        // The printed values have 15 digits.
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

/// Irwin–Hall, F(x) = Σ (−1)ᵏ C(n, k) (x − k)ⁿ₊/n!, in rational arithmetic.
#[test]
fn irwin_hall() {
    let unit = Distribution::Rectangular { lower: 0.0, upper: 1.0 };
    for (n, expected) in [
        (1, vec![(0.25, 0.25)]),
        (2, vec![(0.5, 0.125), (1.7, 0.955)]),
        (3, vec![(0.4, 0.0106666666666667), (2.0, 0.833333333333333)]),
        (5, vec![(1.0, 0.00833333333333333), (3.0, 0.775)]),
        (8, vec![(1.0, 2.48015873015873e-5), (4.5, 0.726460484095982), (7.0, 0.999975198412698)]),
        (100, vec![(40.0, 0.000250656230098302), (50.0, 0.5), (50.5, 0.568653715152274), (62.0, 0.99998590450978)]),
    ] {
        holds(&format!("{n} rectangulars"), &sum(&vec![(1.0, unit.clone()); n], 0.0), &expected);
    }
}

/// The same for unequal widths, where the closed form loses its digits in double precision; rational arithmetic.
#[test]
fn rectangulars_of_unequal_width() {
    for (halves, expected) in [
        (
            vec![1.0, 1e-3, 1e-6],
            vec![
                (-1.0, 0.000125000041666667),
                (-0.9990005, 0.0004997500703125),
                (0.0, 0.5),
                (1.000001, 0.999875249833333),
            ],
        ),
        (
            vec![0.05, 0.02, 0.01, 0.002],
            vec![(-0.07, 0.00216666666666667), (-0.03, 0.202166666666667), (0.001, 0.51), (0.08, 0.999997916666667)],
        ),
        (
            vec![0.3, 0.2, 0.1, 0.05, 0.025],
            vec![(-0.6, 8.20583767361111e-5), (-0.1, 0.337890625), (0.4, 0.970134141710069), (0.67, 0.999999999891493)],
        ),
    ] {
        let terms: Vec<(f64, Distribution)> = halves.iter().map(|h| (1.0, rectangular(*h))).collect();
        holds(&format!("{halves:?}"), &sum(&terms, 0.0), &expected);
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

/// With a normal of standard deviation 0.3 (the last: 0.0001), by quadrature of ∫ f(y) Φ((x − y)/s) dy.
#[test]
fn each_kind_with_a_normal() {
    let t = |degrees_of_freedom, scale| Distribution::ScaledShiftedT { degrees_of_freedom, location: 0.0, scale };
    for (distribution, sd, expected) in [
        (
            Distribution::Arcsine { lower: -1.0, upper: 1.0 },
            0.3,
            [
                (-1.7, 0.00127750919491782),
                (-0.2, 0.431668377417963),
                (0.6, 0.723574533622803),
                (1.9, 0.999840039848874),
            ],
        ),
        (
            Distribution::CurvilinearTrapezoidal { lower: -1.0, upper: 1.0, inexactness: 0.25 },
            0.3,
            [
                (-1.7, 0.000899951888481489),
                (-0.2, 0.398327600185996),
                (0.6, 0.795818096911775),
                (1.9, 0.999863952026422),
            ],
        ),
        (
            Distribution::Gamma { shape: 2.5, scale: 0.4 },
            0.3,
            [(-0.4, 0.00283745451623589), (0.7, 0.372309263164049), (1.5, 0.792645728042072), (5.0, 0.999826579454289)],
        ),
        (
            Distribution::Exponential { mean: 1.0 },
            0.3,
            [(-0.6, 0.00231011734638008), (0.5, 0.372238494437554), (3.0, 0.947921339424034), (9.0, 0.999870909906739)],
        ),
        (
            Distribution::LogNormal { mean: 1.0, sd: 0.4 },
            0.3,
            [(-0.2, 0.00191035016069184), (0.7, 0.283169657801013), (1.5, 0.852278899654986), (4.0, 0.999896039945067)],
        ),
        (
            Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, lower: -0.5, upper: 2.0 },
            0.3,
            [(-1.1, 0.00139834823137545), (0.1, 0.344634873420755), (1.4, 0.899313504510976), (2.7, 0.999902503127152)],
        ),
        (
            t(4.0, 0.5),
            0.3,
            [
                (-3.0, 0.00211540409654843),
                (-0.4, 0.266598315353977),
                (0.9, 0.906857598250766),
                (8.0, 0.999954773197946),
            ],
        ),
        (
            t(1.0, 0.1),
            0.3,
            [
                (-3.0, 0.0107156053484828),
                (-0.4, 0.161541978128849),
                (0.9, 0.957919316920601),
                (40.0, 0.999204182173075),
            ],
        ),
        (
            t(2.0, 0.2),
            0.3,
            [(-3.0, 0.00227614226689448), (-0.4, 0.174489567653569), (0.9, 0.965866175247394), (8.0, 0.99968646911492)],
        ),
        (
            Distribution::Arcsine { lower: -1.0, upper: 1.0 },
            1e-4,
            [
                (-0.9999, 0.00405419026025135),
                (-0.2, 0.435905782812615),
                (0.6, 0.704832766564231),
                (1.0, 0.99814943103985),
            ],
        ),
    ] {
        let mean = distribution.mean();
        let y = sum(&[(1.0, distribution.clone())], sd);
        holds(distribution.name(), &y, &expected);
        assert!((y.mean() - mean).abs() < 1e-14);
        // Turned round.
        let turned = sum(&[(-1.0, distribution.clone())], sd);
        let mirrored: Vec<(f64, f64)> = expected.iter().map(|(x, f)| (-x, 1.0 - f)).collect();
        holds(&format!("minus {}", distribution.name()), &turned, &mirrored);
    }
}

/// Pairs without a normal, by quadrature of ∫ F_A(x − y) f_B(y) dy.
#[test]
fn pairs_without_a_normal() {
    let lognormal = Distribution::LogNormal { mean: 1.0, sd: 0.4 };
    let cauchy = Distribution::ScaledShiftedT { degrees_of_freedom: 1.0, location: 0.0, scale: 0.1 };
    let gamma = Distribution::Gamma { shape: 2.5, scale: 0.4 };
    let arcsine = |half: f64| Distribution::Arcsine { lower: -half, upper: half };
    holds(
        "two arcsines",
        &sum(&[(1.0, arcsine(1.0)), (1.0, arcsine(0.4))], 0.0),
        &[(-1.2, 0.0527407574841205), (-0.3, 0.398007304798332), (0.65, 0.758462250673288), (1.1, 0.918788477259423)],
    );
    holds(
        "rectangular and lognormal",
        &sum(&[(1.0, rectangular(0.5)), (1.0, lognormal.clone())], 0.0),
        &[(0.1, 0.0126889843708214), (0.9, 0.44682273994371), (2.0, 0.966625905567786), (4.0, 0.999900478534166)],
    );
    holds(
        "rectangular and Cauchy",
        &sum(&[(1.0, rectangular(0.5)), (1.0, cauchy)], 0.0),
        &[(-2.0, 0.0162450216700003), (0.3, 0.757027547299596), (0.6, 0.927829678195019), (10.0, 0.996814351199147)],
    );
    holds(
        "lognormal and gamma",
        &sum(&[(1.0, lognormal), (1.0, gamma)], 0.0),
        &[(0.5, 0.000376148215516679), (1.5, 0.273721658689294), (3.0, 0.90052964311658), (6.0, 0.999729507483833)],
    );
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
