//! Distributions against mpmath at 40 digits, samples against distribution functions, and every pair of functions against each other.
#![allow(
    clippy::panic,
    clippy::print_stdout,
    reason = "a test stops at the first surprise, and shows what it measured"
)]
#![allow(clippy::unwrap_used, reason = "a value that is missing is a failed test")]

use packdrift_numerics::normal;
use packdrift_numerics::stream::{BLOCK, Key};
use packdrift_spread::{Distribution, DistributionError, Exact};
use proptest::prelude::*;
use serde_json::Value;
use std::sync::Arc;

fn from_json(parameters: &Value) -> Distribution {
    let number = |key: &str| parameters[key].as_f64().unwrap();
    let limits = || (number("lower"), number("upper"));
    match parameters["kind"].as_str().unwrap() {
        "normal" => Distribution::Normal { mean: number("mean"), sd: number("sd") },
        "truncated-normal" => {
            let (lower, upper) = limits();
            Distribution::TruncatedNormal { mean: number("mean"), sd: number("sd"), lower, upper }
        }
        "lognormal" => Distribution::LogNormal { mean: number("mean"), sd: number("sd") },
        "trapezoidal" => {
            let (lower, upper) = limits();
            Distribution::Trapezoidal { lower, upper, beta: number("beta") }
        }
        "triangular" => {
            let (lower, upper) = limits();
            Distribution::Triangular { lower, upper }
        }
        "curvilinear-trapezoidal" => {
            let (lower, upper) = limits();
            Distribution::CurvilinearTrapezoidal { lower, upper, inexactness: number("inexactness") }
        }
        "arcsine" => {
            let (lower, upper) = limits();
            Distribution::Arcsine { lower, upper }
        }
        "t" => Distribution::ScaledShiftedT {
            degrees_of_freedom: number("degrees_of_freedom"),
            location: number("location"),
            scale: number("scale"),
        },
        "gamma" => Distribution::Gamma { shape: number("shape"), scale: number("scale") },
        "exponential" => Distribution::Exponential { mean: number("mean") },
        other => panic!("the reference has a kind that this test does not know: {other}"),
    }
    .validated()
    .unwrap()
}

fn close(what: &str, got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{what}: {got:e}, expected {expected:e}");
}

#[test]
fn tails_densities_and_moments_are_those_of_the_definitions() {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/reference/distributions_mpmath.json"
    ));
    let reference: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let cases = reference["values"].as_array().unwrap();
    assert!(cases.len() >= 16, "the reference is incomplete");
    for case in cases {
        let distribution = from_json(&case["distribution"]);
        let name = case["distribution"].to_string();
        close(&name, distribution.mean(), case["mean"].as_f64().unwrap(), 2e-14);
        match case["sd"].as_f64() {
            Some(sd) => close(&name, distribution.sd(), sd, 1e-12),
            None => assert!(distribution.sd().is_infinite(), "{name}"),
        }
        for point in case["points"].as_array().unwrap() {
            let get = |key: &str| point[key].as_f64().unwrap();
            let x = get("x");
            let at = format!("{name} at {x}");
            // Where x is large beside the scatter the double of x itself limits what can be had.
            let relative = 1e-12 + 1e-15 * (x / distribution.standard_uncertainty()).powi(2).min(1e3);
            close(&at, distribution.cdf(x), get("lower"), relative);
            close(&at, distribution.sf(x), get("upper"), relative);
            close(&at, distribution.pdf(x), get("pdf"), relative);
            // And back, through both tails.
            let back = distribution.quantile_of(get("lower"), get("upper"));
            // In the flat of a tail dp moves x by dp/f.
            let steep = (get("lower").min(get("upper")) / get("pdf")).abs();
            assert!((back - x).abs() <= 1e-11 * steep + 4e-15 * x.abs(), "{at}: back {back}");
        }
    }
}

