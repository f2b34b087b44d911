//! The table of inspection readings, by columns: a fleet has millions of rows and few names, so names are indices.

use std::collections::BTreeMap;

/// One entry per reading in every column; names stand once, in the order of first appearance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Inspections {
    /// Engine names.
    pub engines: Vec<String>,
    /// Valves: index into `engines`, and the valve's name on that engine.
    pub valves: Vec<(u32, String)>,
    /// Feature names (`contact_offset`, …).
    pub features: Vec<String>,
    /// Event names; the reading's `event` is 0 for none, else 1 + index here. `inspect` and `meter` count as none: the parts stay what they
    /// were.
    pub events: Vec<String>,
    /// Groups of valves; the reading's `group` is 0 for none, else 1 + index here.
    pub groups: Vec<String>,
    /// Index into `valves`.
    pub valve: Vec<u32>,
    /// Days since 1970-01-01.
    pub day: Vec<i32>,
    /// Running hours as the engine's present meter counts them. They go on over a change of meter: hours read on an earlier meter are counted
    /// back from the present one (see [`MeterChange`]) and may lie below 0.
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
    /// Hours as they were read, on whichever meter was there. Empty where no meter was changed: then `hours` are what was read.
    pub read_hours: Vec<f64>,
    /// Changes of meters, by engine and day.
    pub meters: Vec<MeterChange>,
    /// By row: somebody looked again and the reading stands, so it is never taken for a gross error. Empty for none.
    pub confirmed: Vec<bool>,
    /// Readings that may be slips, in the order of rows. They are taken as they stand; whoever judges by them says what the answer is without.
    pub doubts: Vec<Doubt>,
}

/// A new hour meter on an engine, or the old one set back: the parts stay, hours go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterChange {
    /// Index into [`Inspections::engines`].
    pub engine: u32,
    /// Days since 1970-01-01 of the first reading on the new meter.
    pub day: i32,
    /// The hours that the old meter would be behind the new one: hours read on the old one plus this are hours on the new one. Below 0 where
    /// the new meter began lower than the old one ended.
    pub shift: f64,
    /// Standard uncertainty of `shift`, hours: 0 where the old meter's last reading is known, else that of the hours run unread.
    pub shift_sd: f64,
}

/// Why a reading may be a slip of the pen.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Unlikely {
    /// The value is about so many times what its neighbours say: 10, 100, 1000 (a decimal point), 25.4 (inches), or one over these.
    Times(f64),
    /// The value has its neighbours' size and the other sign.
    Sign,
    /// Engine, valve, feature or group bears a name that differs from this one by capitals, blanks or signs alone.
    Name(String),
    /// The visit lies so many days from the engine's other visits, far beyond what lies between those.
    FarVisit(i32),
}

/// A reading that may be a slip and that nobody has confirmed.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    /// Of the table.
    pub row: u32,
    /// What is unlikely about it.
    pub why: Unlikely,
}

/// The latest reading of a valve, for who is about to work on it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Latest {
    /// The reading of the latest date; of several on one day the last in the file. The meter does not decide: it may have been changed.
    Reading {
        /// In the feature's unit.
        value: f64,
        /// Running hours.
        hours: f64,
        /// Days since 1970-01-01.
        day: i32,
    },
    /// The valve is known, but this was never read at it.
    NotRead,
    /// No feature of this name; those there are.
    UnknownFeature(Vec<String>),
    /// No engine of this name; those there are.
    UnknownEngine(Vec<String>),
    /// No valve of this name (on this engine); those there are.
    UnknownValve(Vec<String>),
    /// Several engines have a valve of this name.
    OfEngines(Vec<String>),
}

impl Inspections {
    /// The doubts about a reading.
    pub fn doubts_of(&self, row: u32) -> &[Doubt] {
        let from = self.doubts.partition_point(|doubt| doubt.row < row);
        let to = self.doubts.partition_point(|doubt| doubt.row <= row);
        &self.doubts[from..to]
    }

