//! The families of wear models, each with one question and one answer.
//!
//! | family | path of the true value | where |
//! |---|---|---|
//! | random-slope, wiener, running-in | a line, with a wander, with a power of the hours: one of them by name | [`line`](mod@line) |
//! | gamma | increments that never fall | [`gamma`] |
//! | integrated | line, wander and power at once, averaged over everything that the readings leave open | [`integrated`] |
//!
//! A family sees segments and gives, for each valve's last one, what is known of it now and where it goes. It knows nothing of verdicts.

pub(crate) mod gamma;
pub(crate) mod integrated;
pub(crate) mod line;
pub(crate) mod random_slope;
pub(crate) mod running_in;
pub(crate) mod wiener;

use crate::crossing::{Prospect, Zone};
use crate::kernel::FleetLaw;
use crate::options::Options;
use crate::result::{Diagnostics, FitStatus, FleetProspect, Model};
use crate::segments::Segments;

/// What a family is asked.
#[derive(Clone, Copy)]
pub(crate) struct FitQuestion<'a> {
    pub(crate) segments: &'a Segments,
    /// By reading: 1, or 0 where it is set aside. Empty for all 1. Every segment keeps one that counts.
    pub(crate) weights: &'a [f64],
    /// By reading: somebody looked again and it stands, or others moved with it. Never taken for a gross error. Empty for none.
    pub(crate) confirmed: &'a [bool],
    /// Limits of the damage zone.
    pub(crate) zone: Option<Zone>,
    /// Standard deviation of a reading, where the policy states it.
    pub(crate) known_sd: Option<f64>,
    /// How to fit.
    pub(crate) options: &'a Options,
    /// Whether the true value at past readings is wanted, for figures.
    pub(crate) figures: bool,
}

/// What is known of a segment after its last reading.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Estimate {
    /// True value, in the feature's unit.
    pub(crate) level: f64,
    pub(crate) level_se: f64,
    /// Per hour.
    pub(crate) slope: f64,
    pub(crate) slope_se: f64,
    /// Covariance of the two errors.
    pub(crate) cov: f64,
}

/// The true value at a past reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Past {
    /// Hours since the segment's start.
    pub(crate) hours: f64,
    pub(crate) mean: f64,
    pub(crate) sd: f64,
}

/// A valve's last segment as a family sees it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SegmentFit {
    /// Index of the segment.
    pub(crate) segment: usize,
    pub(crate) estimate: Estimate,
    pub(crate) prospect: Prospect,
    /// The same with every reading of the segment at its word, where the family doubts one.
    pub(crate) at_their_word: Option<(Estimate, Prospect)>,
    /// At its readings; empty where not asked for.
    pub(crate) past: Vec<Past>,
}

/// What a family answers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FamilyFit {
    pub(crate) model: Model,
    /// `REML`, `ML`, `Bayes`.
    pub(crate) method: &'static str,
    pub(crate) diagnostics: Diagnostics,
    /// Why its chances must not reassure; None where they may.
    pub(crate) trouble: Option<String>,
    /// Hours ahead beyond which its chances must not reassure; None for no such bound.
    pub(crate) reach: Option<f64>,
    /// One per last segment, in the order of the segments.
    pub(crate) current: Vec<SegmentFit>,
    /// By reading, the weight it had in this very answer; empty for all 1.
    pub(crate) weights: Vec<f64>,
    /// By group: a segment that begins now.
    pub(crate) new_segments: Vec<FleetProspect>,
    /// How it has readings vary: what jumps and bad days are told by. None where it has no such law.
    pub(crate) law: Option<FleetLaw>,
    /// What the reader should know.
    pub(crate) notes: Vec<String>,
}

/// A family of wear models.
pub(crate) trait Family: Sync {
    /// Fits it.
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure>;
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FitFailure {
    pub(crate) status: FitStatus,
    pub(crate) reason: String,
}

impl FitFailure {
    pub(crate) fn not_estimable(reason: impl Into<String>) -> Self {
        Self { status: FitStatus::NotEstimable, reason: reason.into() }
    }
}
