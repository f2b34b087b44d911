//! XLSX workbooks by calamine. Places are cells (`Sheet1!C7`).
//!
//! Of a workbook with one sheet that one is read; of several the one that bears the table's name, else the first (and a notice
//! says so). The first row that is not empty is the header. Rows that are empty throughout hold nothing and are passed over.
//! Dates are dates by their number format, or ISO text. A formula counts with the value the workbook holds for it; one without
//! a value is refused, since nobody knows what it would be.

use super::grid::{Grid, Row};
use super::header;
use super::hidden::Hidden;
use super::parquet::shown;
use super::rows::{Cell, Filling, Lines, expected_of};
use super::{Kind, Schema, Table, unpacked};
use crate::cell::days_since_1970;
use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::guard::guarded;
use crate::kept::Kept;
use crate::loose::{self, Raw};
use crate::options::Options;
use crate::source::Source;
use crate::suggest;
use calamine::{Data, Reader, SheetVisible, Xlsx};
use std::io::Cursor;
use std::sync::Arc;

type Workbook = Xlsx<Cursor<Arc<[u8]>>>;

fn unreadable(source: &Source, why: &str) -> Error {
    let found = if why.is_empty() { "a damaged workbook".to_owned() } else { format!("a damaged workbook ({why})") };
    let fault =
        Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, "a whole .xlsx workbook");
    InputError::of(vec![fault]).into()
}

fn step<T>(source: &Source, read: impl FnOnce() -> Result<T, calamine::XlsxError>) -> Result<T, Error> {
    match guarded(read) {
        Some(Ok(value)) => Ok(value),
        Some(Err(error)) => Err(unreadable(source, &error.to_string())),
        None => Err(unreadable(source, "")),
    }
}

/// What may be headings: the first rows of the sheet that is asked for, else of each that is not hidden.
pub(super) fn possible_headings(source: &Source, options: &Options) -> Result<Vec<Vec<String>>, Error> {
    let mut workbook = open(source, options)?;
    let visible = workbook.sheets_metadata().iter().filter(|sheet| sheet.visible == SheetVisible::Visible);
    let mut names: Vec<String> = visible.map(|sheet| sheet.name.clone()).take(SHEETS).collect();
    if let Some(asked) = &options.tables.sheet {
        let all = workbook.sheet_names();
        names = all.into_iter().filter(|name| name.eq_ignore_ascii_case(asked)).take(1).collect();
    }
    let mut found = Vec::new();
    for name in names {
        let mut grid = grid(source, &mut workbook, &name, options)?;
        if options.tables.hidden_left_out {
            grid.leave_out(&Hidden::of(source, &name));
        }
        let rows = grid.rows().filter(|row| !row.is_blank()).take(loose::HEADER_WITHIN);
        found.extend(rows.map(|row| row.columns().map(|column| raw_cell(row.cell(column)).shown()).collect()));
    }
    Ok(found)
}

/// A sheet's cells.
struct Sheet {
    name: String,
    grid: Grid,
}

/// Opens a workbook that unpacks to no more than it may.
fn open(source: &Source, options: &Options) -> Result<Workbook, Error> {
    unpacked::check(source, options)?;
    step(source, || Xlsx::new(Cursor::new(source.bytes().clone())))
}

fn grid(source: &Source, workbook: &mut Workbook, sheet: &str, options: &Options) -> Result<Grid, Error> {
    let read = guarded(|| Grid::read(source, workbook, sheet, options)).ok_or_else(|| unreadable(source, ""))?;
    read?.map_err(|error| unreadable(source, &error.to_string()))
}

/// The sheet that is to be read; what is hidden in it is said, and left out where that is asked for.
fn sheet(source: &Source, schema: &Schema<'_>, options: &Options, notices: &mut Vec<Notice>) -> Result<Sheet, Error> {
    let mut sheet = chosen(source, schema, options, notices)?;
    let hidden = Hidden::of(source, &sheet.name);
    let left_out = options.tables.hidden_left_out;
    if let Some(said) = hidden.said(&sheet.name, &sheet.grid, left_out) {
        notices.push(Notice::new(source.path(), said));
    }
    if left_out {
        sheet.grid.leave_out(&hidden);
    }
    Ok(sheet)
}

