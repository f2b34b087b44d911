//! What is known of a dimension, as a builder takes it: a number, a number with a tolerance, a scatter.

use crate::distribution::{Distribution, Limits};
use crate::stack::Cost;

/// What is known of one dimension: its nominal, its limits, how it scatters, which packet it comes from and what tightening costs.
///
/// A bare number is exact. Lengths are in mm, rates in N/mm, loads in N.
///
/// # Examples
/// ```
/// use packdrift_spread::{Distribution, Known};
/// // A tolerance stands for three standard deviations.
/// let span = Known::toleranced(27.97, 0.06);
/// // Eight washers were measured.
/// let washer = Known::scattering(Distribution::Normal { mean: 0.969, sd: 0.004 }).in_lot("washers");
/// let width: Known = 24.0.into();
/// # let _ = (span, washer, width);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    pub(crate) nominal: f64,
    pub(crate) limits: Option<Limits>,
    pub(crate) distribution: Distribution,
    pub(crate) lot: Option<String>,
    pub(crate) cost: Option<Cost>,
}

impl Known {
    /// Known without uncertainty.
    pub fn exact(value: f64) -> Self {
        Self { nominal: value, limits: None, distribution: Distribution::Exact { value }, lot: None, cost: None }
    }

    /// A nominal with its tolerance to either side, as a drawing has it: normal, with the tolerance at three standard deviations.
    pub fn toleranced(nominal: f64, tol: f64) -> Self {
        let limits = Limits { lower: nominal - tol, upper: nominal + tol };
        Self { limits: Some(limits), ..Self::normal(nominal, tol / 3.0) }
    }

    /// Normal, without limits on a drawing.
    pub fn normal(mean: f64, sd: f64) -> Self {
        Self { distribution: Distribution::Normal { mean, sd }, ..Self::exact(mean) }
    }

    /// As it scatters; the nominal is the distribution's mean.
    pub fn scattering(distribution: Distribution) -> Self {
        Self { nominal: distribution.mean(), limits: None, distribution, lot: None, cost: None }
    }

    /// Another nominal than the mean, as where the parts of a packet lie off their size.
    pub fn with_nominal(mut self, nominal: f64) -> Self {
        self.nominal = nominal;
        self
    }

    /// The limits on the drawing.
    pub fn within(mut self, lower: f64, upper: f64) -> Self {
        self.limits = Some(Limits { lower, upper });
        self
    }

    /// Taken from this packet ([`crate::StackBuilder::lot`]): parts of one packet share its deviation.
    pub fn in_lot(mut self, lot: impl Into<String>) -> Self {
        self.lot = Some(lot.into());
        self
    }

    /// What tightening its tolerance costs, for [`crate::allocate()`].
    pub fn at_cost(mut self, cost: Cost) -> Self {
        self.cost = Some(cost);
        self
    }
}

impl From<f64> for Known {
    fn from(value: f64) -> Self {
        Self::exact(value)
    }
}
