//! From the table of readings to segments: the stretches of one valve's history between two events.
//!
//! A row whose `event` is none of nothing, `inspect` and `meter` begins a new segment of its valve and feature: what was done was done just
//! before that reading. Hours count from the segment's first reading; the engine's hours go on, also over a change of meter. On one day and
//! hour the readings as found come before those after the work, and rows of one event are one piece of work, read several times.

mod table;

pub(crate) use table::{line_of, validate};

use crate::error::TrendError;
use crate::inspections::Inspections;
use packdrift_numerics::shard::Shard;

/// Segments of one feature, by columns, ordered by engine, valve, time. Readings of segment s are `offset[s]..offset[s + 1]`.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Segments {
    pub(crate) offset: Vec<usize>,
    pub(crate) valve: Vec<u32>,
    pub(crate) engine: Vec<u32>,
    /// Index into `group_names`.
    pub(crate) group: Vec<u32>,
    /// 1-based within the valve.
    pub(crate) number: Vec<u32>,
    /// The valve's parts as last replaced: segments that stand together with the same number differ in their shims alone. Empty where that is
    /// not known; each segment then stands alone.
    pub(crate) part: Vec<u32>,
    /// Whether no event begins it but a jump that was found: the same parts wear on from another value. Empty where there is none.
    pub(crate) leapt: Vec<bool>,
    /// Meter hours at the segment's first reading.
    pub(crate) origin: Vec<f64>,
    /// Whether it is the valve's last.
    pub(crate) current: Vec<bool>,
    /// Hours since the segment's first reading.
    pub(crate) hours: Vec<f64>,
    pub(crate) value: Vec<f64>,
    /// Row of the table.
    pub(crate) row: Vec<u32>,
    /// Groups present; a single empty name where there are none.
    pub(crate) group_names: Vec<String>,
    /// Rows with a value or hours that is not a finite number.
    pub(crate) not_finite: Vec<u32>,
}

impl Segments {
    pub(crate) fn len(&self) -> usize {
        self.valve.len()
    }

    pub(crate) fn readings(&self) -> usize {
        self.value.len()
    }

    pub(crate) fn range(&self, s: usize) -> std::ops::Range<usize> {
        self.offset[s]..self.offset[s + 1]
    }

    /// Whether a jump begins a segment.
    pub(crate) fn begins_by_jump(&self, s: usize) -> bool {
        self.leapt.get(s).copied().unwrap_or(false)
    }

    /// The segment that the i-th reading belongs to.
    pub(crate) fn segment_of(&self, i: usize) -> usize {
        self.offset.partition_point(|start| *start <= i).saturating_sub(1)
    }

    /// The same segments with the readings of positive weight alone (empty for all), and where each of these stood.
    pub(crate) fn counting(&self, weights: &[f64]) -> (Self, Vec<usize>) {
        let mut out = Self { offset: vec![0], hours: Vec::new(), value: Vec::new(), row: Vec::new(), ..self.clone() };
        let mut stood = Vec::new();
        for s in 0..self.len() {
            for i in self.range(s).filter(|i| weights.get(*i).is_none_or(|w| *w > 0.0)) {
                out.hours.push(self.hours[i]);
                out.value.push(self.value[i]);
                out.row.push(self.row[i]);
                stood.push(i);
            }
            out.offset.push(out.value.len());
        }
        (out, stood)
    }

    /// The segments cut once more before the readings of some rows of the table: shims moved, parts did not.
    pub(crate) fn cut_before(&self, rows: &[usize]) -> Self {
        let mut out = Self { offset: vec![0], group_names: self.group_names.clone(), ..Self::default() };
        for s in 0..self.len() {
            let range = self.range(s);
            let mut start = range.start;
            let mut piece = |from: usize, to: usize, last: bool| {
                let begun = self.hours[from];
                out.valve.push(self.valve[s]);
                out.engine.push(self.engine[s]);
                out.group.push(self.group[s]);
                out.number.push(self.number[s]);
                out.part.extend(self.part.get(s));
                out.leapt.push(from > range.start || self.begins_by_jump(s));
                out.origin.push(self.origin[s] + begun);
                out.current.push(self.current[s] && last);
                out.hours.extend(self.hours[from..to].iter().map(|h| h - begun));
                out.value.extend_from_slice(&self.value[from..to]);
                out.row.extend_from_slice(&self.row[from..to]);
                out.offset.push(out.value.len());
            };
            for i in range.start + 1..range.end {
                if rows.contains(&(self.row[i] as usize)) {
                    piece(start, i, false);
                    start = i;
                }
            }
            piece(start, range.end, true);
        }
        out
    }

