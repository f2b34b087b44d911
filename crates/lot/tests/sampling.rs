//! Sampling plans against scipy's exact distributions, published plans, and each plan's own promises.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::sampling::RiskPoints;
use packdrift_lot::sampling::attributes::{self, AttributesPlan};
use packdrift_lot::sampling::standard::{LIMITS, Level, Severity, look_up};
use packdrift_lot::sampling::switching::{LotOutcome, Reduced, State, follow};
use packdrift_lot::sampling::variables::{self, Sides, Sigma, VariablesPlan};
use packdrift_numerics::normal;
use packdrift_numerics::stream::{Key, Stream};
use serde_json::Value;

fn scipy() -> Value {
    let text =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/lot_scipy.json")).unwrap();
    serde_json::from_str::<Value>(&text).unwrap()["values"].clone()
}

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found}, expected {expected}");
}

const RISKS: RiskPoints =
    RiskPoints { producer_quality: 0.01, producer_risk: 0.05, consumer_quality: 0.05, consumer_risk: 0.10 };

fn one_sided(n: u64, k: f64) -> VariablesPlan {
    VariablesPlan {
        sample_size: n,
        acceptability_constant: k,
        largest_share: None,
        sigma: Sigma::Unknown,
        sides: Sides::One,
    }
}

#[test]
fn chances_of_acceptance_by_scipy() {
    let reference = scipy();
    let rows = |key: &str| reference[key].as_array().unwrap().clone();
    for row in rows("attributes") {
        let get = |key: &str| row[key].as_f64().unwrap();
        let plan = AttributesPlan { sample_size: get("n") as u64, acceptance_number: get("c") as u64, lot_size: None };
        close(plan.accepted(get("p")), get("binomial"), 1e-9, "binomial");
    }
    for row in rows("finite") {
        let get = |key: &str| row[key].as_f64().unwrap();
        let plan = AttributesPlan {
            sample_size: get("n") as u64,
            acceptance_number: get("c") as u64,
            lot_size: Some(get("lot") as u64),
        };
        close(plan.accepted(get("bad") / get("lot")), get("hypergeometric"), 1e-9, "hypergeometric");
    }
    for row in rows("variables") {
        let get = |key: &str| row[key].as_f64().unwrap();
        close(one_sided(get("n") as u64, get("k")).accepted(get("p")).0, get("accept"), 1e-9, "noncentral t");
    }
}

/// n 30, k 1.86 and n 80, Ac 2 of the standards' tables; the worked example of ISO 3951-1 (values from memory, recomputed).
#[test]
fn published_plans() {
    for (p, accepted) in [(0.01, 0.941721), (0.02, 0.756552), (0.05, 0.258466), (0.10, 0.030095)] {
        assert!((one_sided(30, 1.86).accepted(p).0 - accepted).abs() < 1e-6);
    }
    let plan = AttributesPlan { sample_size: 80, acceptance_number: 2, lot_size: None };
    assert!((plan.accepted(0.010298) - 0.95).abs() < 1e-4 && (plan.accepted(0.065160) - 0.10).abs() < 1e-4);
    let readings = [53.0, 57.0, 49.0, 58.0, 59.0, 54.0, 58.0, 56.0, 50.0, 50.0, 55.0, 54.0, 57.0];
    let verdict = one_sided(13, 1.426).judge(&readings, None, Some(60.0)).unwrap();
    assert!((verdict.mean - 54.61538).abs() < 1e-5 && (verdict.sd - 3.3301267).abs() < 1e-7);
    assert!((verdict.upper_quality.unwrap() - 1.6169401).abs() < 1e-7 && verdict.accepted);
    assert!(!one_sided(13, 1.7).judge(&readings, None, Some(60.0)).unwrap().accepted);
    assert!(one_sided(12, 1.4).judge(&readings, None, Some(60.0)).is_err());
}

