//! What a caller may ask of a reader.

use crate::error::Error;
use crate::loose::{DateOrder, DecimalSign};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// How to read a table.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Once this is set, reading ends soon with [`Error::Cancelled`].
    pub cancel: Option<Arc<AtomicBool>>,
    /// The day that counts as today, in days since 1970-01-01: records of later days are mistakes. None: no day is too late.
    pub today: Option<i32>,
    /// How tables are written that can mean two things.
    pub tables: TableOptions,
}

/// What the user says of a table that it does not tell itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TableOptions {
    /// Whether day or month comes first.
    pub dates: Option<DateOrder>,
    /// What separates whole numbers from fractions.
    pub decimal: Option<DecimalSign>,
    /// Columns by the headings they have in the file: this program's name, the heading.
    pub columns: Vec<(String, String)>,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// Empty names, dates and hours repeat the cell above.
    pub blanks_above: bool,
    /// The text is in windows-1252.
    pub windows_1252: bool,
}

impl TableOptions {
    /// Whether a table that is written as docs/files.md has it could mean something else by these.
    pub(crate) fn change_meaning(&self) -> bool {
        !self.columns.is_empty() || self.blanks_above || self.decimal == Some(DecimalSign::Comma)
    }
}

impl Options {
    pub(crate) fn check(&self) -> Result<(), Error> {
        match &self.cancel {
            Some(flag) if flag.load(Ordering::Relaxed) => Err(Error::Cancelled),
            _ => Ok(()),
        }
    }
}
