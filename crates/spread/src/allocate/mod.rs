//! `allocate`: the tolerances that cost least while the joint share outside stays under a ceiling.
//!
//! Dimensions with a [`Cost`] may change, all others are fixed. A tolerance is changed by scaling the dimension's own scatter about its mean:
//! the kind of distribution stays, the standard deviation goes with the tolerance, a lot's shared deviation does not change.
//!
//! The joint share is computed from the limits' planes and their dependence ([`share`]), which are exact for linear requirements of normals
//! and of first order about the design points otherwise. So the optimum is sought in rounds: optimise on the planes, analyse the
//! whole model at the result, take new planes there, until nothing moves. What is reported is the share by the whole model.

mod by_bay;
mod continuous;
mod discrete;
mod iso286;
mod relaxation;
mod share;

#[cfg(test)]
mod made_cases;
#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) use tests::washers as washers_for_tests;

use crate::analyse::{NeverBinds, Shares, joint_with_other_loads, limits_of, never_binding};
use crate::distribution::{Distribution, Limits as DrawnLimits};
use crate::error::SpreadError;
use crate::interval::sure_estimate_interval;
use crate::judgement::judge;
use crate::options::{Options, Progress};
use crate::result::{Estimate, Share};
use crate::stack::{Cost, Stack};
use crate::warning::{Warning, percent};
use continuous::Variable;
use discrete::Choice;
pub use iso286::{Grade, GradeError};
use packdrift_numerics::stream::DEFAULT_SEED;
use packdrift_verdict::Verdict;
use share::JointShare;

/// What may be asked of [`allocate`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AllocateOptions {
    /// Ceiling of the joint share outside. None: the smallest `max_out` of the requirements, so that each is acceptable by itself.
    pub max_out: Option<f64>,
    /// Of all random numbers.
    pub seed: u64,
}

impl Default for AllocateOptions {
    fn default() -> Self {
        Self { max_out: None, seed: DEFAULT_SEED }
    }
}

/// Why tolerances cannot be allocated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AllocateError {
    /// Nothing may change.
    #[error(
        "no dimension has a cost: give those whose tolerance may change a `cost`, as `cost = {{ fixed = 1.0, scale = 0.02 }}` for 1 + 0.02/tol; docs/files.md has all its forms"
    )]
    NoCosts,
    /// Nothing to keep.
    #[error("no requirement has a limit: there is nothing to keep the tolerances for")]
    NoLimits,
    /// A cost without a tolerance that it is the cost of.
    #[error("{dimension} has a cost but no tolerance that scatters: give it limits (`tol`, or `plus` and `minus`)")]
    NoTolerance {
        /// The dimension's path.
        dimension: String,
    },
    /// A cost without meaning.
    #[error("{dimension}: {what} of its cost is {value}: {expected}")]
    Cost {
        /// The dimension's path.
        dimension: String,
        /// Which number.
        what: &'static str,
        /// As given.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// A ceiling outside 0 to 1.
    #[error("the ceiling of the joint share outside is {value}: it must lie between 0 and 1")]
    Ceiling {
        /// As given.
        value: f64,
    },
    /// Not even the tightest tolerances do.
    #[error(
        "even with every tolerance at its tightest {} of packs fail, and the ceiling is {}: what is fixed (dimensions without a cost, lots, \
         nominals off their target) must change first",
        percent(*best),
        percent(*ceiling)
    )]
    OutOfReach {
        /// Joint share with every tolerance at its tightest.
        best: f64,
        /// The ceiling.
        ceiling: f64,
    },
    /// The tightest tolerances keep the ceiling, but the search found none that do.
    #[error(
        "no tolerances were found that keep the ceiling of {}, though with every tolerance at its tightest {} of packs fail: ask for another          ceiling",
        percent(*ceiling),
        percent(*best)
    )]
    NotFound {
        /// Joint share with every tolerance at its tightest.
        best: f64,
        /// The ceiling.
        ceiling: f64,
    },
    /// The analysis failed.
    #[error(transparent)]
    Spread(#[from] SpreadError),
}

