//! Inspections made in a program, a reading at a time.

use crate::inspections::Inspections;
use std::collections::HashMap;

/// One reading of one feature of one valve.
///
/// # Examples
/// ```
/// use packdrift_trend::Reading;
/// let reading = Reading::new("P01", "1 exhaust", "2026-05-01", 1200.0, "contact_offset", 1.04).after("reshim");
/// # let _ = reading;
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading<'a> {
    engine: &'a str,
    valve: &'a str,
    date: &'a str,
    hours: f64,
    feature: &'a str,
    value: f64,
    event: Option<&'a str>,
    group: Option<&'a str>,
}

impl<'a> Reading<'a> {
    /// Engine, valve, date (ISO 8601, `2026-05-01`), running hours, feature, value in the feature's unit.
    pub fn new(engine: &'a str, valve: &'a str, date: &'a str, hours: f64, feature: &'a str, value: f64) -> Self {
        Self { engine, valve, date, hours, feature, value, event: None, group: None }
    }

    /// What was done to the parts just before: `reshim`, `replace` or another word for new parts.
    pub fn after(mut self, event: &'a str) -> Self {
        self.event = Some(event);
        self
    }

    /// A group of valves that are expected to wear alike, as `exhaust`.
    pub fn of_group(mut self, group: &'a str) -> Self {
        self.group = Some(group);
        self
    }
}

/// A reading that cannot be one.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadingError {
    /// A date that is none.
    #[error("reading {row}: {found:?} is not a date; expected year-month-day, as 2026-05-01")]
    Date {
        /// From 1, in the order pushed.
        row: usize,
        /// As given.
        found: String,
    },
    /// Hours or a value that are not a number, or hours below 0.
    #[error("reading {row}: the {what} is {found}: expected {expected}")]
    Number {
        /// From 1, in the order pushed.
        row: usize,
        /// `hours` or `value`.
        what: &'static str,
        /// As given.
        found: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// A new hour meter: what it means for hours read earlier is worked out from a whole file only.
    #[error(
        "reading {row}: a change of the hour meter is read from files only; add the hours of the earlier meters to this one's"
    )]
    Meter {
        /// From 1, in the order pushed.
        row: usize,
    },
}

/// Collects readings into an [`Inspections`] table; names are given their numbers in the order in which they first appear.
///
/// # Examples
/// ```
/// use packdrift_trend::{InspectionsBuilder, Reading};
/// let rows = [("2025-03-01", 0.0, 0.98), ("2025-09-01", 1000.0, 1.00), ("2026-03-01", 2000.0, 1.02)];
/// let mut table = InspectionsBuilder::new();
/// for (date, hours, value) in rows {
///     table.push(Reading::new("P01", "1 exhaust", date, hours, "contact_offset", value))?;
/// }
/// assert_eq!(table.finish().value, [0.98, 1.00, 1.02]);
/// // What cannot be is refused, and the table stays as it was.
/// let mut table = InspectionsBuilder::new();
/// assert!(table.push(Reading::new("P01", "1 exhaust", "1/3/26", 0.0, "contact_offset", 0.98)).is_err());
/// assert!(table.finish().value.is_empty());
/// # Ok::<(), packdrift_trend::ReadingError>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct InspectionsBuilder {
    table: Inspections,
    engines: HashMap<String, u32>,
    valves: HashMap<(u32, String), u32>,
    features: HashMap<String, u32>,
    events: HashMap<String, u32>,
    groups: HashMap<String, u32>,
}

