//! Plans by variables: the mean must keep k standard deviations from the limit. Fewer parts than by attributes, at the price of a normal
//! shape.
//!
//! One limit U: accept if (U − x̄)/s ≥ k. The chance of acceptance at a share p outside is P(t'₍ₙ₋₁₎(√n·z) ≥ √n·k), z = Φ⁻¹(1 − p), the
//! noncentral t; with known σ it is Φ(√n(z − k)). Two limits: accept if the share outside, estimated without bias, is at most M (the
//! form of ISO 3951-2); the chance then depends on how the share is split between the limits, and both risks are kept for every split.

use super::{OperatingPoint, OutgoingLimit, RiskPoints, curve_qualities};
use crate::LotError;
use crate::posterior::{SpecificationLimits, reach_for_share};
use crate::sample::Moments;
use crate::shape::{self, Resolution, ShapiroWilk};
use packdrift_numerics::special::{
    Inversion, beta_tails, chi_squared_quantile, invert_increasing, ln_gamma, noncentral_t_quantile, noncentral_t_tails,
};
use packdrift_numerics::stream::Key;
use packdrift_numerics::{legendre, normal};
use packdrift_verdict::{Evidence, Verdict};
use rayon::prelude::*;

/// What is known of the standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sigma {
    /// Estimated from the sample.
    Unknown,
    /// Known from long experience, mm.
    Known(f64),
}

/// The limits a plan guards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sides {
    /// One limit, or two of which each has its own risk.
    One,
    /// Two limits with the risk for both together.
    Two {
        /// Lower limit, mm.
        lower: f64,
        /// Upper limit, mm.
        upper: f64,
    },
}

/// A plan by variables.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VariablesPlan {
    /// n.
    pub sample_size: u64,
    /// k: the least distance from mean to limit, in standard deviations. With two limits and unknown sd that of a lot whose share lies
    /// all on one side.
    pub acceptability_constant: f64,
    /// M: the largest estimated share outside; only with two limits and unknown sd.
    pub largest_share: Option<f64>,
    /// What is known of the sd.
    pub sigma: Sigma,
    /// The limits.
    pub sides: Sides,
}

/// What a sample says under a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VariablesVerdict {
    /// x̄, mm.
    pub mean: f64,
    /// s, or σ where known, mm.
    pub sd: f64,
    /// (x̄ − L)/s.
    pub lower_quality: Option<f64>,
    /// (U − x̄)/s.
    pub upper_quality: Option<f64>,
    /// Estimated share outside; only with two limits and unknown sd.
    pub estimated_share: Option<f64>,
    /// Whether the plan's criterion is met; [`VariablesPlan::verdict`] also hears what follows.
    pub accepted: bool,
    /// Readings outside a limit.
    pub outside: u64,
    /// Whether a test contradicts that the readings are normal, on which the plan rests, at a level of 1 %.
    pub contradicts_normal: bool,
    /// Why the sample shows nothing whatever the criterion says; None where it may.
    pub doubt: Option<SampleDoubt>,
}

/// Why a sample shows nothing under a plan by variables: the verdict would hang on a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum SampleDoubt {
    /// All readings are alike: they say no more than that the parts scatter by less than the step.
    Alike,
    /// The readings scatter more than the standard deviation that is said to be known, at a level of 1 %.
    ScatterMore,
    /// A limit so far away that it can never bind: a slip, or no limit.
    NeverBinds {
        /// Whether it is the upper one.
        upper: bool,
    },
}

impl SampleDoubt {
    /// In words that end a sentence.
    pub fn reason(self) -> &'static str {
        match self {
            Self::Alike => "all readings are alike: the instrument's step hides what scatters below it",
            Self::ScatterMore => "the readings scatter more than the standard deviation that is said to be known",
            Self::NeverBinds { upper: true } => {
                "the upper limit can never bind, nowhere near the parts' size: a slip of the unit or the decimal point?"
            }
            Self::NeverBinds { upper: false } => {
                "the lower limit can never bind, nowhere near the parts' size: a slip of the unit or the decimal point?"
            }
        }
    }

    /// What would settle it.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Alike => "Read the parts with a finer instrument.",
            Self::ScatterMore => "Leave --sigma out, and measure as many parts as that plan asks for.",
            Self::NeverBinds { .. } => "Correct the limit, or leave it out if there is none.",
        }
    }
}

