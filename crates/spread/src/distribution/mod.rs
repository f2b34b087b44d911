//! What may be said of a dimension's value before it is known: the distributions of JCGM 101:2008 table 1 and a few more.
//!
//! Parameters are named, never positional, and every distribution is checked before it is used ([`Distribution::validate`]).
//! [`moments`](self) and tails are computed here from the parameters, samples by the streams of `packdrift-numerics`; the tests
//! hold the three against each other and against published values.

mod constructors;
mod moments;
mod sample;
mod sum;
mod tails;
mod trapezoid;

use std::sync::Arc;

pub(crate) use sum::Sum;

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
    /// Scaled and shifted Student t, `t_ν(location, scale²)`.
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

/// Why a distribution's parameters have no meaning.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DistributionError {
    /// NaN or infinite.
    #[error("the {parameter} of a {distribution} distribution is {value}: it must be a finite number")]
    NotFinite {
        /// Which distribution.
        distribution: &'static str,
        /// Which parameter.
        parameter: &'static str,
        /// As given.
        value: f64,
    },
    /// A width that is negative.
    #[error("the {parameter} of a {distribution} distribution is {value}: it must not be negative")]
    Negative {
        /// Which distribution.
        distribution: &'static str,
        /// Which parameter.
        parameter: &'static str,
        /// As given.
        value: f64,
    },
    /// Something that must be above 0.
    #[error("the {parameter} of a {distribution} distribution is {value}: it must be greater than 0")]
    NotPositive {
        /// Which distribution.
        distribution: &'static str,
        /// Which parameter.
        parameter: &'static str,
        /// As given.
        value: f64,
    },
    /// Limits the wrong way round.
    #[error("the limits of a {distribution} distribution are {lower} to {upper}: the lower must not exceed the upper")]
    Limits {
        /// Which distribution.
        distribution: &'static str,
        /// As given.
        lower: f64,
        /// As given.
        upper: f64,
    },
    /// A parameter outside what it may be.
    #[error(
        "the {parameter} of a {distribution} distribution is {value}: it must lie between {smallest} and {largest}"
    )]
    OutOfRange {
        /// Which distribution.
        distribution: &'static str,
        /// Which parameter.
        parameter: &'static str,
        /// As given.
        value: f64,
        /// Smallest permitted.
        smallest: f64,
        /// Largest permitted.
        largest: f64,
    },
    /// Truncation limits so far out in the parent normal's tail that nothing is left between them.
    #[error("a normal distribution of mean {mean} and sd {sd} has no weight between {lower} and {upper}")]
    NothingLeft {
        /// Mean of the parent.
        mean: f64,
        /// Its standard deviation.
        sd: f64,
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// No readings, or no terms.
    #[error("a {distribution} distribution needs at least one {what}")]
    Empty {
        /// Which distribution.
        distribution: &'static str,
        /// `reading` or `term`.
        what: &'static str,
    },
}

