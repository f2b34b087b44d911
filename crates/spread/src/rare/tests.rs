//! Checks against closed forms and quadrature by scipy and mpmath: `tests/outside/rare_events.py` freezes them in
//! `tests/reference/rare_events.json`.
#![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::distribution::Distribution;
use crate::model::{Function, ModelError};
use crate::options::Silent;
use crate::population::Variable;
use crate::reference;
use crate::stack::{Correlation, Lot};
use packdrift_numerics::normal;
use packdrift_pack::Outcome;

fn independent(distributions: &[Distribution]) -> Population {
    tied(distributions, &[])
}

fn tied(distributions: &[Distribution], ties: &[Correlation]) -> Population {
    let variables: Vec<Variable> = distributions
        .iter()
        .enumerate()
        .map(|(k, d)| Variable { label: format!("d{k}"), distribution: d.clone(), lot: None })
        .collect();
    Population::new(&variables, &[] as &[Lot], ties).unwrap()
}

fn standard(n: usize) -> Population {
    independent(&vec![Distribution::Normal { mean: 0.0, sd: 1.0 }; n])
}

fn above(limit: f64) -> Event {
    Event::of_limits(Cause::Above, None, Some(limit))
}

fn ask(model: &dyn Model, population: &Population, event: Event) -> Rare {
    let question =
        Question { event, until: Some(0.01), floor: 1e-12, seed: 3, purpose: "test", sampled: None, starts: &[] };
    share(model, population, &question, &Silent).unwrap()
}

/// A share that other libraries computed.
fn frozen(name: &str) -> f64 {
    reference::number(&reference::values("rare_events")[name])
}

/// Within 4.5 standard errors and by line sampling, at a relative standard error of 1 %.
fn holds(what: &str, rare: &Rare, expected: f64) {
    let error = (rare.share.value - expected) / expected;
    assert!(rare.reached, "{what}: {rare:?}");
    assert_eq!(rare.method, Method::LineSampling, "{what}: {:?}", rare.fell_back);
    let tolerance = 4.5 * rare.share.standard_error / expected;
    assert!(
        error.abs() <= tolerance,
        "{what}: {} for {expected}, relative error {error}, tolerance {tolerance}",
        rare.share.value
    );
}

#[test]
fn a_plane_is_exact() {
    for n in [1, 2, 13, 300] {
        let sum = Function::new(n, move |x: &[f64]| x.iter().sum::<f64>() / (n as f64).sqrt());
        for beta in [1.0, 4.264890793922602, 9.0] {
            let rare = ask(&sum, &standard(n), above(beta));
            holds(&format!("{n} {beta}"), &rare, normal::sf(beta));
            // Lines do not differ, and a crossing is located to 1e-7.
            assert!((rare.share.value / normal::sf(beta) - 1.0).abs() < 2e-6, "{n}: {:?}", rare.share);
        }
    }
}

/// Two of eight variables matter, in a product: the shape for which the first-order approximation alone can be out by orders of
/// magnitude. N(10, 1)·N(10, 1) > 160, by quadrature.
#[test]
fn two_of_eight_matter() {
    let product = Function::new(8, |x: &[f64]| x[2] * x[5]);
    let population = independent(&vec![Distribution::Normal { mean: 10.0, sd: 1.0 }; 8]);
    holds("product", &ask(&product, &population, above(160.0)), frozen("product"));
}

/// Curved limits, away from and towards the origin: P = E Φ(−(β ± 0.1·χ²₄)), by quadrature. The first-order values would be 3.17e-5 and 2.9e-7.
#[test]
fn curved_limits() {
    let squares = |x: &[f64]| x[1..].iter().map(|x| x * x).sum::<f64>();
    let away = Function::new(5, move |x: &[f64]| x[0] - 0.1 * squares(x));
    holds("away", &ask(&away, &standard(5), above(4.0)), frozen("away"));
    let towards = Function::new(5, move |x: &[f64]| x[0] + 0.1 * squares(x));
    holds("towards", &ask(&towards, &standard(5), above(5.0)), frozen("towards"));
}

/// Two design points: opposite (an edge on either side of the stem), and at a right angle.
#[test]
fn several_design_points() {
    let edge = Function::new(4, |x: &[f64]| (x[0] / 4.2).max(-x[0] / 4.6));
    holds("edge", &ask(&edge, &standard(4), above(1.0)), frozen("edge"));
    let corner = Function::new(4, |x: &[f64]| x[0].max(x[3]));
    holds("corner", &ask(&corner, &standard(4), above(4.0)), frozen("corner"));
}

/// Marginals by quantile(Φ(u)): a sum of exponentials is a gamma, a product of lognormals a lognormal.
#[test]
fn other_marginals() {
    let sum = Function::new(5, |x: &[f64]| x.iter().sum());
    let population = independent(&vec![Distribution::Exponential { mean: 1.0 }; 5]);
    holds("exponentials", &ask(&sum, &population, above(20.0)), frozen("exponentials"));
    // Of mean and sd on the natural scale such that the logarithm is N(0, 0.2²).
    let mean = 0.02_f64.exp();
    let factor = Distribution::LogNormal { mean, sd: mean * (0.04_f64.exp() - 1.0).sqrt() };
    let product = Function::new(3, |x: &[f64]| x[0] * x[1] * x[2]);
    holds("lognormals", &ask(&product, &independent(&vec![factor; 3]), above(3.0)), frozen("lognormals"));
}