    /// The visit of each reading: readings of one engine on one day and hour share a number, from 0 in the order of the rows. Several
    /// readings of one valve and feature in a visit, with no event between, are repeats: they differ by the reading error alone.
    ///
    /// ```
    /// use packdrift_trend::Inspections;
    /// let mut t = Inspections { engines: vec!["P1".into()], valves: vec![(0, "1".into())], ..Inspections::default() };
    /// for (day, hours) in [(0, 10.0), (0, 10.0), (90, 400.0)] {
    ///     t.valve.push(0); t.day.push(day); t.hours.push(hours);
    /// }
    /// assert_eq!(t.visits(), [0, 0, 1]);
    /// ```
    pub fn visits(&self) -> Vec<u32> {
        let mut known: BTreeMap<(u32, i32, u64), u32> = BTreeMap::new();
        self.valve
            .iter()
            .zip(&self.day)
            .zip(&self.hours)
            .map(|((&valve, &day), &hours)| {
                let next = known.len() as u32;
                // Adding 0 makes one of the two zeros of the other.
                *known.entry((self.valves[valve as usize].0, day, (hours + 0.0).to_bits())).or_insert(next)
            })
            .collect()
    }

    /// The latest reading of a feature at a valve; `engine` may be left out where only one has a valve of this name.
    pub fn latest(&self, engine: Option<&str>, valve: &str, feature: &str) -> Latest {
        let Some(feature) = self.features.iter().position(|name| name == feature) else {
            return Latest::UnknownFeature(self.features.clone());
        };
        if engine.is_some_and(|engine| !self.engines.iter().any(|name| name == engine)) {
            return Latest::UnknownEngine(self.engines.clone());
        }
        let of_engine = |v: &usize| engine.is_none_or(|engine| self.engines[self.valves[*v].0 as usize] == engine);
        let matching: Vec<usize> =
            (0..self.valves.len()).filter(of_engine).filter(|&v| self.valves[v].1 == valve).collect();
        let [of] = matching[..] else {
            if matching.is_empty() {
                let mut known: Vec<String> =
                    (0..self.valves.len()).filter(of_engine).map(|v| self.valves[v].1.clone()).collect();
                known.sort();
                known.dedup();
                return Latest::UnknownValve(known);
            }
            return Latest::OfEngines(
                matching.iter().map(|&v| self.engines[self.valves[v].0 as usize].clone()).collect(),
            );
        };
        (0..self.value.len())
            .filter(|&row| self.valve[row] as usize == of && self.feature[row] as usize == feature)
            .max_by_key(|&row| (self.day[row], row))
            .map_or(Latest::NotRead, |row| Latest::Reading {
                value: self.value[row],
                hours: self.hours[row],
                day: self.day[row],
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_engines() -> Inspections {
        Inspections {
            engines: vec!["A".to_owned(), "B".to_owned()],
            valves: vec![(0, "intake".to_owned()), (1, "intake".to_owned()), (1, "exhaust".to_owned())],
            features: vec!["contact_offset".to_owned(), "stem_wear".to_owned()],
            valve: vec![0, 0, 0, 2],
            day: vec![100, 300, 300, 50],
            hours: vec![9000.0, 80.0, 60.0, 10.0],
            feature: vec![0, 0, 0, 0],
            value: vec![1.3, 0.9, 1.0, 1.1],
            event: vec![0; 4],
            group: vec![0; 4],
            ..Inspections::default()
        }
    }

    #[test]
    fn the_latest_day_counts_whatever_the_meter_says() {
        let latest = two_engines().latest(Some("A"), "intake", "contact_offset");
        assert_eq!(latest, Latest::Reading { value: 1.0, hours: 60.0, day: 300 });
    }

    #[test]
    fn what_is_not_known_is_told_with_what_is() {
        let table = two_engines();
        let names = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect::<Vec<_>>();
        assert_eq!(
            table.latest(None, "exhaust", "offset"),
            Latest::UnknownFeature(names(&["contact_offset", "stem_wear"]))
        );
        assert_eq!(table.latest(Some("C"), "intake", "contact_offset"), Latest::UnknownEngine(names(&["A", "B"])));
        assert_eq!(table.latest(Some("A"), "exhaust", "contact_offset"), Latest::UnknownValve(names(&["intake"])));
        assert_eq!(table.latest(None, "intake", "contact_offset"), Latest::OfEngines(names(&["A", "B"])));
        assert_eq!(table.latest(None, "exhaust", "stem_wear"), Latest::NotRead);
    }
}
