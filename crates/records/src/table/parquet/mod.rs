//! Parquet, a row group at a time, so that memory holds the finished columns and little else.
//!
//! A Parquet file has types and no lines: numbers must be numbers, dates dates (or ISO text, or timestamps at midnight), and
//! names text (or whole numbers). NaN and null are told apart from values as in every other format; places are rows from 1.

mod column;

use super::header;
use super::rows::{Cell, Filling, Lines, Located, expected_of, push_cell};
use super::{Column, Kind, Schema, Table, Values};
use crate::error::{Error, Fault, FaultKind, InputError, Place};
use crate::guard::{bound_memory, guarded, is_survived};
use crate::kept::Kept;
use crate::limits::{PARQUET_ROWS, ROWS, UNPACKED_BYTES, UNPACKED_TIMES, exceeded, mebibytes};
use crate::loose::Raw;
use crate::options::Options;
use crate::source::Source;
use bytes::Bytes;
use column::{Encoding, ForeignText, Stored, each_cell, encoding_of};
use parquet::column::reader::ColumnReader;
use parquet::errors::Result as Decoded;
use parquet::file::reader::{FileReader, SerializedFileReader};
use rayon::prelude::{IndexedParallelIterator, IntoParallelRefIterator, ParallelIterator};
use std::path::Path;

/// Bytes of files that are tried in a process of their own first, where the program does so.
const TRIED: usize = 64 << 20;

/// Memory that a trial may take: what is promised of files below 10 MB, and the file's own bytes besides.
const TRIAL_BYTES: u64 = (1 << 30) + TRIED as u64;

/// Decodes every row of a Parquet file and keeps none: for a process that may not live through it (see
/// [`try_parquet_first`](crate::try_parquet_first)).
///
/// # Errors
///
/// Whatever is wrong with the file as a whole.
pub fn decode_parquet(path: &Path) -> Result<(), Error> {
    let source = Source::read(path)?;
    bound_memory(TRIAL_BYTES);
    let file = File::open(&source)?;
    for (group, rows) in file.groups.iter().enumerate() {
        for leaf in file.columns.iter().filter_map(|c| c.leaf.as_ref().ok()) {
            step(&source, || file.cells(group, *rows, *leaf, &mut |_| {}))?;
        }
    }
    Ok(())
}

fn refused(fault: Fault) -> Error {
    InputError::of(vec![fault]).into()
}

fn unreadable(source: &Source, why: &str) -> Error {
    let found =
        if why.is_empty() { "a damaged Parquet file".to_owned() } else { format!("a damaged Parquet file ({why})") };
    refused(Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, "a whole Parquet file"))
}

/// Refuses text in a foreign encoding, which is whole as far as anybody can tell.
fn wrong_encoding(source: &Source, text: &ForeignText) -> Error {
    let found = format!("text that is not UTF-8 (byte 0x{:02X})", text.byte);
    let mut fault = Fault::new(FaultKind::WrongEncoding, source.path().clone(), Place::File, found, "text in UTF-8");
    let what_to_do = "decode the column as what it is before the file is written";
    fault.help = Some(match crate::source::windows_1252(text.byte) {
        Some(letter) => format!("in windows-1252 (Latin-1) this byte is `{letter}`: {what_to_do}"),
        None => what_to_do.to_owned(),
    });
    refused(fault.with_key(text.column.clone()))
}

/// Runs a step of the library; its refusals and its panics are both the file's fault.
fn step<T>(source: &Source, read: impl FnOnce() -> Decoded<T>) -> Result<T, Error> {
    match guarded(read) {
        Some(Ok(value)) => Ok(value),
        Some(Err(error)) => Err(match ForeignText::of(&error) {
            Some(text) => wrong_encoding(source, text),
            None => unreadable(source, error.to_string().lines().next().unwrap_or_default()),
        }),
        None => Err(unreadable(source, "")),
    }
}

/// The names of the columns.
pub(super) fn names(source: &Source) -> Result<Vec<String>, Error> {
    Ok(File::open(source)?.columns.into_iter().map(|c| c.name).collect())
}

/// Reads a table. Values are decoded as they are taken out, so that all of it is guarded: bits that were turned anywhere in the file may make
/// the library panic, on this thread or on another.
pub(super) fn read(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    guarded(|| read_unguarded(source, schema, options)).unwrap_or_else(|| Err(unreadable(source, "")))
}

/// Where a column that can be read is stored, and how.
#[derive(Debug, Clone, Copy)]
struct Leaf {
    at: usize,
    encoding: Encoding,
}

