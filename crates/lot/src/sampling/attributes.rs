//! Plans by attributes: of n parts at most c may be outside. Exact: binomial for a process or a large lot, hypergeometric for a lot of N.

use super::{OperatingPoint, OutgoingLimit, RiskPoints, curve_qualities};
use crate::LotError;
use crate::error::share;
use packdrift_numerics::special::{binomial_tails, ln_gamma};

/// Measure n parts; accept if at most c are outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AttributesPlan {
    /// n.
    pub sample_size: u64,
    /// c.
    pub acceptance_number: u64,
    /// N, where the lot is finite; None for a process.
    pub lot_size: Option<u64>,
}

/// Largest sample considered.
const LARGEST: u64 = 100_000;

impl AttributesPlan {
    /// The chance of acceptance at a share p outside: P(X ≤ c), X binomial, or with a lot size hypergeometric with D = p·N parts outside
    /// (linear between whole D).
    pub fn accepted(&self, quality: f64) -> f64 {
        let p = quality.clamp(0.0, 1.0);
        match self.lot_size {
            None => binomial_tails(self.sample_size, p, self.acceptance_number).lower,
            Some(lot) => {
                let outside = p * lot as f64;
                let (low, rest) = (outside.floor(), outside - outside.floor());
                let at = |d: f64| hypergeometric_lower(lot, d as u64, self.sample_size, self.acceptance_number);
                if rest < 1e-9 { at(low) } else { at(low) * (1.0 - rest) + at(low + 1.0) * rest }
            }
        }
    }

    /// The share outside of a process that is accepted with this chance: the root of P(X ≤ c; n, p) = `chance`, which falls in p. Where every lot is
    /// accepted (c ≥ n), 1.
    ///
    /// # Errors
    /// A chance not strictly between 0 and 1.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::sampling::attributes::AttributesPlan;
    /// // No part outside among n is found with chance 0.1 at 1 − 0.1^(1/n).
    /// let plan = AttributesPlan { sample_size: 20, acceptance_number: 0, lot_size: None };
    /// assert!((plan.quality_accepted_with(0.1)? - (1.0 - 0.1_f64.powf(1.0 / 20.0))).abs() < 1e-12);
    /// # Ok::<(), packdrift_lot::LotError>(())
    /// ```
    pub fn quality_accepted_with(&self, chance: f64) -> Result<f64, LotError> {
        share("the chance of acceptance", chance)?;
        if self.acceptance_number >= self.sample_size {
            return Ok(1.0);
        }
        let plan = Self { lot_size: None, ..*self };
        // Bisection to the last bit: the function is monotone, and at most some sixty steps of a microsecond are needed.
        let (mut low, mut high) = (0.0, 1.0);
        loop {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                return Ok(middle);
            }
            if plan.accepted(middle) > chance {
                low = middle;
            } else {
                high = middle;
            }
        }
    }

    /// The share outside that is passed on where refused lots are sorted and made good, and what is found in samples too: p·P(accepted)·(1 − n/N); of a process or a
    /// large lot p·P(accepted) (H. F. Dodge and H. G. Romig, Sampling Inspection Tables, 1959).
    pub fn outgoing(&self, quality: f64) -> f64 {
        let left = self.lot_size.map_or(1.0, |lot| 1.0 - self.sample_size as f64 / lot.max(1) as f64);
        quality * self.accepted(quality) * left.max(0.0)
    }

    /// The worst that can be passed on in the long run.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::sampling::attributes::AttributesPlan;
    /// // None outside among n: p·(1 − p)ⁿ is largest at 1/(n + 1).
    /// let limit = AttributesPlan { sample_size: 20, acceptance_number: 0, lot_size: None }.outgoing_limit();
    /// assert!((limit.quality - 1.0 / 21.0).abs() < 1e-6 && (limit.outgoing - (20.0_f64 / 21.0).powi(20) / 21.0).abs() < 1e-12);
    /// ```
    pub fn outgoing_limit(&self) -> OutgoingLimit {
        super::outgoing_limit(|p| self.outgoing(p))
    }

    /// The operating characteristic.
    pub fn curve(&self, risks: &RiskPoints) -> Vec<OperatingPoint> {
        curve_qualities(risks)
            .into_iter()
            .map(|quality| {
                let accepted = self.accepted(quality);
                OperatingPoint { quality, accepted, accepted_at_most: accepted, outgoing: self.outgoing(quality) }
            })
            .collect()
    }
}