/// The tolerances that cost least.
#[derive(Debug, Clone, PartialEq)]
pub struct Allocation {
    /// Ceiling of the joint share outside.
    pub ceiling: f64,
    /// Joint share outside with the new tolerances, by the whole model.
    pub out: Estimate,
    /// 95 % confidence interval of it.
    pub ci95: (f64, f64),
    /// It is not above this, at three standard errors, whatever the dependence of the requirements.
    pub bound: f64,
    /// Joint share outside with the tolerances as drawn.
    pub out_now: Estimate,
    /// What the new tolerances cost.
    pub cost: f64,
    /// What those drawn cost; None where one of them is no grade of its dimension.
    pub cost_now: Option<f64>,
    /// Those that may change, in the order of the pack's dimensions.
    pub dimensions: Vec<Allocated>,
    /// Share outside of each requirement, in their order.
    pub requirements: Vec<Share>,
    /// What is known of the optimum.
    pub optimum: Optimum,
    /// Rounds of optimising and analysing.
    pub rounds: u32,
    /// Where the ceiling is kept by the formulas of the spring washers, and not with the loads that other sources of them give: that it is not shown.
    pub load_not_settled: Option<Verdict>,
    /// What no share outside can settle: bays that are loose in more packs than a limit bears ([`crate::RequirementResult::doubts`]).
    pub doubts: Vec<Verdict>,
    /// Limits that can never bind: nothing is shown by them.
    pub never_binds: Vec<NeverBinds>,
    /// Of the last analysis.
    pub warnings: Vec<Warning>,
    /// Unit of the tolerances that are lengths: `mm`, or `in` ([`Allocation::in_inches`]).
    pub length_unit: &'static str,
}

impl Allocation {
    /// Whether the new tolerances are shown to keep the ceiling, by the whole model, and cost least as far as is known.
    pub fn acceptable(&self) -> bool {
        self.verdict().is_shown()
    }

    /// The verdict on the new tolerances: the ceiling by the bound of the joint share, every requirement by that of its own; and a search that did
    /// not settle shows nothing.
    pub fn verdict(&self) -> Verdict {
        let share = Share {
            below: 0.0,
            above: 0.0,
            total: self.out.value,
            standard_error: self.out.standard_error,
            ci95: self.ci95,
            bounds: (sure_estimate_interval(self.out.value, self.out.standard_error).0, self.bound),
        };
        let mut of_share = judge(&share, self.ceiling * (1.0 + 1e-9));
        let never = self.never_binds.iter().map(NeverBinds::verdict);
        of_share = self.load_not_settled.iter().chain(&self.doubts).cloned().chain(never).fold(of_share, Verdict::and);
        if matches!(self.optimum, Optimum::Kkt { residual } if !residual.is_finite()) {
            let open = Verdict::not_shown("the search for least cost did not settle")
                .settled_by("Take the result as a good start: draw it, and allocate again.");
            return of_share.and(open);
        }
        of_share
    }
}

/// One tolerance.
#[derive(Debug, Clone, PartialEq)]
pub struct Allocated {
    /// The dimension's path.
    pub dimension: String,
    /// Index into [`Stack::inputs`].
    pub input: usize,
    /// Half the width of the limits as drawn, in the dimension's unit.
    pub tol_now: f64,
    /// Half the width that costs least, in the dimension's unit.
    pub tol: f64,
    /// What it costs.
    pub cost: f64,
    /// Which of the grades, in the order of the file.
    pub grade: Option<usize>,
    /// Where it stands at the end of what is looked at.
    pub at_bound: Option<AtBound>,
}

/// An end of the tolerances that are looked at: a hundredth and ten times of the drawn one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AtBound {
    /// The tightest.
    Tightest,
    /// The widest: it hardly matters to any requirement.
    Widest,
}

/// What is known of the optimum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Optimum {
    /// No choice of grades costs less (branch and bound, on the planes of the last round).
    Proven {
        /// Branches looked at.
        branches: u64,
    },
    /// The search ended before it had a proof.
    Best {
        /// Branches looked at.
        branches: u64,
        /// No choice costs less than this (on the planes of the last round).
        at_least: f64,
    },
    /// The conditions of Karush, Kuhn and Tucker hold.
    Kkt {
        /// Part of the cost that is still to be saved, by a convex model of the ceiling with its slopes; infinite where the search did not settle.
        residual: f64,
    },
}

/// Bounds of the factor on a drawn tolerance.
const TIGHTEST: f64 = 0.01;
const WIDEST: f64 = 10.0;
/// Rounds of optimising and analysing at the most.
const ROUNDS: u32 = 12;
/// Relative change of every tolerance, or of the cost, from one round to the next below which the rounds end.
const SETTLED: f64 = 1e-3;
/// Part of the ceiling that may be left unused: in tolerances, and in cost, it is a tenth of that or less.
const GIVEN_AWAY: f64 = 0.01;

