//! Can this gauge see the difference? A crossed study: every operator measures every part several times.
//!
//! The readings' variance splits into repeatability (the same operator and part again), reproducibility (between operators, and operators
//! differing by part) and the parts' own. Balanced studies by analysis of variance, with and without the operator-by-part interaction, and
//! beside it by averages and ranges; unbalanced ones by restricted maximum likelihood.

mod anova;
mod foreign;
mod generalised;
#[cfg(test)]
mod made;
mod ranges;
mod reml;
mod table;
mod tell;
mod wild;

pub use anova::{AnovaTable, MeanSquareRow};
pub use ranges::AverageAndRange;
pub use table::{CellRange, OperatorSummary};
pub use tell::Discrimination;
pub use wild::WildReading;

use crate::LotError;
use crate::error::share;
use crate::interval::Interval;
use crate::readings::Readings;
use crate::sample::Moments;
use packdrift_numerics::stream::DEFAULT_SEED;
use packdrift_verdict::{Evidence, Verdict};
use std::collections::BTreeMap;
use table::Table;

/// Whether operators may differ by part.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Interaction {
    /// Kept where its F test falls below 25 % (a generous level, since leaving a real interaction out flatters the gauge); otherwise pooled
    /// into repeatability.
    #[default]
    ByTest,
    /// Kept.
    With,
    /// Pooled into repeatability.
    Without,
}

/// Options of [`study`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeOptions {
    /// Width of the tolerance the gauge is to judge (upper less lower limit), mm.
    pub tolerance: Option<f64>,
    /// The smallest difference between two sizes it must tell, mm.
    pub difference: Option<f64>,
    /// Operator-by-part interaction.
    pub interaction: Interaction,
    /// Of intervals.
    pub confidence: f64,
    /// Up to this share (of tolerance, or of total where there is none) the gauge is fit; 0.10 is common practice (AIAG's manual).
    pub fit_up_to: f64,
    /// Above this share it is unfit; 0.30 is common practice (AIAG's manual).
    pub unfit_above: f64,
    /// Of the simulated intervals.
    pub seed: u64,
}

impl Default for GaugeOptions {
    fn default() -> Self {
        Self {
            tolerance: None,
            difference: None,
            interaction: Interaction::ByTest,
            confidence: 0.95,
            fit_up_to: 0.10,
            unfit_above: 0.30,
            seed: DEFAULT_SEED,
        }
    }
}

/// Largest confidence of a study: the intervals are quantiles of 10 000 draws (4 000 of an unbalanced study), of which it leaves five (two) beyond each end.
/// The end of a bound asked for beyond that would be the farthest draw, whatever was asked.
const MOST_CONFIDENCE: f64 = 0.999;

impl GaugeOptions {
    /// Refuses options without sense.
    ///
    /// # Errors
    /// A tolerance or difference not above 0; a confidence below 0.75 or above 0.999; a share outside 0 to 1; bounds the wrong way round.
    pub fn check(&self) -> Result<(), LotError> {
        for (what, value) in [("the tolerance", self.tolerance), ("the difference to be told", self.difference)] {
            if let Some(value) = value
                && !(value > 0.0 && value.is_finite())
            {
                return Err(LotError::OutOfRange { what: what.into(), value, expected: "above 0 mm".into() });
            }
        }
        // At one half a bound is the estimate; below it lies on the wrong side, and any gauge would be good enough.
        crate::error::confidence(self.confidence)?;
        if self.confidence > MOST_CONFIDENCE {
            let expected =
                format!("at most {MOST_CONFIDENCE}: beyond it too few of the draws behind the intervals are left");
            return Err(LotError::OutOfRange { what: "the confidence".into(), value: self.confidence, expected });
        }
        share("the share up to which the gauge is fit", self.fit_up_to)?;
        share("the share above which the gauge is unfit", self.unfit_above)?;
        if self.fit_up_to > self.unfit_above {
            return Err(LotError::OutOfRange {
                what: "the share up to which the gauge is fit".into(),
                value: self.fit_up_to,
                expected: format!("at most the share above which it is unfit, {}", self.unfit_above),
            });
        }
        Ok(())
    }
}

