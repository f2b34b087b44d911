//! A sheet's cells as far as they hold something, row by row. A sheet that reaches to its last corner costs no more than its cells.

use super::hidden::Hidden;
use crate::error::{Error, Place};
use crate::limits::{CELLS, COLUMNS, exceeded};
use crate::options::Options;
use crate::source::Source;
use calamine::{Data, DataRef, Xlsx, XlsxError};
use std::io::Cursor;
use std::sync::Arc;

/// Rows of a sheet, as every program has it.
const MOST_ROWS: u32 = 1 << 20;

/// A cell that holds a value, a formula, or both.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// From 0.
    row: u32,
    /// From 0.
    column: u32,
    is_formula: bool,
    data: Data,
}

/// The cells of a sheet.
#[derive(Debug, Default)]
pub(super) struct Grid {
    /// By rows, each from the left.
    cells: Vec<Held>,
}

/// A row of a sheet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'g> {
    /// As the program that shows it counts, less 1.
    pub(super) number: u32,
    cells: &'g [Held],
}

impl Grid {
    /// Reads a sheet. What the library refuses is the inner error.
    pub(super) fn read(
        source: &Source,
        workbook: &mut Xlsx<Cursor<Arc<[u8]>>>,
        sheet: &str,
        options: &Options,
    ) -> Result<Result<Self, XlsxError>, Error> {
        let mut reader = match workbook.worksheet_cells_reader(sheet) {
            Ok(reader) => reader,
            // A sheet that holds a chart, say, has no cells.
            Err(XlsxError::NotAWorksheet(_)) => return Ok(Ok(Self::default())),
            Err(error) => return Ok(Err(error)),
        };
        let last = reader.dimensions().end.0.max(1);
        let mut cells: Vec<Held> = Vec::new();
        loop {
            let cell = match reader.next_cell_with_formula_metadata() {
                Ok(Some(cell)) => cell,
                Ok(None) => break,
                Err(error) => return Ok(Err(error)),
            };
            let is_formula = cell.formula.is_some();
            if matches!(cell.value, DataRef::Empty) && !is_formula {
                continue;
            }
            if cells.len() == CELLS {
                let place = Place::Cell {
                    sheet: sheet.to_owned(),
                    row: cell.pos.0 as usize + 1,
                    column: cell.pos.1 as usize + 1,
                };
                let found = format!("a sheet of more than {CELLS} cells that hold something");
                return Err(exceeded(source.path(), place, found, format!("at most {CELLS} cells")).into());
            }
            if cells.len().is_multiple_of(1 << 14) {
                options.check()?;
                options.watch.tell(cell.pos.0.min(last) as usize, last as usize);
            }
            let (row, column) = cell.pos;
            if row >= MOST_ROWS || column as usize >= COLUMNS {
                let place = Place::Cell { sheet: sheet.to_owned(), row: row as usize + 1, column: column as usize + 1 };
                let limit = format!("at most {MOST_ROWS} rows and {COLUMNS} columns");
                return Err(exceeded(source.path(), place, "a cell beyond the end of a sheet", limit).into());
            }
            cells.push(Held { row, column, is_formula, data: cell.value.into() });
        }
        if !source.left_out().is_empty() {
            cells.retain(|cell| !source.left_out().contains(&(cell.row + 1)));
        }
        // Nearly always they are in order already. Of two cells in one place the later counts, as spreadsheets have it.
        cells.sort_by_key(|cell| (cell.row, cell.column));
        cells.dedup_by(|later, earlier| {
            let same = (later.row, later.column) == (earlier.row, earlier.column);
            if same {
                std::mem::swap(later, earlier);
            }
            same
        });
        Ok(Ok(Self { cells }))
    }

    /// Takes away what is hidden.
    pub(super) fn leave_out(&mut self, hidden: &Hidden) {
        self.cells.retain(|cell| !hidden.has_row(cell.row) && !hidden.has_column(cell.column));
    }

    /// The rows that hold something, from the top.
    pub(super) fn rows(&self) -> impl Iterator<Item = Row<'_>> + Clone {
        self.cells.chunk_by(|a, b| a.row == b.row).map(|cells| Row { number: cells[0].row, cells })
    }
}

impl Grid {
    /// The columns (from 0) in which something stands in a row or below it, from the left.
    pub(super) fn columns_from(&self, top: Row<'_>) -> Vec<u32> {
        let mut holds = Vec::new();
        for column in self.rows().skip_while(|row| row.number < top.number).flat_map(|row| row.columns()) {
            let column = column as usize;
            if holds.len() <= column {
                holds.resize(column + 1, false);
            }
            holds[column] = true;
        }
        (0_u32..).zip(holds).filter_map(|(column, holds)| holds.then_some(column)).collect()
    }
}

impl<'g> Row<'g> {
    /// The cell of a column (from 0), and whether it is a formula's.
    pub(super) fn cell(&self, column: u32) -> (&'g Data, bool) {
        match self.cells.binary_search_by_key(&column, |cell| cell.column) {
            Ok(at) => (&self.cells[at].data, self.cells[at].is_formula),
            Err(_) => (&Data::Empty, false),
        }
    }

    /// The columns (from 0) that hold something, from the left.
    pub(super) fn columns(&self) -> impl DoubleEndedIterator<Item = u32> + use<'g> {
        self.cells.iter().map(|cell| cell.column)
    }

    /// Whether nothing but blanks stands in the row; a formula is no blank.
    pub(super) fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| match &cell.data {
            Data::Empty => !cell.is_formula,
            Data::String(text) => text.trim().is_empty(),
            _ => false,
        })
    }
}
