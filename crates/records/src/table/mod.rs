//! Tables of records: CSV, Parquet or XLSX in, the same columns out.
//!
//! The format is told by a file's first bytes, not by its name. Whatever the format, the header is matched against a
//! [`Schema`] first; then cells become names, numbers and days by the same rules ([`crate::cell`]). A file with any mistake
//! is refused as a whole, with all its mistakes.

mod csv;
mod csv_plain;
mod grid;
mod header;
mod hidden;
mod names;
mod parquet;
mod rows;
mod unpacked;
mod xlsx;

pub use parquet::decode_parquet;

pub(crate) use csv::csv_reader as csv_cells;
pub(crate) use names::Names;
pub(crate) use parquet::RawColumns;
pub(crate) use rows::{Cell, Filling, Lines, Located, expected_of, field_start};
pub(crate) use xlsx::RawSheet;

use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::kept::Kept;
use crate::loose::{self, Raw, Unit};
use crate::options::Options;
use crate::source::Source;
use crate::units::LengthUnit;
use std::borrow::Cow;
use std::collections::BTreeSet;

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
    /// Whether columns beside these are left alone without a word.
    pub(crate) others: bool,
    /// The column of what was read: a row where it is empty tells nothing.
    pub(crate) value: Option<usize>,
    /// Layouts with a column for each value of a column.
    pub(crate) wide: &'static [Wide],
    /// The unit that lengths are read in; None where the file's reader does not say.
    pub(crate) length: Option<Unit>,
}

/// A layout in which headings are values of one column, and the cells below them of another.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wide {
    /// The column that the headings are values of; None where they only tell repeats apart.
    pub(crate) name: Option<usize>,
    /// The column of the cells.
    pub(crate) value: usize,
    pub(crate) names: WideNames,
    /// What the columns are, for notes.
    pub(crate) what: &'static str,
}

/// How a heading becomes a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum WideNames {
    /// As a feature's name: `Contact offset (mm)` is `contact_offset`.
    Words,
    /// As it stands, unless it is numbered as readings are.
    Text,
    /// Its number: `trial 2` is 2.
    Numbers,
}

impl<'a> Schema<'a> {
    /// A table of these columns and no others.
    pub(crate) fn new(name: &'static str, columns: Vec<Column<'a>>) -> Self {
        Self { name, columns, others: false, value: None, wide: &[], length: None }
    }

    /// Says which column holds what was read, and which wide layouts stand for the table.
    pub(crate) fn reading(mut self, value: usize, wide: &'static [Wide]) -> Self {
        (self.value, self.wide) = (Some(value), wide);
        self
    }

    /// Says in which unit lengths are read.
    pub(crate) fn lengths_in(mut self, unit: LengthUnit) -> Self {
        self.length = Some(if unit == LengthUnit::Inch { Unit::Inch } else { Unit::Millimetre });
        self
    }
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
    /// Of a wide layout the column whose cells lie in a field of each row's own, and those fields.
    fields: Option<(usize, Vec<u32>)>,
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

    /// Says that a column's cells lie in a field of each row's own.
    pub(crate) fn with_fields(mut self, fields: Option<(usize, Vec<u32>)>) -> Self {
        self.fields = fields;
        self
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
        let field = |row: usize, column: usize| match &self.fields {
            Some((wide, fields)) if *wide == column => fields.get(row).map_or(0, |field| *field as usize),
            _ => self.places.get(column).copied().flatten().unwrap_or(0),
        };
        let faults = self.lines.locate(&self.source, &self.names, &field, mistakes);
        Error::Input(InputError { total: total.max(faults.len()), faults })
    }
}

/// Reads a table of whatever format: as docs/files.md has it, else as it comes.
pub(crate) fn read_table(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    let decoded = decoded(source, options);
    let source = decoded.as_ref();
    let format = format_of(source)?;
    let mut refused = None;
    if !options.tables.change_meaning() && !loose::is_suspect(source, format, schema, options)? {
        let strict = match format {
            Format::Parquet => parquet::read(source, schema, options),
            Format::Xlsx => xlsx::read(source, schema, options),
            Format::Csv => csv::read(source, schema, options),
        };
        match strict {
            Err(Error::Input(error)) if error.faults.iter().all(|fault| may_be_written_otherwise(fault.kind)) => {
                refused = Some(error);
            }
            other => return other,
        }
    }
    match (loose::read(source, text_of(source)?, schema, options), refused) {
        (Err(Error::Input(error)), Some(strict)) => Err(with_cells(error, strict).into()),
        (read, _) => read,
    }
}

/// Where the columns cannot be told, no cell was looked at: mistakes of cells that stand under any way of reading join those of the headings.
fn with_cells(mut error: InputError, strict: InputError) -> InputError {
    use FaultKind as K;
    let of_headings = |fault: &Fault| matches!(fault.kind, K::UnknownColumn | K::MissingColumn | K::DuplicateColumn);
    if error.faults.iter().all(of_headings) {
        let stands = |fault: &Fault| matches!(fault.kind, K::RaggedRow | K::NotFinite | K::FormulaCell | K::TooLarge);
        let cells: Vec<Fault> = strict.faults.into_iter().filter(stands).collect();
        error.total += cells.len();
        error.faults.extend(cells);
    }
    error
}

