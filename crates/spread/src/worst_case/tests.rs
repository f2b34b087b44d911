//! Worst cases of whole packs against sums by hand: linear stacks, lots, loose bays, bays that cannot be assembled.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot build its input should stop")]

use crate::allocate::washers_for_tests;
use crate::distribution::Distribution;
use crate::options::{Options, Silent};
use crate::result::WorstCase;
use crate::stack::{Cost, Input, Lot, Requirement, Stack};
use crate::{Warning, analyse};
use packdrift_pack::{Dimension, DimensionId, PartKind, Quantity, SpringLaw};

/// Tolerances of the washers; they and the stem's 0.02 make the offset of 1.0.
const TOLS: [f64; 3] = [0.06, 0.03, 0.03];
const ALL: f64 = 0.12;
const STEM: f64 = 0.02;
/// Of the linear spring, N/mm.
const RATE: f64 = 20.0;

/// The three washers, with a preload beside the offset. The parts are `longer` than the span by that much at nominal.
fn pack(longer: f64) -> Stack {
    let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
    let mut stack = washers_for_tests(&TOLS, &vec![cost; 3]);
    // As built the parts are 10 mm longer than the span.
    let span = stack.pack.bays[0].span.0;
    let width = stack.inputs[span].nominal + 10.0 - longer;
    stack.inputs[span].nominal = width;
    stack.inputs[span].distribution = Distribution::Exact { value: width };
    stack.requirements.push(Requirement {
        name: "preload".into(),
        quantity: Quantity::Preload { bay: 0 },
        lower: Some(0.0),
        upper: Some(1000.0),
        ..stack.requirements[0].clone()
    });
    stack
}

/// The spring goes solid after `stroke`.
fn solid_after(stack: &mut Stack, stroke: f64) {
    let id = stack.pack.dimensions.len();
    stack.pack.dimensions.push(Dimension { path: "bay/spring/solid_height".into(), unit: "mm" });
    let nominal = 20.0 - stroke;
    let distribution = Distribution::Exact { value: nominal };
    stack.inputs.push(Input { nominal, limits: None, distribution, lot: None, cost: None });
    for part in &mut stack.pack.bays[0].parts {
        if let PartKind::Spring(spring) = &mut part.kind
            && let SpringLaw::Linear { solid_height, .. } = &mut spring.law
        {
            *solid_height = Some(DimensionId(id));
        }
    }
}

/// Of the offset and the preload.
fn worst(stack: &Stack) -> (WorstCase, WorstCase) {
    let result = analyse(stack, &Options::default(), &Silent).unwrap();
    (result.requirements[0].worst_case.clone(), result.requirements[1].worst_case.clone())
}

fn spans(what: &str, found: &WorstCase, min: f64, max: f64) {
    for (found, expected) in [(found.min, min), (found.max, max)] {
        let found = found.unwrap_or_else(|| panic!("{what} has no worst case"));
        assert!((found - expected).abs() < 1e-9 * expected.abs().max(1.0), "{what}: {found} for {expected}");
    }
}

#[test]
fn tolerances_add_up() {
    let (offset, preload) = worst(&pack(1.0));
    spans("offset", &offset, 1.0 - ALL - STEM, 1.0 + ALL + STEM);
    spans("preload", &preload, RATE * (1.0 - ALL), RATE * (1.0 + ALL));
    assert!(!offset.loose && !offset.cannot_assemble && !preload.loose && !preload.cannot_assemble);
    // Where it happens: the first washer at its limits.
    assert!((offset.at_min[0] - 1.94).abs() < 1e-9 && (offset.at_max[0] - 2.06).abs() < 1e-9);
}

