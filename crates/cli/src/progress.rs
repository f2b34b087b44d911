//! Progress, on standard error, only where that is a terminal and nobody asked for quiet.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use packdrift_records as records;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Nobody wants to see anything.
static QUIET: AtomicBool = AtomicBool::new(false);

/// Whether `--quiet` was given.
pub(crate) fn hush(quiet: bool) {
    QUIET.store(quiet, Ordering::Relaxed);
}

/// The bar on the screen, for Ctrl-C to take away.
static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// Set where `replay` runs a command again: how far it is goes to standard error as lines that begin with [`SIGN`], for the bar of `replay`.
pub(crate) const TELL: &str = "PACKDRIFT_TELL_PROGRESS";

/// Begins a line that tells a percentage, and no message: the control character that separates records.
pub(crate) const SIGN: char = '\u{1e}';

/// How far a piece of work is, for whoever is there to see it.
pub(crate) enum Progress {
    Bar(ProgressBar),
    /// Lines for the process that started this one: the percentage that was told last.
    Told(Arc<AtomicU64>),
    Unseen,
}

impl Progress {
    /// `doing` says what is going on.
    pub(crate) fn new(doing: &'static str) -> Self {
        if std::env::var_os(TELL).is_some() {
            return Self::Told(Arc::new(AtomicU64::new(u64::MAX)));
        }
        if !is_seen() {
            return Self::Unseen;
        }
        let bar = bar(doing);
        *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = Some(bar.clone());
        Self::Bar(bar)
    }
}

/// Whether somebody sees a bar.
fn is_seen() -> bool {
    !QUIET.load(Ordering::Relaxed) && std::io::stderr().is_terminal()
}

fn bar(doing: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(10));
    bar.set_style(style("{spinner} {msg}"));
    bar.set_message(doing);
    bar.enable_steady_tick(Duration::from_millis(120));
    bar
}

/// For the reader of a table: on the bar that is there, else, where reading takes longer than a moment, on one of its own that goes with it.
pub(crate) fn reading() -> records::Watch {
    if !is_seen() {
        return records::Watch::default();
    }
    let own = OwnBar { begin: Instant::now(), is_shown: AtomicBool::new(false) };
    records::Watch::new(move |done, total| own.show(done, total))
}

/// A bar that is there from the time it is needed.
struct OwnBar {
    begin: Instant,
    is_shown: AtomicBool,
}

impl OwnBar {
    /// What takes less needs no bar.
    const MOMENT: Duration = Duration::from_millis(400);

    fn show(&self, done: u64, total: u64) {
        let mut shown = SHOWN.lock().unwrap_or_else(PoisonError::into_inner);
        if shown.is_none() && self.begin.elapsed() > Self::MOMENT {
            *shown = Some(bar("reading"));
            self.is_shown.store(true, Ordering::Relaxed);
        }
        if let Some(bar) = &*shown {
            show(bar, done, total);
        }
    }
}

impl Drop for OwnBar {
    fn drop(&mut self) {
        if self.is_shown.load(Ordering::Relaxed) {
            clear();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        clear();
    }
}

/// Takes the bar off the screen.
pub(crate) fn clear() {
    if let Some(bar) = SHOWN.lock().unwrap_or_else(PoisonError::into_inner).take() {
        bar.finish_and_clear();
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}

/// `done` of `total` parts, with the time that the rest will take at the pace so far.
fn show(bar: &ProgressBar, done: u64, total: u64) {
    if bar.length() != Some(total) {
        if bar.length().is_none() {
            bar.set_style(style("{spinner} {msg} {wide_bar} {percent} %, {eta} left"));
        }
        bar.set_length(total);
    }
    bar.set_position(done);
}

fn tell(told: &AtomicU64, done: u64, total: u64) {
    let percent = done.saturating_mul(100) / total.max(1);
    if told.swap(percent, Ordering::Relaxed) != percent {
        // Nobody may be listening any more.
        let _ = writeln!(std::io::stderr(), "{SIGN}{percent}");
    }
}

impl Progress {
    /// The same for the work of `packdrift-trend`.
    pub(crate) fn watch(&self) -> packdrift_trend::Watch {
        match self {
            Self::Bar(bar) => {
                let bar = bar.clone();
                packdrift_trend::Watch::new(move |done, total| show(&bar, done, total))
            }
            Self::Told(told) => {
                let told = Arc::clone(told);
                packdrift_trend::Watch::new(move |done, total| tell(&told, done, total))
            }
            Self::Unseen => packdrift_trend::Watch::default(),
        }
    }
}

impl packdrift_spread::Progress for Progress {
    fn advance(&self, done: u64, total: u64) {
        match self {
            Self::Bar(bar) => show(bar, done, total),
            Self::Told(told) => tell(told, done, total),
            Self::Unseen => {}
        }
    }

    fn cancelled(&self) -> bool {
        crate::interrupt::asked_to_stop()
    }
}