impl Distribution {
    /// Its name in files and messages.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Exact { .. } => "exact",
            Self::Normal { .. } => "normal",
            Self::TruncatedNormal { .. } => "truncated-normal",
            Self::LogNormal { .. } => "lognormal",
            Self::Rectangular { .. } => "rectangular",
            Self::Triangular { .. } => "triangular",
            Self::Trapezoidal { .. } => "trapezoidal",
            Self::CurvilinearTrapezoidal { .. } => "curvilinear-trapezoidal",
            Self::Arcsine { .. } => "arcsine",
            Self::ScaledShiftedT { .. } => "t",
            Self::Exponential { .. } => "exponential",
            Self::Gamma { .. } => "gamma",
            Self::Empirical { .. } => "empirical",
            Self::Sum { .. } => "sum",
        }
    }

    /// The distribution itself where its parameters have meaning.
    ///
    /// # Errors
    /// As [`Distribution::validate`].
    pub fn validated(self) -> Result<Self, DistributionError> {
        self.validate()?;
        Ok(self)
    }

    /// Checks the parameters.
    ///
    /// # Errors
    /// What is wrong with the first parameter that has no meaning.
    pub fn validate(&self) -> Result<(), DistributionError> {
        let distribution = self.name();
        let finite = |parameter: &'static str, value: f64| {
            if value.is_finite() {
                Ok(())
            } else {
                Err(DistributionError::NotFinite { distribution, parameter, value })
            }
        };
        let not_negative = |parameter: &'static str, value: f64| {
            finite(parameter, value)?;
            if value < 0.0 { Err(DistributionError::Negative { distribution, parameter, value }) } else { Ok(()) }
        };
        let positive = |parameter: &'static str, value: f64| {
            finite(parameter, value)?;
            if value <= 0.0 { Err(DistributionError::NotPositive { distribution, parameter, value }) } else { Ok(()) }
        };
        let limits = |lower: f64, upper: f64| {
            finite("lower limit", lower)?;
            finite("upper limit", upper)?;
            if lower > upper { Err(DistributionError::Limits { distribution, lower, upper }) } else { Ok(()) }
        };
        match self {
            Self::Exact { value } => finite("value", *value),
            Self::Normal { mean, sd } => {
                finite("mean", *mean)?;
                not_negative("sd", *sd)
            }
            Self::TruncatedNormal { mean, sd, lower, upper } => {
                finite("mean", *mean)?;
                not_negative("sd", *sd)?;
                limits(*lower, *upper)?;
                let outside = *sd == 0.0 && (mean < lower || mean > upper);
                // Beyond 37 sd a double cannot hold the weight.
                if outside || (*sd > 0.0 && ((lower - mean) / sd > 37.0 || (upper - mean) / sd < -37.0)) {
                    return Err(DistributionError::NothingLeft { mean: *mean, sd: *sd, lower: *lower, upper: *upper });
                }
                Ok(())
            }
            Self::LogNormal { mean, sd } => {
                positive("mean", *mean)?;
                not_negative("sd", *sd)
            }
            Self::Rectangular { lower, upper } | Self::Triangular { lower, upper } | Self::Arcsine { lower, upper } => {
                limits(*lower, *upper)
            }
            Self::Trapezoidal { lower, upper, beta } => {
                limits(*lower, *upper)?;
                finite("beta", *beta)?;
                in_range(distribution, "beta", *beta, 0.0, 1.0)
            }
            Self::CurvilinearTrapezoidal { lower, upper, inexactness } => {
                limits(*lower, *upper)?;
                not_negative("inexactness", *inexactness)?;
                // d ≤ (b − a)/2, or the lower limit could exceed the upper (JCGM 101:2008 6.4.3.1); a grain for rounding.
                let largest = 0.5 * (upper - lower);
                in_range(distribution, "inexactness", *inexactness, 0.0, largest * (1.0 + 1e-12))
            }
            Self::ScaledShiftedT { degrees_of_freedom, location, scale } => {
                positive("degrees of freedom", *degrees_of_freedom)?;
                finite("location", *location)?;
                not_negative("scale", *scale)
            }
            Self::Exponential { mean } => positive("mean", *mean),
            Self::Gamma { shape, scale } => {
                positive("shape", *shape)?;
                positive("scale", *scale)
            }
            Self::Empirical { readings } => {
                if readings.is_empty() {
                    return Err(DistributionError::Empty { distribution, what: "reading" });
                }
                readings.iter().try_for_each(|&reading| finite("reading", reading))
            }
            Self::Sum { terms } => {
                if terms.is_empty() {
                    return Err(DistributionError::Empty { distribution, what: "term" });
                }
                terms.iter().try_for_each(Self::validate)
            }
        }
    }

    /// Whether it has a single value.
    pub fn is_exact(&self) -> bool {
        match self {
            Self::Exact { .. } => true,
            Self::Normal { sd, .. } | Self::LogNormal { sd, .. } => *sd == 0.0,
            Self::TruncatedNormal { sd, lower, upper, .. } => *sd == 0.0 || lower >= upper,
            Self::Rectangular { lower, upper }
            | Self::Triangular { lower, upper }
            | Self::Arcsine { lower, upper }
            | Self::Trapezoidal { lower, upper, .. }
            | Self::CurvilinearTrapezoidal { lower, upper, .. } => lower >= upper,
            Self::ScaledShiftedT { scale, .. } => *scale == 0.0,
            Self::Exponential { .. } | Self::Gamma { .. } => false,
            Self::Empirical { readings } => readings.windows(2).all(|pair| pair[0].to_bits() == pair[1].to_bits()),
            Self::Sum { terms } => terms.iter().all(Self::is_exact),
        }
    }
}

fn in_range(
    distribution: &'static str,
    parameter: &'static str,
    value: f64,
    smallest: f64,
    largest: f64,
) -> Result<(), DistributionError> {
    if (smallest..=largest).contains(&value) {
        Ok(())
    } else {
        Err(DistributionError::OutOfRange { distribution, parameter, value, smallest, largest })
    }
}
