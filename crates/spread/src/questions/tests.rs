//! Checks against closed forms: an offset that is a sum of normals.
#![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

use crate::allocate::washers_for_tests as washers;
use crate::options::{Options, Silent};
use crate::stack::Cost;
use crate::{Source, analyse};
use packdrift_numerics::normal;

/// Three washers of tol 0.06, 0.03, 0.03 (sd = tol/3) and a stem of 0.02, limits ± 0.1 about the mean.
#[test]
fn a_sum_of_normals() {
    let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
    let stack = washers(&[0.06, 0.03, 0.03], &vec![cost; 3]);
    let result = analyse(&stack, &Options::default(), &Silent).unwrap();
    let out = |squares: f64| 2.0 * normal::sf(0.1 / (squares.sqrt() / 3.0));
    let all = 0.06_f64.powi(2) + 2.0 * 0.03_f64.powi(2) + 0.02_f64.powi(2);
    let total = result.requirements[0].spread.out.total;
    assert!((total / out(all) - 1.0).abs() < 1e-9, "{total} {}", out(all));
    let answer = result.questions.answers[0].iter().find(|a| a.source == Source::Input(0)).unwrap();
    let rest = all - 0.06_f64.powi(2);
    assert!((answer.out_if_perfect.unwrap() - out(rest)).abs() < 1e-9 * total);
    assert!((answer.share_outside_due_to.unwrap() - (out(all) - out(rest))).abs() < 1e-9 * total);
    // 2Φ(−0.1/sd) = 0.0027.
    let room = 9.0 * (0.1 / normal::upper_quantile(0.00135)).powi(2);
    let factor = ((room - rest) / 0.06_f64.powi(2)).sqrt();
    assert!((answer.may_open.unwrap() / factor - 1.0).abs() < 1e-5, "{answer:?} {factor}");
    assert!(answer.shift_to_centre.unwrap().abs() < 1e-9);
}

/// Off centre by 0.02: shifting any washer by −0.02 centres it, and the share outside becomes that of the centred sum. Alone, no washer
/// can be opened then; one must be tightened.
#[test]
fn off_centre() {
    let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
    let mut stack = washers(&[0.06, 0.06, 0.03], &vec![cost; 3]);
    stack.requirements[0].lower = Some(0.88);
    stack.requirements[0].upper = Some(1.08);
    let result = analyse(&stack, &Options::default(), &Silent).unwrap();
    let sd = (2.0 * 0.06_f64.powi(2) + 0.03_f64.powi(2) + 0.02_f64.powi(2)).sqrt() / 3.0;
    let answer = result.questions.answers[0].iter().find(|a| a.source == Source::Input(1)).unwrap();
    assert!((answer.shift_to_centre.unwrap() + 0.02).abs() < 1e-9, "{answer:?}");
    let centred = 2.0 * normal::sf(0.1 / sd);
    assert!((answer.out_if_shifted.unwrap() / centred - 1.0).abs() < 1e-6);
    assert!((answer.may_open.unwrap() < 1.0) == (result.requirements[0].spread.out.total > 0.0027));
    assert!(result.questions.changes.is_empty() && result.questions.together.is_empty());
}

/// One offset under two limits, 0.08 and 0.06 above its mean: whoever passes the first has passed the second, so at least one fails as often as
/// the second does.
#[test]
fn limits_one_behind_the_other_fail_together() {
    let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
    let mut stack = washers(&[0.06, 0.03, 0.03], &vec![cost; 3]);
    (stack.requirements[0].lower, stack.requirements[0].upper) = (None, Some(1.08));
    let mut nearer = stack.requirements[0].clone();
    (nearer.name, nearer.upper) = ("nearer".into(), Some(1.06));
    stack.requirements.push(nearer);
    let result = analyse(&stack, &Options::default(), &Silent).unwrap();
    let sd = (0.06_f64.powi(2) + 2.0 * 0.03_f64.powi(2) + 0.02_f64.powi(2)).sqrt() / 3.0;
    let pair = &result.questions.together[0];
    for (found, limit) in [(pair.both_out, 0.08), (pair.either_out, 0.06)] {
        let expected = normal::sf(limit / sd);
        assert!((found / expected - 1.0).abs() < 1e-4, "{found} for {expected}: {pair:?}");
    }
}
