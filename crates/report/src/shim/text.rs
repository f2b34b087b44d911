//! The builds as text for the terminal.

use super::tables::WHAT_TO_DO;
use super::words::how_read;
use super::{Shimming, answer, tables};
use crate::page::WORKSHOP_CAUTIONS;
use crate::table::Table;
use crate::text::{columns_with_words, wrapped};

/// The answer, the tables, the cautions.
pub fn text(shimming: &Shimming<'_>) -> String {
    let answer = answer(shimming);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 98, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 98, 2));
    out.push_str(&wrapped(&how_read(shimming.bench), 98, 2));
    for table in tables(shimming) {
        out.push('\n');
        out.push_str(&wrapped(&table.caption, 98, 0));
        out.push_str(&narrow(table));
    }
    out.push_str("\nTake care\n");
    for caution in WORKSHOP_CAUTIONS {
        out.push_str(&wrapped(caution, 98, 2));
    }
    out
}

/// The table as text; what to do stands under its row, wrapped, so that the lines fit a terminal.
fn narrow(table: Table) -> String {
    let Some(at) = table.columns.iter().position(|column| column.head == WHAT_TO_DO) else { return table.text(2) };
    let mut rest = table.clone();
    rest.columns.remove(at);
    let what: Vec<String> = rest.rows.iter_mut().map(|row| row.remove(at).shown()).collect();
    columns_with_words(&rest, &what, 2).unwrap_or_else(|| table.text(2))
}
