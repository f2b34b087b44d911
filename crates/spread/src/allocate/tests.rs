//! Checks against the closed form of root-sum-square with reciprocal cost, scipy's optimiser, and exhaustion; `tests/outside/allocation.py` freezes
//! the last two in `tests/reference/allocation.json`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::options::Silent;
use crate::reference::{self, number, numbers};
use crate::stack::{Input, Requirement};
use packdrift_numerics::normal;
use packdrift_pack::{
    Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw, SpringWasher, Valve,
};

/// A bay whose offset is the sum of `tols.len()` washers before the rocker, less a fixed rest: mean 1.0 within 0.9 … 1.1, each washer N with
/// sd = tol/3, and the stem with a tolerance of 0.02 that is fixed.
pub(crate) fn washers(tols: &[f64], costs: &[Cost]) -> Stack {
    let mut dimensions = Vec::new();
    let mut inputs = Vec::new();
    let mut add = |path: String, nominal: f64, tol: f64, cost: Option<Cost>| {
        let unit = if path.ends_with("/rate") { "N/mm" } else { "mm" };
        dimensions.push(Dimension { path, unit });
        let distribution = if tol > 0.0 {
            Distribution::Normal { mean: nominal, sd: tol / 3.0 }
        } else {
            Distribution::Exact { value: nominal }
        };
        let limits = (tol > 0.0).then_some(DrawnLimits { lower: nominal - tol, upper: nominal + tol });
        inputs.push(Input { nominal, limits, distribution, lot: None, cost });
        DimensionId(dimensions.len() - 1)
    };
    let mut parts: Vec<Part> = tols
        .iter()
        .zip(costs)
        .enumerate()
        .map(|(k, (tol, cost))| Part {
            name: format!("washer {k}"),
            kind: PartKind::Solid {
                kind: SolidKind::Washer,
                thickness: add(format!("bay/washer {k}/thickness"), 2.0, *tol, Some(cost.clone())),
                bedding: None,
            },
            expansion: 0.0,
        })
        .collect();
    let washers = 2.0 * tols.len() as f64;
    let rocker = parts.len();
    let width = add("bay/rocker/width".into(), 24.0, 0.0, None);
    let adjuster = add("bay/rocker/adjuster".into(), 11.0, 0.0, None);
    parts.push(Part { name: "rocker".into(), kind: PartKind::Rocker { width, adjuster }, expansion: 0.0 });
    let rate = add("bay/spring/rate".into(), 20.0, 0.0, None);
    let free_height = add("bay/spring/free_height".into(), 20.0, 0.0, None);
    let law = SpringLaw::Linear { rate, free_height, solid_height: None };
    let kind = PartKind::Spring(SpringWasher { law, friction: None, set: None });
    parts.push(Part { name: "spring".into(), kind, expansion: 0.0 });
    let span = add("bay/span".into(), washers + 24.0 + 10.0, 0.0, None);
    let stem = add("bay/valve/stem".into(), washers + 10.0, 0.02, None);
    let valve = Valve { name: "valve".into(), rocker, stem, contact: None };
    let bay = Bay { name: "bay".into(), span, expansion: 0.0, parts, valves: vec![valve] };
    let requirement = Requirement {
        name: "offset".into(),
        quantity: Quantity::Offset { bay: 0, valve: 0 },
        condition: 0,
        lower: Some(0.9),
        upper: Some(1.1),
        target: None,
        max_out: 0.0027,
    };
    Stack {
        pack: Pack {
            title: "washers".into(),
            reference_temperature: 20.0,
            conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
            bays: vec![bay],
            dimensions,
        },
        inputs,
        lots: Vec::new(),
        correlations: Vec::new(),
        requirements: vec![requirement],
    }
}

fn power(scale: f64, exponent: f64) -> Cost {
    Cost::Power { fixed: 0.1, scale, exponent }
}

/// The variance at which the share outside is 0.0027: limits at ± 0.1 about the mean.
fn variance() -> f64 {
    (0.1 / normal::upper_quantile(0.00135)).powi(2)
}

