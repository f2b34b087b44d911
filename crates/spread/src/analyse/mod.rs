//! `stack`: everything that is asked of a pack, in one go. In stages: the population, the run that answers all requirements together
//! ([`run`]), what may happen to each bay ([`bays`]), each requirement by itself ([`requirement`], its shares in [`refine`]), all together
//! ([`joint`]), and what follows ([`crate::questions`]).

mod bays;
mod checks;
mod contributors;
mod idle;
mod joint;
mod moved;
mod ranks;
mod refine;
mod remarks;
mod requirement;
mod run;
mod unsettled;

use crate::error::SpreadError;
use crate::few_readings;
use crate::monte_carlo::{Bounds, MonteCarlo, Partial};
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::questions::{Limits, changes, together};
use crate::result::{Accuracy, Estimate, Questions, Run, Share, StackResult};
use crate::shard::whole;
use crate::stack::Stack;
use crate::warning::Warning;
use crate::worst_case::LimitBox;
pub(crate) use checks::check_requirements;
pub(crate) use idle::short;
pub use idle::{NeverBinds, never_binding};
use joint::Single;
use packdrift_numerics::stream::ALGORITHM;
use packdrift_verdict::Verdict;
use ranks::Ranks;
use rayon::prelude::*;
use requirement::{Part, Setting, loose_rule};
use run::{Common, bounds_of, common_run};
pub(crate) use unsettled::joint_with_other_loads;

/// The whole analysis of a stack.
///
/// # Errors
/// What is wrong with the stack or the options; [`SpreadError::Cancelled`] where the observer says so.
pub fn analyse(stack: &Stack, options: &Options, progress: &dyn Progress) -> Result<StackResult, SpreadError> {
    analyse_given(stack, options, None, progress)
}

/// As [`analyse`], with the trials made elsewhere, in shares ([`crate::part_of`]): the same result to the last bit.
///
/// # Errors
/// As [`analyse`]; parts of another run, and parts that are not the whole of it.
pub fn analyse_parts(
    stack: &Stack,
    options: &Options,
    parts: &[Partial],
    progress: &dyn Progress,
) -> Result<StackResult, SpreadError> {
    analyse_given(stack, options, Some(parts), progress)
}

fn analyse_given(
    stack: &Stack,
    options: &Options,
    parts: Option<&[Partial]>,
    progress: &dyn Progress,
) -> Result<StackResult, SpreadError> {
    let mut result = analyse_as_it_is(stack, options, parts, progress)?;
    unsettled::hold_against_other_loads(stack, options, progress, &mut result)?;
    Ok(result)
}

/// By the formulas of its spring washers, whatever other sources say of their loads.
fn analyse_as_it_is(
    stack: &Stack,
    options: &Options,
    parts: Option<&[Partial]>,
    progress: &dyn Progress,
) -> Result<StackResult, SpreadError> {
    checks::check(stack, options)?;
    let population = Population::of_stack(stack)?;
    let model = PackModel::new(stack)?;
    let bounds = bounds_of(stack);
    let mut warnings = few_readings::warnings(stack);
    warnings.extend(mechanical(stack));
    let trials = MonteCarlo::new(&model, &population, &bounds, options.seed)?;
    let (common, accuracy) = match parts {
        Some(parts) => (Common::Plain(whole(&trials, options, parts)?), None),
        None => {
            let allowed = allowed(stack, &bounds);
            common_run(&trials, &model, &population, &allowed, options, progress, &mut warnings)?
        }
    };
    let partial = common.partial();
    let failed = partial.failed(population.labels());
    if failed.trials > 0 {
        let first = failed.first.first().cloned().unwrap_or_default();
        if failed.trials >= partial.trials() {
            return Err(SpreadError::AllFailed { trials: partial.trials(), first });
        }
        warnings.push(Warning::Failed { trials: failed.trials, of: partial.trials(), first });
    }
    let setting =
        Setting { stack, options, progress, population: &population, model: &model, bounds: &bounds, common: &common };
    let parts = every_requirement(&setting)?;
    let run = Run { seed: options.seed, algorithm: ALGORITHM, trials: partial.trials(), failed };
    Ok(put_together(&setting, parts, accuracy, run, warnings))
}

/// Each requirement by itself.
fn every_requirement(setting: &Setting<'_>) -> Result<Vec<Part>, SpreadError> {
    let bays = setting.bays()?;
    let ranges = LimitBox::of_stack(setting.stack);
    let nominals: Vec<f64> = setting.stack.inputs.iter().map(|input| input.nominal).collect();
    (0..setting.stack.requirements.len())
        .into_par_iter()
        .map(|k| setting.part(k, &bays[k], &ranges, &nominals))
        .collect()
}

/// What may be outside of each requirement that has limits.
fn allowed(stack: &Stack, bounds: &[Bounds]) -> Vec<Option<f64>> {
    let of = |(r, bounds): (&crate::Requirement, &Bounds)| (*bounds != Bounds::NONE).then_some(r.max_out);
    stack.requirements.iter().zip(bounds).map(of).collect()
}