#[test]
fn attributes_plans_keep_both_risks_and_are_the_smallest() {
    for lot_size in [None, Some(5000), Some(300)] {
        let plan = attributes::find(&RISKS, lot_size).unwrap();
        assert!(plan.accepted(0.01) >= 0.95 && plan.accepted(0.05) <= 0.10, "{plan:?}");
        // One part fewer, with any acceptance number, breaks a risk.
        for c in 0..=plan.acceptance_number + 2 {
            let smaller = AttributesPlan { sample_size: plan.sample_size - 1, acceptance_number: c, lot_size };
            assert!(smaller.accepted(0.01) < 0.95 || smaller.accepted(0.05) > 0.10, "{smaller:?}");
        }
    }
    assert!(
        attributes::find(&RISKS, Some(300)).unwrap().sample_size < attributes::find(&RISKS, None).unwrap().sample_size
    );
    assert!(attributes::find(&RiskPoints { producer_quality: 0.05, ..RISKS }, None).is_err());
    assert!(attributes::find(&RiskPoints { consumer_risk: 0.0, ..RISKS }, None).is_err());
    let close = RiskPoints { producer_quality: 0.01, consumer_quality: 0.01001, ..RISKS };
    assert!(attributes::find(&close, None).is_err());
}

#[test]
fn variables_plans_keep_both_risks() {
    let sides = Sides::Two { lower: 0.37, upper: 0.43 };
    for (sigma, sides) in [
        (Sigma::Unknown, Sides::One),
        (Sigma::Known(0.01), Sides::One),
        (Sigma::Known(0.01), sides),
        (Sigma::Unknown, sides),
    ] {
        let plan = variables::find(&RISKS, sigma, sides).unwrap();
        let (good, bad) = (plan.accepted(0.01), plan.accepted(0.05));
        assert!(good.0 >= 0.95 - 1e-9 && bad.1 <= 0.10 + 1e-9, "{plan:?}: {good:?}, {bad:?}");
        assert!(good.0 <= good.1 && plan.accepted(0.0).0 >= 1.0);
        let curve = plan.curve(&RISKS);
        for w in curve.windows(2) {
            assert!(w[0].accepted >= w[1].accepted - 1e-9, "{plan:?}: {w:?}");
        }
    }
    // With one side and known σ the textbook size: ((z_α + z_β)/(z₁ − z₂))².
    let z = |p: f64| -normal::quantile(p);
    let n = ((z(0.05) + z(0.10)) / (z(0.01) - z(0.05))).powi(2).ceil() as u64;
    assert_eq!(variables::find(&RISKS, Sigma::Known(1.0), Sides::One).unwrap().sample_size, n);
    assert!(variables::find(&RISKS, Sigma::Known(0.02), sides).is_err(), "a centred lot has 13 % outside");
    assert!(variables::find(&RISKS, Sigma::Known(-1.0), Sides::One).is_err());
}

/// Mixed packets accept nothing by variables: 95 % of the parts tight, 5 % just beyond a limit. Made with the seeds below; normal lots of good quality are
/// accepted as often as the plan says, less the 1 % by which chance contradicts their shape.
#[test]
fn a_plan_by_variables_accepts_no_lot_that_is_not_normal() {
    let (lower, upper) = (-3.0, 3.0);
    let plan = variables::find(&RISKS, Sigma::Unknown, Sides::Two { lower, upper }).unwrap();
    let (key, lots) = (Key::new(3, "mixed packets"), 200);
    let accepted = |draw: &dyn Fn(&mut Stream) -> f64, from: u64| {
        (0..lots)
            .filter(|lot| {
                let mut stream = key.stream(from + lot);
                let sample: Vec<f64> = (0..plan.sample_size).map(|_| draw(&mut stream)).collect();
                let found = plan.judge(&sample, Some(lower), Some(upper)).unwrap();
                plan.verdict(&found).exit_status() == 0
            })
            .count()
    };
    let mixed = accepted(&|s| if s.uniform() < 0.05 { 3.05 + 0.05 * s.uniform() } else { 0.3 * s.normal() }, 0);
    // The plan promises 10 % at 5 % outside; as often none of the foreign parts is in the sample.
    assert!(mixed <= lots as usize / 10, "{mixed} of {lots} mixed lots accepted");
    let sd = 3.0 / -normal::quantile(0.005);
    let good = accepted(&|s| sd * s.normal(), 1000);
    assert!(good >= lots as usize * 88 / 100, "{good} of {lots} good lots accepted");
}