/// Reciprocal cost b/tol under Σ(tol/3)² = V: tol ∝ b^⅓ (all sensitivities 1), closed form by Lagrange.
#[test]
fn reciprocal_cost_under_root_sum_square() {
    let b = [1.0, 8.0, 0.5];
    let stack = washers(&[0.1; 3], &b.map(|b| power(b, 1.0)));
    let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
    let room = 9.0 * variance() - 0.02_f64.powi(2);
    let unit = (room / b.iter().map(|b| b.powf(2.0 / 3.0)).sum::<f64>()).sqrt();
    // scipy's optimiser does not know the closed form.
    let scipy = numbers(&reference::values("allocation")["reciprocal"]["tol"]);
    for ((d, b), scipy) in found.dimensions.iter().zip(b).zip(scipy) {
        assert!((d.tol / (unit * b.cbrt()) - 1.0).abs() < 1e-4, "{d:?} {}", unit * b.cbrt());
        assert!((d.tol / scipy - 1.0).abs() < 1e-3, "{d:?} {scipy}");
    }
    assert!((found.out.value / 0.0027 - 1.0).abs() < 1e-4, "{:?}", found.out);
    assert!(matches!(found.optimum, Optimum::Kkt { residual } if residual < 1e-3), "{:?}", found.optimum);
    let cost: f64 = b.iter().zip(&found.dimensions).map(|(b, d)| 0.1 + b / d.tol).sum();
    assert!((found.cost - cost).abs() < 1e-9 && found.acceptable());
    assert!((found.cost_now.unwrap() - (0.3 + 9.5 / 0.1)).abs() < 1e-9);
}

/// Other exponents, centred and off centre: scipy's SLSQP over ln tol.
#[test]
fn other_exponents_as_scipy_finds_them() {
    let cases = reference::values("allocation");
    for (name, lower, upper, max_out) in [("powers", 0.9, 1.1, 0.0027), ("off centre", 0.92, 1.12, 0.01)] {
        let case = &cases[name];
        let costs: Vec<Cost> = numbers(&case["scale"])
            .into_iter()
            .zip(numbers(&case["exponent"]))
            .map(|(scale, exponent)| power(scale, exponent))
            .collect();
        let mut stack = washers(&[0.05; 4], &costs);
        stack.requirements[0].lower = Some(lower);
        stack.requirements[0].upper = Some(upper);
        stack.requirements[0].max_out = max_out;
        let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
        for (d, expected) in found.dimensions.iter().zip(numbers(&case["tol"])) {
            assert!((d.tol / expected - 1.0).abs() < 1e-3, "{name}: {d:?} {expected}");
        }
        let expected = number(&case["cost"]);
        assert!(((found.cost - 0.4) / expected - 1.0).abs() < 1e-4, "{name}: {} {expected}", found.cost);
    }
}

/// Every choice of grades, one by one.
#[test]
fn grades_against_exhaustion() {
    let case = &reference::values("allocation")["grades"];
    let costs: Vec<Cost> = case["grades"]
        .as_array()
        .unwrap()
        .iter()
        .map(|grades| {
            let grades = grades.as_array().unwrap().iter().map(numbers);
            Cost::Grades(grades.map(|grade| (grade[0], grade[1])).collect())
        })
        .collect();
    let stack = washers(&[0.06; 5], &costs);
    let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
    assert!(matches!(found.optimum, Optimum::Proven { .. }), "{:?}", found.optimum);
    let least = number(&case["cost"]);
    assert!((found.cost - least).abs() < 1e-9, "{} but exhaustion finds {least}", found.cost);
    assert!(found.out.value <= 0.0027 && found.dimensions.iter().all(|d| d.grade.is_some()));
}

/// Grades and a + b/tol^k together: of the choices, the best continuous rest, by the closed form (one variable: what room is left).
#[test]
fn grades_and_formulas_together() {
    let grades = |a: f64| Cost::Grades(vec![(0.03, 8.0 * a), (0.05, 5.0 * a), (0.08, 3.0 * a)]);
    let costs = [grades(1.0), grades(1.7), power(0.2, 1.0)];
    let stack = washers(&[0.05; 3], &costs);
    let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
    let mut least = f64::INFINITY;
    for a in [(0.03, 8.0), (0.05, 5.0), (0.08, 3.0)] {
        for b in [(0.03, 13.6), (0.05, 8.5), (0.08, 5.1)] {
            let room = 9.0 * variance() - 0.02_f64.powi(2) - f64::powi(a.0, 2) - f64::powi(b.0, 2);
            if room > 0.0 {
                least = least.min(a.1 + b.1 + 0.1 + 0.2 / room.sqrt());
            }
        }
    }
    assert!((found.cost / least - 1.0).abs() < 1e-4, "{} {least}", found.cost);
    assert!(matches!(found.optimum, Optimum::Proven { .. }));
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
    let stack = washers(&[0.05], &[power(1.0, 1.0)]);
    let stopped = allocate(&stack, &AllocateOptions::default(), &Stop);
    assert_eq!(stopped, Err(AllocateError::Spread(SpreadError::Cancelled)));
}

