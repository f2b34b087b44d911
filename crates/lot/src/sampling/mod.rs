//! How many parts to measure, and when to accept: sampling plans from two points of risk, their operating characteristic, the verdict on
//! a given sample, standard plans and the switching between them.

pub mod attributes;
pub mod history;
pub mod standard;
pub mod switching;
pub mod variables;

use crate::LotError;
use crate::error::share;

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
    /// A share or risk not strictly between 0 and 1; a producer's quality that is not better than the consumer's; risks that add up to 1 or
    /// more.
    pub fn check(&self) -> Result<(), LotError> {
        share("the producer's quality", self.producer_quality)?;
        share("the producer's risk", self.producer_risk)?;
        share("the consumer's quality", self.consumer_quality)?;
        share("the consumer's risk", self.consumer_risk)?;
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
}

/// Qualities at which an operating characteristic is listed: 0 and a geometric row from a tenth of the producer's quality to three times the
/// consumer's (at most 1), 61 points in all.
pub fn curve_qualities(risks: &RiskPoints) -> Vec<f64> {
    let low = 0.1 * risks.producer_quality;
    let high = (3.0 * risks.consumer_quality).min(0.999);
    let mut list = vec![0.0];
    list.extend((0..60).map(|i| low * (high / low).powf(f64::from(i) / 59.0)));
    list
}
