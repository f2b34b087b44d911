//! What a study of lots answers: plain values that the report crate renders.

use super::options::LotOptions;
use super::parts::MeasuredPart;
use super::process::Process;
use crate::LotError;
use crate::capability::{Capability, ShareOutside};
use crate::chart::Chart;
use crate::components::Components;
use crate::guard::{GuardBand, ProofCounts};
use crate::interval::Interval;
use crate::outliers::Outliers;
use crate::packets::DeviationModel;
use crate::posterior::{ChiGrid, Posterior, SpecificationLimits};
use crate::readings::Drawing;
use crate::shape::Shape;

/// Whether the lot is acceptable against its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// With the confidence, at most the acceptable share is outside.
    Acceptable,
    /// The readings allow neither conclusion.
    NotShown,
    /// With the confidence, more than the acceptable share is outside.
    NotAcceptable,
    /// There are limits but fewer than two parts.
    TooFew,
    /// There are no limits to judge by.
    NoLimits,
}

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
    /// The verdict.
    pub verdict: Verdict,
    /// Whether `parts` is in order of manufacture.
    pub ordered: bool,
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

    /// How many parts, were mean and sd to stay as they are, would show the lot acceptable: the smallest n whose upper bound of the share
    /// outside is within `max_out`. None where no n up to 5000 does, the share itself being too large, or where the normal form does not hold.
    ///
    /// # Errors
    /// A lot without scatter or limits.
    pub fn parts_needed(&self, options: &LotOptions) -> Result<Option<usize>, LotError> {
        let (Some(sd), true) = (self.sd.filter(|s| *s > 0.0), self.drawing.has_limits()) else {
            return Err(LotError::TooFew {
                what: "the number of parts to measure".into(),
                found: self.n,
                needed: 2,
                of: "different readings",
            });
        };
        let limits = SpecificationLimits { lower: self.drawing.lower, upper: self.drawing.upper };
        let enough = |n: usize| {
            Posterior::new(&ChiGrid::new(n), self.mean, sd, self.gauge_sd).share_bound(limits, options.confidence)
                <= options.max_out
        };
        if self.shape.contradicts_normal() || !enough(5000) {
            return Ok(None);
        }
        let (mut low, mut high) = (2, 5000);
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if enough(middle) { high = middle } else { low = middle }
        }
        Ok(Some(high))
    }
}

/// The answer for a table of lots.
#[derive(Debug, Clone, PartialEq)]
pub struct LotStudy {
    /// In the order of the table.
    pub lots: Vec<LotResult>,
    /// From two lots on.
    pub components: Option<Components>,
    /// From two lots with a size on.
    pub deviations: Option<DeviationModel>,
    /// From two lots on.
    pub process: Option<Process>,
    /// Pooled sd of repeat readings of the same part, mm, and its degrees of freedom.
    pub repeatability: Option<(f64, f64)>,
    /// The gauge's sd of single readings that was taken out, mm; 0 where none is known.
    pub gauge_sd: f64,
    /// What was asked.
    pub options: LotOptions,
    /// What the reader should know first.
    pub warnings: Vec<LotWarning>,
}

impl LotStudy {
    /// Whether every lot with limits is acceptable.
    pub fn acceptable(&self) -> bool {
        self.lots.iter().all(|l| matches!(l.verdict, Verdict::Acceptable | Verdict::NoLimits))
    }
}

