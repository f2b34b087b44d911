//! Tables into one XLSX workbook: a sheet a table, units in the header, numbers as numbers.

use crate::error::Machine;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet, XlsxError};
use std::collections::HashSet;
use std::io;
use std::path::Path;

/// One table.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What the sheet is called; cut and made unique where a workbook needs it.
    pub name: String,
    /// What the table shows, in a sentence; stands on the sheet "About". May be empty.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with one cell a column.
    pub rows: Vec<Vec<Cell>>,
}

/// The head of a column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// As people read it.
    pub head: String,
    /// `mm`, `N`, …
    pub unit: Option<String>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// Text; never taken as a formula.
    Text(String),
    /// A number, in full. One that is not finite becomes an empty cell.
    Number(f64),
    /// A number, in full, shown with so many decimal places.
    Fixed(f64, u8),
    /// Days since 1970-01-01.
    Day(i32),
}

/// The letters a sheet's name may have, and the signs it may not.
const LONGEST_NAME: usize = 31;
const FORBIDDEN: [char; 7] = ['[', ']', ':', '*', '?', '/', '\\'];

/// Writes tables as the sheets of one workbook.
///
/// # Errors
///
/// [`Machine`] where the file cannot be written, or a table has more rows than a sheet can hold.
pub fn workbook(path: &Path, sheets: &[Sheet]) -> Result<(), Machine> {
    super::file(path, &workbook_bytes(path, sheets)?)
}

/// The bytes of a workbook that is to stand at `path`.
///
/// # Errors
///
/// [`Machine`] where a table has more rows than a sheet can hold.
pub fn workbook_bytes(path: &Path, sheets: &[Sheet]) -> Result<Vec<u8>, Machine> {
    let failed = |error: XlsxError| Machine::new("write", path, io::Error::other(error));
    let mut workbook = Workbook::new();
    // The workbook bears no date of its own, so that the same tables give the same bytes.
    let made = ExcelDateTime::from_ymd(2000, 1, 1).map_err(failed)?;
    let properties = rust_xlsxwriter::DocProperties::new().set_author(super::own::AUTHOR).set_creation_datetime(&made);
    workbook.set_properties(&properties);
    let mut taken = HashSet::new();
    for sheet in sheets {
        let worksheet = workbook.add_worksheet();
        fill(worksheet, sheet, &sheet_name(&sheet.name, &mut taken)).map_err(failed)?;
    }
    // A table begins in the first row, so that every program reads it; what it shows stands apart.
    if sheets.iter().any(|sheet| !sheet.caption.is_empty()) {
        let mut named = HashSet::new();
        let line = |(name, line): (&String, &str)| vec![Cell::Text(name.clone()), Cell::Text(line.to_owned())];
        let names: Vec<String> = sheets.iter().map(|sheet| sheet_name(&sheet.name, &mut named)).collect();
        let rows = names
            .iter()
            .zip(sheets)
            .flat_map(|(name, sheet)| sheet.caption.lines().map(move |text| line((name, text))));
        let head = |head: &str| Column { head: head.to_owned(), unit: None };
        let about = Sheet {
            name: "About".to_owned(),
            caption: String::new(),
            columns: vec![head("sheet"), head("what it shows")],
            rows: rows.collect(),
        };
        fill(workbook.add_worksheet(), &about, &sheet_name("About", &mut taken)).map_err(failed)?;
    }
    workbook.save_to_buffer().map_err(failed)
}

fn fill(worksheet: &mut Worksheet, sheet: &Sheet, name: &str) -> Result<(), XlsxError> {
    let head = Format::new().set_bold();
    let date = Format::new().set_num_format("yyyy-mm-dd");
    worksheet.set_name(name)?;
    let fixed: Vec<Format> =
        (0..=MOST_DECIMALS).map(|decimals| Format::new().set_num_format(digits(decimals))).collect();
    for (column, heading) in (0_u16..).zip(&sheet.columns) {
        let text = match &heading.unit {
            Some(unit) => format!("{}, {unit}", heading.head),
            None => heading.head.clone(),
        };
        worksheet.write_string_with_format(0, column, &text, &head)?;
        worksheet.set_column_width(column, width(sheet, column.into(), &text))?;
    }
    worksheet.set_freeze_panes(1, 0)?;
    if let (Some(last), Some(right)) = (sheet.rows.len().checked_sub(1), sheet.columns.len().checked_sub(1)) {
        // What does not fit a sheet is refused where it is written.
        let (last, right) = (u32::try_from(last + 1).unwrap_or(0), u16::try_from(right).unwrap_or(0));
        worksheet.autofilter(0, 0, last, right)?;
    }
    for (row, cells) in (1..).zip(&sheet.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            match cell {
                Cell::Text(text) => {
                    worksheet.write_string(row, column, text)?;
                }
                Cell::Number(number) if number.is_finite() => {
                    worksheet.write_number(row, column, *number)?;
                }
                Cell::Fixed(number, decimals) if number.is_finite() => {
                    worksheet.write_number_with_format(
                        row,
                        column,
                        *number,
                        &fixed[usize::from((*decimals).min(MOST_DECIMALS))],
                    )?;
                }
                Cell::Day(day) => {
                    if let Some(moment) = crate::cell::date_of_day(*day) {
                        let (year, month, day) = (moment.year(), moment.month(), moment.day());
                        let moment = ExcelDateTime::from_ymd(year as u16, month as u8, day as u8)?;
                        worksheet.write_datetime_with_format(row, column, moment, &date)?;
                    }
                }
                Cell::Number(_) | Cell::Fixed(..) | Cell::Empty => {}
            }
        }
    }
    Ok(())
}

