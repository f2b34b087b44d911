//! What a study of lots answers: plain values that the report crate renders.

use super::left_open;
use super::needed;
use super::options::LotOptions;
use super::parts::MeasuredPart;
use super::process::{Process, SizeGroup};
use super::set_aside::SetAsideAnswer;
use super::share::ShareOutside;
use super::warning::LotWarning;
use crate::bound::LeftOpen;
use crate::capability::Capability;
use crate::chart::Chart;
use crate::components::Components;
use crate::guard::{GuardBand, ProofCounts};
use crate::interval::Interval;
use crate::outliers::Outliers;
use crate::packets::DeviationModel;
use crate::readings::Drawing;
use crate::shape::Shape;
use packdrift_verdict::Verdict;

/// Mean less the size on the packet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// mm.
    pub value: f64,
    /// t interval, mm.
    pub interval: Interval,
    /// In percent of the size; None where the size is 0.
    pub percent: Option<f64>,
    /// Interval in percent.
    pub percent_interval: Option<Interval>,
    /// Two-sided p-value of no deviation (t test).
    pub p_value: f64,
}

/// Two one-sided limits: each holds on its own, not both at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneSided {
    /// The share lies above this, mm.
    pub from: f64,
    /// The share lies below this, mm.
    pub to: f64,
}

/// Statistical tolerance intervals (ISO 16269-6).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToleranceIntervals {
    /// Share of the lot covered.
    pub content: f64,
    /// Confidence of that.
    pub confidence: f64,
    /// k of one limit.
    pub one_sided_factor: f64,
    /// x̄ ∓ k·s.
    pub one_sided: OneSided,
    /// k of two limits.
    pub two_sided_factor: f64,
    /// x̄ ± k·s.
    pub two_sided: Interval,
    /// By order statistics, whatever the shape; None where there are too few readings.
    pub free_one_sided: Option<OneSided>,
    /// By order statistics; None where there are too few readings.
    pub free_two_sided: Option<Interval>,
}

/// Why a lot's readings show nothing, whatever their bound says: the verdict would hang on a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Doubt {
    /// All readings are alike: they say no more than that the parts scatter by less than the step, and within half a step a limit is reached.
    Alike {
        /// The instrument's step, or the coarsest that the digits leave open, mm.
        step: f64,
    },
    /// A limit so far away that it can never bind: a slip, or no limit.
    NeverBinds {
        /// Whether it is the upper one.
        upper: bool,
        /// How many of the readings' standard deviations it lies from their mean.
        sds: f64,
    },
    /// More than half of the readings' variance is taken off as the gauge's own: what is left hangs on that figure.
    GaugeTooCoarse,
    /// The bound would do, but not with all readings off alike by what of the instrument's stated uncertainty is the same each time.
    AllOff,
    /// The bound would do by the sorting alone, by a gauge of whose uncertainty nothing credible was stated.
    SortingNotKnown,
    /// The bound would do with a stated repeatability taken off the scatter, which neither repeated readings nor a study of the gauge show.
    RepeatabilityNotShown,
    /// The bound would do, but the parts counted outside show by themselves that too many are.
    CountedMore,
}

impl Doubt {
    /// In words that end a sentence, without lengths.
    pub fn reason(&self) -> String {
        match self {
            Self::Alike { .. } => "all readings are alike: the instrument's step hides what scatters below it".to_owned(),
            Self::NeverBinds { upper, sds } => format!(
                "the {} limit can never bind, {} standard deviations away and nowhere near the parts' size: a slip of the unit or the decimal point?",
                if *upper { "upper" } else { "lower" },
                if *sds < 1e4 { format!("{sds:.0}") } else { format!("{sds:.0e}") }
            ),
            Self::GaugeTooCoarse => {
                "the gauge's own scatter is most of that of the readings, and what is left of the parts hangs on how well it is known".to_owned()
            }
            Self::AllOff => {
                "all readings may be off alike by what the instrument's uncertainty allows, and then too many parts may be outside".to_owned()
            }
            Self::SortingNotKnown => {
                "it would do only if the sorting gauge is as good as was assumed or claimed, and nothing shows that".to_owned()
            }
            Self::RepeatabilityNotShown => {
                "it would do only if the gauge scatters as much by itself as is stated, and no repeated reading or study of it shows that".to_owned()
            }
            Self::CountedMore => "the parts counted outside show by themselves that too many are".to_owned(),
        }
    }

