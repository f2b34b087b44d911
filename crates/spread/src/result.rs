//! What `stack` answers: one tree of plain values, which the report crate renders and other code reads.
//!
//! A figure that could not be computed is `None`, never 0. A standard error of 0 means exact.

use crate::analyse::NeverBinds;
use crate::method::Method;
use crate::warning::{Warning, relative_percent};
use packdrift_pack::{QuantityKind, StressPoint};
use packdrift_verdict::Verdict;

/// The answer for a whole pack.
#[derive(Debug, Clone, PartialEq)]
pub struct StackResult {
    /// In the order of [`crate::Stack::requirements`].
    pub requirements: Vec<RequirementResult>,
    /// All requirements together; None where there is none with a limit.
    pub joint: Option<Joint>,
    /// What follows from the spread for whoever may change something.
    pub questions: Questions,
    /// The accuracy that was asked for, and the worst that was reached of any share outside with limits; None where none was asked for.
    pub accuracy: Option<Accuracy>,
    /// What was computed with.
    pub run: Run,
    /// What the reader should know before relying on the figures.
    pub warnings: Vec<Warning>,
    /// The unit of every length in it: `mm`, or `in` after [`StackResult::in_inches`].
    pub length_unit: &'static str,
}

impl StackResult {
    /// Whether every requirement is acceptable, and the accuracy asked for was reached.
    pub fn acceptable(&self) -> bool {
        self.verdict().is_none_or(|verdict| verdict.is_shown())
    }

    /// The verdict on the pack: the worst of its requirements, and whether the accuracy asked for was reached. None where there is nothing to
    /// judge.
    pub fn verdict(&self) -> Option<Verdict> {
        let of_requirements = self.requirements.iter().filter_map(|r| r.verdict.clone());
        let of_accuracy = self.accuracy.filter(|accuracy| !accuracy.is_reached()).map(|accuracy| {
            let reached = match accuracy.reached {
                reached if reached.is_finite() => format!("{} was reached", relative_percent(reached)),
                _ => "no pack was found outside, which shows nothing of it".to_owned(),
            };
            let asked = relative_percent(accuracy.asked);
            Verdict::not_shown(format!("a relative standard error of {asked} was asked for with --until: {reached}"))
                .settled_by("Accept less accuracy, or do what the remarks say of it.")
        });
        of_requirements.chain(of_accuracy).reduce(Verdict::and)
    }
}

/// An accuracy that was asked for: relative standard error of the shares outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// Asked for.
    pub asked: f64,
    /// Of the share that is known worst; infinite where nothing was outside and that decides something.
    pub reached: f64,
}

impl Accuracy {
    /// Whether it is as good as was asked for.
    pub fn is_reached(&self) -> bool {
        self.reached <= self.asked
    }
}

/// What a result was computed with; the same run gives the same bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The user's seed.
    pub seed: u64,
    /// Version of what turns the seed into numbers ([`packdrift_numerics::stream::ALGORITHM`]).
    pub algorithm: &'static str,
    /// Trials of the plain Monte Carlo run.
    pub trials: u64,
    /// The first input values at which the pack had no response, at most five, and how many trials did that in all (left out of every
    /// figure).
    pub failed: Failed,
}

/// Trials in which the model had no response.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Failed {
    /// How many.
    pub trials: u64,
    /// Why, and where: at most five, in the order of the trials.
    pub first: Vec<String>,
}

/// The answer for one requirement in one condition.
#[derive(Debug, Clone, PartialEq)]
pub struct RequirementResult {
    /// As in the file.
    pub name: String,
    /// What is bounded.
    pub quantity: QuantityKind,
    /// Where, of a stress.
    pub point: Option<StressPoint>,
    /// The condition's name.
    pub condition: String,
    /// `mm`, `N` or `MPa`.
    pub unit: &'static str,
    /// Smallest acceptable value.
    pub lower: Option<f64>,
    /// Largest acceptable value.
    pub upper: Option<f64>,
    /// The aim: as given, or the middle of the limits where there are two.
    pub target: Option<f64>,
    /// Largest acceptable share outside.
    pub max_out: f64,
    /// With every dimension at its drawing nominal (of a loose bay the middle of the range); None where the pack cannot be assembled.
    pub nominal: Option<f64>,
    /// The extremes.
    pub worst_case: WorstCase,
    /// By the law of propagation of uncertainty at the means; None where the pack cannot be assembled there.
    pub root_sum_square: Option<RootSumSquare>,
    /// The distribution (`monte_carlo` in JSON, whatever the method).
    pub spread: Spread,
    /// Capability indices.
    pub capability: Capability,
    /// What contributes, largest variance share first.
    pub contributors: Vec<Contributor>,
    /// Whether the share outside is shown to be at most `max_out`; None without limits.
    pub verdict: Option<Verdict>,
    /// What no share outside can settle: a loose bay, a limit that can never bind. They are in `verdict` too.
    pub doubts: Vec<Verdict>,
    /// Its limits that can never bind: they are among the doubts.
    pub never_binds: Vec<NeverBinds>,
    /// Whether it is shown; true without limits, where nothing is asked.
    pub acceptable: bool,
    /// The share beyond other limits; None unless it was asked for ([`crate::Options::moved_limits`]).
    pub moved: Option<MovedLimits>,
}