pub(super) fn read(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    let mut notices = Vec::new();
    let sheet = sheet(source, schema, options, &mut notices)?;
    options.check()?;
    let mut rows = sheet.grid.rows();
    let Some(header) = rows.find(|row| !row.is_blank()) else {
        return Err(empty(source, &sheet, "an empty sheet"));
    };
    // Columns in which nothing stands, not even a name, are none. Below an empty cell of the header nothing may stand.
    let columns = sheet.grid.columns_from(header);
    let place = |row: Row<'_>, column: usize| Place::Cell {
        sheet: sheet.name.clone(),
        row: row.number as usize + 1,
        column: columns[column] as usize + 1,
    };
    let names: Vec<String> = columns.iter().map(|&column| header.cell(column).0.to_string()).collect();
    let (places, faults) = header::matched(source.path(), schema, &names, |column| place(header, column));
    if !faults.is_empty() && places.iter().all(Option::is_none) {
        return Err(InputError::of(faults).into());
    }
    let mut mistakes = Kept::default();
    faults.into_iter().for_each(|fault| mistakes.add(fault.kind, usize::MAX, || fault));
    let mut filling = Filling::new(&schema.columns);
    let mut row_numbers = Vec::new();
    let mut numbers_as_names = vec![false; schema.columns.len()];
    for row in rows {
        if row.is_blank() {
            continue;
        }
        for (index, column) in schema.columns.iter().enumerate() {
            let Some(field) = places[index] else { continue };
            let (data, is_formula) = row.cell(columns[field]);
            let cell = match read_cell(data, is_formula) {
                Ok(cell) => cell,
                Err((kind, found, expected)) => {
                    mistakes.add(kind, index, || {
                        let fault = Fault::new(kind, source.path().clone(), place(row, field), found, expected);
                        fault.with_key(column.name)
                    });
                    continue;
                }
            };
            numbers_as_names[index] |= column.kind == Kind::Name && matches!(cell, Cell::Number(_));
            if let Err(trouble) = filling.push(index, cell) {
                mistakes.add(trouble.kind, index, || {
                    let expected = if trouble.expected.is_empty() { expected_of(*column) } else { trouble.expected };
                    let mut fault =
                        Fault::new(trouble.kind, source.path().clone(), place(row, field), shown(cell), expected);
                    fault.help = trouble.help;
                    fault.with_key(column.name)
                });
            }
        }
        filling.end_row();
        row_numbers.push(row.number + 1);
    }
    if !mistakes.is_empty() {
        return Err(InputError { faults: mistakes.items, total: mistakes.total }.into());
    }
    if filling.rows() == 0 {
        return Err(empty(source, &sheet, "a header without rows"));
    }
    for (column, _) in schema.columns.iter().zip(&numbers_as_names).filter(|(_, numbers)| **numbers) {
        let text = format!(
            "column `{}` holds numbers as names; leading zeros that only the cell's format shows are not part of them",
            column.name
        );
        notices.push(Notice::new(source.path(), text));
    }
    let lines = Lines::Sheet { name: sheet.name, rows: row_numbers, columns };
    Ok(filling.into_table(source, places, lines, notices))
}

fn empty(source: &Source, sheet: &Sheet, found: &str) -> Error {
    let place = Place::Cell { sheet: sheet.name.clone(), row: 1, column: 1 };
    let fault = Fault::new(FaultKind::EmptyFile, source.path().clone(), place, found, "a header and rows");
    InputError::of(vec![fault]).into()
}