    /// What would settle it.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Alike { .. } => {
                "Read the parts with a finer instrument; if its step is finer than the digits show, give it with --step."
            }
            Self::NeverBinds { .. } => "Correct the limit, or leave it out if there is none.",
            Self::GaugeTooCoarse => "Measure with a better gauge, or each part several times.",
            Self::AllOff => {
                "Set the gauge by a gauge block or measure with a better one, and give its --u; with --repeatability only what is the same each time counts."
            }
            Self::RepeatabilityNotShown => {
                "Read each part twice or more, or give the gauge study's result with --repeatability."
            }
            Self::CountedMore => "Look at the parts outside, and measure more parts.",
            Self::SortingNotKnown => "Give the sorting gauge's uncertainty, from a study of it: --sorted=LENGTH.",
        }
    }

    /// As a verdict.
    pub fn verdict(&self) -> Verdict {
        Verdict::not_shown(self.reason()).settled_by(self.remedy())
    }
}

/// The answer for one lot.
#[derive(Debug, Clone, PartialEq)]
pub struct LotResult {
    /// Its name.
    pub name: String,
    /// Its size and limits.
    pub drawing: Drawing,
    /// Rows of the table.
    pub readings: usize,
    /// Parts; repeat readings of a part are averaged.
    pub n: usize,
    /// x̄, mm.
    pub mean: f64,
    /// s of the parts' readings, mm; None below two.
    pub sd: Option<f64>,
    /// t interval of the mean, mm.
    pub mean_interval: Option<Interval>,
    /// χ² interval of the parts' sd, the gauge's share taken out, mm.
    pub sd_interval: Option<Interval>,
    /// The gauge's share of s, mm; 0 where unknown.
    pub gauge_sd: f64,
    /// As much of that as repeated readings or a study of the gauge show, mm.
    pub shown_gauge_sd: f64,
    /// √(s² − gauge²), 0 where that is negative, mm.
    pub parts_sd: Option<f64>,
    /// Smallest, mm.
    pub minimum: f64,
    /// Median, mm.
    pub median: f64,
    /// Largest, mm.
    pub maximum: f64,
    /// From the size on the packet.
    pub deviation: Option<Deviation>,
    /// Normal or not.
    pub shape: Shape,
    /// Named, never removed; indices point into `parts`.
    pub outliers: Outliers,
    /// Against the limits.
    pub capability: Option<Capability>,
    /// Against the limits.
    pub share_outside: Option<ShareOutside>,
    /// None below two parts.
    pub tolerance: Option<ToleranceIntervals>,
    /// Where the order is known.
    pub chart: Option<Chart>,
    /// Where the instrument's uncertainty is stated.
    pub guard: Option<GuardBand>,
    /// What each reading proves.
    pub proofs: Option<ProofCounts>,
    /// Why the readings show nothing, whatever their bound says; None where they may, and without limits.
    pub doubt: Option<Doubt>,
    /// The verdict by its own readings; None without limits to judge by.
    pub verdict: Option<Verdict>,
    /// By how much all readings may be off alike, one-sided with the confidence, mm; 0 where no uncertainty of the instrument is stated.
    pub common_error: f64,
    /// ln of the agreement of all lots of the table with each shape, where they are said to scatter alike.
    pub agreements_of_all: Option<Vec<f64>>,
    /// Whether `parts` is in order of manufacture.
    pub ordered: bool,
    /// Whether the rows of a lot in no known order resemble their neighbours: its parts are then not taken to be independent.
    pub neighbours_alike: bool,
    /// The parts.
    pub parts: Vec<MeasuredPart>,
}

