//! A policy and options that cannot be used are refused before anything is fitted.

use crate::error::TrendError;
use crate::options::{ModelChoice, Options};
use crate::policy::Policy;

pub(crate) fn check_policy(policy: &Policy) -> Result<(), TrendError> {
    let bad = |what: String, value: f64, expected: &'static str| Err(TrendError::Policy { what, value, expected });
    if !(policy.risk > 0.0 && policy.risk < 1.0) {
        return bad("risk".into(), policy.risk, "a chance between 0 and 1");
    }
    if !(policy.horizon > 0.0 && policy.horizon.is_finite()) {
        return bad("horizon".into(), policy.horizon, "hours above 0");
    }
    for (name, limits) in &policy.features {
        for (key, value) in [("lower", limits.lower), ("upper", limits.upper)] {
            if let Some(v) = value
                && !v.is_finite()
            {
                return bad(format!("feature.{name}.{key}"), v, "a finite number");
            }
        }
        if let (Some(l), Some(u)) = (limits.lower, limits.upper)
            && l >= u
        {
            return bad(format!("feature.{name}.lower"), l, "a limit below `upper`");
        }
        if let Some(sd) = limits.reading_sd
            && !(sd > 0.0 && sd.is_finite())
        {
            return bad(format!("feature.{name}.reading_sd"), sd, "a standard deviation above 0");
        }
    }
    Ok(())
}

pub(crate) fn check_options(options: &Options) -> Result<(), TrendError> {
    if options.model == ModelChoice::Gamma {
        if options.engine_slope == Some(true) {
            return Err(TrendError::Option {
                option: "an engine slope",
                model: "gamma",
                reason: "a gamma process has no lines to share a slope",
            });
        }
        if options.valve_slope == Some(true) {
            return Err(TrendError::Option {
                option: "a valve slope",
                model: "gamma",
                reason: "a gamma process has no lines to keep a slope",
            });
        }
    }
    Ok(())
}
