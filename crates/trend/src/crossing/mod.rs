//! When the true value enters the damage zone.
//!
//! A state now and what moves it meets the limits: a line with or without a wander ([`line`](mod@line)), or wear that never falls ([`wear`]). A
//! [`Prospect`] averages over what is not known of them, and [`hours`] turns its chances into hours.

pub(crate) mod bivariate;
pub(crate) mod hours;
pub(crate) mod line;
pub(crate) mod passage;
mod prospect;
mod quick;
pub(crate) mod wear;

pub use prospect::Prospect;
pub(crate) use prospect::{ClockOrPlain, Part};

use crate::policy::FeatureLimits;

/// Meter hours by which the true value has entered the damage zone with a chance of 0.05, 0.5, 0.95; None where it never does with that
/// chance. Where the chance now is already as large, the meter hours now.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CrossingHours {
    /// Early: chance 0.05.
    pub p05: Option<f64>,
    /// Middle: chance 0.5.
    pub p50: Option<f64>,
    /// Late: chance 0.95.
    pub p95: Option<f64>,
}

/// Limits of the damage zone.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Zone {
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
}

impl Zone {
    pub(crate) fn of(limits: &FeatureLimits) -> Option<Self> {
        (limits.lower.is_some() || limits.upper.is_some()).then_some(Self { lower: limits.lower, upper: limits.upper })
    }

    /// The limit that a value has reached or passed.
    pub(crate) fn passed_by(self, value: f64) -> Option<f64> {
        self.lower.filter(|l| value <= *l).or(self.upper.filter(|u| value >= *u))
    }
}

#[cfg(test)]
mod tests;
