//! Tables of a report as the sheets of a workbook.

use packdrift_records::write;
use packdrift_report::calendar;
use packdrift_report::table::{Cell, Column, Table};

/// A table as a sheet; one that another command reads begins with the columns' keys.
pub(super) fn sheet(table: &Table) -> write::Sheet {
    let head = |column: &Column| {
        if table.read_back {
            return write::Column { head: column.key.clone(), unit: None };
        }
        write::Column { head: column.head.clone(), unit: column.unit.clone() }
    };
    let dates: Vec<bool> = (0..table.columns.len()).map(|column| holds_dates(table, column)).collect();
    let cells = |row: &Vec<Cell>| row.iter().zip(&dates).map(|(cell, dates)| in_sheet(cell, *dates)).collect();
    write::Sheet {
        name: table.name.replace('-', " "),
        caption: if table.read_back { String::new() } else { table.caption.clone() },
        columns: table.columns.iter().map(head).collect(),
        rows: table.rows.iter().map(cells).collect(),
    }
}

/// Whether a column of text holds dates and nothing else: a spreadsheet is to have them as such.
fn holds_dates(table: &Table, column: usize) -> bool {
    let mut cells =
        table.rows.iter().filter_map(|row| row.get(column)).filter(|cell| !matches!(cell, Cell::Empty)).peekable();
    cells.peek().is_some() && cells.all(|cell| matches!(cell, Cell::Text(text) if calendar::day(text).is_some()))
}

/// A cell of a table that another command reads.
pub(super) fn in_csv(cell: &write::Cell) -> Cell {
    match cell {
        write::Cell::Empty => Cell::Empty,
        write::Cell::Text(text) => Cell::text(text),
        write::Cell::Number(number) | write::Cell::Fixed(number, _) => Cell::plain(*number),
        write::Cell::Day(day) => Cell::text(calendar::iso(*day)),
    }
}

fn in_sheet(cell: &Cell, is_date: bool) -> write::Cell {
    match cell {
        Cell::Text(text) if is_date => calendar::day(text).map_or(write::Cell::Empty, write::Cell::Day),
        Cell::Text(text) | Cell::Verdict { word: text, .. } => write::Cell::Text(text.clone()),
        Cell::Number { value, shown } => match decimals(*value, shown) {
            Some(decimals) => write::Cell::Fixed(*value, decimals),
            None => write::Cell::Number(*value),
        },
        Cell::Count(count) => write::Cell::Number(*count as f64),
        Cell::Empty => write::Cell::Empty,
    }
}

/// Decimal places of a number as people read it; None where it is shown in another way (a share in percent, a power of ten).
fn decimals(value: f64, shown: &str) -> Option<u8> {
    let plain = shown.replace('\u{2212}', "-");
    let read: f64 = plain.parse().ok()?;
    let is_digits = plain.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-'));
    let decimals = plain.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    let unit = 10_f64.powi(-i32::try_from(decimals).ok()?);
    (is_digits && (read - value).abs() <= unit).then_some(u8::try_from(decimals).ok()?)
}