/// The two-sided chance of acceptance against a simulation of whole samples, centred and one-sided.
#[test]
fn two_sided_acceptance_by_simulation() {
    let (lower, upper) = (-1.0, 1.0);
    let plan = variables::find(&RISKS, Sigma::Unknown, Sides::Two { lower, upper }).unwrap();
    let key = Key::new(9, "two-sided");
    let quality = 0.03;
    let range = plan.accepted(quality);
    // Centred, and nearly all on one side.
    let centred = -1.0 / normal::quantile(0.5 * quality);
    for (k, (mean, sd)) in [(0.0, centred), (1.0 + 0.2 * normal::quantile(quality), 0.2)].into_iter().enumerate() {
        let trials = 4000;
        let mut stream = key.stream(k as u64);
        let mut accepted = 0;
        for _ in 0..trials {
            let sample: Vec<f64> = (0..plan.sample_size).map(|_| mean + sd * stream.normal()).collect();
            accepted += u32::from(plan.judge(&sample, Some(lower), Some(upper)).unwrap().accepted);
        }
        let share = f64::from(accepted) / f64::from(trials);
        let allowed = 4.0 * (0.25 / f64::from(trials)).sqrt();
        assert!(share > range.0 - allowed && share < range.1 + allowed, "{share} outside {range:?}");
    }
}

/// Rows of the master tables as reprinted by a US agency, and what the tables are built by: along a row the acceptance numbers follow
/// 0, 1, 2, 3, 5, 7, 10, 14, 21 (tightened 0, 1, 2, 3, 5, 8, 12, 18), and each letter's row is the next letter's shifted by one column.
#[test]
fn standard_plans() {
    for (lot, limit, severity, letter, n, c) in [
        (1000, 1.0, Severity::Normal, 'J', 80, 2),
        (1000, 2.5, Severity::Normal, 'J', 80, 5),
        (2000, 0.65, Severity::Normal, 'K', 125, 2),
        (200, 1.0, Severity::Normal, 'G', 50, 1),
        (200, 0.65, Severity::Normal, 'G', 20, 0),
        (100, 2.5, Severity::Normal, 'F', 20, 1),
        (1000, 1.0, Severity::Tightened, 'J', 80, 1),
        (1000, 15.0, Severity::Tightened, 'J', 80, 18),
        (2000, 15.0, Severity::Normal, 'K', 80, 21),
    ] {
        let plan = look_up(lot, Level::II, limit, severity).unwrap();
        assert_eq!(
            (plan.code_letter, plan.plan.sample_size, plan.plan.acceptance_number),
            (letter, n, c),
            "{lot}, {limit}"
        );
    }
    assert_eq!(look_up(1000, Level::I, 2.5, Severity::Normal).unwrap().code_letter, 'G');
    assert_eq!(look_up(1000, Level::III, 2.5, Severity::Normal).unwrap().code_letter, 'K');
    assert_eq!(look_up(1000, Level::Special(3), 2.5, Severity::Normal).unwrap().code_letter, 'E');
    // At its own limit a normal plan accepts between 85 and 99.9 %, and a tightened plan less often.
    for limit in LIMITS {
        for lot in [40, 300, 1000, 5000] {
            let (Ok(normal), Ok(tightened)) =
                (look_up(lot, Level::II, limit, Severity::Normal), look_up(lot, Level::II, limit, Severity::Tightened))
            else {
                continue;
            };
            let (a, b) = (normal.plan.accepted(limit / 100.0), tightened.plan.accepted(limit / 100.0));
            // Where both look at the whole lot they are one plan.
            let less = if normal.whole_lot && tightened.whole_lot { b <= a } else { b < a };
            assert!((0.85..0.9995).contains(&a) && less, "{lot}, {limit}: {a}, {b}");
        }
    }
    assert!(look_up(20, Level::II, 0.65, Severity::Normal).unwrap().whole_lot);
    for refused in [
        look_up(1000, Level::II, 3.0, Severity::Normal),
        look_up(1, Level::II, 1.0, Severity::Normal),
        look_up(5, Level::II, 10.0, Severity::Normal),
    ] {
        assert!(refused.unwrap_err().to_string().len() > 30);
    }
}