    /// The segments of the chosen indices (ascending), groups kept.
    pub(crate) fn subset(&self, keep: &[usize]) -> Self {
        let mut out = Self { offset: vec![0], group_names: self.group_names.clone(), ..Self::default() };
        for &s in keep {
            out.valve.push(self.valve[s]);
            out.engine.push(self.engine[s]);
            out.group.push(self.group[s]);
            out.number.push(self.number[s]);
            out.part.extend(self.part.get(s));
            out.leapt.push(self.begins_by_jump(s));
            out.origin.push(self.origin[s]);
            out.current.push(self.current[s]);
            let r = self.range(s);
            out.hours.extend_from_slice(&self.hours[r.clone()]);
            out.value.extend_from_slice(&self.value[r.clone()]);
            out.row.extend_from_slice(&self.row[r]);
            out.offset.push(out.value.len());
        }
        out
    }
}

/// The event after which a valve's parts are what they were, other shims beside them.
const RESHIM: &str = "reshim";

/// Whether something was done to the valve: to look at it, or to change the engine's hour meter, is nothing.
fn is_work(event: &str) -> bool {
    !matches!(event, "" | "inspect" | "meter")
}

pub(crate) fn blocks_of(engine: &[u32], size: usize) -> Vec<std::ops::Range<usize>> {
    let mut blocks = Vec::new();
    let mut start = 0;
    while start < engine.len() {
        let mut end = (start + size).min(engine.len());
        while end < engine.len() && engine[end] == engine[end - 1] {
            end += 1;
        }
        blocks.push(start..end);
        start = end;
    }
    blocks
}

/// A share of a list whose neighbours are of one engine: places in the list, cut between engines.
pub(crate) fn share(engines: &[u32], shard: Shard) -> std::ops::Range<usize> {
    let starts: Vec<usize> = (0..engines.len()).filter(|&i| i == 0 || engines[i] != engines[i - 1]).collect();
    let place = |engine: u64| starts.get(engine as usize).copied().unwrap_or(engines.len());
    let own = shard.cut(starts.len() as u64);
    place(own.start)..place(own.end)
}

