//! Rows of one valve and feature: a valve is of one group, and no row repeats another to the letter.

use super::{GROUP, HOURS, Rows};
use crate::error::{FaultKind, Notice};
use crate::kept::Kept;
use crate::table::{Located, Table};
use hashbrown::HashMap;
use packdrift_trend::Inspections;

/// Rows of each valve and feature in the order of time: rows of history k are `rows[starts[k]..starts[k + 1]]`.
pub(super) struct Histories {
    starts: Vec<u32>,
    rows: Vec<u32>,
    /// Where only the pairs of valve and feature that occur are counted, the number of each among all pairs; else empty, and they are all counted.
    numbers: Vec<u64>,
}

impl Histories {
    /// A counting sort, linear in rows; then each history by day, hours (as the present meter counts) and, at one hour, the readings as found
    /// before those after an event. What is alike in all of these stays in the order of the file.
    pub(super) fn of(table: &Inspections) -> Self {
        // Where each engine has features of its own, nearly no pair of valve and feature occurs, and a place for each would be the square of
        // the rows.
        let pairs = table.valves.len().saturating_mul(table.features.len());
        Self::counted(table, pairs <= 4 * table.value.len() + (1 << 20))
    }

    /// `all` is whether every pair of valve and feature has a place, or those that occur alone.
    fn counted(table: &Inspections, all: bool) -> Self {
        let features = table.features.len();
        let rows = table.value.len();
        let number = |row: usize| u64::from(table.valve[row]) * features as u64 + u64::from(table.feature[row]);
        let mut numbers: Vec<u64> = Vec::new();
        let mut places: HashMap<u64, usize> = HashMap::new();
        if !all {
            for row in 0..rows {
                if places.insert(number(row), 0).is_none() {
                    numbers.push(number(row));
                }
            }
            numbers.sort_unstable();
            for (place, number) in numbers.iter().enumerate() {
                places.insert(*number, place);
            }
        }
        let key = |row: usize| if all { number(row) as usize } else { places[&number(row)] };
        let pairs = if all { table.valves.len() * features } else { numbers.len() };
        let mut starts = vec![0_u32; pairs + 1];
        for row in 0..rows {
            starts[key(row) + 1] += 1;
        }
        for index in 1..starts.len() {
            starts[index] += starts[index - 1];
        }
        let mut next = starts.clone();
        let mut sorted = vec![0_u32; rows];
        for row in 0..rows {
            let at = &mut next[key(row)];
            sorted[*at as usize] = row as u32;
            *at += 1;
        }
        for window in starts.windows(2) {
            let own = &mut sorted[window[0] as usize..window[1] as usize];
            let by_time = |a: &u32, b: &u32| {
                let (a, b) = (*a as usize, *b as usize);
                table.day[a]
                    .cmp(&table.day[b])
                    .then_with(|| table.hours[a].total_cmp(&table.hours[b]))
                    .then_with(|| (table.event[a] != 0).cmp(&(table.event[b] != 0)))
            };
            if !own.is_sorted_by(|a, b| by_time(a, b).is_le()) {
                own.sort_by(by_time);
            }
        }
        Self { starts, rows: sorted, numbers }
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &[u32]> {
        self.starts.windows(2).map(|window| &self.rows[window[0] as usize..window[1] as usize])
    }

    /// The histories of each n-th pair of valve and feature, whether or not it occurs: the same, however pairs are counted.
    pub(super) fn each_nth(&self, n: usize) -> impl Iterator<Item = &[u32]> {
        let number = move |place: usize| self.numbers.get(place).copied().unwrap_or(place as u64);
        self.iter()
            .enumerate()
            .filter(move |(place, _)| number(*place).is_multiple_of(n as u64))
            .map(|(_, history)| history)
    }
}

/// Adds every mistake; what is none, and may be another thing than was meant, comes back.
pub(super) fn check(rows: &Rows, histories: &Histories, table: &Table, mistakes: &mut Kept<Located>) -> Option<Notice> {
    check_groups(rows, table, mistakes);
    let mut below = Vec::new();
    for history in histories.iter() {
        check_repeats(rows, history, table, mistakes, &mut below);
    }
    below.sort_unstable();
    let text = format!(
        "{}: read at the hour of an event that stands above, and taken as read before the work; if it was read after it, give it the same event",
        table.rows_in_words(&below)
    );
    (!below.is_empty()).then(|| Notice::new(table.source.path(), text))
}

fn check_groups(rows: &Rows, table: &Table, mistakes: &mut Kept<Located>) {
    let inspections = &rows.table;
    if inspections.groups.is_empty() {
        return;
    }
    let mut first_row = vec![usize::MAX; inspections.valves.len()];
    for (row, (&valve, &group)) in inspections.valve.iter().zip(&inspections.group).enumerate() {
        let first = &mut first_row[valve as usize];
        if *first == usize::MAX {
            *first = row;
            continue;
        }
        let before = inspections.group[*first];
        if group != before {
            let name =
                |group: u32| inspections.groups.get((group as usize).wrapping_sub(1)).cloned().unwrap_or_default();
            let first = *first;
            mistakes.add(FaultKind::Contradiction, GROUP, || Located {
                row,
                column: GROUP,
                kind: FaultKind::Contradiction,
                found: format!("group \"{}\"", name(group)),
                expected: format!("\"{}\", the group of this valve in {}", name(before), table.row_in_words(first)),
                help: None,
            });
        }
    }
}

/// Several readings of one visit are data; the same row twice is a slip. Rows without an event that stand below one of their visit go to `below`.
fn check_repeats(rows: &Rows, history: &[u32], table: &Table, mistakes: &mut Kept<Located>, below: &mut Vec<usize>) {
    let t = &rows.table;
    let same_time = |a: usize, b: usize| t.day[a] == t.day[b] && t.hours[a].total_cmp(&t.hours[b]).is_eq();
    let mut start = 0;
    for end in 1..=history.len() {
        if end < history.len() && same_time(history[end - 1] as usize, history[end] as usize) {
            continue;
        }
        let mut visit: Vec<usize> = Vec::new();
        if end - start > 1 {
            visit.extend(history[start..end].iter().map(|&row| row as usize));
            visit.sort_unstable();
            let worked = visit.iter().position(|&row| t.event[row] != 0).unwrap_or(visit.len());
            below.extend(visit[worked..].iter().filter(|row| t.event[**row] == 0));
        }
        // The first row of each kind that nobody confirmed; a visit may have thousands.
        let mut firsts: HashMap<(u64, u32, Option<&bool>), usize> = HashMap::new();
        for &row in visit.iter().filter(|row| !rows.is_confirmed(**row)) {
            let kind = (t.value[row].to_bits(), t.event[row], rows.changed.get(row));
            let first = *firsts.entry(kind).or_insert(row);
            if first == row {
                continue;
            }
            mistakes.add(FaultKind::DuplicateReading, HOURS, || Located {
                row,
                column: HOURS,
                kind: FaultKind::DuplicateReading,
                found: format!("the same row as {}", table.row_in_words(first)),
                expected: "a row once".to_owned(),
                help: Some(format!(
                    "{}: take one of them out; if it was read twice and read the same, write `yes` under `confirmed` in one of them",
                    rows.whose(row)
                )),
            });
        }
        start = end;
    }
}

#[cfg(test)]
mod tests {
    use super::Histories;
    use packdrift_trend::Inspections;

