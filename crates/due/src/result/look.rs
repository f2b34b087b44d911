//! When to look at an engine next.

/// Why an engine is to be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum LookFor {
    /// Its verdict is open: a reading again, or further readings, settle it.
    Verdict,
    /// From that day on a reading is worth more than it costs.
    Worth,
    /// On the day after, the chance that a valve has entered unseen reaches the accepted risk.
    Risk,
}

impl LookFor {
    /// As JSON spells it: `verdict`, `worth`, `risk`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Verdict => "verdict",
            Self::Worth => "worth",
            Self::Risk => "risk",
        }
    }
}

/// The next look at an engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// The day by which to read it, days since 1970-01-01; never before the day of the plan.
    pub day: i32,
    /// Why.
    pub because: LookFor,
    /// Whether the plan has it done before: the look is then the first one after the work.
    pub after_work: bool,
    /// Chance that any valve has entered unseen by then.
    pub chance: f64,
    /// What a reading on that day is expected to save, before its own cost; None without costs.
    pub worth: Option<f64>,
    /// The day on which it would save most, and how much; None without costs.
    pub best: Option<(i32, f64)>,
    /// The valves to read first: those behind the chance, the likeliest first.
    pub valves: Vec<String>,
}