/// Part of the ceiling below which a bound leaves so much of it unused that the search for least cost has not settled.
const UNUSED: f64 = 0.9;

/// What may change: the input, its drawn tolerance, its cost.
struct Item {
    input: usize,
    tol: f64,
    cost: Cost,
}

/// Finds the tolerances that cost least.
///
/// # Errors
/// [`AllocateError`]: nothing to change or to keep, a ceiling that cannot be kept, and whatever the analysis refuses.
pub fn allocate(
    stack: &Stack,
    options: &AllocateOptions,
    progress: &dyn Progress,
) -> Result<Allocation, AllocateError> {
    let items = items(stack)?;
    let limited = stack.requirements.iter().filter(|r| r.lower.is_some() || r.upper.is_some());
    let Some(default) = limited.map(|r| r.max_out).min_by(f64::total_cmp) else {
        return Err(AllocateError::NoLimits);
    };
    let ceiling = options.max_out.unwrap_or(default);
    if !(ceiling > 0.0 && ceiling < 1.0) {
        return Err(AllocateError::Ceiling { value: ceiling });
    }
    let analysis = Options { seed: options.seed, ..Options::default() };
    let mut at = stack.clone();
    let mut shares = limits_of(&at, &analysis, ceiling, progress)?;
    let (out_now, mut tols) = (shares.joint, items.iter().map(|item| item.tol).collect::<Vec<f64>>());
    let cost_now = items.iter().map(|item| price(&item.cost, item.tol)).sum::<Option<f64>>();

    // The best that kept the ceiling by the whole model.
    let mut best: Option<(f64, Vec<f64>, Optimum, Shares)> = None;
    let mut rounds = 0;
    // What the planes are asked to keep: below the ceiling by as much as the whole model was last above it.
    let mut aim = ceiling;
    let mut last_cost = f64::INFINITY;
    loop {
        rounds += 1;
        let (next, optimum) = match optimise(&items, &tols, &shares, aim, options.seed, progress) {
            // By the planes, and for what they were asked to keep: what is asked is told of the whole model.
            Err(AllocateError::OutOfReach { .. }) if best.is_some() => break,
            Err(AllocateError::OutOfReach { .. }) => {
                return Err(out_of_reach(stack, &items, &analysis, ceiling, progress)?);
            }
            found => found?,
        };
        if progress.cancelled() {
            return Err(SpreadError::Cancelled.into());
        }
        let moved = next.iter().zip(&tols).map(|(a, b)| (a / b).ln().abs()).fold(0.0, f64::max);
        tols = next;
        for (item, tol) in items.iter().zip(&tols) {
            scale(&mut at, stack, item, tol / item.tol);
        }
        shares = limits_of(&at, &analysis, ceiling, progress)?;
        let cost = items.iter().zip(&tols).map(|(item, tol)| price(&item.cost, *tol)).sum::<Option<f64>>();
        let cost = cost.unwrap_or(f64::INFINITY);
        // By the bound: an estimate within the ceiling shows nothing.
        let keeps = shares.bound <= ceiling * (1.0 + 1e-9);
        let all_used = shares.bound >= ceiling * (1.0 - GIVEN_AWAY);
        // Where grades change places with others as cheap, tolerances move and the cost does not.
        let graded = !matches!(optimum, Optimum::Kkt { .. });
        let settled = moved < SETTLED || (graded && (last_cost / cost - 1.0).abs() < SETTLED);
        let last = rounds >= ROUNDS || (keeps && settled && (graded || all_used || widest(&items, &tols)));
        last_cost = cost;
        if keeps && best.as_ref().is_none_or(|(least, ..)| cost <= least * (1.0 + 1e-9)) {
            // Kept for the case that later rounds do worse.
            best = Some((cost, tols.clone(), optimum, shares.clone()));
        }
        if last {
            break;
        }
        if !(keeps && (graded || all_used)) {
            // Just within, by the whole model: the planes may say too little, or too much.
            let wanted = ceiling * (1.0 - 0.3 * GIVEN_AWAY) / shares.bound.max(1e-300);
            aim = (aim * wanted).clamp(0.2 * ceiling, (3.0 * ceiling).min(0.5 * (1.0 + ceiling)));
        }
    }
    let Some((cost, tols, mut optimum, shares)) = best else {
        return Err(out_of_reach(stack, &items, &analysis, ceiling, progress)?);
    };
    // Planes that say too much (tied dimensions that are not normal, say) lead to tolerances tighter than the ceiling asks: no least cost.
    if let Optimum::Kkt { residual } = &mut optimum
        && shares.bound < UNUSED * ceiling
        && !widest(&items, &tols)
    {
        *residual = f64::INFINITY;
    }
    for (item, tol) in items.iter().zip(&tols) {
        scale(&mut at, stack, item, tol / item.tol);
    }
    let load_not_settled = joint_with_other_loads(&at, &analysis, ceiling, progress)?;
    let never_binds = never_binding(&at)?;
    let mut warnings = shares.warnings;
    warnings.extend(never_binds.iter().map(NeverBinds::warning));
    if let Optimum::Best { at_least, .. } = &mut optimum
        && let Some(bays) = by_bay::at_least(stack, &items, options, ceiling, progress)?
    {
        // Costs that meet the bound are its own slack.
        *at_least = at_least.max(bays.min(cost));
    }
    let dimensions = items.iter().zip(&tols).map(|(item, tol)| allocated(stack, item, *tol)).collect();
    Ok(Allocation {
        load_not_settled,
        doubts: shares.loose,
        never_binds,
        ceiling,
        out: shares.joint,
        ci95: shares.ci95,
        bound: shares.bound,
        out_now,
        cost,
        cost_now,
        dimensions,
        requirements: shares.out,
        optimum,
        rounds,
        warnings,
        length_unit: "mm",
    })
}