/// Cuts one feature's readings into segments. `cuts` says of a row whether it begins a segment although no event does (a jump found).
pub(crate) fn cut(table: &Inspections, feature: u32, cuts: &dyn Fn(u32) -> bool) -> Result<Segments, TrendError> {
    // Valves in engine order, so that an engine's segments stand together.
    let mut order: Vec<u32> = (0..table.valves.len() as u32).collect();
    order.sort_by_key(|&v| (table.valves[v as usize].0, v));
    let mut rank = vec![0u32; order.len()];
    for (r, &v) in order.iter().enumerate() {
        rank[v as usize] = r as u32;
    }
    let mut not_finite = Vec::new();
    // Counting sort by valve, then each valve's few readings by time.
    let mut ends = vec![0usize; order.len() + 1];
    let wanted = |row: usize| table.feature[row] == feature;
    let finite = |row: usize| table.value[row].is_finite() && table.hours[row].is_finite();
    for row in 0..table.value.len() {
        if wanted(row) {
            if finite(row) {
                ends[rank[table.valve[row] as usize] as usize + 1] += 1;
            } else {
                not_finite.push(row as u32);
            }
        }
    }
    for i in 1..ends.len() {
        ends[i] += ends[i - 1];
    }
    let mut next = ends.clone();
    let mut rows = vec![0u32; ends[order.len()]];
    for row in 0..table.value.len() {
        if wanted(row) && finite(row) {
            let slot = &mut next[rank[table.valve[row] as usize] as usize];
            rows[*slot] = row as u32;
            *slot += 1;
        }
    }
    let no_event: Vec<bool> = std::iter::once(true).chain(table.events.iter().map(|e| !is_work(e))).collect();
    // Shims change the offset, not how fast it moves; whatever else was done may have.
    let keeps_part: Vec<bool> =
        std::iter::once(true).chain(table.events.iter().map(|e| !is_work(e) || e == RESHIM)).collect();
    let begins = |row: u32| !no_event[table.event[row as usize] as usize] || cuts(row);
    // Readings of one visit: the same work, read again.
    let repeats = |before: u32, row: u32| {
        let (a, b) = (before as usize, row as usize);
        let work = table.event[b];
        !no_event[work as usize]
            && work == table.event[a]
            && table.day[a] == table.day[b]
            && table.hours[a].total_cmp(&table.hours[b]).is_eq()
    };
    // By time; on one day and hour as found, then after the work; repeats by value, so that the order of the table's rows tells nothing.
    let in_order = |&a: &u32, &b: &u32| {
        let (i, j) = (a as usize, b as usize);
        let work = |i: usize| {
            let event = table.event[i] as usize;
            event.checked_sub(1).filter(|_| !no_event[event]).and_then(|e| table.events.get(e))
        };
        table.day[i]
            .cmp(&table.day[j])
            .then_with(|| table.hours[i].total_cmp(&table.hours[j]))
            .then_with(|| begins(a).cmp(&begins(b)))
            .then_with(|| work(i).cmp(&work(j)))
            .then_with(|| table.value[i].total_cmp(&table.value[j]))
            .then(a.cmp(&b))
    };

    let mut out = Segments { offset: vec![0], not_finite, ..Segments::default() };
    out.hours.reserve(rows.len());
    out.value.reserve(rows.len());
    out.row.reserve(rows.len());
    let mut group_index = vec![u32::MAX; table.groups.len() + 1];
    for (r, &valve) in order.iter().enumerate() {
        let own = &mut rows[ends[r]..ends[r + 1]];
        if own.is_empty() {
            continue;
        }
        if !own.is_sorted_by(|a, b| in_order(a, b).is_le()) {
            own.sort_by(in_order);
        }
        let mut number = 0;
        let mut part = out.part.last().map_or(0, |p| p + 1);
        let mut i = 0;
        while i < own.len() {
            let mut j = i + 1;
            while j < own.len() && (!begins(own[j]) || repeats(own[j - 1], own[j])) {
                j += 1;
            }
            number += 1;
            if i > 0 && !keeps_part[table.event[own[i] as usize] as usize] {
                part += 1;
            }
            let origin = table.hours[own[i] as usize];
            let mut before = origin;
            let mut group = 0;
            for &row in &own[i..j] {
                let k = row as usize;
                if table.hours[k] < before {
                    return Err(TrendError::HoursFall {
                        engine: table.engines[table.valves[valve as usize].0 as usize].clone(),
                        valve: table.valves[valve as usize].1.clone(),
                        feature: table.features[feature as usize].clone(),
                        before,
                        after: table.hours[k],
                    });
                }
                before = table.hours[k];
                if table.group[k] != 0 {
                    group = table.group[k];
                }
                out.hours.push(table.hours[k] - origin);
                out.value.push(table.value[k]);
                out.row.push(row);
            }
            let slot = &mut group_index[group as usize];
            if *slot == u32::MAX {
                *slot = out.group_names.len() as u32;
                out.group_names.push(if group == 0 { String::new() } else { table.groups[group as usize - 1].clone() });
            }
            out.group.push(*slot);
            out.valve.push(valve);
            out.engine.push(table.valves[valve as usize].0);
            out.number.push(number);
            out.part.push(part);
            out.leapt.push(i > 0 && no_event[table.event[own[i] as usize] as usize]);
            out.origin.push(origin);
            out.current.push(j == own.len());
            out.offset.push(out.value.len());
            i = j;
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test stops at the first surprise; hours are copied")]
    use super::*;

    fn table() -> Inspections {
        Inspections {
            engines: vec!["E1".into(), "E2".into()],
            valves: vec![(1, "a".into()), (0, "b".into())],
            features: vec!["f".into()],
            events: vec!["inspect".into(), "reshim".into()],
            groups: vec![],
            valve: vec![1, 0, 1, 1, 1, 0],
            day: vec![10, 10, 30, 20, 30, 20],
            hours: vec![100.0, 50.0, 300.0, 200.0, 300.0, 60.0],
            feature: vec![0; 6],
            value: vec![1.0, 9.0, 1.0, 1.2, 1.3, 9.1],
            event: vec![2, 0, 2, 1, 0, 0],
            group: vec![0; 6],
            ..Inspections::default()
        }
    }

    #[test]
    fn an_event_begins_a_segment_and_the_reading_as_found_comes_first() {
        let s = cut(&table(), 0, &|_| false).unwrap();
        // Engine order: E1's valve b first. Its first row has an event and is still segment 1.
        assert_eq!(s.valve, [1, 1, 0]);
        assert_eq!(s.number, [1, 2, 1]);
        assert_eq!(s.part, [0, 0, 1]);
        assert_eq!(s.current, [false, true, true]);
        assert_eq!(s.row, [0, 3, 4, 2, 1, 5]);
        assert_eq!(s.hours, [0.0, 100.0, 200.0, 0.0, 0.0, 10.0]);
        assert_eq!(s.origin, [100.0, 300.0, 50.0]);
    }

    #[test]
    fn a_changed_meter_begins_nothing_and_repeats_stay_together_in_any_order_of_rows() {
        let mut t = Inspections {
            engines: vec!["E".into()],
            valves: vec![(0, "v".into())],
            features: vec!["f".into()],
            events: vec!["meter".into(), "reshim".into()],
            valve: vec![0; 6],
            day: vec![10, 20, 20, 20, 20, 30],
            hours: vec![-400.0, 3.0, 3.0, 3.0, 3.0, 90.0],
            feature: vec![0; 6],
            value: vec![1.0, 1.3, 1.32, 1.01, 0.99, 1.05],
            event: vec![0, 1, 0, 2, 2, 0],
            group: vec![0; 6],
            ..Inspections::default()
        };
        let s = cut(&t, 0, &|_| false).unwrap();
        assert_eq!((s.number.as_slice(), s.offset.as_slice()), (&[1, 2][..], &[0, 3, 6][..]));
        assert_eq!(s.hours, [0.0, 403.0, 403.0, 0.0, 0.0, 87.0]);
        assert_eq!(s.value, [1.0, 1.3, 1.32, 0.99, 1.01, 1.05]);
        for column in [&mut t.value, &mut t.hours] {
            column.reverse();
        }
        (t.event, t.day) = (t.event.into_iter().rev().collect(), t.day.into_iter().rev().collect());
        let reversed = cut(&t, 0, &|_| false).unwrap();
        assert_eq!((reversed.value, reversed.hours, reversed.offset), (s.value, s.hours, s.offset));
    }

    #[test]
    fn shares_are_cut_between_engines_and_make_the_whole() {
        let engines = [4, 4, 4, 0, 7, 7, 1, 1];
        let shares = |n| (1..=n).map(|k| share(&engines, Shard::new(k, n).unwrap())).collect::<Vec<_>>();
        assert_eq!(share(&engines, Shard::new(1, 1).unwrap()), 0..8);
        assert_eq!(shares(2), [0..4, 4..8]);
        assert_eq!(shares(3), [0..3, 3..4, 4..8]);
        // More machines than engines: some have nothing to do.
        assert_eq!(shares(6), [0..0, 0..3, 3..4, 4..4, 4..6, 6..8]);
        assert_eq!(share(&[], Shard::new(1, 2).unwrap()), 0..0);
    }

    #[test]
    fn a_falling_meter_is_named_and_a_new_segment_may_have_a_new_meter() {
        let mut t = table();
        t.hours[4] = 150.0;
        assert!(matches!(cut(&t, 0, &|_| false), Err(TrendError::HoursFall { before, .. }) if before == 200.0));
        let mut t = table();
        t.hours[2] = 5.0;
        t.hours[4] = 300.0;
        t.day[2] = 31;
        t.events[1] = "replace".into();
        let s = cut(&t, 0, &|_| false).unwrap();
        assert_eq!((s.number, s.part), (vec![1, 2, 1], vec![0, 1, 2]));
    }

    #[test]
    fn readings_that_are_no_numbers_are_counted() {
        let mut t = table();
        t.value[1] = f64::NAN;
        let s = cut(&t, 0, &|_| false).unwrap();
        assert_eq!((s.readings(), s.not_finite.as_slice()), (5, &[1u32][..]));
    }
}
