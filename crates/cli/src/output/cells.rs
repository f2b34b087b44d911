//! Tables of a report as the sheets of a workbook.

use packdrift_records::write;
use packdrift_report::table::{Cell, Column, Table};

/// A table as a sheet; one that another command reads begins with the columns' keys.
pub(super) fn sheet(table: &Table) -> write::Sheet {
    let head = |column: &Column| {
        if table.read_back {
            return write::Column { head: column.key.clone(), unit: None };
        }
        write::Column { head: column.head.clone(), unit: column.unit.clone() }
    };
    write::Sheet {
        name: table.name.replace('-', " "),
        caption: if table.read_back { String::new() } else { table.caption.clone() },
        columns: table.columns.iter().map(head).collect(),
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