/// The result from its parts, and what follows from all of them.
fn put_together(
    setting: &Setting<'_>,
    parts: Vec<Part>,
    accuracy: Option<Accuracy>,
    run: Run,
    mut warnings: Vec<Warning>,
) -> StackResult {
    let Setting { stack, options, model, population, common, bounds, .. } = *setting;
    let mut requirements = Vec::with_capacity(parts.len());
    let mut questions = Questions::default();
    let mut of_limits = Vec::with_capacity(parts.len());
    let mut worst = 0.0_f64;
    for part in parts {
        // What is true of a bay is found at each of its requirements, and said once.
        for remark in part.remarks {
            if !warnings.iter().any(|said: &Warning| said.is_same_matter(&remark)) {
                warnings.push(remark);
            }
        }
        if part.result.verdict.is_some() {
            worst = worst.max(part.accuracy);
        }
        requirements.push(part.result);
        questions.answers.push(part.answers);
        of_limits.push(part.limits);
    }
    let accuracy = accuracy.or(options.until.map(|asked| Accuracy { asked, reached: worst }));
    questions.changes = changes(&requirements);
    let correlation = common.partial().correlation();
    let ranks = Ranks::new(model, population, options.seed);
    let bay_of = |k: usize| stack.requirements[k].quantity.bay();
    let same_bay = |i: usize, j: usize| bay_of(i) == bay_of(j);
    questions.together = together(&requirements, &of_limits, &correlation, &|i, j| ranks.correlation(i, j), &same_bay);
    let singles: Vec<Single<'_>> = requirements
        .iter()
        .zip(&of_limits)
        .map(|(r, limits)| Single { out: r.spread.out, method: r.spread.method, limits })
        .collect();
    let joint = joint::joint(bounds, common, &singles, correlation, options.seed);
    StackResult { requirements, joint, questions, accuracy, run, warnings, length_unit: "mm" }
}

/// The shares outside alone, without what else an analysis has, and the limits as planes: what allocation works with.
#[derive(Clone)]
pub(crate) struct Shares {
    pub(crate) population: Population,
    pub(crate) limits: Vec<Limits>,
    /// Of each requirement.
    pub(crate) out: Vec<Share>,
    /// At least one requirement fails.
    pub(crate) joint: Estimate,
    pub(crate) ci95: (f64, f64),
    /// The joint share is not above this, at three standard errors.
    pub(crate) bound: f64,
    /// Of bays that are loose in more packs than a limit of theirs bears.
    pub(crate) loose: Vec<Verdict>,
    pub(crate) warnings: Vec<Warning>,
}

/// See [`Shares`].
/// `ceiling`: what the joint share is held against.
pub(crate) fn limits_of(
    stack: &Stack,
    options: &Options,
    ceiling: f64,
    progress: &dyn Progress,
) -> Result<Shares, SpreadError> {
    checks::check(stack, options)?;
    let population = Population::of_stack(stack)?;
    let model = PackModel::new(stack)?;
    let bounds = bounds_of(stack);
    let run = MonteCarlo::new(&model, &population, &bounds, options.seed)?;
    let mut warnings = few_readings::warnings(stack);
    let allowed = allowed(stack, &bounds);
    let (common, _) = common_run(&run, &model, &population, &allowed, options, progress, &mut warnings)?;
    let setting =
        Setting { stack, options, progress, population: &population, model: &model, bounds: &bounds, common: &common };
    let bays = setting.bays()?;
    let parts = (0..stack.requirements.len())
        .into_par_iter()
        .map(|k| setting.limits(k, &bays[k]))
        .collect::<Result<Vec<_>, SpreadError>>()?;
    let singles: Vec<Single<'_>> =
        parts.iter().map(|(spread, limits, _)| Single { out: spread.out, method: spread.method, limits }).collect();
    let sds: Vec<Option<f64>> = parts.iter().map(|(spread, ..)| spread.sd).collect();
    let (joint, ci95, bound) = joint::by_rare_event(&setting, &singles, &sds, ceiling)?;
    let limited = stack.requirements.iter().zip(&bays).zip(&bounds).filter(|(_, bounds)| **bounds != Bounds::NONE);
    let mut loose: Vec<Verdict> = Vec::new();
    for verdict in limited.filter_map(|((asked, bay), _)| loose_rule(stack, asked, bay)) {
        // One bay, once.
        if !loose.contains(&verdict) {
            loose.push(verdict);
        }
    }
    let mut out = Vec::with_capacity(parts.len());
    let mut limits = Vec::with_capacity(parts.len());
    for (spread, limit, remarks) in parts {
        out.push(spread.out);
        limits.push(limit);
        warnings.extend(remarks);
    }
    Ok(Shares { population, limits, out, joint, ci95, bound, loose, warnings })
}

/// What the mechanical model has to say of the pack at its nominals, and of the stresses that are required.
fn mechanical(stack: &Stack) -> impl Iterator<Item = Warning> {
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    let stresses = stack.requirements.iter().any(|r| r.quantity.kind() == packdrift_pack::QuantityKind::Stress);
    stack
        .pack
        .warnings(&nominals)
        .into_iter()
        .map(|warning| Warning::Pack { remark: warning.to_string() })
        .chain(stresses.then_some(Warning::NominalStress))
}

#[cfg(test)]
mod tests;
