//! Tables as they come out of a shop: decimal commas, dates with a time, headings in capitals, a column a feature.
//!
//! A table that is written as docs/files.md has it never comes here. Any other is looked at as a whole first ([`scan`]): what a heading, a
//! comma or `01/02/2024` means is told by the table itself, where it can mean one thing only. What was taken for what is said in notes. What
//! can mean two things is refused with the option that settles it.
//!
//! [`grid`] raw cells of any format · [`headings`], [`layout`] which column is which · [`numbers`], [`dates`] cells · [`unit_column`], [`totals`] what is no reading · [`read`](mod@read) all of it

mod dates;
mod grid;
mod headings;
mod layout;
mod notes;
mod numbers;
mod read;
mod scan;
mod totals;
mod unit_column;

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

pub use dates::DateOrder;
pub(crate) use grid::{HEADER_WITHIN, Raw, fits, possible_headings};
pub(crate) use headings::{Heading, Unit};
pub(crate) use layout::IGNORE;
pub use numbers::DecimalSign;
pub(crate) use read::{Change, plan, read};
pub(crate) use unit_column::is_unit_heading;
