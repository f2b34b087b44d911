//! Tables of records: CSV, Parquet or XLSX in, the same columns out.
//!
//! The format is told by a file's first bytes, not by its name. Whatever the format, the header is matched against a
//! [`Schema`] first; then cells become names, numbers and days by the same rules ([`crate::cell`]). A file with any mistake
//! is refused as a whole, with all its mistakes.

mod csv;
mod csv_plain;
mod grid;
mod header;
mod names;
mod parquet;
mod rows;
mod unpacked;
mod xlsx;

pub use parquet::decode_parquet;

pub(crate) use names::Names;
pub(crate) use rows::{Lines, Located};

use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::kept::Kept;
use crate::options::Options;
use crate::source::Source;

/// What the cells of a column hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Text as it stands; `0012` stays `0012`.
    Name,
    /// A finite number.
    Number,
    /// A whole number, 0 or more.
    Count,
    /// A calendar date.
    Day,
}

/// Whether a column and its cells may be absent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Need {
    /// The column must be there and no cell may be empty.
    Every,
    /// The column may be missing, and its cells empty.
    Some,
}

/// A column that a reader knows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Column<'a> {
    pub(crate) name: &'a str,
    pub(crate) kind: Kind,
    pub(crate) need: Need,
    /// What it holds, for the message when it is missing.
    pub(crate) meaning: &'a str,
}

/// The columns of a table.
#[derive(Debug, Clone)]
pub(crate) struct Schema<'a> {
    /// What the table is called in messages and, in a workbook of many sheets, the sheet's name.
    pub(crate) name: &'static str,
    pub(crate) columns: Vec<Column<'a>>,
    /// Whether columns beside these are left alone (else they are refused, since a slip in a name would lose data).
    pub(crate) others: bool,
}

/// The cells of a column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Values {
    Names(Names),
    Numbers(Vec<f64>),
    /// `None` where the cell is empty.
    SomeNumbers(Vec<Option<f64>>),
    Counts(Vec<Option<u32>>),
    Days(Vec<i32>),
    SomeDays(Vec<Option<i32>>),
}

impl Values {
    /// An empty column of the right kind.
    pub(crate) fn empty(column: Column<'_>) -> Self {
        match (column.kind, column.need) {
            (Kind::Name, _) => Self::Names(Names::default()),
            (Kind::Number, Need::Every) => Self::Numbers(Vec::new()),
            (Kind::Number, Need::Some) => Self::SomeNumbers(Vec::new()),
            (Kind::Count, _) => Self::Counts(Vec::new()),
            (Kind::Day, Need::Every) => Self::Days(Vec::new()),
            (Kind::Day, Need::Some) => Self::SomeDays(Vec::new()),
        }
    }
}

/// A table that was read without a mistake in its cells.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    pub(crate) source: Source,
    pub(crate) rows: usize,
    /// One per column of the schema; `None` where the file does not have it.
    pub(crate) columns: Vec<Option<Values>>,
    /// The schema's names, for messages about rows.
    names: Vec<String>,
    /// For each column of the schema its place in the file.
    places: Vec<Option<usize>>,
    lines: Lines,
    pub(crate) notices: Vec<Notice>,
}

impl Table {
    pub(crate) fn names(&mut self, column: usize) -> Option<Names> {
        match self.columns[column].take() {
            Some(Values::Names(names)) => Some(names),
            _ => None,
        }
    }

    pub(crate) fn numbers(&mut self, column: usize) -> Option<Vec<f64>> {
        match self.columns[column].take() {
            Some(Values::Numbers(numbers)) => Some(numbers),
            _ => None,
        }
    }

    pub(crate) fn counts(&mut self, column: usize) -> Option<Vec<Option<u32>>> {
        match self.columns[column].take() {
            Some(Values::Counts(counts)) => Some(counts),
            _ => None,
        }
    }

    pub(crate) fn days(&mut self, column: usize) -> Option<Vec<i32>> {
        match self.columns[column].take() {
            Some(Values::Days(days)) => Some(days),
            _ => None,
        }
    }

