//! What a measured lot does in the pack: the link from a reviewer's readings to the mechanic's bay.
//!
//! The lot's measured mean and sd replace what the pack file assumes of that packet. Then: what becomes of the share outside of every
//! requirement, with an upper bound for what the readings leave open; whether the pack bears a lot that the drawing refuses, or the other way
//! round; and how far bias and sd could go before it does not (module `map`).
//!
//! The share as a smooth function of bias and sd is integrated (modules `conditional` and `direction`): exactly where the requirement knows of the
//! lot only through a normal sum, otherwise over scrambled Sobol' points of what else counts. Today's figure is that of
//! [`packdrift_spread::analyse`], the same as `stack` prints.

mod bounds;
mod conditional;
mod direction;
mod ends;
mod map;
mod place;
mod reading;
#[cfg(test)]
mod tests;

pub use map::AcceptanceMap;
pub use reading::{ReadingInPack, ReadingInRequirement, reading_in_pack};

use crate::LotError;
use crate::interval::Interval;
use crate::posterior::{ChiGrid, Posterior};
use crate::study::{LotOptions, LotResult, Verdict};
use bounds::Cloud;
use conditional::Conditional;
use packdrift_spread::{Distribution, Options, Progress, Share, Stack, StackResult, analyse};
use place::Place;

/// Whether the pack bears the lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PackVerdict {
    /// With the confidence, every requirement keeps its largest acceptable share.
    Acceptable,
    /// The readings allow neither conclusion.
    NotShown,
    /// With the confidence, some requirement does not.
    NotAcceptable,
}

/// Drawing and pack side by side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Agreement {
    /// Both accept.
    BothAccept,
    /// Both refuse.
    BothRefuse,
    /// The pack bears what the drawing refuses: the drawing is tighter than this pack needs.
    PackBearsIt,
    /// The drawing accepts what this pack does not bear: the drawing does not protect it.
    DrawingDoesNotProtect,
    /// At least one of the two is not decided by the readings, or there is no drawing limit.
    Open,
}

/// One requirement.
#[derive(Debug, Clone, PartialEq)]
pub struct RequirementInPack {
    /// Name.
    pub name: String,
    /// Condition's name.
    pub condition: String,
    /// Largest acceptable share outside.
    pub max_out: f64,
    /// With the scatter the pack file assumes.
    pub today: Share,
    /// With the lot's measured mean and sd (normal).
    pub fitted: f64,
    /// With the readings themselves as the distribution (the gauge's share shrunk out of them).
    pub empirical: f64,
    /// What the fitted share is not above with the confidence, given what the readings leave open of mean and sd.
    pub upper_bound: f64,
    /// What it is not below with the confidence.
    pub lower_bound: f64,
    /// Whether the pack as assumed keeps `max_out`.
    pub acceptable_today: bool,
    /// Whether the lot keeps it at its estimates.
    pub acceptable: bool,
}

/// The answer for a lot in a pack.
#[derive(Debug, Clone, PartialEq)]
pub struct LotInPack {
    /// The lot's name in the readings.
    pub lot: String,
    /// What it stands for in the pack.
    pub stands_for: String,
    /// Paths of the dimensions that got its scatter.
    pub dimensions: Vec<String>,
    /// Measured mean less nominal, mm.
    pub bias: f64,
    /// Measured sd of the parts, mm.
    pub sd: f64,
    /// Assumed bias, mm.
    pub assumed_bias: f64,
    /// Assumed sd, within and between lots together, mm.
    pub assumed_sd: f64,
    /// In the order of the pack's requirements.
    pub requirements: Vec<RequirementInPack>,
    /// The verdict.
    pub verdict: PackVerdict,
    /// Chance, given the readings, that the lot keeps every requirement (posterior probability under the prior 1/σ).
    pub chance_acceptable: f64,
    /// Drawing and pack side by side.
    pub agreement: Agreement,
    /// At the measured sd, the biases that every requirement bears, mm; None where none is.
    pub bias_room: Option<Interval>,
    /// At the measured bias, the largest sd that every requirement bears, mm; None where none is.
    pub largest_sd: Option<f64>,
    /// Bias × sd with the frontier.
    pub map: AcceptanceMap,
    /// Confidence of the bounds.
    pub confidence: f64,
    /// What the reader should know first.
    pub warnings: Vec<PackWarning>,
}

/// What the reader should know of a lot in the pack.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum PackWarning {
    /// The readings are far from the pack's nominal: are these the right parts?
    FarFromNominal {
        /// Mean of the readings, mm.
        mean: f64,
        /// Nominal of the dimension, mm.
        nominal: f64,
    },
    /// The lot's shape is not normal: the map and the bounds rest on mean and sd all the same; compare fitted and empirical.
    NotNormal,
    /// Ties of the replaced dimensions to others were dropped.
    TiesDropped {
        /// How many.
        count: usize,
    },
    /// No requirement depends on the replaced dimensions.
    NothingDepends,
    /// The pack is not acceptable even with perfect parts of this lot.
    OtherPartsDecide,
}

