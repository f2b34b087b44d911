//! The run that answers all requirements together: plain Monte Carlo, or scrambled Sobol' points.

use super::refine::{NONE_OUTSIDE, cure};
use crate::error::SpreadError;
use crate::judgement::judge;
use crate::method::{MethodChoice, by_importance};
use crate::monte_carlo::{Bounds, DEFAULT_TRIALS, MOST_TRIALS, MonteCarlo, Partial, Quasi, blocks_of};
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::result::{Accuracy, Estimate, Spread};
use crate::warning::{Warning, relative_percent};
use packdrift_verdict::Standing;

/// Trials that plain Monte Carlo makes at the most to settle verdicts where the user named no number.
const MOST_UNASKED: u64 = 16 * DEFAULT_TRIALS;

/// See the module.
pub(crate) enum Common {
    Plain(Partial),
    Quasi(Quasi),
}

impl Common {
    pub(crate) fn partial(&self) -> &Partial {
        match self {
            Self::Plain(partial) => partial,
            Self::Quasi(quasi) => &quasi.merged,
        }
    }

    pub(crate) fn spread(&self, response: usize) -> Spread {
        match self {
            Self::Plain(partial) => partial.spread(response),
            Self::Quasi(quasi) => quasi.spread(response),
        }
    }

    pub(crate) fn joint_out(&self) -> (Estimate, (f64, f64)) {
        match self {
            Self::Plain(partial) => partial.joint_out(),
            Self::Quasi(quasi) => quasi.joint_out(),
        }
    }
}

/// As long as the options ask for; and whether the accuracy they ask for was reached, where plain trials were to reach it.
pub(super) fn common_run(
    run: &MonteCarlo<'_>,
    model: &PackModel<'_>,
    population: &Population,
    allowed: &[Option<f64>],
    options: &Options,
    progress: &dyn Progress,
    warnings: &mut Vec<Warning>,
) -> Result<(Common, Option<Accuracy>), SpreadError> {
    let most = options.trials.unwrap_or(MOST_TRIALS);
    let plain = |partial| Ok((Common::Plain(partial), None));
    if let Some(digits) = options.digits {
        let (partial, reached) = run.digits(digits, most, progress)?;
        if !reached.reached {
            let asked = format!("a standard deviation stable to {digits} significant digits");
            let reached = format!("{:.1} times the tolerated instability was", reached.accuracy);
            let cure = format!("make more than {} trials (--trials), or accept this accuracy", partial.trials());
            warnings.push(Warning::NotReached { asked, reached, cure });
        }
        return plain(partial);
    }
    match (options.until, options.method) {
        (Some(until), MethodChoice::MonteCarlo) => {
            let (partial, reached) = run.until(until, most, progress)?;
            if !reached.reached {
                let asked = format!("a relative standard error of {} of every share outside", relative_percent(until));
                let worst = (0..allowed.len()).filter(|&k| allowed[k].is_some());
                let worst = worst.max_by(|&a, &b| partial.relative_error(a).total_cmp(&partial.relative_error(b)));
                let cure = worst.map_or_else(String::new, |k| cure(&partial.spread(k).out, until));
                let reached = if reached.accuracy.is_finite() {
                    relative_percent(reached.accuracy)
                } else {
                    NONE_OUTSIDE.to_owned()
                };
                warnings.push(Warning::NotReached { asked, reached, cure });
            }
            let accuracy = Accuracy { asked: until, reached: reached.accuracy };
            Ok((Common::Plain(partial), Some(accuracy)))
        }
        (_, MethodChoice::MonteCarlo) => match options.trials {
            Some(trials) => plain(run.run(trials, progress)?),
            None => plain(until_the_verdicts_are_clear(run, allowed, progress)?),
        },
        (_, MethodChoice::Auto) => match options.trials {
            Some(trials) => plain(run.run(trials, progress)?),
            None => Ok((Common::Quasi(Quasi::run(run, &by_importance(model, population), progress)?), None)),
        },
    }
}

/// A million trials, and more where they leave a verdict open that more may settle.
fn until_the_verdicts_are_clear(
    run: &MonteCarlo<'_>,
    allowed: &[Option<f64>],
    progress: &dyn Progress,
) -> Result<Partial, SpreadError> {
    let mut trials = DEFAULT_TRIALS;
    let mut partial = run.run(trials, progress)?;
    loop {
        let worth_more = allowed.iter().enumerate().any(|(k, allowed)| {
            let Some(allowed) = *allowed else { return false };
            let out = partial.spread(k).out;
            let open = matches!(judge(&out, allowed).standing(), Standing::NotShown | Standing::TooCloseToTell);
            // Half of what a share of this size needs to be told from the allowance.
            let gap = (out.total - allowed).abs().max(1e-300);
            open && 5.0 * allowed.max(out.total) / (gap * gap) < MOST_UNASKED as f64
        });
        if !worth_more || trials >= MOST_UNASKED {
            return Ok(partial);
        }
        let from = blocks_of(trials);
        // Whole blocks, so that what is there joins what comes.
        trials = (2 * from * packdrift_numerics::stream::BLOCK as u64).min(MOST_UNASKED);
        partial = run.run(trials, progress)?;
    }
}

/// The limits of every requirement.
pub(super) fn bounds_of(stack: &crate::stack::Stack) -> Vec<Bounds> {
    stack.requirements.iter().map(|r| Bounds::new(r.lower, r.upper)).collect()
}