/// The sheet that is to be read: the one asked for, the one that bears the table's name, the only one that has its columns, else the first.
/// Hidden sheets are read where they are asked for.
fn chosen(source: &Source, schema: &Schema<'_>, options: &Options, notices: &mut Vec<Notice>) -> Result<Sheet, Error> {
    let mut workbook = open(source, options)?;
    let all = workbook.sheet_names();
    let mut say = |text: String| notices.push(Notice::new(source.path(), text));
    if let Some(asked) = &options.tables.sheet {
        let exactly = all.iter().find(|name| *name == asked);
        let Some(name) = exactly.or_else(|| all.iter().find(|name| name.eq_ignore_ascii_case(asked))) else {
            return Err(which_sheet(source, format!("no sheet `{asked}`"), &all));
        };
        return Ok(Sheet { grid: grid(source, &mut workbook, name, options)?, name: name.clone() });
    }
    let visible = workbook.sheets_metadata().iter().filter(|sheet| sheet.visible == SheetVisible::Visible);
    let names: Vec<String> = visible.map(|sheet| sheet.name.clone()).collect();
    let Some(first) = names.first() else {
        if all.is_empty() {
            return Err(unreadable(source, "it has no sheet"));
        }
        return Err(which_sheet(source, "hidden sheets and no other".to_owned(), &all));
    };
    if names.len() < all.len() {
        let hidden: Vec<&str> = all.iter().filter(|name| !names.contains(name)).map(String::as_str).collect();
        say(format!("hidden and not read: {} (--sheet NAME reads one)", suggest::listed(&hidden)));
    }
    let named = names.iter().find(|name| name.eq_ignore_ascii_case(schema.name));
    if let Some(name) = named.or(Some(first).filter(|_| names.len() == 1)) {
        return Ok(Sheet { grid: grid(source, &mut workbook, name, options)?, name: name.clone() });
    }
    let mut fitting: Vec<(&String, Grid)> = Vec::new();
    for name in names.iter().take(SHEETS) {
        let grid = grid(source, &mut workbook, name, options)?;
        if has_columns(&grid, schema, options) {
            fitting.push((name, grid));
        }
        if fitting.len() > 1 {
            let found = format!("several sheets that may be it: `{}`, `{}`", fitting[0].0, fitting[1].0);
            return Err(which_sheet(source, found, &names));
        }
    }
    match fitting.pop() {
        Some((name, grid)) => {
            let count = names.len();
            say(format!("of {count} sheets `{name}` was read: the others have other columns (--sheet NAME reads one)"));
            Ok(Sheet { name: name.clone(), grid })
        }
        None => {
            say(format!(
                "the workbook has {} sheets; the first, `{first}`, was read (--sheet NAME reads another; so does naming one `{}`)",
                names.len(),
                schema.name
            ));
            Ok(Sheet { grid: grid(source, &mut workbook, first, options)?, name: first.clone() })
        }
    }
}

/// Sheets of a workbook to look through for the one that has a table's columns.
const SHEETS: usize = 30;

/// Whether one of a sheet's first rows names the columns that a table must have.
fn has_columns(grid: &Grid, schema: &Schema<'_>, options: &Options) -> bool {
    grid.rows().filter(|row| !row.is_blank()).take(loose::HEADER_WITHIN).any(|row| {
        let headings: Vec<String> = row.columns().map(|column| raw_cell(row.cell(column)).shown()).collect();
        loose::fits(&headings, schema, &options.tables.columns)
    })
}

/// Refuses a workbook whose sheet cannot be told.
fn which_sheet(source: &Source, found: String, all: &[String]) -> Error {
    let shown: Vec<&str> = all.iter().map(String::as_str).take(20).collect();
    let expected = format!("one of {}", suggest::listed(&shown));
    let fault = Fault::new(FaultKind::UnknownName, source.path().clone(), Place::File, found, expected);
    InputError::of(vec![fault.with_help("say which: --sheet NAME")]).into()
}

type Refusal = (FaultKind, String, &'static str);

fn read_cell(data: &Data, is_formula: bool) -> Result<Cell<'_>, Refusal> {
    Ok(match data {
        Data::Empty if is_formula => {
            let expected = "a value: let a spreadsheet program compute and save the workbook";
            return Err((FaultKind::FormulaCell, "a formula without a stored value".to_owned(), expected));
        }
        Data::Error(error) => {
            return Err((FaultKind::FormulaCell, format!("the error value {error}"), "a value"));
        }
        Data::Bool(flag) => {
            return Err((FaultKind::WrongType, format!("the truth value {flag}"), "text, a number or a date"));
        }
        Data::DurationIso(text) => {
            return Err((FaultKind::WrongType, format!("the duration {text}"), "text, a number or a date"));
        }
        Data::Empty => Cell::Empty,
        Data::String(text) | Data::DateTimeIso(text) => Cell::Text(text),
        Data::Float(number) => Cell::Number(*number),
        Data::Int(number) => Cell::Number(*number as f64),
        Data::DateTime(moment) => {
            if moment.is_duration() {
                return Err((FaultKind::WrongType, "a duration".to_owned(), "text, a number or a date"));
            }
            let (day, with_time) = day_of(moment)?;
            if with_time {
                let found = format!("{} with a time of day", shown(Cell::Day(day)));
                return Err((FaultKind::BadDate, found, "a date without a time"));
            }
            Cell::Day(day)
        }
    })
}

