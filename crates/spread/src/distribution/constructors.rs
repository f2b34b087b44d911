//! The ways to make a distribution, each of which refuses what has no meaning.

use super::{Distribution, DistributionError};

impl Distribution {
    /// A value without uncertainty.
    ///
    /// # Errors
    /// [`DistributionError::NotFinite`].
    pub fn exact(value: f64) -> Result<Self, DistributionError> {
        Self::Exact { value }.validated()
    }

    /// N(mean, sd²); sd = 0 is an exact value.
    ///
    /// # Errors
    /// A parameter that is not finite; a negative sd.
    ///
    /// ```
    /// use packdrift_spread::Distribution;
    /// let thickness = Distribution::normal(0.40, 0.01).unwrap();
    /// assert_eq!((thickness.mean(), thickness.sd()), (0.40, 0.01));
    /// assert!(Distribution::normal(0.40, -0.01).is_err());
    /// assert!(Distribution::normal(f64::NAN, 0.01).is_err());
    /// ```
    pub fn normal(mean: f64, sd: f64) -> Result<Self, DistributionError> {
        Self::Normal { mean, sd }.validated()
    }

    /// N(mean, sd²) cut off outside the limits.
    ///
    /// # Errors
    /// A parameter that is not finite; a negative sd; limits the wrong way round, or so far out that nothing is left between them.
    pub fn truncated_normal(mean: f64, sd: f64, lower: f64, upper: f64) -> Result<Self, DistributionError> {
        Self::TruncatedNormal { mean, sd, lower, upper }.validated()
    }

    /// Lognormal with this mean and standard deviation of the value itself.
    ///
    /// # Errors
    /// A parameter that is not finite; a mean that is not above 0; a negative sd.
    pub fn log_normal(mean: f64, sd: f64) -> Result<Self, DistributionError> {
        Self::LogNormal { mean, sd }.validated()
    }

    /// R(lower, upper).
    ///
    /// # Errors
    /// Limits that are not finite or the wrong way round.
    pub fn rectangular(lower: f64, upper: f64) -> Result<Self, DistributionError> {
        Self::Rectangular { lower, upper }.validated()
    }

    /// T(lower, upper), symmetric.
    ///
    /// # Errors
    /// Limits that are not finite or the wrong way round.
    pub fn triangular(lower: f64, upper: f64) -> Result<Self, DistributionError> {
        Self::Triangular { lower, upper }.validated()
    }

    /// Trap(lower, upper, β), symmetric.
    ///
    /// # Errors
    /// Limits that are not finite or the wrong way round; β outside 0 to 1.
    pub fn trapezoidal(lower: f64, upper: f64, beta: f64) -> Result<Self, DistributionError> {
        Self::Trapezoidal { lower, upper, beta }.validated()
    }

    /// CTrap(a, b, d).
    ///
    /// # Errors
    /// Limits that are not finite or the wrong way round; d negative or above half their distance.
    pub fn curvilinear_trapezoidal(lower: f64, upper: f64, inexactness: f64) -> Result<Self, DistributionError> {
        Self::CurvilinearTrapezoidal { lower, upper, inexactness }.validated()
    }

    /// U(lower, upper), the arcsine distribution.
    ///
    /// # Errors
    /// Limits that are not finite or the wrong way round.
    pub fn arcsine(lower: f64, upper: f64) -> Result<Self, DistributionError> {
        Self::Arcsine { lower, upper }.validated()
    }

    /// `t_ν(location, scale²)`.
    ///
    /// # Errors
    /// A parameter that is not finite; ν not above 0; a negative scale.
    pub fn scaled_shifted_t(degrees_of_freedom: f64, location: f64, scale: f64) -> Result<Self, DistributionError> {
        Self::ScaledShiftedT { degrees_of_freedom, location, scale }.validated()
    }

    /// Ex(1/mean).
    ///
    /// # Errors
    /// A mean that is not finite or not above 0.
    pub fn exponential(mean: f64) -> Result<Self, DistributionError> {
        Self::Exponential { mean }.validated()
    }

    /// Gamma with mean shape × scale.
    ///
    /// # Errors
    /// A parameter that is not finite or not above 0.
    pub fn gamma(shape: f64, scale: f64) -> Result<Self, DistributionError> {
        Self::Gamma { shape, scale }.validated()
    }

    /// Each reading equally likely.
    ///
    /// # Errors
    /// No reading; a reading that is not finite.
    pub fn empirical(readings: &[f64]) -> Result<Self, DistributionError> {
        Self::Empirical { readings: readings.into() }.validated()
    }

    /// The sum of independent terms.
    ///
    /// # Errors
    /// No term; a term without meaning.
    pub fn sum(terms: Vec<Self>) -> Result<Self, DistributionError> {
        Self::Sum { terms }.validated()
    }

    /// The scaled-and-shifted t of repeated readings (JCGM 101:2008 6.4.9.4): ν = n − 1, location = their mean, scale = s/√n.
    /// A single reading, or readings that are all equal, say nothing of repeatability: the mean, exactly.
    ///
    /// # Errors
    /// No reading; a reading that is not finite.
    ///
    /// ```
    /// use packdrift_spread::Distribution;
    /// let measured = Distribution::of_readings(&[0.969, 0.971, 0.970]).unwrap();
    /// assert!((measured.mean() - 0.970).abs() < 1e-15);
    /// ```
    pub fn of_readings(readings: &[f64]) -> Result<Self, DistributionError> {
        Self::Empirical { readings: readings.into() }.validate()?;
        let n = readings.len() as f64;
        // About the first reading, so that equal readings give exactly 0.
        let first = readings[0];
        let mean = first + readings.iter().map(|r| r - first).sum::<f64>() / n;
        let squares: f64 = readings.iter().map(|r| (r - mean).powi(2)).sum();
        if readings.iter().all(|r| r.to_bits() == first.to_bits()) {
            return Self::exact(mean);
        }
        let scale = (squares / (n - 1.0) / n).sqrt();
        Self::ScaledShiftedT { degrees_of_freedom: n - 1.0, location: mean, scale }.validated()
    }
}