/// Whether two operators read every part that both read the same, in every trial: independent readings of a gauge that scatters are not.
fn copied(readings: &Readings) -> bool {
    let mut by_operator: BTreeMap<u32, BTreeMap<(u32, u32), f64>> = BTreeMap::new();
    for (k, operator) in readings.operator.iter().enumerate() {
        let cell = (readings.part[k], readings.trial.get(k).copied().unwrap_or_default());
        by_operator.entry(*operator).or_default().insert(cell, readings.reading[k]);
    }
    let all: Vec<_> = by_operator.values().collect();
    let same = |a: &BTreeMap<(u32, u32), f64>, b: &BTreeMap<(u32, u32), f64>| {
        let mut both = a.iter().filter_map(|(cell, x)| Some((x, b.get(cell)?))).peekable();
        both.peek().is_some() && both.all(|(x, y)| x.total_cmp(y).is_eq())
    };
    (0..all.len()).any(|i| all[i + 1..].iter().any(|other| same(all[i], other)))
}

/// A standard deviation with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SdEstimate {
    /// mm.
    pub sd: f64,
    /// mm; the lower end may be 0.
    pub interval: Interval,
}

/// Where the variance comes from, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeComponents {
    /// Same operator, same part, again.
    pub repeatability: SdEstimate,
    /// Between operators, over all parts; None with one operator.
    pub operators: Option<SdEstimate>,
    /// Operators differing by part; None where pooled, or with one operator.
    pub interaction: Option<SdEstimate>,
    /// Operators and interaction together.
    pub reproducibility: SdEstimate,
    /// Repeatability and reproducibility together: a single reading by any operator. What `trend` takes as the reading's sd and a measured
    /// piece as its `u` (calibration comes on top).
    pub gauge: SdEstimate,
    /// Between parts.
    pub parts: SdEstimate,
    /// All.
    pub total: SdEstimate,
}

impl GaugeComponents {
    /// Gauge sd over total sd.
    pub fn share_of_total(&self) -> f64 {
        self.gauge.sd / self.total.sd
    }

    /// Six gauge sd over the tolerance.
    pub fn share_of_tolerance(&self, tolerance: f64) -> f64 {
        6.0 * self.gauge.sd / tolerance
    }

    /// √`2·σ_parts/σ_gauge`, rounded down, at least 1: how many groups of parts the gauge tells apart (Wheeler and Lyday 1989). None where the
    /// gauge shows no scatter.
    pub fn distinct_categories(&self) -> Option<u64> {
        (self.gauge.sd > 0.0).then(|| ((std::f64::consts::SQRT_2 * self.parts.sd / self.gauge.sd) as u64).max(1))
    }
}

/// How the components were computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GaugeMethod {
    /// Analysis of variance with the interaction.
    AnovaWithInteraction,
    /// Analysis of variance, interaction pooled into repeatability.
    AnovaPooled,
    /// Restricted maximum likelihood, for an unbalanced study.
    Reml {
        /// Whether the interaction is in the model.
        interaction: bool,
        /// Whether the search reached its optimum.
        converged: bool,
        /// Restricted log-likelihood.
        log_likelihood: f64,
    },
}

/// Whether the gauge can be used, by the interval of the share that decides: its end, not the estimate. From best to worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fitness {
    /// Shown to be small.
    Fit,
    /// Shown to be at most the larger of the two bounds: usable where the risk is small, or with the mean of repeat readings.
    Marginal,
    /// The estimate is within the larger bound, but the study leaves more open.
    NotShown,
    /// Its share is too large.
    Unfit,
}