/// The share of packs beyond a limit as that limit is moved, both lists by rising limit. What cannot be assembled is not in it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MovedLimits {
    /// Below a lower limit; the share rises with the limit.
    pub lower: Vec<LimitShare>,
    /// Above an upper limit; the share falls.
    pub upper: Vec<LimitShare>,
}

/// A limit and the share of packs beyond it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitShare {
    /// In the requirement's unit.
    pub limit: f64,
    /// Above 0.
    pub share: f64,
}

/// The extremes over the box of limits.
#[derive(Debug, Clone, PartialEq)]
pub struct WorstCase {
    /// Smallest value (of a loose bay its low end) anywhere in the box where the pack can be assembled; None where it nowhere can.
    pub min: Option<f64>,
    /// Largest value (of a loose bay its high end).
    pub max: Option<f64>,
    /// Input values at which the smallest occurs; empty where there is none.
    pub at_min: Vec<f64>,
    /// Input values at which the largest occurs.
    pub at_max: Vec<f64>,
    /// Whether somewhere in the box the bay is loose.
    pub loose: bool,
    /// Whether somewhere in the box the pack cannot be assembled; min and max then cover the rest of the box.
    pub cannot_assemble: bool,
}

/// Mean and standard deviation by first-order propagation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RootSumSquare {
    /// The response at the means of the dimensions.
    pub mean: f64,
    /// √(gᵀ C g) with the gradient g at the means and the covariance C of the dimensions, lots included.
    pub sd: f64,
}

/// The distribution of a response: of the values, or of the middles of the ranges where the bay is loose. Trials that cannot be assembled
/// have no value and count only in `out` and `cannot_assemble`.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Trials that the figures rest on; 0 where the method has none.
    pub trials: u64,
    /// Mean; None where no trial has a value.
    pub mean: Option<f64>,
    /// Standard deviation; None with fewer than two values.
    pub sd: Option<f64>,
    /// Standard error of the mean.
    pub standard_error: Option<f64>,
    /// At [`QUANTILE_ORDERS`]; empty where no trial has a value.
    pub quantiles: Vec<Quantile>,
    /// How the share outside was computed.
    pub method: Method,
    /// How mean, standard deviation and quantiles were computed.
    pub moments_method: Method,
    /// Shares outside the limits.
    pub out: Share,
    /// Share of trials in which the bay cannot be assembled.
    pub cannot_assemble: f64,
    /// Share of trials in which the bay is loose.
    pub loose: f64,
    /// For figures.
    pub histogram: Option<Histogram>,
}

/// The orders of the quantiles that are listed: the ends of 99.73 % and 95 %, and the median.
pub const QUANTILE_ORDERS: [f64; 5] = [0.00135, 0.025, 0.5, 0.975, 0.99865];

/// A quantile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantile {
    /// Share of the values below it.
    pub order: f64,
    /// Its value.
    pub value: f64,
    /// Its standard error; None where the trials do not allow one.
    pub standard_error: Option<f64>,
}

/// Shares outside the limits. A trial that is outside on both sides (a loose bay) counts on the side it exceeds by more; a trial that cannot
/// be assembled counts in `total` alone, so total = below + above + cannot assemble.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Below the lower limit.
    pub below: f64,
    /// Above the upper limit.
    pub above: f64,
    /// Outside.
    pub total: f64,
    /// Of `total`.
    pub standard_error: f64,
    /// 95 % confidence interval of `total`.
    pub ci95: (f64, f64),
    /// Three standard errors to either side, and what may be there although it was seen nowhere: a verdict rests on these.
    pub bounds: (f64, f64),
}

/// Shares of equally wide bins, for figures: what lies outside the bins is not shown but counted.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Left edge of the first bin.
    pub lower: f64,
    /// Width of each bin.
    pub width: f64,
    /// Share of all trials in each bin.
    pub shares: Vec<f64>,
    /// Share below the first bin.
    pub below: f64,
    /// Share above the last bin.
    pub above: f64,
}

