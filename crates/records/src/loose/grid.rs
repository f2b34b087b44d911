//! A table as raw cells, whatever its format, row by row: it is gone through twice, once to see how it is written and once to read it, and
//! never held as a whole in another form.

use super::headings::Heading;
use crate::error::{Error, Fault, FaultKind, InputError, Machine, Place};
use crate::options::Options;
use crate::source::Source;
use crate::table::{Lines, Need, RawColumns, RawSheet, Schema, Wide, csv_cells, field_start};
use std::borrow::Cow;
use std::io;

/// A cell as its format has it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Raw<'a> {
    Text(Cow<'a, str>),
    Number(f64),
    /// A calendar day; whether a time of day stood behind it.
    Day(i32, bool),
    /// A truth value of a workbook: a word under `event` and the like, and nothing elsewhere.
    Truth(bool),
    Empty,
    /// What no column can hold: kind, what was found, what is expected.
    Wrong(FaultKind, String, &'static str),
}

impl Raw<'_> {
    pub(super) fn is_blank(&self) -> bool {
        match self {
            Self::Empty => true,
            Self::Text(text) => text.trim().is_empty(),
            _ => false,
        }
    }

    /// As messages and reports show it.
    pub(crate) fn shown(&self) -> String {
        match self {
            Self::Text(text) => text.trim().to_owned(),
            Self::Number(number) => number.to_string(),
            Self::Day(day, _) => crate::cell::date_of_day(*day).map_or_else(String::new, |date| date.to_string()),
            Self::Truth(truth) => format!("the truth value {truth}"),
            Self::Empty => String::new(),
            Self::Wrong(_, found, _) => found.clone(),
        }
    }
}

/// Where a table's cells are.
pub(crate) enum Grid<'a> {
    Csv(Csv<'a>),
    Sheet(Sheet),
    Parquet(RawColumns),
}

/// Text with its separator and the place of its header.
pub(crate) struct Csv<'a> {
    /// From the header on.
    body: &'a str,
    /// The header's line, from 1.
    line: usize,
    separator: u8,
    /// Lines above the header that hold something.
    above: usize,
}

/// The cells of a sheet.
pub(crate) struct Sheet {
    cells: RawSheet,
    headings: Vec<String>,
    /// The sheet's number of the header's row, from 1.
    header: u32,
    /// Rows above it that hold something.
    above: usize,
}

/// A row on its way.
pub(crate) struct Row<'r, 'a> {
    /// Line, row of the sheet, or row from 1.
    pub(crate) line: u32,
    pub(crate) cells: &'r [Raw<'a>],
    /// Why it is no row of this table, if it is none.
    pub(crate) misshapen: Option<Fault>,
}

/// Rows to look for a header in: exports begin with a title and the day they were made.
pub(crate) const HEADER_WITHIN: usize = 25;

/// How much of a table a row of headings would name: columns that must be there, then columns at all.
pub(crate) fn score(headings: &[String], schema: &Schema<'_>, given: &[(String, String)]) -> (usize, usize) {
    let read: Vec<Heading> = headings.iter().map(|heading| Heading::of(heading)).collect();
    let (mut must, mut all) = (0, 0);
    for column in &schema.columns {
        let given = given.iter().any(|(name, heading)| name == column.name && read.iter().any(|h| h.raw == *heading));
        if given || read.iter().any(|heading| heading.is(schema.name, column.name).is_some()) {
            all += 1;
            must += usize::from(column.need == Need::Every);
        }
    }
    (must, all)
}

/// How many columns that must be there a row of headings does not name.
pub(crate) fn lacking(headings: &[String], schema: &Schema<'_>, given: &[(String, String)]) -> usize {
    let needed = schema.columns.iter().filter(|column| column.need == Need::Every).count();
    needed - score(headings, schema, given).0
}

