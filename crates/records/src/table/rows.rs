//! Cells into columns one by one (the strict way, for every format), and rows back to their places in the file.

use super::header::Places;
use super::{Column, Kind, Need, Table, Values};
use crate::cell::{self, Trouble};
use crate::error::{Fault, FaultKind, Notice, Place};
use crate::limits::LETTERS;
use crate::source::Source;

/// A cell as a format hands it over.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Cell<'a> {
    Text(&'a str),
    Number(f64),
    Day(i32),
    Empty,
}

/// Columns being filled.
pub(crate) struct Filling<'s> {
    schema: Vec<Column<'s>>,
    columns: Vec<Values>,
    rows: usize,
}

impl<'s> Filling<'s> {
    pub(crate) fn new(schema: &[Column<'s>]) -> Self {
        Self { schema: schema.to_vec(), columns: schema.iter().map(|&column| Values::empty(column)).collect(), rows: 0 }
    }

    /// Columns that were read whole.
    pub(crate) fn of(schema: &[Column<'s>], columns: Vec<Values>, rows: usize) -> Self {
        Self { schema: schema.to_vec(), columns, rows }
    }

    /// Adds the rows of a part filled by the same schema.
    pub(crate) fn append(&mut self, part: Self) {
        for (whole, part) in self.columns.iter_mut().zip(part.columns) {
            match (whole, part) {
                (Values::Names(whole), Values::Names(part)) => whole.append(&part),
                (Values::Numbers(whole), Values::Numbers(part)) => whole.extend(part),
                (Values::SomeNumbers(whole), Values::SomeNumbers(part)) => whole.extend(part),
                (Values::Counts(whole), Values::Counts(part)) => whole.extend(part),
                (Values::Days(whole), Values::Days(part)) => whole.extend(part),
                (Values::SomeDays(whole), Values::SomeDays(part)) => whole.extend(part),
                // Both come from one schema.
                _ => debug_assert!(false, "columns of two kinds"),
            }
        }
        self.rows += part.rows;
    }

    /// Makes room for further rows.
    pub(crate) fn reserve(&mut self, rows: usize) {
        for column in &mut self.columns {
            match column {
                Values::Names(names) => names.codes.reserve(rows),
                Values::Numbers(numbers) => numbers.reserve(rows),
                Values::SomeNumbers(numbers) => numbers.reserve(rows),
                Values::Counts(counts) => counts.reserve(rows),
                Values::Days(days) => days.reserve(rows),
                Values::SomeDays(days) => days.reserve(rows),
            }
        }
    }

    /// Ends a row; every column has had its cell.
    pub(crate) fn end_row(&mut self) {
        self.rows += 1;
    }

    pub(crate) fn rows(&self) -> usize {
        self.rows
    }

    /// Adds a cell to a column, or says why it cannot be one.
    pub(crate) fn push(&mut self, index: usize, cell: Cell<'_>) -> Result<(), Trouble> {
        push_cell(&mut self.columns[index], self.schema[index], cell)
    }

    /// The finished table. Columns that the file does not have are left out.
    pub(crate) fn into_table(self, source: &Source, places: Places, lines: Lines, notices: Vec<Notice>) -> Table {
        let names = self.schema.iter().map(|column| column.name.to_owned()).collect();
        let columns =
            self.columns.into_iter().zip(&places).map(|(column, place)| place.is_some().then_some(column)).collect();
        Table { source: source.clone(), rows: self.rows, columns, names, places, lines, fields: None, notices }
    }
}

/// Adds a cell to a column, or says why it cannot be one.
pub(crate) fn push_cell(values: &mut Values, column: Column<'_>, cell: Cell<'_>) -> Result<(), Trouble> {
    let cell = match cell {
        Cell::Text(text) => match text.trim() {
            "" => Cell::Empty,
            trimmed => Cell::Text(trimmed),
        },
        other => other,
    };
    let empty = || Trouble::new(FaultKind::EmptyCell, expected_of(column));
    if matches!(cell, Cell::Empty) && column.need == Need::Every {
        return Err(empty());
    }
    match values {
        Values::Names(names) => match cell {
            Cell::Text(text) if is_too_long(text) => return Err(too_long()),
            Cell::Text(text) => names.push(without_guard(text)),
            Cell::Empty => names.push_empty(),
            Cell::Number(number) => names.push(&number_as_name(number)?),
            Cell::Day(_) => return Err(Trouble::new(FaultKind::WrongType, "a name, not a date")),
        },
        Values::Numbers(numbers) => numbers.push(number_of(cell)?.ok_or_else(empty)?),
        Values::SomeNumbers(numbers) => numbers.push(number_of(cell)?),
        Values::Counts(counts) => counts.push(count_of(cell)?),
        Values::Days(days) => days.push(day_of(cell)?.ok_or_else(empty)?),
        Values::SomeDays(days) => days.push(day_of(cell)?),
    }
    Ok(())
}

fn is_too_long(text: &str) -> bool {
    text.len() > LETTERS && text.chars().nth(LETTERS).is_some()
}

fn too_long() -> Trouble {
    Trouble::new(FaultKind::TooLarge, format!("a name of at most {LETTERS} letters"))
}

/// A name without the apostrophe that keeps a spreadsheet from taking it for a formula, as this program's own tables have it.
fn without_guard(name: &str) -> &str {
    match name.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']) => rest,
        _ => name,
    }
}

/// What a cell of the column should be, for messages.
pub(crate) fn expected_of(column: Column<'_>) -> String {
    match column.kind {
        Kind::Name => format!("{} (text)", column.meaning),
        Kind::Number => "a number with a decimal point, such as 0.402".to_owned(),
        Kind::Count => "a whole number, such as 3".to_owned(),
        Kind::Day => "a date as YYYY-MM-DD, such as 2024-02-01".to_owned(),
    }
}

/// A name that a workbook or a Parquet file holds as a whole number.
fn number_as_name(number: f64) -> Result<String, Trouble> {
    if number.fract() == 0.0 && number.abs() < 1e15 {
        return Ok(format!("{number:.0}"));
    }
    Err(Trouble::new(FaultKind::WrongType, "a name: text, or a whole number"))
}

fn number_of(cell: Cell<'_>) -> Result<Option<f64>, Trouble> {
    match cell {
        Cell::Empty => Ok(None),
        Cell::Number(number) if number.is_finite() => Ok(Some(number)),
        Cell::Number(_) => Err(Trouble::new(FaultKind::NotFinite, "a finite number")),
        Cell::Text(text) => cell::number(text).map(Some),
        Cell::Day(_) => Err(Trouble::new(FaultKind::WrongType, "a number, not a date")),
    }
}

fn count_of(cell: Cell<'_>) -> Result<Option<u32>, Trouble> {
    match cell {
        Cell::Empty => Ok(None),
        Cell::Number(number) if number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number) => {
            Ok(Some(number as u32))
        }
        Cell::Text(text) => cell::count(text).map(Some),
        Cell::Number(_) | Cell::Day(_) => Err(Trouble::new(FaultKind::NotANumber, "a whole number, such as 3")),
    }
}

