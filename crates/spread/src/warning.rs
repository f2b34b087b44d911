//! What the reader of a result should know: each warning says what happened, what it may mean, and what to do.

use std::fmt;

/// A remark on a result.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// Some trials cannot be assembled.
    CannotAssemble {
        /// The bay, and the condition it is in.
        bay: String,
        /// Share of trials.
        share: f64,
    },
    /// Some trials are loose, so that the quantity is a range.
    Loose {
        /// The bay, and the condition it is in.
        bay: String,
        /// Share of trials.
        share: f64,
    },
    /// Few trials were outside.
    FewOutside {
        /// The requirement's name.
        requirement: String,
        /// How many trials were outside.
        outside: u64,
        /// Of how many.
        trials: u64,
    },
    /// The confidence interval of the share outside contains the largest acceptable share.
    VerdictUncertain {
        /// The requirement's name.
        requirement: String,
        /// Confidence interval.
        ci95: (f64, f64),
        /// Largest acceptable share.
        max_out: f64,
    },
    /// A dimension's repeatability rests on so few readings that its standard deviation is infinite.
    FewReadings {
        /// The dimension's path.
        dimension: String,
        /// ν of its t distribution.
        degrees_of_freedom: f64,
    },
    /// First-order propagation and the distribution disagree on the standard deviation.
    Nonlinear {
        /// The requirement's name.
        requirement: String,
        /// By first order.
        first_order: f64,
        /// Of the distribution.
        sd: f64,
    },
    /// The model had no response in some trials.
    Failed {
        /// How many trials.
        trials: u64,
        /// Of how many.
        of: u64,
        /// Why and where, the first.
        first: String,
    },
    /// A method was tried and declined.
    FellBack {
        /// The requirement's name.
        requirement: String,
        /// The method that declined.
        method: crate::Method,
        /// Why.
        reason: String,
    },
    /// The run ended before the accuracy asked for was reached.
    NotReached {
        /// What was asked for.
        asked: String,
        /// What was reached.
        reached: String,
    },
    /// The mechanical model has a remark.
    Pack {
        /// In its words.
        remark: String,
    },
}

impl Warning {
    /// Whether both say the same of the same bay, so that one of them is enough. (The shares of two requirements may come from two methods
    /// and differ in their last digits.)
    pub(crate) fn is_same_matter(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::CannotAssemble { bay: a, .. }, Self::CannotAssemble { bay: b, .. })
            | (Self::Loose { bay: a, .. }, Self::Loose { bay: b, .. }) => a == b,
            _ => self == other,
        }
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CannotAssemble { bay, share } => write!(
                f,
                "{bay}: in {} of builds the parts are longer than the span even with every spring washer flat. Those builds count as \
                 outside every limit of the bay and have no part in mean, sd and quantiles; make the pack shorter or the span longer",
                percent(*share)
            ),
            Self::Loose { bay, share } => write!(
                f,
                "{bay}: in {} of builds the bay is loose, so an offset is a range and counts as inside only where both ends are; mean, \
                 sd and quantiles are of the range's middle. Thicken the pack if looseness is not wanted",
                percent(*share)
            ),
            Self::FewOutside { requirement, outside, trials } => write!(
                f,
                "{requirement}: only {outside} of {trials} trials were outside, so the share outside is known roughly; ask for an accuracy \
                 (--until 0.1) or use --method auto"
            ),
            Self::VerdictUncertain { requirement, ci95, max_out } => write!(
                f,
                "{requirement}: the largest acceptable share outside, {}, lies within the 95 % interval of the estimate ({} to {}), so the \
                 verdict could fall either way; ask for more accuracy (--until)",
                percent(*max_out),
                percent(ci95.0),
                percent(ci95.1)
            ),
            Self::FewReadings { dimension, degrees_of_freedom } => write!(
                f,
                "{dimension}: with {} readings the repeatability has no finite standard deviation (a t with {degrees_of_freedom} degrees of \
                 freedom), so mean and sd of what depends on it do not settle; read the quantiles, or take at least four readings",
                degrees_of_freedom + 1.0
            ),
            Self::Nonlinear { requirement, first_order, sd } => write!(
                f,
                "{requirement}: root-sum-square gives a standard deviation of {first_order:.4}, the distribution {sd:.4}: the law is bent over the \
                 scatter of the dimensions; rely on the distribution"
            ),
            Self::Failed { trials, of, first } => write!(
                f,
                "in {trials} of {of} trials the pack has no answer, and they are left out of every figure; the first: {first}. If the share \
                 matters, extend the load table or correct the dimension named"
            ),
            Self::FellBack { requirement, method, reason } => write!(
                f,
                "{requirement}: the {method} method does not apply ({reason}); the figures are by the method named in the result, which \
                 may need more trials for the same accuracy"
            ),
            Self::NotReached { asked, reached } => write!(
                f,
                "{asked} was asked for and {reached} reached when the largest number of trials was done; allow more trials (--trials), or \
                 accept this accuracy"
            ),
            Self::Pack { remark } => f.write_str(remark),
        }
    }
}

/// A share in words: `0.27 %`, `12 ppm`.
fn percent(share: f64) -> String {
    if share == 0.0 {
        "0 %".to_owned()
    } else if share < 1e-9 {
        format!("{share:.1e}")
    } else if share < 1e-4 {
        format!("{:.3} ppm", share * 1e6)
    } else {
        format!("{:.3} %", share * 1e2)
    }
}