#[test]
fn what_cannot_be_done_is_said() {
    let options = AllocateOptions::default();
    let none = washers(&[0.05], &[power(1.0, 1.0)]);
    let mut no_cost = none.clone();
    no_cost.inputs[0].cost = None;
    assert_eq!(allocate(&no_cost, &options, &Silent), Err(AllocateError::NoCosts));
    let mut no_limits = none.clone();
    no_limits.requirements[0].lower = None;
    no_limits.requirements[0].upper = None;
    assert_eq!(allocate(&no_limits, &options, &Silent), Err(AllocateError::NoLimits));
    let mut off = none.clone();
    off.requirements[0].upper = Some(1.0);
    assert!(matches!(allocate(&off, &options, &Silent), Err(AllocateError::OutOfReach { .. })));
    let bad = AllocateOptions { max_out: Some(1.5), ..options };
    assert_eq!(allocate(&none, &bad, &Silent), Err(AllocateError::Ceiling { value: 1.5 }));
    let wrong = washers(&[0.05], &[power(0.0, 1.0)]);
    assert!(matches!(allocate(&wrong, &options, &Silent), Err(AllocateError::Cost { .. })));
}

/// Dearer and no tighter grades are never looked at.
#[test]
fn grades_worth_having() {
    let kept = worth_having(&[(0.1, 1.0), (0.05, 3.0), (0.05, 2.0), (0.02, 2.0), (0.2, 1.0)]);
    // 0.2 costs what the tighter 0.1 costs, 0.05 what the tighter 0.02 costs.
    assert_eq!(kept, [(0.02, 2.0), (0.1, 1.0)]);
}

/// Two bays like [`washers`], each with an offset and a preload to keep, nothing in common.
fn two_bays(tols: &[f64], costs: &[Cost]) -> Stack {
    let mut stack = washers(tols, costs);
    let rate = 20.0;
    let preload = Requirement {
        name: "preload".into(),
        quantity: Quantity::Preload { bay: 0 },
        // The spring is squeezed by 10 mm at nominal, and by the washers' scatter.
        lower: Some(rate * 9.9),
        upper: Some(rate * 10.11),
        ..stack.requirements[0].clone()
    };
    stack.requirements.push(preload);
    let n = stack.pack.dimensions.len();
    let moved = |id: &DimensionId| DimensionId(id.0 + n);
    let mut bay = stack.pack.bays[0].clone();
    bay.name = "second".into();
    bay.span = moved(&bay.span);
    for part in &mut bay.parts {
        part.kind = match &part.kind {
            PartKind::Solid { kind, thickness, bedding } => {
                PartKind::Solid { kind: *kind, thickness: moved(thickness), bedding: bedding.as_ref().map(moved) }
            }
            PartKind::Rocker { width, adjuster } => PartKind::Rocker { width: moved(width), adjuster: moved(adjuster) },
            PartKind::Spring(washer) => {
                let SpringLaw::Linear { rate, free_height, .. } = &washer.law else { continue };
                let law = SpringLaw::Linear { rate: moved(rate), free_height: moved(free_height), solid_height: None };
                PartKind::Spring(SpringWasher { law, friction: None, set: None })
            }
        };
    }
    bay.valves[0].name = "second".into();
    bay.valves[0].stem = moved(&bay.valves[0].stem);
    stack.pack.bays.push(bay);
    let second: Vec<Dimension> =
        stack.pack.dimensions.iter().map(|d| Dimension { path: format!("second {}", d.path), unit: d.unit }).collect();
    stack.pack.dimensions.extend(second);
    stack.inputs.extend(stack.inputs.clone());
    let of_second: Vec<Requirement> = stack
        .requirements
        .iter()
        .map(|r| Requirement {
            name: format!("second {}", r.name),
            quantity: match r.quantity {
                Quantity::Offset { .. } => Quantity::Offset { bay: 1, valve: 0 },
                _ => Quantity::Preload { bay: 1 },
            },
            ..r.clone()
        })
        .collect();
    stack.requirements.extend(of_second);
    stack
}

