//! `stack`: everything that is asked of a pack, in one go.

use crate::capability::capability;
use crate::error::SpreadError;
use crate::exact::Exact;
use crate::few_readings;
use crate::first_order::{FirstOrder, first_order};
use crate::interval::estimate_interval;
use crate::method::{MethodChoice, Question, by_importance, sharpen};
use crate::model::{Columns, Model, Responses, middle};
use crate::monte_carlo::{Bounds, DEFAULT_TRIALS, MOST_TRIALS, MonteCarlo, Partial, Quasi};
use crate::narrow::Narrow;
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::questions::{Limits, answers, changes, limits, together};
use crate::result::{
    Answer, CapabilityForm, Contributor, Estimate, Joint, Questions, RequirementResult, Run, Source, Spread,
    StackResult,
};
use crate::shard::whole;
use crate::sobol_indices::sobol_indices_of;
use crate::stack::{Requirement, Stack};
use crate::union::{HalfSpace, union};
use crate::warning::Warning;
use crate::worst_case::{LimitBox, worst_case};
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::stream::ALGORITHM;
use rayon::prelude::*;

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
    check_options(options)?;
    stack.requirements.iter().try_for_each(check_requirement)?;
    let population = Population::of_stack(stack)?;
    let model = PackModel::new(stack)?;
    let bounds: Vec<Bounds> = stack.requirements.iter().map(|r| Bounds::new(r.lower, r.upper)).collect();
    let mut warnings = few_readings::warnings(stack);
    warnings.extend(mechanical(stack));

    let run = MonteCarlo::new(&model, &population, &bounds, options.seed)?;
    let common = match parts {
        Some(parts) => Common::Plain(whole(&run, options, parts)?),
        None => common_run(&run, &model, &population, options, progress, &mut warnings)?,
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

    let ranges = LimitBox::of_stack(stack);
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    let parts: Vec<Part> = (0..stack.requirements.len())
        .into_par_iter()
        .map(|k| {
            if progress.cancelled() {
                return Err(SpreadError::Cancelled);
            }
            let mut first = first_order(&model, k, &population, &stack.lots)?;
            let single = model.only(k);
            let narrow = Narrow::new(stack, &population, &single.uses())?;
            if let Some(first) = &mut first {
                add_sobol(&single, &narrow.population, options, &mut first.contributors)?;
            }
            let question = Question { model: &single, narrow: &narrow, bounds: bounds[k], options, progress };
            let name = title(stack, &stack.requirements[k]);
            let (mut spread, mut remarks) = match options.method {
                MethodChoice::Auto if options.digits.is_none() => sharpen(&question, &name, common.spread(k))?,
                _ => (common.spread(k), Vec::new()),
            };
            few_readings::clear_moments(stack, k, &single.uses(), &mut spread);
            let nominal = model
                .respond_one(k, &nominals)
                .map_err(|source| SpreadError::Model { what: format!("{name} at the nominals"), source })?;
            let worst = worst_case(&model, k, &ranges.only(&single.uses()))?;
            let result = requirement_result(stack, k, middle(nominal), worst, first.as_ref(), spread, bounds[k]);
            let asked = &stack.requirements[k];
            let condition = &stack.pack.conditions[asked.condition].name;
            let bay = format!("{} ({condition})", stack.pack.bays[asked.quantity.bay()].name);
            let widened = first.as_ref().and_then(|first| few_readings::widened(stack, &population, first));
            remarks.extend(remarks_on(&name, &bay, &result, partial.outside(k), widened));
            let limits = limits(&question, &result.spread);
            let answers =
                answers(&question, &limits, &result.contributors, &result.spread, result.target, result.max_out);
            Ok(Part { result, remarks, limits, answers })
        })
        .collect::<Result<_, SpreadError>>()?;
    let mut requirements = Vec::with_capacity(parts.len());
    let mut questions = Questions::default();
    let mut of_limits = Vec::with_capacity(parts.len());
    for part in parts {
        requirements.push(part.result);
        // What is true of a bay is found at each of its requirements, and said once.
        for remark in part.remarks {
            if !warnings.iter().any(|said: &Warning| said.is_same_matter(&remark)) {
                warnings.push(remark);
            }
        }
        questions.answers.push(part.answers);
        of_limits.push(part.limits);
    }
    questions.changes = changes(&requirements);
    let correlation = common.partial().correlation();
    let ranks = Ranks::new(&model, &population, options.seed);
    let bay_of = |k: usize| stack.requirements[k].quantity.bay();
    let same_bay = |i: usize, j: usize| bay_of(i) == bay_of(j);
    questions.together = together(&requirements, &of_limits, &correlation, &|i, j| ranks.correlation(i, j), &same_bay);
    let joint = joint(&bounds, &common, &requirements, &of_limits, correlation, options.seed);
    let run = Run { seed: options.seed, algorithm: ALGORITHM, trials: partial.trials(), failed };
    Ok(StackResult { joint, requirements, questions, run, warnings })
}

