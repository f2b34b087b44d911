//! What is asked, looked at before anything is computed.

use crate::error::SpreadError;
use crate::options::Options;
use crate::stack::{Requirement, Stack};

/// The options, the pack at its nominal dimensions, and every requirement.
pub(super) fn check(stack: &Stack, options: &Options) -> Result<(), SpreadError> {
    check_options(options)?;
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    if let Some(mistake) = stack.pack.validate(&nominals).into_iter().next() {
        return Err(mistake.into());
    }
    check_requirements(stack)
}

/// Limits, targets and shares that mean something.
pub(crate) fn check_requirements(stack: &Stack) -> Result<(), SpreadError> {
    stack.requirements.iter().try_for_each(check_requirement)
}

fn check_options(options: &Options) -> Result<(), SpreadError> {
    let value = |what: &str, value: f64, expected| Err(SpreadError::Value { what: what.to_owned(), value, expected });
    if options.trials == Some(0) {
        return value("the number of trials", 0.0, "it must be at least 1");
    }
    if let Some(until) = options.until
        && !(until > 0.0 && until < 1.0)
    {
        return value("the relative standard error asked for", until, "it must lie between 0 and 1");
    }
    if options.until.is_some() && options.digits.is_some() {
        let (option, with) = ("digits", "until");
        let advice = "ask for digits of the standard deviation or for an accuracy of the share outside, not both";
        return Err(SpreadError::UnusedOption { option, with, advice });
    }
    Ok(())
}

fn check_requirement(requirement: &Requirement) -> Result<(), SpreadError> {
    let Requirement { name, lower, upper, target, max_out, .. } = requirement;
    for (what, value) in [("lower limit", lower), ("upper limit", upper), ("target", target)] {
        if let Some(value) = value
            && !value.is_finite()
        {
            let what = format!("{name}: the {what}");
            return Err(SpreadError::Value { what, value: *value, expected: "it must be a finite number" });
        }
    }
    if let (Some(lower), Some(upper)) = (lower, upper)
        && lower > upper
    {
        let what = format!("{name}: the lower limit");
        return Err(SpreadError::Value { what, value: *lower, expected: "it must not exceed the upper limit" });
    }
    if !(0.0..=1.0).contains(max_out) {
        let what = format!("{name}: the largest acceptable share outside");
        return Err(SpreadError::Value { what, value: *max_out, expected: "it must lie between 0 and 1" });
    }
    Ok(())
}