/// Overall level at which readings are taken not to be normal.
const SHAPE_LEVEL: f64 = 0.01;

/// Largest sample considered.
const LARGEST: u64 = 20_000;
/// Splits of a share between two limits that are looked at.
const SPLITS: usize = 9;

/// The smallest plan that keeps both risks.
///
/// # Errors
/// Points without sense, limits the wrong way round, a known sd not above 0 or too large for the limits, no plan with at most 20 000 parts.
///
/// # Examples
/// ```
/// use packdrift_lot::sampling::{RiskPoints, variables::{self, Sides, Sigma}};
/// let risks = RiskPoints { producer_quality: 0.01, producer_risk: 0.05, consumer_quality: 0.06, consumer_risk: 0.10 };
/// let plan = variables::find(&risks, Sigma::Unknown, Sides::One)?;
/// // A third of the parts that a plan by attributes needs.
/// assert!(plan.sample_size < 45 && plan.accepted(0.01).0 >= 0.95 && plan.accepted(0.06).1 <= 0.10);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn find(risks: &RiskPoints, sigma: Sigma, sides: Sides) -> Result<VariablesPlan, LotError> {
    risks.check()?;
    if let Sides::Two { lower, upper } = sides {
        crate::error::finite("the lower limit", lower)?;
        crate::error::finite("the upper limit", upper)?;
        if lower >= upper {
            return Err(LotError::LimitsReversed { lower, upper });
        }
    }
    if let Sigma::Known(sd) = sigma
        && !(sd > 0.0 && sd.is_finite())
    {
        return Err(LotError::OutOfRange {
            what: "the known standard deviation".into(),
            value: sd,
            expected: "above 0 mm".into(),
        });
    }
    match (sigma, sides) {
        (Sigma::Unknown, Sides::One) => unknown_one(risks, 2),
        (Sigma::Unknown, Sides::Two { .. }) => unknown_two(risks, sides),
        (Sigma::Known(sd), Sides::One) => known(risks, sd, sides, |p| Some(-normal::quantile(p))),
        (Sigma::Known(sd), Sides::Two { lower, upper }) => {
            let half = 0.5 * (upper - lower) / sd;
            known(risks, sd, sides, |p| reach_for_share(half, p, normal::quantile(p)).map(|reach| half - reach))
        }
    }
}

fn no_plan(reason: &str) -> LotError {
    LotError::NoPlan { largest: LARGEST, reason: reason.to_string() }
}

/// The smallest n, from `from` on, for which the k that protects the consumer still suits the producer.
fn unknown_one(risks: &RiskPoints, from: u64) -> Result<VariablesPlan, LotError> {
    let (z1, z2) = (-normal::quantile(risks.producer_quality), -normal::quantile(risks.consumer_quality));
    let range = |n: u64| {
        let root = (n as f64).sqrt();
        let nu = n as f64 - 1.0;
        let least = noncentral_t_quantile(nu, root * z2, 1.0 - risks.consumer_risk) / root;
        let most = noncentral_t_quantile(nu, root * z1, risks.producer_risk) / root;
        (least, most)
    };
    let keeps = |n: u64| {
        let (least, most) = range(n);
        least <= most
    };
    if !keeps(LARGEST) {
        return Err(no_plan("the two qualities are too close"));
    }
    let (mut low, mut high) = (from.max(2) - 1, LARGEST);
    let mut probe = low;
    let mut step = 1;
    while probe < LARGEST {
        probe = (probe + step).min(LARGEST);
        if keeps(probe) {
            high = probe;
            break;
        }
        low = probe;
        step *= 2;
    }
    while high - low > 1 {
        let middle = u64::midpoint(low, high);
        if keeps(middle) { high = middle } else { low = middle }
    }
    let (least, most) = range(high);
    Ok(VariablesPlan {
        sample_size: high,
        acceptability_constant: 0.5 * (least + most),
        largest_share: None,
        sigma: Sigma::Unknown,
        sides: Sides::One,
    })
}

