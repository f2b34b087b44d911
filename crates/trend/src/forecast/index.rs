//! Whose segments they are, by columns: what a forecast needs beside a fit. A table of sums has this too.

use crate::inspections::Inspections;
use crate::segments::{Segments, line_of};
use crate::verdict::{Assumption, NewestReading};

/// Segments of one feature without their readings, ordered by engine, valve, time.
#[derive(Debug, Clone, Default)]
pub(crate) struct SegmentIndex {
    pub(crate) valve: Vec<u32>,
    pub(crate) engine: Vec<u32>,
    /// Index into `group_names`, before any pooling.
    pub(crate) group: Vec<u32>,
    /// 1-based within the valve.
    pub(crate) number: Vec<u32>,
    /// Meter hours at the segment's first reading.
    pub(crate) origin: Vec<f64>,
    /// Whether it is the valve's last.
    pub(crate) current: Vec<bool>,
    pub(crate) readings: Vec<u32>,
    /// Hours from the segment's start to its last reading.
    pub(crate) last: Vec<f64>,
    pub(crate) group_names: Vec<String>,
    /// The newest reading of each segment; empty where readings are not at hand.
    pub(crate) newest: Vec<NewestReading>,
    /// A doubted reading of each segment that no later or earlier one settles: that it counts must be heard too. Empty where readings are
    /// not at hand.
    pub(crate) held: Vec<Option<Assumption>>,
}

/// Names of engines and valves.
#[derive(Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) engines: &'a [String],
    pub(crate) valves: &'a [(u32, String)],
}

impl SegmentIndex {
    /// Of segments; by reading its weight, whether it is doubted, and whether that is because its whole day was set aside.
    pub(crate) fn of(
        table: &Inspections,
        segments: &Segments,
        weights: &[f64],
        doubted: &[bool],
        aside: &dyn Fn(usize) -> bool,
    ) -> Self {
        let all = 0..segments.len();
        Self {
            valve: segments.valve.clone(),
            engine: segments.engine.clone(),
            group: segments.group.clone(),
            number: segments.number.clone(),
            origin: segments.origin.clone(),
            current: segments.current.clone(),
            readings: all.clone().map(|s| segments.range(s).len() as u32).collect(),
            last: all.clone().map(|s| segments.range(s).last().map_or(0.0, |i| segments.hours[i])).collect(),
            group_names: segments.group_names.clone(),
            newest: all.clone().map(|s| newest(table, segments, weights, doubted, s)).collect(),
            held: all.map(|s| held(table, segments, doubted, aside, s)).collect(),
        }
    }

    /// The last segment of each valve.
    pub(crate) fn current_segments(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.valve.len()).filter(|s| self.current[*s])
    }

    /// The engine of each valve, in the order of the valves.
    pub(crate) fn engines_of_valves(&self) -> Vec<u32> {
        self.current_segments().map(|s| self.engine[s]).collect()
    }
}

/// The last reading of a segment; where its visit has several, their mean, of the believed ones if there are any.
fn newest(table: &Inspections, segments: &Segments, weights: &[f64], doubted: &[bool], s: usize) -> NewestReading {
    let weight = |i: usize| weights.get(i).copied().unwrap_or(1.0);
    let range = segments.range(s);
    let last = range.end - 1;
    // An engine that stood still is read at one hour on several days: the newest are those of the last day.
    let day = |i: usize| table.day[segments.row[i] as usize];
    let at_last_hours = || range.clone().filter(|i| segments.hours[*i] >= segments.hours[last]);
    let last_day = at_last_hours().map(day).max();
    let visit = || at_last_hours().filter(|i| Some(day(*i)) == last_day);
    let believed = |i: usize| !doubted[i];
    let some_believed = visit().any(believed);
    let counts = |i: &usize| believed(*i) || !some_believed;
    let n = visit().filter(counts).count() as f64;
    let mean = |of: &dyn Fn(usize) -> f64| visit().filter(counts).map(of).sum::<f64>() / n;
    let row = segments.row[visit().next_back().unwrap_or(last)];
    NewestReading {
        value: mean(&|i| segments.value[i]),
        day: table.day[row as usize],
        hours: segments.origin[s] + segments.hours[last],
        line: line_of(table, row),
        weight: mean(&weight),
        believed: some_believed,
    }
}

/// A doubted reading at an end of a segment. Inside, earlier and later readings together say that it was off.
fn held(
    table: &Inspections,
    segments: &Segments,
    doubted: &[bool],
    aside: &dyn Fn(usize) -> bool,
    s: usize,
) -> Option<Assumption> {
    let range = segments.range(s);
    let own = |i: &usize| doubted[*i] && !aside(*i);
    let (first, last) = (segments.hours[range.start], segments.hours[range.end - 1]);
    // The newest first.
    let at = range.clone().rev().filter(own).find(|i| segments.hours[*i] >= last || segments.hours[*i] <= first)?;
    let row = segments.row[at];
    Some(Assumption::ReadingCounts {
        line: line_of(table, row),
        day: table.day[row as usize],
        value: segments.value[at],
        newest: segments.hours[at] >= last,
    })
}