/// Whether a row of headings names every column that must be there, those aside that a wide layout does without.
pub(crate) fn fits(headings: &[String], schema: &Schema<'_>, given: &[(String, String)]) -> bool {
    let read: Vec<Heading> = headings.iter().map(|heading| Heading::of(heading)).collect();
    let is_named = |index: usize| {
        let name = schema.columns[index].name;
        let given = given.iter().any(|(of, heading)| of == name && read.iter().any(|h| h.raw == *heading));
        given || read.iter().any(|heading| heading.is(schema.name, name).is_some())
    };
    // Beside a column of the values there is no column for each.
    let without = |index: usize| {
        let stands = |wide: &Wide| wide.value == index || (wide.name == Some(index) && !is_named(wide.value));
        schema.wide.iter().any(stands)
    };
    let needed = schema.columns.iter().enumerate();
    let needed = needed.filter(|(index, column)| column.need == Need::Every && !without(*index));
    let columns: Vec<_> = needed.map(|(_, column)| *column).collect();
    let all = columns.len();
    all > 0 && score(headings, &Schema { columns, ..schema.clone() }, given).0 == all
}

impl<'a> Grid<'a> {
    /// The grid of a table, its header found.
    pub(super) fn of(
        source: &Source,
        text: Option<&'a str>,
        schema: &Schema<'_>,
        options: &Options,
    ) -> Result<Self, Error> {
        let given = &options.tables.columns;
        if let Some(text) = text {
            return Ok(Self::Csv(Csv::of(source, text, schema, given)?));
        }
        if source.bytes().starts_with(b"PAR1") {
            return RawColumns::of(source).map(Self::Parquet);
        }
        let cells = RawSheet::of(source, schema, options)?;
        let tops = cells.first_rows(HEADER_WITHIN);
        let best = tops
            .iter()
            .enumerate()
            .map(|(at, (_, headings))| (score(headings, schema, given), at))
            .max_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)));
        let Some((_, at)) = best else {
            let place = Place::Cell { sheet: cells.name, row: 1, column: 1 };
            return Err(empty(source, place, "an empty sheet").into());
        };
        let (header, headings) = tops[at].clone();
        Ok(Self::Sheet(Sheet { cells, headings, header, above: at }))
    }

    /// The headings.
    pub(super) fn headings(&self) -> Vec<String> {
        match self {
            Self::Csv(csv) => csv.headings(),
            Self::Sheet(sheet) => sheet.headings.clone(),
            Self::Parquet(columns) => columns.names.clone(),
        }
    }

    /// Rows above the header that hold something.
    pub(super) fn above(&self) -> usize {
        match self {
            Self::Csv(csv) => csv.above,
            Self::Sheet(sheet) => sheet.above,
            Self::Parquet(_) => 0,
        }
    }

    /// The sign between fields, where there is one.
    pub(super) fn separator(&self) -> Option<u8> {
        match self {
            Self::Csv(csv) => Some(csv.separator),
            _ => None,
        }
    }

    /// What the format's reader had to say.
    pub(super) fn notices(&self) -> Vec<crate::error::Notice> {
        match self {
            Self::Sheet(sheet) => sheet.cells.notices.clone(),
            _ => Vec::new(),
        }
    }

    /// Whether the file tells which of its cells are merged, and has some.
    pub(super) fn knows_merged_cells(&self) -> bool {
        matches!(self, Self::Sheet(sheet) if !sheet.cells.merged.is_empty())
    }

    /// The row in which the merged cell begins that a cell is part of, if it is part of one and not its first.
    pub(super) fn merged_from(&self, line: u32, field: usize) -> Option<u32> {
        let Self::Sheet(sheet) = self else { return None };
        sheet.cells.merged_from(line, *sheet.cells.columns.get(field)?)
    }

    /// Each row below the header that holds anything.
    pub(super) fn each_row(
        &self,
        source: &Source,
        options: &Options,
        mut each: impl FnMut(Row<'_, '_>),
    ) -> Result<(), Error> {
        match self {
            Self::Csv(csv) => csv.each_row(source, options, &mut each),
            Self::Sheet(sheet) => sheet.cells.each_row(options, &mut |line, cells| {
                if line > sheet.header {
                    each(Row { line, cells, misshapen: None });
                }
            }),
            Self::Parquet(columns) => columns.each_row(source, options, &mut |line, cells| {
                if !cells.iter().all(Raw::is_blank) {
                    each(Row { line, cells, misshapen: None });
                }
            }),
        }
    }

    /// The place of a cell.
    pub(super) fn places<'s>(&self, source: &'s Source) -> Places<'s, '_> {
        Places { grid: self, rest: text_of(source), line: 1 }
    }

    /// Rows back to lines.
    pub(super) fn lines(&self, lines: Vec<u32>) -> Lines {
        match self {
            Self::Csv(csv) => Lines::Listed { lines, separator: csv.separator },
            Self::Sheet(sheet) => {
                Lines::Sheet { name: sheet.cells.name.clone(), rows: lines, columns: sheet.cells.columns.clone() }
            }
            Self::Parquet(_) => Lines::Rows { rows: lines },
        }
    }

    /// The number of a field as the program that shows the file counts: a sheet's letter, else from 1.
    pub(super) fn field_in_words(&self, field: usize) -> String {
        match self {
            Self::Sheet(sheet) => crate::error::column_letters(sheet.column(field)),
            _ => (field + 1).to_string(),
        }
    }
}

