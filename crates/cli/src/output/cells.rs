//! Tables of a report as the sheets of a workbook.

use packdrift_records::write;
use packdrift_report::table::{Cell, Table};

/// A table as a sheet.
pub(super) fn sheet(table: &Table) -> write::Sheet {
    write::Sheet {
        name: table.name.replace('-', " "),
        caption: table.caption.clone(),
        columns: table
            .columns
            .iter()
            .map(|column| write::Column { head: column.head.clone(), unit: column.unit.clone() })
            .collect(),
        rows: table.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
    }
}

fn cell(cell: &Cell) -> write::Cell {
    match cell {
        Cell::Text(text) | Cell::Verdict { word: text, .. } => write::Cell::Text(text.clone()),
        Cell::Number { value, .. } => write::Cell::Number(*value),
        Cell::Count(count) => write::Cell::Number(*count as f64),
        Cell::Empty => write::Cell::Empty,
    }
}