/// The answer of a gauge study.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeStudy {
    /// Parts.
    pub parts: usize,
    /// Operators.
    pub operators: usize,
    /// Readings.
    pub readings: usize,
    /// Trials of each operator on each part, where all have as many.
    pub trials: Option<usize>,
    /// Mean of all readings, mm.
    pub mean: f64,
    /// How the components were computed.
    pub method: GaugeMethod,
    /// The components.
    pub components: GaugeComponents,
    /// The table with interaction; balanced studies of two or more operators only.
    pub table: Option<AnovaTable>,
    /// By averages and ranges; balanced studies only.
    pub average_and_range: Option<AverageAndRange>,
    /// How many readings of one part to average so that the gauge is fit; None where it already is or no number helps (operators differ).
    pub readings_to_average: Option<u64>,
    /// Each operator.
    pub by_operator: Vec<OperatorSummary>,
    /// Cells whose range is beyond the control limit: a slip of the pen, a part not seated.
    pub odd_cells: Vec<CellRange>,
    /// What it tells apart.
    pub discrimination: Option<Discrimination>,
    /// The verdict.
    pub fitness: Fitness,
    /// The share it rests on: of tolerance where there is one, otherwise of total.
    pub deciding_share: f64,
    /// What the readings leave open of that share; the verdict is by its ends. Of total: from the ends of the gauge's and the parts' own intervals.
    pub deciding_interval: Interval,
    /// Why the study shows nothing whatever the interval, in words that end a sentence; None where it may.
    pub unseen: Option<String>,
    /// A reading that stands out from all others, with the answer without it; None where none does. The components above are with it, and the verdict is the
    /// worse of the two.
    pub wild: Option<WildReading>,
    /// What was asked.
    pub options: GaugeOptions,
    /// What the reader should know first.
    pub warnings: Vec<GaugeWarning>,
}

/// What the reader should know before relying on a gauge study.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum GaugeWarning {
    /// Not every operator measured every part as often.
    Unbalanced,
    /// A single operator: reproducibility is not known.
    OneOperator,
    /// Few parts or operators: their component is hardly known.
    Few {
        /// `parts` or `operators`.
        what: &'static str,
        /// How many.
        count: usize,
        /// How many are advised.
        advised: usize,
    },
    /// The search for the restricted likelihood's maximum did not reach it.
    NotConverged,
    /// The instrument's step is larger than its repeatability: repeat readings mostly fall in the same step and the study flatters it.
    StepTooCoarse {
        /// mm.
        step: f64,
        /// √(step²/12), the sd of the rounding alone, mm.
        rounding_sd: f64,
    },
}

impl std::fmt::Display for GaugeWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words("mm", &|mm| mm))
    }
}

impl GaugeWarning {
    /// In words, with lengths in a unit that `of` turns mm into.
    pub fn words(&self, unit: &str, of: &dyn Fn(f64) -> f64) -> String {
        match self {
            Self::Unbalanced => "not every operator measured every part as often: the components come from restricted likelihood and their intervals are approximate".to_owned(),
            Self::OneOperator => "a single operator measured: how operators differ is not known, so the gauge may look better than it is in the shop".to_owned(),
            Self::Few { what, count, advised } => format!(
                "only {count} {what}: their scatter is hardly known (see its interval); {advised} or more are advised"
            ),
            Self::NotConverged => "the search for the most likely components stopped before its optimum: check the table for slips, or make the study balanced".to_owned(),
            Self::StepTooCoarse { step, rounding_sd } => format!(
                "repeat readings mostly fall in the same step of {} {unit}: the study cannot see a repeatability below the rounding's own sd of {:.5} {unit}; use a finer instrument or count the rounding in",
                (of(*step) * 1e9).round() / 1e9,
                of(*rounding_sd)
            ),
        }
    }
}

