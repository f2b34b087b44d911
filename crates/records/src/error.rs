//! What can go wrong with a file: mistakes in it (all of them at once, each with its place), or a machine that fails.

use packdrift_visible::line;
use std::fmt;
use std::io;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Why a file could not be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The input is wrong; the user can mend it.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The machine failed: no space, no permission, a file that vanished.
    #[error(transparent)]
    Machine(#[from] Machine),
    /// Reading was called off by the caller (see [`crate::Options::cancel`]); nothing was lost.
    #[error("stopped while reading")]
    Cancelled,
}

/// The operating system refused something.
#[derive(Debug, thiserror::Error)]
#[error("could not {doing} {}", .path.display())]
pub struct Machine {
    /// `open`, `read`, `write`, …
    pub doing: &'static str,
    /// Which file or folder.
    pub path: PathBuf,
    /// What the system said.
    #[source]
    pub source: io::Error,
}

impl Machine {
    pub(crate) fn new(doing: &'static str, path: &Path, source: io::Error) -> Self {
        Self { doing, path: path.to_path_buf(), source }
    }
}

/// All the mistakes found in one run; never empty.
#[derive(Debug, Clone, PartialEq)]
pub struct InputError {
    /// In the order of their places in each file.
    pub faults: Vec<Fault>,
    /// How many there are in all; more than `faults` holds where a table has very many.
    pub total: usize,
}

impl InputError {
    pub(crate) fn of(faults: Vec<Fault>) -> Self {
        let total = faults.len();
        Self { faults, total }
    }

    /// Joins the mistakes of two files.
    pub fn merge(&mut self, other: Self) {
        self.faults.extend(other.faults);
        self.total += other.total;
    }
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.faults.first() {
            Some(first) if self.total == 1 => write!(f, "{first}"),
            Some(first) => write!(f, "{first} (and {} more)", self.total - 1),
            None => f.write_str("the input is wrong"),
        }
    }
}

impl std::error::Error for InputError {}

/// What sort of mistake it is. The code of each (`unknown-key`) stays the same from release to release.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum FaultKind {
    /// The path leads nowhere.
    NoSuchFile,
    /// A folder where a file is needed.
    NotAFile,
    /// No bytes, or a header without rows.
    EmptyFile,
    /// Not UTF-8.
    WrongEncoding,
    /// More than a file may ask for (see [`crate::limits`]).
    TooLarge,
    /// A file names another outside its own folder.
    OutsideFolder,
    /// Neither TOML, CSV, Parquet nor XLSX; or not readable as what its name says.
    UnknownFormat,
    /// A file of another kind than the command reads.
    OtherKind,
    /// Not TOML, or not CSV.
    Syntax,
    /// A key no one reads.
    UnknownKey,
    /// A key that must be there.
    MissingKey,
    /// Text for a number, a number for a table, …
    WrongType,
    /// A name that is not defined anywhere.
    UnknownName,
    /// Two things of one name.
    DuplicateName,
    /// A value outside what it can mean: a negative tolerance, a thickness of 0.
    OutOfRange,
    /// NaN or infinity.
    NotFinite,
    /// Values that exclude each other: inner ≥ outer diameter, lower > upper, `tol` beside `plus`.
    Contradiction,
    /// A requirement, or a feature of a policy, that bounds nothing.
    NoLimits,
    /// A row with more or fewer fields than the header.
    RaggedRow,
    /// A column no one reads.
    UnknownColumn,
    /// A column that must be there.
    MissingColumn,
    /// Two columns of one name.
    DuplicateColumn,
    /// An empty cell where a value is needed.
    EmptyCell,
    /// Not a number.
    NotANumber,
    /// A comma where the decimal point should be.
    DecimalComma,
    /// Not a date, or a day that does not exist.
    BadDate,
    /// `01/02/2024`: two countries read two days.
    AmbiguousDate,
    /// An hour meter that runs backwards.
    FallingHours,
    /// More running hours than there were hours.
    ImpossibleHours,
    /// A day after the one that was given as today.
    FutureDate,
    /// A day years away from all others of the file.
    LeapingDate,
    /// Two readings where there can be one.
    DuplicateReading,
    /// A formula whose result the workbook does not hold, or an error value in a cell.
    FormulaCell,
}

impl FaultKind {
    /// The stable code, for JSON and scripts.
    pub fn code(self) -> &'static str {
        match self {
            Self::NoSuchFile => "no-such-file",
            Self::NotAFile => "not-a-file",
            Self::EmptyFile => "empty-file",
            Self::WrongEncoding => "wrong-encoding",
            Self::TooLarge => "too-large",
            Self::OutsideFolder => "outside-folder",
            Self::UnknownFormat => "unknown-format",
            Self::OtherKind => "other-kind",
            Self::Syntax => "syntax",
            Self::UnknownKey => "unknown-key",
            Self::MissingKey => "missing-key",
            Self::WrongType => "wrong-type",
            Self::UnknownName => "unknown-name",
            Self::DuplicateName => "duplicate-name",
            Self::OutOfRange => "out-of-range",
            Self::NotFinite => "not-finite",
            Self::Contradiction => "contradiction",
            Self::NoLimits => "no-limits",
            Self::RaggedRow => "ragged-row",
            Self::UnknownColumn => "unknown-column",
            Self::MissingColumn => "missing-column",
            Self::DuplicateColumn => "duplicate-column",
            Self::EmptyCell => "empty-cell",
            Self::NotANumber => "not-a-number",
            Self::DecimalComma => "decimal-comma",
            Self::BadDate => "bad-date",
            Self::AmbiguousDate => "ambiguous-date",
            Self::FallingHours => "falling-hours",
            Self::ImpossibleHours => "impossible-hours",
            Self::FutureDate => "future-date",
            Self::LeapingDate => "leaping-date",
            Self::DuplicateReading => "duplicate-reading",
            Self::FormulaCell => "formula-cell",
        }
    }
}

