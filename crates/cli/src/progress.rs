//! Progress, on standard error, only where that is a terminal and nobody asked for quiet.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// The bar on the screen, for Ctrl-C to take away.
static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// A bar, or nothing.
pub(crate) struct Progress {
    bar: Option<ProgressBar>,
}

impl Progress {
    /// `doing` says what is going on.
    pub(crate) fn new(doing: &'static str, quiet: bool) -> Self {
        if quiet || !std::io::stderr().is_terminal() {
            return Self { bar: None };
        }
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(10));
        bar.set_style(style("{spinner} {msg}"));
        bar.set_message(doing);
        bar.enable_steady_tick(Duration::from_millis(120));
        *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = Some(bar.clone());
        Self { bar: Some(bar) }
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

impl Progress {
    /// The same for the work of `packdrift-trend`.
    pub(crate) fn watch(&self) -> packdrift_trend::Watch {
        match self.bar.clone() {
            Some(bar) => packdrift_trend::Watch::new(move |done, total| show(&bar, done, total)),
            None => packdrift_trend::Watch::default(),
        }
    }
}

impl packdrift_spread::Progress for Progress {
    fn advance(&self, done: u64, total: u64) {
        if let Some(bar) = &self.bar {
            show(bar, done, total);
        }
    }

    fn cancelled(&self) -> bool {
        crate::interrupt::asked_to_stop()
    }
}