/// The day of a moment, and whether it has a time of day.
fn day_of(moment: &calamine::ExcelDateTime) -> Result<(i32, bool), Refusal> {
    let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
    let date = i16::try_from(year).ok().zip(i8::try_from(month).ok()).zip(i8::try_from(day).ok());
    let date = date.and_then(|((year, month), day)| jiff::civil::Date::new(year, month, day).ok());
    match date {
        Some(date) => Ok((days_since_1970(date), (hour, minute, second, milli) != (0, 0, 0, 0))),
        None => Err((FaultKind::BadDate, format!("{year}-{month:02}-{day:02}"), "a day that exists")),
    }
}

/// A sheet as raw cells.
pub(crate) struct RawSheet {
    pub(crate) name: String,
    grid: Grid,
    /// Columns that hold something, from 0.
    pub(crate) columns: Vec<u32>,
    pub(crate) notices: Vec<Notice>,
}

impl RawSheet {
    /// The sheet that is to be read.
    pub(crate) fn of(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Self, Error> {
        let mut notices = Vec::new();
        let Sheet { name, grid } = sheet(source, schema, options, &mut notices)?;
        let top = grid.rows().find(|row| !row.is_blank());
        let columns = top.map_or_else(Vec::new, |top| grid.columns_from(top));
        Ok(Self { name, grid, columns, notices })
    }

    fn cells<'g>(&self, row: Row<'g>) -> Vec<Raw<'g>> {
        self.columns.iter().map(|&column| raw_cell(row.cell(column))).collect()
    }

    /// The sheet's number, from 1, and the cells as text, of the first rows that hold something.
    pub(crate) fn first_rows(&self, most: usize) -> Vec<(u32, Vec<String>)> {
        let shown = |row: Row<'_>| (row.number + 1, self.cells(row).iter().map(Raw::shown).collect());
        self.grid.rows().filter(|row| !row.is_blank()).take(most).map(shown).collect()
    }

    /// Each row that holds something: the sheet's number, from 1, and its cells by `columns`.
    pub(crate) fn each_row(&self, options: &Options, each: &mut dyn FnMut(u32, &[Raw<'_>])) -> Result<(), Error> {
        for row in self.grid.rows().filter(|row| !row.is_blank()) {
            if row.number.is_multiple_of(4096) {
                options.check()?;
            }
            each(row.number + 1, &self.cells(row));
        }
        Ok(())
    }
}

fn raw_cell((data, is_formula): (&Data, bool)) -> Raw<'_> {
    let refused = |(kind, found, expected): Refusal| Raw::Wrong(kind, found, expected);
    if let Data::DateTime(moment) = data
        && !moment.is_duration()
    {
        return day_of(moment).map_or_else(refused, |(day, with_time)| Raw::Day(day, with_time));
    }
    // What a truth stands for is known where its column is: under `confirmed` it is one, under `event` none.
    if let Data::Bool(truth) = data {
        return Raw::Truth(*truth);
    }
    match read_cell(data, is_formula) {
        Ok(Cell::Text(text)) => Raw::Text(text.into()),
        Ok(Cell::Number(number)) => Raw::Number(number),
        Ok(Cell::Day(day)) => Raw::Day(day, false),
        Ok(Cell::Empty) => Raw::Empty,
        Err(refusal) => refused(refusal),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// rust_xlsxwriter always stores a value, so a workbook that no spreadsheet program has computed cannot be made with it.
    #[test]
    fn a_formula_that_nothing_has_computed_is_refused_and_an_empty_cell_is_not() {
        assert!(matches!(read_cell(&Data::Empty, true), Err((FaultKind::FormulaCell, _, _))));
        assert!(matches!(read_cell(&Data::Empty, false), Ok(Cell::Empty)));
    }
}
