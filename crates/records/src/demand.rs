//! What will be asked of the drawer: a forecast of corrections, one row a valve, a kind of job, or a size of the order that `due` leaves.

use crate::error::{Error, FaultKind, Notice};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Values, read_table};
use crate::units::LengthUnit;
use packdrift_stock::{Corrections, Demand, Stream};
use std::path::Path;

/// The columns.
pub(crate) const COLUMNS: [&str; 12] = [
    "name",
    "rate_per_day",
    "correction",
    "sd",
    "squeeze",
    "squeeze_sd",
    "part",
    "at_once",
    "in_windows",
    "without_a_place",
    "beyond_the_plan",
    "total",
];

const RATE: usize = 1;
const CORRECTION: usize = 2;
const PART: usize = 6;

/// A part that no shim stands for: its row asks nothing of the drawer.
const NEW_PART: &str = "new part";

pub(crate) fn schema() -> Schema<'static> {
    let column = |place: usize, kind, need, meaning| Column { name: COLUMNS[place], kind, need, meaning };
    Schema::new(
        "demand",
        vec![
            column(0, Kind::Name, Need::Some, "the valve or the kind of job"),
            column(RATE, Kind::Number, Need::Every, "jobs a day"),
            column(CORRECTION, Kind::Number, Need::Some, "how far the rocker has to move, mm"),
            column(3, Kind::Number, Need::Some, "how sure that is, mm"),
            column(4, Kind::Number, Need::Some, "how much the sum of the pieces has to grow, mm"),
            column(5, Kind::Number, Need::Some, "how sure that is, mm"),
            column(PART, Kind::Name, Need::Some, "shims, or new part"),
            column(7, Kind::Number, Need::Some, "expected number, at once"),
            column(8, Kind::Number, Need::Some, "expected number, in windows"),
            column(9, Kind::Number, Need::Some, "expected number, without a place"),
            column(10, Kind::Number, Need::Some, "expected number, beyond the plan"),
            column(11, Kind::Number, Need::Some, "expected number, all together"),
        ],
    )
    .lengths_in(LengthUnit::Millimetre)
}

/// Reads a demand (CSV, Parquet or XLSX): columns `rate_per_day`, `correction`, and `name`, `sd`, `squeeze`, `squeeze_sd` where there are any.
/// The order of parts that `due` leaves is one: its rows of `part` "new part" have no correction, ask nothing of the drawer, and are
/// counted in a notice; its expected numbers are not needed, the rates stand for them.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: negative rates or deviations, corrections beyond 20 mm, a correction missing, or given for a new
/// part. [`Error::Machine`] where the file could not be read.
pub fn read_demand(path: &Path, options: &Options) -> Result<Loaded<Demand>, Error> {
    demand_from(&Source::read(path)?, options)
}

/// As [`read_demand`], from bytes at hand.
///
/// # Errors
///
/// As [`read_demand`].
pub fn demand_from(source: &Source, options: &Options) -> Result<Loaded<Demand>, Error> {
    let mut table = read_table(source, &schema(), options)?;
    let names = table.names(0);
    let part = table.names(PART);
    let rates = table.numbers(RATE).unwrap_or_default();
    let mut some = |column: usize| match table.columns[column].take() {
        Some(Values::SomeNumbers(numbers)) => numbers,
        _ => Vec::new(),
    };
    let (correction, sd, squeeze, squeeze_sd) = (some(CORRECTION), some(3), some(4), some(5));
    let given = |numbers: &[Option<f64>], row: usize| numbers.get(row).copied().flatten();
    let at = |numbers: &[Option<f64>], row: usize| given(numbers, row).unwrap_or(0.0);
    let is_new_part =
        |row: usize| part.as_ref().is_some_and(|p| p.names.get(p.codes[row] as usize).is_some_and(|n| n == NEW_PART));
    let mut mistakes = Vec::new();
    let mut demand = Demand::default();
    let mut new_parts = 0;
    for row in 0..table.rows {
        let values = [
            (RATE, rates[row], 0.0, 1e6, "jobs a day, 0 or more"),
            (CORRECTION, at(&correction, row), -20.0, 20.0, "a correction between -20 and 20 mm"),
            (3, at(&sd, row), 0.0, 20.0, "a standard deviation between 0 and 20 mm"),
            (4, at(&squeeze, row), -20.0, 20.0, "a growth between -20 and 20 mm"),
            (5, at(&squeeze_sd, row), 0.0, 20.0, "a standard deviation between 0 and 20 mm"),
        ];
        let mut mistake = |column: usize, found: String, expected: &str, kind: FaultKind| {
            mistakes.push(Located { row, column, kind, found, expected: expected.to_owned(), help: None });
        };
        for (column, value, lower, upper, expected) in values {
            if !(lower..=upper).contains(&value) {
                mistake(column, value.to_string(), expected, FaultKind::OutOfRange);
            }
        }
        match (given(&correction, row), is_new_part(row)) {
            (None, true) => {
                new_parts += 1;
                continue;
            }
            (Some(correction), true) => {
                mistake(
                    CORRECTION,
                    correction.to_string(),
                    "no correction: no shim stands for a new part",
                    FaultKind::Contradiction,
                );
            }
            (None, false) => {
                mistake(
                    CORRECTION,
                    "an empty cell".to_owned(),
                    "how far the rocker has to move, mm",
                    FaultKind::EmptyCell,
                );
            }
            (Some(_), false) => {}
        }
        let name = names.as_ref().filter(|names| names.codes[row] != Names::EMPTY);
        demand.streams.push(Stream {
            name: name.map_or_else(|| table.row_in_words(row), |names| names.names[names.codes[row] as usize].clone()),
            rate_per_day: rates[row],
            correction: Corrections::Normal { mean: at(&correction, row), sd: at(&sd, row) },
            squeeze: Corrections::Normal { mean: at(&squeeze, row), sd: at(&squeeze_sd, row) },
            worn_faces: 0.0,
        });
    }
    if !mistakes.is_empty() {
        let total = mistakes.len();
        return Err(table.refuse(mistakes, total));
    }
    let mut notices = std::mem::take(&mut table.notices);
    if new_parts > 0 {
        let rows = if new_parts == 1 { "1 row orders".to_owned() } else { format!("{new_parts} rows order") };
        let text = format!("{rows} new parts, which take no shims: they ask nothing of the drawer");
        notices.push(Notice::new(source.path(), text));
    }
    Ok(Loaded { value: demand, inputs: vec![source.fingerprint()], notices })
}