/// With known σ the mean alone decides. `distance(p)` is how many σ the mean keeps from the nearer limit at a share p outside (with two
/// limits less than Φ⁻¹(1 − p)); None where even a centred lot has more than p outside.
fn known(
    risks: &RiskPoints,
    sd: f64,
    sides: Sides,
    distance: impl Fn(f64) -> Option<f64>,
) -> Result<VariablesPlan, LotError> {
    let Some(d1) = distance(risks.producer_quality) else {
        return Err(no_plan("with this standard deviation even a centred lot is worse than the producer's quality"));
    };
    // Where even a centred lot is better than the consumer's quality any mean within the limits would do; distance is always there then.
    let Some(d2) = distance(risks.consumer_quality) else {
        return Err(no_plan("with this standard deviation even a centred lot is worse than the consumer's quality"));
    };
    let (za, zb) = (-normal::quantile(risks.producer_risk), -normal::quantile(risks.consumer_risk));
    if d1 <= d2 {
        return Err(no_plan("with this standard deviation the two qualities need the same mean"));
    }
    let mut n = (((za + zb) / (d1 - d2)).powi(2)).ceil().max(1.0) as u64;
    while n <= LARGEST {
        let root = (n as f64).sqrt();
        let plan = |k: f64| VariablesPlan {
            sample_size: n,
            acceptability_constant: k,
            largest_share: None,
            sigma: Sigma::Known(sd),
            sides,
        };
        // k between what the consumer needs and what the producer can bear; with two limits both tails of the mean count, so check.
        let (least, most) = (d2 + zb / root, d1 - za / root);
        for k in [0.5 * (least + most), least, most] {
            let candidate = plan(k);
            if candidate.accepted(risks.producer_quality).0 >= 1.0 - risks.producer_risk - 1e-12
                && candidate.accepted(risks.consumer_quality).1 <= risks.consumer_risk + 1e-12
            {
                return Ok(candidate);
            }
        }
        n += 1;
    }
    Err(no_plan("the two qualities are too close"))
}

/// Starts from the one-sided plan and grows n until both risks are kept for every split of the share.
fn unknown_two(risks: &RiskPoints, sides: Sides) -> Result<VariablesPlan, LotError> {
    let mut n = unknown_one(risks, 3)?.sample_size;
    let largest = 4 * n + 50;
    while n <= largest.min(LARGEST) {
        let root = (n as f64).sqrt();
        let nu = n as f64 - 1.0;
        // k of the consumer's protection on one side; M is the share a sample at exactly k would estimate. Splits shift both risks a little,
        // so a few values between the two one-sided bounds are tried.
        let least =
            noncentral_t_quantile(nu, -root * normal::quantile(risks.consumer_quality), 1.0 - risks.consumer_risk)
                / root;
        let most =
            noncentral_t_quantile(nu, -root * normal::quantile(risks.producer_quality), risks.producer_risk) / root;
        if most >= least {
            for share_of_way in [0.5, 0.2, 0.8, 0.0, 1.0] {
                let k = least + share_of_way * (most - least);
                let plan = VariablesPlan {
                    sample_size: n,
                    acceptability_constant: k,
                    largest_share: Some(estimated_tail(k, n as f64)),
                    sigma: Sigma::Unknown,
                    sides,
                };
                if plan.accepted(risks.producer_quality).0 >= 1.0 - risks.producer_risk
                    && plan.accepted(risks.consumer_quality).1 <= risks.consumer_risk
                {
                    return Ok(plan);
                }
            }
        }
        n += 1 + n / 40;
    }
    Err(no_plan("no sample keeps both risks for every split of the share between the two limits"))
}

