//! What a measured lot does in the pack: the link from a reviewer's readings to the mechanic's bay.
//!
//! The lot's measured mean and sd replace what the pack file assumes of that packet. Then: what becomes of the share outside of every
//! requirement, with an upper bound for what the readings leave open; whether the pack bears a lot that the drawing refuses, or the other way
//! round; and how far bias and sd could go before it does not (module `map`).
//!
//! The share as a smooth function of bias and sd is integrated (modules `surface` and `direction`): exactly where the requirement knows of the
//! lot only through a normal sum, otherwise over scrambled Sobol' points of what else counts. Today's figure is that of
//! [`packdrift_spread::analyse`], the same as `stack` prints.

mod bounds;
mod ends;
mod error;
mod lines;
mod map;
mod place;
mod reading;
mod surface;
#[cfg(test)]
mod tests;

pub use error::LotPackError;
pub use map::AcceptanceMap;
pub use reading::{ReadingInPack, ReadingInRequirement, reading_in_pack};

use bounds::Cloud;
use packdrift_lot::posterior::{ChiGrid, Posterior};
use packdrift_lot::{Interval, LotError, LotOptions, LotResult, bound_over_shapes};
use packdrift_spread::{NeverBinds, Options, Progress, Share, Stack, StackResult, analyse};
use packdrift_verdict::{Evidence, Standing, Verdict};
use place::Place;
use surface::Surface;

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
    /// With the lot's measured mean and sd (normal): what `stack` says of the pack with the lot written in.
    pub fitted: f64,
    /// Standard error of `fitted`; 0 where it is exact.
    pub fitted_standard_error: f64,
    /// With parts of this lot that are all exactly at their nominal: what the other parts leave outside by themselves.
    pub without: f64,
    /// Whether the lot has anything to do with it.
    pub depends: bool,
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
    /// The verdict by the bounds.
    pub verdict: Verdict,
}

impl RequirementInPack {
    /// Whether the pack fails here whatever the lot: even perfect parts would leave too much outside.
    pub fn fails_already(&self) -> bool {
        self.without > self.max_out
    }
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
    /// The verdict on the lot: the worst over the requirements that depend on it.
    pub verdict: Verdict,
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

impl LotInPack {
    /// Whether the lot is borne and the pack holds: not where it fails already without this lot.
    pub fn acceptable(&self) -> bool {
        self.verdict.is_shown() && !self.requirements.iter().any(RequirementInPack::fails_already)
    }
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
    /// No requirement depends on the replaced dimensions.
    NothingDepends,
    /// A limit of the pack can never bind: no lot is shown to be borne by it.
    NeverBinds(NeverBinds),
    /// The pack fails without this lot: with perfect parts of it these requirements are not kept.
    FailsAlready {
        /// Requirement and condition, with the share outside.
        requirements: Vec<(String, f64)>,
    },
    /// The share outside by the surface that bounds, map and frontier rest on is not that of the whole analysis: they are rough there.
    SurfaceOff {
        /// Requirement and condition.
        requirement: String,
        /// By the surface.
        surface: f64,
        /// By the analysis.
        analysis: f64,
    },
}

impl std::fmt::Display for PackWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words("mm", &|mm| mm))
    }
}

