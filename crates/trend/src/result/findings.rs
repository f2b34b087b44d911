//! What was found wrong with readings.

/// Readings left out for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// In words.
    pub reason: String,
    /// How many readings.
    pub rows: usize,
    /// The first few, as lines of the file where known, else 1-based rows.
    pub first_lines: Vec<u32>,
}

/// A reading that does not fit its valve.
#[derive(Debug, Clone, PartialEq)]
pub struct SuspectedReading {
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Line of the file, or 1-based row.
    pub line: u32,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Meter hours.
    pub hours: f64,
    /// The reading.
    pub value: f64,
    /// What the model expected from all other readings.
    pub expected: f64,
    /// (value − expected) / its standard deviation.
    pub standardised: f64,
    /// Weight it had in the fit that the forecasts are of, 0 to 1.
    pub weight: f64,
    /// Whether it is the valve's newest: it can be read again. The record of an older one can be checked.
    pub newest: bool,
}

/// A jump that stayed: a part slipped, or a wrong part was fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct StepChange {
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Line of the first reading after the step, or its 1-based row.
    pub line: u32,
    /// Day of that reading.
    pub day: i32,
    /// Its meter hours.
    pub hours: f64,
    /// Estimated jump, in the feature's unit.
    pub size: f64,
    /// Its standard error.
    pub size_se: f64,
    /// Readings after the step.
    pub readings_after: usize,
}

/// A day on which all readings were off together: look at the instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultyDay {
    /// Days since 1970-01-01.
    pub day: i32,
    /// Readings of that day.
    pub readings: usize,
    /// Engines read that day.
    pub engines: Vec<String>,
    /// Estimated common shift, in the feature's unit.
    pub shift: f64,
    /// Its standard error.
    pub shift_se: f64,
    /// Whether its readings were set aside: later readings returned. Else they count, and the answer without them is given beside.
    pub set_aside: bool,
}
