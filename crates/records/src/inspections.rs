//! Inspection records: one row a reading, for trends and due dates.

use crate::check::{FileKind, of_the_kind};
use crate::error::{Error, FaultKind, KEPT_FAULTS};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Table, read_table};
use hashbrown::HashMap;
use packdrift_trend::Inspections;
use std::path::Path;

const VALVE: usize = 1;
const HOURS: usize = 3;
const VALUE: usize = 5;
const GROUP: usize = 7;

fn schema() -> Schema<'static> {
    let column = |name, kind, need, meaning| Column { name, kind, need, meaning };
    Schema {
        name: "inspections",
        columns: vec![
            column("engine", Kind::Name, Need::Every, "the engine's name"),
            column("valve", Kind::Name, Need::Every, "the valve's name on its engine"),
            column("date", Kind::Day, Need::Every, "the date of the reading, YYYY-MM-DD"),
            column("hours", Kind::Number, Need::Every, "running hours on the engine's meter"),
            column("feature", Kind::Name, Need::Every, "what was read, such as contact_offset"),
            column("value", Kind::Number, Need::Every, "the reading"),
            column("event", Kind::Name, Need::Some, "what was done just before the reading"),
            column("group", Kind::Name, Need::Some, "the kind of valve"),
        ],
        others: false,
    }
}

/// Reads inspection records (CSV, Parquet or XLSX).
///
/// # Errors
///
/// [`Error::Input`] with every mistake: cells that are no names, numbers or dates; hours below 0, or falling while dates rise
/// within a segment; two readings of one valve, feature and hour in a segment; a valve in two groups. [`Error::Machine`] where
/// the file could not be read.
pub fn read_inspections(path: &Path, options: &Options) -> Result<Loaded<Inspections>, Error> {
    let source = Source::read(path)?;
    inspections_from(&source, options).map_err(|error| of_the_kind(&source, FileKind::Inspections, error))
}

/// As [`read_inspections`], from bytes at hand.
///
/// # Errors
///
/// As [`read_inspections`].
///
/// # Examples
/// ```
/// use packdrift_records::{Options, Source, inspections_from};
/// let text = "engine,valve,date,hours,feature,value\n\
///             E01,1 intake,2025-03-04,1210,contact_offset,0.98\n\
///             E01,1 intake,2025-09-30,2350,contact_offset,1.03\n";
/// let table = inspections_from(&Source::from_bytes("inspections.csv", text.as_bytes()), &Options::default())?.value;
/// assert_eq!((table.value.len(), table.engines.len()), (2, 1));
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn inspections_from(source: &Source, options: &Options) -> Result<Loaded<Inspections>, Error> {
    let mut table = read_table(source, &schema(), options)?;
    options.check()?;
    let checked = || {
        let inspections = columns(&mut table);
        options.check()?;
        check(&inspections, &table)?;
        Ok::<_, Error>(inspections)
    };
    let (checked, fingerprint) = rayon::join(checked, || source.fingerprint());
    Ok(Loaded { value: checked?, inputs: vec![fingerprint], notices: std::mem::take(&mut table.notices) })
}

fn columns(table: &mut Table) -> Inspections {
    let mut names = |column| table.names(column).unwrap_or_default();
    let (engines, valve_names, features) = (names(0), names(VALVE), names(4));
    let (events, groups) = (names(6), names(GROUP));
    let rows = table.rows;
    let (valves, valve) = valves(&engines, &valve_names);
    let (events, event) = events_of(&events, rows);
    let mut inspections = Inspections {
        engines: engines.names,
        valves,
        features: features.names,
        events,
        groups: groups.names.clone(),
        valve,
        day: table.days(2).unwrap_or_default(),
        hours: table.numbers(HOURS).unwrap_or_default(),
        feature: features.codes,
        value: table.numbers(VALUE).unwrap_or_default(),
        event,
        group: from_one(&groups.codes, rows),
        line: table.line_numbers(),
    };
    if !inspections.groups.is_empty() {
        fill_groups(inspections.valves.len(), &inspections.valve, &mut inspections.group);
    }
    inspections
}

/// Valves in the order of their first rows: engine and name, and one code a row.
fn valves(engines: &Names, names: &Names) -> (Vec<(u32, String)>, Vec<u32>) {
    let mut known: HashMap<(u32, u32), u32> = HashMap::new();
    let mut valves = Vec::new();
    let mut last = ((u32::MAX, u32::MAX), 0);
    let codes = engines.codes.iter().zip(&names.codes).map(|(&engine, &name)| {
        if last.0 == (engine, name) {
            return last.1;
        }
        let code = *known.entry((engine, name)).or_insert_with(|| {
            valves.push((engine, names.names[name as usize].clone()));
            valves.len() as u32 - 1
        });
        last = ((engine, name), code);
        code
    });
    let codes = codes.collect();
    (valves, codes)
}

/// Codes from 1, with 0 for an empty cell or a missing column.
fn from_one(codes: &[u32], rows: usize) -> Vec<u32> {
    if codes.is_empty() {
        return vec![0; rows];
    }
    codes.iter().map(|code| code.wrapping_add(1)).collect()
}

/// Events; `inspect` is as good as none.
fn events_of(events: &Names, rows: usize) -> (Vec<String>, Vec<u32>) {
    let mut kept = Vec::new();
    let translated: Vec<u32> = events
        .names
        .iter()
        .map(|name| {
            if name == "inspect" {
                return 0;
            }
            kept.push(name.clone());
            kept.len() as u32
        })
        .collect();
    let codes = from_one(&events.codes, rows);
    let codes = codes.into_iter().map(|code| if code == 0 { 0 } else { translated[code as usize - 1] }).collect();
    (kept, codes)
}

