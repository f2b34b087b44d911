//! Libraries that read foreign formats sometimes panic on what they did not expect. That is a file's fault, not a crash.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

static GUARDS: AtomicUsize = AtomicUsize::new(0);

/// Whether a foreign format is being read just now, so that a panic will be caught and become a message of its own. A panic
/// hook should then keep quiet.
pub fn is_guarding() -> bool {
    GUARDS.load(Ordering::SeqCst) > 0
}

/// Whether a process of its own lives through reading a file.
type Trial = fn(&Path) -> bool;

static TRIAL: OnceLock<Trial> = OnceLock::new();

/// From now on a Parquet file below 64 MiB is read by `trial` first, which says whether a process of its own lived through it. Bits that were
/// turned in such a file can make the library ask for more memory than there is, and that ends a process; nothing can catch it within. For
/// programs; see [`decode_parquet`](crate::decode_parquet) for the process.
pub fn try_parquet_first(trial: fn(&Path) -> bool) {
    // The first one counts.
    let _ = TRIAL.set(trial);
}

/// What the trial says, where there is one.
pub(crate) fn is_survived(path: &Path) -> bool {
    TRIAL.get().is_none_or(|trial| trial(path))
}

/// From here on this process gets no more than so many bytes of memory of its own; asking for more ends it. Where the system knows no such limit
/// nothing changes.
#[cfg(target_os = "linux")]
pub(crate) fn bound_memory(bytes: u64) {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let now = getrlimit(Resource::Data);
    let lower = |limit: Option<u64>| Some(limit.map_or(bytes, |limit| limit.min(bytes)));
    // A limit that cannot be set leaves what was there.
    let _ = setrlimit(Resource::Data, Rlimit { current: lower(now.current), maximum: now.maximum });
}

#[cfg(not(target_os = "linux"))]
pub(crate) fn bound_memory(_: u64) {}

/// Runs `read`; `None` where it panicked.
pub(crate) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    GUARDS.fetch_add(1, Ordering::SeqCst);
    let outcome = catch_unwind(AssertUnwindSafe(read));
    GUARDS.fetch_sub(1, Ordering::SeqCst);
    outcome.ok()
}
