//! Parquet by polars, some row groups at a time, so that memory holds the finished columns and little else.
//!
//! A Parquet file has types and no lines: numbers must be numbers, dates dates (or ISO text, or timestamps at midnight), and
//! names text (or whole numbers). NaN and null are told apart from values as in every other format; places are rows from 1.

use super::header;
use super::rows::{Cell, Filling, Lines, Located, expected_of, push_cell};
use super::{Column, Kind, Schema, Table, Values};
use crate::error::{Error, Fault, FaultKind, InputError, Place};
use crate::guard::{guarded, is_survived};
use crate::kept::Kept;
use crate::limits::{PARQUET_ROWS, ROWS, exceeded};
use crate::loose::Raw;
use crate::options::Options;
use crate::source::Source;
use polars::prelude::{DataFrame, DataType, ParquetReader, SerReader, Series};
use rayon::prelude::{IndexedParallelIterator, IntoParallelRefIterator, ParallelIterator};
use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

/// Rows to hold as polars columns at a time, at least; whole row groups are read.
const BATCH: usize = 500_000;

/// Bytes of files that are tried in a process of their own first, where the program does so.
const TRIED: usize = 64 << 20;

/// Decodes every row of a Parquet file and keeps none: for a process that may not live through it (see
/// [`try_parquet_first`](crate::try_parquet_first)).
///
/// # Errors
///
/// Whatever is wrong with the file as a whole.
pub fn decode_parquet(path: &Path) -> Result<(), Error> {
    let source = Source::read(path)?;
    let Footer { groups, .. } = footer(&source)?;
    let mut first = 0;
    for rows in batches(&groups) {
        step(&source, || reader(&source).with_slice(Some((first, rows))).set_low_memory(true).finish())?;
        first += rows;
    }
    Ok(())
}

type Reader = ParquetReader<Cursor<Arc<[u8]>>>;

fn reader(source: &Source) -> Reader {
    ParquetReader::new(Cursor::new(source.bytes().clone()))
}

fn refused(fault: Fault) -> Error {
    InputError::of(vec![fault]).into()
}

fn unreadable(source: &Source, why: &str) -> Error {
    let found =
        if why.is_empty() { "a damaged Parquet file".to_owned() } else { format!("a damaged Parquet file ({why})") };
    refused(Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, "a whole Parquet file"))
}

/// Runs a step of polars; its refusals and its panics are both the file's fault.
fn step<T>(source: &Source, read: impl FnOnce() -> polars::prelude::PolarsResult<T>) -> Result<T, Error> {
    match guarded(read) {
        Some(Ok(value)) => Ok(value),
        Some(Err(error)) => Err(unreadable(source, error.to_string().lines().next().unwrap_or_default())),
        None => Err(unreadable(source, "")),
    }
}

/// The names of the columns.
pub(super) fn names(source: &Source) -> Result<Vec<String>, Error> {
    Ok(footer(source)?.names)
}

/// Reads a table. Values are decoded as they are taken out, so that all of it is guarded: bits that were turned anywhere in the file may make
/// the library panic, on this thread or on another.
pub(super) fn read(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    guarded(|| read_unguarded(source, schema, options)).unwrap_or_else(|| Err(unreadable(source, "")))
}

/// What is known of a file before its rows.
struct Footer {
    names: Vec<String>,
    /// For each name, a type that this program does not read.
    unread: Vec<Option<&'static str>>,
    /// Rows of each group.
    groups: Vec<usize>,
}

#[allow(clippy::redundant_closure_for_method_calls, reason = "polars does not name the types")]
fn footer(source: &Source) -> Result<Footer, Error> {
    step(source, || {
        let mut reader = reader(source);
        let metadata = reader.get_metadata()?;
        let groups = metadata.row_groups.iter().map(|group| group.num_rows()).collect();
        let leaves = metadata.schema_descr.columns();
        let unread = |name: &str| {
            let leaf =
                leaves.iter().find(|leaf| leaf.path_in_schema.first().is_some_and(|first| first.as_str() == name))?;
            let is = &leaf.descriptor.primitive_type;
            // What the file calls them; polars has the names of these types in a crate of its own.
            unread_type(&format!("{:?} {:?}", is.logical_type, is.converted_type))
        };
        let names: Vec<String> = metadata.schema_descr.fields().iter().map(|field| field.name().to_owned()).collect();
        Ok(Footer { unread: names.iter().map(|name| unread(name)).collect(), names, groups })
    })
}

