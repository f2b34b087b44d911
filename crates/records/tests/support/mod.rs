//! Files in the formats that are not text.
#![allow(unreachable_pub, reason = "the test file beside takes what it needs of these")]

mod parquet_file;

use parquet_file::{Cells, write_parquet};
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
use std::path::Path;

/// A sheet of text rows; dates become dates, numbers numbers, names stay text.
pub fn sheet(path: &Path, header: &str, rows: &[[&str; 8]]) {
    let mut workbook = Workbook::new();
    let date = Format::new().set_num_format("yyyy-mm-dd");
    let sheet = workbook.add_worksheet();
    for (column, name) in (0..).zip(header.split(',')) {
        sheet.write_string(0, column, name).unwrap();
    }
    for (row, cells) in (1..).zip(rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            match column {
                2 => {
                    let moment = ExcelDateTime::parse_from_str(cell).unwrap();
                    sheet.write_datetime_with_format(row, column, moment, &date).unwrap();
                }
                3 | 5 => {
                    sheet.write_number(row, column, cell.parse::<f64>().unwrap()).unwrap();
                }
                _ if cell.is_empty() => {}
                _ => {
                    sheet.write_string(row, column, *cell).unwrap();
                }
            }
        }
    }
    workbook.save(path).unwrap();
}

/// A workbook whose second sheet, named for its content, begins in column B and has four faulty rows.
pub fn workbook(path: &Path) {
    let mut workbook = Workbook::new();
    workbook.add_worksheet().set_name("notes").unwrap().write_string(0, 0, "nothing here").unwrap();
    let date = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    let sheet = workbook.add_worksheet().set_name("Inspections").unwrap();
    sheet.set_name("inspections").unwrap();
    for (column, name) in (1..).zip(["engine", "valve", "date", "hours", "feature", "value"]) {
        sheet.write_string(1, column, name).unwrap();
    }
    for row in 2..7 {
        for (column, text) in [(1, "E01"), (2, "1"), (3, "2024-01-01"), (5, "offset")] {
            sheet.write_string(row, column, text).unwrap();
        }
        sheet.write_number(row, 4, f64::from(row)).unwrap();
        sheet.write_number(row, 6, 1.0).unwrap();
    }
    sheet.write_formula(3, 4, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_string(4, 6, "one").unwrap();
    let noon = ExcelDateTime::parse_from_str("2024-01-01 12:00").unwrap();
    sheet.write_datetime_with_format(5, 3, noon, &date).unwrap();
    sheet.write_boolean(6, 1, true).unwrap();
    workbook.save(path).unwrap();
}

fn texts(name: &str, cells: &[Option<&str>]) -> (String, Cells) {
    (name.to_owned(), Cells::Texts(cells.iter().map(|cell| cell.map(str::to_owned)).collect()))
}

fn numbers(name: &str, cells: &[Option<f64>]) -> (String, Cells) {
    (name.to_owned(), Cells::Numbers(cells.to_vec()))
}

/// The same rows as Parquet: numbers as numbers, an empty cell as null.
pub fn parquet(path: &Path, header: &str, rows: &[[&str; 8]]) {
    let columns = header.split(',').enumerate().map(|(index, name)| {
        let cells: Vec<Option<&str>> =
            rows.iter().map(|row| Some(row[index]).filter(|cell| !cell.is_empty())).collect();
        if matches!(index, 3 | 5) {
            let cells: Vec<Option<f64>> = cells.iter().map(|cell| cell.map(|c| c.parse().unwrap())).collect();
            return numbers(name, &cells);
        }
        texts(name, &cells)
    });
    write_parquet(path, &columns.collect::<Vec<_>>());
}

/// Four rows, of which the second has NaN for a value and the third none.
pub fn parquet_with_gaps(path: &Path) {
    let same = |name: &str, cell| texts(name, &[Some(cell); 4]);
    let columns = [
        same("engine", "E01"),
        same("valve", "1"),
        same("feature", "offset"),
        same("date", "2024-01-01"),
        numbers("hours", &[1.0, 2.0, 3.0, 4.0].map(Some)),
        numbers("value", &[Some(1.0), Some(f64::NAN), None, Some(1.0)]),
    ];
    write_parquet(path, &columns);
}

/// Columns of names and one of numbers.
pub fn parquet_of(path: &Path, names: &[(&str, &[&str])], (number, values): (&str, &[f64])) {
    let some = |cells: &[&str]| cells.iter().map(|cell| Some((*cell).to_owned())).collect();
    let names = names.iter().map(|(name, cells)| ((*name).to_owned(), Cells::Texts(some(cells))));
    let values = (number.to_owned(), Cells::Numbers(values.iter().copied().map(Some).collect()));
    write_parquet(path, &names.chain([values]).collect::<Vec<_>>());
}
