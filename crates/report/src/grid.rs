//! A table as lines of text, as wide as it comes to be or fitted to a window.
//!
//! Four steps, each only where the one before was not enough: heads are broken into lines; words in cells are broken into lines, the
//! widest column first; columns that still have no room stand in a block of their own below, with the columns that name the rows; a word
//! that is wider than the window is cut.

use crate::Table;
use crate::table::Align;
use crate::text::{clean, lines, pad, width};

/// Blanks between columns.
const GAP: usize = 2;
/// A word in a cell is cut only where it is longer than this.
const LONG_WORD: usize = 24;

/// One column.
struct Column {
    head: String,
    cells: Vec<String>,
    align: Align,
    /// Text whose words may stand below each other; numbers may not.
    breaks: bool,
}

impl Column {
    /// The longest word of the head.
    fn narrowest_head(&self) -> usize {
        lines(&self.head, 0).iter().map(|word| width(word)).max().unwrap_or(0)
    }

    fn widest_cell(&self) -> usize {
        self.cells.iter().map(|cell| width(cell)).max().unwrap_or(0)
    }

    /// As wide as it comes to be.
    fn natural(&self) -> usize {
        width(&self.head).max(self.widest_cell())
    }

    /// Without breaking cells.
    fn whole_cells(&self) -> usize {
        self.narrowest_head().max(self.widest_cell())
    }

    /// With everything broken that can be.
    fn narrowest(&self) -> usize {
        if !self.breaks {
            return self.whole_cells();
        }
        let words = self.cells.iter().flat_map(|cell| lines(cell, 0));
        let longest = words.map(|word| width(&word)).max().unwrap_or(0).min(LONG_WORD);
        self.narrowest_head().max(longest)
    }
}

/// The table's columns as text.
pub(crate) struct Grid {
    columns: Vec<Column>,
}

impl Grid {
    pub(crate) fn new(table: &Table) -> Self {
        let columns = table.columns.iter().enumerate().map(|(k, column)| {
            let of = table.rows.iter().filter_map(|row| row.get(k));
            Column {
                head: clean(&column.head_with_unit()),
                cells: of.map(|cell| clean(&cell.shown())).collect(),
                align: column.align,
                breaks: column.align == Align::Left,
            }
        });
        Self { columns: columns.collect() }
    }

    /// Blocks of lines of which none is wider than `room`; without one a single block, as wide as it comes to be.
    pub(crate) fn blocks(&self, room: Option<usize>) -> Vec<Vec<String>> {
        let Some(room) = room else { return vec![self.natural().concat()] };
        let blocks = self.split(room);
        blocks.iter().map(|columns| self.by_row(columns, &self.widths(columns, room)).concat()).collect()
    }

    /// The lines of the heads and of each row, as wide as they come to be.
    fn natural(&self) -> Vec<Vec<String>> {
        let all: Vec<usize> = (0..self.columns.len()).collect();
        let widths: Vec<usize> = self.columns.iter().map(Column::natural).collect();
        self.by_row(&all, &widths)
    }

    fn sum(&self, columns: &[usize], of: impl Fn(&Column) -> usize) -> usize {
        let widths: usize = columns.iter().map(|&k| of(&self.columns[k])).sum();
        widths + GAP * columns.len().saturating_sub(1)
    }

    /// The columns of each block. Those before the first number name the rows and stand in every block, if they leave half of the room.
    fn split(&self, room: usize) -> Vec<Vec<usize>> {
        let all: Vec<usize> = (0..self.columns.len()).collect();
        if self.sum(&all, Column::narrowest) <= room {
            return vec![all];
        }
        let names = self.columns.iter().take_while(|column| column.align == Align::Left).count();
        let names = (0..=names).rev().find(|&n| self.sum(&all[..n], Column::narrowest) <= room / 2).unwrap_or(0);
        let mut blocks = vec![all[..names].to_vec()];
        for k in names..self.columns.len() {
            let Some(last) = blocks.last_mut() else { break };
            let with: Vec<usize> = last.iter().copied().chain([k]).collect();
            if last.len() == names || self.sum(&with, Column::narrowest) <= room {
                *last = with;
            } else {
                blocks.push(all[..names].iter().copied().chain([k]).collect());
            }
        }
        blocks
    }

    /// The columns' widths: as they come to be where there is room, else heads broken first, then cells, the widest first.
    fn widths(&self, columns: &[usize], room: usize) -> Vec<usize> {
        let gaps = GAP * columns.len().saturating_sub(1);
        let room = room.saturating_sub(gaps).max(1);
        let of = |k: usize| &self.columns[columns[k]];
        let mut widths: Vec<usize> = (0..columns.len()).map(|k| of(k).whole_cells()).collect();
        let sum = |widths: &[usize]| widths.iter().sum::<usize>();
        let floors: Vec<usize> = (0..columns.len()).map(|k| of(k).narrowest()).collect();
        while sum(&widths) > room {
            let widest = (0..widths.len()).filter(|&k| widths[k] > floors[k]).max_by_key(|&k| widths[k]);
            // Where nothing can be broken any more, the widest is cut.
            let cut = || (0..widths.len()).filter(|&k| widths[k] > 1).max_by_key(|&k| widths[k]);
            let Some(k) = widest.or_else(cut) else { break };
            widths[k] -= 1;
        }
        // What is left over goes to the heads that lack most.
        while sum(&widths) < room {
            let lacking = (0..widths.len()).filter(|&k| widths[k] < of(k).natural());
            let Some(k) = lacking.max_by_key(|&k| of(k).natural() - widths[k]) else { break };
            widths[k] += 1;
        }
        widths
    }