impl InspectionsBuilder {
    /// An empty table.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a reading.
    ///
    /// # Errors
    /// [`ReadingError`]; the table is then as it was.
    pub fn push(&mut self, reading: Reading<'_>) -> Result<(), ReadingError> {
        let row = self.table.value.len() + 1;
        let Reading { engine, valve, date, hours, feature, value, event, group } = reading;
        let day = days_since_epoch(date).ok_or_else(|| ReadingError::Date { row, found: date.to_owned() })?;
        if !(hours.is_finite() && hours >= 0.0) {
            return Err(ReadingError::Number { row, what: "hours", found: hours, expected: "a number, 0 or more" });
        }
        if !value.is_finite() {
            return Err(ReadingError::Number { row, what: "value", found: value, expected: "a finite number" });
        }
        // `inspect` says that nothing was done.
        let event = match event {
            Some("meter") => return Err(ReadingError::Meter { row }),
            None | Some("inspect" | "") => 0,
            Some(event) => 1 + numbered(&mut self.events, &mut self.table.events, event),
        };
        let group =
            group.filter(|g| !g.is_empty()).map_or(0, |g| 1 + numbered(&mut self.groups, &mut self.table.groups, g));
        let engine = numbered(&mut self.engines, &mut self.table.engines, engine);
        let next = self.table.valves.len() as u32;
        let valve = *self.valves.entry((engine, valve.to_owned())).or_insert_with_key(|(engine, name)| {
            self.table.valves.push((*engine, name.clone()));
            next
        });
        let feature = numbered(&mut self.features, &mut self.table.features, feature);
        let table = &mut self.table;
        table.valve.push(valve);
        table.day.push(day);
        table.hours.push(hours);
        table.feature.push(feature);
        table.value.push(value);
        table.event.push(event);
        table.group.push(group);
        Ok(())
    }

    /// The table.
    pub fn finish(self) -> Inspections {
        self.table
    }
}

/// The number of a name, a new one where it has none.
fn numbered(known: &mut HashMap<String, u32>, names: &mut Vec<String>, name: &str) -> u32 {
    if let Some(&number) = known.get(name) {
        return number;
    }
    let number = names.len() as u32;
    names.push(name.to_owned());
    known.insert(name.to_owned(), number);
    number
}

/// Days since 1970-01-01 of an ISO date; None for what is none.
///
/// # Examples
/// ```
/// assert_eq!(packdrift_trend::days_since_epoch("1970-01-31"), Some(30));
/// assert_eq!(packdrift_trend::days_since_epoch("31/01/1970"), None);
/// ```
pub fn days_since_epoch(date: &str) -> Option<i32> {
    let date: jiff::civil::Date = date.parse().ok()?;
    Some((date - jiff::civil::date(1970, 1, 1)).get_days())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]

    use super::*;

    #[test]
    fn names_are_numbered_as_they_appear_and_a_valve_belongs_to_its_engine() {
        let mut table = InspectionsBuilder::new();
        for (engine, valve, event, group) in [
            ("A", "1", None, None),
            ("B", "1", Some("inspect"), Some("exhaust")),
            ("A", "1", Some("reshim"), Some("intake")),
            ("B", "2", Some("reshim"), Some("exhaust")),
        ] {
            let mut reading = Reading::new(engine, valve, "2026-01-01", 5.0, "stem_wear", 0.1);
            (reading.event, reading.group) = (event, group);
            table.push(reading).unwrap();
        }
        let table = table.finish();
        assert_eq!(table.engines, ["A", "B"]);
        assert_eq!(table.valves, [(0, "1".to_owned()), (1, "1".to_owned()), (1, "2".to_owned())]);
        assert_eq!((table.valve, table.event, table.group), (vec![0, 1, 0, 2], vec![0, 0, 1, 1], vec![0, 1, 2, 1]));
    }

    #[test]
    fn what_cannot_be_a_reading_is_refused() {
        let refused = |date: &str, hours: f64, value: f64, event: &str| {
            let reading = Reading::new("A", "1", date, hours, "stem_wear", value).after(event);
            InspectionsBuilder::new().push(reading).unwrap_err().to_string()
        };
        assert!(refused("2026-02-30", 0.0, 0.1, "").contains("not a date"));
        assert!(refused("2026-02-20", -1.0, 0.1, "").contains("hours"));
        assert!(refused("2026-02-20", 1.0, f64::NAN, "").contains("value"));
        assert!(refused("2026-02-20", 1.0, 0.1, "meter").contains("meter"));
    }
}
