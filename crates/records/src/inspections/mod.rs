//! Inspection records: one row a reading, for trends and due dates.
//!
//! In the order in which they are read: cells become columns (here), hours go on over changed meters ([`meter`]), what cannot be is refused
//! ([`visits`] for an engine as a whole, [`histories`] for a valve's rows), and what is merely unlikely is named and carried along
//! ([`unlikely`], [`alike`]). Where cells are refused, the other rows are looked at all the same ([`sense`]).

mod alike;
mod histories;
mod meter;
mod sense;
mod unlikely;
mod visits;

use crate::check::{FileKind, of_the_kind};
use crate::error::{Error, FaultKind, Notice, Place};
use crate::kept::Kept;
use crate::limits::{FEATURES, exceeded};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Table, Values, Wide, WideNames, read_table};
use crate::units::LengthUnit;
use hashbrown::HashMap;
use packdrift_trend::Inspections;
use std::path::Path;

const VALVE: usize = 1;
const DATE: usize = 2;
const HOURS: usize = 3;
const FEATURE: usize = 4;
const VALUE: usize = 5;
const EVENT: usize = 6;
const GROUP: usize = 7;
const OLD_METER: usize = 8;
const NEW_METER: usize = 9;
const CONFIRMED: usize = 10;

/// The columns.
pub(crate) const COLUMNS: [&str; 11] =
    ["engine", "valve", "date", "hours", "feature", "value", "event", "group", "old_meter", "new_meter", "confirmed"];

/// A column a feature.
const WIDE: [Wide; 1] = [Wide { name: Some(FEATURE), value: VALUE, names: WideNames::Words, what: "features" }];

pub(crate) fn schema(units: LengthUnit) -> Schema<'static> {
    let column = |place: usize, kind, need, meaning| Column { name: COLUMNS[place], kind, need, meaning };
    Schema::new(
        "inspections",
        vec![
            column(0, Kind::Name, Need::Every, "the engine's name"),
            column(VALVE, Kind::Name, Need::Every, "the valve's name on its engine"),
            column(DATE, Kind::Day, Need::Every, "the date of the reading, YYYY-MM-DD"),
            column(HOURS, Kind::Number, Need::Every, "running hours on the engine's meter"),
            column(FEATURE, Kind::Name, Need::Every, "what was read, such as contact_offset"),
            column(VALUE, Kind::Number, Need::Every, "the reading"),
            column(EVENT, Kind::Name, Need::Some, "what was done just before the reading"),
            column(GROUP, Kind::Name, Need::Some, "the kind of valve"),
            column(OLD_METER, Kind::Number, Need::Some, "what the old hour meter showed when it was taken out"),
            column(NEW_METER, Kind::Number, Need::Some, "what the new hour meter showed when it was fitted"),
            column(CONFIRMED, Kind::Name, Need::Some, "`yes` where an unlikely reading was looked at and stands"),
        ],
    )
    .reading(VALUE, &WIDE)
    .lengths_in(units)
}

/// Reads inspection records (CSV, Parquet or XLSX). Lengths stay in the unit that [`Options::lengths`] says.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: cells that are no names, numbers or dates; hours below 0; an engine whose hours fall, or rise by more
/// than 24 a day, without a `meter` event; days after [`Options::today`] or years from all others; a row that repeats another to the
/// letter; a valve in two groups. [`Error::Machine`] where the file could not be read.
pub fn read_inspections(path: &Path, options: &Options) -> Result<Loaded<Inspections>, Error> {
    let source = Source::read(path)?;
    inspections_from(&source, options).map_err(|error| of_the_kind(&source, FileKind::Inspections, options, error))
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
/// let text = "engine,valve,date,hours,feature,value,event\n\
///             E01,1 intake,2025-03-04,1210,contact_offset,0.98,\n\
///             E01,1 intake,2025-09-30,2350,contact_offset,1.03,\n\
///             E01,1 intake,2025-09-30,0,contact_offset,1.04,meter\n";
/// let table = inspections_from(&Source::from_bytes("inspections.csv", text.as_bytes()), &Options::default())?.value;
/// // The same visit, read before and after a new hour meter went in: hours go on, counted by the new one.
/// assert_eq!(table.hours, [-1140.0, 0.0, 0.0]);
/// assert_eq!(table.read_hours, [1210.0, 2350.0, 0.0]);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn inspections_from(source: &Source, options: &Options) -> Result<Loaded<Inspections>, Error> {
    let mut table = match read_table(source, &schema(options.lengths.unwrap_or_default()), options) {
        Err(Error::Input(refused)) => return Err(sense::beside(refused, source, options).into()),
        read => read?,
    };
    options.check()?;
    let checked = || {
        let mut rows = Rows::of(&mut table);
        options.check()?;
        let features = rows.table.features.len();
        if features > FEATURES {
            let found = format!("{features} features");
            return Err(exceeded(source.path(), Place::File, found, format!("at most {FEATURES}")).into());
        }
        let notices = check(&mut rows, &table, options)?;
        // What somebody has looked at is never taken for a slip.
        rows.table.confirmed = std::mem::take(&mut rows.confirmed);
        Ok::<_, Error>((rows.table, notices))
    };
    let (checked, fingerprint) = rayon::join(checked, || source.fingerprint());
    let (inspections, further) = checked?;
    let mut notices = std::mem::take(&mut table.notices);
    notices.extend(further);
    Ok(Loaded { value: inspections, inputs: vec![fingerprint], notices })
}

