//! A table as it comes, written once as docs/files.md has it: long, with this program's columns, one decimal sign, dates as ISO 8601.

use crate::check::{FileKind, checked, kind_of, schema_of};
use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::loose;
use crate::options::Options;
use crate::source::{InputFile, Source};
use crate::table::{Cell, decoded, text_of};
use crate::write;

/// A table written anew, and what became of what.
#[derive(Debug, Clone, PartialEq)]
pub struct Tidied {
    /// What the table holds.
    pub kind: FileKind,
    /// Its columns by this program's names, those that it has.
    pub columns: Vec<&'static str>,
    /// Its rows, each with one cell a column.
    pub rows: Vec<Vec<write::Cell>>,
    /// Every cell that is written otherwise than it stood, in the order of the file.
    pub changes: Vec<Change>,
    /// The file.
    pub input: InputFile,
    /// What was taken for what.
    pub notices: Vec<Notice>,
}

/// A cell that is written otherwise than it stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Line, row of the sheet, or row from 1.
    pub line: u32,
    /// This program's name of the column.
    pub column: &'static str,
    /// As it stood; empty for an empty cell.
    pub was: String,
    /// As it is written; empty for an empty cell.
    pub now: String,
}

/// Reads a table as it comes, checks it as [`check`](crate::check()) does, and gives its rows as they are to be written.
///
/// # Errors
///
/// [`Error::Input`] with every mistake, and where the file is no table.
///
/// # Examples
/// ```
/// use packdrift_records::{Options, Source, tidied};
/// let text = "Lot;Part No.;Reading (mm)\nA;0012;0,402\nA;0013;0,399\n";
/// let tidy = tidied(&Source::from_bytes("shop.csv", text.as_bytes()), &Options::default())?;
/// assert_eq!(tidy.columns, ["lot", "part", "reading"]);
/// assert_eq!((tidy.changes[0].was.as_str(), tidy.changes[0].now.as_str()), ("0,402", "0.402"));
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn tidied(source: &Source, options: &Options) -> Result<Tidied, Error> {
    let found = checked(source, options)?;
    if !found.is_right() {
        return Err(InputError { faults: found.faults, total: found.total }.into());
    }
    let kind = kind_of(source, options)?;
    let Some(schema) = schema_of(kind, options.lengths.unwrap_or_default()) else {
        let fault = Fault::new(
            FaultKind::OtherKind,
            source.path().clone(),
            Place::File,
            format!("a file of the kind \"{}\"", kind.name()),
            "a table: inspections, readings, a drawer, a demand, deliveries",
        );
        return Err(InputError::of(vec![fault]).into());
    };
    let decoded = decoded(source, options);
    let plan = loose::plan(&decoded, text_of(&decoded)?, &schema, options)?;
    let held: Vec<usize> = (0..schema.columns.len()).filter(|&column| plan.has(column)).collect();
    let columns: Vec<&'static str> = held.iter().map(|&column| schema.columns[column].name).collect();
    let (mut rows, mut changes) = (Vec::new(), Vec::new());
    let notices = plan.each_row(
        &decoded,
        &schema,
        options,
        &mut |_, cells, _| {
            rows.push(held.iter().map(|&column| to_be_written(&cells[column])).collect());
            Ok(())
        },
        &mut |loose::Change { line, column, was, now }| {
            changes.push(Change { line, column: schema.columns[column].name, was, now });
        },
    )?;
    Ok(Tidied { kind, columns, rows, changes, input: source.fingerprint(), notices })
}

fn to_be_written(cell: &Cell<'_>) -> write::Cell {
    match cell {
        Cell::Empty => write::Cell::Empty,
        Cell::Text(text) => write::Cell::Text((*text).to_owned()),
        Cell::Number(number) => write::Cell::Number(*number),
        Cell::Day(day) => write::Cell::Day(*day),
    }
}