impl Sheet {
    /// The sheet's number of a field, from 1.
    fn column(&self, field: usize) -> usize {
        self.cells.columns.get(field).map_or(0, |column| *column as usize) + 1
    }
}

fn text_of(source: &Source) -> &[u8] {
    let bytes: &[u8] = source.bytes();
    bytes.strip_prefix(crate::source::BYTE_ORDER_MARK).unwrap_or(bytes)
}

/// Finds places in rising order of lines, in one pass.
pub(super) struct Places<'s, 'g> {
    grid: &'g Grid<'g>,
    rest: &'s [u8],
    line: usize,
}

impl Places<'_, '_> {
    pub(super) fn of(&mut self, line: u32, field: usize) -> Place {
        match self.grid {
            Grid::Csv(csv) => {
                while self.line < line as usize {
                    let Some(end) = memchr::memchr(b'\n', self.rest) else { break };
                    self.rest = &self.rest[end + 1..];
                    self.line += 1;
                }
                let (lines, column) = field_start(self.rest, field, csv.separator);
                Place::Text { line: line as usize + lines, column, span: None }
            }
            Grid::Sheet(sheet) => {
                Place::Cell { sheet: sheet.cells.name.clone(), row: line as usize, column: sheet.column(field) }
            }
            Grid::Parquet(_) => Place::Row { row: line as usize },
        }
    }

    /// Of the k-th heading.
    pub(super) fn heading(&mut self, field: usize) -> Place {
        match self.grid {
            Grid::Csv(csv) => self.of(csv.line as u32, field),
            Grid::Sheet(sheet) => self.of(sheet.header, field),
            Grid::Parquet(_) => Place::File,
        }
    }
}

fn empty(source: &Source, place: Place, found: &str) -> InputError {
    InputError::of(vec![Fault::new(FaultKind::EmptyFile, source.path().clone(), place, found, "a header and rows")])
}

impl<'a> Csv<'a> {
    /// Finds separator and header: those under which the most columns are named.
    fn of(source: &Source, text: &'a str, schema: &Schema<'_>, given: &[(String, String)]) -> Result<Self, InputError> {
        let mut best: Option<((usize, usize, usize), Self)> = None;
        each_top_line(text, |at, line, above, separator| {
            let csv = Self { body: &text[at..], line, separator, above };
            let headings = csv.headings();
            let (must, all) = score(&headings, schema, given);
            // `Nr;Reading` is no single heading, and where none is known the row of the most fields shows the user what there is.
            let rank = (must, all, headings.len());
            if best.as_ref().is_none_or(|(before, _)| rank > *before) {
                best = Some((rank, csv));
            }
            fits(&headings, schema, given)
        });
        let Some((_, csv)) = best else {
            let place = Place::Text { line: 1, column: 1, span: None };
            return Err(empty(source, place, "comments and nothing else"));
        };
        Ok(csv)
    }

