//! Which readings belong to one visit: a valve that was read on several days without running between them was looked at once.
//!
//! One instrument that is off, and a visit that was repeated with it on the days after, must not count as several looks that agree.

use crate::segments::Segments;

/// Readings closer together than this part of the mean time between a segment's days are one visit.
const STOOD_STILL: f64 = 0.1;

/// By reading: the first day of its visit, in days since 1970-01-01. `day` gives a reading's own day.
pub(crate) fn visits(segments: &Segments, day: &dyn Fn(usize) -> i32) -> Vec<i32> {
    let mut out = vec![0; segments.readings()];
    for s in 0..segments.len() {
        let range = segments.range(s);
        let hours = |i: usize| segments.hours[i];
        let days = 1 + range.clone().skip(1).filter(|i| day(*i) != day(*i - 1)).count();
        let span = range.clone().last().map_or(0.0, |last| hours(last) - hours(range.start));
        let still = STOOD_STILL * span / (days.max(2) - 1) as f64;
        let mut first = range.start;
        for i in range {
            if hours(i) - hours(first) > still {
                first = i;
            }
            out[i] = day(first);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;
    use crate::inspections::Inspections;
    use crate::segments::cut;

    fn table(rows: &[(i32, f64)]) -> Inspections {
        let mut t =
            Inspections { features: vec!["offset".into()], engines: vec!["A".into()], ..Inspections::default() };
        t.valves.push((0, "1".into()));
        for (day, hours) in rows {
            t.valve.push(0);
            t.day.push(*day);
            t.hours.push(*hours);
            t.feature.push(0);
            t.value.push(1.0);
            t.event.push(0);
            t.group.push(0);
        }
        t
    }

    fn visits_of(rows: &[(i32, f64)]) -> Vec<i32> {
        let table = table(rows);
        let segments = cut(&table, 0, &|_| false).unwrap();
        visits(&segments, &|i| table.day[segments.row[i] as usize])
    }

    #[test]
    fn days_without_running_between_are_one_visit() {
        let rows = [(0, 0.0), (100, 800.0), (101, 800.0), (102, 803.0), (300, 2000.0)];
        assert_eq!(visits_of(&rows), [0, 100, 100, 100, 300]);
    }

    #[test]
    fn a_dense_record_keeps_its_days() {
        let rows: Vec<(i32, f64)> = (0..60).map(|k| (k, 8.0 * f64::from(k))).collect();
        assert_eq!(visits_of(&rows), (0..60).collect::<Vec<_>>());
    }

    #[test]
    fn an_engine_that_stood_was_looked_at_once() {
        assert_eq!(visits_of(&[(0, 50.0), (40, 50.0), (90, 50.0)]), [0, 0, 0]);
    }
}
