//! What an analysis says beside its figures: joint shares, remarks, refusals. The offset is a sum of normals, so every share is known in closed form.
#![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::MethodChoice;
use crate::allocate::washers_for_tests;
use crate::distribution::Distribution;
use crate::options::Silent;
use crate::result::StackResult;
use crate::stack::{Cost, Requirement};
use packdrift_numerics::normal;
use packdrift_pack::Quantity;

/// Two washers of this tolerance and the stem's 0.02, within ± 0.1; and the share outside.
fn pack(tol: f64) -> (Stack, f64) {
    let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
    let sd = (2.0 * tol * tol + 0.02_f64.powi(2)).sqrt() / 3.0;
    (washers_for_tests(&[tol; 2], &vec![cost; 2]), 2.0 * normal::sf(0.1 / sd))
}

fn monte_carlo(trials: u64) -> Options {
    Options { method: MethodChoice::MonteCarlo, trials: Some(trials), ..Options::default() }
}

fn ask(stack: &Stack, options: &Options) -> StackResult {
    analyse(stack, options, &Silent).unwrap()
}

#[test]
fn one_requirement_alone_is_all_there_is() {
    let (stack, share) = pack(0.09);
    let result = ask(&stack, &Options::default());
    let (own, joint) = (result.requirements[0].spread.out, result.joint.unwrap());
    assert!((own.total / share - 1.0).abs() < 1e-9 && own.standard_error == 0.0, "{own:?} for {share}");
    assert!((joint.out.value, joint.ci95) == (own.total, own.ci95) && joint.sum == own.total, "{joint:?}");
}

#[test]
fn without_limits_there_is_nothing_to_fail() {
    let (mut stack, _) = pack(0.09);
    (stack.requirements[0].lower, stack.requirements[0].upper) = (None, None);
    let result = ask(&stack, &Options::default());
    assert!(result.joint.is_none() && result.acceptable() && result.warnings.is_empty(), "{:?}", result.warnings);
    assert!(result.requirements[0].target.is_none() && result.requirements[0].spread.out.total == 0.0);
}

/// The allowed share is the true one: however the sample falls, its interval should hold both, and the reader be told.
#[test]
fn a_verdict_that_could_fall_either_way_is_said() {
    let (mut stack, share) = pack(0.09);
    stack.requirements[0].max_out = share;
    let result = ask(&stack, &monte_carlo(20_000));
    let (low, high) = result.requirements[0].spread.out.ci95;
    assert!(low < share && share < high, "{low} {high} {share}");
    let uncertain = |w: &Warning| matches!(w, Warning::VerdictUncertain { max_out, .. } if *max_out == share);
    assert!(result.warnings.iter().any(uncertain), "{:?}", result.warnings);
    // Exact, there is no doubt.
    assert!(ask(&stack, &Options::default()).warnings.is_empty());
}

#[test]
fn few_trials_outside_are_said() {
    // So few that it is none or one of the trials, whatever the seed.
    let (mut stack, share) = pack(0.045);
    assert!(share < 2e-5);
    let result = ask(&stack, &monte_carlo(2_000));
    // None of 2 000 does not show 0.27 %, and one of them does not tell.
    let open = |w: &Warning| matches!(w, Warning::NotShown { .. } | Warning::VerdictUncertain { .. });
    assert!(result.warnings.iter().any(open), "{:?}", result.warnings);
    assert!(!result.acceptable());
    // Enough trials for the verdict, few outside.
    stack.requirements[0].max_out = 0.05;
    let result = ask(&stack, &monte_carlo(2_000));
    assert!(result.acceptable(), "{:?}", result.requirements[0].verdict);
}

/// `until` ends at the accuracy asked for; where the trials run out before, it says so.
#[test]
fn accuracy_is_reached_or_its_want_is_said() {
    let (stack, share) = pack(0.09);
    let until = Options { method: MethodChoice::MonteCarlo, until: Some(0.05), ..Options::default() };
    let reached = ask(&stack, &until);
    let out = reached.requirements[0].spread.out;
    assert!(out.standard_error <= 0.05 * out.total && (out.total - share).abs() < 4.5 * out.standard_error, "{out:?}");
    assert!(!reached.warnings.iter().any(|w| matches!(w, Warning::NotReached { .. })));
    let short = ask(&stack, &Options { until: Some(0.001), trials: Some(20_000), ..until });
    assert!(short.warnings.iter().any(|w| matches!(w, Warning::NotReached { .. })), "{:?}", short.warnings);
}

/// Squeezed by nothing at nominal, half the packs are loose: the preload is a half normal, whose standard deviation is √(1/2 − 1/(2π)) of the sum's, and which
/// first-order propagation cannot know.
#[test]
fn a_bent_law_is_said() {
    let (mut stack, _) = pack(0.09);
    let span = stack.pack.bays[0].span.0;
    stack.inputs[span].nominal += 10.0;
    stack.inputs[span].distribution = Distribution::Exact { value: stack.inputs[span].nominal };
    stack.requirements[0].quantity = Quantity::Preload { bay: 0 };
    (stack.requirements[0].lower, stack.requirements[0].upper) = (None, Some(5.0));
    let result = ask(&stack, &Options::default());
    let found = &result.requirements[0].spread;
    let expected = 20.0 * 0.03 * 2.0_f64.sqrt() * (0.5 - 0.5 / std::f64::consts::PI).sqrt();
    assert!((found.sd.unwrap() / expected - 1.0).abs() < 1e-3, "{:?} for {expected}", found.sd);
    assert!((found.loose - 0.5).abs() < 0.01, "{}", found.loose);
    assert!(result.warnings.iter().any(|w| matches!(w, Warning::Nonlinear { .. })), "{:?}", result.warnings);
}

#[test]
fn what_has_no_meaning_is_refused() {
    let (good, _) = pack(0.09);
    let refused = |stack: &Stack, options: Options| analyse(stack, &options, &Silent).unwrap_err();
    for options in [
        Options { trials: Some(0), ..Options::default() },
        Options { until: Some(0.0), ..Options::default() },
        Options { until: Some(1.0), ..Options::default() },
        Options { until: Some(f64::NAN), ..Options::default() },
    ] {
        assert!(matches!(refused(&good, options), SpreadError::Value { .. }), "{options:?}");
    }
    let both = Options { until: Some(0.1), digits: Some(2), ..Options::default() };
    assert!(matches!(refused(&good, both), SpreadError::UnusedOption { .. }));
    let wrong = |change: &dyn Fn(&mut Requirement)| {
        let mut stack = good.clone();
        change(&mut stack.requirements[0]);
        refused(&stack, Options::default())
    };
    for error in [
        wrong(&|r| r.lower = Some(1.2)),
        wrong(&|r| r.upper = Some(f64::NAN)),
        wrong(&|r| r.target = Some(f64::INFINITY)),
        wrong(&|r| r.max_out = 1.5),
        wrong(&|r| r.max_out = f64::NAN),
    ] {
        assert!(matches!(&error, SpreadError::Value { what, .. } if what.contains("offset")), "{error}");
    }
}
