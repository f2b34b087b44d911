//! What may be said of a dimension's value before it is known: the distributions of JCGM 101:2008 table 1 and a few more.

use std::sync::Arc;

/// A distribution, by named parameters in the dimension's own unit. Build it through the constructors, which refuse what
/// has no meaning (NaN, infinities, negative widths).
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Distribution {
    /// No uncertainty.
    Exact {
        /// The value.
        value: f64,
    },
    /// N(mean, sd²).
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Normal cut off outside the limits and renormalised; `mean` and `sd` are those of the parent normal.
    TruncatedNormal {
        /// Mean of the parent.
        mean: f64,
        /// Standard deviation of the parent.
        sd: f64,
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// Of given mean and standard deviation on the natural scale.
    LogNormal {
        /// Mean of the value (not of its logarithm).
        mean: f64,
        /// Standard deviation of the value (not of its logarithm).
        sd: f64,
    },
    /// R(lower, upper).
    Rectangular {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// Symmetric triangle on the limits.
    Triangular {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// Symmetric trapezoid: top width over base width is `beta`.
    Trapezoidal {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
        /// 0 (triangle) to 1 (rectangle).
        beta: f64,
    },
    /// Rectangular with inexactly known limits, CTrap(a, b, d): each limit lies within ± d of its value.
    CurvilinearTrapezoidal {
        /// a.
        lower: f64,
        /// b.
        upper: f64,
        /// d.
        inexactness: f64,
    },
    /// U(lower, upper).
    Arcsine {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// Scaled and shifted Student t, t_ν(location, scale²).
    ScaledShiftedT {
        /// ν.
        degrees_of_freedom: f64,
        /// Location.
        location: f64,
        /// Scale (not the standard deviation).
        scale: f64,
    },
    /// Exponential from 0 with the given mean.
    Exponential {
        /// Mean.
        mean: f64,
    },
    /// Gamma by shape and scale (mean = shape × scale).
    Gamma {
        /// Shape.
        shape: f64,
        /// Scale.
        scale: f64,
    },
    /// The empirical distribution of a measured sample: each reading equally likely.
    Empirical {
        /// The readings.
        readings: Arc<[f64]>,
    },
    /// The sum of independent terms: a measured part (repeatability and instrument), a reading and its resolution.
    Sum {
        /// At least one.
        terms: Vec<Distribution>,
    },
}

/// Where a drawing or a record gives the limits of a dimension.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Smallest permitted value.
    pub lower: f64,
    /// Largest permitted value.
    pub upper: f64,
}