/// The table's columns, and those that serve the checks alone.
struct Rows {
    table: Inspections,
    /// By row: the first on a new hour meter. Empty for none.
    changed: Vec<bool>,
    /// By row; empty for none.
    old_meter: Vec<Option<f64>>,
    new_meter: Vec<Option<f64>>,
    /// By row: somebody looked at it. Empty for none.
    confirmed: Vec<bool>,
    /// Words under `confirmed` that are neither yes nor no, with their rows.
    unclear: Vec<(usize, String)>,
    /// Words under `event` that may be no event, or a known one written otherwise, with their rows and what to do.
    unclear_events: Vec<(usize, String, String)>,
}

impl Rows {
    fn of(table: &mut Table) -> Self {
        let mut names = |column| table.names(column).unwrap_or_default();
        let (engines, valve_names, features) = (names(0), names(VALVE), names(4));
        let (events, groups, confirmed) = (names(EVENT), names(GROUP), names(CONFIRMED));
        let rows = table.rows;
        let (valves, valve) = valves(&engines, &valve_names);
        let unclear_events = unclear_events(&events);
        let Events { names: events, codes: event, changed } = Events::of(&events, rows);
        let mut inspections = Inspections {
            engines: engines.names,
            valves,
            features: features.names,
            events,
            groups: groups.names.clone(),
            valve,
            day: table.days(DATE).unwrap_or_default(),
            hours: table.numbers(HOURS).unwrap_or_default(),
            feature: features.codes,
            value: table.numbers(VALUE).unwrap_or_default(),
            event,
            group: from_one(&groups.codes, rows),
            line: table.line_numbers(),
            ..Inspections::default()
        };
        if !inspections.groups.is_empty() {
            fill_groups(inspections.valves.len(), &inspections.valve, &mut inspections.group);
        }
        let mut meter = |column: usize| match table.columns[column].take() {
            Some(Values::SomeNumbers(cells)) => cells,
            _ => Vec::new(),
        };
        let (old_meter, new_meter) = (meter(OLD_METER), meter(NEW_METER));
        let (confirmed, unclear) = confirmed_of(&confirmed);
        Self { table: inspections, changed, old_meter, new_meter, confirmed, unclear, unclear_events }
    }

    fn engine_of(&self, row: usize) -> u32 {
        self.table.valves[self.table.valve[row] as usize].0
    }

    fn engine_name(&self, row: usize) -> &str {
        &self.table.engines[self.engine_of(row) as usize]
    }

    /// `contact_offset of engine `E01`, valve `1 intake``
    fn whose(&self, row: usize) -> String {
        let (_, valve) = &self.table.valves[self.table.valve[row] as usize];
        let feature = &self.table.features[self.table.feature[row] as usize];
        format!("{feature} of engine `{}`, valve `{valve}`", self.engine_name(row))
    }

