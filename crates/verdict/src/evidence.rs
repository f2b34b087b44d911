//! A bound held against what is allowed.

use crate::{Standing, Verdict};

/// Standard errors of simulation within which a threshold is too close to tell.
const CLOSE: f64 = 3.0;

/// What is known of a figure that must not pass a limit: a share outside, a chance of damage.
///
/// Without [`bounds`](Self::bounds) or [`exact`](Self::exact) nothing is shown: an estimate alone never reassures.
#[derive(Debug, Clone, PartialEq)]
#[must_use]
pub struct Evidence {
    what: String,
    allowed: f64,
    estimate: f64,
    lower: f64,
    upper: f64,
    simulation_error: f64,
}

impl Evidence {
    /// A figure named `what` that must be at most `allowed`.
    pub fn at_most(what: impl Into<String>, allowed: f64) -> Self {
        Self {
            what: what.into(),
            allowed,
            estimate: f64::NAN,
            lower: f64::NEG_INFINITY,
            upper: f64::INFINITY,
            simulation_error: 0.0,
        }
    }

    /// The point estimate. It decides nothing where bounds are given, but must lie between them.
    pub fn estimate(mut self, estimate: f64) -> Self {
        self.estimate = estimate;
        self
    }

    /// Confidence (or credible) bounds of the figure, both one-sided at the level that the command states.
    pub fn bounds(mut self, lower: f64, upper: f64) -> Self {
        (self.lower, self.upper) = (lower, upper);
        self
    }

    /// A figure known without error, integrated or counted whole.
    pub fn exact(mut self, value: f64) -> Self {
        (self.estimate, self.lower, self.upper) = (value, value, value);
        self
    }

    /// Standard error of the simulation behind the bounds: a limit within three of them of either bound is too close to tell.
    pub fn simulation_error(mut self, standard_error: f64) -> Self {
        self.simulation_error = standard_error;
        self
    }

    /// How the figure stands, without the words: shown where the upper bound is at most what is allowed, adverse where the lower bound is
    /// above it, else open.
    ///
    /// A figure that is not a number, bounds the wrong way round or an estimate outside its bounds show nothing.
    pub fn standing(&self) -> Standing {
        if self.is_not_a_number() || self.is_inconsistent() {
            return Standing::NotShown;
        }
        let slack = CLOSE * self.simulation_error;
        if self.lower - slack > self.allowed {
            Standing::Adverse
        } else if self.upper + slack <= self.allowed {
            Standing::Shown
        } else if self.upper <= self.allowed || self.lower > self.allowed {
            Standing::TooCloseToTell
        } else {
            Standing::NotShown
        }
    }

    fn is_not_a_number(&self) -> bool {
        let Self { allowed, estimate, lower, upper, simulation_error, .. } = self;
        [allowed, estimate, lower, upper, simulation_error].iter().any(|v| v.is_nan())
    }

    fn is_inconsistent(&self) -> bool {
        self.lower > self.upper
            || self.estimate < self.lower
            || self.estimate > self.upper
            || self.simulation_error < 0.0
    }

    /// The verdict: [`standing`](Self::standing) with its reason in words.
    pub fn judge(self) -> Verdict {
        let standing = self.standing();
        let Self { what, .. } = &self;
        let [allowed, estimate, lower, upper] =
            [self.allowed, self.estimate, self.lower, self.upper].map(|value| figure(value, self.allowed));
        let reason = match standing {
            _ if self.is_not_a_number() => format!("{what}: not computed"),
            _ if self.is_inconsistent() => {
                format!("{what}: the estimate {estimate} is not within its bounds {lower} to {upper}")
            }
            Standing::Adverse => format!("{what}: {estimate} is above the {allowed} allowed"),
            Standing::Shown => format!("{what}: not above {upper}, {allowed} allowed"),
            Standing::TooCloseToTell => format!(
                "{what}: {estimate} against {allowed} allowed lies within three standard errors of the simulation"
            ),
            _ => format!("{what}: {estimate}, but it may be as much as {upper}, above the {allowed} allowed"),
        };
        Verdict::of(standing, reason)
    }
}

/// A figure in four digits; in all of its digits where four make it the one that is allowed, or make all of what is not all.
fn figure(value: f64, allowed: f64) -> String {
    let short = |value: f64| format!("{value:.3e}").parse::<f64>().unwrap_or(value);
    let rounded = short(value);
    let misleads = value < 1.0 && rounded >= 1.0 || value > 0.0 && rounded <= 0.0;
    if value == allowed || !value.is_finite() || misleads || rounded == short(allowed) {
        return format!("{value}");
    }
    if rounded != 0.0 && rounded.abs() < 1e-4 { format!("{rounded:e}") } else { format!("{rounded}") }
}
