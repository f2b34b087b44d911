//! What a caller may ask of a reader.

use crate::error::Error;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// How to read a table.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Once this is set, reading ends soon with [`Error::Cancelled`].
    pub cancel: Option<Arc<AtomicBool>>,
    /// The day that counts as today, in days since 1970-01-01: records of later days are mistakes. None: no day is too late.
    pub today: Option<i32>,
}

impl Options {
    pub(crate) fn check(&self) -> Result<(), Error> {
        match &self.cancel {
            Some(flag) if flag.load(Ordering::Relaxed) => Err(Error::Cancelled),
            _ => Ok(()),
        }
    }
}