/// Decimal places that a number is shown with at most.
const MOST_DECIMALS: u8 = 12;

/// The number format of so many decimal places.
fn digits(decimals: u8) -> String {
    match decimals {
        0 => "0".to_owned(),
        more => format!("0.{}", "0".repeat(more.into())),
    }
}

/// Wide enough for the head and for the text below it, within reason.
fn width(sheet: &Sheet, column: usize, head: &str) -> f64 {
    let longest = sheet.rows.iter().take(200).map(|row| match row.get(column) {
        Some(Cell::Text(text)) => text.chars().count(),
        Some(Cell::Number(_) | Cell::Fixed(..) | Cell::Day(_)) => 10,
        _ => 0,
    });
    longest.chain([head.chars().count()]).max().unwrap_or(0).clamp(6, 48) as f64 + 2.0
}

/// A name that a sheet can have and no other has.
fn sheet_name(wanted: &str, taken: &mut HashSet<String>) -> String {
    let clean: String = wanted.chars().map(|letter| if FORBIDDEN.contains(&letter) { ' ' } else { letter }).collect();
    let clean = clean.trim_matches(|letter| letter == '\'' || letter == ' ');
    let clean = if clean.is_empty() { "table" } else { clean };
    let cut = |letters: usize| clean.chars().take(letters).collect::<String>();
    let mut name = cut(LONGEST_NAME);
    let mut number = 2;
    while !taken.insert(name.to_lowercase()) {
        let suffix = format!(" {number}");
        name = cut(LONGEST_NAME - suffix.len()) + &suffix;
        number += 1;
    }
    name
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn names_of_sheets_are_cut_cleaned_and_unique() {
        let mut taken = HashSet::new();
        let long = "contributors of the offset, 1 exhaust, running";
        assert_eq!(sheet_name(long, &mut taken), "contributors of the offset, 1 e");
        assert_eq!(sheet_name(long, &mut taken), "contributors of the offset, 1 2");
        assert_eq!(sheet_name("a/b?", &mut taken), "a b");
        assert_eq!(sheet_name("", &mut taken), "table");
    }

    #[test]
    fn a_table_begins_in_the_first_row_and_what_it_shows_stands_apart() {
        use calamine::{Data, Reader, Xlsx};
        let columns = ["date", "thickness"].map(|head| Column { head: head.to_owned(), unit: None });
        let sheet = Sheet {
            name: "shims".to_owned(),
            caption: "Shims in the drawer".to_owned(),
            columns: columns.to_vec(),
            rows: vec![vec![Cell::Day(19_782), Cell::Fixed(0.41, 3)]],
        };
        let bytes = workbook_bytes(Path::new("shims.xlsx"), &[sheet]).unwrap();
        let mut part = String::new();
        let mut archive = zip::ZipArchive::new(io::Cursor::new(bytes.clone())).unwrap();
        io::Read::read_to_string(&mut archive.by_name("xl/worksheets/sheet1.xml").unwrap(), &mut part).unwrap();
        assert!(part.contains("<autoFilter ref=\"A1:B2\"") && part.contains("state=\"frozen\""), "{part}");
        io::Read::read_to_string(&mut archive.by_name("xl/styles.xml").unwrap(), &mut part).unwrap();
        assert!(part.contains("formatCode=\"0.000\"") && part.contains("formatCode=\"yyyy-mm-dd\""), "{part}");
        let mut read: Xlsx<_> = Xlsx::new(io::Cursor::new(bytes)).unwrap();
        assert_eq!(read.sheet_names(), ["shims", "About"]);
        let shims = read.worksheet_range("shims").unwrap();
        assert_eq!(shims.get((0, 0)), Some(&Data::String("date".to_owned())));
        assert!(matches!(shims.get((1, 0)), Some(Data::DateTime(_))));
        let about = read.worksheet_range("About").unwrap();
        assert_eq!(about.get((1, 1)), Some(&Data::String("Shims in the drawer".to_owned())));
    }

    #[test]
    fn the_same_tables_give_the_same_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let sheet = Sheet {
            name: "shims".to_owned(),
            caption: "Shims in the drawer".to_owned(),
            columns: vec![
                Column { head: "piece".to_owned(), unit: None },
                Column { head: "thickness".to_owned(), unit: Some("mm".to_owned()) },
            ],
            rows: vec![
                vec![Cell::Text("=1+1".to_owned()), Cell::Number(0.411)],
                vec![Cell::Empty, Cell::Number(f64::NAN)],
            ],
        };
        let (a, b) = (folder.path().join("a.xlsx"), folder.path().join("b.xlsx"));
        workbook(&a, std::slice::from_ref(&sheet)).unwrap();
        workbook(&b, &[sheet]).unwrap();
        assert_eq!(std::fs::read(a).unwrap(), std::fs::read(b).unwrap());
    }
}