/// A column of the file's table.
struct FileColumn {
    name: String,
    /// As messages name its type.
    shown: String,
    /// `Err` where its type is not read.
    leaf: Result<Leaf, String>,
}

/// A file and what is known of it before its rows.
struct File {
    reader: SerializedFileReader<Bytes>,
    columns: Vec<FileColumn>,
    /// Rows of each group.
    groups: Vec<usize>,
    /// Bytes of all columns unpacked, as the file says.
    unpacked: u64,
}

impl File {
    fn open(source: &Source) -> Result<Self, Error> {
        let file = Self::described(source)?;
        let limit = UNPACKED_BYTES.max(UNPACKED_TIMES * source.bytes().len() as u64);
        if file.unpacked > limit {
            let found = format!("a Parquet file of {} unpacked", mebibytes(file.unpacked));
            let allowed =
                format!("at most {} (or {UNPACKED_TIMES} times the file's own size)", mebibytes(UNPACKED_BYTES));
            return Err(exceeded(source.path(), Place::File, found, allowed).into());
        }
        Ok(file)
    }

    fn described(source: &Source) -> Result<Self, Error> {
        let bytes = Bytes::from_owner(source.bytes().clone());
        step(source, || {
            let reader = SerializedFileReader::new(bytes)?;
            let described = reader.metadata().file_metadata().schema_descr();
            let roots = described.root_schema().get_fields();
            let mut columns: Vec<FileColumn> = roots
                .iter()
                .map(|root| {
                    let nothing = "a group without columns".to_owned();
                    FileColumn { name: root.name().to_owned(), shown: nothing.clone(), leaf: Err(nothing) }
                })
                .collect();
            for (at, leaf) in described.columns().iter().enumerate() {
                let column = &mut columns[described.get_column_root_idx(at)];
                let encoding = encoding_of(leaf);
                column.shown = match &encoding {
                    Ok(encoding) => column::shown(*encoding, leaf),
                    Err(unread) => unread.clone(),
                };
                column.leaf = encoding.map(|encoding| Leaf { at, encoding });
            }
            let rows = |k: usize| usize::try_from(reader.metadata().row_group(k).num_rows());
            let groups: Result<Vec<usize>, _> = (0..reader.num_row_groups()).map(rows).collect();
            let groups = groups.map_err(|_| parquet::errors::ParquetError::General("rows below zero".into()))?;
            let of_group = |k: usize| {
                reader
                    .metadata()
                    .row_group(k)
                    .columns()
                    .iter()
                    .map(parquet::file::metadata::ColumnChunkMetaData::uncompressed_size)
            };
            let sizes = (0..reader.num_row_groups()).flat_map(of_group).map(|size| u64::try_from(size).unwrap_or(0));
            let unpacked = sizes.fold(0_u64, u64::saturating_add);
            Ok(Self { reader, columns, groups, unpacked })
        })
    }

    fn start(&self, group: usize, leaf: Leaf) -> Decoded<ColumnReader> {
        self.reader.get_row_group(group)?.get_column_reader(leaf.at)
    }

