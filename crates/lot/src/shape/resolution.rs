//! The step in which an instrument reads, given or found from the readings.

/// The instrument's step, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Resolution {
    /// Stated by the user.
    Given {
        /// mm, above 0.
        step: f64,
    },
    /// All readings are whole multiples of it, and of no coarser usual step.
    Found {
        /// mm.
        step: f64,
    },
    /// No step found: the readings are as good as continuous.
    Continuous,
}

impl Resolution {
    /// mm; None where continuous.
    pub fn step(self) -> Option<f64> {
        match self {
            Self::Given { step } | Self::Found { step } => Some(step),
            Self::Continuous => None,
        }
    }

    /// The coarsest of the usual steps — 1, 2 or 5 times a power of ten from 1 to 1e-6, in mm or in inches — of which all readings are
    /// whole multiples. Found only from 8 readings of at least 2 different values on, so that chance plays no part.
    pub fn find(readings: &[f64]) -> Self {
        let mut rest = readings.iter();
        let first = rest.next();
        if readings.len() < 8 || !rest.any(|x| Some(x) != first) {
            return Self::Continuous;
        }
        let mut steps: Vec<f64> = (0..=6)
            .flat_map(|exponent| [1.0, 0.5, 0.2].map(|mantissa| mantissa / 10_f64.powi(exponent)))
            .flat_map(|decimal| [decimal * 25.4, decimal])
            .collect();
        steps.sort_unstable_by(|a, b| b.total_cmp(a));
        let multiple = |x: f64, step: f64| {
            let count = x / step;
            // Decimal readings carry a rounding of a few units in the last place.
            (count - count.round()).abs() <= 1e-9 + 4.0 * f64::EPSILON * count.abs()
        };
        if let Some(step) = steps.into_iter().find(|&step| readings.iter().all(|&x| multiple(x, step))) {
            return Self::Found { step };
        }
        Self::Continuous
    }
}