/// The name of a type that is not read, from how polars shows a column's logical and converted type.
fn unread_type(shown: &str) -> Option<&'static str> {
    let types = [
        ("Decimal(", "DECIMAL"),
        ("Float16", "FLOAT16, numbers of half precision"),
        ("UInt8", "UINT_8, whole numbers of 8 bits"),
        ("Uint8", "UINT_8, whole numbers of 8 bits"),
        ("Int8", "INT_8, whole numbers of 8 bits"),
        ("UInt16", "UINT_16, whole numbers of 16 bits"),
        ("Uint16", "UINT_16, whole numbers of 16 bits"),
        ("Int16", "INT_16, whole numbers of 16 bits"),
        ("Time", "TIME"),
    ];
    let is_timestamp = shown.contains("Timestamp");
    types.into_iter().find(|(word, _)| shown.contains(word) && !(is_timestamp && *word == "Time")).map(|(_, name)| name)
}

fn read_unguarded(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    let Footer { names, unread, groups } = footer(source)?;
    let (places, faults) = header::matched(source.path(), schema, &names, |_| Place::File);
    if !faults.is_empty() {
        return Err(InputError::of(faults).into());
    }
    if groups.iter().all(|rows| *rows == 0) {
        let fault =
            Fault::new(FaultKind::EmptyFile, source.path().clone(), Place::File, "a table without rows", "rows");
        return Err(refused(fault));
    }
    let most = PARQUET_ROWS.max(source.bytes().len()).min(ROWS);
    if groups.iter().fold(0_usize, |sum, rows| sum.saturating_add(*rows)) > most {
        let found = format!("more than {most} rows");
        return Err(
            exceeded(source.path(), Place::File, found, format!("at most {most} in a file of this size")).into()
        );
    }
    let refuse_type = |(column, place): (&Column<'_>, &Option<usize>)| {
        let kind = unread[(*place)?]?;
        let found = format!("a column of type {kind}");
        let fault = Fault::new(FaultKind::WrongType, source.path().clone(), Place::File, found, expected_of(*column));
        Some(fault.with_key(column.name).with_help("write it as DOUBLE, INT64 or text"))
    };
    let faults: Vec<Fault> = schema.columns.iter().zip(&places).filter_map(refuse_type).collect();
    if !faults.is_empty() {
        return Err(InputError::of(faults).into());
    }
    let wanted: Vec<String> = places.iter().flatten().map(|&place| names[place].clone()).collect();
    if source.bytes().len() <= TRIED && !is_survived(source.path()) {
        return Err(unreadable(source, "reading it asks for more memory than there is"));
    }
    let mut filling = Filling::new(&schema.columns);
    let mut mistakes = Mistakes::default();
    let mut first = 0;
    for rows in batches(&groups) {
        options.check()?;
        let frame = step(source, || {
            let reader = reader(source).with_columns(Some(wanted.clone())).with_slice(Some((first, rows)));
            reader.set_low_memory(true).finish()
        })?;
        if frame.height() != rows {
            return Err(unreadable(source, "a row group is shorter than the file says"));
        }
        let columns: Vec<Result<(Values, Mistakes), Error>> = schema
            .columns
            .par_iter()
            .enumerate()
            .map(|(index, column)| {
                let mut values = Values::empty(*column);
                let mut mistakes = Mistakes::default();
                if let Some(place) = places[index] {
                    let cells = series(source, &frame, &names[place])?;
                    let ready = ready(source, cells, *column)?;
                    each_cell(&ready, |row, cell| {
                        if let Err(trouble) = push_cell(&mut values, *column, cell) {
                            mistakes.add(trouble.kind, index, || Located {
                                row: first + row,
                                column: index,
                                kind: trouble.kind,
                                found: shown(cell),
                                expected: if trouble.expected.is_empty() {
                                    expected_of(*column)
                                } else {
                                    trouble.expected
                                },
                                help: trouble.help,
                            });
                        }
                    });
                }
                Ok((values, mistakes))
            })
            .collect();
        let mut filled = Vec::with_capacity(columns.len());
        for column in columns {
            let (values, found) = column?;
            filled.push(values);
            mistakes.append(found);
        }
        filling.append(Filling::of(&schema.columns, filled, rows));
        first += rows;
    }
    let table = filling.into_table(source, places, Lines::None, Vec::new());
    table.conclude(mistakes)?;
    Ok(table)
}