/// Whether every tolerance is as wide as is looked at.
fn widest(items: &[Item], tols: &[f64]) -> bool {
    items.iter().zip(tols).all(|(item, tol)| *tol >= item.tol * WIDEST * 0.9999)
}

fn items(stack: &Stack) -> Result<Vec<Item>, AllocateError> {
    let mut items = Vec::new();
    for (k, input) in stack.inputs.iter().enumerate() {
        let Some(cost) = &input.cost else { continue };
        let dimension = || stack.pack.dimensions.get(k).map(|d| d.path.clone()).unwrap_or_default();
        let half = input.limits.map_or(0.0, |l| 0.5 * (l.upper - l.lower));
        if !(half > 0.0 && half.is_finite()) || input.distribution.is_exact() {
            return Err(AllocateError::NoTolerance { dimension: dimension() });
        }
        let wrong = |what, value, expected| Err(AllocateError::Cost { dimension: dimension(), what, value, expected });
        match cost {
            Cost::Power { fixed, scale, exponent } => {
                for (what, value) in [("b", *scale), ("k", *exponent)] {
                    if !(value > 0.0 && value.is_finite()) {
                        return wrong(what, value, "it must be above 0");
                    }
                }
                if !fixed.is_finite() {
                    return wrong("a", *fixed, "it must be a number");
                }
            }
            Cost::Grades(grades) => {
                if grades.is_empty() {
                    return wrong("the number of grades", 0.0, "there must be at least one");
                }
                for (tol, price) in grades {
                    if !(*tol > 0.0 && tol.is_finite()) {
                        return wrong("the tolerance of a grade", *tol, "it must be above 0");
                    }
                    if !(*price >= 0.0 && price.is_finite()) {
                        return wrong("the price of a grade", *price, "it must not be negative");
                    }
                }
            }
        }
        items.push(Item { input: k, tol: half, cost: cost.clone() });
    }
    if items.is_empty() { Err(AllocateError::NoCosts) } else { Ok(items) }
}

/// What a tolerance costs; None where it is no grade.
fn price(cost: &Cost, tol: f64) -> Option<f64> {
    match cost {
        Cost::Power { fixed, scale, exponent } => Some(fixed + scale / tol.powf(*exponent)),
        Cost::Grades(grades) => grade_of(grades, tol).map(|g| grades[g].1),
    }
}

fn grade_of(grades: &[(f64, f64)], tol: f64) -> Option<usize> {
    let same = |grade: &&(usize, &(f64, f64))| (grade.1.0 / tol - 1.0).abs() < 1e-9;
    // Of two grades of one tolerance the cheaper.
    let all: Vec<(usize, &(f64, f64))> = grades.iter().enumerate().collect();
    all.iter().filter(same).min_by(|a, b| a.1.1.total_cmp(&b.1.1)).map(|(g, _)| *g)
}

