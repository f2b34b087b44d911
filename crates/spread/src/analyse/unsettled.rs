//! Requirements that are met by the formula of a spring washer's load, held against the loads that other sources of the formula give
//! ([`packdrift_pack::Pack::unsettled_loads`]). What is met by one of them and not by another is not shown.

use super::{Shares, limits_of};
use crate::error::SpreadError;
use crate::options::{Options, Progress};
use crate::result::{RequirementResult, StackResult};
use crate::stack::Stack;
use crate::warning::Warning;
use packdrift_pack::UnsettledLoad;
use packdrift_verdict::{Verdict, load_not_settled};

/// Tells nothing of how far it is; stops where the caller stops.
pub(super) struct Quiet<'a>(pub(super) &'a dyn Progress);

impl Progress for Quiet<'_> {
    fn advance(&self, _done: u64, _total: u64) {}

    fn cancelled(&self) -> bool {
        self.0.cancelled()
    }
}

/// Loads that are tried: all washers together, up and down; and each alone where a bay may have several that work against each other.
fn cases(unsettled: &[UnsettledLoad]) -> Vec<(Vec<&UnsettledLoad>, bool)> {
    let mut together: Vec<Vec<&UnsettledLoad>> = vec![unsettled.iter().collect()];
    if unsettled.iter().any(|a| unsettled.iter().any(|b| a.bay == b.bay && a.part != b.part)) {
        together.extend(unsettled.iter().map(|one| vec![one]));
    }
    together.into_iter().flat_map(|washers| [(washers.clone(), true), (washers, false)]).collect()
}

/// The stack with the washers' loads larger, or smaller.
fn with_loads(stack: &Stack, washers: &[&UnsettledLoad], more: bool) -> Stack {
    let mut other = stack.clone();
    for washer in washers {
        let times = if more { washer.factor } else { 1.0 / washer.factor };
        other.pack = other.pack.with_load_times(washer.bay, washer.part, times);
    }
    other
}

fn unsettled_of(stack: &Stack) -> Vec<UnsettledLoad> {
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    stack.pack.unsettled_loads(&nominals)
}

/// The load, as a part of the formula's, of a washer of a bay; the first where there are several.
fn load_in(bay: usize, washers: &[&UnsettledLoad], more: bool) -> Option<(f64, String)> {
    let of_bay: Vec<&&UnsettledLoad> = washers.iter().filter(|washer| washer.bay == bay).collect();
    let factor = of_bay.first()?.factor;
    let paths: Vec<&str> = of_bay.iter().map(|washer| washer.path.as_str()).collect();
    Some((if more { factor } else { 1.0 / factor }, paths.join(" and ")))
}

fn not_settled(washers: &str, load: f64) -> Verdict {
    let by = 100.0 * (load - 1.0);
    let reason = format!(
        "met by the formula, but not shown to be with {by:+.0} % of load of {washers}, which its sources leave open"
    );
    load_not_settled(reason)
}

/// Holds every requirement that is met against the other loads.
///
/// # Errors
/// As [`super::analyse`].
pub(super) fn hold_against_other_loads(
    stack: &Stack,
    options: &Options,
    progress: &dyn Progress,
    result: &mut StackResult,
) -> Result<(), SpreadError> {
    let unsettled = unsettled_of(stack);
    let bay = |k: usize| stack.requirements[k].quantity.bay();
    let is_met = |r: &RequirementResult| r.verdict.as_ref().is_some_and(Verdict::is_shown);
    let rests_on = |k: usize| unsettled.iter().any(|washer| washer.bay == bay(k));
    if !result.requirements.iter().enumerate().any(|(k, r)| rests_on(k) && is_met(r)) {
        return Ok(());
    }
    let asked: Vec<usize> = (0..stack.requirements.len()).filter(|&k| rests_on(k)).collect();
    let subset =
        Stack { requirements: asked.iter().map(|&k| stack.requirements[k].clone()).collect(), ..stack.clone() };
    // The way that was asked for is for the answer; here the default one decides.
    let usual = Options { seed: options.seed, moved_limits: false, ..Options::default() };
    for (washers, more) in cases(&unsettled) {
        let other = super::analyse_as_it_is(&with_loads(&subset, &washers, more), &usual, None, &Quiet(progress))?;
        for (&k, with) in asked.iter().zip(&other.requirements) {
            let requirement = &mut result.requirements[k];
            let Some((load, paths)) = load_in(bay(k), &washers, more) else { continue };
            if !is_met(requirement) || is_met(with) {
                continue;
            }
            requirement.verdict = requirement.verdict.take().map(|verdict| verdict.and(not_settled(&paths, load)));
            requirement.acceptable = false;
            let name = super::requirement::title(stack, &stack.requirements[k]);
            result.warnings.push(Warning::LoadNotSettled { requirement: name, washers: paths, load });
        }
    }
    Ok(())
}

/// Whether the joint share keeps its ceiling with the other loads too; None where it does.
///
/// # Errors
/// As [`super::analyse`].
pub(crate) fn joint_with_other_loads(
    stack: &Stack,
    options: &Options,
    ceiling: f64,
    progress: &dyn Progress,
) -> Result<Option<Verdict>, SpreadError> {
    let unsettled = unsettled_of(stack);
    if unsettled.is_empty() {
        return Ok(None);
    }
    for (washers, more) in cases(&unsettled) {
        let Shares { bound, .. } = limits_of(&with_loads(stack, &washers, more), options, ceiling, &Quiet(progress))?;
        if bound > ceiling * (1.0 + 1e-9) || bound.is_nan() {
            let load = load_in(washers[0].bay, &washers, more);
            return Ok(load.map(|(load, paths)| not_settled(&paths, load)));
        }
    }
    Ok(None)
}