/// Reduced plans are computed: for every entry of the table the sample is two rows smaller, a lot at the limit is accepted at least as surely as under
/// the normal plan, one fewer allowed would break that, and the buyer is protected less.
#[test]
fn reduced_plans_keep_what_the_good_supplier_had() {
    let mut seen = 0;
    for limit in LIMITS {
        for lot in [6, 12, 20, 40, 70, 120, 200, 400, 1000, 3000, 9000, 30_000, 100_000, 400_000, 600_000] {
            let Ok(normal) = look_up(lot, Level::II, limit, Severity::Normal) else { continue };
            let reduced = look_up(lot, Level::II, limit, Severity::Reduced).unwrap();
            assert_eq!(reduced.normal, Some(normal.plan));
            let (n, c) = (reduced.plan.sample_size, reduced.plan.acceptance_number);
            assert!(n <= normal.plan.sample_size && c <= normal.plan.acceptance_number, "{lot}, {limit}");
            let at = limit / 100.0;
            assert!(reduced.plan.accepted(at) >= normal.plan.accepted(at), "{lot}, {limit}: {n}, {c}");
            if c > 0 {
                let stricter = AttributesPlan { acceptance_number: c - 1, ..reduced.plan };
                assert!(stricter.accepted(at) < normal.plan.accepted(at), "{lot}, {limit}: {n}, {c}");
            }
            if n < normal.plan.sample_size {
                let tenth = |plan: &AttributesPlan| plan.quality_accepted_with(0.1).unwrap();
                assert!(tenth(&reduced.plan) >= tenth(&normal.plan), "{lot}, {limit}: {n}, {c}");
                seen += 1;
            }
        }
    }
    assert!(seen > 60, "{seen}");
}

#[test]
fn switching_over_a_history() {
    let lot = |accepted: bool| LotOutcome { accepted, accepted_stricter: Some(accepted) };
    // Ten good lots make a score of 30.
    let good = vec![lot(true); 10];
    let history = follow(&good, Reduced::Agreed);
    assert_eq!(history.next(), State::Inspect(Severity::Reduced));
    assert_eq!(history.scores[8], 27);
    // With acceptance numbers of 0 or 1 it takes fifteen.
    let zero = vec![LotOutcome { accepted: true, accepted_stricter: None }; 15];
    assert_eq!(follow(&zero[..14], Reduced::Agreed).next(), State::Inspect(Severity::Normal));
    assert_eq!(follow(&zero, Reduced::Agreed).next(), State::Inspect(Severity::Reduced));
    // A lot only just accepted sets the score back.
    let mut mixed = good.clone();
    mixed[8] = LotOutcome { accepted: true, accepted_stricter: Some(false) };
    assert_eq!(follow(&mixed, Reduced::Agreed).next(), State::Inspect(Severity::Normal));
    // Two refused with four between do not tighten; two of five do; five good ones loosen again.
    let refused = |places: &[usize], n: usize| (0..n).map(|i| lot(!places.contains(&i))).collect::<Vec<_>>();
    assert_eq!(follow(&refused(&[0, 5], 6), Reduced::Agreed).next(), State::Inspect(Severity::Normal));
    assert_eq!(follow(&refused(&[0, 4], 5), Reduced::Agreed).next(), State::Inspect(Severity::Tightened));
    assert_eq!(follow(&refused(&[0, 4], 10), Reduced::Agreed).next(), State::Inspect(Severity::Normal));
    // Five refused on tightened inspection stop it; later lots are not judged.
    let history = follow(&refused(&[0, 1, 2, 4, 6, 8, 10], 14), Reduced::Agreed);
    assert_eq!((history.next(), history.not_judged), (State::Discontinued, 3));
    // Without the buyer's consent the permission changes nothing.
    assert_eq!(follow(&good, Reduced::NotAgreed).next(), State::Inspect(Severity::Normal));
    let mut reduced = good;
    reduced.push(lot(false));
    assert_eq!(follow(&reduced, Reduced::Agreed).next(), State::Inspect(Severity::Normal));
}