fn kinds() -> Vec<Distribution> {
    vec![
        Distribution::Normal { mean: 0.4, sd: 0.01 },
        Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, lower: 0.5, upper: 3.0 },
        Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, lower: -9.0, upper: -4.0 },
        Distribution::LogNormal { mean: 2.0, sd: 1.5 },
        Distribution::Rectangular { lower: -1.0, upper: 4.0 },
        Distribution::Triangular { lower: 0.0, upper: 0.2 },
        Distribution::Trapezoidal { lower: -1.0, upper: 1.0, beta: 0.3 },
        Distribution::CurvilinearTrapezoidal { lower: -0.05, upper: 0.05, inexactness: 0.025 },
        Distribution::CurvilinearTrapezoidal { lower: -0.05, upper: 0.05, inexactness: 0.05 },
        Distribution::Arcsine { lower: -0.5, upper: 0.5 },
        Distribution::ScaledShiftedT { degrees_of_freedom: 1.0, location: 1.0, scale: 0.5 },
        Distribution::ScaledShiftedT { degrees_of_freedom: 2.0, location: 0.0, scale: 1.0 },
        Distribution::ScaledShiftedT { degrees_of_freedom: 24.0, location: 215.0, scale: 6.0 },
        Distribution::Exponential { mean: 3.0 },
        Distribution::Gamma { shape: 0.5, scale: 2.0 },
        Distribution::Gamma { shape: 7.5, scale: 0.1 },
        Distribution::Sum {
            terms: vec![
                Distribution::ScaledShiftedT { degrees_of_freedom: 3.0, location: 0.97, scale: 0.001 },
                Distribution::Normal { mean: 0.0, sd: 0.002 },
                Distribution::Rectangular { lower: -0.0005, upper: 0.0005 },
            ],
        },
    ]
}

#[test]
fn samples_follow_the_distribution_functions() {
    for distribution in kinds() {
        distribution.validate().unwrap();
        let n = 40 * BLOCK;
        let mut values = vec![0.0; n];
        let key = Key::new(2, distribution.name());
        for (block, part) in values.chunks_mut(BLOCK).enumerate() {
            distribution.sample(&mut key.stream(block as u64), part);
        }
        let (low, high) = distribution.support();
        assert!(values.iter().all(|x| (low..=high).contains(x)), "{distribution:?} leaves its support");
        if distribution.sd().is_finite() {
            let mean = values.iter().sum::<f64>() / n as f64;
            let z = (mean - distribution.mean()) / distribution.sd() * (n as f64).sqrt();
            assert!(z.abs() < 4.0, "{distribution:?}: mean off by {z} standard errors");
        }
        values.sort_by(f64::total_cmp);
        // A sum is inverted once, not at every value.
        let sum = match &distribution {
            Distribution::Sum { terms } => {
                let weighted: Vec<(f64, &Distribution)> = terms.iter().map(|term| (1.0, term)).collect();
                Some(Exact::new(0.0, &weighted, 0.0).unwrap())
            }
            _ => None,
        };
        let distance = values.iter().enumerate().map(|(k, &x)| {
            let p = sum.as_ref().map_or_else(|| distribution.cdf(x), |sum| sum.cdf(x));
            (p - k as f64 / n as f64).max((k + 1) as f64 / n as f64 - p)
        });
        // 1.95 is the 0.001 level of Kolmogorov's distribution; 17 fixed samples.
        let d = distance.fold(0.0, f64::max) * (n as f64).sqrt();
        assert!(d < 1.95, "{distribution:?}: Kolmogorov's distance {d}");
    }
}

#[test]
fn quantiles_undo_the_distribution_functions_far_into_both_tails() {
    for distribution in kinds() {
        let sum = matches!(distribution, Distribution::Sum { .. });
        for exponent in if sum { -3..0 } else { -200..0 } {
            let tail = 10_f64.powi(exponent) * 0.5;
            for (p, q) in [(tail, 1.0 - tail), (1.0 - tail, tail)] {
                let x = distribution.quantile_of(p, q);
                // Smaller than a double can be with all its digits.
                if !x.is_finite() || x.abs() < 1e-290 {
                    continue;
                }
                let got = if p < 0.5 { distribution.cdf(x) } else { distribution.sf(x) };
                let (low, high) = distribution.support();
                // A bounded distribution's quantile rounds to its end before the tail does; there, and where x is large beside
                // the distance that the tail leaves, its last bit decides.
                let grain = 4.0
                    * f64::EPSILON
                    * x.abs().max(low.abs().min(1e300)).max(if high.is_finite() { high.abs() } else { 0.0 });
                let allowed = if sum { 1e-7 } else { 1e-9 } * tail + grain * distribution.pdf(x).min(1e300);
                let at_end = x <= low || x >= high || (x - low).min(high - x) < 1e3 * grain;
                assert!(at_end || (got - tail).abs() <= allowed, "{distribution:?}: {tail:e} at {x}, back {got:e}");
            }
        }
    }
}