    /// Heads first, then each row: as many lines as its tallest cell.
    fn by_row(&self, columns: &[usize], widths: &[usize]) -> Vec<Vec<String>> {
        let rows = self.columns.iter().map(|column| column.cells.len()).max().unwrap_or(0);
        let of = |k: usize| &self.columns[k];
        let heads = columns.iter().zip(widths).map(|(&k, &w)| broken(&of(k).head, w)).collect();
        let cells = |r: usize| columns.iter().zip(widths).map(|(&k, &w)| broken(&of(k).cells[r], w)).collect();
        let rows = (0..rows).map(|r| self.row(columns, widths, cells(r), false));
        std::iter::once(self.row(columns, widths, heads, true)).chain(rows).collect()
    }

    /// The lines of the heads and of each row; None where the table does not stand beside each other in `room`.
    pub(crate) fn rows(&self, room: Option<usize>) -> Option<Vec<Vec<String>>> {
        let Some(room) = room else { return Some(self.natural()) };
        let blocks = self.split(room);
        let [all] = &blocks[..] else { return None };
        Some(self.by_row(all, &self.widths(all, room)))
    }

    /// One row: heads stand at the foot of their cell, beside the first row; cells at its top.
    fn row(&self, columns: &[usize], widths: &[usize], cells: Vec<Vec<String>>, at_foot: bool) -> Vec<String> {
        let height = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
        let line = |at: usize| {
            let parts = columns.iter().zip(widths).zip(&cells).map(|((&k, &w), lines)| {
                let above = if at_foot { height - lines.len() } else { 0 };
                let text = at.checked_sub(above).and_then(|at| lines.get(at)).map_or("", String::as_str);
                pad(text, w, self.columns[k].align)
            });
            parts.collect::<Vec<_>>().join(&" ".repeat(GAP)).trim_end().to_owned()
        };
        (0..height).map(line).collect()
    }
}

/// `text` in lines of at most `columns`: as it stands where it has room, else broken between words, and within a word that has no room.
fn broken(text: &str, columns: usize) -> Vec<String> {
    if width(text) <= columns {
        return vec![text.to_owned()];
    }
    let mut out = Vec::new();
    for line in lines(text, columns) {
        let letters: Vec<char> = line.chars().collect();
        out.extend(letters.chunks(columns.max(1)).map(|piece| piece.iter().collect::<String>()));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::{Cell, Column};
    use crate::text::fitted;

    fn wide() -> Table {
        let columns = vec![
            Column::text("verdict"),
            Column::text("requirement"),
            Column::number("root sum square, 3 sd"),
            Column::number("at most"),
            Column::text("said of it"),
        ];
        let mut table = Table::new("t", "", columns);
        for (name, said) in [("offset, 1 exhaust", "met with little to spare"), ("preload", "not met at all")] {
            table.push(vec![
                Cell::text("not met"),
                Cell::text(name),
                Cell::text("0.812 … 1.224"),
                Cell::fixed(0.25, 4),
                Cell::text(said),
            ]);
        }
        table
    }

    #[test]
    fn no_line_is_wider_than_the_window_and_nothing_is_lost() {
        let table = wide();
        let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<std::collections::BTreeSet<_>>();
        let whole = words(&table.text(2));
        for room in [20, 30, 40, 50, 60, 80, 120] {
            let text = fitted(Some(room), || table.text(2));
            assert!(text.lines().all(|line| width(line) <= room), "{room}\n{text}");
            if room >= 30 {
                assert_eq!(words(&text), whole, "{room}\n{text}");
            }
        }
        assert_eq!(fitted(Some(200), || table.text(2)), table.text(2));
        assert_eq!(fitted(None, || table.text(2)), table.text(2));
    }

    #[test]
    fn heads_are_broken_first_then_cells_then_the_table() {
        let table = wide();
        let lines_at = |room| fitted(Some(room), || table.text(0)).lines().count();
        assert_eq!(lines_at(200), 3);
        assert_eq!(lines_at(80), 4);
        let narrow = fitted(Some(40), || table.text(0));
        assert!(narrow.contains("\n\n") && narrow.matches("preload").count() > 1, "{narrow}");
    }

    #[test]
    fn a_word_wider_than_the_window_is_cut() {
        let mut table = Table::new("t", "", vec![Column::text("engine")]);
        table.push(vec![Cell::text("E".repeat(100))]);
        let text = fitted(Some(30), || table.text(2));
        assert!(text.lines().all(|line| width(line) <= 30), "{text}");
        assert_eq!(text.matches('E').count(), 100);
    }
}