/// A packet's members deviate together, by its bias and three standard deviations of its means.
#[test]
fn packets_deviate_as_one() {
    let mut stack = pack(1.0);
    stack.lots.push(Lot { name: "packet".into(), bias: 0.01, between: 0.005 });
    (stack.inputs[0].lot, stack.inputs[1].lot) = (Some(0), Some(0));
    let (offset, preload) = worst(&stack);
    let (shift, more) = (2.0 * 0.01, 2.0 * 3.0 * 0.005);
    spans("offset", &offset, 1.0 + shift - ALL - STEM - more, 1.0 + shift + ALL + STEM + more);
    spans("preload", &preload, RATE * (1.0 + shift - ALL - more), RATE * (1.0 + shift + ALL + more));
}

/// Without drawing limits: mean ± 3 standard deviations, but not beyond what the distribution allows.
#[test]
fn without_limits_three_standard_deviations() {
    let mut stack = pack(1.0);
    stack.inputs[0].limits = None;
    stack.inputs[0].distribution = Distribution::Normal { mean: 2.01, sd: 0.02 };
    stack.inputs[1].limits = None;
    stack.inputs[1].distribution = Distribution::Rectangular { lower: 1.97, upper: 2.03 };
    let (offset, _) = worst(&stack);
    spans("offset", &offset, 1.0 + 0.01 - 0.06 - 0.03 - 0.03 - STEM, 1.0 + 0.01 + 0.06 + 0.03 + 0.03 + STEM);
}

/// Always loose, by 0.5 at nominal: the rocker lies between its parts pushed left, and pushed right until the play is used up; there the washers
/// on its left do not matter.
#[test]
fn a_loose_bay_is_a_range() {
    let (offset, preload) = worst(&pack(-0.5));
    spans("offset", &offset, 1.0 - ALL - STEM, 1.0 + 0.5 + STEM);
    spans("preload", &preload, 0.0, 0.0);
    assert!(offset.loose && preload.loose && !offset.cannot_assemble);
}

/// Squeezed at nominal by 0.05, loose where the washers are thin: the preload ends at 0, not below.
#[test]
fn a_bay_that_may_come_loose() {
    let (offset, preload) = worst(&pack(0.05));
    spans("offset", &offset, 1.0 - ALL - STEM, 1.0 + ALL + STEM);
    spans("preload", &preload, 0.0, RATE * (0.05 + ALL));
    assert!(offset.loose && !offset.cannot_assemble);
}

/// The spring is solid 0.05 above the nominal squeeze: thick washers do not go in. Among packs that can be assembled the washers together are at most
/// 0.05 over, and the preload is at most that of the spring just solid.
#[test]
fn part_of_the_packs_cannot_be_assembled() {
    let mut stack = pack(1.0);
    solid_after(&mut stack, 1.05);
    let (offset, preload) = worst(&stack);
    spans("offset", &offset, 1.0 - ALL - STEM, 1.0 + 0.05 + STEM);
    spans("preload", &preload, RATE * (1.0 - ALL), RATE * 1.05);
    assert!(offset.cannot_assemble && preload.cannot_assemble && !offset.loose);
}

/// No pack goes together: there is no value to be worst, every trial is outside, and the reader is told.
#[test]
fn none_can_be_assembled() {
    let mut stack = pack(1.0);
    solid_after(&mut stack, 0.5);
    let result = analyse(&stack, &Options::default(), &Silent).unwrap();
    for r in &result.requirements {
        let worst = &r.worst_case;
        assert!(worst.min.is_none() && worst.max.is_none() && worst.cannot_assemble, "{worst:?}");
        assert!(r.nominal.is_none() && r.spread.mean.is_none() && r.spread.quantiles.is_empty());
        assert!((r.spread.out.total, r.spread.cannot_assemble) == (1.0, 1.0) && !r.acceptable, "{:?}", r.spread);
    }
    let told = |w: &Warning| matches!(w, Warning::CannotAssemble { share, .. } if *share == 1.0);
    assert_eq!(result.warnings.iter().filter(|w| told(w)).count(), 1, "{:?}", result.warnings);
    assert!((result.joint.unwrap().out.value - 1.0).abs() < 1e-12);
}
