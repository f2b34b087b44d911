//! The table of sums: one row per segment of a valve, made by any engine that sums by groups, in place of the readings.

use crate::error::{Error, FaultKind};
use crate::inspections::fill_groups;
use crate::kept::Kept;
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Table, read_table};
use hashbrown::HashMap;
use packdrift_trend::Sums;
use std::path::Path;

/// The columns, in the order of the query that makes them ([`packdrift_trend::sums_sql`]).
pub(crate) const COLUMNS: [&str; 13] = [
    "engine",
    "valve",
    "feature",
    "group",
    "segment",
    "start_hours",
    "last_hours",
    "readings",
    "mean_hours",
    "mean_value",
    "hours_squares",
    "products",
    "value_squares",
];

const GROUP: usize = 3;
const SEGMENT: usize = 4;
const START: usize = 5;
const LAST: usize = 6;
const READINGS: usize = 7;
const MEAN_HOURS: usize = 8;
const MEAN_VALUE: usize = 9;
const HOURS_SQUARES: usize = 10;
const PRODUCTS: usize = 11;
const VALUE_SQUARES: usize = 12;

pub(crate) fn schema() -> Schema<'static> {
    let column = |place: usize, kind, need, meaning| Column { name: COLUMNS[place], kind, need, meaning };
    Schema::new(
        "sums",
        vec![
            column(0, Kind::Name, Need::Every, "the engine's name"),
            column(1, Kind::Name, Need::Every, "the valve's name on its engine"),
            column(2, Kind::Name, Need::Every, "what was read, such as contact_offset"),
            column(GROUP, Kind::Name, Need::Some, "the kind of valve"),
            column(SEGMENT, Kind::Count, Need::Every, "the segment of this valve and feature, from 1"),
            column(START, Kind::Number, Need::Every, "running hours at the segment's first reading"),
            column(LAST, Kind::Number, Need::Every, "running hours at its last reading"),
            column(READINGS, Kind::Count, Need::Every, "its readings"),
            column(MEAN_HOURS, Kind::Number, Need::Every, "mean of its hours since start_hours"),
            column(MEAN_VALUE, Kind::Number, Need::Every, "its mean reading"),
            column(HOURS_SQUARES, Kind::Number, Need::Every, "sum of squares of the hours about their mean"),
            column(PRODUCTS, Kind::Number, Need::Every, "sum of products of hours and readings about their means"),
            column(VALUE_SQUARES, Kind::Number, Need::Every, "sum of squares of the readings about their mean"),
        ],
    )
}

/// Reads a table of sums (Parquet, CSV or XLSX), whose rows may stand in any order: names are sorted, so that the same rows in another
/// order, as parallel engines leave them, give the same value.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: cells that are no names, counts or numbers, sums that no readings can have, two rows of one
/// segment, a valve in two groups. [`Error::Machine`] where the file could not be read.
pub fn read_sums(path: &Path, options: &Options) -> Result<Loaded<Sums>, Error> {
    sums_from(&Source::read(path)?, options)
}

/// As [`read_sums`], from bytes at hand.
///
/// # Errors
///
/// As [`read_sums`].
pub fn sums_from(source: &Source, options: &Options) -> Result<Loaded<Sums>, Error> {
    let mut table = read_table(source, &schema(), options)?;
    let mut sums = columns(&mut table);
    options.check()?;
    let mut mistakes = Mistakes::default();
    check_rows(&sums, &mut mistakes);
    check_segments(&sums, &table, &mut mistakes);
    check_groups(&sums, &table, &mut mistakes);
    table.conclude(mistakes)?;
    fill_groups(sums.valves.len(), &sums.valve, &mut sums.group);
    Ok(Loaded { value: sums, inputs: vec![source.fingerprint()], notices: std::mem::take(&mut table.notices) })
}

/// Names sorted, and the rows' codes into them.
fn sorted(names: Names) -> (Vec<String>, Vec<u32>) {
    let mut order: Vec<u32> = (0..names.names.len() as u32).collect();
    order.sort_by(|a, b| names.names[*a as usize].cmp(&names.names[*b as usize]));
    let mut rank = vec![0; order.len()];
    for (place, &code) in order.iter().enumerate() {
        rank[code as usize] = place as u32;
    }
    let codes = names.codes.iter().map(|&code| if code == Names::EMPTY { Names::EMPTY } else { rank[code as usize] });
    let codes = codes.collect();
    (order.iter().map(|code| names.names[*code as usize].clone()).collect(), codes)
}