/// Runs a gauge study over a table with operators and trials. Parts of different lots with the same name are different parts. Where one reading stands out
/// from all others the study is run without it too, and the worse of the two is the verdict. Without a tolerance nothing is shown by parts that stand out from
/// the other parts, where less is shown without them.
///
/// # Errors
/// No operators in the table, fewer than two parts, no repeat reading at all, a table that does not hold together, options without sense.
pub fn study(readings: &Readings, options: &GaugeOptions) -> Result<GaugeStudy, LotError> {
    let mut whole = of_all(readings, options)?;
    // Without it there may be no repeats left to study: then it is named, and nothing is said of the rest.
    whole.wild = wild::find(readings).map(|found| {
        let without = of_all(&readings.without(&[found.row]), options).ok();
        WildReading::new(readings, &found, &whole, without.as_ref())
    });
    let better_with_it = |without: Fitness| without > whole.fitness;
    if let Some(without) = whole.wild.as_ref().and_then(|w| w.fitness).filter(|f| better_with_it(*f)) {
        whole.fitness = without;
        whole.unseen.get_or_insert_with(|| "without the reading that stands out less is shown".to_owned());
    }
    // Of all scatter seen, that of the parts is most: one part of another kind makes any gauge small beside it.
    if options.tolerance.is_none()
        && let Some(foreign) = foreign::find(readings)
    {
        let without = of_all(&readings.without(&foreign.rows), options).ok();
        if without.is_none_or(|w| w.fitness > whole.fitness) && whole.fitness < Fitness::NotShown {
            whole.fitness = Fitness::NotShown;
            whole.unseen = Some(foreign.question());
        }
    }
    Ok(whole)
}

/// The study of all readings, whatever stands out.
fn of_all(readings: &Readings, options: &GaugeOptions) -> Result<GaugeStudy, LotError> {
    readings.check()?;
    options.check()?;
    if readings.operator.is_empty() || readings.operators.is_empty() {
        return Err(LotError::Inconsistent("a gauge study needs a column `operator`: who took each reading".into()));
    }
    let table = Table::new(readings);
    if table.parts < 2 {
        return Err(LotError::TooFew { what: "a gauge study".into(), found: table.parts, needed: 2, of: "parts" });
    }
    if !table.has_repeats() {
        return Err(LotError::TooFew {
            what: "repeatability".into(),
            found: 1,
            needed: 2,
            of: "trials of some operator on some part",
        });
    }
    let trials = table.balanced_trials();
    let (components, method, anova) = match trials {
        Some(trials) if table.operators >= 2 => {
            let anova = anova::AnovaTable::new(&table, trials);
            let keep = match options.interaction {
                Interaction::With => true,
                Interaction::Without => false,
                Interaction::ByTest => anova.interaction_p < 0.25,
            };
            let components = anova.components(keep, trials, options);
            (components, if keep { GaugeMethod::AnovaWithInteraction } else { GaugeMethod::AnovaPooled }, Some(anova))
        }
        Some(trials) => (anova::one_operator(&table, trials, options), GaugeMethod::AnovaPooled, None),
        None => {
            let (components, method) = reml::fit(&table, options)?;
            (components, method, None)
        }
    };
    let average_and_range = trials.map(|t| ranges::average_and_range(&table, t)).transpose()?;
    let deciding_share =
        options.tolerance.map_or_else(|| components.share_of_total(), |t| components.share_of_tolerance(t));
    let rounding = coarse_step(readings, &components).map_or(0.0, |step| step / 12.0_f64.sqrt());
    let deciding_interval = deciding_interval(&components, rounding, options.tolerance);
    let mut fitness = fitness(deciding_share, deciding_interval, options);
    let unseen = unseen(&table, readings, &components, anova.as_ref(), options);
    if unseen.is_some() && fitness != Fitness::Unfit {
        fitness = Fitness::NotShown;
    }
    let discrimination = options.difference.map(|d| Discrimination::new(d, &components, options.confidence));
    Ok(GaugeStudy {
        parts: table.parts,
        operators: table.operators,
        readings: readings.reading.len(),
        trials,
        mean: table.mean(),
        method,
        readings_to_average: tell::readings_to_average(&components, options),
        table: anova,
        average_and_range,
        by_operator: table.by_operator(&readings.operators, options.confidence),
        odd_cells: table.odd_cells(readings),
        discrimination,
        fitness,
        deciding_share,
        deciding_interval,
        unseen,
        wild: None,
        warnings: warnings(&table, readings, &method, &components),
        components,
        options: *options,
    })
}

