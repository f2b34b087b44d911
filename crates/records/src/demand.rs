//! What will be asked of the drawer: a forecast of corrections, one row a valve or a kind of job.

use crate::error::{Error, FaultKind};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Values, read_table};
use packdrift_stock::{Corrections, Demand, Stream};
use std::path::Path;

/// The columns.
pub(crate) const COLUMNS: [&str; 6] = ["name", "rate_per_day", "correction", "sd", "squeeze", "squeeze_sd"];

const RATE: usize = 1;

fn schema() -> Schema<'static> {
    let column = |place: usize, kind, need, meaning| Column { name: COLUMNS[place], kind, need, meaning };
    Schema {
        name: "demand",
        columns: vec![
            column(0, Kind::Name, Need::Some, "the valve or the kind of job"),
            column(RATE, Kind::Number, Need::Every, "jobs a day"),
            column(2, Kind::Number, Need::Every, "how far the rocker has to move, mm"),
            column(3, Kind::Number, Need::Some, "how sure that is, mm"),
            column(4, Kind::Number, Need::Some, "how much the sum of the pieces has to grow, mm"),
            column(5, Kind::Number, Need::Some, "how sure that is, mm"),
        ],
        others: false,
    }
}

/// Reads a demand (CSV, Parquet or XLSX): columns `rate_per_day`, `correction`, and `name`, `sd`, `squeeze`, `squeeze_sd` where there are any.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: negative rates or deviations, corrections beyond 20 mm. [`Error::Machine`] where the file could
/// not be read.
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
    let rates = table.numbers(RATE).unwrap_or_default();
    let correction = table.numbers(2).unwrap_or_default();
    let mut some = |column: usize| match table.columns[column].take() {
        Some(Values::SomeNumbers(numbers)) => numbers,
        _ => Vec::new(),
    };
    let (sd, squeeze, squeeze_sd) = (some(3), some(4), some(5));
    let at = |numbers: &[Option<f64>], row: usize| numbers.get(row).copied().flatten().unwrap_or(0.0);
    let mut mistakes = Vec::new();
    let mut demand = Demand::default();
    for row in 0..table.rows {
        let values = [
            (RATE, rates[row], 0.0, 1e6, "jobs a day, 0 or more"),
            (2, correction[row], -20.0, 20.0, "a correction between -20 and 20 mm"),
            (3, at(&sd, row), 0.0, 20.0, "a standard deviation between 0 and 20 mm"),
            (4, at(&squeeze, row), -20.0, 20.0, "a growth between -20 and 20 mm"),
            (5, at(&squeeze_sd, row), 0.0, 20.0, "a standard deviation between 0 and 20 mm"),
        ];
        for (column, value, lower, upper, expected) in values {
            if !(lower..=upper).contains(&value) {
                mistakes.push(Located {
                    row,
                    column,
                    kind: FaultKind::OutOfRange,
                    found: value.to_string(),
                    expected: expected.to_owned(),
                    help: None,
                });
            }
        }
        let name = names.as_ref().filter(|names| names.codes[row] != Names::EMPTY);
        demand.streams.push(Stream {
            name: name.map_or_else(|| table.row_in_words(row), |names| names.names[names.codes[row] as usize].clone()),
            rate_per_day: rates[row],
            correction: Corrections::Normal { mean: correction[row], sd: at(&sd, row) },
            squeeze: Corrections::Normal { mean: at(&squeeze, row), sd: at(&squeeze_sd, row) },
            worn_faces: 0.0,
        });
    }
    if !mistakes.is_empty() {
        let total = mistakes.len();
        return Err(table.refuse(mistakes, total));
    }
    Ok(Loaded { value: demand, inputs: vec![source.fingerprint()], notices: std::mem::take(&mut table.notices) })
}