/// The shares outside alone, without what else an analysis has, and the limits as planes: what allocation works with.
#[derive(Clone)]
pub(crate) struct Shares {
    pub(crate) population: Population,
    pub(crate) limits: Vec<Limits>,
    /// Of each requirement.
    pub(crate) out: Vec<Estimate>,
    /// At least one requirement fails.
    pub(crate) joint: Estimate,
    pub(crate) ci95: (f64, f64),
    pub(crate) warnings: Vec<Warning>,
}

/// See [`Shares`].
pub(crate) fn limits_of(stack: &Stack, options: &Options, progress: &dyn Progress) -> Result<Shares, SpreadError> {
    check_options(options)?;
    stack.requirements.iter().try_for_each(check_requirement)?;
    let population = Population::of_stack(stack)?;
    let model = PackModel::new(stack)?;
    let bounds: Vec<Bounds> = stack.requirements.iter().map(|r| Bounds::new(r.lower, r.upper)).collect();
    let run = MonteCarlo::new(&model, &population, &bounds, options.seed)?;
    let mut warnings = few_readings::warnings(stack);
    let common = common_run(&run, &model, &population, options, progress, &mut warnings)?;
    let parts: Vec<(Estimate, bool, Limits, Vec<Warning>)> = (0..stack.requirements.len())
        .into_par_iter()
        .map(|k| {
            if progress.cancelled() {
                return Err(SpreadError::Cancelled);
            }
            let single = model.only(k);
            let narrow = Narrow::new(stack, &population, &single.uses())?;
            let question = Question { model: &single, narrow: &narrow, bounds: bounds[k], options, progress };
            let name = title(stack, &stack.requirements[k]);
            let (spread, remarks) = match options.method {
                MethodChoice::Auto => sharpen(&question, &name, common.spread(k))?,
                MethodChoice::MonteCarlo => (common.spread(k), Vec::new()),
            };
            let out = Estimate { value: spread.out.total, standard_error: spread.out.standard_error };
            let sharp = spread.method != crate::Method::MonteCarlo;
            Ok((out, sharp, limits(&question, &spread), remarks))
        })
        .collect::<Result<_, SpreadError>>()?;
    let sharp = parts.iter().any(|p| p.1);
    let mut out = Vec::with_capacity(parts.len());
    let mut limits = Vec::with_capacity(parts.len());
    for (share, _, limit, remarks) in parts {
        out.push(share);
        limits.push(limit);
        warnings.extend(remarks);
    }
    let (joint, ci95) = joint_share(&bounds, &common, &out, sharp, &limits, options.seed);
    Ok(Shares { population, limits, out, joint, ci95, warnings })
}

