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
    /// whole multiples. Found only where at least 2 readings differ, and from 8 of them on, so that chance plays no part; of fewer only where two are
    /// equal, which an instrument without steps does not show (the step may then be taken for a coarser one, which is on the safe side).
    pub fn find(readings: &[f64]) -> Self {
        let mut rest = readings.iter();
        let first = rest.next();
        let tied = || readings.iter().enumerate().any(|(i, x)| readings[..i].iter().any(|y| x.total_cmp(y).is_eq()));
        if !rest.any(|x| Some(x) != first) || (readings.len() < 8 && !tied()) {
            return Self::Continuous;
        }
        Self::written_step(readings).map_or(Self::Continuous, |step| Self::Found { step })
    }

    /// The coarsest of those steps that the readings may have been read in, however few or alike they are, mm: the worst that their digits leave open. None
    /// where no usual step will do, or there are no readings.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::shape::Resolution;
    /// // 0.6 may be any size from 0.5 to 0.7: a coarser reader would have written it too.
    /// assert_eq!(Resolution::written_step(&[0.6; 5]), Some(0.2));
    /// assert_eq!(Resolution::written_step(&[0.601, 0.598]), Some(0.001));
    /// ```
    pub fn written_step(readings: &[f64]) -> Option<f64> {
        if readings.is_empty() {
            return None;
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
        steps.into_iter().find(|&step| readings.iter().all(|&x| multiple(x, step)))
    }
}
