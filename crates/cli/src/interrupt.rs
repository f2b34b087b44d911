//! Ctrl-C: leaves nothing half-written, and does not wait for anything else.
//!
//! Results are written only when they are complete, under one lock. Before that nothing exists that could be half-written, so
//! the program ends at once; while the lock is held the files are finished first (a moment), then it ends.

use crate::exit::{Failure, INTERRUPTED};
use std::sync::{Mutex, MutexGuard, PoisonError};

static WRITING: Mutex<()> = Mutex::new(());

/// Ends the program on Ctrl-C (and on a request to terminate), but not while results are being written.
pub(crate) fn listen() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        let _writing = while_writing();
        crate::progress::clear();
        #[allow(clippy::exit, reason = "the handler's thread is the only one that knows")]
        std::process::exit(INTERRUPTED.into());
    })
    .map_err(|error| Failure::machine("listen for Ctrl-C", error))
}

/// Held while results are written.
pub(crate) fn while_writing() -> MutexGuard<'static, ()> {
    WRITING.lock().unwrap_or_else(PoisonError::into_inner)
}
