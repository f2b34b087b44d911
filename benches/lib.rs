//! What the benches share: the bay they compute.

use packdrift_records::Error;
use packdrift_spread::Stack;
use std::path::Path;

/// The bay of `bay.toml`: one disc spring, thirteen uncertain dimensions; `numpy_bay.py` computes the same.
///
/// # Errors
/// Where the file was changed into something that is no pack.
///
/// ```
/// assert_eq!(packdrift_benches::bay().unwrap().inputs.len(), 13);
/// ```
pub fn bay() -> Result<Stack, Error> {
    Ok(packdrift_records::read_stack(&Path::new(env!("CARGO_MANIFEST_DIR")).join("bay.toml"))?.value)
}