    /// Every cell of a column in one row group.
    fn cells(&self, group: usize, rows: usize, leaf: Leaf, each: &mut dyn FnMut(Option<Stored<'_>>)) -> Decoded<()> {
        let read = each_cell(&mut self.start(group, leaf)?, leaf.encoding, rows, each);
        let is_it = |c: &&FileColumn| c.leaf.as_ref().is_ok_and(|own| own.at == leaf.at);
        let name = self.columns.iter().find(is_it).map_or("", |c| &c.name);
        whole(read.map_err(|error| ForeignText::in_column(error, name))?, rows)
    }
}

fn whole(read: usize, rows: usize) -> Decoded<()> {
    let short = || parquet::errors::ParquetError::General("a row group is shorter than the file says".into());
    (read == rows).then_some(()).ok_or_else(short)
}

fn read_unguarded(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    let file = File::open(source)?;
    let names: Vec<String> = file.columns.iter().map(|c| c.name.clone()).collect();
    let (places, faults) = header::matched(source.path(), schema, &names, |_| Place::File);
    if !faults.is_empty() {
        return Err(InputError::of(faults).into());
    }
    if file.groups.iter().all(|rows| *rows == 0) {
        let fault =
            Fault::new(FaultKind::EmptyFile, source.path().clone(), Place::File, "a table without rows", "rows");
        return Err(refused(fault));
    }
    let most = PARQUET_ROWS.max(source.bytes().len()).min(ROWS);
    if file.groups.iter().fold(0_usize, |sum, rows| sum.saturating_add(*rows)) > most {
        let found = format!("more than {most} rows");
        return Err(
            exceeded(source.path(), Place::File, found, format!("at most {most} in a file of this size")).into()
        );
    }
    let refuse_type = |(column, place): (&Column<'_>, &Option<usize>)| {
        let there = &file.columns[(*place)?];
        if there.leaf.as_ref().is_ok_and(|leaf| holds(leaf.encoding, *column)) {
            return None;
        }
        let found = format!("a column of type {}", there.shown);
        let fault = Fault::new(FaultKind::WrongType, source.path().clone(), Place::File, found, expected_of(*column));
        let unread = there.leaf.is_err();
        Some(fault.with_key(column.name))
            .map(|f| if unread { f.with_help("write it as DOUBLE, INT64 or text") } else { f })
    };
    let faults: Vec<Fault> = schema.columns.iter().zip(&places).filter_map(refuse_type).collect();
    if !faults.is_empty() {
        return Err(InputError::of(faults).into());
    }
    if source.bytes().len() <= TRIED && !is_survived(source.path()) {
        return Err(unreadable(source, "reading it asks for more memory than there is"));
    }
    let mut filling = Filling::new(&schema.columns);
    let mut mistakes = Mistakes::default();
    let mut first = 0;
    for (group, &rows) in file.groups.iter().enumerate() {
        options.check()?;
        options.watch.tell(first, file.groups.iter().sum());
        let columns: Vec<Result<(Values, Mistakes), Error>> = schema
            .columns
            .par_iter()
            .enumerate()
            .map(|(index, column)| {
                let leaf = places[index].and_then(|place| file.columns[place].leaf.as_ref().ok());
                match leaf {
                    Some(leaf) => filled(source, &file, (group, rows, first), *leaf, (index, *column)),
                    None => Ok((Values::empty(*column), Mistakes::default())),
                }
            })
            .collect();
        let mut values = Vec::with_capacity(columns.len());
        for column in columns {
            let (column, found) = column?;
            values.push(column);
            mistakes.append(found);
        }
        let left_out = source.left_out().range(first as u32 + 1..=(first + rows) as u32).count();
        filling.append(Filling::of(&schema.columns, values, rows - left_out));
        first += rows;
    }
    let lines = match source.left_out() {
        none if none.is_empty() => Lines::None,
        some => Lines::Rows { rows: (1..=first as u32).filter(|row| !some.contains(row)).collect() },
    };
    let table = filling.into_table(source, places, lines, Vec::new());
    table.conclude(mistakes)?;
    Ok(table)
}

/// Whether cells that are stored so can be what a column wants.
fn holds(encoding: Encoding, column: Column<'_>) -> bool {
    match (encoding, column.kind) {
        (Encoding::Text | Encoding::Nothing, _) => true,
        (Encoding::Truth, _) => false,
        (Encoding::Days | Encoding::Ticks(_) | Encoding::Instant(_) | Encoding::JulianMoment, kind) => {
            matches!(kind, Kind::Day)
        }
        (_, Kind::Number | Kind::Count) => true,
        (number, Kind::Name) => number.is_whole(),
        (_, Kind::Day) => false,
    }
}

/// A column's cells in one row group: its number, its rows, and how many rows were before it.
fn filled(
    source: &Source,
    file: &File,
    (group, rows, before): (usize, usize, usize),
    leaf: Leaf,
    (index, column): (usize, Column<'_>),
) -> Result<(Values, Mistakes), Error> {
    let mut values = Values::empty(column);
    let mut mistakes = Mistakes::default();
    let mut timed = false;
    // Of the table, and of the file.
    let (mut row, mut number) = (before - source.left_out().range(..=before as u32).count(), before as u32);
    step(source, || {
        file.cells(group, rows, leaf, &mut |stored| {
            number += 1;
            if source.left_out().contains(&number) {
                return;
            }
            timed |= matches!(stored, Some(Stored::Day(_, true) | Stored::Instant));
            let cell = cell_of(stored);
            if let Err(trouble) = push_cell(&mut values, column, cell) {
                let expected = if trouble.expected.is_empty() { expected_of(column) } else { trouble.expected };
                let (kind, found, help) = (trouble.kind, shown(cell), trouble.help);
                mistakes.add(kind, index, || Located { row, column: index, kind, found, expected, help });
            }
            row += 1;
        })
    })?;
    if timed {
        let found = "a column of timestamps with times of day";
        let fault = Fault::new(FaultKind::BadDate, source.path().clone(), Place::File, found, "dates");
        return Err(refused(fault.with_key(column.name).with_help("cut the times off before writing the file")));
    }
    Ok((values, mistakes))
}

/// Empty for a truth, which no column of ours holds.
fn cell_of(stored: Option<Stored<'_>>) -> Cell<'_> {
    match stored {
        Some(Stored::Text(text)) => Cell::Text(text),
        Some(Stored::Number(number)) => Cell::Number(number),
        Some(Stored::Day(day, _)) => Cell::Day(day),
        Some(Stored::Truth(_) | Stored::Instant) | None => Cell::Empty,
    }
}

/// A file's columns as raw cells.
pub(crate) struct RawColumns {
    pub(crate) names: Vec<String>,
    file: File,
}

impl RawColumns {
    pub(crate) fn of(source: &Source) -> Result<Self, Error> {
        let file = File::open(source)?;
        if source.bytes().len() <= TRIED && !is_survived(source.path()) {
            return Err(unreadable(source, "reading it asks for more memory than there is"));
        }
        Ok(Self { names: file.columns.iter().map(|c| c.name.clone()).collect(), file })
    }

    /// Each row in turn: its number from 1, and its cells.
    pub(crate) fn each_row(
        &self,
        source: &Source,
        options: &Options,
        each: &mut dyn FnMut(u32, &[Raw<'_>]),
    ) -> Result<(), Error> {
        let mut number = 0;
        let all = self.file.groups.iter().sum();
        for (group, &rows) in self.file.groups.iter().enumerate() {
            let mut readers = step(source, || {
                let open = |c: &FileColumn| c.leaf.as_ref().ok().map(|leaf| self.file.start(group, *leaf)).transpose();
                self.file.columns.iter().map(open).collect::<Decoded<Vec<_>>>()
            })?;
            let mut left = rows;
            while left > 0 {
                options.check()?;
                options.watch.tell(number as usize, all);
                let chunk = left.min(RAW_ROWS);
                let columns = step(source, || self.chunk(&mut readers, chunk))?;
                let mut cells: Vec<_> = columns.into_iter().map(Vec::into_iter).collect();
                for _ in 0..chunk {
                    let row: Vec<Raw<'_>> = cells.iter_mut().map(|cells| cells.next().unwrap_or(Raw::Empty)).collect();
                    number += 1;
                    if !source.left_out().contains(&number) {
                        each(number, &row);
                    }
                }
                left -= chunk;
            }
        }
        Ok(())
    }

    /// A column of a type that is not read holds nothing that can be: it may be one that no table needs.
    fn chunk(&self, readers: &mut [Option<ColumnReader>], rows: usize) -> Decoded<Vec<Vec<Raw<'static>>>> {
        let one = |(column, reader): (&FileColumn, &mut Option<ColumnReader>)| {
            let (Ok(leaf), Some(reader)) = (&column.leaf, reader) else {
                let found = format!("a column of type {}", column.shown);
                let expected = "a column written as DOUBLE, INT64 or text";
                return Ok(vec![Raw::Wrong(FaultKind::WrongType, found, expected); rows]);
            };
            let mut cells = Vec::with_capacity(rows);
            let read = each_cell(reader, leaf.encoding, rows, &mut |stored| cells.push(raw(stored)));
            whole(read.map_err(|error| ForeignText::in_column(error, &column.name))?, rows).map(|()| cells)
        };
        self.file.columns.iter().zip(readers).map(one).collect()
    }
}

/// Rows that are held as raw cells at a time.
const RAW_ROWS: usize = 8192;

fn raw(stored: Option<Stored<'_>>) -> Raw<'static> {
    match stored {
        Some(Stored::Text(text)) => Raw::Text(text.to_owned().into()),
        Some(Stored::Number(number)) => Raw::Number(number),
        Some(Stored::Day(day, timed)) => Raw::Day(day, timed),
        Some(Stored::Truth(truth)) => Raw::Text(truth.to_string().into()),
        Some(Stored::Instant) => {
            let found = "a moment in universal time that is no midnight".to_owned();
            Raw::Wrong(FaultKind::BadDate, found, "a date: which day it was there the file does not tell")
        }
        None => Raw::Empty,
    }
}

type Mistakes = Kept<Located>;

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