#[test]
fn quantiles_that_a_library_gets_wrong() {
    // Cauchy: tan(π(p − ½)); χ² with one degree of freedom is a gamma of shape ½, scale 2: its quantile is Φ⁻¹((1 + p)/2)², about
    // πp²/2 for small p. A widely used library gives −6.67e7 and 9.3e-10 at 1e-9.
    let cauchy = Distribution::ScaledShiftedT { degrees_of_freedom: 1.0, location: 0.0, scale: 1.0 };
    close("Cauchy", cauchy.quantile(1e-9), -1.0 / (std::f64::consts::PI * 1e-9), 1e-9);
    let chi_squared = Distribution::Gamma { shape: 0.5, scale: 2.0 };
    close("χ²", chi_squared.quantile(1e-9), std::f64::consts::FRAC_PI_2 * 1e-18, 1e-9);
    // The t quantile has the right sign on both sides.
    let t = Distribution::ScaledShiftedT { degrees_of_freedom: 5.0, location: 0.0, scale: 1.0 };
    // t(0.975; 5) = 2.571 (any table).
    assert!((t.quantile(0.975) - 2.570_581_8).abs() < 1e-6 && (t.quantile(0.025) + 2.570_581_8).abs() < 1e-6);
    assert!(t.quantile(-0.1).is_nan() && t.quantile(1.1).is_nan() && t.quantile(f64::NAN).is_nan());
}

#[test]
fn repeated_readings_are_the_t_of_the_guide() {
    // JCGM 101:2008, 6.4.9.4: tₙ₋₁(x̄, s²/n); mean and sd of 0.969, 0.971, 0.974 by hand: 0.971333…, s = 0.00251661.
    let Distribution::ScaledShiftedT { degrees_of_freedom, location, scale } =
        Distribution::of_readings(&[0.969, 0.971, 0.974]).unwrap()
    else {
        panic!("not a t");
    };
    assert!((degrees_of_freedom - 2.0).abs() < 1e-15 && (location - 2.914 / 3.0).abs() < 1e-15);
    assert!((scale - 0.002_516_611_478_423_58 / 3_f64.sqrt()).abs() < 1e-15);
    assert_eq!(Distribution::of_readings(&[0.5, 0.5, 0.5]).unwrap(), Distribution::Exact { value: 0.5 });
    assert_eq!(Distribution::of_readings(&[0.5]).unwrap(), Distribution::Exact { value: 0.5 });
}

#[test]
fn empirical_distributions_are_their_readings() {
    let readings: Arc<[f64]> = vec![3.0, 1.0, 2.0, 2.0].into();
    let distribution = Distribution::Empirical { readings };
    assert!((distribution.mean() - 2.0).abs() < 1e-15 && (distribution.sd() - 0.5_f64.sqrt()).abs() < 1e-15);
    for (p, value) in [(0.0, 1.0), (0.25, 1.0), (0.26, 2.0), (0.75, 2.0), (0.76, 3.0), (1.0, 3.0)] {
        assert!((distribution.quantile(p) - value).abs() < 1e-15, "{p}");
    }
    let mut block = vec![0.0; 40 * BLOCK];
    distribution.sample(&mut Key::new(1, "readings").stream(0), &mut block);
    let twos = block.iter().filter(|&&x| (x - 2.0).abs() < 1e-15).count() as f64 / block.len() as f64;
    assert!((twos - 0.5).abs() < 4.0 * (0.25 / block.len() as f64).sqrt());
}

#[test]
fn nonsense_is_refused_with_its_name_and_value() {
    let refused = |distribution: Distribution| distribution.validated().unwrap_err();
    assert!(matches!(
        Distribution::normal(0.4, -1.0),
        Err(DistributionError::Negative { parameter: "sd", value, .. }) if value < -0.9
    ));
    assert!(matches!(Distribution::normal(f64::NAN, 1.0), Err(DistributionError::NotFinite { parameter: "mean", .. })));
    assert!(matches!(refused(Distribution::Rectangular { lower: 1.0, upper: 0.0 }), DistributionError::Limits { .. }));
    assert!(matches!(
        refused(Distribution::CurvilinearTrapezoidal { lower: 0.0, upper: 1.0, inexactness: 0.6 }),
        DistributionError::OutOfRange { parameter: "inexactness", .. }
    ));
    assert!(matches!(
        refused(Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, lower: 40.0, upper: 41.0 }),
        DistributionError::NothingLeft { .. }
    ));
    assert!(matches!(refused(Distribution::Sum { terms: vec![] }), DistributionError::Empty { what: "term", .. }));
    assert!(matches!(
        refused(Distribution::Sum { terms: vec![Distribution::Gamma { shape: 0.0, scale: 1.0 }] }),
        DistributionError::NotPositive { parameter: "shape", .. }
    ));
    assert!(matches!(
        Distribution::of_readings(&[0.5, f64::INFINITY]),
        Err(DistributionError::NotFinite { parameter: "reading", .. })
    ));
}