    fn headings(&self) -> Vec<String> {
        headings_of(self.body, self.separator)
    }

    fn each_row(&self, source: &Source, options: &Options, each: &mut dyn FnMut(Row<'_, '_>)) -> Result<(), Error> {
        let bytes = self.body.as_bytes();
        let mut reader = csv_cells(bytes, self.separator);
        let mut record = ::csv::ByteRecord::new();
        let (mut counted_to, mut line, mut number, mut fields) = (0, self.line, 0_usize, 0);
        loop {
            let from = usize::try_from(reader.position().byte()).unwrap_or(bytes.len());
            match reader.read_byte_record(&mut record) {
                Ok(true) => {}
                Ok(false) => return Ok(()),
                Err(error) => return Err(Machine::new("read", source.path(), io::Error::other(error)).into()),
            }
            let blanks = bytes[from..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
            let start = from + blanks;
            line += memchr::memchr_iter(b'\n', &bytes[counted_to..start]).count();
            counted_to = start;
            number += 1;
            if number == 1 {
                fields = record.len();
                continue;
            }
            if number.is_multiple_of(4096) {
                options.check()?;
                options.watch.tell(start, bytes.len());
            }
            // The whole text is UTF-8 and fields end at ASCII signs.
            let cells: Vec<Raw<'_>> = record
                .iter()
                .map(|cell| Raw::Text(Cow::Borrowed(std::str::from_utf8(cell).unwrap_or_default())))
                .collect();
            if cells.iter().all(Raw::is_blank) {
                continue;
            }
            let end = usize::try_from(reader.position().byte()).unwrap_or(bytes.len()).min(bytes.len());
            let misshapen = self.misshapen(source, &cells, fields, (start, end, line));
            each(Row { line: line as u32, cells: &cells, misshapen });
        }
    }

    /// A row that has other fields than the header, or whose quotes do not close. Blank fields behind its end do not count.
    fn misshapen(
        &self,
        source: &Source,
        cells: &[Raw<'_>],
        fields: usize,
        (start, end, line): (usize, usize, usize),
    ) -> Option<Fault> {
        let record = &self.body.as_bytes()[start..];
        let whole = &self.body.as_bytes()[start..end.max(start)];
        let place = |field: usize| {
            let (lines, column) = field_start(record, field, self.separator);
            Place::Text { line: line + lines, column, span: None }
        };
        // A remark may have lines; a quote that is missing or one too many swallows rows, and rows have separators.
        let separator = char::from(self.separator);
        let swallows = |cell: &Raw<'_>| match cell {
            Raw::Text(text) => text.lines().skip(1).any(|line| line.contains(separator)),
            _ => false,
        };
        let is_whole =
            cells.len() == fields && self.closes(whole) && !cells.iter().any(|cell| self.holds_a_row(cell, fields));
        if let Some(field) = cells.iter().position(swallows).filter(|_| !is_whole) {
            let found = "a quoted field that runs over the end of its line";
            let expected = "a closing quote on the same line";
            let fault = Fault::new(FaultKind::Syntax, source.path().clone(), place(field), found, expected);
            return Some(fault.with_help("is a quote missing, or one too many?"));
        }
        let used = cells.len() - cells.iter().rev().take_while(|cell| cell.is_blank()).count();
        if cells.len() == fields || (used <= fields && cells.len() > fields) {
            return None;
        }
        let counted = |count: usize| if count == 1 { "1 field".to_owned() } else { format!("{count} fields") };
        let mut fault = Fault::new(
            FaultKind::RaggedRow,
            source.path().clone(),
            place(cells.len().min(fields).saturating_sub(1)),
            counted(cells.len()),
            format!("{}, as in the header", counted(fields)),
        );
        if self.body[start..].starts_with('#') {
            fault.help = Some("comments stand before the header only".to_owned());
        } else if used <= 1 {
            fault.help = Some("a remark between or below the rows? take the line out".to_owned());
        } else if cells.len() < fields {
            let lacks = fields - cells.len();
            let (noun, sign) = (if lacks == 1 { "field is" } else { "fields are" }, char::from(self.separator));
            let sign = if sign == '\t' { "a tab".to_owned() } else { format!("`{sign}`") };
            fault.help = Some(format!("{lacks} {noun} missing: an empty one at the end needs {sign} before it too"));
        } else if cells.len() > fields && self.separator == b',' {
            let help = "does a decimal comma split a number in two? the decimal sign is a point, or fields are separated by semicolons; \
                        a name with a comma stands in quotes";
            fault.help = Some(help.to_owned());
        }
        Some(fault)
    }
}

impl Csv<'_> {
    /// Whether every quote of a record closes before a separator or the record's end.
    fn closes(&self, record: &[u8]) -> bool {
        let record = record.trim_ascii_end();
        let mut quoted = false;
        let mut bytes = record.iter().copied().peekable();
        while let Some(byte) = bytes.next() {
            if byte != b'"' {
                continue;
            }
            if quoted && bytes.peek() == Some(&b'"') {
                bytes.next();
                continue;
            }
            quoted = !quoted;
            if !quoted && bytes.peek().is_some_and(|next| *next != self.separator) {
                return false;
            }
        }
        !quoted
    }