/// The unbiased estimate of the share beyond a limit at Q sample standard deviations: `I_x(n/2 − 1, n/2 − 1)`, x = ½ − Q√n/(2(n − 1))
/// (Lieberman and Resnikoff 1955). n above 2.
fn estimated_tail(q: f64, n: f64) -> f64 {
    let x = (0.5 - 0.5 * q * n.sqrt() / (n - 1.0)).clamp(0.0, 1.0);
    beta_tails(0.5 * n - 1.0, 0.5 * n - 1.0, x, 1.0 - x).lower
}

impl VariablesPlan {
    /// The chance of acceptance at a share outside: the smallest and the largest over the ways it can be split between two limits; the same
    /// number twice with one limit or known sd.
    pub fn accepted(&self, quality: f64) -> (f64, f64) {
        if quality <= 0.0 {
            return (1.0, 1.0);
        }
        let n = self.sample_size as f64;
        let root = n.sqrt();
        let k = self.acceptability_constant;
        let one = |p: f64| (p, p);
        match (self.sigma, self.sides) {
            (Sigma::Unknown, Sides::One) => {
                one(noncentral_t_tails(n - 1.0, -root * normal::quantile(quality), root * k).upper)
            }
            (Sigma::Known(_), Sides::One) => one(normal::cdf(root * (-normal::quantile(quality) - k))),
            (Sigma::Known(sd), Sides::Two { lower, upper }) => {
                let half = 0.5 * (upper - lower) / sd;
                // With this sd no lot is better than a centred one (reach 0). The mean may be half − k off the middle and is `reach` off it.
                let reach = reach_for_share(half, quality, normal::quantile(quality)).unwrap_or(0.0);
                one((normal::cdf(root * (half - k - reach)) - normal::cdf(root * (k - half - reach))).max(0.0))
            }
            (Sigma::Unknown, Sides::Two { .. }) => self.accepted_two_unknown(quality),
        }
    }

    /// The worst that can be passed on in the long run where refused lots are sorted and made good: the largest p·P(accepted), with two limits for the split of the
    /// share that is accepted most often.
    pub fn outgoing_limit(&self) -> OutgoingLimit {
        super::outgoing_limit(|p| p * self.accepted(p).1)
    }

    /// A sample's verdict as the program says it.
    ///
    /// Readings that contradict the normal lot that the plan rests on accept nothing; parts counted outside are named.
    pub fn verdict(&self, found: &VariablesVerdict) -> Verdict {
        let mut verdict = self.criterion(found);
        if found.contradicts_normal {
            let reason = "the readings do not look normal, and a plan by variables rests on a normal lot";
            let cure = "Judge the parts by a plan by attributes, or the lot by `lot`.";
            verdict = verdict.and(Verdict::not_shown(reason).settled_by(cure));
        }
        if let Some(doubt) = found.doubt {
            verdict = verdict.and(Verdict::not_shown(doubt.reason()).settled_by(doubt.remedy()));
        }
        if found.outside > 0 {
            let reason = format!("{} of the readings outside the limits: take the parts out", found.outside);
            verdict = verdict.and(Verdict::watch(reason));
        }
        verdict
    }

    fn criterion(&self, found: &VariablesVerdict) -> Verdict {
        // Without scatter there is no distance to a limit in standard deviations.
        if found.sd.is_nan() || found.sd <= 0.0 {
            return Verdict::not_shown(SampleDoubt::Alike.reason()).settled_by(SampleDoubt::Alike.remedy());
        }
        if let (Some(share), Some(largest)) = (found.estimated_share, self.largest_share) {
            return Evidence::at_most("estimated share outside", largest).exact(share).judge();
        }
        let nearest = [found.lower_quality, found.upper_quality].into_iter().flatten().fold(f64::INFINITY, f64::min);
        let short = self.acceptability_constant - nearest;
        Evidence::at_most("standard deviations short of the plan's distance from the limit", 0.0).exact(short).judge()
    }

    /// The operating characteristic.
    pub fn curve(&self, risks: &RiskPoints) -> Vec<OperatingPoint> {
        curve_qualities(risks)
            .into_par_iter()
            .map(|quality| {
                let (accepted, accepted_at_most) = self.accepted(quality);
                OperatingPoint { quality, accepted, accepted_at_most, outgoing: quality * accepted_at_most }
            })
            .collect()
    }

