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
mod response;
mod surface;
#[cfg(test)]
mod tests;

pub use error::LotPackError;
pub use map::AcceptanceMap;
pub use reading::{ReadingInPack, ReadingInRequirement, reading_in_pack};

use bounds::{Cloud, over_all};
use packdrift_lot::bound::LeftOpen;
use packdrift_lot::posterior::{ChiGrid, Posterior};
use packdrift_lot::{Doubt, Interval, LotError, LotOptions, LotResult};
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
    /// The lot's shape is not normal: the map, its outline and the chance rest on mean and sd all the same; the bounds do not.
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
            Self::NotNormal => "the lot is not normal: the map, its outline and the chance rest on its mean and sd all the same; the bounds do not".to_owned(),
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
    let surface =
        Surface::new(&bare, &place, most(|m| m.bias.abs()), most(|m| m.sd.max(1e-6 * m.readings_sd)), options.seed)?;
    let question =
        Question { stack, stands_for, place: &place, bare: &bare, today: &today, without: &without, surface: &surface };
    lots.iter()
        .zip(&measured)
        .map(|(lot, measured)| {
            if progress.cancelled() {
                return Err(LotPackError::Cancelled);
            }
            let mut answer = question.answer(lot, *measured, lot_options, options, progress)?;
            if answer.verdict.is_shown() && lot.gauge_sd > lot.shown_gauge_sd {
                let only_stated = Doubt::RepeatabilityNotShown.verdict();
                let shown = by_what_is_shown(lot);
                let of_it = Measured::of(&shown, nominal)?;
                if !question.answer(&shown, of_it, lot_options, options, progress)?.verdict.is_shown() {
                    answer.verdict = answer.verdict.and(only_stated.clone());
                    let depending = answer.requirements.iter_mut().filter(|r| r.depends);
                    depending.for_each(|r| r.verdict = r.verdict.clone().and(only_stated.clone()));
                    answer.agreement = agreement(lot.verdict.as_ref(), &answer.verdict);
                }
            }
            Ok(answer)
        })
        .collect()
}