    /// Whether a later line of a cell may be a row of its own.
    fn holds_a_row(&self, cell: &Raw<'_>, fields: usize) -> bool {
        let separator = char::from(self.separator);
        let Raw::Text(text) = cell else { return false };
        text.lines().skip(1).any(|line| line.matches(separator).count() + 1 >= fields)
    }
}

/// The cells of a text's first record.
fn headings_of(body: &str, separator: u8) -> Vec<String> {
    let mut record = ::csv::StringRecord::new();
    let mut reader = csv_cells(body.as_bytes(), separator);
    // The text is UTF-8.
    let _ = reader.read_record(&mut record);
    record.iter().map(|name| name.trim().to_owned()).collect()
}

/// Hands over each line that may be a header, under each separator: its byte, its line, how many lines above it hold something. Ends below the
/// line of which it is told that it is one.
fn each_top_line(text: &str, mut each: impl FnMut(usize, usize, usize, u8) -> bool) {
    let (mut at, mut line, mut looked) = (0, 1, 0);
    let mut said = None;
    for candidate in text.split_inclusive('\n') {
        let bare = candidate.trim();
        // What some spreadsheet programs put on top: `sep=;`.
        if let Some(sign) = bare.strip_prefix("sep=").filter(|sign| looked == 0 && sign.len() == 1) {
            said = sign.bytes().next();
        } else if !bare.is_empty() && !candidate.starts_with('#') {
            let mut found = false;
            for separator in said.map_or_else(|| vec![b',', b';', b'\t', b'|'], |said| vec![said]) {
                found |= each(at, line, looked, separator);
            }
            looked += 1;
            if found {
                break;
            }
        }
        if looked == HEADER_WITHIN {
            break;
        }
        at += candidate.len();
        line += 1;
    }
}

/// What may be the headings of a text.
pub(crate) fn possible_headings(text: &str) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    each_top_line(text, |at, _, _, separator| {
        let headings = headings_of(&text[at..], separator);
        if headings.len() > 1 || separator == b',' {
            all.push(headings);
        }
        false
    });
    all
}
