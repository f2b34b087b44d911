//! How many parts to measure, and when to accept: sampling plans from two points of risk, their operating characteristic, the verdict on
//! a given sample, standard plans and the switching between them.

pub mod attributes;
pub mod history;
pub mod standard;
pub mod switching;
pub mod variables;

use crate::LotError;
use crate::error::share;
use crate::posterior::SpecificationLimits;
use crate::sample::Moments;
use rayon::prelude::*;
use variables::SampleDoubt;

/// A limit that can never bind for parts of these sizes: a slip of the unit or the decimal point, so that nothing is shown by what is inside it, whatever
/// the plan. Of readings that show no scatter (one part, or all alike) a thousandth of the size stands for it.
///
/// # Examples
/// ```
/// use packdrift_lot::posterior::SpecificationLimits;
/// use packdrift_lot::sampling::{never_binding, variables::SampleDoubt};
/// let of = |lower, upper| never_binding(&[0.601, 0.598, 0.604], SpecificationLimits { lower, upper });
/// assert_eq!(of(Some(0.57), Some(0.63)), None);
/// // 0.63 in, or 63 hundredths of a millimetre.
/// assert_eq!(of(None, Some(16.0)), Some(SampleDoubt::NeverBinds { upper: true }));
/// assert_eq!(of(Some(0.0224), None), Some(SampleDoubt::NeverBinds { upper: false }));
/// ```
pub fn never_binding(readings: &[f64], limits: SpecificationLimits) -> Option<SampleDoubt> {
    let moments = Moments::of(readings);
    let scatter = if moments.n > 1 { moments.sd() } else { 0.0 };
    let sd = scatter.max(1e-3 * moments.mean.abs());
    let far = limits.never_binds(moments.mean, sd).filter(|_| sd > 0.0);
    far.map(|(upper, _)| SampleDoubt::NeverBinds { upper })
}

/// Whether every reading lies outside, nowhere near any limit (a fifth of it and less, or five times and more): then the limits may be in another unit.
pub fn all_far_outside(readings: &[f64], limits: SpecificationLimits) -> bool {
    let far = |x: f64| {
        let near = |limit: f64| (limit.abs() / 5.0..=5.0 * limit.abs()).contains(&x.abs());
        limits.is_outside(x) && ![limits.lower, limits.upper].into_iter().flatten().any(near)
    };
    !readings.is_empty() && readings.iter().all(|&x| far(x))
}

/// The two points a plan's operating characteristic is to pass: a good lot is accepted with at least 1 − α, a bad one with at most β.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiskPoints {
    /// Share outside of a lot the supplier may rely on being accepted.
    pub producer_quality: f64,
    /// α: the chance of rejecting it all the same.
    pub producer_risk: f64,
    /// Share outside of a lot the buyer wants to be protected from.
    pub consumer_quality: f64,
    /// β: the chance of accepting it all the same.
    pub consumer_risk: f64,
}

impl RiskPoints {
    /// Refuses points without sense.
    ///
    /// # Errors
    /// A share or risk not strictly between 0 and 1; a consumer's quality or risk of one half or more, which protects nobody; a producer's quality that is
    /// not better than the consumer's; risks that add up to 1 or more.
    pub fn check(&self) -> Result<(), LotError> {
        share("the producer's quality", self.producer_quality)?;
        share("the producer's risk", self.producer_risk)?;
        share("the consumer's quality", self.consumer_quality)?;
        share("the consumer's risk", self.consumer_risk)?;
        for (what, value) in
            [("the consumer's quality", self.consumer_quality), ("the consumer's risk", self.consumer_risk)]
        {
            if value >= 0.5 {
                let expected = "below 0.5: such a plan protects nobody".to_owned();
                return Err(LotError::OutOfRange { what: what.into(), value, expected });
            }
        }
        if self.producer_quality >= self.consumer_quality {
            return Err(LotError::OutOfRange {
                what: "the producer's quality".into(),
                value: self.producer_quality,
                expected: format!("below the consumer's quality, {}", self.consumer_quality),
            });
        }
        if self.producer_risk + self.consumer_risk >= 1.0 {
            return Err(LotError::OutOfRange {
                what: "the sum of the two risks".into(),
                value: self.producer_risk + self.consumer_risk,
                expected: "below 1".into(),
            });
        }
        Ok(())
    }
}

/// A point of an operating characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatingPoint {
    /// Share outside in the lot.
    pub quality: f64,
    /// Chance of acceptance; with two limits the smallest over the ways the share can be split between them.
    pub accepted: f64,
    /// The largest over the ways; the same as `accepted` where there is one way only.
    pub accepted_at_most: f64,
    /// Average outgoing quality: the share outside in what is passed on where refused lots are sorted piece by piece and made good.
    pub outgoing: f64,
}

/// The average outgoing quality limit: the worst that can be passed on in the long run where refused lots are sorted and made good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutgoingLimit {
    /// Share outside as delivered at which it is reached.
    pub quality: f64,
    /// Share outside as passed on.
    pub outgoing: f64,
}

/// The largest of `outgoing` over qualities: on a grid of ratios, then between the neighbours of its largest.
fn outgoing_limit(outgoing: impl Fn(f64) -> f64 + Sync) -> OutgoingLimit {
    let at = |k: u32| 10_f64.powf(-6.0 + 6.0 * f64::from(k) / 240.0).min(0.999);
    let row: Vec<(u32, f64)> = (0..=240).into_par_iter().map(|k| (k, outgoing(at(k)))).collect();
    let best = row.into_iter().fold((0, 0.0), |a, b| if b.1 > a.1 { b } else { a }).0;
    let (mut low, mut high) = (at(best.saturating_sub(1)), at((best + 1).min(240)));
    // Thirds: the curve has one top.
    for _ in 0..60 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if outgoing(a) < outgoing(b) { low = a } else { high = b }
    }
    let quality = 0.5 * (low + high);
    OutgoingLimit { quality, outgoing: outgoing(quality) }
}

/// Qualities at which an operating characteristic is listed: 0, the two points of risk themselves, and a geometric row from a tenth of the producer's quality to
/// three times the consumer's (at most 1), 63 points in all.
pub fn curve_qualities(risks: &RiskPoints) -> Vec<f64> {
    let low = 0.1 * risks.producer_quality;
    let high = (3.0 * risks.consumer_quality).min(0.999);
    let mut list = vec![0.0];
    list.extend((0..60).map(|i| low * (high / low).powf(f64::from(i) / 59.0)));
    list.extend([risks.producer_quality, risks.consumer_quality]);
    list.sort_unstable_by(f64::total_cmp);
    list
}
