//! One column of readings out of a table: the sample that a dimension's distribution is taken from.

use crate::error::{Error, Fault, FaultKind, InputError, Place};
use crate::loaded::Loaded;
use crate::loose::{Heading, Unit};
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Need, Schema, read_table};
use crate::units::{LengthUnit, MILLIMETRES_PER_INCH};
use std::path::Path;

/// Reads the column `column` of a table; what else the table holds is left alone.
///
/// # Errors
///
/// [`Error::Input`] where there is no such column or a cell of it is no number; [`Error::Machine`] where the file could not
/// be read.
pub fn read_sample(path: &Path, column: &str, units: LengthUnit) -> Result<Loaded<Vec<f64>>, Error> {
    sample_from(&Source::read(path)?, column, units)
}

/// As [`read_sample`], from bytes at hand.
///
/// # Errors
///
/// As [`read_sample`].
///
/// # Examples
/// ```
/// use packdrift_records::{LengthUnit, Source, sample_from};
/// let lot = Source::from_bytes("lot.csv", &b"part,reading\na,0.601\nb,0.598\n"[..]);
/// assert_eq!(sample_from(&lot, "reading", LengthUnit::Millimetre)?.value, [0.601, 0.598]);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn sample_from(source: &Source, column: &str, units: LengthUnit) -> Result<Loaded<Vec<f64>>, Error> {
    other_unit(source, column, units)?;
    let readings =
        Column { name: column, kind: Kind::Number, need: Need::Every, meaning: "the column of the readings" };
    let schema = Schema { others: true, ..Schema::new("sample", vec![readings]) }.reading(0, &[]).lengths_in(units);
    let mut table = read_table(source, &schema, &Options::default())?;
    let mut readings = table.numbers(0).unwrap_or_default();
    if units == LengthUnit::Inch {
        for reading in &mut readings {
            // The shortest decimal that reads back to the number is the one that was written.
            *reading = units.millimetres(&reading.to_string()).unwrap_or(*reading * MILLIMETRES_PER_INCH);
        }
    }
    if readings.is_empty() {
        let empty = Located {
            row: 0,
            column: 0,
            kind: FaultKind::EmptyFile,
            found: "no readings".to_owned(),
            expected: "at least one".to_owned(),
            help: None,
        };
        return Err(table.refuse(vec![empty], 1));
    }
    Ok(Loaded { value: readings, inputs: vec![source.fingerprint()], notices: table.notices })
}

/// Refuses a column whose name says another unit of length than the pack's. A load's says none of these.
fn other_unit(source: &Source, column: &str, units: LengthUnit) -> Result<(), Error> {
    let wanted = if units == LengthUnit::Inch { Unit::Inch } else { Unit::Millimetre };
    let Some(said) = Heading::of(column).said_length().filter(|(unit, _)| *unit != Some(wanted)) else { return Ok(()) };
    let found = format!("`{column}`, a column in {}", said.1);
    let expected = format!("readings in {}, the unit of the pack", wanted.name());
    let fault = Fault::new(FaultKind::Contradiction, source.path().clone(), Place::File, found, expected);
    let help = "convert the column, and write the unit that it is in then; or write the pack in that unit";
    Err(InputError::of(vec![fault.with_key(column).with_help(help)]).into())
}