/// Puts Sobol' indices to the contributors. Where a response is linear they are its shares of the variance; otherwise they are sampled, with more points
/// where the user asked for them.
fn add_sobol(
    model: &PackModel<'_>,
    population: &Population,
    options: &Options,
    contributors: &mut [Contributor],
) -> Result<(), SpreadError> {
    if !options.sobol && options.method != MethodChoice::Auto {
        return Ok(());
    }
    let tied = contributors.iter().any(|c| matches!(c.source, Source::Input(k) if population.is_tied(k)));
    let plane = model.linear(0).filter(|_| !tied);
    if plane.is_some_and(|linear| Exact::of_linear(population, &linear).is_ok()) {
        for contributor in contributors {
            let exact = Some(Estimate { value: contributor.variance_share, standard_error: 0.0 });
            (contributor.sobol_first, contributor.sobol_total) = (exact, exact);
        }
        return Ok(());
    }
    let uses = model.uses();
    let matters = |source: Source| match source {
        Source::Input(k) => uses[k],
        Source::Lot(j) => (0..uses.len()).any(|k| uses[k] && population.lot_of(k) == Some(j)),
    };
    let sources: Vec<Source> = contributors.iter().map(|c| c.source).filter(|s| matters(*s)).collect();
    for contributor in contributors.iter_mut().filter(|c| !matters(c.source)) {
        let nothing = Some(Estimate { value: 0.0, standard_error: 0.0 });
        (contributor.sobol_first, contributor.sobol_total) = (nothing, nothing);
    }
    let log2_points = if options.sobol { SOBOL_POINTS_ASKED } else { SOBOL_POINTS };
    let (indices, left_out) = sobol_indices_of(model, 0, population, &sources, options.seed, log2_points)?;
    if left_out > 0.01 {
        return Ok(());
    }
    for index in indices {
        if let Some(contributor) = contributors.iter_mut().find(|c| c.source == index.source) {
            (contributor.sobol_first, contributor.sobol_total) = (Some(index.first), Some(index.total));
        }
    }
    Ok(())
}

/// log₂ of the points of each scrambling for Sobol' indices.
const SOBOL_POINTS: u32 = 6;
const SOBOL_POINTS_ASKED: u32 = 10;

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

/// What one requirement's task gives.
struct Part {
    result: RequirementResult,
    remarks: Vec<Warning>,
    limits: Limits,
    answers: Vec<Answer>,
}

/// The run that answers all requirements together.
enum Common {
    Plain(Partial),
    Quasi(Quasi),
}

impl Common {
    fn partial(&self) -> &Partial {
        match self {
            Self::Plain(partial) => partial,
            Self::Quasi(quasi) => &quasi.merged,
        }
    }

    fn spread(&self, response: usize) -> Spread {
        match self {
            Self::Plain(partial) => partial.spread(response),
            Self::Quasi(quasi) => quasi.spread(response),
        }
    }

    fn joint_out(&self) -> (Estimate, (f64, f64)) {
        match self {
            Self::Plain(partial) => partial.joint_out(),
            Self::Quasi(quasi) => quasi.joint_out(),
        }
    }
}

/// All requirements together: plain Monte Carlo as long as the options ask for, or where they ask for no number of trials scrambled Sobol'
/// points.
fn common_run(
    run: &MonteCarlo<'_>,
    model: &PackModel<'_>,
    population: &Population,
    options: &Options,
    progress: &dyn Progress,
    warnings: &mut Vec<Warning>,
) -> Result<Common, SpreadError> {
    let most = options.trials.unwrap_or(MOST_TRIALS);
    let percent = |x: f64| format!("{:.2} %", 100.0 * x);
    if let Some(digits) = options.digits {
        let (partial, reached) = run.digits(digits, most, progress)?;
        if !reached.reached {
            let asked = format!("a standard deviation stable to {digits} significant digits");
            let reached = format!("{:.1} times the tolerated instability was", reached.accuracy);
            warnings.push(Warning::NotReached { asked, reached });
        }
        return Ok(Common::Plain(partial));
    }
    match (options.until, options.method) {
        (Some(until), MethodChoice::MonteCarlo) => {
            let (partial, reached) = run.until(until, most, progress)?;
            if !reached.reached {
                let asked = format!("a relative standard error of {} of every share outside", percent(until));
                let reached = if reached.accuracy.is_finite() {
                    format!("{} was", percent(reached.accuracy))
                } else {
                    "no trial outside was".to_owned()
                };
                warnings.push(Warning::NotReached { asked, reached });
            }
            Ok(Common::Plain(partial))
        }
        (_, MethodChoice::MonteCarlo) => run.run(options.trials.unwrap_or(DEFAULT_TRIALS), progress).map(Common::Plain),
        (_, MethodChoice::Auto) => match options.trials {
            Some(trials) => run.run(trials, progress).map(Common::Plain),
            None => Quasi::run(run, &by_importance(model, population), progress).map(Common::Quasi),
        },
    }
}

