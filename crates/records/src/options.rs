//! What a caller may ask of a reader.

use crate::error::Error;
use crate::loose::{DateOrder, DecimalSign};
use crate::units::LengthUnit;
use std::fmt;
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
    /// The unit of the lengths in a table of inspections or sums, and in any table that is only checked or tidied; mm where it is not said. Lengths of inspections
    /// stay in it. (Readings and drawers have a unit of their own where they are read: an argument of their readers.)
    pub lengths: Option<LengthUnit>,
    /// Hears how far the reading is.
    pub watch: Watch,
}

/// Hears how far the reading of a large table is: so many of all its rows, or whatever else stands for them. A table that does not read as
/// docs/files.md has it is gone through several times, and then begins from 0 again.
///
/// # Examples
/// ```
/// use packdrift_records::{Options, Watch};
/// let options = Options { watch: Watch::new(|done, total| eprintln!("{done} of {total}")), ..Options::default() };
/// ```
#[derive(Clone, Default)]
pub struct Watch(Option<Arc<dyn Fn(u64, u64) + Send + Sync>>);

impl Watch {
    /// Calls `tell(done, total)` now and then.
    pub fn new(tell: impl Fn(u64, u64) + Send + Sync + 'static) -> Self {
        Self(Some(Arc::new(tell)))
    }

    pub(crate) fn tell(&self, done: usize, total: usize) {
        if let Some(tell) = &self.0 {
            tell(done as u64, total as u64);
        }
    }
}

impl fmt::Debug for Watch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_some() { "Watch" } else { "Watch(nobody)" })
    }
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
    /// Rows and columns of a sheet that are hidden are not read.
    pub hidden_left_out: bool,
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
