//! Decision rules under measurement uncertainty (ISO 14253-1): when a reading proves a part conforming, or not.
//!
//! The limits are moved inwards by a guard band g = f·u to accept and outwards by g to reject; between them neither is proven.
//! ISO 14253-1:2017 sets the guard band for a conformance probability of 95 % unless agreed otherwise: f = Φ⁻¹(0.95) = 1.645 where
//! u is small beside the distance of the limits.

use crate::LotError;
use crate::error::{not_negative, share};
use packdrift_numerics::normal;

/// Acceptance and rejection zones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GuardBand {
    /// g, mm.
    pub width: f64,
    /// Readings from here up prove conformance with the lower limit, mm.
    pub accept_from: Option<f64>,
    /// Readings up to here prove conformance with the upper limit, mm.
    pub accept_to: Option<f64>,
    /// Readings below prove non-conformance, mm.
    pub reject_below: Option<f64>,
    /// Readings above prove non-conformance, mm.
    pub reject_above: Option<f64>,
}

/// What a reading proves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Proof {
    /// The part conforms.
    Conforming,
    /// The part does not conform.
    NotConforming,
    /// The reading is too near a limit for either.
    Neither,
}

/// How many readings proved what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ProofCounts {
    /// Conforming.
    pub conforming: usize,
    /// Not conforming.
    pub not_conforming: usize,
    /// Neither.
    pub neither: usize,
}

impl GuardBand {
    /// For limits, the standard uncertainty u of one reading (mm) and the conformance probability (0.95 by default of the standard).
    ///
    /// # Errors
    /// A negative u, a probability not strictly between 0 and 1.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::guard::{GuardBand, Proof};
    /// let guard = GuardBand::new(Some(0.37), Some(0.43), 0.004, 0.95)?;
    /// assert!((guard.width - 0.00658).abs() < 1e-5);
    /// assert_eq!(guard.judge(0.40), Proof::Conforming);
    /// assert_eq!(guard.judge(0.428), Proof::Neither);
    /// assert_eq!(guard.judge(0.44), Proof::NotConforming);
    /// # Ok::<(), packdrift_lot::LotError>(())
    /// ```
    pub fn new(lower: Option<f64>, upper: Option<f64>, u: f64, probability: f64) -> Result<Self, LotError> {
        let u = not_negative("the instrument's standard uncertainty", u)?;
        let width = (normal::quantile(share("the conformance probability", probability)?) * u).max(0.0);
        Ok(Self {
            width,
            accept_from: lower.map(|l| l + width),
            accept_to: upper.map(|u| u - width),
            reject_below: lower.map(|l| l - width),
            reject_above: upper.map(|u| u + width),
        })
    }

    /// Whether some reading can prove conformance at all: the bands of the two limits leave room between them.
    pub fn leaves_room(&self) -> bool {
        self.accept_from.zip(self.accept_to).is_none_or(|(from, to)| from <= to)
    }

    /// What one reading proves.
    pub fn judge(&self, reading: f64) -> Proof {
        if self.reject_below.is_some_and(|l| reading < l) || self.reject_above.is_some_and(|u| reading > u) {
            Proof::NotConforming
        } else if self.accept_from.is_some_and(|l| reading < l) || self.accept_to.is_some_and(|u| reading > u) {
            Proof::Neither
        } else {
            Proof::Conforming
        }
    }

    /// Counts over readings.
    pub fn count(&self, readings: impl IntoIterator<Item = f64>) -> ProofCounts {
        readings.into_iter().fold(ProofCounts::default(), |mut counts, x| {
            match self.judge(x) {
                Proof::Conforming => counts.conforming += 1,
                Proof::NotConforming => counts.not_conforming += 1,
                Proof::Neither => counts.neither += 1,
            }
            counts
        })
    }
}
