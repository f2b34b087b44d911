//! What was taken for what, in words.

use super::dates::DateOrder;
use super::grid::Grid;
use super::layout::{Layout, WideFields};
use super::numbers::DecimalSign;
use super::scan::{Order, Signs};
use crate::suggest::listed;
use crate::table::Schema;

/// What happened to cells and rows, in numbers.
#[derive(Debug, Default)]
pub(super) struct Tally {
    pub(super) times: usize,
    pub(super) units: usize,
    /// Cells of a column of units that say the table's.
    pub(super) said_units: usize,
    pub(super) filled: usize,
    /// Lines in which nothing was read.
    pub(super) nothing: Vec<u32>,
    /// Rows that repeat the header.
    pub(super) headers: usize,
    /// Columns of the schema whose names are numbers in the file.
    pub(super) number_names: Vec<usize>,
}

/// A list of all that is not as docs/files.md has it; empty where nothing is.
pub(super) fn said(
    (grid, schema): (&Grid<'_>, &Schema<'_>),
    layout: &Layout,
    signs: &Signs,
    (orders, given): (&[Option<Order>], bool),
    tally: &Tally,
) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(sign) = grid.separator().filter(|sign| *sign != b',') {
        let sign = match sign {
            b';' => "semicolons",
            b'\t' => "tabs",
            _ => "upright strokes",
        };
        said.push(format!("fields are separated by {sign}"));
    }
    if grid.above() > 0 {
        said.push(format!("{} above the header not read", counted(grid.above(), "line")));
    }
    if !layout.taken.is_empty() {
        let all: Vec<String> =
            layout.taken.iter().map(|(heading, column)| format!("`{heading}` read as {column}")).collect();
        said.push(all.join(", "));
    }
    said.extend(layout.wide.as_ref().map(|wide| wide_in_words(grid, wide)));
    if signs.decimal_commas > 0 {
        said.push(format!("decimal commas in {}", counted(signs.decimal_commas, "number")));
    }
    if signs.apart > 0 {
        let sign = if signs.sign == DecimalSign::Point { "commas" } else { "points" };
        said.push(format!("{sign} set thousands apart in {}", counted(signs.apart, "number")));
    }
    said.extend(orders.iter().flatten().flat_map(|order| dates_in_words(order, given)));
    if tally.times > 0 {
        said.push(format!("the time of day left off {}", counted(tally.times, "date")));
    }
    if tally.units > 0 {
        said.push(format!("the unit left off {}", counted(tally.units, "number")));
    }
    if tally.said_units > 0 {
        said.push(format!("{} that say their unit say the table's", counted(tally.said_units, "row")));
    }
    if tally.filled > 0 {
        said.push(format!("{} filled from above, as --blanks says", counted(tally.filled, "empty cell")));
    }
    if tally.headers > 0 {
        said.push(format!("{} that repeat the header passed over", counted(tally.headers, "row")));
    }
    if !tally.nothing.is_empty() {
        said.push(nothing_read(&tally.nothing, layout.wide.is_some()));
    }
    let names: Vec<&str> = tally.number_names.iter().map(|&index| schema.columns[index].name).collect();
    if !names.is_empty() {
        let listed = listed(&names);
        said.push(format!(
            "{listed} holds numbers as names; leading zeros that only the cell's format shows are not part of them"
        ));
    }
    if !layout.unread.is_empty() {
        said.push(format!("not read: {}", layout.unread.join(", ")));
    }
    said
}

fn dates_in_words(order: &Order, given: bool) -> Vec<String> {
    let why = |sure: usize, all: usize| {
        if given { "as --dates says".to_owned() } else { format!("since {sure} of {all} can be nothing else") }
    };
    let mut said = Vec::new();
    if let Some(is) = order.is.filter(|_| order.all > 0) {
        said.push(format!("dates read as {}, {}", is.in_words(), why(order.sure, order.all)));
    }
    if order.named_all > 0 {
        let order_of_parts = match order.named {
            Some(DateOrder::YearMonthDay) => "with the year first",
            _ => "with the day first",
        };
        let why =
            if order.named.is_some() { format!(", {}", why(order.named_sure, order.named_all)) } else { String::new() };
        said.push(format!(
            "dates with a named month read {order_of_parts}{why}, and years of two digits as 1970 to 2069"
        ));
    }
    said
}

fn wide_in_words(grid: &Grid<'_>, wide: &WideFields) -> String {
    let names: Vec<&str> = wide.fields.iter().map(|(_, name)| name.as_str()).collect();
    let places: Vec<usize> = wide.fields.iter().map(|(field, _)| *field).collect();
    let words: Vec<String> = places.iter().map(|&field| grid.field_in_words(field)).collect();
    let is_run = places.windows(2).all(|pair| pair[1] == pair[0] + 1);
    let columns = match &words[..] {
        [one] => format!("column {one}"),
        [first, .., last] if is_run => format!("columns {first} to {last}"),
        all => format!("columns {}", all.join(", ")),
    };
    format!("{columns} read as {}: {}", wide.what, listed(&names))
}

fn nothing_read(lines: &[u32], wide: bool) -> String {
    const SHOWN: usize = 5;
    let first: Vec<String> = lines.iter().take(SHOWN).map(ToString::to_string).collect();
    let more = if lines.len() > SHOWN { ", …" } else { "" };
    let what = if wide { "empty cell" } else { "row" };
    let noun = if lines.len() == 1 { "line" } else { "lines" };
    format!("{} with nothing read passed over ({noun} {}{more})", counted(lines.len(), what), first.join(", "))
}

pub(super) fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}