/// Where in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// The file as a whole.
    File,
    /// In text; line and column from 1, the column in characters.
    Text {
        /// From 1.
        line: usize,
        /// In characters, from 1.
        column: usize,
        /// The bytes meant, where the text is at hand.
        span: Option<Range<usize>>,
    },
    /// In a workbook.
    Cell {
        /// The sheet's name.
        sheet: String,
        /// From 1, as the program that shows it counts.
        row: usize,
        /// From 1; shown as a letter.
        column: usize,
    },
    /// In a table without lines (Parquet): the row from 1.
    Row {
        /// From 1.
        row: usize,
    },
}

impl Place {
    /// The line or row, if there is one.
    pub fn line(&self) -> Option<usize> {
        match self {
            Self::File => None,
            Self::Text { line, .. } => Some(*line),
            Self::Cell { row, .. } | Self::Row { row } => Some(*row),
        }
    }

    /// The column, if there is one.
    pub fn column(&self) -> Option<usize> {
        match self {
            Self::File | Self::Row { .. } => None,
            Self::Text { column, .. } | Self::Cell { column, .. } => Some(*column),
        }
    }
}

/// The letters a workbook gives its columns: 1 is A, 27 is AA.
pub(crate) fn column_letters(mut column: usize) -> String {
    let mut letters = Vec::new();
    while column > 0 {
        let digit = u8::try_from((column - 1) % 26).unwrap_or(0);
        letters.push(char::from(b'A' + digit));
        column = (column - 1) / 26;
    }
    letters.iter().rev().collect()
}

/// One mistake: where, what was found, what was expected, and what may help.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Fault {
    /// What sort.
    pub kind: FaultKind,
    /// Which file.
    pub path: Arc<Path>,
    /// Where in it.
    pub place: Place,
    /// The key (`bay.middle.span.tol`) or the column; empty where it is the file or the row as a whole.
    pub key: String,
    /// As it stands in the file.
    pub found: String,
    /// What could stand there.
    pub expected: String,
    /// What to do.
    pub help: Option<String>,
    /// The text that [`Place::Text`]'s span points into.
    pub text: Option<Arc<str>>,
}

impl Fault {
    pub(crate) fn new(
        kind: FaultKind,
        path: Arc<Path>,
        place: Place,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Self {
            kind,
            path,
            place,
            key: String::new(),
            found: found.into(),
            expected: expected.into(),
            help: None,
            text: None,
        }
    }

    pub(crate) fn with_key(mut self, key: impl Into<String>) -> Self {
        self.key = key.into();
        self
    }

    pub(crate) fn with_help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// `file:line:column`, as far as the place is known.
    pub fn location(&self) -> String {
        let path = self.path.display().to_string();
        let path = line(&path);
        match &self.place {
            Place::File => path.into_owned(),
            Place::Text { line, column, .. } => format!("{path}:{line}:{column}"),
            Place::Cell { sheet, row, column } => format!("{path}: {}!{}{row}", line(sheet), column_letters(*column)),
            Place::Row { row } => format!("{path}: row {row}"),
        }
    }

    /// What is wrong, without the place: `` `tol`: found -0.03, expected … ``.
    pub fn message(&self) -> String {
        let key = if self.key.is_empty() { String::new() } else { format!("{}: ", line(&self.key)) };
        format!("{key}found {}, expected {}", line(&self.found), line(&self.expected))
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.location(), self.message())?;
        if let Some(help) = &self.help {
            write!(f, " ({})", line(help))?;
        }
        Ok(())
    }
}

impl std::error::Error for Fault {}

/// Something the reader noticed that is no mistake but may surprise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Which file.
    pub path: PathBuf,
    /// What happened, what it may mean, what to do.
    pub text: String,
    /// What it is of.
    pub subject: Subject,
}

/// What a notice is of, for commands that say the same in their answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Subject {
    /// How the file was read.
    #[default]
    Reading,
    /// What the table `[cost]` of a pack file lacks.
    Prices,
}

impl Notice {
    /// Of how a file was read.
    pub fn new(path: impl AsRef<std::path::Path>, text: impl Into<String>) -> Self {
        Self { path: path.as_ref().to_path_buf(), text: text.into(), subject: Subject::default() }
    }

    /// The same, of another subject.
    #[must_use]
    pub fn of(self, subject: Subject) -> Self {
        Self { subject, ..self }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", line(&self.path.display().to_string()), line(&self.text))
    }
}

#[cfg(test)]
mod tests {
    use super::column_letters;

    #[test]
    fn columns_are_lettered_as_workbooks_letter_them() {
        assert_eq!(column_letters(1), "A");
        assert_eq!(column_letters(26), "Z");
        assert_eq!(column_letters(27), "AA");
        assert_eq!(column_letters(703), "AAA");
    }
}
