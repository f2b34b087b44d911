//! What can be wrong with a question put to this crate.

/// Every refusal names the value that caused it and what would be accepted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LotError {
    /// A number that is no number.
    #[error("{what} is {value}, not a finite number")]
    NotFinite {
        /// What it was given as.
        what: String,
        /// The value.
        value: f64,
    },
    /// A number outside what makes sense.
    #[error("{what} must be {expected}, but is {value}")]
    OutOfRange {
        /// What it was given as.
        what: String,
        /// The value.
        value: f64,
        /// What would be accepted.
        expected: String,
    },
    /// Not enough readings for what was asked.
    #[error("{what} needs at least {needed} {of}, but there {}", count_of(*.found))]
    TooFew {
        /// What was asked.
        what: String,
        /// How many there are.
        found: usize,
        /// How many it needs.
        needed: usize,
        /// Of what: `readings`, `lots`, `parts`, …
        of: &'static str,
    },
    /// Limits the wrong way round.
    #[error("the lower limit {lower} mm is not below the upper limit {upper} mm")]
    LimitsReversed {
        /// Lower limit, mm.
        lower: f64,
        /// Upper limit, mm.
        upper: f64,
    },
    /// A name that is not in the table.
    #[error("there is no {kind} called {name:?}; there {}", known_names(.known))]
    Unknown {
        /// `lot`, `operator`, …
        kind: &'static str,
        /// The name asked for.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// The columns of a readings table disagree in length, or an index points nowhere.
    #[error("the readings table does not hold together: {0}")]
    Inconsistent(String),
    /// No plan meets both risk points within the largest sample considered.
    #[error("no plan with at most {largest} parts keeps both risks: {reason}")]
    NoPlan {
        /// Largest sample considered.
        largest: u64,
        /// Why.
        reason: String,
    },
}

fn count_of(found: usize) -> String {
    match found {
        0 => "are none".to_string(),
        1 => "is 1".to_string(),
        n => format!("are {n}"),
    }
}

fn known_names(known: &[String]) -> String {
    match known.len() {
        0 => "are none".to_string(),
        n if n > 12 => format!(
            "are {n}, the first: {}",
            known.iter().take(12).map(|k| format!("{k:?}")).collect::<Vec<_>>().join(", ")
        ),
        _ => format!("are {}", known.iter().map(|k| format!("{k:?}")).collect::<Vec<_>>().join(", ")),
    }
}

/// Refuses NaN and infinities.
pub(crate) fn finite(what: &str, value: f64) -> Result<f64, LotError> {
    if value.is_finite() { Ok(value) } else { Err(LotError::NotFinite { what: what.to_string(), value }) }
}

/// Refuses what does not lie strictly between 0 and 1.
pub(crate) fn share(what: &str, value: f64) -> Result<f64, LotError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(LotError::OutOfRange { what: what.to_string(), value, expected: "above 0 and below 1".to_string() })
    }
}

/// Least confidence by which a verdict is given: at one half a bound is no more than the estimate, below it lies on the wrong side. 0.75 is the smallest that
/// tables of tolerance intervals commonly have above one half (ISO 16269-6, from memory).
pub(crate) const LEAST_CONFIDENCE: f64 = 0.75;

/// Refuses a confidence by which nothing is shown.
pub(crate) fn confidence(value: f64) -> Result<f64, LotError> {
    if (LEAST_CONFIDENCE..1.0).contains(&value) {
        Ok(value)
    } else {
        let expected = format!("from {LEAST_CONFIDENCE} to below 1: at one half a bound is no more than the estimate");
        Err(LotError::OutOfRange { what: "the confidence".to_string(), value, expected })
    }
}

/// Refuses what is negative or no number.
pub(crate) fn not_negative(what: &str, value: f64) -> Result<f64, LotError> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(LotError::OutOfRange { what: what.to_string(), value, expected: "0 or more".to_string() })
    }
}