fn day_of(cell: Cell<'_>) -> Result<Option<i32>, Trouble> {
    match cell {
        Cell::Empty => Ok(None),
        Cell::Day(day) if cell::day_in_range(day) => Ok(Some(day)),
        Cell::Day(_) => Err(Trouble::new(FaultKind::BadDate, "a date of the years 1900 to 2099")),
        Cell::Text(text) => cell::day(text).map(Some),
        Cell::Number(_) => Err(Trouble::new(FaultKind::BadDate, "a date, not a number")),
    }
}

/// Where rows stand in their file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Lines {
    /// Text: row k stands on this line plus k.
    From { first: u32, separator: u8 },
    /// Text: row k stands on the k-th of these lines.
    Listed { lines: Vec<u32>, separator: u8 },
    /// A sheet: row k of the table is the k-th of these rows of the sheet, and likewise its columns (these from 0).
    Sheet { name: String, rows: Vec<u32>, columns: Vec<u32> },
    /// No lines: rows from 1.
    None,
    /// No lines: row k of the table is the k-th of these rows of the file, from 1.
    Rows { rows: Vec<u32> },
}

/// A mistake between rows, or in one, before its place in the file is known.
#[derive(Debug, Clone)]
pub(crate) struct Located {
    pub(crate) row: usize,
    /// Of the schema.
    pub(crate) column: usize,
    pub(crate) kind: FaultKind,
    pub(crate) found: String,
    pub(crate) expected: String,
    pub(crate) help: Option<String>,
}