/// Every choice of grades of two bays, one by one: each with its formulas at their best, as a pack that has but those grades.
#[test]
fn two_bays_against_exhaustion() {
    let tables = [vec![(0.02, 9.0), (0.05, 4.0), (0.09, 1.5)], vec![(0.03, 6.0), (0.07, 2.0)]];
    let formula = power(0.2, 1.0);
    let [first, second] = tables.clone().map(Cost::Grades);
    let stack = two_bays(&[0.05; 3], &[first, second, formula]);
    let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
    let of_bay: Vec<[(f64, f64); 2]> = tables[0].iter().flat_map(|a| tables[1].iter().map(|b| [*a, *b])).collect();
    let mut least = f64::INFINITY;
    for (k, one) in of_bay.iter().enumerate() {
        // The bays are alike: a choice and its mirror image cost the same.
        for other in &of_bay[k..] {
            let mut alone = stack.clone();
            let half = stack.inputs.len() / 2;
            for (input, grade) in [(0, one[0]), (1, one[1]), (half, other[0]), (half + 1, other[1])] {
                alone.inputs[input].cost = Some(Cost::Grades(vec![grade]));
            }
            if let Ok(best) = allocate(&alone, &AllocateOptions::default(), &Silent) {
                least = least.min(best.cost);
            }
        }
    }
    assert!((found.cost / least - 1.0).abs() < 2e-3, "{} but exhaustion finds {least}", found.cost);
    assert!(matches!(found.optimum, Optimum::Proven { .. }), "{:?}", found.optimum);
    // What the bays need one by one is below every choice, and not far: they share the ceiling out.
    let options = AllocateOptions::default();
    let bays = by_bay::at_least(&stack, &items(&stack).unwrap(), &options, found.ceiling, &Silent).unwrap().unwrap();
    assert!(bays <= least * (1.0 + 1e-3) && bays > 0.85 * least, "{bays} of {least}");
}

/// What bays need one by one is less than the cost: what is left is the sharing out of the ceiling; one bay, or a priced dimension that two
/// share, is no case for it.
#[test]
fn bays_one_by_one() {
    let tables = [(0.02, 9.0), (0.05, 4.0), (0.09, 1.5)];
    let costs = [Cost::Grades(tables.to_vec()), Cost::Grades(tables.to_vec()), power(0.2, 1.0)];
    let mut stack = two_bays(&[0.05; 3], &costs);
    let options = AllocateOptions::default();
    let apart = allocate(&stack, &options, &Silent).unwrap();
    let bound =
        |stack: &Stack| by_bay::at_least(stack, &items(stack).unwrap(), &options, apart.ceiling, &Silent).unwrap();
    let one = bound(&stack).unwrap();
    assert!(one < apart.cost, "sharing the ceiling out costs something: {one} {}", apart.cost);
    // One bay with limits: nothing to add up.
    let of_both = stack.requirements.clone();
    stack.requirements.retain(|r| r.quantity.bay() == 0);
    assert_eq!(bound(&stack), None);
    stack.requirements = of_both;
    let shared = stack.pack.bays[0].span;
    stack.pack.bays[1].span = shared;
    stack.inputs[shared.0] = stack.inputs[0].clone();
    assert_eq!(bound(&stack), None);
}

/// Eight tables beside ten formulas: as much as a shaft of two bays has. It ends soon; without a proof it says how much less a choice could cost.
#[test]
fn eight_tables_and_ten_formulas() {
    let table = |a: f64| Cost::Grades(vec![(0.006, 2.2 * a), (0.015, 0.9 * a), (0.03, 0.4 * a)]);
    let mut costs = vec![table(1.0), table(1.3), table(2.0), table(0.8)];
    costs.extend([0.3, 0.12, 0.2, 0.25, 0.1].map(|b| power(b, 1.0)));
    let stack = two_bays(&[0.03; 9], &costs);
    let found = allocate(&stack, &AllocateOptions::default(), &Silent).unwrap();
    match found.optimum {
        Optimum::Proven { .. } => {}
        Optimum::Best { at_least, .. } => {
            assert!(at_least <= found.cost && at_least > 0.95 * found.cost, "{at_least} of {}", found.cost);
        }
        Optimum::Kkt { .. } => panic!("there are grades"),
    }
    assert!(found.acceptable());
}