/// Capability and performance indices; None where a limit that the index needs is missing, or the spread is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// (upper − lower) over six within-lot standard deviations, or the percentile form of it.
    pub cp: Option<f64>,
    /// The same to the nearer limit.
    pub cpk: Option<f64>,
    /// (upper − lower) over six overall standard deviations, or over the 99.73 % interval.
    pub pp: Option<f64>,
    /// The same to the nearer limit.
    pub ppk: Option<f64>,
    /// Which of the two forms.
    pub form: CapabilityForm,
}

/// How capability indices were computed (ISO 22514-2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CapabilityForm {
    /// From mean and standard deviation.
    Normal,
    /// From the 0.135 %, 50 % and 99.865 % quantiles.
    Percentile,
}

/// What contributes to the spread of a response.
#[derive(Debug, Clone, PartialEq)]
pub struct Contributor {
    /// The dimension's path, or `lot/NAME` for the deviation that a lot shares.
    pub dimension: String,
    /// Where it is.
    pub source: Source,
    /// Partial derivative at the means.
    pub sensitivity: f64,
    /// Share of the first-order variance; with correlated dimensions `g_k·(C g)_k` over the variance, which may be negative.
    pub variance_share: f64,
    /// First-order Sobol' index.
    pub sobol_first: Option<Estimate>,
    /// Total Sobol' index.
    pub sobol_total: Option<Estimate>,
}

/// Where a contributor is in the stack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Source {
    /// Index into [`crate::Stack::inputs`].
    Input(usize),
    /// Index into [`crate::Stack::lots`].
    Lot(usize),
}

/// A number and its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
}

/// All requirements together.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Share of packs in which at least one requirement fails.
    pub out: Estimate,
    /// 95 % confidence interval of it.
    pub ci95: (f64, f64),
    /// It is not above this, at three standard errors, whatever the dependence of the requirements.
    pub bound: f64,
    /// The sum of the single shares, the upper bound that ignores dependence (Bonferroni).
    pub sum: f64,
    /// Correlation of the responses, `correlation[i][j]`, over the trials in which both have a value; None where a response does not vary.
    pub correlation: Vec<Vec<Option<f64>>>,
}

/// What follows from the spread for whoever may change something.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Questions {
    /// For each requirement, in the order of the requirements: one answer for each of its contributors, in their order.
    pub answers: Vec<Vec<Answer>>,
    /// For each pair of requirements of one condition that depend on each other.
    pub together: Vec<Together>,
    /// For each requirement that is asked in several conditions: each later one against the first.
    pub changes: Vec<Change>,
}

/// What one contributor, changed alone, does to one requirement. None where the requirement has no limits, or there is no such change.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The dimension's path, or `lot/NAME`.
    pub dimension: String,
    /// Where it is.
    pub source: Source,
    /// Factor by which its scatter may grow, alone, until the share outside is the largest acceptable one; below 1 where it must shrink; infinite where it
    /// does not matter; None where even a perfect one would not make the requirement acceptable.
    pub may_open: Option<f64>,
    /// Share outside if it were perfect: exactly at its mean, every one.
    pub out_if_perfect: Option<f64>,
    /// Share outside now, less that: what it costs in share outside.
    pub share_outside_due_to: Option<f64>,
    /// By how much its nominal would have to be moved, alone, to bring the mean to the target; its own unit.
    pub shift_to_centre: Option<f64>,
    /// Share outside after that.
    pub out_if_shifted: Option<f64>,
}

impl Answer {
    pub(crate) fn none(dimension: String, source: Source) -> Self {
        Self {
            dimension,
            source,
            may_open: None,
            out_if_perfect: None,
            share_outside_due_to: None,
            shift_to_centre: None,
            out_if_shifted: None,
        }
    }
}

/// How two requirements of one condition go together.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// Index into [`StackResult::requirements`].
    pub first: usize,
    /// Index into [`StackResult::requirements`].
    pub second: usize,
    /// Correlation of the values.
    pub correlation: Option<f64>,
    /// Spearman's: of the ranks.
    pub rank_correlation: Option<f64>,
    /// Share of packs in which both fail.
    pub both_out: f64,
    /// Share of packs in which at least one of the two fails.
    pub either_out: f64,
}

/// What changes of a requirement from one condition to another: the later less the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The requirement's name.
    pub name: String,
    /// The first condition.
    pub from: String,
    /// The later condition.
    pub to: String,
    /// Of the value at the nominals.
    pub nominal: Option<f64>,
    /// Of the mean.
    pub mean: Option<f64>,
    /// Of the standard deviation.
    pub sd: Option<f64>,
    /// Of the share outside.
    pub out: f64,
}