/// What the mechanical model has to say of the pack at its nominals.
fn mechanical(stack: &Stack) -> impl Iterator<Item = Warning> {
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    stack.pack.warnings(&nominals).into_iter().map(|warning| Warning::Pack { remark: warning.to_string() })
}

/// `offset, 1 exhaust (running)`.
fn title(stack: &Stack, requirement: &Requirement) -> String {
    format!("{} ({})", requirement.name, stack.pack.conditions[requirement.condition].name)
}

fn requirement_result(
    stack: &Stack,
    k: usize,
    nominal: Option<f64>,
    worst_case: crate::result::WorstCase,
    first: Option<&FirstOrder>,
    spread: Spread,
    bounds: Bounds,
) -> RequirementResult {
    let requirement = &stack.requirements[k];
    let kind = requirement.quantity.kind();
    let middle = requirement.lower.zip(requirement.upper).map(|(lower, upper)| 0.5 * (lower + upper));
    RequirementResult {
        name: requirement.name.clone(),
        quantity: kind,
        condition: stack.pack.conditions[requirement.condition].name.clone(),
        unit: kind.unit(),
        lower: requirement.lower,
        upper: requirement.upper,
        target: requirement.target.or(middle),
        max_out: requirement.max_out,
        nominal,
        worst_case,
        root_sum_square: first.map(|first| first.result),
        capability: capability(&spread, bounds, first.map_or(0.0, |first| first.lot_share)),
        contributors: first.map(|first| first.contributors.clone()).unwrap_or_default(),
        acceptable: spread.out.total <= requirement.max_out,
        spread,
    }
}

/// A share of builds is worth a remark from this part of the largest acceptable share outside: below, it decides nothing.
const WORTH_A_REMARK: f64 = 0.01;