/// Why the study shows nothing whatever the interval, in words that end a sentence.
fn unseen(
    table: &Table,
    readings: &Readings,
    components: &GaugeComponents,
    anova: Option<&AnovaTable>,
    options: &GaugeOptions,
) -> Option<String> {
    let largest = readings.reading.iter().fold(0.0_f64, |a, r| a.max(r.abs()));
    let left_out = |table: &&AnovaTable| options.interaction == Interaction::Without && table.interaction_p < 0.05;
    if components.total.sd <= 1e-12 * largest {
        Some("all readings are alike, and tell nothing of the gauge".to_owned())
    } else if components.gauge.sd <= 1e-12 * largest {
        Some("all readings of a part are alike: the instrument's step hides what scatters below it".to_owned())
    } else if copied(readings) {
        Some("two operators' readings are the same throughout: copied, or not read by themselves".to_owned())
    } else if table.operators < 2 {
        Some("one operator tells nothing of how operators differ".to_owned())
    } else if let Some(anova) = anova.filter(left_out) {
        Some(format!(
            "operators differ by part more than chance gives ({:.1} % of the time), which --interaction without leaves out",
            100.0 * anova.interaction_p
        ))
    } else {
        options.tolerance.and_then(|tolerance| implausible(tolerance, &readings.reading, components))
    }
}

/// Whether a width of the tolerance is none of the parts that were measured, mm, and what was found: a slip of the unit or the decimal point makes any gauge
/// fit.
///
/// Parts of one size, well away from 0 (their mean more than six of the readings' standard deviations from it), have no tolerance as wide as a quarter of the
/// size; nearer to 0 (three standard deviations, run-outs) none as wide as the size itself. Parts of several sizes (the smallest more than ten of the
/// gauge's standard deviations above 0) have none twice as wide as the largest; deviations, which may lie about 0, none 50 times as wide. Of either, none is
/// 500 times the scatter of all readings: a gauge that takes a hundredth of the tolerance, on parts that do not differ. Common practice, no source.
fn implausible(tolerance: f64, readings: &[f64], components: &GaugeComponents) -> Option<String> {
    const SCATTER: f64 = 500.0;
    const OF_SIZE: f64 = 0.25;
    let moments = Moments::of(readings);
    let (mean, sd) = (moments.mean.abs(), moments.sd());
    let largest = readings.iter().fold(0.0_f64, |a, r| a.max(r.abs()));
    let smallest = readings.iter().fold(f64::INFINITY, |a, &r| a.min(r));
    let allowed = if smallest > 10.0 * components.gauge.sd { 2.0 } else { 50.0 };
    let asked = "was another unit or decimal point meant?";
    let sizes = if mean > 6.0 * sd { OF_SIZE } else { 1.0 };
    if mean > 3.0 * sd && tolerance >= sizes * mean {
        Some(format!(
            "the tolerance is {} times the whole size of the parts, where a small part of it is to be expected: {asked}",
            if tolerance < mean { format!("{:.2}", tolerance / mean) } else { short(tolerance / mean) }
        ))
    } else if tolerance > allowed * largest {
        Some(format!(
            "the tolerance is {} times the largest reading, where at most {allowed} is to be expected: {asked}",
            short(tolerance / largest)
        ))
    } else if tolerance > SCATTER * components.total.sd {
        Some(format!(
            "the tolerance is {} times the standard deviation of all readings, where at most {SCATTER} is to be expected: {asked}",
            short(tolerance / components.total.sd)
        ))
    } else {
        None
    }
}

/// A factor to two digits or three.
fn short(factor: f64) -> String {
    if factor < 10.0 { format!("{factor:.1}") } else { format!("{factor:.0}") }
}

/// The instrument's step, where repeat readings mostly fall in one and the same.
fn coarse_step(readings: &Readings, components: &GaugeComponents) -> Option<f64> {
    crate::shape::Resolution::find(&readings.reading).step().filter(|step| components.repeatability.sd < 0.5 * step)
}