/// The smallest plan that keeps both risks; with a lot size the sample is at most the lot, and the qualities count as whole parts
/// (the producer's rounded down, the consumer's up, so that both risks are kept).
///
/// # Errors
/// Points without sense; no plan with at most 100 000 parts (or the whole lot).
///
/// # Examples
/// ```
/// use packdrift_lot::sampling::{RiskPoints, attributes};
/// let risks = RiskPoints { producer_quality: 0.01, producer_risk: 0.05, consumer_quality: 0.06, consumer_risk: 0.10 };
/// let plan = attributes::find(&risks, None)?;
/// assert_eq!((plan.sample_size, plan.acceptance_number), (110, 3));
/// assert!(plan.accepted(0.01) >= 0.95 && plan.accepted(0.06) <= 0.10);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn find(risks: &RiskPoints, lot_size: Option<u64>) -> Result<AttributesPlan, LotError> {
    risks.check()?;
    let largest = lot_size.unwrap_or(LARGEST).min(LARGEST);
    if largest == 0 {
        return Err(LotError::TooFew { what: "a sampling plan".into(), found: 0, needed: 1, of: "parts in the lot" });
    }
    let (good, bad) = match lot_size {
        None => (risks.producer_quality, risks.consumer_quality),
        Some(lot) => {
            let lot = lot as f64;
            ((risks.producer_quality * lot + 1e-9).floor() / lot, (risks.consumer_quality * lot - 1e-9).ceil() / lot)
        }
    };
    let mut smallest = 1;
    for c in 0..=largest {
        let plan = |n: u64| AttributesPlan { sample_size: n, acceptance_number: c, lot_size };
        // The smallest n that protects the consumer; it grows with c.
        let protects = |n: u64| plan(n).accepted(bad) <= risks.consumer_risk;
        if !protects(largest) {
            return Err(LotError::NoPlan {
                largest,
                reason: format!(
                    "with {c} parts outside permitted a lot of quality {} would still be accepted too often; widen the gap between the two qualities",
                    risks.consumer_quality
                ),
            });
        }
        let (mut low, mut high) = (smallest.max(c) - 1, largest);
        let mut step = 1;
        let mut probe = low;
        while probe < largest {
            probe = (probe + step).min(largest);
            if protects(probe) {
                high = probe;
                break;
            }
            low = probe;
            step *= 2;
        }
        while high - low > 1 {
            let middle = u64::midpoint(low, high);
            if protects(middle) { high = middle } else { low = middle }
        }
        smallest = high;
        if plan(high).accepted(good) >= 1.0 - risks.producer_risk {
            return Ok(plan(high));
        }
    }
    Err(LotError::NoPlan { largest, reason: "the two qualities are too close".into() })
}

/// P(X ≤ c) for n drawn from a lot of N with D outside: the terms by their ratio from the largest of them down, so nothing cancels.
fn hypergeometric_lower(lot: u64, outside: u64, sample: u64, c: u64) -> f64 {
    let (outside, sample) = (outside.min(lot), sample.min(lot));
    let least = (outside + sample).saturating_sub(lot);
    let most = outside.min(sample);
    if c >= most {
        return 1.0;
    }
    if c < least {
        return 0.0;
    }
    let ln_choose = |n: u64, k: u64| ln_factorial(n) - ln_factorial(k) - ln_factorial(n - k);
    let ln_total = ln_choose(lot, sample);
    let ln_term = |x: u64| ln_choose(outside, x) + ln_choose(lot - outside, sample - x) - ln_total;
    // Start at the mode (or at c, below it) and walk both ways by the ratio of neighbours.
    let mode = (((sample + 1) as f64 * (outside + 1) as f64) / (lot + 2) as f64) as u64;
    let start = mode.clamp(least, c);
    let first = ln_term(start).exp();
    let ratio_down =
        |x: u64| x as f64 * (lot - outside + x - sample) as f64 / ((outside - x + 1) as f64 * (sample - x + 1) as f64);
    let mut sum = first;
    let mut term = first;
    let mut x = start;
    while x > least && term > sum * 1e-18 {
        term *= ratio_down(x);
        x -= 1;
        sum += term;
    }
    let mut term = first;
    for x in start + 1..=c {
        term /= ratio_down(x);
        sum += term;
    }
    sum.min(1.0)
}

fn ln_factorial(n: u64) -> f64 {
    if n < 2 { 0.0 } else { ln_gamma(n as f64 + 1.0) }
}