/// A file's columns as raw cells.
pub(crate) struct RawColumns {
    pub(crate) names: Vec<String>,
    /// For each name, a type that is not read.
    unread: Vec<Option<&'static str>>,
    groups: Vec<usize>,
}

impl RawColumns {
    pub(crate) fn of(source: &Source) -> Result<Self, Error> {
        let Footer { names, unread, groups } = footer(source)?;
        if source.bytes().len() <= TRIED && !is_survived(source.path()) {
            return Err(unreadable(source, "reading it asks for more memory than there is"));
        }
        Ok(Self { names, unread, groups })
    }

    /// Each row in turn: its number from 1, and its cells.
    pub(crate) fn each_row(
        &self,
        source: &Source,
        options: &Options,
        each: &mut dyn FnMut(u32, &[Raw<'_>]),
    ) -> Result<(), Error> {
        let mut first = 0;
        for rows in batches(&self.groups) {
            options.check()?;
            let columns = guarded(|| self.batch(source, first, rows)).unwrap_or_else(|| Err(unreadable(source, "")))?;
            let mut cells: Vec<_> = columns.into_iter().map(Vec::into_iter).collect();
            for row in 0..rows {
                let row_cells: Vec<Raw<'_>> =
                    cells.iter_mut().map(|cells| cells.next().unwrap_or(Raw::Empty)).collect();
                each((first + row + 1) as u32, &row_cells);
            }
            first += rows;
        }
        Ok(())
    }

    /// A column of a type that is not read holds nothing that can be: it may be one that no table needs.
    fn batch(&self, source: &Source, first: usize, rows: usize) -> Result<Vec<Vec<Raw<'static>>>, Error> {
        let is_read = self.names.iter().zip(&self.unread).filter(|(_, unread)| unread.is_none());
        let wanted = is_read.map(|(name, _)| name.clone()).collect();
        let frame = step(source, || {
            let reader = reader(source).with_columns(Some(wanted)).with_slice(Some((first, rows)));
            reader.set_low_memory(true).finish()
        })?;
        self.names
            .iter()
            .zip(&self.unread)
            .map(|(name, unread)| {
                if let Some(kind) = unread {
                    let found = format!("a column of type {kind}");
                    let expected = "a column written as DOUBLE, INT64 or text";
                    return Ok(vec![Raw::Wrong(FaultKind::WrongType, found, expected); rows]);
                }
                let cells = series(source, &frame, name)?;
                Ok(raw_column(source, cells).unwrap_or_else(|_| {
                    let found = format!("a column of type {}", cells.dtype());
                    vec![Raw::Wrong(FaultKind::WrongType, found, "text, numbers or dates"); rows]
                }))
            })
            .collect()
    }
}

fn raw_column(source: &Source, cells: &Series) -> Result<Vec<Raw<'static>>, Error> {
    use DataType as T;
    let (ready, with_time) = match cells.dtype() {
        T::String | T::Date => (cells.clone(), Vec::new()),
        T::Datetime(..) => {
            let days = step(source, || cells.cast(&T::Date))?;
            let back = step(source, || days.cast(cells.dtype()))?;
            let [before, after] = [cells, &back].map(|moments| step(source, || moments.cast(&T::Int64)));
            let (before, after) = (before?, after?);
            let times =
                step(source, || Ok(before.i64()?.iter().zip(after.i64()?.iter()).map(|(a, b)| a != b).collect()))?;
            (days, times)
        }
        kind if kind.is_integer() => (step(source, || cells.strict_cast(&T::Int64))?, Vec::new()),
        kind if kind.is_primitive_numeric() => (step(source, || cells.strict_cast(&T::Float64))?, Vec::new()),
        _ => (step(source, || cells.strict_cast(&T::String))?, Vec::new()),
    };
    let mut out = Vec::with_capacity(cells.len());
    each_cell(&ready, |row, cell| {
        out.push(match cell {
            Cell::Text(text) => Raw::Text(text.to_owned().into()),
            Cell::Number(number) => Raw::Number(number),
            Cell::Day(day) => Raw::Day(day, with_time.get(row).copied().unwrap_or(false)),
            Cell::Empty => Raw::Empty,
        });
    });
    Ok(out)
}