/// The lot with no more taken out of its scatter than is shown of the gauge.
fn by_what_is_shown(lot: &LotResult) -> LotResult {
    let gauge_sd = lot.shown_gauge_sd;
    let parts_sd = lot.sd.map(|sd| (sd * sd - gauge_sd * gauge_sd).max(0.0).sqrt());
    LotResult { gauge_sd, parts_sd, ..lot.clone() }
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
        let posterior = Posterior::new(&ChiGrid::finer(lot.n, 4.0), lot.mean, readings_sd, lot.gauge_sd);
        let slices = posterior.slices();
        let cloud = Cloud::new(surface, &slices, bias);
        let off = lot.common_error;
        let moves = [off, -off].into_iter().filter(|by| by.abs() > 0.0);
        let readings = Readings {
            lot,
            measured,
            open: lot.left_open(lot_options),
            moved: moves.map(|by| Cloud::new(surface, &slices, bias + by)).collect(),
            cloud,
            confidence: lot_options.confidence,
        };
        let confidence = lot_options.confidence;
        let limits: Vec<f64> = stack.requirements.iter().map(|r| r.max_out).collect();
        let mut requirements: Vec<RequirementInPack> = (0..limits.len())
            .map(|k| {
                let found = Found {
                    fitted: fitted.requirements[k].spread.out,
                    by_surface: by_surface[k],
                    empirical: empirical[k],
                };
                let mut one = self.requirement(k, &found, &readings, &mut warnings);
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
        // What the readings do not show of the lot itself they show in no pack.
        let doubts = || lot.not_steady().into_iter().chain(lot.doubt_of_scatter().map(|d| d.verdict()));
        let verdict = doubts().fold(verdict, Verdict::and);
        for one in requirements.iter_mut().filter(|r| r.depends) {
            one.verdict = doubts().fold(one.verdict.clone(), Verdict::and);
        }
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
            chance_acceptable: readings.cloud.chance_within(&limits),
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
        readings: &Readings<'_>,
        warnings: &mut Vec<PackWarning>,
    ) -> RequirementInPack {
        let requirement = &self.stack.requirements[k];
        let max_out = requirement.max_out;
        let condition = self.stack.pack.conditions[requirement.condition].name.clone();
        let today = self.today.requirements[k].spread.out;
        let name = format!("share outside of {} ({condition})", requirement.name);
        let Found { fitted, empirical, .. } = *found;
        let bounds = self.bounds(k, found, readings);
        let mut verdict = Evidence::at_most(name, max_out)
            .estimate(fitted.total)
            .bounds(bounds.least, bounds.most)
            .simulation_error(fitted.standard_error)
            .judge();
        if bounds.most > max_out && verdict.standing() == Standing::NotShown {
            verdict = bounds.cause(max_out).into_iter().fold(verdict, Verdict::and);
        }
        if bounds.off.is_some() || bounds.missing {
            let name = format!("{} ({condition})", requirement.name);
            verdict = verdict.and(Verdict::not_shown(format!("{name}: bounds could not be computed well enough")));
        }
        if let Some(surface) = bounds.off {
            let name = format!("{} ({condition})", requirement.name);
            warnings.push(PackWarning::SurfaceOff { requirement: name, surface, analysis: fitted.total });
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
            upper_bound: bounds.most,
            lower_bound: bounds.least,
            acceptable_today: today.total <= max_out,
            acceptable: fitted.total <= max_out,
            verdict,
        }
    }

    /// Over all that the readings leave open of the lot: mean and sd, its shape, the correlation of neighbours, what all readings may be off alike.
    fn bounds(&self, k: usize, found: &Found, readings: &Readings<'_>) -> Bounds {
        let max_out = self.stack.requirements[k].max_out;
        let Found { fitted, by_surface, empirical } = *found;
        let Readings { lot, measured, open, cloud, moved, confidence, .. } = readings;
        // The bounds are the surface's, moved in proportion to where the whole analysis puts the lot itself; not by what is simulation error alone: where
        // nothing was seen outside they would be 0.
        let apart = (by_surface - fitted.total).abs();
        let off =
            apart > 0.25 * fitted.total + 5.0 * fitted.standard_error && by_surface.max(fitted.total) > 0.02 * max_out;
        let as_good = off || apart <= 3.0 * fitted.standard_error || fitted.total <= 0.0 || by_surface <= 0.0;
        let scale = if as_good { 1.0 } else { fitted.total / by_surface };
        let clouds = || moved.iter().chain([cloud]);
        let upper = |cloud: &Cloud| scale * cloud.quantile(k, *confidence);
        let mut bounds = Bounds {
            normal: upper(cloud),
            normal_moved: clouds().map(upper).fold(0.0, f64::max),
            unmoved: upper(cloud),
            // Where the lot hardly matters the two differ by rounding alone.
            least: clouds().map(|c| scale * c.quantile(k, 1.0 - confidence)).fold(fitted.total, f64::min),
            most: fitted.total,
            off: off.then_some(by_surface),
            missing: false,
        };
        bounds.most = bounds.normal_moved.clamp(fitted.total, 1.0);
        if self.surface.depends_on(k) && !open.is_empty() {
            let Measured { bias, sd, .. } = *measured;
            let response = self.surface.response(k, bias, sd);
            let others = response.and_then(|response| {
                let normal = response.share(bias, sd, &response.sum(|score| score));
                let near = (normal - by_surface).abs() <= 0.25 * by_surface;
                if !near && normal.max(by_surface) > 0.02 * max_out {
                    return None;
                }
                let scale = if near && normal > 0.0 { scale * by_surface / normal } else { scale };
                let counted =
                    response.failing(bias, sd, &readings.deviations()).filter(|_| lot.shape.contradicts_normal());
                let counted = counted.map(|(outside, parts)| {
                    parts as f64 * packdrift_lot::capability::count_upper_bound(outside, lot.n, *confidence)
                });
                bounds.most = bounds.most.max(counted.unwrap_or(0.0)).min(1.0);
                over_all(&response, open, (lot.mean, bias), lot.common_error, scale)
            });
            // What could not be computed shows nothing.
            bounds.missing = others.is_none();
            if let Some(others) = others {
                bounds.unmoved = bounds.unmoved.max(others.upper_unmoved);
                (bounds.most, bounds.least) = (bounds.most.max(others.upper), bounds.least.min(others.lower));
            }
        }
        // Of a lot that is not normal the readings themselves say how far the normal may be wrong.
        if lot.shape.contradicts_normal() {
            (bounds.least, bounds.most) = (bounds.least.min(empirical), bounds.most.max(empirical));
        }
        bounds
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

/// What was found of one requirement: by the whole analysis, by the surface, and with the readings themselves.
struct Found {
    fitted: Share,
    by_surface: f64,
    empirical: f64,
}

/// What the readings of a lot leave open.
struct Readings<'a> {
    lot: &'a LotResult,
    measured: Measured,
    /// Shapes and correlations of neighbours.
    open: Vec<LeftOpen>,
    /// Were the lot normal.
    cloud: Cloud,
    /// The same with all readings off alike, either way.
    moved: Vec<Cloud>,
    confidence: f64,
}

impl Readings<'_> {
    /// Of the parts from their mean, the gauge's share shrunk out of them, mm.
    fn deviations(&self) -> Vec<f64> {
        let shrink = self.measured.sd / self.measured.readings_sd;
        self.lot.parts.iter().map(|p| shrink * (p.value - self.lot.mean)).collect()
    }
}

/// Bounds of the share outside of one requirement.
struct Bounds {
    most: f64,
    least: f64,
    /// The upper one were the lot normal, its parts independent and its readings right on average.
    normal: f64,
    /// Were it normal, with all readings off alike.
    normal_moved: f64,
    /// With the readings right on average.
    unmoved: f64,
    /// The share by the surface, where it is too far from the whole analysis to go by.
    off: Option<f64>,
    /// Whether no share of another shape could be computed.
    missing: bool,
}

impl Bounds {
    /// Why the upper bound is above what is allowed, where it is not the scatter of mean and sd alone.
    fn cause(&self, max_out: f64) -> Option<Verdict> {
        if self.normal > max_out {
            None
        } else if self.unmoved <= max_out || self.normal_moved > max_out {
            Some(Doubt::AllOff.verdict())
        } else {
            let reason = "it would do were the lot known to be normal and its parts independent: so few parts do not tell it from one with longer tails";
            let cure =
                "Measure more parts. If long experience shows that such parts scatter normally, say --shape normal.";
            Some(Verdict::not_shown(reason).settled_by(cure))
        }
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

fn agreement(drawing: Option<&Verdict>, pack: &Verdict) -> Agreement {
    match (drawing.map(Verdict::standing), pack.standing()) {
        (Some(Standing::Shown), Standing::Shown) => Agreement::BothAccept,
        (Some(Standing::Adverse), Standing::Adverse) => Agreement::BothRefuse,
        (Some(Standing::Adverse), Standing::Shown) => Agreement::PackBearsIt,
        (Some(Standing::Shown), Standing::Adverse) => Agreement::DrawingDoesNotProtect,
        _ => Agreement::Open,
    }
}