fn remarks_on(
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
    let (low, high) = spread.out.ci95;
    if limited && low <= result.max_out && result.max_out < high && spread.out.standard_error > 0.0 {
        let max_out = result.max_out;
        remarks.push(Warning::VerdictUncertain { requirement: requirement.clone(), ci95: (low, high), max_out });
    } else if limited && spread.method == crate::Method::MonteCarlo && outside < 10 && result.max_out < 10.0 * high {
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

/// Relative standard error up to which the common run's count of failing packs stands.
const COUNTED_WELL: f64 = 0.03;

fn joint(
    bounds: &[Bounds],
    common: &Common,
    requirements: &[RequirementResult],
    limits: &[Limits],
    correlation: Vec<Vec<Option<f64>>>,
    seed: u64,
) -> Option<Joint> {
    if bounds.iter().all(|&bounds| bounds == Bounds::NONE) {
        return None;
    }
    let singles: Vec<Estimate> = requirements
        .iter()
        .map(|r| Estimate { value: r.spread.out.total, standard_error: r.spread.out.standard_error })
        .collect();
    let sum = singles.iter().map(|out| out.value).sum::<f64>().min(1.0);
    let sharp = requirements.iter().any(|r| r.spread.method != crate::Method::MonteCarlo);
    let (out, ci95) = joint_share(bounds, common, &singles, sharp, limits, seed);
    Some(Joint { out, ci95, sum, correlation })
}

/// The joint share by counting, or where too few packs failed for that and sharper shares are at hand, from those and how their limits depend
/// on each other.
fn joint_share(
    bounds: &[Bounds],
    common: &Common,
    singles: &[Estimate],
    sharp: bool,
    limits: &[Limits],
    seed: u64,
) -> (Estimate, (f64, f64)) {
    // With limits in one requirement alone there is nothing to join.
    let mut limited = singles.iter().zip(bounds).filter(|(_, bounds)| **bounds != Bounds::NONE).map(|(out, _)| *out);
    if let (Some(only), None) = (limited.next(), limited.next())
        && sharp
    {
        return (only, estimate_interval(only.value, only.standard_error));
    }
    let (mut out, mut ci95) = common.joint_out();
    if sharp && out.standard_error > COUNTED_WELL * out.value {
        let all: Vec<HalfSpace> = limits.iter().flat_map(|l| l.half_spaces.iter().cloned()).collect();
        out = union(&all, seed);
        let of_shares = singles.iter().map(|share| share.standard_error.powi(2)).sum::<f64>().sqrt();
        out.standard_error = out.standard_error.hypot(of_shares);
        ci95 = estimate_interval(out.value, out.standard_error);
    }
    (out, ci95)
}

/// The responses in one sample, and their ranks, for Spearman's correlations.
struct Ranks {
    /// Of each response, NaN where it has none.
    values: Vec<Vec<f64>>,
    /// Of each response that has a value throughout.
    ranks: Vec<Option<Vec<f64>>>,
}

impl Ranks {
    /// log₂ of the points: a correlation of ranks is then known to about 0.01.
    const LOG2_POINTS: u32 = 11;

    fn new(model: &PackModel<'_>, population: &Population, seed: u64) -> Self {
        let points = Scrambling { seed, purpose: "ranks", number: 0, log2_points: Self::LOG2_POINTS };
        let n = points.points();
        let mut u = Columns::new(population.coordinates(), n);
        for (k, rank) in by_importance(model, population).into_iter().enumerate() {
            points.fill_normal(rank, u.column_mut(k));
        }
        let mut x = Columns::new(population.inputs(), n);
        let mut responses = Responses::new(model.responses(), n);
        population.to_x_block(&u, &mut x);
        model.respond_block(&x, &mut responses);
        let middles = |response| -> Vec<f64> {
            (0..n).map(|trial| responses.outcome(response, trial).and_then(middle).unwrap_or(f64::NAN)).collect()
        };
        let values: Vec<Vec<f64>> = (0..model.responses()).map(middles).collect();
        let ranks = values.iter().map(|v| v.iter().all(|y| !y.is_nan()).then(|| ranks(v))).collect();
        Self { values, ranks }
    }

    /// Over the trials in which both have a value; None where one of them does not vary there.
    fn correlation(&self, i: usize, j: usize) -> Option<f64> {
        let of_rest;
        let (a, b) = match (&self.ranks[i], &self.ranks[j]) {
            (Some(a), Some(b)) => (a, b),
            _ => {
                let pairs = self.values[i].iter().zip(&self.values[j]).filter(|(a, b)| !a.is_nan() && !b.is_nan());
                let (a, b): (Vec<f64>, Vec<f64>) = pairs.unzip();
                of_rest = (ranks(&a), ranks(&b));
                (&of_rest.0, &of_rest.1)
            }
        };
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let size = (product(a, a) * product(b, b)).sqrt();
        (size > 0.0).then(|| (product(a, b) / size).clamp(-1.0, 1.0))
    }
}

/// Ranks less their mean, ties at their middle.
fn ranks(values: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| values[i].total_cmp(&values[j]));
    let mut ranks = vec![0.0; n];
    let mut from = 0;
    while from < n {
        let tied = order[from..].iter().take_while(|&&i| values[i] <= values[order[from]]).count();
        for &i in &order[from..from + tied] {
            ranks[i] = from as f64 + 0.5 * (tied as f64 - 1.0) - 0.5 * (n as f64 - 1.0);
        }
        from += tied;
    }
    ranks
}

#[cfg(test)]
mod tests;
