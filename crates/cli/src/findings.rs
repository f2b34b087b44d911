//! Mistakes in files as text for a terminal.

use packdrift_records::{Fault, InputError};
use std::fmt::Write;
use std::io::IsTerminal;
use std::path::Path;

/// So many mistakes of a file are shown; the rest are counted. `check --format json` lists them all.
const SHOWN: usize = 20;

/// The mistakes of an input, for standard error.
pub(crate) fn text(error: &InputError) -> String {
    let colour = colour(std::io::stderr().is_terminal());
    let mut text = String::new();
    let mut rest = &error.faults[..];
    while let Some(first) = rest.first() {
        let here = rest.iter().take_while(|fault| fault.path == first.path).count();
        let (faults, others) = rest.split_at(here);
        // The total of the error counts all files; what is not kept belongs to the last of them.
        let total = if others.is_empty() { error.total - (error.faults.len() - here) } else { here };
        text.push_str(&of_file(&first.path, faults, total, colour));
        rest = others;
    }
    text
}

/// The mistakes of one file, the first of them in full.
pub(crate) fn of_file(path: &Path, faults: &[Fault], total: usize, colour: bool) -> String {
    let mut text = String::new();
    for fault in faults.iter().take(SHOWN) {
        text.push_str(&fault.picture(colour));
    }
    let shown = faults.len().min(SHOWN);
    let mistakes = if total == 1 { "1 mistake".to_owned() } else { format!("{total} mistakes") };
    // Writing to a String cannot fail.
    let path = path.display().to_string();
    let path = packdrift_visible::line(&path);
    let _ = if shown < total {
        writeln!(
            text,
            "{path}: {mistakes}, of which the first {shown} are shown (`packdrift check --format json` lists all)"
        )
    } else {
        writeln!(text, "{path}: {mistakes}")
    };
    text
}

/// Colours where a terminal shows them, unless `NO_COLOR` is set to anything (no-color.org).
pub(crate) fn colour(terminal: bool) -> bool {
    terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}