    fn is_confirmed(&self, row: usize) -> bool {
        self.confirmed.get(row).copied().unwrap_or(false)
    }
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

/// Events of the rows; `inspect` is as good as none, and a `meter` is told apart, alone or beside another (`reshim+meter`).
struct Events {
    names: Vec<String>,
    codes: Vec<u32>,
    changed: Vec<bool>,
}

impl Events {
    fn of(events: &Names, rows: usize) -> Self {
        let mut names: Vec<String> = Vec::new();
        let mut code_of = |name: &str| {
            if matches!(name, "" | "inspect") {
                return 0;
            }
            let known = names.iter().position(|known| known == name);
            known.unwrap_or_else(|| {
                names.push(name.to_owned());
                names.len() - 1
            }) as u32
                + 1
        };
        let translated: Vec<(u32, bool)> = events
            .names
            .iter()
            .map(|name| {
                let mut parts: Vec<&str> = name.split('+').map(str::trim).collect();
                let all = parts.len();
                parts.retain(|part| *part != METER);
                if parts.len() == all { (code_of(name), false) } else { (code_of(&parts.join("+")), true) }
            })
            .collect();
        let codes = from_one(&events.codes, rows);
        let of = |code: &u32| if *code == 0 { (0, false) } else { translated[*code as usize - 1] };
        let changed = if translated.iter().any(|(_, meter)| *meter) {
            codes.iter().map(|code| of(code).1).collect()
        } else {
            Vec::new()
        };
        Self { codes: codes.iter().map(|code| of(code).0).collect(), names, changed }
    }
}

/// The event of the first reading on a new hour meter.
const METER: &str = "meter";

/// Words under `event` that would begin a new segment and may not be meant to: signs for nothing, signs that do not say what was done (a column of
/// truth values has both), and known events written otherwise, which would be events of their own.
fn unclear_events(events: &Names) -> Vec<(usize, String, String)> {
    const KNOWN: [&str; 4] = ["reshim", "replace", "inspect", METER];
    const NOTHING: [&str; 13] = ["-", "--", "–", "—", "n/a", "na", "none", "no", "nil", "ok", "false", "0", "null"];
    const SOMETHING: [&str; 5] = ["true", "yes", "1", "x", "✓"];
    let unclear = |part: &str| {
        if NOTHING.iter().any(|word| part.eq_ignore_ascii_case(word)) {
            return Some("leave it empty where nothing was done".to_owned());
        }
        if SOMETHING.iter().any(|word| part.eq_ignore_ascii_case(word)) {
            return Some(
                "say what was done: after `reshim` the parts are the same, after `replace` they are new".to_owned(),
            );
        }
        let letters: String =
            part.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        let stem = letters.strip_suffix("med").or(letters.strip_suffix("ed")).unwrap_or(&letters);
        let meant = KNOWN.iter().find(|known| **known != part && (**known == letters || **known == stem));
        meant.map(|known| format!("did you mean `{known}`?"))
    };
    let by_name: Vec<Option<String>> =
        events.names.iter().map(|name| name.split('+').find_map(|part| unclear(part.trim()))).collect();
    if by_name.iter().all(Option::is_none) {
        return Vec::new();
    }
    let rows = events.codes.iter().enumerate().filter(|(_, code)| **code != Names::EMPTY);
    rows.filter_map(|(row, &code)| {
        let help = by_name[code as usize].clone()?;
        Some((row, events.names[code as usize].clone(), help))
    })
    .collect()
}

/// Whether each row is confirmed; and the words that are neither yes nor no.
fn confirmed_of(words: &Names) -> (Vec<bool>, Vec<(usize, String)>) {
    let said: Vec<Option<bool>> = words
        .names
        .iter()
        .map(|word| match word.to_lowercase().as_str() {
            "yes" | "true" => Some(true),
            "no" | "false" => Some(false),
            _ => None,
        })
        .collect();
    let of = |code: &u32| if *code == Names::EMPTY { Some(false) } else { said[*code as usize] };
    let unclear = words
        .codes
        .iter()
        .enumerate()
        .filter(|(_, code)| of(code).is_none())
        .map(|(row, code)| (row, words.names[*code as usize].clone()))
        .collect();
    if !said.contains(&Some(true)) {
        return (Vec::new(), unclear);
    }
    (words.codes.iter().map(|code| of(code).unwrap_or(false)).collect(), unclear)
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

/// What no single cell shows: mistakes refuse the table, doubts are written into it.
fn check(rows: &mut Rows, table: &Table, options: &Options) -> Result<Vec<Notice>, Error> {
    let mut mistakes = Kept::default();
    check_cells(rows, &mut mistakes);
    let mut notices = meter::go_on(rows, table, &mut mistakes);
    visits::check_days(rows, options, &mut mistakes);
    // A date that cannot be makes hours that cannot be: told once.
    let far = if mistakes.is_empty() { visits::check(rows, table, &mut mistakes) } else { Vec::new() };
    let histories = histories::Histories::of(&rows.table);
    notices.extend(histories::check(rows, &histories, table, &mut mistakes));
    table.conclude(mistakes)?;
    options.check()?;
    let mut doubts = alike::doubts(rows);
    doubts.extend(unlikely::values(rows, &histories));
    doubts.extend(unlikely::far_visits(rows, &far));
    doubts.retain(|doubt| !rows.is_confirmed(doubt.row as usize));
    doubts.sort_by_key(|doubt| doubt.row);
    notices.extend(unlikely::notices(rows, &doubts, table));
    notices.extend(alike::events(rows, table));
    rows.table.doubts = doubts;
    rows.table.doubts.sort_by_key(|doubt| doubt.row);
    Ok(notices)
}

fn check_cells(rows: &Rows, mistakes: &mut Kept<Located>) {
    for (row, &hours) in rows.table.hours.iter().enumerate() {
        if hours < 0.0 {
            mistakes.add(FaultKind::OutOfRange, HOURS, || Located {
                row,
                column: HOURS,
                kind: FaultKind::OutOfRange,
                found: hours.to_string(),
                expected: "0 or more".to_owned(),
                help: None,
            });
        }
    }
    for (row, word, help) in &rows.unclear_events {
        mistakes.add(FaultKind::UnknownName, EVENT, || Located {
            row: *row,
            column: EVENT,
            kind: FaultKind::UnknownName,
            found: format!("\"{word}\""),
            expected: "an event: `reshim`, `replace`, `inspect`, `meter`, or a word of your own for other work"
                .to_owned(),
            help: Some(help.clone()),
        });
    }
    for (row, word) in &rows.unclear {
        mistakes.add(FaultKind::UnknownName, CONFIRMED, || Located {
            row: *row,
            column: CONFIRMED,
            kind: FaultKind::UnknownName,
            found: format!("\"{word}\""),
            expected: "`yes` where an unlikely reading was looked at and stands, else nothing or `no`".to_owned(),
            help: None,
        });
    }
}

fn date(day: i32) -> String {
    crate::cell::date_of_day(day).map_or_else(|| format!("day {day}"), |date| date.to_string())
}