impl std::fmt::Display for PackWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::FarFromNominal { mean, nominal } => {
                write!(
                    f,
                    "the readings average {mean:.4} mm where the pack expects {nominal:.4} mm: check that these are the parts it means"
                )
            }
            Self::NotNormal => write!(
                f,
                "the lot is not normal: the map and the bounds rest on its mean and sd all the same; compare the share from the readings themselves"
            ),
            Self::TiesDropped { count } => write!(
                f,
                "{count} ties of these dimensions to others were left out: a measured lot scatters on its own"
            ),
            Self::NothingDepends => write!(f, "no requirement of this pack depends on these parts: any lot would do"),
            Self::OtherPartsDecide => {
                write!(f, "even perfect parts of this lot would leave too much outside: the other parts decide")
            }
        }
    }
}

/// Puts a lot into a pack. `stands_for` names a `[[lot]]` of the pack, or a part (`bay/part`), or a dimension (`bay/part/thickness`).
///
/// # Errors
/// A name the pack does not have; a lot of fewer than two parts or without scatter; a pack without requirements; what the pack's spread
/// refuses, and its cancellation.
pub fn lot_in_pack(
    stack: &Stack,
    stands_for: &str,
    lot: &LotResult,
    lot_options: &LotOptions,
    options: &Options,
    progress: &dyn Progress,
) -> Result<LotInPack, LotError> {
    let mut found = lots_in_pack(stack, stands_for, &[lot], lot_options, options, progress)?;
    Ok(found.remove(0))
}

/// The same for several lots, each in place of the one the pack assumes: what they have in common is computed once.
///
/// # Errors
/// As [`lot_in_pack`]; of no lots, nothing.
pub fn lots_in_pack(
    stack: &Stack,
    stands_for: &str,
    lots: &[&LotResult],
    lot_options: &LotOptions,
    options: &Options,
    progress: &dyn Progress,
) -> Result<Vec<LotInPack>, LotError> {
    if stack.requirements.is_empty() {
        return Err(LotError::TooFew {
            what: "a lot in the pack".into(),
            found: 0,
            needed: 1,
            of: "requirements in the pack",
        });
    }
    let place = Place::find(stack, stands_for)?;
    let (bare, dropped) = place.without(stack);
    let nominal = stack.inputs[place.inputs[0]].nominal;
    let measured = lots.iter().map(|lot| Measured::of(lot, nominal)).collect::<Result<Vec<_>, _>>()?;
    let today = analyse(stack, options, progress).map_err(pack_error)?;
    let most = |f: fn(&Measured) -> f64| measured.iter().map(f).fold(0.0, f64::max);
    let conditional = Conditional::new(
        &bare,
        &place,
        most(|m| m.bias.abs()),
        most(|m| m.sd.max(1e-6 * m.readings_sd)),
        options.seed,
    )?;
    let question =
        Question { stack, stands_for, place: &place, bare: &bare, dropped, today: &today, conditional: &conditional };
    lots.iter()
        .zip(&measured)
        .map(|(lot, measured)| {
            if progress.cancelled() {
                return Err(LotError::Cancelled);
            }
            question.answer(lot, *measured, lot_options, options, progress)
        })
        .collect()
}

fn pack_error(error: packdrift_spread::SpreadError) -> LotError {
    match error {
        packdrift_spread::SpreadError::Cancelled => LotError::Cancelled,
        other => LotError::Pack(other.to_string()),
    }
}

/// What the readings of a lot say, mm.
#[derive(Debug, Clone, Copy)]
struct Measured {
    bias: f64,
    /// Of the parts.
    sd: f64,
    readings_sd: f64,
}

impl Measured {
    fn of(lot: &LotResult, nominal: f64) -> Result<Self, LotError> {
        let (Some(sd), Some(readings_sd)) = (lot.parts_sd, lot.sd.filter(|s| *s > 0.0)) else {
            return Err(LotError::TooFew {
                what: "a lot in the pack".into(),
                found: lot.n,
                needed: 2,
                of: "different readings",
            });
        };
        // Against the size on the packet where it is known, so that a 0.60 packet may be tried in place of a 0.40 one only on purpose.
        Ok(Self { bias: lot.mean - lot.drawing.nominal.unwrap_or(nominal), sd, readings_sd })
    }
}

/// What all lots have in common.
struct Question<'a> {
    stack: &'a Stack,
    stands_for: &'a str,
    place: &'a Place,
    bare: &'a Stack,
    dropped: usize,
    today: &'a StackResult,
    conditional: &'a Conditional,
}