/// What the reader should know before relying on the figures. Each says what was found, what it means, and what to do.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum LotWarning {
    /// Lots of different sizes, and some without a size: scatter between lots cannot be split from difference of size.
    SizesUnknown,
    /// Something over all lots could not be computed.
    NoComponents {
        /// Why.
        reason: String,
    },
    /// Some lots have a single part.
    SingleParts {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// All parts of some lots read the same.
    NoScatter {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// The gauge scatters as much as the parts, or more.
    GaugeTooCoarse {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
        /// The gauge's sd, mm.
        gauge_sd: f64,
    },
    /// The instrument's step is larger than the lot's sd: shape and small shares are guesses.
    StepTooCoarse {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
        /// mm.
        step: f64,
    },
    /// Some lots are not normal and no curve could be fitted: the normal figures stand, unreliable in the tails.
    NoCurve {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// The guard bands of the two limits overlap: no reading can prove conformance.
    NoRoom {
        /// g, mm.
        width: f64,
    },
}

impl std::fmt::Display for LotWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let names = |lots: &[String], count: usize| {
            let listed = lots.iter().map(|l| format!("“{l}”")).collect::<Vec<_>>().join(", ");
            if count > lots.len() { format!("{listed} and {} more", count - lots.len()) } else { listed }
        };
        match self {
            Self::SizesUnknown => write!(
                f,
                "the lots have different sizes and some have none, so scatter between lots was not computed: give each lot its size in a column `nominal`"
            ),
            Self::NoComponents { reason } => write!(f, "over all lots: {reason}"),
            Self::SingleParts { lots, count } => {
                write!(f, "a single part says nothing of scatter: measure more parts of {}", names(lots, *count))
            }
            Self::NoScatter { lots, count } => write!(
                f,
                "all parts read the same in {}: the instrument does not see the scatter, and only the count of readings outside speaks",
                names(lots, *count)
            ),
            Self::GaugeTooCoarse { lots, count, gauge_sd } => write!(
                f,
                "the gauge alone (sd {gauge_sd:.4} mm) accounts for most of the scatter in {}: the parts' own sd is hardly known; average repeat readings or use a better gauge",
                names(lots, *count)
            ),
            Self::StepTooCoarse { lots, count, step } => write!(
                f,
                "the instrument reads in steps of {step} mm, more than the sd of {}: shape and small shares are rough; use a finer instrument",
                names(lots, *count)
            ),
            Self::NoCurve { lots, count } => write!(
                f,
                "{} not normal and too few or too coarse readings for another curve: the share outside rests on the normal all the same; trust the count",
                if *count == 1 {
                    format!("{} is", names(lots, *count))
                } else {
                    format!("{} are", names(lots, *count))
                }
            ),
            Self::NoRoom { width } => write!(
                f,
                "the guard bands of {width:.4} mm at both limits overlap: with this instrument no reading can prove a part good"
            ),
        }
    }
}

pub(super) fn warnings(lots: &[LotResult], options: &LotOptions, gauge_sd: f64) -> Vec<LotWarning> {
    let pick = |wanted: &dyn Fn(&LotResult) -> bool| {
        let chosen: Vec<&LotResult> = lots.iter().filter(|l| wanted(l)).collect();
        (chosen.iter().take(5).map(|l| l.name.clone()).collect::<Vec<_>>(), chosen.len())
    };
    let mut found = Vec::new();
    let (names, count) = pick(&|l| l.n < 2);
    if count > 0 {
        found.push(LotWarning::SingleParts { lots: names, count });
    }
    let (names, count) = pick(&|l| l.sd == Some(0.0));
    if count > 0 {
        found.push(LotWarning::NoScatter { lots: names, count });
    }
    let (names, count) =
        pick(&|l| l.gauge_sd > 0.0 && l.sd.is_some_and(|s| s > 0.0 && l.gauge_sd * l.gauge_sd > 0.5 * s * s));
    if count > 0 {
        found.push(LotWarning::GaugeTooCoarse { lots: names, count, gauge_sd });
    }
    let coarse = |l: &LotResult| l.shape.resolution.step().filter(|step| l.sd.is_some_and(|s| s > 0.0 && *step > s));
    let (names, count) = pick(&|l| coarse(l).is_some());
    if let Some(step) = lots.iter().find_map(coarse) {
        found.push(LotWarning::StepTooCoarse { lots: names, count, step });
    }
    let (names, count) = pick(&|l| {
        l.shape.contradicts_normal() && l.capability.is_some_and(|c| c.form == crate::capability::Form::Normal)
    });
    if count > 0 {
        found.push(LotWarning::NoCurve { lots: names, count });
    }
    if let Some(guard) = lots.iter().find_map(|l| l.guard.filter(|g| !g.leaves_room())) {
        found.push(LotWarning::NoRoom { width: guard.width });
    }
    let _ = options;
    found
}
