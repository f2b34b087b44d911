//! Tables as they come out of a shop: decimal commas, dates with a time, headings in capitals, a column a feature.
//!
//! A table that is written as docs/files.md has it never comes here. Any other is looked at as a whole first ([`scan`]): what a heading, a
//! comma or `01/02/2024` means is told by the table itself, where it can mean one thing only. What was taken for what is said in notes. What
//! can mean two things is refused with the option that settles it.
//!
//! [`grid`] raw cells of any format · [`headings`], [`layout`] which column is which · [`numbers`], [`dates`] cells · [`unit_column`], [`totals`] what is no reading · [`doubts`], [`work`], [`apart`], [`between`] what must not be passed over · [`read`](mod@read) all of it

mod apart;
mod between;
mod dates;
mod doubts;
mod grid;
mod headings;
mod layout;
mod notes;
mod numbers;
mod read;
mod scan;
mod totals;
mod unit_column;
mod work;

use crate::error::{Error, FaultKind};
use crate::options::Options;
use crate::source::Source;
use crate::table::{Format, Schema};

/// Whether a table may look as docs/files.md has it and mean something else: fields apart by semicolons or tabs come from where a point may
/// set thousands apart.
pub(crate) fn is_suspect(
    source: &Source,
    format: Format,
    schema: &Schema<'_>,
    options: &Options,
) -> Result<bool, Error> {
    let has_hours = schema.columns.iter().any(|column| headings::unit_of(column.name) == Some(Unit::Hour));
    if format != Format::Csv || !has_hours || options.tables.decimal.is_some() {
        return Ok(false);
    }
    let Ok(text) = source.text() else { return Ok(false) };
    let header = text.lines().find(|line| !(line.trim().is_empty() || line.starts_with('#'))).unwrap_or_default();
    if header.contains(',') {
        return Ok(false);
    }
    match plan(source, Some(text), schema, options) {
        Ok(plan) => Ok(plan.doubts().iter().any(|fault| fault.kind == FaultKind::DecimalComma)),
        Err(Error::Input(_)) => Ok(false),
        Err(other) => Err(other),
    }
}

/// Whether a row of a table, of which one column is read and the others are left alone, is one of totals.
pub(crate) fn has_totals(
    source: &Source,
    text: Option<&str>,
    schema: &Schema<'_>,
    options: &Options,
) -> Result<bool, Error> {
    let grid = grid::Grid::of(source, text, schema, options)?;
    let mut found = false;
    grid.each_row(source, options, |row| {
        let first = row.cells.iter().find(|cell| !cell.is_blank());
        found |= matches!(first, Some(Raw::Text(text)) if totals::is_label(text, false));
    })?;
    Ok(found)
}

/// Whether a name is that of a row of totals.
pub(crate) fn is_label_of_totals(name: &str) -> bool {
    totals::is_label(name, false)
}

pub(crate) use between::is_label;
pub use dates::DateOrder;
pub(crate) use grid::{HEADER_WITHIN, Raw, fits, lacking, possible_headings};
pub(crate) use headings::{Heading, Unit, is_foreign};
pub(crate) use layout::IGNORE;
pub use numbers::DecimalSign;
pub(crate) use read::{Change, plan, read};
pub(crate) use unit_column::is_unit_heading;