    /// In units of half the distance of the limits: limits at ∓ 1. For σ from where the share lies all on one side to where it is shared
    /// equally, integrates over s the chance that x̄ falls where the estimated share is at most M.
    fn accepted_two_unknown(&self, quality: f64) -> (f64, f64) {
        let n = self.sample_size as f64;
        let nu = n - 1.0;
        let largest = self.largest_share.unwrap_or(0.0);
        let z = normal::quantile(quality);
        // Centred: 2Φ(−1/σ) = p.
        let widest = -1.0 / normal::quantile(0.5 * quality);
        let k = self.acceptability_constant;
        let widest_accepted = largest_sd(n, largest);
        let mut range = (f64::INFINITY, 0.0_f64);
        for split in 0..SPLITS {
            // The last is all on one side in the limit of small σ, where the one-sided formula is exact.
            let accepted = if split == SPLITS - 1 {
                noncentral_t_tails(nu, -n.sqrt() * z, n.sqrt() * k).upper
            } else {
                let sigma = widest * (1.0 - 0.1 * split as f64);
                let Some(reach) = reach_for_share(1.0 / sigma, quality, z) else { continue };
                let mean = reach * sigma;
                let error = sigma / n.sqrt();
                mean_over_sd(nu, widest_accepted / sigma, |ratio| {
                    acceptance_reach(sigma * ratio, n, largest)
                        .map_or(0.0, |reach| normal::cdf((reach - mean) / error) - normal::cdf((-reach - mean) / error))
                })
            };
            range = (range.0.min(accepted), range.1.max(accepted));
        }
        range
    }

    /// What a sample of readings says.
    ///
    /// # Errors
    /// Another number of readings than the plan's; readings that are no numbers.
    pub fn judge(
        &self,
        readings: &[f64],
        lower: Option<f64>,
        upper: Option<f64>,
    ) -> Result<VariablesVerdict, LotError> {
        if readings.len() as u64 != self.sample_size {
            return Err(LotError::OutOfRange {
                what: "the number of readings".into(),
                value: readings.len() as f64,
                expected: format!("{}, as the plan asks", self.sample_size),
            });
        }
        for &x in readings {
            crate::error::finite("a reading", x)?;
        }
        let moments = Moments::of(readings);
        let sd = match self.sigma {
            Sigma::Known(sd) => sd,
            Sigma::Unknown => moments.sd(),
        };
        let limits = SpecificationLimits { lower, upper };
        let doubt = self.doubt(&moments).or_else(|| super::never_binding(readings, limits));
        // Of readings all alike there is no distance in standard deviations of their own.
        let distance = |length: f64| (sd > 0.0).then(|| length / sd);
        let lower_quality = lower.and_then(|l| distance(moments.mean - l));
        let upper_quality = upper.and_then(|u| distance(u - moments.mean));
        let n = self.sample_size as f64;
        let (accepted, estimated_share) = match (self.largest_share, self.sides) {
            _ if sd.is_nan() || sd <= 0.0 => (false, None),
            (Some(largest), Sides::Two { .. }) => {
                let tail = |q: Option<f64>| q.map_or(0.0, |q| estimated_tail(q, n));
                let share = tail(lower_quality) + tail(upper_quality);
                (share <= largest, Some(share))
            }
            _ => ([lower_quality, upper_quality].into_iter().flatten().all(|q| q >= self.acceptability_constant), None),
        };
        Ok(VariablesVerdict {
            mean: moments.mean,
            sd,
            lower_quality,
            upper_quality,
            estimated_share,
            accepted,
            outside: readings.iter().filter(|x| limits.is_outside(**x)).count() as u64,
            contradicts_normal: contradicts_normal(readings, moments.mean, moments.sd()),
            doubt,
        })
    }