/// Rows of each batch: row groups joined until there are enough.
fn batches(groups: &[usize]) -> Vec<usize> {
    let mut batches = Vec::new();
    let mut rows = 0;
    for group in groups {
        rows += group;
        if rows >= BATCH {
            batches.push(rows);
            rows = 0;
        }
    }
    if rows > 0 {
        batches.push(rows);
    }
    batches
}

type Mistakes = Kept<Located>;

fn series<'f>(source: &Source, frame: &'f DataFrame, name: &str) -> Result<&'f Series, Error> {
    match frame.column(name) {
        Ok(column) => Ok(column.as_materialized_series()),
        Err(error) => Err(unreadable(source, &error.to_string())),
    }
}

/// The column in one of a few types, or a refusal of the type as a whole.
fn ready(source: &Source, cells: &Series, column: Column<'_>) -> Result<Series, Error> {
    use DataType as T;
    let target = match (cells.dtype(), column.kind) {
        (T::String, _) | (T::Date, Kind::Day) => return Ok(cells.clone()),
        (T::Null, _) => T::String,
        (T::Datetime(..), Kind::Day) => return midnights(source, cells, column),
        (kind, Kind::Number) if kind.is_primitive_numeric() => T::Float64,
        (kind, Kind::Name | Kind::Count) if kind.is_integer() => T::Int64,
        (kind, Kind::Count) if kind.is_float() => T::Float64,
        (T::Categorical(..) | T::Enum(..), _) => T::String,
        (kind, _) => {
            let fault = Fault::new(
                FaultKind::WrongType,
                source.path().clone(),
                Place::File,
                format!("a column of type {kind}"),
                expected_of(column),
            );
            return Err(refused(fault.with_key(column.name)));
        }
    };
    step(source, || cells.strict_cast(&target))
}

/// A column of timestamps as dates, if every one is a midnight: a time of day would be lost otherwise.
fn midnights(source: &Source, cells: &Series, column: Column<'_>) -> Result<Series, Error> {
    let (days, back) = step(source, || {
        let days = cells.cast(&DataType::Date)?;
        let back = days.cast(cells.dtype())?;
        Ok((days, back))
    })?;
    if back.equals_missing(cells) {
        return Ok(days);
    }
    let fault = Fault::new(
        FaultKind::BadDate,
        source.path().clone(),
        Place::File,
        "a column of timestamps with times of day",
        "dates",
    );
    Err(refused(fault.with_key(column.name).with_help("cut the times off before writing the file")))
}

fn each_cell<'c>(cells: &'c Series, mut each: impl FnMut(usize, Cell<'c>)) {
    fn of<'c, T>(cell: Option<T>, as_cell: impl Fn(T) -> Cell<'c>) -> Cell<'c> {
        cell.map_or(Cell::Empty, as_cell)
    }
    if let Ok(texts) = cells.str() {
        texts.iter().enumerate().for_each(|(row, text)| each(row, of(text, Cell::Text)));
    } else if let Ok(numbers) = cells.f64() {
        numbers.iter().enumerate().for_each(|(row, number)| each(row, of(number, Cell::Number)));
    } else if let Ok(numbers) = cells.i64() {
        // Whole numbers beyond 2^53 do not occur as names or counts of parts.
        numbers
            .iter()
            .enumerate()
            .for_each(|(row, number)| each(row, of(number, |number| Cell::Number(number as f64))));
    } else if let Ok(days) = cells.date() {
        days.physical().iter().enumerate().for_each(|(row, day)| each(row, of(day, Cell::Day)));
    }
}

/// A cell as messages show it.
pub(super) fn shown(cell: Cell<'_>) -> String {
    match cell {
        Cell::Empty => "an empty cell".to_owned(),
        Cell::Text(text) if text.trim().is_empty() => "an empty cell".to_owned(),
        Cell::Text(text) => format!("\"{text}\""),
        Cell::Number(number) => number.to_string(),
        Cell::Day(day) => crate::cell::date_of_day(day).map_or_else(|| format!("day {day}"), |date| date.to_string()),
    }
}
