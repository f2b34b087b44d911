//! Thirty made packs beside the best of twenty starts of scipy's SLSQP (`tests/outside/allocation.py`), and ceilings one after the other.
//!
//! Two rockers on one shaft: washers A left of the first, B between them, C beside the spring. Offsets depend on A and on A + B, the preload on
//! A + B + C. In turn one to three of them have requirements, on one side or both; 2 to 8 washers have a cost a + b/tol^k.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::options::Silent;
use crate::reference::{self, number};
use crate::stack::{Correlation, Input, Requirement};
use packdrift_pack::{
    Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw, SpringWasher, Valve,
};
use serde_json::Value;

/// N/mm of the spring: a preload is held to the limits of the sum times this.
const RATE: f64 = 20.0;
/// Tolerance of the stems and of one washer beside the spring, which have no cost.
const FIXED: f64 = 0.02;

/// A pack being put together.
struct Bench {
    dimensions: Vec<Dimension>,
    inputs: Vec<Input>,
}

impl Bench {
    fn add(&mut self, path: String, nominal: f64, tol: f64, kind: &str, cost: Option<Cost>) -> DimensionId {
        let unit = if path.ends_with("/rate") { "N/mm" } else { "mm" };
        self.dimensions.push(Dimension { path, unit });
        let (lower, upper) = (nominal - tol, nominal + tol);
        let distribution = match kind {
            "exact" => Distribution::Exact { value: nominal },
            "normal" => Distribution::Normal { mean: nominal, sd: tol / 3.0 },
            "rectangular" => Distribution::Rectangular { lower, upper },
            "triangular" => Distribution::Triangular { lower, upper },
            other => panic!("no such kind: {other}"),
        };
        let limits = (kind != "exact").then_some(DrawnLimits { lower, upper });
        self.inputs.push(Input { nominal, limits, distribution, lot: None, cost });
        DimensionId(self.dimensions.len() - 1)
    }

    fn exact(&mut self, path: &str, nominal: f64) -> DimensionId {
        self.add(path.into(), nominal, 0.0, "exact", None)
    }

    fn washer(&mut self, name: String, tol: f64, kind: &str, cost: Option<Cost>) -> Part {
        let thickness = self.add(format!("bay/{name}/thickness"), 2.0, tol, kind, cost);
        Part { name, kind: PartKind::Solid { kind: SolidKind::Washer, thickness, bedding: None }, expansion: 0.0 }
    }
}

/// A case of the reference as a pack.
fn stack_of(case: &Value) -> Stack {
    let mut bench = Bench { dimensions: Vec::new(), inputs: Vec::new() };
    let (mut parts, mut valves, mut so_far) = (Vec::new(), Vec::new(), 0.0);
    let mut priced: Vec<Vec<usize>> = vec![Vec::new(); 3];
    for (g, group) in case["groups"].as_array().unwrap().iter().enumerate() {
        for (k, d) in group.as_array().unwrap().iter().enumerate() {
            let get = |key: &str| number(&d[key]);
            let cost = Cost::Power { fixed: get("fixed"), scale: get("scale"), exponent: get("exponent") };
            priced[g].push(bench.dimensions.len());
            parts.push(bench.washer(format!("washer {g} {k}"), get("tol"), d["kind"].as_str().unwrap(), Some(cost)));
            so_far += 2.0;
        }
        if g < 2 {
            let width = bench.exact(&format!("bay/rocker {g}/width"), 24.0);
            let adjuster = bench.exact(&format!("bay/rocker {g}/adjuster"), 11.0);
            let stem = bench.add(format!("bay/valve {g}/stem"), so_far + 10.0, FIXED, "normal", None);
            valves.push(Valve { name: format!("valve {g}"), rocker: parts.len(), stem, contact: None });
            let kind = PartKind::Rocker { width, adjuster };
            parts.push(Part { name: format!("rocker {g}"), kind, expansion: 0.0 });
            so_far += 24.0;
        }
    }
    parts.push(bench.washer("fixed washer".into(), FIXED, "normal", None));
    let (rate, free_height) = (bench.exact("bay/spring/rate", RATE), bench.exact("bay/spring/free_height", 20.0));
    let kind = PartKind::Spring(SpringWasher {
        law: SpringLaw::Linear { rate, free_height, solid_height: None },
        friction: None,
        set: None,
    });
    parts.push(Part { name: "spring".into(), kind, expansion: 0.0 });
    let span = bench.exact("bay/span", so_far + 2.0 + 10.0);
    let bay = Bay { name: "bay".into(), span, expansion: 0.0, parts, valves };
    Stack {
        pack: Pack {
            title: "made".into(),
            reference_temperature: 20.0,
            conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
            bays: vec![bay],
            dimensions: bench.dimensions,
        },
        inputs: bench.inputs,
        lots: Vec::new(),
        correlations: ties(case, &priced),
        requirements: requirements(case),
    }
}

