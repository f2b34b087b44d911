//! The table of inspection readings, by columns: a fleet has millions of rows and few names, so names are indices.

/// One entry per reading in every column; names stand once, in the order of first appearance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Inspections {
    /// Engine names.
    pub engines: Vec<String>,
    /// Valves: index into `engines`, and the valve's name on that engine.
    pub valves: Vec<(u32, String)>,
    /// Feature names (`contact_offset`, …).
    pub features: Vec<String>,
    /// Event names; the reading's `event` is 0 for none, else 1 + index here. `inspect` counts as none.
    pub events: Vec<String>,
    /// Groups of valves; the reading's `group` is 0 for none, else 1 + index here.
    pub groups: Vec<String>,
    /// Index into `valves`.
    pub valve: Vec<u32>,
    /// Days since 1970-01-01.
    pub day: Vec<i32>,
    /// Running hours on the engine's own meter.
    pub hours: Vec<f64>,
    /// Index into `features`.
    pub feature: Vec<u32>,
    /// The reading, in the feature's unit.
    pub value: Vec<f64>,
    /// What was done just before the reading.
    pub event: Vec<u32>,
    /// The valve's group.
    pub group: Vec<u32>,
    /// Line in the file of each reading (1-based, the header is line 1), for messages. Empty where the source has no lines.
    pub line: Vec<u32>,
}
