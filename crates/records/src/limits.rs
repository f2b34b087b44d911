//! How much a file may ask for. A few bytes can demand a great deal (a workbook unpacks to a thousand times its size, a cell in its last corner
//! makes a sheet of seventeen thousand million), so everything that a file can demand has a limit, far above what real files need. An error
//! names the limit; docs/files.md lists them all, and a test holds the page to these numbers.

use crate::error::{Fault, FaultKind, InputError, Place};
use std::path::Path;
use std::sync::Arc;

/// Bytes of a file.
pub const FILE_BYTES: u64 = 4 << 30;
/// Bytes that a pipe may bring, or a file that tells no length.
pub const PIPE_BYTES: u64 = 1 << 30;
/// Bytes of a TOML file.
pub const TOML_BYTES: usize = 4 << 20;
/// Signs of a TOML file that part keys, values and tables (`.`, `=`, `[`, `{`, `,`), wherever they stand: each takes up to a kilobyte once it is read.
pub const TOML_SIGNS: usize = 500_000;
/// Columns of a table.
pub const COLUMNS: usize = 16_384;
/// Rows of a table, whatever its size.
pub const ROWS: usize = 100_000_000;
/// Letters of a name, or of any other text in a cell or a TOML file.
pub const LETTERS: usize = 1_000;
/// Cells of a workbook's sheet that hold something.
pub const CELLS: usize = 12_000_000;
/// Bytes of a workbook unpacked, at least; a workbook of more than a sixteenth of it may have sixteen times its own size.
pub const UNPACKED_BYTES: u64 = 256 << 20;
/// Times its own size that a workbook may unpack to, where that is more than [`UNPACKED_BYTES`].
pub const UNPACKED_TIMES: u64 = 16;
/// Different texts in a workbook.
pub const WORKBOOK_TEXTS: usize = 4_000_000;
/// Rows of a Parquet file, at least; a file of more bytes than this may have a row for each byte.
pub const PARQUET_ROWS: usize = 4_000_000;
/// Lots of a table of readings: each has a fit, bounds and rows of its own in every result.
pub const LOTS: usize = 200_000;
/// Features of a table of inspections: each has fits of its own in every result.
pub const FEATURES: usize = 1_000;
/// New hour meters of one engine.
pub const METERS: usize = 100;
/// Bytes of a workbook's styles, of its list of sheets and of each list of relations, unpacked.
pub const WORKBOOK_LISTS: u64 = 16 << 20;
/// Tables of one name (`[[window]]`, `[[lot]]`) in a TOML file, where nothing else is said.
pub const TABLES: usize = 10_000;
/// Inputs of a result that is replayed.
pub const INPUTS: usize = 10_000;
/// Bays of a pack.
pub const BAYS: usize = 1_000;
/// Parts between the two faces of a bay.
pub const PARTS: usize = 500;
/// Dimensions of a pack, in all bays together.
pub const DIMENSIONS: usize = 10_000;
/// Requirements of a pack, each condition counted.
pub const REQUIREMENTS: usize = 5_000;
/// Correlations of a pack.
pub const CORRELATIONS: usize = 500;
/// How many folders deep, in how many names of each folder and those below it, and in how many bytes in all the inputs of a result are
/// looked for (`replay`).
pub const SEARCH_DEEP: usize = 3;
/// See [`SEARCH_DEEP`].
pub const SEARCH_NAMES: usize = 10_000;
/// See [`SEARCH_DEEP`].
pub const SEARCH_BYTES: u64 = 4 * FILE_BYTES;

/// The error for a file that demands more than a limit: `found` names how much, `limit` what is allowed.
pub(crate) fn exceeded(
    path: &Arc<Path>,
    place: Place,
    found: impl Into<String>,
    limit: impl Into<String>,
) -> InputError {
    let fault = Fault::new(FaultKind::TooLarge, path.clone(), place, found, limit);
    InputError::of(vec![fault.with_help("docs/files.md lists all limits")])
}

/// A size in words: `256 MiB`.
pub(crate) fn mebibytes(bytes: u64) -> String {
    format!("{} MiB", bytes.div_ceil(1 << 20))
}
