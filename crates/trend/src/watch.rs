//! How far a run has come, for a screen to show.
//!
//! How many fits a feature takes is not known before they are made: a jump that is found asks for more. So each feature has a share of the
//! whole of which every fit takes a part of what is left, and the rest goes when the feature is done.

use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Parts that a feature is told in.
const PARTS: u64 = 1000;
/// A fit takes one of so many parts of what is left of its feature.
const OF_WHAT_IS_LEFT: u64 = 4;

/// Told how far a run has come; the work calls it from several threads. It changes no result, so any two are equal.
///
/// # Examples
/// ```
/// use std::sync::{Arc, Mutex};
/// let seen = Arc::new(Mutex::new((0, 0)));
/// let shown = Arc::clone(&seen);
/// let watch = packdrift_trend::Watch::new(move |done, total| *shown.lock().unwrap() = (done, total));
/// let options = packdrift_trend::Options { watch, ..packdrift_trend::Options::default() };
/// let mut table = packdrift_trend::InspectionsBuilder::new();
/// for (date, hours, value) in [("2024-05-01", 0.0, 0.55), ("2025-05-01", 900.0, 0.57), ("2026-05-01", 1800.0, 0.60)] {
///     table.push(packdrift_trend::Reading::new("P01", "exhaust", date, hours, "contact_offset", value)).unwrap();
/// }
/// packdrift_trend::trend(&table.finish(), None, &options).unwrap();
/// assert_eq!(*seen.lock().unwrap(), (1000, 1000));
/// ```
#[derive(Clone, Default)]
pub struct Watch(Option<Arc<Watched>>);

struct Watched {
    done: AtomicU64,
    total: AtomicU64,
    tell: Box<dyn Fn(u64, u64) + Send + Sync>,
}

impl Watch {
    /// Calls `tell(done, total)` as the work goes on: `done` of `total` parts are finished.
    pub fn new(tell: impl Fn(u64, u64) + Send + Sync + 'static) -> Self {
        Self(Some(Arc::new(Watched { done: AtomicU64::new(0), total: AtomicU64::new(0), tell: Box::new(tell) })))
    }

    /// So many features are to come.
    pub(crate) fn expect(&self, features: usize) {
        if let Some(watched) = &self.0 {
            watched.total.fetch_add(PARTS * features as u64, Ordering::Relaxed);
        }
    }

    /// The share of one feature.
    pub(crate) fn feature(&self) -> Share<'_> {
        Share { watch: self, left: AtomicU64::new(PARTS) }
    }

    fn advance(&self, parts: u64) {
        if let Some(watched) = &self.0 {
            let done = watched.done.fetch_add(parts, Ordering::Relaxed) + parts;
            (watched.tell)(done, watched.total.load(Ordering::Relaxed));
        }
    }
}

impl fmt::Debug for Watch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_some() { "Watch" } else { "Watch(nobody)" })
    }
}

impl PartialEq for Watch {
    fn eq(&self, _other: &Self) -> bool {
        true
    }
}

/// What is left of a feature's share; dropped, it is done.
pub(crate) struct Share<'a> {
    watch: &'a Watch,
    left: AtomicU64,
}

impl Share<'_> {
    /// A fit is made.
    pub(crate) fn fitted(&self) {
        let part = |left: u64| left.checked_sub(left / OF_WHAT_IS_LEFT);
        let left = self.left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, part).unwrap_or(0);
        self.watch.advance(left / OF_WHAT_IS_LEFT);
    }
}

impl Drop for Share<'_> {
    fn drop(&mut self) {
        self.watch.advance(self.left.swap(0, Ordering::Relaxed));
    }
}