impl LotResult {
    /// Σ(x − x̄)²; 0 of a single part.
    pub fn sum_of_squares(&self) -> f64 {
        self.sd.map_or(0.0, |s| s * s * (self.n - 1) as f64)
    }

    /// The values in rising order, mm.
    pub fn sorted_values(&self) -> Vec<f64> {
        let values: Vec<f64> = self.parts.iter().map(|p| p.value).collect();
        crate::sample::sorted(&values)
    }

    /// Every description of the lot that its readings do not rule out, for whoever carries it further than a drawing: shapes, unless it is known to be normal;
    /// correlations of neighbours, where the order tells of the order made.
    pub fn left_open(&self, options: &LotOptions) -> Vec<LeftOpen> {
        left_open::left_open(self, options)
    }

    /// Why its readings show nothing of its scatter, whatever they are held against.
    pub fn doubt_of_scatter(&self) -> Option<Doubt> {
        self.sd.filter(|sd| self.gauge_sd.powi(2) > 0.5 * sd * sd).map(|_| Doubt::GaugeTooCoarse)
    }

    /// The verdict of a chart that is not steady; None where there is none, or it is.
    pub fn not_steady(&self) -> Option<Verdict> {
        self.chart.as_ref().filter(|c| !c.is_steady()).map(|chart| {
            Verdict::not_shown(format!(
                "not steady: a steady process would show as much in {:.1} of a thousand charts",
                1000.0 * chart.chance
            ))
        })
    }

    /// How many parts in all would settle it, were everything to stay as it is: None where no number up to 5000 would, or another cause stands in the way.
    pub fn parts_needed(&self, options: &LotOptions) -> Option<usize> {
        needed::parts_needed(self, options)
    }

    /// By which factor both limits, as seen from the mean, may be drawn in before the lot is no longer acceptable (below 1), or must be moved out for it to
    /// be acceptable (above 1). The bar of the overview: the lot is acceptable where it ends inside the limits. None without limits or scatter, where the
    /// mean is not between the limits, and where no factor helps (too few parts counted for a lot whose shape is in doubt).
    pub fn margin_factor(&self, study: &LotStudy) -> Option<f64> {
        needed::margin_factor(self, study)
    }
}

/// The answer for a table of lots.
#[derive(Debug, Clone, PartialEq)]
pub struct LotStudy {
    /// In the order of the table.
    pub lots: Vec<LotResult>,
    /// From two lots on, where all are of one size.
    pub components: Option<Components>,
    /// From two lots with a size on.
    pub deviations: Option<DeviationModel>,
    /// From two lots on, where all are of one size.
    pub process: Option<Process>,
    /// Lots of one size each.
    pub groups: Vec<SizeGroup>,
    /// Pooled sd of repeat readings of the same part, mm, and its degrees of freedom.
    pub repeatability: Option<(f64, f64)>,
    /// The gauge's sd of single readings that was taken out, mm; 0 where none is known.
    pub gauge_sd: f64,
    /// What was asked.
    pub options: LotOptions,
    /// Readings set aside with a reason; the lots' own answers above are with them.
    pub set_aside: Vec<SetAsideAnswer>,
    /// The same table without the readings set aside.
    pub without: Option<Box<LotStudy>>,
    /// What the reader should know first.
    pub warnings: Vec<LotWarning>,
}

impl LotStudy {
    /// The verdict on a lot: its own, and where a reading of it was set aside, the worse of with and without it. None without limits.
    pub fn verdict(&self, lot: &LotResult) -> Option<Verdict> {
        let own = lot.verdict.clone()?;
        let without = self.without.as_ref().and_then(|w| w.lots.iter().find(|l| l.name == lot.name));
        Some(without.and_then(|l| l.verdict.clone()).into_iter().fold(own, Verdict::and))
    }

    /// The worst over all lots with limits; None where none has.
    pub fn worst(&self) -> Option<Verdict> {
        self.lots.iter().filter_map(|l| self.verdict(l)).reduce(Verdict::and)
    }

    /// Whether every lot with limits is acceptable.
    pub fn acceptable(&self) -> bool {
        self.worst().is_none_or(|v| v.is_shown())
    }
}