    /// The line in the file of each row; empty where the format has none.
    pub(crate) fn line_numbers(&self) -> Vec<u32> {
        self.lines.numbers(self.rows)
    }

    /// The line, sheet row or, where the format has neither, the number of each row from 1.
    pub(crate) fn row_numbers(&self) -> Vec<u32> {
        match self.lines.numbers(self.rows) {
            none if none.is_empty() => (1..).take(self.rows).collect(),
            lines => lines,
        }
    }

    /// The line, sheet row or row number of one row, in words.
    pub(crate) fn row_in_words(&self, row: usize) -> String {
        self.lines.in_words(row)
    }

    /// `line 3`, or `lines 3, 4, 9 and 12 more`.
    pub(crate) fn rows_in_words(&self, rows: &[usize]) -> String {
        const SHOWN: usize = 5;
        let words: Vec<String> = rows.iter().take(SHOWN).map(|&row| self.row_in_words(row)).collect();
        let [first, others @ ..] = &words[..] else { return "no line".to_owned() };
        if others.is_empty() {
            return first.clone();
        }
        let (kind, _) = first.split_once(' ').unwrap_or((first, ""));
        let numbers: Vec<&str> =
            words.iter().map(|word| word.split_once(' ').map_or("", |(_, number)| number)).collect();
        let more = rows.len() - words.len();
        if more > 0 {
            return format!("{kind}s {} and {more} more", numbers.join(", "));
        }
        let (last, before) = numbers.split_last().unwrap_or((&"", &[]));
        format!("{kind}s {} and {last}", before.join(", "))
    }

    /// Refuses the table where there are mistakes.
    pub(crate) fn conclude(&self, mistakes: Kept<Located>) -> Result<(), Error> {
        if mistakes.is_empty() {
            return Ok(());
        }
        Err(self.refuse(mistakes.items, mistakes.total))
    }

    /// Turns mistakes that were found between rows into faults with their places.
    pub(crate) fn refuse(&self, mistakes: Vec<Located>, total: usize) -> Error {
        let faults = self.lines.locate(&self.source, &self.names, &self.places, mistakes);
        Error::Input(InputError { total: total.max(faults.len()), faults })
    }
}

/// Reads a table of whatever format.
pub(crate) fn read_table(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    match format_of(source)? {
        Format::Parquet => parquet::read(source, schema, options),
        Format::Xlsx => xlsx::read(source, schema, options),
        Format::Csv => csv::read(source, schema, options),
    }
}

/// The names of a table's columns.
pub(crate) fn header_names(source: &Source) -> Result<Vec<String>, InputError> {
    let names = match format_of(source)? {
        Format::Parquet => parquet::names(source),
        Format::Xlsx => xlsx::names(source),
        Format::Csv => return csv::names(source),
    };
    names.map_err(|error| match error {
        Error::Input(error) => error,
        // Bytes at hand cannot fail to be read.
        other => InputError::of(vec![Fault::new(
            FaultKind::UnknownFormat,
            source.path().clone(),
            Place::File,
            other.to_string(),
            "a table",
        )]),
    })
}

enum Format {
    Csv,
    Parquet,
    Xlsx,
}

/// The format, by the first bytes.
fn format_of(source: &Source) -> Result<Format, InputError> {
    let bytes = source.bytes();
    if bytes.starts_with(b"PAR1") {
        return Ok(Format::Parquet);
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Ok(Format::Xlsx);
    }
    let foreign = [
        (&b"\xD0\xCF\x11\xE0"[..], "an old binary workbook (.xls)", "save it as .xlsx or .csv"),
        (&b"\x1F\x8B"[..], "a gzip archive", "unpack it first"),
        (&b"%PDF"[..], "a PDF", "export the table as .csv or .xlsx"),
        (&b"ARROW1"[..], "an Arrow file", "write it as Parquet"),
    ];
    for (magic, found, help) in foreign {
        if bytes.starts_with(magic) {
            let expected = "CSV, Parquet or XLSX";
            let fault = Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, expected);
            return Err(InputError::of(vec![fault.with_help(help)]));
        }
    }
    Ok(Format::Csv)
}