impl PackWarning {
    /// In words, with lengths in a unit that `of` turns mm into.
    pub fn words(&self, unit: &str, of: &dyn Fn(f64) -> f64) -> String {
        match self {
            Self::FarFromNominal { mean, nominal } => format!(
                "the readings average {:.4} {unit} where the pack expects {:.4} {unit}: check that these are the parts it means",
                of(*mean),
                of(*nominal)
            ),
            Self::NotNormal => "the lot is not normal: the map and the bounds rest on its mean and sd all the same; compare the share from the readings themselves".to_owned(),
            Self::NothingDepends => "no requirement of this pack depends on these parts: any lot would do".to_owned(),
            Self::NeverBinds(limit) if unit == "in" => limit.clone().in_inches().warning().to_string(),
            Self::NeverBinds(limit) => limit.warning().to_string(),
            Self::FailsAlready { requirements } => {
                let each: Vec<String> =
                    requirements.iter().map(|(name, share)| format!("{name} has {share:.2e} outside")).collect();
                format!("the pack fails already without this lot, even with perfect parts of it: {}", each.join(", "))
            }
            Self::SurfaceOff { requirement, surface, analysis } => format!(
                "{requirement}: bounds, map and frontier rest on a share of {surface:.1e} where the whole analysis has {analysis:.1e}; the verdict is not shown there"
            ),
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
) -> Result<LotInPack, LotPackError> {
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
) -> Result<Vec<LotInPack>, LotPackError> {
    if stack.requirements.is_empty() {
        return Err(LotError::TooFew {
            what: "a lot in the pack".into(),
            found: 0,
            needed: 1,
            of: "requirements in the pack",
        }
        .into());
    }
    let place = Place::find(stack, stands_for)?;
    let bare = place.without(stack);
    let nominal = stack.inputs[place.inputs[0]].nominal;
    let measured = lots.iter().map(|lot| Measured::of(lot, nominal)).collect::<Result<Vec<_>, _>>()?;
    let today = analyse(stack, options, progress)?;
    let without = analyse(&bare, options, progress)?;
    let most = |f: fn(&Measured) -> f64| measured.iter().map(f).fold(0.0, f64::max);
    // What all readings may be off by alike is looked at on either side.
    let off = lots.iter().map(|lot| common_error(lot, lot_options)).fold(0.0, f64::max);
    let farthest = most(|m| m.bias.abs()) + off;
    let surface = Surface::new(&bare, &place, farthest, most(|m| m.sd.max(1e-6 * m.readings_sd)), options.seed)?;
    let question =
        Question { stack, stands_for, place: &place, bare: &bare, today: &today, without: &without, surface: &surface };
    lots.iter()
        .zip(&measured)
        .map(|(lot, measured)| {
            if progress.cancelled() {
                return Err(LotPackError::Cancelled);
            }
            question.answer(lot, *measured, lot_options, options, progress)
        })
        .collect()
}

/// By how much all readings of a lot may be off alike, mm.
fn common_error(lot: &LotResult, options: &LotOptions) -> f64 {
    options.instrument.common_error(options.instrument.repeatability.unwrap_or(lot.gauge_sd), options.confidence)
}

/// What the readings of a lot do not bear out, whatever they say of mean and scatter.
fn doubts_of(lot: &LotResult) -> Vec<Verdict> {
    let mut doubts = Vec::new();
    if lot.chart.as_ref().is_some_and(|chart| !chart.is_steady()) {
        let reason = "its readings are not steady in the order made, so that they do not stand for the lot";
        doubts.push(Verdict::not_shown(reason).settled_by("Find what changed, and measure parts of the whole lot."));
    }
    if lot.neighbours_alike {
        let reason = "readings that stand beside each other resemble each other, so that they say less of the lot than their number";
        doubts.push(
            Verdict::not_shown(reason).settled_by("Give the order made (--order), or measure parts drawn at random."),
        );
    }
    doubts
}

/// Why a lot's readings tell nothing of its scatter, so that it cannot be put into a pack; None where they do.
pub fn scatter_unseen(lot: &LotResult) -> Option<&'static str> {
    match lot.sd {
        None => Some("a single part says nothing of scatter: measure more parts of it"),
        Some(sd) if sd <= 1e-12 * lot.mean.abs() => {
            Some("all its readings are alike, so that the instrument's step hides its scatter: read it finer")
        }
        Some(_) => None,
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
        let seen = lot.sd.filter(|_| scatter_unseen(lot).is_none());
        let (Some(sd), Some(readings_sd)) = (lot.parts_sd, seen) else {
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
    today: &'a StackResult,
    without: &'a StackResult,
    surface: &'a Surface,
}

impl Question<'_> {
    fn answer(
        &self,
        lot: &LotResult,
        measured: Measured,
        lot_options: &LotOptions,
        options: &Options,
        progress: &dyn Progress,
    ) -> Result<LotInPack, LotPackError> {
        let Self { stack, place, surface, .. } = *self;
        let Measured { bias, sd, readings_sd } = measured;
        let nominal = stack.inputs[place.inputs[0]].nominal;
        let mut warnings = Vec::new();
        if (lot.mean - nominal).abs() > 0.25 * nominal.abs() {
            warnings.push(PackWarning::FarFromNominal { mean: lot.mean, nominal });
        }
        if lot.shape.contradicts_normal() {
            warnings.push(PackWarning::NotNormal);
        }
        let by_surface = surface.shares(bias, sd);
        let fitted = analyse(&place.written(self.bare, bias, sd), options, progress)?;
        let never_bind: Vec<NeverBinds> = fitted.requirements.iter().flat_map(|r| r.never_binds.clone()).collect();
        // Of a pack whose limits are slips it is not said that any lot would do.
        if !surface.depends() && never_bind.is_empty() {
            warnings.push(PackWarning::NothingDepends);
        }
        warnings.extend(never_bind.into_iter().map(PackWarning::NeverBinds));
        let empirical = self.empirical(lot, measured, options, progress)?;
        // A repeatability that is only stated takes nothing out of the scatter that the bounds rest on.
        let instrument = &lot_options.instrument;
        let only_stated = instrument.repeatability.is_some() && !instrument.repeatability_shown;
        let gauge_sd = if only_stated { 0.0 } else { lot.gauge_sd };
        let posterior = Posterior::new(&ChiGrid::finer(lot.n, 4.0), lot.mean, readings_sd, gauge_sd);
        let off = common_error(lot, lot_options);
        let moved = [0.0, off, -off].into_iter().take(if off > 0.0 { 3 } else { 1 });
        let clouds: Vec<Cloud> = moved.map(|by| Cloud::new(surface, &posterior.slices(), bias + by)).collect();
        let confidence = lot_options.confidence;
        let limits: Vec<f64> = stack.requirements.iter().map(|r| r.max_out).collect();
        let over_shapes = |share: f64| bound_over_shapes(lot, lot_options, share);
        let requirements: Vec<RequirementInPack> = (0..limits.len())
            .map(|k| {
                let each = |p: f64| clouds.iter().map(move |cloud| cloud.quantile(k, p));
                let quantiles =
                    [each(confidence).fold(0.0, f64::max), each(1.0 - confidence).fold(f64::INFINITY, f64::min)];
                let found = Found { fitted: fitted.requirements[k].spread.out, by_surface: by_surface[k], quantiles };
                let in_doubt = lot.shape.contradicts_normal();
                let mut one = self.requirement(k, &found, empirical[k], (in_doubt, &over_shapes), &mut warnings);
                // What no share settles: a loose bay, a limit that never binds, a load that sources differ on.
                let by_pack = fitted.requirements[k].verdict.as_ref().filter(|v| !v.is_shown());
                if let Some(by_pack) = by_pack.filter(|_| one.verdict.is_shown()) {
                    let mut by_pack = by_pack.clone();
                    for limit in &fitted.requirements[k].never_binds {
                        by_pack.reword(&limit.verdict(), &limit.verdict_without_figures());
                    }
                    one.verdict = one.verdict.and(by_pack);
                    one.acceptable = false;
                }
                one
            })
            .collect();
        let failing: Vec<(String, f64)> = requirements
            .iter()
            .filter(|r| r.fails_already())
            .map(|r| (format!("{} ({})", r.name, r.condition), r.without))
            .collect();
        if !failing.is_empty() {
            warnings.push(PackWarning::FailsAlready { requirements: failing });
        }
        let verdict = Verdict::worst(requirements.iter().filter(|r| r.depends).map(|r| r.verdict.clone()));
        let verdict = doubts_of(lot).into_iter().fold(verdict, Verdict::and);
        let (assumed_bias, assumed_sd) = place.assumed(stack);
        let map = AcceptanceMap::new(&map::MapQuestion {
            surface,
            limits: &limits,
            bias,
            sd,
            assumed: (assumed_bias, assumed_sd),
            region: posterior.region(lot.mean - bias, confidence),
            drawing: lot.drawing,
            nominal: lot.mean - bias,
            drawing_max_out: lot_options.max_out,
        });
        Ok(LotInPack {
            lot: lot.name.clone(),
            stands_for: self.stands_for.to_string(),
            dimensions: place.inputs.iter().map(|&i| stack.pack.dimensions[i].path.clone()).collect(),
            bias,
            sd,
            assumed_bias,
            assumed_sd,
            requirements,
            agreement: agreement(lot.verdict.as_ref(), &verdict),
            verdict,
            chance_acceptable: clouds.iter().map(|cloud| cloud.chance_within(&limits)).fold(1.0, f64::min),
            bias_room: AcceptanceMap::bias_room(surface, &limits, sd),
            largest_sd: AcceptanceMap::largest_sd(surface, &limits, bias),
            map,
            confidence,
            warnings,
        })
    }

    fn requirement(
        &self,
        k: usize,
        found: &Found,
        empirical: f64,
        (in_doubt, over_shapes): (bool, &dyn Fn(f64) -> f64),
        warnings: &mut Vec<PackWarning>,
    ) -> RequirementInPack {
        let requirement = &self.stack.requirements[k];
        let max_out = requirement.max_out;
        let condition = self.stack.pack.conditions[requirement.condition].name.clone();
        let today = self.today.requirements[k].spread.out;
        let name = format!("share outside of {} ({condition})", requirement.name);
        let Found { fitted, by_surface, quantiles } = *found;
        // The bounds are the surface's, moved in proportion to where the whole analysis puts the lot itself.
        let ratio = if by_surface > 0.0 { fitted.total / by_surface } else { 1.0 };
        let off = (by_surface - fitted.total).abs() > 0.25 * fitted.total + 5.0 * fitted.standard_error
            && by_surface.max(fitted.total) > 0.02 * max_out;
        let scale = if off { 1.0 } else { ratio };
        // Where the lot hardly matters the two differ by rounding alone.
        let upper_bound = (scale * quantiles[0]).clamp(fitted.total, 1.0);
        let lower_bound = (scale * quantiles[1]).min(fitted.total);
        // The bound so far is a normal lot's. What the lot adds to the share may be more by as much as another shape that its readings do not rule out has
        // beyond a limit where the normal bound is the same.
        let without = self.without.requirements[k].spread.out.total;
        let of_lot = if upper_bound > 0.0 { (upper_bound - without).max(0.0) / upper_bound } else { 1.0 };
        let more = if self.surface.depends_on(k) { over_shapes(upper_bound) - upper_bound } else { 0.0 };
        let upper_bound = (upper_bound + of_lot * more).min(1.0);
        // Of a lot that is not normal the readings themselves say how far the normal may be wrong.
        let (least, most) = if in_doubt {
            (lower_bound.min(empirical), upper_bound.max(empirical))
        } else {
            (lower_bound, upper_bound)
        };
        let mut verdict = Evidence::at_most(name, max_out)
            .estimate(fitted.total)
            .bounds(least, most)
            .simulation_error(fitted.standard_error)
            .judge();
        if off {
            let name = format!("{} ({condition})", requirement.name);
            verdict = verdict.and(Verdict::not_shown(format!("{name}: bounds could not be computed well enough")));
            warnings.push(PackWarning::SurfaceOff { requirement: name, surface: by_surface, analysis: fitted.total });
        }
        RequirementInPack {
            name: requirement.name.clone(),
            condition,
            max_out,
            today,
            fitted: fitted.total,
            fitted_standard_error: fitted.standard_error,
            without: self.without.requirements[k].spread.out.total,
            depends: self.surface.depends_on(k),
            empirical,
            upper_bound: most,
            lower_bound: least,
            acceptable_today: today.total <= max_out,
            acceptable: fitted.total <= max_out,
            verdict,
        }
    }

    /// The share outside of each requirement with the readings themselves as the distribution, shrunk about their mean by the gauge's share.
    fn empirical(
        &self,
        lot: &LotResult,
        measured: Measured,
        options: &Options,
        progress: &dyn Progress,
    ) -> Result<Vec<f64>, LotPackError> {
        let shrink = measured.sd / measured.readings_sd;
        let deviations: Vec<f64> = lot.parts.iter().map(|p| measured.bias + shrink * (p.value - lot.mean)).collect();
        let result = analyse(&self.place.sampled(self.bare, &deviations), options, progress)?;
        Ok(result.requirements.iter().map(|r| r.spread.out.total).collect())
    }
}

/// What was found of one requirement: by the whole analysis, by the surface, and the surface's quantiles (upper, lower).
struct Found {
    fitted: Share,
    by_surface: f64,
    quantiles: [f64; 2],
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

fn agreement(drawing: Option<&Verdict>, pack: &Verdict) -> Agreement {
    match (drawing.map(Verdict::standing), pack.standing()) {
        (Some(Standing::Shown), Standing::Shown) => Agreement::BothAccept,
        (Some(Standing::Adverse), Standing::Adverse) => Agreement::BothRefuse,
        (Some(Standing::Adverse), Standing::Shown) => Agreement::PackBearsIt,
        (Some(Standing::Shown), Standing::Adverse) => Agreement::DrawingDoesNotProtect,
        _ => Agreement::Open,
    }
}