fn allocated(stack: &Stack, item: &Item, tol: f64) -> Allocated {
    let grade = match &item.cost {
        Cost::Grades(grades) => grade_of(grades, tol),
        Cost::Power { .. } => None,
    };
    let at_bound = match &item.cost {
        Cost::Power { .. } if tol <= item.tol * TIGHTEST * 1.0001 => Some(AtBound::Tightest),
        Cost::Power { .. } if tol >= item.tol * WIDEST * 0.9999 => Some(AtBound::Widest),
        _ => None,
    };
    Allocated {
        dimension: stack.pack.dimensions[item.input].path.clone(),
        input: item.input,
        tol_now: item.tol,
        tol,
        cost: price(&item.cost, tol).unwrap_or(f64::NAN),
        grade,
        at_bound,
    }
}

/// The least cost on the planes of the present point, whose tolerances are `tols`.
fn optimise(
    items: &[Item],
    tols: &[f64],
    shares: &Shares,
    ceiling: f64,
    seed: u64,
    progress: &dyn Progress,
) -> Result<(Vec<f64>, Optimum), AllocateError> {
    let stopped = || progress.cancelled();
    let inputs = items.iter().map(|item| item.input).collect();
    let joint = JointShare::new(&shares.limits, &shares.population, inputs, seed, ceiling, &stopped);
    let mut variables: Vec<(usize, Variable)> = Vec::new();
    let mut choices: Vec<Choice> = Vec::new();
    let mut tightest = vec![1.0; items.len()];
    for (place, (item, now)) in items.iter().zip(tols).enumerate() {
        match &item.cost {
            Cost::Power { scale, exponent, .. } => {
                let bounds = (TIGHTEST * item.tol / now, WIDEST * item.tol / now);
                tightest[place] = bounds.0;
                variables.push((place, Variable { tol: *now, scale: *scale, exponent: *exponent, bounds }));
            }
            Cost::Grades(grades) => {
                let grades = worth_having(grades).into_iter().map(|(tol, price)| (tol / now, price)).collect();
                let choice = Choice { place, grades };
                tightest[place] = choice.grades.first().map_or(1.0, |g| g.0);
                choices.push(choice);
            }
        }
    }
    let out_of_reach = || AllocateError::OutOfReach { best: joint.joint(&tightest), ceiling };
    let tols_of = |factors: &[f64]| factors.iter().zip(tols).map(|(f, tol)| f * tol).collect::<Vec<f64>>();
    if choices.is_empty() {
        let start = vec![1.0; items.len()];
        let solution = continuous::solve(&joint, ceiling, &variables, &start, true).ok_or_else(out_of_reach)?;
        let residual = if solution.converged { solution.to_save } else { f64::INFINITY };
        return Ok((tols_of(&solution.factors), Optimum::Kkt { residual }));
    }
    // Most influential first: they decide earliest what fits.
    let limits = joint.normal_shares().into_iter().flatten();
    let influence = limits.fold(vec![0.0; items.len()], |mut sum: Vec<f64>, limit| {
        sum.iter_mut().zip(&limit.parts).for_each(|(s, p)| *s = s.max(*p));
        sum
    });
    choices.sort_by(|a, b| influence[b.place].total_cmp(&influence[a.place]).then(a.place.cmp(&b.place)));
    let leaf = |factors: &[f64]| -> Option<(f64, Vec<f64>)> {
        if variables.is_empty() {
            return joint.within(factors).then(|| (0.0, factors.to_vec()));
        }
        // What is not graded starts from where it is.
        let mut start = factors.to_vec();
        variables.iter().for_each(|(place, _)| start[*place] = 1.0);
        let solution = continuous::solve(&joint, ceiling, &variables, &start, false)?;
        let cost = variables.iter().map(|(place, v)| v.cost(solution.factors[*place])).sum();
        Some((cost, solution.factors))
    };
    let found = discrete::search(&joint, &choices, &variables, &tightest, &leaf).ok_or_else(out_of_reach)?;
    let branches = found.nodes;
    let optimum = if found.proven {
        Optimum::Proven { branches }
    } else {
        let fixed = |item: &Item| if let Cost::Power { fixed, .. } = item.cost { fixed } else { 0.0 };
        Optimum::Best { branches, at_least: found.at_least + items.iter().map(fixed).sum::<f64>() }
    };
    Ok((tols_of(&found.factors), optimum))
}

