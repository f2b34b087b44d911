//! Libraries that read foreign formats sometimes panic on what they did not expect. That is a file's fault, not a crash.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

static GUARDS: AtomicUsize = AtomicUsize::new(0);

/// Whether a foreign format is being read just now, so that a panic will be caught and become a message of its own. A panic
/// hook should then keep quiet.
pub fn is_guarding() -> bool {
    GUARDS.load(Ordering::SeqCst) > 0
}

/// Runs `read`; `None` where it panicked.
pub(crate) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    GUARDS.fetch_add(1, Ordering::SeqCst);
    let outcome = catch_unwind(AssertUnwindSafe(read));
    GUARDS.fetch_sub(1, Ordering::SeqCst);
    outcome.ok()
}