    /// Why a sample shows nothing: readings all alike, a known sd that they contradict.
    fn doubt(&self, moments: &Moments) -> Option<SampleDoubt> {
        // A single reading, of a plan with a known sd, tells nothing of scatter either way.
        if moments.n < 2 {
            return None;
        }
        let sd = moments.sd();
        if sd <= 1e-12 * moments.mean.abs() {
            return Some(SampleDoubt::Alike);
        }
        if let Sigma::Known(known) = self.sigma {
            // (n − 1)·s²/σ² is χ² with n − 1 degrees of freedom.
            let nu = (moments.n - 1) as f64;
            if moments.sum_of_squares > known * known * chi_squared_quantile(nu, 1.0 - SHAPE_LEVEL) {
                return Some(SampleDoubt::ScatterMore);
            }
        }
        None
    }
}

/// Whether the tests of a lot's shape contradict a normal one.
fn contradicts_normal(readings: &[f64], mean: f64, sd: f64) -> bool {
    let mut sorted = readings.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let weights = ShapiroWilk::new(sorted.len());
    let key = || Key::new(1, "shape of a sample by variables");
    shape::assess(&sorted, mean, sd, Resolution::find(readings), weights.as_ref(), SHAPE_LEVEL, key)
        .contradicts_normal()
}

/// The largest sample sd at which a sample is ever accepted, limits at ∓ 1: a centred one's estimated share is M. 0 where M is 0.
fn largest_sd(n: f64, largest: f64) -> f64 {
    if largest <= 0.0 {
        return 0.0;
    }
    // The unbiased estimate falls to 0 at Q = (n − 1)/√n and rises to ½ as Q goes to 0.
    let least = n.sqrt() / (n - 1.0);
    let search = Inversion { start: least.max(0.5), step: 0.1, lower: least, upper: 1e6 };
    invert_increasing(&search, |s| 2.0 * estimated_tail(1.0 / s, n) - largest)
}

/// Mean of f(s/σ) over the sample sd s of a normal, ν degrees of freedom, f being 0 above `top`: with y = ln(s/σ) the density is proportional to
/// exp(ν(y − e²ʸ/2)). f may fall to 0 as the root of the distance from `top` does, so y = ln(top) − t² is integrated by Gauss and Legendre.
fn mean_over_sd(nu: f64, top: f64, f: impl Fn(f64) -> f64) -> f64 {
    static NODES: std::sync::OnceLock<Vec<(f64, f64)>> = std::sync::OnceLock::new();
    // What lies beyond either end has a chance below 1e-12.
    let span = 7.5 / (2.0 * nu).sqrt();
    let (low, high) = (-span.max(28.0 / nu + 0.5), top.ln().min(span));
    if high.is_nan() || high <= low {
        return 0.0;
    }
    // ∫ exp(ν(y − (e²ʸ − 1)/2)) dy.
    let ln_total = 0.5 * nu * (1.0 + (2.0 / nu).ln()) + ln_gamma(0.5 * nu) - std::f64::consts::LN_2;
    let longest = (high - low).sqrt();
    NODES
        .get_or_init(|| legendre::rule(96))
        .iter()
        .map(|&(x, weight)| {
            let t = 0.5 * longest * (1.0 + x);
            let y = high - t * t;
            let density = (nu * (y - 0.5 * (2.0 * y).exp_m1()) - ln_total).exp();
            if density < 1e-16 { 0.0 } else { longest * weight * t * density * f(y.exp()) }
        })
        .sum()
}

/// How far x̄ may be off the middle of limits at ∓ 1 for the estimated share to be at most M, at sample sd s; None where even the middle
/// is not.
fn acceptance_reach(s: f64, n: f64, largest: f64) -> Option<f64> {
    let share = |u: f64| estimated_tail((1.0 - u) / s, n) + estimated_tail((1.0 + u) / s, n);
    if share(0.0) > largest {
        return None;
    }
    let start = (1.0 - s).clamp(0.0, 1.5);
    Some(invert_increasing(&Inversion { start, step: 0.05, lower: 0.0, upper: 1.0 + s }, |u| {
        let value = share(u);
        if value > 0.0 { (value / largest).ln() } else { -1e3 + u }
    }))
}