impl Question<'_> {
    fn answer(
        &self,
        lot: &LotResult,
        measured: Measured,
        lot_options: &LotOptions,
        options: &Options,
        progress: &dyn Progress,
    ) -> Result<LotInPack, LotError> {
        let Self { stack, place, conditional, .. } = *self;
        let Measured { bias, sd, readings_sd } = measured;
        let nominal = stack.inputs[place.inputs[0]].nominal;
        let mut warnings = Vec::new();
        if (lot.mean - nominal).abs() > 0.25 * nominal.abs() {
            warnings.push(PackWarning::FarFromNominal { mean: lot.mean, nominal });
        }
        if lot.shape.contradicts_normal() {
            warnings.push(PackWarning::NotNormal);
        }
        if self.dropped > 0 {
            warnings.push(PackWarning::TiesDropped { count: self.dropped });
        }
        if !conditional.depends() {
            warnings.push(PackWarning::NothingDepends);
        }
        let fitted = conditional.shares(bias, sd);
        let empirical = self.empirical(lot, measured, options, progress)?;
        let posterior = Posterior::new(&ChiGrid::finer(lot.n, 4.0), lot.mean, readings_sd, lot.gauge_sd);
        let cloud = Cloud::new(conditional, &posterior.slices(), bias);
        let confidence = lot_options.confidence;
        let requirements: Vec<RequirementInPack> = stack
            .requirements
            .iter()
            .enumerate()
            .map(|(k, requirement)| {
                let today = self.today.requirements[k].spread.out;
                RequirementInPack {
                    name: requirement.name.clone(),
                    condition: stack.pack.conditions[requirement.condition].name.clone(),
                    max_out: requirement.max_out,
                    today,
                    fitted: fitted[k],
                    empirical: empirical[k],
                    // Where the lot hardly matters the two differ by rounding alone.
                    upper_bound: cloud.quantile(k, confidence).max(fitted[k]),
                    lower_bound: cloud.quantile(k, 1.0 - confidence).min(fitted[k]),
                    acceptable_today: today.total <= requirement.max_out,
                    acceptable: fitted[k] <= requirement.max_out,
                }
            })
            .collect();
        let limits: Vec<f64> = stack.requirements.iter().map(|r| r.max_out).collect();
        let verdict = if requirements.iter().all(|r| r.upper_bound <= r.max_out) {
            PackVerdict::Acceptable
        } else if requirements.iter().any(|r| r.lower_bound > r.max_out) {
            PackVerdict::NotAcceptable
        } else {
            PackVerdict::NotShown
        };
        let (assumed_bias, assumed_sd) = place.assumed(stack);
        let map = AcceptanceMap::new(&map::MapQuestion {
            conditional,
            limits: &limits,
            bias,
            sd,
            assumed: (assumed_bias, assumed_sd),
            region: posterior.region(lot.mean - bias, confidence),
            drawing: lot.drawing,
            nominal: lot.mean - bias,
            drawing_max_out: lot_options.max_out,
        });
        if conditional.depends() && map.frontier.is_empty() {
            warnings.push(PackWarning::OtherPartsDecide);
        }
        Ok(LotInPack {
            lot: lot.name.clone(),
            stands_for: self.stands_for.to_string(),
            dimensions: place.inputs.iter().map(|&i| stack.pack.dimensions[i].path.clone()).collect(),
            bias,
            sd,
            assumed_bias,
            assumed_sd,
            requirements,
            verdict,
            chance_acceptable: cloud.chance_within(&limits),
            agreement: agreement(lot.verdict, verdict),
            bias_room: AcceptanceMap::bias_room(conditional, &limits, sd),
            largest_sd: AcceptanceMap::largest_sd(conditional, &limits, bias),
            map,
            confidence,
            warnings,
        })
    }

    /// The share outside of each requirement with the readings themselves as the distribution, shrunk about their mean by the gauge's share: over
    /// all combinations of readings where they are few enough, otherwise by a whole analysis.
    fn empirical(
        &self,
        lot: &LotResult,
        measured: Measured,
        options: &Options,
        progress: &dyn Progress,
    ) -> Result<Vec<f64>, LotError> {
        let shrink = measured.sd / measured.readings_sd;
        let deviations: Vec<f64> = lot.parts.iter().map(|p| measured.bias + shrink * (p.value - lot.mean)).collect();
        let direct: Option<Vec<f64>> =
            (0..self.stack.requirements.len()).map(|k| self.conditional.share_of_deviations(k, &deviations)).collect();
        if let Some(shares) = direct {
            return Ok(shares);
        }
        let stack = self.place.with(self.bare, |nominal| Distribution::Empirical {
            readings: deviations.iter().map(|d| nominal + d).collect(),
        });
        let result = analyse(&stack, options, progress).map_err(pack_error)?;
        Ok(result.requirements.iter().map(|r| r.spread.out.total).collect())
    }
}

/// Share over what is acceptable; where nothing is, any share at all is beyond it.
pub(crate) fn ratio(share: f64, max_out: f64) -> f64 {
    if max_out > 0.0 {
        share / max_out
    } else if share > 0.0 {
        f64::INFINITY
    } else {
        0.0
    }
}

fn agreement(drawing: Verdict, pack: PackVerdict) -> Agreement {
    match (drawing, pack) {
        (Verdict::Acceptable, PackVerdict::Acceptable) => Agreement::BothAccept,
        (Verdict::NotAcceptable, PackVerdict::NotAcceptable) => Agreement::BothRefuse,
        (Verdict::NotAcceptable, PackVerdict::Acceptable) => Agreement::PackBearsIt,
        (Verdict::Acceptable, PackVerdict::NotAcceptable) => Agreement::DrawingDoesNotProtect,
        _ => Agreement::Open,
    }
}