    /// Rows of `valves` valves and `features` features, in an order that is none.
    fn table(rows: usize, valves: u32, features: u32, of: impl Fn(u32) -> (u32, u32)) -> Inspections {
        let places: Vec<u32> = (0..rows as u32).map(|row| row.wrapping_mul(7919) % rows as u32).collect();
        Inspections {
            valves: (0..valves).map(|valve| (0, valve.to_string())).collect(),
            features: (0..features).map(|feature| feature.to_string()).collect(),
            valve: places.iter().map(|&place| of(place).0).collect(),
            feature: places.iter().map(|&place| of(place).1).collect(),
            day: places.iter().map(|&place| (place % 11) as i32).collect(),
            hours: places.iter().map(|&place| f64::from(place % 11)).collect(),
            value: vec![0.0; rows],
            event: vec![0; rows],
            ..Inspections::default()
        }
    }

    #[test]
    fn histories_are_the_same_however_pairs_are_counted() {
        let table = table(600, 40, 9, |place| (place % 40, (place / 3) % 9));
        let (all, some) = (Histories::counted(&table, true), Histories::counted(&table, false));
        let full = |histories: &Histories| -> Vec<Vec<u32>> {
            histories.iter().filter(|history| !history.is_empty()).map(<[u32]>::to_vec).collect()
        };
        assert_eq!(full(&all), full(&some));
        let third = |histories: &Histories| -> Vec<Vec<u32>> {
            histories.each_nth(3).filter(|history| !history.is_empty()).map(<[u32]>::to_vec).collect()
        };
        assert_eq!(third(&all), third(&some));
        assert!(third(&all).len() < full(&all).len());
    }

    #[test]
    fn valves_with_features_of_their_own_take_room_by_rows() {
        let rows = 5_000;
        let table = table(rows, rows as u32, rows as u32, |place| (place, place));
        assert_eq!(Histories::of(&table).starts.len(), rows + 1);
    }
}