#[test]
fn no_width_is_an_exact_value() {
    let flat = [
        Distribution::Normal { mean: 2.0, sd: 0.0 },
        Distribution::LogNormal { mean: 2.0, sd: 0.0 },
        Distribution::TruncatedNormal { mean: 2.0, sd: 0.0, lower: 1.0, upper: 3.0 },
        Distribution::Rectangular { lower: 2.0, upper: 2.0 },
        Distribution::CurvilinearTrapezoidal { lower: 2.0, upper: 2.0, inexactness: 0.0 },
        Distribution::Arcsine { lower: 2.0, upper: 2.0 },
        Distribution::ScaledShiftedT { degrees_of_freedom: 1.0, location: 2.0, scale: 0.0 },
    ];
    for distribution in flat {
        distribution.validate().unwrap();
        assert!(distribution.is_exact(), "{distribution:?}");
        let mut block = [0.0; 8];
        distribution.sample(&mut Key::new(1, "flat").stream(0), &mut block);
        let all = [distribution.mean(), distribution.quantile(0.1), distribution.at_normal(-3.0), block[3]];
        assert!(all.iter().all(|x| (x - 2.0).abs() < 1e-15), "{distribution:?}: {all:?}");
        assert!(distribution.sd() < 1e-15 && distribution.cdf(1.9) < 0.5 && distribution.cdf(2.0) > 0.5);
    }
}

fn any_distribution() -> impl Strategy<Value = Distribution> {
    let place = -100.0..100.0_f64;
    let width = 1e-3..10.0_f64;
    prop_oneof![
        (place.clone(), width.clone()).prop_map(|(mean, sd)| Distribution::Normal { mean, sd }),
        (place.clone(), width.clone(), -6.0..6.0_f64, 0.01..5.0_f64).prop_map(|(mean, sd, a, w)| {
            Distribution::TruncatedNormal { mean, sd, lower: mean + a * sd, upper: mean + (a + w) * sd }
        }),
        (0.1..100.0_f64, width.clone()).prop_map(|(mean, sd)| Distribution::LogNormal { mean, sd }),
        (place.clone(), width.clone()).prop_map(|(lower, w)| Distribution::Rectangular { lower, upper: lower + w }),
        (place.clone(), width.clone(), 0.0..=1.0_f64).prop_map(|(lower, w, beta)| Distribution::Trapezoidal {
            lower,
            upper: lower + w,
            beta
        }),
        (place.clone(), width.clone(), 0.0..=0.5_f64).prop_map(|(lower, w, d)| {
            Distribution::CurvilinearTrapezoidal { lower, upper: lower + w, inexactness: d * w }
        }),
        (place.clone(), width.clone()).prop_map(|(lower, w)| Distribution::Arcsine { lower, upper: lower + w }),
        (0.3..200.0_f64, place, width.clone()).prop_map(|(degrees_of_freedom, location, scale)| {
            Distribution::ScaledShiftedT { degrees_of_freedom, location, scale }
        }),
        (0.05..50.0_f64, width.clone()).prop_map(|(shape, scale)| Distribution::Gamma { shape, scale }),
        width.prop_map(|mean| Distribution::Exponential { mean }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn tails_sum_to_one_and_rise(distribution in any_distribution(), z in -8.0..8.0_f64) {
        distribution.validate().unwrap();
        let x = distribution.at_normal(z);
        let tails = distribution.tails(x);
        prop_assert!((tails.lower + tails.upper - 1.0).abs() < 1e-12);
        // Φ and F agree at corresponding points, as far as x can say it.
        let grain = 1e-15 * (x.abs() + 100.0) * distribution.pdf(x).min(1e9);
        prop_assert!((tails.lower - normal::cdf(z)).abs() < 1e-9 + grain, "{} {}", tails.lower, normal::cdf(z));
        let further = distribution.at_normal(z + 0.25);
        prop_assert!(further >= x);
        prop_assert!(distribution.pdf(x) >= 0.0);
    }
}
