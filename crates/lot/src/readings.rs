//! A table of measured parts: lots, parts, and for a gauge study operators and trials.

/// One entry per reading in every column; names stand once, in the order of first appearance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Readings {
    /// Lot names.
    pub lots: Vec<String>,
    /// Part names as written (`0012` stays `0012`).
    pub parts: Vec<String>,
    /// Operator names; empty unless it is a gauge study.
    pub operators: Vec<String>,
    /// Index into `lots`.
    pub lot: Vec<u32>,
    /// Index into `parts`.
    pub part: Vec<u32>,
    /// The reading, mm.
    pub reading: Vec<f64>,
    /// Index into `operators`; empty unless it is a gauge study.
    pub operator: Vec<u32>,
    /// Trial number from 1; empty unless it is a gauge study.
    pub trial: Vec<u32>,
    /// Line in the file of each reading (1-based), for messages.
    pub line: Vec<u32>,
}

/// What the drawing says of the dimension.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Drawing {
    /// Nominal, mm.
    pub nominal: Option<f64>,
    /// Lower limit, mm.
    pub lower: Option<f64>,
    /// Upper limit, mm.
    pub upper: Option<f64>,
}