impl Lines {
    pub(crate) fn numbers(&self, rows: usize) -> Vec<u32> {
        match self {
            Self::From { first, .. } => (0..rows as u32).map(|row| first + row).collect(),
            Self::Listed { lines, .. } => lines.clone(),
            Self::Sheet { rows, .. } | Self::Rows { rows } => rows.clone(),
            Self::None => Vec::new(),
        }
    }

    pub(crate) fn in_words(&self, row: usize) -> String {
        match self {
            Self::From { first, .. } => format!("line {}", *first as usize + row),
            Self::Listed { lines, .. } => format!("line {}", lines.get(row).copied().unwrap_or_default()),
            Self::Sheet { rows, .. } | Self::Rows { rows } => {
                format!("row {}", rows.get(row).copied().unwrap_or_default())
            }
            Self::None => format!("row {}", row + 1),
        }
    }

    /// The places of mistakes.
    pub(crate) fn locate(
        &self,
        source: &Source,
        names: &[String],
        field: &dyn Fn(usize, usize) -> usize,
        mut mistakes: Vec<Located>,
    ) -> Vec<Fault> {
        mistakes.sort_by_key(|mistake| (mistake.row, mistake.column));
        let mut text = TextPlaces::new(source);
        mistakes
            .into_iter()
            .map(|mistake| {
                let field = field(mistake.row, mistake.column);
                let place = match self {
                    Self::From { first, separator } => text.place(*first as usize + mistake.row, field, *separator),
                    Self::Listed { lines, separator } => {
                        text.place(lines.get(mistake.row).copied().unwrap_or(1) as usize, field, *separator)
                    }
                    Self::Sheet { name, rows, columns } => Place::Cell {
                        sheet: name.clone(),
                        row: rows.get(mistake.row).copied().unwrap_or(1) as usize,
                        column: columns.get(field).copied().unwrap_or(0) as usize + 1,
                    },
                    Self::None => Place::Row { row: mistake.row + 1 },
                    Self::Rows { rows } => {
                        Place::Row { row: rows.get(mistake.row).copied().unwrap_or_default() as usize }
                    }
                };
                let mut fault = Fault::new(mistake.kind, source.path().clone(), place, mistake.found, mistake.expected);
                fault.help = mistake.help;
                fault.with_key(names.get(mistake.column).cloned().unwrap_or_default())
            })
            .collect()
    }
}

/// Finds lines of a text in rising order, in one pass.
struct TextPlaces<'a> {
    rest: &'a [u8],
    line: usize,
}

impl<'a> TextPlaces<'a> {
    fn new(source: &'a Source) -> Self {
        let bytes: &[u8] = source.bytes();
        Self { rest: bytes.strip_prefix(crate::source::BYTE_ORDER_MARK).unwrap_or(bytes), line: 1 }
    }

    fn place(&mut self, line: usize, field: usize, separator: u8) -> Place {
        while self.line < line {
            let Some(end) = memchr::memchr(b'\n', self.rest) else { break };
            self.rest = &self.rest[end + 1..];
            self.line += 1;
        }
        let (_, column) = field_start(self.rest, field, separator);
        Place::Text { line, column, span: None }
    }
}

/// Lines after the record's first, and the column (characters, from 1), at which its k-th field begins; quotes are minded.
pub(crate) fn field_start(record: &[u8], field: usize, separator: u8) -> (usize, usize) {
    let (mut lines, mut column, mut before, mut quoted) = (0, 1, 0, false);
    for &byte in record {
        if before == field || (byte == b'\n' && !quoted) {
            break;
        }
        match byte {
            b'"' => quoted = !quoted,
            b'\n' => (lines, column) = (lines + 1, 0),
            _ if byte == separator && !quoted => before += 1,
            _ => {}
        }
        // Bytes 0x80 to 0xBF continue a character.
        column += usize::from(byte & 0xC0 != 0x80);
    }
    (lines, column)
}

#[cfg(test)]
mod tests {
    use super::field_start;

    #[test]
    fn fields_are_found_by_characters_and_past_quotes() {
        assert_eq!(field_start(b"a,b,c", 0, b','), (0, 1));
        assert_eq!(field_start(b"a,b,c", 2, b','), (0, 5));
        assert_eq!(field_start("µ,\"x,y\",z".as_bytes(), 2, b','), (0, 9));
        assert_eq!(field_start(b"\"x\ny\",z", 1, b','), (1, 4));
        assert_eq!(field_start(b"a\nb,c", 1, b','), (0, 2));
    }
}