/// The two washers that a case ties, if it does.
fn ties(case: &Value, priced: &[Vec<usize>]) -> Vec<Correlation> {
    let Some(pair) = case["tied"].as_array() else { return Vec::new() };
    let of = |place: &Value| priced[place[0].as_u64().unwrap() as usize][place[1].as_u64().unwrap() as usize];
    vec![Correlation { between: (of(&pair[0]), of(&pair[1])), coefficient: number(&case["rho"]) }]
}

fn requirements(case: &Value) -> Vec<Requirement> {
    let of = |(name, pair): (&String, &Value)| {
        let (quantity, target, unit) = match name.as_str() {
            "offset 1" => (Quantity::Offset { bay: 0, valve: 0 }, 1.0, 1.0),
            "offset 2" => (Quantity::Offset { bay: 0, valve: 1 }, 1.0, 1.0),
            "sum" => (Quantity::Preload { bay: 0 }, 10.0 * RATE, RATE),
            other => panic!("no such requirement: {other}"),
        };
        let limit = |at: usize| pair[at].as_f64().map(|deviation| target + unit * deviation);
        let max_out = number(&case["ceiling"]);
        let (lower, upper) = (limit(0), limit(1));
        Requirement { name: name.clone(), quantity, condition: 0, lower, upper, target: None, max_out }
    };
    case["limits"].as_object().unwrap().iter().map(of).collect()
}

/// Within 1 % of the best of twenty starts, never dearer, the ceiling kept, and the search at rest. The cost of half a percent of the ceiling, which
/// simulation may leave unused, is less than half a percent. All with `PACKDRIFT_ALLOCATION=whole`; every fifth by default.
#[test]
fn made_packs_cost_within_one_percent_of_the_best_of_twenty_starts() {
    let whole = std::env::var("PACKDRIFT_ALLOCATION").is_ok_and(|v| v == "whole");
    hold("made", 30, &|k| whole || k % 5 == 2 || k == 3);
}

/// The same for washers tied by a correlation, flat, triangular or one of them normal; all with `PACKDRIFT_ALLOCATION=whole`, two by default.
#[test]
fn packs_with_tied_washers_cost_within_one_percent_of_the_best_of_twenty_starts() {
    let whole = std::env::var("PACKDRIFT_ALLOCATION").is_ok_and(|v| v == "whole");
    hold("tied", 6, &|k| whole || k < 2);
}

fn hold(kind: &str, count: usize, wanted: &dyn Fn(usize) -> bool) {
    let cases = reference::values("allocation");
    let cases = cases[kind].as_array().unwrap();
    assert_eq!(cases.len(), count);
    let mut wrong = Vec::new();
    for (number_of, case) in cases.iter().enumerate().filter(|(k, _)| wanted(*k)) {
        let ceiling = number(&case["ceiling"]);
        let found = allocate(&stack_of(case), &AllocateOptions::default(), &Silent);
        let found = found.unwrap_or_else(|error| panic!("{kind} {number_of}: {error}"));
        let ratio = found.cost / number(&case["cost"]);
        let settled = matches!(found.optimum, Optimum::Kkt { residual } if residual.is_finite());
        if !((0.9995..1.01).contains(&ratio) && settled && found.acceptable() && found.bound <= ceiling * (1.0 + 1e-9))
        {
            wrong.push(format!(
                "{kind} {number_of}: {} of {}, {ratio:.5}; {:?}, bound {} of {ceiling}, {} rounds",
                found.cost, case["cost"], found.optimum, found.bound, found.rounds
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A laxer ceiling never costs more.
#[test]
fn laxer_ceilings_cost_no_more() {
    let cases = reference::values("allocation");
    for (kind, number_of) in [("made", 2), ("made", 23), ("tied", 0)] {
        let stack = stack_of(&cases[kind][number_of]);
        let mut last = f64::INFINITY;
        for ceiling in [0.0005, 0.001, 0.0015, 0.002, 0.004, 0.007, 0.01] {
            let options = AllocateOptions { max_out: Some(ceiling), ..AllocateOptions::default() };
            let found = allocate(&stack, &options, &Silent).unwrap();
            assert!(
                found.acceptable() && found.cost <= last,
                "{kind} {number_of}, {ceiling}: {} after {last}",
                found.cost
            );
            last = found.cost;
        }
    }
}