fn columns(table: &mut Table) -> Sums {
    let rows = table.rows;
    let mut names = |column| sorted(table.names(column).unwrap_or_default());
    let (engines, engine) = names(0);
    let (valve_names, name) = names(1);
    let (features, feature) = names(2);
    let (groups, group) = names(GROUP);
    let mut pairs: Vec<(u32, u32)> = engine.iter().copied().zip(name.iter().copied()).collect();
    pairs.sort_unstable();
    pairs.dedup();
    let place: HashMap<(u32, u32), u32> = pairs.iter().enumerate().map(|(place, pair)| (*pair, place as u32)).collect();
    let valve = engine.iter().zip(&name).map(|(&engine, &name)| place[&(engine, name)]).collect();
    let valves = pairs.iter().map(|&(engine, name)| (engine, valve_names[name as usize].clone())).collect();
    // An empty cell is u32::MAX and becomes 0, which is no group.
    let group = if group.is_empty() { vec![0; rows] } else { group.iter().map(|code| code.wrapping_add(1)).collect() };
    let mut counts = |column| -> Vec<u32> {
        table.counts(column).unwrap_or_default().into_iter().map(Option::unwrap_or_default).collect()
    };
    let (segment, readings) = (counts(SEGMENT), counts(READINGS));
    let mut numbers = |column| table.numbers(column).unwrap_or_default();
    Sums {
        engines,
        valves,
        features,
        groups,
        valve,
        feature,
        group,
        segment,
        readings,
        start_hours: numbers(START),
        last_hours: numbers(LAST),
        mean_hours: numbers(MEAN_HOURS),
        mean_value: numbers(MEAN_VALUE),
        hours_squares: numbers(HOURS_SQUARES),
        products: numbers(PRODUCTS),
        value_squares: numbers(VALUE_SQUARES),
    }
}

/// Mistakes between cells.
type Mistakes = Kept<Located>;

fn add(mistakes: &mut Mistakes, row: usize, column: usize, kind: FaultKind, found: String, expected: String) {
    mistakes.add(kind, column, || Located { row, column, kind, found, expected, help: None });
}

/// What the sums of any readings fulfil. The same conditions hold [`Sums`] in `packdrift-trend`; here they have places in the file.
fn check_rows(sums: &Sums, mistakes: &mut Mistakes) {
    for row in 0..sums.valve.len() {
        let (start, last) = (sums.start_hours[row], sums.last_hours[row]);
        let (tt, ty, yy) = (sums.hours_squares[row], sums.products[row], sums.value_squares[row]);
        let length = last - start;
        let mean = sums.mean_hours[row];
        let checks: [(usize, bool, f64, &str); 8] = [
            (SEGMENT, sums.segment[row] >= 1, f64::from(sums.segment[row]), "a segment's number, from 1"),
            (START, start >= 0.0, start, "hours, 0 or more"),
            (LAST, length >= 0.0, last, "no less than start_hours"),
            (READINGS, sums.readings[row] >= 1, f64::from(sums.readings[row]), "at least one reading"),
            // Sums in another order differ by their rounding.
            (
                MEAN_HOURS,
                mean >= 0.0 && (length < 0.0 || mean <= length * (1.0 + 1e-12)),
                mean,
                "hours since start_hours, at most last_hours - start_hours",
            ),
            (HOURS_SQUARES, tt >= 0.0, tt, "a sum of squares, 0 or more"),
            (VALUE_SQUARES, yy >= 0.0, yy, "a sum of squares, 0 or more"),
            // Cauchy and Schwarz.
            (
                PRODUCTS,
                tt < 0.0 || yy < 0.0 || ty * ty <= tt * yy * (1.0 + 1e-6) + 1e-300,
                ty,
                "at most the root of hours_squares times value_squares",
            ),
        ];
        for (column, right, found, expected) in checks {
            if !right {
                add(mistakes, row, column, FaultKind::OutOfRange, found.to_string(), expected.to_owned());
            }
        }
    }
}

fn check_segments(sums: &Sums, table: &Table, mistakes: &mut Mistakes) {
    let mut first: HashMap<(u32, u32, u32), usize> = HashMap::with_capacity(sums.valve.len());
    for row in 0..sums.valve.len() {
        let key = (sums.valve[row], sums.feature[row], sums.segment[row]);
        if let Some(&before) = first.get(&key) {
            let expected =
                format!("one row a segment, over all its readings; the other is {}", table.row_in_words(before));
            let found = format!("a second row of segment {}", sums.segment[row]);
            add(mistakes, row, SEGMENT, FaultKind::DuplicateReading, found, expected);
        } else {
            first.insert(key, row);
        }
    }
}

fn check_groups(sums: &Sums, table: &Table, mistakes: &mut Mistakes) {
    let mut first: Vec<Option<usize>> = vec![None; sums.valves.len()];
    for (row, (&valve, &group)) in sums.valve.iter().zip(&sums.group).enumerate() {
        if group == 0 {
            continue;
        }
        let before = *first[valve as usize].get_or_insert(row);
        if sums.group[before] != group {
            let name = |group: u32| &sums.groups[group as usize - 1];
            let found = format!("group \"{}\"", name(group));
            let expected =
                format!("\"{}\", the group of this valve in {}", name(sums.group[before]), table.row_in_words(before));
            add(mistakes, row, GROUP, FaultKind::Contradiction, found, expected);
        }
    }
}