#[test]
fn correlated_normals() {
    let sum = Function::new(2, |x: &[f64]| x[0] + x[1]);
    let population = tied(
        &[Distribution::Normal { mean: 0.0, sd: 1.0 }, Distribution::Normal { mean: 0.0, sd: 1.0 }],
        &[Correlation { between: (0, 1), coefficient: 0.6 }],
    );
    holds("tied", &ask(&sum, &population, above(7.5)), frozen("tied"));
}

/// A limit that is a sphere: no direction is better than another, so many design points or none is right. Whatever method is named, the
/// share must be true: χ² tails.
#[test]
fn spheres() {
    for (n, radius) in [(2, 5.0_f64), (4, 5.5)] {
        let expected = frozen(&format!("sphere {n}"));
        let square = Function::new(n, |x: &[f64]| x.iter().map(|x| x * x).sum());
        let rare = ask(&square, &standard(n), above(radius * radius));
        let tolerance = 4.5 * rare.share.standard_error + 0.005 * expected;
        assert!((rare.share.value - expected).abs() < tolerance, "{n}: {rare:?} for {expected}");
    }
}

/// The origin inside the event, all of space inside, and nothing inside.
#[test]
fn large_shares_and_none() {
    let first = Function::new(3, |x: &[f64]| x[0]);
    holds("most", &ask(&first, &standard(3), above(-2.0)), normal::cdf(2.0));
    holds("all", &ask(&first, &standard(3), above(-9.0)), 1.0);
    let square = Function::new(3, |x: &[f64]| x[0] * x[0]);
    let never = Event::of_limits(Cause::Below, Some(-1.0), None);
    let rare = ask(&square, &standard(3), never);
    assert!(rare.share.value == 0.0 && rare.design_points.is_empty(), "{rare:?}");
    let constant = Function::new(3, |_: &[f64]| 1.0);
    assert!(ask(&constant, &standard(3), above(2.0)).share.value == 0.0);
}

/// A slab too thin for the scan: the crude sample has counted it, so line sampling is not believed.
#[test]
fn what_lines_overlook_is_noticed() {
    let slab = Function::new(2, |x: &[f64]| if (1.0..1.01).contains(&x[0]) { 2.0 } else { 0.5 * x[1] });
    let expected = normal::cdf(1.01) - normal::cdf(1.0);
    let n = 65_536.0;
    let sampled = SampledShare { share: expected, standard_error: (expected / n).sqrt(), points: 65_536 };
    let question = Question {
        event: above(1.7),
        until: Some(0.01),
        floor: 1e-9,
        seed: 3,
        purpose: "slab",
        sampled: Some(sampled),
        starts: &[],
    };
    let rare = share(&slab, &standard(2), &question, &Silent).unwrap();
    assert!(rare.fell_back.is_some() && rare.method != Method::LineSampling, "{rare:?}");
    let all = expected + normal::sf(3.4);
    assert!((rare.share.value - all).abs() < 5.0 * rare.share.standard_error + normal::sf(3.4), "{rare:?} {all}");
}

/// A bay that comes loose: play = max(0, −D), whose slope is 0 at the origin, so nothing leads from there; and a range whose both ends count.
struct Loose;

impl Model for Loose {
    fn inputs(&self) -> usize {
        3
    }
    fn responses(&self) -> usize {
        2
    }
    fn respond(&self, x: &[f64], out: &mut [Outcome]) -> Result<(), ModelError> {
        let squeeze = 3.0 + x[0] + x[1];
        out[0] = Outcome::Value((-squeeze).max(0.0));
        out[1] = if squeeze < 0.0 { Outcome::Range { low: x[2] + squeeze, high: x[2] } } else { Outcome::Value(x[2]) };
        Ok(())
    }
}

#[test]
fn loose_bays() {
    let play = ask(&Loose, &standard(3), above(1.5));
    let expected = frozen("play");
    assert!(
        (play.share.value - expected).abs() < 4.5 * play.share.standard_error + 1e-5 * expected,
        "{play:?} {expected}"
    );
    // Below −4: x₂ < −4, or loose and x₂ − play < −4: E over D of Φ(−4 + play), by quadrature over N(3, 2).
    let event = Event { response: 1, ..Event::of_limits(Cause::Below, Some(-4.0), None) };
    let below = ask(&Loose, &standard(3), event);
    let expected = frozen("loose below");
    assert!(
        (below.share.value - expected).abs() < 4.5 * below.share.standard_error + 1e-3 * expected,
        "{below:?} {expected}"
    );
}

#[test]
fn the_same_on_any_number_of_threads() {
    let product = Function::new(8, |x: &[f64]| x[2] * x[5]);
    let population = independent(&vec![Distribution::Normal { mean: 10.0, sd: 1.0 }; 8]);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| ask(&product, &population, above(160.0)))
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn can_be_stopped() {
    struct Stop;
    impl Progress for Stop {
        fn advance(&self, _: u64, _: u64) {}
        fn cancelled(&self) -> bool {
            true
        }
    }
    let first = Function::new(1, |x: &[f64]| x[0]);
    let question = Question {
        event: above(4.0),
        until: Some(0.01),
        floor: 1e-12,
        seed: 3,
        purpose: "test",
        sampled: None,
        starts: &[],
    };
    assert_eq!(share(&first, &standard(1), &question, &Stop), Err(SpreadError::Cancelled));
}
