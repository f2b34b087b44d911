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

/// The latest reading of a valve, for who is about to work on it.
#[derive(Debug, Clone, PartialEq)]
pub enum Latest {
    /// The reading with the most hours on it; of several at the same hours the later one.
    Reading {
        /// In the feature's unit.
        value: f64,
        /// Running hours.
        hours: f64,
        /// Days since 1970-01-01.
        day: i32,
    },
    /// No such reading.
    None,
    /// Several engines have a valve of this name.
    OfEngines(Vec<String>),
}

impl Inspections {
    /// The latest reading of a feature at a valve; `engine` may be left out where only one has a valve of this name.
    pub fn latest(&self, engine: Option<&str>, valve: &str, feature: &str) -> Latest {
        let Some(feature) = self.features.iter().position(|name| name == feature) else { return Latest::None };
        let matching: Vec<usize> = (0..self.valves.len())
            .filter(|&v| {
                let (of, name) = &self.valves[v];
                name == valve && engine.is_none_or(|engine| self.engines[*of as usize] == engine)
            })
            .collect();
        let [of] = matching[..] else {
            if matching.is_empty() {
                return Latest::None;
            }
            return Latest::OfEngines(
                matching.iter().map(|&v| self.engines[self.valves[v].0 as usize].clone()).collect(),
            );
        };
        (0..self.value.len())
            .filter(|&row| self.valve[row] as usize == of && self.feature[row] as usize == feature)
            .max_by(|&a, &b| self.hours[a].total_cmp(&self.hours[b]).then(self.day[a].cmp(&self.day[b])))
            .map_or(Latest::None, |row| Latest::Reading {
                value: self.value[row],
                hours: self.hours[row],
                day: self.day[row],
            })
    }
}