/// What the readings leave open of the deciding share; `rounding` is the sd of a coarse step's rounding, which the study cannot see.
fn deciding_interval(components: &GaugeComponents, rounding: f64, tolerance: Option<f64>) -> Interval {
    let (gauge, parts) = (components.gauge.interval, components.parts.interval);
    let gauge = Interval::new(gauge.lower, gauge.upper.hypot(rounding));
    match tolerance {
        Some(tolerance) => gauge.map(|sd| 6.0 * sd / tolerance),
        None => Interval::new(
            gauge.lower / gauge.lower.hypot(parts.upper).max(f64::MIN_POSITIVE),
            gauge.upper / gauge.upper.hypot(parts.lower).max(f64::MIN_POSITIVE),
        ),
    }
}

fn fitness(share: f64, interval: Interval, options: &GaugeOptions) -> Fitness {
    let against = |allowed: f64| evidence(share, interval, allowed);
    if against(options.fit_up_to).is_shown() {
        Fitness::Fit
    } else if against(options.unfit_above).is_shown() {
        Fitness::Marginal
    } else if share > options.unfit_above || share.is_nan() {
        // More likely too large than not.
        Fitness::Unfit
    } else {
        Fitness::NotShown
    }
}

fn evidence(share: f64, interval: Interval, allowed: f64) -> Verdict {
    // The pooled estimate of a small component may lie just outside its generalised interval.
    let estimate = share.clamp(interval.lower.min(interval.upper), interval.upper.max(interval.lower));
    Evidence::at_most("the gauge's share", allowed).estimate(estimate).bounds(interval.lower, interval.upper).judge()
}

impl GaugeStudy {
    /// The verdict: of its share, and where a difference is to be told, of that too.
    pub fn verdict(&self) -> Verdict {
        let share = match self.fitness {
            Fitness::Fit => evidence(self.deciding_share, self.deciding_interval, self.options.fit_up_to),
            Fitness::Marginal => Verdict::watch("the gauge is marginal"),
            // Why it is not shown: what the study cannot have seen, or an interval that is too wide.
            Fitness::NotShown => Verdict::not_shown(match &self.unseen {
                Some(unseen) => unseen.clone(),
                None => "the gauge may take more than it may".to_owned(),
            })
            .settled_by("Repeat the study with more operators, parts or trials."),
            Fitness::Unfit => Verdict::adverse("the gauge takes too much"),
        };
        let told = self.discrimination.map(|d| {
            if d.can_tell {
                return share.clone();
            }
            let told = "two sizes as far apart as asked for";
            if d.difference < d.smallest_told {
                Verdict::adverse(format!("{told} are not told"))
            } else {
                Verdict::not_shown(format!("{told} may not be told"))
            }
        });
        let own = told.into_iter().fold(share.clone(), Verdict::and);
        let without = self.wild.as_ref().and_then(|w| w.without.clone());
        without.into_iter().fold(own, Verdict::and)
    }
}

fn warnings(
    table: &Table,
    readings: &Readings,
    method: &GaugeMethod,
    components: &GaugeComponents,
) -> Vec<GaugeWarning> {
    let mut found = Vec::new();
    if table.balanced_trials().is_none() {
        found.push(GaugeWarning::Unbalanced);
    }
    if table.operators == 1 {
        found.push(GaugeWarning::OneOperator);
    } else if table.operators < 3 {
        found.push(GaugeWarning::Few { what: "operators", count: table.operators, advised: 3 });
    }
    if table.parts < 10 {
        found.push(GaugeWarning::Few { what: "parts", count: table.parts, advised: 10 });
    }
    if matches!(method, GaugeMethod::Reml { converged: false, .. }) {
        found.push(GaugeWarning::NotConverged);
    }
    if let Some(step) = coarse_step(readings, components) {
        found.push(GaugeWarning::StepTooCoarse { step, rounding_sd: step / 12.0_f64.sqrt() });
    }
    found
}