/// Why no tolerances were found: the share outside with all of them at their tightest, by the whole model.
fn out_of_reach(
    stack: &Stack,
    items: &[Item],
    analysis: &Options,
    ceiling: f64,
    progress: &dyn Progress,
) -> Result<AllocateError, SpreadError> {
    let mut at = stack.clone();
    for item in items {
        let tightest = match &item.cost {
            Cost::Power { .. } => TIGHTEST * item.tol,
            Cost::Grades(grades) => grades.iter().map(|(tol, _)| *tol).fold(f64::INFINITY, f64::min),
        };
        scale(&mut at, stack, item, tightest / item.tol);
    }
    let best = limits_of(&at, analysis, ceiling, progress)?;
    Ok(if best.bound <= ceiling {
        AllocateError::NotFound { best: best.joint.value, ceiling }
    } else {
        AllocateError::OutOfReach { best: best.joint.value, ceiling }
    })
}

/// The grades of which none is both tighter and no dearer than another, tightest first.
fn worth_having(grades: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted = grades.to_vec();
    sorted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.total_cmp(&b.1)));
    let mut kept: Vec<(f64, f64)> = Vec::new();
    // From the widest on: a tighter grade that costs no more than the last kept replaces it.
    for grade in sorted {
        while kept.last().is_some_and(|last| grade.1 <= last.1 && grade.0 <= last.0) {
            kept.pop();
        }
        kept.push(grade);
    }
    kept.reverse();
    kept
}

/// Gives an input the scatter of a tolerance `factor` times the drawn one.
fn scale(at: &mut Stack, drawn: &Stack, item: &Item, factor: f64) {
    let from = &drawn.inputs[item.input];
    let to = &mut at.inputs[item.input];
    to.distribution = scaled(&from.distribution, from.distribution.mean(), factor);
    to.limits = from.limits.map(|l| {
        let middle = 0.5 * (l.lower + l.upper);
        DrawnLimits { lower: middle + factor * (l.lower - middle), upper: middle + factor * (l.upper - middle) }
    });
}

/// The distribution of mean + factor·(X − mean).
fn scaled(distribution: &Distribution, mean: f64, factor: f64) -> Distribution {
    let about = |x: f64| mean + factor * (x - mean);
    match distribution {
        Distribution::Normal { mean: m, sd } => Distribution::Normal { mean: about(*m), sd: factor * sd },
        Distribution::TruncatedNormal { mean: m, sd, lower, upper } => Distribution::TruncatedNormal {
            mean: about(*m),
            sd: factor * sd,
            lower: about(*lower),
            upper: about(*upper),
        },
        Distribution::Rectangular { lower, upper } => {
            Distribution::Rectangular { lower: about(*lower), upper: about(*upper) }
        }
        Distribution::Triangular { lower, upper } => {
            Distribution::Triangular { lower: about(*lower), upper: about(*upper) }
        }
        Distribution::Trapezoidal { lower, upper, beta } => {
            Distribution::Trapezoidal { lower: about(*lower), upper: about(*upper), beta: *beta }
        }
        Distribution::CurvilinearTrapezoidal { lower, upper, inexactness } => Distribution::CurvilinearTrapezoidal {
            lower: about(*lower),
            upper: about(*upper),
            inexactness: factor * inexactness,
        },
        Distribution::Arcsine { lower, upper } => Distribution::Arcsine { lower: about(*lower), upper: about(*upper) },
        Distribution::ScaledShiftedT { degrees_of_freedom, location, scale } => Distribution::ScaledShiftedT {
            degrees_of_freedom: *degrees_of_freedom,
            location: about(*location),
            scale: factor * scale,
        },
        // Of these only the standard deviation goes with the tolerance; the end at 0 stays, so the shape follows.
        Distribution::LogNormal { mean, sd } => Distribution::LogNormal { mean: *mean, sd: factor * sd },
        Distribution::Gamma { shape, scale } => {
            Distribution::Gamma { shape: shape / (factor * factor), scale: scale * factor * factor }
        }
        Distribution::Empirical { readings } => {
            Distribution::Empirical { readings: readings.iter().map(|r| about(*r)).collect() }
        }
        Distribution::Sum { terms } => {
            Distribution::Sum { terms: terms.iter().map(|term| scaled(term, term.mean(), factor)).collect() }
        }
        // An exponential has no width of its own; an exact value none at all.
        other => other.clone(),
    }
}
