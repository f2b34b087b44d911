//! What a measured lot does in the pack: the link from a reviewer's readings to the mechanic's bay.
//!
//! The lot's measured mean and sd replace what the pack file assumes of that packet. Then: what becomes of the share outside of every
//! requirement, with an upper bound for what the readings leave open; whether the pack bears a lot that the drawing refuses, or the other way
//! round; and how far bias and sd could go before it does not (module `map`).
//!
//! The share as a smooth function of bias and sd comes from conditional Monte Carlo (module `conditional`); today's and the fitted lot's own
//! figures are those of [`packdrift_spread::analyse`], so they are the same as `stack` prints.

mod conditional;
mod map;
mod place;

pub use map::AcceptanceMap;

use crate::LotError;
use crate::interval::Interval;
use crate::posterior::{ChiGrid, Posterior};
use crate::study::{LotOptions, LotResult, Verdict};
use conditional::Conditional;
use packdrift_spread::{Distribution, Options, Progress, Share, Stack, analyse};
use place::Place;
use rayon::prelude::*;

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
    pub fitted: Share,
    /// With the readings themselves as the distribution (the gauge's share shrunk out of them).
    pub empirical: Share,
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
    let pack_error = |error: packdrift_spread::SpreadError| match error {
        packdrift_spread::SpreadError::Cancelled => LotError::Cancelled,
        other => LotError::Pack(other.to_string()),
    };
    let (Some(sd), Some(readings_sd)) = (lot.parts_sd, lot.sd.filter(|s| *s > 0.0)) else {
        return Err(LotError::TooFew {
            what: "a lot in the pack".into(),
            found: lot.n,
            needed: 2,
            of: "different readings",
        });
    };
    if stack.requirements.is_empty() {
        return Err(LotError::TooFew {
            what: "a lot in the pack".into(),
            found: 0,
            needed: 1,
            of: "requirements in the pack",
        });
    }
    let place = Place::find(stack, stands_for)?;
    let mut warnings = Vec::new();
    let nominal = stack.inputs[place.inputs[0]].nominal;
    // Against the size on the packet where it is known, so that a 0.60 packet may be tried in place of a 0.40 one only on purpose.
    let bias = lot.mean - lot.drawing.nominal.unwrap_or(nominal);
    if (lot.mean - nominal).abs() > 0.25 * nominal.abs() {
        warnings.push(PackWarning::FarFromNominal { mean: lot.mean, nominal });
    }
    if lot.shape.contradicts_normal() {
        warnings.push(PackWarning::NotNormal);
    }
    let (bare, dropped) = place.without(stack);
    if dropped > 0 {
        warnings.push(PackWarning::TiesDropped { count: dropped });
    }
    let fitted = place.with(&bare, |nominal| Distribution::Normal { mean: nominal + bias, sd });
    let shrink = sd / readings_sd;
    let empirical = place.with(&bare, |nominal| Distribution::Empirical {
        readings: lot.parts.iter().map(|p| nominal + bias + shrink * (p.value - lot.mean)).collect(),
    });
    let results = [stack, &fitted, &empirical]
        .into_iter()
        .map(|s| analyse(s, options, progress).map_err(pack_error))
        .collect::<Result<Vec<_>, _>>()?;
    let (assumed_bias, assumed_sd) = place.assumed(stack);
    let posterior = Posterior::new(&ChiGrid::finer(lot.n, 4.0), lot.mean, readings_sd, lot.gauge_sd);
    let conditional = Conditional::new(&bare, &place, bias, sd.max(1e-6 * readings_sd), options.seed)?;
    if !conditional.depends() {
        warnings.push(PackWarning::NothingDepends);
    }
    // What the readings leave open, carried through: weighted points of (bias, sd).
    let points = posterior.points(lot.mean - bias);
    let shares: Vec<Vec<f64>> = points.par_iter().map(|p| conditional.shares(p.bias, p.sd)).collect();
    let alpha = 1.0 - lot_options.confidence;
    // The conditional run scatters a little about the exact figure of `analyse`: bounds are scaled to it.
    let here = conditional.shares(bias, sd);
    let mut requirements = Vec::with_capacity(stack.requirements.len());
    for (k, requirement) in stack.requirements.iter().enumerate() {
        let [today, fitted, empirical] = [0, 1, 2].map(|i| results[i].requirements[k].spread.out);
        // A few draws of 4096 say nothing of a ratio, so only shares that many draws support are scaled.
        let scale = if here[k] > 5e-3 && fitted.total > 5e-3 { (fitted.total / here[k]).clamp(0.5, 2.0) } else { 1.0 };
        let quantile = |p: f64| {
            let mut pairs: Vec<(f64, f64)> =
                shares.iter().zip(&points).map(|(s, point)| (s[k], point.weight)).collect();
            (weighted_quantile(&mut pairs, p) * scale).min(1.0)
        };
        requirements.push(RequirementInPack {
            name: requirement.name.clone(),
            condition: stack.pack.conditions[requirement.condition].name.clone(),
            max_out: requirement.max_out,
            today,
            fitted,
            empirical,
            upper_bound: quantile(lot_options.confidence).max(fitted.total),
            lower_bound: quantile(alpha).min(fitted.total),
            acceptable_today: today.total <= requirement.max_out,
            acceptable: fitted.total <= requirement.max_out,
        });
    }
    let limits: Vec<f64> = stack.requirements.iter().map(|r| r.max_out).collect();
    let worst = |shares: &[f64]| shares.iter().zip(&limits).map(|(s, m)| ratio(*s, *m)).fold(0.0, f64::max);
    let total: f64 = points.iter().map(|p| p.weight).sum();
    let chance_acceptable =
        shares.iter().zip(&points).filter(|(s, _)| worst(s) <= 1.0).map(|(_, p)| p.weight).sum::<f64>() / total;
    let verdict = if requirements.iter().all(|r| r.upper_bound <= r.max_out) {
        PackVerdict::Acceptable
    } else if requirements.iter().any(|r| r.lower_bound > r.max_out) {
        PackVerdict::NotAcceptable
    } else {
        PackVerdict::NotShown
    };
    let map = AcceptanceMap::new(&map::MapQuestion {
        conditional: &conditional,
        limits: &limits,
        bias,
        sd,
        assumed: (assumed_bias, assumed_sd),
        region: posterior.region(lot.mean - bias, lot_options.confidence),
        drawing: lot.drawing,
        nominal: lot.mean - bias,
        drawing_max_out: lot_options.max_out,
    });
    if conditional.depends() && map.frontier.is_empty() {
        warnings.push(PackWarning::OtherPartsDecide);
    }
    Ok(LotInPack {
        lot: lot.name.clone(),
        stands_for: stands_for.to_string(),
        dimensions: place.inputs.iter().map(|&i| stack.pack.dimensions[i].path.clone()).collect(),
        bias,
        sd,
        assumed_bias,
        assumed_sd,
        requirements,
        verdict,
        chance_acceptable,
        agreement: agreement(lot.verdict, verdict),
        bias_room: AcceptanceMap::bias_room(&conditional, &limits, sd),
        largest_sd: AcceptanceMap::largest_sd(&conditional, &limits, bias),
        map,
        confidence: lot_options.confidence,
        warnings,
    })
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

/// The value below which the share p of the weight lies, linear between the points.
fn weighted_quantile(pairs: &mut [(f64, f64)], p: f64) -> f64 {
    pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = pairs.iter().map(|p| p.1).sum();
    let target = p * total;
    let mut before = 0.0;
    let mut last: Option<(f64, f64)> = None;
    for &(value, weight) in pairs.iter() {
        // Each point's weight is spread about its middle.
        let middle = before + 0.5 * weight;
        if middle >= target {
            return last.map_or(value, |(v, m)| v + (value - v) * (target - m) / (middle - m));
        }
        last = Some((value, middle));
        before += weight;
    }
    last.map_or(f64::NAN, |l| l.0)
}