/// A valve's group holds for all its rows, also for those that do not repeat it.
pub(crate) fn fill_groups(valves: usize, valve: &[u32], groups: &mut [u32]) {
    let mut of_valve = vec![0; valves];
    for (&valve, &group) in valve.iter().zip(groups.iter()) {
        if group != 0 && of_valve[valve as usize] == 0 {
            of_valve[valve as usize] = group;
        }
    }
    for (&valve, group) in valve.iter().zip(groups) {
        if *group == 0 {
            *group = of_valve[valve as usize];
        }
    }
}

/// Mistakes between rows, the first kept, all counted.
#[derive(Default)]
struct Mistakes {
    kept: Vec<Located>,
    total: usize,
}

impl Mistakes {
    fn add(&mut self, mistake: impl FnOnce() -> Located) {
        self.total += 1;
        if self.kept.len() < KEPT_FAULTS {
            self.kept.push(mistake());
        }
    }
}

/// What no single row shows.
fn check(inspections: &Inspections, table: &Table) -> Result<(), Error> {
    let mut mistakes = Mistakes::default();
    for (row, &hours) in inspections.hours.iter().enumerate() {
        if hours < 0.0 {
            mistakes.add(|| Located {
                row,
                column: HOURS,
                kind: FaultKind::OutOfRange,
                found: hours.to_string(),
                expected: "0 or more".to_owned(),
                help: None,
            });
        }
    }
    check_groups(inspections, table, &mut mistakes);
    check_histories(inspections, table, &mut mistakes);
    if mistakes.total > 0 {
        return Err(table.refuse(mistakes.kept, mistakes.total));
    }
    Ok(())
}

fn check_groups(inspections: &Inspections, table: &Table, mistakes: &mut Mistakes) {
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
            mistakes.add(|| Located {
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

/// Rows of each valve and feature, in the order of the file: rows of history k are `rows[starts[k]..starts[k + 1]]`.
struct Histories {
    starts: Vec<u32>,
    rows: Vec<u32>,
}

impl Histories {
    /// A counting sort: linear in rows, and stable.
    fn of(inspections: &Inspections) -> Self {
        let features = inspections.features.len();
        let key = |row: usize| inspections.valve[row] as usize * features + inspections.feature[row] as usize;
        let mut starts = vec![0_u32; inspections.valves.len() * features + 1];
        let rows = inspections.value.len();
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
        Self { starts, rows: sorted }
    }
}

/// Within a segment (from one event to the next) the meter never falls, and each hour has one reading.
///
/// Rows are taken in the order of their dates; on one day by hours, and at one hour the plain reading before the one after an
/// event: the valve was read, worked on, and read again.
fn check_histories(inspections: &Inspections, table: &Table, mistakes: &mut Mistakes) {
    let histories = Histories::of(inspections);
    let mut history: Vec<u32> = Vec::new();
    for window in histories.starts.windows(2) {
        history.clear();
        history.extend_from_slice(&histories.rows[window[0] as usize..window[1] as usize]);
        let order = |row: &u32| {
            let row = *row as usize;
            (inspections.day[row], inspections.hours[row], inspections.event[row] != 0)
        };
        let by_time = |a: &u32, b: &u32| {
            let (a, b) = (order(a), order(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2))
        };
        if !history.is_sorted_by(|a, b| by_time(a, b).is_le()) {
            history.sort_by(by_time);
        }
        for pair in history.windows(2) {
            let (before, row) = (pair[0] as usize, pair[1] as usize);
            let (earlier, later) = (inspections.hours[before], inspections.hours[row]);
            // An event opens a segment of its own, except against another event at the very same hour.
            if inspections.event[row] != 0 && (inspections.event[before] == 0 || later > earlier || later < earlier) {
                continue;
            }
            let whose = || {
                let (engine, valve) = &inspections.valves[inspections.valve[row] as usize];
                let feature = &inspections.features[inspections.feature[row] as usize];
                format!("{feature} of engine `{}`, valve `{valve}`", inspections.engines[*engine as usize])
            };
            if later < earlier {
                mistakes.add(|| Located {
                    row,
                    column: HOURS,
                    kind: FaultKind::FallingHours,
                    found: format!(
                        "{later} h on {}, after {earlier} h in {}",
                        date(inspections.day[row]),
                        table.row_in_words(before)
                    ),
                    expected: "hours that do not fall while dates rise".to_owned(),
                    help: Some(format!(
                        "{}: correct the hours or the date; if the meter or the part was changed, say so under `event`",
                        whose()
                    )),
                });
            } else if later <= earlier {
                // The later line of the file is the one to point at.
                let (first, second) = (before.min(row), before.max(row));
                mistakes.add(|| Located {
                    row: second,
                    column: HOURS,
                    kind: FaultKind::DuplicateReading,
                    found: format!("a second reading at {later} h"),
                    expected: format!("one reading an hour; the other is in {}", table.row_in_words(first)),
                    help: Some(format!("{}: keep one of them, or their mean", whose())),
                });
            }
        }
    }
}

fn date(day: i32) -> String {
    crate::cell::date_of_day(day).map_or_else(|| format!("day {day}"), |date| date.to_string())
}
