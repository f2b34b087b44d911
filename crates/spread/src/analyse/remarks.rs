//! What the reader should know of one requirement's figures.

use crate::few_readings;
use crate::method::Method;
use crate::result::{CapabilityForm, RequirementResult};
use crate::warning::Warning;
use packdrift_verdict::Standing;

/// A share of builds is worth a remark from this part of the largest acceptable share outside: below, it decides nothing.
const WORTH_A_REMARK: f64 = 0.01;

pub(super) fn remarks_on(
    name: &str,
    bay: &str,
    result: &RequirementResult,
    outside: u64,
    widened: Option<few_readings::Widened>,
) -> Vec<Warning> {
    let requirement = name.to_owned();
    let spread = &result.spread;
    let mut remarks = Vec::new();
    if spread.cannot_assemble > WORTH_A_REMARK * result.max_out {
        remarks.push(Warning::CannotAssemble { bay: bay.to_owned(), share: spread.cannot_assemble });
    }
    if spread.loose > WORTH_A_REMARK * result.max_out {
        remarks.push(Warning::Loose { bay: bay.to_owned(), share: spread.loose });
    }
    let limited = result.lower.is_some() || result.upper.is_some();
    let standing = result.verdict.as_ref().map(packdrift_verdict::Verdict::standing);
    let high = spread.out.ci95.1;
    if standing == Some(Standing::TooCloseToTell) {
        let (bounds, max_out) = (spread.out.bounds, result.max_out);
        remarks.push(Warning::VerdictUncertain { requirement: requirement.clone(), bounds, max_out });
    } else if standing == Some(Standing::NotShown) && spread.out.total == 0.0 {
        let (at_most, max_out) = (spread.out.bounds.1, result.max_out);
        remarks.push(Warning::NotShown { requirement: requirement.clone(), at_most, max_out });
    } else if limited && spread.method == Method::MonteCarlo && outside < 10 && result.max_out < 10.0 * high {
        remarks.push(Warning::FewOutside { requirement: requirement.clone(), outside, trials: spread.trials });
    }
    if let (Some(first), Some(sd), Some(error)) = (result.root_sum_square, spread.sd, spread.standard_error) {
        // The standard error of a standard deviation is near that of the mean.
        let differs = (sd - first.sd).abs() > 0.05 * sd + 4.0 * error;
        let explained = widened.filter(|w| (sd - w.sd).abs() <= 0.05 * sd + 4.0 * error);
        if let (true, Some(few)) = (differs, explained) {
            let few_readings::Widened { dimension, readings, .. } = few;
            remarks.push(Warning::WidenedByFewReadings { requirement, dimension, readings, first_order: first.sd, sd });
        } else if differs && sd.is_finite() && result.capability.form != CapabilityForm::Normal
            || differs && first.sd < 0.9 * sd
        {
            remarks.push(Warning::Nonlinear { requirement, first_order: first.sd, sd });
        }
    }
    remarks
}
