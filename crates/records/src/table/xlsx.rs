//! XLSX workbooks by calamine. Places are cells (`Sheet1!C7`).
//!
//! Of a workbook with one sheet that one is read; of several the one that bears the table's name, else the first (and a notice
//! says so). The first row that is not empty is the header. Rows that are empty throughout hold nothing and are passed over.
//! Dates are dates by their number format, or ISO text. A formula counts with the value the workbook holds for it; one without
//! a value is refused, since nobody knows what it would be.

use super::grid::{Grid, Row};
use super::header;
use super::parquet::shown;
use super::rows::{Cell, Filling, Lines, expected_of};
use super::{Kind, Schema, Table, unpacked};
use crate::cell::days_since_1970;
use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::guard::guarded;
use crate::kept::Kept;
use crate::options::Options;
use crate::source::Source;
use calamine::{Data, Reader, Xlsx};
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

/// The names in the first row that is not empty, of the first sheet.
pub(super) fn names(source: &Source) -> Result<Vec<String>, Error> {
    let options = Options::default();
    let mut workbook = open(source, &options)?;
    let sheet = workbook.sheet_names().first().cloned().unwrap_or_default();
    let grid = grid(source, &mut workbook, &sheet, &options)?;
    let Some(header) = grid.rows().find(|row| !row.is_blank()) else { return Ok(Vec::new()) };
    let names = header.columns().map(|column| header.cell(column).0.to_string().trim().to_owned());
    Ok(names.filter(|name| !name.is_empty()).collect())
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
    match guarded(|| Grid::read(source, workbook, sheet, options)) {
        Some(read) => read?.map_err(|error| unreadable(source, &error.to_string())),
        None => Err(unreadable(source, "")),
    }
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
        notices.push(Notice {
            path: source.path().to_path_buf(),
            text: format!(
                "column `{}` holds numbers as names; leading zeros that only the cell's format shows are not part of them",
                column.name
            ),
        });
    }
    let lines = Lines::Sheet { name: sheet.name, rows: row_numbers, columns };
    Ok(filling.into_table(source, places, lines, notices))
}

fn empty(source: &Source, sheet: &Sheet, found: &str) -> Error {
    let place = Place::Cell { sheet: sheet.name.clone(), row: 1, column: 1 };
    let fault = Fault::new(FaultKind::EmptyFile, source.path().clone(), place, found, "a header and rows");
    InputError::of(vec![fault]).into()
}

fn sheet(source: &Source, schema: &Schema<'_>, options: &Options, notices: &mut Vec<Notice>) -> Result<Sheet, Error> {
    let mut workbook = open(source, options)?;
    let names = workbook.sheet_names();
    let Some(first) = names.first() else { return Err(unreadable(source, "it has no sheet")) };
    let named = names.iter().find(|name| name.eq_ignore_ascii_case(schema.name));
    let name = named.unwrap_or(first).clone();
    if names.len() > 1 && named.is_none() {
        notices.push(Notice {
            path: source.path().to_path_buf(),
            text: format!(
                "the workbook has {} sheets; the first, `{name}`, was read (name one `{}` to have it read instead)",
                names.len(),
                schema.name
            ),
        });
    }
    let grid = grid(source, &mut workbook, &name, options)?;
    Ok(Sheet { name, grid })
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
            let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
            if (hour, minute, second, milli) != (0, 0, 0, 0) {
                let found = format!("{year}-{month:02}-{day:02} with a time of day");
                return Err((FaultKind::BadDate, found, "a date without a time"));
            }
            let date = i16::try_from(year).ok().zip(i8::try_from(month).ok()).zip(i8::try_from(day).ok());
            let date = date.and_then(|((year, month), day)| jiff::civil::Date::new(year, month, day).ok());
            match date {
                Some(date) => Cell::Day(days_since_1970(date)),
                None => return Err((FaultKind::BadDate, format!("{year}-{month:02}-{day:02}"), "a day that exists")),
            }
        }
    })
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
