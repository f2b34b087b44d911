//! Ctrl-C, a request to end (TERM) and a terminal that is gone (HUP): nothing is left half-written, and nothing else is waited for.
//!
//! Results are written only when they are complete, under one lock. Before that nothing exists that could be half-written, so
//! the program ends at once; while the lock is held the files are finished first (a moment), then it ends.

use crate::exit::Failure;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

static WRITING: Mutex<()> = Mutex::new(());
/// A search runs whose best so far is worth having.
static BEST_SO_FAR: AtomicBool = AtomicBool::new(false);
/// It is to stop.
static STOP: AtomicBool = AtomicBool::new(false);

/// While this lives the first Ctrl-C does not end the program but asks its search to stop with the best so far.
pub(crate) struct Gently;

impl Gently {
    pub(crate) fn new() -> Self {
        BEST_SO_FAR.store(true, Ordering::SeqCst);
        Self
    }
}

impl Drop for Gently {
    fn drop(&mut self) {
        BEST_SO_FAR.store(false, Ordering::SeqCst);
    }
}

/// Whether a search is to stop with the best so far.
pub(crate) fn asked_to_stop() -> bool {
    STOP.load(Ordering::SeqCst)
}

/// Whether a signal is answered by stopping the search: the first Ctrl-C while one runs.
#[cfg(unix)]
fn stops_a_search(signal: i32) -> bool {
    signal == signal_hook::consts::SIGINT && BEST_SO_FAR.load(Ordering::SeqCst) && !STOP.swap(true, Ordering::SeqCst)
}

/// Ends the program on a signal, but not while results are being written. A signal that the program was started to ignore (`nohup`, a
/// script's background job) stays ignored.
#[cfg(unix)]
pub(crate) fn listen() -> Result<(), Failure> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let wanted: Vec<i32> = [SIGINT, SIGTERM, SIGHUP].into_iter().filter(|&signal| !is_ignored(signal)).collect();
    let failed = |error| Failure::machine("listen for Ctrl-C", error);
    let mut signals = signal_hook::iterator::Signals::new(wanted).map_err(failed)?;
    let wait = move || {
        if let Some(signal) = signals.forever().find(|&signal| !stops_a_search(signal)) {
            let _writing = while_writing();
            crate::progress::clear();
            #[allow(clippy::exit, reason = "the handler's thread is the only one that knows")]
            std::process::exit(i32::from(crate::exit::SIGNALLED) + signal);
        }
    };
    std::thread::Builder::new().name("signals".to_owned()).spawn(wait).map_err(failed)?;
    Ok(())
}

/// Elsewhere the system ends the program; what was being written is put in place whole or not at all.
#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps, reason = "the same signature as on the systems that have signals")]
pub(crate) fn listen() -> Result<(), Failure> {
    Ok(())
}

/// Whether the program was started with a signal ignored, as Linux tells it in a mask of bits.
#[cfg(unix)]
fn is_ignored(signal: i32) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:")).map(str::trim);
    let mask = mask.and_then(|mask| u64::from_str_radix(mask, 16).ok()).unwrap_or(0);
    mask >> (signal - 1) & 1 == 1
}

/// Held while a file is written; not for a pipe or a device, which may wait for its reader: Ctrl-C ends the waiting.
pub(crate) fn while_writing_to(path: &Path) -> Option<MutexGuard<'static, ()>> {
    (!packdrift_records::write::is_stream(path)).then(while_writing)
}

/// Held while results are written.
pub(crate) fn while_writing() -> MutexGuard<'static, ()> {
    WRITING.lock().unwrap_or_else(PoisonError::into_inner)
}