/// The text of a table that is text.
pub(crate) fn text_of(source: &Source) -> Result<Option<&str>, Error> {
    Ok(if format_of(source)? == Format::Csv { Some(source.text()?) } else { None })
}

/// Whether a cell of one of these rows of a sheet or of a Parquet file (from 1) is such a one, by its text.
pub(crate) fn any_cell(
    source: &Source,
    schema: &Schema<'_>,
    rows: &BTreeSet<u32>,
    options: &Options,
    is_one: &dyn Fn(&str) -> bool,
) -> Result<bool, Error> {
    let mut found = false;
    let mut look = |row: u32, cells: &[Raw<'_>]| {
        found |= rows.contains(&row) && cells.iter().any(|cell| is_one(&cell.shown()));
    };
    match format_of(source)? {
        Format::Xlsx => RawSheet::of(source, schema, options)?.each_row(options, &mut look)?,
        Format::Parquet => RawColumns::of(source)?.each_row(source, options, &mut look)?,
        Format::Csv => {}
    }
    Ok(found)
}

/// Mistakes that no other way of reading can mend.
fn may_be_written_otherwise(kind: FaultKind) -> bool {
    !matches!(kind, FaultKind::TooLarge | FaultKind::WrongEncoding | FaultKind::UnknownFormat | FaultKind::UnknownName)
}

/// The table as UTF-8, where it is text in UTF-16 with its mark, or in windows-1252 and the user says so.
pub(crate) fn decoded<'s>(source: &'s Source, options: &Options) -> Cow<'s, Source> {
    let bytes = source.bytes();
    let wide = |bytes: &[u8], unit: fn([u8; 2]) -> u16| -> Option<String> {
        let units = bytes.chunks(2).map(|pair| <[u8; 2]>::try_from(pair).ok().map(unit));
        String::from_utf16(&units.collect::<Option<Vec<u16>>>()?).ok()
    };
    let text = match bytes.get(..2) {
        Some([0xFF, 0xFE]) => wide(&bytes[2..], u16::from_le_bytes),
        Some([0xFE, 0xFF]) => wide(&bytes[2..], u16::from_be_bytes),
        _ if options.tables.windows_1252 && source.text().is_err() => crate::source::from_windows_1252(bytes),
        _ => None,
    };
    match text {
        Some(text) => Cow::Owned(Source::from_bytes(source.path().as_ref(), text.into_bytes())),
        None => Cow::Borrowed(source),
    }
}

/// What may be a table's headings: its first rows, under each separator, of each sheet that is not hidden.
pub(crate) fn possible_headings(source: &Source, options: &Options) -> Result<Vec<Vec<String>>, InputError> {
    let read = || -> Result<Vec<Vec<String>>, Error> {
        let decoded = decoded(source, options);
        Ok(match format_of(&decoded)? {
            Format::Parquet => vec![parquet::names(&decoded)?],
            Format::Xlsx => xlsx::possible_headings(&decoded, options)?,
            Format::Csv => {
                csv::refuse_zero_bytes(&decoded)?;
                loose::possible_headings(decoded.text()?)
            }
        })
    };
    read().map_err(|error| match error {
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

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Csv,
    Parquet,
    Xlsx,
}

/// The format, by the first bytes.
pub(crate) fn format_of(source: &Source) -> Result<Format, InputError> {
    let bytes = source.bytes();
    if bytes.starts_with(b"PAR1") {
        return Ok(Format::Parquet);
    }
    let opendocument = |found: &str| {
        let fault =
            Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, "CSV, Parquet or XLSX");
        InputError::of(vec![fault.with_help("save it as .xlsx or .csv")])
    };
    if bytes.starts_with(b"PK\x03\x04") {
        // Its first part is stored plain, and says what it is.
        let says = b"mimetypeapplication/vnd.oasis.opendocument";
        if bytes.get(30..30 + says.len()) == Some(says) {
            return Err(opendocument("an OpenDocument workbook (.ods)"));
        }
        return Ok(Format::Xlsx);
    }
    let foreign = [
        (&b"\xD0\xCF\x11\xE0"[..], "an old binary workbook (.xls)", "save it as .xlsx or .csv"),
        (&b"\x1F\x8B"[..], "a gzip archive", "unpack it first"),
        (&b"%PDF"[..], "a PDF", "export the table as .csv or .xlsx"),
        (&b"ARROW1"[..], "an Arrow file", "write it as Parquet"),
        (&b"{"[..], "JSON", "write the table as .csv or as Parquet"),
        (&b"[{"[..], "JSON", "write the table as .csv or as Parquet"),
        (&b"<"[..], "a page in HTML or XML", "open it in a spreadsheet program and save it as .xlsx or .csv"),
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
